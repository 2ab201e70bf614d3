"""The galactic centre and the band of the Milky Way stand where skyfield puts them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core import compute_frames
from planner_core.time import ephemeris, galaxy
from tests.de421 import Ephemeris421
from tests.two_towers import plan


def apart_deg(one: tuple[NDArray, NDArray], other: tuple[NDArray, NDArray]) -> NDArray[np.float64]:
    def unit(azimuth: NDArray, altitude: NDArray) -> NDArray:
        a, h = np.radians(azimuth), np.radians(altitude)
        return np.stack([np.cos(h) * np.sin(a), np.cos(h) * np.cos(a), np.sin(h)], axis=-1)

    chord = np.linalg.norm(unit(*one) - unit(*other), axis=-1)
    return np.degrees(2.0 * np.arcsin(chord / 2.0))


def skyfields(
    de421: Ephemeris421, ra_h: float, dec_deg: float, utc_s: NDArray, lat: float, lon: float
) -> tuple:
    from skyfield.api import Star

    star = Star(ra_hours=ra_h, dec_degrees=dec_deg)
    altitude, azimuth, _ = de421.place(lat, lon).at(de421.times(utc_s)).observe(star).apparent().altaz()
    return azimuth.degrees, altitude.degrees


@pytest.mark.parametrize(("latitude", "longitude"), [(45.0, 7.0), (-33.0, 18.0), (64.0, -21.0), (0.0, 120.0)])
def test_the_galactic_centre_is_within_a_twentieth_of_a_degree_of_skyfield(
    latitude: float, longitude: float, de421: Ephemeris421
) -> None:
    # 17h 45m 40.0s, −29° 00′ 28″ (J2000), through skyfield's precession, nutation and aberration
    utc_s = np.random.default_rng(7).uniform(-6.0e8, 2.5e9, 60)
    theirs = skyfields(
        de421, 17.0 + 45.0 / 60.0 + 40.0 / 3600.0, -(29.0 + 28.0 / 3600.0), utc_s, latitude, longitude
    )
    assert np.max(apart_deg(galaxy.galactic_centre(utc_s, latitude, longitude), theirs)) < 0.05


def test_the_band_passes_the_places_that_skyfields_galactic_frame_gives(de421: Ephemeris421) -> None:
    from skyfield.framelib import galactic_frame

    utc_s = 1.8e9
    azimuth, altitude = galaxy.milky_way(np.arange(0.0, 360.0, 15.0), utc_s, 40.0, 15.0)
    matrix = galactic_frame.rotation_at(de421.times([utc_s])[0])
    for number, longitude in enumerate(np.radians(np.arange(0.0, 360.0, 15.0))):
        x, y, z = matrix.T @ np.array([np.cos(longitude), np.sin(longitude), 0.0])
        ra_h, dec = np.degrees(np.arctan2(y, x)) % 360.0 / 15.0, np.degrees(np.arcsin(z))
        theirs = skyfields(de421, ra_h, dec, np.array([utc_s]), 40.0, 15.0)
        ours = azimuth[number : number + 1], altitude[number : number + 1]
        assert apart_deg(ours, theirs)[0] < 0.1


def test_every_frame_has_it_with_refraction() -> None:
    frames = compute_frames(plan())
    site = frames.plan.site
    azimuth, true = galaxy.galactic_centre(frames.utc_s, site.latitude_deg, site.longitude_deg)
    assert frames.galactic_centre_azimuth_deg == pytest.approx(azimuth)
    assert frames.galactic_centre_altitude_deg == pytest.approx(ephemeris.apparent_altitude_deg(true))
