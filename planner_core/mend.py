"""Mending a picture: the smallest change of a pose after which the subject composes, found by trying.

Changes are tried in the order of their size, on some of the frames, and the one that is kept is tried again
on all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core import blocking, composition, rig, tracks
from planner_core.composition import INSIDE_WHOLE, SEEN_BARELY, SEEN_ENOUGH, Reading, SubjectReading
from planner_core.drive import axis_limits
from planner_core.motion import axis_values
from planner_core.plan import Plan

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PLACES = 25  # frames that a change is tried on, beside the failing ones
FAILING_PLACES = 12
WHOLE_COUNTS = 3  # a trial on all frames takes as long as so many others
RAIL_PLACES = 65  # at which the view of the subject is looked at
HARDLY_MOVES_M = 0.1  # an entrance pupil so near to the head's axes doesn't look around things
STEPS = {"slide_m": 0.05, "pan_deg": 0.5, "tilt_deg": 0.5}  # what a person would set
MANY_STEPS = (1, 2, 3, 4, 6, 8, 11, 15, 20, 27, 36, 48, 64, 90)
# Sizes of changes that count as equally large: a twentieth of the view, a tenth of the rail.
VIEW_SHARE, RAIL_SHARE = 0.05, 0.1
VERBS = {"slide_m": "slide", "pan_deg": "pan", "tilt_deg": "tilt"}


@frozen(kw_only=True)
class Change:
    """One axis of one pose, or of all of them together, set to another value."""

    axis: str  # slide_m, pan_deg or tilt_deg
    poses: tuple[int, ...]
    by: float
    size: float
    plan: Plan  # with the change in it

    def text(self, before: Plan) -> str:
        """What to do, as one says it to a photographer."""
        verb, after = VERBS[self.axis], self.plan
        if len(self.poses) > 1:
            return self._text_for_all(before)
        index = self.poses[0]
        old, new = (_shown(self.axis, getattr(p.move.poses[index], self.axis)) for p in (before, after))
        last = len(before.move.poses) - 1
        if index == 0:
            return f"Start the {verb} at {new} instead of {old}."
        if index == last:
            return f"End the {verb} at {new} instead of {old}."
        return (
            f"At {before.move.poses[index].at * 100.0:.0f} % of the move, {verb} to {new} instead of {old}."
        )

    def _text_for_all(self, before: Plan) -> str:
        first, last = (_shown(self.axis, _value_at(self.plan, self.axis, place)) for place in (0.0, 1.0))
        way = {
            "slide_m": ("back along the rail", "farther along the rail"),
            "pan_deg": ("to the left", "to the right"),
            "tilt_deg": ("down", "up"),
        }[self.axis][self.by > 0.0]
        span = first if first == last else f"{first} to {last}"
        verb = {"slide_m": "Slide", "pan_deg": "Point the lens", "tilt_deg": "Tilt"}[self.axis]
        return f"{verb} {_shown(self.axis, abs(self.by))} {way} throughout ({VERBS[self.axis]} {span})."


def _shown(axis: str, value: float) -> str:
    return f"{round(value, 3):g} m" if axis == "slide_m" else f"{round(value, 2):g}°"


def _value_at(plan: Plan, axis: str, place: float) -> float:
    found = axis_values(plan.move, axis, np.array([place]))
    return float(found[0]) if found is not None else 0.0


def failing(plan: Plan, reading: SubjectReading, *, weak: float = 0.0, air: float = 0.0) -> Mask:
    """Frames on which the plan's own intent fails, (frames,): subject gone, cut or hidden, or a score below
    weak.

    Of a reveal, also the first frame where it gives the subject away, and frames that hide it again.
    """
    frames = composition.judged(plan, reading.at)
    bad = (reading.shown < SEEN_ENOUGH) | ((reading.inside < INSIDE_WHOLE) & ~reading.oversize.any(axis=1))
    if isinstance(reading, Reading):
        bad |= reading.score < weak
    if air > 0.0:
        bad |= ~(composition.air(plan, reading) >= air)
    bad &= frames
    if plan.composition is not None and plan.composition.style == "reveal":
        bad[0] |= reading.shown[0] >= SEEN_BARELY
        shown = np.flatnonzero(reading.shown >= SEEN_ENOUGH)
        if len(shown):
            bad[shown[0] :] |= reading.shown[shown[0] :] < SEEN_ENOUGH
    return bad


def smallest_change(
    plan: Plan,
    reading: Reading,
    *,
    most_tries: int = 400,
    weak: float = 0.0,
    only: Sequence[int] | None = None,
) -> Change | None:
    """The smallest change that leaves no frame failing; None where none was found within so many tries.

    With air around the subject where a change gives that, else without. `only` limits the blocks that are
    looked at while trying; the change that is returned was tried with all of them, on all frames.
    """
    bad = failing(plan, reading, weak=weak)
    if not bad.any() or not reading.subject:
        return None
    less = plan if only is None else _with_blocks(plan, only)
    everyone = np.ones(len(bad), dtype=bool)
    for air in (composition.AIR, 0.0):
        some = _Trial(less, bad, weak, air, reading.travels)
        all_ = _Trial(plan, everyone, weak, air, reading.travels)
        found = _smallest(plan, reading, some, all_, most_tries)
        if found is not None:
            return found
        most_tries -= some.count + WHOLE_COUNTS * all_.count
    return None


def _smallest(plan: Plan, reading: Reading, some: _Trial, all_: _Trial, most_tries: int) -> Change | None:
    aim = _Aim(some, reading)
    before = some.faults(some.plan)
    last: dict[tuple[str, tuple[int, ...], int], tuple[int, float]] = {}
    for size, axis, poses, way, steps in _in_order_of_size(plan):
        key = (axis, poses, way)
        tried, faults = last.get(key, (0, before))
        if faults > before and tried > 2:
            continue  # it went the wrong way
        if not aim.may_hit(axis, poses, way * steps):
            continue
        if some.count + WHOLE_COUNTS * all_.count >= most_tries:
            return None
        last[key] = steps, some.faults(_changed(some.plan, axis, poses, way * steps))
        if last[key][1] == 0.0:
            found = _fewest_steps(some, aim, axis, poses, way, tried, steps)
            for more in dict.fromkeys((found, steps)):
                changed = _changed(plan, axis, poses, way * more)
                if all_.faults(changed) == 0.0:
                    by, share = way * more * STEPS[axis], more / steps
                    return Change(axis=axis, poses=poses, by=by, size=size * share, plan=changed)
    return None


def best_change(plan: Plan, reading: Reading, *, weak: float = 0.0, most_tries: int = 400) -> Change | None:
    """The change after which the least fails, where none mends all; None where none betters it by a tenth.

    Of changes that are about as good, the smallest is taken.
    """
    bad = failing(plan, reading, weak=weak)
    if not bad.any() or not reading.subject:
        return None
    trial = _Trial(plan, bad, weak, 0.0, reading.travels)
    before = trial.badness(plan)
    found: tuple[float, Change] | None = None
    for size, axis, poses, way, steps in _in_order_of_size(plan):
        if trial.count >= most_tries:
            break
        changed = _changed(plan, axis, poses, way * steps)
        left = trial.badness(changed)
        if left < 0.9 * (found[0] if found else before):
            by = way * steps * STEPS[axis]
            found = left, Change(axis=axis, poses=poses, by=by, size=size, plan=changed)
    return found[1] if found else None


class _Trial:
    """Tries plans on some frames: first on some that failed, then on some of all."""

    def __init__(self, plan: Plan, bad: Mask, weak: float, air: float, travels: bool) -> None:
        self.plan, self.weak, self.air, self.travels = plan, weak, air, travels
        self.count = 0
        if bad.all():
            self.sets = [np.linspace(0.0, 1.0, len(bad)) if len(bad) > 1 else np.zeros(1)]
        else:
            failed = np.flatnonzero(bad)
            some = failed[
                np.linspace(0, len(failed) - 1, min(len(failed), FAILING_PLACES)).round().astype(int)
            ]
            even = np.linspace(0, len(bad) - 1, min(len(bad), PLACES)).round().astype(int)
            self.sets = [frames / max(len(bad) - 1, 1) for frames in (some, np.union1d(even, some))]

    def faults(self, plan: Plan) -> float:
        """How much fails: the share of the first places that do and how badly, or of all of them where those
        don't.
        """
        self.count += 1
        for places in self.sets:
            bad, depth = failing_at(plan, places, weak=self.weak, air=self.air, travels=self.travels)
            if bad.any():
                return float(np.mean(bad) + np.mean(depth))
        return 0.0

    def badness(self, plan: Plan) -> float:
        """How much fails on the evenly spread places, whatever failed first."""
        self.count += 1
        bad, depth = failing_at(plan, self.sets[-1], weak=self.weak, air=self.air, travels=self.travels)
        return float(np.mean(bad) + np.mean(depth * bad))


class _Aim:
    """Rules out turns of the head that leave the subject outside the frame, by its bearing and altitude
    alone.
    """

    SLACK_DEG = 1.5

    def __init__(self, trial: _Trial, reading: SubjectReading) -> None:
        self.plan, self.places = trial.plan, trial.sets[-1]
        self.frames = composition.judged(self.plan, self.places)
        path = tracks.camera_path(self.plan, self.places)
        boxes = blocking.bounding_boxes(self.plan)
        corners = boxes.corners_m[np.isin(boxes.block, blocking.subject_parts(self.plan))].reshape(-1, 3)
        self.corners, self.rail = corners, None
        way = corners - path.camera_m[:, None]
        right = path.camera_rotation[:, :, 0]
        ahead = np.stack([-right[:, 1], right[:, 0], np.zeros(len(right))], axis=1)
        x, y = np.einsum("fci,fi->fc", way, right), np.einsum("fci,fi->fc", way, ahead)
        bearing = np.degrees(np.arctan2(x, y))
        altitude = np.degrees(np.arctan2(way[..., 2], np.hypot(x, y))) - path.lens_altitude_deg[:, None]
        half = np.array(composition.view_deg(self.plan)) * (0.5 - trial.air) + self.SLACK_DEG
        self.allowed = {
            axis: (angle.max(axis=1) - reach, angle.min(axis=1) + reach)
            for axis, angle, reach in zip(("pan_deg", "tilt_deg"), (bearing, altitude), half, strict=True)
        }
        # a head that turns about the pupil can't look past what stands in the way
        at = np.searchsorted(reading.at, self.places).clip(0, len(reading.at) - 1)
        hidden = (reading.visible[at] < SEEN_ENOUGH) & (reading.inside[at] >= INSIDE_WHOLE) & self.frames
        self.hopeless = bool(hidden.any()) and abs(self.plan.rig.pupil_offset_m) < HARDLY_MOVES_M
        self.rail = self._clear_rail()
        across, above = (gap[at][self.frames] for gap in composition.gaps(self.plan, reading))
        self.helps = {
            "pan_deg": bool((above >= trial.air).all()),
            "tilt_deg": bool((across >= trial.air).all()),
        }
        self.effect: dict[tuple[str, tuple[int, ...]], Array] = {}

    def _clear_rail(self) -> tuple[Array, Array] | None:
        """Places on the rail, and how much of the subject is free from each with the lens turned to it."""
        rail = self.plan.rig.slide
        if rail is None:
            return None
        places = np.linspace(rail.min_m, rail.max_m, RAIL_PLACES)
        north = self.plan.site.scene_north_deg
        middle = (self.corners.min(axis=0) + self.corners.max(axis=0)) / 2.0
        stand = rig.camera_position_m(self.plan, places, 0.0, 0.0)
        pan, tilt = rig.bearing_and_altitude(middle - stand, north)
        path = tracks.CameraPath(
            plan=self.plan,
            at=np.linspace(0.0, 1.0, len(places)),
            camera_m=stand,
            camera_rotation=rig.camera_rotation(pan, tilt, north),
            lens_altitude_deg=tilt,
        )
        found = composition.read_subject(self.plan, tracks.compute_tracks(self.plan, path), every_frame=True)
        return places, found.visible

    def may_hit(self, axis: str, poses: tuple[int, ...], steps: int) -> bool:
        if axis == "slide_m":
            if self.rail is None:
                return True
            start = axis_values(self.plan.move, axis, self.places)
            resting = np.full(self.places.shape, _resting(self.plan, axis)) if start is None else start
            slide = resting + self._turn(axis, poses, steps)
            return bool(np.interp(slide[self.frames], *self.rail).min() > SEEN_ENOUGH - 0.15)
        if self.hopeless or not self.helps[axis]:
            return False
        low, high = self.allowed[axis]
        by = self._turn(axis, poses, steps)
        fits = ((low <= by) & (by <= high)) | (low > high)
        return bool(fits[self.frames].all())

    def _turn(self, axis: str, poses: tuple[int, ...], steps: int) -> Array:
        """How far a change turns the lens at each place, degrees; a change is taken to act in proportion."""
        key = (axis, poses)
        if key not in self.effect:
            after = axis_values(_changed(self.plan, axis, poses, 1).move, axis, self.places)
            before = axis_values(self.plan.move, axis, self.places)
            resting = _resting(self.plan, axis)
            assert after is not None
            self.effect[key] = after - (resting if before is None else before)
        return self.effect[key] * steps


def _with_blocks(plan: Plan, chosen: Sequence[int]) -> Plan:
    kept = sorted({*chosen, *blocking.subject_parts(plan)})
    return attrs.evolve(plan, blocks=tuple(plan.blocks[i] for i in kept))


def _options(plan: Plan) -> Iterator[tuple[str, tuple[int, ...], float, float, float]]:
    """Axis, poses, lowest and highest change that the rig allows, and the change that counts as 1."""
    crop_deg = composition.view_deg(plan)
    limits = {axis.name: axis for axis in axis_limits(plan)}
    for axis in ("pan_deg", "tilt_deg", "slide_m"):
        given = [i for i, pose in enumerate(plan.move.poses) if getattr(pose, axis) is not None]
        if axis == "slide_m" and axis not in limits:
            continue
        if axis in limits:
            low, high = limits[axis].low, limits[axis].high
        else:
            low, high = (-1080.0, 1080.0) if axis == "pan_deg" else (-90.0, 90.0)
        unit = RAIL_SHARE * (high - low) if axis == "slide_m" else VIEW_SHARE * crop_deg[axis == "tilt_deg"]
        values = [getattr(plan.move.poses[i], axis) for i in given]
        if axis in limits:
            for i, value in zip(given, values, strict=True):
                if len(given) > 1:
                    yield axis, (i,), low - value, high - value, unit
        if not given:  # where no pose gives it, the axis rests; all poses may say where
            given = list(range(len(plan.move.poses)))
            values = [_resting(plan, axis)] * len(given)
        yield axis, tuple(given), low - min(values), high - max(values), unit


def _resting(plan: Plan, axis: str) -> float:
    if axis == "slide_m":
        return plan.rig.slide.min_m if plan.rig.slide else 0.0
    return plan.site.scene_north_deg if axis == "pan_deg" else 0.0


def _in_order_of_size(plan: Plan) -> list[tuple[float, str, tuple[int, ...], int, int]]:
    """All changes to try, the smallest first: size, axis, poses, way (−1 or 1), steps. Changing all poses
    counts half more.
    """
    found = []
    for axis, poses, low, high, unit in _options(plan):
        for way in (-1, 1):
            for steps in MANY_STEPS:
                by = way * steps * STEPS[axis]
                if low - 1e-9 <= by <= high + 1e-9:
                    found.append((abs(by) / unit * (1.5 if len(poses) > 1 else 1.0), axis, poses, way, steps))
    return sorted(found)


def _changed(plan: Plan, axis: str, poses: Sequence[int], steps: int) -> Plan:
    by = steps * STEPS[axis]
    changed = list(plan.move.poses)
    for i in poses:
        value = getattr(changed[i], axis)
        value = _resting(plan, axis) if value is None else value
        changed[i] = attrs.evolve(changed[i], **{axis: round(value + by, 6)})
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=tuple(changed)))


def failing_at(
    plan: Plan, places: Array, *, weak: float = 0.0, air: float = 0.0, travels: bool = False
) -> tuple[Mask, Array]:
    """What `failing` says of a plan at places of the move (0..1), without a FrameTable, and how badly each
    place fails.
    """
    seen = tracks.compute_tracks(plan, tracks.camera_path(plan, places))
    if weak <= 0.0:
        found = composition.read_subject(plan, seen)
        return failing(plan, found, air=air), 1.0 - found.shown
    reading = composition.read(plan, seen, travels=travels)
    return failing(plan, reading, weak=weak, air=air), 2.0 - reading.shown - reading.score


def _fewest_steps(
    trial: _Trial, aim: _Aim, axis: str, poses: tuple[int, ...], way: int, low: int, high: int
) -> int:
    """Fewest steps that mend, by halving between low that don't and high that do."""
    while high - low > 1:
        middle = (low + high) // 2
        mended = aim.may_hit(axis, poses, way * middle)
        mended = mended and trial.faults(_changed(trial.plan, axis, poses, way * middle)) == 0.0
        low, high = (low, middle) if mended else (middle, high)
    return high
