"""Blender's camera stands and looks exactly as the FrameTable says, and its frame is the delivered clip
frame.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
import pytest
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Vector

from blender_addon.scene import parts
from planner_core import Plan, compute_frames
from planner_core.picture import projection
from planner_core.place.blocking import block_mesh
from planner_core.plan.file import plan_from_dict
from tests.addon.scenes import camera_matrices, drawn, turn_between_deg
from tests.two_towers import document, plan


def without(axis: str) -> Plan:
    """The evening with a rig that lacks an axis."""
    changed = document()
    del changed["rig"][axis]
    for pose in changed["move"]["poses"]:
        pose.pop("slide_m" if axis == "slide" else f"{axis}_deg")
    return plan_from_dict(changed)


PLANS = {
    "as it stands": plan(),
    "rail that climbs, lens far ahead of the head": plan(
        rig__incline_deg=23.0, rig__pupil_offset_m=0.31, rig__origin_m=[3.0, -7.5, 2.25]
    ),
    "three poses, one between frames": plan(
        move__poses=[
            {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": 3.0},
            {"at": 0.3337, "slide_m": 0.6, "tilt_deg": -2.0},
            {"at": 1.0, "slide_m": 1.4, "pan_deg": 270.0, "tilt_deg": 5.0},
        ]
    ),
    "pan through north, more than a turn": plan(
        rig__pan__max_deg=900.0,
        move__poses=[
            {"at": 0.0, "slide_m": 0.1, "pan_deg": 300.0, "tilt_deg": 0.0},
            {"at": 1.0, "slide_m": 0.2, "pan_deg": 800.0, "tilt_deg": 0.0},
        ],
    ),
    "no slide": without("slide"),
    "no tilt": without("tilt"),
}


@pytest.mark.parametrize("one", PLANS.values(), ids=PLANS)
def test_the_camera_is_where_the_frame_table_says_on_every_frame(one: Plan) -> None:
    scene, frames = drawn(one)
    found = camera_matrices(scene)
    assert np.abs(found[:, :3, 3] - frames.camera_m).max() < 1e-5
    assert turn_between_deg(found[:, :3, :3], frames.camera_rotation).max() < 1e-4


@pytest.mark.parametrize(
    "clip", [(3840, 2160), (4096, 2160), (1080, 1350), (3000, 3000), (3840, 1634)], ids=str
)
def test_blenders_frame_is_the_delivered_clip_frame(clip: tuple[int, int]) -> None:
    # bpy_extras.object_utils.world_to_camera_view is the reference; corners of all blocks, over the move
    one = plan(clip__width_px=clip[0], clip__height_px=clip[1])
    scene, frames = drawn(one)
    corners = np.vstack([block_mesh(one, block).vertices_m for block in one.blocks])
    seen = 0
    for frame in (0, 97, 359):
        scene.frame_set(frame + 1)
        assert scene.camera is not None
        expected, depth = projection.project_px(
            one, corners, frames.camera_m[frame], frames.camera_rotation[frame]
        )
        for corner, pixel, ahead in zip(corners, expected, depth, strict=True):
            x, y, z = world_to_camera_view(scene, scene.camera, Vector(corner)).to_tuple()
            if z > 0.0 and abs(x - 0.5) < 1.0 and abs(y - 0.5) < 1.0:
                seen += 1
                assert x * clip[0] == pytest.approx(pixel[0], abs=0.05 * clip[0] / 3840)
                assert (1.0 - y) * clip[1] == pytest.approx(pixel[1], abs=0.05 * clip[0] / 3840)
                assert z == pytest.approx(ahead, rel=1e-5)
    assert seen > 20


def test_only_the_three_axes_carry_keys() -> None:
    scene, _ = drawn(plan())
    keyed: dict[str, list[tuple[str, int]]] = {}
    for thing in scene.collection.all_objects:
        animation = thing.animation_data
        if animation and animation.action and parts.part_of(thing) not in ("sun", "moon"):
            bag = animation.action.layers[0].strips[0].channelbag(animation.action_slot)  # type: ignore[attr-defined]
            keyed[str(parts.part_of(thing))] = [(c.data_path, c.array_index) for c in bag.fcurves]
    assert keyed == {
        "carriage": [("location", 1)],
        "pan": [("rotation_euler", 2)],
        "tilt": [("rotation_euler", 0)],
    }


def test_the_rig_hangs_together_from_rail_to_camera() -> None:
    scene, _ = drawn(plan())
    chain, thing = [], scene.camera
    while thing is not None:
        chain.append(parts.part_of(thing))
        thing = thing.parent
    assert chain == ["camera", "tilt", "pan", "carriage", "rail"]


def test_the_carriage_slides_in_metres_along_the_rails_own_axis() -> None:
    scene, frames = drawn(plan(rig__incline_deg=10.0))
    carriage = parts.object_of(scene, "carriage")
    assert carriage is not None
    assert frames.slide_m is not None
    for frame in (1, 180, 360):
        scene.frame_set(frame)
        assert carriage.location.to_tuple() == pytest.approx((0.0, frames.slide_m[frame - 1], 0.0), abs=1e-6)


def test_each_pose_is_a_ghost_camera_where_the_camera_will_be() -> None:
    one = PLANS["three poses, one between frames"]
    scene, _ = drawn(one)
    ghosts = parts.objects_of(scene, "pose")
    assert [ghost["duskrail_at"] for ghost in ghosts] == [0.0, 0.3337, 1.0]
    for ghost, pose in zip(ghosts, one.move.poses, strict=True):
        frame = 1.0 + pose.at * 359
        scene.frame_set(int(frame), subframe=frame % 1.0)
        assert scene.camera is not None
        assert np.array(ghost.matrix_world) == pytest.approx(np.array(scene.camera.matrix_world), abs=2e-5)


def test_drawing_again_after_a_change_leaves_one_rig_that_follows_it() -> None:
    scene, _ = drawn(PLANS["three poses, one between frames"])
    names = sorted(thing.name for thing in scene.collection.all_objects)
    changed: dict[str, Any] = {"rig__bearing_deg": 20.0, "camera__focal_length_mm": 85.0}
    _, frames = drawn(plan(**changed), scene)
    assert sorted(thing.name for thing in scene.collection.all_objects) == [
        name for name in names if name != "Pose 3"
    ]
    found = camera_matrices(scene)
    assert np.abs(found[:, :3, 3] - frames.camera_m).max() < 1e-5
    assert isinstance(scene.camera.data, bpy.types.Camera)  # type: ignore[union-attr]
    assert scene.camera.data.lens == 85.0  # type: ignore[union-attr]


def test_two_scenes_keep_their_plans_apart() -> None:
    first, first_frames = drawn(plan())
    second, second_frames = drawn(plan(rig__bearing_deg=100.0), bpy.data.scenes.new("Second"))
    for scene, frames in ((first, first_frames), (second, second_frames)):
        assert np.abs(camera_matrices(scene)[:, :3, 3] - frames.camera_m).max() < 1e-5


def test_a_plan_of_a_single_frame_can_be_drawn() -> None:
    one = plan(shoot__frames=1)
    scene, frames = drawn(one)
    assert len(compute_frames(one)) == 1
    assert np.abs(camera_matrices(scene)[0, :3, 3] - frames.camera_m[0]).max() < 1e-5
