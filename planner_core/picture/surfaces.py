"""What the picture shows from edge to edge: the surfaces that a grid of rays through it meets.

Coarse, but nothing is left out: ground and water count, and what hides them does too.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.picture.block_projection import Cameras
from planner_core.picture.picture_rays import PictureRays

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

PLACES = 5
COLUMNS, ROWS = 24, 54


@frozen(kw_only=True, eq=False)
class Surfaces:
    """What the rays meet, arrays of shape (places, rows, columns), the first row at the picture's top.

    at (places,) is each one's place in the move. met is a block's index, LEVEL_GROUND where no block
    covers it, or SKY; distance_m is infinite there.
    """

    at: Array
    met: Indices
    distance_m: Array

    def share_of(self, block: int) -> Array:
        """How much of the picture a block covers at each place, (places,)."""
        return np.asarray((self.met == block).mean(axis=(1, 2)))


def surfaces(cameras: Cameras) -> Surfaces:
    """What the picture shows on a few frames, evenly spread."""
    rows = np.unique(np.linspace(0, len(cameras.at) - 1, PLACES).round().astype(np.intp))
    rays = PictureRays(cameras, rows, (COLUMNS, ROWS))
    shape = (len(rows), ROWS, COLUMNS)
    return Surfaces(
        at=cameras.at[rows], met=rays.met.reshape(shape), distance_m=rays.distance_m.reshape(shape)
    )
