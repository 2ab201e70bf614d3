"""Every operator done, undone and done again; and a hundred of anything at random, with the scene still
telling the plan that the panels show.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blender_addon.read import readback
from blender_addon.scene import keyframes, parts, rig, store
from blender_addon.state import files, live
from blender_addon.ui import operators, translation
from blender_addon.ui.operators import plan_file
from blender_addon.ui.wording import FITS
from planner_core import Plan, compute_frames, load_plan, save_plan
from planner_core.edit import edits, kit, starter
from planner_core.plan.file import plan_to_text
from planner_core.plan.model import Photo, Pin
from planner_core.words import language
from tests.addon.scenes import planned
from tests.present import present

DAY = dt.date(2027, 3, 14)


def start() -> Plan:
    return starter.starter_plan(starter.PlanDefaults(), DAY)


@pytest.fixture
def scene(empty: Any) -> Any:
    """A scene with the starter's plan, and a mesh of the user's own."""
    scene = planned(start(), empty)
    mesh = bpy.data.meshes.new("shed")
    mesh.from_pydata(
        [(x, y, z) for z in (0, 3) for x, y in ((0, 0), (5, 0), (5, 4), (0, 4))],
        [],
        [(3, 2, 1, 0), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)],
    )
    shed = bpy.data.objects.new("shed", mesh)
    shed.location = (20.0, 30.0, 0.0)
    scene.collection.objects.link(shed)
    bpy.context.view_layer.update()
    return scene


def state() -> dict[str, Any]:
    """Everything that the add-on keeps or draws, in all scenes: plans, things and where they stand,
    keys, markers.
    """
    found: dict[str, Any] = {}
    for scene in sorted(bpy.data.scenes, key=lambda s: s.name):
        things = {}
        for thing in scene.collection.all_objects:
            number = thing.get(parts.INDEX_KEY)
            place = (
                [round(v, 4) for v in rig.flat(thing.matrix_basis)] if thing.animation_data is None else None
            )
            mesh = thing.data
            corners = len(mesh.vertices) if isinstance(mesh, bpy.types.Mesh) else 0
            things[f"{parts.part_of(thing)} {number} {thing.name}"] = (place, corners)
        curves = {}
        for axis, (part, path, index) in rig.CHANNELS.items():
            moved = parts.object_of(scene, part)
            curve = keyframes.find_curve(moved, path, index) if moved is not None else None
            curves[axis] = (
                None if curve is None else [round(float(v), 4) for v in keyframes.keys(curve)[1][::20]]
            )
        found[scene.name] = {
            "plan": store.stored_text(scene),
            "things": things,
            "curves": curves,
            "markers": sorted((marker.name, marker.frame) for marker in scene.timeline_markers),
            "frames": (scene.frame_start, scene.frame_end),
            "rows": (len(scene.duskrail.poses), len(scene.duskrail.blocks)),
        }
    return found


def select(part: str, number: int) -> None:
    for thing in bpy.context.view_layer.objects:
        thing.select_set(parts.part_of(thing) == part and thing.get(parts.INDEX_KEY) == number)
    bpy.context.view_layer.objects.active = next(iter(bpy.context.view_layer.objects.selected), None)


def select_blocks(numbers: set[int]) -> None:
    for thing in bpy.context.view_layer.objects:
        thing.select_set(parts.part_of(thing) == "block" and thing.get(parts.INDEX_KEY) in numbers)


def joined_blocks(numbers: set[int]) -> None:
    select_blocks(numbers)
    bpy.ops.duskrail.join_blocks()


def look_at_day(days: int) -> None:
    settings: Any = bpy.context.scene
    settings.duskrail.look_days = days


def select_own_mesh() -> None:
    for thing in bpy.context.view_layer.objects:
        thing.select_set(thing.name == "shed")


def remove_part(part: str) -> None:
    bpy.data.objects.remove(present(parts.object_of(present(bpy.context.scene), part)))


def break_the_balance() -> None:
    scene = present(bpy.context.scene)
    live.change_plan(scene, lambda plan: edits.evolved(plan, "shoot.anchor.at", 0.1))


def at_frame(number: int) -> None:
    bpy.context.scene.frame_set(number)


def no_preparation() -> None:
    pass


def cursor_at(x: float, y: float, z: float) -> None:
    bpy.context.scene.cursor.location = (x, y, z)


def with_a_photo() -> None:
    """A photograph with a pin on the first block that has a name."""
    scene = present(bpy.context.scene)

    def edit(plan: Plan) -> Plan:
        name = next(block.name for block in plan.blocks if block.name)
        photo = Photo(
            file="visit.jpg",
            width_px=640,
            height_px=480,
            place_m=(0.0, 0.0, 1.6),
            bearing_deg=plan.move.poses[0].pan_deg or 0.0,
            fov_deg=60.0,
            pins=(Pin(x_px=320.0, y_px=240.0, block=name, corner="2"),),
        )
        return attrs.evolve(plan, photos=(photo,))

    assert not live.change_plan(scene, edit)


Case = tuple[str, dict[str, Any], Callable[[], None]]
UNDONE: list[Case] = [
    ("new_scene", {}, no_preparation),
    ("remove_plan", {}, no_preparation),
    ("set_units", {}, lambda: setattr(bpy.context.scene.unit_settings, "scale_length", 0.1)),
    ("redraw", {}, lambda: remove_part("tilt")),
    ("step_day", {"days": 30}, no_preparation),
    ("plan_day", {}, lambda: look_at_day(60)),
    ("anchor_here", {}, lambda: at_frame(100)),
    ("go_to_event", {}, no_preparation),
    *(("add_block", {"kind": kind}, no_preparation) for kind in kit.PIECES),
    ("add_block", {"kind": "house", "where": "CURSOR"}, lambda: cursor_at(7.0, 21.0, 0.5)),
    ("add_ridge", {"bearing": math.radians(200.0)}, no_preparation),
    ("mark_block", {"role": "foreground"}, select_own_mesh),
    ("remove_block", {}, lambda: select("block", 3)),
    ("set_role", {"role": "foreground"}, lambda: select("block", 5)),
    ("join_blocks", {"called": "works"}, lambda: select_blocks({2, 3})),
    ("separate_blocks", {}, lambda: joined_blocks({2, 3})),
    ("place_rig", {}, lambda: cursor_at(2.0, -1.0, 0.0)),
    ("pose_add", {}, lambda: at_frame(120)),
    ("pose_remove", {"pose": 0}, no_preparation),
    ("pose_move", {"pose": 0, "way": "LATER"}, no_preparation),
    ("pose_go", {"pose": 1}, no_preparation),
    ("stand_here", {"pose": 0}, lambda: at_frame(200)),
    ("finding_go", {"finding": 0}, no_preparation),
    ("weakest_frame", {}, no_preparation),
    *(("apply_fit", {"kind": kind}, break_the_balance) for kind in FITS),
    ("read_back", {}, no_preparation),
    ("photo_unpin", {"photo": 0, "pin": 0}, with_a_photo),
    ("photo_remove", {"photo": 0}, with_a_photo),
    ("photo_block", {"photo": 0, "foot": (320.0, 470.0), "top": (320.0, 300.0)}, with_a_photo),
    ("photo_ridge", {"photo": 0, "points": "10,200 300,190 600,210"}, with_a_photo),
]
CHANGES_NOTHING_OF_THE_PLAN = {
    "set_units",
    "plan_day",
    "redraw",
    "go_to_event",
    "pose_go",
    "finding_go",
    "weakest_frame",
    "read_back",
}


@pytest.mark.parametrize(
    ("name", "options", "prepare"),
    UNDONE,
    ids=[f"{name}-{number}" for number, (name, *_) in enumerate(UNDONE)],
)
def test_an_operator_is_undone_and_done_again(
    scene: Any, name: str, options: dict[str, Any], prepare: Callable[[], None]
) -> None:
    prepare()
    bpy.context.view_layer.update()
    bpy.ops.ed.undo_push(message="before")
    before = state()
    assert getattr(bpy.ops.duskrail, name)(**options) == {"FINISHED"}
    bpy.ops.ed.undo_push(message=name)
    after = state()
    if name not in CHANGES_NOTHING_OF_THE_PLAN and options.get("kind") not in ("travel", "clip", "compose"):
        assert after != before
    bpy.ops.ed.undo()
    assert state() == before
    bpy.ops.ed.redo()
    assert state() == after


def test_starting_and_opening_a_plan_are_undone_too(empty: Any, tmp_path: Path) -> None:
    save_plan(start(), tmp_path / "evening.plan.json")
    for operate in (
        lambda: bpy.ops.duskrail.start_plan(),
        lambda: bpy.ops.duskrail.open(filepath=str(tmp_path / "evening.plan.json")),
    ):
        bpy.ops.ed.undo_push(message="before")
        before = state()
        assert operate() == {"FINISHED"}
        bpy.ops.ed.undo_push(message="after")
        after = state()
        bpy.ops.ed.undo()
        assert state() == before
        bpy.ops.ed.redo()
        assert state() == after
        bpy.ops.ed.undo()


def test_every_operator_is_among_those_tried() -> None:
    tried = {name for name, _, _ in UNDONE} | {
        # tried elsewhere, or with nothing to undo: files, views, messages, the preview
        *(
            "make_own",
            "take_setting",
            "restore_setting",
            "start_plan",
            "open",
            "save",
            "save_as",
            "save_sheet",
            "import_map",
            "dismiss",
            "review_now",
        ),
        *("show_place", "show_rig", "show_picture", "preview", "stills", "preview_stop", "preview_open"),
        *("evening", "finding_in_timeline", "first_scene", "photo_add", "photo_show", "photo_pin"),
        *("scout", "scout_stop", "scout_clear", "scout_step", "scout_choose", "scout_take", "scout_stand"),
        # of a log and of an evening's shots, in test_log_panel and test_shots_panel; a panorama's view
        *("open_log", "learn_from_log", "clear_log", "photo_turn"),
        *("add_shots", "go_to_shot", "take_remedy", "take_starts", "save_evening"),
    }
    assert {cls.bl_idname.removeprefix("duskrail.") for cls in operators.CLASSES} == tried
    for cls in operators.CLASSES:
        if cls.bl_idname.removeprefix("duskrail.") in {name for name, _, _ in UNDONE}:
            assert "UNDO" in cls.bl_options, cls.bl_idname


def test_editing_a_field_is_undone(scene: Any) -> None:
    bpy.ops.ed.undo_push(message="before")
    before = state()
    bpy.context.scene.duskrail.latitude = 50.0
    bpy.context.scene.duskrail.poses[1].pan = math.radians(280.0)
    bpy.ops.ed.undo_push(message="fields")
    assert state() != before
    bpy.ops.ed.undo()
    assert state() == before
    assert bpy.context.scene.duskrail.latitude == pytest.approx(46.5)


def test_an_object_moved_without_the_plan_knowing_is_undone_with_its_plan(scene: Any) -> None:
    # what the panel's number fields do: the undo step is taken before Blender works the scene out again
    bpy.ops.ed.undo_push(message="before")
    before = state()
    tower = next(b for b in parts.objects_of(scene, "block") if b.name == "lighthouse")
    tower.location.x += 4.0
    bpy.ops.ed.undo_push(message="moved")
    bpy.context.view_layer.update()
    moved = live.plan_of(present(bpy.context.scene))
    assert moved is not None
    assert moved != start()
    bpy.ops.ed.undo()
    assert state() == before
    assert live.plan_of(present(bpy.context.scene)) == start()


# ---------------------------------------------------------------- edits in the view


def told_by_scene(scene: Any) -> Plan:
    return readback.read_scene(scene).plan


def close(one: Plan, other: Plan) -> bool:
    """The same plan but for what single precision can't hold: a hundredth of a millimetre, 0.0005°."""

    def same(a: Any, b: Any) -> bool:
        if isinstance(a, dict):
            return isinstance(b, dict) and a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
        if isinstance(a, list):
            return isinstance(b, list) and len(a) == len(b) and all(map(same, a, b))
        if isinstance(a, float) and isinstance(b, float):
            return math.isclose(a, b, rel_tol=2e-6, abs_tol=5e-4)
        return bool(a == b)

    return same(json.loads(plan_to_text(one)), json.loads(plan_to_text(other)))


def test_a_block_moved_in_the_view_is_moved_in_the_plan_at_once(scene: Any) -> None:
    tower = next(b for b in parts.objects_of(scene, "block") if b.name == "lighthouse")
    tower.location.x += 4.0
    bpy.context.view_layer.update()
    plan = live.plan_of(scene)
    assert plan is not None
    (block,) = (b for b in plan.blocks if b.name == "lighthouse")
    assert block.centre_m is not None
    assert block.centre_m[0] == pytest.approx(10.0, abs=1e-4)


def test_a_pose_turned_in_the_view_turns_the_move_at_once(scene: Any) -> None:
    ghost = parts.objects_of(scene, "pose")[1]
    ghost.rotation_euler.z -= math.radians(5.0)  # clockwise: to the right, a larger bearing
    bpy.context.view_layer.update()
    plan = live.plan_of(scene)
    assert plan is not None
    assert plan.move.poses[1].pan_deg == pytest.approx(276.0, abs=1e-3)
    pan = parts.object_of(scene, "pan")
    curve = keyframes.find_curve(pan, *rig.PAN_CHANNEL)
    assert curve is not None
    drawn = rig.axis_values(plan, "pan_deg", keyframes.keys(curve)[1])
    assert drawn[-1] == pytest.approx(276.0, abs=1e-3)


def test_the_rail_moved_in_the_view_moves_the_rig_and_its_poses(scene: Any) -> None:
    rail = parts.object_of(scene, "rail")
    assert rail is not None
    rail.location.y += 0.5
    bpy.context.view_layer.update()
    plan = live.plan_of(scene)
    assert plan is not None
    assert plan.rig.origin_m[1] == pytest.approx(0.5, abs=1e-4)
    bpy.context.view_layer.update()
    worlds = [ghost.matrix_world.translation.to_tuple() for ghost in parts.objects_of(scene, "pose")]
    assert np.allclose(worlds, [m.translation.to_tuple() for m in rig.pose_matrices(plan)], atol=1e-4)


def test_deleting_and_duplicating_in_the_view_counts(scene: Any) -> None:
    blocks = len(start().blocks)
    tree = next(b for b in parts.objects_of(scene, "block") if b.name == "plane tree")
    bpy.data.objects.remove(tree)
    bpy.context.view_layer.update()
    plan = live.plan_of(scene)
    assert plan is not None
    assert len(plan.blocks) == blocks - 1
    assert "plane tree" not in {b.name for b in plan.blocks}
    house = next(b for b in parts.objects_of(scene, "block") if b.name == "inn")
    copy = house.copy()
    copy.data = house.data.copy()
    copy.location.x += 30.0
    scene.collection.objects.link(copy)
    bpy.context.view_layer.update()
    plan = live.plan_of(scene)
    assert plan is not None
    assert len(plan.blocks) == blocks
    assert len(scene.duskrail.blocks) == blocks
    assert close(told_by_scene(scene), plan)


def test_a_mesh_dropped_into_a_roles_collection_is_a_block(scene: Any) -> None:
    background = next(c for c in parts.collections_of(scene) if c.name.startswith("Background"))
    background.objects.link(bpy.data.objects["shed"])
    bpy.context.view_layer.update()
    plan = live.plan_of(scene)
    assert plan is not None
    (shed,) = (b for b in plan.blocks if b.name == "shed")
    assert shed.role == "background"
    assert shed.centre_m is not None
    assert shed.size_m == pytest.approx((5.0, 4.0, 3.0))


def test_a_marked_mesh_stays_the_users_when_it_is_unmarked(scene: Any) -> None:
    select_own_mesh()
    assert bpy.ops.duskrail.mark_block(role="foreground") == {"FINISHED"}
    plan = live.plan_of(scene)
    assert plan is not None
    assert plan.blocks[-1].name == "shed"
    corners = len(bpy.data.objects["shed"].data.vertices)
    live.choose_block(scene, len(plan.blocks) - 1)
    select("block", len(plan.blocks) - 1)
    assert bpy.ops.duskrail.remove_block() == {"FINISHED"}
    shed = bpy.data.objects["shed"]
    assert parts.part_of(shed) is None
    assert len(shed.data.vertices) == corners
    assert live.plan_of(scene) == start()


def test_taking_the_plan_out_leaves_the_users_things_alone(scene: Any) -> None:
    select_own_mesh()
    bpy.ops.duskrail.mark_block(role="background")
    assert bpy.ops.duskrail.remove_plan() == {"FINISHED"}
    assert [thing.name for thing in scene.collection.all_objects] == ["shed"]
    assert not [key for key in bpy.data.objects["shed"].keys() if "duskrail" in key]  # noqa: SIM118
    assert store.stored_plan(scene) is None
    assert len(scene.timeline_markers) == 0


def test_a_curve_reshaped_by_hand_is_taken_before_the_next_change(scene: Any) -> None:
    carriage = parts.object_of(scene, "carriage")
    curve = keyframes.find_curve(carriage, *rig.SLIDE_CHANNEL)
    assert curve is not None
    count = len(curve.keyframe_points)
    for point in curve.keyframe_points:
        share = (point.co.x - 1.0) / (count - 1.0)
        point.co.y = 0.1 + 0.9 * share  # steady, over more of the rail, no ease
    curve.update()
    scene.duskrail.title = "Steady now"
    plan = live.plan_of(scene)
    assert plan is not None
    slide = compute_frames(plan).slide_m
    assert slide is not None
    assert slide == pytest.approx(np.linspace(0.1, 1.0, count), abs=5e-4)  # half a millimetre
    assert plan.title == "Steady now"


# ---------------------------------------------------------------- a hundred of anything


def _fields(scene: Any, chance: random.Random) -> None:
    """One of the tab's fields set to something that may or may not be meant."""
    settings_ = scene.duskrail
    field, value = chance.choice(
        [
            ("latitude", chance.uniform(-70.0, 75.0)),
            ("longitude", chance.uniform(-180.0, 180.0)),
            ("north", math.radians(chance.uniform(0.0, 360.0))),
            ("frames", chance.randint(2, 300)),
            ("interval", chance.uniform(0.5, 40.0)),
            ("anchor_at", chance.uniform(0.0, 100.0)),
            ("event", chance.choice(["sunset", "sunrise", "solar_noon", "civil_dusk"])),
            ("timing", chance.choice(["ANCHOR", "START"])),
            ("focal_length", chance.uniform(12.0, 200.0)),
            ("ease", chance.uniform(0.0, 50.0)),
            ("bearing", math.radians(chance.uniform(0.0, 360.0))),
            ("incline", math.radians(chance.uniform(-20.0, 20.0))),
            ("head_height", chance.uniform(0.0, 0.4)),
            ("has_exposure", chance.random() < 0.5),
            ("f_number", chance.uniform(1.4, 16.0)),
            ("shutter_max", chance.choice(["5", "1/2", "nonsense"])),
            ("has_tilt", chance.random() < 0.5),
            ("has_slide", chance.random() < 0.5),
            ("date", chance.choice(["2027-06-01", "2028-01-15", "31 May"])),
            ("title", chance.choice(["A", "An evening", "Ünïcode ✓"])),
        ]
    )
    setattr(settings_, field, value)


def _rows(scene: Any, chance: random.Random) -> None:
    settings_ = scene.duskrail
    pose = chance.choice(list(settings_.poses))
    field, value = chance.choice(
        [
            ("at", chance.uniform(0.0, 100.0)),
            ("slide", chance.uniform(0.0, 1.2)),
            ("pan", math.radians(chance.uniform(200.0, 340.0))),
            ("tilt", math.radians(chance.uniform(-20.0, 20.0))),
            ("has_pan", chance.random() < 0.5),
            ("has_slide", chance.random() < 0.5),
        ]
    )
    setattr(pose, field, value)
    if len(settings_.blocks):
        block = chance.choice(list(settings_.blocks))
        changes: list[tuple[str, Any]] = [
            ("label", chance.choice(["gate", "mast", "pier"])),
            ("role", chance.choice(["subject", "foreground", "background"])),
            ("turn", math.radians(chance.uniform(0.0, 360.0))),
            ("lights", chance.choice(["ROLE", "ON", "OFF"])),
        ]
        setattr(block, *chance.choice(changes))


def _view(scene: Any, chance: random.Random) -> None:
    """Something grabbed, turned, scaled, renamed, deleted or duplicated in the view."""
    kind = chance.choice(["block", "block", "block", "pose", "rail"])
    things = parts.objects_of(scene, kind)
    if not things:
        return
    thing = chance.choice(things)
    act = chance.choice(["move", "move", "turn", "scale", "name", "delete", "copy"])
    if act == "move":
        thing.location.y += chance.uniform(-0.2, 0.2)
    elif act == "turn":
        thing.rotation_euler.z += chance.uniform(-0.2, 0.2)
    elif act == "scale" and kind == "block":
        thing.scale.x *= chance.uniform(0.5, 2.0)
    elif act == "name" and kind == "block":
        thing.name = chance.choice(["renamed", "other", "third"])
    elif act == "delete" and kind != "rail" and len(things) > 2:
        bpy.data.objects.remove(thing)
    elif act == "copy" and kind == "block":
        copy = thing.copy()
        copy.data = thing.data.copy()
        copy.location.x += 3.0
        scene.collection.objects.link(copy)
    bpy.context.view_layer.update()


def _operate(scene: Any, chance: random.Random) -> None:
    scene.cursor.location = (chance.uniform(-5.0, 5.0), chance.uniform(-5.0, 20.0), 0.0)
    scene.frame_set(chance.randint(1, scene.frame_end))
    calls: list[tuple[str, dict[str, Any]]] = [
        (
            "add_block",
            {"kind": chance.choice(sorted(kit.PIECES)), "where": chance.choice(["MAP", "CURSOR"])},
        ),
        ("add_ridge", {}),
        ("remove_block", {}),
        ("set_role", {"role": chance.choice(["subject", "foreground", "background"])}),
        ("mark_block", {"role": "background"}),
        ("place_rig", {"face_subject": chance.random() < 0.5}),
        ("pose_add", {}),
        ("pose_remove", {"pose": chance.randint(0, 3)}),
        ("pose_move", {"pose": chance.randint(0, 3), "way": chance.choice(["EARLIER", "LATER"])}),
        ("stand_here", {"pose": chance.randint(0, 3)}),
        ("step_day", {"days": chance.choice([-30, -1, 1, 7, 90])}),
        ("anchor_here", {}),
        ("read_back", {}),
        ("redraw", {}),
    ]
    name, options = chance.choice(calls)
    if name in ("remove_block", "set_role"):
        select("block", chance.randint(0, max(0, len(scene.duskrail.blocks) - 1)))
    if name == "mark_block":
        select_own_mesh()
    operator = getattr(bpy.ops.duskrail, name)
    if operator.poll():
        try:
            operator(**options)
        except RuntimeError as refused:  # what an operator reports as an error, Blender raises to scripts
            assert "Traceback" not in str(refused), refused


@settings(max_examples=3, deadline=None, suppress_health_check=list(HealthCheck))
@given(number=st.integers(0, 10**6))
def test_after_a_hundred_of_anything_the_scene_tells_the_plan_that_is_shown(
    addon: None, capfd: pytest.CaptureFixture[str], number: int
) -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    live.clear()
    scene = present(bpy.context.scene)
    live.set_plan(scene, start())
    mesh = bpy.data.meshes.new("shed")
    mesh.from_pydata(
        [(0, 0, 0), (4, 0, 0), (4, 4, 0), (0, 4, 0), (2, 2, 5)], [], [(3, 2, 1, 0), (0, 1, 4), (1, 2, 4)]
    )
    scene.collection.objects.link(bpy.data.objects.new("shed", mesh))
    chance = random.Random(number)
    for _ in range(100):
        chance.choice([_fields, _rows, _view, _operate, _operate])(scene, chance)
        check_shown(scene)
    assert close(told_by_scene(scene), plan_shown(scene))
    out, err = capfd.readouterr()  # what goes wrong in a property or handler is only printed
    assert "Traceback" not in out + err
    # and the plan drawn into another scene tells the same again
    other = bpy.data.scenes.new("Other")
    live.set_plan(other, plan_shown(scene))
    assert close(told_by_scene(other), plan_shown(scene))
    live.set_plan(other, told_by_scene(other))
    assert told_by_scene(other) == plan_shown(other)


def plan_shown(scene: Any) -> Plan:
    plan = live.plan_of(scene)
    assert plan is not None
    return plan


def check_shown(scene: Any) -> None:
    """What the panels show is the plan's."""
    plan, settings_ = plan_shown(scene), scene.duskrail
    assert len(settings_.poses) == len(plan.move.poses)
    assert len(settings_.blocks) == len(plan.blocks)
    assert settings_.title == plan.title
    assert [pose.at / 100.0 for pose in settings_.poses] == pytest.approx(
        [p.at for p in plan.move.poses], abs=1e-6
    )
    assert [b.role for b in settings_.blocks] == [b.role for b in plan.blocks]
    things = parts.objects_of(scene, "block")
    assert [thing[parts.INDEX_KEY] for thing in things] == list(range(len(plan.blocks)))


# ---------------------------------------------------------------- the plan file


def test_saving_and_opening_give_the_plan_back(scene: Any, tmp_path: Path) -> None:
    path = tmp_path / "evening"
    assert bpy.ops.duskrail.save_as(filepath=str(path)) == {"FINISHED"}
    file = tmp_path / "evening.plan.json"
    assert load_plan(file) == start()
    assert not files.is_unsaved(scene)
    scene.duskrail.title = "Changed"
    assert files.is_unsaved(scene)
    assert bpy.ops.duskrail.open(filepath=str(file)) == {"FINISHED"}
    assert live.plan_of(scene) == start()
    assert not files.is_unsaved(scene)


def test_saving_takes_what_was_just_moved_along(scene: Any, tmp_path: Path) -> None:
    next(b for b in parts.objects_of(scene, "block") if b.name == "lighthouse").location.x += 4.0
    bpy.ops.duskrail.save_as(filepath=str(tmp_path / "evening.plan.json"))
    (block,) = (b for b in load_plan(tmp_path / "evening.plan.json").blocks if b.name == "lighthouse")
    assert block.centre_m is not None
    assert block.centre_m[0] == pytest.approx(10.0, abs=1e-4)


def test_a_file_changed_by_somebody_else_is_not_overwritten_without_asking(
    scene: Any, tmp_path: Path
) -> None:
    file = tmp_path / "evening.plan.json"
    bpy.ops.duskrail.save_as(filepath=str(file))
    theirs = attrs.evolve(start(), title="Theirs")
    save_plan(theirs, file)
    scene.duskrail.title = "Mine"
    assert plan_file.changed_on_disk(scene)
    with pytest.raises(RuntimeError, match=r"evening\.plan\.json was changed on disk since it was opened"):
        bpy.ops.duskrail.save()
    assert load_plan(file) == theirs
    assert bpy.ops.duskrail.save(overwrite=True) == {"FINISHED"}
    assert load_plan(file).title == "Mine"
    assert bpy.ops.duskrail.save() == {"FINISHED"}  # now it is ours again


@pytest.mark.parametrize(
    "content", ["", "{", '{"format": "duskrail-plan", "version": 1}', "\x00\x01", '{"format": "other"}']
)
def test_a_file_that_cannot_be_read_leaves_the_scene_as_it_was(
    scene: Any, tmp_path: Path, content: str
) -> None:
    before = state()
    file = tmp_path / "bad.plan.json"
    file.write_text(content, encoding="utf-8")
    with pytest.raises(RuntimeError, match="Error: ") as told:
        bpy.ops.duskrail.open(filepath=str(file))
    assert "Traceback" not in str(told.value)
    with pytest.raises(RuntimeError, match="does not exist"):
        bpy.ops.duskrail.open(filepath=str(tmp_path / "none.plan.json"))
    assert state() == before


def test_a_folder_that_is_not_there_is_told(scene: Any, tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match=r"can't be written: .*does not exist"):
        bpy.ops.duskrail.save_as(filepath=str(tmp_path / "nowhere" / "evening.plan.json"))
    with pytest.raises(RuntimeError, match="has no file yet"):
        bpy.ops.duskrail.save()


def test_a_blend_keeps_everything_without_a_plan_file(scene: Any, tmp_path: Path) -> None:
    before = state()
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "evening.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "evening.blend"))
    assert state() == before
    assert live.plan_of(present(bpy.context.scene)) == start()
    bpy.context.scene.duskrail.title = "Goes on"
    assert plan_shown(present(bpy.context.scene)).title == "Goes on"


@pytest.mark.parametrize(
    ("name", "ended"),
    [
        ("/a/evening", "/a/evening.plan.json"),
        ("/a/evening.json", "/a/evening.plan.json"),
        ("/a/evening.plan.json", "/a/evening.plan.json"),
        ("/a/evening.plan", "/a/evening.plan.json"),
        ("/a/", "/a/"),
    ],
)
def test_plan_files_end_as_they_should(name: str, ended: str) -> None:
    assert plan_file.with_ending(name) == ended


def test_the_shot_sheet_is_saved(scene: Any, tmp_path: Path) -> None:
    assert bpy.ops.duskrail.save_sheet(filepath=str(tmp_path / "sheet")) == {"FINISHED"}
    page = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "Evening at the mole" in page
    assert "16:" in page or "17:" in page or "18:" in page


def test_the_shot_sheet_is_in_one_language_whatever_blender_speaks(scene: Any, tmp_path: Path) -> None:
    pages = []
    for choose in (lambda: language.Language(language.ENGLISH), lambda: translation.LANGUAGES["de_DE"]):
        language.chosen_by(choose)
        try:
            assert bpy.ops.duskrail.save_sheet(filepath=str(tmp_path / "sheet.html")) == {"FINISHED"}
        finally:
            language.left(choose)
        pages.append((tmp_path / "sheet.html").read_text(encoding="utf-8"))
    assert pages[0] == pages[1]


def test_footprints_and_a_horizon_come_in_from_files(scene: Any, tmp_path: Path) -> None:
    lon, lat = 7.0 - 0.0008, 46.5 + 0.0003
    square = [[lon, lat], [lon + 0.0002, lat], [lon + 0.0002, lat + 0.0002], [lon, lat + 0.0002], [lon, lat]]
    house = {
        "type": "Feature",
        "properties": {"height": 12, "name": "mill"},
        "geometry": {"type": "Polygon", "coordinates": [square]},
    }
    (tmp_path / "map.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [house]}))
    (tmp_path / "ridge.csv").write_text("bearing,altitude\n250,1.0\n270,2.5\n290,1.5\n")
    before = len(plan_shown(scene).blocks)
    assert bpy.ops.duskrail.import_map(filepath=str(tmp_path / "map.geojson")) == {"FINISHED"}
    assert bpy.ops.duskrail.import_map(filepath=str(tmp_path / "ridge.csv")) == {"FINISHED"}
    added = plan_shown(scene).blocks[before:]
    assert [(b.name, b.shape) for b in added] == [("mill", "prism"), ("ridge", "ridge")]
    assert added[0].height_m == pytest.approx(12.0)
    (tmp_path / "bad.geojson").write_text("[]")
    with pytest.raises(RuntimeError):
        bpy.ops.duskrail.import_map(filepath=str(tmp_path / "bad.geojson"))
    assert len(plan_shown(scene).blocks) == before + 2
