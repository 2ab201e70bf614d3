"""Dates against skyfield and the DE421 ephemeris: twenty random sites of both hemispheres."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from skyfield import almanac
from skyfield.api import Loader, wgs84
from skyfield_data import get_skyfield_data_path

from planner_core.evening.dates import RiseOrSet, dates_table
from planner_core.plan.model import Plan
from tests.present import present
from tests.two_towers import plan

LOAD = Loader(get_skyfield_data_path(), verbose=False)
TIMES = LOAD.timescale()
BODIES = LOAD("de421.bsp")
RNG = np.random.default_rng(2027)
SITES = [
    (float(latitude), float(longitude), dt.date(2026, 1, 1) + dt.timedelta(days=int(day)), way)
    for latitude, longitude, day, way in zip(
        np.concatenate([RNG.uniform(1.0, 62.0, 10), RNG.uniform(-62.0, -1.0, 10)]),
        RNG.uniform(-180.0, 180.0, 20),
        RNG.integers(0, 1500, 20),
        ["rise", "set"] * 10,
        strict=True,
    )
]
# a fence all the way round, 4° high as seen from the rail's start
FENCE = {
    "name": "Fence",
    "role": "background",
    "shape": "ridge",
    "distance_m": 20000.0,
    "skyline_deg": [[bearing, 4.0] for bearing in range(0, 361, 2)],
}


def place(latitude_deg: float, longitude_deg: float, date: dt.date, **changes: object) -> Plan:
    return plan(
        site__latitude_deg=latitude_deg,
        site__longitude_deg=longitude_deg,
        site__timezone="UTC",
        shoot__anchor=None,
        shoot__start=f"{date}T12:00:00",
        **changes,
    )


def apparent(body: str, utc_s: float, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    """True altitude and azimuth from skyfield, degrees."""
    moment = TIMES.from_datetime(dt.datetime.fromtimestamp(utc_s, dt.UTC))
    here = BODIES["earth"] + wgs84.latlon(latitude_deg, longitude_deg)
    altitude, azimuth, _ = here.at(moment).observe(BODIES[body]).apparent().altaz()
    return altitude.degrees, azimuth.degrees


def found(
    body: str, way: str, latitude: float, longitude: float, date: dt.date, **changes: object
) -> list[RiseOrSet]:
    table = dates_table(place(latitude, longitude, date, **changes), date, date, body=body, kinds=(way,))
    return [row for row in table.rows if row.level_utc_s is not None]


@pytest.mark.once
@pytest.mark.parametrize(("latitude", "longitude", "date", "way"), SITES)
def test_sun_rises_and_sets_when_and_where_skyfield_says(
    latitude: float, longitude: float, date: dt.date, way: str
) -> None:
    search = almanac.find_risings if way == "rise" else almanac.find_settings
    start = TIMES.utc(date.year, date.month, date.day)
    end = TIMES.utc(date.year, date.month, date.day + 1)
    here = BODIES["earth"] + wgs84.latlon(latitude, longitude)
    expected, real = search(here, BODIES["sun"], start, end, horizon_degrees=-0.833)
    rows = found("sun", way, latitude, longitude, date, blocks=[])
    assert len(rows) == sum(real)
    for row, moment in zip(rows, expected[real], strict=True):
        assert row.level_utc_s is not None
        assert row.level_utc_s == pytest.approx(moment.utc_datetime().timestamp(), abs=10.0)
        azimuth = apparent("sun", moment.utc_datetime().timestamp(), latitude, longitude)[1]
        assert row.level_bearing_deg == pytest.approx(azimuth, abs=0.03)


@pytest.mark.once
@pytest.mark.parametrize(("latitude", "longitude", "date", "way"), SITES)
def test_against_a_skyline_the_upper_limb_is_where_skyfield_has_it(
    latitude: float, longitude: float, date: dt.date, way: str
) -> None:
    for body, radius_deg in (("sun", 16.0 / 60.0), ("moon", 15.5 / 60.0)):
        for row in found(body, way, latitude, longitude, date, blocks=[FENCE]):
            assert row.skyline_utc_s is not None
            true, azimuth = apparent(body, row.skyline_utc_s, latitude, longitude)
            # refraction at 3.7°: 12.2′ (Meeus ch. 16)
            assert true + 12.2 / 60.0 + radius_deg == pytest.approx(4.0, abs=0.06)
            assert row.skyline_bearing_deg == pytest.approx(azimuth, abs=0.1)
            assert row.behind == "Fence"
            earlier_s = present(row.level_utc_s) - present(row.skyline_utc_s)
            assert earlier_s > 0.0 if way == "set" else earlier_s < 0.0


def test_the_sites_lie_in_both_hemispheres() -> None:
    assert len(SITES) == 20
    assert sum(latitude < 0.0 for latitude, *_ in SITES) == 10
