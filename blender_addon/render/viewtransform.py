"""How pictures are shown: the view transform and contrast of the draft clip, for every way of drawing it."""

from __future__ import annotations

import tempfile
from functools import lru_cache
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .. import compat

VIEW, CONTRAST, DISPLAY = "AgX", "AgX - Punchy", "sRGB"
GREY_STOPS = 0.82  # by so much that contrast darkens a grey card

STEPS = 48  # of the table, along each channel
DARKEST_STOPS, BRIGHTEST_STOPS = -13.0, 3.2  # what the table spans, around linear 1


def choose_view(scene: bpy.types.Scene) -> None:
    """A view that keeps the colours of a bright evening sky, and shows a grey card of 18 % as middle grey,
    118 of 255.
    """
    settings: Any = scene.view_settings
    settings.view_transform, settings.look = VIEW, CONTRAST
    settings.exposure, settings.gamma = GREY_STOPS, 1.0
    display: Any = scene.display_settings
    display.display_device = DISPLAY


@lru_cache(maxsize=1)
def table() -> NDArray[np.float32]:
    """What Blender shows for steps of red, green and blue, in shares of the display's full level, shape
    (STEPS, STEPS, STEPS, 4) by blue, green and red. Steps are even in stops.
    """
    levels = 2.0 ** np.linspace(DARKEST_STOPS, BRIGHTEST_STOPS, STEPS)
    linear = np.ones((STEPS, STEPS, STEPS, 4), dtype=np.float32)
    linear[..., 2], linear[..., 1], linear[..., 0] = np.meshgrid(levels, levels, levels, indexing="ij")
    return _through_blender(linear.reshape(STEPS, STEPS * STEPS, 4)).reshape(linear.shape)


def _through_blender(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """A linear picture (rows, columns, 4) as Blender saves it with the clip's view."""
    rows, columns, _ = linear.shape
    scene = bpy.data.scenes.new("View transform")
    image: Any = bpy.data.images.new("View transform", columns, rows, alpha=True, float_buffer=True)
    try:
        choose_view(scene)
        compat.choose_image(scene.render.image_settings, "PNG")
        settings: Any = scene.render.image_settings
        settings.color_mode, settings.color_depth = "RGBA", "16"
        image.colorspace_settings.name = "Linear Rec.709"
        image.pixels.foreach_set(linear.ravel())
        with tempfile.TemporaryDirectory() as folder:
            path = str(Path(folder) / "view.png")
            image.save_render(path, scene=scene)
            return _saved_values(path, linear.size).reshape(linear.shape)
    finally:
        bpy.data.images.remove(image)
        bpy.data.scenes.remove(scene)


def _saved_values(path: str, count: int) -> NDArray[np.float32]:
    saved: Any = bpy.data.images.load(path)
    try:
        saved.colorspace_settings.name = "Non-Color"
        values = np.empty(count, dtype=np.float32)
        saved.pixels.foreach_get(values)
        return values
    finally:
        bpy.data.images.remove(saved)
