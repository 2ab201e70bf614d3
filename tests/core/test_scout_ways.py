"""The scout's other ways: only what one can walk to, reveals, other evenings, other subjects."""

from __future__ import annotations

import datetime as dt
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core.moves.measured import Measured
from planner_core.moves.score import shot_score
from planner_core.plan.changes import changed
from planner_core.plan.model import Plan, PlanError
from planner_core.scout.evenings import (
    EveningSearch,
    SubjectSearch,
    could_be_subjects,
    on_date,
    spread_dates,
    with_subject,
)
from planner_core.scout.finds import report
from planner_core.scout.places import Terrain
from planner_core.scout.search import Scout, Wishes
from planner_core.scout.walk import reachable
from tests.scouting import TOWER, box, ground, place

BENCH = box("bench", "foreground", (1.0, 5.0), (1.8, 0.5, 0.8))
SQUARE = ground("square", (-8.0, -8.0), (8.0, 3.0))
QUICK = Wishes(cell_m=4.0, heights_m=(0.9,), reviews=12)


def searched(plan: Plan, wishes: Wishes = QUICK) -> Scout:
    scout = Scout(plan, wishes)
    for _ in scout.run():
        pass
    return scout


# ---------------------------------------------------------------- on foot

SEA = ground("sea", (-90.0, -90.0), (90.0, 90.0), 0.0, "water")
ISLANDS = (
    ground("quay", (-10.0, -6.0), (4.0, 3.0), 1.0),
    ground("islet", (8.0, -6.0), (16.0, 3.0), 1.0),
)


def to_islet(*between: dict[str, Any]) -> Plan:
    return place(TOWER, *ISLANDS, SEA, *between)


@pytest.mark.parametrize(
    ("between", "can"),
    [
        ((), False),
        ((ground("bridge", (3.5, -1.0), (8.5, 1.0), 1.2),), True),
        ((ground("bridge road", (3.5, -1.0), (8.5, 1.0), 1.0),), True),  # crossed, though not stood on
        ((ground("high bridge", (3.5, -1.0), (8.5, 1.0), 3.0),), False),  # no steps up to it
        ((ground("private bridge", (3.5, -1.0), (8.5, 1.0), 1.0) | {"keep_out": True},), False),
        (
            (
                ground("bridge", (3.5, -1.0), (8.5, 1.0), 1.0),
                box("gate", "background", (6.0, 0.0), (0.3, 2.6, 3.0)),
            ),
            False,
        ),
    ],
)
def test_a_place_is_reached_over_bridges_and_roads_but_not_through_water_gates_or_up_walls(
    between: tuple[dict[str, Any], ...], can: bool
) -> None:
    terrain = Terrain(to_islet(*between), 0.5)
    points = np.array([[-6.0, -2.0], [12.0, -2.0]])
    found = reachable(terrain, np.array([0.0, 0.0]), points)
    assert found is not None
    assert found.tolist() == [True, can]


@pytest.mark.once
def test_no_find_stands_where_nobody_can_walk_to() -> None:
    scout = searched(to_islet(), attrs.evolve(QUICK, cell_m=2.0))
    assert scout.tally.beyond_reach > 5
    assert all(found.shot.place_m[0] < 4.0 for found in scout.finds())
    assert "can't be reached on foot" in "\n".join(report(scout).lines())
    with pytest.raises(PlanError, match="no way on foot from the planned place"):
        searched(to_islet(), attrs.evolve(QUICK, cell_m=2.0, area=(8.0, -6.0, 16.0, 3.0)))


def test_ground_too_large_to_follow_is_not_judged() -> None:
    terrain = Terrain(place(TOWER), 0.5)
    assert reachable(terrain, np.zeros(2), np.array([[0.0, 0.0], [5000.0, 0.0]])) is None


# ---------------------------------------------------------------- heights, reveals


def test_the_rail_is_no_lower_or_higher_than_the_stands_reach() -> None:
    plan = place(TOWER, BENCH, SQUARE, rig__stand_min_m=0.7, rig__stand_max_m=1.1)
    assert Scout(plan).heights_m() == (0.7, 0.9, 1.1)
    with pytest.raises(PlanError, match=r"is less than stand_min_m, 0\.7"):
        place(TOWER, rig__stand_min_m=0.7, rig__stand_max_m=0.5)


@pytest.mark.once
def test_a_reveal_begins_with_the_subject_hidden_and_ends_with_it_shown() -> None:
    wall = box("wall", "foreground", (-1.6, 4.0), (2.6, 0.4, 3.0))
    plan = place(TOWER, wall, SQUARE, composition__style="reveal")
    best = searched(plan, attrs.evolve(QUICK, cell_m=2.0, reviews=24)).finds()[0]
    shown = best.measured.reading.shown
    assert best.measured.reveals
    assert shown[0] < 0.3
    assert shown[-1] > 0.95


# ---------------------------------------------------------------- evenings


@pytest.mark.once
def test_the_best_evening_is_the_one_whose_light_comes_as_wished() -> None:
    """Looking north-north-west, the sun goes down ahead in June and well to the left in winter."""
    plan = place(TOWER, BENCH, SQUARE, site__scene_north_deg=330.0)
    plan = changed(plan, {"composition.light": "back"})
    search = EveningSearch(plan, QUICK, dt.date(2027, 1, 10), dt.date(2027, 6, 20))
    for _ in search.run():
        pass
    told = search.result()
    assert told.dates[0] == dt.date(2027, 1, 10)
    assert told.dates[-1] == dt.date(2027, 6, 20)
    for spot, find in enumerate(told.finds):
        evenings = told.best_evenings(spot)
        assert len(told.dates) - 1 in evenings
        assert 0 not in evenings
        on_best = find.plan.shoot.anchor
        assert on_best is not None
        assert on_best.date == told.dates[evenings[0]]
        assert shot_score(Measured(find.plan)).total == pytest.approx(told.points[evenings[0], spot])
    document = told.as_dict()
    assert document["evenings"][-1]["best"] == 1
    assert "Evening" in "\n".join(told.lines())


def test_an_evening_keeps_the_time_of_day_of_a_plan_with_a_start() -> None:
    plan = changed(place(TOWER), {"shoot.anchor": None, "shoot.start": "2027-03-14T17:20:00"})
    start = on_date(plan, dt.date(2027, 5, 2)).shoot.start
    assert start == dt.datetime(2027, 5, 2, 17, 20)


def test_dates_are_spread_over_a_span_that_is_too_long_for_all() -> None:
    first, last = dt.date(2027, 1, 1), dt.date(2027, 3, 31)
    assert spread_dates(first, dt.date(2027, 1, 3), 10) == [dt.date(2027, 1, day) for day in (1, 2, 3)]
    few = spread_dates(first, last, 5)
    assert (few[0], few[-1], len(few)) == (first, last, 5)
    with pytest.raises(PlanError, match="more than a year"):
        spread_dates(first, dt.date(2028, 6, 1), 5)


# ---------------------------------------------------------------- subjects


def test_what_could_be_a_subject_is_a_thing_that_can_be_read_and_no_foreground() -> None:
    hull = box("boat 1 hull", "background", (9.0, 40.0), (6.0, 2.0, 1.5))
    mast = box("boat 1 mast", "background", (9.0, 40.0), (0.1, 0.1, 9.0))
    pole = box("pole", "background", (-9.0, 40.0), (0.1, 0.1, 9.0))  # 0.1 m at 40 m is 0.2 % of the width
    market = box("market", "background", (-20.0, 50.0), (12.0, 9.0, 7.0))
    roof = box("market roof", "background", (-20.0, 50.0), (11.0, 8.0, 0.9)) | {
        "centre_m": [-20.0, 50.0, 7.4]
    }
    post = box("post", "foreground", (0.5, 2.0), (0.3, 0.3, 1.0))
    plan = place(TOWER, hull, mast, pole, market, roof, post, SQUARE)
    assert list(could_be_subjects(plan)) == ["tower", "boat 1 hull", "market"]
    boat = with_subject(plan, "boat 1 hull")
    assert {block.name for block in boat.blocks if block.role == "subject"} == {"boat 1 hull", "boat 1 mast"}


@pytest.mark.once
def test_from_one_place_the_block_that_can_be_seen_is_the_better_subject() -> None:
    chapel = box("chapel", "background", (-25.0, 60.0), (6.0, 6.0, 18.0))
    wall = box("wall", "background", (8.0, 30.0), (16.0, 1.0, 40.0))
    hidden = box("tower", "subject", (16.0, 60.0), (6.0, 6.0, 18.0))
    plan = place(hidden, chapel, wall, BENCH, SQUARE)
    search = SubjectSearch(plan, QUICK)
    for _ in search.run():
        pass
    told = search.result()
    assert told.subjects[0] == "chapel"
    ranks = [name for name in told.subjects if name in ("chapel", "tower")]
    assert ranks[0] == "chapel"
    for find in told.finds:
        rig = find.plan.rig
        turn = np.radians(rig.bearing_deg)
        middle = np.array(rig.origin_m[:2]) + 0.75 * np.array([np.sin(turn), np.cos(turn)])
        np.testing.assert_allclose(middle, (0.75, 0.0), atol=0.01)  # where the planned rail has its middle
