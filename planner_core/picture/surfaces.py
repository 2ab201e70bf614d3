"""What the picture shows from edge to edge: the surfaces that a grid of rays through it meets.

Coarse, but nothing is left out: ground and water count, and what hides them does too.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.picture.block_projection import Cameras
from planner_core.picture.projection import delivered_crop
from planner_core.place import visibility
from planner_core.plan.model import Plan

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

PLACES = 5
COLUMNS, ROWS = 24, 54


@frozen(kw_only=True, eq=False)
class Surfaces:
    """What the rays meet, arrays of shape (places, rows, columns), the first row at the picture's top.

    at (places,) is each one's place in the move. met is a block's index, visibility.GROUND for level ground
    that no block covers, or visibility.NOTHING for the sky; distance_m is infinite there.
    """

    at: Array
    met: Indices
    distance_m: Array

    def share_of(self, block: int) -> Array:
        """How much of the picture a block covers at each place, (places,)."""
        return np.asarray((self.met == block).mean(axis=(1, 2)))


def surfaces(plan: Plan, cameras: Cameras) -> Surfaces:
    """What the picture shows on a few frames, evenly spread."""
    rows = np.unique(np.linspace(0, len(cameras.at) - 1, PLACES).round().astype(np.intp))
    rays = np.einsum("pij,rcj->prci", cameras.camera_rotation[rows], _grid(plan))
    distance, met = visibility.first_hits(plan, cameras.camera_m[rows][:, None, None], rays)
    return Surfaces(at=cameras.at[rows], met=met, distance_m=distance)


def _grid(plan: Plan) -> Array:
    """Unit vectors in camera axes through the middles of the picture's cells, (rows, columns, 3)."""
    focal = delivered_crop(plan.camera, plan.clip).focal_px
    x = ((np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5) * plan.clip.width_px / focal
    y = (0.5 - (np.arange(ROWS) + 0.5) / ROWS) * plan.clip.height_px / focal
    rays = np.stack(np.broadcast_arrays(x[None, :], y[:, None], -1.0), axis=-1)
    return np.asarray(rays / np.linalg.norm(rays, axis=-1, keepdims=True))
