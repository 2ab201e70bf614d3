"""The rig at work: how long its moves take, what a frame's interval leaves, and where its steps let it stand.

Shoot-move-shoot: the axes rest while the shutter is open, then the picture is written, the rig moves to the next
frame's place and settles. Continuous: the axes never stop, and the shutter opens while they move.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.plan import Plan, SlideAxis, TurnAxis

Array = NDArray[np.float64]


@frozen(kw_only=True)
class AxisLimits:
    """What an axis can do, in its own unit: metres for the slide, degrees for pan and tilt."""

    name: str  # the field of a pose: slide_m, pan_deg or tilt_deg
    label: str
    unit: str
    low: float
    high: float
    max_speed: float
    max_acceleration: float
    step: float


def axis_limits(plan: Plan) -> tuple[AxisLimits, ...]:
    """The motorised axes of the plan's rig, in the order slide, pan, tilt."""
    rig = plan.rig
    limits = []
    if rig.slide is not None:
        limits.append(_slide_limits(rig.slide))
    if rig.pan is not None:
        limits.append(_turn_limits("pan", rig.pan))
    if rig.tilt is not None:
        limits.append(_turn_limits("tilt", rig.tilt))
    return tuple(limits)


def _slide_limits(axis: SlideAxis) -> AxisLimits:
    return AxisLimits(
        name="slide_m",
        label="slide",
        unit="m",
        low=axis.min_m,
        high=axis.max_m,
        max_speed=axis.max_speed_m_s,
        max_acceleration=axis.max_acceleration_m_s2,
        step=axis.step_m,
    )


def _turn_limits(label: str, axis: TurnAxis) -> AxisLimits:
    return AxisLimits(
        name=f"{label}_deg",
        label=label,
        unit="°",
        low=axis.min_deg,
        high=axis.max_deg,
        max_speed=axis.max_speed_deg_s,
        max_acceleration=axis.max_acceleration_deg_s2,
        step=axis.step_deg,
    )


def motorised(
    plan: Plan, slide_m: Array | None, pan_deg: Array | None, tilt_deg: Array | None
) -> Iterator[tuple[AxisLimits, Array]]:
    """Each motorised axis with its position at every frame, shape (frames,)."""
    values = {"slide_m": slide_m, "pan_deg": pan_deg, "tilt_deg": tilt_deg}
    for axis in axis_limits(plan):
        position = values[axis.name]
        if position is not None:
            yield axis, position


def move_time_s(distance: ArrayLike, max_speed: float, max_acceleration: float) -> Array:
    """Seconds from rest to rest over a distance of any shape, in the unit of the limits; its sign doesn't matter.

    Speed rises and falls at the greatest acceleration: 2·√(d/a) where d ≤ v²/a, else d/v + v/a. Raises ValueError
    where a limit is not above 0.
    """
    if max_speed <= 0.0 or max_acceleration <= 0.0:
        raise ValueError("an axis needs a speed and an acceleration above 0")
    d = np.abs(np.asarray(distance, dtype=np.float64))
    never_at_speed = d <= max_speed**2 / max_acceleration
    return np.where(
        never_at_speed,
        2.0 * np.sqrt(d / max_acceleration),
        d / max_speed + max_speed / max_acceleration,
    )


def frame_move_times_s(
    plan: Plan, slide_m: Array | None, pan_deg: Array | None, tilt_deg: Array | None
) -> Array:
    """Time to allow for the move from each frame to the next, shape (frames − 1,): that of the slowest axis.

    The axes start together. An axis that moves at all may have to cross a whole step more than the plan says, since it
    can only stand on its steps; that is allowed for, so that the time changes as smoothly as the move does.
    """
    times = np.zeros(max(plan.shoot.frames - 1, 0))
    for axis, position in motorised(plan, slide_m, pan_deg, tilt_deg):
        way = np.abs(np.diff(position))
        times = np.maximum(
            times,
            move_time_s(np.where(way > 0.0, way + axis.step, 0.0), axis.max_speed, axis.max_acceleration),
        )
    return times


def exposure_time_left_s(
    plan: Plan, slide_m: Array | None, pan_deg: Array | None, tilt_deg: Array | None
) -> Array:
    """Longest exposure that each frame's interval leaves, seconds, shape (frames,); below 0 where nothing fits.

    Shoot-move-shoot: interval − write − move to the next frame − settle. Continuous, or with a rig that never moves:
    interval − write. The last frame has no move after it; it gets what the one before it has, so that its exposure
    doesn't jump.
    """
    shoot = plan.shoot
    left = np.full(shoot.frames, shoot.interval_s - shoot.write_s)
    times = frame_move_times_s(plan, slide_m, pan_deg, tilt_deg)
    if plan.move.drive != "shoot-move-shoot" or not np.any(times):
        return left
    return left - plan.rig.settle_s - np.append(times, times[-1])
