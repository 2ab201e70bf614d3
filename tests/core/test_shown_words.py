"""Every finding and error that people read is a plain sentence: no banned words, doubled spaces or missing
full stops. DUSKRAIL_WORD_PLANS sets how many random plans are read (300 takes some minutes).
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from planner_core import PlanError, compute_frames, load_plan
from planner_core.output.packing import packing_list
from planner_core.output.sheet.back import cautions
from planner_core.plan.file import plan_from_dict
from tests.shown_words import faults, reviews
from tests.two_towers import document

COUNT = int(os.environ.get("DUSKRAIL_WORD_PLANS", "6"))
EXAMPLES = sorted((Path(__file__).parents[2] / "example_scenes").glob("*.plan.json"))


def test_the_check_itself_finds_what_it_looks_for() -> None:
    assert faults("A rail that  runs to 90°", sentence=True) == [
        "says “runs to”",
        "has a doubled space",
        "has no full stop",
    ]
    assert faults("Set shoot.interval_s to 11 s.", in_sidebar=True) == ["names a field of the plan file"]
    assert faults("Set “Interval” to 11 s.", sentence=True, in_sidebar=True) == []


@pytest.mark.once
def test_findings_of_random_plans_are_sentences() -> None:
    for report in reviews(COUNT):
        for finding in report.findings:
            for text in (finding.message, finding.fix):
                assert not faults(text, sentence=True), (finding.code, text)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name.split(".")[0])
def test_cautions_and_packing_of_the_examples_read_well(path: Path) -> None:
    plan = load_plan(path)
    frames = compute_frames(plan)
    for text in cautions(plan, frames):
        assert not faults(text, sentence=True, in_sidebar=True), text
    for item in packing_list(plan, frames):
        assert not faults(item.name, in_sidebar=True) + faults(item.why, in_sidebar=True), item


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("site__latitude_deg", 431),
        ("site__timezone", "Berlin"),
        ("camera__focal_length_mm", 0.024),
        ("rig__slide__max_m", 1500),
        ("shoot__interval_s", -1),
        ("shoot__frames", 1.5),
        ("exposure__iso_min", 1e9),
        ("move__ease", 40),
        ("clip__fps", "fast"),
    ],
)
def test_errors_read_well(path: str, value: object) -> None:
    with pytest.raises(PlanError) as problem:
        plan_from_dict(document(**{path: value}))
    assert not faults(str(problem.value)), str(problem.value)


def test_the_guide_reads_well() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    prose = [line for line in text.splitlines() if line and line[0] not in " |`#"]
    for line in prose:
        assert not [fault for fault in faults(line) if "space" not in fault and "punct" not in fault], line
