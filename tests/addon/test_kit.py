"""The blocking kit: what is read off a map stands where the map has it, and any mesh becomes an honest
block.
"""

from __future__ import annotations

import datetime as dt
import math

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core import Plan, PlanError, compute_frames, review
from planner_core.edit import edits, kit, starter
from planner_core.place.blocking import block_mesh
from planner_core.plan.changes import value_at
from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.rig.geometry import bearing_and_altitude


@pytest.fixture(scope="module")
def bare() -> Plan:
    """A plan with a rig and nothing else, that looks to 40° in a scene turned by 40°."""
    return starter.bare_plan(starter.PlanDefaults(), dt.date(2027, 3, 14), 40.0, 40.0)


def middle_of(plan: Plan, blocks: tuple[kit.Block, ...]) -> np.ndarray:
    points = np.vstack([block_mesh(plan, block).vertices_m for block in blocks])
    return (points.min(axis=0) + points.max(axis=0)) / 2.0


@given(
    kind=st.sampled_from(sorted(kit.PIECES)),
    bearing_deg=st.floats(0.0, 359.9),
    distance_m=st.floats(1.0, 3000.0),
)
def test_a_piece_stands_at_its_bearing_and_distance(
    bare: Plan, kind: str, bearing_deg: float, distance_m: float
) -> None:
    spot = kit.spot_by_bearing(bare, bearing_deg, distance_m)
    made = kit.piece_blocks(bare, kind, spot, kit.PIECES[kind].size_m)
    away = middle_of(bare, made) - np.asarray(bare.rig.origin_m)
    away[2] = 0.0
    found, _ = bearing_and_altitude(away, bare.site.scene_north_deg)
    off_m = abs((found - bearing_deg + 180.0) % 360.0 - 180.0) * math.pi / 180.0 * distance_m
    assert off_m < 0.05  # a block's numbers are kept to the centimetre
    assert np.hypot(away[0], away[1]) == pytest.approx(distance_m, abs=0.05)


@given(
    kind=st.sampled_from(sorted(set(kit.PIECES) - {"ground", "water"})),
    size=st.tuples(*[st.floats(0.3, 200.0)] * 3),
)
def test_a_piece_has_the_size_it_was_given_and_stands_on_its_foot(
    bare: Plan, kind: str, size: tuple[float, float, float]
) -> None:
    made = kit.piece_blocks(bare, kind, kit.Spot(foot_m=(5.0, 9.0, 1.5)), size)
    points = np.vstack([block_mesh(bare, block).vertices_m for block in made])
    low, high = points.min(axis=0), points.max(axis=0)
    assert low[2] == pytest.approx(1.5, abs=0.02)
    assert high[2] == pytest.approx(1.5 + size[2], abs=0.03)
    # posts at both ends of a railing reach half their thickness beyond it
    beyond = size[1] if kind == "railing" else 0.0
    assert high[0] - low[0] == pytest.approx(size[0] + beyond, rel=0.09, abs=0.03)


def test_quays_and_water_have_their_tops_where_one_stands(bare: Plan) -> None:
    for kind in ("ground", "water"):
        made = kit.piece_blocks(bare, kind, kit.Spot(foot_m=(0.0, 0.0, -1.5)), kit.PIECES[kind].size_m)
        assert max(block_mesh(bare, block).vertices_m[:, 2].max() for block in made) == pytest.approx(-1.5)


def test_a_piece_faces_the_rail(bare: Plan) -> None:
    spot = kit.spot_by_bearing(bare, 100.0, 50.0)
    (wall,) = kit.piece_blocks(bare, "wall", spot, (8.0, 0.4, 2.0))
    points = block_mesh(bare, wall).vertices_m - np.asarray(bare.rig.origin_m)
    bearings, _ = bearing_and_altitude(points, bare.site.scene_north_deg)
    # seen from the rail it spans what 8 m span at 50 m (its near face is 0.2 m nearer)
    assert np.ptp(bearings) == pytest.approx(2.0 * math.degrees(math.atan(4.0 / 49.8)), rel=0.01)


def test_a_piece_on_a_quay_stands_on_the_quay(bare: Plan) -> None:
    quay = kit.piece_blocks(bare, "ground", kit.Spot(foot_m=(0.0, 20.0, 0.5)), (40.0, 40.0, 1.0))
    plan = kit.with_blocks(bare, quay)
    on = kit.spot_by_bearing(plan, 40.0, 20.0)
    beside = kit.spot_by_bearing(plan, 220.0, 60.0)
    assert on.foot_m[2] == pytest.approx(0.5)
    assert beside.foot_m[2] == pytest.approx(0.5)  # the level ground has the height of the only quay
    water = kit.piece_blocks(plan, "water", kit.Spot(foot_m=(0.0, 200.0, -1.0)), (300.0, 300.0, 1.0))
    flooded = kit.with_blocks(plan, water)
    assert kit.spot_by_bearing(flooded, 220.0, 60.0).foot_m[2] == pytest.approx(-1.0)
    assert kit.spot_by_bearing(flooded, 40.0, 20.0).foot_m[2] == pytest.approx(0.5)


def test_names_are_never_given_twice(bare: Plan) -> None:
    plan = bare
    for kind in ("tree", "tree", "railing", "railing", "house", "tree"):
        plan = kit.with_blocks(
            plan, kit.piece_blocks(plan, kind, kit.Spot(foot_m=(0.0, 9.0, 0.0)), kit.PIECES[kind].size_m)
        )
    names = [block.name for block in plan.blocks]
    assert len(names) == len(set(names))
    assert {"tree", "tree 2", "tree 3", "railing 2 post 1"} <= set(names)


@pytest.mark.parametrize("size", [(0.0, 1.0, 1.0), (1.0, -2.0, 1.0), (1.0, 1.0, 0.0)])
def test_a_piece_without_extent_is_refused(bare: Plan, size: tuple[float, float, float]) -> None:
    with pytest.raises(PlanError, match=r"(width|depth|height): .* is not above 0 metres"):
        kit.piece_blocks(bare, "tower", kit.Spot(foot_m=(0.0, 9.0, 0.0)), size)


def test_a_ridge_is_as_high_and_as_wide_as_given(bare: Plan) -> None:
    ridge = kit.ridge_block(bare, 80.0, 6000.0, 4000.0, 300.0)
    bearings, altitudes = np.array(ridge.skyline_deg).T
    assert altitudes.max() == pytest.approx(math.degrees(math.atan((300.0 - 0.7) / 6000.0)), abs=0.001)
    assert np.ptp(bearings) == pytest.approx(2.0 * math.degrees(math.atan(2000.0 / 6000.0)), abs=0.02)
    assert (bearings[0] + bearings[-1]) / 2.0 == pytest.approx(80.0, abs=0.01)


def test_a_block_taken_out_is_forgotten_as_the_subject(bare: Plan) -> None:
    tower = kit.piece_blocks(
        bare, "tower", kit.Spot(foot_m=(0.0, 90.0, 0.0)), (8.0, 8.0, 30.0), name="beacon"
    )
    plan = kit.with_blocks(bare, tower)
    assert plan.composition is not None
    plan = attrs.evolve(plan, composition=attrs.evolve(plan.composition, subject="beacon"))
    renamed = kit.renamed(plan, 0, "lamp")
    assert renamed.composition is not None
    assert renamed.composition.subject == "lamp"
    gone = kit.without_blocks(renamed, {0})
    assert gone.composition is not None
    assert gone.composition.subject == ""
    assert gone.blocks == ()


# ---------------------------------------------------------------- what one begins with


@pytest.mark.parametrize("month", range(1, 13))
def test_the_starter_is_a_plan_to_go_out_with_in_any_month(month: int) -> None:
    plan = starter.starter_plan(starter.PlanDefaults(), dt.date(2027, month, 20))
    report = review(plan, compute_frames(plan))
    assert [finding.code for finding in report.findings if finding.level != "note"] == []
    assert 10 <= len(plan.blocks) <= 40
    assert plan_from_dict(plan_to_dict(plan)) == plan


@pytest.mark.parametrize(
    ("slide", "pan", "tilt"), [(False, True, True), (True, False, False), (False, False, False)]
)
def test_the_starter_takes_the_rig_of_the_preferences(slide: bool, pan: bool, tilt: bool) -> None:
    defaults = starter.PlanDefaults(has_slide=slide, has_pan=pan, has_tilt=tilt)
    plan = starter.starter_plan(defaults, dt.date(2027, 3, 14))
    assert [plan.rig.slide is not None, plan.rig.pan is not None, plan.rig.tilt is not None] == [
        slide,
        pan,
        tilt,
    ]
    assert [f for f in review(plan, compute_frames(plan)).findings if f.level == "stop"] == []


def test_where_the_sun_does_not_set_the_plan_goes_by_noon() -> None:
    north = starter.PlanDefaults(latitude_deg=78.0, timezone="Arctic/Longyearbyen")
    plan = starter.bare_plan(north, dt.date(2027, 6, 21))
    assert plan.shoot.anchor is not None
    assert plan.shoot.anchor.event == "solar_noon"


# ---------------------------------------------------------------- single values and poses


@given(number=st.floats(-1e6, 1e6).map(lambda v: round(v, 3)))
def test_a_typed_number_comes_back_as_typed_through_single_precision(number: float) -> None:
    kept = edits.tidy(float(np.float32(number)))
    assert np.float32(kept) == np.float32(number)
    assert len(repr(abs(kept))) <= max(len(repr(abs(number))), 12)


@pytest.mark.parametrize("typed", [43.46, -3.79, 0.05, 12.5, 1e-05, 271.3])
def test_numbers_with_few_digits_stay_exactly_so(typed: float) -> None:
    assert edits.tidy(float(np.float32(typed))) == typed
    assert edits.tidy_degrees(float(np.float32(math.radians(typed)))) == pytest.approx(typed, abs=2e-5)


def test_a_refused_value_names_the_whole_path(bare: Plan) -> None:
    with pytest.raises(PlanError, match=r"^rig\.slide\.max_m: 1500 is longer than any slider"):
        edits.evolved(bare, "rig.slide.max_m", 1500.0)
    with pytest.raises(PlanError, match=r"^move\.poses\[1\]\.tilt_deg: 120 "):
        edits.evolved(bare, "move.poses[1].tilt_deg", 120.0)


def test_every_field_of_a_plan_can_be_read_by_its_path(bare: Plan) -> None:
    assert value_at(bare, "move.poses[1].pan_deg") == bare.move.poses[1].pan_deg
    assert value_at(attrs.evolve(bare, exposure=None), "exposure.f_number") is None


@pytest.mark.parametrize(
    ("typed", "seconds"), [("1/125", 1 / 125), ("0.5", 0.5), (" 5 s", 5.0), ("1 / 2.5", 0.4), ("13", 13.0)]
)
def test_shutter_times_are_read_as_a_camera_writes_them(typed: str, seconds: float) -> None:
    assert edits.parse_shutter(typed, "exposure.shutter_max_s") == pytest.approx(seconds)


@pytest.mark.parametrize("typed", ["", "fast", "1/0", "-1", "1/125/2", "nan"])
def test_what_is_no_shutter_time_is_refused(typed: str) -> None:
    with pytest.raises(PlanError, match="is not a shutter time; write it as 1/125 or 5"):
        edits.parse_shutter(typed, "exposure.shutter_max_s")


@given(at=st.floats(0.0, 1.0), number=st.integers(0, 1))
def test_a_pose_moved_along_the_move_keeps_the_poses_in_order(bare: Plan, at: float, number: int) -> None:
    other = bare.move.poses[1 - number].at
    if abs(round(at, 6) - other) < 1e-6:
        with pytest.raises(PlanError, match="is also the place of pose"):
            edits.moved_to(bare, number, at)
        return
    moved, now = edits.moved_to(bare, number, at)
    places = [pose.at for pose in moved.move.poses]
    assert places == sorted(places)
    assert moved.move.poses[now].at == pytest.approx(at, abs=1e-6)
    assert moved.move.poses[now].pan_deg == bare.move.poses[number].pan_deg


def test_an_axis_taken_off_leaves_the_lens_where_it_looked(bare: Plan) -> None:
    still = edits.without_axis(edits.without_axis(bare, "pan"), "slide")
    assert still.rig.pan is None
    assert still.rig.slide is None
    assert {pose.pan_deg for pose in still.move.poses} == {bare.move.poses[0].pan_deg}
    again = edits.with_axis(still, "pan", starter.default_axis(starter.PlanDefaults(), "pan"))
    assert compute_frames(again).pan_deg is not None


@given(
    slide=st.floats(0.0, 1.2),
    pan=st.floats(-170.0, 170.0),
    tilt=st.floats(-40.0, 40.0),
    number=st.integers(0, 1),
)
def test_standing_where_the_rig_can_stand_is_exact(
    bare: Plan, slide: float, pan: float, tilt: float, number: int
) -> None:
    from planner_core.rig import geometry

    pan += 40.0
    eye = geometry.camera_position_m(bare, slide, pan, tilt)
    ahead = geometry.direction(pan, tilt, bare.site.scene_north_deg)
    placed, said = edits.pose_from_view(bare, number, eye.tolist(), ahead.tolist())
    assert said == ()
    pose = placed.move.poses[number]
    assert pose.slide_m == pytest.approx(slide, abs=1e-3)
    assert pose.pan_deg == pytest.approx(pan, abs=2e-3)
    assert pose.tilt_deg == pytest.approx(tilt, abs=2e-3)


def test_what_the_rig_cannot_reach_is_said(bare: Plan) -> None:
    _, said = edits.pose_from_view(bare, 0, (9.0, -3.0, 4.0), (0.0, 0.3, -1.0))
    assert any(line.startswith("The rail ends at 1.20 m") for line in said)
    assert any(line.startswith("The tilt ends at") for line in said)
    assert any(line.startswith("The lens stands") for line in said)


def test_a_start_time_and_an_anchor_change_into_each_other_without_moving_the_shoot(bare: Plan) -> None:
    before = compute_frames(bare).utc_s[0]
    timed = edits.with_start(bare)
    assert timed.shoot.anchor is None
    assert compute_frames(timed).utc_s[0] == pytest.approx(before, abs=1.0)
    back = edits.with_anchor(timed, "sunset")
    assert compute_frames(back).utc_s[0] == pytest.approx(before, abs=1.0)


def test_the_days_arrows_keep_the_plan_and_move_the_date(bare: Plan) -> None:
    later = edits.with_days_added(bare, 7)
    assert later.shoot.anchor is not None
    assert later.shoot.anchor.date == dt.date(2027, 3, 21)
    timed = edits.with_days_added(edits.with_start(bare), -1)
    assert timed.shoot.start is not None
    assert timed.shoot.start.date() == dt.date(2027, 3, 13)
    with pytest.raises(PlanError, match="is outside the years"):
        edits.with_days_added(bare, 40000)


def test_a_rail_put_before_a_subject_lies_across_the_view_and_looks_there(bare: Plan) -> None:
    placed = edits.rail_placed(bare, (3.0, 4.0, 1.0), aim_m=(103.0, 104.0, 20.0))
    aim = 45.0 + bare.site.scene_north_deg
    assert placed.rig.bearing_deg == pytest.approx((aim + 90.0) % 360.0, abs=0.01)
    frames = compute_frames(placed)
    assert frames.lens_bearing_deg[len(frames) // 2] % 360.0 == pytest.approx(aim, abs=0.1)


# ---------------------------------------------------------------- things of several blocks


def with_piece(plan: Plan, kind: str, called: str = "") -> Plan:
    spot = kit.spot_by_bearing(plan, 40.0, 60.0)
    return kit.with_blocks(plan, kit.piece_blocks(plan, kind, spot, kit.PIECES[kind].size_m, name=called))


@pytest.mark.parametrize("kind", ["railing", "bridge", "houses", "house", "tree"])
def test_a_piece_of_several_blocks_is_one_thing(bare: Plan, kind: str) -> None:
    plan = with_piece(with_piece(bare, kind), kind)
    half = len(plan.blocks) // 2
    assert half > 1
    assert kit.members(plan, half - 1) == tuple(range(half))
    assert [number for number in range(len(plan.blocks)) if kit.stands_for_all(plan, number)] == [0, half]
    assert plan_from_dict(plan_to_dict(plan)) == plan


def test_a_thing_of_one_block_says_nothing_of_it_in_its_file(bare: Plan) -> None:
    plan = with_piece(bare, "tower")
    assert "part_of" not in plan_to_dict(plan)["blocks"][0]


def test_renaming_a_thing_renames_its_blocks_and_the_subject(bare: Plan) -> None:
    plan = edits.evolved(with_piece(bare, "bridge"), "composition.subject", "bridge")
    renamed = kit.renamed(plan, 1, "viaduct")
    assert [block.name for block in renamed.blocks][:2] == ["viaduct", "viaduct pier 1"]
    assert {block.part_of for block in renamed.blocks} == {"viaduct"}
    assert renamed.composition is not None
    assert renamed.composition.subject == "viaduct"
    assert kit.renamed(renamed, 0, "bridge") == plan


def test_blocks_are_joined_and_separated_again(bare: Plan) -> None:
    plan = with_piece(with_piece(bare, "tower"), "box")
    together = kit.joined(plan, [0, 1], "works")
    assert kit.thing_label(together, 1) == "works"
    assert kit.separated(together, kit.members(together, 0)) == plan
    with pytest.raises(PlanError, match="two blocks or more"):
        kit.joined(plan, [0])
