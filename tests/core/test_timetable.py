"""The evening by the clock, and what to take along."""

from __future__ import annotations

import datetime as dt

import pytest

from planner_core import compute_frames
from planner_core.evening.sunlight import subject_spot, sun_day
from planner_core.evening.timetable import Moment, end_utc_s, timetable, turn_moment
from planner_core.output.packing import card_space_gb, hours_on_location, packing_list
from planner_core.plan.model import Plan
from tests.present import present
from tests.two_towers import plan


def moments(here: Plan) -> tuple[Moment, ...]:
    return timetable(here, compute_frames(here))


def by_kind(here: Plan) -> dict[str, Moment]:
    return {moment.kind: moment for moment in reversed(moments(here))}


def test_the_evening_runs_backwards_from_the_first_frame() -> None:
    here = plan()
    frames, found = compute_frames(here), by_kind(here)
    assert found["start"].utc_s == frames.utc_s[0]
    assert found["arrive"].utc_s == frames.utc_s[0] - 3000.0
    assert found["leave"].utc_s == frames.utc_s[0] - 3000.0 - 1500.0
    assert found["arrive"].utc_s <= found["set-up"].utc_s < found["test-run"].utc_s < found["start"].utc_s
    assert found["end"].utc_s == frames.utc_s[-1] + present(frames.ramp).shutter_s[-1] == end_utc_s(frames)


def test_moments_come_in_order_of_time() -> None:
    times = [moment.utc_s for moment in moments(plan())]
    assert times == sorted(times)


def test_the_event_is_the_anchors_and_falls_on_its_frame() -> None:
    here = plan()
    frames = compute_frames(here)
    event = turn_moment(timetable(here, frames))
    assert event is not None
    assert event.label == "Sunset"
    assert event.utc_s == pytest.approx(frames.utc_s[0] + here.duration_s / 2.0)
    assert event.frame == pytest.approx(180, abs=1)


def test_twilights_during_and_after_the_shoot_are_listed() -> None:
    lights = [moment.label for moment in moments(plan(blocks=[])) if moment.kind == "light"]
    assert lights == ["Civil dusk", "Nautical dusk", "Astronomical dusk"]


def test_when_the_sun_leaves_the_subject_stands_in_the_timetable_as_the_review_has_it() -> None:
    here = plan()
    frames = compute_frames(here)
    (leaves,) = (m for m in timetable(here, frames) if m.label == "Sun leaves the subject")
    spot, own = subject_spot(here)
    day = sun_day(here, present(spot), dt.date(2027, 3, 14), ignoring=own)
    assert leaves.utc_s == day.set_utc_s
    assert "Far bank" in leaves.note
    sunset = turn_moment(timetable(here, frames))
    assert sunset is not None
    assert "; behind “Far bank” from" in sunset.note


def test_a_shoot_by_the_clock_finds_its_own_event() -> None:
    event = turn_moment(moments(plan(shoot__anchor=None, shoot__start="2027-03-14T18:00:00")))
    assert event is not None
    assert event.label == "Sunset"


def test_a_shoot_at_midday_has_no_event() -> None:
    noon = plan(shoot__anchor=None, shoot__start="2027-03-14T14:30:00", shoot__frames=60)
    assert turn_moment(moments(noon)) is None


def test_a_noon_anchor_is_the_event() -> None:
    noon = plan(shoot__anchor={"event": "solar_noon", "date": "2027-03-14", "at": 0.5}, shoot__frames=60)
    event = turn_moment(moments(noon))
    assert event is not None
    assert event.label == "Solar noon"


def test_without_a_travel_time_the_sheet_says_so() -> None:
    leave = by_kind(plan(shoot__travel_s=0.0))["leave"]
    assert "no travel time" in leave.note


def test_a_shoot_over_midnight_keeps_its_dates() -> None:
    late = plan(shoot__anchor=None, shoot__start="2027-03-14T23:30:00")
    found = by_kind(late)
    assert found["start"].local(late).date() == dt.date(2027, 3, 14)
    assert found["end"].local(late).date() == dt.date(2027, 3, 15)


# ---------------------------------------------------------------- packing


def names(here: Plan) -> str:
    return "\n".join(f"{item.name}: {item.why}" for item in packing_list(here, compute_frames(here)))


def test_card_space_is_frames_times_file_size() -> None:
    assert card_space_gb(plan()) == pytest.approx(16.2)
    # with a fifth to spare: 19.4 GB
    assert "Empty card, 32 GB or more" in names(plan())
    assert card_space_gb(plan(camera__raw_file_mb=None)) is None
    assert "the plan doesn’t say how large a picture is" in names(plan(camera__raw_file_mb=None))


def test_power_is_for_the_hours_from_arrival_to_the_end() -> None:
    here = plan()
    hours = hours_on_location(here, compute_frames(here))
    assert hours == pytest.approx((359 * 15 + 3000 + 8) / 3600.0, abs=0.01)
    # practice, no source: two hours a battery
    assert "2 camera batteries" in names(here)


def test_an_nd_filter_has_its_density() -> None:
    # density is the decimal logarithm of what a filter takes: three stops are 0.9
    assert "ND filter, 3 stops: density 0.9" in names(plan(exposure__nd_stops=3.0))
    assert "ND" not in names(plan())


def test_a_torch_is_for_the_way_back_in_the_dark() -> None:
    assert "Head torch" in names(plan())
    noon = plan(shoot__anchor=None, shoot__start="2027-03-14T13:00:00", shoot__frames=60)
    assert "Head torch" not in names(noon)
    # an hour before sunset: it is dark only once everything is packed up
    early = plan(shoot__anchor=None, shoot__start="2027-03-14T17:40:00", shoot__frames=220)
    assert "Head torch" in names(early)


def test_a_rig_without_a_rail_needs_a_tripod() -> None:
    fixed = plan(
        rig__slide=None,
        move__poses=[{"at": 0.0, "pan_deg": 262.0}, {"at": 1.0, "pan_deg": 270.0}],
    )
    assert "Tripod" in names(fixed)
    assert "Rail of 1.50 m" in names(plan())


def test_a_plan_without_exposure_still_packs() -> None:
    assert "Camera, 35 mm lens" in names(plan(exposure=None))
