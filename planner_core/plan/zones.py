"""Time zones: which IANA zone somebody may have meant, and whether a zone fits a place at all."""

from __future__ import annotations

import difflib
import math
import re
import zoneinfo
from collections.abc import Iterator, Sequence
from functools import lru_cache
from importlib import resources

from planner_core.words.language import phrase

# How far a place lies from its zone's main city, and how much nearer its mirror image, to be taken for a slip
# of the sign; from memory of how wide zones are, no source
FAR_FROM_CITY_DEG, NEAR_CITY_SHARE = 12.0, 1.0 / 3.0
_PLACE = re.compile(r"([+-])(\d{2,3})(\d{2})(\d{2})?(?=[+-]|$)")


def meant_zone(text: str, latitude_deg: object, longitude_deg: object) -> str:
    """What to write instead of a zone that doesn't exist, in brackets with a space before, or ''.

    A near spelling (Europe/Lissbon) or a city (Lisbon); for anything else, as an abbreviation (CEST), the
    zone whose main city is nearest to the site.
    """
    named = sorted(zone for zone in zoneinfo.available_timezones() if "/" in zone)
    city = text.strip().replace(" ", "_").rpartition("/")[2].lower()
    cities = [zone for zone in named if zone.rpartition("/")[2].lower() == city]
    near = cities or difflib.get_close_matches(text, named, n=1, cutoff=0.75)
    if near:
        return phrase(" ({zone}?)", zone=min(near, key=len))
    zone = nearest_zone(latitude_deg, longitude_deg)
    return phrase(" ({zone} lies nearest to the site)", zone=zone) if zone else ""


def nearest_zone(latitude_deg: object, longitude_deg: object) -> str | None:
    """The zone whose main city is nearest to a place; None for an invalid place, or where the list is
    missing.
    """
    if not isinstance(latitude_deg, (int, float)) or not isinstance(longitude_deg, (int, float)):
        return None
    if not (abs(latitude_deg) <= 90.0 and abs(longitude_deg) <= 180.0):
        return None
    return next((zone for zone, _ in zones_near(latitude_deg, longitude_deg)), None)


def zones_near(latitude_deg: float, longitude_deg: float) -> list[tuple[str, float]]:
    """Zones by how far their main cities are from a place, in degrees of arc, the nearest first."""
    here = _direction(latitude_deg, longitude_deg)
    return sorted(((zone, _apart_deg(here, city)) for zone, city in _main_cities()), key=lambda pair: pair[1])


def mirrored_near_zone(zone: str, latitude_deg: float, longitude_deg: float) -> str | None:
    """The coordinate, latitude or longitude, that has the wrong sign for a zone: with the other one the place
    lies by the zone's main city, and as it is far from it. None where neither has, or the zone has no city.
    """
    city = next((place for name, place in _main_cities() if name == zone), None)
    if city is None:
        return None

    def away_deg(latitude: float, longitude: float) -> float:
        return _apart_deg(_direction(latitude, longitude), city)

    as_it_is = away_deg(latitude_deg, longitude_deg)
    mirrored = {
        "latitude": away_deg(-latitude_deg, longitude_deg),
        "longitude": away_deg(latitude_deg, -longitude_deg),
    }
    nearer = min(mirrored, key=lambda name: mirrored[name])
    is_slip = as_it_is > FAR_FROM_CITY_DEG and mirrored[nearer] < NEAR_CITY_SHARE * as_it_is
    return nearer if is_slip else None


def off_the_sun_h(utc_offset_h: float, longitude_deg: float) -> float:
    """By how many hours a clock is ahead of the mean sun at a longitude, −12 to 12."""
    return (utc_offset_h - longitude_deg / 15.0 + 12.0) % 24.0 - 12.0


def _direction(latitude_deg: float, longitude_deg: float) -> tuple[float, float, float]:
    latitude, longitude = math.radians(latitude_deg), math.radians(longitude_deg)
    return (
        math.cos(latitude) * math.cos(longitude),
        math.cos(latitude) * math.sin(longitude),
        math.sin(latitude),
    )


def _apart_deg(one: Sequence[float], other: Sequence[float]) -> float:
    """The angle between two directions of length 1."""
    cosine = sum(a * b for a, b in zip(one, other, strict=True))
    return math.degrees(math.acos(min(max(cosine, -1.0), 1.0)))


@lru_cache(maxsize=1)
def _main_cities() -> tuple[tuple[str, tuple[float, float, float]], ...]:
    """Zones and where their main cities are, from the time zone database's own table."""
    try:
        table = (resources.files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    except (ModuleNotFoundError, OSError):
        return ()
    return tuple(_rows(table))


def _rows(table: str) -> Iterator[tuple[str, tuple[float, float, float]]]:
    for line in table.splitlines():
        if line.startswith("#") or line.count("\t") < 2:
            continue
        _country, place, zone = line.split("\t")[:3]
        parts = [
            float(f"{sign}1") * (int(degrees) + int(minutes) / 60.0)
            for sign, degrees, minutes, _ in _PLACE.findall(place)
        ]
        if len(parts) == 2:
            yield zone, _direction(*parts)
