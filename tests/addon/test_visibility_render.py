"""What hides what, against a renderer: Cycles draws every block in its own number, alone and among the
others.

The meshes are built here from block_mesh, so that nothing but the outlines of the blocks is shared with the
code under test.
"""

from __future__ import annotations

import itertools
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core.picture import block_visibility
from planner_core.picture.projection import delivered_crop
from planner_core.place import blocking
from planner_core.place.blocking import Mesh
from planner_core.plan.model import Plan
from planner_core.rig.camera import camera_path
from tests.places import FINE_RAYS, random_place

bpy = pytest.importorskip("bpy", reason="needs Blender's Python module")

SIZE_PX = (480, 270)
TARGETS = 3  # blocks a scene that are drawn alone too
LEAST_PX = 400  # a smaller block's own pixels are too coarse for three percent
GROUND_NUMBER = 250.0


class NumberedScene:
    """A scene in which every block glows with its own number, and nothing else is seen."""

    def __init__(self, plan: Plan, folder: Path) -> None:
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.plan, self.path = plan, folder / "numbers.exr"
        self.scene = bpy.context.scene
        self._settings()
        self.objects = [
            self._object(blocking.block_mesh(plan, block), index + 1.0)
            for index, block in enumerate(plan.blocks)
        ]
        level, far = blocking.ground_level_m(plan), 2e4
        corners = np.array([(-far, -far, level), (far, -far, level), (far, far, level), (-far, far, level)])
        ground = blocking.Mesh(vertices_m=corners, faces=((0, 1, 2, 3),))
        self._object(ground, GROUND_NUMBER)

    def _settings(self) -> None:
        scene = self.scene
        scene.render.engine = "CYCLES"
        scene.cycles.device = "CPU"
        scene.cycles.samples = 1
        scene.cycles.use_adaptive_sampling = False
        scene.cycles.use_denoising = False
        scene.cycles.max_bounces = 0
        scene.cycles.pixel_filter_type = "BOX"
        scene.cycles.filter_width = 0.01  # the middle of each pixel
        scene.render.use_persistent_data = False
        scene.render.resolution_x, scene.render.resolution_y = SIZE_PX
        scene.render.resolution_percentage = 100
        scene.render.image_settings.file_format = "OPEN_EXR"
        scene.render.image_settings.color_depth = "32"
        scene.render.filepath = str(self.path)
        scene.render.use_file_extension = False
        crop = delivered_crop(self.plan.camera, self.plan.clip)
        data = bpy.data.cameras.new("camera")
        data.sensor_fit, data.sensor_width = "HORIZONTAL", crop.width_mm
        data.lens, data.clip_start, data.clip_end = self.plan.camera.focal_length_mm, 0.01, 1e5
        scene.camera = bpy.data.objects.new("camera", data)
        scene.collection.objects.link(scene.camera)

    def _object(self, mesh: Mesh, number: float) -> Any:
        data = bpy.data.meshes.new("block")
        data.from_pydata(mesh.vertices_m.tolist(), [], [list(face) for face in mesh.faces])
        material = bpy.data.materials.new("number")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # Blender 5 always has nodes
            material.use_nodes = True
        nodes = material.node_tree.nodes
        nodes.clear()
        glow, output = nodes.new("ShaderNodeEmission"), nodes.new("ShaderNodeOutputMaterial")
        glow.inputs["Color"].default_value = (number, number, number, 1.0)
        material.node_tree.links.new(glow.outputs["Emission"], output.inputs["Surface"])
        data.materials.append(material)
        made = bpy.data.objects.new("block", data)
        self.scene.collection.objects.link(made)
        return made

    def numbers(
        self, camera_m: NDArray[np.float64], rotation: NDArray[np.float64], only: int | None = None
    ) -> NDArray[np.int64]:
        """Each pixel's block number, 0 for the sky; with all blocks, or only one and the ground."""
        import mathutils

        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = rotation, camera_m
        self.scene.camera.matrix_world = mathutils.Matrix(matrix.tolist())
        for index, made in enumerate(self.objects):
            made.hide_render = only is not None and index != only
        bpy.ops.render.render(write_still=True)
        image = bpy.data.images.load(str(self.path))
        pixels = np.empty(SIZE_PX[0] * SIZE_PX[1] * 4, dtype=np.float32)
        image.pixels.foreach_get(pixels)
        bpy.data.images.remove(image)
        return pixels[::4].round().astype(int)


@pytest.mark.parametrize("seed", range(20))
def test_shares_equal_counted_pixels(seed: int, tmp_path: Path) -> None:
    # Cycles, one ray through the middle of each pixel; three percent of the block's own pixels
    plan = random_place(seed, size_px=SIZE_PX)
    path = camera_path(plan, np.linspace(0.0, 1.0, plan.shoot.frames))
    found = block_visibility.compute_visibility(plan, path)
    frame = np.array([np.random.default_rng(1000 + seed).integers(len(found))])
    pose = path.camera_m[frame[0]], path.camera_rotation[frame[0]]
    large = [i for i in range(len(plan.blocks)) if found.areas_px(i, frame)[1][0] > LEAST_PX]
    quick = {index: found.occlusion.look((index,), frame)[0][0] for index in large}
    scene = NumberedScene(plan, tmp_path)
    among = scene.numbers(*pose)
    # those of which something hides a part are the ones worth drawing alone
    worth = sorted(large, key=lambda index: (plan.blocks[index].shape != "figure", abs(quick[index] - 0.5)))
    drawn = 0
    for index in itertools.islice(worth, TARGETS):
        alone = np.count_nonzero(scene.numbers(*pose, only=index) == index + 1)
        if alone < LEAST_PX:
            continue
        drawn += 1
        name, counted = plan.blocks[index].name, np.count_nonzero(among == index + 1) / alone
        fine = found.occlusion.look((index,), frame, rays=FINE_RAYS)[0][0]
        assert quick[index] == pytest.approx(counted, abs=0.03), name
        assert fine == pytest.approx(counted, abs=0.015), name
        if plan.blocks[index].shape in ("box", "post", "ridge"):
            assert found.areas_px(index, frame)[1][0] == pytest.approx(alone, rel=0.03), name
    assert drawn, "an empty picture tests nothing"
