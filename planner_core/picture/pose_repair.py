"""Repairing a picture: the smallest change of a pose after which the subject composes, found by trying.

Changes are tried in the order of their size, on some of the frames, and the one that is kept is tried again
on all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths import search
from planner_core.picture import block_visibility, composition
from planner_core.picture.composition import INSIDE_WHOLE, SEEN_BARELY, SEEN_ENOUGH, Reading, SubjectReading
from planner_core.place import blocking
from planner_core.plan.model import Plan, Pose, field_range
from planner_core.rig import geometry
from planner_core.rig.camera import CameraPath, camera_path
from planner_core.rig.drive import axis_limits
from planner_core.rig.motion import axis_values
from planner_core.words.language import say

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PLACES = 25  # frames that a change is tried on, beside the failing ones
FAILING_PLACES = 12
WHOLE_COUNTS = 3  # a trial on all frames takes as long as so many others
RAIL_PLACES = 65  # at which the view of the subject is looked at
FEW_PLACES, FEW_FAILING_PLACES, FEW_RAIL_PLACES = 9, 3, 17  # the same where work is limited
MOST_GUESSES = 3  # turns straight onto the subject that are tried before all else
# Work is counted in rays against a piece of a block; other work as the number of rays that take as long.
BOX_WORK, OUTLINE_WORK, TRIAL_WORK = 2, 400, 10_000
HARDLY_MOVES_M = 0.1  # an entrance pupil so near to the head's axes doesn't look around things
STEPS = {"slide_m": 0.05, "pan_deg": 0.5, "tilt_deg": 0.5}  # what a person would set
MANY_STEPS = (1, 2, 3, 4, 6, 8, 11, 15, 20, 27, 36, 48, 64, 90)
# Sizes of changes that count as equally large: a twentieth of the view, a tenth of the rail.
VIEW_SHARE, RAIL_SHARE = 0.05, 0.1
VERBS = {"slide_m": "slide", "pan_deg": "pan", "tilt_deg": "tilt"}


@frozen(kw_only=True)
class PoseStep:
    """What a change sets, as facts: the axis, its new value at each pose, and what one says of it.

    before and after are the value at the pose where it is one; throughout the axis's first and last value
    where all change together. at is the pose's place in the move, end whether it is the "first" or the
    "last".
    """

    axis: str
    values: Mapping[int, float]
    by: float
    before: float | None = None
    after: float | None = None
    throughout: tuple[float, float] | None = None
    at: float = 0.0
    end: str = ""

    @property
    def changes(self) -> dict[str, float]:
        """The plan's fields by path with their new values."""
        return {f"move.poses[{index}].{self.axis}": value for index, value in self.values.items()}


def step_text(step: PoseStep) -> str:
    """What to do, as one says it to a photographer."""
    verb, axis = VERBS[step.axis], step.axis
    if step.throughout is not None:
        first, last = (_shown(axis, value) for value in step.throughout)
        direction = {
            "slide_m": ("back along the rail", "farther along the rail"),
            "pan_deg": ("to the left", "to the right"),
            "tilt_deg": ("down", "up"),
        }[axis][step.by > 0.0]
        span = first if first == last else say("{first} to {last}", first=first, last=last)
        return say(
            {
                "slide_m": "Slide {by} {direction} throughout (slide {span}).",
                "pan_deg": "Point the lens {by} {direction} throughout (pan {span}).",
                "tilt_deg": "Tilt {by} {direction} throughout (tilt {span}).",
            }[axis],
            by=_shown(axis, abs(step.by)),
            direction=say(direction),
            span=span,
        )
    assert step.before is not None
    assert step.after is not None
    old, new = _shown(axis, step.before), _shown(axis, step.after)
    if step.end:
        ends = "Start the {axis} at {new} instead of {old}.", "End the {axis} at {new} instead of {old}."
        return say(ends[step.end != "first"], axis=say(verb), new=new, old=old)
    template = "At {at:.0f} % of the move, {axis} to {new} instead of {old}."
    return say(template, at=step.at * 100.0, axis=say(verb), new=new, old=old)


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
        return step_text(self.step(before))

    def step(self, before: Plan) -> PoseStep:
        """What it sets in a plan, as facts."""
        values = {index: getattr(self.plan.move.poses[index], self.axis) for index in self.poses}
        if len(self.poses) > 1 or getattr(before.move.poses[self.poses[0]], self.axis) is None:
            first, last = (_value_at(self.plan, self.axis, at) for at in (0.0, 1.0))
            return PoseStep(axis=self.axis, values=values, by=self.by, throughout=(first, last))
        (index,) = self.poses
        poses = before.move.poses
        return PoseStep(
            axis=self.axis,
            values=values,
            by=self.by,
            before=getattr(poses[index], self.axis),
            after=values[index],
            at=poses[index].at,
            end="first" if index == 0 else "last" if index == len(poses) - 1 else "",
        )


def _shown(axis: str, value: float) -> str:
    return f"{round(value, 3):g} m" if axis == "slide_m" else f"{round(value, 2):g}°"


def _value_at(plan: Plan, axis: str, at: float) -> float:
    values = axis_values(plan.move, axis, np.array([at]))
    return float(values[0]) if values is not None else 0.0


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
    most_work: int | None = None,
    weak: float = 0.0,
    only: Sequence[int] | None = None,
    budget: Budget | None = None,
) -> Change | None:
    """The smallest change that leaves no frame failing; None where none was found within so many tries.

    With air around the subject where a change gives that, else without. `only` limits the blocks that are
    looked at while trying; the change that is returned was tried with all of them, on all frames. With
    most_work, turns straight onto the subject are tried first, changes are tried on fewer frames, and none
    is tried that is likely to take more than what is left of so much work. A budget may be given instead.
    """
    bad = failing(plan, reading, weak=weak)
    if not bad.any() or not reading.subject:
        return None
    less = plan if only is None else _with_blocks(plan, only)
    everyone = np.ones(len(bad), dtype=bool)
    budget = budget or Budget(most_tries, most_work, in_haste=most_work is not None)
    aim: _Aim | None = None
    for air in (composition.AIR, 0.0):
        some = _Trial(less, bad, weak, air, reading.travels, budget)
        all_ = _Trial(plan, everyone, weak, air, reading.travels, budget, counts=WHOLE_COUNTS)
        aim = _Aim(some, reading) if aim is None else aim
        aim.ask_for(air)
        change = _SmallestChange(plan, some, all_, aim, reading).run()
        if change is not None:
            return change
    return None


class _SmallestChange:
    """The search for the smallest change that repairs the picture, with the trials that it may make."""

    def __init__(self, plan: Plan, some: _Trial, all_: _Trial, aim: _Aim, reading: Reading) -> None:
        self.plan, self.some, self.all, self.aim = plan, some, all_, aim
        # trying a change on all frames projects the boxes on each, and tries rays on so many
        self.looks = len(reading.seen.sampled)
        self.boxes = BOX_WORK * len(reading.at) * len(blocking.bounding_boxes(plan).block)

    def run(self) -> Change | None:
        some = self.some
        if some.budget.in_haste and some.place_work == 0 and not some.budget.is_overdrawn:
            some.gauge()
        if not some.can_pay():
            return None
        before = some.faults(some.plan)
        if some.budget.in_haste:
            return self._straight_onto_the_subject() or self._in_order(before)
        return self._in_order(before) or self._far_onto_the_subject()

    def _repairs(self, axis: str, poses: tuple[int, ...], steps: int) -> bool:
        """Whether no frame that is tried fails after a change, where the budget allows to try it."""
        return self.some.can_pay() and self._faults(axis, poses, steps) == 0.0

    def _faults(self, axis: str, poses: tuple[int, ...], steps: int) -> float:
        return self.some.faults(_changed(self.some.plan, axis, poses, steps))

    def _straight_onto_the_subject(self) -> Change | None:
        """The first of a few turns that bring the subject in."""
        for size, axis, poses, sign, steps in self.aim.guesses()[:MOST_GUESSES]:
            if self._repairs(axis, poses, sign * steps):
                change = self._with_fewest_steps(size, axis, poses, sign, max(steps - 2, 0), steps)
                if change is not None:
                    return change
        return None

    def _in_order(self, before: float) -> Change | None:
        """The first that repairs, of changes in the order of their size; so much fails before any."""
        last: dict[tuple[str, tuple[int, ...], int], tuple[int, float]] = {}
        for size, axis, poses, sign, steps in _in_order_of_size(self.plan):
            key = (axis, poses, sign)
            tried, faults = last.get(key, (0, before))
            if faults > before and tried > 2:
                continue  # it went the wrong way
            if not self.some.can_pay():
                return None
            if not self.aim.may_hit(axis, poses, sign * steps):
                continue
            last[key] = steps, self._faults(axis, poses, sign * steps)
            if last[key][1] == 0.0:
                change = self._with_fewest_steps(size, axis, poses, sign, tried, steps)
                if change is not None:
                    return change
        return None

    def _far_onto_the_subject(self) -> Change | None:
        """The first of the turns that bring the subject in farther than changes in order go."""
        for least, axis, poses, sign, steps in self.aim.guesses():
            wide = self.aim.steps_to_middle(axis, poses, sign, steps)
            if self._repairs(axis, poses, sign * wide):
                low, size = max(steps - 2, 0), least * wide / steps
                change = self._with_fewest_steps(size, axis, poses, sign, low, wide)
                if change is not None:
                    return change
        return None

    def _with_fewest_steps(
        self, size: float, axis: str, poses: tuple[int, ...], sign: int, low: int, high: int
    ) -> Change | None:
        """The change by fewest steps above low, which don't repair, up to high, which do; on all frames."""
        fewest = _fewest_steps(self.some, self.aim, axis, poses, sign, low, high)
        for steps in dict.fromkeys((fewest, high)):
            changed = _changed(self.plan, axis, poses, sign * steps)
            work = TRIAL_WORK + self.some.place_work * self.looks + self.boxes
            if self.all.budget.allows(work) and self.all.faults(changed) == 0.0:
                by = sign * steps * STEPS[axis]
                return Change(axis=axis, poses=poses, by=by, size=size * (steps / high), plan=changed)
        return None


def best_change(
    plan: Plan,
    reading: Reading,
    *,
    weak: float = 0.0,
    most_tries: int = 400,
    budget: Budget | None = None,
) -> Change | None:
    """The change after which the least fails, where none repairs all; None where none gains a tenth.

    Of changes that are about as good, the smallest is taken. A budget may be given instead of most_tries.
    """
    bad = failing(plan, reading, weak=weak)
    if not bad.any() or not reading.subject:
        return None
    trial = _Trial(plan, bad, weak, 0.0, reading.travels, budget or Budget(most_tries))
    before = trial.badness(plan)
    best: tuple[float, Change] | None = None
    aim = _Aim(trial, reading)
    aim.ask_for(0.0)
    for size, axis, poses, sign, steps in (*_in_order_of_size(plan), *aim.guesses()):
        if not trial.can_pay():
            break
        changed = _changed(plan, axis, poses, sign * steps)
        left = trial.badness(changed)
        if left < 0.9 * (best[0] if best else before):
            by = sign * steps * STEPS[axis]
            best = left, Change(axis=axis, poses=poses, by=by, size=size, plan=changed)
    return best[1] if best else None


class Budget:
    """What trying may cost: so many tries, and so much work where that is limited; and what it has cost.

    In haste, few frames are looked at and the likeliest change is tried first. `tell` is called after each
    try.
    """

    def __init__(
        self,
        most_tries: int,
        most_work: int | None = None,
        *,
        in_haste: bool = False,
        tell: Callable[[], None] | None = None,
    ) -> None:
        self.most_tries, self.most_work, self.in_haste = most_tries, most_work, in_haste
        self.tries = self.work = 0
        self.refused = False  # whether a try was left out for its work
        self._tell = tell

    @property
    def is_overdrawn(self) -> bool:
        """Whether more work was done than it has; what a try takes isn't known before."""
        return self.most_work is not None and self.work > self.most_work

    def allows(self, work: int) -> bool:
        """Whether one more try is left, and so much work."""
        if self.most_work is not None and self.work + work > self.most_work:
            self.refused = True
            return False
        return self.tries < self.most_tries

    def spend(self, view: block_visibility.BlockVisibility) -> int:
        """Count what has been worked out of some blocks' visibility, and say how much it was."""
        boxes = len(view) * len(view.boxes.block)
        work = TRIAL_WORK + view.work.ray_tests + OUTLINE_WORK * view.work.outlines + BOX_WORK * boxes
        self.work += work
        if self._tell is not None:
            self._tell()
        return work


class _Trial:
    """Tries plans on some frames: first on some that failed, then on some of all."""

    def __init__(
        self, plan: Plan, bad: Mask, weak: float, air: float, travels: bool, budget: Budget, counts: int = 1
    ) -> None:
        self.plan, self.weak, self.air, self.travels = plan, weak, air, travels
        self.budget, self.counts = budget, counts
        self.place_work = 0  # what the dearest place has taken so far
        few, most = (FEW_FAILING_PLACES, FEW_PLACES) if budget.in_haste else (FAILING_PLACES, PLACES)
        if bad.all():
            count = len(bad) if counts > 1 else min(len(bad), few + most)
            self.sets = [np.linspace(0.0, 1.0, count) if count > 1 else np.zeros(1)]
        else:
            failed = np.flatnonzero(bad)
            some = failed[np.linspace(0, len(failed) - 1, min(len(failed), few)).round().astype(int)]
            even = np.linspace(0, len(bad) - 1, min(len(bad), most)).round().astype(int)
            self.sets = [frames / max(len(bad) - 1, 1) for frames in (some, np.union1d(even, some))]

    def can_pay(self) -> bool:
        """Whether the budget has room for one more try where all places are as dear as any so far."""
        places = sum(len(places) for places in self.sets)
        return self.budget.allows(TRIAL_WORK * len(self.sets) + self.place_work * places)

    def gauge(self) -> None:
        """Find out on one place what places take."""
        first = self.sets[0]
        self._failing_at(self.plan, first[len(first) // 2 :][:1])

    def faults(self, plan: Plan) -> float:
        """How much fails: the share of the first places that do and how badly, or of all of them where those
        don't.
        """
        self.budget.tries += self.counts
        for places in self.sets:
            if self.budget.is_overdrawn:
                return 1.0  # nobody knows
            bad, depth = self._failing_at(plan, places)
            if bad.any():
                return float(np.mean(bad) + np.mean(depth))
        return 0.0

    def badness(self, plan: Plan) -> float:
        """How much fails on the evenly spread places, whatever failed first."""
        self.budget.tries += self.counts
        bad, depth = self._failing_at(plan, self.sets[-1])
        return float(np.mean(bad) + np.mean(depth * bad))

    def _failing_at(self, plan: Plan, places: Array) -> tuple[Mask, Array]:
        view = block_visibility.compute_visibility(plan, camera_path(plan, places))
        fails = _failing_in(plan, view, weak=self.weak, air=self.air, travels=self.travels)
        work = self.budget.spend(view) - TRIAL_WORK
        self.place_work = max(self.place_work, -(-work // len(places)))
        return fails


class _Aim:
    """Rules out turns of the head that leave the subject outside the frame, by its bearing and altitude
    alone.
    """

    SLACK_DEG = 1.5

    def __init__(self, trial: _Trial, reading: SubjectReading) -> None:
        self.plan, self.places, self.trial = trial.plan, trial.sets[-1], trial
        self.frames = composition.judged(self.plan, self.places)
        path = camera_path(self.plan, self.places)
        boxes = blocking.bounding_boxes(self.plan)
        corners = boxes.corners_m[np.isin(boxes.block, blocking.subject_parts(self.plan))].reshape(-1, 3)
        self.corners = corners
        rays = corners - path.camera_m[:, None]
        right = path.camera_rotation[:, :, 0]
        ahead = np.stack([-right[:, 1], right[:, 0], np.zeros(len(right))], axis=1)
        x, y = np.einsum("fci,fi->fc", rays, right), np.einsum("fci,fi->fc", rays, ahead)
        self.bearing = np.degrees(np.arctan2(x, y))
        self.altitude = np.degrees(np.arctan2(rays[..., 2], np.hypot(x, y))) - path.lens_altitude_deg[:, None]
        # a head that turns about the pupil can't look past what stands in the way
        at = np.searchsorted(reading.at, self.places).clip(0, len(reading.at) - 1)
        hidden = (reading.visible[at] < SEEN_ENOUGH) & (reading.inside[at] >= INSIDE_WHOLE) & self.frames
        self.hopeless = bool(hidden.any()) and abs(self.plan.rig.pupil_offset_m) < HARDLY_MOVES_M
        self.gaps = [gap[at][self.frames] for gap in composition.gaps(self.plan, reading)]
        self.effect: dict[tuple[str, tuple[int, ...]], Array] = {}
        self.start: dict[str, Array] = {}
        self._rail: tuple[tuple[Array, Array] | None] | None = None

    def ask_for(self, air: float) -> None:
        """Room there should be between the subject and the frame's edges, as a share of the frame."""
        across, above = self.gaps
        self.half = dict(
            zip(("pan_deg", "tilt_deg"), np.array(composition.view_deg(self.plan)) * (0.5 - air), strict=True)
        )
        # a turn can't repair what only the other direction gets wrong
        self.helps = {
            "pan_deg": not ((above < air) & (across >= air)).any(),
            "tilt_deg": not ((across < air) & (above >= air)).any(),
        }

    def _allowed(self, axis: str, slack_deg: float) -> tuple[Array, Array]:
        """Least and most turn of the lens at each place that brings all of the subject into the frame; least
        above most where it is too large.
        """
        angle, reach = {"pan_deg": self.bearing, "tilt_deg": self.altitude}[axis], self.half[axis] + slack_deg
        return angle.max(axis=1) - reach, angle.min(axis=1) + reach

    def guesses(self) -> list[tuple[float, str, tuple[int, ...], int, int]]:
        """For each axis and pose of the head the fewest steps that bring the subject into the frame, the
        smallest change first: size, axis, poses, way, steps.
        """
        turns = []
        for axis, poses, lowest, highest, unit in _options(self.plan):
            if axis == "slide_m" or self.hopeless or not self.helps[axis]:
                continue
            low, high = (edge[self.frames] for edge in self._allowed(axis, 0.0))
            turn = self._turn(axis, poses, 1)[self.frames]
            matters = low <= high
            acts = matters & (np.abs(turn) > 1e-6)
            if ((low > 0.0) | (high < 0.0))[matters & ~acts].any() or not acts.any():
                continue
            ends = np.sort([low[acts] / turn[acts], high[acts] / turn[acts]], axis=0)
            least, most = float(ends[0].max()), float(ends[1].min())
            steps = int(np.ceil(least)) if least > 0.0 else int(np.floor(min(most, 0.0)))
            by = steps * STEPS[axis]
            if steps and least <= steps <= most and lowest - 1e-9 <= by <= highest + 1e-9:
                size = abs(by) / unit * (1.5 if len(poses) > 1 else 1.0)
                turns.append((size, axis, poses, 1 if steps > 0 else -1, abs(steps)))
        return sorted(turns)

    def steps_to_middle(self, axis: str, poses: tuple[int, ...], sign: int, steps: int) -> int:
        """From the fewest steps that bring the subject in, those to the middle of what keeps it in."""
        more = steps
        while more < 4 * MANY_STEPS[-1] and self.may_hit(axis, poses, sign * (more + 1)):
            more += 1
        allowed = next(
            abs(high if sign > 0 else low)
            for a, p, low, high, _ in _options(self.plan)
            if (a, p) == (axis, poses)
        )
        return min((steps + more) // 2, max(int((allowed + 1e-9) / STEPS[axis]), steps))

    @property
    def rail(self) -> tuple[Array, Array] | None:
        if self._rail is None:
            self._rail = (self._clear_rail(),)
        return self._rail[0]

    def _clear_rail(self) -> tuple[Array, Array] | None:
        """Places on the rail, and how much of the subject is free from each with the lens turned to it."""
        rail, budget = self.plan.rig.slide, self.trial.budget
        count = FEW_RAIL_PLACES if budget.in_haste else RAIL_PLACES
        if rail is None or not budget.allows(TRIAL_WORK + self.trial.place_work * count):
            return None
        places = np.linspace(rail.min_m, rail.max_m, count)
        north = self.plan.site.scene_north_deg
        middle = (self.corners.min(axis=0) + self.corners.max(axis=0)) / 2.0
        stand = geometry.camera_position_m(self.plan, places, 0.0, 0.0)
        pan, tilt = geometry.bearing_and_altitude(middle - stand, north)
        path = CameraPath(
            plan=self.plan,
            at=np.linspace(0.0, 1.0, len(places)),
            camera_m=stand,
            camera_rotation=geometry.camera_rotation(pan, tilt, north),
            lens_bearing_deg=pan,
            lens_altitude_deg=tilt,
        )
        view = block_visibility.compute_visibility(self.plan, path)
        subjects = [i for i, block in enumerate(self.plan.blocks) if block.role == "subject"]
        visibility = view.visible(blocking.subject_parts(self.plan), ignoring=subjects, every_frame=True)
        budget.spend(view)
        return places, np.nan_to_num(visibility.fraction)

    def may_hit(self, axis: str, poses: tuple[int, ...], steps: int) -> bool:
        if axis == "slide_m":
            if self.rail is None:
                return True
            slide = self._before(axis) + self._turn(axis, poses, steps)
            return bool(np.interp(slide[self.frames], *self.rail).min() > SEEN_ENOUGH - 0.15)
        if self.hopeless or not self.helps[axis]:
            return False
        low, high = self._allowed(axis, self.SLACK_DEG)
        by = self._turn(axis, poses, steps)
        fits = ((low <= by) & (by <= high)) | (low > high)
        return bool(fits[self.frames].all())

    def _before(self, axis: str) -> Array:
        """Where an axis is at each place without any change."""
        if axis not in self.start:
            values = axis_values(self.plan.move, axis, self.places)
            resting = np.full(self.places.shape, _resting(self.plan, axis))
            self.start[axis] = resting if values is None else values
        return self.start[axis]

    def _turn(self, axis: str, poses: tuple[int, ...], steps: int) -> Array:
        """How far a change turns the lens at each place, degrees; a change is taken to act in proportion."""
        key = (axis, poses)
        if key not in self.effect:
            self.effect[key] = self._effect_of_one_step(axis, poses)
        return self.effect[key] * steps

    def _effect_of_one_step(self, axis: str, poses: tuple[int, ...]) -> Array:
        """What a step does, found by one in a direction that the axis and the plan allow."""
        for sign in (1, -1):
            if _allows(self.plan, axis, poses, sign):
                after = axis_values(_changed(self.plan, axis, poses, sign).move, axis, self.places)
                assert after is not None
                return sign * (after - self._before(axis))
        return np.zeros(self.places.shape)


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
        low, high = field_range(Pose, axis)
        if axis in limits:
            low, high = max(low, limits[axis].low), min(high, limits[axis].high)
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


def _allows(plan: Plan, axis: str, poses: tuple[int, ...], steps: int) -> bool:
    """Whether the rig and the plan file allow a change by so many steps."""
    by = steps * STEPS[axis]
    return any(
        low - 1e-9 <= by <= high + 1e-9 for a, p, low, high, _ in _options(plan) if (a, p) == (axis, poses)
    )


def _resting(plan: Plan, axis: str) -> float:
    if axis == "slide_m":
        return plan.rig.slide.min_m if plan.rig.slide else 0.0
    return plan.site.scene_north_deg if axis == "pan_deg" else 0.0


def _in_order_of_size(plan: Plan) -> list[tuple[float, str, tuple[int, ...], int, int]]:
    """All changes to try, the smallest first: size, axis, poses, way (−1 or 1), steps. Changing all poses
    counts half more.
    """
    changes = []
    for axis, poses, low, high, unit in _options(plan):
        for sign in (-1, 1):
            for steps in MANY_STEPS:
                by = sign * steps * STEPS[axis]
                if low - 1e-9 <= by <= high + 1e-9:
                    changes.append(
                        (abs(by) / unit * (1.5 if len(poses) > 1 else 1.0), axis, poses, sign, steps)
                    )
    return sorted(changes)


def _changed(plan: Plan, axis: str, poses: Sequence[int], steps: int) -> Plan:
    by = steps * STEPS[axis]
    changed = list(plan.move.poses)
    for i in poses:
        value = getattr(changed[i], axis)
        value = _resting(plan, axis) if value is None else value
        changed[i] = attrs.evolve(changed[i], **{axis: round(value + by, 6)})
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=tuple(changed)))


def _failing_in(
    plan: Plan, view: block_visibility.BlockVisibility, *, weak: float, air: float, travels: bool
) -> tuple[Mask, Array]:
    if weak <= 0.0:
        subject = composition.read_subject(plan, view)
        return failing(plan, subject, air=air), 1.0 - subject.shown
    reading = composition.read(plan, view, travels=travels)
    return failing(plan, reading, weak=weak, air=air), 2.0 - reading.shown - reading.score


def _fewest_steps(
    trial: _Trial, aim: _Aim, axis: str, poses: tuple[int, ...], sign: int, low: int, high: int
) -> int:
    """Fewest steps that repair, by halving between low that don't and high that do."""

    def repairs(steps: int) -> bool:
        return (
            aim.may_hit(axis, poses, sign * steps)
            and trial.faults(_changed(trial.plan, axis, poses, sign * steps)) == 0.0
        )

    return search.whole_boundary(repairs, high, low, may_go_on=trial.can_pay)[0]
