"""What has to be drawn again when a plan changes, and whether somebody moved what was drawn."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import attrs
import bpy

from planner_core import FrameTable, Plan

from . import blocking, lighting, parts, rig
from . import scene as whole_scene

RIG_PARTS = ("rail", "carriage", "pan", "tilt", "camera")


def redraw(scene: bpy.types.Scene, before: Plan | None, frames: FrameTable) -> None:
    """Bring what is drawn of a plan up to date, where it was that of `before` till now."""
    plan = frames.plan
    if before is None or any(parts.object_of(scene, part) is None for part in RIG_PARTS):
        whole_scene.build_scene(plan, frames, scene)
        return
    changed = {
        field.name for field in attrs.fields(Plan) if getattr(before, field.name) != getattr(plan, field.name)
    }
    when = bool(changed & {"site", "shoot"})
    if when or "clip" in changed:
        whole_scene.draw_timeline(scene, frames)
    if "blocks" in changed or before.rig.origin_m != plan.rig.origin_m or "site" in changed:
        _redraw_blocks(scene, before, plan)
    if changed & {"site", "camera", "clip", "rig", "exposure"}:
        rig.draw_rig(scene, frames)
    elif "move" in changed or before.shoot.frames != plan.shoot.frames:
        rig.draw_move(scene, frames)
    if when or "exposure" in changed:
        lighting.draw_light(scene, frames)


def draw_rig(scene: bpy.types.Scene, frames: FrameTable) -> None:
    """Rig and poses as the plan has them."""
    rig.draw_rig(scene, frames)


def clear(scene: bpy.types.Scene) -> None:
    """Take everything that was drawn, and the plan, out of a scene; meshes that the user made stay."""
    for thing in parts.objects_of(scene, "block"):
        if thing.get(blocking.OWN_MESH_KEY):
            _keep_as_own(scene, thing)
    whole_scene.clear_scene(scene)


def _keep_as_own(scene: bpy.types.Scene, thing: bpy.types.Object) -> None:
    """Make a block's object an ordinary one again, outside the collections of roles."""
    for key in [key for key in thing.keys() if key.startswith("duskrail_")]:  # noqa: SIM118
        del thing[key]
    if thing.name not in scene.collection.objects:
        scene.collection.objects.link(thing)
    for collection in list(thing.users_collection):
        if parts.part_of(collection) is not None:
            collection.objects.unlink(thing)


def _redraw_blocks(scene: bpy.types.Scene, before: Plan, plan: Plan) -> None:
    """The blocks that differ; every other object keeps its block, whatever its number has become."""
    things = {int(thing.get(parts.INDEX_KEY, -1)): thing for thing in parts.objects_of(scene, "block")}
    was = kept_numbers(before, plan)
    just_marked = {n: things.pop(n) for n in sorted(things) if n >= len(before.blocks)}
    for gone in set(things) - set(was.values()):
        forget_block(scene, things.pop(gone))
    ridges_moved = before.rig.origin_m != plan.rig.origin_m or before.site != plan.site
    for number, block in enumerate(plan.blocks):
        old = was.get(number)
        thing = things.get(old) if old is not None else just_marked.get(number)
        if thing is not None:
            thing[parts.INDEX_KEY] = number
        same = thing is not None and old is not None and before.blocks[old] == block
        unnamed = not block.name and old != number  # its label has its number in it
        if not same or unnamed or (block.shape == "ridge" and ridges_moved):
            blocking.draw_block(scene, plan, number, block, thing)
    blocking.draw_level_ground(scene, plan)


def kept_numbers(before: Plan, plan: Plan) -> dict[int, int]:
    """For each block of the new plan that was there before, its number then. A block edited in place is the
    same one.
    """
    old, new = before.blocks, plan.blocks
    if len(old) == len(new):
        return {number: number for number in range(len(new))}
    matcher = difflib.SequenceMatcher(None, old, new, autojunk=False)
    return {run.b + step: run.a + step for run in matcher.get_matching_blocks() for step in range(run.size)}


def forget_block(scene: bpy.types.Scene, thing: bpy.types.Object) -> None:
    """Take a block's object out of the scene; a mesh that the user made stays, as an ordinary object."""
    if thing.get(blocking.OWN_MESH_KEY):
        _keep_as_own(scene, thing)
    else:
        parts.remove(thing)


def was_touched(scene: bpy.types.Scene, plan: Plan) -> bool:
    """Whether any block, pose or the rail differs from what was written into it, or is gone, or was added."""
    blocks, poses = parts.objects_of(scene, "block"), parts.objects_of(scene, "pose")
    if len(blocks) != len(plan.blocks) or len(poses) != len(plan.move.poses):
        return True
    rail = parts.object_of(scene, "rail")
    if rail is not None and not near(rig.flat(rail.matrix_basis), rig.flat(rig.rail_matrix(plan))):
        return True
    return any(differs(thing) for thing in (*blocks, *poses))


def differs(thing: bpy.types.Object) -> bool:
    """Whether an object stands, or has a mesh, other than it was drawn with."""
    written = thing.get(parts.WRITTEN_KEY)
    if written is None:
        return True
    now = rig.flat(thing.matrix_basis)
    if parts.part_of(thing) == "block":
        now += blocking.mesh_sums(thing)
    return not near(now, written)


def near(now: Sequence[float], then: Sequence[float]) -> bool:
    """Whether numbers are the same but for single precision."""
    return len(now) == len(then) and all(
        abs(a - b) <= 1e-6 * max(1.0, abs(b)) for a, b in zip(now, then, strict=True)
    )


# ---------------------------------------------------------------- what is amiss


def missing_parts(scene: bpy.types.Scene) -> list[str]:
    """The rig's parts that are gone from the scene, by name."""
    there = {parts.part_of(thing) for thing in scene.collection.all_objects}
    return [part for part in RIG_PARTS if part not in there]


def odd_parents(scene: bpy.types.Scene) -> list[str]:
    """What is said of blocks whose parents keep them from standing as the plan has them."""
    return []
