"""Which zone was meant, and whether a clock fits a place."""

from __future__ import annotations

import zoneinfo

import pytest

from planner_core.plan.zones import meant_zone, nearest_zone, off_the_sun_h


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Europe/Lissbon", " (Europe/Lisbon?)"),
        ("berlin", " (Europe/Berlin?)"),
        ("New York", " (America/New_York?)"),
        ("CEST", " (Europe/Berlin lies nearest to the site)"),
        ("UTC+2", " (Europe/Berlin lies nearest to the site)"),
    ],
)
def test_a_zone_that_is_none_is_answered_with_one_that_is(written: str, meant: str) -> None:
    assert meant_zone(written, 52.5, 13.4) == meant


def test_an_abbreviation_without_a_place_gets_no_guess() -> None:
    assert meant_zone("CEST", "north", 13.4) == ""
    assert meant_zone("CEST", 431.0, 13.4) == ""


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "zone"),
    [
        (78.2, 15.6, "Arctic/Longyearbyen"),
        (-42.9, 147.3, "Australia/Hobart"),
        (-16.8, 179.99, "Pacific/Fiji"),
        (-17.0, -179.9, "Pacific/Fiji"),  # across the date line
        (40.7, -74.0, "America/New_York"),
    ],
)
def test_the_nearest_zone_is_that_of_the_nearest_main_city(
    latitude_deg: float, longitude_deg: float, zone: str
) -> None:
    # the time zone database, zone.tab
    assert nearest_zone(latitude_deg, longitude_deg) == zone
    zoneinfo.ZoneInfo(zone)


def test_a_clock_is_ahead_of_the_sun_by_its_offset_less_the_longitude() -> None:
    assert off_the_sun_h(2.0, 15.0) == pytest.approx(1.0)
    assert off_the_sun_h(14.0, -157.0) == pytest.approx(14.0 - 24.0 + 157.0 / 15.0)
