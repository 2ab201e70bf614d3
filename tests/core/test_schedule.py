"""Order and starts of an evening's shots: never in two places, and none better among all there are."""

from __future__ import annotations

import itertools
import math
import os
import random
from collections.abc import Iterator, Sequence

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner_core.evening.schedule import RESERVE_S, WATCH_S, Job, Schedule, find_starts, shortest

pytestmark = pytest.mark.once

# 200 of them, of up to five shots, by hand: DUSKRAIL_EVENINGS=200
EVENINGS = int(os.environ.get("DUSKRAIL_EVENINGS", "20"))
MOST_SHOTS = 5 if EVENINGS > 20 else 4
PACE_M_S = 1.1


def walks(places: Sequence[tuple[float, float]]) -> list[list[int]]:
    return [[math.ceil(math.dist(a, b) / PACE_M_S) for b in places] for a in places]


def solve(jobs: Sequence[Job], walk: list[list[int]]) -> Schedule | None:
    """The best evening for one person."""
    starts = find_starts(jobs, walk)
    return None if starts is None else shortest(jobs, walk, starts)


def random_evening(rng: random.Random) -> tuple[list[Job], list[list[int]]]:
    """Shots within a few hours and a kilometre; some are attended, some share a head or a camera."""
    count = rng.randint(1, MOST_SHOTS)
    jobs = []
    for _ in range(count):
        reach = rng.choice((0, 300, 900))
        shifts = {-reach, 0, reach} if count < 5 else {0, rng.choice((0, 0, reach))}
        jobs.append(
            Job(
                start_s=rng.randrange(0, 9000, 60),
                runs_s=rng.choice((1200, 2700, 5400)),
                set_up_s=rng.choice((600, 1500, 2700)),
                pack_s=rng.choice((600, 1800)),
                attended=rng.random() < 0.25,
                shifts_s=tuple(sorted(shifts)),
                gear=frozenset(rng.sample(("rig 1", "camera 1"), 1)) if rng.random() < 0.4 else frozenset(),
            )
        )
    return jobs, walks([(rng.uniform(0.0, 1000.0), rng.uniform(0.0, 1000.0)) for _ in range(count)])


# ---------------------------------------------------------------- every evening there is

# done for each shot, place, clock, when it began (None before the first start), rush
State = tuple[tuple[int, ...], int, int, int | None, int]


def every_end(jobs: Sequence[Job], walk: list[list[int]], starts: Sequence[int]) -> Iterator[tuple[int, int]]:
    """(rush, time out) of every way to get through an evening with these starts."""
    states: set[State] = {((0,) * len(jobs), -1, 0, None, 0)}
    for _ in range(3 * len(jobs)):
        states = {after for state in states for after in following(state, jobs, walk, starts)}
    for _, _, clock, began, rush in states:
        assert began is not None
        yield rush, clock - began


def following(
    state: State, jobs: Sequence[Job], walk: list[list[int]], starts: Sequence[int]
) -> Iterator[State]:
    done, at, clock, began, rush = state
    for n, job in enumerate(jobs):
        if done[n] == 3:
            continue
        there = clock + (walk[at][n] if at >= 0 else 0)
        now = (*done[:n], done[n] + 1, *done[n + 1 :])
        if done[n] == 0:
            busy = any(done[k] in (1, 2) and jobs[k].gear & job.gear for k in range(len(jobs)) if k != n)
            if not busy:
                yield now, n, there + job.set_up_s, began, rush
        elif done[n] == 1:
            stays = max(job.runs_s, WATCH_S) if job.attended else WATCH_S
            if began is None:
                yield now, n, starts[n] + stays, starts[n] - RESERVE_S - there, rush
            elif there <= starts[n]:
                missing = max(RESERVE_S - (starts[n] - there), 0)
                yield now, n, starts[n] + stays, began, rush + missing
        else:
            yield now, n, max(there, starts[n] + job.runs_s) + job.pack_s, began, rush


def best_of_all(jobs: Sequence[Job], walk: list[list[int]]) -> tuple[int, int] | None:
    """Least rush, and least moved with it, of all starts and all orders."""
    costs = [
        (min(rush for rush, _ in ends), sum(map(abs, shifts)))
        for shifts in itertools.product(*(job.shifts_s for job in jobs))
        if (
            ends := list(
                every_end(jobs, walk, [job.start_s + shift for job, shift in zip(jobs, shifts, strict=True)])
            )
        )
    ]
    return min(costs, default=None)


def test_no_evening_among_all_there_are_is_better_than_the_one_found() -> None:
    rng, solved = random.Random(21), 0
    for _ in range(EVENINGS):
        jobs, walk = random_evening(rng)
        found, best = solve(jobs, walk), best_of_all(jobs, walk)
        assert (found is None) == (best is None), jobs
        if found is None or best is None:
            continue
        solved += 1
        assert (found.rush_s, found.moved_s) == best, jobs
        out = min(out for rush, out in every_end(jobs, walk, found.starts_s) if rush == found.rush_s)
        assert found.out_s == out, jobs
    assert EVENINGS // 4 < solved < EVENINGS  # both kinds were among them


# ---------------------------------------------------------------- what holds of every evening


@st.composite
def evenings(draw: st.DrawFn) -> tuple[list[Job], list[list[int]]]:
    count = draw(st.integers(1, 4))
    jobs = [
        Job(
            start_s=60 * draw(st.integers(0, 200)),
            runs_s=60 * draw(st.integers(1, 90)),
            set_up_s=60 * draw(st.integers(0, 45)),
            pack_s=60 * draw(st.integers(0, 30)),
            attended=draw(st.booleans()),
            shifts_s=tuple(range(-60 * (reach := draw(st.integers(0, 8))), 60 * reach + 1, 60)),
            gear=frozenset(draw(st.sets(st.sampled_from(("rig 1", "camera 1", "camera 2")), max_size=1))),
        )
        for _ in range(count)
    ]
    place = st.tuples(st.integers(0, 1500), st.integers(0, 1500))
    return jobs, walks([draw(place) for _ in range(count)])


@settings(max_examples=60)
@given(evenings())
def test_nobody_is_in_two_places_or_walks_faster_than_the_pace(
    evening: tuple[list[Job], list[list[int]]],
) -> None:
    jobs, walk = evening
    found = solve(jobs, walk)
    if found is None:
        return
    for before, after in itertools.pairwise(found.steps):
        assert before.end_s + walk[before.shot][after.shot] <= after.begin_s
    assert_every_shot_is_done_in_turn(jobs, found)


def assert_every_shot_is_done_in_turn(jobs: list[Job], found: Schedule) -> None:
    assert sorted((step.shot, step.kind) for step in found.steps) == sorted(
        (n, kind) for n in range(len(jobs)) for kind in ("set-up", "start", "pack")
    )
    for n, job in enumerate(jobs):
        set_up, start, pack = (step for step in found.steps if step.shot == n)
        assert (set_up.kind, start.kind, pack.kind) == ("set-up", "start", "pack")
        assert start.begin_s == found.starts_s[n]
        assert start.begin_s - job.start_s in job.shifts_s
        assert set_up.end_s - set_up.begin_s == job.set_up_s
        assert pack.begin_s >= start.begin_s + job.runs_s
        if job.attended:
            assert start.end_s >= start.begin_s + job.runs_s


@settings(max_examples=60)
@given(evenings())
def test_no_gear_is_wanted_twice(evening: tuple[list[Job], list[list[int]]]) -> None:
    jobs, walk = evening
    found = solve(jobs, walk)
    if found is None:
        return
    for a, b in itertools.combinations(range(len(jobs)), 2):
        if jobs[a].gear & jobs[b].gear:
            (begin_a, end_a), (begin_b, end_b) = (
                (steps[0].begin_s, steps[-1].end_s)
                for steps in ([step for step in found.steps if step.shot == n] for n in (a, b))
            )
            assert end_a + walk[a][b] <= begin_b or end_b + walk[b][a] <= begin_a


@pytest.mark.parametrize("apart_s", [WATCH_S + 300, WATCH_S + 299])
def test_two_starts_need_the_time_to_see_the_first_frames_and_to_walk(apart_s: int) -> None:
    job = Job(start_s=0, runs_s=3600, set_up_s=1200, pack_s=600)
    jobs = [job, attrs.evolve(job, start_s=apart_s)]
    assert (solve(jobs, [[0, 300], [300, 0]]) is not None) == (apart_s == WATCH_S + 300)


def test_one_who_attends_a_shot_starts_no_other_meanwhile() -> None:
    job = Job(start_s=0, runs_s=3600, set_up_s=600, pack_s=600, attended=True)
    other = Job(start_s=1800, runs_s=600, set_up_s=600, pack_s=600)
    assert solve([job, other], [[0, 60], [60, 0]]) is None
    assert solve([attrs.evolve(job, attended=False), other], [[0, 60], [60, 0]]) is not None


def test_an_order_that_is_asked_for_is_kept() -> None:
    job = Job(start_s=0, runs_s=600, set_up_s=600, pack_s=600, shifts_s=(0, 600, 1200))
    jobs = [job, attrs.evolve(job, start_s=300)]
    usual, turned = (find_starts(jobs, [[0, 60], [60, 0]], rank=rank) for rank in ((0, 1), (1, 0)))
    assert usual is not None
    assert turned is not None
    assert usual.starts_s[0] < usual.starts_s[1]
    assert turned.starts_s[1] < turned.starts_s[0]
