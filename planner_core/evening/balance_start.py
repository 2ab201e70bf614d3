"""When to start so that day and night balance: the search, without words about it."""

from __future__ import annotations

import datetime as dt

import attrs
import numpy as np

from planner_core.evening.balance import RISE_AND_SET, TURNING_EVENTS, sun_times_utc_s
from planner_core.plan.model import Anchor, Plan, PlanError
from planner_core.plan.timeline import (
    UTC,
    anchor_utc_s,
    frame_times_utc_s,
    local_datetime,
    local_to_utc_s,
    start_utc_s,
)
from planner_core.time import ephemeris, events


def balanced_start(plan: Plan, day: float, night: float) -> Plan:
    """The plan started so that frames of day stand to the rest as day to night, as near as that goes.

    The plan itself where no start comes nearer, or where the sun neither rises nor sets about that date.
    """
    wanted = round(plan.shoot.frames * day / (day + night))
    had = day_frames(plan)
    turn = turn_to_balance(plan) if had != wanted else None
    if turn is None:
        return plan
    new = started_for(plan, *turn, wanted)
    return new if abs(day_frames(new) - wanted) < abs(had - wanted) else plan


def started_for(plan: Plan, event: str, event_utc_s: float, wanted_day: int) -> Plan:
    """The plan started about an event so that as near to so many frames as possible are taken by day."""
    return _started(plan, event, event_utc_s, _best_start_utc_s(plan, event, event_utc_s, wanted_day))


def day_frames(plan: Plan) -> int:
    _, altitude = ephemeris.sun_position(
        frame_times_utc_s(plan), plan.site.latitude_deg, plan.site.longitude_deg
    )
    return int(np.count_nonzero(altitude > events.SUN_RISES_AT_DEG))


def turn_to_balance(plan: Plan) -> tuple[str, float] | None:
    """The sunrise or sunset to balance about: of the anchor's kind, nearest to the anchor or the middle."""
    start = start_utc_s(plan)
    anchor = plan.shoot.anchor
    about = start + plan.duration_s / 2.0
    kinds: tuple[str, ...] = RISE_AND_SET
    if anchor is not None and anchor.event in TURNING_EVENTS:
        about = anchor_utc_s(plan, anchor)
        kinds = ("sunset",) if anchor.event == "sunset" or anchor.event.endswith("dusk") else ("sunrise",)
    day = local_datetime(start, plan.zone).date() - dt.timedelta(days=1)
    last = local_datetime(start + plan.duration_s, plan.zone).date() + dt.timedelta(days=1)
    turns: list[tuple[str, float]] = []
    while day <= last:
        turns += [(kind, utc_s) for kind in RISE_AND_SET for utc_s in sun_times_utc_s(plan, kind, day)]
        day += dt.timedelta(days=1)
    turns = [pair for pair in turns if pair[0] in kinds] or turns
    reach = max(plan.duration_s, 86400.0)
    nearest = min(turns, key=lambda pair: abs(pair[1] - about), default=None)
    return nearest if nearest is not None and abs(nearest[1] - about) <= reach else None


def _best_start_utc_s(plan: Plan, event: str, event_utc_s: float, wanted_day: int) -> float:
    """The start, half an interval off the event, that comes nearest to so many frames of day."""
    n, interval = plan.shoot.frames, plan.shoot.interval_s
    # with j frames before the event, frame i is taken (i − j + ½) intervals after it
    instants = event_utc_s + (np.arange(-n, n) + 0.5) * interval
    _, altitude = ephemeris.sun_position(instants, plan.site.latitude_deg, plan.site.longitude_deg)
    counted = np.concatenate([[0], np.cumsum(altitude > events.SUN_RISES_AT_DEG)])
    before = np.arange(n + 1)
    day = counted[2 * n - before] - counted[n - before]
    natural = wanted_day if event == "sunset" else n - wanted_day
    off = np.abs(day - wanted_day) + np.abs(before - natural) / (2.0 * n + 2.0)
    return event_utc_s - (int(np.argmin(off)) - 0.5) * interval


def _started(plan: Plan, event: str, event_utc_s: float, start: float, within_s: float | None = None) -> Plan:
    """The plan with another start, by its anchor where that can say it, to a tenth of the interval."""
    shoot, duration = plan.shoot, plan.duration_s
    if shoot.anchor is not None and duration > 0.0:
        anchors = [
            (shoot.anchor, anchor_utc_s(plan, shoot.anchor)),
            (Anchor(event=event, date=local_datetime(event_utc_s, plan.zone).date(), at=0.5), event_utc_s),
        ]
        for anchor, instant in anchors:
            at = (instant - start) / duration
            slack = 0.5 * shoot.interval_s / duration + 1e-9
            first_of_its_day = abs(anchor_utc_s(plan, anchor) - instant) < 1.0
            if -slack <= at <= 1.0 + slack and first_of_its_day:
                near_s = 0.1 * shoot.interval_s if within_s is None else within_s
                tidy = _tidy(min(max(at, 0.0), 1.0), near_s / duration)
                return attrs.evolve(plan, shoot=attrs.evolve(shoot, anchor=attrs.evolve(anchor, at=tidy)))
    return started_at(plan, start)


def moved_start(plan: Plan, start_utc_s: float) -> Plan:
    """The plan with another start: by its anchor as long as the anchor's event falls into the shoot."""
    anchor = plan.shoot.anchor
    if anchor is None:
        return started_at(plan, start_utc_s)
    return _started(plan, anchor.event, anchor_utc_s(plan, anchor), start_utc_s, within_s=0.4)


def started_at(plan: Plan, start_utc_s: float) -> Plan:
    """The plan with a local start in place of its anchor or start, on the second where frames are slow."""
    slow = plan.shoot.interval_s >= 4.0
    moment = local_datetime(round(start_utc_s) if slow else start_utc_s, plan.zone)
    return attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, anchor=None, start=_plain(plan, moment)))


def _tidy(value: float, tolerance: float) -> float:
    """The value in the fewest decimals that keep it."""
    return next((r for d in range(2, 13) if abs((r := round(value, d)) - value) <= tolerance), value)


def _plain(plan: Plan, moment: dt.datetime) -> dt.datetime:
    """Local time without an offset, unless a clock change repeats it."""
    try:
        local_to_utc_s(moment.replace(tzinfo=None), plan.zone, "shoot.start")
    except PlanError:
        return moment.astimezone(UTC).astimezone(dt.timezone(moment.utcoffset() or dt.timedelta()))
    return moment.replace(tzinfo=None)
