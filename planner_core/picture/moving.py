"""Movers in the picture: how far they get in an exposure and in an interval.

How fast and how long such things are is from memory, no source: a wave, somebody who walks, a car at 50 km/h.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen

from planner_core.picture.projection import delivered_crop
from planner_core.picture.view import View, of_the_view
from planner_core.plan.model import Block, Plan

SPEEDS_M_S = {"water": 1.5, "people": 1.4, "traffic": 14.0}
LENGTHS_M = {"water": 1.0, "people": 0.5, "traffic": 4.5}
LEAST_SHARE = 0.01  # of the picture: less of a surface isn't looked at


@frozen(kw_only=True)
class Mover:
    """A block on which something moves: what, and how near to the lens it is seen, in metres."""

    block: int
    kind: str
    distance_m: float

    @property
    def speed_m_s(self) -> float:
        """How fast it goes."""
        return SPEEDS_M_S[self.kind]

    @property
    def length_m(self) -> float:
        """How long it is, the way it goes."""
        return LENGTHS_M[self.kind]


def kind_of(block: Block) -> str:
    """What moves on a block: 'water', 'people', 'traffic' or 'nothing'."""
    return block.moves or ("water" if block.role == "water" else "nothing")


@of_the_view
def movers(view: View) -> tuple[Mover, ...]:
    """Of each kind the block that is nearest in the picture at some place of the move."""
    plan = view.plan
    kinds = {index: kind_of(block) for index, block in enumerate(plan.blocks)}
    moving = {index: kind for index, kind in kinds.items() if kind != "nothing"}
    if not moving:
        return ()
    nearest: dict[str, Mover] = {}
    for index, kind in moving.items():
        distance = _nearest_m(plan, view, index)
        known = nearest.get(kind)
        if np.isfinite(distance) and (known is None or distance < known.distance_m):
            nearest[kind] = Mover(block=index, kind=kind, distance_m=distance)
    return tuple(nearest.values())


def _nearest_m(plan: Plan, view: View, index: int) -> float:
    """How near a block is seen, infinite where it isn't."""
    if plan.blocks[index].role not in ("ground", "water"):
        return float(view.visibility.nearest.distance_m[index])
    shown = view.surfaces
    if shown.share_of(index).max() < LEAST_SHARE:
        return np.inf
    return float(shown.distance_m[shown.met == index].min())


def crossing_px(plan: Plan, mover: Mover, seconds: float) -> float:
    """How far it gets across the picture in a time, clip pixels: f·v·t / Z."""
    focal_px = delivered_crop(plan.camera, plan.clip).focal_px
    return focal_px * mover.speed_m_s * seconds / max(mover.distance_m, 0.1)
