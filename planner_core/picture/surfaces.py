"""What the picture shows from edge to edge: the surfaces that a grid of rays through it meets.

Coarse, but nothing is left out: ground and water count, and what hides them does too.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.picture.projection import delivered_crop
from planner_core.place import visibility
from planner_core.plan.model import Plan
from planner_core.rig.camera import camera_path

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

PLACES = 5  # of the move
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


def surfaces(plan: Plan) -> Surfaces:
    """What the picture shows at some places of the move."""
    return _surfaces(_Seen(plan))


class _Seen:
    """A plan that equals every other one which shows the same."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._key: tuple[Any, ...] = (
            plan.rig,
            plan.move,
            plan.camera.focal_length_mm,
            (plan.camera.sensor_width_mm, plan.camera.sensor_height_mm),
            plan.clip,
            plan.site.scene_north_deg,
            plan.blocks,
        )
        self._hash = hash(self._key)

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Seen) and self._key == other._key


@lru_cache(maxsize=8)
def _surfaces(seen: _Seen) -> Surfaces:
    plan = seen.plan
    at = np.linspace(0.0, 1.0, PLACES)
    path = camera_path(plan, at)
    rays = np.einsum("pij,rcj->prci", path.camera_rotation, _grid(plan))
    distance, met = visibility.first_hits(plan, path.camera_m[:, None, None], rays)
    return Surfaces(at=at, met=met, distance_m=distance)


def _grid(plan: Plan) -> Array:
    """Unit vectors in camera axes through the middles of the picture's cells, (rows, columns, 3)."""
    focal = delivered_crop(plan.camera, plan.clip).focal_px
    x = ((np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5) * plan.clip.width_px / focal
    y = (0.5 - (np.arange(ROWS) + 0.5) / ROWS) * plan.clip.height_px / focal
    rays = np.stack(np.broadcast_arrays(x[None, :], y[:, None], -1.0), axis=-1)
    return np.asarray(rays / np.linalg.norm(rays, axis=-1, keepdims=True))
