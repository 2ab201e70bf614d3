"""Clock time: when each frame is taken, from a local start or a light event pinned in the move."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from functools import partial
from itertools import pairwise

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths import search
from planner_core.plan.model import Anchor, Plan, PlanError, Word
from planner_core.time import events
from planner_core.words.language import phrase

UTC = dt.UTC
CLOCKS_LOOKED_AT_S = 86400.0  # no zone changes its clocks and back within a day


def frame_places(frames: int) -> NDArray[np.float64]:
    """Place in the move of each frame, shape (frames,): 0 at the first, 1 at the last; a lone one is at 0."""
    return np.linspace(0.0, 1.0, frames) if frames > 1 else np.zeros(1)


def frame_times_utc_s(plan: Plan) -> NDArray[np.float64]:
    """Instant at which each frame's exposure opens, POSIX seconds, shape (frames,). Raises PlanError."""
    return start_utc_s(plan) + plan.shoot.interval_s * np.arange(plan.shoot.frames, dtype=np.float64)


def start_utc_s(plan: Plan) -> float:
    """Instant of the first frame in POSIX seconds.

    Raises PlanError at shoot.start for a local time that a clock change skips or repeats, and at shoot.anchor
    where the event does not happen on that local date.
    """
    if plan.shoot.start is not None:
        return local_to_utc_s(plan.shoot.start, plan.zone, "shoot.start")
    anchor = plan.shoot.anchor
    assert anchor is not None
    return anchor_utc_s(plan, anchor) - anchor.at * plan.duration_s


def tide_times_utc_s(plan: Plan) -> NDArray[np.float64]:
    """Instants of the plan's high and low waters, POSIX seconds. Raises PlanError at one that a clock change
    skips or repeats, or that doesn't come after the one before.
    """
    times = [
        local_to_utc_s(tide.time, plan.zone, f"site.tides[{index}].time")
        for index, tide in enumerate(plan.site.tides)
    ]
    for index, (before, after) in enumerate(pairwise(times), start=1):
        if after <= before:
            raise PlanError(
                f"site.tides[{index}].time",
                plan.site.tides[index].time.isoformat(),
                "is not after the water before it; give them in the order of time",
            )
    return np.array(times, dtype=np.float64)


def anchor_utc_s(plan: Plan, anchor: Anchor) -> float:
    """Instant of the anchor's event; the first where it happens twice. Raises PlanError."""
    site = plan.site
    times = events.event_times_utc_s(
        anchor.event, anchor.date, site.latitude_deg, site.longitude_deg, site.timezone
    )
    if not times:
        raise PlanError(
            "shoot.anchor",
            Word(phrase("{event} on {date}", event=phrase(anchor.event.replace("_", " ")), date=anchor.date)),
            "does not happen at latitude {latitude:g} on that date; "
            "choose another event or date, or go by a start time",
            latitude=site.latitude_deg,
        )
    return times[0]


def local_to_utc_s(moment: dt.datetime, zone: zoneinfo.ZoneInfo, path: str) -> float:
    """POSIX seconds of a local time. Raises PlanError, naming `path`, where no or two instants have it.

    A time with an offset of its own (…+01:00) is accepted where the zone has that offset at that time.
    """
    if moment.tzinfo is not None:
        seconds = moment.timestamp()
        if dt.datetime.fromtimestamp(seconds, zone).utcoffset() != moment.utcoffset():
            raise PlanError(
                path,
                moment.isoformat(),
                "has an offset that {zone} doesn't have then; leave it out",
                zone=zone.key,
            )
        return seconds
    earlier, later = moment.replace(tzinfo=zone, fold=0), moment.replace(tzinfo=zone, fold=1)
    if earlier.utcoffset() == later.utcoffset():
        return earlier.timestamp()
    if dt.datetime.fromtimestamp(earlier.timestamp(), zone).replace(tzinfo=None, fold=0) != moment:
        after = dt.datetime.fromtimestamp(earlier.timestamp(), zone)
        raise PlanError(
            path,
            moment.isoformat(),
            "is skipped by a clock change in {zone}; {after:%H:%M} comes next",
            zone=zone.key,
            after=after,
        )
    raise PlanError(
        path,
        moment.isoformat(),
        "happens twice in {zone}; write {earlier} or {later}",
        zone=zone.key,
        earlier=earlier.isoformat(),
        later=later.isoformat(),
    )


@frozen
class ClockChange:
    """A change of the local clocks: its instant, and by how much they go forward (negative: back)."""

    utc_s: float
    by_s: float


def clock_changes(start_utc_s: float, end_utc_s: float, zone: zoneinfo.ZoneInfo) -> list[ClockChange]:
    """Changes of the zone's clocks after the start, up to the end, to the second; in order of time."""

    def offset_s(utc_s: float) -> float:
        offset = local_datetime(utc_s, zone).utcoffset()
        assert offset is not None
        return offset.total_seconds()

    def keeps(old_s: float, utc_s: float) -> bool:
        return offset_s(utc_s) == old_s

    times = [*np.arange(start_utc_s, end_utc_s, CLOCKS_LOOKED_AT_S).tolist(), end_utc_s]
    changes = []
    for before, after in pairwise(times):
        old_s = offset_s(before)
        if (by := offset_s(after) - old_s) == 0.0:
            continue
        _, first = search.boundary(partial(keeps, old_s), before, after, within=0.5)
        changes.append(ClockChange(utc_s=float(round(first)), by_s=by))
    return changes


def utc_datetime(utc_s: float) -> dt.datetime:
    """An aware UTC datetime."""
    return dt.datetime.fromtimestamp(float(utc_s), UTC)


def local_datetime(utc_s: float, zone: zoneinfo.ZoneInfo) -> dt.datetime:
    """An aware local datetime at the site."""
    return dt.datetime.fromtimestamp(float(utc_s), zone)


def zone_letters(moment: dt.datetime) -> str:
    """What a local time's offset is called, as CET or CEST; UTC−3 where the zone has no letters for it."""
    name = moment.tzname() or ""
    return name if name.isalpha() else f"UTC{name.replace('-', '−')}"


def clock(utc_s: float, zone: zoneinfo.ZoneInfo, *, seconds: bool = False) -> str:
    """What a clock on the wall at the site shows: 18:42 (minutes begun, not rounded), or 18:42:07."""
    return f"{local_datetime(utc_s, zone):{'%H:%M:%S' if seconds else '%H:%M'}}"
