"""The fit of everything: what it does about the classic mistakes, what it says, and what it leaves alone."""

from __future__ import annotations

import json
from pathlib import Path

import attrs
import pytest

from planner_core import Plan, compute_frames, load_plan, review
from planner_core.fit.everything import FitAll, fit_all
from planner_core.plan.changes import changed
from planner_core.plan.model import Composition
from planner_core.review.trial import gravity
from tests.places import box, place
from tools.duskrail import main


@pytest.fixture(scope="module")
def mistaken(project_root: Path) -> Plan:
    return load_plan(project_root / "example_scenes" / "classic_mistakes.plan.json")


@pytest.fixture(scope="module")
def fitted(mistaken: Plan) -> FitAll:
    return fit_all(mistaken)


@pytest.mark.once
def test_nothing_that_has_a_remedy_is_left_of_the_classic_mistakes(fitted: FitAll) -> None:
    report = review(fitted.plan, compute_frames(fitted.plan))
    assert not report.stops
    assert all(not each.remedies for each in report.findings if each.level == "warn")
    assert {each.code for each in fitted.left} == {"travel-whole", "foreground-missing"}


@pytest.mark.once
def test_each_step_leaves_less_to_say(mistaken: Plan, fitted: FitAll) -> None:
    plan = mistaken
    graver = gravity(review(plan, compute_frames(plan)).findings)[:2]
    assert fitted.steps
    for step in fitted.steps:
        plan = changed(plan, step.remedy.changes)
        milder = gravity(review(plan, compute_frames(plan)).findings)[:2]
        assert milder < graver
        graver = milder
    assert plan == fitted.plan


def test_each_step_says_against_what_it_is_and_the_end_says_what_it_costs_and_what_is_left(
    fitted: FitAll,
) -> None:
    steps, rest = fitted.said[: len(fitted.steps)], fitted.said[len(fitted.steps) :]
    assert all(sentence.startswith("Against ") and sentence.endswith(".") for sentence in steps)
    assert any("start at 18:35 instead of 18:45" in sentence for sentence in steps)
    assert rest[0].startswith("In all: ")
    assert [sentence.split(":")[0] for sentence in rest[1:]] == ["Left to you"] * len(fitted.left)


def test_what_the_plan_wants_stays_as_it_is(mistaken: Plan, fitted: FitAll) -> None:
    kept = ("title", "reason", "site", "clip", "rig", "composition", "blocks")
    assert all(getattr(mistaken, name) == getattr(fitted.plan, name) for name in kept)
    assert mistaken.shoot.anchor is not None
    assert fitted.plan.shoot.anchor is not None
    assert mistaken.shoot.anchor.date == fitted.plan.shoot.anchor.date


def test_a_subject_that_has_another_name_is_left_to_the_photographer() -> None:
    tower = box("tower", 0.0, 60.0, (3.0, 3.0, 12.0), role="subject")
    plan = place(tower, composition=Composition(subject="towr"), frames=20)
    done = fit_all(attrs.evolve(plan, reason="It shows."))
    assert done.plan.composition == plan.composition
    assert any("Set composition.subject to “tower”" in sentence for sentence in done.said)


def test_a_plan_without_fault_stays_as_it_is(project_root: Path) -> None:
    plan = load_plan(project_root / "example_scenes" / "chapel_sunrise.plan.json")
    done = fit_all(plan)
    assert done.plan == plan
    assert done.said == ("No problems found, so the plan stays as it is.",)


@pytest.mark.once
def test_the_command_line_fits_everything_and_tells_it_as_json(
    project_root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given, new = project_root / "example_scenes" / "classic_mistakes.plan.json", tmp_path / "new.plan.json"
    assert main(["fit", str(given), "--all", "--json", "-o", str(new)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert changed(load_plan(given), told["changes"]) == load_plan(new)
    assert [step["code"] for step in told["steps"]]
    assert {finding["code"] for finding in told["left"]} == {"travel-whole", "foreground-missing"}
    assert not any(finding["remedies"] for finding in told["left"])
