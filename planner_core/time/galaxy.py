"""Where the galactic centre and the band of the Milky Way stand in the sky of a place.

Places on the sphere of the fixed stars, given for the equator and equinox of J2000 and brought to the date by
precession (Meeus, *Astronomical Algorithms*, 2nd ed., ch. 21). Nutation and aberration, together below 0.01°,
are left out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.maths.angles import compass_deg
from planner_core.time import ephemeris

Array = NDArray[np.float64]

# The radio source at the galactic centre, and the pole of the galactic plane, J2000: right ascension and
# declination, degrees. The pole is the International Astronomical Union's of 1958, turned to J2000
CENTRE_DEG = (15.0 * (17.0 + 45.0 / 60.0 + 40.0 / 3600.0), -(29.0 + 0.0 / 60.0 + 28.0 / 3600.0))
POLE_DEG = (192.85948, 27.12825)
MILKY_WAY_SHOWS_DEG = -15.0  # the sun, true: about when the band shows in a dark place (common practice)
JULIAN_CENTURY_S = 36525.0 * ephemeris.DAY_S


def galactic_centre(
    utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike
) -> tuple[Array, Array]:
    """Azimuth (true, clockwise from north, 0 to 360) and true altitude of the galactic centre, degrees.

    Without refraction. The arguments broadcast against each other. Within 0.02° of skyfield.
    """
    return fixed_place(*CENTRE_DEG, utc_s, latitude_deg, longitude_deg)


def milky_way(
    galactic_longitude_deg: ArrayLike, utc_s: float, latitude_deg: float, longitude_deg: float
) -> tuple[Array, Array]:
    """Azimuth and true altitude of the middle of the band at galactic longitudes, 0 towards the centre, any
    shape; at one instant.
    """
    pole, centre = _unit(*POLE_DEG), _unit(*CENTRE_DEG)
    centre = centre - (centre @ pole) * pole  # the source itself lies 0.05° beside the middle of the band
    centre /= np.linalg.norm(centre)
    turn = np.radians(np.asarray(galactic_longitude_deg, dtype=np.float64))[..., None]
    direction = np.cos(turn) * centre + np.sin(turn) * np.cross(pole, centre)
    ascension = np.degrees(np.arctan2(direction[..., 1], direction[..., 0]))
    return fixed_place(
        ascension, np.degrees(np.arcsin(direction[..., 2])), utc_s, latitude_deg, longitude_deg
    )


def fixed_place(
    ascension_deg: ArrayLike,
    declination_deg: ArrayLike,
    utc_s: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
) -> tuple[Array, Array]:
    """Azimuth and true altitude, degrees, of a place among the stars (J2000); the arguments broadcast."""
    instants = np.asarray(utc_s, dtype=np.float64)
    ascension, declination = _of_date(ascension_deg, declination_deg, instants)
    hour = np.radians(ephemeris.sidereal_time_deg(instants, longitude_deg)) - ascension
    phi = np.radians(np.asarray(latitude_deg, dtype=np.float64))
    east = -np.cos(declination) * np.sin(hour)
    north = np.sin(declination) * np.cos(phi) - np.cos(declination) * np.cos(hour) * np.sin(phi)
    up = np.sin(declination) * np.sin(phi) + np.cos(declination) * np.cos(hour) * np.cos(phi)
    return compass_deg(np.degrees(np.arctan2(east, north))), np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))


def _of_date(ascension_deg: ArrayLike, declination_deg: ArrayLike, utc_s: Array) -> tuple[Array, Array]:
    """Right ascension and declination of date, radians, from those of J2000: Meeus, formulae 21.3 and 4."""
    t = (utc_s - ephemeris.J2000_UTC_S) / JULIAN_CENTURY_S
    zeta = np.radians((2306.2181 * t + 0.30188 * t**2 + 0.017998 * t**3) / 3600.0)
    z = np.radians((2306.2181 * t + 1.09468 * t**2 + 0.018203 * t**3) / 3600.0)
    theta = np.radians((2004.3109 * t - 0.42665 * t**2 - 0.041833 * t**3) / 3600.0)
    ascension, declination = (
        np.radians(np.asarray(v, dtype=np.float64)) for v in (ascension_deg, declination_deg)
    )
    a = np.cos(declination) * np.sin(ascension + zeta)
    b = np.cos(theta) * np.cos(declination) * np.cos(ascension + zeta) - np.sin(theta) * np.sin(declination)
    c = np.sin(theta) * np.cos(declination) * np.cos(ascension + zeta) + np.cos(theta) * np.sin(declination)
    return np.arctan2(a, b) + z, np.arcsin(np.clip(c, -1.0, 1.0))


def _unit(ascension_deg: float, declination_deg: float) -> Array:
    turn, rise = np.radians(ascension_deg), np.radians(declination_deg)
    return np.array([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)])
