"""The lens against handbooks of optics, and star drift against the sky of skyfield and DE421."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.picture import optics, projection
from planner_core.plan.model import Camera, Plan
from planner_core.rig import geometry
from tests.de421 import Ephemeris421
from tests.two_towers import plan

FULL_FRAME = Camera(
    sensor_width_mm=36.0,
    sensor_height_mm=24.0,
    image_width_px=6000,
    image_height_px=4000,
    focal_length_mm=24.0,
    focus_distance_m=8.0,
)


def test_hyperfocal_distance_of_a_50_mm_lens() -> None:
    # any handbook: 50 mm, f/8, blur circle 0.030 mm: 10.47 m
    assert float(optics.hyperfocal_m(50.0, 8.0, 0.030)) == pytest.approx(10.47, abs=0.005)


def test_24_mm_on_full_frame_sees_73_74_by_53_13_degrees() -> None:
    # 2·atan(w / 2f), any handbook
    width, height = projection.field_of_view_deg([36.0, 24.0], 24.0)
    assert width == pytest.approx(73.74, abs=0.005)
    assert height == pytest.approx(53.13, abs=0.005)


def test_the_circle_of_confusion_of_full_frame_is_0_030_mm() -> None:
    # common practice: diagonal over 1442
    assert optics.circle_of_confusion_mm(FULL_FRAME) == pytest.approx(0.030, abs=1e-5)


lens = st.tuples(st.floats(10, 400), st.sampled_from((1.4, 2.8, 5.6, 11.0)), st.floats(0.005, 0.1))


@given(lens, st.floats(1.0, 500.0))
def test_at_the_ends_of_the_depth_of_field_the_blur_is_the_circle_of_confusion(
    lens: tuple[float, float, float], focus_m: float
) -> None:
    # the definition of depth of field; both formulas are the thin lens of any handbook
    focal, f_number, circle = lens
    near, far = optics.depth_of_field_m(focus_m, focal, f_number, circle)
    assert near < focus_m < far
    assert float(optics.blur_disc_mm(near, focus_m, focal, f_number)) == pytest.approx(circle, rel=1e-6)
    if np.isfinite(far) and far < 1e6:
        assert float(optics.blur_disc_mm(far, focus_m, focal, f_number)) == pytest.approx(circle, rel=1e-6)
    assert float(optics.blur_disc_mm(focus_m, focus_m, focal, f_number)) == 0.0


@given(lens)
def test_at_the_hyperfocal_distance_half_of_it_to_infinity_is_sharp(lens: tuple[float, float, float]) -> None:
    # any handbook; H/2 holds but for the focal length's own share of the distance
    h = float(optics.hyperfocal_m(*lens))
    near, far = optics.depth_of_field_m(h, *lens)
    assert np.isinf(far)
    assert float(near) == pytest.approx(h / 2.0, rel=2e-3, abs=lens[0] / 1000.0)


@given(lens, st.floats(0.9, 50.0), st.floats(1.1, 100.0))
def test_a_focus_between_two_distances_holds_both_at_its_f_number(
    lens: tuple[float, float, float], near_m: float, ratio: float
) -> None:
    focal, _, circle = lens
    for far_m in (near_m * ratio, np.inf):
        focus, f_number = optics.focus_between_m(near_m, far_m, focal, circle)
        near, far = optics.depth_of_field_m(focus, focal, f_number * 1.0001, circle)
        assert near <= near_m * (1.0 + 1e-3)
        assert far >= min(far_m, 1e5) * (1.0 - 1e-3)
        near, far = optics.depth_of_field_m(focus, focal, f_number * 0.98, circle)
        assert near > near_m
        assert far < far_m


@pytest.mark.parametrize("setting", [(0.0, 8.0, 0.03), (50.0, 0.0, 0.03), (50.0, 8.0, -1.0)])
def test_a_lens_that_is_none_is_refused(setting: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        optics.hyperfocal_m(*setting)


def test_rule_of_500() -> None:
    # common practice, no source: 500 over the full-frame focal length, in seconds
    assert optics.rule_of_500_s(FULL_FRAME) == pytest.approx(500 / 24, rel=1e-4)
    small = attrs.evolve(FULL_FRAME, sensor_width_mm=18.0, sensor_height_mm=12.0)
    assert optics.rule_of_500_s(small) == pytest.approx(500 / 48, rel=1e-4)


# ---------------------------------------------------------------- stars


def looking(latitude_deg: float, focal_length_mm: float = 24.0, north_deg: float = 0.0) -> Plan:
    return plan(
        site__latitude_deg=latitude_deg,
        site__scene_north_deg=north_deg,
        camera__focal_length_mm=focal_length_mm,
    )


def test_a_star_on_the_equator_drifts_15_041_arcseconds_a_second() -> None:
    # references: 15.041″·cos δ; from the equator the zenith is at δ = 0; a long lens has no edges to speak of
    plan_ = looking(0.0, focal_length_mm=1000.0)
    rate = float(optics.star_drift_px_s(plan_, geometry.camera_rotation(180.0, 89.0, 0.0)))
    expected = np.radians(15.041 / 3600.0) * 1000.0 / 36.0 * 3840.0
    assert rate == pytest.approx(expected, rel=2e-3)


def test_the_pole_stands_still_but_for_the_edges_of_the_frame() -> None:
    plan_ = looking(60.0, focal_length_mm=1000.0)
    rate = float(optics.star_drift_px_s(plan_, geometry.camera_rotation(0.0, 60.0, 0.0)))
    edge = np.radians(15.041 / 3600.0) * np.hypot(3840.0, 2160.0) / 2.0
    assert rate == pytest.approx(edge, rel=1e-3)


def test_a_frame_of_ground_has_no_stars() -> None:
    assert np.isnan(optics.star_drift_px_s(looking(40.0), geometry.camera_rotation(90.0, -60.0, 0.0)))


@pytest.mark.parametrize(
    ("latitude", "bearing", "altitude", "north"),
    [
        (43.5, 180.0, 30.0, 0.0),
        (43.5, 265.0, 12.0, 90.0),
        (-33.0, 20.0, 45.0, 200.0),
        (65.0, 355.0, 25.0, 31.0),
    ],
)
def test_star_drift_agrees_with_the_sky_of_skyfield(
    de421: Ephemeris421, latitude: float, bearing: float, altitude: float, north: float
) -> None:
    # skyfield's altaz of fixed stars all over the frame, ten seconds apart
    from skyfield.api import Star

    plan_ = looking(latitude, north_deg=north)
    rotation = geometry.camera_rotation(bearing, altitude, north)
    crop = projection.delivered_crop(plan_.camera, plan_.clip)
    x, y = np.meshgrid(np.linspace(-0.4995, 0.4995, 7), np.linspace(-0.4995, 0.4995, 5))
    rays = np.stack([x * 3840.0, y * 2160.0, np.full(x.shape, -crop.focal_px)], axis=-1).reshape(-1, 3)
    bearings, heights = geometry.bearing_and_altitude(rays @ rotation.T, north)
    place, times = de421.place(latitude, -3.8), de421.times([1_900_000_000.0, 1_900_000_010.0])
    drifts = []
    for azimuth, height in zip(bearings, heights, strict=True):
        if height > 0.0:
            ra, dec, _ = place.at(times[0]).from_altaz(alt_degrees=height, az_degrees=azimuth).radec()
            seen_height, seen_azimuth, _ = place.at(times).observe(Star(ra=ra, dec=dec)).apparent().altaz()
            points = 1e9 * geometry.direction(seen_azimuth.degrees, seen_height.degrees, north)
            xy, _ = projection.project_px(plan_, points, np.zeros(3), rotation)
            drifts.append(float(np.hypot(*(xy[1] - xy[0]))) / 10.0)
    assert float(optics.star_drift_px_s(plan_, rotation)) == pytest.approx(max(drifts), rel=0.005)
