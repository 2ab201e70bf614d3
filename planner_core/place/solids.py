"""Many rays against many blocks at once: the nearest hit of each, where it is known which may meet.

visibility.py tries a block at a time with all rays. Here rays are paired with the blocks that they may meet,
so that a picture's worth of rays costs a few array operations, however many blocks there are.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.vectors import dot
from planner_core.place import blocking
from planner_core.place.blocking import remembered
from planner_core.place.visibility import NOTHING, TOUCHING
from planner_core.plan.kept import kept
from planner_core.plan.model import Plan

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

PAIRS_AT_ONCE = 16_000  # so that their arrays stay in the cache of the processor (measured)


@frozen(kw_only=True, eq=False)
class Pairs:
    """Rays and blocks that may meet, by their numbers, (pairs,) each; lift_m (pairs,) is by how much
    the block
    stands above where the plan has it, None where none does.
    """

    ray: Rows
    block: Rows
    lift_m: Array | None = None


@frozen(kw_only=True, eq=False)
class Hits:
    """What each ray meets first: distance_m (rays,), infinite for nothing, the block's index or NOTHING, and
    the outward normal there, (rays, 3).
    """

    distance_m: Array
    block: Rows
    normal: Array


@frozen(kw_only=True, eq=False)
class _Group:
    """The convex pieces with as many rows of faces, p of them with m rows, in the blocks' order.

    block (p,); slabs (m, 5, p), each a normal and its low_m and high_m as ConvexPiece has them; along (m,)
    are the components that any of a row's normals has, since most stand upright or lie level; first and
    count (blocks,) say which pieces are a block's.
    """

    block: Rows
    slabs: Array
    along: tuple[tuple[int, ...], ...]
    first: Rows
    count: Rows


@kept
def _limits(piece: blocking.ConvexPiece) -> Array:
    """A piece's normals with the limits along each, (k, 5)."""
    return np.column_stack([piece.normals, piece.low_m, piece.high_m])


@remembered
def _groups(plan: Plan) -> tuple[_Group, ...]:
    ground_m = blocking.ground_level_m(plan)
    by_rows: dict[int, list[tuple[int, blocking.ConvexPiece]]] = {}
    for index in range(len(plan.blocks)):
        for piece in blocking.pieces(plan, index, ground_m):
            by_rows.setdefault(len(piece.low_m), []).append((index, piece))
    groups = []
    for members in by_rows.values():
        block = np.array([index for index, _ in members], dtype=np.intp)
        count = np.bincount(block, minlength=len(plan.blocks))
        slabs = np.stack([_limits(piece) for _, piece in members], axis=-1)
        groups.append(
            _Group(
                block=block,
                slabs=slabs,
                along=tuple(tuple(np.flatnonzero(slab[:3].any(axis=1)).tolist()) for slab in slabs),
                first=np.cumsum(count) - count,
                count=count,
            )
        )
    return tuple(groups)


def nearest(plan: Plan, origins_m: Array, directions: Array, pairs: Pairs) -> Hits:
    """The nearest block that each ray meets of those it is paired with; origins and directions (rays, 3).

    A ray that starts inside a block doesn't meet it. Where two blocks' faces are in the same place, the later
    block is met.
    """
    count = len(directions)
    hits = Hits(distance_m=np.full(count, np.inf), block=np.full(count, NOTHING), normal=np.zeros((count, 3)))
    if not len(pairs.ray):
        return hits
    origins, toward = np.ascontiguousarray(origins_m.T), np.ascontiguousarray(directions.T)
    parts = [part for group in _groups(plan) for part in _met(group, origins, toward, pairs)]
    if not parts:
        return hits
    ray, block, enter, normal = (np.concatenate(column) for column in zip(*parts, strict=True))
    # a later block counts as a touch nearer
    nearness = enter * (1.0 - TOUCHING * (block + 1.0) / len(plan.blocks))
    least = np.full(count, np.inf)
    np.minimum.at(least, ray, nearness)
    first = np.flatnonzero(nearness == least[ray])
    met = ray[first]
    hits.distance_m[met], hits.block[met] = enter[first], block[first]
    normal = normal.take(first, axis=0)
    against = -np.sign(dot(normal, directions.take(met, axis=0)))
    hits.normal[met] = normal * against[:, None]
    return hits


def _met(
    group: _Group, origins: Array, directions: Array, pairs: Pairs
) -> list[tuple[Rows, Rows, Array, Array]]:
    """Rays, the blocks with pieces in the group that they meet, how far away, and the normals of the faces
    there, in or out; in parts.
    """
    mine = np.flatnonzero(group.count[pairs.block])
    block = pairs.block[mine]
    piece, counts = group.first[block], group.count[block]
    if counts.max(initial=1) > 1:
        starts = np.cumsum(counts) - counts
        mine = np.repeat(mine, counts)
        piece = np.arange(len(mine)) + np.repeat(piece - starts, counts)
    rays = pairs.ray[mine]
    parts = []
    for begin in range(0, len(rays), PAIRS_AT_ONCE):
        part = slice(begin, begin + PAIRS_AT_ONCE)
        ray, met = rays[part], piece[part]
        start = origins.take(ray, axis=1)
        if pairs.lift_m is not None:
            start[2] -= pairs.lift_m[mine[part]]
        enter, leave, row = _slabs(group, met, start, directions.take(ray, axis=1))
        hit = np.flatnonzero((enter <= leave) & (enter > 0.0))
        met = met[hit]
        normal = group.slabs[row[hit], :3, met]
        parts.append((ray[hit], group.block[met], enter[hit], normal))
    return parts


def _slabs(group: _Group, piece: Rows, origins: Array, directions: Array) -> tuple[Array, Array, Rows]:
    """Where rays (3, n) enter and leave pieces (n,), in lengths of their direction, and through which row of
    faces they enter (Kay and Kajiya, *SIGGRAPH 1986*).
    """
    enter, leave = np.full(len(piece), -np.inf), np.full(len(piece), np.inf)
    row = np.zeros(len(piece), dtype=np.intp)
    for number, (slab, along) in enumerate(zip(group.slabs, group.along, strict=True)):
        normal = [(component, slab[component].take(piece)) for component in along]
        inverse = _sum_of_products(normal, directions)
        inverse += 1e-300
        np.divide(1.0, inverse, out=inverse)
        position = _sum_of_products(normal, origins)
        low, high = slab[3].take(piece), slab[4].take(piece)
        for limit in (low, high):
            limit -= position
            limit *= inverse
        into = np.minimum(low, high)
        row[into > enter] = number
        np.maximum(enter, into, out=enter)
        np.minimum(leave, np.maximum(low, high, out=high), out=leave)
    return enter, leave, row


def _sum_of_products(normal: list[tuple[int, Array]], vectors: Array) -> Array:
    """Scalar products of normals, some of their components (n,), with vectors (3, n): arrays of so many
    pairs cost by the pass.
    """
    (first, values), *others = normal
    total = values * vectors[first]
    for component, values in others:
        total += values * vectors[component]
    return total
