"""The timetable of an evening of several shots: for each person what to do when and where, line by line."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from attrs import frozen

from planner_core.evening.schedule import PACK, RESERVE_S, SET_UP, START, WATCH_S, Step
from planner_core.evening.timetable import EVENT_WORDS, Moment, event_frame, timetable
from planner_core.fit.evening import Evening, Round
from planner_core.plan.timeline import local_datetime
from planner_core.time import events
from planner_core.words.durations import duration_text, minutes_text
from planner_core.words.language import say

LABELS = {
    "leave": "Leave",
    "walk": "Walk",
    "set-up": "Set up",
    "test": "Test run",
    "start": "Start",
    "attend": "Attend",
    "end": "End",
    "pack": "Pack",
    "done": "Done",
    "light": "",
}
KINDS = tuple(LABELS)
SPARE_WORTH_SAYING_S = 300.0


@frozen(kw_only=True)
class Row:
    """One line: person and shot count from 1, 0 where a line is nobody's or no shot's.

    Only lines with a person take that person's time, from begin_s to end_s, POSIX seconds: on the way for
    leave and walk, else at the shot's place. The end of a shot that nobody attends has no person.
    """

    kind: str
    person: int
    shot: int
    begin_s: float
    end_s: float
    label: str
    note: str = ""


def evening_rows(evening: Evening) -> tuple[Row, ...]:
    """Everybody's lines and the light's, in order of time."""
    rows = [row for each in evening.rounds for row in _of_person(evening, each)]
    rows += _light(evening, min(row.begin_s for row in rows), max(row.end_s for row in rows))
    return tuple(sorted(rows, key=lambda row: (row.begin_s, row.end_s, KINDS.index(row.kind), row.shot)))


def local(evening: Evening, utc_s: float) -> dt.datetime:
    """Clock time at the first shot's site."""
    return local_datetime(utc_s, evening.shots[0].plan.zone)


def _of_person(evening: Evening, each: Round) -> Iterator[Row]:
    steps, person = each.schedule.steps, each.person
    yield _leave(evening, each.shots[steps[0].shot], person, steps[0].begin_s)
    before: Step | None = None
    for step in steps:
        number, free_s = each.shots[step.shot], float(step.begin_s)
        if before is not None:
            free_s = before.end_s
            if before.shot != step.shot:
                walk = _walk(evening, person, each.shots[before.shot], number, before.end_s)
                free_s = walk.end_s
                yield walk
        yield from _stay(evening, person, number, step, free_s)
        before = step
    for shot, start in zip(each.shots, each.schedule.starts_s, strict=True):
        yield _end(evening, each, shot, start)
    assert before is not None
    yield Row(
        kind="done",
        person=person,
        shot=0,
        begin_s=before.end_s,
        end_s=before.end_s,
        label=say(LABELS["done"]),
    )


def _leave(evening: Evening, number: int, person: int, arrive_s: float) -> Row:
    travel = evening.shot(number).plan.shoot.travel_s
    there, unknown = "{time} on the way", "the plan has no travel time; allow for yours"
    note = say(there, time=duration_text(travel)) if travel else say(unknown)
    return Row(
        kind="leave",
        person=person,
        shot=number,
        begin_s=arrive_s - travel,
        end_s=arrive_s,
        label=say(LABELS["leave"]),
        note=note,
    )


def _walk(evening: Evening, person: int, one: int, other: int, leave_s: float) -> Row:
    return Row(
        kind="walk",
        person=person,
        shot=other,
        begin_s=leave_s,
        end_s=leave_s + evening.walk_s(one, other),
        label=say(LABELS["walk"]),
        note=f"{metres_text(evening.walk_m(one, other))}, {minutes_text(evening.walk_s(one, other))}",
    )


def metres_text(metres: float) -> str:
    """A length of a way: 340 m, 1.2 km."""
    return f"{round(metres, -1):.0f} m" if metres < 995.0 else f"{metres / 1000.0:.1f} km"


def _stay(evening: Evening, person: int, number: int, step: Step, free_s: float) -> Iterator[Row]:
    shot = evening.shot(number)
    moments = {moment.kind: moment for moment in timetable(shot.plan, shot.frames)}
    spare = _spare(step.begin_s - free_s)

    def row(kind: str, begin: float, end: float, note: str) -> Row:
        return Row(
            kind=kind,
            person=person,
            shot=number,
            begin_s=begin,
            end_s=end,
            label=say(LABELS[kind]),
            note=note,
        )

    if step.kind == SET_UP:
        test = step.end_s - _test_s(moments)
        yield row("set-up", step.begin_s, test, moments["set-up"].note)
        yield row("test", test, step.end_s, moments["test-run"].note)
    elif step.kind == PACK:
        yield row("pack", step.begin_s, step.end_s, spare)
    else:
        watched = min(step.begin_s + WATCH_S, step.end_s)
        told = f"{_spare_at_start(step.begin_s - free_s)}, {say('watch the first frames')}"
        yield row("start", step.begin_s, watched, told)
        if shot.plan.shoot.attended:
            yield row("attend", watched, step.end_s, say("stay: it needs hands while it runs"))


def _spare(seconds: float) -> str:
    if seconds < SPARE_WORTH_SAYING_S:
        return ""
    return say("{time} to spare before", time=duration_text(seconds // 60 * 60))


def _spare_at_start(seconds: float) -> str:
    """A start waits for nobody, so it is always told how much there is to spare before it."""
    if seconds < 60.0:
        return say("nothing to spare before")
    if seconds < RESERVE_S:
        return say("only {time} to spare before", time=duration_text(seconds // 60 * 60))
    return _spare(seconds)


def _test_s(moments: dict[str, Moment]) -> float:
    """How long the shot's timetable gives the test run and what it shows."""
    return round(moments["start"].utc_s - moments["test-run"].utc_s)


def _end(evening: Evening, each: Round, number: int, start_s: float) -> Row:
    """The last frame; whoever is there by then sees it."""
    shot = evening.shot(number)
    end = start_s + shot.runs_s
    index = each.shots.index(number)
    there = any(
        step.kind in (START, PACK) and step.shot == index and step.begin_s <= end <= step.end_s
        for step in each.schedule.steps
    )
    seen, alone = "frame {count} is taken", "frame {count} is taken, by itself"
    return Row(
        kind="end",
        person=each.person if there else 0,
        shot=number,
        begin_s=end,
        end_s=end,
        label=say(LABELS["end"]),
        note=say(seen if there else alone, count=len(shot.frames)),
    )


def _light(evening: Evening, first_s: float, last_s: float) -> Iterator[Row]:
    """Rise, set and twilights meanwhile, and at which frame of which shot."""
    site = evening.shots[0].plan.site
    day, last = local(evening, first_s).date(), local(evening, last_s).date()
    while day <= last:
        for name, times in events.day_events(
            day, site.latitude_deg, site.longitude_deg, site.timezone
        ).items():
            for utc_s in times:
                if first_s <= utc_s <= last_s:
                    yield Row(
                        kind="light",
                        person=0,
                        shot=0,
                        begin_s=utc_s,
                        end_s=utc_s,
                        label=say(EVENT_WORDS[name]),
                        note=_frames_then(evening, utc_s),
                    )
        day += dt.timedelta(days=1)


def _frames_then(evening: Evening, utc_s: float) -> str:
    told = [
        say("frame {frame} of shot {number}", frame=event_frame(shot.frames, utc_s), number=shot.number)
        for shot in evening.shots
        if shot.number not in evening.dropped and shot.frames.utc_s[0] <= utc_s <= shot.frames.utc_s[-1]
    ]
    return ", ".join(told)
