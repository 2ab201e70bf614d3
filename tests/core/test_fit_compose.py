"""fit --compose: the smallest change of a pose that mends the picture, tried on every frame."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core import compute_frames
from planner_core.fit.compose import Trying, fit_compose
from planner_core.picture import composition, parallax, pose_repair
from planner_core.plan.model import Block, Composition, Plan, Pose
from planner_core.rig.drive import axis_limits
from tests.places import PAN, SLIDE, box, place, post
from tests.present import present

TOWER = Composition(subject="tower")


def tower(x: float = 0.0) -> Block:
    return box("tower", x, 60.0, (3.0, 3.0, 12.0), role="subject")


def moved(*poses: Any, blocks: tuple[Any, ...] = (), **changes: Any) -> Plan:
    changes.setdefault("composition", TOWER)
    return place(tower(), *blocks, poses=[Pose(**pose) for pose in poses], frames=200, **changes)


def pose(at: float, slide_m: float = 0.5, pan_deg: float = 0.0, tilt_deg: float = 4.0) -> dict[str, float]:
    return {"at": at, "slide_m": slide_m, "pan_deg": pan_deg, "tilt_deg": tilt_deg}


def failing(plan: Plan) -> NDArray[np.bool_]:
    reading = composition.read(plan, compute_frames(plan).view.visibility, travels=parallax.slides(plan))
    return pose_repair.failing(plan, reading, weak=composition.WEAK)


def inside_the_rig(plan: Plan) -> bool:
    return all(
        axis.low <= value <= axis.high
        for axis in axis_limits(plan)
        for p in plan.move.poses
        if (value := getattr(p, axis.name)) is not None
    )


def test_a_pan_that_goes_too_far_is_ended_earlier() -> None:
    plan = moved(pose(0.0, pan_deg=5.0), pose(1.0, pan_deg=50.0))
    assert failing(plan).any()
    fit = fit_compose(plan)
    assert not failing(fit.plan).any()
    first, last = fit.plan.move.poses
    assert first == plan.move.poses[0]
    # half the angle of view is 36.87°, of which a little is kept as air
    assert 28.0 < present(last.pan_deg) < 36.87
    assert f"End the pan at {last.pan_deg:g}° instead of 50°." in fit.said


@pytest.mark.once
def test_the_change_is_about_the_smallest_that_mends() -> None:
    plan = moved(pose(0.0, pan_deg=5.0), pose(1.0, pan_deg=50.0))
    end = fit_compose(plan).plan.move.poses[1].pan_deg
    ends = np.arange(20.0, 40.0, 0.5)
    mended = [
        e for e in ends if not failing(moved(pose(0.0, pan_deg=5.0), pose(1.0, pan_deg=float(e)))).any()
    ]
    assert max(mended) - end < 4.0


@pytest.mark.once
@pytest.mark.parametrize("pan_deg", [-140.0, 75.0, 111.0])
@pytest.mark.parametrize("focal_length_mm", [24.0, 200.0])
def test_a_lens_that_looks_the_other_way_is_turned_however_far(
    pan_deg: float, focal_length_mm: float
) -> None:
    subject = box("tower", 0.0, 300.0, (3.0, 3.0, 12.0), role="subject")
    ends = [Pose(**pose(at, pan_deg=pan_deg + 0.5 * at, tilt_deg=1.0)) for at in (0.0, 1.0)]
    plan = place(subject, poses=ends, frames=60, focal_length_mm=focal_length_mm, composition=TOWER)
    assert failing(plan).all()
    fitted = fit_compose(plan).plan
    reading = composition.read(fitted, compute_frames(fitted).view.visibility, travels=False)
    assert reading.shown.min() > 0.9
    assert inside_the_rig(fitted)


def test_a_subject_out_of_the_frame_throughout_is_turned_to() -> None:
    plan = moved(pose(0.0, pan_deg=60.0), pose(1.0, pan_deg=64.0))
    fit = fit_compose(plan)
    assert not failing(fit.plan).any()
    assert any("throughout" in sentence for sentence in fit.said)
    first, last = fit.plan.move.poses
    assert present(last.pan_deg) - present(first.pan_deg) == pytest.approx(4.0)  # the move stays what it was


def test_a_tilt_that_cuts_the_subject_is_lowered() -> None:
    plan = moved(pose(0.0, tilt_deg=4.0), pose(1.0, tilt_deg=30.0))
    fit = fit_compose(plan)
    assert not failing(fit.plan).any()
    assert present(fit.plan.move.poses[1].tilt_deg) < 30.0


def test_a_post_in_the_way_is_passed_by_the_slide() -> None:
    plan = moved(pose(0.0, slide_m=0.2), pose(1.0, slide_m=1.4), blocks=(post("lamp", 0.3, 2.0, 0.2, 3.0),))
    assert failing(plan).any()
    fit = fit_compose(plan)
    assert not failing(fit.plan).any()
    assert inside_the_rig(fit.plan)
    assert any("slide" in sentence.lower() for sentence in fit.said)


@pytest.mark.once
def test_a_late_reveal_is_made_in_time() -> None:
    wall = box("wall", -1.2, 2.0, (2.0, 0.3, 2.6), role="foreground")
    plan = moved(
        pose(0.0, slide_m=0.0),
        pose(1.0, slide_m=1.0),
        blocks=(wall,),
        origin_m=(-1.0, 0.0, 1.5),
        composition=Composition(style="reveal", subject="tower", reveal_by=0.3),
    )
    assert failing(plan).any()
    fit = fit_compose(plan)
    assert not failing(fit.plan).any()
    assert inside_the_rig(fit.plan)


@pytest.mark.once
def test_two_faults_get_two_changes() -> None:
    plan = moved(pose(0.0, pan_deg=-50.0), pose(1.0, pan_deg=50.0))
    fit = fit_compose(plan)
    assert not failing(fit.plan).any()
    changed = [a != b for a, b in zip(plan.move.poses, fit.plan.move.poses, strict=True)]
    assert changed == [True, True]


@pytest.mark.once
def test_changes_stay_inside_the_axes() -> None:
    narrow = attrs.evolve(PAN, min_deg=45.0, max_deg=60.0)  # the head can't turn to the tower
    plan = moved(pose(0.0, pan_deg=50.0), pose(1.0, pan_deg=55.0), pan=narrow)
    fit = fit_compose(plan)
    assert inside_the_rig(fit.plan)
    assert failing(fit.plan).any()
    assert any("Another place for the rail" in sentence for sentence in fit.said)


def test_what_composes_is_left_alone() -> None:
    plan = moved(pose(0.0, pan_deg=-8.0), pose(1.0, pan_deg=8.0))
    fit = fit_compose(plan)
    assert fit.plan == plan
    assert "The picture needs no change" in fit.said[0]


def test_without_a_subject_there_is_nothing_to_compose_for() -> None:
    plan = attrs.evolve(moved(pose(0.0), pose(1.0)), blocks=(), composition=None)
    fit = fit_compose(plan)
    assert fit.plan == plan
    assert "none of the plan's blocks is its subject" in fit.said[0]


def test_a_fixed_head_can_be_pointed_anew_but_not_moved() -> None:
    plan = moved(pose(0.0, pan_deg=60.0), pose(1.0, pan_deg=60.0), pan=None)
    fit = fit_compose(plan)
    assert not failing(fit.plan).any()
    assert fit.plan.move.poses[0].pan_deg == fit.plan.move.poses[1].pan_deg


def test_a_middle_pose_is_changed_alone() -> None:
    plan = moved(pose(0.0, pan_deg=-5.0), pose(0.5, pan_deg=45.0), pose(1.0, pan_deg=5.0))
    fit = fit_compose(plan)
    assert not failing(fit.plan).any()
    assert any(sentence.startswith("At 50 % of the move, pan to") for sentence in fit.said)


def test_the_plan_that_is_written_is_one_the_rig_accepts() -> None:
    plan = moved(pose(0.0, slide_m=SLIDE.min_m, pan_deg=5.0), pose(1.0, slide_m=SLIDE.max_m, pan_deg=50.0))
    fit = fit_compose(plan)
    assert inside_the_rig(fit.plan)
    assert not failing(fit.plan).any()


def hidden_for_good(blocks: int = 0) -> Plan:
    """A tower behind a wall that no pose looks past."""
    wall = box("wall", 0.0, 30.0, (400.0, 2.0, 60.0))
    others = [box(f"hut {i}", 8.0 * i - 160.0, 90.0 + i, (4.0, 4.0, 3.0)) for i in range(blocks)]
    return moved(pose(0.0, pan_deg=5.0), pose(1.0, pan_deg=20.0), blocks=(wall, *others))


def test_a_search_says_how_far_it_is_and_ends_at_its_budget() -> None:
    heard: list[Trying] = []
    fit = fit_compose(hidden_for_good(40), heard.append, most_work=200_000)
    assert 0 < heard[0].spent_share < heard[-1].spent_share <= 1.0
    assert heard[-1].tries < 40
    assert [trying.change for trying in heard] == [1] * len(heard)
    assert any(f"stopped after its limit, with {heard[-1].tries} changes tried" in said for said in fit.said)
    assert fit_compose(hidden_for_good(40), most_work=200_000) == fit, "the work is counted, not timed"


@pytest.mark.once
def test_a_search_that_had_room_for_all_changes_does_not_speak_of_a_budget() -> None:
    said = " ".join(fit_compose(hidden_for_good()).said)
    assert "No change of a pose helps" in said
    assert "budget" not in said
    assert "But:" not in said, "the rig's own limits are for a move that was changed"


@pytest.mark.once
def test_more_blocks_and_frames_make_a_try_dearer_by_the_projected_boxes_alone() -> None:
    def dearest(blocks: int, frames: int) -> float:
        heard: list[Trying] = []
        plan = hidden_for_good(blocks)
        plan = attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, frames=frames))
        fit_compose(plan, heard.append, most_work=3_000_000)
        return heard[-1].spent_share / heard[-1].tries

    # a change is tried on some of the frames, however many there are
    assert dearest(10, 2000) < 1.5 * dearest(10, 200)
    assert dearest(80, 200) > 1.2 * dearest(10, 200)
