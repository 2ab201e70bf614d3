"""Which clock a place goes by, as far as its coordinates tell: the zone of the nearest main city.

Where a border runs is not known here. So the guess is said, with the nearest zone that keeps other time.
"""

from __future__ import annotations

import datetime as dt
import zoneinfo

from attrs import frozen

from planner_core.plan.zones import zones_near

# A main city beyond this says little: open sea, the ice. The clock then goes by the sun, as ships' do.
FAR_DEG = 15.0
# Another main city no farther than so many times the nearest and a margin may be the right one
RIVAL_SHARE, RIVAL_MARGIN_DEG = 2.0, 2.0


@frozen(kw_only=True)
class ZoneGuess:
    """An IANA zone that a place may lie in; rival is the nearest other zone whose clocks differ, or ''."""

    zone: str
    by_sun: bool
    rival: str = ""


def guess_zone(latitude_deg: float, longitude_deg: float, date: dt.date) -> ZoneGuess:
    """The zone of the nearest main city, or far from all of them the nautical zone of the longitude."""
    near = zones_near(latitude_deg, longitude_deg)
    if not near or near[0][1] > FAR_DEG:
        return ZoneGuess(zone=_nautical_zone(longitude_deg), by_sun=True)
    zone, away_deg = near[0]
    reach_deg = RIVAL_SHARE * away_deg + RIVAL_MARGIN_DEG
    clock = _offset(zone, date)
    rivals = (other for other, off_deg in near[1:] if off_deg <= reach_deg and _offset(other, date) != clock)
    return ZoneGuess(zone=zone, by_sun=False, rival=next(rivals, ""))


def _offset(zone: str, date: dt.date) -> dt.timedelta | None:
    noon = dt.datetime.combine(date, dt.time(12), zoneinfo.ZoneInfo(zone))
    return noon.utcoffset()


def _nautical_zone(longitude_deg: float) -> str:
    """The zone fifteen degrees wide; the database counts these westwards: Etc/GMT+3 is three hours behind."""
    hours = round(longitude_deg / 15.0)
    return "Etc/GMT" if hours == 0 else f"Etc/GMT{-hours:+d}"
