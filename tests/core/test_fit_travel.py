"""The fit of travel: the length of rail for a chosen speed of the foreground, about the same middle."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner_core import compute_frames
from planner_core.fit.travel import CALM_FRAME_WIDTHS_S, fit_travel
from planner_core.picture import speed
from planner_core.plan.file import plan_from_text, plan_to_text
from planner_core.plan.model import Plan, PlanError, Pose
from planner_core.review.rig import review_topic
from planner_core.rig.motion import axis_positions
from tests.moves import (
    QUAY,
    bare_rig,
    box,
    move_of,
    panning,
    sliding,
    with_move,
    with_poses,
    with_shoot,
    with_slide,
)
from tests.present import present


def foreground_px(plan: Plan) -> float:
    frames = compute_frames(plan)
    return speed.screen_speeds(plan, frames.camera_m, frames.camera_rotation)["foreground"].worst_px


def travel_m(plan: Plan) -> float:
    return float(np.ptp(present(compute_frames(plan).slide_m)))


def middle(plan: Plan) -> dict[str, float]:
    return {name: float(value) for name, value in axis_positions(plan, 0.5).given()}


WITHOUT_FOREGROUND = tuple(block for block in QUAY.blocks if block.role != "foreground")


@pytest.mark.once
@pytest.mark.parametrize("wanted_px", [2.0, 5.0, 8.0])
def test_the_foreground_moves_as_fast_as_asked_for(wanted_px: float) -> None:
    fit = fit_travel(QUAY, wanted_px)
    assert foreground_px(fit.plan) == pytest.approx(wanted_px, rel=0.02)
    assert middle(fit.plan) == pytest.approx(middle(QUAY), abs=1e-4)


@pytest.mark.once
def test_without_a_speed_it_is_a_calm_one() -> None:
    fit = fit_travel(with_shoot(sliding(QUAY, 0.0, 1.5), frames=200))
    widths = float(speed.frame_widths_a_second(fit.plan, foreground_px(fit.plan)))
    assert widths == pytest.approx(CALM_FRAME_WIDTHS_S, rel=0.02)
    assert speed.speed_word(widths) == "calm"


@pytest.mark.once
@settings(max_examples=12)
@given(st.floats(0.5, 40.0), st.floats(0.0, 1.5), st.floats(0.0, 1.5), st.floats(0.0, 0.5))
def test_poses_stay_on_the_rail_and_about_their_middle(
    wanted_px: float, start: float, end: float, ease: float
) -> None:
    plan = with_move(sliding(QUAY, start, end), ease=ease)
    fitted = fit_travel(plan, wanted_px).plan
    slides = [present(pose.slide_m) for pose in fitted.move.poses]
    assert min(slides) >= 0.0
    assert max(slides) <= 1.5
    centre = (start + end) / 2.0
    if 0.1 <= centre <= 1.4 and start != end:
        assert np.mean(slides) == pytest.approx(centre, abs=2e-4)
        assert (slides[1] - slides[0]) * (end - start) >= 0.0  # the same way along the rail
    if foreground_px(fitted) < wanted_px * 0.97:
        # only the rail's end keeps it slower: 2 cm are kept from the stops (common practice, no source)
        assert min(min(slides), 1.5 - max(slides)) < 0.021


@pytest.mark.once
def test_a_speed_that_the_rail_can_t_give_is_said_and_the_nearest_taken() -> None:
    fit = fit_travel(QUAY, 400.0)
    assert travel_m(fit.plan) == pytest.approx(1.36)  # about the middle at 0.7 m, 2 cm from the stop
    assert any("400 px a frame" in sentence and "can't be met" in sentence for sentence in fit.said)


@pytest.mark.once
def test_a_speed_that_the_turn_alone_exceeds_is_said() -> None:
    fit = fit_travel(panning(QUAY, 255.0, 285.0), 0.5)
    assert any("pan and tilt alone" in sentence for sentence in fit.said)


@pytest.mark.once
def test_it_says_what_the_whole_rail_would_look_like() -> None:
    fit = fit_travel(QUAY, 4.0)
    whole = foreground_px(
        with_poses(
            QUAY,
            attrs.evolve(QUAY.move.poses[0], slide_m=0.0),
            attrs.evolve(QUAY.move.poses[1], slide_m=1.5),
        )
    )
    assert any(
        sentence.startswith("From end to end of the rail, 1.5 m") and f"{whole:.3g} px" in sentence
        for sentence in fit.said
    )


def test_with_nothing_near_the_travel_stays_and_the_reason_is_said() -> None:
    # common practice, no source: a slide shows in things roughly 0.6 to 2 m from the lens
    plan = attrs.evolve(QUAY, blocks=WITHOUT_FOREGROUND)
    fit = fit_travel(plan)
    assert fit.plan == plan
    assert "makes no difference" in fit.said[0]
    assert "up to two metres from the lens" in fit.said[0]


@pytest.mark.once
def test_a_subject_that_is_near_is_judged_like_a_foreground() -> None:
    near_subject = box("subject", (0.0, 2.5, 0.8), (0.3, 0.3, 1.6))
    plan = sliding(attrs.evolve(QUAY, blocks=(near_subject,), composition=None), 0.2, 1.4)
    frames = compute_frames(fit_travel(plan, 3.0).plan)
    subject = speed.screen_speeds(plan, frames.camera_m, frames.camera_rotation)["subject"]
    assert subject.worst_px == pytest.approx(3.0, rel=0.02)


@pytest.mark.once
def test_a_foreground_that_a_calm_pan_already_moves_still_gets_a_slide() -> None:
    plan = with_shoot(panning(QUAY, 262.0, 278.0), frames=240)
    fit = fit_travel(plan)
    assert travel_m(fit.plan) > 0.1
    assert (
        float(speed.frame_widths_a_second(plan, foreground_px(fit.plan))) <= speed.speed_limit("brisk") * 1.01
    )


@pytest.mark.once
def test_a_slide_that_calms_a_pan_is_not_taken_away() -> None:
    # a pan that follows what is near, against the slide: without the slide it would cross the picture faster
    poses = Pose(at=0.0, slide_m=0.0, pan_deg=300.0), Pose(at=1.0, slide_m=1.3, pan_deg=255.0)
    plan = with_shoot(with_poses(QUAY, *poses), frames=240)
    fit = fit_travel(plan)
    assert travel_m(fit.plan) > 0.3
    assert foreground_px(fit.plan) <= foreground_px(plan)


@pytest.mark.once
def test_travel_that_can_t_grow_stays_and_is_said_once() -> None:
    plan = with_shoot(sliding(QUAY, 0.0, 1.5), frames=8_000, interval_s=10.0)
    fit = fit_travel(plan)
    assert fit.plan.move == plan.move
    assert fit.said[0].startswith("The travel stays at 1.5 m")
    assert "instead of" not in fit.said[0]


def test_an_interval_without_time_to_slide_leaves_the_travel_and_says_so() -> None:
    plan = with_shoot(sliding(QUAY, 0.2, 1.2), frames=200, interval_s=0.5)
    fit = fit_travel(plan)
    assert fit.plan == plan
    assert fit.said[-1].startswith("No travel fits")
    assert "lengthen the interval" in fit.said[-1]


def test_a_rig_without_a_rail_is_left_alone() -> None:
    plan = attrs.evolve(
        QUAY,
        rig=bare_rig(QUAY, pan=QUAY.rig.pan),
        move=move_of(Pose(at=0.0, pan_deg=260.0), Pose(at=1.0, pan_deg=270.0)),
    )
    fit = fit_travel(plan)
    assert fit.plan == plan
    assert fit.said == ("The rig has no rail, so there is no travel to fit.",)


def test_a_single_frame_is_left_alone() -> None:
    plan = with_shoot(QUAY, frames=1)
    assert fit_travel(plan).plan == plan


@pytest.mark.once
def test_a_move_that_stood_still_gets_a_travel() -> None:
    fit = fit_travel(sliding(QUAY, 0.7, 0.7), 5.0)
    assert foreground_px(fit.plan) == pytest.approx(5.0, rel=0.02)
    one_pose = fit_travel(with_poses(QUAY, Pose(at=0.3, slide_m=0.7, pan_deg=270.0, tilt_deg=0.0)), 5.0)
    assert [pose.at for pose in one_pose.plan.move.poses] == [0.0, 1.0]
    assert foreground_px(one_pose.plan) == pytest.approx(5.0, rel=0.02)


@pytest.mark.once
def test_a_carriage_at_the_rail_s_end_is_brought_in() -> None:
    fit = fit_travel(sliding(QUAY, 0.0, 0.0), 5.0)
    assert foreground_px(fit.plan) == pytest.approx(5.0, rel=0.02)
    assert any("further in" in sentence for sentence in fit.said)


@pytest.mark.once
def test_holds_and_poses_without_a_slide_stay_what_they_are() -> None:
    plan = with_poses(
        QUAY,
        Pose(at=0.0, slide_m=0.2, pan_deg=268.0),
        Pose(at=0.3, slide_m=0.6),
        Pose(at=0.5, pan_deg=272.0),
        Pose(at=0.6, slide_m=0.6),
        Pose(at=1.0, slide_m=1.3, pan_deg=270.0),
    )
    fitted = fit_travel(plan, 4.0).plan
    slides = [pose.slide_m for pose in fitted.move.poses]
    assert slides[2] is None
    first, second, fourth, last = (present(slides[place]) for place in (0, 1, 3, 4))
    assert second == fourth == pytest.approx(0.6, abs=1e-3)
    assert [pose.pan_deg for pose in fitted.move.poses] == [pose.pan_deg for pose in plan.move.poses]
    factor = (last - first) / 1.1
    assert (second - first) / 0.4 == pytest.approx(factor, abs=1e-3)


@pytest.mark.once
def test_the_motor_s_limits_bound_the_travel() -> None:
    lazy = with_slide(with_shoot(sliding(QUAY, 0.0, 1.5), frames=40), max_speed_m_s=0.0015)
    assert any(f.code == "axis-speed" for f in review_topic(lazy, compute_frames(lazy))[0])
    fitted = fit_travel(lazy, 500.0).plan
    found = {f.code for f in review_topic(fitted, compute_frames(fitted))[0] if f.level == "stop"}
    assert found == set()
    assert 0.05 < travel_m(fitted) < 1.4


@pytest.mark.once
def test_a_continuous_drive_s_limits_bound_it_too() -> None:
    lazy = with_slide(with_move(sliding(QUAY, 0.0, 1.5), drive="continuous"), max_speed_m_s=1e-4)
    fitted = fit_travel(lazy, 500.0).plan
    assert not any(f.code == "axis-speed" for f in review_topic(fitted, compute_frames(fitted))[0])
    assert 0.05 < travel_m(fitted) < 1.4


@pytest.mark.once
def test_a_pose_off_the_rail_is_brought_onto_it() -> None:
    plan = sliding(QUAY, 0.2, 2.4)
    fitted = fit_travel(plan, 6.0).plan
    assert not any(f.code == "axis-range" for f in review_topic(fitted, compute_frames(fitted))[0])


@pytest.mark.once
def test_a_turn_that_is_too_fast_by_itself_is_narrowed_about_its_middle() -> None:
    plan = with_shoot(panning(QUAY, 190.0, 350.0), frames=120)
    fit = fit_travel(plan)
    pans = [present(pose.pan_deg) for pose in fit.plan.move.poses]
    assert np.mean(pans) == pytest.approx(270.0, abs=0.01)
    frames = compute_frames(fit.plan)
    far = speed.screen_speeds(fit.plan, frames.camera_m, frames.camera_rotation)["far distance"].worst_px
    assert speed.speed_word(float(speed.frame_widths_a_second(fit.plan, far))) == "calm"
    assert fit.said[0].startswith("Turns by ")
    assert "instead of 160°" in fit.said[0]


@pytest.mark.parametrize("wanted", [0.0, -3.0, float("nan"), float("inf")])
def test_a_speed_that_is_none_is_refused(wanted: float) -> None:
    with pytest.raises(PlanError, match="not a speed above 0"):
        fit_travel(QUAY, wanted)


@pytest.mark.once
def test_a_fitted_plan_can_be_saved_and_read_and_fits_again() -> None:
    fit = fit_travel(QUAY, 5.0)
    again = plan_from_text(plan_to_text(fit.plan))
    assert again == fit.plan
    assert travel_m(fit_travel(again, 5.0).plan) == pytest.approx(travel_m(again), rel=0.01)


@pytest.mark.once
def test_each_example_can_be_fitted(example_plan: Plan) -> None:
    fit = fit_travel(example_plan)
    assert fit.said
    assert all(sentence.endswith(".") for sentence in fit.said)
