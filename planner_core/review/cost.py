"""What a change of the plan costs in the field, and whether it changes what the plan wants."""

from __future__ import annotations

from collections.abc import Sequence

import attrs
import numpy as np

from planner_core.frames import FrameTable
from planner_core.light.exposure import Ramp, nominal_iso
from planner_core.plan.model import Plan
from planner_core.plan.timeline import local_datetime, start_utc_s
from planner_core.review.remedy import Quantity, facts

LEAST_SHOOT_S, LEAST_CLIP_S = 30.0, 0.05
AT_MOST = ("more_iso", "darker", "brighter")  # costs of which the greatest counts
OPPOSITES = (
    ("longer_shoot", "shorter_shoot"),
    ("longer_clip", "shorter_clip"),
    ("more_travel", "less_travel"),
)
LEAST_NET = 1e-6
LEAST_STOPS, LEAST_TRAVEL_M = 0.1, 0.01


def cost(before: FrameTable, after: FrameTable) -> tuple[Quantity, ...]:
    """Minutes, clip, light and travel that a changed plan takes more or less than the plan before."""
    return (
        *_time(before.plan, after.plan),
        *(_light(before, after) if _asks_for_other_settings(before, after) else ()),
        *_travel(before, after),
    )


def _time(before: Plan, after: Plan) -> tuple[Quantity, ...]:
    shoot_s = after.duration_s - before.duration_s
    clip_s = after.shoot.frames / after.clip.fps - before.shoot.frames / before.clip.fps
    costs = facts(longer_shoot=(shoot_s, "s")) if shoot_s >= LEAST_SHOOT_S else ()
    costs += facts(shorter_shoot=(-shoot_s, "s")) if shoot_s <= -LEAST_SHOOT_S else ()
    costs += facts(longer_clip=(clip_s, "s")) if clip_s >= LEAST_CLIP_S else ()
    return costs + (facts(shorter_clip=(-clip_s, "s")) if clip_s <= -LEAST_CLIP_S else ())


def together(costs: Sequence[Sequence[Quantity]]) -> tuple[Quantity, ...]:
    """What several changes cost, one after another: lengths added up, of settings the most."""
    totals: dict[str, Quantity] = {}
    for each in (quantity for cost in costs for quantity in cost):
        known = totals.get(each.name)
        both = (known.value if known else 0.0, each.value)
        if each.name != "brings":  # what one step brings, a later one may have put right
            totals[each.name] = attrs.evolve(each, value=max(both) if each.name in AT_MOST else sum(both))
    return tuple(_netted(totals).values())


def _netted(totals: dict[str, Quantity]) -> dict[str, Quantity]:
    """What one change adds and another takes away counts as the difference."""
    for more, less in OPPOSITES:
        if more in totals and less in totals:
            left = totals[more].value - totals[less].value
            kept, gone = (more, less) if left >= 0.0 else (less, more)
            totals[kept] = attrs.evolve(totals[kept], value=abs(left))
            del totals[gone]
            if abs(left) < LEAST_NET:
                del totals[kept]
    return totals


def _asks_for_other_settings(before: FrameTable, after: FrameTable) -> bool:
    return before.ramp is not None and after.ramp is not None and before.plan.exposure != after.plan.exposure


def _light(before: FrameTable, after: FrameTable) -> tuple[Quantity, ...]:
    """Stops that the darkest frame lets in less, and the ISO that it takes instead."""
    assert before.ramp is not None
    assert after.ramp is not None
    was, now = (_darkest(table.ramp) for table in (before, after) if table.ramp is not None)
    less = _let_in_stops(before, was) - _let_in_stops(after, now)
    costs = facts(less_light=(less, "stops")) if less >= LEAST_STOPS else ()
    higher = float(after.ramp.iso.max())
    more = float(np.log2(higher / before.ramp.iso.max()))
    return costs + (facts(more_iso=nominal_iso(higher)) if more >= LEAST_STOPS else ())


def _darkest(ramp: Ramp) -> int:
    return int(np.argmin(ramp.target_ev100))


def _let_in_stops(frames: FrameTable, frame: int) -> float:
    """Light that a frame lets onto the sensor, in stops: exposure time by the f-number's square, less ND."""
    ramp, limits = frames.ramp, frames.plan.exposure
    assert ramp is not None
    assert limits is not None
    return float(np.log2(ramp.shutter_s[frame] / ramp.f_number[frame] ** 2)) - limits.nd_stops


def _travel(before: FrameTable, after: FrameTable) -> tuple[Quantity, ...]:
    was, now = (
        0.0 if t.slide_m is None else float(np.abs(np.diff(t.slide_m)).sum()) for t in (before, after)
    )
    if abs(now - was) < LEAST_TRAVEL_M:
        return ()
    return facts(less_travel=(was - now, "m")) if now < was else facts(more_travel=(now - was, "m"))


def changed_wishes(before: Plan, after: Plan) -> tuple[str, ...]:
    """Which of the things that a plan wants are others in a changed one: subject, style, date, place."""
    old, new = before.composition, after.composition
    wishes = {
        "subject": (old.subject if old else "") != (new.subject if new else ""),
        "style": (old.style if old else "hold") != (new.style if new else "hold"),
        "reveal": (old.reveal_by if old else None) != (new.reveal_by if new else None),
        "date": _date(before) != _date(after),
        "place": before.site != after.site,
    }
    return tuple(name for name, differs in wishes.items() if differs)


def _date(plan: Plan) -> object:
    """The local date on which the middle of the shoot lies."""
    return local_datetime(start_utc_s(plan) + plan.duration_s / 2.0, plan.zone).date()
