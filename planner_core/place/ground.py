"""Blocks from above: their outlines, and how high a place stands above the ground under it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from planner_core.maths.convex import hull
from planner_core.place import blocking
from planner_core.place.outlines import contains
from planner_core.plan.model import Block, Plan

Array = NDArray[np.float64]


def outline_m(plan: Plan, block: Block) -> Array:
    """A block from above, scene metres (n, 2): a prism's footprint, the hull of any other."""
    if block.shape == "prism":
        return np.asarray(block.footprint_m, dtype=np.float64)
    return hull(blocking.block_mesh(plan, block).vertices_m[:, :2])


def height_above_ground_m(plan: Plan, point_m: Sequence[float]) -> float:
    """A point's height above what it stands on: the highest ground block under it, else the level ground."""
    place = np.asarray(point_m[:2], dtype=np.float64)
    below = [
        float(blocking.block_mesh(plan, block).vertices_m[:, 2].max())
        for block in plan.blocks
        if block.role == "ground" and contains(outline_m(plan, block), place)
    ]
    ground_m = max((top for top in below if top <= point_m[2]), default=blocking.ground_level_m(plan))
    return float(point_m[2]) - ground_m
