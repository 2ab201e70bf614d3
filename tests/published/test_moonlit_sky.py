"""The sky under a moon beside what was measured of it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core.light import daylight, sky
from planner_core.light.colour import LUMINANCE

NANOLAMBERT_CD_M2 = 1e-5 / np.pi


def direction(azimuth_deg: float, altitude_deg: float) -> NDArray[np.float64]:
    azimuth, altitude = np.radians([azimuth_deg, altitude_deg])
    level = np.cos(altitude)
    return np.array([np.sin(azimuth) * level, np.cos(azimuth) * level, np.sin(altitude)])


def modelled_cd_m2(moon_deg: float, azimuth_deg: float, altitude_deg: float) -> float:
    """Luminance of the clear sky under a full moon at azimuth 0, long after sunset."""
    sun, moon = np.array([-50.0]), np.array([moon_deg])
    light = sky.sky_light(
        sun_altitude_deg=sun,
        sun_direction=direction(180.0, -50.0)[None],
        moon_altitude_deg=moon,
        natural=daylight.natural_light(sun, moon, np.array([180.0])),
        cloud_divisor=1.0,
        artificial_ev100=None,
        lamp_direction=direction(0.0, 45.0),
    )
    return float(sky.radiance(light, 0, direction(azimuth_deg, altitude_deg)) @ LUMINANCE) / np.pi


def measured_cd_m2(moon_deg: float, azimuth_deg: float, altitude_deg: float) -> float:
    """Krisciunas and Schaefer, *Publications of the Astronomical Society of the Pacific* 103 (1991):
    equations 3, 15, 20 and 21, an extinction of 0.172 magnitudes, a dark zenith of 79 nanolamberts.
    """
    cos_apart = float(direction(0.0, moon_deg) @ direction(azimuth_deg, altitude_deg))
    scattered = 10**5.36 * (1.06 + cos_apart**2) + 10 ** (6.15 - np.degrees(np.arccos(cos_apart)) / 40.0)
    to_moon, to_sky = (
        (1.0 - 0.96 * np.cos(np.radians(each)) ** 2) ** -0.5 for each in (moon_deg, altitude_deg)
    )
    moonlit = scattered * 10 ** (-0.4 * (3.84 + 0.172 * to_moon)) * (1.0 - 10 ** (-0.4 * 0.172 * to_sky))
    return float((moonlit + 79.0 * to_sky * 10 ** (-0.4 * 0.172 * (to_sky - 1.0))) * NANOLAMBERT_CD_M2)


@pytest.mark.parametrize("moon_deg", [20.0, 30.0, 40.0])
@pytest.mark.parametrize("altitude_deg", [5.0, 10.0, 20.0])
def test_the_low_sky_beside_a_full_moon_is_as_bright_as_measured(
    moon_deg: float, altitude_deg: float
) -> None:
    pair = [model(moon_deg, 90.0, altitude_deg) for model in (modelled_cd_m2, measured_cd_m2)]
    assert abs(np.log2(pair[0] / pair[1])) < 0.75


def test_by_moonlight_the_sky_is_brighter_low_than_high() -> None:
    assert modelled_cd_m2(50.0, 90.0, 5.0) > 1.5 * modelled_cd_m2(50.0, 90.0, 60.0)
