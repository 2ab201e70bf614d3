"""The move as it stands in a scene: which poses were changed, and which curves were reshaped.

Two kinds of edit are told apart, axis by axis, against the curve as the plan draws it, a key on every frame:

- Only keys of poses differ (type Keyframe, on the pose's frame), or single frames got a key of their own:
an edit of
  poses. A changed value is that pose's new value; a pose's key that stands on another frame is the pose
  moved in time; a key on a frame of its own is a new pose.
- Anything else is a curve reshaped by hand: its values on every frame, with whatever interpolation and
modifiers it
  has, become the fewest poses that make them (planner_core.rig.pose_fitting).

The ghost cameras say the same of poses as a whole: moved along the rail or turned, a pose has that slide,
pan or tilt; deleted, it is gone; duplicated, there is a new pose halfway to the next one. A reshaped curve
outweighs a ghost.
"""

from __future__ import annotations

import attrs
import bpy
import numpy as np
from attrs import frozen
from mathutils import Matrix
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.maths.angles import unwound_deg
from planner_core.plan.model import Move, Plan, Pose
from planner_core.rig import geometry, motion
from planner_core.rig.axes import AXIS_NAMES
from planner_core.rig.pose_fitting import fit_poses

from ..scene import keyframes, parts, rig

Array = NDArray[np.float64]

AXES = AXIS_NAMES
PARTS = {"slide_m": "slide", "pan_deg": "pan", "tilt_deg": "tilt"}
SAME = {"slide_m": 3e-6, "pan_deg": 2e-4, "tilt_deg": 1e-4}  # what single precision may change
DECIMALS = {"slide_m": 6, "pan_deg": 5, "tilt_deg": 5}
SAME_FRAME = 0.01
GHOST_SAME = 2e-6


@frozen(kw_only=True, eq=False)
class AxisEdit:
    """What was done to an axis: poses by their number with new values or places, new poses, or a whole
    new curve.
    """

    values: dict[int, float]
    places: dict[int, float]
    added: dict[float, float]
    reshaped: Array | None


@frozen(kw_only=True)
class EditedPose:
    """A place in the move and what it gives each axis, on the way to becoming a pose."""

    at: float
    values: dict[str, float]


def read_move(scene: bpy.types.Scene, frames: FrameTable) -> Move:
    """The plan's move with the edits made to the scene's curves and ghost cameras; the same object if there
    are none.

    frames must be those of the plan that the scene was drawn from, its rail where it stands now.
    """
    plan = frames.plan
    edits = {axis: edit for axis in AXES if (edit := read_axis(scene, frames, axis)) is not None}
    spots, added = read_ghosts(scene, plan)
    move = _merged(plan, spots, added, edits)
    reshaped = {axis: edit.reshaped for axis, edit in edits.items() if edit.reshaped is not None}
    return fit_poses(attrs.evolve(plan, move=move), reshaped) if reshaped else move


def _merged(
    plan: Plan, spots: dict[int, EditedPose], added: list[EditedPose], edits: dict[str, AxisEdit]
) -> Move:
    """Poses out of what ghosts and keys say; the same object where they say nothing new."""
    whole = {number: EditedPose(at=spot.at, values=dict(spot.values)) for number, spot in spots.items()}
    loose = [EditedPose(at=spot.at, values=dict(spot.values)) for spot in added]
    for axis, edit in edits.items():
        for number, value in edit.values.items():
            if number not in whole:
                continue
            if number in edit.places:
                whole[number].values.pop(axis, None)
                loose.append(EditedPose(at=_place(plan, edit.places[number]), values={axis: value}))
            else:
                whole[number].values[axis] = value
        loose += [
            EditedPose(at=_place(plan, frame), values={axis: value}) for frame, value in edit.added.items()
        ]
    poses: dict[float, dict[str, float]] = {}
    for number, spot in whole.items():
        if spot.values or not _values_of(plan.move.poses[number]):
            poses[spot.at] = spot.values
    for spot in loose:
        at = next((known for known in poses if abs(known - spot.at) < 1e-6), spot.at)
        poses.setdefault(at, {}).update(spot.values)
    made = tuple(
        Pose(at=at, **{axis: _tidy(plan, axis, value) for axis, value in values.items()})
        for at, values in sorted(poses.items())
    )
    return plan.move if made == plan.move.poses or not made else attrs.evolve(plan.move, poses=made)


def _place(plan: Plan, frame: float) -> float:
    """The place in the move of a frame number, within the move."""
    return float(np.clip(round((frame - 1.0) / max(plan.shoot.frames - 1, 1), 9), 0.0, 1.0))


def _values_of(pose: Pose) -> dict[str, float]:
    return {axis: value for axis in AXES if (value := getattr(pose, axis)) is not None}


def _tidy(plan: Plan, axis: str, value: float) -> float:
    """A value as the plan has it already, or rounded to what single precision can tell."""
    for pose in plan.move.poses:
        if getattr(pose, axis) == value:
            return value
    return round(value, DECIMALS[axis])


# ---------------------------------------------------------------- ghost cameras


def read_ghosts(scene: bpy.types.Scene, plan: Plan) -> tuple[dict[int, EditedPose], list[EditedPose]]:
    """What the ghost cameras say: each drawn pose by its number, if it is still there, and poses that
    were added.
    """
    poses = plan.move.poses
    drawn = {number: EditedPose(at=pose.at, values=_values_of(pose)) for number, pose in enumerate(poses)}
    ghosts: dict[int, list[bpy.types.Object]] = {}
    for ghost in parts.objects_of(scene, "pose"):
        number = int(ghost.get(parts.INDEX_KEY, -1))
        if 0 <= number < len(poses):
            ghosts.setdefault(number, []).append(ghost)
    if not ghosts:
        return drawn, []
    spots: dict[int, EditedPose] = {}
    added: list[EditedPose] = []
    for number, cameras in sorted(ghosts.items()):
        cameras.sort(key=lambda ghost: _ghost_shift(scene, ghost))
        spots[number] = EditedPose(at=poses[number].at, values=_ghost_values(scene, plan, number, cameras[0]))
        following = poses[number + 1 : number + 2] or poses[max(number - 1, 0) : number]
        far = following[0].at if following else 1.0
        for count, copy in enumerate(cameras[1:], start=1):
            at = round(poses[number].at + (far - poses[number].at) * count / len(cameras), 9)
            values = {**_all_values(plan, at), **_ghost_values(scene, plan, number, copy, whole=True)}
            added.append(EditedPose(at=at, values=values))
    return spots, added


def _all_values(plan: Plan, at: float) -> dict[str, float]:
    axes = motion.axis_positions(plan, np.array([at]))
    return {
        axis: float(positions[0])
        for axis, positions in axes.given()
        if getattr(plan.rig, PARTS[axis]) is not None
    }


def _ghost_values(
    scene: bpy.types.Scene, plan: Plan, number: int, ghost: bpy.types.Object, *, whole: bool = False
) -> dict[str, float]:
    """A pose's values with what its ghost was moved and turned by; every axis of the rig where `whole`."""
    pose = plan.move.poses[number]
    before = _all_values(plan, pose.at)
    values = {**(before if whole else {}), **_values_of(pose)}
    written, now = _written(ghost), _on_rail(scene, ghost)
    if written is None:
        return values
    shift = np.array(now)[:3, 3] - np.array(written)[:3, 3]
    along = float(shift[1])  # the rail's own Y
    if abs(along) > GHOST_SAME and plan.rig.slide is not None:
        values["slide_m"] = before["slide_m"] + along
    turned = np.abs(np.array(now.to_3x3()) - np.array(written.to_3x3())).max()
    if turned > GHOST_SAME:
        looking = np.array(rig.rail_matrix(plan).to_3x3() @ now.to_3x3())[:, 2] * -1.0
        seen, risen = geometry.bearing_and_altitude(looking, plan.site.scene_north_deg)
        pan = before.get("pan_deg", values.get("pan_deg", plan.site.scene_north_deg))
        bearing, altitude = unwound_deg(float(seen), pan), float(risen)
        tilt = before.get("tilt_deg", values.get("tilt_deg", 0.0))
        if abs(bearing - pan) > SAME["pan_deg"]:
            values["pan_deg"] = bearing
        if abs(altitude - tilt) > SAME["tilt_deg"]:
            values["tilt_deg"] = altitude
    return values


def _written(ghost: bpy.types.Object) -> Matrix | None:
    numbers = ghost.get(parts.WRITTEN_KEY)
    if numbers is None or len(numbers) != 16:
        return None
    return Matrix(np.array(list(numbers)).reshape(4, 4).tolist())


def _on_rail(scene: bpy.types.Scene, ghost: bpy.types.Object) -> Matrix:
    """Where a ghost stands as seen from the rail, also if it hangs on something else now."""
    rail = parts.object_of(scene, "rail")
    if rail is None or (ghost.parent == rail and not ghost.constraints):
        return ghost.matrix_basis.copy()
    depsgraph = parts.depsgraph_of(scene)
    return rail.evaluated_get(depsgraph).matrix_world.inverted() @ ghost.evaluated_get(depsgraph).matrix_world


def _ghost_shift(scene: bpy.types.Scene, ghost: bpy.types.Object) -> float:
    written = _written(ghost)
    return (
        0.0 if written is None else float(np.abs(np.array(_on_rail(scene, ghost)) - np.array(written)).max())
    )


# ---------------------------------------------------------------- curves


def read_axis(scene: bpy.types.Scene, frames: FrameTable, axis: str) -> AxisEdit | None:
    """What was done to one axis' curve, or None where it is as the plan draws it."""
    plan = frames.plan
    if getattr(plan.rig, PARTS[axis]) is None:
        return None
    values, curve = axis_now(scene, plan, axis)
    drawn = getattr(frames, axis)
    if curve is None:
        return _reshaped(values) if np.any(np.abs(values - drawn) > SAME[axis]) else None
    at, heights, kinds = keyframes.keys(curve)
    keyed = {round(float(frame)) for frame in at if abs(frame - round(frame)) < SAME_FRAME}
    decided = [
        (float(frame), float(rig.axis_values(plan, axis, height)))
        for frame, height, kind in zip(at, heights, kinds, strict=True)
        if kind == keyframes.KEYFRAME
    ]
    return _told_apart(plan, axis, drawn, values, decided, keyed)


def axis_now(scene: bpy.types.Scene, plan: Plan, axis: str) -> tuple[Array, bpy.types.FCurve | None]:
    """An axis' value on every frame as the scene has it, in the plan's units, and its curve if it has one."""
    part, path, index = rig.CHANNELS[axis]
    thing = parts.object_of(scene, part)
    assert thing is not None
    curve = keyframes.find_curve(thing, path, index)
    if curve is None or curve.mute:
        still = rig.axis_values(plan, axis, getattr(thing, path)[index])
        return np.full(plan.shoot.frames, float(still)), None
    numbers = np.arange(1.0, plan.shoot.frames + 1.0)
    return rig.axis_values(plan, axis, keyframes.evaluated(curve, numbers)), curve


def _told_apart(
    plan: Plan, axis: str, drawn: Array, values: Array, decided: list[tuple[float, float]], keyed: set[int]
) -> AxisEdit | None:
    """An edit of poses, a curve reshaped, or nothing; decided are frame and value of the keys of type
    Keyframe, keyed all frames with a key. A key that was deleted between poses says nothing of its own.
    """
    changed = set((np.flatnonzero(np.abs(values - drawn) > SAME[axis]) + 1).tolist())
    given = {i: pose for i, pose in enumerate(plan.move.poses) if getattr(pose, axis) is not None}
    pose_frames = {i: float(rig.frame_at(plan, pose.at)) for i, pose in given.items()}
    edit = AxisEdit(values={}, places={}, added={}, reshaped=None)
    loose = []
    for frame, value in decided:
        owner = next(
            (i for i, pose_frame in pose_frames.items() if abs(pose_frame - frame) < SAME_FRAME), None
        )
        if owner is None:
            loose.append((frame, value))
        elif abs(value - getattr(given[owner], axis)) > SAME[axis]:
            edit.values[owner] = value
    alone = {frame for frame in changed if not {frame - 1, frame + 1} & changed}
    of_keys = {round(frame) for frame, _ in decided if abs(frame - round(frame)) < SAME_FRAME}
    if changed - of_keys - alone:
        return _reshaped(values)
    missing = [
        i
        for i, pose_frame in pose_frames.items()
        if all(abs(pose_frame - frame) >= SAME_FRAME for frame, _ in decided)
    ]
    loose = [
        (frame, value)
        for frame, value in loose
        if abs(value - float(np.interp(frame, np.arange(1, len(drawn) + 1), drawn))) > SAME[axis] or missing
    ]
    for i, (frame, value) in zip(missing, loose, strict=False):
        edit.places[i], edit.values[i] = frame, value
    for frame, value in loose[len(missing) :]:
        edit.added[frame] = value
    for number in sorted((alone - of_keys) & keyed):
        edit.added[float(number)] = float(values[number - 1])
    return edit if edit.values or edit.places or edit.added else None


def _reshaped(values: Array) -> AxisEdit:
    return AxisEdit(values={}, places={}, added={}, reshaped=np.asarray(values, dtype=np.float64))
