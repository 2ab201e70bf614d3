"""The delivered frame and its lens: crop, projection, star drift."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.picture import optics, projection
from planner_core.plan.model import Clip, Plan
from planner_core.rig import geometry
from tests.two_towers import plan

PLAN = plan()
CENTRE = (1920.0, 1080.0)


def at_latitude(latitude_deg: float, north_deg: float = 266.0) -> Plan:
    site = attrs.evolve(PLAN.site, latitude_deg=latitude_deg, scene_north_deg=north_deg)
    return attrs.evolve(PLAN, site=site)


def test_a_wide_clip_takes_the_whole_width_of_the_sensor() -> None:
    crop = projection.delivered_crop(PLAN.camera, PLAN.clip)
    assert (crop.width_mm, crop.height_mm) == (36.0, 20.25)  # 16:9 out of 3:2
    # the focal length over the width it covers, any handbook of optics
    assert crop.focal_px == pytest.approx(35.0 / 36.0 * 3840.0)


def test_an_upright_clip_takes_the_whole_height_of_the_sensor() -> None:
    crop = projection.delivered_crop(PLAN.camera, Clip(width_px=1080, height_px=1920, fps=24))
    assert (crop.width_mm, crop.height_mm) == (13.5, 24.0)
    # the focal length over the height it covers, any handbook of optics
    assert crop.focal_px == pytest.approx(35.0 / 24.0 * 1920.0)


@given(st.floats(0, 360), st.floats(-60, 60), st.floats(-180, 180), st.floats(0.1, 1e5))
def test_what_the_lens_points_at_is_in_the_middle_of_the_frame(
    pan: float, tilt: float, north: float, distance: float
) -> None:
    rotation = geometry.camera_rotation(pan, tilt, north)
    eye = np.array([3.0, -2.0, 1.0])
    xy, depth = projection.project_px(
        PLAN, eye + distance * geometry.direction(pan, tilt, north), eye, rotation
    )
    np.testing.assert_allclose(xy, CENTRE, atol=1e-5)
    assert depth == pytest.approx(distance)


def test_right_is_right_up_is_up_and_twice_as_far_is_half_as_much() -> None:
    rotation = geometry.camera_rotation(0.0, 0.0, 0.0)
    points = np.array([(1.0, 10.0, 0.5), (2.0, 20.0, 1.0), (1.0, 20.0, 0.5)])
    xy, _ = projection.project_px(PLAN, points, np.zeros(3), rotation)
    off = xy - CENTRE
    assert off[0, 0] > 0.0 > off[0, 1]
    np.testing.assert_allclose(off[1], off[0])
    np.testing.assert_allclose(off[2], off[0] / 2.0)


def test_what_is_behind_the_camera_has_no_place_in_the_picture() -> None:
    xy, depth = projection.project_px(
        PLAN, [(0.0, -5.0, 0.0)], np.zeros(3), geometry.camera_rotation(0.0, 0.0, 0.0)
    )
    assert np.all(np.isnan(xy))
    assert depth[0] < 0.0


def test_full_frame_focal_length_of_a_small_sensor() -> None:
    camera = attrs.evolve(PLAN.camera, sensor_width_mm=18.0, sensor_height_mm=12.0, focal_length_mm=25.0)
    # the ratio of the diagonals, 2 here (CIPA DC-008, FocalLengthIn35mmFilm)
    assert optics.full_frame_focal_mm(camera) == pytest.approx(50.0, rel=1e-4)


def measured(lowest: float, highest: float) -> st.SearchStrategy[float]:
    """Values as a plan takes them: to a billionth, since smaller ones can't be measured."""
    return st.floats(lowest, highest).map(lambda value: round(value, 9))


@given(measured(-80, 80), st.floats(0, 360), st.floats(0, 60), measured(-360, 360))
def test_star_drift_does_not_depend_on_how_the_scene_is_turned(
    latitude: float, bearing: float, altitude: float, north: float
) -> None:
    straight, turned = at_latitude(latitude, 0.0), at_latitude(latitude, north)
    expected = optics.star_drift_px_s(straight, geometry.camera_rotation(bearing, altitude, 0.0))
    found = optics.star_drift_px_s(turned, geometry.camera_rotation(bearing, altitude, north))
    np.testing.assert_allclose(found, expected, rtol=1e-9)


@given(measured(-80, 80), st.floats(0, 360), st.floats(0, 89))
def test_no_star_drifts_faster_than_one_on_the_equator_at_the_frame_s_corner(
    latitude: float, bearing: float, altitude: float
) -> None:
    rate = optics.star_drift_px_s(at_latitude(latitude), geometry.camera_rotation(bearing, altitude, 266.0))
    crop = projection.delivered_crop(PLAN.camera, PLAN.clip)
    # 15.041″ a second: a turn in a sidereal day, 86 164 s, any handbook of astronomy
    corner = np.hypot(crop.width_mm, crop.height_mm) / 2.0 / PLAN.camera.focal_length_mm
    assert 0.0 < rate <= np.radians(15.041 / 3600.0) * crop.focal_px * (1.0 + corner**2) * (1.0 + 1e-9)
