"""Several shots in one evening for one person: the order and the starts without a clash and with least rush.

All times are whole seconds. The search goes by the lowest cost first and keeps, of two ways to have done the
same work, the one that is no worse in anything; so the first complete evening that it reaches is the best.
First the starts are found: what is set up before the first of them costs nothing, as one can set out as early
as it takes, and what is packed after the last holds nothing up. Then, for these starts, the shortest evening.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Sequence

import attrs
from attrs import field, frozen

# Practice of the trade, no source: to spare before every start, and to stay until the first frames are seen.
RESERVE_S, WATCH_S = 600, 120
SET_UP, START, PACK = "set-up", "start", "pack"

WalkTimes = Sequence[Sequence[int]]


@frozen(kw_only=True)
class Job:
    """What one shot asks of a person. shifts_s are the ways its start may be moved, in ascending order; gear
    is what no other shot can have meanwhile, from setting up until it is packed.
    """

    start_s: int
    runs_s: int
    set_up_s: int
    pack_s: int
    attended: bool = False
    shifts_s: tuple[int, ...] = (0,)
    gear: frozenset[str] = frozenset()


@frozen(kw_only=True)
class Step:
    """A stay at a shot's place: kind is set-up, start or pack. One who attends a shot stays until its end."""

    kind: str
    shot: int
    begin_s: int
    end_s: int


@frozen(kw_only=True)
class Schedule:
    """An evening without a clash: the stays in order, and each shot's start.

    rush_s is what is missing of the reserve before the starts, moved_s by how much the starts are off their
    plans in all, out_s how long it takes from the first place's setting up until all is packed.
    """

    steps: tuple[Step, ...]
    starts_s: tuple[int, ...]
    rush_s: int
    moved_s: int
    out_s: int

    @property
    def cost(self) -> tuple[int, int, int]:
        """What is least, in order of importance."""
        return self.rush_s, self.moved_s, self.out_s


@frozen(kw_only=True)
class Starts:
    """The starts of an evening without a clash, what is missing of the reserve, and how far they moved."""

    starts_s: tuple[int, ...]
    rush_s: int
    moved_s: int

    @property
    def cost(self) -> tuple[int, int]:
        return self.rush_s, self.moved_s


def find_starts(
    jobs: Sequence[Job],
    walk_s: WalkTimes,
    *,
    reserve_s: int = RESERVE_S,
    watch_s: int = WATCH_S,
    rank: Sequence[int] | None = None,
) -> Starts | None:
    """The starts with least rush that are nearest to their plans, for one person.

    walk_s[a][b] is the time to walk from shot a to shot b, no longer than by way of a third. rank starts
    the shots in its ascending order. None where no order and no starts within the shots' shifts are free of
    clashes.
    """
    search = _Starts(jobs=jobs, walk_s=walk_s, reserve_s=0, watch_s=watch_s, rank=rank)
    if search.best(hurry=True) is None:
        return None
    best = attrs.evolve(search, reserve_s=reserve_s).best()
    assert best is not None
    starts = tuple(start for start in best.starts_s if start is not None)
    return Starts(starts_s=starts, rush_s=best.rush_s, moved_s=best.moved_s)


def shortest(
    jobs: Sequence[Job],
    walk_s: WalkTimes,
    starts: Starts,
    *,
    reserve_s: int = RESERVE_S,
    watch_s: int = WATCH_S,
) -> Schedule:
    """The shortest evening with these starts and no more rush than they need."""
    fixed = [
        attrs.evolve(job, start_s=start, shifts_s=(0,))
        for job, start in zip(jobs, starts.starts_s, strict=True)
    ]
    search = _Stays(
        jobs=fixed, walk_s=walk_s, reserve_s=reserve_s, watch_s=watch_s, most_rush_s=starts.rush_s
    )
    best = search.best()
    assert best is not None
    return Schedule(
        steps=tuple(Step(kind=kind, shot=shot, begin_s=a, end_s=b) for kind, shot, a, b in best.steps),
        starts_s=starts.starts_s,
        rush_s=starts.rush_s,
        moved_s=starts.moved_s,
        out_s=best.out_s,
    )


@frozen
class _State:
    """What was done so far. done counts for each shot: 1 set up, 2 started, 3 packed; at is the place.

    Until the first start, clock_s counts from the first setting up, which can be as early as it needs to be.
    """

    done: tuple[int, ...]
    at: int = -1
    clock_s: int = 0
    began_s: int | None = None
    rush_s: int = 0
    moved_s: int = 0
    starts_s: tuple[int | None, ...] = ()
    steps: tuple[tuple[str, int, int, int], ...] = ()

    @property
    def out_s(self) -> int:
        return self.clock_s - (self.began_s or 0)


@frozen(kw_only=True)
class _Search:
    """What both searches share: which step can follow, and when."""

    jobs: Sequence[Job]
    walk_s: WalkTimes
    reserve_s: int
    watch_s: int
    rank: Sequence[int] | None = None
    most_rush_s: int | None = None
    rivals: tuple[frozenset[int], ...] = field(init=False)

    @rivals.default
    def _of_gear(self) -> tuple[frozenset[int], ...]:
        """For each shot those that want gear of its."""
        return tuple(
            frozenset(k for k, other in enumerate(self.jobs) if k != n and other.gear & job.gear)
            for n, job in enumerate(self.jobs)
        )

    def first(self) -> _State:
        return _State((0,) * len(self.jobs), starts_s=(None,) * len(self.jobs))

    def best(self, hurry: bool = False) -> _State | None:
        """The cheapest state that is complete; with hurry any, every shot started as early as it can be."""
        count, kept = itertools.count(), _Kept()
        queue = [((0, 0), next(count), self.first())]
        while queue:
            _, _, state = heapq.heappop(queue)
            if self.complete(state):
                return state
            if not kept.is_news((state.done, state.at), self.worth(state, hurry)):
                continue
            for after in self.following(state, hurry):
                if self.most_rush_s is None or after.rush_s <= self.most_rush_s:
                    heapq.heappush(queue, (self.cost(after), next(count), after))
        return None

    def complete(self, state: _State) -> bool:
        raise NotImplementedError

    def cost(self, state: _State) -> tuple[int, int]:
        raise NotImplementedError

    def worth(self, state: _State, hurry: bool) -> tuple[int, ...]:
        """What counts of a state, less being better, beside the work done and the place."""
        raise NotImplementedError

    def following(self, state: _State, hurry: bool) -> Iterator[_State]:
        raise NotImplementedError

    def arrival(self, state: _State, shot: int) -> int:
        return state.clock_s + (self.walk_s[state.at][shot] if state.at >= 0 else 0)

    def gear_is_free(self, state: _State, shot: int) -> bool:
        return all(state.done[other] in (0, 3) for other in self.rivals[shot])

    def may_start(self, state: _State, shot: int) -> bool:
        """Whether it is this shot's turn, where there is an order to keep."""
        if self.rank is None:
            return True
        mine = self.rank[shot]
        return all(done >= 2 or rank >= mine for done, rank in zip(state.done, self.rank, strict=True))

    def set_up(self, state: _State, shot: int) -> _State:
        begin = self.arrival(state, shot)
        return _after(state, shot, SET_UP, begin, begin + self.jobs[shot].set_up_s)

    def packed(self, state: _State, shot: int) -> _State:
        start = state.starts_s[shot]
        assert start is not None
        begin = max(self.arrival(state, shot), start + self.jobs[shot].runs_s)
        return _after(state, shot, PACK, begin, begin + self.jobs[shot].pack_s)

    def started(self, state: _State, shot: int, hurry: bool) -> Iterator[_State]:
        """Every start that could be worth while: none later than the plan's once the reserve is there."""
        job, arrive = self.jobs[shot], self.arrival(state, shot)
        first = state.began_s is None
        for shift in job.shifts_s:
            start = job.start_s + shift
            if not first and start < arrive:
                continue
            spare = self.reserve_s if first else start - arrive
            yield self._started(state, shot, start, shift, spare)
            if hurry or (start >= job.start_s and spare >= self.reserve_s):
                return

    def stay_s(self, job: Job) -> int:
        """How long one stays from a start on."""
        return max(job.runs_s, self.watch_s) if job.attended else self.watch_s

    def _started(self, state: _State, shot: int, start: int, shift: int, spare: int) -> _State:
        job, began, steps = self.jobs[shot], state.began_s, state.steps
        if began is None:
            began = start - self.reserve_s - self.arrival(state, shot)
            steps = tuple((kind, k, a + began, b + began) for kind, k, a, b in steps)
        end = start + self.stay_s(job)
        return _State(
            (*state.done[:shot], 2, *state.done[shot + 1 :]),
            shot,
            end,
            began,
            state.rush_s + max(self.reserve_s - spare, 0),
            state.moved_s + abs(shift),
            (*state.starts_s[:shot], start, *state.starts_s[shot + 1 :]),
            (*steps, (START, shot, start, end)),
        )


@frozen(kw_only=True)
class _Starts(_Search):
    """The starts with least rush that are least off the plans."""

    def first(self) -> _State:
        """All is set up that keeps no gear from another shot."""
        done = tuple(0 if rivals else 1 for rivals in self.rivals)
        return _State(done, starts_s=(None,) * len(self.jobs))

    def complete(self, state: _State) -> bool:
        return min(state.done) >= 2

    def cost(self, state: _State) -> tuple[int, int]:
        """Rush and shifts so far, and the least that the shots still to start add to them."""
        rush, moved = state.rush_s, state.moved_s
        if state.began_s is not None:
            for shot, done in enumerate(state.done):
                if done < 2:
                    job, arrive = self.jobs[shot], self.arrival(state, shot)
                    rush += max(self.reserve_s - (job.start_s + job.shifts_s[-1] - arrive), 0)
                    moved += max(arrive - job.start_s, 0)
        return rush, moved

    def worth(self, state: _State, hurry: bool) -> tuple[int, ...]:
        ends = (
            (state.starts_s[shot] or 0) + self.jobs[shot].runs_s
            for shot in range(len(self.jobs))
            if state.done[shot] == 2 and self._is_wanted(state, shot)
        )
        cost = () if hurry else (state.rush_s, state.moved_s)
        return (*cost, state.clock_s, *ends)

    def following(self, state: _State, hurry: bool) -> Iterator[_State]:
        for shot, done in enumerate(state.done):
            if done == 0 and self.gear_is_free(state, shot):
                after = self.set_up(state, shot)
                # before the first start there is all the time that is needed
                yield after if state.began_s is not None else attrs.evolve(after, at=-1, clock_s=0)
            elif done == 1 and self.may_start(state, shot):
                yield from self.started(state, shot, hurry)
            elif done == 2 and self._is_wanted(state, shot):
                yield self.packed(state, shot)

    def _is_wanted(self, state: _State, shot: int) -> bool:
        """Whether a shot that isn't set up yet waits for this one's gear."""
        return any(state.done[other] == 0 for other in self.rivals[shot])


@frozen(kw_only=True)
class _Stays(_Search):
    """The shortest evening for starts that are fixed, with no more rush than they need.

    For each shot: work_s is what there is to do once 0, 1 or 2 of its stays are over, nearest_s the walk to
    it from the nearest other, end_s the earliest that it can be packed by.
    """

    work_s: tuple[tuple[int, int, int], ...] = field(init=False)
    nearest_s: tuple[int, ...] = field(init=False)
    end_s: tuple[int, ...] = field(init=False)

    @work_s.default
    def _of_stays(self) -> tuple[tuple[int, int, int], ...]:
        stays = ((job.set_up_s, self.stay_s(job), job.pack_s) for job in self.jobs)
        return tuple((first + second + third, second + third, third) for first, second, third in stays)

    @nearest_s.default
    def _of_walks(self) -> tuple[int, ...]:
        shots = range(len(self.jobs))
        return tuple(min((self.walk_s[a][b] for a in shots if a != b), default=0) for b in shots)

    @end_s.default
    def _of_ends(self) -> tuple[int, ...]:
        return tuple(job.start_s + job.runs_s + job.pack_s for job in self.jobs)

    def complete(self, state: _State) -> bool:
        return min(state.done) == 3

    def cost(self, state: _State) -> tuple[int, int]:
        """How long the evening gets at least, by the work that is left and by the last shot's end."""
        left, last = 0, 0
        for shot, done in enumerate(state.done):
            if done < 3:
                left += self.work_s[shot][done] + (self.nearest_s[shot] if shot != state.at else 0)
                last = max(last, self.end_s[shot])
        by_work = state.out_s + left
        return max(by_work, last - state.began_s) if state.began_s is not None else by_work, state.rush_s

    def worth(self, state: _State, hurry: bool) -> tuple[int, ...]:
        return state.rush_s, state.clock_s, -(state.began_s or 0)

    def following(self, state: _State, hurry: bool) -> Iterator[_State]:
        for shot, done in enumerate(state.done):
            if done == 0 and self.gear_is_free(state, shot):
                yield self.set_up(state, shot)
            elif done == 1:
                yield from self.started(state, shot, hurry)
            elif done == 2:
                yield self.packed(state, shot)


class _Kept:
    """For every work done, the states that none is better than in everything."""

    def __init__(self) -> None:
        self._of: dict[object, list[tuple[int, ...]]] = {}

    def is_news(self, key: object, worth: tuple[int, ...]) -> bool:
        """Whether nothing kept is as good in everything; then it is kept itself."""
        others = self._of.setdefault(key, [])
        for other in others:
            for a, b in zip(other, worth, strict=True):
                if a > b:
                    break
            else:
                return False
        others.append(worth)
        return True


def _after(state: _State, shot: int, kind: str, begin: int, end: int) -> _State:
    return _State(
        (*state.done[:shot], state.done[shot] + 1, *state.done[shot + 1 :]),
        shot,
        end,
        state.began_s,
        state.rush_s,
        state.moved_s,
        state.starts_s,
        (*state.steps, (kind, shot, begin, end)),
    )
