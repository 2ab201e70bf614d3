"""What no plan can mean is refused at its field, and repairs stay within what a plan can say."""

from __future__ import annotations

import json
from typing import Any

import pytest

from planner_core import compute_frames, review
from planner_core.plan.file import plan_from_dict, plan_from_text, plan_to_text
from planner_core.plan.model import PlanError
from planner_core.plan.text import cell, escaped, nested_deeper, one_line
from tests.present import present
from tests.two_towers import document, plan


def two_towers_with(path: str, value: Any) -> dict[str, Any]:
    changed = document()
    *parents, last = [int(step) if step.isdigit() else step for step in path.split(".")]
    part: Any = changed
    for step in parents:
        part = part[step]
    part[last] = value
    return changed


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("rig.slide.step_m", 5e-324),
        ("rig.slide.max_speed_m_s", 1e-200),
        ("rig.slide.max_acceleration_m_s2", 2.2e-308),
        ("rig.pan.step_deg", 1e-300),
        ("rig.settle_s", 5e-324),
        ("shoot.interval_s", 1e-12),
        ("exposure.shutter_max_s", 1e-100),
        ("camera.raw_file_mb", 1e-20),
        ("site.latitude_deg", 5e-324),
        ("blocks.0.size_m.1", 1e-200),
        ("blocks.0.centre_m.1", 1e-200),
        ("blocks.3.height_m", 1e-200),
        ("blocks.3.footprint_m.0.1", 5e-324),
        ("blocks.4.distance_m", 1e-9),
    ],
)
def test_a_number_below_what_is_physical_is_refused_at_its_field(path: str, value: float) -> None:
    with pytest.raises(PlanError) as caught:
        plan_from_dict(two_towers_with(path, value))
    shown = "".join(f"[{step}]" if step.isdigit() else f".{step}" for step in path.split(".")).lstrip(".")
    assert str(caught.value).startswith(f"{shown}: ")
    assert "too small" in str(caught.value) or "smaller than anything" in str(caught.value)


def test_what_rounding_leaves_of_a_zero_is_no_slip() -> None:
    assert (
        present(plan_from_dict(two_towers_with("blocks.0.centre_m.0", 6.1e-17)).blocks[0].centre_m)[0]
        == 6.1e-17
    )


@pytest.mark.parametrize(
    ("notes", "named"),
    [("1e400", "notes: inf"), ('{"tide": [1, -1e999]}', "notes.tide[1]"), ("[" * 300 + "]" * 300, "nested")],
)
def test_notes_that_no_file_can_keep_are_refused_in_a_line(notes: str, named: str) -> None:
    text = json.dumps(document(notes="here")).replace('"here"', notes)
    with pytest.raises(PlanError) as caught:
        plan_from_text(text)
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_unknown_key_gives_the_terminal_no_orders() -> None:
    changed = two_towers_with("rig.\x1b[2J" + "y" * 9000, 1)
    with pytest.raises(PlanError) as caught:
        plan_from_dict(changed)
    assert "\\x1b[2J" in str(caught.value)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 400


def test_control_characters_are_written_as_escapes_and_come_back() -> None:
    odd = plan(title="Quay\x9b2J\x7f\u202e")
    text = plan_to_text(odd)
    assert not any(c in text for c in "\x9b\x7f\u202e")
    assert plan_from_text(text) == odd


def test_names_reach_findings_without_control_characters() -> None:
    changed = document(composition__subject="North\x1b[31m silo")
    for block in changed["blocks"]:
        block["name"] = block["name"].replace(" ", "\x1b[31m ")
    found = plan_from_dict(changed)
    said = json.dumps(review(found, compute_frames(found)).as_dict()["findings"], ensure_ascii=False)
    assert "\\u001b" not in said
    assert "[31m" in said  # the name is told, without what a terminal would take for an order


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r\n=1"])
def test_a_name_in_a_table_is_text_and_no_formula(text: str) -> None:
    assert cell(text)[0] == "'"
    assert one_line(cell(text)) == cell(text)


def test_joined_letters_and_accents_stay_as_they_are() -> None:
    for name in ("Blå kai", "می‌خواهم", "\U0001f468\u200d\U0001f680 yard", "a  b"):
        assert one_line(name) == name or "  " in name
        assert escaped(name) == name


def test_nesting_is_counted() -> None:
    deep: Any = 1
    for _ in range(50):
        deep = [deep]
    assert nested_deeper(deep, 49)
    assert not nested_deeper(deep, 50)


# ---------------------------------------------------------------- repairs


@pytest.mark.once
@pytest.mark.parametrize("tilt_deg", [89.8, 90.0, -89.9, -90.0])
@pytest.mark.parametrize("pan_deg", [262.0, 1079.8, -1080.0])
def test_the_review_never_names_a_value_that_is_not_in_the_plan(tilt_deg: float, pan_deg: float) -> None:
    changed = document()
    changed["rig"]["tilt"].update(min_deg=-90.0, max_deg=1080.0)
    changed["rig"]["pan"].update(min_deg=-1080.0, max_deg=1080.0)
    for pose in changed["move"]["poses"]:
        pose.update(tilt_deg=tilt_deg, pan_deg=pan_deg)
    found = plan_from_dict(changed)
    report = review(found, compute_frames(found))
    assert {finding.code for finding in report.findings} & {"subject-lost", "subject-cut"}


@pytest.mark.once
@pytest.mark.parametrize(
    "resting", [{"pan_deg": 100.0}, {"pan_deg": 341.0}, {"tilt_deg": 80.0}, {"pan_deg": 90, "tilt_deg": 90}]
)
def test_a_tripod_that_looks_elsewhere_is_reviewed(resting: dict[str, float]) -> None:
    changed = document(rig__slide=None, rig__pan=None, rig__tilt=None)
    changed["move"]["poses"] = [{"at": place, **resting} for place in (0.0, 0.5, 1.0)]
    found = plan_from_dict(changed)
    report = review(found, compute_frames(found))
    assert "subject-lost" in {finding.code for finding in report.findings}


@pytest.mark.once
def test_a_tripod_of_one_pose_that_says_no_direction_is_told_where_to_point() -> None:
    changed = document(rig__slide=None, rig__pan=None, rig__tilt=None)
    changed["move"]["poses"] = [{"at": 0.0}]
    changed["blocks"][1]["centre_m"] = [320.0, 27.0, 35.0]  # to the right of where the scene looks
    found = plan_from_dict(changed)
    (lost,) = [f for f in review(found, compute_frames(found)).findings if f.code == "subject-lost"]
    assert "to the right throughout" in lost.fix
