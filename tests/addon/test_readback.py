"""An edited scene becomes a plan again: unchanged, poses moved, curves reshaped, blocks edited, rail and
lens moved.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mathutils import Matrix

from blender_addon.read.readback import ReadbackError, read_file, read_scene
from blender_addon.scene import keyframes, parts, rig, store
from planner_core import Plan, compute_frames
from planner_core.place.blocking import block_mesh
from planner_core.plan.model import Block
from planner_core.rig import motion
from tests.addon.scenes import drawn
from tests.present import present
from tests.two_towers import plan

POSES = [
    {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": 3.0},
    {"at": 0.3337, "slide_m": 0.6, "pan_deg": 265.5},
    {"at": 1.0, "slide_m": 1.4, "pan_deg": 270.0, "tilt_deg": 5.0},
]
THREE = plan(move__poses=POSES, shoot__frames=120, rig__incline_deg=4.0)
CHANNELS = {
    "slide_m": ("carriage", "location", 1),
    "pan_deg": ("pan", "rotation_euler", 2),
    "tilt_deg": ("tilt", "rotation_euler", 0),
}


def curve_of(scene: bpy.types.Scene, axis: str) -> Any:
    part, path, index = CHANNELS[axis]
    found = keyframes.find_curve(parts.object_of(scene, part), path, index)
    assert found is not None
    return found


def set_curve(
    scene: bpy.types.Scene, axis: str, keys: list[tuple[float, float]], kind: str = "BEZIER"
) -> None:
    """Throw an axis' keys away and put others there, as Blender's animators do: frame and value in the
    plan's unit.
    """
    curve = curve_of(scene, axis)
    curve.keyframe_points.clear()
    plan_now = store.stored_plan(scene)
    assert plan_now is not None
    for frame, value in keys:
        point = curve.keyframe_points.insert(frame, float(rig.channel_values(plan_now, axis, value)))
        point.interpolation = kind
    curve.update()


def assert_motion(made: Plan, scene: bpy.types.Scene) -> None:
    """The plan's motion is the scene's on every frame, within 0.5 mm and 0.01 degrees."""
    frames = compute_frames(made)
    numbers = np.arange(1.0, len(frames) + 1.0)
    for axis, largest in (("slide_m", 0.0005), ("pan_deg", 0.01), ("tilt_deg", 0.01)):
        there = rig.axis_values(made, axis, keyframes.evaluated(curve_of(scene, axis), numbers))
        assert np.abs(getattr(frames, axis) - there).max() <= largest, axis


# ---------------------------------------------------------------- nothing edited


def test_a_scene_nobody_touched_gives_its_plan_back() -> None:
    scene, _ = drawn(THREE)
    assert read_scene(scene).plan == THREE
    assert read_scene(scene).said == ()


def test_examples_come_back_as_they_were(example_plan: Plan) -> None:
    scene, _ = drawn(example_plan)
    assert read_scene(scene).plan == example_plan


number = st.floats(0.0, 1.0).map(lambda value: round(value, 6))  # a plan refuses what nobody can measure


@settings(max_examples=8)
@given(number, number, number, st.integers(1, 118), st.integers(-80, 80), st.integers(-500, 500))
def test_any_plan_survives_the_scene(
    a: float, b: float, c: float, middle: int, incline: float, far: float
) -> None:
    poses = [
        {"at": 0.0, "slide_m": 1.5 * a, "pan_deg": 200.0 + 100.0 * b, "tilt_deg": 40.0 * c},
        {"at": middle / 119.0 + 0.003, "slide_m": 1.5 * b, "tilt_deg": -40.0 * a},
        {"at": 1.0, "slide_m": 1.5 * c, "pan_deg": 200.0 + 150.0 * a, "tilt_deg": 40.0 * b},
    ]
    one = plan(
        move__poses=poses,
        shoot__frames=120,
        rig__incline_deg=incline,
        rig__origin_m=[far, -far, 0.9 + 0.1 * a],
    )
    scene, _ = drawn(one)
    assert read_scene(scene).plan == one


def test_a_file_gives_its_plan_back_and_the_scene_on_screen_stays_as_it_was(tmp_path: Path) -> None:
    scene, _ = drawn(THREE)
    scene.frame_set(40)
    assert read_scene(scene).plan == THREE
    assert scene.frame_current == 40
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "evening.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    assert read_file(tmp_path / "evening.blend").plan == THREE


# ---------------------------------------------------------------- poses


@pytest.mark.parametrize(
    ("axis", "pose"),
    [
        (axis, index)
        for axis in ("slide_m", "pan_deg", "tilt_deg")
        for index, pose in enumerate(THREE.move.poses)
        if getattr(pose, axis) is not None
    ],
)
def test_a_poses_key_with_another_value_is_that_pose_changed(axis: str, pose: int) -> None:
    scene, _ = drawn(THREE)
    wanted = getattr(THREE.move.poses[pose], axis) + (0.07 if axis == "slide_m" else 1.25)
    frame = float(rig.frame_at(THREE, THREE.move.poses[pose].at))
    point = min(curve_of(scene, axis).keyframe_points, key=lambda p: abs(p.co[0] - frame))
    point.co[1] = float(rig.channel_values(THREE, axis, wanted))
    curve_of(scene, axis).update()
    found = read_scene(scene).plan
    assert getattr(found.move.poses[pose], axis) == pytest.approx(wanted, abs=1e-5)
    others = [p for i, p in enumerate(found.move.poses) if i != pose]
    assert others == [p for i, p in enumerate(THREE.move.poses) if i != pose]
    assert attrs.evolve(found, move=THREE.move) == THREE


def test_a_poses_keys_on_another_frame_are_the_pose_moved_in_time() -> None:
    scene, _ = drawn(THREE)
    for axis in ("slide_m", "pan_deg"):
        curve = curve_of(scene, axis)
        place = float(rig.frame_at(THREE, POSES[1]["at"]))
        point = min(curve.keyframe_points, key=lambda p: abs(p.co[0] - place))
        value = point.co[1]
        curve.keyframe_points.remove(point)
        moved = min(curve.keyframe_points, key=lambda p: abs(p.co[0] - 61.0))
        moved.co[1], moved.type = value, "KEYFRAME"
        curve.update()
    found = read_scene(scene).plan.move.poses
    assert [pose.at for pose in found] == pytest.approx([0.0, 60.0 / 119.0, 1.0])
    assert (found[1].slide_m, found[1].pan_deg, found[1].tilt_deg) == (
        pytest.approx(0.6, abs=1e-5),
        pytest.approx(265.5, abs=1e-4),
        None,
    )


def test_a_key_of_its_own_is_a_new_pose() -> None:
    scene, _ = drawn(THREE)
    carriage = parts.object_of(scene, "carriage")
    assert carriage is not None
    scene.frame_set(81)
    carriage.location[1] = 1.3
    carriage.keyframe_insert("location", index=1, frame=81)
    found = read_scene(scene).plan.move.poses
    assert len(found) == 4
    assert found[2].at == pytest.approx(80.0 / 119.0)
    assert (found[2].slide_m, found[2].pan_deg, found[2].tilt_deg) == (pytest.approx(1.3), None, None)


def ghost(scene: bpy.types.Scene, number: int) -> bpy.types.Object:
    return parts.objects_of(scene, "pose")[number]


def test_a_ghost_slid_along_the_rail_is_the_poses_slide() -> None:
    scene, _ = drawn(THREE)
    ghost(scene, 1).location.y += 0.2
    ghost(scene, 1).location.z += 0.5  # off the rail doesn't count
    found = read_scene(scene).plan.move.poses[1]
    assert found.slide_m == pytest.approx(0.8, abs=1e-5)
    assert (found.pan_deg, found.tilt_deg) == (265.5, None)


def test_a_ghost_turned_is_the_poses_pan_and_tilt() -> None:
    scene, _ = drawn(THREE)
    one = ghost(scene, 2)
    scene.view_layers[0].update()
    place = one.matrix_world.to_translation()
    turn = Matrix.Rotation(math.radians(-4.0), 4, "Z") @ one.matrix_world.to_3x3().to_4x4()
    one.matrix_world = Matrix.Translation(place) @ turn
    found = read_scene(scene).plan.move.poses[2]
    assert found.pan_deg == pytest.approx(274.0, abs=1e-3)  # clockwise seen from above
    assert found.tilt_deg == 5.0
    assert found.slide_m == 1.4


def test_a_ghost_deleted_is_a_pose_less_and_a_copy_one_more() -> None:
    scene, _ = drawn(THREE)
    bpy.data.objects.remove(ghost(scene, 1))
    assert read_scene(scene).plan.move.poses == (THREE.move.poses[0], THREE.move.poses[2])
    scene, _ = drawn(THREE)
    copy = ghost(scene, 1).copy()
    parts.collection_of(scene, "poses", "Poses").objects.link(copy)
    copy.location.y += 0.3
    found = read_scene(scene).plan.move.poses
    assert len(found) == 4
    assert found[2].at == pytest.approx((0.3337 + 1.0) / 2.0)
    assert found[2].slide_m == pytest.approx(0.9, abs=1e-5)
    assert found[1] == THREE.move.poses[1]


def test_poses_are_found_again_after_they_were_renamed_and_hung_elsewhere() -> None:
    scene, _ = drawn(THREE)
    one = ghost(scene, 0)
    one.name = "where I begin"
    scene.view_layers[0].update()
    world = one.matrix_world.copy()
    one.parent = None
    one.matrix_world = world
    assert read_scene(scene).plan == THREE


# ---------------------------------------------------------------- curves


def test_a_curve_reshaped_by_hand_becomes_poses_that_make_it() -> None:
    scene, _ = drawn(THREE)
    set_curve(scene, "slide_m", [(1, 0.1), (60, 1.0), (120, 1.4)])
    found = read_scene(scene).plan
    assert_motion(found, scene)
    assert [pose.pan_deg for pose in found.move.poses if pose.pan_deg is not None] == [262.0, 265.5, 270.0]


def test_all_axes_in_straight_lines_are_two_poses() -> None:
    scene, _ = drawn(THREE)
    set_curve(scene, "slide_m", [(1, 0.1), (120, 1.4)], "LINEAR")
    set_curve(scene, "pan_deg", [(1, 262.0), (120, 270.0)], "LINEAR")
    set_curve(scene, "tilt_deg", [(1, 3.0), (120, 5.0)], "LINEAR")
    found = read_scene(scene).plan
    assert_motion(found, scene)
    assert len(found.move.poses) == 2
    assert found.move.ease == 0.0


def test_a_curve_of_another_move_becomes_that_moves_poses() -> None:
    # keys typed in from a plan with one pose more: exactly those poses come back
    other = plan(
        move__poses=[
            *POSES[:2],
            {"at": 90 / 119, "slide_m": 0.7, "pan_deg": 280.0, "tilt_deg": -3.0},
            POSES[2],
        ],
        shoot__frames=120,
    )
    scene, _ = drawn(THREE)
    for axis in CHANNELS:
        curve = curve_of(scene, axis)
        for point in list(curve.keyframe_points):
            exact = present(motion.axis_values(other.move, axis, (point.co[0] - 1.0) / 119.0))
            point.co[1] = float(rig.channel_values(THREE, axis, exact))
        curve.update()
    found = read_scene(scene).plan
    assert_motion(found, scene)
    assert len(found.move.poses) <= 4


def test_a_curve_with_a_modifier_is_read_as_it_moves() -> None:
    scene, _ = drawn(THREE)
    modifier = curve_of(scene, "tilt_deg").modifiers.new("FNGENERATOR")
    modifier.amplitude, modifier.phase_multiplier, modifier.use_additive = math.radians(0.5), 0.05, True
    found = read_scene(scene).plan
    assert_motion(found, scene)


def test_an_axis_whose_keys_were_deleted_stands_still() -> None:
    scene, _ = drawn(THREE)
    pan = parts.object_of(scene, "pan")
    assert pan is not None
    keyframes.clear_curve(pan, "rotation_euler", 2)
    pan.rotation_euler.z = float(rig.channel_values(THREE, "pan_deg", 268.0))
    frames = compute_frames(read_scene(scene).plan)
    assert frames.pan_deg == pytest.approx(np.full(120, 268.0), abs=0.01)
    assert frames.slide_m == pytest.approx(compute_frames(THREE).slide_m, abs=1e-9)


def test_drawing_what_was_read_changes_nothing_more() -> None:
    scene, _ = drawn(THREE)
    ghost(scene, 1).location.y += 0.2
    set_curve(scene, "tilt_deg", [(1, 3.0), (50, 4.5), (120, 5.0)])
    first = read_scene(scene).plan
    drawn(first, scene)
    assert read_scene(scene).plan == first


# ---------------------------------------------------------------- rail, head and lens


def test_the_rail_moved_and_turned_is_the_rigs_place() -> None:
    scene, _ = drawn(THREE)
    rail = parts.object_of(scene, "rail")
    assert rail is not None
    rail.location = (2.0, -3.5, 1.2)
    found = read_scene(scene).plan
    assert found.rig.origin_m == (2.0, -3.5, 1.2)
    assert attrs.evolve(found, rig=THREE.rig) == THREE
    rail.rotation_euler.z -= math.radians(15.0)
    found = read_scene(scene).plan
    assert found.rig.bearing_deg == pytest.approx((356.0 + 15.0) % 360.0, abs=1e-3)
    assert found.rig.incline_deg == pytest.approx(4.0, abs=1e-3)
    # the head hangs on the rail: in Blender the picture turned, so the poses did
    assert [pose.pan_deg for pose in found.move.poses] == pytest.approx([277.0, 280.5, 285.0], abs=1e-3)
    assert [(p.at, p.slide_m, p.tilt_deg) for p in found.move.poses] == [
        (p.at, p.slide_m, p.tilt_deg) for p in THREE.move.poses
    ]


def test_head_and_lens_come_back_changed() -> None:
    scene, _ = drawn(THREE)
    pan, camera = parts.object_of(scene, "pan"), parts.object_of(scene, "camera")
    assert pan is not None
    assert camera is not None
    pan.location.z, camera.location.y = 0.33, 0.08
    camera.data.lens = 50.0  # type: ignore[union-attr]
    found = read_scene(scene).plan
    assert (found.rig.head_height_m, found.rig.pupil_offset_m) == (0.33, 0.08)
    assert found.camera.focal_length_mm == 50.0
    assert found.move == THREE.move


# ---------------------------------------------------------------- blocks


def block_object(scene: bpy.types.Scene, name: str) -> bpy.types.Object:
    return next(thing for thing in parts.objects_of(scene, "block") if thing.name == name)


def by_name(one: Plan, name: str) -> Block:
    return next(block for block in one.blocks if block.name == name)


def test_a_block_moved_scaled_and_turned_comes_back_so() -> None:
    scene, _ = drawn(THREE)
    silo = block_object(scene, "South silo")
    silo.location = (-30.0, 310.0, 25.0)
    silo.scale = (1.5, 1.0, 0.5)
    silo.rotation_euler.z = math.radians(-20.0)
    found = by_name(read_scene(scene).plan, "South silo")
    assert found.centre_m == (-30.0, 310.0, 25.0)
    assert found.size_m == pytest.approx((36.0, 24.0, 30.0))
    assert found.turn_deg == pytest.approx(20.0, abs=1e-3)
    others = [b for b in read_scene(scene).plan.blocks if b.name != "South silo"]
    assert others == [b for b in THREE.blocks if b.name != "South silo"]


def test_a_prism_moved_takes_its_footprint_along() -> None:
    scene, _ = drawn(THREE)
    shed = block_object(scene, "Shed")
    shed.location.x += 10.0
    shed.location.z += 2.0
    shed.scale.z = 2.0
    found = by_name(read_scene(scene).plan, "Shed")
    before = by_name(THREE, "Shed")
    assert np.array(found.footprint_m) == pytest.approx(
        np.array(before.footprint_m) + np.array([10.0, 0.0]), abs=1e-3
    )
    assert (found.base_m, found.height_m) == (2.0, 18.0)


def test_a_ridge_brought_nearer_stands_higher() -> None:
    scene, _ = drawn(THREE)
    bank = block_object(scene, "Far bank")
    bank.scale = (0.5, 0.5, 1.0)
    found = by_name(read_scene(scene).plan, "Far bank")
    assert found.distance_m == pytest.approx(2000.0, abs=0.1)
    tangents = [math.tan(math.radians(a)) for _, a in by_name(THREE, "Far bank").skyline_deg or ()]
    assert [math.tan(math.radians(a)) for _, a in found.skyline_deg or ()] == pytest.approx(
        [2.0 * t for t in tangents], abs=1e-5
    )


def test_a_new_name_and_another_roles_collection_are_taken_over() -> None:
    scene, _ = drawn(THREE)
    shed = block_object(scene, "Shed")
    shed.name = "Boat house"
    for collection in list(shed.users_collection):
        collection.objects.unlink(shed)
    parts.collection_of(scene, "role:foreground", "Foreground").objects.link(shed)
    found = by_name(read_scene(scene).plan, "Boat house")
    assert found.role == "foreground"
    assert attrs.evolve(found, name="Shed", role="background") == by_name(THREE, "Shed")


def test_a_block_deleted_is_gone_and_a_copy_is_one_more() -> None:
    scene, _ = drawn(THREE)
    bpy.data.objects.remove(block_object(scene, "Bollard"))
    copy = block_object(scene, "South silo").copy()
    parts.collection_of(scene, "role:background", "Background").objects.link(copy)
    copy.location.x += 60.0
    found = read_scene(scene).plan
    assert "Bollard" not in [block.name for block in found.blocks]
    assert found.blocks[-1].centre_m == (33.0, 300.0, 30.0)
    assert len(found.blocks) == len(THREE.blocks)


def own_mesh(scene: bpy.types.Scene, name: str, vertices: Any, faces: Any, role: str = "background") -> Any:
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices, [], faces)
    thing = bpy.data.objects.new(name, mesh)
    parts.collection_of(scene, f"role:{role}", role.title()).objects.link(thing)
    return thing


CUBE = [(x, y, z) for z in (-1, 1) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
CUBE_FACES = [(3, 2, 1, 0), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]


def test_a_cube_of_the_users_own_in_a_roles_collection_is_a_box() -> None:
    scene, _ = drawn(THREE)
    cube = own_mesh(scene, "Kiosk", CUBE, CUBE_FACES, "foreground")
    cube.location, cube.scale, cube.rotation_euler.z = (3.0, 8.0, 1.25), (1.0, 2.0, 1.25), math.radians(-30.0)
    found = by_name(read_scene(scene).plan, "Kiosk")
    assert (found.role, found.shape) == ("foreground", "box")
    assert found.centre_m == (3.0, 8.0, 1.25)
    assert found.size_m == pytest.approx((2.0, 4.0, 2.5))
    assert found.turn_deg == pytest.approx(30.0, abs=1e-3)


def test_any_other_mesh_is_the_prism_over_its_outline() -> None:
    scene, _ = drawn(THREE)
    outline = [(0, 0), (4, 0), (4, 3), (2, 1), (0, 3)]  # an outline with a notch, drawn straight up
    walls = [(x, y, z) for z in (0.0, 2.0) for x, y in outline]
    faces = [(4, 3, 2, 1, 0), (5, 6, 7, 8, 9), *((i, (i + 1) % 5, 5 + (i + 1) % 5, 5 + i) for i in range(5))]
    own_mesh(scene, "Wall", walls, faces).location = (10.0, 0.0, 0.5)
    pyramid = own_mesh(
        scene, "Tent", [(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0), (0, 0, 3)], [(0, 1, 4)]
    )
    pyramid.location = (0.0, 30.0, 0.0)
    found = read_scene(scene).plan
    wall, tent = by_name(found, "Wall"), by_name(found, "Tent")
    assert sorted(wall.footprint_m or ()) == sorted((x + 10.0, float(y)) for x, y in outline)
    assert (wall.base_m, wall.height_m) == (0.5, 2.0)
    assert sorted(tent.footprint_m or ()) == [(-1.0, 29.0), (-1.0, 31.0), (1.0, 29.0), (1.0, 31.0)]
    assert tent.height_m == 3.0


def test_a_box_laid_on_its_side_becomes_a_prism_and_says_so() -> None:
    scene, _ = drawn(THREE)
    block_object(scene, "South silo").rotation_euler.x = math.radians(30.0)
    found = read_scene(scene)
    block = by_name(found.plan, "South silo")
    assert block.shape == "prism"
    assert any("South silo" in words and "prism" in words for words in found.said)
    points = block_mesh(found.plan, block).vertices_m
    assert np.ptp(points[:, 2]) == pytest.approx(
        60 * math.cos(math.pi / 6) + 24 * math.sin(math.pi / 6), abs=1e-3
    )


def test_own_meshes_stay_the_users_when_the_plan_is_drawn_again() -> None:
    scene, _ = drawn(THREE)
    cube = own_mesh(scene, "Kiosk", CUBE, CUBE_FACES)
    cube.location = (3.0, 8.0, 1.0)
    first = read_scene(scene).plan
    drawn(first, scene)
    assert [thing for thing in scene.collection.all_objects if thing.name.startswith("Kiosk")] == [cube]
    assert read_scene(scene).plan == first
    cube.location.x = 5.0
    assert by_name(read_scene(scene).plan, "Kiosk").centre_m == (5.0, 8.0, 1.0)
    drawn(THREE, scene)
    assert parts.part_of(cube) is None
    assert read_scene(scene).plan == THREE


def test_a_block_under_a_scaled_and_turned_parent_is_where_it_looks_to_be() -> None:
    scene, _ = drawn(THREE)
    parent = bpy.data.objects.new("Group", None)
    scene.collection.objects.link(parent)
    parent.scale, parent.location = (2.0, 2.0, 2.0), (5.0, 0.0, 0.0)
    block_object(scene, "South silo").parent = parent
    found = by_name(read_scene(scene).plan, "South silo")
    assert found.centre_m == (-27.0 * 2 + 5.0, 600.0, 60.0)
    assert found.size_m == (48.0, 48.0, 120.0)


# ---------------------------------------------------------------- what can't be read back


def test_a_file_without_a_plan_is_refused_in_a_line(tmp_path: Path) -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "empty.blend"))
    (tmp_path / "text.blend").write_text("no blend at all")
    for name, words in (
        ("empty", "no scene in it has a plan"),
        ("text", "can't be read"),
        ("none", "not exist"),
    ):
        with pytest.raises(ReadbackError, match=words) as problem:
            read_file(tmp_path / f"{name}.blend")
        assert "\n" not in str(problem.value)


def test_a_rig_that_lost_a_part_says_which() -> None:
    scene, _ = drawn(THREE)
    bpy.data.objects.remove(present(parts.object_of(scene, "tilt")))
    with pytest.raises(ReadbackError, match="tilt"):
        read_scene(scene)


def test_a_camera_moved_by_something_else_is_refused() -> None:
    scene, _ = drawn(THREE)
    camera = parts.object_of(scene, "camera")
    assert camera is not None
    camera.location.x = 0.25
    with pytest.raises(ReadbackError, match="shift of camera or head of its own"):
        read_scene(scene)


def test_a_unit_scale_other_than_one_is_refused() -> None:
    scene, _ = drawn(THREE)
    scene.unit_settings.scale_length = 0.01
    with pytest.raises(ReadbackError, match="Unit Scale"):
        read_scene(scene)


def test_a_scaled_rail_is_refused() -> None:
    scene, _ = drawn(THREE)
    rail = parts.object_of(scene, "rail")
    assert rail is not None
    rail.scale = (1.0, 2.0, 1.0)
    with pytest.raises(ReadbackError, match="scaled"):
        read_scene(scene)
