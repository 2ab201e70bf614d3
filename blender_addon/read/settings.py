"""Blender's own settings of a scene that say something else than its plan: clip, frame range, camera, lens.

A plan that is drawn leaves them as somebody set them; the sidebar tells of each, with a way to take it into
the plan or to set it back.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import attrs
import bpy
from attrs import frozen

from planner_core.picture import projection
from planner_core.plan.model import Plan
from planner_core.words.language import say

from ..scene import parts

SAME = 1e-4  # relative; Blender keeps these in single precision


@frozen(kw_only=True)
class Difference:
    """A setting that differs: its key, what to say of it, and the plan that has it as Blender does (None
    where a plan can't).
    """

    key: str
    text: str
    take: Callable[[Plan], Plan] | None = None


def differences(scene: bpy.types.Scene, plan: Plan) -> list[Difference]:
    """Everything that somebody set otherwise than the plan has it."""
    all_of_them = [*_clip(scene, plan), *_cameras(scene)]
    camera = parts.object_of(scene, "camera")
    if camera is not None and isinstance(camera.data, bpy.types.Camera):
        all_of_them += _lens(camera.data, plan)
    return all_of_them


def _clip(scene: bpy.types.Scene, plan: Plan) -> list[Difference]:
    render, changed = scene.render, []
    fps = render.fps / render.fps_base
    if abs(fps - plan.clip.fps) > SAME * plan.clip.fps:
        changed.append(
            Difference(
                key="fps",
                text=say(
                    "Blender plays {fps:.6g} frames a second; the plan's clip has {planned:g}.",
                    fps=fps,
                    planned=plan.clip.fps,
                ),
                take=lambda now: attrs.evolve(now, clip=attrs.evolve(now.clip, fps=round(fps, 3))),
            )
        )
    first, last = scene.frame_start, scene.frame_end
    if (first, last) != (1, plan.shoot.frames):
        count = last - first + 1
        changed.append(
            Difference(
                key="frames",
                text=say(
                    "Blender's frames are {first} to {last}; the plan's are 1 to {planned}.",
                    first=first,
                    last=last,
                    planned=plan.shoot.frames,
                ),
                take=lambda now: attrs.evolve(now, shoot=attrs.evolve(now.shoot, frames=count)),
            )
        )
    width, height = render.resolution_x, render.resolution_y
    if (width, height) != (plan.clip.width_px, plan.clip.height_px):
        changed.append(
            Difference(
                key="size",
                text=say(
                    "Blender's picture is {width} × {height} px; the plan's clip {wide} × {high}.",
                    width=width,
                    height=height,
                    wide=plan.clip.width_px,
                    high=plan.clip.height_px,
                ),
                take=lambda now: attrs.evolve(
                    now, clip=attrs.evolve(now.clip, width_px=width, height_px=height)
                ),
            )
        )
    return changed


def _cameras(scene: bpy.types.Scene) -> list[Difference]:
    rig_camera = parts.object_of(scene, "camera")
    changed = []
    if scene.camera is not None and scene.camera != rig_camera:
        told = "Blender looks through {camera}; the plan only uses the rig's camera."
        text = say(told, camera=scene.camera.name)
        changed.append(Difference(key="camera", text=text))
    bound = [m for m in scene.timeline_markers if m.camera is not None and m.camera != rig_camera]
    if bound:
        told = "The marker {marker} changes to another camera; the plan only uses the rig's camera."
        text = say(told, marker=bound[0].name)
        changed.append(Difference(key="markers", text=text))
    return changed


def _lens(camera: Any, plan: Plan) -> list[Difference]:
    faults = []
    crop = projection.delivered_crop(plan.camera, plan.clip)
    if camera.type != "PERSP":
        faults.append(say("The rig's camera is not in perspective; a plan can't have that."))
    if max(abs(camera.shift_x), abs(camera.shift_y)) > SAME:
        faults.append(say("The rig's camera has its lens shifted; a plan can't have that."))
    if abs(camera.sensor_width - crop.width_mm) > SAME * crop.width_mm or camera.sensor_fit != "HORIZONTAL":
        wide = (
            "The rig's camera has a sensor {width:.4g} mm wide, where the clip is {clip:.4g} mm of it; "
            "a plan can't have that."
        )
        faults.append(say(wide, width=camera.sensor_width, clip=crop.width_mm))
    said = [Difference(key="lens", text=what) for what in faults[:1]]
    animated = {
        "lens": "The focal length is animated; a plan keeps one value for the whole move.",
        "dof.focus_distance": "The focus is animated; a plan keeps one value for the whole move.",
    }
    for path, text in animated.items():
        if is_animated(camera, path):
            said.append(Difference(key=f"animated:{path}", text=say(text)))
    return said


def is_animated(owner: Any, path: str) -> bool:
    """Whether keys, a driver or the NLA set a property of an ID."""
    animation = owner.animation_data
    if animation is None:
        return False
    if any(driver.data_path == path for driver in animation.drivers):
        return True
    actions = [animation.action, *(s.action for track in animation.nla_tracks for s in track.strips)]
    return any(curve.data_path == path for action in actions if action for curve in curves_of(action))


def stop_animating(owner: Any, path: str) -> None:
    """Take keys, driver and NLA off a property of an ID; the other properties keep theirs."""
    animation = owner.animation_data
    if animation is None:
        return
    owner.driver_remove(path)
    for action in [animation.action, *(s.action for track in animation.nla_tracks for s in track.strips)]:
        for layer in action.layers if action else ():
            for strip in layer.strips:
                for bag in strip.channelbags:
                    for curve in [curve for curve in bag.fcurves if curve.data_path == path]:
                        bag.fcurves.remove(curve)


def curves_of(action: Any, slot: Any = None) -> list[Any]:
    """The curves of an action: those of one slot, or all."""
    return [
        curve
        for layer in action.layers
        for strip in layer.strips
        for bag in strip.channelbags
        if slot is None or bag.slot_handle == slot.handle
        for curve in bag.fcurves
    ]


PLAN_PARTS: dict[str, Callable[[Plan], object]] = {
    "fps": lambda plan: plan.clip.fps,
    "frames": lambda plan: plan.shoot.frames,
    "size": lambda plan: (plan.clip.width_px, plan.clip.height_px),
    "lens": lambda plan: projection.delivered_crop(plan.camera, plan.clip),
}


def kept(scene: bpy.types.Scene, before: Plan, after: Plan) -> set[str]:
    """Keys of the settings to leave as they are while a plan changes: those that differ already, but for what
    the change itself is about.
    """
    return {
        difference.key
        for difference in differences(scene, before)
        if difference.key not in PLAN_PARTS
        or PLAN_PARTS[difference.key](before) == PLAN_PARTS[difference.key](after)
    }
