"""What each plan of a common evening asks: when, how long, by how much it may move, and how far away."""

from __future__ import annotations

import math
from collections.abc import Sequence

import attrs
import numpy as np
from attrs import frozen

from planner_core.evening.balance import Turn, day_night_turn
from planner_core.evening.schedule import Job
from planner_core.evening.timetable import PACK_UP_S
from planner_core.frames import FrameTable, compute_frames
from planner_core.place.footprints import enu_m, lonlat_deg
from planner_core.plan.model import Plan, PlanError
from planner_core.plan.timeline import clock, local_datetime
from planner_core.time import ephemeris, events
from planner_core.words.dates import day_words
from planner_core.words.figures import figure

MOST_SHOTS = 6
SAME_EVENING_S = 16.0 * 3600.0
FARTHEST_M = 200_000.0  # a day's drive; beyond it nobody means one evening
BALANCE_STEP_S, STEP_S = 60, 300  # a start about a light event moves by minutes, any other by five


@frozen(kw_only=True)
class Terms:
    """What an evening is planned with. All common practice, no source, where nobody gives another value.

    pace_m_s is that of a walk with the gear and detour how much longer the path is than the straight line;
    balance is how far, as a share of the move, a light event may leave its middle (0.05 for 55:45), and
    shift_s how far a start may move where no event is in the shoot.
    """

    people: int = 1
    pace_m_s: float = 4.0 / 3.6
    detour: float = 1.3
    pack_s: float = PACK_UP_S
    balance: float = 0.05
    shift_s: float = 1800.0


@frozen(kw_only=True, eq=False)
class Shot:
    """One plan of the evening: number from 1, name as people call it, and its place, metres east and north of
    the first shot's site.
    """

    number: int
    name: str
    file: str
    plan: Plan
    frames: FrameTable
    turn: Turn | None
    place_m: tuple[float, float]

    @property
    def start_s(self) -> int:
        """First frame, POSIX seconds, to the second."""
        return round(float(self.frames.utc_s[0]))

    @property
    def runs_s(self) -> int:
        """From the first frame until the last one's interval is over."""
        return math.ceil(self.plan.duration_s + self.plan.shoot.interval_s)

    @property
    def gear(self) -> frozenset[str]:
        """Names of rig and camera, where they have one."""
        named = (("rig", self.plan.rig.name), ("camera", self.plan.camera.name))
        return frozenset(f"{kind} {' '.join(name.split())}" for kind, name in named if name.strip())


def read_shots(plans: Sequence[Plan], files: Sequence[str]) -> tuple[Shot, ...]:
    """The shots of an evening. Raises PlanError for too many, for other days, or places too far apart."""
    if len(plans) > MOST_SHOTS:
        raise PlanError(
            "evening",
            len(plans),
            "shots are too many; {most} or fewer make an evening",
            most=MOST_SHOTS,
        )
    names = _names(plans)
    shots: list[Shot] = []
    for plan, name, file in zip(plans, names, files, strict=True):
        frames = compute_frames(plan)
        shots.append(
            Shot(
                number=len(shots) + 1,
                name=name,
                file=file,
                plan=plan,
                frames=frames,
                turn=day_night_turn(frames),
                place_m=place_m(plan, plans[0]),
            )
        )
        _check_near(shots[0], shots[-1])
    _check_same_evening(shots)
    return tuple(shots)


def with_plan(shot: Shot, plan: Plan) -> Shot:
    """The shot with a plan whose times were changed."""
    frames = compute_frames(plan)
    return attrs.evolve(shot, plan=plan, frames=frames, turn=day_night_turn(frames))


def place_m(plan: Plan, origin: Plan) -> tuple[float, float]:
    """Where a plan's rail begins, metres east and north of another plan's site."""
    longitude, latitude = lonlat_deg(np.array([plan.rig.origin_m[:2]]), plan.site)
    east, north = enu_m(longitude, latitude, origin.site)
    return float(east[0]), float(north[0])


def _names(plans: Sequence[Plan]) -> list[str]:
    """Every plan's title on one line; with its number where there is none or another has it too."""
    titles = [" ".join(plan.title.split()) for plan in plans]
    return [
        title if title and titles.count(title) == 1 else f"{title or 'Shot'} {number}"
        for number, title in enumerate(titles, start=1)
    ]


def _check_near(first: Shot, shot: Shot) -> None:
    away = math.dist(first.place_m, shot.place_m)
    if not away <= FARTHEST_M:
        raise PlanError(
            f"{shot.file}: site.latitude_deg",
            shot.plan.site.latitude_deg,
            "is {away} km from the first plan's site; an evening has places that are near",
            away=figure(away / 1000.0),
        )


def _check_same_evening(shots: Sequence[Shot]) -> None:
    first = min(shots, key=lambda shot: shot.start_s)
    last = max(shots, key=lambda shot: shot.start_s)
    if last.start_s - first.start_s <= SAME_EVENING_S:
        return
    field = "shoot.anchor.date" if last.plan.shoot.anchor is not None else "shoot.start"
    raise PlanError(
        f"{last.file}: {field}",
        f"{local_datetime(last.start_s, last.plan.zone).date()}",
        "is another evening than that of “{name}”, {day}, {time}; give the plans one date",
        name=first.name,
        day=day_words(local_datetime(first.start_s, first.plan.zone).date(), year=True),
        time=clock(first.start_s, first.plan.zone),
    )


# ---------------------------------------------------------------- walks


def distance_m(one: Shot, other: Shot) -> float:
    """Straight from one rail to the other."""
    return math.dist(one.place_m, other.place_m)


def walk_s(one: Shot, other: Shot, terms: Terms) -> int:
    """Time for the way between two shots, at the pace, rounded up to the second."""
    return math.ceil(distance_m(one, other) * terms.detour / terms.pace_m_s - 1e-9)


def walks_s(shots: Sequence[Shot], terms: Terms) -> list[list[int]]:
    """Walking times from each shot to each."""
    return [[walk_s(one, other, terms) for other in shots] for one in shots]


# ---------------------------------------------------------------- tolerance


def job(shot: Shot, terms: Terms) -> Job:
    """What a shot asks of a person, with every start that its plan tolerates."""
    return Job(
        start_s=shot.start_s,
        runs_s=shot.runs_s,
        set_up_s=math.ceil(shot.plan.shoot.setup_s),
        pack_s=math.ceil(terms.pack_s),
        attended=shot.plan.shoot.attended,
        shifts_s=shifts_s(shot, terms),
        gear=shot.gear,
    )


def shifts_s(shot: Shot, terms: Terms) -> tuple[int, ...]:
    """By how much the start may move, ascending, 0 among them.

    About a light event: as far as that stays within the balance, or as near to its place as the plan has it.
    Else by shift_s, as long as first and last frame stay in the same light, day, twilight or night.
    """
    duration = shot.plan.duration_s
    if shot.turn is not None and duration > 0.0:
        at, most = shot.turn.at, terms.balance
        low, high = (0.5 - most, 0.5 + most) if abs(at - 0.5) <= most + 1e-9 else (at - most, at + most)
        return _whole((at - high) * duration, (at - low) * duration, BALANCE_STEP_S)
    tried = np.array(_whole(-terms.shift_s, terms.shift_s, STEP_S))
    ends = np.array([shot.start_s, shot.start_s + duration])
    site = shot.plan.site
    _, altitude = ephemeris.sun_position(
        ends[None, :] + tried[:, None], site.latitude_deg, site.longitude_deg
    )
    phase = events.light_phase(altitude)
    kept = np.all(phase == phase[np.flatnonzero(tried == 0)[0]], axis=1)
    return tuple(int(shift) for shift in tried[kept])


def _whole(low_s: float, high_s: float, step_s: int) -> tuple[int, ...]:
    first, last = math.ceil(low_s / step_s - 1e-6), math.floor(high_s / step_s + 1e-6)
    return tuple(step_s * k for k in range(min(first, 0), max(last, 0) + 1))
