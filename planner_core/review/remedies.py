"""What to try against a finding: proposals, each a few fields of the plan to set.

Those that several findings share are functions here; those that take a search are registered for the codes
of findings, and asked for only where somebody tries them. Each comes as a tuple, empty where the plan's own
limits leave no room for it. None is shown before `trial` has found that it helps.
"""

from __future__ import annotations

import math
import weakref
from collections.abc import Callable, Iterable, Iterator, Mapping

import attrs
import numpy as np
from attrs import frozen

from planner_core.evening import interval
from planner_core.evening.balance import balance, place_of_progress
from planner_core.frames import FrameTable
from planner_core.light.exposure import (
    narrower_f_number,
    next_third,
    nominal_iso,
    nominal_shutter_s,
    wider_f_number,
)
from planner_core.picture import aiming, composition, parallax, pose_repair
from planner_core.picture.composition import WEAK
from planner_core.place import blocking
from planner_core.plan.changes import Changes, differences
from planner_core.plan.model import Exposure, Plan, Shoot, field_range
from planner_core.review.findings import Finding, Quantity, Remedy, facts
from planner_core.rig import drive
from planner_core.rig.drive import axis_limits
from planner_core.words.figures import rounded_down

MOST_INTERVAL_S = field_range(Shoot, "interval_s")[1]
MOST_FRAMES = field_range(Shoot, "frames")[1]
LEVEL_DEG = 0.0  # where a head stands whose tilt no pose gives
PLACES = {"slide_m": 3, "pan_deg": 2, "tilt_deg": 2}  # digits that a person would set
# what cameras and lenses at hand can do, for advice only
HIGHEST_ISO, WIDEST_F_NUMBER, LONGEST_SHUTTER_S = 12800.0, 1.4, 30.0
SMALLEST_F_NUMBER, SHORTEST_SHUTTER_S = 22.0, 2.0**-13
QUICK_TRIES = 20  # changes of a pose that a review tries; the fit tries more
QUICK_WORK = 600_000  # that a review may spend on it, in rays tried against a piece of a block
ASIDE_M = (0.05, 0.1, 0.2, 0.4)  # along the rail, to part outlines that run together
UP_DEG = (3.0, 6.0, 10.0)  # for what lies on the ground

Proposer = Callable[[Plan, FrameTable, Finding], Iterable[Remedy]]
PROPOSERS: dict[str, list[Proposer]] = {}  # by the code of the finding


def proposes(*codes: str) -> Callable[[Proposer], Proposer]:
    """Register a function as one that proposes what to try against the findings of these codes."""

    def register(proposer: Proposer) -> Proposer:
        for code in codes:
            PROPOSERS.setdefault(code, []).append(proposer)
        return proposer

    return register


def proposed(plan: Plan, frames: FrameTable, finding: Finding) -> tuple[Remedy, ...]:
    """What to try against a finding that wasn't tried yet, in the order in which one would."""
    proposers = PROPOSERS.get(finding.code, ())
    remedies = (*finding.remedies, *(each for ask in proposers for each in ask(plan, frames, finding)))
    return tuple({repr(sorted(each.changes.items())): each for each in reversed(remedies)}.values())[::-1]


# ---------------------------------------------------------------- time


def longer_interval(plan: Plan, interval_s: float) -> tuple[Remedy, ...]:
    """An interval of so much, or the next one that the timer has."""
    longer_s = interval.on_the_timer_s(plan, interval_s)
    return (Remedy(changes={"shoot.interval_s": longer_s}),) if longer_s <= MOST_INTERVAL_S else ()


def more_frames(plan: Plan, frames: int) -> tuple[Remedy, ...]:
    """More frames: in the same time where the timer has such an interval, or in a longer one."""
    if frames > MOST_FRAMES:
        return ()
    longer = Remedy(changes={"shoot.frames": frames})
    step_s = plan.shoot.interval_step_s
    shorter_s = round(math.floor(plan.duration_s / max(frames - 1, 1) / step_s + 1e-9) * step_s, 6)
    count = math.ceil(plan.duration_s / shorter_s) + 1 if shorter_s > 0.0 else 0
    if not frames <= count <= MOST_FRAMES:
        return (longer,)
    return Remedy(changes={"shoot.frames": count, "shoot.interval_s": shorter_s}), longer


@proposes("interval-too-short")
def _more_time(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    longer, *fewer = _intervals_that_hold(plan, frames) or (None,)
    if longer is not None:
        yield longer
    if finding.level == "stop" and frames.ramp is not None:
        yield from held_exposure(plan, frames, float(np.min(drive.exposure_time_left_s(plan, frames.axes))))
    yield from fewer


_holding: weakref.WeakKeyDictionary[FrameTable, tuple[Remedy, ...]] = weakref.WeakKeyDictionary()


def _intervals_that_hold(plan: Plan, frames: FrameTable) -> tuple[Remedy, ...]:
    """An interval that still holds in the light that the longer shoot runs into; or fewer frames, so that it
    doesn't get longer. Found once for all findings.
    """
    if frames not in _holding:
        found = (interval.long_enough(plan, frames), interval.fewer_in_the_same_time(plan, frames))
        _holding[frames] = tuple(
            Remedy(changes=differences(plan, _with_room_for_the_longest(new)))
            for new in found
            if new is not None and new.plan != plan
        )
    return _holding[frames]


def _with_room_for_the_longest(frames: FrameTable) -> Plan:
    """The plan with a longest exposure that its interval leaves time for, where the light asks for no longer
    one: else the next review would ask for a longer interval again.
    """
    plan = frames.plan
    if plan.exposure is None or frames.ramp is None:
        return plan
    longest_s = _settable_s(plan, float(np.min(drive.exposure_time_left_s(plan, frames.axes))))
    if longest_s is None or not frames.ramp.wanted_shutter_s.max() <= longest_s < plan.exposure.shutter_max_s:
        return plan
    return attrs.evolve(plan, exposure=attrs.evolve(plan.exposure, shutter_max_s=longest_s))


@proposes("axis-speed")
def _slower_axis(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    if finding.fact("drive") != "continuous":
        yield from _intervals_that_hold(plan, frames)
    axis = next(axis for axis in axis_limits(plan) if axis.label == finding.fact("axis"))
    assert finding.value is not None
    assert finding.limit is not None
    if finding.fact("drive") == "continuous":
        fraction = finding.limit / finding.value
    else:
        room = _distance_in(finding.limit, axis.max_speed, axis.max_acceleration) - axis.step
        fraction = max(room, 0.0) / max(finding.fact("distance"), axis.step)
    if fraction > 0.0:
        yield from narrowed(plan, axis.name, 0.98 * fraction)
        yield from more_frames(plan, math.ceil(plan.shoot.frames / (0.98 * fraction)))


def _distance_in(time_s: float, max_speed: float, max_acceleration: float) -> float:
    """How far an axis gets in a time from rest to rest: the inverse of drive.move_time_s."""
    longest_ramp_s = 2.0 * max_speed / max_acceleration
    if time_s <= longest_ramp_s:
        return max_acceleration * time_s**2 / 4.0
    return max_speed * (time_s - max_speed / max_acceleration)


# ---------------------------------------------------------------- exposure


def longest_exposure(plan: Plan, longest_s: float) -> tuple[Remedy, ...]:
    """A longest exposure that a person would set, this one or a little shorter; none below the shortest."""
    shutter_s = _settable_s(plan, longest_s)
    return () if shutter_s is None else (Remedy(changes={"exposure.shutter_max_s": shutter_s}),)


def _settable_s(plan: Plan, longest_s: float) -> float | None:
    """An exposure as a person would set it, no longer than this one; None below the plan's shortest."""
    if plan.exposure is None or longest_s <= 0.0 or longest_s < plan.exposure.shutter_min_s:
        return None
    rounded_s = rounded_down(longest_s)
    return rounded_s if rounded_s >= plan.exposure.shutter_min_s else longest_s


def held_exposure(plan: Plan, frames: FrameTable, longest_s: float) -> tuple[Remedy, ...]:
    """A shorter longest exposure, with what it loses made up for: by ISO, or by a wider aperture."""
    limits, ramp = plan.exposure, frames.ramp
    shutter_s = _settable_s(plan, longest_s)
    if shutter_s is None or limits is None or ramp is None:
        return ()
    held: Changes = {"exposure.shutter_max_s": shutter_s}
    iso = float(np.max(ramp.iso * np.maximum(ramp.wanted_shutter_s / shutter_s, 1.0)))
    if iso <= limits.iso_max:
        return (Remedy(changes=held),)
    made_up = []
    higher = next_third(iso, 100.0)
    if higher <= HIGHEST_ISO:
        made_up.append(Remedy(changes=held | {"exposure.iso_max": nominal_iso(higher)}))
    wider = wider_f_number(limits.f_number * math.sqrt(limits.iso_max / iso))
    if wider is not None and wider >= WIDEST_F_NUMBER:
        made_up.append(Remedy(changes=held | {"exposure.f_number": wider}))
    return (*made_up, Remedy(changes=held))


@frozen(kw_only=True)
class LessLight:
    """The single changes of a limit that would each take so many stops; None for those that can't.

    filter_stops is a filter that takes them, nd_stops that with what the plan has.
    """

    filter_stops: int
    nd_stops: float
    f_number: float | None
    shutter_s: float | None
    iso: float | None

    def facts(self) -> tuple[Quantity, ...]:
        """The same for words."""
        return facts(
            filter=self.filter_stops,
            nd_enough=self.nd_stops,
            f_number_enough=self.f_number,
            shutter_enough=self.shutter_s,
            iso_enough=self.iso,
        )


def less_light(limits: Exposure, over: float) -> LessLight:
    """What would each take so many stops."""
    filter_stops = math.ceil(over - 0.05)
    stopped = narrower_f_number(limits.f_number * 2.0 ** (over / 2.0))
    shutter = float(2.0 ** (math.floor(math.log2(limits.shutter_min_s / 2.0**over) * 3.0 + 0.05) / 3.0))
    iso = limits.iso_min / 2.0**over
    return LessLight(
        filter_stops=filter_stops,
        nd_stops=limits.nd_stops + filter_stops,
        f_number=stopped if stopped is not None and stopped <= SMALLEST_F_NUMBER else None,
        shutter_s=shutter if shutter >= SHORTEST_SHUTTER_S else None,
        iso=iso if iso >= 100.0 else None,
    )


@proposes("exposure-short")
def _brighter(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    if finding.fact("cause") == "interval":
        yield from _intervals_that_hold(plan, frames)
    else:
        yield from _all_limits_together(plan, frames, finding.fact("missing"))


@proposes("shadows-lost")
def _light_for_the_shadows(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    """Where settings or interval keep the frames darker than meant: what lets them be as meant."""
    if not finding.fact("limits_bind") or frames.ramp is None:
        return
    if bool((frames.ramp.error_stops < frames.ramp.wanted_error_stops - 0.05).any()):
        yield from _intervals_that_hold(plan, frames)
    missing = -float(frames.ramp.wanted_error_stops.min())
    if missing > 0.0:
        yield from _one_limit(plan, missing)
        yield from _all_limits_together(plan, frames, missing)


def _one_limit(plan: Plan, stops: float) -> Iterator[Remedy]:
    """So many stops from a single limit: less ND, a higher ISO, a wider aperture."""
    limits = plan.exposure
    assert limits is not None
    if limits.nd_stops > 0.0:
        yield Remedy(
            changes={"exposure.nd_stops": max(math.floor(10.0 * (limits.nd_stops - stops)) / 10.0, 0.0)}
        )
    higher = next_third(limits.iso_max * 2.0**stops, 100.0)
    if higher <= HIGHEST_ISO:
        yield Remedy(changes={"exposure.iso_max": nominal_iso(higher)})
    wider = wider_f_number(limits.f_number / 2.0 ** (stops / 2.0))
    if wider is not None and wider >= WIDEST_F_NUMBER:
        yield Remedy(changes={"exposure.f_number": wider})


def _all_limits_together(plan: Plan, frames: FrameTable, stops: float) -> Iterator[Remedy]:
    """So many stops from aperture and ISO, and only then from the shutter with the interval that it takes."""
    limits = plan.exposure
    assert limits is not None
    changes: Changes = {}
    left = stops
    wider = wider_f_number(max(limits.f_number * 2.0 ** (-left / 2.0), WIDEST_F_NUMBER))
    if wider is not None and wider < limits.f_number:
        changes["exposure.f_number"] = max(wider, WIDEST_F_NUMBER)
        left -= 2.0 * math.log2(limits.f_number / changes["exposure.f_number"])
    if left > 0.0 and limits.iso_max < HIGHEST_ISO:
        changes["exposure.iso_max"] = nominal_iso(
            min(next_third(limits.iso_max * 2.0**left, 100.0), HIGHEST_ISO)
        )
        left -= math.log2(changes["exposure.iso_max"] / limits.iso_max)
    if left <= 0.05:
        if len(changes) > 1:
            yield Remedy(changes=changes)
        return
    longer_s = min(next_third(limits.shutter_max_s * 2.0**left, 1.0), LONGEST_SHUTTER_S)
    if longer_s > limits.shutter_max_s:
        changes["exposure.shutter_max_s"] = nominal_shutter_s(longer_s)
    brighter = attrs.evolve(
        plan,
        exposure=attrs.evolve(limits, **{path.partition(".")[2]: value for path, value in changes.items()}),
    )
    holding = interval.long_enough(brighter, frames)
    if holding is not None:
        yield Remedy(changes=differences(plan, holding.plan))


# ---------------------------------------------------------------- the start


@proposes("move-midpoint")
def _half_at_the_event(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    """The poses between the ends brought forward or back, so that half of the move is done at the event."""
    turn, half_at = balance(frames).turn, place_of_progress(frames, 0.5)
    inner = [index for index, pose in enumerate(plan.move.poses) if 0.0 < pose.at < 1.0]
    if turn is None or half_at is None or not inner or not 0.0 < half_at < 1.0 or not 0.0 < turn.at < 1.0:
        return
    moved = np.interp(
        [plan.move.poses[index].at for index in inner], [0.0, half_at, 1.0], [0.0, turn.at, 1.0]
    )
    yield Remedy(
        changes={
            f"move.poses[{index}].at": round(float(at), 3) for index, at in zip(inner, moved, strict=True)
        }
    )


# ---------------------------------------------------------------- poses


def narrowed(plan: Plan, axis: str, share: float) -> tuple[Remedy, ...]:
    """The poses' values of an axis brought together about the middle of them, so that it travels this share
    of its way.
    """
    given = _given(plan, axis)
    if not given or max(given.values()) == min(given.values()):
        return ()
    now = max(given.values()) - min(given.values())
    middle = (max(given.values()) + min(given.values())) / 2.0
    new = {index: middle + (value - middle) * share for index, value in given.items()}
    about = facts(axis=axis, now=now, calm=now * share)
    return tuple(attrs.evolve(remedy, about=about) for remedy in _poses_at(plan, axis, new))


def shifted(plan: Plan, axis: str, by: float) -> tuple[Remedy, ...]:
    """All poses turned or slid by so much, as far as the rig goes there."""
    resting = LEVEL_DEG if axis == "tilt_deg" else None
    given: dict[int, float] = _given(plan, axis)
    if not given and resting is not None:
        given = dict.fromkeys(range(len(plan.move.poses)), resting)
    return _poses_at(plan, axis, {index: value + by for index, value in given.items()}) if given else ()


def _given(plan: Plan, axis: str) -> dict[int, float]:
    """An axis's value at each pose that gives it, by the pose's index."""
    values = ((index, getattr(pose, axis)) for index, pose in enumerate(plan.move.poses))
    return {index: value for index, value in values if value is not None}


def _poses_at(plan: Plan, axis: str, values: Mapping[int, float]) -> tuple[Remedy, ...]:
    limits = {limit.name: (limit.low, limit.high) for limit in axis_limits(plan)}
    if axis not in limits:
        return ()
    low, high = limits[axis]
    if not all(low <= value <= high for value in values.values()):
        return ()
    changes = {
        f"move.poses[{index}].{axis}": min(max(round(value, PLACES[axis]), low), high)
        for index, value in values.items()
    }
    return (Remedy(changes=changes),)


@proposes("axis-range")
def _inside_the_ranges(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    """Every pose brought to the end of the range that it is beyond: one alone may not be enough."""
    changes = {
        f"move.poses[{index}].{axis.name}": min(max(value, axis.low), axis.high)
        for axis in axis_limits(plan)
        for index, value in _given(plan, axis.name).items()
        if not axis.low <= value <= axis.high
    }
    if len(changes) > 1:
        yield Remedy(changes=changes)


@proposes("rig-shadow")
def _look_up(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    for up_deg in UP_DEG:
        yield from shifted(plan, "tilt_deg", up_deg)


@proposes("subject-merging")
def _look_past(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    for aside_m in ASIDE_M:
        yield from shifted(plan, "slide_m", aside_m)
        yield from shifted(plan, "slide_m", -aside_m)


# ---------------------------------------------------------------- the picture

_repairs: weakref.WeakKeyDictionary[FrameTable, dict[float, pose_repair.Change | None]] = (
    weakref.WeakKeyDictionary()
)


@proposes("screen-speed")
def _the_short_way(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    """A pan across north that goes all the way round by the south, as 350° to 10° does."""
    changes = aiming.short_way_round(plan)
    if changes:
        yield Remedy(changes=changes)


@proposes("subject-lost", "subject-cut")
def _in_the_picture(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    """The smallest change of a pose, or all poses that miss the subject turned to it, or a shorter lens."""
    yield from _the_short_way(plan, frames, finding)
    yield from _another_pose(plan, frames, finding)
    missing, all_poses = aiming.aimed_poses(plan), aiming.aimed_poses(plan, every_pose=True)
    for turned in (missing, all_poses):
        if turned:
            yield Remedy(changes=turned, about=facts(aim=_subject_label(plan)))
    lens_mm = aiming.shorter_lens_mm(plan)
    if lens_mm is not None:
        yield Remedy(changes={"camera.focal_length_mm": lens_mm})
        if missing:
            yield Remedy(changes={"camera.focal_length_mm": lens_mm, **missing})


def _subject_label(plan: Plan) -> str:
    return blocking.block_label(plan, blocking.subject_indices(plan)[0])


@proposes("subject-hidden", "weak-frame")
def _another_pose(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    if finding.level == "note":
        return
    repair = _repair(plan, frames, WEAK if finding.code == "weak-frame" else 0.0)
    if repair is not None:
        step = repair.step(plan)
        yield Remedy(changes=step.changes, about=facts(step=step))


@proposes("reveal-late")
def _earlier_or_later(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    yield from _another_pose(plan, frames, finding)
    if finding.fact("first_frame") is not None:
        assert finding.value is not None
        yield Remedy(changes={"composition.reveal_by": math.ceil(finding.value * 100.0 - 1e-9) / 100.0})


@proposes("reveal-early")
def _later_or_held(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    yield from _another_pose(plan, frames, finding)
    yield Remedy(changes={"composition.style": "hold"})


def _repair(plan: Plan, frames: FrameTable, weak: float) -> pose_repair.Change | None:
    """The smallest change of a pose that repairs the picture, found by trying, once for all findings."""
    known = _repairs.setdefault(frames, {})
    if weak not in known:
        seen = frames.view.visibility
        reading = composition.read(plan, seen, travels=parallax.slides(plan))
        known[weak] = pose_repair.smallest_change(
            plan,
            reading,
            most_tries=QUICK_TRIES,
            most_work=QUICK_WORK,
            weak=weak,
            only=sorted(composition.hiding(reading, np.ones(len(seen), dtype=bool), 4)),
        )
    return known[weak]
