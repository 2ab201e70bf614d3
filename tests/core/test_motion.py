"""Axis positions between poses: reached, monotone, gentle at both ends, whatever axes the rig has."""

from __future__ import annotations

import itertools
from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.plan.model import Pose
from planner_core.rig.motion import axis_positions, axis_values, minimum_jerk, monotone_cubic, progress
from tests.moves import PAN, QUAY, SLIDE, TILT, bare_rig, move_of
from tests.present import present

FRAMES = np.linspace(0.0, 1.0, 481)
shares = st.floats(0.0, 1.0, allow_nan=False)
eases = st.floats(0.0, 0.5, allow_nan=False)


@st.composite
def slides(draw: st.DrawFn) -> tuple[Pose, ...]:
    """Poses in order, each with a slide; two neighbours may be equal (a hold) or very close to each other."""
    places = sorted(draw(st.sets(shares, min_size=1, max_size=7)))
    return tuple(Pose(at=at, slide_m=draw(st.floats(-5.0, 5.0))) for at in places)


@given(slides(), eases)
def test_values_stay_between_the_neighbouring_poses(poses: tuple[Pose, ...], ease: float) -> None:
    at = np.unique(np.concatenate([FRAMES, [pose.at for pose in poses]]))
    values = present(axis_values(move_of(*poses, ease=ease), "slide_m", at))
    assert np.isfinite(values).all()
    for before, after in itertools.pairwise(poses):
        between = (at >= before.at) & (at <= after.at)
        low, high = sorted([present(before.slide_m), present(after.slide_m)])
        close_by = [
            present(pose.slide_m)
            for pose in poses
            if abs(pose.at - before.at) < 1e-4 or abs(pose.at - after.at) < 1e-4
        ]
        low, high = min(low, *close_by), max(high, *close_by)
        assert np.all((values[between] >= low - 1e-12) & (values[between] <= high + 1e-12))


@pytest.mark.once
@given(slides(), eases)
def test_the_move_goes_one_way_between_two_poses(poses: tuple[Pose, ...], ease: float) -> None:
    if any(after.at - before.at < 1e-3 for before, after in itertools.pairwise(poses)):
        return  # such poses may become one
    for before, after in itertools.pairwise(poses):
        at = np.linspace(before.at, after.at, 50)
        way = np.diff(present(axis_values(move_of(*poses, ease=ease), "slide_m", at)))
        assert np.all(way * np.sign(present(after.slide_m) - present(before.slide_m)) >= -1e-9)


@pytest.mark.once
@given(slides(), eases)
def test_every_pose_is_reached_at_its_own_place(poses: tuple[Pose, ...], ease: float) -> None:
    for pose in poses:
        if all(other is pose or abs(other.at - pose.at) > 1e-3 for other in poses):
            assert axis_values(move_of(*poses, ease=ease), "slide_m", pose.at) == pytest.approx(
                pose.slide_m, abs=1e-9
            )


@given(slides(), eases)
def test_a_move_filmed_backwards_is_the_backward_move(poses: tuple[Pose, ...], ease: float) -> None:
    places = np.array([pose.at for pose in poses])
    if len(places) > 1 and np.diff(places).min() < 1e-3:
        return
    backward = tuple(attrs.evolve(pose, at=1.0 - pose.at) for pose in reversed(poses))
    there = axis_values(move_of(*poses, ease=ease), "slide_m", FRAMES)
    back = axis_values(move_of(*backward, ease=ease), "slide_m", 1.0 - FRAMES)
    assert np.allclose(present(there), present(back), atol=1e-7)


@pytest.mark.once
@given(slides(), eases, st.floats(-3.0, 3.0), st.floats(-2.0, 2.0))
def test_a_longer_travel_is_the_same_move_stretched(
    poses: tuple[Pose, ...], ease: float, factor: float, shift: float
) -> None:
    stretched = tuple(attrs.evolve(pose, slide_m=factor * present(pose.slide_m) + shift) for pose in poses)
    values = present(axis_values(move_of(*poses, ease=ease), "slide_m", FRAMES))
    assert np.allclose(
        present(axis_values(move_of(*stretched, ease=ease), "slide_m", FRAMES)),
        factor * values + shift,
        atol=1e-9,
    )


@given(eases, shares, shares)
def test_progress_never_goes_back_and_runs_from_start_to_end(ease: float, one: float, other: float) -> None:
    first, second = sorted([one, other])
    assert progress(first, ease) <= progress(second, ease) + 1e-15
    assert progress(0.0, ease) == 0.0
    assert progress(1.0, ease) == 1.0


def test_without_ease_the_speed_is_steady() -> None:
    assert np.allclose(np.diff(progress(FRAMES, 0.0)), 1.0 / 480.0)


def test_with_all_of_it_ease_the_move_is_one_minimum_jerk_curve() -> None:
    assert np.allclose(progress(FRAMES, 0.5), minimum_jerk(FRAMES), atol=1e-12)


@pytest.mark.parametrize("ease", [0.05, 0.2, 0.35, 0.5])
def test_ease_starts_and_stops_without_a_jump_in_speed_or_acceleration(ease: float) -> None:
    at = np.linspace(0.0, 1.0, 20001)
    speed = np.gradient(progress(at, ease), at)
    assert speed[0] < 1e-3
    assert speed[-1] < 1e-3
    # a jump in acceleration would show as a change of speed that doesn't shrink with the step
    assert np.abs(np.diff(speed)).max() < 6.0 / ease * (at[1] - at[0])
    steady = (at > ease) & (at < 1.0 - ease)
    if steady.any():
        assert np.ptp(speed[steady][1:-1]) < 1e-6


def test_two_equal_poses_hold_the_axis_still() -> None:
    move = move_of(
        Pose(at=0.0, slide_m=0.1),
        Pose(at=0.4, slide_m=0.6),
        Pose(at=0.6, slide_m=0.6),
        Pose(at=1.0, slide_m=1.2),
    )
    held = axis_values(move, "slide_m", np.linspace(0.4, 0.6, 50))
    assert np.all(held == 0.6)


def test_an_axis_that_a_pose_leaves_out_moves_on_through_it() -> None:
    with_gap = move_of(
        Pose(at=0.0, slide_m=0.0, pan_deg=10.0),
        Pose(at=0.5, pan_deg=40.0),
        Pose(at=1.0, slide_m=1.0, pan_deg=20.0),
    )
    plain = move_of(Pose(at=0.0, slide_m=0.0), Pose(at=1.0, slide_m=1.0))
    assert np.allclose(
        present(axis_values(with_gap, "slide_m", FRAMES)), present(axis_values(plain, "slide_m", FRAMES))
    )
    assert axis_values(with_gap, "pan_deg", 0.5) == pytest.approx(40.0)


def test_an_axis_that_no_pose_gives_has_no_values() -> None:
    assert (
        axis_values(move_of(Pose(at=0.0, slide_m=0.0), Pose(at=1.0, slide_m=1.0)), "pan_deg", FRAMES) is None
    )


def test_pan_goes_across_north_the_way_the_poses_say() -> None:
    move = move_of(Pose(at=0.0, pan_deg=350.0), Pose(at=1.0, pan_deg=370.0))
    pan = axis_values(move, "pan_deg", FRAMES)
    assert np.ptp(present(pan)) == pytest.approx(20.0)
    assert axis_values(move, "pan_deg", 0.5) == pytest.approx(360.0)
    the_long_way = move_of(Pose(at=0.0, pan_deg=350.0), Pose(at=1.0, pan_deg=10.0))
    assert np.ptp(present(axis_values(the_long_way, "pan_deg", FRAMES))) == pytest.approx(340.0)


def test_before_its_first_pose_and_after_its_last_the_rig_rests() -> None:
    move = move_of(Pose(at=0.3, slide_m=0.2), Pose(at=0.7, slide_m=0.9), ease=0.2)
    values = present(axis_values(move, "slide_m", FRAMES))
    assert np.all(values[FRAMES <= 0.3] == pytest.approx(0.2))
    assert np.all(values[FRAMES >= 0.7] == pytest.approx(0.9))


def test_a_pose_pushed_onto_the_last_one_by_the_ease_gives_numbers() -> None:
    move = move_of(
        Pose(at=0.0, slide_m=0.0), Pose(at=1.0 - 1e-7, slide_m=0.5), Pose(at=1.0, slide_m=1.0), ease=0.5
    )
    values = present(axis_values(move, "slide_m", FRAMES))
    assert np.isfinite(values).all()
    assert values[-1] == 1.0


def test_a_cubic_through_one_knot_is_constant() -> None:
    assert np.all(monotone_cubic([0.5], [3.0], FRAMES) == 3.0)


@pytest.mark.parametrize(
    "axes", [(), ("slide",), ("pan",), ("tilt",), ("slide", "pan"), ("pan", "tilt"), ("slide", "pan", "tilt")]
)
def test_rigs_with_any_set_of_axes_have_positions(axes: tuple[Any, ...]) -> None:
    all_axes = {"slide": SLIDE, "pan": PAN, "tilt": TILT}
    names = {"slide": "slide_m", "pan": "pan_deg", "tilt": "tilt_deg"}
    ends = {"slide": (0.2, 1.0), "pan": (260.0, 280.0), "tilt": (-2.0, 3.0)}
    poses = tuple(Pose(at=float(end), **{names[axis]: ends[axis][end] for axis in axes}) for end in (0, 1))
    rig = bare_rig(QUAY, **{axis: all_axes[axis] for axis in axes})
    plan = attrs.evolve(QUAY, rig=rig, move=move_of(*poses))
    found = dict(axis_positions(plan, FRAMES).given())
    assert {name: (values[0], values[-1]) for name, values in found.items()} == {
        names[axis]: ends[axis] for axis in axes
    }


def test_axes_that_the_poses_leave_alone_rest() -> None:
    plan = attrs.evolve(QUAY, move=move_of(Pose(at=0.0), Pose(at=1.0)))
    axes = axis_positions(plan, FRAMES)
    assert np.all(axes.slide_m == present(QUAY.rig.slide).min_m)
    assert np.all(axes.pan_deg == QUAY.site.scene_north_deg)
    assert np.all(axes.tilt_deg == 0.0)
