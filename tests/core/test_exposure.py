"""The ramp: inside its limits, on its target, smooth; and settings by the names that cameras show."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math

import attrs
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from planner_core import compute_frames
from planner_core.frames import frames_csv
from planner_core.light.exposure import (
    Ramp,
    exposure_ramp,
    f_number_label,
    following_the_light,
    iso_label,
    narrower_f_number,
    settings_ev100,
    shutter_label,
    stops_per_min,
    target_ev100,
    third_stops,
    wider_f_number,
)
from planner_core.plan.model import Exposure, Plan
from planner_core.rig import drive
from tests.present import present
from tests.two_towers import plan

PLAN = plan()
THIRD = 1.0 / 3.0
# the shortest shutter stands 0.354 stops from the next third, 2^(-7/3) s
LIMITS_OFF_THE_THIRDS = Exposure(
    f_number=1.4, iso_min=7163.0, iso_max=7163.0, shutter_min_s=0.1552322265091855, shutter_max_s=1.0
)


@st.composite
def limits(draw: st.DrawFn) -> Exposure:
    """Limits of any camera, on the grid of third stops or off it."""
    iso = sorted(draw(st.lists(st.floats(25, 51200), min_size=2, max_size=2)))
    shutter = sorted(2.0 ** draw(st.floats(-13, 6)) for _ in range(2))
    return Exposure(
        f_number=draw(st.sampled_from((1.4, 2.8, 5.6, 8.0, 13.0))),
        iso_min=draw(st.sampled_from((iso[0], 100.0))) if iso[1] >= 100.0 else iso[0],
        iso_max=iso[1],
        shutter_min_s=shutter[0],
        shutter_max_s=shutter[1],
        nd_stops=draw(st.sampled_from((0.0, 3.0, 6.6))),
        night_look_stops=round(draw(st.floats(-8, 8)), 6),  # a plan refuses what nobody can measure
        artificial_ev100=draw(st.none() | st.floats(-6, 12).map(lambda ev: round(ev, 6))),
        ramp_order=draw(st.sampled_from(("shutter-first", "iso-first"))),
    )


light = st.lists(st.floats(-12.0, 16.0), min_size=1, max_size=60).map(np.array)
time_left = st.floats(-2.0, 40.0)


def ramp(
    exposure: Exposure, scene_ev100: NDArray[np.float64], time_left_s: NDArray[np.float64] | float = 1e9
) -> Ramp:
    left = np.broadcast_to(np.asarray(time_left_s, dtype=float), scene_ev100.shape)
    return present(exposure_ramp(attrs.evolve(PLAN, exposure=exposure), scene_ev100, left))


@pytest.mark.once
@given(limits(), light, time_left)
def test_settings_stay_inside_the_limits_and_what_the_interval_leaves(
    exposure: Exposure, scene: NDArray[np.float64], left: float
) -> None:
    found = ramp(exposure, scene, left)
    assert np.all(found.shutter_s >= exposure.shutter_min_s)
    assert np.all(found.shutter_s <= exposure.shutter_max_s)
    assert np.all(found.shutter_s <= max(left, exposure.shutter_min_s))
    assert np.all(found.iso >= exposure.iso_min)
    assert np.all(found.iso <= exposure.iso_max)
    assert np.all(found.f_number == exposure.f_number)


@pytest.mark.once
@given(limits(), light, time_left)
def test_settings_meet_the_target_within_a_third_of_a_stop_where_limits_leave_room(
    exposure: Exposure, scene: NDArray[np.float64], left: float
) -> None:
    found = ramp(exposure, scene, left)
    # N²/t at ISO 100 is 2^EV (ISO 2720:1974), a doubling of ISO a stop, a filter's stops on top
    ev100 = np.log2(exposure.f_number**2 / found.shutter_s * 100.0 / found.iso) + exposure.nd_stops
    np.testing.assert_allclose(found.error_stops, found.target_ev100 - ev100, atol=1e-9)
    darkest = settings_ev100(exposure.f_number, found.longest_shutter_s, exposure.iso_max, exposure.nd_stops)
    brightest = settings_ev100(exposure.f_number, exposure.shutter_min_s, exposure.iso_min, exposure.nd_stops)
    room = (found.target_ev100 >= darkest) & (found.target_ev100 <= brightest)
    assert np.all(np.abs(found.error_stops[room]) <= THIRD)
    assert np.all(found.error_stops[found.target_ev100 < darkest - THIRD] < 0.0)
    assert np.all(found.error_stops[found.target_ev100 > brightest + THIRD] > 0.0)


@pytest.mark.once
@given(limits(), light, st.data())
def test_settings_only_go_one_way_while_the_light_does(
    exposure: Exposure, scene: NDArray[np.float64], data: st.DataObject
) -> None:
    falling = np.sort(scene)[::-1]
    left = np.array(data.draw(st.lists(time_left, min_size=len(scene), max_size=len(scene))))
    for found, sign in ((ramp(exposure, falling, left), 1.0), (ramp(exposure, falling[::-1], left), -1.0)):
        assert np.all(sign * np.diff(found.shutter_s) >= 0.0)
        assert np.all(sign * np.diff(found.iso) >= 0.0)


@pytest.mark.once
@example(LIMITS_OFF_THE_THIRDS, -2.6875, 0.0, 0)
@given(limits(), st.floats(-10, 14), st.floats(0.0, 0.3), st.integers(0, 2**32 - 1))
def test_a_ripple_in_the_light_does_not_make_the_camera_hunt(
    exposure: Exposure, level: float, fall: float, seed: int
) -> None:
    ripple = np.random.default_rng(seed).uniform(-0.08, 0.08, 200)
    scene = level - fall * np.arange(200) / 10.0 + ripple
    found = ramp(attrs.evolve(exposure, night_look_stops=0.0), scene)
    back = np.diff(found.shutter_s * found.iso) < 0.0
    assert np.count_nonzero(back) <= 1  # from the setting of the first frame, never from one that it came to


@given(limits(), st.floats(-12, 16), st.floats(1e-3, 3.0), st.floats(1.0, 20.0))
def test_the_target_rises_wherever_the_light_does(
    exposure: Exposure, scene: float, rise: float, cloud: float
) -> None:
    low, high = target_ev100(np.array([scene, scene + rise]), exposure, cloud)
    assert high > low


def test_the_night_look_darkens_the_night_and_leaves_the_day() -> None:
    exposure = attrs.evolve(present(PLAN.exposure), night_look_stops=-1.0, artificial_ev100=2.5)
    day, night = target_ev100([12.0, 2.5], present(exposure))
    assert day == 12.0
    assert night == pytest.approx(3.5)  # settings for a stop more light: a stop darker


def test_a_frame_with_too_little_light_has_a_negative_error() -> None:
    exposure = Exposure(f_number=8.0, iso_min=100, iso_max=100, shutter_min_s=1.0, shutter_max_s=1.0)
    found = ramp(exposure, np.array([6.0, 4.0, 8.0]))  # N²/t of f/8 and 1 s is 2^6 (ISO 2720:1974)
    np.testing.assert_allclose(found.error_stops, [0.0, -2.0, 2.0], atol=1e-12)


def test_the_shutter_gets_longer_before_iso_rises() -> None:
    exposure = Exposure(f_number=5.6, iso_min=100, iso_max=1600, shutter_min_s=1 / 2000, shutter_max_s=4.0)
    falling = np.linspace(13.0, -3.0, 400)
    found = ramp(exposure, falling)
    assert np.all(found.shutter_s[found.iso > 100.0] == 4.0)
    found = ramp(attrs.evolve(exposure, ramp_order="iso-first"), falling)
    assert np.all(found.iso[found.shutter_s > 1 / 2000] == 1600.0)


def test_steps_are_thirds_of_a_stop_from_one_second_and_iso_100() -> None:
    exposure = Exposure(f_number=5.6, iso_min=100, iso_max=1600, shutter_min_s=2**-11, shutter_max_s=8.0)
    found = ramp(exposure, np.linspace(16.0, -6.0, 2000))
    for values, anchor in ((found.shutter_s, 1.0), (found.iso, 100.0)):
        thirds = 3.0 * np.log2(values / anchor)
        np.testing.assert_allclose(thirds, np.round(thirds), atol=1e-9)
    assert len(np.unique(found.shutter_s)) == 14 * 3 + 1
    assert len(np.unique(found.iso)) == 4 * 3 + 1


def test_limits_between_two_third_stops_are_settings_too() -> None:
    settings = third_stops(0.0005, 6.0, 1.0)
    assert settings[0] == 0.0005
    assert settings[-1] == 6.0
    assert np.max(np.diff(np.log2(settings))) <= THIRD + 1 / 12 + 1e-9
    assert third_stops(110.0, 110.0, 100.0).tolist() == [110.0]


@pytest.mark.parametrize("longest_s", [1.3, 3.2, 13.0])
def test_a_longest_shutter_by_its_nominal_name_is_the_third_that_it_names(longest_s: float) -> None:
    # ISO 516: 1.3 s, 3.2 s and 13 s are names of 2^(1/3), 2^(5/3) and 2^(11/3) s
    settings = third_stops(0.0005, longest_s, 1.0, even=True)
    assert np.max(np.diff(np.log2(settings))) <= THIRD + 1e-12
    assert shutter_label(float(settings[-1])) == shutter_label(longest_s)


@settings(max_examples=60)
@example(attrs.evolve(LIMITS_OFF_THE_THIRDS, shutter_max_s=13.0), 0, 2.0)
@given(limits(), st.integers(0, 2**32 - 1), st.floats(-3.0, 3.0))
def test_a_picture_s_meter_never_steps_by_more_than_a_third_and_only_goes_with_the_light(
    exposure: Exposure, seed: int, jump: float
) -> None:
    # light that falls by some stops, and a reading that jumps as something bright comes in and goes again
    rng = np.random.default_rng(seed)
    scene = 12.0 - np.cumsum(rng.uniform(1e-3, 0.2, 150))
    reading = scene + 1.5 + rng.uniform(-0.2, 0.2, 150)
    reading[40:90] += jump
    followed = following_the_light(reading, scene)
    made = present(exposure_ramp(attrs.evolve(PLAN, exposure=exposure), scene, np.full(150, 1e9), followed))
    steps = np.diff(np.log2(made.shutter_s * made.iso))
    assert np.all(steps >= -1e-9)
    assert np.all(steps <= THIRD + 1e-9)
    assert np.all(made.shutter_s >= exposure.shutter_min_s)
    assert np.all(made.shutter_s <= exposure.shutter_max_s)
    assert np.all((made.iso >= exposure.iso_min) & (made.iso <= exposure.iso_max))


def test_a_short_interval_takes_shutter_time_and_iso_makes_up_for_it() -> None:
    exposure = Exposure(f_number=4.0, iso_min=100, iso_max=3200, shutter_min_s=1 / 1000, shutter_max_s=15.0)
    scene = np.linspace(10.0, 0.0, 300)
    free, tied = ramp(exposure, scene), ramp(exposure, scene, 5.2)
    assert free.shutter_s.max() == 15.0
    assert tied.shutter_s.max() == pytest.approx(2 ** (7 / 3))  # 5.04 s, the third below 5.2 s (ISO 516)
    np.testing.assert_array_equal(tied.wanted_shutter_s, free.shutter_s)
    np.testing.assert_array_equal(tied.shutter_s < free.shutter_s, free.shutter_s > 5.2)
    assert np.all(np.abs(tied.error_stops) <= THIRD)


@pytest.mark.once
@settings(max_examples=40)
@given(
    limits(),
    st.integers(1, 120),
    st.floats(0.5, 600.0),
    st.floats(-80.0, 80.0),
    st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2050, 1, 1)),
)
def test_whole_plans_are_exposed_inside_their_limits(
    exposure: Exposure, frames: int, interval_s: float, latitude: float, start: dt.datetime
) -> None:
    shoot = attrs.evolve(
        PLAN.shoot, anchor=None, start=start.replace(tzinfo=dt.UTC), frames=frames, interval_s=interval_s
    )
    site = attrs.evolve(PLAN.site, latitude_deg=round(latitude, 6), timezone="UTC")
    table = compute_frames(attrs.evolve(PLAN, exposure=exposure, shoot=shoot, site=site))
    left = drive.exposure_time_left_s(table.plan, table.axes)
    assert np.all(present(table.ramp).shutter_s <= np.maximum(left, exposure.shutter_min_s))
    room = (present(table.ramp).shutter_s < present(table.ramp).longest_shutter_s) | (
        present(table.ramp).iso < exposure.iso_max
    )
    room &= (present(table.ramp).shutter_s > exposure.shutter_min_s) | (
        present(table.ramp).iso > exposure.iso_min
    )
    assert np.all(np.abs(present(table.ramp).error_stops[room]) <= THIRD)


def test_the_example_scenes_are_exposed_as_planned(example_plan: Plan) -> None:
    if example_plan.exposure is None:
        pytest.skip("this scene plans no exposure")
    frames = compute_frames(example_plan)
    assert np.all(np.diff(frames.utc_s) > 0.0)
    left = drive.exposure_time_left_s(example_plan, frames.axes)
    assert np.all(present(frames.ramp).shutter_s <= np.maximum(left, example_plan.exposure.shutter_min_s))


def test_a_plan_without_exposure_has_no_settings() -> None:
    frames = compute_frames(attrs.evolve(PLAN, exposure=None))
    assert frames.ramp is None
    row = next(csv.DictReader(io.StringIO(frames_csv(frames))))
    assert [row[name] for name in ("f_number", "shutter_s", "iso", "exposure_error_stops")] == [""] * 4


def test_speed_of_the_light_is_per_minute() -> None:
    # one stop in ten frames six seconds apart is one stop a minute
    np.testing.assert_allclose(stops_per_min(np.linspace(10.0, 0.0, 101), 6.0), -1.0)
    assert stops_per_min(np.array([3.0]), 6.0).tolist() == [0.0]


@pytest.mark.parametrize(
    ("shutter_s", "label"),
    [
        # nominal third stops of ISO 516, from their exact and their printed values
        (2**-13, "1/8000 s"),
        (1 / 2000, "1/2000 s"),
        (2**-7, "1/125 s"),
        (1 / 60, "1/60 s"),
        (2 ** (-5 / 3), "0.3 s"),
        (0.5, "0.5 s"),
        (2 ** (11 / 3), "13 s"),
        (32.0, "30 s"),
        (30.0, "30 s"),
        # between them, and beyond what cameras name
        (5.37, "5.4 s"),
        (1 / 84, "1/84 s"),
        (120.0, "120 s"),
    ],
)
def test_shutters_are_named_as_on_a_camera(shutter_s: float, label: str) -> None:
    assert shutter_label(shutter_s) == label


@pytest.mark.parametrize(
    ("iso", "label"),
    [
        (100, "ISO 100"),
        (100 * 2 ** (10 / 3), "ISO 1000"),
        (64, "ISO 64"),
        (12800, "ISO 12800"),
        (110, "ISO 110"),
    ],
)
def test_isos_are_named_as_on_a_camera(iso: float, label: str) -> None:
    assert iso_label(iso) == label  # nominal values of ISO 12232


def test_f_numbers_are_named_as_in_the_plan_and_found_on_the_lens() -> None:
    # nominal third stops of f-numbers: ISO 517, value from memory
    assert f_number_label(5.6) == "f/5.6"
    assert f_number_label(8.0) == "f/8"
    assert wider_f_number(4.2) == 4.0
    assert narrower_f_number(4.2) == 4.5
    assert wider_f_number(5.6) == narrower_f_number(5.6) == 5.6
    assert wider_f_number(0.7) is None


@given(st.floats(1e-4, 3000.0))
def test_a_label_reads_back_within_a_sixth_of_a_stop(shutter_s: float) -> None:
    text = shutter_label(shutter_s).removesuffix(" s")
    read = 1.0 / float(text[2:]) if text.startswith("1/") else float(text)
    assert abs(math.log2(read / shutter_s)) < 1 / 6
