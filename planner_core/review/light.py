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
from collections.abc import Iterator

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.balance import (
    RISE_AND_SET,
    Balance,
    balance,
    local_dates,
    place_of_progress,
    sun_times_utc_s,
)
from planner_core.evening.balance_start import balanced_start, started_at
from planner_core.evening.interval import on_the_timer_s, with_timing
from planner_core.evening.timetable import event_frame
from planner_core.frames import FrameTable, compute_frames
from planner_core.light.exposure import (
    DARKEST_TARGET_EV100,
    MOONLIT_EV100,
    Ramp,
    next_third,
    night_share,
    nominal_iso,
    nominal_shutter_s,
    stops_per_min,
    wider_f_number,
)
from planner_core.maths.runs import span
from planner_core.plan.model import Exposure, Plan
from planner_core.plan.timeline import clock, clock_changes, local_datetime
from planner_core.plan.zones import mirrored_near_zone, nearest_zone, off_the_sun_h
from planner_core.review import lens as review_lens
from planner_core.review import mains as review_mains
from planner_core.review import moon as review_moon
from planner_core.review import moving as review_moving
from planner_core.review import sun as review_sun
from planner_core.review import tones as review_tones
from planner_core.review.findings import Finding, Quantity, Remedy, facts
from planner_core.review.remedies import (
    HIGHEST_ISO,
    LONGEST_SHUTTER_S,
    WIDEST_F_NUMBER,
    LessLight,
    less_light,
    proposes,
)
from planner_core.review.summary import (
    BalanceNumbers,
    ClipLength,
    ExposureNumbers,
    GalaxyNumbers,
    LightNumbers,
    LightSummary,
    TurnNumbers,
)
from planner_core.review.words.light import settings_text
from planner_core.rig import drive
from planner_core.time import events
from planner_core.time.galaxy import MILKY_WAY_SHOWS_DEG

Array = NDArray[np.float64]

BALANCE_NOTE, BALANCE_WARN = 2.0, 3.0
MIDPOINT_NOTE, MIDPOINT_WARN = 0.1, 0.2
EXPOSURE_WARN_STOPS, EXPOSURE_STOP_STOPS = 0.5, 2.0
STEEP_STOPS_A_FRAME = 1.0 / 3.0
CLOSER_LOOKS = 4  # at how steep a ramp gets at a shorter interval
NEARLY = 0.95  # of a limit: what stays so far inside it isn't held back by it
# Between clock and mean sun, from memory: no zone's own land is farther off, summer time included, but for
# stations in Antarctica.
ODD_ZONE_H = 4.0
UNIVERSAL = ("UTC", "UCT", "GMT", "Zulu", "Universal", "Greenwich")
MOST_FRAMES, MOST_ND_STOPS = 100_000, 30.0  # as the plan takes them
LEAST_LOOK_STOPS, MOST_LOOK_STOPS = -8.0, 8.0


def review_topic(plan: Plan, frames: FrameTable) -> tuple[list[Finding], LightSummary]:
    """Findings and summary numbers of this topic."""
    shares = balance(frames)
    sun_findings, sun_numbers = review_sun.review_sun(plan, frames, shares.turn)
    moon_findings, moon_numbers = review_moon.review_moon(plan, frames)
    lens_findings, stars, focus = review_lens.review_lens(plan, frames)
    tone_findings, tone_numbers = review_tones.review_tones(plan, frames)
    findings = [
        *_balance(shares),
        *_midpoint(plan, frames, shares),
        *_event_missing(plan, frames),
        *_clock_change(plan, frames),
        *(_zone_odd(plan, frames) or _sign_odd(plan)),
        *_exposure(plan, frames),
        *review_mains.review_mains(plan, frames),
        *tone_findings,
        *sun_findings,
        *moon_findings,
        *lens_findings,
        *review_moving.review_moving(plan, frames),
    ]
    summary = LightSummary(
        balance=_balance_numbers(plan, frames, shares),
        turn=_turn_numbers(plan, frames, shares),
        sun=sun_numbers,
        moon=moon_numbers,
        light=_light_numbers(frames),
        galaxy=_galaxy_numbers(frames),
        exposure=_exposure_numbers(plan, frames),
        tones=tone_numbers,
        stars=stars,
        focus=focus,
    )
    return findings, summary


# ---------------------------------------------------------------- balance


def _balance(shares: Balance) -> list[Finding]:
    """Day against everything else, for a clip that goes from one to the other."""
    if shares.turn is None:
        return []
    day, dark = shares.day_frames, shares.dark_frames
    ratio = max(day, dark) / max(min(day, dark), 1)
    if ratio < BALANCE_NOTE or day + dark < 4:
        return []
    more, less = ("day", "night") if day > dark else ("night", "day")
    return [
        Finding(
            code="day-night-balance",
            level="warn" if ratio >= BALANCE_WARN else "note",
            value=ratio,
            limit=BALANCE_WARN if ratio >= BALANCE_WARN else BALANCE_NOTE,
            unit=f"times as much {more} as {less}",
            facts=facts(
                ratio=ratio,
                more=more,
                less=less,
                day=(day, "frames"),
                dark=(dark, "frames"),
                day_clip=(day / shares.fps, "s"),
                dark_clip=(dark / shares.fps, "s"),
            ),
            fit="balance",
        )
    ]


@proposes("day-night-balance")
def _another_start(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    fitted = balanced_start(plan, 1.0, 1.0)
    if fitted is not plan:
        yield _start_remedy(plan, fitted)


def _anchor_at(plan: Plan, fitted: Plan) -> float | None:
    """The place of the same anchor in the plan with another start; None where it has another one or none."""
    anchor, was = fitted.shoot.anchor, plan.shoot.anchor
    if anchor is None or was is None or (anchor.event, anchor.date) != (was.event, was.date):
        return None
    return anchor.at


def _start_remedy(plan: Plan, fitted: Plan) -> Remedy:
    """What the plan with another start sets, as far as it differs."""
    anchor, start, at = fitted.shoot.anchor, fitted.shoot.start, _anchor_at(plan, fitted)
    if at is not None:
        return Remedy(changes={"shoot.anchor.at": at})
    if anchor is not None:
        whole = {"event": anchor.event, "date": anchor.date.isoformat(), "at": anchor.at}
        return Remedy(changes={"shoot.anchor": whole})
    assert start is not None
    emptied = {"shoot.anchor": None} if plan.shoot.anchor is not None else {}
    return Remedy(changes=emptied | {"shoot.start": start.isoformat()})


def _midpoint(plan: Plan, frames: FrameTable, shares: Balance) -> list[Finding]:
    """About half of the move should be done when day turns (common practice, no source)."""
    turn, progress = shares.turn, shares.move_progress
    half_at = place_of_progress(frames, 0.5)
    if turn is None or progress is None or half_at is None or abs(progress - 0.5) <= MIDPOINT_NOTE:
        return []
    off = abs(progress - 0.5)
    step = MIDPOINT_WARN if off > MIDPOINT_WARN else MIDPOINT_NOTE
    frame = min(max(round(turn.at * (len(frames) - 1)) + 1, 1), len(frames))
    start = float(frames.utc_s[0])
    better = start + (turn.at - half_at) * plan.duration_s
    anchor_at = _anchor_moved(plan, half_at - turn.at)
    moved = started_at(plan, better) if anchor_at is None else _with_anchor_at(plan, round(anchor_at, 4))
    return [
        Finding(
            code="move-midpoint",
            level="warn" if off > MIDPOINT_WARN else "note",
            frames=(frame, frame),
            value=progress,
            limit=0.5 + math.copysign(step, progress - 0.5),
            unit="share of the move",
            facts=facts(
                frame=frame,
                done=progress,
                event=turn.event,
                event_time=clock(turn.utc_s, plan.zone),
            ),
            remedies=(_start_remedy(plan, moved),),
            fit="balance" if abs(half_at - 0.5) < MIDPOINT_NOTE else "",
        )
    ]


def _anchor_moved(plan: Plan, by: float) -> float | None:
    """The anchor's place that moves the whole shoot by a share of its length; None where there is none."""
    anchor = plan.shoot.anchor
    return anchor.at + by if anchor is not None and 0.0 <= anchor.at + by <= 1.0 else None


def _with_anchor_at(plan: Plan, at: float) -> Plan:
    assert plan.shoot.anchor is not None
    anchor = attrs.evolve(plan.shoot.anchor, at=at)
    return attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, anchor=anchor))


def _event_missing(plan: Plan, frames: FrameTable) -> list[Finding]:
    """A date on which the sun doesn't rise or doesn't set; a plan anchored to either knows what it does."""
    if plan.shoot.anchor is not None and plan.shoot.anchor.event in RISE_AND_SET:
        return []
    dates = local_dates(plan, frames.utc_s)
    missing = [
        event
        for event in ("sunrise", "sunset")
        if not any(sun_times_utc_s(plan, event, day) for day in dates)
    ]
    if not missing:
        return []
    altitude = frames.sun_altitude_deg
    phases = [events.PHASES[k] for k in np.unique(events.light_phase(frames.sun_true_altitude_deg))]
    return [
        Finding(
            code="event-missing",
            level="note",
            facts=facts(
                latitude=(plan.site.latitude_deg, "°"),
                missing=missing,
                date=str(dates[0]),
                lowest=(float(altitude.min()), "°"),
                highest=(float(altitude.max()), "°"),
                first_phase=phases[0],
                last_phase=phases[-1],
            ),
        )
    ]


def _clock_change(plan: Plan, frames: FrameTable) -> list[Finding]:
    """Clocks that go forward or back between arriving and the last frame."""
    arrive = float(frames.utc_s[0]) - plan.shoot.setup_s - plan.shoot.travel_s
    findings = []
    for change in clock_changes(arrive, float(frames.utc_s[-1]), plan.zone):
        after = np.flatnonzero(frames.utc_s >= change.utc_s)
        frame = int(after[0]) + 1
        before = local_datetime(change.utc_s - 1.0, plan.zone) + dt.timedelta(seconds=1)
        findings.append(
            Finding(
                code="clock-change",
                level="note",
                frames=(frame, frame) if frame > 1 else None,
                value=change.by_s / 3600.0,
                unit="h",
                facts=facts(
                    by=(change.by_s / 3600.0, "h"),
                    frame=frame,
                    old_time=f"{before:%H:%M}",
                    new_time=clock(change.utc_s, plan.zone),
                ),
            )
        )
    return findings


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
    remedies = [Remedy(changes={"site.timezone": near})] if near else []
    if abs(off_the_sun_h(offset.total_seconds() / 3600.0, -longitude)) <= ODD_ZONE_H:
        remedies.insert(0, Remedy(changes={"site.longitude_deg": -longitude}))
    return [
        Finding(
            code="zone-odd",
            level="warn",
            value=ahead_h,
            limit=math.copysign(ODD_ZONE_H, ahead_h),
            unit="h",
            facts=facts(
                zone=zone,
                longitude=(longitude, "°"),
                noon=f"{noon_min // 60 % 24:02d}:{noon_min % 60:02d}",
                nearest_zone=near or None,
            ),
            remedies=tuple(remedies),
        )
    ]


def _balance_numbers(plan: Plan, frames: FrameTable, shares: Balance) -> BalanceNumbers:
    day, civil, nautical, astronomical, night = (
        ClipLength(frames=count, clip_s=count / shares.fps) for count in shares.phase_frames
    )
    date = local_datetime(
        shares.turn.utc_s if shares.turn else float(frames.utc_s[len(frames) // 2]), plan.zone
    ).date()

    def local(event: str) -> str | None:
        times = sun_times_utc_s(plan, event, date)
        return _local(plan, times[0]) if times else None

    return BalanceNumbers(
        day=day,
        civil_twilight=civil,
        nautical_twilight=nautical,
        astronomical_twilight=astronomical,
        night=night,
        low_sun_frames=shares.low_sun_frames,
        deep_blue_frames=shares.deep_blue_frames,
        sunrise_local=local("sunrise"),
        sunset_local=local("sunset"),
    )


def _turn_numbers(plan: Plan, frames: FrameTable, shares: Balance) -> TurnNumbers | None:
    if shares.turn is None:
        return None
    return TurnNumbers(
        turn_event=shares.turn.event,
        turn_local=_local(plan, shares.turn.utc_s),
        turn_frame=event_frame(frames, shares.turn.utc_s),
        move_share_at_event=shares.move_progress,
    )


def _local(plan: Plan, utc_s: float) -> str:
    return local_datetime(utc_s, plan.zone).isoformat(timespec="seconds")


def _sign_odd(plan: Plan) -> list[Finding]:
    """A latitude or longitude whose sign puts the place on the other side of the Earth from its zone."""
    site = plan.site
    name = mirrored_near_zone(site.timezone, site.latitude_deg, site.longitude_deg)
    if name is None:
        return []
    path, value = f"site.{name}_deg", site.latitude_deg if name == "latitude" else site.longitude_deg
    return [
        Finding(
            code="sign-odd",
            level="warn",
            facts=facts(field=path, given=(value, "°"), coordinate=name, zone=site.timezone),
            remedies=(Remedy(changes={path: -value}),),
        )
    ]


# ---------------------------------------------------------------- exposure


def _exposure(plan: Plan, frames: FrameTable) -> list[Finding]:
    if frames.ramp is None or plan.exposure is None:
        return []
    ramp = _as_dark_as_a_night(frames.ramp)
    short = ramp.wanted_error_stops < -EXPOSURE_WARN_STOPS
    held_back = (ramp.error_stops < -EXPOSURE_WARN_STOPS) & ~short
    return [
        *_too_dark(plan, frames, ramp, short),
        *_held_back(plan, frames, ramp, held_back),
        *_too_bright(plan, frames, ramp, ramp.error_stops > EXPOSURE_WARN_STOPS),
        *_steep(plan, frames, ramp),
    ]


def _as_dark_as_a_night(ramp: Ramp) -> Ramp:
    """The ramp against what a night under a dark sky is given at most, whatever the meter asks for."""
    over = np.maximum(DARKEST_TARGET_EV100 - ramp.target_ev100, 0.0)

    def less(error_stops: Array) -> Array:
        return np.asarray(error_stops + np.clip(over, 0.0, np.maximum(-error_stops, 0.0)))

    return attrs.evolve(
        ramp,
        target_ev100=ramp.target_ev100 + over,
        error_stops=less(ramp.error_stops),
        wanted_error_stops=less(ramp.wanted_error_stops),
    )


def _off_target(error_stops: float) -> str:
    return "stop" if abs(error_stops) >= EXPOSURE_STOP_STOPS else "warn"


def _off_limit(error_stops: float) -> float:
    return math.copysign(
        EXPOSURE_STOP_STOPS if abs(error_stops) >= EXPOSURE_STOP_STOPS else EXPOSURE_WARN_STOPS, error_stops
    )


def _too_dark(plan: Plan, frames: FrameTable, ramp: Ramp, short: NDArray[np.bool_]) -> list[Finding]:
    where = span(short)
    limits = plan.exposure
    if where is None or limits is None:
        return []
    worst = int(np.argmin(ramp.wanted_error_stops))
    missing = -float(ramp.wanted_error_stops[worst])
    more = _more_light(plan, missing)
    lags = bool(
        ramp.wanted_shutter_s[worst] < NEARLY * limits.shutter_max_s
        or ramp.iso[worst] < NEARLY * limits.iso_max
    )
    return [
        Finding(
            code="exposure-short",
            level=_off_target(-missing),
            frames=where,
            value=-missing,
            limit=_off_limit(-missing),
            unit="stops",
            facts=(
                *facts(
                    cause="lag" if lags else "limits",
                    missing=(missing, "stops"),
                    worst_frame=worst + 1,
                    f_number=float(ramp.f_number[worst]),
                    shutter=(float(ramp.wanted_shutter_s[worst]), "s"),
                    iso=limits.iso_max,
                    nd=(limits.nd_stops, "stops"),
                ),
                *more.facts(),
                *_gains(plan),
                *facts(lamps_unknown=_lamps_unknown(plan, frames, worst)),
            ),
            remedies=(
                *(_following(plan, frames, ramp) if lags else ()),
                *_brighter(plan, frames, ramp, missing, more),
            ),
        )
    ]


def _other_look(plan: Plan, frames: FrameTable, worst: int, stops: float) -> tuple[dict[str, float], ...]:
    """The day look or the night look that asks for so many stops more (or less, negative) on the worst frame,
    whichever that frame goes by; none where the look has no part in the trouble.

    It has where it pulls the way in which the limits fall short, and at night also where little is missing.
    """
    limits = plan.exposure
    assert limits is not None
    at_night = bool(night_share(frames.scene_ev100[worst], limits, plan.shoot.cloud_divisor) > 0.5)
    look = limits.night_look_stops if at_night else limits.day_look_stops
    other = round(look + math.copysign(math.ceil(abs(stops) * 10.0) / 10.0, stops), 1)
    is_off = look * stops < 0.0 or (at_night and -EXPOSURE_STOP_STOPS < stops < 0.0)
    if not is_off or not LEAST_LOOK_STOPS <= other <= MOST_LOOK_STOPS:
        return ()
    return ({"exposure.night_look_stops" if at_night else "exposure.day_look_stops": other},)


def _lamps_unknown(plan: Plan, frames: FrameTable, worst: int) -> bool:
    """Whether the plan gives no artificial light for a night that is darker than moonlight."""
    assert plan.exposure is not None
    return plan.exposure.artificial_ev100 is None and bool(frames.scene_ev100[worst] < MOONLIT_EV100)


@frozen(kw_only=True)
class _MoreLight:
    """The single changes of a limit that would each make up for so many stops; None for those that can't.

    less_nd_stops is how much weaker a filter would have to be.
    """

    less_nd_stops: float | None
    iso: float | None
    f_number: float | None
    shutter_s: float | None
    shutter_needs_interval: bool

    def facts(self) -> tuple[Quantity, ...]:
        """The same for words."""
        return facts(
            less_nd=self.less_nd_stops,
            iso_enough=self.iso,
            f_number_enough=self.f_number,
            shutter_enough=self.shutter_s,
            shutter_needs_interval=self.shutter_needs_interval,
        )


def _more_light(plan: Plan, stops: float) -> _MoreLight:
    """What would each make up for so many stops."""
    limits = plan.exposure
    assert limits is not None
    gain = 2.0**stops
    iso = next_third(limits.iso_max * gain, 100.0)
    wider = wider_f_number(limits.f_number / math.sqrt(gain))
    shutter = next_third(limits.shutter_max_s * gain, 1.0)
    return _MoreLight(
        less_nd_stops=stops if limits.nd_stops >= stops else None,
        iso=iso if iso <= HIGHEST_ISO else None,
        f_number=wider if wider is not None and wider >= WIDEST_F_NUMBER else None,
        shutter_s=shutter if shutter <= LONGEST_SHUTTER_S else None,
        shutter_needs_interval=shutter >= plan.shoot.interval_s - plan.shoot.write_s,
    )


def _gains(plan: Plan) -> tuple[Quantity, ...]:
    """Stops that each limit still has in it, where they are worth having, and all of them together."""
    limits = plan.exposure
    assert limits is not None
    stops = {
        "nd_gain": limits.nd_stops,
        "iso_gain": math.log2(HIGHEST_ISO / limits.iso_max),
        "aperture_gain": 2.0 * math.log2(limits.f_number / WIDEST_F_NUMBER),
        "shutter_gain": math.log2(LONGEST_SHUTTER_S / limits.shutter_max_s),
    }
    worth_it = {name: gain if gain > 0.1 else 0.0 for name, gain in stops.items()}
    return facts(
        **{name: (gain, "stops") for name, gain in worth_it.items()},
        reach=(sum(worth_it.values()), "stops"),
        highest_iso=HIGHEST_ISO,
        widest_f_number=WIDEST_F_NUMBER,
        longest_shutter=(LONGEST_SHUTTER_S, "s"),
        longest_needs_interval=plan.shoot.interval_s - plan.shoot.write_s < LONGEST_SHUTTER_S,
    )


def _brighter(
    plan: Plan, frames: FrameTable, ramp: Ramp, stops: float, more: _MoreLight
) -> tuple[Remedy, ...]:
    """What to set for so many stops more in the dark, without burning out the day."""
    limits = plan.exposure
    assert limits is not None
    day = _room_by_day(limits, ramp) + EXPOSURE_WARN_STOPS
    remedies = []
    if more.less_nd_stops is not None and stops <= day:
        remedies.append({"exposure.nd_stops": max(math.floor((limits.nd_stops - stops) * 10.0) / 10.0, 0.0)})
    if more.iso is not None:
        remedies.append({"exposure.iso_max": nominal_iso(more.iso)})
    if more.f_number is not None and 2.0 * math.log2(limits.f_number / more.f_number) <= day:
        remedies.append({"exposure.f_number": more.f_number})
    if more.shutter_s is not None:
        remedies.append(_longer_shutter(plan, frames, nominal_shutter_s(more.shutter_s)))
    remedies += _other_look(plan, frames, int(np.argmin(ramp.wanted_error_stops)), -stops)
    return tuple(Remedy(changes=changes) for changes in remedies)


def _longer_shutter(plan: Plan, frames: FrameTable, shutter_s: float) -> dict[str, float]:
    """A longer shutter, with the interval that it takes."""
    needed_s = float(np.max(drive.time_needed_s(plan, frames.axes, shutter_s)))
    changes = {"exposure.shutter_max_s": shutter_s}
    if needed_s > plan.shoot.interval_s:
        changes["shoot.interval_s"] = on_the_timer_s(plan, needed_s)
    return changes


def _room_by_day(limits: Exposure, ramp: Ramp) -> float:
    """Stops by which the plan's limits could still expose the brightest frame shorter or with less ISO."""
    brightest = int(np.argmax(ramp.target_ev100))
    room = math.log2(ramp.shutter_s[brightest] / limits.shutter_min_s) + math.log2(
        ramp.iso[brightest] / limits.iso_min
    )
    return room - float(ramp.error_stops[brightest])


def _held_back(plan: Plan, frames: FrameTable, ramp: Ramp, held_back: NDArray[np.bool_]) -> list[Finding]:
    """Frames that the interval alone makes too dark: a warning, as interval-too-short is what must change."""
    where = span(held_back)
    limits = plan.exposure
    if where is None or limits is None:
        return []
    worst = int(np.argmin(np.where(held_back, ramp.error_stops, np.inf)))
    missing = -float(ramp.error_stops[worst])
    interval_s = plan.shoot.interval_s
    left_s = float(np.min(drive.exposure_time_left_s(plan, frames.axes)))
    return [
        Finding(
            code="exposure-short",
            level="warn",
            frames=where,
            value=-missing,
            limit=-EXPOSURE_WARN_STOPS,
            unit="stops",
            facts=facts(
                cause="interval",
                missing=(missing, "stops"),
                worst_frame=worst + 1,
                interval=(interval_s, "s"),
                room=(ramp.longest_shutter_s if left_s > 0.0 else None, "s"),
                wanted=(float(ramp.wanted_shutter_s[worst]), "s"),
            ),
            fit="clip",
        )
    ]


def _too_bright(plan: Plan, frames: FrameTable, ramp: Ramp, long: NDArray[np.bool_]) -> list[Finding]:
    where = span(long)
    limits = plan.exposure
    if where is None or limits is None:
        return []
    worst = int(np.argmax(ramp.error_stops))
    over = float(ramp.error_stops[worst])
    less = less_light(limits, over)
    room = _room_in_the_dark(plan, ramp)
    shortfall = less.filter_stops - room
    lags = bool(
        NEARLY * ramp.shutter_s[worst] > limits.shutter_min_s or NEARLY * ramp.iso[worst] > limits.iso_min
    )
    return [
        Finding(
            code="exposure-long",
            level=_off_target(over),
            frames=where,
            value=over,
            limit=_off_limit(over),
            unit="stops",
            facts=(
                *facts(
                    cause="lag" if lags else "limits",
                    over=(over, "stops"),
                    worst_frame=worst + 1,
                    f_number=limits.f_number,
                    shutter=(limits.shutter_min_s, "s"),
                    iso=limits.iso_min,
                    nd=(limits.nd_stops, "stops"),
                    shortfall=(shortfall if shortfall > 0.25 else None, "stops"),
                ),
                *less.facts(),
            ),
            remedies=(
                *(_following(plan, frames, ramp) if lags else ()),
                *_darker(limits, less, room),
                *(Remedy(changes=changes) for changes in _other_look(plan, frames, worst, over)),
            ),
        )
    ]


def _darker(limits: Exposure, less: LessLight, room_stops: float) -> tuple[Remedy, ...]:
    """What to set for a day that comes out too bright, where that doesn't leave the night too dark."""
    spare = room_stops + EXPOSURE_WARN_STOPS
    remedies = []
    if less.filter_stops <= spare and less.nd_stops <= MOST_ND_STOPS:
        remedies.append({"exposure.nd_stops": less.nd_stops})
    if less.f_number is not None and 2.0 * math.log2(less.f_number / limits.f_number) <= spare:
        remedies.append({"exposure.f_number": less.f_number})
    if less.shutter_s is not None:
        remedies.append({"exposure.shutter_min_s": nominal_shutter_s(less.shutter_s)})
    if less.iso is not None:
        remedies.append({"exposure.iso_min": math.floor(less.iso)})
    return tuple(Remedy(changes=changes) for changes in remedies)


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
            facts=facts(
                step=(float(steps[worst]), "stops"),
                speed=(minute, "stops a minute"),
                worst_frame=worst + 1,
                time=clock(float(frames.utc_s[worst]), plan.zone),
                interval_enough=(short_enough, "s"),
            ),
            remedies=_gentler(plan, frames, ramp, short_enough),
        )
    ]


def _following(plan: Plan, frames: FrameTable, ramp: Ramp) -> tuple[Remedy, ...]:
    """An interval in which the light changes by no more than the camera follows in a frame."""
    return _gentler(plan, frames, ramp, _interval_enough_s(plan, ramp))


def _interval_enough_s(plan: Plan, ramp: Ramp) -> float:
    """The interval in which the light of these frames changes by no more than a camera steps by."""
    steepest = float(np.abs(np.diff(ramp.target_ev100)).max(initial=STEEP_STOPS_A_FRAME))
    return plan.shoot.interval_s * STEEP_STOPS_A_FRAME / steepest


def _gentler(plan: Plan, frames: FrameTable, ramp: Ramp, interval_s: float) -> tuple[Remedy, ...]:
    """A shorter interval: with more frames over the same stretch, or with as many over a shorter one."""
    step_s = plan.shoot.interval_step_s
    shorter_s = round(math.floor(interval_s / step_s + 1e-9) * step_s, 6)
    if shorter_s <= 0.0:
        return ()
    needed_s = float(np.max(drive.time_needed_s(plan, frames.axes, ramp.wanted_shutter_s)))
    if needed_s > shorter_s:
        return ()
    count = math.ceil(plan.duration_s / shorter_s) + 1
    alone = Remedy(changes={"shoot.interval_s": shorter_s})
    if count > MOST_FRAMES:
        return (alone,)
    return Remedy(changes={"shoot.interval_s": shorter_s, "shoot.frames": count}), alone


@proposes("ramp-steep", "exposure-short", "exposure-long", "highlights-lost", "shadows-lost")
def _shorter_yet(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    """Intervals at which the ramp of as many frames does follow: these frames fall on other moments, so that
    what is enough for the plan's may be too long for them.
    """
    ramp = frames.ramp
    if ramp is None or not _comes_of_a_lag(finding):
        return
    interval_s = _interval_enough_s(plan, ramp)
    for _ in range(CLOSER_LOOKS):
        remedies = _gentler(plan, frames, ramp, interval_s)
        if not remedies:
            return
        shorter_s = remedies[-1].changes["shoot.interval_s"]
        after = compute_frames(with_timing(plan, interval_s=shorter_s), frames).ramp
        steepest = 0.0 if after is None else float(np.abs(np.diff(after.target_ev100)).max(initial=0.0))
        if steepest <= STEEP_STOPS_A_FRAME:
            yield from remedies
            return
        interval_s = min(shorter_s * STEEP_STOPS_A_FRAME / steepest, shorter_s - plan.shoot.interval_step_s)


def _comes_of_a_lag(finding: Finding) -> bool:
    """Whether the light changes faster than the camera may follow."""
    if finding.code in ("highlights-lost", "shadows-lost"):
        return bool(finding.fact("lags"))
    return finding.code == "ramp-steep" or bool(finding.fact("cause") == "lag")


def _galaxy_numbers(frames: FrameTable) -> GalaxyNumbers | None:
    """Where the Milky Way's middle stands highest while it is dark; None for a plan without such frames."""
    dark = np.flatnonzero(frames.sun_true_altitude_deg < MILKY_WAY_SHOWS_DEG)
    if not len(dark):
        return None
    highest = dark[int(np.argmax(frames.galactic_centre_altitude_deg[dark]))]
    return GalaxyNumbers(
        galactic_centre_highest_deg=float(frames.galactic_centre_altitude_deg[highest]),
        galactic_centre_azimuth_deg=float(frames.galactic_centre_azimuth_deg[highest]),
    )


def _light_numbers(frames: FrameTable) -> LightNumbers:
    return LightNumbers(
        sun_altitude_first_deg=float(frames.sun_altitude_deg[0]),
        sun_altitude_last_deg=float(frames.sun_altitude_deg[-1]),
        moon_altitude_highest_deg=float(frames.moon_altitude_deg.max()),
        moon_lit_fraction=float(frames.moon_lit_fraction[len(frames) // 2]),
        illuminance_first_lux=float(frames.illuminance_lux[0]),
        illuminance_last_lux=float(frames.illuminance_lux[-1]),
        ev100_first=float(frames.scene_ev100[0]),
        ev100_last=float(frames.scene_ev100[-1]),
        light_range_stops=float(np.ptp(frames.scene_ev100)),
    )


def _exposure_numbers(plan: Plan, frames: FrameTable) -> ExposureNumbers | None:
    ramp = frames.ramp
    if ramp is None or plan.exposure is None:
        return None
    speed = np.abs(stops_per_min(ramp.target_ev100, plan.shoot.interval_s))
    steepest = int(np.argmax(speed))
    changes = (np.diff(ramp.shutter_s) != 0.0) | (np.diff(ramp.iso) != 0.0)
    return ExposureNumbers(
        meter=plan.exposure.meter,
        metered_ev100_first=float(frames.metered_ev100[0]),
        metered_ev100_last=float(frames.metered_ev100[-1]),
        steepest_ramp_stops_per_min=float(speed[steepest]),
        steepest_ramp_frame=steepest + 1,
        settings_first=settings_text(*_settings_at(ramp, 0)),
        settings_last=settings_text(*_settings_at(ramp, -1)),
        setting_changes=int(np.count_nonzero(changes)),
        longest_exposure_s=float(ramp.shutter_s.max()),
        highest_iso=float(ramp.iso.max()),
        exposure_error_darkest_stops=float(ramp.error_stops.min()),
        exposure_error_brightest_stops=float(ramp.error_stops.max()),
    )


def _settings_at(ramp: Ramp, frame: int) -> tuple[float, float, float]:
    return float(ramp.f_number[frame]), float(ramp.shutter_s[frame]), float(ramp.iso[frame])
