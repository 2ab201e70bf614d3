"""Fits of time: the balance asked for, the clip asked for, or the nearest and the reason."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner_core import compute_frames
from planner_core.evening.balance import balance
from planner_core.fit.light import fit_balance, fit_clip
from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.plan.model import Plan, PlanError
from planner_core.plan.timeline import start_utc_s
from planner_core.rig import drive
from planner_core.time import ephemeris
from tests.present import present
from tests.two_towers import plan

ratios = st.floats(0.05, 20.0)


def day_frames(fitted: Plan) -> int:
    return balance(compute_frames(fitted)).day_frames


# ---------------------------------------------------------------- balance


@pytest.mark.once
@settings(max_examples=40)
@given(
    ratios,
    ratios,
    st.integers(10, 600),
    st.floats(1.0, 30.0),
    st.floats(0.0, 1.0).map(lambda at: round(at, 9)),  # a plan refuses what nobody can measure
    st.sampled_from(("sunrise", "sunset", "civil_dusk", "nautical_dawn")),
    st.floats(-55.0, 55.0).map(lambda latitude: round(latitude, 9)),
)
def test_day_and_night_stand_as_asked_within_a_frame(
    day: float, night: float, frames: int, interval: float, at: float, event: str, latitude: float
) -> None:
    asked = plan(
        shoot__frames=frames,
        shoot__interval_s=min(interval, 7000.0 / frames),
        shoot__anchor={"event": event, "date": "2027-03-14", "at": at},
        site__latitude_deg=latitude,
    )
    fitted = fit_balance(asked, day, night)
    assert abs(day_frames(fitted.plan) - frames * day / (day + night)) <= 1.5
    assert (fitted.plan.shoot.frames, fitted.plan.shoot.interval_s) == (frames, asked.shoot.interval_s)
    assert attrs.evolve(fitted.plan, shoot=asked.shoot) == asked
    assert all(fitted.said)
    assert plan_from_dict(plan_to_dict(fitted.plan)) == fitted.plan


def test_an_anchor_keeps_its_event_and_moves_in_the_clip() -> None:
    fitted = fit_balance(plan(shoot__anchor={"event": "sunset", "date": "2027-03-14", "at": 0.15}), 1, 1)
    assert present(fitted.plan.shoot.anchor).event == "sunset"
    assert present(fitted.plan.shoot.anchor).at == 0.5
    text = " ".join(fitted.said)
    assert "180 frames (7.5 s) of day and 180 (7.5 s)" in text
    assert "it was 54 to 306" in text
    assert "Sunset falls at 50 % of the move instead of 15 %" in text


def test_a_start_moves_by_the_clock() -> None:
    given_ = plan(shoot__anchor=None, shoot__start="2027-03-14T18:30:00")
    fitted = fit_balance(given_, 1, 1)
    assert fitted.plan.shoot.anchor is None
    assert start_utc_s(fitted.plan) < start_utc_s(given_)
    assert day_frames(fitted.plan) == 180


def test_an_anchor_that_falls_out_of_the_shoot_is_replaced_and_said() -> None:
    fitted = fit_balance(plan(shoot__anchor={"event": "solar_noon", "date": "2027-03-14", "at": 0.9}), 1, 1)
    assert present(fitted.plan.shoot.anchor).event in ("sunrise", "sunset")
    assert "Solar noon falls outside the new times" in " ".join(fitted.said)
    assert day_frames(fitted.plan) == 180


def test_what_is_balanced_already_stays() -> None:
    balanced = plan()
    assert fit_balance(balanced, 1, 1).plan is balanced


def test_a_sun_that_does_not_set_is_said() -> None:
    polar = plan(
        site__latitude_deg=78.0,
        site__longitude_deg=15.6,
        site__timezone="Arctic/Longyearbyen",
        shoot__anchor=None,
        shoot__start="2027-06-14T22:00:00",
    )
    fitted = fit_balance(polar, 1, 1)
    assert fitted.plan is polar
    assert "stays up at latitude 78°" in fitted.said[0]


def test_a_night_too_short_gives_the_nearest() -> None:
    # the sun is down for about three hours in June at 64° north, and the shoot lasts eight
    short = plan(
        site__latitude_deg=64.0,
        site__longitude_deg=15.0,
        site__timezone="Europe/Oslo",
        shoot__anchor=None,
        shoot__start="2027-06-14T18:50:00",
        shoot__interval_s=80.0,
    )
    fitted = fit_balance(short, 1, 3)
    got = day_frames(fitted.plan)
    assert got > 90
    assert f"the nearest is {got} frames" in " ".join(fitted.said)
    # no start of that day and the next has less day in it
    starts = start_utc_s(short) + 300.0 * np.arange(288)[:, None]
    _, altitude = ephemeris.sun_position(starts + 80.0 * np.arange(360), 64.0, 15.0)
    assert got <= np.count_nonzero(altitude > -0.833, axis=1).min() + 1


@pytest.mark.parametrize("ratio", [(0.0, 0.0), (-1.0, 2.0), (float("nan"), 1.0), (float("inf"), 1.0)])
def test_a_ratio_that_is_none_is_refused(ratio: tuple[float, float]) -> None:
    with pytest.raises(PlanError, match=r"balance.*1:1"):
        fit_balance(plan(), *ratio)


# ---------------------------------------------------------------- clip


@pytest.mark.once
@settings(max_examples=20)
@given(st.floats(1.0, 60.0))
def test_a_clip_lasts_as_asked_over_the_same_evening_or_as_long_as_it_can(seconds: float) -> None:
    asked = plan()
    fitted = fit_clip(asked, seconds).plan
    steps = fitted.shoot.interval_s / 0.5  # the timer's, where a plan says nothing
    assert steps == pytest.approx(round(steps))
    half_a_step_each_s = 0.25 * (fitted.shoot.frames - 1)
    assert abs(fitted.duration_s - asked.duration_s) <= half_a_step_each_s + fitted.shoot.interval_s
    table = compute_frames(fitted)
    needed = drive.time_needed_s(fitted, table.axes, present(table.ramp).wanted_shutter_s)
    assert np.all(needed <= fitted.shoot.interval_s + 1e-9)
    frames = round(seconds * 24)
    if fitted.shoot.frames != frames:
        assert fitted.shoot.frames < frames
        shorter_s = fitted.shoot.interval_s - 0.5
        count = min(int(asked.duration_s / shorter_s) + 1, frames) if shorter_s > 0.0 else frames
        longer = attrs.evolve(
            fitted, shoot=attrs.evolve(fitted.shoot, frames=count, interval_s=max(shorter_s, 0.1))
        )
        table = compute_frames(longer)
        needed = drive.time_needed_s(longer, table.axes, present(table.ramp).wanted_shutter_s)
        assert shorter_s < asked.duration_s / (frames - 1) or np.any(needed > longer.shoot.interval_s)


def test_a_clip_gets_an_interval_that_the_timer_has() -> None:
    # common practice, no source: interval timers count whole or half seconds
    asked = plan(shoot__frames=400, shoot__interval_s=4.0)
    fitted = fit_clip(asked, 10.0)
    assert asked.duration_s / 239 == pytest.approx(6.68, abs=0.01)
    assert (fitted.plan.shoot.frames, fitted.plan.shoot.interval_s) == (240, 6.5)
    finer = plan(shoot__frames=400, shoot__interval_s=4.0, shoot__interval_step_s=0.1)
    assert fit_clip(finer, 10.0).plan.shoot.interval_s == pytest.approx(6.7)


def test_the_event_stays_where_it_was_in_the_move() -> None:
    fitted = fit_clip(plan(), 20.0).plan
    assert fitted.shoot.frames == 480
    assert fitted.shoot.anchor == plan().shoot.anchor


def test_what_a_clip_can_not_be_is_said_with_the_nearest() -> None:
    fitted = fit_clip(plan(), 300.0)
    assert "can't be met" in fitted.said[0]
    assert f"The nearest is {fitted.plan.shoot.frames / 24:.1f} s" in fitted.said[0]


def test_a_start_that_moves_by_seconds_is_told_in_seconds() -> None:
    slightly_off = plan(shoot__frames=241, shoot__interval_s=4.0, shoot__anchor__at=0.51)
    said = fit_balance(slightly_off, 1, 1).said[0]
    now, was = said.removeprefix("Starts at ").split(" (")[0].split(" instead of ")
    assert now != was


def test_a_clip_out_of_a_single_frame_is_told_without_a_pace() -> None:
    said = fit_clip(plan(shoot__frames=1), 10.0).said[0]
    assert "instead of a single one" in said
    assert "times as fast" not in said


def test_a_clip_as_it_is_stays() -> None:
    assert fit_clip(plan(), 15.0).plan == plan()


def test_a_plan_without_exposure_has_a_clip_too() -> None:
    fitted = fit_clip(attrs.evolve(plan(), exposure=None), 10.0).plan
    assert fitted.shoot.frames == 240


@pytest.mark.parametrize("seconds", [0.0, -3.0, 0.01, 1e9, float("nan"), float("inf")])
def test_a_length_that_is_no_clip_is_refused(seconds: float) -> None:
    with pytest.raises(PlanError, match=r"^clip: .*give a number from"):
        fit_clip(plan(), seconds)
