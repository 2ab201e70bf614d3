"""Trees and walls of a map as blocks: a crown on a trunk, and a thin box for each straight of a wall."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from planner_core.place.ground import land_under_m
from planner_core.place.map_feature import Feature
from planner_core.plan.model import Block, Plan

Array = NDArray[np.float64]

TREE_M, WALL_M, WALL_THICK_M = 8.0, 2.0, 0.4  # where the map doesn't say; common practice, no source
CROWN_SHARE, NARROW_CROWN_SHARE, TRUNK_SHARE = 0.65, 0.35, 0.3  # of a tree's height; ours
TRUNK_OF_CROWN = 0.1  # its thickness, as a share of the crown's
TALLEST_TREE_M, TALLEST_WALL_M = 120.0, 60.0
SHORTEST_M = 0.3


def is_tree(feature: Feature) -> bool:
    return feature.says("natural") == "tree"


def is_wall(feature: Feature) -> bool:
    return feature.says("barrier") in ("wall", "city_wall")


def tree_blocks(feature: Feature, name: str, place_m: Array, plan: Plan, role: str) -> list[Block]:
    """A tree at a place (2,) of the scene."""
    high = _within(feature.length_m(("height", "est_height")), TREE_M, TALLEST_TREE_M)
    crown_share = NARROW_CROWN_SHARE if feature.says("leaf_type") == "needleleaved" else CROWN_SHARE
    wide = _within(feature.length_m(("diameter_crown",)), crown_share * high, TALLEST_TREE_M)
    thick = max(TRUNK_OF_CROWN * wide, 0.05)
    foot, trunk = _foot_m(plan, place_m), TRUNK_SHARE * high
    x, y = round(float(place_m[0]), 3), round(float(place_m[1]), 3)
    crown = _post(x, y, foot + trunk, wide, high - trunk)
    stem = _post(x, y, foot, thick, trunk)
    return [
        Block(name=name, part_of=name, role=role, shape="post", **crown),
        Block(name=f"{name} trunk", part_of=name, role=role, shape="post", **stem),
    ]


def wall_blocks(feature: Feature, name: str, line_m: Array, plan: Plan, role: str) -> list[Block]:
    """A wall along a line (n, 2) of the scene, each straight of it at the height of its own ground."""
    high = _within(feature.length_m(("height",)), WALL_M, TALLEST_WALL_M)
    thick = _within(feature.length_m(("width",)), WALL_THICK_M, 30.0)
    blocks: list[Block] = []
    steps = [(a, b) for a, b in pairwise(line_m) if math.dist(a, b) >= SHORTEST_M]
    for number, (a, b) in enumerate(steps, start=1):
        middle, long = (a + b) / 2.0, math.dist(a, b)
        foot = min(_foot_m(plan, a), _foot_m(plan, b))
        centre = (float(middle[0]), float(middle[1]), foot + high / 2.0)
        blocks.append(
            Block(
                name=name if len(steps) == 1 else f"{name}, part {number}",
                part_of=name if len(steps) > 1 else "",
                role=role,
                shape="box",
                centre_m=(round(centre[0], 3), round(centre[1], 3), round(centre[2], 3)),
                size_m=(round(long, 3), round(thick, 3), round(high, 3)),
                turn_deg=round(-math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])), 3),
            )
        )
    return blocks


def _within(given_m: float | None, otherwise_m: float, most_m: float) -> float:
    return given_m if given_m is not None and 0.05 <= given_m <= most_m else otherwise_m


def _foot_m(plan: Plan, place_m: Array) -> float:
    return land_under_m(plan, np.atleast_2d(place_m))


class _Upright(TypedDict):
    centre_m: tuple[float, float, float]
    size_m: tuple[float, float, float]


def _post(x: float, y: float, foot_m: float, wide_m: float, high_m: float) -> _Upright:
    return {
        "centre_m": (x, y, round(foot_m + high_m / 2.0, 3)),
        "size_m": (round(wide_m, 3), round(wide_m, 3), round(high_m, 3)),
    }
