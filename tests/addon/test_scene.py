"""A plan becomes a scene: place, light, timeline, all from the FrameTable."""

from __future__ import annotations

import math

import attrs
import bpy
import numpy as np
import pytest

from blender_addon.scene import blocking, keyframes, parts, store
from blender_addon.scene import build as scenes
from planner_core.draft.sky import picture_light
from planner_core.light import sky
from planner_core.place.blocking import block_mesh, ground_level_m
from tests.addon.scenes import drawn, empty_scene
from tests.two_towers import plan


def test_every_block_stands_in_its_roles_collection_as_the_core_has_it() -> None:
    one = plan()
    scene, _ = drawn(one)
    for thing, block in zip(parts.objects_of(scene, "block"), one.blocks, strict=True):
        assert thing.name == block.name
        assert [c.name for c in thing.users_collection] == [blocking.ROLE_COLLECTIONS[block.role]]
        mesh, expected = thing.data, block_mesh(one, block)
        assert isinstance(mesh, bpy.types.Mesh)
        world = np.array([thing.matrix_world @ v.co for v in mesh.vertices])
        assert world == pytest.approx(expected.vertices_m, rel=1e-6, abs=1e-4)
        assert [tuple(p.vertices) for p in mesh.polygons] == [tuple(face) for face in expected.faces]


def test_a_blocks_object_has_its_size_and_place_to_be_edited() -> None:
    one = plan(
        blocks=[
            {
                "name": "Hut",
                "role": "background",
                "shape": "box",
                "centre_m": [10, 20, 1.5],
                "size_m": [4, 6, 3],
                "turn_deg": 30.0,
            }
        ]
    )
    scene, _ = drawn(one)
    hut = parts.objects_of(scene, "block")[0]
    assert hut.location.to_tuple() == (10.0, 20.0, 1.5)
    assert hut.dimensions.to_tuple() == pytest.approx((4.0, 6.0, 3.0))
    assert hut.rotation_euler.z == pytest.approx(-math.radians(30.0))  # clockwise seen from above
    assert hut.scale.to_tuple() == pytest.approx((1.0, 1.0, 1.0))


def test_the_level_ground_reaches_to_the_horizon_and_covers_no_water() -> None:
    one = plan()
    scene, _ = drawn(one)
    ground = parts.object_of(scene, "ground")
    assert ground is not None
    top = max((ground.matrix_world @ v.co).z for v in ground.data.vertices)  # type: ignore[union-attr]
    assert ground_level_m(one) - 0.1 < top < ground_level_m(one)
    assert min(ground.dimensions[:2]) > 100_000


def test_the_sun_lamp_shines_from_where_the_sun_is_and_as_bright() -> None:
    scene, frames = drawn(plan())
    light = picture_light(frames)
    lamp = parts.object_of(scene, "sun")
    assert lamp is not None
    for frame in (0, 60, 150, 260):
        scene.frame_set(frame + 1)
        toward = np.array(lamp.matrix_world)[:3, 2]
        assert toward == pytest.approx(frames.sun_direction[frame], abs=1e-5)
        level = np.array(lamp.data.color) * lamp.data.energy / np.pi  # type: ignore[union-attr]
        assert level == pytest.approx(light.sun[frame], rel=1e-4, abs=1e-9)


def test_the_sun_is_out_once_it_has_set() -> None:
    scene, frames = drawn(plan())
    lamp = parts.object_of(scene, "sun")
    assert lamp is not None
    below = int(np.argmax(frames.sun_altitude_deg < 0.0))
    scene.frame_set(below + 1)
    assert lamp.data.energy == 0.0  # type: ignore[union-attr]
    scene.frame_set(below - 5)
    assert lamp.data.energy > 0.0  # type: ignore[union-attr]


def test_the_sky_is_keyed_with_the_cores_levels() -> None:
    scene, frames = drawn(plan())
    isotropic_levels = sky.component_levels(picture_light(frames))[:, 0]
    assert scene.world is not None
    isotropic = scene.world.node_tree.nodes["Isotropic"]  # type: ignore[union-attr]
    for frame in (0, 180, 330):
        scene.frame_set(frame + 1)
        assert np.array(isotropic.inputs[0].default_value) == pytest.approx(
            isotropic_levels[frame], rel=1e-4, abs=1e-9
        )  # type: ignore[attr-defined]


@pytest.mark.parametrize("fps", [24.0, 25.0, 24000 / 1001, 29.97, 12.5])
def test_the_timeline_is_the_clips(fps: float) -> None:
    scene, frames = drawn(plan(clip__fps=fps))
    assert (scene.frame_start, scene.frame_end) == (1, len(frames))
    assert scene.render.fps / scene.render.fps_base == pytest.approx(fps, rel=1e-6)
    assert (scene.render.resolution_x, scene.render.resolution_y) == (3840, 2160)


def test_light_events_are_marked_on_their_frames() -> None:
    # the anchor puts sunset halfway: frame 180.5 of 360
    scene, frames = drawn(plan())
    marks = {marker.name.rpartition(" ")[0]: marker.frame for marker in scene.timeline_markers}
    assert marks["Sunset"] in (180, 181)
    assert "Sunrise" not in marks
    dusk = int(np.argmax(frames.sun_true_altitude_deg < -6.0)) + 1
    assert abs(marks["Civil dusk"] - dusk) <= 1


def test_drawing_again_replaces_the_marks_but_keeps_the_users_own() -> None:
    scene, _ = drawn(plan())
    scene.timeline_markers.new("Lunch", frame=3)
    drawn(plan(shoot__anchor__at=0.25), scene)
    names = [marker.name for marker in scene.timeline_markers]
    assert names.count("Lunch") == 1
    assert sum(name.startswith("Sunset") for name in names) == 1


def test_the_scene_keeps_its_plan() -> None:
    one = plan()
    scene, _ = drawn(one)
    assert store.stored_plan(scene) == one


def test_blocks_taken_out_of_the_plan_leave_the_scene() -> None:
    scene, _ = drawn(plan())
    short = plan()
    blocks = [b for b in short.blocks if b.name != "Shed"]
    drawn(attrs.evolve(short, blocks=tuple(blocks)), scene)
    assert [thing.name for thing in parts.objects_of(scene, "block")] == [b.name for b in blocks]


def test_clearing_leaves_what_the_user_made_and_nothing_of_the_plan() -> None:
    scene = empty_scene()
    own = bpy.data.objects.new("My cube", bpy.data.meshes.new("My cube"))
    scene.collection.objects.link(own)
    drawn(plan(), scene)
    scenes.clear_scene(scene)
    assert [thing.name for thing in scene.collection.all_objects] == ["My cube"]
    assert list(scene.timeline_markers) == []
    assert store.stored_plan(scene) is None
    assert [action.name for action in bpy.data.actions if action.users > 0] == []


def test_keys_are_on_every_frame_and_poses_are_told_apart() -> None:
    scene, frames = drawn(
        plan(
            move__poses=[
                {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0},
                {"at": 0.5, "pan_deg": 280.0},
                {"at": 1.0, "slide_m": 1.4, "pan_deg": 270.0},
            ]
        )
    )
    pan, carriage = parts.object_of(scene, "pan"), parts.object_of(scene, "carriage")
    curve = keyframes.find_curve(pan, "rotation_euler", 2)
    assert curve is not None
    at, values, kinds = keyframes.keys(curve)
    assert set(range(1, 361)) <= set(at)
    assert at[kinds == keyframes.KEYFRAME].tolist() == [1.0, 180.5, 360.0]
    assert np.degrees(values[at == 180.5]) == pytest.approx([266.0 - 280.0], abs=1e-4)
    slide = keyframes.find_curve(carriage, "location", 1)
    assert slide is not None
    at, values, kinds = keyframes.keys(slide)
    assert at[kinds == keyframes.KEYFRAME].tolist() == [1.0, 360.0]
    assert values == pytest.approx(frames.slide_m, abs=1e-6)
