"""The log against the plan: the camera's clock, when it ran, exposure in stops, and the balance as shot."""

from __future__ import annotations

import datetime as dt

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.balance import day_night_turn
from planner_core.frames import FrameTable, compute_frames
from planner_core.light.exposure import settings_ev100
from planner_core.log.sequence import ShotSequence
from planner_core.maths.runs import spans
from planner_core.plan.model import Plan
from planner_core.plan.timeline import local_datetime, start_utc_s

Array = NDArray[np.float64]

FARTHEST_ZONE_S = 26.0 * 3600.0  # from -12 to +14 hours
ZONE_STEP_S = 1800.0  # zones differ by half hours, but for a few
OFF_STOPS = 0.5  # a frame so far from its plan is worth a word (common practice, no source)


@frozen(kw_only=True)
class Clock:
    """The camera's clock against the site's: offset_s all in all, zone_s what a zone would explain of it, and
    error_s the rest, positive where the camera is ahead. given is True where a person said the offset.
    """

    offset_s: float
    zone_s: float
    error_s: float
    given: bool


@frozen(kw_only=True, eq=False)
class AsShot:
    """The plan with the times at which the frames were really taken, and what the frames were exposed with.

    frames is its FrameTable; settings (3, frames) are f-number, shutter and ISO, and taken_ev100 (frames,) is
    their EV, both NaN where a frame is missing; off_stops how much brighter than the plan's settings each
    frame is exposed; picture_stops how much brighter than middle grey its thumbnail is, NaN where none was
    looked at.
    """

    plan: Plan
    frames: FrameTable
    settings: Array
    taken_ev100: Array
    off_stops: Array
    picture_stops: Array
    clock: Clock
    late_s: float

    @property
    def light_ev100(self) -> Array:
        """EV of the light as it was: what a meter would have read that had the settings as middle grey."""
        return self.taken_ev100 + self.picture_stops


def camera_clock(plan: Plan, shot: ShotSequence, offset_s: float | None) -> Clock:
    """The offset of the camera's clock, from the plan's start where nobody gives it."""
    planned = start_utc_s(plan)
    # wall clocks as if both were UTC
    local = local_datetime(planned, plan.zone).replace(tzinfo=dt.UTC).timestamp()
    offset = shot.start_s - local if offset_s is None else offset_s
    named = next((one.offset_s for one in shot.frames if one.offset_s is not None), None)
    site = local_datetime(planned, plan.zone).utcoffset()
    assert site is not None
    zone = named - site.total_seconds() if named is not None else round(offset / ZONE_STEP_S) * ZONE_STEP_S
    if named is None and (abs(offset - zone) > ZONE_STEP_S / 4.0 or abs(zone) > FARTHEST_ZONE_S):
        zone = 0.0  # no zone explains it
    return Clock(offset_s=offset, zone_s=zone, error_s=offset - zone, given=offset_s is not None)


def as_shot(
    plan: Plan, shot: ShotSequence, offset_s: float | None = None, picture_stops: Array | None = None
) -> AsShot:
    """What the frames on the card would be as a plan. Raises PlanError for times before 1950."""
    clock = camera_clock(plan, shot, offset_s)
    wall = dt.datetime.fromtimestamp(shot.start_s - clock.offset_s, dt.UTC).replace(tzinfo=None)
    shoot = attrs.evolve(
        plan.shoot,
        frames=shot.count,
        interval_s=shot.interval_s,
        anchor=None,
        start=wall.replace(microsecond=wall.microsecond // 1000 * 1000),
    )
    real = attrs.evolve(plan, shoot=shoot)
    frames = compute_frames(real)
    settings = np.full((3, shot.count), np.nan)
    for number, one in zip(shot.number, shot.frames, strict=True):
        if one.f_number and one.shutter_s and one.iso:
            settings[:, number - 1] = one.f_number, one.shutter_s, one.iso
    taken = settings_ev100(*settings)
    off = np.full(shot.count, np.nan)
    if frames.ramp is not None:
        planned = settings_ev100(frames.ramp.f_number, frames.ramp.shutter_s, frames.ramp.iso)
        off = planned - taken
    return AsShot(
        plan=real,
        frames=frames,
        settings=settings,
        taken_ev100=taken,
        off_stops=off,
        picture_stops=np.full(shot.count, np.nan) if picture_stops is None else picture_stops,
        clock=clock,
        late_s=float(frames.utc_s[0]) - start_utc_s(plan),
    )


def off_plan(real: AsShot) -> list[tuple[int, int, float]]:
    """Spans of frames exposed unlike the plan: first and last from 1, and by how many stops in the middle."""
    with np.errstate(invalid="ignore"):
        far = np.abs(real.off_stops) > OFF_STOPS
    return [
        (first, last, float(np.nanmedian(real.off_stops[first - 1 : last]))) for first, last in spans(far)
    ]


@frozen(kw_only=True)
class Balance:
    """Frames before and after the light event as shot, and the frame it fell on; None outside."""

    event: str
    frame: int | None
    bright_first: int
    after: int


def balance_as_shot(plan: Plan, real: AsShot) -> Balance | None:
    """How the clip was split by the plan's light event."""
    turn = day_night_turn(compute_frames(plan))
    if turn is None:
        return None
    before = int(np.sum(real.frames.utc_s < turn.utc_s))
    count = len(real.frames)
    return Balance(
        event=turn.event,
        frame=min(before + 1, count) if 0 < before < count else None,
        bright_first=before,
        after=count - before,
    )
