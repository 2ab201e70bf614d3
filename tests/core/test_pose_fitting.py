"""A motion goes back into the fewest poses that make it."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from planner_core import Plan
from planner_core.plan import timeline
from planner_core.plan.model import Move, Pose
from planner_core.rig import motion, pose_fitting
from tests.two_towers import plan

PLAN = plan(shoot__frames=121)
AT = timeline.frame_places(121)
LARGEST = {"slide_m": 0.0005, "pan_deg": 0.01, "tilt_deg": 0.01}


def motion_of(move: Move) -> dict[str, NDArray[np.float64]]:
    found = {axis: motion.axis_values(move, axis, AT) for axis in LARGEST}
    return {axis: values for axis, values in found.items() if values is not None}


def assert_same_motion(move: Move, wanted: dict[str, NDArray[np.float64]]) -> None:
    made = motion_of(move)
    for axis, values in wanted.items():
        assert np.abs(made[axis] - values).max() <= LARGEST[axis], axis


@st.composite
def moves(draw: st.DrawFn) -> Move:
    frames = draw(st.lists(st.integers(1, 14), min_size=0, max_size=3, unique=True))
    places = [0.0, *(float(AT[8 * f]) for f in sorted(frames)), 1.0]
    number = st.floats(0.0, 1.0)
    poses = tuple(
        Pose(
            at=at,
            slide_m=0.1 + 1.3 * draw(number),
            pan_deg=200.0 + 90.0 * draw(number),
            tilt_deg=-10.0 + 25.0 * draw(number),
        )
        for at in places
    )
    return attrs.evolve(PLAN.move, poses=poses, ease=draw(st.sampled_from([0.0, 0.2, 0.33, 0.5])))


@pytest.mark.once
@settings(max_examples=12)
@given(moves())
def test_a_motion_made_of_poses_needs_no_more_than_those(move: Move) -> None:
    wanted = motion_of(move)
    found = pose_fitting.fit_poses(PLAN, wanted)
    assert len(found.poses) <= len(move.poses)
    assert_same_motion(found, wanted)


@pytest.mark.once
@settings(max_examples=5)
@given(moves(), st.integers(0, 1000))
def test_single_precision_makes_no_difference(move: Move, luck: int) -> None:
    # Blender keeps curves in single precision, angles in radians
    noise = np.random.default_rng(luck)
    wanted = {
        axis: values + noise.uniform(-1.0, 1.0, values.shape) * (1e-7 if axis == "slide_m" else 2e-5)
        for axis, values in motion_of(move).items()
    }
    found = pose_fitting.fit_poses(PLAN, wanted)
    assert len(found.poses) <= len(move.poses)
    assert_same_motion(found, wanted)


SHAPES: dict[str, Any] = {
    "Blender's own ease": 3.0 * AT**2 - 2.0 * AT**3,
    "a corner": np.interp(AT, [0.0, 0.4, 1.0], [0.0, 0.7, 1.0]),
    "there and back": np.sin(AT * 4.0),
    "a wait on the way": np.interp(AT, [0.0, 0.3, 0.6, 1.0], [0.0, 0.5, 0.5, 1.0]),
    "a late start": np.clip((AT - 0.3) / 0.5, 0.0, 1.0) ** 2,
}


@pytest.mark.once
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_curves_drawn_by_hand_are_met_within_half_a_millimetre_and_a_hundredth_degree(
    shape: NDArray[np.float64],
) -> None:
    wanted = {"slide_m": 0.1 + 1.2 * shape, "pan_deg": 262.0 + 8.0 * shape, "tilt_deg": 3.0 + 2.0 * shape}
    found = pose_fitting.fit_poses(PLAN, wanted)
    assert_same_motion(found, wanted)
    assert len(found.poses) < 40


def test_steady_motion_needs_two_poses_and_no_ease() -> None:
    wanted = {"slide_m": 0.1 + 1.2 * AT, "pan_deg": 262.0 + 8.0 * AT, "tilt_deg": 3.0 - AT}
    found = pose_fitting.fit_poses(PLAN, wanted)
    assert [pose.at for pose in found.poses] == [0.0, 1.0]
    assert found.ease == 0.0


def test_standing_still_needs_one_pose() -> None:
    still = np.ones(121)
    found = pose_fitting.fit_poses(
        PLAN, {"slide_m": still, "pan_deg": 262.0 * still, "tilt_deg": 0.0 * still}
    )
    assert len(found.poses) == 1
    assert (found.poses[0].slide_m, found.poses[0].pan_deg) == pytest.approx((1.0, 262.0))


def test_one_axis_changes_and_the_others_keep_their_motion_exactly() -> None:
    shape = SHAPES["there and back"]
    found = pose_fitting.fit_poses(PLAN, {"tilt_deg": 3.0 * shape})
    assert_same_motion(found, {"tilt_deg": 3.0 * shape})
    before, after = motion_of(PLAN.move), motion_of(found)
    assert np.array_equal(after["slide_m"], before["slide_m"])
    assert np.array_equal(after["pan_deg"], before["pan_deg"])


@pytest.mark.once
def test_an_axis_that_moves_beyond_the_poses_takes_the_others_along() -> None:
    # the poses end at 0.5; the tilt now goes on after them
    poses = (
        Pose(at=0.0, slide_m=0.1, pan_deg=262.0, tilt_deg=0.0),
        Pose(at=0.5, slide_m=1.0, pan_deg=266.0, tilt_deg=0.0),
    )
    early = attrs.evolve(PLAN, move=attrs.evolve(PLAN.move, poses=poses))
    wanted = {"tilt_deg": 5.0 * AT**2}
    found = pose_fitting.fit_poses(early, wanted)
    assert_same_motion(found, {**motion_of(early.move), **wanted})


def test_nothing_wanted_changes_nothing() -> None:
    assert pose_fitting.fit_poses(PLAN, {}) == PLAN.move


@pytest.mark.parametrize("values", [np.zeros(120), np.full(121, np.nan)], ids=["too few", "not numbers"])
def test_values_that_cannot_be_meant_are_refused(values: NDArray[np.float64]) -> None:
    with pytest.raises(ValueError, match="121 finite values"):
        pose_fitting.fit_poses(PLAN, {"slide_m": values})


def test_a_plan_without_a_slide_can_be_refitted() -> None:
    poses = (Pose(at=0.0, pan_deg=262.0), Pose(at=1.0, pan_deg=270.0))
    changed: Plan = attrs.evolve(
        PLAN,
        rig=attrs.evolve(PLAN.rig, slide=None, tilt=None),
        move=attrs.evolve(PLAN.move, poses=poses),
    )
    found = pose_fitting.fit_poses(changed, {"pan_deg": 262.0 + 8.0 * AT})
    assert [pose.slide_m for pose in found.poses] == [None, None]
    assert_same_motion(found, {"pan_deg": 262.0 + 8.0 * AT})


def test_poses_between_frames_are_found_again() -> None:
    # the second pose stands between frames 40 and 41; the whole curve was lifted by hand
    poses = (
        Pose(at=0.0, slide_m=0.1, pan_deg=262.0, tilt_deg=3.0),
        Pose(at=0.3337, slide_m=0.6, pan_deg=265.5),
        Pose(at=1.0, slide_m=1.4, pan_deg=270.0, tilt_deg=5.0),
    )
    one = attrs.evolve(PLAN, move=attrs.evolve(PLAN.move, poses=poses))
    before = motion_of(one.move)
    lifted = {"slide_m": before["slide_m"] - 0.05}
    found = pose_fitting.fit_poses(one, lifted)
    assert [pose.at for pose in found.poses] == [0.0, 0.3337, 1.0]
    assert [pose.slide_m for pose in found.poses] == pytest.approx([0.05, 0.55, 1.35], abs=1e-5)
    assert [pose.pan_deg for pose in found.poses] == [262.0, 265.5, 270.0]
    everything = {axis: values + 0.25 for axis, values in before.items()}
    assert len(pose_fitting.fit_poses(one, everything).poses) <= 4
