"""Cautions: for each a plan that gives cause, one that doesn't, and the edge between. Limits are common
practice, no source.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import attrs
import pytest

from planner_core import Plan, compute_frames
from planner_core.plan.model import Block, Exposure
from planner_core.review.care import review_care, thunder_season
from planner_core.review.findings import Finding
from tests.places import place

NOON = dt.datetime(2027, 1, 20, 12, 0)
NIGHT = dt.datetime(2027, 1, 20, 21, 0)


def box(
    name: str, role: str, low: tuple[float, float, float], high: tuple[float, float, float], **more: Any
) -> Block:
    (x, y, z), (x2, y2, z2) = low, high
    centre = ((x + x2) / 2.0, (y + y2) / 2.0, (z + z2) / 2.0)
    size = (x2 - x, y2 - y, z2 - z)
    return Block(name=name, role=role, shape="box", centre_m=centre, size_m=size, **more)


def plan_of(*blocks: Block, start: dt.datetime = NOON, height_m: float = 1.0, **rig: Any) -> Plan:
    """A rig at the scene's origin, its rail going east for two metres, on a winter's day in the north."""
    made = place(*blocks, frames=2, origin_m=(0.0, 0.0, height_m))
    return attrs.evolve(made, shoot=attrs.evolve(made.shoot, start=start), rig=attrs.evolve(made.rig, **rig))


def found(plan: Plan, code: str) -> list[Finding]:
    return [finding for finding in review_care(plan, compute_frames(plan)) if finding.code == code]


def levels(plan: Plan, code: str) -> list[str]:
    return [finding.level for finding in found(plan, code)]


def terrace(height_m: float, edge_y_m: float = 1.0) -> Plan:
    """On a terrace of that height that ends so far north of the rail."""
    return plan_of(
        box("terrace", "ground", (-20.0, -20.0, height_m - 5.0), (20.0, edge_y_m, height_m)),
        box("yard", "ground", (-90.0, -90.0, -1.0), (90.0, 90.0, 0.0)),
        height_m=height_m + 1.0,
    )


@pytest.mark.parametrize(("height_m", "level"), [(22.0, ["warn"]), (1.0, ["warn"]), (0.99, []), (0.0, [])])
def test_a_drop_of_a_metre_beside_the_rig_is_a_warning(height_m: float, level: list[str]) -> None:
    assert levels(terrace(height_m), "edge-near") == level


def test_the_edge_says_how_deep_and_where() -> None:
    edge = found(terrace(6.0, edge_y_m=0.9), "edge-near")[0]
    assert edge.value == pytest.approx(6.0)
    assert edge.fact("bearing") == pytest.approx(0.0)
    assert edge.fact("distance") == pytest.approx(1.0, abs=0.25)


@pytest.mark.parametrize(("edge_y_m", "near"), [(1.9, True), (2.1, False)])
def test_an_edge_farther_than_two_metres_is_left_alone(edge_y_m: float, near: bool) -> None:
    assert bool(found(terrace(6.0, edge_y_m), "edge-near")) is near


@pytest.mark.parametrize(("water_y_m", "level"), [(1.0, ["note"]), (3.0, [])])
def test_water_beside_the_rig_is_an_edge_however_low_it_lies(water_y_m: float, level: list[str]) -> None:
    plan = plan_of(
        box("bank", "ground", (-20.0, -20.0, -2.0), (20.0, water_y_m, 0.0)),
        box("pond", "water", (-20.0, water_y_m, -2.0), (20.0, 60.0, -0.4)),
    )
    assert levels(plan, "edge-near") == level


@pytest.mark.parametrize(
    ("thick_m", "high_m", "y_m", "is_railing"),
    [(0.05, 1.1, 1.0, True), (0.05, 1.1, 2.1, False), (0.4, 1.1, 1.0, False), (0.05, 0.3, 1.0, False)],
)
def test_a_railing_within_reach_isn_t_to_be_tied_to(
    thick_m: float, high_m: float, y_m: float, is_railing: bool
) -> None:
    railing = box("bars", "foreground", (-3.0, y_m, 0.0), (3.0, y_m + thick_m, high_m))
    assert bool(found(plan_of(railing), "railing-near")) is is_railing


@pytest.mark.parametrize(
    ("slope_deg", "level"), [(12.0, ["warn"]), (-12.0, ["warn"]), (2.0, ["note"]), (1.9, [])]
)
def test_a_carriage_can_run_down_a_sloping_rail(slope_deg: float, level: list[str]) -> None:
    assert levels(plan_of(incline_deg=slope_deg), "carriage-runs") == level


def test_without_a_rail_nothing_runs_down() -> None:
    still = place(frames=2, slide=None)
    assert not found(attrs.evolve(still, rig=attrs.evolve(still.rig, incline_deg=12.0)), "carriage-runs")


@pytest.mark.parametrize(
    ("latitude_deg", "month", "likely"),
    [(50.0, 7, True), (50.0, 1, False), (50.0, 3, False), (50.0, 4, True), (-44.0, 1, True), (-44.0, 7,
    False),
     (5.0, 12, True), (70.0, 7, False)],
)  # fmt: skip
def test_thunderstorms_have_their_season(latitude_deg: float, month: int, likely: bool) -> None:
    assert thunder_season(latitude_deg, month) is likely


def test_lightning_is_told_in_summer_only() -> None:
    assert found(plan_of(start=dt.datetime(2027, 7, 20, 12, 0)), "lightning-season")
    assert not found(plan_of(start=NOON), "lightning-season")


def test_a_night_is_not_for_one_alone() -> None:
    assert found(plan_of(start=NIGHT), "night-alone")
    assert not found(plan_of(start=NOON), "night-alone")


def test_a_morning_says_until_when_it_is_dark() -> None:
    # civil dawn is at about 7:42 in January at 50° N, 8° E: from the sun's altitude, not from here
    given = plan_of(start=dt.datetime(2027, 1, 20, 7, 0))
    morning = attrs.evolve(given, shoot=attrs.evolve(given.shoot, frames=3, interval_s=1800.0))
    night = found(morning, "night-alone")[0]
    assert night.fact("clears")
    assert night.frames is not None
    assert night.frames[1] < 3


@pytest.mark.parametrize(("away_m", "near"), [(9.0, True), (11.0, False)])
def test_people_trip_where_they_pass_by(away_m: float, near: bool) -> None:
    walk = box("walk", "ground", (-20.0, away_m, -0.5), (20.0, away_m + 3.0, 0.0), moves="people")
    assert bool(found(plan_of(walk), "people-near")) is near
    assert not found(plan_of(attrs.evolve(walk, moves=None)), "people-near")


@pytest.mark.parametrize(
    ("away_m", "start", "seen"), [(299.0, NIGHT, True), (301.0, NIGHT, False), (50.0, NOON, False)]
)
def test_lamps_dazzle_whoever_drives_by_in_the_dark(away_m: float, start: dt.datetime, seen: bool) -> None:
    road = box("road", "ground", (-20.0, away_m, -0.5), (20.0, away_m + 6.0, 0.0), moves="traffic")
    assert bool(found(plan_of(road, start=start), "lamps-dazzle")) is seen


@pytest.mark.parametrize(
    ("pan_deg", "stops", "said"), [(180.0, 3.0, True), (180.0, 0.0, False), (0.0, 3.0, False)]
)
def test_a_grey_filter_makes_no_sun_safe(pan_deg: float, stops: float, said: bool) -> None:
    # at noon in January the sun stands low in the south
    given = plan_of(start=dt.datetime(2027, 1, 20, 12, 30))
    poses = tuple(attrs.evolve(pose, pan_deg=pan_deg, tilt_deg=15.0) for pose in given.move.poses)
    plan = attrs.evolve(
        given,
        exposure=Exposure(f_number=8.0, nd_stops=stops),
        move=attrs.evolve(given.move, poses=poses),
    )
    assert bool(found(plan, "nd-sun")) is said


@pytest.mark.parametrize(
    ("words", "said"),
    [("A light show over the river", True), ("Lasers at ten", True), ("A lighthouse shows", False)],
)
def test_lasers_are_a_caution_where_the_plan_speaks_of_them(words: str, said: bool) -> None:
    assert bool(found(attrs.evolve(plan_of(), reason=words), "lasers")) is said
