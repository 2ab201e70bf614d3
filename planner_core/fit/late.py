"""Late on location: what of the plan can still be shot from now on, each way reviewed, the best first."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator

import attrs
from attrs import frozen

from planner_core.evening.balance import day_night_turn
from planner_core.frames import FrameTable, compute_frames
from planner_core.plan.model import Plan, PlanError, Shoot
from planner_core.plan.timeline import local_datetime, local_to_utc_s
from planner_core.review.assess import assess
from planner_core.review.findings import Review

FEWEST_FRAMES = 24  # a second of clip
KINDS = ("event-kept", "same-end", "whole-clip", "shorter-interval")


@frozen(kw_only=True, eq=False)
class Rescue:
    """One way to go on: kind is one of KINDS; event is the light event that the plan is about, nothing
    without one, and event_at its place in the move, None where it isn't in the shoot.
    """

    kind: str
    plan: Plan
    frames: FrameTable
    report: Review
    event_at: float | None
    event: str = ""

    @property
    def start(self) -> dt.datetime:
        """First frame, on the site's clock."""
        return local_datetime(float(self.frames.utc_s[0]), self.plan.zone)

    @property
    def end(self) -> dt.datetime:
        """Last frame, on the site's clock."""
        return local_datetime(float(self.frames.utc_s[-1]), self.plan.zone)

    @property
    def clip_s(self) -> float:
        return self.plan.shoot.frames / self.plan.clip.fps

    @property
    def travel_m(self) -> float | None:
        """How much of the rail the move uses."""
        slide = self.frames.slide_m
        return None if slide is None else float(slide.max() - slide.min())


def now_utc_s(plan: Plan, text: str) -> float:
    """The instant of a clock time on the plan's day, as 18:52, or of a whole local time. Raises PlanError.

    A time of less than half a day before the planned start is that of the next day: shoots go past midnight.
    """
    start = float(compute_frames(plan).utc_s[0])
    first = local_datetime(start, plan.zone)
    try:
        if "T" in text or " " in text.strip():
            return local_to_utc_s(dt.datetime.fromisoformat(text.strip()), plan.zone, "now")
        clock = dt.time.fromisoformat(text.strip())
    except ValueError as error:
        if isinstance(error, PlanError):
            raise
        raise PlanError("now", text, "is not a clock time; write it as 18:52") from None
    moment = local_to_utc_s(dt.datetime.combine(first.date(), clock), plan.zone, "now")
    return moment + 86400.0 if start - moment > 43200.0 else moment


def rescues(plan: Plan, now_s: float, have_s: float | None = None) -> tuple[Rescue, ...]:
    """Ways to shoot what is left, the best first: fewest stops, then warnings, then nearest to the plan.

    have_s is how much time there is from now; without it only the planned end counts. Raises PlanError where
    it isn't late, or nothing can be saved.
    """
    before = compute_frames(plan)
    start, end = float(before.utc_s[0]), float(before.utc_s[-1])
    now_s = math.ceil(now_s - 1e-6)  # a start on the whole second
    if now_s <= start:
        early = round((start - now_s) / 60.0)
        raise PlanError("now", _clock(plan, now_s), f"is in time: the first frame is {early} min away")
    turn = day_night_turn(before)
    event_s = turn.utc_s if turn is not None else None
    rescued = []
    for kind, shoot in _ways(plan, now_s, end, event_s, turn.at if turn is not None else None, have_s):
        new = attrs.evolve(plan, shoot=shoot)
        frames = compute_frames(new)
        length = float(frames.utc_s[-1] - frames.utc_s[0])
        event_at = (
            (event_s - float(frames.utc_s[0])) / length if event_s is not None and length > 0.0 else None
        )
        rescued.append(
            Rescue(
                kind=kind,
                plan=new,
                frames=frames,
                report=assess(new, frames),
                event_at=event_at if event_at is not None and 0.0 <= event_at <= 1.0 else None,
                event=turn.event if turn is not None else "",
            )
        )
    if not rescued:
        raise PlanError(
            "now", _clock(plan, now_s), "leaves less than a second of clip; come back another evening (dates)"
        )
    wanted = turn.at if turn is not None else None
    return tuple(sorted(rescued, key=lambda one: _rank(plan, one, wanted)))


def _rank(plan: Plan, one: Rescue, wanted_at: float | None) -> tuple[float, ...]:
    levels = [finding.level for finding in one.report.findings]
    moved = 1.0 if wanted_at is not None else 0.0
    if one.event_at is not None and wanted_at is not None:
        moved = abs(one.event_at - wanted_at)
    shorter = 1.0 - min(one.plan.shoot.frames / plan.shoot.frames, 1.0)
    return (levels.count("stop"), levels.count("warn"), round(moved + shorter, 6), KINDS.index(one.kind))


def _ways(
    plan: Plan, now_s: float, end_s: float, event_s: float | None, at: float | None, have_s: float | None
) -> Iterator[tuple[str, Shoot]]:
    shoot = plan.shoot
    interval, latest = shoot.interval_s, math.inf if have_s is None else now_s + have_s
    planned_end = min(end_s, latest)
    if event_s is not None and at is not None and 0.0 < at <= 1.0 and event_s > now_s:
        frames = math.floor((event_s - now_s) / at / interval + 1e-9) + 1
        begin = event_s - at * (frames - 1) * interval
        if frames >= FEWEST_FRAMES and begin + (frames - 1) * interval <= latest:
            yield "event-kept", _from(plan, begin, min(frames, shoot.frames), interval)
    frames = math.floor((planned_end - now_s) / interval + 1e-9) + 1
    if frames >= FEWEST_FRAMES:
        yield "same-end", _from(plan, now_s, frames, interval)
    if now_s + plan.duration_s <= latest:
        yield "whole-clip", _from(plan, now_s, shoot.frames, interval)
    step = shoot.interval_step_s
    shorter = math.floor((planned_end - now_s) / max(shoot.frames - 1, 1) / step + 1e-9) * step
    if 0.0 < shorter < interval:
        yield "shorter-interval", _from(plan, now_s, shoot.frames, round(shorter, 6))


def _from(plan: Plan, start_s: float, frames: int, interval_s: float) -> Shoot:
    """The shoot from an instant on, a whole second of the clock."""
    start = local_datetime(math.ceil(start_s - 1e-6), plan.zone)
    # an hour that clocks go through twice needs its offset
    twice = start.replace(fold=0).utcoffset() != start.replace(fold=1).utcoffset()
    return attrs.evolve(
        plan.shoot,
        anchor=None,
        start=start if twice else start.replace(tzinfo=None),
        frames=frames,
        interval_s=interval_s,
    )


def _clock(plan: Plan, utc_s: float) -> str:
    return f"{local_datetime(utc_s, plan.zone):%H:%M}"
