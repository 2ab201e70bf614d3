"""Which of two shots that are worth the same comes first.

Nothing here depends on how the scene's axes lie, nor on the order in which shots are tried: a mirrored place
has the mirrored finds of the place itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner_core.place import blocking
from planner_core.plan.model import Plan

Array = NDArray[np.float64]

STEADY_DIGITS = 6  # what differs by less is the same, worked out in another order
PAIRS_AT_ONCE = 262_144


class Surroundings:
    """How far all that stands at a place is from a point, on average over the corners of its blocks.

    A point and its mirror image in a mirrored place have the same, and hardly any other point has. Of shots
    that are worth the same, the one nearer to things comes first.
    """

    def __init__(self, plan: Plan) -> None:
        boxes = blocking.bounding_boxes(plan)
        near = np.array([plan.blocks[int(i)].shape != "ridge" for i in boxes.block], dtype=bool)
        self.corners_m = boxes.corners_m[near].reshape(-1, 3)

    def mean_distance_m(self, points_m: Array) -> Array:
        """From points (n, 3), (n,), to a micrometre."""
        mean_m = np.zeros(len(points_m))
        step = max(1, PAIRS_AT_ONCE // max(len(self.corners_m), 1))
        for first in range(0, len(points_m) if len(self.corners_m) else 0, step):
            rows = slice(first, first + step)
            away = points_m[rows, None] - self.corners_m
            mean_m[rows] = np.sqrt(np.einsum("pci,pci->pc", away, away)).mean(axis=1)
        return np.round(mean_m, STEADY_DIGITS)


def steady(value: float, digits: int) -> float:
    """Rounded as told, and alike for what should be equal: both 79.75 and 79.7499999999 are 79.8."""
    return round(round(float(value), STEADY_DIGITS), digits)
