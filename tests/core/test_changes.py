"""Changes to a plan by the paths of its file."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner_core import Plan, PlanError, load_plan
from planner_core.plan.changes import changed

HARBOUR = Path(__file__).resolve().parents[2] / "example_scenes" / "harbour_light.plan.json"


@pytest.fixture(scope="module")
def harbour() -> Plan:
    return load_plan(HARBOUR)


def test_a_field_is_set_by_its_path_and_nothing_else_changes(harbour: Plan) -> None:
    new = changed(harbour, {"shoot.interval_s": 11.0, "move.poses[1].pan_deg": 271.5})
    assert (new.shoot.interval_s, new.move.poses[1].pan_deg) == (11.0, 271.5)
    back = {
        "shoot.interval_s": harbour.shoot.interval_s,
        "move.poses[1].pan_deg": harbour.move.poses[1].pan_deg,
    }
    assert changed(new, back) == harbour


def test_a_start_takes_the_place_of_the_anchor(harbour: Plan) -> None:
    assert harbour.shoot.anchor is not None
    new = changed(harbour, {"shoot.start": f"{harbour.shoot.anchor.date}T17:20:00"})
    assert new.shoot.anchor is None
    assert new.shoot.start is not None


def test_none_empties_an_optional_field(harbour: Plan) -> None:
    assert changed(harbour, {"exposure.artificial_ev100": None}).exposure.artificial_ev100 is None  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("path", "value"),
    [("shoot.intervall_s", 11.0), ("move.poses[9].pan_deg", 1.0), ("site.latitude_deg", 431.0)],
)
def test_what_the_plan_cannot_have_is_refused_by_its_path(harbour: Plan, path: str, value: float) -> None:
    with pytest.raises(PlanError, match=path.replace("[", r"\[").replace("]", r"\]")):
        changed(harbour, {path: value})
