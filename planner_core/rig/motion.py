"""Axis positions along the move: monotone between poses, with a gentle start and stop.

The move runs from the first pose's place to the last one's; before and after, the axes rest.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.plan.model import Move, Plan
from planner_core.rig.axes import AXIS_NAMES, AxisPositions

MINIMUM_JERK_PEAK_SPEED = 1.875
KNOT_GAP = 1e-15  # share of the move's way below which two poses are the same place in double precision


def minimum_jerk(time_fraction: ArrayLike) -> NDArray[np.float64]:
    """Distance done, 0..1, after a share 0..1 of the time: 10τ³ − 15τ⁴ + 6τ⁵. Any shape.

    Flash and Hogan, J. Neuroscience 5 (1985).
    """
    tau = np.clip(np.asarray(time_fraction, dtype=np.float64), 0.0, 1.0)
    return tau**3 * (10.0 + tau * (-15.0 + 6.0 * tau))


def progress(at: ArrayLike, ease: float) -> NDArray[np.float64]:
    """Share of the way done at each place of the move, both 0..1, any shape.

    The first and last `ease` of the time are the two halves of a minimum-jerk move, joined by steady speed,
    so that acceleration never jumps: ease 0 is steady throughout, ease 0.5 is the whole minimum-jerk curve.
    """
    at = np.clip(np.asarray(at, dtype=np.float64), 0.0, 1.0)
    if ease <= 0.0:
        return at
    steady = 1.0 / (1.0 - 2.0 * ease * (1.0 - 1.0 / MINIMUM_JERK_PEAK_SPEED))
    ramp_length = 2.0 * ease * steady / MINIMUM_JERK_PEAK_SPEED  # way of both ramps together

    def ramp(from_end: NDArray[np.float64]) -> NDArray[np.float64]:
        return ramp_length * minimum_jerk(np.minimum(from_end, ease) / (2.0 * ease))

    middle = ramp_length / 2.0 + steady * (at - ease)
    return np.where(at < ease, ramp(at), np.where(at > 1.0 - ease, 1.0 - ramp(1.0 - at), middle))


def monotone_slopes(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slopes at the knots of a cubic that never overshoots its neighbours, shape of y: (…, knots).

    Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980), with the weighted harmonic mean inside and the
    one-sided three-point estimate, held to the data's shape, at the ends.
    """
    h, delta = np.diff(x), np.diff(y) / np.diff(x)
    if len(h) == 1:
        return np.concatenate([delta, delta], axis=-1)
    slopes = np.zeros_like(y)
    w1, w2 = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    same_way = delta[..., :-1] * delta[..., 1:] > 0.0
    left, right = np.where(same_way, delta[..., :-1], 1.0), np.where(same_way, delta[..., 1:], 1.0)
    with np.errstate(over="ignore"):  # next to a slope of 1e-308 the mean is 0
        slopes[..., 1:-1] = np.where(same_way, (w1 + w2) / (w1 / left + w2 / right), 0.0)
    ends, beside = [0, -1], [1, -2]
    slopes[..., ends] = _end_slope(h[ends], h[beside], delta[..., ends], delta[..., beside])
    return slopes


def _end_slope(
    h0: NDArray[np.float64],
    h1: NDArray[np.float64],
    delta0: NDArray[np.float64],
    delta1: NDArray[np.float64],
) -> NDArray[np.float64]:
    slope = ((2.0 * h0 + h1) * delta0 - h0 * delta1) / (h0 + h1)
    steep = (delta0 * delta1 < 0.0) & (np.abs(slope) > 3.0 * np.abs(delta0))
    return np.where(slope * delta0 <= 0.0, 0.0, np.where(steep, 3.0 * delta0, slope))


def monotone_cubic(x: ArrayLike, y: ArrayLike, at: ArrayLike) -> NDArray[np.float64]:
    """Value at `at` (any shape) of the monotone cubic through the knots (x, y); constant beyond the ends.

    x (knots,) rises strictly; y is (knots,), or (…, knots) for several cubics at once, which then come before
    the shape of `at`. Between two knots the value never leaves the range that they span.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    at = np.clip(np.asarray(at, dtype=np.float64), x[0], x[-1])
    if len(x) == 1:
        return np.broadcast_to(y, (*y.shape[:-1], at.size)).reshape(y.shape[:-1] + at.shape).copy()
    slopes = monotone_slopes(x, y)
    span = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    h = x[span + 1] - x[span]
    t = (at - x[span]) / h
    low, high = y[..., span], y[..., span + 1]
    hermite = (
        (1.0 + 2.0 * t) * (1.0 - t) ** 2 * low
        + t * (1.0 - t) ** 2 * h * slopes[..., span]
        + t**2 * (3.0 - 2.0 * t) * high
        + t**2 * (t - 1.0) * h * slopes[..., span + 1]
    )
    return np.clip(hermite, np.minimum(low, high), np.maximum(low, high))


def axis_values(move: Move, name: str, at: ArrayLike) -> NDArray[np.float64] | None:
    """Position of one axis (slide_m, pan_deg or tilt_deg) at each place of the move; None: no pose has it.

    Knots are the poses that give the axis, reached at their own place; two poses running with the same value
    are a hold. The ease of the move's start and end is a warp of time common to all axes, so that the axes
    keep step with each other. Pan goes the way the numbers say: 350 to 370 is across north, 350 to 10 is not.
    """
    return _axes_values(move, (name,), at)[name]


def _axes_values(move: Move, names: Sequence[str], at: ArrayLike) -> dict[str, NDArray[np.float64] | None]:
    """Positions of several axes, as axis_values has them; those with the same knots are found at once."""
    knots = {name: tuple(pose.at for pose in move.poses if getattr(pose, name) is not None) for name in names}
    values: dict[str, NDArray[np.float64] | None] = dict.fromkeys(names)
    places = _warped(move, at)
    for given in filter(None, dict.fromkeys(knots.values())):
        alike = [name for name in names if knots[name] == given]
        rows = [[v for pose in move.poses if (v := getattr(pose, name)) is not None] for name in alike]
        x, y = _apart(_warped(move, given), np.array(rows, dtype=np.float64))
        values.update(zip(alike, monotone_cubic(x, y, places), strict=True))
    return values


def _warped(move: Move, at: ArrayLike) -> NDArray[np.float64]:
    """Share of the move's way done at places of it, any shape."""
    first, last = move.poses[0].at, move.poses[-1].at
    at = np.asarray(at, dtype=np.float64)
    return progress((at - first) / (last - first), move.ease) if last > first else np.zeros(at.shape)


def _apart(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Knots x (n,) and values (…, n) without those that the ease has pushed onto the one before; the last
    always stays.
    """
    kept = [0]
    for knot in range(1, len(x)):
        if x[knot] - x[kept[-1]] > KNOT_GAP:
            kept.append(knot)
        elif knot == len(x) - 1:
            kept[-1] = knot
    return x[kept], y[..., kept]


def axis_positions(plan: Plan, at: ArrayLike) -> AxisPositions:
    """Where the axes stand at each place of the move, arrays of the shape of `at`.

    An axis that no pose mentions rests: the slide at its lower end, pan along the scene's +Y, tilt level.
    """
    rig, values = plan.rig, _axes_values(plan.move, AXIS_NAMES, at)
    slide, pan, tilt = values["slide_m"], values["pan_deg"], values["tilt_deg"]
    shape = np.shape(at)
    if slide is None and rig.slide is not None:
        slide = np.full(shape, rig.slide.min_m)
    if pan is None and rig.pan is not None:
        pan = np.full(shape, plan.site.scene_north_deg)
    if tilt is None and rig.tilt is not None:
        tilt = np.zeros(shape)
    return AxisPositions(slide_m=slide, pan_deg=pan, tilt_deg=tilt)
