"""An evening of several shots: who does what when, what clashes, and what was tried against it.

Shots that share a rig or a camera by name stay with one person, who carries it. What is tried against clashes
is worked out as an evening of its own; the plans that it changes are reviewed again.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Literal

import attrs
from attrs import field, frozen

from planner_core.evening.balance_start import moved_start
from planner_core.evening.schedule import RESERVE_S, Job, Schedule, Starts, find_starts, shortest
from planner_core.evening.shots import Shot, Terms, distance_m, job, walk_s, walks_s, with_plan
from planner_core.plan.model import Plan
from planner_core.review.assess import assess
from planner_core.review.findings import LEVELS

LATEST_S, LATER_STEP_S = 6 * 3600, 60  # how far a start is put off to measure a clash
SHORTEST_CLIP, CLIP_STEP = 0.75, 0.05

Kind = Literal["start-later", "leave-balance", "swap-order", "shorter-clip", "another-person", "drop"]
Group = tuple[int, ...]
Split = list[tuple[Group, Starts]]
Listen = Callable[[str], None]


@frozen(kw_only=True)
class Clash:
    """Shots, counted from 1, that one person or one piece of gear can't do at the planned times.

    kind is person, or what is wanted twice: rig or camera; gear has all of that, each as its kind and name.
    late_s is how much later one of them would have to start; None beyond LATEST_S.
    """

    kind: str
    shots: tuple[int, ...]
    late_s: int | None
    gear: tuple[tuple[str, str], ...] = ()


@frozen(kw_only=True)
class Attempt:
    """One thing that was tried against the clashes: works is whether none is left.

    moved_s has each shot's start moved, by number from 1; frames the shots that got fewer; dropped those left
    out; new the codes of stops and warnings that the changed plans get or that get graver, by the shot.
    """

    kind: Kind
    works: bool
    moved_s: dict[int, int] = field(factory=dict)
    frames: dict[int, int] = field(factory=dict)
    dropped: tuple[int, ...] = ()
    new: dict[int, tuple[str, ...]] = field(factory=dict)


@frozen(kw_only=True, eq=False)
class Round:
    """One person's evening: the shots, counted from 1, and the schedule, whose steps count from 0 within
    `shots`.
    """

    person: int
    shots: tuple[int, ...]
    schedule: Schedule


@frozen(kw_only=True, eq=False)
class Evening:
    """Several shots in one evening, solved. shots have the starts that were found, planned_s those before.

    new_findings has the codes of stops and warnings that a moved start adds or makes graver, by the shot's
    number; dropped
    the numbers of shots that no order and no start leaves room for.
    """

    terms: Terms
    shots: tuple[Shot, ...]
    planned_s: tuple[int, ...]
    rounds: tuple[Round, ...]
    clashes: tuple[Clash, ...]
    attempts: tuple[Attempt, ...]
    dropped: tuple[int, ...]
    new_findings: dict[int, tuple[str, ...]]

    @property
    def rush_s(self) -> int:
        """What is missing of the reserve before the starts, all in all."""
        return sum(each.schedule.rush_s for each in self.rounds)

    def shot(self, number: int) -> Shot:
        return self.shots[number - 1]

    def walk_s(self, one: int, other: int) -> int:
        """The way between two shots, counted from 1."""
        return walk_s(self.shot(one), self.shot(other), self.terms)

    def walk_m(self, one: int, other: int) -> float:
        """Its length with the detour."""
        return distance_m(self.shot(one), self.shot(other)) * self.terms.detour


def solve_evening(shots: Sequence[Shot], terms: Terms, listen: Listen | None = None) -> Evening:
    """The evening with least rush within the plans' tolerances; where there is none, without as few shots as
    can be.
    """
    tell = listen or (lambda _text: None)
    tell("walking times, order and starts")
    solver = _Solver(shots, terms)
    everyone = tuple(range(len(shots)))
    jobs = [job(shot, terms) for shot in shots]
    best = solver.split(jobs, everyone, terms.people)
    as_planned = [attrs.evolve(each, shifts_s=(0,)) for each in jobs]
    clashes: tuple[Clash, ...] = ()
    if solver.split(as_planned, everyone, terms.people) is None:
        clashes = tuple(solver.clashes(as_planned))
    kept = everyone if best is not None else solver.most(jobs, terms.people)
    dropped = tuple(n + 1 for n in everyone if n not in kept)
    if best is None:
        best = solver.split(jobs, kept, terms.people)
    assert best is not None
    reviews = _Reviews(shots, tell)
    trials = _Trials(solver=solver, jobs=jobs, reviews=reviews)
    attempts = tuple(trials.attempts(dropped)) if clashes else ()
    moved, rounds = list(shots), []
    for person, (group, starts) in enumerate(best, start=1):
        for n, start in zip(group, starts.starts_s, strict=True):
            moved[n] = reviews.moved(shots[n], start - shots[n].start_s)
        schedule = shortest([jobs[n] for n in group], solver.walks_of(group), starts)
        rounds.append(Round(person=person, shots=tuple(n + 1 for n in group), schedule=schedule))
    return Evening(
        terms=terms,
        shots=tuple(moved),
        planned_s=tuple(shot.start_s for shot in shots),
        rounds=tuple(rounds),
        clashes=clashes,
        attempts=attempts,
        dropped=dropped,
        new_findings=reviews.new_of(moved),
    )


# ---------------------------------------------------------------- who does what


class _Solver:
    """Splits shots among people; what one group of them comes to is worked out once."""

    def __init__(self, shots: Sequence[Shot], terms: Terms) -> None:
        self.shots, self.terms = shots, terms
        self.walks = walks_s(shots, terms)
        self._known: dict[object, Starts | None] = {}

    def walks_of(self, group: Group) -> list[list[int]]:
        return [[self.walks[a][b] for b in group] for a in group]

    def starts(
        self,
        jobs: Sequence[Job],
        group: Group,
        *,
        reserve_s: int = RESERVE_S,
        order: Group | None = None,
    ) -> Starts | None:
        """The best starts of one person with these shots, in any order or a given one; None with a clash."""
        chosen = tuple(jobs[n] for n in group)
        rank = None if order is None else tuple(order.index(n) for n in group)
        key = (group, chosen, reserve_s, rank)
        if key not in self._known:
            self._known[key] = find_starts(chosen, self.walks_of(group), reserve_s=reserve_s, rank=rank)
        return self._known[key]

    def split(
        self, jobs: Sequence[Job], chosen: Group, people: int, order: Group | None = None
    ) -> Split | None:
        """The best way to share the shots among so many people: least rush, then least moved, then nobody
        with many more than the others, then the shortest ways. None with a clash.
        """
        best: tuple[tuple[float, ...], Split] | None = None
        for groups in _shared(_tied(jobs, chosen), people):
            found = [(group, self.starts(jobs, group, order=order)) for group in groups]
            whole = [(group, starts) for group, starts in found if starts is not None]
            if len(whole) < len(found):
                continue
            cost = (
                float(sum(starts.rush_s for _, starts in whole)),
                float(sum(starts.moved_s for _, starts in whole)),
                float(max(len(group) for group in groups)),
                sum(self.walks[a][b] for group in groups for a, b in itertools.combinations(group, 2)),
            )
            if best is None or cost < best[0]:
                best = cost, whole
        return None if best is None else best[1]

    def most(self, jobs: Sequence[Job], people: int) -> Group:
        """As many of the shots as can be done, those with least rush; of equals the first ones."""
        everyone = range(len(jobs))
        for count in range(len(jobs) - 1, 0, -1):
            possible = []
            for group in itertools.combinations(everyone, count):
                split = self.split(jobs, group, people)
                if split is not None:
                    rush = sum(starts.rush_s for _, starts in split)
                    possible.append((rush, sum(starts.moved_s for _, starts in split), group))
            if possible:
                return min(possible)[2]
        return (0,)

    def clashes(self, jobs: Sequence[Job]) -> Iterator[Clash]:
        """Pairs that one person can't do as planned; or, where each pair could be done, all of them."""
        clashes = []
        for a, b in itertools.combinations(range(len(jobs)), 2):
            if self.starts(jobs, (a, b), reserve_s=0) is None:
                shared = sorted(jobs[a].gear & jobs[b].gear, reverse=True)
                gear = tuple((kind, name) for kind, _, name in (each.partition(" ") for each in shared))
                late = self._delay_s(jobs, (a, b))
                kind = gear[0][0] if gear else "person"
                clashes.append(Clash(kind=kind, shots=(a + 1, b + 1), late_s=late, gear=gear))
        if not clashes:
            everyone = tuple(range(len(jobs)))
            shots = tuple(n + 1 for n in everyone)
            clashes.append(Clash(kind="person", shots=shots, late_s=self._delay_s(jobs, everyone)))
        yield from clashes

    def _delay_s(self, jobs: Sequence[Job], group: Group) -> int | None:
        """By how much starts have to be later, at least, for one person to do these shots."""
        step = LATER_STEP_S if len(group) < 3 else 5 * LATER_STEP_S
        later = [attrs.evolve(each, shifts_s=tuple(range(0, LATEST_S + 1, step))) for each in jobs]
        starts = self.starts(later, group, reserve_s=0)
        return None if starts is None else starts.moved_s


def _tied(jobs: Sequence[Job], chosen: Group) -> list[Group]:
    """The shots in groups of those that share gear, directly or through others."""
    groups: list[Group] = []
    for n in chosen:
        with_n = [group for group in groups if any(jobs[n].gear & jobs[m].gear for m in group)]
        groups = [group for group in groups if group not in with_n]
        groups.append(tuple(sorted((n, *itertools.chain(*with_n)))))
    return sorted(groups)


def _shared(units: list[Group], people: int) -> Iterator[list[Group]]:
    """Every way to give units to at most so many people, each person's shots in ascending order."""
    if not units:
        yield []
        return
    for rest in _shared(units[:-1], people):
        for index, group in enumerate(rest):
            yield [*rest[:index], tuple(sorted((*group, *units[-1]))), *rest[index + 1 :]]
        if len(rest) < people:
            yield [*rest, units[-1]]


# ---------------------------------------------------------------- what was tried


class _Reviews:
    """Plans as given and as changed, each reviewed once, and what the change adds."""

    def __init__(self, shots: Sequence[Shot], tell: Listen) -> None:
        self.shots, self.tell = shots, tell
        self._grave: dict[Shot, dict[str, int]] = {}
        self._moved: dict[tuple[Shot, int], Shot] = {}

    def moved(self, shot: Shot, shift_s: int) -> Shot:
        """The shot with its start moved."""
        if not shift_s:
            return shot
        if (shot, shift_s) not in self._moved:
            start = float(shot.frames.utc_s[0]) + shift_s
            self._moved[shot, shift_s] = with_plan(shot, moved_start(shot.plan, start))
        return self._moved[shot, shift_s]

    def new_of(self, changed: Iterable[Shot]) -> dict[int, tuple[str, ...]]:
        """Codes of stops and warnings that changed plans get, or that get graver by the change, by the shot's
        number; only where there are.
        """
        new = {}
        for shot in changed:
            given = self.shots[shot.number - 1]
            if shot is given:
                continue
            before = self._of(given)
            fresh = [code for code, rank in self._of(shot).items() if rank < before.get(code, len(LEVELS))]
            if fresh:
                new[shot.number] = tuple(sorted(fresh))
        return new

    def _of(self, shot: Shot) -> dict[str, int]:
        """The stops and warnings of a shot, each code with the rank of its gravest level in LEVELS."""
        if shot not in self._grave:
            self.tell(f"reviewing {shot.name}")
            grave: dict[str, int] = {}
            for each in assess(shot.plan, shot.frames).findings:
                if each.level != "note":
                    rank = LEVELS.index(each.level)
                    grave[each.code] = min(rank, grave.get(each.code, rank))
            self._grave[shot] = grave
        return self._grave[shot]


@frozen(kw_only=True)
class _Trials:
    """What a colleague would try against clashes, the cheapest first."""

    solver: _Solver
    jobs: Sequence[Job]
    reviews: _Reviews

    def attempts(self, dropped: tuple[int, ...]) -> Iterator[Attempt]:
        people, order = self.solver.terms.people, self._order()
        later = [attrs.evolve(each, shifts_s=tuple(s for s in each.shifts_s if s >= 0)) for each in self.jobs]
        yield self._moving("start-later", self._split(later, people, order))
        yield self._moving("leave-balance", self._split(self.jobs, people, order))
        if len(order) > 1:
            yield self._swapped(order)
        yield self._shorter()
        if len(_tied(self.jobs, order)) > people:
            yield self._moving("another-person", self._split(self.jobs, people + 1))
        if dropped:
            yield Attempt(kind="drop", works=True, dropped=dropped)

    def _order(self) -> Group:
        """The shots in the order of their planned starts."""
        return tuple(sorted(range(len(self.jobs)), key=lambda n: (self.jobs[n].start_s, n)))

    def _split(self, jobs: Sequence[Job], people: int, order: Group | None = None) -> Split | None:
        return self.solver.split(jobs, tuple(range(len(jobs))), people, order)

    def _moving(self, kind: Kind, split: Split | None, shots: Sequence[Shot] = ()) -> Attempt:
        """What became of it: shots are those that the starts were found for, the solver's if no others."""
        if split is None:
            return Attempt(kind=kind, works=False)
        shots = shots or self.solver.shots
        shifts = {
            shots[n].number: start - shots[n].start_s
            for group, starts in split
            for n, start in zip(group, starts.starts_s, strict=True)
            if start != shots[n].start_s
        }
        changed = [self.reviews.moved(shot, shifts.get(shot.number, 0)) for shot in shots]
        return Attempt(
            kind=kind, works=True, moved_s=dict(sorted(shifts.items())), new=self.reviews.new_of(changed)
        )

    def _swapped(self, order: Group) -> Attempt:
        """Two neighbours of the planned order started the other way round."""
        people = self.solver.terms.people
        for index in range(len(order) - 1):
            swapped = (*order[:index], order[index + 1], order[index], *order[index + 2 :])
            if (split := self._split(self.jobs, people, swapped)) is not None:
                return self._moving("swap-order", split)
        return Attempt(kind="swap-order", works=False)

    def _shorter(self) -> Attempt:
        """One shot with fewer frames, as few less as help."""
        steps = round((1.0 - SHORTEST_CLIP) / CLIP_STEP)
        helps = [n for n in range(len(self.jobs)) if self._with_fewer(n, steps) is not None]
        for step in range(1, steps + 1):
            for n in helps:
                if (tried := self._with_fewer(n, step)) is not None:
                    changed, split = tried
                    shots = [*self.solver.shots[:n], changed, *self.solver.shots[n + 1 :]]
                    attempt = self._moving("shorter-clip", split, shots)
                    return attrs.evolve(attempt, frames={n + 1: changed.plan.shoot.frames})
        return Attempt(kind="shorter-clip", works=False)

    def _with_fewer(self, n: int, step: int) -> tuple[Shot, Split] | None:
        """A shot's clip so many steps shorter, and the evening with it; None where that doesn't help."""
        shot = self.solver.shots[n]
        frames = math.floor(shot.plan.shoot.frames * (1.0 - step * CLIP_STEP))
        if frames < 2:
            return None
        changed = with_frames(shot, frames)
        tried = [*self.jobs[:n], job(changed, self.solver.terms), *self.jobs[n + 1 :]]
        split = self._split(tried, self.solver.terms.people)
        return None if split is None else (changed, split)


def plans_with(attempt: Attempt, shots: Sequence[Shot]) -> dict[int, Plan]:
    """The plans that an attempt changes, by the shot's number; shots are those that the evening was made
    of.
    """
    changed = {}
    for shot in shots:
        frames, shift_s = attempt.frames.get(shot.number), attempt.moved_s.get(shot.number, 0)
        tried = shot if frames is None else with_frames(shot, frames)
        if shift_s:
            tried = with_plan(tried, moved_start(tried.plan, float(tried.frames.utc_s[0]) + shift_s))
        if tried is not shot:
            changed[shot.number] = tried.plan
    return changed


def with_frames(shot: Shot, frames: int) -> Shot:
    """The shot with other frames, its light event at the same place of the move."""
    plan = attrs.evolve(shot.plan, shoot=attrs.evolve(shot.plan.shoot, frames=frames))
    if plan.shoot.anchor is None and shot.turn is not None:
        plan = moved_start(plan, shot.turn.utc_s - shot.turn.at * plan.duration_s)
    return with_plan(shot, plan)
