"""What the shot sheet's tables hold: poses to type, exposure steps with clock times, and what to do when the
light differs. Every number is read from the FrameTable.
"""

from __future__ import annotations

import math

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.timetable import Moment
from planner_core.frames import FrameTable, compute_frames
from planner_core.light import exposure
from planner_core.output.sheet.meters import plan_meter, turns
from planner_core.plan.model import Plan
from planner_core.plan.timeline import local_datetime
from planner_core.words.figures import percent

Array = NDArray[np.float64]

CHECKS = (0.0, 0.25, 0.5, 0.75, 1.0)
STEP_SIZES = (1.0 / 3.0, 2.0 / 3.0, 1.0, 4.0 / 3.0, 5.0 / 3.0, 2.0, 3.0, 4.0)
LATE_MINUTES = (5, 10, 20)
CLOUDS = ((3.0, "average cloud"), (10.0, "dark stratus"))  # US Naval Observatory Circular 171
CLEAR_TO = 1.2  # cloud divisors that are as good as a clear sky


@frozen(kw_only=True)
class PoseRow:
    """A frame to type into a controller. pose is the pose's number, None for a place to check in between."""

    label: str
    pose: int | None
    index: int


def pose_rows(plan: Plan, most: int = 9) -> tuple[PoseRow, ...]:
    """The plan's poses at their frames, and the quarters of the move between them, in order; at most so many.

    Quarters go first where there is not room for all, then poses from the middle.
    """
    last = plan.shoot.frames - 1
    rows: dict[int, PoseRow] = {}
    for at in CHECKS:
        index = round(at * last)
        rows[index] = PoseRow(label=f"{percent(at)}", pose=None, index=index)
    for number, pose in enumerate(plan.move.poses, start=1):
        index = round(pose.at * last)
        rows[index] = PoseRow(label=f"pose {number}", pose=number, index=index)
    poses = [row for row in rows.values() if row.pose is not None or row.index in (0, last)]
    checks = [row for row in rows.values() if row not in poses]
    kept = [*poses, *checks[: max(most - len(poses), 0)]]
    kept.sort(key=lambda row: row.index)
    if len(kept) > most:
        chosen = sorted({round(k) for k in np.linspace(0, len(kept) - 1, most)})
        kept = [kept[k] for k in chosen]
    return tuple(kept)


@frozen(kw_only=True)
class ExposureRow:
    """Settings to go to at a frame, as a camera names them; ev100 is what an incident meter should read."""

    index: int
    shutter: str
    iso: str
    f_number: str
    ev100: float


def exposure_rows(frames: FrameTable, most: int = 18) -> tuple[ExposureRow, ...]:
    """The ramp in steps coarse enough for a hand: the finest of STEP_SIZES that needs no more than `most`
    rows.

    Empty for a plan without exposure.
    """
    ramp = frames.ramp
    if ramp is None:
        return ()
    setting = exposure.settings_ev100(ramp.f_number, ramp.shutter_s, ramp.iso)
    for size in STEP_SIZES:
        steps = _steps(setting, size)
        if len(steps) <= most:
            break
    else:
        steps = [steps[round(k)] for k in np.linspace(0, len(steps) - 1, most)]
    return tuple(
        ExposureRow(
            index=k,
            shutter=exposure.shutter_label(float(ramp.shutter_s[k])),
            iso=exposure.iso_label(float(ramp.iso[k])),
            f_number=exposure.f_number_label(float(ramp.f_number[k])),
            ev100=float(frames.scene_ev100[k]),
        )
        for k in steps
    )


def _steps(setting_ev100: Array, size: float) -> list[int]:
    """The first frame, and each at which the setting has gone a whole step from the last one listed."""
    listed = [0]
    for k in np.flatnonzero(np.diff(setting_ev100)) + 1:
        if abs(setting_ev100[k] - setting_ev100[listed[-1]]) >= size - 1e-6:
            listed.append(int(k))
    return listed


# ---------------------------------------------------------------- when the light differs


@frozen(kw_only=True)
class Shift:
    """From a moment of the shoot, how many minutes ahead (or back, negative) the ramp is so many stops away.

    None where the plan's light never gets there.
    """

    when: str
    index: int
    ev100: float
    minutes: dict[int, float | None]


def light_shifts(
    frames: FrameTable, event: Moment | None, stops: tuple[int, ...] = (-2, -1, 1)
) -> tuple[Shift, ...]:
    """What the plan's meter reads at start, event and end, and when it reads so many `stops` more."""
    values = plan_meter(frames).ev100
    return tuple(
        Shift(
            when=when,
            index=k,
            ev100=float(values[k]),
            minutes={stop: _minutes_to(values, frames.utc_s, k, float(values[k]) + stop) for stop in stops},
        )
        for when, k in turns(frames, event)
    )


def _minutes_to(values: Array, times: Array, k: int, ev100: float) -> float | None:
    """From frame k to the nearest time at which the plan's reading is an EV, minutes; None if it never is."""
    above = values >= ev100
    crossings = np.flatnonzero(above[1:] != above[:-1])
    if not len(crossings):
        return None
    fraction = (ev100 - values[crossings]) / (values[crossings + 1] - values[crossings])
    moments = times[crossings] + fraction * (times[crossings + 1] - times[crossings]) - times[k]
    return float(moments[int(np.argmin(np.abs(moments)))]) / 60.0


@frozen(kw_only=True)
class Room:
    """How many stops darker the ramp can still go at its darkest frame, and how many brighter at its
    brightest.
    """

    darker_stops: float
    darker_at: int
    brighter_stops: float
    brighter_at: int


def ramp_room(frames: FrameTable) -> Room | None:
    """Room between the ramp and the limits of the plan; None without exposure."""
    ramp, limits = frames.ramp, frames.plan.exposure
    if ramp is None or limits is None:
        return None
    gain = np.log2(ramp.shutter_s * ramp.iso)
    most = math.log2(ramp.longest_shutter_s * limits.iso_max)
    least = math.log2(limits.shutter_min_s * limits.iso_min)
    dark, bright = int(np.argmax(gain)), int(np.argmin(gain))
    return Room(
        darker_stops=most - float(gain[dark]),
        darker_at=dark,
        brighter_stops=float(gain[bright]) - least,
        brighter_at=bright,
    )


def light_advice(plan: Plan, frames: FrameTable, event: Moment | None) -> list[str]:
    """Sentences for somebody with a meter in the hand and a sky that isn't the plan's."""
    said = []
    rate = exposure.stops_per_min(plan_meter(frames).ev100, plan.shoot.interval_s)
    k = event.frame - 1 if event is not None and event.frame is not None else int(np.argmax(np.abs(rate)))
    if abs(rate[k]) > 1e-3:
        at = (
            f"at {event.label.lower()}" if event is not None and event.frame is not None else "at its fastest"
        )
        direction = "falls" if rate[k] < 0.0 else "rises"
        said.append(
            f"The light {direction} one stop in {1.0 / abs(rate[k]):.1f} min {at} "
            f"({local_datetime(float(frames.utc_s[k]), plan.zone):%H:%M})."
        )
    said.append(
        "If you are a third of a stop off, leave it and even it out afterwards. If it is more and stays so, "
        "move to the table’s settings a third of a stop at a time."
    )
    room = ramp_room(frames)
    if room is not None:
        said.append(
            f"Room to follow: {room.darker_stops:.1f} stops darker at frame {room.darker_at + 1}, "
            f"{room.brighter_stops:.1f} brighter at frame {room.brighter_at + 1}. "
            "Beyond that, open or close the lens before the start, not in the clip."
        )
    said.append(_cloud(plan, frames, k, room))
    return said


def _cloud(plan: Plan, frames: FrameTable, k: int, room: Room | None) -> str:
    """What other skies take of the light that is metered, at frame k."""
    planned = plan.shoot.cloud_divisor
    skies = ((1.0, "a clear sky"), *CLOUDS) if planned > CLEAR_TO else CLOUDS
    takes = {name: _taken_stops(plan, frames, divisor) for divisor, name in skies}
    parts = []
    for name, taken in takes.items():
        stops = float(taken[k])
        if abs(stops) > 0.2:
            parts.append(f"{name} takes {stops:.1f}" if stops > 0 else f"{name} gives {-stops:.1f}")
    if not parts:
        return "Cloud takes next to nothing of what is metered here."
    mine = "cloud" if planned > CLEAR_TO else "clear sky"
    text = f"Against the {mine} of this plan {', '.join(parts)} stops"
    if room is not None and plan.exposure is not None and plan.exposure.artificial_ev100 is None:
        short = float(takes[CLOUDS[-1][1]][room.darker_at]) - room.darker_stops
        if short > 0.3:
            return f"{text}; under the darkest cloud the end would be {short:.1f} stops short."
    return text + "; lamps stay as bright as they are."


def _taken_stops(plan: Plan, frames: FrameTable, divisor: float) -> Array:
    """What a sky of that cloud divisor takes of the plan's meter's reading, stops, (frames,).

    Of light on the ground as much as the divisor says; of a picture or its sky more, as the brightness around
    the sun goes first, so these are read again.
    """
    if plan.exposure is None or plan.exposure.meter == "ground":
        return np.full(len(frames), math.log2(divisor / plan.shoot.cloud_divisor))
    other = attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, cloud_divisor=divisor))
    return plan_meter(frames).ev100 - plan_meter(compute_frames(other)).ev100


@frozen(kw_only=True)
class Late:
    """A late start: where the event falls then, and the interval that would still end on time."""

    minutes: int
    frame: int | None
    interval_s: float | None


def late_starts(plan: Plan, frames: FrameTable, event: Moment | None) -> tuple[Late, ...]:
    """What starting so many minutes late does to the move; empty where no event falls into the shoot."""
    if event is None or event.frame is None or len(frames) < 2:
        return ()
    rows = []
    before_s = event.utc_s - float(frames.utc_s[0])
    for minutes in LATE_MINUTES:
        late_s = minutes * 60.0
        if late_s >= before_s:
            break
        frame = 1 + round((before_s - late_s) / plan.shoot.interval_s)
        interval = (plan.duration_s - late_s) / (len(frames) - 1)
        needed = plan.shoot.interval_s if interval <= 0.0 else interval
        rows.append(Late(minutes=minutes, frame=frame, interval_s=needed))
    return tuple(rows)
