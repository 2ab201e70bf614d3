"""How bright sun, moon and night sky make the scene: lux on level ground, and its EV at ISO 100.

Janiczek and DeYoung, *Computer Programs for Sun and Moon Illuminance*, US Naval Observatory Circular 171
(1987), the compact programme. Altitudes are apparent (with refraction), degrees, of any shape; results have
that shape. Below −80°, where its sky term rises again by 1e-24 lux, the Circular's value at −80° is held.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SUN_LUX = 133775.0
MOON_LUX = 0.418
NIGHT_SKY_LUX = 0.0005
LUX_AT_EV0 = 2.5  # ISO 2720:1974, flat receptor, C = 250 lux s at ISO 100
SUN_SEMIDIAMETER_DEG = 0.267  # 16′
MOON_SEMIDIAMETER_DEG = 15.5 / 60.0  # mean; Meeus ch. 55
REFLECTED_K = 12.5  # cd s/m² at ISO 100, ISO 2720:1974, reflected light
SHELL = 753.66156  # Earth's radius over the height of the atmosphere, modelled as a shell
AIR_DEPTH = 0.21  # of a beam from outside, per air mass: Circular 171


@frozen(kw_only=True, eq=False)
class NaturalLight:
    """Lux on level ground: the sun's beam, its diffuse sky, the moon, the night sky's own, and their sum."""

    direct_lux: Array
    diffuse_lux: Array
    moon_lux: Array
    night_sky_lux: Array
    total_lux: Array


def circular_air_mass(apparent_altitude_deg: ArrayLike) -> Array:
    """Length of the light's way through the air: 1 at the zenith, 39 at the horizon, and growing below it."""
    altitude = np.radians(np.asarray(apparent_altitude_deg, dtype=np.float64))
    slant = np.arcsin(SHELL * np.cos(altitude) / (SHELL + 1.0))
    return SHELL * (np.cos(slant) - np.sin(altitude)) + np.cos(slant)


def sun_direct_normal_lux(apparent_altitude_deg: ArrayLike) -> Array:
    """The sun's beam on a surface square to it, clear sky, lux.

    From centre to upper limb at the horizon it fades in a straight line (ours, no source).
    """
    altitude = np.asarray(apparent_altitude_deg, dtype=np.float64)
    visible = np.clip(1.0 + altitude / SUN_SEMIDIAMETER_DEG, 0.0, 1.0)
    return visible * SUN_LUX * np.exp(-AIR_DEPTH * circular_air_mass(altitude))


def sun_direct_lux(apparent_altitude_deg: ArrayLike) -> Array:
    """The sun's beam on level ground, clear sky, lux; 0 below the horizon."""
    return SUN_LUX * _direct(apparent_altitude_deg)


def sky_diffuse_lux(apparent_altitude_deg: ArrayLike) -> Array:
    """The sunlit sky's light on level ground, clear sky, lux, through twilight into the night."""
    return SUN_LUX * _diffuse(apparent_altitude_deg)


def sun_illuminance_lux(apparent_altitude_deg: ArrayLike, cloud_divisor: ArrayLike = 1.0) -> Array:
    """Sun and sunlit sky, lux on level ground. Cloud divides: 1 clear, 3 average cloud, 10 dark stratus."""
    clear = sun_direct_lux(apparent_altitude_deg) + sky_diffuse_lux(apparent_altitude_deg)
    return clear / np.asarray(cloud_divisor, dtype=np.float64)


def moon_illuminance_lux(apparent_altitude_deg: ArrayLike, elongation_deg: ArrayLike) -> Array:
    """The moon's light on level ground, clear sky, lux, without the night sky's own.

    elongation_deg is its angle from the sun, 0 (new) to 180 (full).
    """
    altitude = np.asarray(apparent_altitude_deg, dtype=np.float64)
    return _moon_above_air_lux(altitude, elongation_deg) * (_direct(altitude) + _diffuse(altitude))


def _moon_above_air_lux(altitude_deg: Array, elongation_deg: ArrayLike) -> Array:
    """The moon's light square to it, before the air takes from it, lux."""
    elongation = np.radians(np.clip(np.asarray(elongation_deg, dtype=np.float64), 0.0, 180.0))
    cos_elongation = np.cos(elongation)
    with np.errstate(divide="ignore"):  # a new moon: exp(−∞)
        shine = 0.892 * np.exp(-3.343 / np.tan(elongation / 2.0) ** 0.632)
    shine = shine + 0.0344 * (np.sin(elongation) - elongation * cos_elongation)
    parallax = 1.0 - 0.005 * cos_elongation - 0.03 * np.sin(np.radians(altitude_deg))
    return np.asarray(MOON_LUX * shine / parallax)


def moon_disc_ev100(
    apparent_altitude_deg: ArrayLike, elongation_deg: ArrayLike, lit_fraction: ArrayLike
) -> Array:
    """What a spot meter reads off the lit part of the moon's disc in clear air, EV at ISO 100.

    Its light square to it over the solid angle that is lit, π r² of a radius of 15.5′ (Meeus ch. 55), as a
    luminance by ISO 2720:1974, K = 12.5. The arguments broadcast; a new moon has −∞.
    """
    altitude = np.asarray(apparent_altitude_deg, dtype=np.float64)
    square_lux = _moon_above_air_lux(altitude, elongation_deg) * np.exp(
        -AIR_DEPTH * circular_air_mass(altitude)
    )
    solid_angle_sr = (
        np.pi * np.radians(MOON_SEMIDIAMETER_DEG) ** 2 * np.asarray(lit_fraction, dtype=np.float64)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        luminance_cd_m2 = np.where(solid_angle_sr > 0.0, square_lux / solid_angle_sr, 0.0)
        return ev100_from_luminance(luminance_cd_m2)


def natural_light(
    sun_altitude_deg: ArrayLike,
    moon_altitude_deg: ArrayLike,
    elongation_deg: ArrayLike,
    cloud_divisor: float = 1.0,
) -> NaturalLight:
    """All natural light on level ground; the arguments broadcast. ValueError for a cloud divisor below 1.

    Cloud divides the total by cloud_divisor, as the Circular says. It takes the beam first, which is divided
    by the divisor's cube (a model of ours, no source): average cloud leaves a faint shadow and dark stratus
    none. The rest of the total is diffuse.
    """
    cloud = float(cloud_divisor)
    if not cloud >= 1.0:
        raise ValueError(
            f"cloud_divisor: {cloud_divisor} is below 1 (1 clear, 3 average cloud, 10 dark stratus)"
        )
    beam = sun_direct_lux(sun_altitude_deg)
    sun = sun_illuminance_lux(sun_altitude_deg, cloud)
    moon = moon_illuminance_lux(moon_altitude_deg, elongation_deg) / cloud
    sun, beam, moon = np.broadcast_arrays(sun, beam, moon)
    direct = beam / cloud**3
    night = np.full(sun.shape, NIGHT_SKY_LUX / cloud)
    return NaturalLight(
        direct_lux=direct,
        diffuse_lux=sun - direct,
        moon_lux=moon.copy(),
        night_sky_lux=night,
        total_lux=sun + moon + night,
    )


def ev100_from_lux(lux: ArrayLike) -> Array:
    """EV at ISO 100 of an incident-light reading: E = 2.5·2^EV (ISO 2720:1974); −∞ in complete darkness."""
    with np.errstate(divide="ignore"):
        return np.log2(np.asarray(lux, dtype=np.float64) / LUX_AT_EV0)


def lux_from_ev100(ev100: ArrayLike) -> Array:
    """Lux on a flat receptor at an EV at ISO 100: E = 2.5·2^EV (ISO 2720:1974)."""
    return LUX_AT_EV0 * np.exp2(np.asarray(ev100, dtype=np.float64))


def ev100_from_luminance(luminance_cd_m2: ArrayLike) -> Array:
    """EV at ISO 100 of a reflected reading, K = 12.5 (ISO 2720:1974); −∞ in complete darkness."""
    with np.errstate(divide="ignore"):
        return np.log2(np.asarray(luminance_cd_m2, dtype=np.float64) * (100.0 / REFLECTED_K))


def luminance_from_ev100(ev100: ArrayLike) -> Array:
    """Luminance, cd/m², that a reflected reading of so much EV at ISO 100 stands for."""
    return np.exp2(np.asarray(ev100, dtype=np.float64)) * (REFLECTED_K / 100.0)


def scene_ev100(natural_lux: ArrayLike, artificial_ev100: float | None) -> Array:
    """EV at ISO 100 of natural light and the artificial floor together; they add as light, not as stops."""
    lux = np.asarray(natural_lux, dtype=np.float64)
    return ev100_from_lux(lux if artificial_ev100 is None else lux + lux_from_ev100(artificial_ev100))


def _direct(apparent_altitude_deg: ArrayLike) -> Array:
    """The Circular's beam term on level ground, relative."""
    altitude = np.asarray(apparent_altitude_deg, dtype=np.float64)
    return np.exp(-AIR_DEPTH * circular_air_mass(altitude)) * np.maximum(np.sin(np.radians(altitude)), 0.0)


def _diffuse(apparent_altitude_deg: ArrayLike) -> Array:
    """The Circular's sky term, relative."""
    altitude = np.maximum(np.asarray(apparent_altitude_deg, dtype=np.float64), -80.0)
    tilt = 1.0 + np.radians(altitude + 90.0) * np.sin(np.radians(altitude))
    return 0.0289 * np.exp(-0.042 * circular_air_mass(altitude)) * tilt
