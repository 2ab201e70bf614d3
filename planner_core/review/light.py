"""Findings about the light: balance, the exposure ramp, the sun against the place, stars and focus.

Limits of judgement, all common practice without a source where none is named:

| finding | note | warn | stop |
|---|---|---|---|
| `day-night-balance`, the larger share over the smaller | 2 | 3 | – |
| `move-midpoint`, share of the way off half at the event | 0.1 | 0.2 | – |
| `exposure-short`, `exposure-long`, stops off the target | – | 0.5 | 2 |
| `ramp-steep`, stops between two frames | – | 1/3, a camera's click | – |
"""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planner_core.evening.balance import (
    RISE_AND_SET,
    Balance,
    balance,
    local_dates,
    place_of_share,
    sun_times_utc_s,
)
from planner_core.evening.balance_start import balanced_start
from planner_core.evening.timetable import event_frame
from planner_core.frames import FrameTable
from planner_core.light.exposure import (
    Ramp,
    f_number_label,
    iso_label,
    narrower_f_number,
    shutter_label,
    stops_per_min,
    wider_f_number,
)
from planner_core.maths.runs import span
from planner_core.plan.model import Plan
from planner_core.plan.timeline import clock, clock_changes, local_datetime, start_utc_s
from planner_core.plan.zones import nearest_zone, off_the_sun_h
from planner_core.review import lens as review_lens
from planner_core.review import sun as review_sun
from planner_core.review.findings import Finding
from planner_core.rig import drive
from planner_core.time import events
from planner_core.words.figures import figure, frame_count, frames_text

Array = NDArray[np.float64]

BALANCE_NOTE, BALANCE_WARN = 2.0, 3.0
MIDPOINT_NOTE, MIDPOINT_WARN = 0.1, 0.2
EXPOSURE_WARN_STOPS, EXPOSURE_STOP_STOPS = 0.5, 2.0
STEEP_STOPS_A_FRAME = 1.0 / 3.0
# what cameras and lenses at hand can do, for advice only
HIGHEST_ISO, WIDEST_F_NUMBER, SMALLEST_F_NUMBER = 12800.0, 1.4, 22.0
# Between clock and mean sun, from memory: no zone's own land is farther off, summer time included, but for
# stations in Antarctica.
ODD_ZONE_H = 4.0
UNIVERSAL = ("UTC", "UCT", "GMT", "Zulu", "Universal", "Greenwich")
SHORTEST_SHUTTER_S, LONGEST_SHUTTER_S = 2.0**-13, 30.0


def review_topic(plan: Plan, frames: FrameTable) -> tuple[list[Finding], dict[str, Any]]:
    """Findings and summary numbers of this topic."""
    shares = balance(frames)
    sun_findings, sun_numbers = review_sun.review_sun(plan, frames, shares.turn)
    lens_findings, lens_numbers = review_lens.review_lens(plan, frames)
    findings = [
        *_balance(plan, shares),
        *_midpoint(plan, frames, shares),
        *_event_missing(plan, frames),
        *_clock_change(plan, frames),
        *_zone_odd(plan, frames),
        *_exposure(plan, frames),
        *sun_findings,
        *lens_findings,
    ]
    numbers = (
        _balance_numbers(plan, frames, shares) | sun_numbers | _light_numbers(plan, frames) | lens_numbers
    )
    return findings, numbers


# ---------------------------------------------------------------- balance


def _balance(plan: Plan, shares: Balance) -> list[Finding]:
    """Day against everything else, for a clip that goes from one to the other."""
    if shares.turn is None:
        return []
    day, dark = shares.day_frames, shares.dark_frames
    ratio = max(day, dark) / max(min(day, dark), 1)
    if ratio < BALANCE_NOTE or day + dark < 4:
        return []
    more, less = ("day", "night") if day > dark else ("night", "day")
    times = f"{figure(ratio, 2)} times as much {more} as {less}" if min(day, dark) else f"no {less} at all"
    return [
        Finding(
            code="day-night-balance",
            level="warn" if ratio >= BALANCE_WARN else "note",
            value=ratio,
            limit=BALANCE_WARN if ratio >= BALANCE_WARN else BALANCE_NOTE,
            unit=f"times as much {more} as {less}",
            message=f"The clip has {frame_count(day)} ({day / shares.fps:.1f} s) of day and {dark} "
            f"({dark / shares.fps:.1f} s) of twilight and night, {times}; about as much of both feels "
            "balanced.",
            fix=_balance_fix(plan),
            fit="balance",
        )
    ]


def _balance_fix(plan: Plan) -> str:
    fitted = balanced_start(plan, 1.0, 1.0)
    if fitted is plan:
        return (
            "Choose another date or a shorter shoot: with these frames and this interval no start gives 1:1."
        )
    old, new = (clock(start_utc_s(each), plan.zone) for each in (plan, fitted))
    anchor, was = fitted.shoot.anchor, plan.shoot.anchor
    by = ""
    if anchor is not None and was is not None and (anchor.event, anchor.date) == (was.event, was.date):
        by = f" (shoot.anchor.at {figure(anchor.at)} instead of {figure(was.at)})"
    return f"For 1:1 start at {new} instead of {old}{by}."


def _midpoint(plan: Plan, frames: FrameTable, shares: Balance) -> list[Finding]:
    """About half of the move should be done when day turns (common practice, no source)."""
    turn, share = shares.turn, shares.move_share
    half_at = place_of_share(frames, 0.5)
    if turn is None or share is None or half_at is None or abs(share - 0.5) <= MIDPOINT_NOTE:
        return []
    off = abs(share - 0.5)
    step = MIDPOINT_WARN if off > MIDPOINT_WARN else MIDPOINT_NOTE
    frame = min(max(round(turn.at * (len(frames) - 1)) + 1, 1), len(frames))
    start = float(frames.utc_s[0])
    better = clock(start + (turn.at - half_at) * plan.duration_s, plan.zone)
    by = _anchor_moved(plan, half_at - turn.at)
    return [
        Finding(
            code="move-midpoint",
            level="warn" if off > MIDPOINT_WARN else "note",
            frames=(frame, frame),
            value=share,
            limit=0.5 + math.copysign(step, share - 0.5),
            unit="share of the move",
            message=f"Frame {frame}: {share * 100.0:.0f} % of the move is done at "
            f"{turn.event.replace('_', ' ')} "
            f"({clock(turn.utc_s, plan.zone)}); about half of it then carries day and night alike.",
            fix=f"Start at {better} instead of {clock(start, plan.zone)}{by}, or move "
            f"{'faster' if share < 0.5 else 'slower'} before the event.",
            fit="balance" if abs(half_at - 0.5) < MIDPOINT_NOTE else "",
        )
    ]


def _anchor_moved(plan: Plan, by: float) -> str:
    """The anchor's place that moves the whole shoot by a share of its length, in brackets; '' for none."""
    anchor = plan.shoot.anchor
    if anchor is None or not 0.0 <= anchor.at + by <= 1.0:
        return ""
    return f" (shoot.anchor.at {figure(anchor.at + by)} instead of {figure(anchor.at)})"


def _event_missing(plan: Plan, frames: FrameTable) -> list[Finding]:
    """A date on which the sun doesn't rise or doesn't set; a plan anchored to either knows what it does."""
    if plan.shoot.anchor is not None and plan.shoot.anchor.event in RISE_AND_SET:
        return []
    findings = []
    dates = local_dates(plan, frames.utc_s)
    missing = [
        event
        for event in ("sunrise", "sunset")
        if not any(sun_times_utc_s(plan, event, day) for day in dates)
    ]
    if missing:
        altitude = frames.sun_true_altitude_deg
        what = " and ".join("no " + event for event in missing)
        state = (
            f"the sun is between {altitude.min():.1f}° and {altitude.max():.1f}° during the shoot, "
            f"{_phase_text(altitude)}"
        )
        findings.append(
            Finding(
                code="event-missing",
                level="note",
                message=f"At latitude {plan.site.latitude_deg:g}° there is {what} on {dates[0]}: {state}.",
                fix="Fine if that is the light you want; for a day to night choose a date on which the sun "
                "sets.",
            )
        )
    return findings


def _clock_change(plan: Plan, frames: FrameTable) -> list[Finding]:
    """Clocks that go forward or back between arriving and the last frame."""
    arrive = float(frames.utc_s[0]) - plan.shoot.setup_s - plan.shoot.travel_s
    found = []
    for change in clock_changes(arrive, float(frames.utc_s[-1]), plan.zone):
        after = np.flatnonzero(frames.utc_s >= change.utc_s)
        frame = int(after[0]) + 1
        before = local_datetime(change.utc_s - 1.0, plan.zone) + dt.timedelta(seconds=1)
        way = "forward" if change.by_s > 0.0 else "back"
        when = f"before frame {frame}" if frame > 1 else "before the first frame"
        found.append(
            Finding(
                code="clock-change",
                level="note",
                frames=(frame, frame) if frame > 1 else None,
                value=change.by_s / 3600.0,
                unit="h",
                message=f"The clocks go {way} by {figure(abs(change.by_s) / 3600.0)} h, {when}: "
                f"{before:%H:%M} becomes {clock(change.utc_s, plan.zone)}. All times here have that in them.",
                fix="Leave the camera and the controller on one time until the end, and check by which clock "
                "your alarm goes.",
            )
        )
    return found


def _zone_odd(plan: Plan, frames: FrameTable) -> list[Finding]:
    """A clock that can't be that of the site: a longitude with the wrong sign, or another place's zone."""
    zone, longitude = plan.site.timezone, plan.site.longitude_deg
    offset = local_datetime(float(frames.utc_s[0]), plan.zone).utcoffset()
    if offset is None or zone in UNIVERSAL or zone.startswith(("Etc/", "Antarctica/")):
        return []
    ahead_h = off_the_sun_h(offset.total_seconds() / 3600.0, longitude)
    if abs(ahead_h) <= ODD_ZONE_H:
        return []
    noon_min = round((12.0 + ahead_h) * 60.0)
    near = nearest_zone(plan.site.latitude_deg, longitude)
    return [
        Finding(
            code="zone-odd",
            level="warn",
            value=ahead_h,
            limit=math.copysign(ODD_ZONE_H, ahead_h),
            unit="h",
            message=f"By the clocks of {zone} the sun at longitude {longitude:g}° stands highest at about "
            f"{noon_min // 60 % 24:02d}:{noon_min % 60:02d}.",
            fix="Check site.longitude_deg (east is positive, west negative) and site.timezone"
            + (f"; {near} lies nearest to these coordinates." if near else "."),
        )
    ]


def _phase_text(true_altitude_deg: Array) -> str:
    phases = [events.PHASES[k] for k in np.unique(events.light_phase(true_altitude_deg))]
    return phases[0] + " throughout" if len(phases) == 1 else f"from {phases[0]} to {phases[-1]}"


def _balance_numbers(plan: Plan, frames: FrameTable, shares: Balance) -> dict[str, Any]:
    numbers: dict[str, Any] = {}
    for phase, count in zip(events.PHASES, shares.phase_frames, strict=True):
        key = phase.replace(" ", "_")
        numbers[f"{key}_frames"] = count
        numbers[f"{key}_clip_s"] = count / shares.fps
    numbers["golden_hour_frames"] = shares.golden_hour_frames
    numbers["blue_hour_frames"] = shares.blue_hour_frames
    date = local_datetime(
        shares.turn.utc_s if shares.turn else float(frames.utc_s[len(frames) // 2]), plan.zone
    ).date()
    for event in ("sunrise", "sunset"):
        times = sun_times_utc_s(plan, event, date)
        numbers[f"{event}_local"] = _local(plan, times[0]) if times else None
    if shares.turn is not None:
        numbers["turn_event"] = shares.turn.event
        numbers["turn_local"] = _local(plan, shares.turn.utc_s)
        numbers["turn_frame"] = event_frame(frames, shares.turn.utc_s)
        numbers["move_share_at_event"] = shares.move_share
    return numbers


def _local(plan: Plan, utc_s: float) -> str:
    return local_datetime(utc_s, plan.zone).isoformat(timespec="seconds")


# ---------------------------------------------------------------- exposure


def _exposure(plan: Plan, frames: FrameTable) -> list[Finding]:
    ramp = frames.ramp
    if ramp is None or plan.exposure is None:
        return []
    short = ramp.wanted_error_stops < -EXPOSURE_WARN_STOPS
    held_back = (ramp.error_stops < -EXPOSURE_WARN_STOPS) & ~short
    return [
        *_too_dark(plan, ramp, short),
        *_held_back(plan, frames, ramp, held_back),
        *_too_bright(plan, ramp, ramp.error_stops > EXPOSURE_WARN_STOPS),
        *_steep(plan, frames, ramp),
    ]


def _off_target(error_stops: float) -> str:
    return "stop" if abs(error_stops) >= EXPOSURE_STOP_STOPS else "warn"


def _off_limit(error_stops: float) -> float:
    return math.copysign(
        EXPOSURE_STOP_STOPS if abs(error_stops) >= EXPOSURE_STOP_STOPS else EXPOSURE_WARN_STOPS, error_stops
    )


def _too_dark(plan: Plan, ramp: Ramp, short: NDArray[np.bool_]) -> list[Finding]:
    where = span(short)
    limits = plan.exposure
    if where is None or limits is None:
        return []
    worst = int(np.argmin(ramp.wanted_error_stops))
    missing = -float(ramp.wanted_error_stops[worst])
    return [
        Finding(
            code="exposure-short",
            level=_off_target(-missing),
            frames=where,
            value=-missing,
            limit=_off_limit(-missing),
            unit="stops",
            message=f"{frames_text(where)}: up to {missing:.1f} stops darker than meant (frame "
            f"{worst + 1}), with all "
            "that the plan allows: "
            f"{_settings_text(ramp.f_number[worst], ramp.wanted_shutter_s[worst], limits.iso_max)}"
            f"{_nd_text(limits.nd_stops)}.",
            fix=_brighter(plan, missing),
        )
    ]


def _settings_text(f_number: float, shutter_s: float, iso: float) -> str:
    return f"{f_number_label(f_number)}, {shutter_label(shutter_s)}, {iso_label(iso)}"


def _nd_text(nd_stops: float) -> str:
    return f" behind {nd_stops:g} stops of ND" if nd_stops else ""


def _brighter(plan: Plan, stops: float) -> str:
    """The single changes that would each make up for so many stops, or else what they do together."""
    limits = plan.exposure
    assert limits is not None
    gain = 2.0**stops
    ways = []
    if limits.nd_stops >= stops:
        ways.append(f"use {stops:.1f} stops less ND (exposure.nd_stops)")
    iso = _next_third(limits.iso_max * gain, 100.0)
    if iso <= HIGHEST_ISO:
        ways.append(f"allow {iso_label(iso)} (exposure.iso_max)")
    wider = wider_f_number(limits.f_number / math.sqrt(gain))
    if wider is not None and wider >= WIDEST_F_NUMBER:
        ways.append(f"open to {f_number_label(wider)}")
    shutter = _next_third(limits.shutter_max_s * gain, 1.0)
    if shutter <= LONGEST_SHUTTER_S:
        room = plan.shoot.interval_s - plan.shoot.write_s
        note = "" if shutter < room else ", with a longer interval"
        ways.append(f"allow {shutter_label(shutter)} (exposure.shutter_max_s{note})")
    if stops < EXPOSURE_STOP_STOPS:
        ways.append("accept a darker night (exposure.night_look_stops)")
    if not ways:
        return _together(plan, stops)
    text = ", or ".join([", ".join(ways[:-1]), ways[-1]] if len(ways) > 1 else ways)
    return text[0].upper() + text[1:] + "."


def _together(plan: Plan, stops: float) -> str:
    limits = plan.exposure
    assert limits is not None
    offers = [
        (limits.nd_stops, "without the ND"),
        (math.log2(HIGHEST_ISO / limits.iso_max), f"to {iso_label(HIGHEST_ISO)}"),
        (2.0 * math.log2(limits.f_number / WIDEST_F_NUMBER), f"to {f_number_label(WIDEST_F_NUMBER)}"),
        (math.log2(LONGEST_SHUTTER_S / limits.shutter_max_s), f"to {shutter_label(LONGEST_SHUTTER_S)}"),
    ]
    room = plan.shoot.interval_s - plan.shoot.write_s
    longer = f" ({LONGEST_SHUTTER_S:g} s takes a longer interval)" if room < LONGEST_SHUTTER_S else ""
    useful = [f"{gain:.1f} {way}{longer if way.endswith(' s') else ''}" for gain, way in offers if gain > 0.1]
    reach = sum(gain for gain, _ in offers if gain > 0.1)
    rest = (
        "together they are enough"
        if reach >= stops
        else f"together {reach:.1f}, so the place needs light of its own, or the clip has to end earlier"
    )
    return f"No single change makes up for it. Stops to be had: {', '.join(useful) or 'none'}; {rest}."


def _next_third(setting: float, anchor: float) -> float:
    """The setting, up to the next third of a stop."""
    return float(anchor * 2.0 ** (math.ceil(math.log2(setting / anchor) * 3.0 - 0.05) / 3.0))


def _held_back(plan: Plan, frames: FrameTable, ramp: Ramp, held_back: NDArray[np.bool_]) -> list[Finding]:
    """Frames that the interval alone makes too dark: a warning, as interval-too-short is what must change."""
    where = span(held_back)
    limits = plan.exposure
    if where is None or limits is None:
        return []
    worst = int(np.argmin(np.where(held_back, ramp.error_stops, np.inf)))
    missing = -float(ramp.error_stops[worst])
    left_s = float(np.min(drive.exposure_time_left_s(plan, frames.axes)))
    longer = (
        float(np.max(drive.time_needed_s(plan, frames.axes, ramp.wanted_shutter_s))) - plan.shoot.interval_s
    )
    leaves = (
        f"{shutter_label(ramp.longest_shutter_s)} for the exposure" if left_s > 0.0 else "no time to expose"
    )
    return [
        Finding(
            code="exposure-short",
            level="warn",
            frames=where,
            value=-missing,
            limit=-EXPOSURE_WARN_STOPS,
            unit="stops",
            message=f"{frames_text(where)}: up to {missing:.1f} stops darker than meant (frame "
            f"{worst + 1}), because the "
            f"interval of {plan.shoot.interval_s:g} s leaves {leaves}, "
            f"where {shutter_label(float(ramp.wanted_shutter_s[worst]))} is wanted.",
            fix=f"Lengthen shoot.interval_s by {math.ceil(longer * 10.0) / 10.0:.1f} s or more.",
            fit="clip",
        )
    ]


def _too_bright(plan: Plan, ramp: Ramp, long: NDArray[np.bool_]) -> list[Finding]:
    where = span(long)
    limits = plan.exposure
    if where is None or limits is None:
        return []
    worst = int(np.argmax(ramp.error_stops))
    over = float(ramp.error_stops[worst])
    filter_stops = math.ceil(over - 0.05)
    shortfall = filter_stops - _room_in_the_dark(plan, ramp)
    price = f"; that leaves the darkest frame {shortfall:.1f} stops short" if shortfall > 0.25 else ""
    size = f"{filter_stops} stop{'s' * (filter_stops > 1)}"
    ways = [f"put {size} of ND on (exposure.nd_stops {limits.nd_stops + filter_stops:g}{price})"]
    stopped = narrower_f_number(limits.f_number * 2.0 ** (over / 2.0))
    if stopped is not None and stopped <= SMALLEST_F_NUMBER:
        ways.append(f"stop down to {f_number_label(stopped)}")
    shutter = float(2.0 ** (math.floor(math.log2(limits.shutter_min_s / 2.0**over) * 3.0 + 0.05) / 3.0))
    if shutter >= SHORTEST_SHUTTER_S:
        ways.append(f"allow {shutter_label(shutter)} (exposure.shutter_min_s)")
    if limits.iso_min / 2.0**over >= 100.0:
        ways.append(f"allow {iso_label(limits.iso_min / 2.0**over)} (exposure.iso_min)")
    text = ", or ".join(ways)
    return [
        Finding(
            code="exposure-long",
            level=_off_target(over),
            frames=where,
            value=over,
            limit=_off_limit(over),
            unit="stops",
            message=f"{frames_text(where)}: up to {over:.1f} stops brighter than meant (frame {worst + 1}), "
            "with the least "
            "light that the plan allows in: "
            f"{_settings_text(limits.f_number, limits.shutter_min_s, limits.iso_min)}"
            f"{_nd_text(limits.nd_stops)}.",
            fix=text[0].upper() + text[1:] + ".",
        )
    ]


def _room_in_the_dark(plan: Plan, ramp: Ramp) -> float:
    """Stops by which the plan's limits could still expose the darkest frame longer or with more ISO."""
    limits = plan.exposure
    assert limits is not None
    darkest = int(np.argmin(ramp.target_ev100))
    room = math.log2(ramp.longest_shutter_s / ramp.shutter_s[darkest]) + math.log2(
        limits.iso_max / ramp.iso[darkest]
    )
    return room + float(ramp.error_stops[darkest])


def _steep(plan: Plan, frames: FrameTable, ramp: Ramp) -> list[Finding]:
    """Light that changes by more than a camera's third of a stop from one frame to the next."""
    steps = np.abs(np.diff(ramp.target_ev100))
    steep = np.append(steps > STEEP_STOPS_A_FRAME, False)
    where = span(steep)
    if where is None:
        return []
    worst = int(np.argmax(steps))
    interval = plan.shoot.interval_s
    minute = float(steps[worst]) * 60.0 / interval
    short_enough = interval * STEEP_STOPS_A_FRAME / float(steps[worst])
    return [
        Finding(
            code="ramp-steep",
            level="warn",
            frames=where,
            value=minute,
            limit=STEEP_STOPS_A_FRAME * 60.0 / interval,
            unit="stops a minute",
            message=f"{frames_text(where)}: the exposure changes by up to {steps[worst]:.2f} stop from one "
            "frame to the next "
            f"({figure(minute, 2)} stops a minute at frame {worst + 1}, "
            f"{clock(float(frames.utc_s[worst]), plan.zone)}), more "
            "than the third of a stop that a camera steps by: brightness will jump.",
            fix=f"Shorten shoot.interval_s to {figure(short_enough, 2)} s or less.",
        )
    ]


def _light_numbers(plan: Plan, frames: FrameTable) -> dict[str, Any]:
    numbers: dict[str, Any] = {
        "sun_altitude_first_deg": float(frames.sun_altitude_deg[0]),
        "sun_altitude_last_deg": float(frames.sun_altitude_deg[-1]),
        "moon_altitude_highest_deg": float(frames.moon_altitude_deg.max()),
        "moon_lit_fraction": float(frames.moon_lit_fraction[len(frames) // 2]),
        "illuminance_first_lux": float(frames.illuminance_lux[0]),
        "illuminance_last_lux": float(frames.illuminance_lux[-1]),
        "ev100_first": float(frames.scene_ev100[0]),
        "ev100_last": float(frames.scene_ev100[-1]),
        "light_range_stops": float(np.ptp(frames.scene_ev100)),
    }
    ramp = frames.ramp
    if ramp is None:
        return numbers
    speed = np.abs(stops_per_min(ramp.target_ev100, plan.shoot.interval_s))
    steepest = int(np.argmax(speed))
    changes = (np.diff(ramp.shutter_s) != 0.0) | (np.diff(ramp.iso) != 0.0)
    return numbers | {
        "steepest_ramp_stops_per_min": float(speed[steepest]),
        "steepest_ramp_frame": steepest + 1,
        "settings_first": _settings_text(*_settings_at(ramp, 0)),
        "settings_last": _settings_text(*_settings_at(ramp, -1)),
        "setting_changes": int(np.count_nonzero(changes)),
        "longest_exposure_s": float(ramp.shutter_s.max()),
        "highest_iso": float(ramp.iso.max()),
        "exposure_error_darkest_stops": float(ramp.error_stops.min()),
        "exposure_error_brightest_stops": float(ramp.error_stops.max()),
    }


def _settings_at(ramp: Ramp, frame: int) -> tuple[float, float, float]:
    return float(ramp.f_number[frame]), float(ramp.shutter_s[frame]), float(ramp.iso[frame])
