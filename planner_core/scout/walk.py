"""Which places one can get to on foot from the planned one: over ground, across roads, around what stands
there, over no step higher than a stair's, and through no water or keep-out ground.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner_core.scout.places import Terrain

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

STAIR_M = 0.45  # up or down in a pace. Common practice, no source
PACE_M = 0.5  # of the grid, so a way has to be about so wide
LONGEST_PACE_M = 1.0
ROOM_M = 30.0  # around start and places, for a way round
MOST_CELLS = 250_000
NEIGHBOURS = ((1, 0), (0, 1), (1, 1), (1, -1))


def reachable(terrain: Terrain, start: Array, points: Array) -> Mask | None:
    """Which places (n, 2) one can walk to from a start (2,); None where the ground is too large to tell.

    A start where nobody can walk counts as the nearest place where one can.
    """
    both = np.vstack([points, start[None]])
    low, high = both.min(axis=0) - ROOM_M, both.max(axis=0) + ROOM_M
    low, high = np.maximum(low, terrain.ground_low_m - 1.0), np.minimum(high, terrain.ground_high_m + 1.0)
    low, high = np.minimum(low, both.min(axis=0) - 1.0), np.maximum(high, both.max(axis=0) + 1.0)
    pace = max(PACE_M, float(np.sqrt(np.prod(high - low) / MOST_CELLS)))
    if pace > LONGEST_PACE_M:
        return None
    # about the start, so that a mirrored place has the mirrored cells
    before = np.ceil((start - low) / pace).astype(int)
    shape = before + np.ceil((high - start) / pace).astype(int) + 1
    low = start - pace * before
    x, y = (low[i] + pace * np.arange(shape[i]) for i in (0, 1))
    cells = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)
    flat = cells.reshape(-1, 2)
    free = terrain.may_walk(flat).reshape(shape)
    height = terrain.under(flat)[0].reshape(shape)
    if not free.any():
        return np.zeros(len(points), dtype=bool)
    away = np.where(free, np.linalg.norm(cells - start, axis=-1), np.inf)
    reached = _flood(free, height, away < away.min() + 1e-6)
    near = np.rint((points - low) / pace).astype(int)
    reachable = np.zeros(len(points), dtype=bool)
    for dx in (-1, 0, 1):
        for dy in (-1, 0, 1):
            i, j = (np.clip(near + np.array([dx, dy]), 0, shape - 1)).T
            reachable |= reached[i, j]
    return reachable


def _flood(free: Mask, height: Array, start: Mask) -> Mask:
    """Cells that a walk over free cells gets to from some of them."""
    steps = [(step, _passable(free, height, step)) for step in NEIGHBOURS]
    reached = start.copy()
    before, count = 0, int(reached.sum())
    while count > before:
        for (dx, dy), allowed in steps:
            here, there = _sides(reached, dx, dy)
            both = allowed & (here | there)
            here |= both
            there |= both
        before, count = count, int(reached.sum())
    return reached


def _passable(free: Mask, height: Array, step: tuple[int, int]) -> Mask:
    here, there = _sides(free, *step)
    low, high = _sides(height, *step)
    return here & there & (np.abs(high - low) <= STAIR_M)


def _sides(cells: NDArray, dx: int, dy: int) -> tuple[NDArray, NDArray]:
    """Views of the cells that have a neighbour in a direction, and of those neighbours."""
    lines, columns = cells.shape
    here = cells[: lines - dx, max(-dy, 0) : columns - max(dy, 0)]
    return here, cells[dx:, max(dy, 0) : columns + min(dy, 0)]
