"""When each frame is taken."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import PlanError
from planner_core.plan.model import ANCHOR_EVENTS, Anchor, Plan
from planner_core.plan.timeline import (
    anchor_utc_s,
    clock,
    clock_changes,
    frame_places,
    frame_times_utc_s,
    local_datetime,
    local_to_utc_s,
    start_utc_s,
)
from tests.present import present


def with_shoot(plan: Plan, **changes: Any) -> Plan:
    return attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, **changes))


def test_frames_follow_each_other_by_the_interval(harbour: Plan) -> None:
    times = frame_times_utc_s(harbour)
    assert len(times) == harbour.shoot.frames
    assert np.allclose(np.diff(times), harbour.shoot.interval_s)


def test_an_anchor_at_one_half_puts_the_event_between_the_middle_frames(harbour: Plan) -> None:
    times = frame_times_utc_s(harbour)
    middle = (times[0] + times[-1]) / 2
    assert abs(middle - anchor_utc_s(harbour, present(harbour.shoot.anchor))) < harbour.shoot.interval_s


@pytest.mark.parametrize("event", ANCHOR_EVENTS)
def test_any_event_can_be_pinned_anywhere_in_the_move(harbour: Plan, event: str) -> None:
    anchor = Anchor(event=event, date=dt.date(2027, 3, 14), at=0.25)
    plan = with_shoot(harbour, anchor=anchor)
    pinned = start_utc_s(plan) + 0.25 * plan.duration_s
    assert pinned == pytest.approx(anchor_utc_s(plan, anchor), abs=1e-3)
    assert local_datetime(pinned, plan.zone).date() == anchor.date


def test_a_local_start_is_taken_in_the_zone_of_the_site(harbour: Plan) -> None:
    plan = with_shoot(harbour, anchor=None, start=dt.datetime(2027, 7, 1, 21, 0))
    assert start_utc_s(plan) == dt.datetime(2027, 7, 1, 19, 0, tzinfo=dt.UTC).timestamp()


def test_a_lone_frame_is_at_the_start_of_the_move() -> None:
    assert frame_places(1).tolist() == [0.0]
    assert frame_places(3).tolist() == [0.0, 0.5, 1.0]


def test_an_offset_that_the_zone_does_not_have_is_refused() -> None:
    zone = zoneinfo.ZoneInfo("Europe/Madrid")
    with pytest.raises(PlanError, match="offset"):
        local_to_utc_s(dt.datetime.fromisoformat("2027-07-01T21:00:00+01:00"), zone, "shoot.start")


def test_a_polar_night_leaves_the_plan_without_times(harbour: Plan) -> None:
    site = attrs.evolve(harbour.site, latitude_deg=78.2, longitude_deg=15.6, timezone="Arctic/Longyearbyen")
    anchor = Anchor(event="sunset", date=dt.date(2027, 12, 21))
    plan = attrs.evolve(with_shoot(harbour, anchor=anchor), site=site)
    with pytest.raises(PlanError) as caught:
        frame_times_utc_s(plan)
    assert caught.value.path == "shoot.anchor"


def test_a_clock_shows_the_minutes_begun() -> None:
    zone = zoneinfo.ZoneInfo("UTC")
    assert clock(3599.0, zone) == "00:59"
    assert clock(3599.0, zone, seconds=True) == "00:59:59"


def test_the_clocks_of_a_night_that_go_back_or_forward_are_found() -> None:
    # European Union, Directive 2000/84/EC: 01:00 UTC on the last Sundays of March and October
    berlin = zoneinfo.ZoneInfo("Europe/Berlin")
    autumn = dt.datetime(2027, 10, 31, 1, tzinfo=dt.UTC).timestamp()
    (change,) = clock_changes(autumn - 20_000.0, autumn + 7_000.0, berlin)
    assert (change.utc_s, change.by_s) == (autumn, -3600.0)
    year = dt.datetime(2027, 1, 1, tzinfo=dt.UTC).timestamp()
    assert [c.by_s for c in clock_changes(year, year + 365 * 86400.0, berlin)] == [3600.0, -3600.0]
    assert clock_changes(autumn - 20_000.0, autumn - 1.0, berlin) == []
