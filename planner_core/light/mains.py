"""Lamps on alternating current: the mains frequency of a place, and how unevenly an exposure takes them in.

A lamp pulses twice in each period of the mains. An exposure evens that out over its length, wholly where it
holds a whole number of pulses. Which country has which frequency is from memory of IEC's list of world plugs.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.plan.model import Plan
from planner_core.plan.zones import nearest_zone

Array = NDArray[np.float64]

# Zones of America and the Pacific go by 60 Hz but for these, all others by 50 Hz but for those below
AMERICA_50_HZ = (
    *("Argentina", "Asuncion", "Barbados", "Buenos_Aires", "Catamarca", "Cayenne", "Cordoba"),
    *("Coyhaique", "Curacao", "Danmarkshavn", "Dominica", "Godthab", "Grenada", "Guadeloupe", "Jamaica"),
    *("Jujuy", "Kralendijk", "La_Paz", "Lower_Princes", "Marigot", "Martinique", "Mendoza", "Miquelon"),
    *("Montevideo", "Nuuk", "Punta_Arenas", "Rosario", "Santiago", "Scoresbysund", "St_Barthelemy"),
    *("St_Lucia", "St_Vincent", "Thule"),
)
PACIFIC_60_HZ = (
    *("Chuuk", "Guam", "Honolulu", "Johnston", "Kosrae", "Kwajalein", "Majuro", "Midway", "Pago_Pago"),
    *("Palau", "Pohnpei", "Saipan", "Samoa", "Tahiti", "Truk", "Wake"),
)
OTHERS_60_HZ = ("Asia/Seoul", "Asia/Taipei", "Asia/Manila", "Asia/Riyadh", "Africa/Monrovia")
JAPAN, JAPAN_60_HZ_WEST_OF_DEG = "Asia/Tokyo", 138.0  # the border between east and west lies about there
UNIVERSAL = ("UTC", "UCT", "GMT", "Zulu", "Universal", "Greenwich")


def mains_hz(plan: Plan) -> float:
    """50 or 60 by the plan's field or its place; 0 for lamps that are said not to flicker."""
    if plan.exposure is not None and plan.exposure.mains_hz is not None:
        return plan.exposure.mains_hz
    site, zone = plan.site, plan.site.timezone
    if zone in UNIVERSAL or zone.startswith("Etc/"):
        zone = nearest_zone(site.latitude_deg, site.longitude_deg) or zone
    area, _, city = zone.partition("/")
    if area == "America":
        return 50.0 if city.partition("/")[0] in AMERICA_50_HZ else 60.0
    if area in ("US", "Canada"):
        return 60.0
    if area == "Pacific":
        return 60.0 if city in PACIFIC_60_HZ else 50.0
    if zone == JAPAN:
        return 60.0 if site.longitude_deg < JAPAN_60_HZ_WEST_OF_DEG else 50.0
    return 60.0 if zone in OTHERS_60_HZ else 50.0


def ripple(shutter_s: ArrayLike, hz: float) -> Array:
    """By how much of its mean an exposure can come out brighter or darker, 0 to 1; any shape.

    For a lamp that goes out between its pulses, as many LEDs nearly do: |sin(π f t) / (π f t)| with f pulses
    a second, what averaging 1 + cos(2 π f t) over the exposure leaves.
    """
    pulses = 2.0 * hz * np.asarray(shutter_s, dtype=np.float64)
    return np.abs(np.sinc(pulses))


def flicker_stops(shutter_s: ArrayLike, hz: float, lamp_share: ArrayLike) -> Array:
    """Stops between the brightest and the darkest of such exposures, where the lamps give this share of the
    light.
    """
    uneven = np.minimum(ripple(shutter_s, hz) * np.asarray(lamp_share, dtype=np.float64), 0.999)
    return np.log2((1.0 + uneven) / (1.0 - uneven))


def even_enough_s(hz: float, lamp_share: float, stops: float) -> float:
    """The exposure from which on no length flickers by more than so many stops, seconds."""
    most = (2.0**stops - 1.0) / (2.0**stops + 1.0)
    return lamp_share / (np.pi * 2.0 * hz * most)
