"""Remedies that several findings offer: another interval, more frames, poses turned or brought together.

Each comes as a tuple, empty where the plan's own limits leave no room for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import attrs

from planner_core.plan.model import Plan, Shoot
from planner_core.review.findings import Remedy, facts
from planner_core.rig.drive import axis_limits

MOST_INTERVAL_S = attrs.fields(Shoot).interval_s.metadata["range"][1]
MOST_FRAMES = attrs.fields(Shoot).frames.metadata["range"][1]
LEVEL_DEG = 0.0  # where a head stands whose tilt no pose gives
PLACES = {"slide_m": 3, "pan_deg": 2, "tilt_deg": 2}  # digits that a person would set


def longer_interval(plan: Plan, interval_s: float) -> tuple[Remedy, ...]:
    """Another interval, which makes the shoot longer by as much for every frame."""
    if interval_s > MOST_INTERVAL_S:
        return ()
    longer_s = (interval_s - plan.shoot.interval_s) * (plan.shoot.frames - 1)
    return (Remedy(changes={"shoot.interval_s": interval_s}, cost=facts(longer_shoot=(longer_s, "s"))),)


def more_frames(plan: Plan, frames: int) -> tuple[Remedy, ...]:
    """More frames, which make shoot and clip longer."""
    if frames > MOST_FRAMES:
        return ()
    more = frames - plan.shoot.frames
    cost = facts(longer_shoot=(more * plan.shoot.interval_s, "s"), longer_clip=(more / plan.clip.fps, "s"))
    return (Remedy(changes={"shoot.frames": frames}, cost=cost),)


def longest_exposure(plan: Plan, longest_s: float, **cost: Any) -> tuple[Remedy, ...]:
    """A longest exposure that a person would set, this one or a little shorter; none below the shortest."""
    if plan.exposure is None or longest_s < plan.exposure.shutter_min_s:
        return ()
    unit_s = 0.1 if longest_s >= 1.0 else 10.0 ** math.floor(math.log10(longest_s))
    rounded_s = round(math.floor(longest_s / unit_s + 1e-9) * unit_s, 9)
    new_s = rounded_s if rounded_s >= plan.exposure.shutter_min_s else longest_s
    return (Remedy(changes={"exposure.shutter_max_s": new_s}, cost=facts(**cost)),)


def narrowed(plan: Plan, axis: str, share: float) -> tuple[Remedy, ...]:
    """The poses' values of an axis brought together about the middle of them, so that it travels this share
    of its way.
    """
    given = _given(plan, axis)
    if not given or max(given.values()) == min(given.values()):
        return ()
    middle = (max(given.values()) + min(given.values())) / 2.0
    new = {place: middle + (value - middle) * share for place, value in given.items()}
    return _poses_at(plan, axis, new)


def tilted(plan: Plan, by_deg: float) -> tuple[Remedy, ...]:
    """All poses tilted up by so much, as far as the head can go there."""
    given = _given(plan, "tilt_deg") or dict.fromkeys(range(len(plan.move.poses)), LEVEL_DEG)
    return _poses_at(plan, "tilt_deg", {place: value + by_deg for place, value in given.items()})


def _given(plan: Plan, axis: str) -> dict[int, float]:
    """An axis's value at each pose that gives it, by the pose's place in the move."""
    values = ((place, getattr(pose, axis)) for place, pose in enumerate(plan.move.poses))
    return {place: value for place, value in values if value is not None}


def _poses_at(plan: Plan, axis: str, values: Mapping[int, float]) -> tuple[Remedy, ...]:
    limits = {limit.name: (limit.low, limit.high) for limit in axis_limits(plan)}
    if axis not in limits:
        return ()
    low, high = limits[axis]
    if not all(low <= value <= high for value in values.values()):
        return ()
    changes = {
        f"move.poses[{place}].{axis}": min(max(round(value, PLACES[axis]), low), high)
        for place, value in values.items()
    }
    return (Remedy(changes=changes),)
