"""An evening of several shots as one calendar file: setting up, starts and packing, with alarms."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner_core.evening.timetable import Moment
from planner_core.fit.evening import Evening
from planner_core.output.calendar import (
    END_NOTICE_S,
    LEAVE_NOTICE_S,
    START_NOTICE_S,
    calendar_bytes,
    entry,
    whole_utc,
)
from planner_core.output.evening.rows import Row, evening_rows

if TYPE_CHECKING:
    from icalendar import Event

SHOWN = ("leave", "set-up", "start", "attend", "end", "pack")


def evening_ics_bytes(evening: Evening) -> bytes:
    """The calendar file's content; its stamp is the first planned start, so it is the same every time."""
    written = whole_utc(min(evening.planned_s))
    rows = [row for row in evening_rows(evening) if row.kind in SHOWN]

    def event(row: Row) -> Event:
        who = f", person {row.person}" if len(evening.rounds) > 1 and row.person else ""
        moment = Moment(
            kind=f"evening {row.kind}", label=f"{row.label}{who}", utc_s=row.begin_s, note=row.note
        )
        until = row.end_s if row.end_s > row.begin_s else None
        return entry(evening.shot(row.shot).plan, moment, until, written, _alarms(row))

    return calendar_bytes(map(event, rows))


def _alarms(row: Row) -> list[tuple[float, str]]:
    if row.kind == "leave":
        return [(LEAVE_NOTICE_S, "Get ready to leave"), (0.0, "Leave")]
    if row.kind == "start":
        return [(START_NOTICE_S, "First frame in ten minutes")]
    return [(END_NOTICE_S, "Last frame in two minutes")] if row.kind == "end" else []
