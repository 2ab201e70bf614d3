"""BlockVisibility: rectangles, areas, what shows and what the sun reaches, on every frame."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from planner_core import compute_frames
from planner_core.picture import block_projection, block_visibility, projection
from planner_core.picture.block_visibility import BlockVisibility
from planner_core.place import blocking
from planner_core.plan.model import Block, Plan, Pose
from planner_core.rig.camera import camera_path
from tests.places import FINE_RAYS, box, place, post, random_place
from tests.present import present

SEEDS = st.integers(0, 10_000)


def along(plan: Plan, count: int | None = None) -> BlockVisibility:
    """The visibility along a plan's camera path."""
    path = camera_path(plan, np.linspace(0.0, 1.0, count or plan.shoot.frames))
    return block_visibility.compute_visibility(plan, path)


def still(*blocks: Block, **changes: Any) -> BlockVisibility:
    return along(place(*blocks, **changes), 3)


# ---------------------------------------------------------------- rectangles and areas


def test_a_wall_square_to_the_lens_has_the_rectangle_of_its_front() -> None:
    # projection by hand: focal length 24 mm of a 36 mm sensor is 2560 px of 3840
    found = still(box("wall", 0, 20, (6, 2, 5)))
    front = 2560.0 / 19.0
    left, top, right, bottom = found.rectangle_px((0,))[0]
    assert (left, right) == pytest.approx((1920 - 3 * front, 1920 + 3 * front))
    assert (top, bottom) == pytest.approx((1080 - 3.5 * front, 1080 + 1.5 * front))
    assert found.frame_share(0)[0] == pytest.approx(30 * front**2 / (3840 * 2160))
    assert found.distance_m[0, 0] == pytest.approx(19.0)


def free(found: block_visibility.BlockVisibility, index: int = 0) -> np.ndarray:
    """Share of a block's part inside the frame that nothing hides, 0 where none of it is inside."""
    return np.nan_to_num(found.visible((index,)).fraction)


def test_half_of_a_wall_beyond_the_edge_is_half_inside() -> None:
    edge = 0.75 * 20.0  # where the right edge cuts the plane 20 m ahead
    found = still(box("wall", edge, 20.05, (8, 0.1, 1)))
    assert found.inside_share((0,))[0] == pytest.approx(0.5, abs=0.005)


def test_what_lies_behind_the_camera_has_no_place_in_the_picture() -> None:
    found = still(box("behind", 0, -30, (10, 10, 10)), box("ahead", 0, 30, (4, 4, 4)))
    assert np.isnan(found.rectangle_px((0,))).all()
    assert not found.in_frame[:, 0].any()
    assert found.areas_px(0)[0].max() == 0.0
    assert found.inside_share((0,)).max() == 0.0
    assert free(found).max() == 0.0
    assert found.rectangle_px((0, 1))[0] == pytest.approx(found.rectangle_px((1,))[0])


def test_ground_that_reaches_past_the_camera_fills_the_frame_below_the_horizon() -> None:
    # the level horizon of a level lens lies in the middle: half of the frame is ground
    found = still(box("meadow", 0, 0, (20000, 20000, 1), role="ground", base=-1.0))
    assert found.frame_share(0)[0] == pytest.approx(0.5, abs=0.001)


def test_a_wall_beside_the_camera_is_cut_where_the_camera_stands() -> None:
    # a corridor wall 1 m to the right, 2 m high, running past the camera: its top edge goes to the vanishing
    # point in the middle of the frame, and leaves the frame's right edge 0.5 · 2560 / 1.5 px above the middle
    found = still(box("wall", 1.55, 0.0, (1.1, 4000, 2)), origin_m=(0.0, 0.0, 1.0))
    width, height = 1920.0, 1080.0
    at_edge = 1.0 * 2560.0 / (2560.0 / 1920.0)  # 1 m up and down where 1 m across is the frame's half width
    triangle = (
        width * min(at_edge, 1e9) if at_edge < height else height * height + 2 * height * (width - height)
    )
    assert found.frame_share(0)[0] * 3840 * 2160 == pytest.approx(triangle, rel=0.01)


@pytest.mark.once
@settings(max_examples=25)
@given(SEEDS)
def test_rectangles_hold_every_corner_in_front(seed: int) -> None:
    plan = random_place(seed)
    found = along(plan, 4)
    for frame in range(4):
        for index, block in enumerate(plan.blocks):
            corners = blocking.block_mesh(plan, block).vertices_m
            corners = corners[corners[:, 2] >= found.boxes.ground_m]
            px, depth = projection.project_px(
                plan, corners, found.camera_m[frame], found.camera_rotation[frame]
            )
            px = px[depth > 0.05]
            if len(px):
                left, top, right, bottom = found.rectangle_px((index,))[frame]
                assert px[:, 0].min() >= left - 1e-6
                assert px[:, 0].max() <= right + 1e-6
                assert px[:, 1].min() >= top - 1e-6
                assert px[:, 1].max() <= bottom + 1e-6


def mirrored(plan: Plan) -> Plan:
    """The plan seen in a mirror that stands along the line of sight."""

    def flip(block: Block) -> Block:
        if block.shape == "ridge":
            return attrs.evolve(
                block, skyline_deg=tuple((-b, a) for b, a in reversed(present(block.skyline_deg)))
            )
        if block.shape == "prism":
            return attrs.evolve(
                block, footprint_m=tuple((-x, y) for x, y in reversed(present(block.footprint_m)))
            )
        x, y, z = present(block.centre_m)
        return attrs.evolve(block, centre_m=(-x, y, z), turn_deg=-block.turn_deg)

    poses = tuple(attrs.evolve(pose, pan_deg=-present(pose.pan_deg)) for pose in plan.move.poses)
    return attrs.evolve(
        plan,
        blocks=tuple(flip(block) for block in plan.blocks),
        rig=attrs.evolve(plan.rig, bearing_deg=-plan.rig.bearing_deg),
        move=attrs.evolve(plan.move, poses=poses),
    )


@pytest.mark.once
@settings(max_examples=20)
@given(SEEDS)
def test_a_mirrored_place_gives_mirrored_pictures(seed: int) -> None:
    plan = random_place(seed, frames=12)
    one, other = along(plan), along(mirrored(plan))
    kept = np.isfinite(one.left) & (np.abs(one.left) < 1e7) & (np.abs(one.right) < 1e7)
    np.testing.assert_allclose(one.left[kept], (one.width_px - other.right)[kept], rtol=1e-7, atol=1e-4)
    np.testing.assert_allclose(one.top[kept], other.top[kept], rtol=1e-7, atol=1e-4)
    for index, block in enumerate(plan.blocks):
        exact = 1e-2 if block.shape == "figure" else 1e-6  # whose sides aren't quite flat
        np.testing.assert_allclose(
            one.frame_share(index), other.frame_share(index), rtol=exact, atol=0.1 * exact**1.5
        )
    for index in range(0, len(plan.blocks) - 1, 3):  # few rays meet the ridge where it hardly shows
        # an edge may pass so near to a ray that a rounding error decides
        here, there = (
            t.occlusion.look((index,), np.arange(0, 12, 4), rays=FINE_RAYS)[0] for t in (one, other)
        )
        np.testing.assert_allclose(here, there, atol=2.5 / FINE_RAYS)


@pytest.mark.once
@settings(max_examples=20)
@given(SEEDS, st.floats(300.0, 3000.0))
def test_a_block_far_behind_the_camera_never_counts(seed: int, distance_m: float) -> None:
    plan = random_place(seed, frames=12)
    plan = attrs.evolve(plan, blocks=plan.blocks[:-1])  # a ridge reaches around
    more = attrs.evolve(plan, blocks=(*plan.blocks, box("behind", 30, -distance_m, (90, 20, 60))))
    one, other = along(plan), along(more)
    assert not other.in_frame[:, -1].any()
    assert not other.occlusion.could_hide((0,))[:, -1].any()
    for index in range(len(plan.blocks)):
        np.testing.assert_array_equal(free(one, index), free(other, index))


# ---------------------------------------------------------------- what shows


def test_nothing_in_the_way_is_all_to_be_seen() -> None:
    found = still(box("house", 0, 30, (6, 6, 6)), box("behind it", 0, 60, (6, 6, 6)))
    assert free(found) == pytest.approx(1.0)


def test_a_wall_before_half_of_a_house_hides_half() -> None:
    found = still(box("house", 0, 30.05, (6, 0.1, 6)), box("wall", 5, 15, (10, 0.1, 20)))
    assert free(found)[0] == pytest.approx(0.5, abs=0.02)
    fine, _ = found.occlusion.look((0,), np.array([0]), rays=FINE_RAYS)
    assert fine[0] == pytest.approx(0.5, abs=0.005)


def test_parts_that_touch_do_not_hide_each_other() -> None:
    found = still(box("walls", 0, 30, (6, 6, 6)), box("roof", 0, 30, (6, 6, 2), base=6.0))
    assert free(found) == pytest.approx(1.0)
    assert found.visible((0, 1)).fraction == pytest.approx(1.0)


def test_what_stands_in_the_ground_is_not_hidden_by_it() -> None:
    found = still(box("pier", 0, 30, (2, 2, 6), base=-3.0))
    assert free(found) == pytest.approx(1.0)


def test_a_low_wall_hides_the_foot_of_a_tower() -> None:
    # by proportion: from 1.5 m, a wall 1 m high at 10 m hides nothing above 1.5 − 0.5 · 50/10 < 0; one of 2 m
    # hides up to 1.5 + 0.5 · 49.95/10 = 4 m of a tower 20 m high
    tower = box("tower", 0, 50, (1, 0.1, 20))
    assert free(still(tower, box("wall", 0, 10, (30, 0.001, 1)))) == pytest.approx(1.0, abs=0.02)
    assert free(still(tower, box("wall", 0, 10, (30, 0.001, 2)))) == pytest.approx(0.8, abs=0.02)


def crossing(frames: int = 400, wide_m: float = 0.1) -> Plan:
    """A slide past a post that stands in front of a far tower."""
    return place(
        box("tower", 0, 100, (4, 4, 20), role="subject"),
        post("post", 1.0, 2.0, wide_m, 3.0),
        poses=(Pose(at=0.0, slide_m=0.0, pan_deg=0.0), Pose(at=1.0, slide_m=2.0, pan_deg=0.0)),
        frames=frames,
    )


def test_a_post_hides_the_tower_exactly_while_it_crosses_it() -> None:
    # the lines of sight past both sides of the post (16 flat sides, of which one faces the lens) and of the
    # tower's front, 98 m away, crossed with the rail
    plan = crossing()
    found = along(plan)
    share = found.visible((0,)).fraction
    slide = np.linspace(0.0, 2.0, 400)
    on_tower = slide + (np.array([[0.95], [1.05]]) - slide) * (98.0 / 2.0)  # edges of the post's shadow
    covered = np.minimum(on_tower[1], 2.0) - np.maximum(on_tower[0], -2.0)
    hidden = np.clip(covered, 0.0, 4.0) / 4.0
    assert np.max(np.abs((1.0 - share) - hidden)) < 0.06
    quarter = np.flatnonzero(share < 0.75), np.flatnonzero(hidden > 0.25)
    assert abs(quarter[0][0] - quarter[1][0]) <= 1
    assert abs(quarter[0][-1] - quarter[1][-1]) <= 1


@pytest.mark.parametrize("frames", [400, 5000])
def test_few_frames_are_looked_at_and_none_that_matters_is_missed(frames: int) -> None:
    plan = crossing(frames)
    found = along(plan)
    quick, exact = found.visible((0,)), found.visible((0,), every_frame=True)
    assert np.max(np.abs(quick.fraction - exact.fraction)) <= 2.0 * block_visibility.TOLERANCE
    assert len(quick.sampled) < 200


@pytest.mark.once
@settings(max_examples=10)
@given(SEEDS)
def test_interpolated_shares_stay_near_those_of_every_frame(seed: int) -> None:
    plan = random_place(seed, frames=160)
    found = along(plan)
    for index in range(0, len(plan.blocks), 4):
        quick, exact = found.visible((index,)).fraction, found.visible((index,), every_frame=True).fraction
        # a corner of its box may be in the frame for a moment, and nothing of the block itself
        assert np.mean(np.isnan(quick) != np.isnan(exact)) < 0.02
        assert np.nanmax(np.abs(quick - exact), initial=0.0) < 0.12
        assert np.nanmean(np.abs(quick - exact)) < 0.01 if np.isfinite(exact).any() else True


def test_the_block_that_hides_is_named() -> None:
    found = along(crossing())
    seen = found.visible((0,))
    assert seen.hidden_by[:, 1].max() == pytest.approx(1.0)
    assert seen.hidden_by[:, 0].max() == 0.0


# ---------------------------------------------------------------- the small print


def test_a_table_has_its_visibility_computed_once() -> None:
    plan = place(box("house", 0, 30, (6, 6, 6)), frames=20)
    frames = compute_frames(plan)
    assert frames.view.visibility is frames.view.visibility
    assert compute_frames(plan).view.visibility is not frames.view.visibility


def test_a_place_without_blocks_has_nothing_to_project() -> None:
    found = still()
    assert found.left.shape == (3, 0)
    assert found.in_frame.shape == (3, 0)


def test_between_looks_where_values_change() -> None:
    asked = []

    def look(places: NDArray[np.int64]) -> NDArray[np.float64]:
        asked.extend(places.tolist())
        return np.where(places < 333, 0.0, 1.0)

    first = np.zeros(1000, dtype=bool)
    first[::250] = True
    found = block_visibility.between(look, np.arange(1000), first, 0.02)
    np.testing.assert_array_equal(found, np.where(np.arange(1000) < 333, 0.0, 1.0))
    assert len(asked) < 20


def test_very_many_rectangles_take_half_the_memory_and_say_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    crowd = random_place(11)
    whole = block_visibility.compute_visibility(crowd, compute_frames(crowd))
    monkeypatch.setattr(block_projection, "MANY_RECTANGLES", 0)
    halved = block_visibility.compute_visibility(crowd, compute_frames(crowd))
    for name in ("left", "top", "right", "bottom", "distance_m"):
        assert getattr(halved, name).nbytes * 2 == getattr(whole, name).nbytes
        np.testing.assert_allclose(getattr(halved, name), getattr(whole, name), rtol=1e-6)
