"""Balance: how a clip's frames divide between day and night, and how far the move is at the turn."""

from __future__ import annotations

import datetime as dt

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.plan.model import Plan
from planner_core.plan.timeline import local_datetime
from planner_core.time import events

Array = NDArray[np.float64]

RISE_AND_SET = ("sunrise", "sunset")
TURNING_EVENTS = tuple(events.SUN_EVENTS)  # rise, set and the twilights: the events between day and night


@frozen(kw_only=True)
class Turn:
    """The light event around which a clip goes from day to night or back.

    `at` is its place in the move, 0 to 1, or beyond where the event falls outside the shoot.
    """

    event: str
    utc_s: float
    at: float


@frozen(kw_only=True)
class Balance:
    """Frames of each phase, in the order of events.PHASES: day, the three twilights, night.

    turn is None where the shoot lies wholly on one side of sunrise and sunset. move_progress is the fraction
    of the travel done at the turn, None without a turn or without a move.
    """

    phase_frames: tuple[int, ...]
    low_sun_frames: int
    deep_blue_frames: int
    fps: float
    turn: Turn | None
    move_progress: float | None

    @property
    def day_frames(self) -> int:
        return self.phase_frames[0]

    @property
    def dark_frames(self) -> int:
        """All frames with the sun below the horizon, twilights and night together."""
        return sum(self.phase_frames[1:])


def balance(frames: FrameTable) -> Balance:
    """How the frames of a plan divide between day, twilight and night. Golden and blue hour are common
    practice, no source.
    """
    altitude = frames.sun_true_altitude_deg
    phases = np.bincount(events.light_phase(altitude), minlength=len(events.PHASES))
    turn = day_night_turn(frames)
    low_sun, deep_blue = (
        int(np.sum((altitude > low) & (altitude < high)))
        for low, high in (events.LOW_SUN_DEG, events.DEEP_BLUE_DEG)
    )
    return Balance(
        phase_frames=tuple(int(count) for count in phases),
        low_sun_frames=low_sun,
        deep_blue_frames=deep_blue,
        fps=frames.plan.clip.fps,
        turn=turn,
        move_progress=None if turn is None else move_progress(frames, turn.at),
    )


def day_night_turn(frames: FrameTable) -> Turn | None:
    """The light event that splits the shoot into its bright and its dark part, or None.

    The anchor's own event where that is a sunrise or sunset, or a twilight with the sun crossing the horizon
    at some frame. Otherwise the crossing closest to half of the clip; without a crossing there is none.
    """
    crossings = sun_crossings(frames)
    anchor = frames.plan.shoot.anchor
    if anchor is not None and anchor.event in TURNING_EVENTS and (crossings or anchor.event in RISE_AND_SET):
        start = float(frames.utc_s[0])
        return Turn(event=anchor.event, utc_s=start + anchor.at * frames.plan.duration_s, at=anchor.at)
    return min(crossings, key=lambda turn: abs(turn.at - 0.5), default=None)


def sun_crossings(frames: FrameTable) -> list[Turn]:
    """Every sunrise and sunset between two frames, in order of time, at the almanac's instant."""
    height = frames.sun_true_altitude_deg - events.SUN_RISES_AT_DEG
    up = height > 0.0
    before = np.flatnonzero(up[1:] != up[:-1])
    fraction = height[before] / (height[before] - height[before + 1])
    about = frames.utc_s[before] + fraction * frames.plan.shoot.interval_s
    return [
        _turn_near(frames, "sunset" if up[k] else "sunrise", float(utc_s))
        for k, utc_s in zip(before, about, strict=True)
    ]


def _turn_near(frames: FrameTable, event: str, about_utc_s: float) -> Turn:
    """The event of the almanac within an interval of that instant; the instant itself where there is none."""
    plan, start = frames.plan, float(frames.utc_s[0])
    date = local_datetime(about_utc_s, plan.zone).date()
    times = [
        utc_s
        for day in (date - dt.timedelta(days=1), date, date + dt.timedelta(days=1))
        for utc_s in sun_times_utc_s(plan, event, day)
    ]
    nearest = min(times, key=lambda utc_s: abs(utc_s - about_utc_s), default=about_utc_s)
    utc_s = nearest if abs(nearest - about_utc_s) < plan.shoot.interval_s else about_utc_s
    return Turn(event=event, utc_s=utc_s, at=(utc_s - start) / plan.duration_s)


def move_progress(frames: FrameTable, at: float) -> float | None:
    """Fraction of the travel done at a place of the move, by the slide or what else moves; None if nothing
    does.
    """
    progress = _progress(frames)
    return None if progress is None else float(np.interp(at, frames.at, progress))


def place_of_progress(frames: FrameTable, fraction: float) -> float | None:
    """Place of the move at which this fraction of the travel is done, the middle of a rest; None if nothing
    moves.
    """
    progress = _progress(frames)
    if progress is None:
        return None
    resting = np.flatnonzero(np.abs(progress - fraction) < 1e-9)
    if len(resting) > 1:
        return float(frames.at[resting].mean())
    return float(np.interp(fraction, progress, frames.at))


def _progress(frames: FrameTable) -> Array | None:
    for _, axis in frames.axes.given():
        if len(axis) < 2:
            continue
        distance = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(axis)))])
        if distance[-1] > 1e-9:
            return np.asarray(distance / distance[-1])
    return None


def local_dates(plan: Plan, utc_s: Array) -> list[dt.date]:
    """The local dates on which a shoot begins and ends, one or two."""
    first, last = (local_datetime(float(t), plan.zone).date() for t in (utc_s[0], utc_s[-1]))
    return [first] if first == last else [first, last]


def sun_times_utc_s(plan: Plan, event: str, date: dt.date) -> tuple[float, ...]:
    """Instants of an event at the site on a local date."""
    site = plan.site
    return tuple(events.event_times_utc_s(event, date, site.latitude_deg, site.longitude_deg, site.timezone))
