"""Rays against the solids of the place: what a ray meets first."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.place import blocking
from planner_core.place.blocking import ConvexPiece
from planner_core.plan.model import Plan

Array = NDArray[np.float64]

NOTHING, GROUND = -1, -2
TOUCHING = 1e-7  # share of a distance within which two surfaces count as one


def lattice(count: int) -> Array:
    """Evenly spread places in the unit square, (count, 2): no two share a column or a row.

    The rank-1 lattice of two Fibonacci numbers, the best of its kind for areas in two dimensions
    (Niederreiter, *Random Number Generation and Quasi-Monte Carlo Methods*, 1992, ch. 5). count must be a
    Fibonacci number from 5 on.
    """
    before, number = 3, 5
    while number < count:
        before, number = number, before + number
    if number != count:
        raise ValueError(f"{count} is no Fibonacci number")
    step = np.arange(count)
    return np.column_stack([(step + 0.5) / count, (step * before % count + 0.5) / count])


def mirrored_lattice(count: int) -> Array:
    """Evenly spread places in the unit square, (count, 2), whose mirror image, left for right, they are
    themselves: a lattice in the left half and its reflection. So a mirrored picture is read the same. count
    must be twice a Fibonacci number.
    """
    if count % 2:
        raise ValueError(f"{count} is no even number")
    left = lattice(count // 2) * (0.5, 1.0)
    return np.concatenate([left, (1.0, 0.0) + left * (-1.0, 1.0)])


def interval(piece: ConvexPiece, origins: Array, directions: Array) -> tuple[Array, Array]:
    """Where rays enter and leave a convex piece, in lengths of their direction; a ray misses where enter >
    leave.

    origins and directions have shape (3, ...) and broadcast; so have both results, without the 3. The slab
    method of Kay and Kajiya, *SIGGRAPH 1986*.
    """
    towards = _along(piece.normals, directions) + 1e-300  # no division by zero, no 0 × ∞
    inverse = 1.0 / towards
    position = _along(piece.normals, origins)
    limits = (-1,) + (1,) * (position.ndim - 1)
    one = (piece.low_m.reshape(limits) - position) * inverse
    other = (piece.high_m.reshape(limits) - position) * inverse
    return np.minimum(one, other).max(axis=0), np.maximum(one, other).min(axis=0)


def _along(normals: Array, vectors: Array) -> Array:
    """Scalar products of normals (m, 3) with vectors (3, ...): shape (m, ...)."""
    return (normals @ vectors.reshape(3, -1)).reshape(len(normals), *vectors.shape[1:])


def first_hits(
    plan: Plan, origins_m: ArrayLike, directions: ArrayLike, *, ignoring: Collection[int] = ()
) -> tuple[Array, NDArray[np.intp]]:
    """How far each ray goes, and what it meets: a block's index, GROUND or NOTHING.

    origins_m and directions (..., 3) broadcast; the results have shape (...). Distances are in lengths of
    the direction, infinite where nothing is met. A ray that starts inside a solid meets it at 0. The level
    ground reaches to the horizon.
    """
    origins, directions = np.broadcast_arrays(
        np.asarray(origins_m, dtype=np.float64), np.asarray(directions, dtype=np.float64)
    )
    shape = origins.shape[:-1]
    start, direction = origins.reshape(-1, 3).T, directions.reshape(-1, 3).T
    ground = blocking.ground_level_m(plan)
    with np.errstate(divide="ignore", invalid="ignore"):
        fall = (ground - start[2]) / direction[2]
    through = np.where(start[2] >= ground, direction[2] < 0.0, direction[2] > 0.0)
    distance = np.where(through, fall, np.inf)
    met = np.where(np.isfinite(distance), GROUND, NOTHING)
    for index in range(len(plan.blocks)):
        if index in ignoring:
            continue
        for piece in blocking.pieces(plan, index, ground):
            enter, leave = interval(piece, start, direction)
            enter = np.maximum(enter, 0.0)
            # where a block's face lies in the ground, the block is what is seen
            nearer = (enter <= leave) & (enter * (1.0 - TOUCHING) <= distance) & (enter < np.inf)
            nearer &= (enter < distance) | (met == GROUND)
            distance, met = np.where(nearer, enter, distance), np.where(nearer, index, met)
    return distance.reshape(shape), met.reshape(shape)
