"""Which nights: when the middle of the Milky Way stands over the place in the dark, and without a moon.

A night bears the date of its evening. Dark is astronomical night, the sun 18° below the horizon; the moon is
out of the way while it is down, or no more than a thin crescent. The skyline is that of the blocks as the
camera sees them from its place at the anchor.
"""

from __future__ import annotations

import csv
import datetime as dt
import io

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.dates import anchor_eye_m, check_years
from planner_core.maths.runs import span
from planner_core.picture.projection import project_px
from planner_core.place.skyline import Skyline, skyline
from planner_core.plan import timeline
from planner_core.plan.model import Plan, PlanError
from planner_core.rig import geometry
from planner_core.rig.camera import camera_path
from planner_core.time import ephemeris, galaxy
from planner_core.words.dates import day_words, span_words
from planner_core.words.figures import percent

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

DARK_DEG = -18.0
CRESCENT_LIT = 0.1  # of the moon: less hardly lights the sky; common practice, no source
STEP_S = 600.0
NIGHT_S = 86_400.0
CLIP_SAMPLES = 61
SAID = 10


@frozen(kw_only=True)
class Night:
    """One night; fields are None where the centre doesn't stand over the skyline in the dark.

    first_utc_s and last_utc_s bound the time in which it does, moonless_s is how much of that is without a
    moon, best_utc_s when it stands highest, of those moments if there are any. frames are the clip's, from 1,
    that have it in the picture. rank 1 is the best.
    """

    date: dt.date
    dark_s: float
    moon_lit_fraction: float
    first_utc_s: float | None = None
    last_utc_s: float | None = None
    moonless_s: float = 0.0
    best_utc_s: float | None = None
    bearing_deg: float | None = None
    altitude_deg: float | None = None
    frames: tuple[int, int] | None = None
    rank: int = 0


def nights(plan: Plan, first: dt.date, last: dt.date) -> tuple[Night, ...]:
    """Every night from first to last, in the order of time. Raises PlanError for a date too far off."""
    check_years(first, last)
    horizon = skyline(plan, anchor_eye_m(plan))
    days = [first + dt.timedelta(days=day) for day in range((last - first).days + 1)]
    nights = [_night(plan, horizon, day) for day in days]
    order = sorted(range(len(nights)), key=lambda i: _merit(nights[i]))
    ranks = {i: rank for rank, i in enumerate(order, start=1)}
    return tuple(attrs.evolve(night, rank=ranks[i]) for i, night in enumerate(nights))


def _merit(night: Night) -> tuple[float, ...]:
    """The smaller the better: in the picture, long without a moon, high."""
    if night.best_utc_s is None:
        return 2.0, 0.0, 0.0
    return float(night.frames is None), -round(night.moonless_s / 1800.0), -(night.altitude_deg or 0.0)


def _night(plan: Plan, horizon: Skyline, date: dt.date) -> Night:
    noon = dt.datetime.combine(date, dt.time(12), plan.zone).timestamp()
    utc_s = noon + np.arange(0.0, NIGHT_S, STEP_S)
    site = plan.site
    _, sun = ephemeris.sun_position(utc_s, site.latitude_deg, site.longitude_deg)
    _, moon = ephemeris.moon_position(utc_s, site.latitude_deg, site.longitude_deg)
    azimuth, altitude, shows = _over_the_skyline(plan, horizon, utc_s)
    dark = sun < DARK_DEG
    lit = ephemeris.moon_lit_fraction(utc_s)
    middle = float(lit[len(lit) // 2])
    seen = dark & shows
    night = Night(date=date, dark_s=float(dark.sum()) * STEP_S, moon_lit_fraction=middle)
    if not seen.any():
        return night
    moonless = seen & ((moon < 0.0) | (lit < CRESCENT_LIT))
    among = np.flatnonzero(moonless if moonless.any() else seen)
    best = among[int(np.argmax(altitude[among]))]
    when = np.flatnonzero(seen)
    return attrs.evolve(
        night,
        first_utc_s=float(utc_s[when[0]]),
        last_utc_s=float(utc_s[when[-1]]),
        moonless_s=float(moonless.sum()) * STEP_S,
        best_utc_s=float(utc_s[best]),
        bearing_deg=float(azimuth[best]),
        altitude_deg=float(altitude[best]),
        frames=_frames_with_it(plan, horizon, date, noon),
    )


def _over_the_skyline(plan: Plan, horizon: Skyline, utc_s: Array) -> tuple[Array, Array, Mask]:
    """Azimuth and apparent altitude of the centre, and whether nothing of the place hides it."""
    azimuth, true = galaxy.galactic_centre(utc_s, plan.site.latitude_deg, plan.site.longitude_deg)
    altitude = ephemeris.apparent_altitude_deg(true)
    return azimuth, altitude, altitude > horizon.altitude_at(azimuth)


def _frames_with_it(plan: Plan, horizon: Skyline, date: dt.date, noon_utc_s: float) -> tuple[int, int] | None:
    """The frames of that night's clip, from 1, between which the centre is in the picture in the dark."""
    start = _clip_start(plan, date, noon_utc_s)
    if start is None:
        return None
    at = np.linspace(0.0, 1.0, min(plan.shoot.frames, CLIP_SAMPLES))
    utc_s = start + at * plan.duration_s
    azimuth, altitude, shows = _over_the_skyline(plan, horizon, utc_s)
    _, sun = ephemeris.sun_position(utc_s, plan.site.latitude_deg, plan.site.longitude_deg)
    path = camera_path(plan, at)
    toward = geometry.direction(azimuth, altitude, plan.site.scene_north_deg)
    pixels, _ = project_px(plan, path.camera_m + toward, path.camera_m, path.camera_rotation)
    with np.errstate(invalid="ignore"):
        inside = ((pixels >= 0.0) & (pixels <= [plan.clip.width_px, plan.clip.height_px])).all(axis=1)
    where = span(inside & shows & (sun < DARK_DEG))
    if where is None:
        return None
    first, last = (1 + round(float(at[number - 1]) * (plan.shoot.frames - 1)) for number in where)
    return first, last


def _clip_start(plan: Plan, date: dt.date, noon_utc_s: float) -> float | None:
    """When the plan's clip begins in a night, by its anchor or its clock; None where it doesn't."""
    for day in (date, date + dt.timedelta(days=1)):
        shoot, start = plan.shoot, plan.shoot.start
        if start is not None:
            dated = attrs.evolve(shoot, start=dt.datetime.combine(day, start.timetz()))
        else:
            assert shoot.anchor is not None
            dated = attrs.evolve(shoot, anchor=attrs.evolve(shoot.anchor, date=day))
        try:
            begins = timeline.start_utc_s(attrs.evolve(plan, shoot=dated))
        except PlanError:
            continue
        if noon_utc_s <= begins + plan.duration_s / 2.0 < noon_utc_s + NIGHT_S:
            return begins
    return None


# ---------------------------------------------------------------- as text and CSV


def nights_text(plan: Plan, nights: tuple[Night, ...]) -> str:
    """What a photographer asks: from when to when in the year, and the best nights."""
    title = f"{plan.title}: " if plan.title else ""
    lines = [f"{title}the Milky Way, {span_words(nights[0].date, nights[-1].date)}"]
    seen = [night for night in nights if night.best_utc_s is not None]
    if not seen:
        return "\n".join([*lines, _never(plan, nights)]) + "\n"
    moonless = [night for night in seen if night.moonless_s > 0.0]
    lines.append(
        f"Its middle stands over the skyline in the dark on {len(seen)} of {len(nights)} nights, and on "
        f"{len(moonless)} of them without a moon."
    )
    pictured = sum(night.frames is not None for night in seen)
    if not pictured:
        lines.append("On none of them is it in the picture while the clip runs.")
    order = "in the picture while the clip runs, then " if pictured else ""
    lines += ["", f"Best nights: {order}long without a moon, then high"]
    best = sorted(seen, key=lambda night: night.rank)[:SAID]
    return "\n".join([*lines, *(_line(plan, night) for night in best)]) + "\n"


def _never(plan: Plan, nights: tuple[Night, ...]) -> str:
    highest = 90.0 - abs(plan.site.latitude_deg - galaxy.CENTRE_DEG[1])
    if highest <= 0.0:
        return f"At latitude {plan.site.latitude_deg:g}° its middle never rises."
    if not any(night.dark_s for night in nights):
        return "The sun is never 18° below the horizon on these dates: it doesn't get dark enough."
    return (
        f"Its middle doesn't stand over the skyline in the dark on any of these dates; here it gets no "
        f"higher than {highest:.0f}°."
    )


def _line(plan: Plan, night: Night) -> str:
    assert night.first_utc_s is not None
    assert night.last_utc_s is not None
    assert night.best_utc_s is not None
    first, last, best = (
        timeline.clock(utc_s, plan.zone) for utc_s in (night.first_utc_s, night.last_utc_s, night.best_utc_s)
    )
    moon = f"{percent(night.moon_lit_fraction)} moon"
    if night.moonless_s:
        moon += f", out of the way for {night.moonless_s / 3600.0:.1f} h"
    else:
        moon += " up all the time"
    shown = f"; in the picture in frames {night.frames[0]} to {night.frames[1]}" if night.frames else ""
    return (
        f"  {night.rank:>3}. {day_words(night.date, year=True):<17} {first} to {last}, highest at {best}: "
        f"{night.altitude_deg:.0f}° at {round(night.bearing_deg or 0.0) % 360}°; {moon}{shown}"
    )


COLUMNS = (
    *("rank", "date", "dark_s", "moon_lit_fraction", "first_local", "last_local", "moonless_s", "best_local"),
    *("bearing_deg", "altitude_deg", "first_frame", "last_frame"),
)


def nights_csv(plan: Plan, nights: tuple[Night, ...]) -> str:
    """All nights in the order of time, full precision; a cell is empty where there is no value."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)

    def local(utc_s: float | None) -> str:
        return "" if utc_s is None else timeline.local_datetime(round(utc_s), plan.zone).isoformat()

    for night in nights:
        first, last = night.frames or ("", "")
        writer.writerow(
            [
                night.rank,
                night.date.isoformat(),
                night.dark_s,
                night.moon_lit_fraction,
                local(night.first_utc_s),
                local(night.last_utc_s),
                night.moonless_s,
                local(night.best_utc_s),
                "" if night.bearing_deg is None else night.bearing_deg,
                "" if night.altitude_deg is None else night.altitude_deg,
                first,
                last,
            ]
        )
    return out.getvalue()
