"""Sun and moon as arrays: shapes, continuity, and the same answer however it is asked."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from astral import moon as astral_moon
from astral import sun as astral_sun
from hypothesis import given
from hypothesis import strategies as st

from planner_core.time import ephemeris

EVENING = dt.datetime(2027, 3, 14, 17, tzinfo=dt.UTC).timestamp()
POSITIONS = (ephemeris.sun_position, ephemeris.moon_position)

instants = st.floats(-631152000, 2524608000)
latitudes = st.floats(-90, 90)
longitudes = st.floats(-180, 180)


@pytest.mark.parametrize("position", POSITIONS)
@pytest.mark.parametrize("shape", [(), (0,), (1,), (7,), (5, 300), (2, 0, 3)])
def test_results_have_the_shape_of_the_instants(position: Callable[..., Any], shape: tuple[int, ...]) -> None:
    utc_s = EVENING + 10.0 * np.arange(math.prod(shape), dtype=float).reshape(shape)
    for result in position(utc_s, 57.7, 11.9):
        assert result.shape == shape
    assert ephemeris.moon_lit_fraction(utc_s).shape == shape
    assert ephemeris.elongation_deg(utc_s).shape == shape
    assert ephemeris.sidereal_time_deg(utc_s, 11.9).shape == shape
    assert ephemeris.refraction_deg(utc_s * 0.0).shape == shape


@pytest.mark.parametrize("position", POSITIONS)
def test_places_broadcast_against_instants(position: Callable[..., Any]) -> None:
    azimuth, altitude = position(EVENING, np.array([[0.0], [57.7]]), np.array([11.9, 12.0, 12.1]))
    assert azimuth.shape == altitude.shape == (2, 3)
    assert altitude[1, 0] == pytest.approx(position(EVENING, 57.7, 11.9)[1])


@pytest.mark.once
@given(utc_s=instants, latitude=latitudes, longitude=longitudes)
def test_angles_stay_in_their_ranges(utc_s: float, latitude: float, longitude: float) -> None:
    for position in POSITIONS:
        azimuth, altitude = position(utc_s, latitude, longitude)
        assert 0.0 <= azimuth < 360.0
        assert -90.0 <= altitude <= 90.0
    assert 0.0 <= ephemeris.moon_lit_fraction(utc_s) <= 1.0
    assert 0.0 <= ephemeris.elongation_deg(utc_s) <= 180.0
    assert 0.0 <= ephemeris.sidereal_time_deg(utc_s, longitude) < 360.0


@pytest.mark.once
@given(utc_s=instants, latitude=latitudes, longitude=longitudes, frames=st.integers(30, 200))
def test_one_instant_alone_is_where_it_is_among_the_frames_of_an_evening(
    utc_s: float, latitude: float, longitude: float, frames: int
) -> None:
    among = utc_s + 20.0 * np.arange(frames)
    for position in POSITIONS:
        _, altitudes = position(among, latitude, longitude)
        _, altitude = position(among[frames // 2], latitude, longitude)
        assert altitude == pytest.approx(altitudes[frames // 2], abs=1e-4)


@pytest.mark.parametrize("position", POSITIONS)
def test_a_century_of_instants_is_the_same_at_once_and_one_by_one(position: Callable[..., Any]) -> None:
    # this many are summed on a grid and interpolated; a few of them alone are summed directly
    utc_s = np.linspace(-631152000, 2524608000, 30000)
    azimuth, altitude = position(utc_s, 57.7, 11.9)
    some = np.arange(0, utc_s.size, 997)
    azimuth_alone, altitude_alone = position(utc_s[some], 57.7, 11.9)
    assert altitude[some] == pytest.approx(altitude_alone, abs=1e-4)
    assert np.cos(np.radians(azimuth[some] - azimuth_alone)) == pytest.approx(np.ones(some.size), abs=1e-8)


@pytest.mark.parametrize("position", POSITIONS)
def test_the_track_of_an_evening_has_no_steps(position: Callable[..., Any]) -> None:
    # node changes of the interpolation must not show as jumps in a clip
    utc_s = EVENING - 6 * 3600 + 1.0 * np.arange(12 * 3600)
    azimuth, altitude = position(utc_s, 57.7, 11.9)
    assert np.max(np.abs(np.diff(altitude, 2))) < 1e-6
    assert np.max(np.abs(np.diff(np.unwrap(azimuth, period=360), 2))) < 1e-5


def test_moon_series_is_astrals() -> None:
    # astral's own scalar sum of Van Flandern and Pulkkinen (1979)
    for day in (-17000.25, -3.5, 0.125, 4000.7, 18000.9):
        theirs = astral_moon.moon_position(day)
        waves = ephemeris.MOON_WAVES.at(np.array([day]))[0]
        u, v, w = waves[:3] + (day / 36525.0 + 1.0) * waves[3:]
        assert math.asin(v / math.sqrt(u)) == pytest.approx(theirs.declination, abs=1e-9)
        assert 60.40974 * math.sqrt(u) == pytest.approx(theirs.distance, abs=1e-6)
        mean_longitude = math.tau * ((0.606434 + 0.03660110129 * day) % 1.0)
        ascension = math.asin(w / math.sqrt(u - v * v)) + mean_longitude
        assert math.cos(ascension - theirs.right_ascension) == pytest.approx(1.0, abs=1e-12)


def test_sun_is_near_astrals() -> None:
    # astral's simpler series and ours are both within 0.015° of the sun
    from astral import Observer

    for days in range(0, 20000, 1777):
        moment = dt.datetime(1975, 1, 1, 9, 30, tzinfo=dt.UTC) + dt.timedelta(days=days, seconds=days)
        zenith, azimuth = astral_sun.zenith_and_azimuth(Observer(44.0, 9.0), moment, with_refraction=False)
        ours_azimuth, ours_altitude = ephemeris.sun_position(moment.timestamp(), 44.0, 9.0)
        assert ours_altitude == pytest.approx(90.0 - zenith, abs=0.02)
        assert ours_azimuth == pytest.approx(azimuth, abs=0.03)


def test_moon_is_lower_from_the_ground_than_from_earths_centre() -> None:
    # parallax: almost 1° for a moon at the horizon, none at the zenith (Meeus ch. 40)
    utc_s = EVENING + 600.0 * np.arange(1000)
    _, altitude = ephemeris.moon_position(utc_s, 0.0, 0.0)
    distances = ephemeris._topocentric(utc_s, 0.0, 0.0, ephemeris._moon_vector)[2]
    overhead, low = np.argmax(altitude), np.argmin(np.abs(altitude))
    assert distances[low] - distances[overhead] > 4000  # an Earth's radius nearer when overhead


@given(st.floats(-90, 90), st.floats(0, 0.01))
def test_refraction_is_continuous_and_never_negative(altitude: float, step: float) -> None:
    here, there = ephemeris.refraction_deg([altitude, altitude + step])
    assert here >= 0.0
    assert abs(there - here) < 0.02 * (step / 0.01) + 1e-9


def test_refraction_is_gone_five_degrees_below_and_at_the_zenith() -> None:
    assert np.all(ephemeris.refraction_deg([-5.01, -5.11, -5.2, -6.0, -40.0, 90.0]) == 0.0)
    assert np.all(ephemeris.refraction_deg([-4.9, 0.0, 45.0]) > 0.0)


def test_apparent_altitude_keeps_the_order_of_true_altitudes() -> None:
    assert np.all(np.diff(ephemeris.apparent_altitude_deg(np.linspace(-90, 90, 100001))) > 0.0)


def test_sun_passes_the_meridian_at_hour_angle_zero() -> None:
    utc_s = dt.datetime(2027, 3, 14, tzinfo=dt.UTC).timestamp() + 60.0 * np.arange(1440)
    hour_angle = ephemeris.sun_hour_angle_deg(utc_s, 11.9)
    _, altitude = ephemeris.sun_position(utc_s, 57.7, 11.9)
    assert abs(hour_angle[np.argmax(altitude)]) < 0.3


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_an_instant_that_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="utc_s"):
        ephemeris.sun_position([0.0, bad], 0.0, 0.0)
