"""Angles on the circle, in degrees: wrapped, and the difference of two bearings."""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@overload
def wrapped_deg(angle_deg: float) -> float: ...
@overload
def wrapped_deg(angle_deg: Array) -> Array: ...
def wrapped_deg(angle_deg: float | Array) -> float | Array:
    """The same angle from −180 up to, but not including, 180; any shape."""
    return (angle_deg + 180.0) % 360.0 - 180.0


@overload
def compass_deg(bearing_deg: float) -> float: ...
@overload
def compass_deg(bearing_deg: Array) -> Array: ...
def compass_deg(bearing_deg: float | Array) -> float | Array:
    """The same bearing as a compass shows it, from 0 up to 360; any shape."""
    return bearing_deg % 360.0 % 360.0  # a value just below 0 would otherwise come out as 360


@overload
def unwound_deg(bearing_deg: float, near_deg: float) -> float: ...
@overload
def unwound_deg(bearing_deg: Array, near_deg: float) -> Array: ...
def unwound_deg(bearing_deg: float | Array, near_deg: float) -> float | Array:
    """The same bearing with whole turns added so that it lies within half a turn of near_deg; any shape."""
    return near_deg + wrapped_deg(bearing_deg - near_deg)
