"""Moves and rigs that can't be meant: one line that names the field, its value and what would do."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from typing import Any

import pytest

from planner_core import compute_frames, review
from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.plan.model import PlanError
from planner_core.review.findings import Finding
from tests.moves import QUAY
from tests.present import present

DOCUMENT = plan_to_dict(QUAY)


def changed(document: dict[str, Any], path: Sequence[str | int], value: Any) -> dict[str, Any]:
    document = copy.deepcopy(document)
    part: Any = document
    for key in path[:-1]:
        part = part[key]
    part[path[-1]] = value
    return document


def poses(*values: Any) -> list[dict[str, float]]:
    return [dict(zip(("at", "slide_m", "pan_deg", "tilt_deg"), pose, strict=False)) for pose in values]


@pytest.mark.parametrize(
    ("path", "value", "field", "hint"),
    [
        (
            ("move", "poses"),
            poses((0.0, 0.1), (0.7, 0.5), (0.4, 0.9)),
            "move.poses[2].at",
            "in the order of the move",
        ),
        (
            ("move", "poses"),
            poses((0.0, 0.1), (0.5, 0.5), (0.5, 0.9)),
            "move.poses[2].at",
            "give each pose a place",
        ),
        (("move", "poses"), [], "move.poses", "needs a pose at 0 and one at 1"),
        (("move", "poses"), poses((0.0, 0.1), (100.0, 0.9)), "move.poses[1].at", "1?"),
        (("move", "poses"), poses((0.0, 100.0), (1.0, 0.9)), "move.poses[0].slide_m", "0.1 or 1?"),
        (
            ("move", "poses"),
            poses((0.0, 0.1, 0.0, 95.0), (1.0, 0.9)),
            "move.poses[0].tilt_deg",
            "from -90 to 90",
        ),
        (("move", "ease"), 20.0, "move.ease", "0.2?"),
        (("move", "ease"), -0.1, "move.ease", "from 0 to 0.5"),
        (("move", "drive"), "continous", "move.drive", "continuous"),
        (("rig", "slide"), None, "move.poses[0].slide_m", "describe rig.slide"),
        (("rig", "pan"), None, "move.poses[1].pan_deg", "describe rig.pan"),
        (("rig", "tilt"), None, "move.poses[1].tilt_deg", "give every pose the same value"),
        (("rig", "slide", "max_m"), 0.0, "rig.slide.max_m", "a rail needs some length"),
        (("rig", "slide", "max_m"), -0.5, "rig.slide.max_m", "above min_m"),
        (("rig", "slide", "max_m"), 1500.0, "rig.slide.max_m", "1.5?"),
        (("rig", "pan", "max_deg"), 180.0, "rig.pan.max_deg", "above min_deg"),
        (("rig", "slide", "max_speed_m_s"), 0.0, "rig.slide.max_speed_m_s", "above 0"),
        (("rig", "slide", "max_acceleration_m_s2"), 0.0, "rig.slide.max_acceleration_m_s2", "above 0"),
        (("rig", "slide", "step_m"), 0.0, "rig.slide.step_m", "above 0"),
        (("rig", "pan", "max_speed_deg_s"), 0.0, "rig.pan.max_speed_deg_s", "above 0"),
        (("rig", "tilt", "max_acceleration_deg_s2"), -1.0, "rig.tilt.max_acceleration_deg_s2", "above 0"),
        (("rig", "tilt", "step_deg"), 0.0, "rig.tilt.step_deg", "above 0"),
        (("rig", "settle_s"), -1.0, "rig.settle_s", "from 0"),
        (("shoot", "interval_s"), 0.0, "shoot.interval_s", "above 0"),
        (("shoot", "frames"), 0, "shoot.frames", "from 1"),
        (("shoot", "frames"), 12.5, "shoot.frames", "whole number"),
        (("shoot", "write_s"), -1.0, "shoot.write_s", "from 0"),
    ],
    ids=lambda value: ".".join(map(str, value)) if isinstance(value, tuple) else None,
)
def test_a_move_that_can_t_be_meant_is_refused_by_its_field(
    path: tuple[str, ...], value: Any, field: str, hint: str
) -> None:
    with pytest.raises(PlanError) as caught:
        plan_from_dict(changed(DOCUMENT, path, value))
    message = str(caught.value)
    assert message.startswith(f"{field}: ")
    assert hint in message
    assert "\n" not in message


@pytest.mark.once
def test_a_pose_outside_the_rail_is_a_finding_and_not_an_error() -> None:
    plan = plan_from_dict(changed(DOCUMENT, ("move", "poses", 1, "slide_m"), 1.9))
    report = review(plan, compute_frames(plan))
    finding = next(f for f in report.findings if f.code == "axis-range")
    assert report.stops
    assert "move.poses[1].slide_m: 1.9 m" in finding.message
    assert "1.5 m" in finding.fix


NIGHT = {"event": "nautical_dusk", "date": "2027-03-14", "at": 0.0}


def interval_finding(document: dict[str, Any]) -> Finding | None:
    plan = plan_from_dict(document)
    found = [f for f in review(plan, compute_frames(plan)).findings if f.code == "interval-too-short"]
    return found[0] if found else None


@pytest.mark.once
def test_an_interval_shorter_than_the_exposure_is_a_finding_with_an_interval_that_does() -> None:
    # the quay by night asks for all of its 6 s
    document = changed(changed(DOCUMENT, ("shoot", "anchor"), NIGHT), ("shoot", "interval_s"), 5.0)
    document = changed(
        changed(document, ("exposure", "iso_max"), 100.0), ("exposure", "artificial_ev100"), 0.0
    )
    finding = present(interval_finding(document))
    assert finding.level == "stop"
    assert finding.limit == 5.0
    assert finding.value == pytest.approx(6.0 + 1.0 + 0.8 + 0.4, abs=0.1)
    enough = next(r.changes["shoot.interval_s"] for r in finding.remedies if len(r.changes) == 1)
    assert interval_finding(changed(document, ("shoot", "interval_s"), enough)) is None
    assert interval_finding(changed(document, ("shoot", "interval_s"), enough - 0.5)) is not None


@pytest.mark.once
def test_a_longest_exposure_that_no_frame_needs_but_that_would_not_fit_is_only_a_warning() -> None:
    document = changed(DOCUMENT, ("shoot", "interval_s"), 4.0)
    finding = interval_finding(document)
    assert present(finding).level == "warn"
    fitting = changed(document, ("exposure", "shutter_max_s"), 1.7)
    assert interval_finding(fitting) is None
