"""Exposure: APEX values and the ramp of f-number, shutter and ISO that follows the light."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.plan import Plan

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class Ramp:
    """Settings of each frame, shape (frames,); error_stops is positive where a frame comes out brighter than meant."""

    target_ev100: Array
    f_number: Array
    shutter_s: Array
    iso: Array
    error_stops: Array


def exposure_ramp(plan: Plan, utc_s: Array, scene_ev100: Array) -> Ramp | None:
    """Settings for each frame."""
    return None
