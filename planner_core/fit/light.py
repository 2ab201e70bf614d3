"""Fits of time: when to start for a balance of day and night, and frames and interval for a clip's length."""

from __future__ import annotations

import math

from planner_core.evening import interval
from planner_core.evening.balance_start import day_frames, started_for, turn_to_balance
from planner_core.evening.timetable import EVENT_WORDS, end_utc_s
from planner_core.fit.result import Fit
from planner_core.frames import compute_frames
from planner_core.plan.model import Plan, PlanError
from planner_core.plan.timeline import (
    clock,
    start_utc_s,
)
from planner_core.review.findings import PLAN_FILE, Names
from planner_core.words.durations import duration_text
from planner_core.words.language import phrase

MOST_FRAMES = 100_000
OTHER_LENGTH = 0.25  # of the shoot's length: a timer whose steps change it by more can't do the clip


# ---------------------------------------------------------------- balance


def fit_balance(plan: Plan, day: float, night: float) -> Fit:
    """Start so that frames of day stand to those of twilight and night as day to night.

    Frames and interval stay. An anchor keeps its event and gets another place in the move, as long as its
    event still falls into the shoot. Where the ratio can't be met (a short night, a sun that doesn't set),
    the nearest is taken and said. Raises PlanError for an invalid ratio, or a plan without times.
    """
    if not (math.isfinite(day) and math.isfinite(night) and min(day, night) >= 0.0 < day + night):
        raise PlanError(
            "balance", f"{day:g}:{night:g}", "is not a ratio of day to night; write it as 1:1 or 2:3"
        )
    wanted = round(plan.shoot.frames * day / (day + night))
    had = day_frames(plan)
    if had == wanted:
        return Fit(
            plan=plan,
            said=(
                phrase(
                    "Day and night are already as asked: {shares}. Nothing changed.",
                    shares=_shares(plan, had),
                ),
            ),
        )
    turn = turn_to_balance(plan)
    if turn is None:
        return Fit(plan=plan, said=(_no_turn(plan, had, day, night),))
    event, event_utc_s = turn
    new = started_for(plan, event, event_utc_s, wanted)
    got = day_frames(new)
    if abs(got - wanted) >= abs(had - wanted):
        return Fit(plan=plan, said=(_cannot(plan, had, day, night), phrase("Nothing changed.")))
    said = [_start_said(plan, new, event, event_utc_s, had, got)]
    said += _anchor_said(plan, new)
    if abs(got - wanted) > 1:
        said.append(_cannot(new, got, day, night))
    return Fit(plan=new, said=tuple(said))


def _shares(plan: Plan, day_frames: int) -> str:
    dark, fps = plan.shoot.frames - day_frames, plan.clip.fps
    return phrase(
        "{day} frames ({day_s:.1f} s) of day and {dark} ({dark_s:.1f} s) of twilight and night",
        day=day_frames,
        day_s=day_frames / fps,
        dark=dark,
        dark_s=dark / fps,
    )


def _start_said(plan: Plan, new: Plan, event: str, event_utc_s: float, had: int, got: int) -> str:
    old_start, start = start_utc_s(plan), start_utc_s(new)
    close = clock(start, plan.zone) == clock(old_start, plan.zone)
    was, now = (clock(each, plan.zone, seconds=close) for each in (old_start, start))
    end = clock(end_utc_s(compute_frames(new)), plan.zone)
    return phrase(
        "Starts at {now} instead of {was} ({event} at {time}), for {shares}; it was {day} to {dark}. Ends "
        "at {end}; "
        "frames and interval stay.",
        now=now,
        was=was,
        event=phrase(event),
        time=clock(event_utc_s, plan.zone),
        shares=_shares(new, got),
        day=had,
        dark=plan.shoot.frames - had,
        end=end,
    )


def _anchor_said(plan: Plan, new: Plan) -> list[str]:
    old, now = plan.shoot.anchor, new.shoot.anchor
    if old is None:
        return []
    if now is None:
        return [
            phrase(
                "{event} falls outside the new times; the plan has a start time instead.",
                event=_spoken(old.event),
            )
        ]
    if (now.event, now.date) != (old.event, old.date):
        return [
            phrase(
                "{event} falls outside the new times, so the plan goes by {other} at {place} of the move.",
                event=_spoken(old.event),
                other=phrase(now.event.replace("_", " ")),
                place=_place(now.at),
            )
        ]
    return [
        phrase(
            "{event} falls at {place} of the move instead of {before}.",
            event=_spoken(now.event),
            place=_place(now.at),
            before=_place(old.at),
        )
    ]


def _place(at: float) -> str:
    return f"{100.0 * at:.3g} %"


def _spoken(event: str) -> str:
    return phrase(EVENT_WORDS[event])


def _cannot(plan: Plan, got: int, day: float, night: float) -> str:
    return phrase(
        "{day:g}:{night:g} can't be met over {duration} on that date; the nearest is {shares}. A shorter "
        "shoot or "
        "another date would come closer.",
        day=day,
        night=night,
        duration=duration_text(plan.duration_s),
        shares=_shares(plan, got),
    )


def _no_turn(plan: Plan, had: int, day: float, night: float) -> str:
    return phrase(
        "{day:g}:{night:g} can't be met: the sun stays up at latitude {latitude:g}° on that date, with no "
        "sunrise or "
        "sunset a day around. It stays at {shares}; choose another date."
        if had
        else "{day:g}:{night:g} can't be met: the sun stays down at latitude {latitude:g}° on that date, "
        "with no "
        "sunrise or sunset a day around. It stays at {shares}; choose another date.",
        day=day,
        night=night,
        latitude=plan.site.latitude_deg,
        shares=_shares(plan, had),
    )


# ---------------------------------------------------------------- clip


def fit_clip(plan: Plan, seconds: float, names: Names = PLAN_FILE) -> Fit:
    """Frames and interval together, so that the clip lasts so long over about the same stretch of time.

    The interval is one that the timer can be set to, so the stretch may get a little longer or shorter.

    The interval leaves time for the exposure that the light asks for, the writing, the move and the settling.
    Where it can't, the longest clip that this stretch allows is taken, and said. Raises PlanError for a
    length that isn't possible, or a plan without times. names says what the sentences call the plan's fields.
    """
    frames = round(seconds * plan.clip.fps) if math.isfinite(seconds) else 0
    if not 2 <= frames <= MOST_FRAMES:
        raise PlanError(
            "clip",
            seconds,
            "seconds at {fps:g} fps don't make a clip of 2 to {most} frames; "
            "give a number from {shortest:.2g} to {longest:.0f}",
            fps=plan.clip.fps,
            most=MOST_FRAMES,
            shortest=2 / plan.clip.fps,
            longest=MOST_FRAMES / plan.clip.fps,
        )
    start_utc_s(plan)
    span = plan.duration_s or plan.shoot.interval_s * (frames - 1)
    new = _with_frames(plan, span, frames)
    if new is not None and interval.interval_holds(new):
        return Fit(plan=new, said=(_clip_said(plan, new),))
    nearest = _as_many_as_hold(plan, span, frames)
    if nearest is None:
        return Fit(plan=plan, said=(_no_clip(span, seconds),))
    said = (_not_so_long(plan, nearest, span, seconds, names), _clip_said(plan, nearest))
    return Fit(plan=nearest, said=said)


def _with_frames(plan: Plan, span_s: float, frames: int) -> Plan | None:
    """The plan with so many frames over about the span, at the timer's nearest interval.

    None where that would make another evening of it.
    """
    step_s = plan.shoot.interval_step_s
    interval_s = round(max(round(span_s / (frames - 1) / step_s), 1) * step_s, 6)
    if abs(interval_s * (frames - 1) - span_s) > OTHER_LENGTH * span_s:
        return None
    return interval.with_timing(plan, frames=frames, interval_s=interval_s)


def _as_many_as_hold(plan: Plan, span_s: float, most: int) -> Plan | None:
    """The plan with as many frames over the span as the timer's intervals and the frames' own time allow."""
    exact_s = span_s / (most - 1)
    tried = interval.with_timing(plan, frames=most, interval_s=exact_s)
    for _ in range(interval.ROUNDS):
        interval_s = interval.on_the_timer_s(plan, max(interval.needed_interval_s(tried), exact_s))
        frames = min(math.floor(span_s / interval_s + interval.SLACK_S) + 1, most)
        if frames < 2:
            return None
        tried = interval.with_timing(plan, frames=frames, interval_s=interval_s)
        if interval.interval_holds(tried):
            return tried
    return None


def _not_so_long(plan: Plan, nearest: Plan, span_s: float, seconds: float, names: Names) -> str:
    frames = round(seconds * plan.clip.fps)
    exact_s = span_s / (frames - 1)
    needed_s = interval.needed_interval_s(interval.with_timing(plan, frames=frames, interval_s=exact_s))
    why = (
        phrase("exposure, writing, move and settling need {needed:.3g} s", needed=needed_s)
        if needed_s > exact_s
        else phrase("the timer goes in steps of {step:g} s", step=plan.shoot.interval_step_s)
    )
    longer_s = nearest.shoot.interval_s * (frames - 1)
    return phrase(
        "A clip of {seconds:g} s can't be met over {duration}: it would take a frame every {every:.3g} s, "
        "and "
        "{why}. The nearest is {nearest:.1f} s. For {seconds:g} s, shoot for about {longer}, or allow less "
        "exposure "
        "time{field} and more ISO.",
        seconds=seconds,
        duration=duration_text(span_s),
        every=exact_s,
        why=why,
        nearest=nearest.shoot.frames / plan.clip.fps,
        longer=duration_text(longer_s),
        field=names.aside("exposure.shutter_max_s"),
    )


def _clip_said(plan: Plan, new: Plan) -> str:
    old, now, fps = plan.shoot, new.shoot, plan.clip.fps
    if (old.frames, old.interval_s) == (now.frames, now.interval_s):
        return phrase(
            "The clip lasts {clip:.1f} s as it is: {frames} frames, one every {interval:g} s.",
            clip=now.frames / fps,
            frames=now.frames,
            interval=now.interval_s,
        )
    if old.frames == 1:
        return phrase(
            "{frames} frames, one every {interval:.6g} s, instead of a single one: the clip lasts "
            "{clip:.1f} s at "
            "{fps:g} fps, over {duration}.",
            frames=now.frames,
            interval=now.interval_s,
            clip=now.frames / fps,
            fps=fps,
            duration=duration_text(new.duration_s),
        )
    return phrase(
        "{frames} frames, one every {interval:.6g} s, instead of {before}, one every {was:g} s: the clip "
        "lasts "
        "{clip:.1f} s at {fps:g} fps instead of {clip_was:.1f} s, over {duration}. Everything moves {pace} "
        "on "
        "screen.",
        frames=now.frames,
        interval=now.interval_s,
        before=old.frames,
        was=old.interval_s,
        clip=now.frames / fps,
        fps=fps,
        clip_was=old.frames / fps,
        duration=duration_text(new.duration_s),
        pace=_pace(old.frames / now.frames),
    )


def _pace(factor: float) -> str:
    if abs(factor - 1.0) < 0.005:
        return phrase("as fast as before")
    return phrase("{factor:.2g} times as fast", factor=factor)


def _no_clip(span_s: float, seconds: float) -> str:
    return phrase(
        "A clip of {seconds:g} s can't be met: {duration} leave no time for two frames with exposure, "
        "writing, move "
        "and settling. Nothing changed; shoot longer or expose shorter.",
        seconds=seconds,
        duration=duration_text(span_s),
    )
