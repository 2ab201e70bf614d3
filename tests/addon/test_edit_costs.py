"""An edit costs what it touches: held by counts of what is looked at, drawn and evaluated."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import attrs
import bpy
import numpy as np
import pytest

from blender_addon.read import blocks as readblocks
from blender_addon.read import readback
from blender_addon.scene import blocking, keyframes, parts
from blender_addon.state import handlers, live, redraw
from planner_core import Plan
from planner_core.draft.sky import picture_light
from planner_core.edit import edits, kit, starter
from planner_core.plan import file
from tests.present import present

BOXES = 10


def with_boxes(count: int) -> Plan:
    """A new plan with so many boxes more."""
    plan = starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))
    for number in range(count):
        spot = kit.spot_by_bearing(plan, 230.0 + 2.0 * number, 60.0 + 5.0 * number)
        plan = kit.with_blocks(plan, kit.piece_blocks(plan, "box", spot, (3.0, 3.0, 4.0)))
    return plan


@pytest.fixture
def scene(empty: Any) -> Any:
    """A plan with many blocks, drawn and looked through, and a mesh that is none of its."""
    stranger = bpy.data.objects.new("stranger", bpy.data.meshes.new("stranger"))
    empty.collection.objects.link(stranger)
    live.set_plan(empty, with_boxes(BOXES))
    bpy.context.view_layer.update()
    live.take_edits(empty)
    return empty


def block_of(scene: Any, name: str) -> Any:
    return next(b for b in parts.objects_of(scene, "block") if b.get("duskrail_name") == name)


class Counted:
    """How often something was called."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, owner: Any, name: str) -> None:
        self.count, real = 0, getattr(owner, name)

        def counting(*args: Any, **named: Any) -> Any:
            self.count += 1
            return real(*args, **named)

        monkeypatch.setattr(owner, name, counting)


def move_a_block(scene: Any) -> None:
    block_of(scene, "lighthouse").location.x += 1.0
    bpy.context.view_layer.update()


def set_a_field(scene: Any) -> None:
    scene.duskrail.anchor_at = 40.0


@pytest.mark.parametrize("edit", [move_a_block, set_a_field])
def test_an_edit_throws_nothing_away_for_which_blender_would_relate_all_objects_anew(
    scene: Any, monkeypatch: pytest.MonkeyPatch, edit: Any
) -> None:
    # with 3,000 other meshes in the file, each time it did took 0.25 s
    edit(scene)  # what is drawn for the first time is made
    scene.duskrail.f_number = 5.6
    things = {thing: (thing.session_uid, thing.data) for thing in scene.objects}
    made = [Counted(monkeypatch, parts, name) for name in ("remove", "discard", "new_object", "_new_data")]
    before = len(bpy.data.meshes), len(bpy.data.cameras), len(bpy.data.lights), len(bpy.data.actions)
    edit(scene)
    assert [called.count for called in made] == [0, 0, 0, 0]
    assert before == (
        len(bpy.data.meshes),
        len(bpy.data.cameras),
        len(bpy.data.lights),
        len(bpy.data.actions),
    )
    assert {thing: (thing.session_uid, thing.data) for thing in scene.objects} == things


def test_a_curve_that_is_drawn_again_is_the_same_curve_with_other_keys(scene: Any) -> None:
    carriage = parts.object_of(scene, "carriage")
    curve = keyframes.find_curve(carriage, "location", 1)
    assert curve is not None
    curve.modifiers.new("NOISE")
    address, count = curve.as_pointer(), len(curve.keyframe_points)
    keyframes.write_curve(carriage, "location", np.linspace(0.0, 0.5, count), 1)
    now = keyframes.find_curve(carriage, "location", 1)
    assert now is not None
    assert now.as_pointer() == address
    assert len(now.keyframe_points) == count
    assert now.keyframe_points[-1].co.y == pytest.approx(0.5)
    assert not len(now.modifiers)


def test_a_block_moved_asks_for_one_frame_table_and_draws_one_block(
    scene: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    tables = [Counted(monkeypatch, owner, "compute_frames") for owner in (live, readback)]
    drawn = Counted(monkeypatch, blocking, "draw_block")
    move_a_block(scene)
    assert sum(counted.count for counted in tables) == 1
    assert drawn.count <= 2  # the place it was dragged to, then that to the plan's decimals


# ---------------------------------------------------------------- one among many


def test_a_fields_edit_looks_at_no_block_and_lays_out_none(
    scene: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks = [
        Counted(monkeypatch, redraw, "differs"),
        Counted(monkeypatch, readblocks, "_read"),
        Counted(monkeypatch, blocking, "block_objects"),
        Counted(monkeypatch, blocking, "draw_block"),
    ]
    laid_out = Counted(monkeypatch, file, "_layout")
    set_a_field(scene)
    bpy.context.view_layer.update()
    assert [look.count for look in looks] == [0, 0, 0, 0]
    few = laid_out.count
    live.set_plan(scene, with_boxes(3 * BOXES))
    bpy.context.view_layer.update()
    live.take_edits(scene)
    laid_out.count = 0
    scene.duskrail.anchor_at = 45.0
    assert laid_out.count <= few


def test_a_block_moved_is_the_only_one_that_is_read(scene: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    read = Counted(monkeypatch, readblocks, "_read")
    differs = Counted(monkeypatch, redraw, "differs")
    move_a_block(scene)
    assert read.count == 1
    poses = len(present(live.plan_of(scene)).move.poses)
    assert differs.count <= 3 + 3 * poses


@pytest.mark.parametrize("edit", [move_a_block, set_a_field])
def test_an_edit_has_blender_evaluate_no_stranger(scene: Any, edit: Any) -> None:
    # setting a scene's, lamp's or camera's property, even to what it is, has Blender relate all objects anew
    edit(scene)
    bpy.context.view_layer.update()
    evaluated: set[str] = set()

    def hear(_scene: Any, depsgraph: Any) -> None:
        evaluated.update(update.id.name for update in depsgraph.updates)

    bpy.app.handlers.depsgraph_update_post.append(hear)
    try:
        block_of(scene, "lighthouse").location.x += 1.0 if edit is move_a_block else 0.0
        if edit is set_a_field:
            scene.duskrail.anchor_at = 42.0
        bpy.context.view_layer.update()
    finally:
        bpy.app.handlers.depsgraph_update_post.remove(hear)
    assert evaluated
    assert "stranger" not in evaluated


def test_an_edit_asks_a_stranger_but_a_few_times_what_it_is(
    scene: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    real = parts.part_of

    def counted(thing: Any) -> str | None:
        asked.append(thing.name)
        return real(thing)

    monkeypatch.setattr(parts, "part_of", counted)
    set_a_field(scene)
    bpy.context.view_layer.update()
    assert 0 < asked.count("stranger") <= 3  # 3,000 strangers take 6 ms to look through


# ---------------------------------------------------------------- and yet nothing is missed


def reshape(thing: Any) -> None:
    thing.data.transform(np.diag([2.0, 1.0, 1.0, 1.0]).tolist())
    thing.data.update()


def scale(thing: Any) -> None:
    thing.scale.x = 2.0


def move_hidden(thing: Any) -> None:
    thing.hide_viewport = True
    bpy.context.view_layer.update()
    thing.location.x += 2.0


def rename(thing: Any) -> None:
    thing.name = "shed"


def rename_hidden(thing: Any) -> None:
    thing.hide_viewport = True
    bpy.context.view_layer.update()
    thing.name = "shed"


def push_by_a_parent(thing: Any) -> None:
    thing.parent = bpy.data.objects["stranger"]
    bpy.data.objects["stranger"].location.y += 3.0


def hold_by_a_constraint(thing: Any) -> None:
    held: Any = thing.constraints.new("COPY_LOCATION")
    held.target = bpy.data.objects["stranger"]


def put_in_front(thing: Any) -> None:
    front = next(
        c for c in parts.collections_of(present(bpy.context.scene)) if c["duskrail_part"] == "role:foreground"
    )
    for collection in list(thing.users_collection):
        collection.objects.unlink(thing)
    front.objects.link(thing)


def duplicate(thing: Any) -> None:
    thing.users_collection[0].objects.link(thing.copy())


def delete(thing: Any) -> None:
    bpy.data.objects.remove(thing)


EDITS = (
    *(reshape, scale, move_hidden, rename, rename_hidden, push_by_a_parent, hold_by_a_constraint),
    *(put_in_front, duplicate, delete),
)


@pytest.mark.parametrize(
    ("edit", "evaluated"), [(edit, number % 2 == 0) for number, edit in enumerate(EDITS)]
)
def test_what_was_looked_through_is_looked_at_again_once_it_changes(
    scene: Any, edit: Callable[[Any], None], evaluated: bool
) -> None:
    set_a_field(scene)
    bpy.context.view_layer.update()
    before = present(live.plan_of(scene))
    edit(parts.objects_of(scene, "block")[-3])
    if evaluated:
        bpy.context.view_layer.update()
    live.take_edits(scene)
    after = present(live.plan_of(scene))
    assert after.blocks != before.blocks
    assert after.blocks == readback.read_scene(scene).plan.blocks  # where all are looked at


def test_undo_has_everything_looked_at_again(scene: Any) -> None:
    bpy.ops.ed.undo_push(message="start")
    move_a_block(scene)
    moved = present(live.plan_of(scene))
    bpy.ops.ed.undo_push(message="moved")
    bpy.ops.ed.undo()
    now = present(bpy.context.scene)
    handlers.on_undo(now)
    assert live.plan_of(now) != moved
    set_a_field(now)
    move_a_block(now)
    assert present(live.plan_of(now)).blocks == moved.blocks


def test_what_is_refused_stays_suspect_until_it_fits(scene: Any) -> None:
    rail = parts.object_of(scene, "rail")
    rail.scale.x = 2.0
    move_a_block(scene)
    refused = live.plan_of(scene)
    assert live.state_of(scene).problem
    rail.scale.x = 1.0
    bpy.context.view_layer.update()
    assert present(live.plan_of(scene)).blocks != present(refused).blocks


@pytest.mark.parametrize(
    "change",
    [
        lambda plan: edits.evolved(plan, "move.poses[0].pan_deg", plan.move.poses[0].pan_deg + 6.0),
        lambda plan: attrs.evolve(plan, blocks=plan.blocks[:3]),
    ],
)
def test_the_scenes_light_follows_what_the_meter_reads_of_another_picture(
    scene: Any, change: Callable[[Plan], Plan]
) -> None:
    assert live.change_plan(scene, change) == ""
    frames = present(live.frames_of(scene))
    curve = present(keyframes.find_curve(parts.object_of(scene, "sun").data, "energy"))
    level = np.pi * picture_light(frames).sun.max(axis=1)
    assert keyframes.keys(curve)[1] == pytest.approx(level, rel=1e-5, abs=1e-9)


def test_a_plans_text_is_the_same_whether_its_blocks_were_laid_out_before_or_not() -> None:
    plan = with_boxes(3)
    whole = file._layout(file.plan_to_dict(plan)) + "\n"
    assert file.plan_to_text(plan) == whole == file.plan_to_text(plan)
