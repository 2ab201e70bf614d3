"""The moon stands where the DE421 ephemeris puts it, and is as full."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core.time import ephemeris
from tests.de421 import Ephemeris421


def across(
    azimuth: NDArray[np.float64], other_azimuth: NDArray[np.float64], altitude: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Difference of azimuth as an angle in the sky, degrees."""
    return ((azimuth - other_azimuth + 180) % 360 - 180) * np.cos(np.radians(altitude))


def test_moon_is_within_a_tenth_of_a_degree_of_de421_anywhere_from_1950_to_2050(
    anywhere: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]], de421: Ephemeris421
) -> None:
    # JPL DE421 through skyfield; altitude and azimuth both seen from the place, not from Earth's centre
    latitude, longitude, utc_s = anywhere
    azimuth, altitude = ephemeris.moon_position(utc_s, latitude, longitude)
    true_azimuth, true_altitude = de421.position("moon", utc_s, latitude, longitude)
    assert np.max(np.abs(altitude - true_altitude)) < 0.1
    assert np.max(np.abs(across(azimuth, true_azimuth, true_altitude))) < 0.1


def test_a_month_of_hours_is_as_exact_as_single_instants(de421: Ephemeris421) -> None:
    # JPL DE421 through skyfield; these hours are interpolated
    utc_s = dt.datetime(2027, 3, 1, tzinfo=dt.UTC).timestamp() + 3600.0 * np.arange(28 * 24)
    azimuth, altitude = ephemeris.moon_position(utc_s, 64.1, -21.9)
    true_azimuth, true_altitude = de421.position("moon", utc_s, 64.1, -21.9)
    assert np.max(np.abs(altitude - true_altitude)) < 0.03
    assert np.max(np.abs(across(azimuth, true_azimuth, true_altitude))) < 0.03


def test_lit_fraction_and_elongation_are_skyfields(
    anywhere: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]], de421: Ephemeris421
) -> None:
    # skyfield's almanac.fraction_illuminated and separation_from on DE421
    *_, utc_s = anywhere
    assert np.max(np.abs(ephemeris.moon_lit_fraction(utc_s) - de421.lit_fraction(utc_s))) < 0.01
    assert np.max(np.abs(ephemeris.elongation_deg(utc_s) - de421.elongation(utc_s))) < 0.03


def test_lit_fraction_matches_meeus_example() -> None:
    # Meeus, Astronomical Algorithms, example 48.a: 1992 April 12, 0h TD (UTC 59 s earlier), k = 0.6786
    utc_s = dt.datetime(1992, 4, 12, tzinfo=dt.UTC).timestamp() - 59.0
    assert ephemeris.moon_lit_fraction(utc_s) == pytest.approx(0.6786, abs=0.0005)


def test_near_and_far_moons_have_their_size() -> None:
    # semidiameter 358473400″ / distance in km: Meeus ch. 55
    distance_km = np.array([356500.0, 384400.0, 406700.0])
    assert ephemeris.moon_semidiameter_deg(distance_km) * 3600 == pytest.approx(
        358473400 / distance_km, abs=0.2
    )
