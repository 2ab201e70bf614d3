"""When sun or moon come up over the skyline of a place, or go down behind it: blocks and land included."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner_core.light import daylight
from planner_core.maths import search
from planner_core.place.skyline import OPEN, Skyline
from planner_core.plan.model import Site
from planner_core.time import ephemeris

Array = NDArray[np.float64]

SEARCH_S = 8 * 3600.0  # how long before setting the sun may already be behind a block
SEARCH_STEP_S = 60.0
BESIDE_S = 10.0  # in which a body moves by a twelfth of its width


def disc_deg(site: Site, body: str, utc_s: Array) -> tuple[Array, Array, Array]:
    """Azimuth of sun or moon, and apparent altitude of its centre and its upper limb, degrees, any shape."""
    latitude, longitude = site.latitude_deg, site.longitude_deg
    if body == "sun":
        azimuth, true = ephemeris.sun_position(utc_s, latitude, longitude)
        limb = true + daylight.SUN_SEMIDIAMETER_DEG
    else:
        azimuth, true = ephemeris.moon_position(utc_s, latitude, longitude)
        limb = ephemeris.moon_upper_limb_deg(utc_s, latitude, longitude)
    centre = ephemeris.apparent_altitude_deg(true)
    return azimuth, centre, centre + (limb - true)


def over_skyline_utc_s(site: Site, body: str, kind: str, horizon: Skyline, level_utc_s: Array) -> Array:
    """When the upper limb last clears a skyline before setting, or first after rising; NaN for never.

    kind is "rise" or "set"; level_utc_s (n,) are POSIX seconds of that on the level horizon. To half a
    second.
    """

    def visible(utc_s: Array) -> NDArray[np.bool_]:
        azimuth, _, limb = disc_deg(site, body, utc_s)
        return np.asarray(limb > horizon.altitude_at(azimuth))

    sign = -1.0 if kind == "set" else 1.0
    offsets = sign * np.arange(0.0, SEARCH_S + SEARCH_STEP_S, SEARCH_STEP_S)
    seen = visible(level_utc_s[:, None] + offsets)
    first = np.argmax(seen, axis=1)
    hidden = level_utc_s + offsets[np.maximum(first - 1, 0)]
    clear = level_utc_s + offsets[first]
    if first.any():
        clear, _ = search.boundaries(visible, clear, hidden, within=0.5)
    clear = np.where(first == 0, level_utc_s, clear)
    return np.where(seen.any(axis=1), clear, np.nan)


def in_the_way(
    site: Site, body: str, kind: str, horizon: Skyline, moment_utc_s: Array, level_utc_s: Array
) -> NDArray[np.int32]:
    """The block behind which a body goes just after moments of over_skyline_utc_s, or comes out of, (n,).

    OPEN where that is the level horizon; where it never shows, the block before it at the level moment.
    """
    never = np.isnan(moment_utc_s)
    aside = BESIDE_S if kind == "set" else -BESIDE_S
    azimuth, _, _ = disc_deg(site, body, np.where(never, level_utc_s, moment_utc_s + aside))
    return np.where(moment_utc_s == level_utc_s, OPEN, horizon.block_at(azimuth)).astype(np.int32)
