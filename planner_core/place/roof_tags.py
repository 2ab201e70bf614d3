"""Roofs as OpenStreetMap's tags describe them (Simple 3D Buildings), as the roofs that a prism can have."""

from __future__ import annotations

import math

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.convex import smallest_rectangle
from planner_core.place.map_feature import LEVEL_M, Feature, length_m

# what has no shape of its own takes the nearest
SHAPES = {
    "gabled": "gabled",
    "gambrel": "gabled",
    "saltbox": "gabled",
    "round": "gabled",
    "hipped": "hipped",
    "half-hipped": "hipped",
    "mansard": "hipped",
    "side_hipped": "hipped",
    "pyramidal": "pyramidal",
    "cone": "pyramidal",
    "conical": "pyramidal",
    "skillion": "skillion",
    "lean_to": "skillion",
    "dome": "dome",
    "onion": "dome",
}
STEEPEST_DEG = 80.0
# rise over half the depth, where a roof gives neither height nor angle; common practice, no source
PITCH = 0.5
HIGHEST_SHARE = 0.9  # of a building's height
WINDS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")


@frozen(kw_only=True)
class Roof:
    """Shape, height and fall of a roof, as a block has them."""

    roof: str = "flat"
    roof_height_m: float | None = None
    roof_turn_deg: float | None = None


def roof_of(feature: Feature, outline: NDArray[np.float64], north_deg: float) -> Roof:
    """The roof over an outline (n, 2) in scene metres, however high its building is."""
    shape = SHAPES.get(feature.says("roof:shape"), "flat")
    if shape == "flat":
        return Roof()
    _, half, turn = smallest_rectangle(outline)
    shorter = float(min(half))
    rise = feature.length_m(("roof:height",))
    if rise is None:
        rise = feature.length_m(("roof:levels",), LEVEL_M)
    if rise is None or rise <= 0.0:
        reach = 2.0 * shorter if shape == "skillion" else shorter
        rise = reach * _slope(feature)
    falls = _direction(feature, north_deg)
    if falls is None and feature.says("roof:orientation") == "across" and shape in ("gabled", "hipped"):
        # along the longer side, which is the rectangle's own x or y
        along_x = half[0] >= half[1]
        direction = (math.cos(turn), -math.sin(turn)) if along_x else (math.sin(turn), math.cos(turn))
        falls = math.degrees(math.atan2(*direction)) % 360.0
    return Roof(
        roof=shape,
        roof_height_m=round(max(rise, 0.05), 3),
        roof_turn_deg=None if falls is None else round(falls, 2),
    )


def _slope(feature: Feature) -> float:
    angle = length_m(feature.tags.get("roof:angle", ""))
    if angle is None or not 0.0 < angle <= STEEPEST_DEG:
        return PITCH
    return math.tan(math.radians(angle))


def _direction(feature: Feature, north_deg: float) -> float | None:
    """Where a roof falls to, clockwise from the scene's Y."""
    word = feature.says("roof:direction")
    bearing = WINDS.index(word) * 22.5 if word in WINDS else length_m(feature.tags.get("roof:direction", ""))
    if bearing is None or not -360.0 <= bearing <= 360.0:
        return None
    return (bearing - north_deg) % 360.0
