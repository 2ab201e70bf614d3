"""Terrain blocks: a grid of heights as a surface of triangles, and heights on it.

Every cell is cut along the same diagonal, from its corner at −X, −Y to the one across.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planner_core.plan.model import Block

Array = NDArray[np.float64]


@lru_cache(maxsize=256)
def grid_points_m(block: Block) -> Array:
    """The grid's points in the scene, shape (rows, columns, 3)."""
    heights = np.asarray(block.heights_m, dtype=np.float64)
    assert block.size_m is not None
    assert block.centre_m is not None
    rows, columns = heights.shape
    half = np.asarray(block.size_m) / 2.0
    x, y = np.meshgrid(np.linspace(-half[0], half[0], columns), np.linspace(-half[1], half[1], rows))
    turn = np.radians(block.turn_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    flat = np.stack([x * cos + y * sin, y * cos - x * sin, heights - half[2]], axis=-1)
    points = flat + np.asarray(block.centre_m)
    points.flags.writeable = False  # many have it
    return np.asarray(points)


def height_at_m(block: Block, points_m: Array) -> Array:
    """Height of the surface at points (..., 2) of the scene; NaN beside the block."""
    assert block.size_m is not None
    assert block.centre_m is not None
    heights = np.asarray(block.heights_m, dtype=np.float64)
    rows, columns = heights.shape
    turn = np.radians(block.turn_deg)
    away = np.asarray(points_m, dtype=np.float64) - np.asarray(block.centre_m[:2])
    x = away[..., 0] * np.cos(turn) - away[..., 1] * np.sin(turn)
    y = away[..., 0] * np.sin(turn) + away[..., 1] * np.cos(turn)
    across = (x / block.size_m[0] + 0.5) * (columns - 1)
    along = (y / block.size_m[1] + 0.5) * (rows - 1)
    within = (across >= 0.0) & (across <= columns - 1) & (along >= 0.0) & (along <= rows - 1)
    i = np.clip(np.nan_to_num(along).astype(np.intp), 0, rows - 2)
    j = np.clip(np.nan_to_num(across).astype(np.intp), 0, columns - 2)
    u, v = across - j, along - i
    near, far = heights[i, j], heights[i + 1, j + 1]
    right, left = heights[i, j + 1], heights[i + 1, j]
    lower = near + u * (right - near) + v * (far - right)
    upper = near + v * (left - near) + u * (far - left)
    foot = block.centre_m[2] - block.size_m[2] / 2.0
    return np.where(within, np.where(u >= v, lower, upper) + foot, np.nan)


def triangles(rows: int, columns: int) -> NDArray[np.intp]:
    """The surface's triangles as numbers of its points, counter-clockwise from above, (n, 3)."""
    i, j = (part.ravel() for part in np.meshgrid(np.arange(rows - 1), np.arange(columns - 1), indexing="ij"))
    near, right = i * columns + j, i * columns + j + 1
    left, far = near + columns, right + columns
    both = np.stack([np.stack([near, right, far], axis=-1), np.stack([near, far, left], axis=-1)], axis=1)
    return both.reshape(-1, 3)


def rim(rows: int, columns: int) -> NDArray[np.intp]:
    """The points around the edge of the grid, counter-clockwise from above, each once."""
    number = np.arange(rows * columns).reshape(rows, columns)
    sides = (number[0, :-1], number[:-1, -1], number[-1, :0:-1], number[:0:-1, 0])
    return np.concatenate(sides)
