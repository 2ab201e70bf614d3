"""The calendar file, read back by another library."""

from __future__ import annotations

import datetime as dt
import time

import pytest
import vobject

from planner_core import compute_frames
from planner_core.evening.timetable import timetable
from planner_core.output.calendar import ics_bytes
from planner_core.plan.model import Plan
from tests.present import present
from tests.two_towers import plan


def entries(here: Plan) -> dict[str, vobject.base.Component]:
    content = ics_bytes(here, compute_frames(here)).decode("utf-8")
    calendar = vobject.readOne(content)
    return {event.summary.value.split(":")[0]: event for event in calendar.vevent_list}


def test_arrival_start_event_and_end_are_entries_with_alarms() -> None:
    found = entries(plan())
    assert list(found) == ["Arrive", "Start", "Sunset", "End"]
    for entry in found.values():
        assert entry.valarm.action.value == "DISPLAY"
        assert entry.valarm.trigger.value <= dt.timedelta(0)
    assert entry.location.value == "Grain quay"


def test_entries_stand_where_the_frames_do() -> None:
    here = plan()
    frames, found = compute_frames(here), entries(here)
    start = found["Start"].dtstart.value
    assert start.tzinfo is not None
    assert start.timestamp() == pytest.approx(frames.utc_s[0], abs=0.5)
    assert found["Start"].dtend.value.timestamp() == pytest.approx(
        frames.utc_s[-1] + present(frames.ramp).shutter_s[-1], abs=0.5
    )
    assert found["Arrive"].dtstart.value.timestamp() == pytest.approx(frames.utc_s[0] - 3000.0, abs=0.5)
    assert found["Sunset"].dtstart.value.timestamp() == pytest.approx(
        frames.utc_s[0] + here.duration_s / 2.0, abs=0.5
    )


def test_one_alarm_rings_when_it_is_time_to_leave() -> None:
    arrive = entries(plan())["Arrive"]
    before = [-alarm.trigger.value.total_seconds() for alarm in arrive.valarm_list]
    leave = next(m for m in timetable(plan(), compute_frames(plan())) if m.kind == "leave")
    assert arrive.dtstart.value.timestamp() - min(before) == pytest.approx(leave.utc_s, abs=1.0)


def test_writing_it_again_replaces_and_another_day_adds() -> None:
    first, again = ({n: e.uid.value for n, e in entries(plan()).items()} for _ in range(2))
    assert first == again
    assert len(set(first.values())) == 4
    other = entries(plan(shoot__anchor={"event": "sunset", "date": "2027-03-15", "at": 0.5}))
    assert not {entry.uid.value for entry in other.values()} & set(first.values())


def test_the_same_plan_is_the_same_file_whenever_it_is_written(monkeypatch: pytest.MonkeyPatch) -> None:
    first = ics_bytes(plan(), compute_frames(plan()))
    real = time.time
    monkeypatch.setattr(time, "time", lambda: real() + 1e7)
    assert ics_bytes(plan(), compute_frames(plan())) == first
    stamps = {entry.dtstamp.value.timestamp() for entry in entries(plan()).values()}
    assert [*stamps] == [pytest.approx(compute_frames(plan()).utc_s[0], abs=0.5)]


def test_titles_with_commas_breaks_and_other_alphabets_come_back_whole() -> None:
    title = "Dusk; quay, silos\nand “far” тёмный берег " + "long " * 30
    entry = entries(plan(title=title))["Arrive"]
    assert entry.summary.value == f"Arrive: {title}"


def test_the_file_keeps_to_the_letter_of_rfc_5545() -> None:
    content = ics_bytes(plan(title="long " * 40), compute_frames(plan()))
    lines = content.split(b"\r\n")
    assert b"\n" not in b"".join(lines)  # 3.1: lines end with CRLF
    assert max(len(line) for line in lines) <= 75  # 3.1: and are folded at 75 octets
    for entry in entries(plan()).values():  # 3.8.2.2: an end is later than its start
        assert not hasattr(entry, "dtend") or entry.dtend.value > entry.dtstart.value


def test_without_an_event_there_are_three_entries() -> None:
    noon = plan(shoot__anchor=None, shoot__start="2027-03-14T14:30:00", shoot__frames=60)
    assert list(entries(noon)) == ["Arrive", "Start", "End"]
