"""Findings about what moves by itself in the picture: water, people, traffic.

Notes only, since each way of showing them has its admirers. Limits, common practice without a source: what
moves flows from frame to frame where the shutter is open for a fifth of the interval or more, and jumps below
that; it smears in an exposure in which it goes farther than it is long.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.maths.runs import span
from planner_core.picture import moving
from planner_core.picture.moving import Mover
from planner_core.place.blocking import block_label
from planner_core.plan.model import Plan
from planner_core.review.findings import Finding, facts

Array = NDArray[np.float64]

FLOWS_SHARE = 0.2  # of the interval
SMOOTH_SHARE = 0.5
SHARP_PART = 5.0  # of its length that a thing goes in an exposure that shows it sharp enough
JUMP_SHARE = 0.01  # of the picture's width: a shorter jump isn't seen as one
ORDER = ("people", "traffic", "water")


def review_moving(plan: Plan, frames: FrameTable) -> list[Finding]:
    """Findings of this topic; none for a plan without exposure, or a single frame."""
    if frames.ramp is None or len(frames) < 2:
        return []
    movers = sorted(moving.movers(frames.view), key=lambda mover: ORDER.index(mover.kind))
    shutter_s = frames.ramp.shutter_s
    return [
        *(finding for mover in movers for finding in _strobing(plan, mover, shutter_s)),
        *(finding for mover in movers for finding in _smearing(plan, mover, shutter_s)),
    ]


def _strobing(plan: Plan, mover: Mover, shutter_s: Array) -> list[Finding]:
    """Exposures so short against the interval that things jump from one frame to the next."""
    interval_s = plan.shoot.interval_s
    jump_px = moving.crossing_px(plan, mover, interval_s)
    short = (shutter_s < FLOWS_SHARE * interval_s) & ~_smears(mover, shutter_s)
    where = span(short)
    if where is None or jump_px < JUMP_SHARE * plan.clip.width_px:
        return []
    worst = int(np.argmin(shutter_s))
    enough_s = FLOWS_SHARE * interval_s
    filter_stops = math.ceil(math.log2(enough_s / float(shutter_s[worst])))
    return [
        Finding(
            code="strobing",
            level="note",
            frames=where,
            value=float(shutter_s[worst]) / interval_s,
            limit=FLOWS_SHARE,
            unit="share of the interval",
            facts=facts(
                kind=mover.kind,
                block=block_label(plan, mover.block),
                shutter=(float(shutter_s[worst]), "s"),
                worst_frame=worst + 1,
                interval=(interval_s, "s"),
                jump=(mover.speed_m_s * interval_s, "m"),
                enough=(enough_s, "s"),
                filter=(filter_stops, "stops"),
                throughout=bool(short.all()),
            ),
            blocks=(block_label(plan, mover.block),),
        )
    ]


def _smears(mover: Mover, shutter_s: Array) -> NDArray[np.bool_]:
    return np.asarray(mover.speed_m_s * shutter_s > mover.length_m)


def _third_below_s(shutter_s: float) -> float:
    return float(2.0 ** (math.floor(math.log2(shutter_s) * 3.0) / 3.0))


def _smearing(plan: Plan, mover: Mover, shutter_s: Array) -> list[Finding]:
    """Exposures in which things get farther than they are long."""
    where = span(_smears(mover, shutter_s))
    if where is None:
        return []
    longest = int(np.argmax(shutter_s))
    most_s = float(shutter_s[longest])
    return [
        Finding(
            code="smearing",
            level="note",
            frames=where,
            value=mover.speed_m_s * most_s,
            limit=mover.length_m,
            unit="m",
            facts=facts(
                kind=mover.kind,
                block=block_label(plan, mover.block),
                shutter=(most_s, "s"),
                worst_frame=longest + 1,
                interval=(plan.shoot.interval_s, "s"),
                sharp=(_third_below_s(mover.length_m / mover.speed_m_s / SHARP_PART), "s"),
                gap=(max(1.0 - most_s / plan.shoot.interval_s, 0.0), "share of the interval"),
                smooth=most_s >= SMOOTH_SHARE * plan.shoot.interval_s,
                half=(SMOOTH_SHARE * plan.shoot.interval_s, "s"),
                less_light=(math.log2(SMOOTH_SHARE * plan.shoot.interval_s / most_s), "stops"),
            ),
            blocks=(block_label(plan, mover.block),),
        )
    ]
