"""What has to be drawn again when a plan changes, and whether somebody moved what was drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import attrs
import bpy
from attrs import frozen

from planner_core import FrameTable, Plan

from ..read import blocks as readblocks
from ..read import motion as readmotion
from ..read import settings as readsettings
from ..scene import blocking, lighting, parts, photos, rig, tides
from ..scene import build as whole_scene
from . import standing

RIG_PARTS = ("rail", "carriage", "pan", "tilt", "camera")


def redraw(scene: bpy.types.Scene, before: Plan | None, frames: FrameTable) -> bool:
    """Update what is drawn of a plan; what is drawn now is that of `before`. Returns whether the light was
    drawn too.
    """
    plan = frames.plan
    if before is None or any(parts.object_of(scene, part) is None for part in RIG_PARTS):
        whole_scene.build_scene(plan, frames, scene)
        return True
    keep = readsettings.kept(scene, before, plan)
    changed = {
        field.name for field in attrs.fields(Plan) if getattr(before, field.name) != getattr(plan, field.name)
    }
    when = bool(changed & {"site", "shoot"})
    if when or "clip" in changed:
        whole_scene.draw_timeline(scene, frames, keep)
    if "blocks" in changed or before.rig.origin_m != plan.rig.origin_m or "site" in changed:
        _redraw_blocks(scene, before, plan)
    if changed & {"photos", "site", "clip"}:
        photos.draw_photos(scene, plan)
    if (when or "blocks" in changed) and any(block.tidal for block in (*before.blocks, *plan.blocks)):
        tides.draw_tide(scene, frames)
    if changed & {"site", "camera", "clip", "rig", "exposure"}:
        rig.draw_rig(scene, frames, keep)
    elif "move" in changed or before.shoot.frames != plan.shoot.frames:
        rig.draw_move(scene, frames)
    if when or "exposure" in changed:
        lighting.draw_light(scene, frames)
    return when or "exposure" in changed


def draw_rig(scene: bpy.types.Scene, frames: FrameTable) -> None:
    """Rig and poses as the plan has them."""
    rig.draw_rig(scene, frames)


def draw_light(scene: bpy.types.Scene, frames: FrameTable) -> None:
    """Sun, moon and sky of these frames."""
    lighting.draw_light(scene, frames)


def is_lit_alike(known: FrameTable, frames: FrameTable) -> bool:
    """Whether the light of one table is that of another, of the same evening."""
    return lighting.is_lit_alike(known, frames)


def clear_foreign(scene: bpy.types.Scene) -> None:
    """Take off the rig what moves it beside its axes."""
    rig.clear_foreign(scene)


def clear(scene: bpy.types.Scene) -> None:
    """Remove everything that was drawn, and the plan, from a scene; meshes made by the user stay."""
    whole_scene.clear_scene(scene)


def _redraw_blocks(scene: bpy.types.Scene, before: Plan, plan: Plan) -> None:
    """The blocks that differ, where every object still has its block's number; else all of them."""
    things = blocking.block_objects(scene)
    if len(before.blocks) != len(plan.blocks) or not _numbered(things, len(plan.blocks)):
        blocking.draw_blocks(scene, plan)
        return
    ridges_moved = before.rig.origin_m != plan.rig.origin_m or before.site != plan.site
    for number, (old, block) in enumerate(zip(before.blocks, plan.blocks, strict=True)):
        if (block is not old and block != old) or (block.shape == "ridge" and ridges_moved):
            blocking.draw_block(scene, plan, number, block, things[number])
    blocking.draw_level_ground(scene, plan)


def _numbered(things: Sequence[bpy.types.Object], count: int) -> bool:
    """Whether there is one object for each block, in the plan's order."""
    return [int(thing.get(parts.INDEX_KEY, -1)) for thing in things] == list(range(count))


@frozen
class Touched:
    """What stands other than it was drawn: the rig (rail, lens or poses), and which blocks, by their number
    (None: all are to be looked at, for others may be there than were drawn).
    """

    rig: bool
    blocks: frozenset[int] | None


def touched(scene: bpy.types.Scene, plan: Plan) -> Touched | None:
    """Which blocks, poses or rail stand other than they were drawn, or are gone, or were added; None where
    nothing is.
    """
    suspected = standing.suspects(scene, plan)
    if suspected is not None and not suspected:
        return None
    moved = _rig_touched(scene, plan)
    things = blocking.block_objects(scene)
    if suspected is None and not _numbered(things, len(plan.blocks)):
        return Touched(moved, None)
    other = frozenset(number for number in standing.of(things, suspected) if differs(things[number]))
    if suspected is None:
        other |= _in_another_role(scene, things)
    if moved or other:
        return Touched(moved, other)
    standing.looked_through(scene, plan)
    return None


def _in_another_role(scene: bpy.types.Scene, things: Sequence[bpy.types.Object]) -> frozenset[int]:
    """Which of these blocks lie in no collection of the role that they are marked with, but in another's."""
    holding = readblocks.roles_of(scene)
    marked = ((number, holding.get(thing.session_uid), thing) for number, thing in enumerate(things))
    return frozenset(
        number for number, roles, thing in marked if roles and thing.get(blocking.ROLE_KEY) not in roles
    )


def _rig_touched(scene: bpy.types.Scene, plan: Plan) -> bool:
    """Whether a pose, the rail or the lens is other than it was drawn."""
    poses = parts.objects_of(scene, "pose")
    return (
        not _numbered(poses, len(plan.move.poses))
        or _rail_moved(scene, plan)
        or _lens_changed(scene, plan)
        or any(differs(pose) for pose in poses)
    )


def curves_touched(scene: bpy.types.Scene, frames: FrameTable) -> bool:
    """Whether somebody edited the curves of slide, pan or tilt."""
    if missing_parts(scene):
        return False
    return any(readmotion.read_axis(scene, frames, axis) is not None for axis in readmotion.AXES)


def settle(scene: bpy.types.Scene, frames: FrameTable, edited: Touched) -> None:
    """Put what still stands other than the plan has it, of what was touched, back to where it belongs."""
    plan = frames.plan
    things = blocking.block_objects(scene)
    if edited.blocks is None and not _numbered(things, len(plan.blocks)):
        blocking.draw_blocks(scene, plan)
        things = blocking.block_objects(scene)
    for number in range(len(things)) if edited.blocks is None else sorted(edited.blocks):
        if number < len(things) and differs(things[number]):
            blocking.draw_block(scene, plan, number, plan.blocks[number], things[number])
    if _rig_touched(scene, plan):
        rig.draw_rig(scene, frames, readsettings.kept(scene, plan, plan))
    standing.looked_through(scene, plan)


def restore_setting(scene: bpy.types.Scene, frames: FrameTable, key: str) -> None:
    """Set one of Blender's own settings (by the key that `read.settings` has for it) back to the plan's."""
    rig_camera = parts.object_of(scene, "camera")
    clip = {"fps": whole_scene.set_fps, "frames": whole_scene.set_frame_range, "size": whole_scene.set_size}
    if key in clip:
        clip[key](scene, frames.plan)
    elif key == "camera":
        scene.camera = rig_camera
    elif key == "markers":
        for marker in scene.timeline_markers:
            marker.camera = None
        scene.camera = rig_camera  # a bound marker takes the scene over
    elif key == "unkeyed":
        scene.frame_set(scene.frame_current, subframe=scene.frame_subframe)
    elif rig_camera is not None:
        if key.startswith("animated:"):
            readsettings.stop_animating(rig_camera.data, key.removeprefix("animated:"))
        else:
            rig.set_sensor(rig_camera.data, frames.plan)
        rig.set_lens(rig_camera.data, frames.plan)


def _lens_changed(scene: bpy.types.Scene, plan: Plan) -> bool:
    """Whether somebody set another focal length or focus on the rig's camera, for the whole move."""
    rig_camera = parts.object_of(scene, "camera")
    camera: Any = rig_camera.data if rig_camera is not None else None
    if camera is None:
        return False
    return any(
        not near([value], [planned]) and not readsettings.is_animated(camera, path)
        for path, value, planned in (
            ("lens", camera.lens, plan.camera.focal_length_mm),
            ("dof.focus_distance", camera.dof.focus_distance, plan.camera.focus_distance_m),
        )
    )


def _rail_moved(scene: bpy.types.Scene, plan: Plan) -> bool:
    rail = parts.object_of(scene, "rail")
    return rail is not None and not near(rig.flat(rail.matrix_basis), rig.flat(rig.rail_matrix(plan)))


def differs(thing: bpy.types.Object) -> bool:
    """Whether a block or pose stands, or has a mesh or name, other than it was drawn with."""
    written = thing.get(parts.WRITTEN_KEY)
    if written is None:
        return True
    if parts.part_of(thing) != "block":
        return not near(rig.flat(thing.matrix_basis), written)
    if thing.type != "MESH" or not blocking.keeps_name(thing):
        return True
    # where constraints or parents move it, as of Blender's last evaluation
    own = thing.parent is None and not thing.constraints
    numbers = tides.planned_numbers(thing, thing.matrix_basis if own else None)
    return not near([*numbers, *blocking.mesh_sums(thing)], written)


def near(now: Sequence[float], then: Sequence[float]) -> bool:
    """Whether numbers are equal within single precision."""
    return list(now) == list(then) or (
        len(now) == len(then)
        and all(abs(a - b) <= 1e-6 * max(1.0, abs(b)) for a, b in zip(now, then, strict=True))
    )


# ---------------------------------------------------------------- what is amiss


def missing_parts(scene: bpy.types.Scene) -> list[str]:
    """The rig's parts that are gone from the scene, by name."""
    there = {
        parts.part_of(obj)
        for collection in parts.collections_of(scene)
        if parts.part_of(collection) == "rig"
        for obj in collection.objects
    }
    if there.issuperset(RIG_PARTS):
        return []
    return [part for part in RIG_PARTS if parts.object_of(scene, part) is None]
