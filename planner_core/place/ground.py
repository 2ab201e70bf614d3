"""Blocks from above: their outlines, and how high a place stands above the ground under it."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.maths.convex import hull
from planner_core.place import blocking
from planner_core.place.land_grid import height_at_m
from planner_core.place.outlines import contains, distance_m
from planner_core.plan.model import Block, Plan

Array = NDArray[np.float64]


def outline_m(plan: Plan, block: Block) -> Array:
    """A block from above, scene metres (n, 2): a prism's footprint, the hull of any other."""
    if block.shape == "prism":
        return np.asarray(block.footprint_m, dtype=np.float64)
    return hull(blocking.block_mesh(plan, block).vertices_m[:, :2])


@frozen(kw_only=True, eq=False)
class FlatBlock:
    """A block that lies on the ground, from above: its outline (n, 2) and the height of its top.

    terrain is the block itself where its height differs from place to place; top_m is then the highest.
    """

    outline_m: Array
    top_m: float
    is_water: bool
    terrain: Block | None = None

    def height_m(self, point_m: Array) -> float:
        """Height of its top at a point (2,) within its outline."""
        if self.terrain is None:
            return self.top_m
        return float(self.heights_m(point_m))

    def heights_m(self, points_m: Array) -> Array:
        """The same at points (..., 2); beside the outline it is top_m."""
        if self.terrain is None:
            return np.full(points_m.shape[:-1], self.top_m)
        return np.asarray(np.nan_to_num(height_at_m(self.terrain, points_m), nan=self.top_m))


@blocking.remembered
def flat_blocks(plan: Plan) -> tuple[FlatBlock, ...]:
    """The ground and water blocks of a plan, in its order."""
    return tuple(
        FlatBlock(
            outline_m=outline_m(plan, block),
            top_m=float(blocking.block_mesh(plan, block).vertices_m[:, 2].max()),
            is_water=block.role == "water",
            terrain=block if block.shape == "terrain" else None,
        )
        for block in plan.blocks
        if block.role in ("ground", "water")
    )


def ground_under_m(plan: Plan, point_m: ArrayLike, *, water: bool = False) -> float:
    """Height of what a point (3,) stands over: the highest ground block under it, else the level ground.

    Water blocks count where `water` is set. A point at infinite height stands over the highest of all.
    """
    x, y, z = np.asarray(point_m, dtype=np.float64)
    place = np.array([x, y])
    tops = [
        flat_block.height_m(place)
        for flat_block in flat_blocks(plan)
        if (water or not flat_block.is_water) and contains(flat_block.outline_m, place)
    ]
    return max((top for top in tops if top <= z), default=blocking.ground_level_m(plan))


def height_above_ground_m(plan: Plan, point_m: ArrayLike) -> float:
    """A point's height above what it stands over."""
    return float(np.asarray(point_m)[2]) - ground_under_m(plan, point_m)


def land_under_m(plan: Plan, outline_m: Array) -> float:
    """Height of the land that a building stands on, from its outline (n, 2): never that of water.

    The highest ground block under its middle, or else under the first of its corners that has one. Beyond
    all ground blocks it is the level ground, unless that is water: then the nearest ground block's top, and
    without any the height that the scene counts from.
    """
    land = [flat_block for flat_block in flat_blocks(plan) if not flat_block.is_water]
    for point in (outline_m.mean(axis=0), *outline_m):
        tops = [flat_block.height_m(point) for flat_block in land if contains(flat_block.outline_m, point)]
        if tops:
            return max(tops)
    level = blocking.ground_level_m(plan)
    if not any(flat_block.is_water and flat_block.top_m <= level for flat_block in flat_blocks(plan)):
        return level
    middle = outline_m.mean(axis=0)
    nearest = min(land, key=lambda flat_block: distance_m(flat_block.outline_m, middle), default=None)
    return nearest.height_m(middle) if nearest is not None else max(level, min(0.0, plan.rig.origin_m[2]))
