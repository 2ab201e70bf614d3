"""Whether anything but its three axes moves the rig's camera: what hangs on the rig, and what Blender shows.

A plan knows slide, pan and tilt. Constraints, drivers, the NLA, keys of other channels and shifts of single
parts move the camera as well in Blender, and can't be read into a plan.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.plan.model import Plan
from planner_core.rig import geometry
from planner_core.words.language import phrase, say

from ..scene import keyframes, parts, rig
from . import motion as readmotion
from . import settings as readsettings
from .settings import Difference

Array = NDArray[np.float64]

OFF_RIG_M, OFF_RIG_DEG = 0.001, 0.02
PARENTS = {"carriage": "rail", "pan": "carriage", "tilt": "pan", "camera": "tilt"}
OWN_CHANNELS = {part: (path, index) for part, path, index in rig.CHANNELS.values()}


@frozen(kw_only=True, eq=False)
class CameraWanted:
    """Where rail and axes put the camera: places (frames, 3) in metres, rotations (frames, 3, 3)."""

    places_m: Array
    rotations: Array

    def is_off(self, camera_matrix: Any, number: int) -> bool:
        """Whether a camera's matrix (4, 4) is another than that of frame `number`, counted from 1."""
        now, place = np.array(camera_matrix), self.places_m[number - 1]
        reach = max(1.0, float(np.abs(place).max()) / 1000.0)
        away_m = float(np.linalg.norm(now[:3, 3] - place)) / reach
        turned_deg = float(np.degrees(np.abs(now[:3, :3] - self.rotations[number - 1]).max()))
        return away_m > OFF_RIG_M or turned_deg > OFF_RIG_DEG


def wanted(rail_matrix: Any, plan: Plan, axes: tuple[Any, Any, Any]) -> CameraWanted:
    """Where slide, pan and tilt (frames,) put the camera on a rail that stands with this matrix.

    plan has its rail where it stands now, in the direction that it was drawn in: what hangs on the rail
    turned with it since.
    """
    slide, pan, tilt = axes
    turn = np.array(rail_matrix)[:3, :3] @ np.array(rig.rail_matrix(plan))[:3, :3].T
    origin = np.asarray(plan.rig.origin_m)
    return CameraWanted(
        places_m=origin + (geometry.camera_position_m(plan, slide, pan, tilt) - origin) @ turn.T,
        rotations=turn @ geometry.camera_rotation(pan, tilt, plan.site.scene_north_deg),
    )


def first_frame_off(scene: bpy.types.Scene, plan: Plan) -> int | None:
    """The first frame on which Blender shows the camera elsewhere than rail and axes put it, or None.

    Every frame is evaluated, and the scene's frame set back. plan as `wanted` takes it.
    """
    depsgraph = parts.depsgraph_of(scene)
    camera, rail = parts.object_of(scene, "camera"), parts.object_of(scene, "rail")
    assert camera is not None
    assert rail is not None
    slide, pan, tilt = (readmotion.axis_now(scene, plan, axis)[0] for axis in readmotion.AXES)
    expected = wanted(rail.evaluated_get(depsgraph).matrix_world, plan, (slide, pan, tilt))
    before = scene.frame_current, scene.frame_subframe, _channels_now(scene)
    try:
        for number in range(1, plan.shoot.frames + 1):
            scene.frame_set(number)
            if expected.is_off(camera.evaluated_get(depsgraph).matrix_world, number):
                return number
    finally:
        scene.frame_set(before[0], subframe=before[1])
        for (part, path, index), value in before[2].items():  # what was moved by hand and isn't keyed yet
            thing = parts.object_of(scene, part)
            if getattr(thing, path)[index] != value:
                getattr(thing, path)[index] = value
    return None


def _channels_now(scene: bpy.types.Scene) -> dict[tuple[str, str, int], float]:
    """What the channels of the axes stand at."""
    things = {channel: parts.object_of(scene, channel[0]) for channel in rig.CHANNELS.values()}
    return {c: getattr(thing, c[1])[c[2]] for c, thing in things.items() if thing is not None}


# ---------------------------------------------------------------- without going through the frames


def differences(scene: bpy.types.Scene, plan: Plan) -> list[Difference]:
    """What to tell at once of a rig that moves otherwise than its plan, or may on some frame."""
    rig_differences = []
    hanging = foreign(scene)
    if hanging:
        text = say(
            "{what}, which may move the camera; a plan knows slide, pan and tilt only.", what=hanging[0]
        )
        rig_differences.append(Difference(key="rig", text=text))
    elif is_off_now(scene, plan):
        text = say(
            "The camera stands beside its rig: camera or head has a shift of its own, which no plan has."
        )
        rig_differences.append(Difference(key="rig", text=text))
    axes = unkeyed(scene, plan)
    if axes:
        rig_differences.append(Difference(key="unkeyed", text=unkeyed_text(scene, axes[0])))
    return rig_differences


def unkeyed_text(scene: bpy.types.Scene, axis: str) -> str:
    """What to say of an axis that was moved by hand and has no key for it."""
    thing = parts.object_of(scene, rig.CHANNELS[axis][0])
    assert thing is not None
    return say(
        "{thing} was moved on frame {frame} and isn't keyed, so the plan doesn't have it: insert a key (I), "
        "or Blender forgets it on the next frame.",
        thing=thing.name,
        frame=scene.frame_current,
    )


def foreign(scene: bpy.types.Scene) -> list[str]:
    """What hangs on the rig's parts that could move the camera on some frame, each in a few words."""
    return [what for part in ("rail", *PARENTS) for what in _foreign_on(scene, part)]


def _foreign_on(scene: bpy.types.Scene, part: str) -> list[str]:
    thing: Any = parts.object_of(scene, part)
    if thing is None:
        return []
    hanging = [
        say("{thing} has a constraint ({name})", thing=thing.name, name=constraint.name)
        for constraint in thing.constraints
        if constraint.enabled
    ]
    holder = parts.object_of(scene, PARENTS[part]) if part in PARENTS else None
    if thing.parent != holder or (holder is not None and thing.parent_type != "OBJECT"):
        hanging.append(say("{thing} has another parent", thing=thing.name))
    return hanging + [say(what, thing=thing.name) for what in _animated_by(thing, OWN_CHANNELS.get(part))]


def _animated_by(thing: Any, own: tuple[str, int] | None) -> list[str]:
    """What animates an object beside the keys of its own channel, as messages with a place for its name."""
    animation = thing.animation_data
    if animation is None:
        return []
    messages: list[str] = []
    if any(not driver.mute for driver in animation.drivers):
        messages.append(phrase("{thing} has a driver"))
    if any(not track.mute for track in animation.nla_tracks):
        messages.append(phrase("{thing} has NLA strips"))
    action = animation.action
    if action is None:
        return messages
    if animation.action_influence < 1.0 or animation.action_blend_type != "REPLACE":
        messages.append(phrase("{thing} has keys that are mixed in part only"))
    curves = readsettings.curves_of(action, animation.action_slot)
    if any((curve.data_path, curve.array_index) != own and not curve.mute for curve in curves):
        messages.append(phrase("{thing} has keys of other channels"))
    if any(curve.group is not None and curve.group.mute for curve in curves):
        messages.append(phrase("{thing} has keys that are muted as a group"))
    return messages


def unkeyed(scene: bpy.types.Scene, plan: Plan) -> list[str]:
    """The axes (slide_m, pan_deg, tilt_deg) that stand other than their keys have them on this frame."""
    frame, axes = scene.frame_current_final, []
    for axis, (part, path, index) in rig.CHANNELS.items():
        thing: Any = parts.object_of(scene, part)
        curve = keyframes.find_curve(thing, path, index) if thing is not None else None
        if curve is None or curve.mute:
            continue
        now, keyed = rig.axis_values(plan, axis, [getattr(thing, path)[index], curve.evaluate(frame)])
        if abs(now - keyed) > 3.0 * readmotion.SAME[axis]:
            axes.append(axis)
    return axes


def is_off_now(scene: bpy.types.Scene, plan: Plan) -> bool:
    """Whether the camera, as Blender evaluated it last, is elsewhere than rail and axes stand now."""
    camera, rail = parts.object_of(scene, "camera"), parts.object_of(scene, "rail")
    if camera is None or rail is None:
        return False
    axes = []
    for axis, (part, path, index) in rig.CHANNELS.items():
        thing = parts.object_of(scene, part)
        if thing is None:
            return False
        axes.append(rig.axis_values(plan, axis, [getattr(thing, path)[index]]))
    slide, pan, tilt = axes
    return wanted(rail.matrix_world, plan, (slide, pan, tilt)).is_off(camera.matrix_world, 1)
