"""The scout: nobody is sent into the water, the best is found, and what is found is what the review says."""

from __future__ import annotations

import os

import attrs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from planner_core import compute_frames, review
from planner_core.moves.measured import Measured
from planner_core.moves.score import shot_score
from planner_core.picture.optics import circle_of_confusion_mm, depth_of_field_m
from planner_core.place.blocking import ridge_line
from planner_core.plan.changes import changed
from planner_core.plan.model import Exposure, Plan, PlanError
from planner_core.scout import places
from planner_core.scout.finds import report
from planner_core.scout.picture import finds_png, frame_pictures, shown_frames
from planner_core.scout.places import Terrain, standing_places
from planner_core.scout.search import ReviewedShot, Scout, Wishes
from planner_core.scout.shots import Aim, Shot, plan_of
from tests.scouting import TOWER, box, ground, mirrored, mirrored_sky, place, random_place

pytestmark = pytest.mark.once

BENCH = box("bench", "foreground", (1.0, 5.0), (1.8, 0.5, 0.8))
SQUARE = ground("square", (-8.0, -8.0), (8.0, 3.0))
Array = NDArray[np.float64]
QUICK = Wishes(cell_m=4.0, heights_m=(0.9,), reviews=24)


def searched(plan: Plan, wishes: Wishes = QUICK) -> Scout:
    scout = Scout(plan, wishes)
    for _ in scout.run():
        pass
    return scout


@pytest.fixture(scope="module")
def square() -> Scout:
    """The search of the square with its tower and bench."""
    return searched(place(TOWER, BENCH, SQUARE))


def best(plan: Plan, wishes: Wishes = QUICK) -> ReviewedShot:
    return searched(plan, wishes).finds()[0]


# ---------------------------------------------------------------- where one may stand


def still_from(x: float, y: float) -> Shot:
    """A still picture from a place on the ground at zero."""
    return Shot(
        kind="still",
        place_m=(x, y, 0.0),
        height_m=0.9,
        focal_length_mm=28.0,
        rail_deg=90.0,
        travel_m=0.0,
        across=(0.5, 0.5),
        tilts_deg=(0.0, 0.0),
    )


def adversarial_ground(seed: int) -> Plan:
    """A quay in pieces, with a basin cut into it, a lower landing, a road, a kept-out yard and a wall."""
    rng = np.random.default_rng(seed)
    x = float(rng.uniform(2.0, 6.0))
    return place(
        TOWER,
        ground("quay", (-20.0, -10.0), (20.0, 4.0), 2.0),
        ground("pier", (x, 4.0), (x + float(rng.uniform(1.0, 4.0)), 14.0), 2.0),
        ground("landing", (-12.0, 4.0), (-6.0, 7.0), 0.6),
        ground("basin", (-60.0, -60.0), (60.0, 100.0), 0.0, "water"),
        ground("pool", (-9.0, -6.0), (-5.0, -2.0), 2.05, "water"),
        ground("Harbour road", (-20.0, -10.0), (20.0, -8.0), 2.01),
        ground("yard", (10.0, -6.0), (16.0, -1.0), 2.02) | {"keep_out": True},
        box("shed", "background", (0.0, -4.0), (3.0, 3.0, 3.0)) | {"centre_m": [0.0, -4.0, 3.5]},
    )


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("edge_m", [0.3, 1.0])
def test_nobody_is_sent_into_water_onto_a_road_or_to_the_edge_of_a_drop(seed: int, edge_m: float) -> None:
    plan = adversarial_ground(seed)
    terrain = Terrain(plan, edge_m, (-25.0, -15.0, 25.0, 20.0))
    points, height = standing_places(terrain, terrain.area, 0.37, np.zeros(2))
    assert len(points) > 100
    around = np.stack([np.cos(np.linspace(0, 6.28, 48)), np.sin(np.linspace(0, 6.28, 48))], axis=-1)
    for share in (0.25, 0.6, 0.99):
        disc = (points[:, None] + share * edge_m * around).reshape(-1, 2)
        there, which = terrain.under(disc)
        surfaces = [terrain.surfaces[i] for i in np.unique(which)]
        assert not any(surface.is_water for surface in surfaces)
        assert (there.reshape(len(points), -1) >= height[:, None] - places.STEP_M - 1e-9).all()
    _, on = terrain.under(points)
    names = {terrain.names[i] for i in on}
    assert names == {"quay", "pier", "landing"} or names == {"quay", "landing"} or names == {"quay", "pier"}
    assert not ((np.abs(points[:, 0]) < 1.5) & (np.abs(points[:, 1] + 4.0) < 1.5)).any()  # in the shed
    in_yard = (points[:, 0] > 10.0) & (points[:, 0] < 16.0) & (points[:, 1] > -6.0) & (points[:, 1] < -1.0)
    assert not in_yard.any()


def test_a_closed_street_keeps_nobody_off_the_roof_over_it() -> None:
    roof = ground("roof", (-8.0, -7.0), (8.0, 7.0), 12.0)
    street = ground("street below", (-40.0, -40.0), (40.0, 40.0)) | {"keep_out": True}
    above = place(TOWER, roof, street, rig__origin_m=[0.0, 0.0, 12.9])
    assert Terrain(above, 0.5).may_stand(np.array([[0.0, 0.0], [5.0, -3.0]])).all()
    beside = np.array([[20.0, 0.0], [7.9, 0.0]])  # on the street, and at the roof's edge
    assert not Terrain(above, 0.5).may_stand(beside).any()


def test_the_whole_rail_stands_on_the_same_safe_ground() -> None:
    plan = place(
        TOWER,
        BENCH,
        ground("quay", (-6.0, -6.0), (6.0, 3.0), 2.0),
        ground("sea", (-90, -90), (90, 90), 0.0, "water"),
    )
    scout = searched(plan, attrs.evolve(QUICK, cell_m=2.0))
    assert scout.finds()
    for found in scout.finds():
        rig = found.plan.rig
        ends = np.array(rig.origin_m)[:2] + np.outer([0.0, 1.5], rail_way(found.plan))
        assert (np.abs(ends[:, 0]) <= 5.5 + 1e-6).all()
        assert ends[:, 1].min() >= -5.5 - 1e-6
        assert ends[:, 1].max() <= 2.5 + 1e-6


def rail_way(plan: Plan) -> Array:
    turn = np.radians(plan.rig.bearing_deg)
    return np.array([np.sin(turn), np.cos(turn)])


def test_a_place_without_ground_or_subject_says_so_in_one_line() -> None:
    with pytest.raises(PlanError, match="nowhere to stand; add a block of role ground"):
        Scout(place(TOWER, ground("sea", (-90, -90), (90, 90), 0.0, "water")))
    with pytest.raises(PlanError, match=r"composition\.subject"):
        Scout(place(BENCH, SQUARE))
    narrow = Scout(
        place(TOWER, ground("wall", (-9, -1), (9, 0), 3.0), ground("field", (-99, -99), (99, 99))),
        Wishes(area=(-9, -1, 9, 0), edge_m=3.0),
    )
    with pytest.raises(PlanError, match="larger area or a smaller distance"):
        next(narrow.run())


# ---------------------------------------------------------------- the best is found


def test_the_planned_place_counts_once_where_it_is_on_the_grid() -> None:
    plan = place(TOWER, SQUARE, rig__origin_m=[0.25, 0.0, 0.9])  # the middle of its rail is over (1, 0)
    scout = searched(plan, attrs.evolve(QUICK, area=(-2.0, -2.0, 2.0, 2.0), cell_m=1.0, reviews=1))
    off_m = np.abs(scout.tally.places_m[:, :2] - scout.planned_place()).max(axis=1)
    assert len(off_m) > 20
    assert np.sum(off_m < 0.5) == 1


def test_a_larger_area_never_lowers_the_best_score() -> None:
    plan = place(TOWER, BENCH, ground("square", (-20.0, -20.0), (20.0, 3.0)))
    small = best(plan, attrs.evolve(QUICK, area=(-4.0, -4.0, 4.0, 3.0)))
    large = best(plan, attrs.evolve(QUICK, area=(-20.0, -20.0, 20.0, 3.0)))
    assert large.score.total >= small.score.total - 1e-9


def test_a_wall_before_the_subject_takes_away_the_places_behind_it() -> None:
    wall = box("wall", "background", (-10.0, 20.0), (20.0, 1.0, 30.0))
    plan = place(TOWER, BENCH, wall, ground("square", (-12.0, -8.0), (12.0, 3.0)))
    for found in searched(plan, attrs.evolve(QUICK, cell_m=2.0)).finds():
        seen = Measured(found.plan).reading.shown
        assert seen.min() > 0.3


MIRROR_PLACES = int(os.environ.get("DUSKRAIL_SCOUT_MIRRORS", "2"))


def seen(found: ReviewedShot, side: float) -> Array:
    """Where the camera is at the start and the end, which way it looks there, its lens and the points; with
    side −1 as a mirror along the scene's Y shows them.
    """
    frames, ends = found.measured.frames, [0, -1]
    ahead = -frames.camera_rotation[ends, :, 2]
    both = np.stack([frames.camera_m[ends], ahead]) * (side, 1.0, 1.0)
    return np.array([*both.ravel(), found.shot.focal_length_mm, found.score.total])


def searched_by_bounds(plan: Plan, wishes: Wishes) -> tuple[Scout, dict[tuple[float, float], float]]:
    """A search that has run, and what every place could be worth before anything was tried there."""
    scout, bounds = Scout(plan, wishes), dict[tuple[float, float], float]()
    for progress in scout.run():
        if progress.stage != "places" and not bounds:
            there = map(tuple, (scout.tally.places_m[:, :2].round(6) + 0.0).tolist())
            bounds = dict(zip(there, scout.tally.worth.tolist(), strict=True))
    return scout, bounds


@pytest.mark.parametrize("seed", range(MIRROR_PLACES))
def test_a_mirrored_place_on_a_mirrored_evening_has_the_mirrored_finds(seed: int) -> None:
    plan = random_place(seed)
    wishes = attrs.evolve(QUICK, cell_m=2.0, lenses_mm=(20.0, 35.0), reviews=8)
    there, bounds = searched_by_bounds(plan, wishes)
    with mirrored_sky():
        here, other_bounds = searched_by_bounds(mirrored(plan), wishes)
        images = [seen(found, 1.0) for found in here.finds()]
    assert {(-x + 0.0, y): bound for (x, y), bound in bounds.items()} == pytest.approx(other_bounds)
    kept = [seen(found, -1.0) for found in there.finds()]
    assert len(kept) == len(images)
    np.testing.assert_allclose(np.reshape(kept, (-1, 14)), np.reshape(images, (-1, 14)), atol=1e-6)


def test_of_two_places_that_are_each_other_in_a_mirror_the_one_to_the_left_comes_first() -> None:
    """All is the same on both sides of the line to the tower, so nothing but a rule can decide."""
    benches = [box(f"bench {i}", "foreground", (x, 5.0), (1.8, 0.5, 0.8)) for i, x in enumerate((-3.0, 3.0))]
    plan = place(TOWER, *benches, SQUARE, rig__origin_m=[-0.75, 0.0, 0.9])
    scout = searched(plan, attrs.evolve(QUICK, cell_m=2.0))
    shot = scout.finds()[0].shot
    twin = attrs.evolve(
        shot,
        place_m=(-shot.place_m[0], *shot.place_m[1:]),
        rail_deg=-shot.rail_deg,
        across=(1.0 - shot.across[0], 1.0 - shot.across[1]),
    )
    assert scout.look(twin).score.total == pytest.approx(scout.look(shot).score.total, abs=1e-6)
    assert shot.place_m[0] < 0.0


def test_the_light_wished_for_decides_on_which_side_one_stands() -> None:
    # at sunset in March the sun is in the west: seen from the east, the tower has it behind itself
    tower = box("tower", "subject", (0.0, 0.0), (4.0, 4.0, 16.0))
    plan = place(tower, ground("field", (-40.0, -40.0), (40.0, 40.0)), rig__origin_m=[0.0, -30.0, 0.9])
    wishes = Wishes(cell_m=10.0, heights_m=(0.9,), reviews=24)
    back = changed(plan, {"composition.light": "back"})
    front = changed(plan, {"composition.light": "front"})
    assert best(back, wishes).shot.place_m[0] > 4.0
    assert best(front, wishes).shot.place_m[0] < -4.0


def test_what_stops_every_shot_is_said_where_nothing_is_found() -> None:
    plan = place(TOWER, BENCH, SQUARE, shoot__interval_s=1.0)  # which is less than the rig takes to move on
    told = report(searched(plan, attrs.evolve(QUICK, reviews=6)))
    assert not told.finds
    assert "the same stops every shot, so change that first. " in told.remark


# ---------------------------------------------------------------- what is found


def test_every_find_passes_its_review_and_keeps_its_score(square: Scout) -> None:
    assert len(square.finds()) >= 3
    for found in square.finds():
        again = Measured(found.plan)
        assert not [f for f in review(found.plan, compute_frames(found.plan)).findings if f.level == "stop"]
        assert shot_score(again).total == pytest.approx(found.score.total, abs=1e-9)
        assert found.score.total == pytest.approx(max(sum(found.score.parts.values()), 0.0))


@pytest.mark.parametrize("near_m", [0.6, 1.5, 4.0])
def test_a_near_foreground_never_draws_the_focus_off_the_subject(near_m: float) -> None:
    plan = place(TOWER, box("post", "foreground", (0.0, near_m), (0.2, 0.2, 1.0)), SQUARE)
    plan = attrs.evolve(plan, exposure=Exposure(f_number=5.6))
    shot = still_from(0.0, 0.0)
    focus = plan_of(plan, shot, Aim(plan)).camera.focus_distance_m
    near, far = depth_of_field_m(focus, 28.0, 5.6, circle_of_confusion_mm(plan.camera))
    assert far >= 63.0  # the far side of the tower
    assert near < 2.6  # hyperfocal focus has all from 2.3 m on sharp: 28²/(5.6 × 0.03) mm = 4.7 m, halved


def test_the_same_search_finds_the_same(square: Scout) -> None:
    once, twice = report(square), report(searched(place(TOWER, BENCH, SQUARE)))
    assert once.as_dict() == twice.as_dict()
    assert finds_png(once) == finds_png(twice)


def test_finds_differ_in_place_or_in_lens_and_move(square: Scout) -> None:
    shots = [found.shot for found in square.finds()]
    for i, shot in enumerate(shots):
        for other in shots[:i]:
            apart = np.hypot(*(np.subtract(shot.place_m, other.place_m)[:2]))
            assert apart >= 3.0 or (shot.kind, shot.focal_length_mm) != (other.kind, other.focal_length_mm)


def test_a_search_can_be_left_with_the_best_so_far() -> None:
    scout = Scout(place(TOWER, BENCH, SQUARE), QUICK)
    for progress in scout.run():
        if progress.stage == "reviews" and progress.done == 5:
            break
    assert scout.tally.reviews == 5
    assert report(scout).finds


def test_a_find_is_told_by_height_foreground_lens_and_move(square: Scout) -> None:
    told = report(square)
    first = told.finds[0]
    assert "28 mm" in first.name
    assert len({find.name for find in told.finds}) == len(told.finds)
    assert first.weakest_frame >= 1
    assert any("planned place" in cost for cost in first.costs)
    document = told.as_dict()
    assert [find["rank"] for find in document["finds"]] == list(range(1, len(told.finds) + 1))
    assert document["tried"]["reviews"] <= QUICK.reviews


def test_water_is_as_far_away_as_its_shore_and_not_what_lies_under_the_ground() -> None:
    sea = ground("sea", (-90.0, -90.0), (90.0, 90.0), -0.5, "water")  # under the square too
    terrain = Terrain(place(TOWER, SQUARE, sea), 0.5)
    assert terrain.shore_distance_m(np.array([5.0, 0.0])) == pytest.approx(3.0, abs=0.05)
    assert Terrain(place(TOWER, SQUARE), 0.5).shore_distance_m(np.zeros(2)) > 1000.0


def test_the_moon_is_in_the_picture_where_it_is_up_and_lights_it() -> None:
    # the full moon of 22 March 2027 rises in the east towards the end of this evening
    plan = place(TOWER, SQUARE, shoot__anchor={"event": "moonrise", "date": "2027-03-22", "at": 0.2})
    plan = attrs.evolve(plan, camera=attrs.evolve(plan.camera, focal_length_mm=85.0), blocks=plan.blocks[1:])
    frames = compute_frames(plan)
    last = len(frames) - 1
    towards = float(frames.moon_azimuth_deg[last])
    poses = tuple(
        attrs.evolve(pose, pan_deg=towards, tilt_deg=float(frames.moon_altitude_deg[last]))
        for pose in plan.move.poses
    )
    frames = compute_frames(attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses)))
    picture = frame_pictures(frames, (last,), 240)[0].astype(float).mean(axis=-1)
    bright = np.argwhere(picture > picture.mean() + 60.0)
    assert len(bright)
    np.testing.assert_allclose(bright.mean(axis=0), (67.0, 119.5), atol=3.0)
    assert np.ptp(bright, axis=0).max() == pytest.approx(5, abs=2)  # 0.52° of 23.9° across 240


def test_a_single_frame_is_a_still() -> None:
    scout = searched(place(TOWER, BENCH, SQUARE, frames=1), attrs.evolve(QUICK, reviews=6))
    assert {found.shot.kind for found in scout._reviewed.values()} == {"still"}


def test_lenses_in_the_bag_are_tried() -> None:
    with pytest.raises(PlanError, match=r"lenses_mm\[0\].*millimetres \(24\?\)"):
        place(TOWER, camera__lenses_mm=[0.024])
    plan = place(TOWER, BENCH, SQUARE, camera__lenses_mm=[20.0, 50.0])
    scout = searched(plan)
    assert {found.shot.focal_length_mm for found in scout._reviewed.values()} == {20.0, 50.0}


@settings(max_examples=10)
@given(st.floats(-30.0, 30.0), st.floats(-30.0, 30.0))
def test_a_ridge_stays_where_it_is_when_the_rig_moves(x: float, y: float) -> None:
    ridge: dict[str, object] = {
        "name": "hills",
        "role": "background",
        "shape": "ridge",
        "distance_m": 900.0,
        "skyline_deg": [[-40.0, 3.0], [0.0, 6.0], [40.0, 2.0]],
    }
    plan = place(TOWER, ridge, SQUARE)
    scout = Scout(plan, QUICK)
    shot = still_from(x, y)
    moved = plan_of(plan, shot, scout.aim)
    before = ridge_line(plan.blocks[1], plan.rig.origin_m, 0.0)
    after = ridge_line(moved.blocks[1], moved.rig.origin_m, 0.0)
    eye = np.array(moved.rig.origin_m)
    ways = [np.column_stack([line.ground_m, line.crest_m]) - eye for line in (before, after)]
    ways = [way / np.linalg.norm(way, axis=1)[:, None] for way in ways]
    np.testing.assert_allclose(ways[0], ways[1], atol=2e-5)


def test_the_pictures_show_the_evening_getting_darker_round_a_lit_subject() -> None:
    frames = compute_frames(place(TOWER, BENCH, SQUARE))
    assert shown_frames(frames) == (0, 12, 23)
    pictures = frame_pictures(frames, (0, 12, 23), 64)
    assert [picture.shape for picture in pictures] == [(36, 64, 3)] * 3
    day, _, night = (picture.astype(float) for picture in pictures)
    assert np.abs(day - night).mean() > 10.0
    tower = day[8:16, 31:33].mean()
    assert abs(tower - day[2:6, 5:12].mean()) > 5.0  # the tower stands out from the sky


def test_a_subject_too_tall_for_the_lens_is_no_find_where_another_lens_has_it_whole() -> None:
    spire = box("spire", "subject", (0.0, 60.0), (5.0, 5.0, 30.0))  # 26° high; 85 mm and 16:9 have 13°
    plan = place(spire, BENCH, SQUARE)
    finds = searched(plan, attrs.evolve(QUICK, lenses_mm=(28.0, 85.0))).finds()
    assert finds
    assert {found.shot.focal_length_mm for found in finds} == {28.0}
    only = searched(plan, attrs.evolve(QUICK, lenses_mm=(85.0,), reviews=6)).finds()
    assert all(not found.fits for found in only)  # better than nothing
