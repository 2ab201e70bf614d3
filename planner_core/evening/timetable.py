"""The evening by the clock: leave by, arrive, set up, test run, start, the light's events, end."""

from __future__ import annotations

import datetime as dt
import weakref

import numpy as np
from attrs import frozen

from planner_core.evening.balance import day_night_turn, local_dates
from planner_core.evening.over_skyline import in_the_way, over_skyline_utc_s
from planner_core.evening.sunlight import OPEN, SunDay, subject_spot, sun_day
from planner_core.frames import FrameTable
from planner_core.maths.angles import compass_deg
from planner_core.place.blocking import block_text, remembered
from planner_core.place.skyline import Skyline, skyline
from planner_core.plan import timeline
from planner_core.plan.model import Plan
from planner_core.plan.timeline import local_datetime
from planner_core.rig import drive, geometry
from planner_core.time import ephemeris, events
from planner_core.words.language import current, say

# Practice of the trade, no source: how long before the first frame the rig runs its move once for practice.
SHORTEST_TEST_RUN_S = 600.0
PACK_UP_S = 1800.0  # half an hour to pack up, common practice, no source
HIDDEN_S = 60.0  # what stands in the way for less isn't mentioned
AFTERWARDS_S = 3600.0  # events so long after the last frame still matter, for the way back

EVENT_WORDS = {
    "sunrise": "Sunrise",
    "sunset": "Sunset",
    "civil_dawn": "Civil dawn",
    "civil_dusk": "Civil dusk",
    "nautical_dawn": "Nautical dawn",
    "nautical_dusk": "Nautical dusk",
    "astronomical_dawn": "Astronomical dawn",
    "astronomical_dusk": "Astronomical dusk",
    "moonrise": "Moonrise",
    "moonset": "Moonset",
    "solar_noon": "Solar noon",
}


@frozen(kw_only=True)
class Moment:
    """One line of the timetable. kind is leave, arrive, set-up, test-run, start, event, light or end.

    `event` is the light event that the shoot is about, `light` any other. frame counts from 1; None where no
    frame is being taken.
    """

    kind: str
    label: str
    utc_s: float
    note: str = ""
    frame: int | None = None

    def local(self, plan: Plan) -> dt.datetime:
        """Clock time at the site."""
        return local_datetime(self.utc_s, plan.zone)


# for each language that it was asked for in
_known: weakref.WeakKeyDictionary[FrameTable, dict[str, tuple[Moment, ...]]] = weakref.WeakKeyDictionary()


def timetable(plan: Plan, frames: FrameTable) -> tuple[Moment, ...]:
    """Every moment that somebody on location must know, in order of time. Sheet, calendar and panel ask for
    the same, so it is worked out once.
    """
    if plan is not frames.plan:
        return _worked_out(plan, frames)
    known, language = _known.setdefault(frames, {}), current().code
    if language not in known:
        known[language] = _worked_out(plan, frames)
    return known[language]


def _worked_out(plan: Plan, frames: FrameTable) -> tuple[Moment, ...]:
    start = float(frames.utc_s[0])
    arrive = start - plan.shoot.setup_s
    moments = [
        _leave(plan, arrive),
        Moment(
            kind="arrive",
            label="Arrive",
            utc_s=arrive,
            note=say("{time} before the start", time=_minutes(plan.shoot.setup_s)),
        ),
        Moment(kind="set-up", label="Set up", utc_s=arrive, note=_set_up_note(plan)),
        _test_run(plan, frames, start),
        Moment(kind="start", label="Start", utc_s=start, note=say("first frame"), frame=1),
        *_light(plan, frames, arrive),
        *_direct_light(plan, frames, arrive),
        Moment(
            kind="end",
            label="End",
            utc_s=end_utc_s(frames),
            note=say("shutter of frame {frame} closes", frame=len(frames)),
            frame=len(frames),
        ),
    ]
    rank = {"leave": 0, "arrive": 1, "set-up": 2, "test-run": 3, "start": 4}
    return tuple(sorted(moments, key=lambda m: (m.utc_s, rank.get(m.kind, 5))))


def end_utc_s(frames: FrameTable) -> float:
    """Instant at which the last frame's shutter closes; its opening where the plan has no exposure."""
    return float(frames.utc_s[-1] + (frames.ramp.shutter_s[-1] if frames.ramp else 0.0))


def shoot_length_s(frames: FrameTable) -> float:
    """From the first frame until the last picture is written."""
    return end_utc_s(frames) + frames.plan.shoot.write_s - float(frames.utc_s[0])


def events_in_shoot(frames: FrameTable) -> list[tuple[str, float, int]]:
    """Light events while frames are taken: name, instant, and the nearest frame from 1, in order of time."""
    plan, half = frames.plan, frames.plan.shoot.interval_s / 2.0
    first, last = float(frames.utc_s[0]), float(frames.utc_s[-1])
    dates = {local_datetime(t, plan.zone).date() for t in (first, *frames.utc_s[::100].tolist(), last)}
    site = plan.site
    return [
        (name, t, event_frame(frames, t))
        for t, name in sorted(
            (t, name)
            for date in dates
            for name, times in events.day_events(
                date, site.latitude_deg, site.longitude_deg, site.timezone
            ).items()
            for t in times
            if first - half <= t <= last + half
        )
    ]


def event_frame(frames: FrameTable, utc_s: float) -> int:
    """The frame nearest to an instant, from 1; beyond the clip where the instant is."""
    return 1 + round((utc_s - float(frames.utc_s[0])) / frames.plan.shoot.interval_s)


def turn_moment(moments: tuple[Moment, ...]) -> Moment | None:
    """The light event that the shoot is about, if it has one."""
    return next((moment for moment in moments if moment.kind == "event"), None)


def _leave(plan: Plan, arrive: float) -> Moment:
    if plan.shoot.travel_s > 0.0:
        note = say("{time} on the way", time=_minutes(plan.shoot.travel_s))
    else:
        note = say("the plan has no travel time; allow for yours")
    return Moment(kind="leave", label="Leave by", utc_s=arrive - plan.shoot.travel_s, note=note)


def _set_up_note(plan: Plan) -> str:
    if plan.rig.slide is None:
        return say("tripod and head level, then aim")
    level, rising = "rail level, along {bearing:.0f}°", "rail along {bearing:.0f}°, rising {incline:g}°"
    bearing, incline = compass_deg(plan.rig.bearing_deg), plan.rig.incline_deg
    return say(rising if incline else level, bearing=bearing, incline=incline)


def _test_run(plan: Plan, frames: FrameTable, start: float) -> Moment:
    """The move once there and back at full speed, and time to correct what it shows."""
    times_s = [
        float(drive.move_time_s(np.sum(np.abs(np.diff(position))), axis.max_speed, axis.max_acceleration))
        for axis, position in drive.motorised(plan, frames.axes)
    ]
    once = max(times_s, default=0.0)
    lead = min(max(SHORTEST_TEST_RUN_S, 2.0 * once + 300.0), plan.shoot.setup_s / 2.0)
    moving, still = "the whole move once, {time}", "one frame, sharp and straight?"
    note = say(moving, time=_short(once)) if once > 0.0 else say(still)
    return Moment(kind="test-run", label="Test run", utc_s=start - lead, note=note)


def _light(plan: Plan, frames: FrameTable, arrive: float) -> list[Moment]:
    """Light events from the arrival to an hour after the end."""
    site, turn = plan.site, day_night_turn(frames)
    until = end_utc_s(frames) + AFTERWARDS_S
    anchor = plan.shoot.anchor
    about = turn.event if turn else anchor.event if anchor else ""
    about_utc_s = (
        turn.utc_s if turn else (float(frames.utc_s[0]) + anchor.at * plan.duration_s if anchor else 0.0)
    )
    moments = []
    first = local_datetime(arrive, plan.zone).date()
    last = max(local_dates(plan, frames.utc_s)[-1], local_datetime(until, plan.zone).date())
    for day in (first + dt.timedelta(days=n) for n in range((last - first).days + 1)):
        for name, times in events.day_events(
            day, site.latitude_deg, site.longitude_deg, site.timezone
        ).items():
            for t in times:
                main = name == about and abs(t - about_utc_s) < 60.0
                if main or arrive <= t <= until:
                    moments.append(_light_moment(plan, frames, name, about_utc_s if main else t, main))
    return moments


def _light_moment(plan: Plan, frames: FrameTable, name: str, utc_s: float, main: bool) -> Moment:
    inside = frames.utc_s[0] <= utc_s <= frames.utc_s[-1]
    return Moment(
        kind="event" if main else "light",
        label=EVENT_WORDS[name],
        utc_s=utc_s,
        note=_where(plan, name, utc_s),
        frame=event_frame(frames, utc_s) if inside else None,
    )


def _where(plan: Plan, name: str, utc_s: float) -> str:
    site = plan.site
    if name.endswith(("rise", "set")):
        position = ephemeris.moon_position if name.startswith("moon") else ephemeris.sun_position
        azimuth, _ = position(utc_s, site.latitude_deg, site.longitude_deg)
        return say("at {bearing:.0f}°", bearing=float(azimuth)) + _over_skyline(plan, name, utc_s)
    _, true = ephemeris.sun_position(utc_s, site.latitude_deg, site.longitude_deg)
    return say("sun at {altitude:.0f}°", altitude=float(ephemeris.apparent_altitude_deg(true)))


@remembered
def _camera_skyline(plan: Plan) -> Skyline:
    """The skyline from the middle of the rail's head, at rest."""
    return skyline(plan, geometry.head_middle_m(plan))


def _over_skyline(plan: Plan, name: str, level_utc_s: float) -> str:
    """', behind “hills 3” from 18:02': where blocks or land take a body before it sets, or hold it back."""
    if not plan.blocks:
        return ""
    body, kind = name[:-4] if name.endswith("rise") else name[:-3], "rise" if name.endswith("rise") else "set"
    asked, level = (plan.site, body, kind, _camera_skyline(plan)), np.array([level_utc_s])
    moment = over_skyline_utc_s(*asked, level)
    if np.isnan(moment[0]):
        return ", behind the skyline for hours " + ("after" if kind == "rise" else "before")
    if abs(moment[0] - level_utc_s) < HIDDEN_S:
        return ""
    hider = block_text(plan, int(in_the_way(*asked, moment, level)[0]))
    clock = timeline.clock(float(moment[0]), plan.zone)
    return f"; over {hider} at {clock}" if kind == "rise" else f"; behind {hider} from {clock}"


def _direct_light(plan: Plan, frames: FrameTable, arrive: float) -> list[Moment]:
    """When the sun itself comes to the subject and leaves it, where blocks or land decide that."""
    spot, own = subject_spot(plan)
    if spot is None or not plan.blocks:
        return []
    until = end_utc_s(frames) + AFTERWARDS_S
    moments = []
    for date in local_dates(plan, np.array([arrive, until])):
        day: SunDay = sun_day(plan, spot, date, ignoring=own)
        for utc_s, behind, label, side in (
            (day.rise_utc_s, day.rise_behind, "Sun reaches the subject", "over"),
            (day.set_utc_s, day.set_behind, "Sun leaves the subject", "behind"),
        ):
            if utc_s is None or behind == OPEN or not arrive <= utc_s <= until:
                continue
            inside = frames.utc_s[0] <= utc_s <= frames.utc_s[-1]
            moments.append(
                Moment(
                    kind="light",
                    label=label,
                    utc_s=utc_s,
                    note=f"{side} {block_text(plan, behind)}",
                    frame=event_frame(frames, utc_s) if inside else None,
                )
            )
    return moments


def _minutes(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    if minutes < 90:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes % 60 else f"{minutes // 60} h"


def _short(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90.0 else f"{seconds / 60.0:.0f} min"
