"""Empty Blender scenes for the tests, and plans drawn into them."""

from __future__ import annotations

import atexit
import functools
import shutil
import tempfile
import zlib
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from blender_addon.scene.build import build_scene
from blender_addon.state import live
from planner_core import FrameTable, Plan, compute_frames
from planner_core.plan.file import plan_to_text
from tests.present import present


def empty_scene() -> bpy.types.Scene:
    """A new file with nothing in it. Preferences and other add-ons stay as they are, which takes a fifth of
    the time of settings from the factory.
    """
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True, load_ui=False)
    return present(bpy.context.scene)


def drawn(plan: Plan, scene: bpy.types.Scene | None = None) -> tuple[bpy.types.Scene, FrameTable]:
    """A plan drawn into a scene, by default that of a new file. What was drawn before is opened again, in a
    tenth of the time.
    """
    frames = compute_frames(plan)
    kept = None if scene is not None else _folder() / f"{zlib.crc32(plan_to_text(plan).encode())}.blend"
    if kept is not None and kept.exists():
        bpy.ops.wm.open_mainfile(filepath=str(kept), load_ui=False)
        return present(bpy.context.scene), frames
    scene = empty_scene() if scene is None else scene
    build_scene(plan, frames, scene)
    if kept is not None:
        bpy.ops.wm.save_as_mainfile(filepath=str(kept), copy=True)
    return scene, frames


def planned(plan: Plan, scene: bpy.types.Scene) -> bpy.types.Scene:
    """A new file's scene with the plan set in it; where that was done before, its file is opened."""
    kept = _folder() / f"planned-{zlib.crc32(plan_to_text(plan).encode())}.blend"
    if kept.exists():
        bpy.ops.wm.open_mainfile(filepath=str(kept), load_ui=False)
        scene = present(bpy.context.scene)
    else:
        live.set_plan(scene, plan)
    bpy.context.view_layer.update()
    if not kept.exists():
        bpy.ops.wm.save_as_mainfile(filepath=str(kept), copy=True)
    return scene


@functools.cache
def _folder() -> Path:
    """Where drawn scenes are kept while this process tests."""
    folder = tempfile.mkdtemp(prefix="duskrail-drawn-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return Path(folder)


def camera_matrices(scene: bpy.types.Scene) -> NDArray[np.float64]:
    """The camera's matrix on every frame of the scene, shape (frames, 4, 4)."""
    found = []
    depsgraph = present(scene.view_layers[0].depsgraph)
    for frame in range(scene.frame_start, scene.frame_end + 1):
        scene.frame_set(frame)
        assert scene.camera is not None
        found.append(np.array(scene.camera.evaluated_get(depsgraph).matrix_world))
    return np.array(found)


def turn_between_deg(a: NDArray[Any], b: NDArray[Any]) -> NDArray[np.float64]:
    """Angle between rotations (n, 3, 3), degrees, exact for small ones."""
    turn = np.swapaxes(a, 1, 2) @ b
    axis = [turn[:, 2, 1] - turn[:, 1, 2], turn[:, 0, 2] - turn[:, 2, 0], turn[:, 1, 0] - turn[:, 0, 1]]
    sine = np.linalg.norm(axis, axis=0) / 2.0
    return np.degrees(np.arctan2(sine, (np.trace(turn, axis1=1, axis2=2) - 1.0) / 2.0))


def texels(mesh: Any) -> tuple[Any, Any]:
    """Colours (upward, across, 3) of the image that a mesh wears, and where on it each of the mesh's corners
    is, (corners, 2), in texels.
    """
    (material,) = mesh.materials
    image = material.node_tree.nodes.active.image
    across, upward = image.size
    colours = np.empty(4 * across * upward, dtype=np.float32)
    image.pixels.foreach_get(colours)
    places = np.empty(2 * len(mesh.loops), dtype=np.float32)
    mesh.uv_layers.active.data.foreach_get("uv", places)
    spots = places.reshape(-1, 2) * np.array([across, upward]) - 0.5
    return colours.reshape(upward, across, 4)[..., :3].astype(np.float64), spots.astype(np.float64)


def colours_of_points(mesh: Any) -> Any:
    """Colours (points, 3) of a mesh's points, as its image has them."""
    colours, spots = texels(mesh)
    assert np.allclose(spots, spots.round(), atol=1e-3)  # amid a texel: nothing of the next one shows
    column, row = spots.round().astype(int).T
    numbers = np.empty(len(mesh.loops), dtype=np.int32)
    mesh.loops.foreach_get("vertex_index", numbers)
    found = np.zeros((len(mesh.vertices), 3))
    found[numbers] = colours[row, column]
    return found
