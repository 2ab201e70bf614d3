"""The sun against the place: what hides it, when, from whom, and where it stands in the picture."""

from __future__ import annotations

import datetime as dt
from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner_core import compute_frames
from planner_core.evening.balance import sun_times_utc_s
from planner_core.evening.sunlight import OPEN, blocks_in_the_way, subject_spot, sun_day, sunlight
from planner_core.plan.model import Plan
from planner_core.rig import geometry
from planner_core.time import ephemeris
from tests.present import present
from tests.two_towers import plan

DATE = dt.date(2027, 3, 14)
EYE = (0.0, 0.0, 1.0)


def box(
    name: str,
    centre_m: tuple[float, float, float],
    size_m: tuple[float, float, float],
    role: str = "background",
) -> dict[str, Any]:
    return {"name": name, "role": role, "shape": "box", "centre_m": list(centre_m), "size_m": list(size_m)}


def place(*blocks: dict[str, Any], **changes: Any) -> Plan:
    """The evening with +Y to the west, and these blocks alone."""
    return plan(site__scene_north_deg=270.0, blocks=list(blocks), composition=None, **changes)


def limb_sinks_below(altitude_deg: float) -> float:
    """When the sun's upper limb, lifted by the air, sinks below an altitude: from the ephemeris alone."""
    noon = sun_times_utc_s(place(), "solar_noon", DATE)[0]
    utc_s = noon + np.arange(0.0, 43200.0)
    _, true = ephemeris.sun_position(utc_s, 38.7, -9.15)
    limb = ephemeris.apparent_altitude_deg(true) + 16.0 / 60.0
    return float(utc_s[np.argmax(limb < altitude_deg)])


def test_in_open_country_the_sun_comes_and_goes_by_the_almanac() -> None:
    day = sun_day(place(), EYE, DATE)
    assert day.rise_utc_s == pytest.approx(sun_times_utc_s(place(), "sunrise", DATE)[0], abs=10.0)
    assert day.set_utc_s == pytest.approx(sun_times_utc_s(place(), "sunset", DATE)[0], abs=10.0)
    assert (day.rise_behind, day.set_behind) == (OPEN, OPEN)


@pytest.mark.once
@settings(max_examples=25)
@given(st.floats(1.0, 25.0), st.floats(50.0, 3000.0))
def test_a_long_wall_to_the_west_takes_the_sun_at_its_own_altitude(altitude: float, distance: float) -> None:
    height = EYE[2] + distance * np.tan(np.radians(altitude))
    # so long and straight a wall is as high as that only where it is nearest, due west
    wall = place(
        {
            "name": "wall",
            "role": "background",
            "shape": "ridge",
            "distance_m": distance,
            "skyline_deg": [[b, np.degrees(np.arctan2(height - 0.9, distance))] for b in range(180, 361, 2)],
        },
    )
    day = sun_day(wall, EYE, DATE)
    assert day.set_utc_s == pytest.approx(limb_sinks_below(altitude), abs=12.0)
    assert day.set_behind == 0
    assert day.rise_behind == OPEN


def test_a_tower_hides_the_sun_only_while_it_stands_before_it() -> None:
    given_ = place(
        box("tower", (0.0, 100.0, 100.0), (20.0, 4.0, 200.0)),
        shoot__anchor=None,
        shoot__start="2027-03-14T16:30:00",
        shoot__interval_s=24.0,
        rig__pupil_offset_m=0.0,
        move__poses=[{"at": 0.0, "slide_m": 0.0, "pan_deg": 270.0, "tilt_deg": 0.0}],
    )
    frames = compute_frames(given_)
    hidden = sunlight(frames).camera_behind == 0
    # its near face is 98 m away and reaches 10 m to either side of due west
    off = np.abs(frames.sun_azimuth_deg - 270.0)
    edge = np.degrees(np.arctan(10.0 / 98.0))
    assert 40 < np.count_nonzero(hidden) < np.count_nonzero(frames.sun_true_altitude_deg > 0.0)
    assert np.all(off[hidden] <= edge)
    assert np.all(hidden[(off <= edge) & (frames.sun_true_altitude_deg > -0.8)])


def test_the_camera_and_the_subject_can_lose_the_sun_at_different_times() -> None:
    wall = box("wall", (0.0, 40.0, 10.0), (400.0, 2.0, 20.0))
    statue = {
        "name": "statue",
        "role": "subject",
        "shape": "post",
        "centre_m": [0, 20, 1.5],
        "size_m": [1, 1, 3],
    }
    given_ = place(wall, statue)
    spot, own = subject_spot(given_)
    assert own == (1,)
    np.testing.assert_allclose(present(spot), (0.0, 20.0, 1.5))
    camera, subject = sun_day(given_, EYE, DATE), sun_day(given_, present(spot), DATE, ignoring=own)
    # 19 m of wall above the eye at 39 m, and 18.5 m above the statue at 19 m
    assert (
        present(subject.set_utc_s)
        < present(camera.set_utc_s)
        < sun_times_utc_s(given_, "sunset", DATE)[0] - 3600.0
    )


def test_a_subject_does_not_shade_itself() -> None:
    statue = {
        "name": "statue",
        "role": "subject",
        "shape": "post",
        "centre_m": [0, 20, 1.5],
        "size_m": [1, 1, 3],
    }
    sun = sunlight(compute_frames(place(statue)))
    np.testing.assert_array_equal(present(sun.subject_lit), sun.up)


def test_under_a_bridge_the_low_sun_comes_in() -> None:
    deck = box("deck", (0.0, 30.0, 12.0), (400.0, 10.0, 2.0))
    given_ = place(deck)
    day = sun_day(given_, EYE, DATE)
    assert day.set_utc_s == pytest.approx(sun_times_utc_s(given_, "sunset", DATE)[0], abs=10.0)
    high = geometry.direction([270.0, 270.0], [20.0, 5.0], 270.0)
    assert blocks_in_the_way(given_, EYE, high).tolist() == [0, OPEN]


def test_the_nearest_block_is_the_one_in_the_way() -> None:
    given_ = place(box("far", (0, 200, 50), (50, 5, 100)), box("near", (0, 100, 15), (50, 5, 30)))
    ahead = geometry.direction([270.0, 270.0, 90.0], [10.0, 25.0, 10.0], 270.0)
    assert blocks_in_the_way(given_, EYE, ahead).tolist() == [1, 0, OPEN]


@settings(max_examples=30)
@given(st.floats(0, 360), st.floats(1, 80), st.integers(0, 2**32 - 1))
def test_leaving_out_blocks_off_the_way_changes_nothing(bearing: float, altitude: float, seed: int) -> None:
    random = np.random.default_rng(seed)
    blocks = [
        box(f"b{i}", (x, y, h / 2), (w, d, h))
        for i, (x, y, h, w, d) in enumerate(
            zip(*random.uniform(-80, 80, (2, 12)), *random.uniform(2, 40, (3, 12)), strict=True)
        )
        if abs(x) > w or abs(y) > d
    ]
    given_ = place(*blocks)
    ways = geometry.direction(bearing + np.arange(8.0), np.full(8, altitude), 270.0)
    from planner_core.place import visibility

    _, met = visibility.first_hits(given_, np.array(EYE), ways)
    np.testing.assert_array_equal(blocks_in_the_way(given_, EYE, ways), np.where(met >= 0, met, OPEN))


def test_the_midnight_sun_neither_rises_nor_sets() -> None:
    polar = place(
        site__latitude_deg=78.0,
        site__longitude_deg=15.6,
        site__timezone="Arctic/Longyearbyen",
        shoot__anchor=None,
        shoot__start="2027-06-14T22:00:00",
    )
    day = sun_day(polar, EYE, dt.date(2027, 6, 14))
    assert (day.rise_utc_s, day.set_utc_s) == (None, None)
    night = sun_day(polar, EYE, dt.date(2027, 12, 14))
    assert (night.rise_utc_s, night.set_utc_s) == (None, None)


def test_the_sun_in_the_lens_s_middle_is_in_the_middle_of_the_picture() -> None:
    frames = compute_frames(place())
    k = 60
    aimed = place(
        move__poses=[
            {
                "at": 0.0,
                "slide_m": 0.5,
                "pan_deg": float(frames.sun_azimuth_deg[k]),
                "tilt_deg": float(frames.sun_altitude_deg[k]),
            }
        ]
    )
    sun = sunlight(compute_frames(aimed))
    np.testing.assert_allclose(sun.picture_px[k], (1920.0, 1080.0), atol=1e-6)
    assert sun.in_picture[k]


def test_a_sun_behind_the_camera_is_not_in_the_picture() -> None:
    away = place(rig__pan=None, move__poses=[{"at": 0.0, "slide_m": 0.5, "pan_deg": 90.0, "tilt_deg": 0.0}])
    sun = sunlight(compute_frames(away))
    assert not np.any(sun.in_picture)
    assert np.all(np.isnan(sun.picture_px))


def test_a_sun_behind_a_wall_or_below_the_horizon_is_not_in_the_picture() -> None:
    frames = compute_frames(place())
    open_sun = sunlight(frames)
    assert np.any(open_sun.in_picture)
    assert not np.any(open_sun.in_picture & (frames.sun_true_altitude_deg <= -0.833))
    wall = compute_frames(place(box("wall", (0.0, 40.0, 20.0), (400.0, 2.0, 40.0))))
    assert not np.any(sunlight(wall).in_picture)


def test_a_place_without_blocks_or_subject_is_fine() -> None:
    sun = sunlight(compute_frames(attrs.evolve(place(), exposure=None)))
    assert sun.subject_lit is None
    np.testing.assert_array_equal(sun.camera_lit, sun.up)
