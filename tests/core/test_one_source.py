"""A fact that appears in more than one output is the same in all of them, whatever the plan."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import icalendar
import numpy as np
import pytest

from planner_core import FrameTable, Review, compute_frames, load_plan, review
from planner_core.evening.timetable import events_in_shoot, timetable, turn_moment
from planner_core.fit.light import fit_balance
from planner_core.output.calendar import ics_bytes
from planner_core.output.sheet.back import cautions
from planner_core.output.sheet.front import strip_frames
from planner_core.output.sheet.page import sheet_html
from planner_core.plan.model import Exposure, Plan, Pose, Shoot
from planner_core.review.assess import assess
from tests.places import random_place

pytestmark = pytest.mark.once

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "example_scenes").glob("*.plan.json"))
RANDOM_PLANS, WITH_SHEET = 100, 10  # a sheet takes a tenth of a second
WITH_REMEDIES = 10  # the others are told without trying what would help, which changes no fact
SECOND = 1.0


@attrs.frozen(eq=False)
class Told:
    """All that a plan's outputs say."""

    plan: Plan
    frames: FrameTable
    report: Review

    @property
    def summary(self) -> dict[str, Any]:
        return self.report.summary.as_dict()


def random_evening(seed: int) -> Plan:
    """A random place that looks about west while the sun sets, or about east while it rises."""
    rng = np.random.default_rng(seed)
    plan, evening = random_place(seed, frames=24), bool(rng.integers(2))
    north = float(rng.uniform(230.0, 310.0) if evening else rng.uniform(50.0, 130.0))
    day = int(rng.integers(365))
    season = np.cos(2.0 * np.pi * (day - 172) / 365.0)  # the site's sunsets and sunrises, to half an hour
    clock = (
        19.0 + 2.6 * season - rng.uniform(0.0, 1.5) if evening else 6.8 - 1.6 * season - rng.uniform(0.0, 1.5)
    )
    start = dt.datetime(2027, 1, 1) + dt.timedelta(days=day, hours=float(clock))
    poses = tuple(
        Pose(at=p.at, slide_m=p.slide_m, pan_deg=(p.pan_deg or 0.0) + north, tilt_deg=p.tilt_deg)
        for p in plan.move.poses
    )
    return attrs.evolve(
        plan,
        site=attrs.evolve(plan.site, scene_north_deg=north),
        move=attrs.evolve(plan.move, poses=poses),
        shoot=Shoot(
            frames=24,
            interval_s=float(rng.uniform(20.0, 400.0)),
            write_s=float(rng.uniform(0.0, 3.0)),
            start=start.replace(microsecond=0),
        ),
        exposure=Exposure(
            f_number=5.6,
            iso_min=100.0,
            iso_max=1600.0,
            shutter_min_s=0.0005,
            shutter_max_s=8.0,
            night_look_stops=-1.0,
        ),
    )


def told(plan: Plan, *, tried: bool = True) -> Told:
    """The plan's outputs; with remedies that were tried, or the same facts before."""
    frames = compute_frames(plan)
    return Told(plan, frames, review(plan, frames) if tried else assess(plan, frames))


@pytest.fixture(scope="module")
def everything() -> list[Told]:
    return [told(load_plan(path)) for path in EXAMPLES] + [
        told(random_evening(seed), tried=seed < WITH_REMEDIES) for seed in range(RANDOM_PLANS)
    ]


def calendar(of: Told) -> dict[str, Any]:
    """Entries of the calendar file by the first words of their titles."""
    found = icalendar.Calendar.from_ical(ics_bytes(of.plan, of.frames))
    return {str(entry["summary"]).split(":")[0]: entry for entry in found.walk("VEVENT")}


def utc_s(local: str) -> float:
    return dt.datetime.fromisoformat(local).timestamp()


def test_the_random_plans_have_what_is_compared(everything: list[Told]) -> None:
    random = everything[len(EXAMPLES) :]
    assert sum(one.summary["sun_in_picture_frames"] is not None for one in random) > 10
    assert sum(turn_moment(timetable(one.plan, one.frames)) is not None for one in random) > 20


def test_every_finding_can_be_said(everything: list[Told]) -> None:
    for one in everything:
        assert all(finding.message.endswith(".") for finding in one.report.findings)


def test_the_sun_is_in_the_picture_on_the_same_frames_everywhere(everything: list[Told]) -> None:
    for one in everything:
        summary = one.summary["sun_in_picture_frames"]
        in_findings = [f.frames for f in one.report.findings if f.code == "sun-in-frame"]
        in_caution = re.findall(r"from frame (\d+) to frame (\d+)", cautions(one.plan, one.frames)[0])
        assert in_findings == ([tuple(summary)] if summary else [])
        assert [(int(a), int(b)) for a, b in in_caution] == in_findings


def test_the_shoot_ends_at_the_same_second_everywhere(everything: list[Told]) -> None:
    for one in everything:
        end = next(m for m in timetable(one.plan, one.frames) if m.kind == "end").utc_s
        assert utc_s(one.summary["end"]) == pytest.approx(end, abs=SECOND)
        written = end + one.plan.shoot.write_s - one.frames.utc_s[0]
        assert one.summary["shoot_length_s"] == pytest.approx(written, abs=1e-3)
        entries = calendar(one)
        assert entries["End"].decoded("dtstart").timestamp() == pytest.approx(end, abs=SECOND)
        assert entries["Start"].decoded("dtend").timestamp() == pytest.approx(end, abs=SECOND)


def test_the_shoot_takes_as_long_on_the_sheet_as_in_the_review(pages: list[tuple[Told, str]]) -> None:
    for one, page in pages:
        assert f" s, {one.report.summary.rig.shoot_length}" in page


def test_a_new_start_is_said_with_the_end_that_its_review_has() -> None:
    for path in EXAMPLES:
        fitted = fit_balance(load_plan(path), 2.0, 1.0)
        frames = compute_frames(fitted.plan)
        end = dt.datetime.fromisoformat(review(fitted.plan, frames).summary.rig.end)
        starts = [line for line in fitted.said if "Starts at" in line]
        assert all(f"Ends at {end:%H:%M};" in line for line in starts)
        assert starts or fitted.plan == load_plan(path)


def test_arrival_and_start_are_the_same_everywhere(everything: list[Told]) -> None:
    for one in everything:
        moments = {m.kind: m.utc_s for m in timetable(one.plan, one.frames)}
        entries = calendar(one)
        for key, kind, title in (("arrive", "arrive", "Arrive"), ("first_frame", "start", "Start")):
            assert utc_s(one.summary[key]) == pytest.approx(moments[kind], abs=SECOND)
            assert entries[title].decoded("dtstart").timestamp() == pytest.approx(moments[kind], abs=SECOND)


def test_the_event_of_the_evening_is_the_same_instant_and_frame_everywhere(everything: list[Told]) -> None:
    for one in everything:
        event = turn_moment(timetable(one.plan, one.frames))
        assert (event is not None) >= ("turn_local" in one.summary)
        if event is None or "turn_local" not in one.summary:
            continue
        name = one.summary["turn_event"]
        assert utc_s(one.summary["turn_local"]) == pytest.approx(event.utc_s, abs=SECOND)
        if name in ("sunrise", "sunset"):
            assert utc_s(one.summary[f"{name}_local"]) == pytest.approx(event.utc_s, abs=SECOND)
        assert calendar(one)[event.label].decoded("dtstart").timestamp() == pytest.approx(
            event.utc_s, abs=SECOND
        )
        in_window = [(t, frame) for other, t, frame in events_in_shoot(one.frames) if other == name]
        if event.frame is not None:
            assert one.summary["turn_frame"] == event.frame
            assert any(
                t == pytest.approx(event.utc_s, abs=SECOND) and frame == event.frame for t, frame in in_window
            )


def test_the_weakest_frame_of_the_review_is_the_one_that_the_sheet_shows(everything: list[Told]) -> None:
    for one in everything:
        weakest = one.report.summary.picture.weakest_frame
        shown = [s.frame for s in strip_frames(one.frames, one.report) if "weakest" in s.label]
        assert shown == ([] if weakest is None else [weakest])


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("scene_ev100", lambda frames: frames.scene_ev100),
        ("sun_azimuth_deg", lambda frames: frames.sun_azimuth_deg),
        ("sun_altitude_deg", lambda frames: frames.sun_altitude_deg),
        ("shutter_s", lambda frames: frames.ramp.shutter_s),
        ("iso", lambda frames: frames.ramp.iso),
        ("pan_deg", lambda frames: frames.pan_deg),
    ],
)
def test_numbers_on_the_sheet_are_the_tables(
    pages: list[tuple[Told, str]], column: str, value: Callable[[FrameTable], Any]
) -> None:
    for one, page in pages:
        cells = re.findall(rf'data-column="{column}" data-frame="(\d+)" data-value="([^"]+)"', page)
        assert cells
        for frame, shown in cells:
            assert float(shown) == pytest.approx(float(value(one.frames)[int(frame) - 1]), rel=1e-12)


@pytest.fixture(scope="module")
def pages(everything: list[Told]) -> list[tuple[Told, str]]:
    return [
        (one, sheet_html(one.plan, one.frames, one.report))
        for one in everything[: len(EXAMPLES) + WITH_SHEET]
    ]


def test_times_on_the_sheet_are_the_timetables(pages: list[tuple[Told, str]]) -> None:
    for one, page in pages:
        shown = dict(re.findall(r'<time datetime="([^"]+)" data-kind="([^"]+)"', page))
        assert shown
        moments = timetable(one.plan, one.frames)
        for instant, kind in shown.items():
            assert any(m.kind == kind and abs(m.utc_s - utc_s(instant)) < SECOND for m in moments)
