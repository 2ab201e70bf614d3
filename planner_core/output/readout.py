"""What the view says about the frame that is shown, and what is drawn of the sky: numbers and lines, no
drawing.

Everything comes from the FrameTable, or from the core's own functions where the day around the shoot is
meant.
"""

from __future__ import annotations

import math
import zoneinfo
from functools import lru_cache

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.light.exposure import f_number_label, iso_label, shutter_label
from planner_core.log.curve import Curve, off_plan_stops
from planner_core.plan import timeline
from planner_core.plan.model import Plan, Site
from planner_core.rig import geometry
from planner_core.time import ephemeris, events, galaxy
from planner_core.time.galaxy import MILKY_WAY_SHOWS_DEG
from planner_core.words.language import say

Array = NDArray[np.float64]

DAY_S, SKY_STEP_S = 86400.0, 600.0
HOUR_S = 3600.0
BAND_STEP_DEG = 5.0


def frame_number(frames: FrameTable, shown: float) -> int:
    """The frame of the table for the frame that Blender shows, from 0."""
    return int(min(max(round(shown), 1), len(frames))) - 1


def hud_lines(frames: FrameTable, shown: float) -> list[str]:
    """What there is to know about one frame: clock, sun and moon, light and settings, a line each."""
    i, plan = frame_number(frames, shown), frames.plan
    clock = timeline.clock(float(frames.utc_s[i]), plan.zone, seconds=True)
    phase = events.PHASES[int(events.light_phase(frames.sun_true_altitude_deg[i]))]
    bodies = "Sun {sun}° at {sun_at:.0f}°   Moon {moon}° at {moon_at:.0f}°, {lit:.0f} % lit"
    lines = [
        say("{clock}   frame {frame} of {count}", clock=clock, frame=i + 1, count=len(frames))
        + f"   {say(phase)}",
        say(
            bodies,
            sun=signed(frames.sun_altitude_deg[i]),
            sun_at=frames.sun_azimuth_deg[i],
            moon=signed(frames.moon_altitude_deg[i]),
            moon_at=frames.moon_azimuth_deg[i],
            lit=100.0 * frames.moon_lit_fraction[i],
        ),
        *_milky_way_line(frames, i),
    ]
    light = f"EV {signed(frames.scene_ev100[i])}"
    ramp = frames.ramp
    if ramp is None:
        return [*lines, f"{light}   {say('no exposure planned')}"]
    off = float(ramp.error_stops[i])
    told = f"{light}   {settings_text(frames, i)}"
    if abs(off) >= 0.3:
        too = "{stops:.1f} stops too bright" if off > 0 else "{stops:.1f} stops too dark"
        told += f"   {say(too, stops=abs(off))}"
    return [*lines, told]


def as_shot_line(curve: Curve, frames: FrameTable, shown: float) -> str:
    """One frame as it was shot: clock, settings, EV, and how far it is from the plan."""
    i = frame_number(frames, shown)
    if i >= len(curve):
        return say("As shot: ended before this frame")
    if np.isnan(ev100 := float(curve.ev100[i])):
        return say("As shot: this frame is missing")
    told = say(
        "As shot {clock}   {settings} (EV {ev100})",
        clock=timeline.clock(curve.utc_s(i), frames.plan.zone, seconds=True),
        settings=_settings(curve.f_number[i], curve.shutter_s[i], curve.iso[i]),
        ev100=signed(ev100),
    )
    off = float(off_plan_stops(curve, frames)[i])
    return told if np.isnan(off) else f"{told}   {off_plan_text(off)}"


def off_plan_text(off_stops: float) -> str:
    """0.4 stops brighter than planned."""
    if abs(off_stops) < 0.05:
        return say("exposed as planned")
    side = (
        "{stops:.1f} stops brighter than planned"
        if off_stops > 0
        else "{stops:.1f} stops darker than planned"
    )
    return say(side, stops=abs(off_stops))


def _milky_way_line(frames: FrameTable, i: int) -> list[str]:
    """Where the Milky Way's middle stands, on a frame that is dark enough for it."""
    height = float(frames.galactic_centre_altitude_deg[i])
    if frames.sun_true_altitude_deg[i] >= MILKY_WAY_SHOWS_DEG or height <= 0.0:
        return []
    bearing = round(float(frames.galactic_centre_azimuth_deg[i])) % 360
    return [say("Milky Way's middle {height}° at {bearing}°", height=signed(height), bearing=bearing)]


def sky_lines(frames: FrameTable) -> list[str]:
    """The shoot's sun and moon, and in the dark the Milky Way, a line each."""
    first, last = (signed(frames.sun_altitude_deg[i]) for i in (0, -1))
    highest = float(frames.moon_altitude_deg.max())
    lit = 100.0 * float(frames.moon_lit_fraction[len(frames) // 2])
    lines = [say("Sun from {first}° to {last}°", first=first, last=last)]
    if highest > 0.0:
        lines.append(say("Moon {lit:.0f} % lit, up to {highest:.0f}° high", lit=lit, highest=highest))
    else:
        lines.append(say("Moon below the horizon"))
    dark = frames.sun_true_altitude_deg < MILKY_WAY_SHOWS_DEG
    if dark.any() and (height := float(frames.galactic_centre_altitude_deg[dark].max())) > 0.0:
        lines.append(say("Milky Way's middle up to {height:.0f}° high", height=height))
    return lines


def settings_text(frames: FrameTable, i: int) -> str:
    """f-number, shutter and ISO of a frame (from 0), as printed on a camera."""
    ramp = frames.ramp
    if ramp is None:
        return ""
    return _settings(ramp.f_number[i], ramp.shutter_s[i], ramp.iso[i])


def _settings(f_number: float, shutter_s: float, iso: float) -> str:
    return f"{f_number_label(float(f_number))}   {shutter_label(float(shutter_s))}   {iso_label(float(iso))}"


def signed(value: float) -> str:
    """A number with one decimal and a true minus sign."""
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text.replace("-", "−")


def phase_spans(frames: FrameTable) -> list[tuple[int, int, int]]:
    """Runs of frames in one phase of the light: index into events.PHASES, first and last frame, counted from
    1.
    """
    phase = events.light_phase(frames.sun_true_altitude_deg)
    edges = np.flatnonzero(np.diff(phase)) + 1
    starts, ends = np.concatenate([[0], edges]), np.concatenate([edges, [len(phase)]])
    return [(int(phase[a]), int(a) + 1, int(b)) for a, b in zip(starts, ends, strict=True)]


@frozen(kw_only=True, eq=False)
class SkyPaths:
    """The way of sun and moon across the sky, as unit vectors in scene axes, shape (n, 3).

    day_ is the sun over the whole local date of the shoot's middle, hours its places at full hours, with
    their clock; shoot_ and moon_ are the frames' own.
    """

    day_directions: Array
    day_phase: NDArray[np.int8]
    hour_directions: Array
    hour_labels: tuple[str, ...]
    shoot_directions: Array
    shoot_phase: NDArray[np.int8]
    moon_directions: Array


@lru_cache(maxsize=4)
def _day(
    site: Site, date_ordinal: int, start_utc_s: float
) -> tuple[Array, NDArray[np.int8], Array, tuple[str, ...]]:
    north = site.scene_north_deg
    times = start_utc_s + np.arange(0.0, DAY_S + 1.0, SKY_STEP_S)
    azimuth, true = ephemeris.sun_position(times, site.latitude_deg, site.longitude_deg)
    directions = geometry.direction(azimuth, ephemeris.apparent_altitude_deg(true), north)
    hours = start_utc_s + np.arange(0.0, DAY_S, HOUR_S)
    azimuth, hour_true = ephemeris.sun_position(hours, site.latitude_deg, site.longitude_deg)
    up = hour_true > 0.0
    marks = geometry.direction(azimuth[up], ephemeris.apparent_altitude_deg(hour_true[up]), north)
    zone = zoneinfo.ZoneInfo(site.timezone)
    clocks = tuple(timeline.clock(float(hour), zone) for hour in hours[up])
    return directions, events.light_phase(true), marks, clocks


def sky_paths(frames: FrameTable) -> SkyPaths:
    """The way of sun and moon for the day and the shoot."""
    plan = frames.plan
    middle = timeline.local_datetime(float(frames.utc_s[len(frames) // 2]), plan.zone)
    midnight = middle.replace(hour=0, minute=0, second=0, microsecond=0).timestamp()
    day, day_phase, marks, labels = _day(plan.site, middle.toordinal(), midnight)
    return SkyPaths(
        day_directions=day,
        day_phase=day_phase,
        hour_directions=marks,
        hour_labels=labels,
        shoot_directions=frames.sun_direction,
        shoot_phase=events.light_phase(frames.sun_true_altitude_deg),
        moon_directions=frames.moon_direction,
    )


def galactic_centre_directions(frames: FrameTable) -> Array:
    """Where the middle of the Milky Way stands on every frame, unit vectors in scene axes (frames, 3); NaN
    where it isn't dark enough for it.
    """
    directions = geometry.direction(
        frames.galactic_centre_azimuth_deg,
        frames.galactic_centre_altitude_deg,
        frames.plan.site.scene_north_deg,
    )
    dark = frames.sun_true_altitude_deg < MILKY_WAY_SHOWS_DEG
    return np.where(dark[:, None], directions, np.nan)


def milky_way_directions(frames: FrameTable, i: int) -> Array:
    """The middle of the band all round on a frame (from 0), (n, 3), from the centre on; none where it isn't
    dark enough for it.
    """
    if frames.sun_true_altitude_deg[i] >= MILKY_WAY_SHOWS_DEG:
        return np.zeros((0, 3))
    site = frames.plan.site
    longitude = np.arange(0.0, 360.0 + BAND_STEP_DEG, BAND_STEP_DEG)
    azimuth, true = galaxy.milky_way(longitude, float(frames.utc_s[i]), site.latitude_deg, site.longitude_deg)
    return geometry.direction(azimuth, ephemeris.apparent_altitude_deg(true), site.scene_north_deg)


def sky_radius_m(plan: Plan) -> float:
    """How far out the sky is drawn: as far as most of what is blocked out, within reason."""
    x, y, _ = plan.rig.origin_m
    reaches = [
        math.hypot(block.centre_m[0] - x, block.centre_m[1] - y)
        for block in plan.blocks
        if block.centre_m is not None and block.role in ("subject", "background")
    ]
    return float(min(max(np.median(reaches) if reaches else 30.0, 10.0), 400.0))
