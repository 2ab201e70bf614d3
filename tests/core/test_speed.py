"""Speed as seen: pixels a frame of near, middle and far, and the words for it."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core import compute_frames
from planner_core.picture import projection, speed
from planner_core.picture.projection import delivered_crop, project_px
from planner_core.plan.model import Block, Plan
from tests.moves import QUAY, box, panning, sliding, with_move, with_rig, with_shoot


@pytest.fixture(scope="module")
def steady() -> Plan:
    """A bare scene, a steady move and a lens that turns about its pupil."""
    plan = with_rig(attrs.evolve(QUAY, blocks=()), pupil_offset_m=0.0)
    return with_move(plan, ease=0.0)


def speeds(plan: Plan) -> dict[str, Any]:
    frames = compute_frames(plan)
    return speed.screen_speeds(plan, frames.camera_m, frames.camera_rotation)


def ahead(
    plan: Plan, distance_m: float, *, across_m: float = 0.0, role: str = "foreground", size_m: float = 0.02
) -> Block:
    """A small block so far ahead of the middle of the rail, at the lens's height."""
    x, y, z = plan.rig.origin_m
    centre = (x + 0.75 + across_m, y + distance_m, z + plan.rig.head_height_m)
    return box(role, centre, (size_m, size_m, size_m))


# ---------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("frame_widths_s", "word"),
    [
        (0.0, "still"),
        (0.005, "creeping"),
        (0.03, "calm"),
        (0.1, "brisk"),
        (1.0 / 7.0, "brisk"),
        (0.15, "too fast"),
        (5.0, "too fast"),
    ],
)
def test_words_for_a_speed(frame_widths_s: float, word: str) -> None:
    # common practice, no source: a picture width in seven seconds is the fastest that reads well
    assert speed.speed_word(frame_widths_s) == word


@given(st.floats(0.0, 1e3), st.floats(0.0, 1e3))
def test_a_faster_thing_never_has_a_slower_word(one: float, other: float) -> None:
    order = [word for word, _ in speed.SPEED_WORDS]
    slow, fast = sorted([one, other])
    assert order.index(speed.speed_word(slow)) <= order.index(speed.speed_word(fast))


def test_pixels_a_frame_and_frame_widths_a_second_are_one_thing() -> None:
    # 3840 px wide, 24 frames a second: 16 px a frame are 384 px a second, a tenth of the width
    assert speed.frame_widths_a_second(QUAY, 16.0) == pytest.approx(0.1)
    assert speed.px_a_frame(QUAY, 0.1) == pytest.approx(16.0)


# ---------------------------------------------------------------- by hand


@pytest.mark.parametrize("distance_m", [1.0, 4.0, 50.0])
def test_a_slide_moves_things_by_travel_times_focal_length_over_distance(
    steady: Plan, distance_m: float
) -> None:
    # f·d/Z, any handbook of optics
    plan = sliding(attrs.evolve(steady, blocks=(ahead(steady, distance_m),)), 0.7, 0.8)
    per_frame = 0.1 / (plan.shoot.frames - 1)
    front = distance_m - 0.01
    expected = delivered_crop(plan.camera, plan.clip).focal_px * per_frame / front
    moving = speeds(plan)["foreground"]
    assert moving.worst_px == pytest.approx(expected, rel=1e-3)
    assert np.nanmedian(moving.px_per_frame) == pytest.approx(expected, rel=1e-3)
    assert moving.distance_m[0] == pytest.approx(front, rel=1e-3)


def test_speed_is_in_proportion_to_travel(steady: Plan) -> None:
    # common practice, no source
    plan = attrs.evolve(steady, blocks=(ahead(steady, 2.0), ahead(steady, 90.0, role="background")))
    slow, fast = speeds(sliding(plan, 0.6, 0.8)), speeds(sliding(plan, 0.45, 0.95))
    for role in ("foreground", "background"):
        assert fast[role].worst_px == pytest.approx(2.5 * slow[role].worst_px, rel=1e-3)


def test_a_slide_leaves_the_far_distance_alone_and_a_pan_takes_it_along(steady: Plan) -> None:
    assert speeds(sliding(steady, 0.1, 1.4))["far distance"].worst_px < 0.01
    turned = speeds(panning(steady, 265.0, 275.0))["far distance"]
    # in the middle of the picture a turn of 10° over 479 frames moves f·tan of its share
    expected = delivered_crop(steady.camera, steady.clip).focal_px * np.tan(np.radians(10.0 / 479.0))
    assert turned.px_per_frame.min() == pytest.approx(expected, rel=0.02)


def test_twice_the_turn_is_about_twice_the_speed(steady: Plan) -> None:
    slow, fast = speeds(panning(steady, 268.0, 272.0)), speeds(panning(steady, 266.0, 274.0))
    far = [np.nanmedian(speeds["far distance"].px_per_frame) for speeds in (fast, slow)]
    assert far[0] == pytest.approx(2.0 * far[1], rel=0.02)


def test_ease_makes_the_middle_of_a_move_faster_than_its_mean(steady: Plan) -> None:
    plan = sliding(attrs.evolve(steady, blocks=(ahead(steady, 3.0),)), 0.6, 0.9)
    eased = speeds(with_move(plan, ease=0.5))["foreground"]
    # minimum jerk peaks at 1.875 times the mean: Flash and Hogan, J. Neuroscience 5 (1985)
    assert eased.worst_px == pytest.approx(1.875 * speeds(plan)["foreground"].worst_px, rel=0.01)
    assert abs(eased.worst - 240) <= 2


# ---------------------------------------------------------------- what is looked at


def test_the_foreground_s_speed_is_that_of_its_nearest_part(steady: Plan) -> None:
    blocks = (ahead(steady, 8.0), ahead(steady, 1.2, across_m=0.1), ahead(steady, 3.0))
    moving = speeds(sliding(attrs.evolve(steady, blocks=blocks), 0.7, 0.8))["foreground"]
    assert set(moving.block) == {1}
    assert moving.distance_m == pytest.approx(np.full(479, 1.19), abs=0.01)


def test_a_long_wall_counts_where_it_is_near_even_if_its_corners_are_out_of_the_picture(steady: Plan) -> None:
    x, y, z = steady.rig.origin_m
    wall = box("foreground", (x, y + 1.5, z - 0.3), (60.0, 0.2, 0.9))
    moving = speeds(sliding(attrs.evolve(steady, blocks=(wall,)), 0.5, 1.0))["foreground"]
    assert np.nanmax(moving.distance_m) < 1.6


@pytest.mark.once
@given(st.floats(0.5, 200.0), st.sampled_from(["foreground", "subject", "background"]))
def test_a_block_behind_the_camera_never_counts(steady: Plan, distance_m: float, role: str) -> None:
    blocks = (ahead(steady, -distance_m, role=role),)
    assert role not in speeds(sliding(attrs.evolve(steady, blocks=blocks), 0.2, 1.2))


def test_a_block_beside_the_picture_never_counts(steady: Plan) -> None:
    blocks = (ahead(steady, 5.0, across_m=-40.0), ahead(steady, 5.0, across_m=40.0, role="background"))
    assert list(speeds(sliding(attrs.evolve(steady, blocks=blocks), 0.2, 1.2))) == ["far distance"]


def test_a_block_that_enters_late_counts_from_then_on(steady: Plan) -> None:
    blocks = (ahead(steady, 5.0, across_m=6.0, size_m=0.1),)
    moving = speeds(panning(attrs.evolve(steady, blocks=blocks), 250.0, 310.0))["foreground"]
    seen = np.isfinite(moving.px_per_frame)
    assert not seen[0]
    assert 50 < np.count_nonzero(seen) < 479


def test_water_and_ground_are_no_foreground(steady: Plan) -> None:
    blocks = (
        box("ground", (0.0, 50.0, -0.5), (200.0, 200.0, 1.0)),
        box("water", (0.0, 50.0, -0.5), (9.0, 90.0, 1.2)),
    )
    assert list(speeds(sliding(attrs.evolve(steady, blocks=blocks), 0.2, 1.2))) == ["far distance"]


def test_a_ridge_is_background(steady: Plan) -> None:
    ridge = Block(
        role="background",
        shape="ridge",
        distance_m=4000.0,
        skyline_deg=((230.0, 2.0), (270.0, 3.0), (310.0, 1.0)),
    )
    found = speeds(sliding(attrs.evolve(steady, blocks=(ridge,)), 0.2, 1.2))
    assert 0.0 < found["background"].worst_px < 0.01


def test_a_single_frame_has_no_speed(steady: Plan) -> None:
    assert speeds(with_shoot(steady, frames=1)) == {}


def test_a_whip_pan_past_the_back_of_the_camera_is_too_fast(steady: Plan) -> None:
    plan = with_shoot(panning(steady, 180.0, 360.0), frames=2)
    widths = speed.frame_widths_a_second(plan, speeds(plan)["far distance"].worst_px)
    assert speed.speed_word(float(widths)) == "too fast"


def test_a_thousand_blocks_are_watched_by_a_few_points(steady: Plan) -> None:
    rng = np.random.default_rng(4)
    blocks = tuple(
        ahead(steady, float(distance), across_m=float(distance * side), role=role, size_m=0.3)
        for distance, side, role in zip(
            10.0 ** rng.uniform(0.0, 2.5, 1000),
            rng.uniform(-0.6, 0.6, 1000),
            ["foreground", "background"] * 500,
            strict=True,
        )
    )
    plan = sliding(attrs.evolve(steady, blocks=blocks), 0.5, 1.0)
    frames = compute_frames(plan)
    watched = speed.watched_points(plan, frames.camera_m, frames.camera_rotation)
    assert len(watched.points_m) <= 4 * speed.KEPT_POINTS
    # and the nearest thing in the picture is among them
    corners = np.array([block.centre_m for block in blocks if block.role == "foreground"])
    track = projection.point_paths(plan, corners, frames.camera_m, frames.camera_rotation)
    nearest = np.where(projection.in_picture(plan, track), track.depth_m, np.inf).min(axis=1)[:-1]
    found = speeds(plan)["foreground"].distance_m
    assert np.median(found / nearest) < 1.1


def metres(most: float) -> Any:
    return st.floats(-most, most).map(lambda value: round(value, 6))


@given(
    st.lists(st.tuples(*[metres(50.0)] * 3), min_size=1, max_size=5),
    st.lists(
        st.tuples(*[metres(3.0)] * 3, st.floats(0.0, 360.0), st.floats(-60.0, 60.0)),
        min_size=1,
        max_size=4,
    ),
)
def test_the_fast_projection_is_the_projection(
    points: list[tuple[float, float, float]], cameras: list[tuple[float, ...]]
) -> None:
    from planner_core.rig.geometry import camera_rotation

    points_m, poses = np.array(points), np.array(cameras)
    turn = camera_rotation(poses[:, 3], poses[:, 4], 0.0)
    track = projection.point_paths(QUAY, points_m, poses[:, :3], turn)
    pixels, depth = project_px(QUAY, points_m, poses[:, None, :3], turn[:, None])
    assert np.allclose(track.depth_m, depth, atol=1e-9)
    clear = depth > 0.01
    assert np.allclose(track.x_px[clear], pixels[clear][:, 0], rtol=1e-7, atol=1e-5)
    assert np.allclose(track.y_px[clear], pixels[clear][:, 1], rtol=1e-7, atol=1e-5)
