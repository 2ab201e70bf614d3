"""Where one could stand: the walkable part of a place, on a grid.

Walkable is a ground block, or the level ground of a place without any, that is not a road, nor water, and on
which nothing stands. A place is kept as far as asked for from every drop, shore, road and keep-out block.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.place import blocking, outlines
from planner_core.place.ground import outline_m
from planner_core.place.land_grid import height_at_m
from planner_core.plan.model import Block, Plan

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

STEP_M = 0.3  # a step down that one takes without noticing; more is a drop. Common practice, no source
CLEAR_M = 0.4  # of what stands there, for a tripod's feet
SHOULDER_M, HEADROOM_M = 0.25, 2.0  # what somebody with a rail under the arm passes by, and under
SAMPLE_M = 0.1  # along edges that could be drops
NOTHING_NEAR_M = 1e6
SEAM_M = 1e-6  # where two plates meet, one is over both
REACH_M = 60.0  # around the rail, where a place has no ground blocks
ROAD_WORDS = re.compile(
    r"\b(road|street|lane|highway|motorway|carriageway|track|tracks|rails|railway|tramway|runway)\b", re.I
)

Area = tuple[float, float, float, float]  # x0, y0, x1, y1 in scene metres


@frozen(kw_only=True, eq=False)
class Surface:
    """A ground or water block, or the level ground, from above. outline_m (n, 2) is None for the latter.

    terrain is the block where its height differs from place to place; top_m is then the highest.
    """

    outline_m: Array | None
    top_m: float
    is_water: bool
    walkable: bool
    passable: bool = True  # may be walked over, if not stood on: a road
    name: str = ""
    terrain: Block | None = None

    def heights_m(self, points: Array) -> Array:
        """Height of its top at points (n, 2) that it lies under."""
        if self.terrain is None:
            return np.full(len(points), self.top_m)
        return np.asarray(np.nan_to_num(height_at_m(self.terrain, points), nan=self.top_m))

    def covers(self, points: Array) -> Mask:
        """Which points (n, 2) it lies under."""
        if self.outline_m is None:
            return np.ones(len(points), dtype=bool)
        low, high = self.outline_m.min(axis=0), self.outline_m.max(axis=0)
        inside = ((points >= low - SEAM_M) & (points <= high + SEAM_M)).all(axis=1)
        inside[inside] = outlines.inside_or_on(self.outline_m, points[inside], SEAM_M)
        return inside


class Terrain:
    """The surfaces of a place and what stands on them, for asking where one may stand.

    edge_m is how far to keep from drops, shores and keep-out blocks. Asked about places outside the area, by
    more than a rail's length, it doesn't know of all edges.
    """

    def __init__(self, plan: Plan, edge_m: float, area: Area | None = None) -> None:
        self.plan, self.edge_m = plan, edge_m
        self.level_m = blocking.ground_level_m(plan)
        self.surfaces = _surfaces(plan, self.level_m)
        solid = [block for block in plan.blocks if block.role not in ("ground", "water")]
        standing = [block for block in solid if block.shape != "ridge"]
        self.standing = [outline_m(plan, block) for block in standing]
        self.underside_m = [
            float(blocking.block_mesh(plan, block).vertices_m[:, 2].min()) for block in standing
        ]
        self.kept_out = [(outline_m(plan, b), _kept_below_m(plan, b)) for b in plan.blocks if b.keep_out]
        self.area = area or self.extent()
        self.edges, self.shores = self._edges_and_shores()

    @property
    def is_walkable(self) -> bool:
        """Whether there is any ground to stand on at all."""
        return any(surface.walkable for surface in self.surfaces)

    def extent(self) -> Area:
        """The rectangle around the walkable ground within REACH_M of the rail's start."""
        start = np.array(self.plan.rig.origin_m[:2])
        low, high = start - REACH_M, start + REACH_M
        rings = [s.outline_m for s in self.surfaces if s.walkable and s.outline_m is not None]
        if rings:
            corners = np.concatenate(rings)
            low = np.maximum(low, corners.min(axis=0))
            high = np.minimum(high, corners.max(axis=0))
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    @property
    def names(self) -> list[str]:
        """What the surfaces are called; the level ground has no name."""
        return [surface.name for surface in self.surfaces]

    def edge_distance_m(self, point: Array) -> float:
        """How far a point (2,) is from the nearest drop or shore."""
        return float(_nearest_m(point[None], self.edges)[0])

    def shore_distance_m(self, point: Array) -> float:
        """How far a point (2,) is from the nearest water that no ground lies over."""
        return float(_nearest_m(point[None], self.shores)[0])

    def under(self, points: Array) -> tuple[Array, NDArray[np.intp]]:
        """Height of what points (n, 2) stand over, and its number among the surfaces; the highest counts."""
        height = np.full(len(points), -np.inf)
        which = np.zeros(len(points), dtype=np.intp)
        for number, surface in enumerate(self.surfaces):
            top = surface.heights_m(points)
            better = surface.covers(points) & (top >= height)
            height[better], which[better] = top[better], number
        return height, which

    def may_stand(self, points: Array) -> Mask:
        """Which points (n, 2) one may put a foot on."""
        height, which = self.under(points)
        standable = np.array([surface.walkable for surface in self.surfaces])[which]
        for ring in self.standing:
            standable &= ~_within(ring, points, CLEAR_M)
        for ring, below_m in self.kept_out:
            standable &= ~(_within(ring, points, self.edge_m) & (height <= below_m))
        standable[standable] &= _nearest_m(points[standable], self.edges) >= self.edge_m + SAMPLE_M / 2.0
        return standable

    def may_walk(self, points: Array) -> Mask:
        """Which points (n, 2) one can walk over, road or narrow quay: under a bridge, not through a wall."""
        height, which = self.under(points)
        passable = np.array([surface.passable for surface in self.surfaces])[which]
        for ring, underside_m in zip(self.standing, self.underside_m, strict=True):
            passable &= ~(_within(ring, points, SHOULDER_M) & (underside_m < height + HEADROOM_M))
        for ring, below_m in self.kept_out:
            passable &= ~(_within(ring, points, 0.0) & (height <= below_m))
        return passable

    @property
    def ground_low_m(self) -> Array:
        """The lowest x and y that any ground block reaches; without one, far away."""
        return self._ground_corner(np.min, -NOTHING_NEAR_M)

    @property
    def ground_high_m(self) -> Array:
        """The highest x and y that any ground block reaches; without one, far away."""
        return self._ground_corner(np.max, NOTHING_NEAR_M)

    def _ground_corner(self, of: Callable[..., Array], otherwise: float) -> Array:
        rings = [s.outline_m for s in self.surfaces if s.passable and s.outline_m is not None]
        return of(np.concatenate(rings), axis=0) if rings else np.full(2, otherwise)

    def _edges_and_shores(self) -> tuple[Array, Array]:
        """Points (n, 2) along every edge beyond which the ground falls, or is none to stand on; and those of
        them with water on one side.
        """
        edges, shores = [np.empty((0, 2))], [np.empty((0, 2))]
        for number, surface in enumerate(self.surfaces):
            if surface.outline_m is None:
                continue
            along, outward = _along(surface.outline_m, *self._reach())
            here, top = self.under(along - 1e-3 * outward)
            beyond, outer = self.under(along + 1e-3 * outward)
            wet = np.array([s.is_water for s in self.surfaces])
            firm = np.array([s.walkable for s in self.surfaces])
            falls = (beyond < here - STEP_M) | (wet[outer] != wet[top]) | (firm[outer] != firm[top])
            edge = falls & ((top == number) | wet[number])
            edges.append(along[edge])
            shores.append(along[edge & (wet[outer] != wet[top])])
        return np.concatenate(edges), np.concatenate(shores)

    def _reach(self) -> tuple[Array, Array]:
        """The corners of the area with room for a rail around it."""
        slide = self.plan.rig.slide
        room = self.edge_m + (max(abs(slide.min_m), abs(slide.max_m)) if slide else 0.0) + 1.0
        return np.array(self.area[:2]) - room, np.array(self.area[2:]) + room


def _surfaces(plan: Plan, level_m: float) -> tuple[Surface, ...]:
    blocks = [block for block in plan.blocks if block.role in ("ground", "water")]
    surfaces = []
    for block in blocks:
        surfaces.append(
            Surface(
                outline_m=outline_m(plan, block),
                top_m=float(blocking.block_mesh(plan, block).vertices_m[:, 2].max()),
                is_water=block.role == "water",
                name=block.name,
                walkable=block.role == "ground" and not block.keep_out and not ROAD_WORDS.search(block.name),
                passable=block.role == "ground" and not block.keep_out,
                terrain=block if block.shape == "terrain" else None,
            )
        )
    wet = any(s.is_water and s.top_m <= level_m + 1e-9 for s in surfaces)
    level = Surface(outline_m=None, top_m=level_m, is_water=wet, walkable=not blocks, passable=not wet)
    return (level, *surfaces)


def _kept_below_m(plan: Plan, block: Block) -> float:
    """Up to which height of the ground a keep-out block keeps people off it: one may stand on a roof over a
    street that is closed.
    """
    if block.role != "ground":
        return float("inf")
    return float(blocking.block_mesh(plan, block).vertices_m[:, 2].max()) + STEP_M


def _along(ring: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Points along a ring (n, 2) between two corners, SAMPLE_M apart or less, and the way out at each."""
    if outlines.area_m2(ring) < 0.0:
        ring = ring[::-1]
    ring, edge = _cut(ring, np.roll(ring, -1, axis=0) - ring, low, high)
    length = np.linalg.norm(edge, axis=1)
    counts = np.maximum(np.ceil(length / SAMPLE_M).astype(int), 1)
    start = np.repeat(np.arange(len(ring)), counts)
    fraction = (np.arange(len(start)) - np.repeat(np.cumsum(counts) - counts, counts) + 0.5) / counts[start]
    out = np.column_stack([edge[:, 1], -edge[:, 0]]) / np.maximum(length, 1e-9)[:, None]
    return ring[start] + fraction[:, None] * edge[start], out[start]


def _cut(start: Array, edge: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """The parts of edges (n, 2) that lie between two corners: where they start and what is left of them."""
    with np.errstate(divide="ignore", invalid="ignore"):
        one, other = (low - start) / edge, (high - start) / edge
    flat = edge == 0.0
    beside = flat & ((start < low) | (start > high))
    enter = np.where(flat, 0.0, np.minimum(one, other)).max(axis=1).clip(0.0, 1.0)
    leave = np.where(flat, 1.0, np.maximum(one, other)).min(axis=1).clip(0.0, 1.0)
    kept = (enter < leave) & ~beside.any(axis=1)
    return start[kept] + enter[kept, None] * edge[kept], (leave - enter)[kept, None] * edge[kept]


def _within(ring: Array, points: Array, margin_m: float) -> Mask:
    """Which points (n, 2) are inside a ring or nearer to it than the margin."""
    low, high = ring.min(axis=0) - margin_m, ring.max(axis=0) + margin_m
    within = ((points >= low) & (points <= high)).all(axis=1)
    near = np.flatnonzero(within)
    if not len(near):
        return within
    there = points[near]
    edge = np.roll(ring, -1, axis=0) - ring
    length = np.maximum(np.sum(edge**2, axis=1), 1e-12)
    fraction = np.clip(np.einsum("pei,ei->pe", there[:, None] - ring, edge) / length, 0.0, 1.0)
    away = np.linalg.norm(there[:, None] - ring - fraction[..., None] * edge, axis=2).min(axis=1)
    within[near] = (away < margin_m) | outlines.inside(ring, there)
    return within


def _nearest_m(points: Array, others: Array, at_once: int = 256) -> Array:
    """Distance of each point (n, 2) to the nearest of the others (m, 2)."""
    nearest_m = np.full(len(points), NOTHING_NEAR_M)
    if not len(others):
        return nearest_m
    for first in range(0, len(points), at_once):
        rows = slice(first, first + at_once)
        x = points[rows, 0, None] - others[:, 0]
        y = points[rows, 1, None] - others[:, 1]
        nearest_m[rows] = np.sqrt((x * x + y * y).min(axis=1))
    return nearest_m


def standing_places(terrain: Terrain, area: Area, cell_m: float, middle_m: Array) -> tuple[Array, Array]:
    """Places (n, 2) to stand in an area, and the ground's height there (n,).

    The grid lies still about a middle (2,), that of the subject: a larger area has all places of a smaller
    one, and a mirrored scene has the mirrored places.
    """
    x, y = (
        middle_m[axis]
        + cell_m * _steps((area[axis] - middle_m[axis]) / cell_m, (area[axis + 2] - middle_m[axis]) / cell_m)
        for axis in (0, 1)
    )
    points = np.round(np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2), 3)
    points = points[terrain.may_stand(points)]
    return points, terrain.under(points)[0]


def _steps(low: float, high: float) -> Array:
    """The whole numbers from low to high; one that is missed by a rounding error counts."""
    return np.arange(np.ceil(low - 1e-9), np.floor(high + 1e-9) + 1.0)


def rail_stands(terrain: Terrain, ends: Array) -> Mask:
    """Whether one may stand under all of a rail, for rails (n, 2, 2) given by their ends."""
    length = float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).max(initial=0.0))
    shares = np.linspace(0.0, 1.0, max(2, int(np.ceil(length / 0.25)) + 1))
    along = ends[:, :1] + shares[:, None] * (ends[:, 1:] - ends[:, :1])
    return terrain.may_stand(along.reshape(-1, 2)).reshape(len(ends), -1).all(axis=1)


def area_of_block(plan: Plan, name: str) -> Area | None:
    """The rectangle around a block from above; None where no block has that name."""
    for block in plan.blocks:
        if block.name == name and block.shape != "ridge":
            ring = outline_m(plan, block)
            (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
            return float(x0), float(y0), float(x1), float(y1)
    return None
