"""The sun stands where the DE421 ephemeris, NREL's printed example and pvlib put it."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core.time import ephemeris, events
from tests.de421 import Ephemeris421


def across(
    azimuth: NDArray[np.float64], other_azimuth: NDArray[np.float64], altitude: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Difference of azimuth as an angle in the sky, degrees."""
    return ((azimuth - other_azimuth + 180) % 360 - 180) * np.cos(np.radians(altitude))


def test_sun_is_within_a_fiftieth_of_a_degree_of_de421_anywhere_from_1950_to_2050(
    anywhere: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]], de421: Ephemeris421
) -> None:
    # JPL DE421 through skyfield
    latitude, longitude, utc_s = anywhere
    azimuth, altitude = ephemeris.sun_position(utc_s, latitude, longitude)
    true_azimuth, true_altitude = de421.position("sun", utc_s, latitude, longitude)
    assert np.max(np.abs(altitude - true_altitude)) < 0.02
    assert np.max(np.abs(across(azimuth, true_azimuth, true_altitude))) < 0.02


@pytest.mark.parametrize("year", [1955, 1985, 2005, 2027, 2049])
def test_frames_of_one_evening_are_as_exact_as_single_instants(year: int, de421: Ephemeris421) -> None:
    # JPL DE421 through skyfield; an evening's frames are interpolated between a few sums of the series
    utc_s = dt.datetime(year, 6, 20, 19, tzinfo=dt.UTC).timestamp() + 10.0 * np.arange(720)
    azimuth, altitude = ephemeris.sun_position(utc_s, 52.4, 4.9)
    true_azimuth, true_altitude = de421.position("sun", utc_s, 52.4, 4.9)
    assert np.max(np.abs(altitude - true_altitude)) < 0.01
    assert np.max(np.abs(across(azimuth, true_azimuth, true_altitude))) < 0.01


@pytest.mark.parametrize("latitude", [-90.0, 90.0])
def test_the_poles_are_places_too(latitude: float, de421: Ephemeris421) -> None:
    # JPL DE421 through skyfield
    utc_s = dt.datetime(2027, 3, 1, tzinfo=dt.UTC).timestamp() + 86400.0 * np.arange(40)
    _, altitude = ephemeris.sun_position(utc_s, latitude, 0.0)
    _, true_altitude = de421.position("sun", utc_s, latitude, 0.0)
    assert np.max(np.abs(altitude - true_altitude)) < 0.01


NREL_PLACE = (39.742476, -105.1786)


def test_sun_matches_the_nrel_worked_example() -> None:
    # Reda and Andreas, NREL/TP-560-34302 (2008), table A5.1; refraction for 820 mbar and 11 °C, Meeus ch. 16
    utc_s = dt.datetime(2003, 10, 17, 19, 30, 30, tzinfo=dt.UTC).timestamp()
    azimuth, altitude = ephemeris.sun_position(utc_s, *NREL_PLACE)
    refraction = ephemeris.refraction_deg(altitude) * (820 / 1010) * (283 / (273 + 11))
    assert 90 - (altitude + refraction) == pytest.approx(50.11162, abs=0.003)
    assert azimuth == pytest.approx(194.34024, abs=0.003)


@pytest.mark.parametrize(
    ("event", "moment"), [("sunrise", "2003-10-17T06:12:43"), ("sunset", "2003-10-16T17:20:19")]
)
def test_sunrise_and_sunset_match_the_nrel_worked_example(event: str, moment: str) -> None:
    # Reda and Andreas, NREL/TP-560-34302 (2008), table A5.1, at UTC−7. It works on the UT date 17 October, in
    # which the sun sets at 00:20:19 UT: that is the local evening of the 16th (DE421 agrees, and sets it 88 s
    # earlier on the 17th).
    printed = dt.datetime.fromisoformat(f"{moment}-07:00")
    (utc_s,) = events.event_times_utc_s(event, printed.date(), *NREL_PLACE, "Etc/GMT+7")
    assert utc_s == pytest.approx(printed.timestamp(), abs=3)


def test_sun_agrees_with_pvlib() -> None:
    # pvlib's solarposition.get_solarposition is the algorithm of NREL/TP-560-34302
    pandas = pytest.importorskip("pandas")
    from pvlib import solarposition

    random = np.random.default_rng(7)
    start, end = (dt.datetime(year, 1, 1, tzinfo=dt.UTC).timestamp() for year in (1980, 2040))
    utc_s = np.sort(np.round(random.uniform(start, end, 200), 3))
    theirs = solarposition.get_solarposition(
        pandas.to_datetime(utc_s, unit="s", utc=True), -33.9, 151.2, delta_t=None
    )
    azimuth, altitude = ephemeris.sun_position(utc_s, -33.9, 151.2)
    assert np.max(np.abs(altitude - theirs["elevation"])) < 0.005
    assert np.max(np.abs(across(azimuth, theirs["azimuth"], altitude))) < 0.005


def test_refraction_matches_meeus_example() -> None:
    # Meeus, Astronomical Algorithms, example 16.a: the sun's upper limb, true altitude 33.20′, R = 24.618′
    # (value from memory)
    assert ephemeris.refraction_deg(0.5541) * 60 == pytest.approx(24.618, abs=0.02)


def test_sidereal_time_matches_meeus_example() -> None:
    # Meeus, Astronomical Algorithms, example 12.b: 1987 April 10, 19h21m00s UT, 128.73787° at Greenwich
    utc_s = dt.datetime(1987, 4, 10, 19, 21, tzinfo=dt.UTC).timestamp()
    assert ephemeris.sidereal_time_deg(utc_s, 0.0) == pytest.approx(128.7378734, abs=1e-5)
    assert ephemeris.sidereal_time_deg(utc_s, -77.0) == pytest.approx(51.7378734, abs=1e-5)
