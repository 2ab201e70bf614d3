"""The stars against skyfield, and against positions and magnitudes everybody knows."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from skyfield.api import Star, load_constellation_map, position_of_radec
from skyfield.named_stars import named_star_dict

from planner_core.draft import stars
from planner_core.rig import geometry
from tests.de421 import Ephemeris421

CATALOGUE = stars.bright_stars()

# J2000 right ascension (h, m), declination (degrees, minutes) and V: values from memory of star charts
WELL_KNOWN = {
    "Sirius": (6, 45.2, -16, 43, -1.46),
    "Canopus": (6, 24.0, -52, 42, -0.74),
    "Arcturus": (14, 15.7, 19, 11, -0.05),
    "Vega": (18, 36.9, 38, 47, 0.03),
    "Capella": (5, 16.7, 46, 0, 0.08),
    "Rigel": (5, 14.5, -8, 12, 0.13),
    "Procyon": (7, 39.3, 5, 14, 0.34),
    "Altair": (19, 50.8, 8, 52, 0.76),
    "Aldebaran": (4, 35.9, 16, 31, 0.86),
    "Spica": (13, 25.2, -11, 10, 0.97),
    "Antares": (16, 29.4, -26, 26, 0.96),
    "Fomalhaut": (22, 57.7, -29, 37, 1.16),
    "Deneb": (20, 41.4, 45, 17, 1.25),
    "Regulus": (10, 8.4, 11, 58, 1.40),
    "Polaris": (2, 31.8, 89, 16, 1.98),
}


def place_of(name: str) -> int:
    return int(np.flatnonzero(CATALOGUE.hipparcos == named_star_dict[name])[0])


def ascension_and_declination_deg(direction: np.ndarray) -> tuple[float, float]:
    return (
        float(np.degrees(np.arctan2(direction[1], direction[0])) % 360.0),
        float(np.degrees(np.arcsin(direction[2]))),
    )


@pytest.mark.parametrize("name", WELL_KNOWN)
def test_well_known_stars_are_where_charts_have_them(name: str) -> None:
    hours, minutes, degrees, arcminutes, magnitude = WELL_KNOWN[name]
    star = place_of(name)
    ascension, declination = ascension_and_declination_deg(CATALOGUE.directions[star])
    sign = -1.0 if degrees < 0 else 1.0
    expected = np.radians([15.0 * (hours + minutes / 60.0), degrees + sign * arcminutes / 60.0])
    found = np.radians([ascension, declination])
    assert found[1] == pytest.approx(expected[1], abs=np.radians(0.02))
    assert (found[0] - expected[0]) * np.cos(expected[1]) == pytest.approx(0.0, abs=np.radians(0.02))
    assert CATALOGUE.magnitudes[star] == pytest.approx(magnitude, abs=0.15)


def test_stars_lie_in_their_constellations() -> None:
    # boundaries of the International Astronomical Union as skyfield has them
    in_constellation = load_constellation_map()
    for name, constellation in (
        ("Betelgeuse", "Ori"),
        ("Bellatrix", "Ori"),
        ("Saiph", "Ori"),
        ("Pollux", "Gem"),
        ("Castor", "Gem"),
        ("Dubhe", "UMa"),
        ("Merak", "UMa"),
        ("Alioth", "UMa"),
        ("Alkaid", "UMa"),
        ("Acrux", "Cru"),
        ("Mimosa", "Cru"),
        ("Achernar", "Eri"),
        ("Shaula", "Sco"),
        ("Denebola", "Leo"),
        ("Kochab", "UMi"),
        ("Alphard", "Hya"),
    ):
        ascension, declination = ascension_and_declination_deg(CATALOGUE.directions[place_of(name)])
        assert in_constellation(position_of_radec(ascension / 15.0, declination)) == constellation, name


@pytest.mark.parametrize(
    ("latitude", "longitude", "when"),
    [
        (43.46, -3.79, dt.datetime(2027, 3, 14, 21, 0, tzinfo=dt.UTC)),
        (-44.27, 170.1, dt.datetime(2027, 9, 20, 12, 0, tzinfo=dt.UTC)),
        (69.6, 19.0, dt.datetime(2040, 1, 5, 18, 0, tzinfo=dt.UTC)),
    ],
)
def test_the_sky_over_a_site_is_skyfields(
    de421: Ephemeris421, latitude: float, longitude: float, when: dt.datetime
) -> None:
    north = 30.0
    rotation = stars.sky_rotation(when.timestamp(), latitude, longitude, north)
    bearings, altitudes = geometry.bearing_and_altitude(CATALOGUE.directions[:60] @ rotation.T, north)
    at = de421.place(latitude, longitude).at(de421.times([when.timestamp()])[0])
    for star in range(0, 60, 7):
        ascension, declination = ascension_and_declination_deg(CATALOGUE.directions[star])
        altitude, azimuth, _ = (
            at.observe(Star(ra_hours=ascension / 15.0, dec_degrees=declination)).apparent().altaz()
        )
        assert altitudes[star] == pytest.approx(altitude.degrees, abs=0.02)
        across = (bearings[star] - azimuth.degrees + 180.0) % 360.0 - 180.0
        assert across * np.cos(np.radians(altitude.degrees)) == pytest.approx(0.0, abs=0.02)


def test_five_magnitudes_are_a_hundred_times_the_light() -> None:
    # Pogson (1856)
    assert stars.star_lux(0.0) / stars.star_lux(5.0) == pytest.approx(100.0)


def test_a_star_is_redder_the_higher_its_index() -> None:
    blue, white, red = stars.star_tint([-0.2, 0.6, 1.8])
    assert blue[2] > white[2] > red[2]
    assert white == pytest.approx(
        [1.0, 1.0, 1.0], abs=0.15
    )  # a star like the sun: B − V about 0.65, value from memory
