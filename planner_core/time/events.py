"""Light events of a local date at a place: rise, set, twilights, noon, and the hours between them.

Sun: upper limb on the level horizon, true altitude of the centre −0.833° (34′ of refraction and 16′ of
radius); twilights at −6°, −12° and −18° (US Naval Observatory). Moon: upper limb of its true size on the
level horizon with 34′ of refraction. The place's height above the sea and the hills around it don't count.
"""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.maths import search
from planner_core.time import ephemeris

Array = NDArray[np.float64]

SUN_RISES_AT_DEG = -0.833
MOON_RISES_AT_DEG = -34.0 / 60.0
SUN_EVENTS = {  # true altitude in degrees and whether the sun rises through it
    "sunrise": (SUN_RISES_AT_DEG, True),
    "sunset": (SUN_RISES_AT_DEG, False),
    "civil_dawn": (-6.0, True),
    "civil_dusk": (-6.0, False),
    "nautical_dawn": (-12.0, True),
    "nautical_dusk": (-12.0, False),
    "astronomical_dawn": (-18.0, True),
    "astronomical_dusk": (-18.0, False),
}
MOON_EVENTS = {"moonrise": True, "moonset": False}
EVENTS = (*SUN_EVENTS, *MOON_EVENTS, "solar_noon")

# Bands of the sun's true altitude, degrees; common practice, no source.
LOW_SUN_DEG = (-4.0, 6.0)  # the golden hour
DEEP_BLUE_DEG = (-6.0, -4.0)  # the blue hour

PHASES = ("day", "civil twilight", "nautical twilight", "astronomical twilight", "night")
PHASE_STARTS_DEG = (SUN_RISES_AT_DEG, -6.0, -12.0, -18.0)

STEP_S = 600.0
WITHIN_S = 1.0  # crossings are narrowed down to less than this
GRAZE_DEG = 0.1  # how near the horizon an altitude's turning point may hide a crossing between two samples


def event_times_utc_s(
    name: str, local_date: dt.date, latitude_deg: float, longitude_deg: float, timezone: str
) -> list[float]:
    """Every instant of that local date at which the event happens, POSIX seconds in order: none, one or two.

    A local date is what the clocks of the IANA zone say: 23 or 25 hours long at a clock change, empty where
    the zone skipped it. ValueError for an unknown event or zone.
    """
    if name not in EVENTS:
        raise ValueError(f"event: {name!r} is unknown; one of {', '.join(EVENTS)}")
    return list(_event_times_utc_s(name, local_date, latitude_deg, longitude_deg, timezone))


@lru_cache(maxsize=4096)  # trying other values of a plan asks for the same evening again and again
def _event_times_utc_s(
    name: str, local_date: dt.date, latitude_deg: float, longitude_deg: float, timezone: str
) -> tuple[float, ...]:
    day = _Day(local_date, latitude_deg, longitude_deg, timezone)
    if name in SUN_EVENTS:
        altitude, rising = SUN_EVENTS[name]
        times = day.crossings(day.sun_altitude, (altitude,))[0][rising]
    elif name in MOON_EVENTS:
        times = day.crossings(day.moon_limb, (MOON_RISES_AT_DEG,))[0][MOON_EVENTS[name]]
    else:
        times = day.noons()
    return tuple(day.within(times))


def day_events(
    local_date: dt.date, latitude_deg: float, longitude_deg: float, timezone: str
) -> dict[str, list[float]]:
    """All EVENTS of a local date, each as event_times_utc_s gives it."""
    day = _Day(local_date, latitude_deg, longitude_deg, timezone)
    levels = (SUN_RISES_AT_DEG, *PHASE_STARTS_DEG[1:])
    sun = dict(zip(levels, day.crossings(day.sun_altitude, levels), strict=True))
    moon = day.crossings(day.moon_limb, (MOON_RISES_AT_DEG,))[0]
    times = {name: day.within(sun[altitude][rising]) for name, (altitude, rising) in SUN_EVENTS.items()}
    times |= {name: day.within(moon[rising]) for name, rising in MOON_EVENTS.items()}
    return times | {"solar_noon": day.within(day.noons())}


def light_phase(true_altitude_deg: ArrayLike) -> NDArray[np.int8]:
    """Index into PHASES by the sun's true altitude, of any shape: 0 day … 4 night."""
    altitude = np.asarray(true_altitude_deg, dtype=np.float64)
    return np.sum(altitude[..., None] <= np.array(PHASE_STARTS_DEG), axis=-1).astype(np.int8)


class _Day:
    """Samples of a local date at a place, with a margin, and the search for crossings among them."""

    def __init__(self, local_date: dt.date, latitude_deg: float, longitude_deg: float, timezone: str) -> None:
        self.date, self.zone = local_date, _zone(timezone)
        self.latitude_deg, self.longitude_deg = latitude_deg, longitude_deg
        start, end = self._window_utc_s()
        self.utc_s = np.arange(start, end + STEP_S, STEP_S)

    def _window_utc_s(self) -> tuple[float, float]:
        """A stretch that holds the whole date, whatever the clocks do at its ends."""
        midnight = (self.date.toordinal() - dt.date(1970, 1, 1).toordinal()) * 86400.0
        offsets = [
            offset.total_seconds()
            for clock in (dt.time.min, dt.time.max)
            for fold in (0, 1)
            if (offset := dt.datetime.combine(self.date, clock, self.zone).replace(fold=fold).utcoffset())
            is not None
        ] or [0.0]
        # an hour more: some clocks went back just after midnight, into the day before
        return midnight - max(offsets) - 3600.0, midnight + 86400.0 - min(offsets) + 3600.0

    def sun_altitude(self, utc_s: Array) -> Array:
        return ephemeris.sun_position(utc_s, self.latitude_deg, self.longitude_deg)[1]

    def moon_limb(self, utc_s: Array) -> Array:
        return ephemeris.moon_upper_limb_deg(utc_s, self.latitude_deg, self.longitude_deg)

    def hour_angle(self, utc_s: Array) -> Array:
        return ephemeris.sun_hour_angle_deg(utc_s, self.longitude_deg)

    def is_in_date(self, utc_s: float) -> bool:
        return dt.datetime.fromtimestamp(utc_s, self.zone).date() == self.date

    def within(self, times: list[float]) -> list[float]:
        return sorted(t for t in times if self.is_in_date(t))

    def crossings(
        self, height_deg: Callable[[Array], Array], levels_deg: tuple[float, ...]
    ) -> list[tuple[list[float], list[float]]]:
        """Of each level, the instants at which the height sinks through it, and those at which it rises."""
        times, heights = self._with_turning_points(height_deg, levels_deg)
        above = heights[:, None] >= np.array(levels_deg)
        sample, level = np.nonzero(above[1:] != above[:-1])
        rising = above[sample + 1, level]
        instants = search.crossings(
            height_deg, times[sample], times[sample + 1], np.array(levels_deg)[level], rising, within=WITHIN_S
        )
        return [
            (instants[(level == k) & ~rising].tolist(), instants[(level == k) & rising].tolist())
            for k in range(len(levels_deg))
        ]

    def _with_turning_points(
        self, height_deg: Callable[[Array], Array], levels_deg: tuple[float, ...]
    ) -> tuple[Array, Array]:
        """The samples, with the highest and lowest points between them where those come near a level."""
        times, heights = self.utc_s, height_deg(self.utc_s)
        before, at, after = heights[:-2], heights[1:-1], heights[2:]
        turns = (at - before) * (after - at) <= 0.0
        near = np.min(np.abs(at[:, None] - np.array(levels_deg)), axis=1) < GRAZE_DEG
        for i in np.flatnonzero(turns & near) + 1:
            is_top = bool(heights[i] >= heights[i - 1])
            middle = np.array(
                [search.turning_point(height_deg, times[i - 1], times[i + 1], is_top=is_top, within=0.1)]
            )
            times, heights = np.append(times, middle), np.append(heights, height_deg(middle))
        order = np.argsort(times, kind="stable")
        return times[order], heights[order]

    def noons(self) -> list[float]:
        """The sun's upper transits: its hour angle passes zero."""
        angle = self.hour_angle(self.utc_s)
        i = np.flatnonzero((angle[:-1] < 0.0) & (angle[1:] >= 0.0))
        rising = np.ones(i.shape, dtype=np.bool_)
        return search.crossings(
            self.hour_angle, self.utc_s[i], self.utc_s[i + 1], np.zeros(i.shape), rising, within=WITHIN_S
        ).tolist()


def _zone(timezone: str) -> zoneinfo.ZoneInfo:
    try:
        return zoneinfo.ZoneInfo(timezone)
    except (KeyError, ValueError, OSError) as error:
        raise ValueError(f"timezone: {timezone!r} is no IANA time zone (Europe/Lisbon is one)") from error
