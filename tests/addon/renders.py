"""Float pictures of a scene seen straight from above, as an engine draws it, without a view transform."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from blender_addon import compat


def seen_from_above(
    scene: bpy.types.Scene,
    middle_m: tuple[float, float],
    width_m: float,
    size_px: int,
    samples: int,
    path: Path,
    engine: str = compat.CYCLES,
) -> NDArray[np.float64]:
    """A square of the scene from 100 m above, as linear RGB of shape (size, size, 3): rows towards +Y."""
    camera = bpy.data.objects.get("From above")
    if camera is None:
        camera = bpy.data.objects.new("From above", bpy.data.cameras.new("From above"))
        scene.collection.objects.link(camera)
    lens: Any = camera.data
    lens.type, lens.ortho_scale, lens.clip_end = "ORTHO", width_m, 1e4
    camera.location = (*middle_m, 100.0)
    scene.camera = camera
    render = scene.render
    render.engine = engine  # type: ignore[assignment]
    eevee: Any = scene.eevee
    eevee.taa_render_samples = samples
    cycles: Any = scene.cycles  # type: ignore[attr-defined]
    cycles.device, cycles.samples, cycles.use_adaptive_sampling = "CPU", samples, False
    cycles.use_denoising = False
    cycles.pixel_filter_type, cycles.filter_width = "BLACKMAN_HARRIS", 0.01  # the middle of each pixel
    render.resolution_x = render.resolution_y = size_px
    render.resolution_percentage = 100
    render.use_motion_blur = False
    compat.choose_image(render.image_settings, "OPEN_EXR")
    render.image_settings.color_depth = "32"
    render.use_file_extension = False
    render.filepath = str(path)
    bpy.ops.render.render(write_still=True, scene=scene.name)
    image = bpy.data.images.load(str(path))
    pixels = np.empty(size_px * size_px * 4, dtype=np.float32)
    image.pixels.foreach_get(pixels)  # type: ignore[attr-defined]
    bpy.data.images.remove(image)
    return pixels.reshape(size_px, size_px, 4)[..., :3].astype(np.float64)
