"""The log as a person reads it and as plain values."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.log.compare import (
    FARTHEST_ZONE_S,
    AsShot,
    Balance,
    Clock,
    as_shot,
    balance_as_shot,
    off_plan,
)
from planner_core.log.curve import exposures
from planner_core.log.learn import Learned, Lessons, lessons
from planner_core.log.sequence import Fault, ShotSequence
from planner_core.plan.model import Plan
from planner_core.plan.text import one_line
from planner_core.plan.timeline import local_datetime
from planner_core.words.durations import to_the_second
from planner_core.words.figures import frames_text


@frozen(kw_only=True, eq=False)
class Log:
    """A card read against a plan."""

    plan: Plan
    shot: ShotSequence
    real: AsShot
    balance: Balance | None
    learned: Lessons


def read_log(
    plan: Plan,
    shot: ShotSequence,
    clock_offset_s: float | None = None,
    picture_stops: NDArray[np.float64] | None = None,
) -> Log:
    """The sequence against its plan; picture_stops are of its thumbnails, by frame. Raises PlanError for
    times that can't be.
    """
    real = as_shot(plan, shot, clock_offset_s, picture_stops)
    return Log(
        plan=plan,
        shot=shot,
        real=real,
        balance=balance_as_shot(plan, real),
        learned=lessons(shot, real),
    )


def log_lines(log: Log) -> Iterator[str]:
    """What there is to say, a sentence a line."""
    shot, real, plan = log.shot, log.real, log.plan
    first, last = (local_datetime(float(t), plan.zone) for t in real.frames.utc_s[[0, -1]])
    span = f"{first:%H:%M:%S} to {last:%H:%M:%S}"
    yield f"{len(shot.frames)} frames were shot from {span}; the plan has {plan.shoot.frames}"
    yield _clock_line(real.clock, real.late_s)
    yield _interval_line(plan, shot)
    yield from (fault_line(fault) for fault in shot.faults)
    yield from _exposure_lines(real)
    yield from _light_lines(real)
    if log.balance is not None:
        yield _balance_line(log.balance)
    yield from _lesson_lines(log.learned, plan)


def ended(sentence: str) -> str:
    """A sentence with its full stop, or the question mark that it has."""
    return sentence if sentence.endswith("?") else sentence + "."


def _clock_line(clock: Clock, late_s: float) -> str:
    if abs(clock.offset_s) > FARTHEST_ZONE_S and not clock.given:
        days = round(abs(clock.offset_s) / 86400.0, 1)
        when = "after" if clock.offset_s > 0.0 else "before"
        return (
            f"The frames are from {days:g} days {when} the plan's start: is this the plan they were shot by?"
        )
    side = "ahead" if clock.error_s > 0.0 else "behind"
    off = abs(clock.error_s) >= 0.5
    told = f"The camera's clock was {f'{to_the_second(abs(clock.error_s))} {side}' if off else 'right'}"
    if clock.zone_s:
        direction = "east" if clock.zone_s > 0.0 else "west"
        told += f", and set to a zone {to_the_second(abs(clock.zone_s))} {direction} of the site's"
    if not clock.given:
        return told + ", if the first frame is the plan's first"
    late = "late" if late_s > 0.0 else "early"
    return told + (f"; the shoot began {to_the_second(abs(late_s))} {late}" if abs(late_s) >= 1.0 else "")


def _interval_line(plan: Plan, shot: ShotSequence) -> str:
    planned, sure = plan.shoot.interval_s, max(shot.interval_deviation_s, 0.001)
    told = f"The interval was {shot.interval_s:.3f} s ± {sure:.3f}; {planned:g} s was planned"
    drift = (shot.interval_s - planned) * (shot.count - 1)
    if abs(shot.interval_s - planned) > 3.0 * shot.interval_deviation_s and abs(drift) >= 1.0:
        told += (
            f", which makes the shoot {to_the_second(abs(drift))} {'longer' if drift > 0.0 else 'shorter'}"
        )
    jitter = max(shot.jitter_s**2 - shot.clock_step_s**2, 0.0) ** 0.5
    return told + (f"; it wandered by {jitter:.2f} s" if jitter > 0.1 else "")


FAULT_WORDS = {
    "dropped": "missing",
    "doubled": "here twice",
    "late": "late",
    "cut-off": "cut off",
    "turned": "turned differently from the rest",
    "stranger": "doesn't belong to this sequence",
}


def fault_line(fault: Fault) -> str:
    """One fault in words."""
    files = ", ".join(one_line(name) for name in fault.files)
    what = FAULT_WORDS[fault.kind]
    if fault.kind == "late":
        what = f"{fault.seconds:.1f} s late, and all later ones by as much"
    if fault.frames is None:
        return f"{files}: {what}"
    return f"{frames_text(fault.frames)}: {what}" + (f" ({files})" if files else "")


def _exposure_lines(real: AsShot) -> Iterator[str]:
    if real.plan.exposure is None:
        yield "The plan has no exposure to compare the frames with"
        return
    if np.isnan(real.off_stops).all():
        yield "The frames don't say how they were exposed"
        return
    spans = off_plan(real)
    for first, last, stops in spans[:8]:
        side = "brighter" if stops > 0.0 else "darker"
        yield f"{frames_text((first, last))}: exposed {abs(stops):.1f} stops {side} than planned"
    if len(spans) > 8:
        yield f"{len(spans) - 8} more spans are shorter than these"
    if not spans:
        yield f"All frames are exposed as planned, to within {np.nanmax(np.abs(real.off_stops)):.1f} stops"


def _light_lines(real: AsShot) -> Iterator[str]:
    """The light by settings and thumbnails, where there are some."""
    known = np.flatnonzero(np.isfinite(real.light_ev100))
    if not len(known):
        return
    first, last = (f"EV {real.light_ev100[k]:.1f} in frame {k + 1}" for k in (known[0], known[-1]))
    told = f"{first} and {last}" if len(known) > 1 else first
    yield f"By settings and thumbnails the light was {told}"
    middle = float(np.median(real.picture_stops[known]))
    side = "brighter" if middle > 0.0 else "darker"
    yield f"The pictures came out {abs(middle):.1f} stops {side} than middle grey, by their median"
    if real.plan.exposure is not None and real.plan.exposure.meter == "picture":
        off = float(np.median((real.light_ev100 - real.frames.metered_ev100)[known]))
        side = "brighter" if off > 0.0 else "darker"
        yield f"The light was {abs(off):.1f} stops {side} than the plan's picture meter reads"


def _balance_line(balance: Balance) -> str:
    where = f"fell on frame {balance.frame}" if balance.frame is not None else "was outside the shoot"
    event = balance.event.replace("_", " ").capitalize()
    return f"{event} {where}: {balance.bright_first} frames before it, {balance.after} from then on"


def _lesson_lines(learned: Lessons, plan: Plan) -> Iterator[str]:
    if learned.cloud_divisor is not None:
        cloud = _learned(learned.cloud_divisor, 2)
        yield f"The light was as with a cloud divisor of {cloud}; the plan has {plan.shoot.cloud_divisor:g}"
    if learned.artificial_ev100 is not None:
        had = plan.exposure.artificial_ev100 if plan.exposure is not None else None
        planned = "none" if had is None else f"{had:g}"
        yield f"The artificial light was EV {_learned(learned.artificial_ev100, 1)}; the plan has {planned}"
    if learned.overhead_s is not None:
        yield f"{_learned(learned.overhead_s, 1)} s went by after long exposures for writing and settling"


def _learned(value: Learned, digits: int) -> str:
    return f"{value.value:.{digits}f} ± {max(value.deviation, 10.0**-digits / 2.0):.{digits}f}"


def log_dict(log: Log) -> dict[str, Any]:
    """The log as plain values."""
    shot, real, clock = log.shot, log.real, log.real.clock
    off, site = real.off_stops, log.plan.site
    return {
        "title": log.plan.title,
        "site": {
            "name": site.name,
            "latitude_deg": site.latitude_deg,
            "longitude_deg": site.longitude_deg,
        },
        "date": local_datetime(float(real.frames.utc_s[0]), log.plan.zone).date().isoformat(),
        "frames": len(shot.frames),
        "expected_frames": shot.count,
        "planned_frames": log.plan.shoot.frames,
        "clock": {
            "offset_s": clock.offset_s,
            "zone_s": clock.zone_s,
            "error_s": clock.error_s,
            "given": clock.given,
            "late_s": real.late_s,
        },
        "interval": {
            "seconds": shot.interval_s,
            "deviation_s": shot.interval_deviation_s,
            "planned_s": log.plan.shoot.interval_s,
            "jitter_s": shot.jitter_s,
        },
        "faults": [
            {
                "kind": fault.kind,
                "frames": list(fault.frames) if fault.frames else None,
                "files": list(fault.files),
                "seconds": fault.seconds if fault.kind == "late" else None,
            }
            for fault in shot.faults
        ],
        "exposure": {
            "median_off_stops": None if np.isnan(off).all() else float(np.nanmedian(off)),
            "off_plan": [{"frames": [a, b], "stops": stops} for a, b, stops in off_plan(real)],
        },
        "as_shot": exposures(real),
        "light": [
            {"frame": int(k) + 1, "ev100": float(ev100), "picture_stops": float(real.picture_stops[k])}
            for k, ev100 in enumerate(real.light_ev100)
            if np.isfinite(ev100)
        ],
        "balance": None
        if log.balance is None
        else {
            "event": log.balance.event,
            "frame": log.balance.frame,
            "before": log.balance.bright_first,
            "after": log.balance.after,
        },
        "learned": {
            name: None if value is None else {"value": value.value, "deviation": value.deviation}
            for name, value in (
                ("interval_s", log.learned.interval_s),
                ("cloud_divisor", log.learned.cloud_divisor),
                ("artificial_ev100", log.learned.artificial_ev100),
                ("overhead_s", log.learned.overhead_s),
            )
        },
        "said": [ended(sentence) for sentence in log_lines(log)],
    }
