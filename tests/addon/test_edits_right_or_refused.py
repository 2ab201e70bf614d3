"""Edits of a scene by every means of Blender: read as Blender shows them, or refused with the reason."""

from __future__ import annotations

import itertools
import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.read import rig_check
from blender_addon.read.readback import ReadbackError, read_scene
from blender_addon.scene import keyframes, parts
from blender_addon.scene.build import build_scene
from blender_addon.state import live, redraw
from planner_core import Plan, compute_frames
from planner_core.place.blocking import block_mesh
from tests.addon.scenes import camera_matrices, drawn, empty_scene, turn_between_deg
from tests.two_towers import plan

FRAMES = 24
POSES = [
    {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": 3.0},
    {"at": 0.4, "slide_m": 0.6, "pan_deg": 265.5, "tilt_deg": 4.0},
    {"at": 1.0, "slide_m": 1.4, "pan_deg": 270.0, "tilt_deg": 5.0},
]
STAGE = plan(move__poses=POSES, shoot__frames=FRAMES)
PIXEL_DEG = math.degrees(STAGE.camera.sensor_width_mm / STAGE.camera.focal_length_mm / STAGE.clip.width_px)
WITHIN_M = 0.001  # and a pixel: what an edit may be off, by the rig's check of the camera

CHANNELS = {"carriage": ("location", 1), "pan": ("rotation_euler", 2), "tilt": ("rotation_euler", 0)}

Edit = Callable[[bpy.types.Scene, float], None]


def part(scene: bpy.types.Scene, name: str) -> Any:
    found = parts.object_of(scene, name)
    assert found is not None
    return found


def constrain(scene: bpy.types.Scene, name: str, size: float) -> None:
    aim = bpy.data.objects.new("Aim", None)
    aim.location = (-30.0 * size, 40.0, 3.0)
    scene.collection.objects.link(aim)
    part(scene, name).constraints.new("TRACK_TO" if name != "carriage" else "COPY_LOCATION").target = aim


def drive(scene: bpy.types.Scene, name: str, size: float) -> None:
    curve = part(scene, name).driver_add("location", 0)
    curve.driver.type = "SUM"
    line = curve.modifiers[0] if curve.modifiers else curve.modifiers.new("GENERATOR")
    line.coefficients = (0.1 * size, 0.0)


def key_location(scene: bpy.types.Scene, name: str, size: float) -> None:
    for frame, offset in ((1, 0.0), (FRAMES, 0.3 * size)):
        part(scene, name).location.x = offset
        part(scene, name).keyframe_insert("location", index=0, frame=frame)


def push_nla(scene: bpy.types.Scene, name: str, size: float) -> None:
    thing = part(scene, name)
    action = bpy.data.actions.new("Push")
    thing.animation_data_create()
    kept = (thing.animation_data.action, thing.animation_data.action_slot)
    thing.animation_data.action = action
    thing.keyframe_insert("rotation_euler", index=1, frame=1)
    thing.rotation_euler.y = 0.2 * size
    thing.keyframe_insert("rotation_euler", index=1, frame=FRAMES)
    slot = thing.animation_data.action_slot
    thing.animation_data.action = kept[0]
    if kept[0] is not None:
        thing.animation_data.action_slot = kept[1]
    strip = thing.animation_data.nla_tracks.new().strips.new("Push", 1, action)
    strip.action_slot = slot
    thing.rotation_euler.y = 0.0


def lean(scene: bpy.types.Scene, name: str, size: float) -> None:
    part(scene, name).rotation_euler.y += 0.1 * size


def shift_curve(scene: bpy.types.Scene, name: str, size: float) -> None:
    path, index = {"carriage": ("location", 1), "pan": ("rotation_euler", 2), "tilt": ("rotation_euler", 0)}[
        name
    ]
    curve = keyframes.find_curve(part(scene, name), path, index)
    assert curve is not None
    for point in curve.keyframe_points:
        point.co[1] += 0.02 * size * math.sin(point.co[0] / 7.0)
    curve.update()


RAIL: dict[str, Edit] = {
    "stays": lambda scene, size: None,
    "moved": lambda scene, size: setattr(part(scene, "rail"), "location", (size, -2.0, 1.0 + size)),
    "turned": lambda scene, size: setattr(part(scene, "rail").rotation_euler, "z", size),
}
BY = {"constraint": constrain, "driver": drive, "keys": key_location, "NLA": push_nla, "lean": lean}
EDITS = [
    *itertools.product(RAIL, BY, ("carriage", "pan", "tilt", "camera"), (-0.7, 0.9)),
    *(
        (rail, "curve", name, size)
        for rail in RAIL
        for name in ("carriage", "pan", "tilt")
        for size in (-1.0, 1.3)
    ),
    *((rail, "nothing", "rail", size) for rail in RAIL for size in (-2.0, -0.4, 0.3, 1.1, 3.0)),
]
WAYS: dict[str, Callable[..., None]] = {**BY, "curve": shift_curve, "nothing": lambda scene, name, size: None}


@pytest.mark.parametrize(("rail", "way", "name", "size"), EDITS)
def test_an_edit_is_read_as_blender_shows_it_or_refused(rail: str, way: str, name: str, size: float) -> None:
    scene, _ = drawn(STAGE)
    RAIL[rail](scene, size)
    WAYS[way](scene, name, size)
    for layer in scene.view_layers:
        layer.update()
    try:
        found = read_scene(scene).plan
    except ReadbackError as refused:
        assert way in BY, refused
        return
    shown, frames = camera_matrices(scene), compute_frames(found)
    away_m = np.linalg.norm(shown[:, :3, 3] - frames.camera_m, axis=1)
    turned_deg = turn_between_deg(shown[:, :3, :3], frames.camera_rotation)
    assert away_m.max() < WITHIN_M + 1e-4
    assert turned_deg.max() < PIXEL_DEG + 0.01


def test_a_rail_turned_by_hand_shows_the_same_picture_when_its_plan_is_drawn() -> None:
    scene, _ = drawn(STAGE)
    part(scene, "rail").rotation_euler.z -= math.radians(25.0)
    before = camera_matrices(scene)
    found = read_scene(scene).plan
    build_scene(found, compute_frames(found), scene)
    assert np.abs(camera_matrices(scene) - before).max() < 1e-4


def test_a_deleted_key_between_poses_is_no_pose() -> None:
    scene, _ = drawn(STAGE)
    for name, path, index in (("carriage", "location", 1), ("pan", "rotation_euler", 2)):
        curve = keyframes.find_curve(part(scene, name), path, index)
        assert curve is not None
        (point,) = [p for p in curve.keyframe_points if abs(p.co[0] - 7.0) < 0.01]
        curve.keyframe_points.remove(point)
        curve.update()
    assert len(read_scene(scene).plan.move.poses) == len(STAGE.move.poses)


# ---------------------------------------------------------------- blocks


def block(scene: bpy.types.Scene, name: str) -> Any:
    return next(b for b in parts.objects_of(scene, "block") if b.get("duskrail_name") == name)


def planned(made: Plan, name: str) -> Any:
    return next(b for b in made.blocks if b.name == name)


def reach_m(obj: Any, scene: bpy.types.Scene) -> tuple[np.ndarray, np.ndarray]:
    """The corners of the box around what Blender shows of an object."""
    scene.view_layers[0].update()
    shown = obj.evaluated_get(scene.view_layers[0].depsgraph)
    points = np.array([shown.matrix_world @ v.co for v in shown.data.vertices])
    return points.min(axis=0), points.max(axis=0)


def add_array(obj: Any) -> None:
    obj.modifiers.new("Array", "ARRAY").count = 3


def add_bevel(obj: Any) -> None:
    obj.modifiers.new("Bevel", "BEVEL").width = 0.5


def add_shape_key(obj: Any) -> None:
    obj.shape_key_add(name="Basis")
    key = obj.shape_key_add(name="Taller")
    for point in key.data:
        point.co.z *= 1.8
    key.value = 1.0


@pytest.mark.parametrize("shape", [add_array, add_bevel, add_shape_key])
def test_a_block_is_what_modifiers_and_shape_keys_make_of_it(shape: Callable[[Any], None]) -> None:
    scene, _ = drawn(STAGE)
    name = next(b.name for b in STAGE.blocks if b.shape == "box")
    shape(block(scene, name))
    low, high = reach_m(block(scene, name), scene)
    found = read_scene(scene).plan
    points = block_mesh(found, planned(found, name)).vertices_m
    assert points.min(axis=0) == pytest.approx(low, abs=1e-3)
    assert points.max(axis=0) == pytest.approx(high, abs=1e-3)
    build_scene(found, compute_frames(found), scene)  # drawn again, the modifier isn't applied twice
    assert reach_m(block(scene, name), scene)[1] == pytest.approx(high, abs=1e-3)


def test_a_ridge_with_one_vertex_pulled_up_stays_a_ridge() -> None:
    scene, _ = drawn(STAGE)
    bank = block(scene, "Far bank")
    count = len(bank.data.vertices) // 2
    bank.data.vertices[count + 1].co.z += 20.0
    found = planned(read_scene(scene).plan, "Far bank")
    assert found.shape == "ridge"
    before = planned(STAGE, "Far bank")
    raised = [b[1] - a[1] for a, b in zip(before.skyline_deg, found.skyline_deg, strict=True)]
    assert raised[1] > 0.1
    assert max(abs(r) for i, r in enumerate(raised) if i != 1) < 1e-3


def test_what_a_plan_cannot_have_of_a_block_is_told() -> None:
    scene, _ = drawn(STAGE)
    name = next(b.name for b in STAGE.blocks if b.shape == "box")
    block(scene, name).keyframe_insert("location", frame=1)
    block(scene, name).hide_render = True
    curve = bpy.data.objects.new("Path", bpy.data.curves.new("Path", "CURVE"))
    block(scene, name).users_collection[0].objects.link(curve)
    said = " ".join(read_scene(scene).said)
    assert "is animated" in said
    assert "is hidden" in said
    assert "Path isn't a mesh" in said


def test_a_deleted_subject_is_told_and_its_role_judged() -> None:
    scene, _ = drawn(STAGE)
    assert STAGE.composition is not None
    named = STAGE.composition.subject or next(b.name for b in STAGE.blocks if b.role == "subject")
    with_subject = plan(move__poses=POSES, shoot__frames=FRAMES, composition__subject=named)
    scene, _ = drawn(with_subject)
    parts.remove(block(scene, named))
    found = read_scene(scene)
    assert found.plan.composition is not None
    assert found.plan.composition.subject == ""
    assert any("is gone" in line for line in found.said)


def test_an_animated_lens_is_told_and_the_plan_keeps_its_own() -> None:
    scene, _ = drawn(STAGE)
    lens = part(scene, "camera").data
    lens.lens = 70.0
    lens.keyframe_insert("lens", frame=1)
    found = read_scene(scene)
    assert found.plan.camera == STAGE.camera
    assert any("focal length is animated" in line for line in found.said)


# ---------------------------------------------------------------- files


@pytest.mark.parametrize("kind", ["driver", "cut", "noise"])
def test_readback_ends_whatever_the_file(kind: str, tmp_path: Path, project_root: Path) -> None:
    blend, out = tmp_path / "evening.blend", tmp_path / "new.plan.json"
    ran = tmp_path / "ran.txt"
    scene, _ = drawn(STAGE)
    if kind == "driver":  # one that needs Python: Blender has it wait for its say-so
        lamp = bpy.data.objects.new("Lamp", None)
        scene.collection.objects.link(lamp)
        driver = lamp.driver_add("location", 0).driver
        driver.type = "SCRIPTED"
        driver.expression = f"len(open({str(ran)!r}, 'w').name)"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), compress=False)
    empty_scene()
    ran.unlink(missing_ok=True)
    if kind != "driver":
        content = bytearray(blend.read_bytes())
        half = len(content) // 2
        blend.write_bytes(
            content[:half] if kind == "cut" else content[:200] + bytes(half) + content[200 + half :]
        )
    done = subprocess.run(
        [sys.executable, "tools/duskrail.py", "readback", str(blend), "-o", str(out)],
        cwd=project_root,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert not ran.exists()
    if kind == "driver":
        assert done.returncode == 0
        assert out.exists()
    else:
        assert done.returncode == 2, done.stderr
        assert len(done.stderr.strip().splitlines()) == 1
        assert "evening.blend" in done.stderr
        assert not out.exists()


# ---------------------------------------------------------------- in the open scene


@pytest.mark.parametrize(
    ("way", "name"), [("constraint", "camera"), ("driver", "pan"), ("keys", "camera"), ("NLA", "pan")]
)
def test_what_hangs_on_the_rig_is_told_at_once_and_taken_off_by_setting_it_back(way: str, name: str) -> None:
    scene = empty_scene()
    live.set_plan(scene, STAGE)
    assert rig_check.differences(scene, STAGE) == []
    WAYS[way](scene, name, 0.9)
    assert [told.key for told in rig_check.differences(scene, STAGE)] == ["rig"]
    move_pose_key(scene, 0.7)
    assert not live.take_edits(scene), "taken though something else moves the camera"
    assert "something else moves it" in live.state_of(scene).problem
    assert live.plan_of(scene) == STAGE
    live.restore_setting(scene, "rig")
    scene.view_layers[0].update()
    assert rig_check.differences(scene, STAGE) == []
    now = live.plan_of(scene)
    assert now is not None
    assert now.move.poses[1].slide_m == pytest.approx(0.7), "the edit of the axis itself isn't lost"
    assert read_scene(scene).plan == now


def move_pose_key(scene: bpy.types.Scene, slide_m: float) -> None:
    """Give the second pose's key another slide."""
    curve = keyframes.find_curve(part(scene, "carriage"), *CHANNELS["carriage"])
    assert curve is not None
    (key,) = [p for p in curve.keyframe_points if abs(p.co[0] - (1.0 + 0.4 * (FRAMES - 1))) < 0.01]
    key.co[1] = slide_m
    curve.update()


def test_an_axis_moved_by_hand_and_not_keyed_is_told_and_stays_as_it_stands() -> None:
    scene, _ = drawn(STAGE)
    scene.frame_set(5)
    part(scene, "carriage").location.y += 0.2
    scene.view_layers[0].update()
    stands = part(scene, "carriage").location.y
    assert [told.key for told in rig_check.differences(scene, STAGE)] == ["unkeyed"]
    found = read_scene(scene)
    assert found.plan == STAGE
    assert any("isn't keyed" in line for line in found.said)
    assert part(scene, "carriage").location.y == stands
    redraw.restore_setting(scene, compute_frames(STAGE), "unkeyed")
    assert rig_check.differences(scene, STAGE) == []


def test_a_camera_shifted_beside_its_rig_is_told_at_once() -> None:
    scene = empty_scene()
    live.set_plan(scene, STAGE)
    part(scene, "camera").delta_location.x = 0.1
    scene.view_layers[0].update()
    assert [told.key for told in rig_check.differences(scene, STAGE)] == ["rig"]
    live.restore_setting(scene, "rig")
    scene.view_layers[0].update()
    assert rig_check.differences(scene, STAGE) == []
