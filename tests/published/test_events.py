"""Rise, set, twilight and noon come when skyfield's almanac says, also where they come twice or never."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from planner_core.time import events
from tests.de421 import Ephemeris421

HORIZONS = {  # body and its horizon in degrees; None: the almanac's own (34′ and the body's radius)
    ("sunrise", "sunset"): ("sun", -0.833),
    ("civil_dawn", "civil_dusk"): ("sun", -6.0),
    ("nautical_dawn", "nautical_dusk"): ("sun", -12.0),
    ("astronomical_dawn", "astronomical_dusk"): ("sun", -18.0),
    ("moonrise", "moonset"): ("moon", None),
}


def assert_same_times(ours: list[float], theirs: list[float], start: float, end: float) -> None:
    """Every event of one list is in the other, but for those within a minute of the date's ends."""
    for one, other in ((ours, theirs), (theirs, ours)):
        for time in one:
            if start + 60 < time < end - 60:
                assert other, f"only one side has an event at {time}"
                assert np.min(np.abs(np.array(other) - time)) < 60


def compare_utc_date(date: dt.date, latitude: float, longitude: float, de421: Ephemeris421) -> None:
    start = dt.datetime.combine(date, dt.time(), dt.UTC).timestamp()
    found = events.day_events(date, latitude, longitude, "UTC")
    for names, (body, horizon) in HORIZONS.items():
        # a day more on both sides: the almanac looks ahead from its start
        almanac = de421.crossings(body, latitude, longitude, start - 86400, start + 2 * 86400, horizon)
        for name, times in zip(names, almanac, strict=True):
            inside = [t for t in times if start <= t < start + 86400]
            assert_same_times(found[name], inside, start, start + 86400)
    noons = [
        t for t in de421.noons(longitude, start - 86400, start + 2 * 86400) if start <= t < start + 86400
    ]
    assert_same_times(found["solar_noon"], noons, start, start + 86400)


@pytest.mark.once
def test_events_are_within_a_minute_of_the_almanac_up_to_60_degrees_of_latitude(de421: Ephemeris421) -> None:
    # skyfield's almanac on DE421
    random = np.random.default_rng(61)
    for _ in range(40):
        date = dt.date(1975, 1, 1) + dt.timedelta(days=int(random.integers(0, 27000)))
        compare_utc_date(date, random.uniform(-60, 60), random.uniform(-180, 180), de421)


@pytest.mark.parametrize("date", [dt.date(2027, 6, 21), dt.date(2027, 12, 21)])
def test_events_at_60_degrees_at_the_solstices(date: dt.date, de421: Ephemeris421) -> None:
    # skyfield's almanac on DE421; the year's flattest paths of the sun
    for latitude in (60.0, -60.0):
        compare_utc_date(date, latitude, 24.9, de421)


LONGYEARBYEN = (78.22, 15.63, "Arctic/Longyearbyen")


def test_midsummer_at_78_north_has_noon_and_no_sun_event_else(de421: Ephemeris421) -> None:
    # the sun's midnight is 78.2° + 23.4° − 90° above the horizon, 11.7°
    found = events.day_events(dt.date(2027, 6, 21), *LONGYEARBYEN)
    assert [name for name in events.SUN_EVENTS if found[name]] == []
    assert len(found["solar_noon"]) == 1
    compare_utc_date(dt.date(2027, 6, 21), *LONGYEARBYEN[:2], de421)


def test_midwinter_at_78_north_reaches_nautical_twilight_only(de421: Ephemeris421) -> None:
    # the sun's noon is 90° − 78.2° − 23.4° below the horizon, 11.7°: above −12°, not above −6°
    found = events.day_events(dt.date(2027, 12, 21), *LONGYEARBYEN)
    happening = {name for name in events.SUN_EVENTS if found[name]}
    assert happening == {"nautical_dawn", "nautical_dusk", "astronomical_dawn", "astronomical_dusk"}
    (noon,) = found["solar_noon"]
    (dawn,), (dusk,) = found["nautical_dawn"], found["nautical_dusk"]
    assert dawn < noon < dusk


@pytest.mark.once
@pytest.mark.parametrize("season", ["04", "08"])
def test_round_the_midnight_sun_no_rise_or_set_is_lost(season: str, de421: Ephemeris421) -> None:
    # skyfield's almanac on DE421; the sun scrapes the horizon within minutes of midnight on these dates
    for day in range(12, 28):
        date = dt.date.fromisoformat(f"2027-{season}-{day}")
        start = dt.datetime.combine(date, dt.time(), dt.UTC).timestamp()
        theirs = de421.crossings("sun", *LONGYEARBYEN[:2], start - 86400, start + 2 * 86400, -0.833)
        found = events.day_events(date, *LONGYEARBYEN[:2], "UTC")
        for name, times in zip(("sunrise", "sunset"), theirs, strict=True):
            inside = [t for t in times if start <= t < start + 86400]
            assert len(found[name]) == len(inside)
            assert np.max(np.abs(np.array(found[name]) - inside), initial=0.0) < 180


def test_a_date_can_have_two_sunsets() -> None:
    # Tromsø after the midnight sun: one just after midnight, one just before the next (value from memory)
    place = (69.65, 18.96, "Europe/Oslo")
    days = {day: events.event_times_utc_s("sunset", day, *place) for day in map(july_and_after, range(20))}
    (date, (first, second)), *_ = [(day, times) for day, times in days.items() if len(times) == 2]
    local = [dt.datetime.fromtimestamp(t, events.zoneinfo.ZoneInfo(place[2])) for t in (first, second)]
    assert [moment.date() for moment in local] == [date, date]
    assert (local[0].hour, local[1].hour) == (0, 23)


def july_and_after(day: int) -> dt.date:
    return dt.date(2027, 7, 20) + dt.timedelta(days=day)
