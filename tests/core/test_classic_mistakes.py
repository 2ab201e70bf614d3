"""The example with the classic mistakes: each is named, nothing else stops it, and fit makes a plan of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner_core import Plan, compute_frames, load_plan, review
from planner_core.fit.light import fit_balance, fit_clip
from planner_core.fit.travel import fit_travel
from planner_core.review.findings import Review


@pytest.fixture(scope="module")
def mistaken(project_root: Path) -> Plan:
    return load_plan(project_root / "example_scenes" / "classic_mistakes.plan.json")


def reviewed(plan: Plan) -> Review:
    return review(plan, compute_frames(plan))


@pytest.mark.once
@pytest.mark.parametrize(
    ("code", "level", "words"),
    [
        ("travel-whole", "warn", "uses all of the 1.5 m of rail"),
        ("foreground-missing", "warn", "nearest thing in the picture"),
        ("screen-speed", "warn", "too fast to look at"),
        ("day-night-balance", "warn", "11 times as much night as day"),
        ("interval-too-short", "stop", "the interval of 6 s is too short"),
    ],
)
def test_each_planted_mistake_is_named(mistaken: Plan, code: str, level: str, words: str) -> None:
    found = [finding for finding in reviewed(mistaken).findings if finding.code == code]
    assert [finding.level for finding in found] == [level]
    assert words in found[0].message
    assert found[0].fix


@pytest.mark.once
def test_nothing_else_stops_it(mistaken: Plan) -> None:
    assert {finding.code for finding in reviewed(mistaken).findings if finding.level == "stop"} == {
        "interval-too-short"
    }


@pytest.mark.once
def test_eight_seconds_of_exposure_are_told_not_to_fit_six_of_interval(mistaken: Plan) -> None:
    # common practice, no source: the classic slip
    stop = next(finding for finding in reviewed(mistaken).findings if finding.level == "stop")
    assert "exposure 8 s + writing 1 s" in stop.message
    assert stop.value is not None
    assert stop.value > 8.0 > 6.0 == stop.limit


@pytest.mark.once
def test_fit_makes_a_plan_of_it_that_nothing_stops(mistaken: Plan) -> None:
    plan = fit_clip(mistaken, 10.0).plan
    plan = fit_travel(plan).plan
    plan = fit_balance(plan, 1.0, 1.0).plan
    report = reviewed(plan)
    assert not report.stops
    mended = {"screen-speed", "day-night-balance", "move-midpoint"}
    assert not mended & {finding.code for finding in report.findings}


@pytest.mark.once
def test_what_no_fit_can_mend_is_still_said_afterwards(mistaken: Plan) -> None:
    fitted = fit_travel(mistaken)
    assert any("up to two metres from the lens" in sentence for sentence in fitted.said)
    assert "foreground-missing" in {finding.code for finding in reviewed(fitted.plan).findings}


def test_it_reads_as_a_place(mistaken: Plan) -> None:
    assert len(mistaken.blocks) >= 10
    assert len({block.name for block in mistaken.blocks}) == len(mistaken.blocks)
