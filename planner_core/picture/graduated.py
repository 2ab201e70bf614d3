"""A graduated filter before the lens: how many stops it takes of each direction.

Its edge lies on the horizon, and is soft: half of its stops on the horizon itself, none below the edge and
all above. How wide the edge is on the sensor is the filter's own; through a longer lens it covers a smaller
angle.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.picture.projection import delivered_crop
from planner_core.plan.model import Plan

Array = NDArray[np.float64]

EDGE_SHARE = 0.3  # of the picture's height, from clear to all of it; value from memory of soft-edged filters


def edge_half_width(plan: Plan) -> float:
    """Half of the edge's width, as the sine of an altitude."""
    crop = delivered_crop(plan.camera, plan.clip)
    return math.sin(math.atan(EDGE_SHARE * crop.height_mm / (2.0 * plan.camera.focal_length_mm)))


def horizon_height(plan: Plan, lens_altitude_deg: float) -> float:
    """How high a level horizon is in the picture under a lens with this altitude, 0 at the bottom, 1 at the
    top.
    """
    crop = delivered_crop(plan.camera, plan.clip)
    down_mm = math.tan(math.radians(lens_altitude_deg)) * plan.camera.focal_length_mm
    return min(max(0.5 - down_mm / crop.height_mm, 0.0), 1.0)


def horizon_stays(plan: Plan, lens_altitude_deg: Array) -> bool:
    """Whether the horizon stays within the soft edge of a filter that is set once, lens_altitude_deg (n,)."""
    edge_deg = math.degrees(math.asin(edge_half_width(plan)))
    return float(np.ptp(lens_altitude_deg)) <= edge_deg


def stops_taken(plan: Plan, rise: ArrayLike) -> Array:
    """Stops that the plan's filter takes of directions with this sine of their altitude, any shape."""
    rise = np.asarray(rise, dtype=np.float64)
    stops = plan.exposure.grad_stops if plan.exposure else 0.0
    if not stops:
        return np.zeros(rise.shape)
    fraction = np.clip(0.5 + rise / (2.0 * edge_half_width(plan)), 0.0, 1.0)
    return stops * fraction**2 * (3.0 - 2.0 * fraction)


def light_let_through(plan: Plan, rise: ArrayLike) -> Array:
    """What the filter leaves of the light from such directions, 0 to 1, any shape."""
    return np.exp2(-stops_taken(plan, rise))
