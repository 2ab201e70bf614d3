"""The interval against what a frame takes: how long it has to be, in the steps of the timer."""

from __future__ import annotations

import math

import attrs
import numpy as np

from planner_core.frames import FrameTable, compute_frames
from planner_core.plan.model import Plan, Shoot, field_range
from planner_core.rig import drive

SLACK_S = 1e-6
ROUNDS = 8  # a longer shoot runs into other light, which may ask for an interval that is longer still


def on_the_timer_s(plan: Plan, interval_s: float) -> float:
    """The shortest interval that the timer can be set to and that is no shorter than this one."""
    step_s = plan.shoot.interval_step_s
    return round(max(math.ceil(interval_s / step_s - SLACK_S), 1) * step_s, 6)


def needed_interval_s(plan: Plan, known: FrameTable | None = None) -> float:
    """The interval that the frame most pressed for time needs, with the exposure its light asks for; with
    the table of another plan, what the two have in common is taken over.
    """
    return _needed_s(compute_frames(plan, known))


def _needed_s(frames: FrameTable) -> float:
    shutter_s = np.zeros(len(frames)) if frames.ramp is None else frames.ramp.wanted_shutter_s
    return float(np.max(drive.time_needed_s(frames.plan, frames.axes, shutter_s)))


def interval_holds(plan: Plan) -> bool:
    """Whether every frame's exposure, writing, move and settling fit the interval."""
    return needed_interval_s(plan) <= plan.shoot.interval_s + SLACK_S


def with_timing(plan: Plan, *, frames: int | None = None, interval_s: float | None = None) -> Plan:
    """The plan with other frames or another interval."""
    shoot = plan.shoot
    new = attrs.evolve(
        shoot,
        frames=shoot.frames if frames is None else frames,
        interval_s=shoot.interval_s if interval_s is None else interval_s,
    )
    return attrs.evolve(plan, shoot=new)


def long_enough(plan: Plan, known: FrameTable | None = None) -> FrameTable | None:
    """The plan with as many frames and an interval that holds in the light that the shoot then runs into, as
    its table; known is that of another plan.

    None where none up to the longest interval does.
    """
    for _ in range(ROUNDS):
        frames = compute_frames(plan, known)
        needed_s = _needed_s(frames)
        if needed_s <= plan.shoot.interval_s + SLACK_S:
            return frames
        longer_s = on_the_timer_s(plan, needed_s)
        if longer_s > field_range(Shoot, "interval_s")[1]:
            return None
        plan = with_timing(plan, interval_s=longer_s)
    return None


def fewer_in_the_same_time(plan: Plan, known: FrameTable | None = None) -> FrameTable | None:
    """The plan with a longer interval that holds, and as many frames as it leaves in the same time, as its
    table; known is that of another plan.

    None where not even two are left.
    """
    span_s = plan.duration_s
    for _ in range(ROUNDS):
        frames = compute_frames(plan, known)
        needed_s = _needed_s(frames)
        if needed_s <= plan.shoot.interval_s + SLACK_S:
            return frames
        longer_s = on_the_timer_s(plan, needed_s)
        count = math.floor(span_s / longer_s + SLACK_S) + 1
        if count < 2 or longer_s > field_range(Shoot, "interval_s")[1]:
            return None
        plan = with_timing(plan, frames=count, interval_s=longer_s)
    return None
