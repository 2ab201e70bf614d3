"""Advice holds: every remedy of `check --json`, put into the plan file by hand, does what it is for."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest

from planner_core.plan.file import load_plan, plan_from_dict, plan_to_text
from tools import advice_cases, advice_corners

pytestmark = pytest.mark.once

# of the plans that `fuzz --kinds advice,corner` goes through by the hundred
PLANTED, CORNERED = 12, 6


def test_no_remedy_of_an_example_leaves_its_finding_or_brings_another_as_grave(project_root: Path) -> None:
    told: list[Any] = []
    for path in sorted((project_root / "example_scenes").glob("*.plan.json")):
        document = json.loads(plan_to_text(load_plan(path)))
        assert list(advice_cases.bad_advice(document, told.append)) == []
    assert len(told) > 5


@pytest.mark.parametrize("number", range(PLANTED))
def test_no_remedy_against_a_planted_mistake_leaves_it_or_brings_another_as_grave(number: int) -> None:
    document = advice_cases.planted(random.Random(f"advice:{number}"))
    assert list(advice_cases.bad_advice(document)) == []


@pytest.mark.parametrize("number", range(CORNERED))
def test_no_remedy_in_an_unusual_corner_leaves_its_finding_or_brings_another_as_grave(number: int) -> None:
    document = advice_corners.cornered(random.Random(f"corner:{number}"))
    assert list(advice_cases.bad_advice(document)) == []


def test_every_corner_can_be_planned() -> None:
    rng = random.Random(3)
    for corner in advice_corners.CORNERS:
        plan = advice_corners.ordinary(rng)
        corner(rng, plan)
        plan_from_dict(plan)


def test_advice_that_changes_nothing_is_noticed(project_root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = project_root / "example_scenes" / "classic_mistakes.plan.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    monkeypatch.setattr(advice_cases, "edited", lambda given, changes: given)
    assert any("still as grave" in sentence for sentence in advice_cases.bad_advice(document))


def test_advice_that_brings_something_else_is_noticed(
    project_root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = project_root / "example_scenes" / "classic_mistakes.plan.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    edited = advice_cases.edited
    monkeypatch.setattr(
        advice_cases,
        "edited",
        lambda given, changes: edited(given, {**changes, "camera.focus_distance_m": 0.6}),
    )
    assert any("It brings focus-depth" in sentence for sentence in advice_cases.bad_advice(document))
