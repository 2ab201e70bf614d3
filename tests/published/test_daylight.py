"""Lux and EV are those of the printed sources."""

from __future__ import annotations

import numpy as np
import pytest

from planner_core.light import daylight

# lux of sun and clear sky on level ground by apparent altitude: formula of US Naval Observatory Circular 171
CIRCULAR_171 = {
    90.0: 123790,
    60.0: 102940,
    30.0: 51263,
    10.0: 11080,
    5.0: 4085,
    0.0: 757,
    -0.833: 438,
    -3.0: 66.4,
    -6.0: 2.99,
    -9.0: 0.116,
    -12.0: 0.00436,
}


@pytest.mark.parametrize(("altitude", "lux"), CIRCULAR_171.items())
def test_sunlight_matches_circular_171_to_three_digits(altitude: float, lux: float) -> None:
    assert daylight.sun_illuminance_lux(altitude) == pytest.approx(lux, rel=0.002)


def test_the_circulars_own_example() -> None:
    # Janiczek and DeYoung, US Naval Observatory Circular 171 (1987): sun at 89.9565°, 123 786 lux
    assert daylight.sun_illuminance_lux(89.9565) == pytest.approx(123786, abs=1)


def test_full_moon_at_the_zenith_gives_about_a_third_of_a_lux() -> None:
    # Circular 171's formula by hand: P = 0.892·1 + 0.0344·π, M(90°) = e^−0.21 + 0.0289 e^−0.042 (1 + π)
    shine = 0.892 + 0.0344 * np.pi
    air = np.exp(-0.21) + 0.0289 * np.exp(-0.042) * (1 + np.pi)
    expected = 0.418 * shine * air / (1 + 0.005 - 0.03)
    assert daylight.moon_illuminance_lux(90.0, 180.0) == pytest.approx(expected, rel=1e-6)
    assert 0.3 < expected < 0.5


@pytest.mark.parametrize(("divisor", "lux"), [(1, 51263), (3, 17088), (10, 5126)])
def test_cloud_divides_the_light_as_the_circular_says(divisor: int, lux: int) -> None:
    # Circular 171: divide by 1 for clear, 3 for average cloud, 10 for dark stratus; sun at 30°
    assert daylight.natural_light(30.0, -50.0, 90.0, divisor).total_lux == pytest.approx(lux, rel=1e-3)


@pytest.mark.parametrize(("lux", "ev100"), [(2.5, 0.0), (757.0, 8.24), (81920.0, 15.0)])
def test_ev_of_an_incident_reading(lux: float, ev100: float) -> None:
    # ISO 2720:1974, C = 250: E = 2.5 · 2^EV lux
    assert daylight.ev100_from_lux(lux) == pytest.approx(ev100, abs=0.005)
    assert daylight.lux_from_ev100(ev100) == pytest.approx(lux, rel=0.005)


def test_clear_sun_is_sunny_sixteen() -> None:
    # common practice, no source: f/16 at 1/ISO, EV 14.6, for a sun of some 40° to 60°; level ground under a
    # high sun gets up to three quarters of a stop more than what stands up: ours
    assert np.all(daylight.ev100_from_lux(daylight.sun_illuminance_lux([40.0, 60.0])) > 14.6)
    assert np.all(daylight.ev100_from_lux(daylight.sun_illuminance_lux([40.0, 60.0])) < 15.4)


def test_landscape_under_a_full_moon_is_ev_minus_three_to_minus_two() -> None:
    # ANSI PH2.7 exposure guide, −3 to −2, value from memory; a moon at 35° gives up to a stop less: ours
    light = daylight.natural_light(-40.0, [35.0, 60.0], 179.0)
    ev100 = daylight.ev100_from_lux(light.total_lux)
    assert np.all((ev100 > -4.0) & (ev100 < -2.0))
