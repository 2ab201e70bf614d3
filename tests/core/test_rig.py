"""The rig's geometry: where rail, head and legs are, and where their shadow falls."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core import compute_frames
from planner_core.picture.projection import project_px
from planner_core.place.ground import ground_under_m
from planner_core.plan.model import Pose
from planner_core.rig import geometry
from planner_core.rig.axes import AxisPositions
from planner_core.rig.camera import camera_pose
from tests.moves import QUAY, bare_rig, box, move_of, with_poses, with_rig
from tests.present import present

bearings = st.floats(-360.0, 720.0)
altitudes = st.floats(-80.0, 80.0)


@given(bearings, altitudes, st.floats(-360.0, 360.0))
def test_bearing_and_altitude_come_back_from_a_direction(
    bearing: float, altitude: float, north: float
) -> None:
    found, rise = geometry.bearing_and_altitude(geometry.direction(bearing, altitude, north), north)
    assert (float(found) - bearing + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)
    assert float(rise) == pytest.approx(altitude, abs=1e-6)


@given(bearings, altitudes, st.floats(-360.0, 360.0))
def test_the_camera_is_never_rolled_or_mirrored(bearing: float, altitude: float, north: float) -> None:
    turn = geometry.camera_rotation(bearing, altitude, north)
    assert np.allclose(turn.T @ turn, np.eye(3), atol=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert turn[2, 0] == 0.0  # its right-hand side is level
    assert turn[2, 1] > 0.0  # and its top is up
    assert np.allclose(-turn[:, 2], geometry.direction(bearing, altitude, north))


def test_with_the_scene_turned_east_a_bearing_of_90_is_ahead() -> None:
    assert np.allclose(geometry.direction(90.0, 0.0, 90.0), [0.0, 1.0, 0.0], atol=1e-15)
    assert np.allclose(geometry.direction(180.0, 0.0, 90.0), [1.0, 0.0, 0.0], atol=1e-15)
    assert np.allclose(geometry.direction(0.0, 90.0, 90.0), [0.0, 0.0, 1.0], atol=1e-15)


def test_a_rail_that_rises_lifts_the_carriage() -> None:
    # by hand: a rail of bearing +Y rising by 30°: cos 30° ahead, sin 30° up for each metre
    plan = with_rig(QUAY, origin_m=(1.0, 2.0, 0.5), bearing_deg=270.0, incline_deg=30.0)
    assert geometry.carriage_position_m(plan, 1.0) == pytest.approx([1.0, 2.0 + np.cos(np.pi / 6), 1.0])
    assert geometry.carriage_position_m(plan, None) == pytest.approx([1.0, 2.0, 0.5])


@given(st.floats(0.0, 1.5), bearings, altitudes)
def test_head_and_pupil_offset_carry_the_camera(slide: float, pan: float, tilt: float) -> None:
    plan = with_rig(QUAY, head_height_m=0.2, pupil_offset_m=0.1)
    offset = geometry.camera_position_m(plan, slide, pan, tilt) - geometry.carriage_position_m(plan, slide)
    north = plan.site.scene_north_deg
    assert np.allclose(offset, [0.0, 0.0, 0.2] + 0.1 * geometry.direction(pan, tilt, north))


def test_axes_without_values_look_ahead_from_the_rails_start() -> None:
    pose = camera_pose(QUAY, AxisPositions(), (3,))
    assert pose.camera_m.shape == (3, 3)
    assert np.allclose(-pose.camera_rotation[:, :, 2], [0.0, 1.0, 0.0], atol=1e-15)
    x, y, z = QUAY.rig.origin_m
    assert np.allclose(pose.camera_m, [x, y + QUAY.rig.pupil_offset_m, z + QUAY.rig.head_height_m])


def test_the_pose_of_the_camera_is_that_of_the_frame_table() -> None:
    frames = compute_frames(QUAY)
    pose = camera_pose(QUAY, frames.axes, (len(frames),))
    assert np.array_equal(pose.camera_m, frames.camera_m)
    assert np.array_equal(pose.camera_rotation, frames.camera_rotation)


def test_with_pan_only_about_the_pupil_near_and_far_never_part() -> None:
    # parallax needs a moving pupil: any handbook of optics
    plan = with_poses(
        with_rig(QUAY, pupil_offset_m=0.0),
        Pose(at=0.0, slide_m=0.7, pan_deg=255.0, tilt_deg=0.0),
        Pose(at=1.0, slide_m=0.7, pan_deg=285.0, tilt_deg=0.0),
    )

    frames = compute_frames(plan)
    eye = frames.camera_m[0]
    near, far = (eye + distance * np.array([0.1, 1.0, 0.05]) for distance in (1.0, 300.0))
    one, _ = project_px(plan, near, frames.camera_m, frames.camera_rotation)
    other, _ = project_px(plan, far, frames.camera_m, frames.camera_rotation)
    assert np.abs(one - other).max() < 1e-6
    assert np.ptp(one[:, 0]) > 1000.0


# ---------------------------------------------------------------- rail, legs and shadow


def test_the_rail_runs_over_its_usable_range() -> None:
    points = geometry.rail_points_m(QUAY)
    assert points[0] == pytest.approx(geometry.carriage_position_m(QUAY, present(QUAY.rig.slide).min_m))
    assert points[-1] == pytest.approx(geometry.carriage_position_m(QUAY, present(QUAY.rig.slide).max_m))
    still = attrs.evolve(QUAY, rig=bare_rig(QUAY), move=move_of(Pose(at=0.0)))
    assert len(geometry.rail_points_m(still)) == 0


def test_legs_reach_the_ground_under_the_rails_ends() -> None:
    legs = geometry.leg_points_m(QUAY)
    assert legs[:, 2].min() == pytest.approx(0.0)  # the quay's top
    assert legs[:, 2].max() == pytest.approx(QUAY.rig.origin_m[2])


def test_legs_on_a_roof_stand_on_the_roof_and_not_in_the_street() -> None:
    street = box("ground", (0.0, 100.0, -0.5), (400.0, 400.0, 1.0))
    roof = box("ground", (0.0, 0.0, 19.5), (20.0, 20.0, 1.0))
    plan = with_rig(attrs.evolve(QUAY, blocks=(street, roof)), origin_m=(0.0, 0.0, 20.8))
    assert ground_under_m(plan, (0.0, 0.0, 20.8)) == pytest.approx(20.0)
    assert geometry.leg_points_m(plan)[:, 2].min() == pytest.approx(20.0)
    no_roof = attrs.evolve(plan, blocks=(street,))
    assert geometry.leg_points_m(no_roof)[:, 2].min() == pytest.approx(20.8 - geometry.LONGEST_LEGS_M)


@given(st.floats(0.2, 30.0), st.floats(0.5, 89.0), st.floats(0.0, 360.0))
def test_a_shadow_is_as_long_as_the_height_over_the_tangent(
    height: float, altitude: float, azimuth: float
) -> None:
    # h / tan(altitude), opposite the sun
    plan = attrs.evolve(QUAY, blocks=())
    sun = geometry.direction(azimuth, altitude, plan.site.scene_north_deg)
    point, way = geometry.shadow_on_ground_m(plan, [1.0, 2.0, height], sun)
    length = height / np.tan(np.radians(altitude))
    assert np.hypot(*(point[:2] - [1.0, 2.0])) == pytest.approx(length, rel=1e-9)
    assert point[2] == pytest.approx(0.0, abs=1e-6)
    assert way == pytest.approx(np.hypot(height, length))
    assert np.dot(point[:2] - [1.0, 2.0], sun[:2]) <= 1e-9


def test_a_shadow_stays_on_the_roof_it_falls_on() -> None:
    street = box("ground", (0.0, 100.0, -0.5), (400.0, 400.0, 1.0))
    roof = box("ground", (0.0, 0.0, 19.5), (20.0, 20.0, 1.0))
    plan = attrs.evolve(QUAY, blocks=(street, roof))
    point, way = geometry.shadow_on_ground_m(plan, [0.0, 0.0, 21.0], geometry.direction(90.0, 45.0, 270.0))
    assert point == pytest.approx([0.0, 1.0, 20.0])
    assert way == pytest.approx(np.sqrt(2.0))
    beyond_the_roof, _ = geometry.shadow_on_ground_m(
        plan, [0.0, 9.5, 21.0], geometry.direction(90.0, 45.0, 270.0)
    )
    assert beyond_the_roof == pytest.approx([0.0, 30.5, 0.0])


def test_no_sun_no_shadow() -> None:
    for altitude in (0.0, -5.0):
        point, way = geometry.shadow_on_ground_m(
            QUAY, [0.0, 0.0, 1.0], geometry.direction(270.0, altitude, 270.0)
        )
        assert np.isnan(point).all()
        assert np.isnan(way)
