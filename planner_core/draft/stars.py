"""The bright stars over a site: where they stand, how bright they are, and what a picture records of them.

Directions turn with the sky and are without refraction, which lifts a star by less than 0.17° above an
altitude of 5°; below that, the air leaves little of its light anyway. Planets are left out.
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.draft import sky
from planner_core.frames import FrameTable
from planner_core.light import colour, daylight
from planner_core.rig import geometry
from planner_core.time import ephemeris

Array = NDArray[np.float64]

# A star of magnitude 0 above the air: Allen, *Astrophysical Quantities*, 3rd ed. (1973); value from memory
LUX_AT_MAGNITUDE_0 = 2.54e-6
AIR_SHELL, AIR_DEPTH = daylight.SHELL, daylight.AIR_DEPTH
FAINTEST_SEEN = 0.003  # level in the picture below which a star is left out: ours
SETTING_RISE = (0.0, 0.02)  # sin(altitude) over which a star fades into the horizon's haze: ours


@frozen(kw_only=True, eq=False)
class Stars:
    """Stars, brightest first, n of them: hipparcos (n,) numbers, directions (n, 3) on the equator of J2000,
    magnitudes (n,), and tints (n, 3), linear, of luminance 1.
    """

    hipparcos: NDArray[np.int64]
    directions: Array
    magnitudes: Array
    tints: Array


@lru_cache(maxsize=1)
def bright_stars() -> Stars:
    """All stars of the table, stars.csv beside this module, which says where its numbers come from."""
    table = resources.files(__package__).joinpath("stars.csv").read_text(encoding="utf-8")
    rows = [line.split(",") for line in table.splitlines() if line[:1].isdigit()]
    number, ascension, declination, magnitude, b_minus_v = np.array(rows, dtype=np.float64).T
    alpha, delta = np.radians(ascension), np.radians(declination)
    return Stars(
        hipparcos=number.astype(np.int64),
        directions=np.stack(
            [np.cos(delta) * np.cos(alpha), np.cos(delta) * np.sin(alpha), np.sin(delta)], axis=-1
        ),
        magnitudes=magnitude,
        tints=star_tint(b_minus_v),
    )


def star_lux(magnitude: ArrayLike) -> Array:
    """A star's light on a surface square to it, above the air, lux; any shape. Pogson's scale."""
    return LUX_AT_MAGNITUDE_0 * 10.0 ** (-0.4 * np.asarray(magnitude, dtype=np.float64))


def star_tint(b_minus_v: ArrayLike) -> Array:
    """Tint of a star of colour index B − V, shape (n, 3): a black body's.

    At the temperature of Ballesteros, *Europhysics Letters* 97 (2012).
    """
    index = 0.92 * np.asarray(b_minus_v, dtype=np.float64)
    kelvin = 4600.0 * (1.0 / (index + 1.7) + 1.0 / (index + 0.62))
    mireds = np.linspace(25.0, 500.0, 96)
    tints = np.array([colour.black_body_tint(1e6 / mired) for mired in mireds])
    return np.stack([np.interp(1e6 / kelvin, mireds, tints[:, k]) for k in range(3)], axis=-1)


def through_air(sin_altitude: ArrayLike) -> Array:
    """Share of a star's light that comes down at an altitude, 0 below the horizon; any shape.

    The air's depth is that of Circular 171 for the moon's beam.
    """
    rise = np.asarray(sin_altitude, dtype=np.float64)
    altitude = np.degrees(np.arcsin(np.clip(rise, 0.0, 1.0)))
    fade = np.clip((rise - SETTING_RISE[0]) / (SETTING_RISE[1] - SETTING_RISE[0]), 0.0, 1.0)
    return fade * np.exp(-AIR_DEPTH * daylight.circular_air_mass(altitude))


def sky_rotation(
    utc_s: ArrayLike, latitude_deg: float, longitude_deg: float, scene_north_deg: float
) -> Array:
    """Rotations from the equator of J2000 to scene axes, shape (..., 3, 3).

    Precession after Meeus ch. 21 (nutation and aberration, below 0.01°, are left out), then local mean
    sidereal time and latitude.
    """
    instants = np.asarray(utc_s, dtype=np.float64)
    turn = np.radians(ephemeris.sidereal_time_deg(instants, longitude_deg))
    phi = np.radians(latitude_deg)
    none, one = np.zeros_like(turn), np.ones_like(turn)
    # rows: east, north and up in axes of the equator of date
    east = np.stack([-np.sin(turn), np.cos(turn), none], axis=-1)
    up = np.stack([np.cos(turn) * np.cos(phi), np.sin(turn) * np.cos(phi), one * np.sin(phi)], axis=-1)
    horizon = np.stack([east, np.cross(up, east), up], axis=-2)
    scene_from_east_north_up = np.stack(
        [
            geometry.direction(90.0, 0.0, scene_north_deg),
            geometry.direction(0.0, 0.0, scene_north_deg),
            np.array([0.0, 0.0, 1.0]),
        ],
        axis=-1,
    )
    return scene_from_east_north_up @ horizon @ _precession(float(np.mean(instants)))


def turned_deg(frames: FrameTable) -> Array:
    """How far the sky has turned about its pole since the first frame, degrees, shape (frames,)."""
    sidereal = ephemeris.sidereal_time_deg(frames.utc_s, frames.plan.site.longitude_deg)
    return np.unwrap(sidereal - sidereal[0], period=360.0)


def sky_pole(frames: FrameTable) -> Array:
    """The north celestial pole in scene axes, shape (3,): above the horizon or below it."""
    site = frames.plan.site
    return geometry.direction(0.0, site.latitude_deg, site.scene_north_deg)


def seen(frames: FrameTable, spot_sr: float) -> tuple[Array, Array]:
    """The stars that some frame may show: directions in scene axes at the first frame (n, 3), and levels.

    Levels (n, 3) are what each adds to the picture, at the zenith of a frame whose settings make one lux 1,
    where its light is spread over spot_sr steradians. They are left out where no frame would bring them to
    FAINTEST_SEEN, so that there are none by day.
    """
    site, stars = frames.plan.site, bright_stars()
    lux = star_lux(stars.magnitudes) / frames.plan.shoot.cloud_divisor**3
    levels = np.pi * lux / spot_sr
    light = sky.picture_light(frames)
    shown = levels * float(light.level_per_lux.max()) > FAINTEST_SEEN
    rotation = sky_rotation(frames.utc_s[0], site.latitude_deg, site.longitude_deg, site.scene_north_deg)
    return stars.directions[shown] @ rotation.T, levels[shown, None] * stars.tints[shown]


def turned(directions: ArrayLike, pole: ArrayLike, turned_deg: float) -> Array:
    """Directions (n, 3) after the sky has turned by so much about its pole, westwards (Rodrigues)."""
    directions, axis = np.asarray(directions, dtype=np.float64), np.asarray(pole, dtype=np.float64)
    angle = -np.radians(turned_deg)
    along = (directions @ axis)[:, None] * axis
    return along + np.cos(angle) * (directions - along) + np.sin(angle) * np.cross(axis, directions)


def _precession(utc_s: float) -> Array:
    """Rotation from the equator of J2000 to that of date, Meeus ch. 21, shape (3, 3)."""
    t = (utc_s - ephemeris.J2000_UTC_S) / ephemeris.DAY_S / 36525.0
    zeta, z, theta = (
        np.radians(t * (a + t * (b + t * c)) / 3600.0)
        for a, b, c in (
            (2306.2181, 0.30188, 0.017998),
            (2306.2181, 1.09468, 0.018203),
            (2004.3109, -0.42665, -0.041833),
        )
    )

    def about_z(angle: float) -> Array:
        c, s = np.cos(angle), np.sin(angle)
        return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])

    c, s = np.cos(theta), np.sin(theta)
    return about_z(z) @ np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]]) @ about_z(zeta)
