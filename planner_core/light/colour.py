"""Colour of sun and sky by the sun's altitude, as tints for the draft pictures.

A tint is linear sRGB with luminance 1 (0.2126 R + 0.7152 G + 0.0722 B), so that lux times a tint is still
that many lux; channels may exceed 1. Altitudes are apparent, degrees, of any shape; a tint has that and
one more axis of 3.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

WAVELENGTHS_NM = np.arange(380.0, 785.0, 5.0)
SUN_SURFACE_K = 5772.0  # IAU 2015 resolution B3
CLEAR_AIR_HAZE = 0.05  # Ångström's β: 0.02 very clean to 0.2 hazy, values from memory
# linear sRGB from XYZ, IEC 61966-2-1
SRGB_FROM_XYZ = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])

# a clear sky's colour on level ground by the sun's altitude: ours, from memory of published measurements;
# it is bluest in the blue hour, when ozone takes the yellow out of the last scattered light.
SKY_ALTITUDES_DEG = (-18.0, -12.0, -8.0, -5.0, -2.0, 0.0, 10.0, 30.0, 90.0)
SKY_TEMPERATURES_K = (7000.0, 12000.0, 18000.0, 18000.0, 14000.0, 12000.0, 10500.0, 11500.0, 13000.0)
OVERCAST_K = 6500.0
# share of the sun's last beam in the sky low around it: ours, no source


def air_mass(apparent_altitude_deg: ArrayLike) -> Array:
    """Air that the light crosses, 1 at the zenith, 38 at the horizon, held there below.

    Kasten and Young, *Applied Optics* 28 (1989).
    """
    altitude = np.clip(np.asarray(apparent_altitude_deg, dtype=np.float64), 0.0, 90.0)
    return 1.0 / (np.sin(np.radians(altitude)) + 0.50572 * (altitude + 6.07995) ** -1.6364)


def rayleigh_depth(wavelength_nm: ArrayLike) -> Array:
    """Optical depth of clean air at the zenith; Hansen and Travis, *Space Science Reviews* 16 (1974)."""
    w = (np.asarray(wavelength_nm, dtype=np.float64) / 1000.0) ** -2
    return 0.008569 * w**2 * (1.0 + 0.0113 * w + 0.00013 * w**2)


def sun_xy(apparent_altitude_deg: ArrayLike, haze: float = CLEAR_AIR_HAZE) -> Array:
    """CIE 1931 chromaticity of the sun's beam, last axis 2.

    A black body at the sun's temperature through Rayleigh's air and Ångström's haze, β λ^−1.3 with λ in µm.
    """
    depth = rayleigh_depth(WAVELENGTHS_NM) + haze * (WAVELENGTHS_NM / 1000.0) ** -1.3
    through = np.exp(-air_mass(apparent_altitude_deg)[..., None] * depth)
    return _xy((_black_body(SUN_SURFACE_K) * through) @ _colour_matching())


def sun_tint(apparent_altitude_deg: ArrayLike, haze: float = CLEAR_AIR_HAZE) -> Array:
    """Tint of the sun's beam: nearly white high up, orange and red towards the horizon, held below it."""
    return tint_from_xy(sun_xy(apparent_altitude_deg, haze))


def sky_temperature_k(sun_altitude_deg: ArrayLike, cloud_divisor: float = 1.0) -> Array:
    """Colour temperature of the sky's light on level ground, kelvin; cloud draws it towards 6500 K."""
    clear = np.interp(
        np.asarray(sun_altitude_deg, dtype=np.float64), SKY_ALTITUDES_DEG, 1e6 / np.array(SKY_TEMPERATURES_K)
    )
    return 1e6 / (clear / cloud_divisor + (1e6 / OVERCAST_K) * (1.0 - 1.0 / cloud_divisor))


def sky_tint(sun_altitude_deg: ArrayLike, cloud_divisor: float = 1.0) -> Array:
    """Tint of the sky overhead and of what it lights: blue by day, deep blue at dusk, grey under cloud."""
    return tint_from_xy(daylight_xy(sky_temperature_k(sun_altitude_deg, cloud_divisor)))


def daylight_xy(temperature_k: ArrayLike) -> Array:
    """Chromaticity of a phase of daylight, last axis 2: CIE 15:2004, 4000 to 25000 K, held beyond."""
    t = np.clip(np.asarray(temperature_k, dtype=np.float64), 4000.0, 25000.0)
    x = np.where(
        t <= 7000.0,
        -4.6070e9 / t**3 + 2.9678e6 / t**2 + 0.09911e3 / t + 0.244063,
        -2.0064e9 / t**3 + 1.9018e6 / t**2 + 0.24748e3 / t + 0.237040,
    )
    return np.stack([x, -3.000 * x**2 + 2.870 * x - 0.275], axis=-1)


def tint_from_xy(xy: ArrayLike) -> Array:
    """Linear sRGB of luminance 1 for chromaticities (..., 2); what lies outside sRGB is clipped at 0."""
    xy = np.asarray(xy, dtype=np.float64)
    x, y = xy[..., 0], xy[..., 1]
    rgb = np.maximum(np.stack([x / y, np.ones_like(x), (1.0 - x - y) / y], axis=-1) @ SRGB_FROM_XYZ.T, 0.0)
    return rgb / (rgb @ LUMINANCE)[..., None]


def black_body_tint(temperature_k: float) -> Array:
    """Tint of a black body, shape (3,)."""
    return tint_from_xy(_xy(_black_body(temperature_k) @ _colour_matching()))


def _black_body(temperature_k: float) -> Array:
    """Planck's law over WAVELENGTHS_NM, relative to its value at 560 nm."""

    def planck(wavelength_nm: Array) -> Array:
        return wavelength_nm**-5 / np.expm1(1.438777e7 / (wavelength_nm * temperature_k))

    return planck(WAVELENGTHS_NM) / planck(np.array(560.0))


@lru_cache(maxsize=1)
def _colour_matching() -> Array:
    """CIE 1931 observer over WAVELENGTHS_NM, shape (n, 3).

    The sums of bells of Wyman, Sloan and Shirley, *Journal of Computer Graphics Techniques* 2 (2013).
    """

    def bell(height: float, centre: float, left: float, right: float) -> Array:
        off = WAVELENGTHS_NM - centre
        return height * np.exp(-0.5 * (off / np.where(off < 0.0, left, right)) ** 2)

    x = bell(1.056, 599.8, 37.9, 31.0) + bell(0.362, 442.0, 16.0, 26.7) + bell(-0.065, 501.1, 20.4, 26.2)
    y = bell(0.821, 568.8, 46.9, 40.5) + bell(0.286, 530.9, 16.3, 31.1)
    z = bell(1.217, 437.0, 11.8, 36.0) + bell(0.681, 459.0, 26.0, 13.8)
    return np.stack([x, y, z], axis=-1)


def _xy(xyz: Array) -> Array:
    return xyz[..., :2] / xyz.sum(axis=-1, keepdims=True)
