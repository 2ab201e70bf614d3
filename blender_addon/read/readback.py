"""An edited scene back into a plan.

What can be edited, and comes back: poses and curves (readmotion), blocks (readblocks), where the rail
stands and which way it runs, the head's height and the lens's place ahead of it, the focal length and the
focus. Everything else is kept as the scene's plan has it. A scene without edits gives its plan back
exactly.
"""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
from attrs import frozen

from planner_core.edit import edits
from planner_core.frames import FrameTable, compute_frames
from planner_core.maths.angles import wrapped_deg
from planner_core.plan.model import Block, Composition, Plan
from planner_core.rig.geometry import bearing_and_altitude
from planner_core.words.language import in_words, phrase

from ..console import silenced
from ..scene import blocking, parts, rig, store
from . import blocks as readblocks
from . import motion as readmotion
from . import rig_check
from . import settings as readsettings

PLACE_SAME_M, DIRECTION_SAME = 1e-5, 2e-6
RIDGE_SEEN_DEG = 0.05  # about two pixels of a wide clip


class ReadbackError(RuntimeError):
    """Why a scene has no plan to read back, in one line that says what would do: a message and its values."""

    def __init__(self, message: str, /, **values: Any) -> None:
        super().__init__(phrase(message, **values))

    def __str__(self) -> str:
        return in_words(self.args[0])


@frozen(kw_only=True)
class Readback:
    """The plan as the scene has it now, and sentences on what could not be kept as it was."""

    plan: Plan
    said: tuple[str, ...]


def read_file(blend: str | os.PathLike[str]) -> Readback:
    """The plan in a .blend file, with the edits made to its scene. The session's file is replaced by this
    one, whose scripts are not run. Raises ReadbackError, and PlanError where the edits make something that
    won't work.
    """
    path = Path(blend)
    if not path.is_file():
        raise ReadbackError(
            "{path}: is a folder; a .blend file is meant"
            if path.is_dir()
            else "{path}: does not exist; a .blend file is meant",
            path=path,
        )
    try:
        with silenced():
            bpy.ops.wm.open_mainfile(filepath=str(path.resolve()), load_ui=False, use_scripts=False)
    except RuntimeError as problem:
        reason = " ".join(str(problem).replace("Error:", "").split())
        raise ReadbackError("{path}: can't be read as a .blend file ({why})", path=path, why=reason) from None
    scene = next((s for s in (bpy.context.scene, *bpy.data.scenes) if s and store.has_plan(s)), None)
    if scene is None:
        raise ReadbackError(
            "{path}: no scene in it has a plan; draw a plan into it with the add-on and save it", path=path
        )
    return read_scene(scene)


def read_scene(
    scene: bpy.types.Scene,
    *,
    thorough: bool = True,
    known: FrameTable | None = None,
    only: Collection[int] | None = None,
) -> Readback:
    """The scene's plan with the edits made to it. Raises ReadbackError and PlanError.

    thorough looks at the camera on every frame, and refuses a scene where something else than the rig's
    three axes moves it. The scene stays as it is. known are the frames of the plan as it was drawn, where
    somebody has them; only are the numbers of the blocks that may differ from what was drawn, where it is
    known that no others do.
    """
    drawn = store.stored_plan(scene)
    if drawn is None:
        raise ReadbackError("Scene {scene} has no plan. Start one in it first", scene=scene.name)
    _check_scene(scene)
    for layer in scene.view_layers:
        layer.update()
    placed, said = _read_rig(scene, drawn)
    # the head hangs on the rail: its axes are read as of before the rail was turned, and turn with it
    unturned = attrs.evolve(
        placed,
        rig=attrs.evolve(placed.rig, bearing_deg=drawn.rig.bearing_deg, incline_deg=drawn.rig.incline_deg),
    )
    frames = known if known is not None and known.plan == unturned else compute_frames(unturned)
    move = readmotion.read_move(scene, frames)
    blocks, block_words = readblocks.read_blocks(scene, placed, only)
    plan = placed
    if move is not plan.move:
        plan = attrs.evolve(plan, move=move)
    turn = wrapped_deg(placed.rig.bearing_deg - drawn.rig.bearing_deg)
    if turn:
        plan = edits.with_pans_turned(plan, turn)
    if blocks != plan.blocks:
        judged = _subject_followed(scene, plan, blocks)
        lost = plan.composition.subject if plan.composition is not None else ""
        if judged is not None and lost and not judged.subject:
            gone = "The subject “{name}” is gone. Every block with the role Subject is judged now."
            said.append(phrase(gone, name=lost))
        plan = attrs.evolve(plan, blocks=blocks, composition=judged)
    if thorough:
        said += [rig_check.unkeyed_text(scene, axis) for axis in rig_check.unkeyed(scene, unturned)]
        _check_camera(scene, unturned)
        said += readblocks.beyond_a_plan(scene)
        said += [difference.text for difference in readsettings.differences(scene, drawn)]
    return Readback(plan=drawn if plan == drawn else plan, said=(*said, *block_words))


def _subject_followed(scene: bpy.types.Scene, plan: Plan, blocks: tuple[Block, ...]) -> Composition | None:
    """What is judged of the picture, with its subject called as its block is now."""
    judged = plan.composition
    if judged is None or not judged.subject or judged.subject in {block.name for block in blocks}:
        return judged
    renamed = [obj for obj in blocking.block_objects(scene) if obj.get(blocking.NAME_KEY) == judged.subject]
    if len(renamed) > 1:
        return judged
    return attrs.evolve(judged, subject=renamed[0].name if renamed else "")


def _check_scene(scene: bpy.types.Scene) -> None:
    missing = [
        part for part in ("rail", "carriage", "pan", "tilt", "camera") if not parts.objects_of(scene, part)
    ]
    if missing:
        raise ReadbackError(
            "Scene {scene} lacks a part of its rig ({parts}); undo the deletion, or draw the plan again",
            scene=scene.name,
            parts=", ".join(missing),
        )
    scale = scene.unit_settings.scale_length
    if abs(scale - 1.0) > 1e-6:
        raise ReadbackError(
            "Scene {scene} has a unit scale of {scale:g}; a plan is in metres: set Unit Scale to 1 in the "
            "scene's properties",
            scene=scene.name,
            scale=scale,
        )


# ---------------------------------------------------------------- the rig


def _read_rig(scene: bpy.types.Scene, plan: Plan) -> tuple[Plan, list[str]]:
    """The plan with its rail, head and lens as they stand in the scene; the same object if nothing was
    moved.
    """
    depsgraph = parts.depsgraph_of(scene)
    rail, pan, camera = (parts.object_of(scene, part) for part in ("rail", "pan", "camera"))
    assert rail is not None
    assert pan is not None
    assert camera is not None
    now, drawn = np.array(rail.evaluated_get(depsgraph).matrix_world), np.array(rig.rail_matrix(plan))
    scale = np.linalg.norm(now[:3, :3], axis=0)
    if np.abs(scale - 1.0).max() > 1e-4:
        raise ReadbackError(
            "{rail} is scaled by {scale:.3g}; clear its scale (Alt S), set its length in the plan",
            rail=rail.name,
            scale=scale.max(),
        )
    was = plan.rig
    origin_m, bearing_deg, incline_deg = was.origin_m, was.bearing_deg, was.incline_deg
    said: list[str] = []
    reach = max(1.0, float(np.abs(drawn[:3, 3]).max()))
    if np.abs(now[:3, 3] - drawn[:3, 3]).max() > PLACE_SAME_M * reach:
        x, y, z = (round(float(part), 5) for part in now[:3, 3])
        origin_m = (x, y, z)
        said += _ridges_along(plan, origin_m)
    if np.abs(now[:3, 1] - drawn[:3, 1]).max() > DIRECTION_SAME:
        bearing, incline = bearing_and_altitude(now[:3, 1], plan.site.scene_north_deg)
        bearing_deg, incline_deg = round(float(bearing), 4), round(float(incline), 4)
    if incline_deg != was.incline_deg:
        said.insert(0, phrase("The rail's slope was read; the head stands level on it again."))
    if abs(now[2, 0]) > 1e-3:
        leans = "{rail} leans sideways, which a plan can't describe. The lean was left out."
        said.append(phrase(leans, rail=rail.name))
    placed = attrs.evolve(
        was,
        origin_m=origin_m,
        bearing_deg=bearing_deg,
        incline_deg=incline_deg,
        head_height_m=_now(pan.location.z, was.head_height_m, same=2e-6, digits=5),
        pupil_offset_m=_now(camera.location.y, was.pupil_offset_m, same=2e-6, digits=5),
    )
    moved = attrs.evolve(plan, rig=placed) if placed != was else plan
    return _read_lens(camera.data, moved), said


def _now(value: float, planned: float, *, same: float, digits: int) -> float:
    """A value of the scene; the plan's own where no more than single precision lies between them."""
    return round(float(value), digits) if abs(value - planned) > same else planned


def _ridges_along(plan: Plan, origin_m: tuple[float, float, float]) -> list[str]:
    """What to say of ridges that go along with the rail: their skyline is as seen from its start."""
    shift_m = float(np.hypot(origin_m[0] - plan.rig.origin_m[0], origin_m[1] - plan.rig.origin_m[1]))
    nearest_m = min((block.distance_m or 0.0 for block in plan.blocks if block.shape == "ridge"), default=0.0)
    if nearest_m <= 0.0 or np.degrees(np.arctan2(shift_m, nearest_m)) < RIDGE_SEEN_DEG:
        return []
    along = "Ridges keep their bearings as seen from the rail, so they moved along by {shift:.1f} m."
    return [phrase(along, shift=shift_m)]


def _read_lens(camera: Any, plan: Plan) -> Plan:
    """Focal length and focus as the camera has them; animated ones are told by `settings` and left out."""
    was = plan.camera

    def now(path: str, value: float, planned: float) -> float:
        if readsettings.is_animated(camera, path):
            return planned
        return _now(value, planned, same=2e-6 * abs(planned), digits=4)

    read = attrs.evolve(
        was,
        focal_length_mm=now("lens", camera.lens, was.focal_length_mm),
        focus_distance_m=now("dof.focus_distance", camera.dof.focus_distance, was.focus_distance_m),
    )
    return attrs.evolve(plan, camera=read) if read != was else plan


def _check_camera(scene: bpy.types.Scene, plan: Plan) -> None:
    """Refuse a scene whose camera is not where its rail and its three axes put it. Raises ReadbackError."""
    number = rig_check.first_frame_off(scene, plan)
    if number is None:
        return
    hanging = rig_check.foreign(scene)
    raise ReadbackError(
        "Frame {frame}: the camera is not where slide, pan and tilt put it; something else moves it "
        "({what}). Take that off, and move poses, rail or the three axes' curves instead",
        frame=number,
        what=hanging[0] if hanging else phrase("a shift of camera or head of its own"),
    )
