"""The evening as a calendar file (RFC 5545): arrival, start, the light's event and the end, with alarms."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import TYPE_CHECKING

from planner_core.evening.timetable import Moment, timetable, turn_moment
from planner_core.frames import FrameTable
from planner_core.plan.model import Plan
from planner_core.plan.text import paragraphs
from planner_core.plan.timeline import local_datetime, utc_datetime

if TYPE_CHECKING:
    from icalendar import Event

# Minutes of notice: enough to leave what one is doing (practice, no source).
LEAVE_NOTICE_S, START_NOTICE_S, EVENT_NOTICE_S, END_NOTICE_S = 900.0, 600.0, 300.0, 120.0
NAMESPACE = uuid.UUID("6f0d1c1e-5a3b-4f0c-9a7e-3b1b6f5f2d11")


def ics_bytes(plan: Plan, frames: FrameTable) -> bytes:
    """The calendar file's content. Its stamp is the shoot's start, so that the same plan is the same file.

    Instants are in UTC, so that no calendar has to know the site's time zone; descriptions have the local
    clock. Writing the plan of the same day and place again gives the same identifiers, so that a calendar
    replaces its entries instead of doubling them.
    """
    moments = timetable(plan, frames)
    by_kind = {moment.kind: moment for moment in reversed(moments)}
    leave, arrive, start, end = (by_kind[kind] for kind in ("leave", "arrive", "start", "end"))
    event = turn_moment(moments)
    written = whole_utc(start.utc_s)
    entries = [
        entry(
            plan,
            arrive,
            start.utc_s,
            written,
            [
                (arrive.utc_s - leave.utc_s + LEAVE_NOTICE_S, "Get ready to leave"),
                (arrive.utc_s - leave.utc_s, f"Leave: {leave.note}"),
            ],
        ),
        entry(plan, start, end.utc_s, written, [(START_NOTICE_S, "First frame in ten minutes")]),
    ]
    if event is not None:
        entries.append(
            entry(plan, event, None, written, [(EVENT_NOTICE_S, f"{event.label} in five minutes")])
        )
    entries.append(entry(plan, end, None, written, [(END_NOTICE_S, "Last frame in two minutes")]))
    return calendar_bytes(entries)


def calendar_bytes(entries: Iterable[Event]) -> bytes:
    """A calendar file with these entries."""
    from icalendar import Calendar  # not every place that runs the core has it

    calendar = Calendar()
    calendar.add("prodid", "-//Duskrail//Shot sheet//EN")
    calendar.add("version", "2.0")
    for each in entries:
        calendar.add_component(each)
    return calendar.to_ical()


def entry(
    plan: Plan,
    moment: Moment,
    until_utc_s: float | None,
    written: dt.datetime,
    alarms: list[tuple[float, str]],
) -> Event:
    """One entry; until_utc_s is None for an instant, which RFC 5545 wants without an end."""
    from icalendar import Alarm, Event

    local = local_datetime(moment.utc_s, plan.zone)
    title = paragraphs(plan.title) or "Time-lapse"
    added = Event()
    added.add("summary", f"{moment.label}: {title}")
    added.add("uid", _identifier(plan, moment))
    added.add("dtstamp", written)
    added.add("dtstart", whole_utc(moment.utc_s))
    if until_utc_s is not None:
        added.add("dtend", whole_utc(until_utc_s))
    added.add(
        "description", f"{local:%H:%M} {plan.site.timezone}" + (f", {moment.note}" if moment.note else "")
    )
    if plan.site.name:
        added.add("location", paragraphs(plan.site.name))
    added.add("geo", (plan.site.latitude_deg, plan.site.longitude_deg))
    for before_s, text in alarms:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", text)
        alarm.add("trigger", dt.timedelta(seconds=-round(before_s)))
        added.add_component(alarm)
    return added


def _identifier(plan: Plan, moment: Moment) -> str:
    """The same for the same line of the same day's plan, wherever and whenever it is written."""
    day = local_datetime(moment.utc_s, plan.zone).date()
    place = f"{plan.site.latitude_deg}|{plan.site.longitude_deg}"
    return str(uuid.uuid5(NAMESPACE, f"{plan.title}|{place}|{day}|{moment.kind}"))


def whole_utc(utc_s: float) -> dt.datetime:
    """An instant to the second, as a calendar has it."""
    return utc_datetime(round(utc_s))
