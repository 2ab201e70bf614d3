"""Late on location: what can still be saved, ranked, and each with numbers that hold."""

from __future__ import annotations

import attrs
import pytest

from planner_core.evening.balance import day_night_turn
from planner_core.fit.late import KINDS, now_utc_s, rescues
from planner_core.frames import compute_frames
from planner_core.output.late_page import late_lines, late_page
from planner_core.plan.model import Plan, PlanError


@pytest.fixture(scope="module")
def evening(harbour: Plan) -> Plan:
    assert harbour.exposure is not None
    shoot = attrs.evolve(harbour.shoot, frames=240, interval_s=24.0)
    return attrs.evolve(harbour, shoot=shoot, exposure=attrs.evolve(harbour.exposure, meter="ground"))


def late_by(plan: Plan, minutes: float) -> float:
    return float(compute_frames(plan).utc_s[0]) + 60.0 * minutes


@pytest.mark.once
def test_each_way_begins_now_and_keeps_what_it_says(evening: Plan) -> None:
    now, before = late_by(evening, 20.0), compute_frames(evening)
    turn = day_night_turn(before)
    assert turn is not None
    found = {one.kind: one for one in rescues(evening, now)}
    assert set(found) == set(KINDS)
    for one in found.values():
        assert now - 1e-6 <= float(one.frames.utc_s[0]) <= now + evening.shoot.interval_s / turn.at
    kept = found["event-kept"]
    assert kept.event_at == pytest.approx(turn.at, abs=1.0 / kept.plan.shoot.frames)
    assert kept.plan.shoot.interval_s == evening.shoot.interval_s
    same_end = found["same-end"]
    assert 0.0 <= float(before.utc_s[-1] - same_end.frames.utc_s[-1]) <= evening.shoot.interval_s
    assert same_end.plan.shoot.interval_s == evening.shoot.interval_s
    whole = found["whole-clip"].plan.shoot
    assert (whole.frames, whole.interval_s) == (evening.shoot.frames, evening.shoot.interval_s)
    shorter = found["shorter-interval"]
    assert shorter.plan.shoot.frames == evening.shoot.frames
    assert float(shorter.frames.utc_s[-1]) <= float(before.utc_s[-1]) + 1.0
    step = evening.shoot.interval_step_s
    assert shorter.plan.shoot.interval_s / step == pytest.approx(round(shorter.plan.shoot.interval_s / step))
    assert all(one.travel_m == pytest.approx(found["same-end"].travel_m, abs=1e-6) for one in found.values())


def test_nothing_runs_past_the_time_there_is(evening: Plan) -> None:
    now = late_by(evening, 15.0)
    for one in rescues(evening, now, 2400.0):
        assert float(one.frames.utc_s[-1]) <= now + 2400.0 + 1.0


@pytest.mark.once
def test_the_fewest_stops_come_first(evening: Plan) -> None:
    found = rescues(evening, late_by(evening, 30.0))
    stops = [sum(finding.level == "stop" for finding in one.report.findings) for one in found]
    assert stops == sorted(stops)


def test_who_is_in_time_is_told_so_and_who_is_far_too_late_too(evening: Plan) -> None:
    with pytest.raises(PlanError, match="is in time"):
        rescues(evening, late_by(evening, -5.0))
    with pytest.raises(PlanError, match="another evening"):
        rescues(evening, late_by(evening, 94.0), 60.0)


def test_a_clock_time_is_that_of_the_plans_evening(evening: Plan) -> None:
    start = float(compute_frames(evening).utc_s[0])
    assert now_utc_s(evening, "19:00") - start < 43200.0
    assert now_utc_s(evening, "00:10") > start  # past midnight
    with pytest.raises(PlanError, match="not a clock time"):
        now_utc_s(evening, "soon")


@pytest.mark.once
def test_the_numbers_to_set_stand_on_the_page(evening: Plan) -> None:
    found = rescues(evening, late_by(evening, 20.0))
    page, text = late_page(evening.title, found), "\n".join(late_lines(found))
    for one in found:
        assert f"<dd>{one.start:%H:%M:%S}</dd>" in page
        assert f"interval {one.plan.shoot.interval_s:g} s" in text
