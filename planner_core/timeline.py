"""Clock time: when each frame is taken, from a local start or a light event pinned in the move."""

from __future__ import annotations

import datetime as dt
import zoneinfo

import numpy as np
from numpy.typing import NDArray

from planner_core import events
from planner_core.plan import Anchor, Plan, PlanError

UTC = dt.UTC


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


def anchor_utc_s(plan: Plan, anchor: Anchor) -> float:
    """Instant of the anchor's event; the first where it happens twice. Raises PlanError."""
    site = plan.site
    times = events.event_times_utc_s(
        anchor.event, anchor.date, site.latitude_deg, site.longitude_deg, site.timezone
    )
    if not times:
        raise PlanError(
            "shoot.anchor",
            f"{anchor.event} on {anchor.date}",
            f"does not happen at latitude {site.latitude_deg:g} on that date; choose another event or date, "
            'or give "start" instead',
        )
    return times[0]


def local_to_utc_s(moment: dt.datetime, zone: zoneinfo.ZoneInfo, path: str) -> float:
    """POSIX seconds of a local time. Raises PlanError, naming `path`, where no or two instants have it.

    A time with an offset of its own (…+01:00) is taken at its word where the zone has that offset then.
    """
    if moment.tzinfo is not None:
        seconds = moment.timestamp()
        if dt.datetime.fromtimestamp(seconds, zone).utcoffset() != moment.utcoffset():
            raise PlanError(
                path, moment.isoformat(), f"has an offset that {zone.key} doesn't have then; leave it out"
            )
        return seconds
    earlier, later = moment.replace(tzinfo=zone, fold=0), moment.replace(tzinfo=zone, fold=1)
    if earlier.utcoffset() == later.utcoffset():
        return earlier.timestamp()
    if dt.datetime.fromtimestamp(earlier.timestamp(), zone).replace(tzinfo=None, fold=0) != moment:
        after = dt.datetime.fromtimestamp(earlier.timestamp(), zone)
        raise PlanError(
            path, moment.isoformat(), f"is skipped by a clock change in {zone.key}; {after:%H:%M} comes next"
        )
    raise PlanError(
        path,
        moment.isoformat(),
        f"happens twice in {zone.key}; write {earlier.isoformat()} or {later.isoformat()}",
    )


def utc_datetime(utc_s: float) -> dt.datetime:
    """An aware UTC datetime."""
    return dt.datetime.fromtimestamp(float(utc_s), UTC)


def local_datetime(utc_s: float, zone: zoneinfo.ZoneInfo) -> dt.datetime:
    """An aware local datetime at the site."""
    return dt.datetime.fromtimestamp(float(utc_s), zone)


def clock(utc_s: float, zone: zoneinfo.ZoneInfo, *, seconds: bool = False) -> str:
    """What a clock on the wall at the site shows: 18:42 (minutes begun, not rounded), or 18:42:07."""
    return f"{local_datetime(utc_s, zone):{'%H:%M:%S' if seconds else '%H:%M'}}"
