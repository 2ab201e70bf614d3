"""The review as it is read in a terminal: findings first, then the plan in numbers."""

from __future__ import annotations

import datetime as dt
import re

import attrs
import pytest

from planner_core import Plan, Review, compute_frames, review
from planner_core.plan.model import METERS, Anchor, Move
from planner_core.plan.timeline import clock
from planner_core.review.assess import assess
from planner_core.review.findings import sentences
from planner_core.words.figures import frames_text
from tests.present import present
from tests.spoken import spoken
from tools.report import finding_text, review_text

pytestmark = pytest.mark.once


def reviewed(plan: Plan) -> Review:
    return review(plan, compute_frames(plan))


def told(plan: Plan) -> str:
    return review_text(reviewed(plan))


def test_every_finding_is_told_under_its_heading_with_its_code(harbour: Plan) -> None:
    findings = tuple(
        spoken(f"Said {level}.", "Do this.", level=level, frames=(3, 9)) for level in ("stop", "warn", "note")
    )
    text = review_text(attrs.evolve(reviewed(harbour), findings=findings))
    assert text.index("Must change (1)") < text.index("Look at (1)") < text.index("Good to know (1)")
    for finding in findings:
        assert f"Frames 3–9: Said {finding.level}. Do this. [{finding.code}]" in text


@pytest.mark.parametrize("columns", range(60, 101, 5))
def test_a_code_stands_on_one_line(harbour: Plan, columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    report = reviewed(harbour)
    text = review_text(report)
    assert all(f"[{finding.code}]" in text for finding in report.findings)


@pytest.mark.parametrize("complete", [False, True])
def test_the_list_names_the_frames_of_every_finding_that_has_some(complete: bool) -> None:
    finding = spoken("The battery is empty.", level="note", frames=(3, 9), complete=complete)
    assert finding_text(finding) == "Frames 3–9: The battery is empty. [spoken]"
    assert finding.message == ("" if complete else "Frames 3–9: ") + "The battery is empty."
    assert finding_text(attrs.evolve(finding, frames=None)) == "The battery is empty. [spoken]"


def test_no_sentence_names_the_frames_that_are_put_before_it(example_plan: Plan) -> None:
    for finding in assess(example_plan, compute_frames(example_plan)).findings:
        said = sentences(finding)
        assert not said.frames or frames_text(finding.frames or (0, 0)) not in said.body, finding.code


def test_the_clock_in_the_text_is_the_frame_tables(harbour: Plan) -> None:
    frames = compute_frames(harbour)
    text = told(harbour)
    assert f"first frame {clock(frames.utc_s[0], harbour.zone)}" in text
    assert f"last {clock(frames.utc_s[-1], harbour.zone)}" in text


def test_times_across_a_change_of_the_clocks_say_by_which_clock_they_are(harbour: Plan) -> None:
    # Spain's clocks go from 02:00 CET to 03:00 CEST on 28 March 2027 (IANA time zone database)
    night = attrs.evolve(harbour.shoot, anchor=None, start=dt.datetime(2027, 3, 28, 1, 20))
    text = told(attrs.evolve(harbour, shoot=night))
    assert "first frame 01:20 UTC+01:00" in text
    assert "last 03:55 UTC+02:00" in text
    assert "UTC+" not in told(harbour)


@pytest.mark.parametrize("meter", METERS)
def test_the_text_says_what_is_metered_and_what_that_reads(harbour: Plan, meter: str) -> None:
    words = {"ground": "level ground", "picture": "the picture", "sky": "the sky", "subject": "the subject"}
    plan = attrs.evolve(harbour, exposure=attrs.evolve(present(harbour.exposure), meter=meter))
    frames = compute_frames(plan)
    (line,) = re.findall(r"\n  metered +(.+)", review_text(assess(plan, frames)))
    assert words[meter] in line
    first, last = (f"{frames.metered_ev100[k]:.1f}".replace("-", "−") for k in (0, -1))
    assert line.endswith(f"EV {first} to {last} at ISO 100")


def test_a_plan_without_exposure_blocks_or_composition_is_told_without_those_lines(harbour: Plan) -> None:
    bare = attrs.evolve(harbour, exposure=None, composition=None, blocks=())
    text = told(bare)
    assert "\n  exposure" not in text
    assert "\n  metered" not in text
    assert "\n  light" in text


def test_a_plan_without_anything_to_say_says_so(harbour: Plan) -> None:
    assert "No problems found." in review_text(attrs.evolve(reviewed(harbour), findings=()))


def test_noon_is_told_without_powers_of_ten(harbour: Plan) -> None:
    start = dt.datetime(2027, 6, 21, 13, 0)
    noon = attrs.evolve(harbour, shoot=attrs.evolve(harbour.shoot, anchor=None, start=start))
    assert re.search(
        r"1[0-2]\d{4} to 1[0-2]\d{4} lux by nature", told(noon)
    )  # Circular 171: 60° is 102 940 lux


def test_the_sun_s_line_is_there_for_a_still_shot_a_twilight_and_a_day_without_turn(harbour: Plan) -> None:
    still = attrs.evolve(
        harbour, rig=attrs.evolve(harbour.rig, slide=None, pan=None, tilt=None), move=first_pose(harbour)
    )
    assert re.search(r"\n  sun +sunset \d\d:\d\d, frame \d+; from ", told(still))
    dusk = attrs.evolve(present(harbour.shoot.anchor), event="civil_dusk")
    assert re.search(
        r"\n  sun +civil dusk \d\d:\d\d, frame \d+, \d+ % of the move; from ",
        told(anchored(harbour, dusk)),
    )
    noon = attrs.evolve(present(harbour.shoot.anchor), event="solar_noon")
    assert re.search(r"\n  sun +from \d+\.\d° to \d+\.\d°", told(anchored(harbour, noon)))


def anchored(plan: Plan, anchor: Anchor) -> Plan:
    return attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, anchor=anchor))


def first_pose(plan: Plan) -> Move:
    pose = attrs.evolve(plan.move.poses[0], slide_m=None)
    return attrs.evolve(plan.move, poses=(pose,))


def test_a_shoot_over_midnight_names_the_other_day(harbour: Plan) -> None:
    late = attrs.evolve(harbour.shoot, anchor=None, start=dt.datetime(2027, 6, 21, 23, 50))
    assert "Monday 21 June 2027: arrive" in told(attrs.evolve(harbour, shoot=late))
    assert "last Tuesday 0" in told(attrs.evolve(harbour, shoot=late))
