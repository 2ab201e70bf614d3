"""A motion as it stands, frame by frame, back into the fewest poses that make it.

A pose is needed where the motion doesn't follow from its neighbours: the search adds poses where the error is
largest, then removes and shifts as many as it can, and measures every attempt with the motion module itself.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping, Sequence
from functools import partial

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths import search
from planner_core.plan import timeline
from planner_core.plan.model import Move, Plan, Pose
from planner_core.rig import motion
from planner_core.rig.axes import AXIS_NAMES

Array = NDArray[np.float64]

TOLERANCES = {"slide_m": 0.0005, "pan_deg": 0.01, "tilt_deg": 0.01}
MARGIN = 0.9  # fraction of the tolerance, which leaves room for rounding
EASES = tuple(step / 20.0 for step in range(11))
FINE_EASE = 0.01
PLACE_DECIMALS = 9
CLOSELY, ROUGHLY = 0.02, 0.5  # of the tolerance; single precision leaves a thousandth
SIDE_FRAMES = 6
MOST_SEARCHED = 2
MOST_TRIED = 2500  # sets of poses a search may try
HOPELESS = 20.0  # times the tolerance: beyond that no shift of a pose helps
MOST_BENDS = 60
MOST_SHIFTED = 48  # poses: beyond, shifting them all takes too long


@frozen(kw_only=True, eq=False)
class _Target:
    """The motion to reproduce: places (n,), and values over tolerance (n, axes), with the axes' names.

    Places are those of the frames, and those of the poses there are now that lie between frames. is_frame
    (n,) tells them apart: only on frames the values are known, and have to be met.
    """

    at: Array
    values: Array
    axes: tuple[str, ...]
    is_frame: NDArray[np.bool_]

    def value(self, axis: str, frame: int) -> float:
        return float(self.values[frame, self.axes.index(axis)] * TOLERANCES[axis] * MARGIN)


@frozen(kw_only=True, eq=False)
class _Fit:
    """Knots of each axis as rows of the target, the ease, and the largest error over tolerance."""

    knots: dict[str, tuple[int, ...]]
    ease: float
    error: float

    @property
    def rows(self) -> list[int]:
        """Rows on which some axis has a knot: each takes a pose."""
        return sorted({row for knots in self.knots.values() for row in knots})


def fit_poses(plan: Plan, wanted: Mapping[str, Array]) -> Move:
    """The plan's move with the fewest poses that give the wanted axes these values on every frame.

    wanted maps slide_m, pan_deg or tilt_deg to values of shape (frames,), in metres and degrees; they are
    met within 0.5 mm and 0.01°. Axes that are not in it keep their poses and their motion. Raises
    ValueError for other shapes or values that are not numbers.
    """
    at = timeline.frame_places(plan.shoot.frames)
    for axis, values in wanted.items():
        if axis not in TOLERANCES or np.shape(values) != at.shape or not np.all(np.isfinite(values)):
            raise ValueError(f"{axis}: needs {len(at)} finite values, one a frame")
    if not wanted:
        return plan.move
    kept = [
        axis
        for axis in AXIS_NAMES
        if axis not in wanted and motion.axis_values(plan.move, axis, at) is not None
    ]
    if kept:
        fitted = _beside(plan.move, _target(plan.move, at, wanted), kept)
        if fitted is not None:
            return fitted
        # the wanted motion extends before or after the poses, so the other axes can't keep their timing
        for axis in kept:
            now = motion.axis_values(plan.move, axis, at)
            assert now is not None
            wanted = {**wanted, axis: now}
    return _alone(plan.move, _target(plan.move, at, wanted))


def _target(move: Move, at: Array, wanted: Mapping[str, Array]) -> _Target:
    axes = tuple(axis for axis in AXIS_NAMES if axis in wanted)
    values = np.stack(
        [np.asarray(wanted[a], dtype=np.float64) / (TOLERANCES[a] * MARGIN) for a in axes], axis=1
    )
    between = [pose.at for pose in move.poses if np.abs(at - pose.at).min() > 1e-9] if len(at) > 1 else []
    rows = np.array([_value_between(at, values, position) for position in between]).reshape(-1, len(axes))
    order = np.argsort(np.concatenate([at, between]), kind="stable")
    return _Target(
        at=np.concatenate([at, between])[order],
        values=np.concatenate([values, rows])[order],
        axes=axes,
        is_frame=order < len(at),
    )


def _value_between(at: Array, values: Array, position: float) -> Array:
    """Values at a position between frames, where a bend may be: what cubics through either side's frames
    agree on.
    """
    first_after = int(np.searchsorted(at, position))
    estimates = []
    for low, high in ((first_after - SIDE_FRAMES, first_after), (first_after, first_after + SIDE_FRAMES)):
        side = slice(max(low, 0), max(high, 0))
        if len(at[side]) < 2:
            continue
        step = (at[side] - position) / (at[1] - at[0])
        powers = step[:, None] ** np.arange(min(4, len(step)))
        estimates.append(np.linalg.lstsq(powers, values[side], rcond=None)[0][0])
    return np.mean(estimates, axis=0)


def _alone(move: Move, target: _Target) -> Move:
    """Fits all axes: where the move begins and ends, and its ease, are free too."""
    spread = np.abs(target.values - target.values[0]).max(axis=1)
    if spread.max() <= 1.0:
        pose = Pose(at=0.0, **{axis: target.value(axis, 0) for axis in target.axes})
        return attrs.evolve(move, poses=(pose,))
    first = int(np.argmax(spread > 0.25)) - 1
    last = len(spread) - int(np.argmax(np.abs(target.values - target.values[-1]).max(axis=1)[::-1] > 0.25))
    ends = {(0, len(spread) - 1), (max(first, 0), min(last, len(spread) - 1))}
    hints = _frames_of(move, target)
    fits: list[_Fit] = []
    for roughly, problem in _promising(target, sorted(ends), move.ease)[:MOST_SEARCHED]:
        if not fits or roughly < min(len(fit.rows) for fit in fits):
            fits.append(_search_axes(target, problem, hints))
    best = min(fits, key=lambda fit: (len(fit.rows), fit.ease != move.ease, fit.error))
    poses = tuple(
        Pose(
            at=float(target.at[row]), **{a: target.value(a, row) for a in target.axes if row in best.knots[a]}
        )
        for row in best.rows
    )
    return attrs.evolve(move, ease=best.ease, poses=poses)


def _promising(target: _Target, ends: Sequence[tuple[int, int]], ease: float) -> list[tuple[int, _Problem]]:
    """Ends and eases with how many poses each needs at least, the fewest first, the plan's own ease
    among equals.
    """

    def weighed(eases: Iterable[float]) -> list[tuple[int, int, _Problem]]:
        problems = [_Problem(target, start, end, e) for e in eases for start, end in ends]
        return [(*_needed(p), p) for p in problems]

    coarse = weighed(dict.fromkeys((ease, *EASES)))
    fewest = min(roughly for roughly, _, _ in coarse)
    fine: list[tuple[int, int, _Problem]] = []
    if all(closely > fewest for _, closely, _ in coarse):
        middles = {problem.ease for roughly, _, problem in coarse if roughly <= fewest + 1}
        near = {round(middle + step * FINE_EASE, 6) for middle in middles for step in range(-4, 5)}
        fine = weighed(sorted(e for e in near - {ease, *EASES} if 0.0 <= e <= 0.5))
    ranked = sorted([*coarse, *fine], key=lambda row: (row[0], row[1], row[2].ease != ease))
    return [(roughly, problem) for roughly, _, problem in ranked]


def _needed(problem: _Problem) -> tuple[int, int]:
    """About how many poses a motion takes at least, and how many if it was made of poses as the motion
    module does.
    """
    single = [problem.of_axis(column) for column in range(problem.values.shape[1])]
    roughly = max(len(_bends(one, ROUGHLY)) for one in single)
    closely = len({knot for one in single for knot in _bends(one, CLOSELY)})
    return roughly, min(closely, len(_bends(problem, CLOSELY)))


def _beside(move: Move, target: _Target, kept: Sequence[str]) -> Move | None:
    """Fits some axes and leaves the others: the move's ends and ease stay. None where that isn't possible."""
    places = np.array([pose.at for pose in move.poses])
    start, end = _nearest(target.at, places[0]), _nearest(target.at, places[-1])
    if max(abs(target.at[start] - places[0]), abs(target.at[end] - places[-1])) > 1e-9:
        return None
    fit = _search_axes(target, _Problem(target, start, end, move.ease), _frames_of(move, target))
    if fit.error > 1.0:
        return None
    new = {round(float(target.at[row]), PLACE_DECIMALS): row for row in fit.rows}
    old = {round(pose.at, PLACE_DECIMALS): pose for pose in move.poses}
    poses = []
    for at in sorted({*new, *old}):
        values = {axis: getattr(old[at], axis) if at in old else None for axis in kept}
        if at in new:
            row = new[at]
            values |= {axis: target.value(axis, row) for axis in target.axes if row in fit.knots[axis]}
        if any(value is not None for value in values.values()) or at in (min(old), max(old)):
            poses.append(Pose(at=old[at].at if at in old else float(target.at[new[at]]), **values))
    return attrs.evolve(move, poses=tuple(poses))


def _frames_of(move: Move, target: _Target) -> list[int]:
    """Frames on which the move has poses now."""
    frames = [_nearest(target.at, pose.at) for pose in move.poses]
    return [f for f, pose in zip(frames, move.poses, strict=True) if abs(target.at[f] - pose.at) < 1e-9]


def _nearest(places: Array, at: float) -> int:
    return int(np.argmin(np.abs(places - at)))


# ---------------------------------------------------------------- the search


class _Problem:
    """One motion between two frames, for one ease: what poses on given frames would make of it."""

    def __init__(self, target: _Target, start: int, end: int, ease: float) -> None:
        self.start, self.end, self.ease = start, end, ease
        length = max(float(target.at[end] - target.at[start]), 1e-12)
        self.warped = motion.progress((target.at - target.at[start]) / length, ease)
        self.values, self.is_frame = target.values, target.is_frame
        self.around = self._around()
        self.known: dict[tuple[int, ...], Array] = {}

    def errors(self, knots: Sequence[int]) -> Array:
        """Largest error over tolerance on each frame, shape (frames,), with poses on these frames."""
        key = tuple(knots)
        if key not in self.known:
            errors = self.around.copy()
            errors[self.start : self.end] = _largest(self._made(np.array(key)) - self._between)
            self.known[key] = errors * self.is_frame
        return self.known[key]

    def _around(self) -> Array:
        """Errors before the first and after the last knot, where the axes rest, shape (rows,); else 0."""
        errors = np.zeros(len(self.values))
        errors[: self.start] = _largest(self.values[: self.start] - self.values[self.start])
        errors[self.end + 1 :] = _largest(self.values[self.end + 1 :] - self.values[self.end])
        return errors

    @property
    def _between(self) -> Array:
        return self.values[self.start : self.end]

    def _made(self, knots: NDArray[np.intp]) -> Array:
        """motion.monotone_cubic through knots from start to end, on the rows from start to before end.

        Apart from rounding; faster, since the rows' spans are known and each span's cubic is worked out once.
        """
        x, y = self.warped[knots], self.values[knots]
        slopes = motion.monotone_slopes(x, y.T).T
        width, rise = np.diff(x)[:, None], np.diff(y, axis=0)
        leaving, arriving = width * slopes[:-1], width * slopes[1:]
        square, cube = 3.0 * rise - 2.0 * leaving - arriving, leaving + arriving - 2.0 * rise
        span = np.repeat(np.arange(len(knots) - 1), np.diff(knots))
        t = (self.warped[self.start : self.end, None] - x[span, None]) / width[span]
        return y[span] + t * (leaving[span] + t * (square[span] + t * cube[span]))

    def error(self, knots: Sequence[int]) -> float:
        return float(self.errors(knots).max())

    def badness(self, knots: Sequence[int]) -> float:
        """What a shift should reduce: the errors, the largest counting most."""
        eighth = np.square(np.square(np.square(self.errors(knots))))
        return float(eighth.sum() ** 0.125)

    def of_axis(self, column: int) -> _Problem:
        """The same of one axis alone."""
        alone = copy.copy(self)
        alone.values, alone.known = self.values[:, column : column + 1], {}
        alone.around = alone._around()
        return alone


def _largest(errors: Array) -> Array:
    """The largest size of each row, shape (rows,)."""
    return np.abs(errors).max(axis=1)


def _search_axes(target: _Target, problem: _Problem, hints: Sequence[int]) -> _Fit:
    """Fewest poses: each giving all the axes, or each only those that need it, whichever takes fewer."""
    knots_of_all = _search(problem, hints)
    together = _Fit(
        knots={axis: tuple(knots_of_all) for axis in target.axes},
        ease=problem.ease,
        error=problem.error(knots_of_all),
    )
    if len(target.axes) == 1 or len(knots_of_all) == 2:
        return together
    single = [problem.of_axis(column) for column in range(len(target.axes))]
    knots = [_search(one, hints) for one in single]
    apart = _Fit(
        knots={axis: tuple(rows) for axis, rows in zip(target.axes, knots, strict=True)},
        ease=problem.ease,
        error=max(one.error(rows) for one, rows in zip(single, knots, strict=True)),
    )
    return apart if len(apart.rows) < len(together.rows) else together


def _search(problem: _Problem, hints: Sequence[int]) -> list[int]:
    """Fewest knots between the problem's two frames, the best of several searches."""
    start, end = problem.start, problem.end
    tried = [
        [start, end],
        sorted({start, *(h for h in hints if start < h < end), end}),
        _bends(problem, CLOSELY),
    ]
    good = [knots for knots in tried if problem.error(knots) <= 1.0]
    best = min(good, key=len) if good else _grown(problem)
    return _fewer(problem, best)


def _bends(problem: _Problem, within: float) -> list[int]:
    """Frames between which the motion is one cubic after the other, within a share of the tolerance.

    The motion module makes exactly such curves, so a motion made of poses is recovered exactly.
    """
    knots = [problem.start]
    while knots[-1] < problem.end and len(knots) < MOST_BENDS:
        is_cubic_from = partial(_is_cubic, problem, within, knots[-1])
        farthest, _ = search.whole_boundary(is_cubic_from, knots[-1] + 1, problem.end + 1)
        knots.append(farthest)
    return sorted({*knots, problem.end})


def _is_cubic(problem: _Problem, within: float, first: int, last: int) -> bool:
    if last - first < 4:
        return True
    span = problem.warped[first : last + 1]
    if span[-1] - span[0] < 1e-12:
        return False
    scaled = 2.0 * (span - span[0]) / (span[-1] - span[0]) - 1.0
    powers = np.stack([np.ones_like(scaled), scaled, scaled**2, scaled**3], axis=1)
    values = problem.values[first : last + 1]
    solved = np.linalg.lstsq(powers, values, rcond=None)[0]
    return bool(np.abs(powers @ solved - values).max() < within)


def _grown(problem: _Problem) -> list[int]:
    """Poses at the ends and turning points, and one after the other where the error is largest."""
    knots = sorted({problem.start, *_turns(problem), problem.end})
    while problem.error(knots) > 1.0:
        errors = problem.errors(knots)[problem.start : problem.end + 1]
        worst = problem.start + int(np.argmax(errors))
        if worst in knots:
            return list(range(problem.start, problem.end + 1))
        knots = sorted([*knots, worst])
    return knots


def _spread(problem: _Problem, count: int) -> list[int]:
    """So many frames, more of them where the motion bends more, and one at each turning point."""
    start, end = problem.start, problem.end
    inside = problem.values[start : end + 1]
    bend = np.abs(np.diff(inside, n=2, axis=0)).max(axis=1) if end - start > 1 else np.zeros(0)
    density = np.sqrt(np.concatenate([bend[:1], bend, bend[-1:]]))
    density += 0.05 * density.mean() + 1e-12
    cumulative = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2.0)])
    spread = np.interp(np.linspace(0.0, cumulative[-1], count), cumulative, np.arange(start, end + 1))
    return sorted({start, end, *np.rint(spread).astype(int).tolist(), *_turns(problem)})


def _turns(problem: _Problem) -> list[int]:
    """Frames on which an axis turns back by more than the tolerance: a pose has to be there."""
    turns = set()
    for column in problem.values.T:
        extreme, direction = problem.start, 0.0
        for frame in range(problem.start + 1, problem.end + 1):
            step = column[frame] - column[extreme]
            if direction * step >= 0.0 and abs(step) > 0.0:
                extreme, direction = frame, (step if direction == 0.0 else direction)
            elif direction * step < 0.0 and abs(step) > 1.0:
                turns.add(extreme)
                extreme, direction = frame, step
    return sorted(turns)


def _fewer(problem: _Problem, knots: list[int]) -> list[int]:
    """Remove poses as long as the others, shifted to compensate, stay within the tolerance."""
    while len(knots) > 2:
        shorter = [knots[:i] + knots[i + 1 :] for i in range(1, len(knots) - 1)]
        shorter.sort(key=problem.badness)
        if len(knots) - 1 <= MOST_SHIFTED and problem.error(shorter[0]) > 1.0:
            beginnings = [*shorter[:2], _spread(problem, len(knots) - 1)]
            shorter = [
                _shifted(problem, s)
                for s in beginnings
                if len(s) < len(knots) and problem.error(s) < HOPELESS
            ]
        fewer = next((s for s in shorter if problem.error(s) <= 1.0), None)
        if fewer is None:
            return knots
        knots = fewer
    return knots


def _shifted(problem: _Problem, knots: list[int]) -> list[int]:
    """Move inner poses, in steps that get smaller, as long as that makes the errors smaller."""
    best, step = problem.badness(knots), max(1, (problem.end - problem.start) // 24)
    while step >= 1 and problem.error(knots) > 1.0 and len(problem.known) < MOST_TRIED:
        moved = False
        for i in range(1, len(knots) - 1):
            for by in (-step, step):
                knot = knots[i] + by
                if knots[i - 1] < knot < knots[i + 1]:
                    tried = [*knots[:i], knot, *knots[i + 1 :]]
                    cost = problem.badness(tried)
                    if cost < best * (1.0 - 1e-6):
                        knots, best, moved = tried, cost, True
                        break
        if not moved:
            step //= 2
    return knots
