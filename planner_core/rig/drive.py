"""The rig at work: how long its moves take, what a frame's interval leaves, and where its steps let it stand.

Shoot-move-shoot: the axes rest while the shutter is open, then the picture is written, the rig moves to the
next frame's place and settles. Continuous: the axes never stop, and the shutter opens while they move.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.plan.model import Plan, SlideAxis, TurnAxis
from planner_core.rig.axes import AxisPositions

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


def motorised(plan: Plan, axes: AxisPositions) -> Iterator[tuple[AxisLimits, Array]]:
    """Each motorised axis with its position at every frame, shape (frames,)."""
    for axis in axis_limits(plan):
        position = axes.of(axis.name)
        if position is not None:
            yield axis, position


# ---------------------------------------------------------------- time


def move_time_s(distance: ArrayLike, max_speed: float, max_acceleration: float) -> Array:
    """Seconds from rest to rest over a distance of any shape and sign, in the unit of the limits.

    Speed rises and falls at the greatest acceleration: 2·√(d/a) where d ≤ v²/a, else d/v + v/a. Raises
    ValueError where a limit is not above 0.
    """
    if max_speed <= 0.0 or max_acceleration <= 0.0:
        raise ValueError("an axis needs a speed and an acceleration above 0")
    d = np.abs(np.asarray(distance, dtype=np.float64))
    return np.where(
        d <= max_speed**2 / max_acceleration,
        2.0 * np.sqrt(d / max_acceleration),
        d / max_speed + max_speed / max_acceleration,
    )


def axis_move_times_s(axis: AxisLimits, position: Array) -> Array:
    """Time to allow one axis for the move from each frame to the next, shape (frames − 1,).

    An axis that moves at all may have to cross a step more than the plan says, since it can only stand on its
    steps. That is allowed for, so that the time changes as smoothly as the move does.
    """
    distance = np.abs(np.diff(position))
    return move_time_s(
        np.where(distance > 0.0, distance + axis.step, 0.0), axis.max_speed, axis.max_acceleration
    )


def frame_move_times_s(plan: Plan, axes: AxisPositions) -> Array:
    """Time to allow for the move from each frame to the next, shape (frames − 1,).

    The axes start together, so it is that of the slowest.
    """
    times = np.zeros(max(plan.shoot.frames - 1, 0))
    for axis, position in motorised(plan, axes):
        times = np.maximum(times, axis_move_times_s(axis, position))
    return times


def exposure_time_left_s(plan: Plan, axes: AxisPositions) -> Array:
    """Longest exposure that each frame's interval leaves, seconds, shape (frames,); below 0: nothing fits.

    Shoot-move-shoot: interval − write − move to the next frame − settle. Continuous, or with a rig that never
    moves: interval − write. The last frame has no move after it; it gets what the one before it has, so that
    its exposure doesn't jump.
    """
    shoot = plan.shoot
    left = np.full(shoot.frames, shoot.interval_s - shoot.write_s)
    if plan.move.drive != "shoot-move-shoot":
        return left
    times = frame_move_times_s(plan, axes)
    if not np.any(times):
        return left
    return left - plan.rig.settle_s - np.append(times, times[-1])


def time_needed_s(plan: Plan, axes: AxisPositions, shutter_s: ArrayLike) -> Array:
    """Seconds that each frame takes before the next can begin, shape (frames,).

    shutter_s has shape (frames,) or (). The largest of these is the shortest interval that does.
    """
    left = exposure_time_left_s(plan, axes)
    return np.asarray(shutter_s, dtype=np.float64) + (plan.shoot.interval_s - left)


# ---------------------------------------------------------------- speed of a continuous drive


def drive_rates(position: Array, interval_s: float) -> tuple[Array, Array]:
    """Greatest speed and acceleration on the way from each frame to the next, both of shape (frames − 1,).

    The way is the cubic through the frames' positions that rests at the first and the last frame and has, at
    those between, the mean of the speeds before and after: a drive can follow it and is in place at every
    frame. Units are the position's, a second and a second squared.
    """
    if len(position) < 2:
        return np.zeros(0), np.zeros(0)
    mean = np.diff(position) / interval_s
    knot = np.concatenate([[0.0], (mean[1:] + mean[:-1]) / 2.0, [0.0]])
    before, after = knot[:-1], knot[1:]
    # speed over the share t of the interval: before + slope t + bend t²
    bend = 3.0 * (before + after - 2.0 * mean)
    slope = 6.0 * mean - 4.0 * before - 2.0 * after
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = np.where(bend != 0.0, -slope / (2.0 * bend), 0.0)
    turn = np.where((turn > 0.0) & (turn < 1.0), turn, 0.0)
    turning = before + slope * turn + bend * turn**2
    speed = np.max(np.abs([before, after, turning]), axis=0)
    acceleration = np.maximum(np.abs(slope), np.abs(slope + 2.0 * bend)) / interval_s
    return speed, acceleration


def blur_px(px_per_frame: ArrayLike, interval_s: float, shutter_s: ArrayLike) -> Array:
    """Way of a thing across the picture while the shutter is open, clip pixels.

    px_per_frame is its way from one frame to the next at steady speed; arguments broadcast.
    """
    return np.asarray(px_per_frame, dtype=np.float64) / interval_s * np.asarray(shutter_s, dtype=np.float64)


# ---------------------------------------------------------------- steps


def standing_positions(axis: AxisLimits, position: ArrayLike) -> Array:
    """The step nearest to each position on which the axis can stand, any shape; its lower end is one."""
    steps = np.rint((np.asarray(position, dtype=np.float64) - axis.low) / axis.step)
    highest = np.floor((axis.high - axis.low) / axis.step * (1.0 + 1e-12))
    inside = np.asarray(position) <= axis.high
    return axis.low + axis.step * np.where(inside, np.minimum(steps, highest), steps)


def skipped_frames(axis: AxisLimits, position: Array) -> NDArray[np.bool_]:
    """Where an axis should move on to the next frame but the way is too short for a step, shape (frames,)."""
    should = np.diff(position) != 0.0
    does = np.diff(standing_positions(axis, position)) != 0.0
    return np.append(should & ~does, False)
