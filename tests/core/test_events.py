"""Events belong to the local date they are asked for, whatever the clocks and the sun do there."""

from __future__ import annotations

import datetime as dt
import zoneinfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner_core.time import ephemeris, events

PLACES = [
    (57.7, 11.9, "Europe/Stockholm"),
    (-33.9, 151.2, "Australia/Sydney"),
    (-13.8, -171.8, "Pacific/Apia"),
    (1.9, -157.4, "Pacific/Kiritimati"),
    (47.6, -52.7, "America/St_Johns"),
    (-23.5, -46.6, "America/Sao_Paulo"),
    (-31.6, 159.1, "Australia/Lord_Howe"),
    (69.65, 18.96, "Europe/Oslo"),
    (-77.85, 166.7, "Antarctica/McMurdo"),
    (90.0, 0.0, "UTC"),
]
dates = st.dates(dt.date(1990, 1, 1), dt.date(2040, 12, 31))


def clock(utc_s: float, zone: str) -> dt.datetime:
    return dt.datetime.fromtimestamp(utc_s, zoneinfo.ZoneInfo(zone))


@pytest.mark.once
@given(dates, st.sampled_from(PLACES))
@settings(max_examples=60)
def test_events_fall_on_their_date_at_their_altitude_in_their_direction(
    date: dt.date, place: tuple[float, float, str]
) -> None:
    latitude, longitude, zone = place
    found = events.day_events(date, *place)
    assert tuple(found) == events.EVENTS
    for name, times in found.items():
        assert times == sorted(times)
        assert [clock(t, zone).date() for t in times] == [date] * len(times)
        for t in times:
            around = t + np.array([-1.0, 1.0])
            if name == "solar_noon":
                heights, level, rising = ephemeris.sun_hour_angle_deg(around, longitude), 0.0, True
            elif name in events.MOON_EVENTS:
                heights = ephemeris.moon_upper_limb_deg(around, latitude, longitude)
                level, rising = events.MOON_RISES_AT_DEG, events.MOON_EVENTS[name]
            else:
                heights = ephemeris.sun_position(around, latitude, longitude)[1]
                level, rising = events.SUN_EVENTS[name]
            before, after = heights if rising else heights[::-1]
            assert before < level + 1e-4
            assert after > level - 1e-4


@pytest.mark.once
@given(dates, st.sampled_from(PLACES), st.sampled_from(events.EVENTS))
@settings(max_examples=40)
def test_one_event_is_the_same_alone_and_among_all(
    date: dt.date, place: tuple[float, float, str], name: str
) -> None:
    alone = events.event_times_utc_s(name, date, *place)
    assert alone == pytest.approx(events.day_events(date, *place)[name], abs=0.5)


@pytest.mark.once
@pytest.mark.parametrize("place", PLACES, ids=lambda place: place[2].split("/")[-1])
@pytest.mark.parametrize("start", ["2011-12-20", "2006-10-20", "2017-10-08", "2027-03-20"])
def test_a_run_of_dates_has_every_event_once(place: tuple[float, float, str], start: str) -> None:
    # clocks change, a date is skipped and midnights are missing in these weeks; the sky goes on
    first = dt.date.fromisoformat(start)
    week = [events.day_events(first + dt.timedelta(days=k), *place) for k in range(14)]
    begin_s, end_s = (clock_midnight(first + dt.timedelta(days=k), place[2]) for k in (0, 14))
    utc_s = np.arange(begin_s, end_s, 30.0)
    sun = ephemeris.sun_position(utc_s, *place[:2])[1]
    moon = ephemeris.moon_upper_limb_deg(utc_s, *place[:2])
    for name in events.EVENTS:
        if name == "solar_noon":
            angle = ephemeris.sun_hour_angle_deg(utc_s, place[1])
            happens = (angle[:-1] < 0) & (angle[1:] >= 0)
        else:
            height = moon if name in events.MOON_EVENTS else sun
            level, rising = (
                (events.MOON_RISES_AT_DEG, events.MOON_EVENTS[name])
                if name in events.MOON_EVENTS
                else events.SUN_EVENTS[name]
            )
            above = height >= level
            happens = (above[1:] != above[:-1]) & (above[1:] == rising)
        times = [t for day in week for t in day[name]]
        assert times == pytest.approx(utc_s[:-1][happens] + 15.0, abs=16.0)


def clock_midnight(date: dt.date, zone: str) -> float:
    return dt.datetime.combine(date, dt.time(), zoneinfo.ZoneInfo(zone)).timestamp()


@pytest.mark.parametrize("name", events.EVENTS)
def test_a_date_that_the_zone_skipped_has_no_events(name: str) -> None:
    # Samoa went from 29 to 31 December 2011 (the tz database)
    assert events.event_times_utc_s(name, dt.date(2011, 12, 30), -13.8, -171.8, "Pacific/Apia") == []


def test_a_date_line_place_keeps_its_own_date() -> None:
    # 14 hours ahead of UTC (the tz database): its evening of 14 March begins while UTC still has the morning
    # before; near the equator the sun sets shortly after six by the sun, which leads this clock by 29 minutes
    (sunset,) = events.event_times_utc_s("sunset", dt.date(2027, 3, 14), 1.9, -157.4, "Pacific/Kiritimati")
    local = clock(sunset, "Pacific/Kiritimati")
    assert (local.date(), local.hour) == (dt.date(2027, 3, 14), 18)
    assert dt.datetime.fromtimestamp(sunset, dt.UTC).date() == dt.date(2027, 3, 14)


def test_phases_change_at_the_events() -> None:
    # the US Naval Observatory's definitions: −0.833° (34′ and 16′), −6°, −12° and −18°
    altitudes = [90, 0, -0.8329, -0.833, -5.99, -6, -11.99, -12, -17.99, -18, -90]
    names = [events.PHASES[k] for k in events.light_phase(altitudes)]
    assert names == [
        *["day"] * 3,
        *["civil twilight"] * 2,
        *["nautical twilight"] * 2,
        *["astronomical twilight"] * 2,
        *["night"] * 2,
    ]


@pytest.mark.once
@given(st.floats(-90, 90))
@settings(max_examples=30)
def test_no_latitude_and_no_grazing_sun_crashes(latitude: float) -> None:
    for date in (dt.date(2027, 6, 21), dt.date(2027, 9, 23), dt.date(2027, 12, 21)):
        found = events.day_events(date, latitude, 15.6, "UTC")
        assert len(found["solar_noon"]) == 1
        assert all(len(times) <= 2 for times in found.values())


def test_what_is_unknown_is_named() -> None:
    with pytest.raises(ValueError, match="sunsett"):
        events.event_times_utc_s("sunsett", dt.date(2027, 3, 14), 0.0, 0.0, "UTC")
    for zone in ("Mars/Olympus", "", "../etc/passwd", "America"):
        with pytest.raises(ValueError, match="timezone"):
            events.day_events(dt.date(2027, 3, 14), 0.0, 0.0, zone)
