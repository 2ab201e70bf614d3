"""Findings about the picture: each fault by its code, level and frames, and silence where there is none."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import compute_frames, review
from planner_core.picture import pose_repair
from planner_core.picture.block_visibility import BlockVisibility
from planner_core.picture.pose_repair import Budget
from planner_core.plan.file import load_plan
from planner_core.plan.model import Block, Composition, Plan, Pose
from planner_core.review import remedies
from planner_core.review.findings import Finding
from planner_core.review.picture import review_topic
from tests.advice import advice, offered
from tests.places import PAN, box, place, post
from tests.present import present

TOWER = Composition(subject="tower")
TILT_DEG = 4.0


def found(plan: Plan) -> dict[str, Any]:
    """Findings of the picture by code, several of one code in a list."""
    findings, _ = review_topic(plan, compute_frames(plan))
    by_code: dict[str, Any] = {}
    for finding in findings:
        by_code.setdefault(finding.code, []).append(finding)
    return by_code


def only(plan: Plan, code: str) -> Finding:
    (finding,) = found(plan)[code]
    return finding


def panned(
    start_deg: float, end_deg: float, *blocks: Block, frames: int = 400, ease: float = 0.0, **changes: Any
) -> Plan:
    poses = (
        Pose(at=0.0, pan_deg=start_deg, tilt_deg=TILT_DEG),
        Pose(at=1.0, pan_deg=end_deg, tilt_deg=TILT_DEG),
    )
    changes.setdefault("composition", TOWER)
    return place(*blocks, poses=poses, frames=frames, ease=ease, slide=None, **changes)


def slid(
    start_m: float,
    end_m: float,
    *blocks: Block,
    frames: int = 400,
    pan_deg: float = 0.0,
    composition: Composition = TOWER,
    **changes: Any,
) -> Plan:
    poses = (
        Pose(at=0.0, slide_m=start_m, pan_deg=pan_deg, tilt_deg=TILT_DEG),
        Pose(at=1.0, slide_m=end_m, pan_deg=pan_deg, tilt_deg=TILT_DEG),
    )
    return place(*blocks, poses=poses, frames=frames, composition=composition, **changes)


def tower(x: float = 0.0, y: float = 60.0, wide: float = 3.0, high: float = 12.0) -> Block:
    return box("tower", x, y, (wide, wide, high), role="subject")


def bollard(x: float = 0.3, y: float = 1.6) -> Block:
    return post("bollard", x, y, 0.25, 1.25)


# ---------------------------------------------------------------- the subject in the frame


def test_a_good_plan_has_nothing_to_mend() -> None:
    plan = slid(0.5, 1.5, tower(x=15.0), bollard())
    assert {f.level for findings in found(plan).values() for f in findings} <= {"note"}


def test_a_subject_that_leaves_at_frame_200_of_400_is_reported_there() -> None:
    # a thin mast at bearing 0 and a steady pan to the right: half the angle of view is 36.87°, so it is out
    # from frame 200 on where the pan is 36.87° at frame 200
    half = np.degrees(np.arctan(0.75))
    mast = box("tower", 0.0, 60.0, (0.05, 0.05, 12.0), role="subject")
    plan = panned(0.0, half * 399.0 / 198.5, mast)
    level = tuple(attrs.evolve(pose, tilt_deg=0.0) for pose in plan.move.poses)
    finding = only(attrs.evolve(plan, move=attrs.evolve(plan.move, poses=level)), "subject-lost")
    assert finding.level == "stop"
    assert finding.frames == (200, 400)
    assert "leaves the frame over the left edge" in finding.message
    assert finding.message.startswith("Frames 200–400:")


def test_a_cut_names_the_edge_and_how_much_is_outside() -> None:
    plan = panned(0.0, 35.6, tower())
    finding = only(plan, "subject-cut")
    assert finding.level == "warn"
    assert present(finding.frames)[1] == 400
    assert "left edge" in finding.message
    assert f"{present(finding.value) * 100.0:.0f} % outside" in finding.message
    assert 0.02 < present(finding.value) < 0.9


def test_the_fix_of_a_cut_was_tried() -> None:
    plan = panned(10.0, 35.6, tower())
    finding = only(plan, "subject-cut")
    end = offered(plan, "subject-cut", "move.poses[1].pan_deg")["move.poses[1].pan_deg"]
    assert finding.level == "warn"
    mended = panned(10.0, end, tower())
    assert not {"subject-cut", "subject-lost"} & set(found(mended))
    nearer = panned(10.0, end + 3.0, tower())  # and it is not much more than it takes, a little air included
    assert (
        "subject-cut" in found(nearer)
        or present(review_topic(nearer, compute_frames(nearer))[1].weakest_score) < 0.9
    )


def test_a_subject_beyond_the_frame_throughout_is_lost_throughout() -> None:
    finding = only(panned(60.0, 70.0, tower()), "subject-lost")
    assert finding.frames == (1, 400)
    assert finding.level == "stop"


def test_a_subject_behind_the_camera_is_lost() -> None:
    finding = only(panned(0.0, 5.0, tower(y=-60.0)), "subject-lost")
    assert "behind the camera" in finding.message


def test_a_subject_larger_than_the_frame_is_said_and_not_blamed() -> None:
    wall = box("tower", 0.0, 10.0, (60.0, 1.0, 3.0), role="subject")
    codes = found(panned(0.0, 4.0, wall))
    assert codes["subject-large"][0].level == "note"
    assert not {"subject-cut", "subject-lost"} & set(codes)


# ---------------------------------------------------------------- hidden


def test_a_post_that_crosses_the_subject_is_reported_for_its_frames() -> None:
    # the post's front side, 1.9 m off with its middle 1 m along, against the tower's front, 58.5 m off and 3
    # m wide: it covers a tenth of it from where its shadow's edge is a tenth in
    plan = slid(0.0, 2.0, tower(), post("lamp", 1.0, 2.0, 0.2, 3.0), origin_m=(0.0, 0.0, 1.5))
    finding = only(plan, "subject-hidden")
    slide = np.linspace(0.0, 2.0, 400)
    edges = slide + (np.array([[1.0 - 0.1], [1.0 + 0.1]]) - slide) * (58.5 / (2.0 - 0.0))
    covered = np.clip(np.minimum(edges[1], 1.5) - np.maximum(edges[0], -1.5), 0.0, 3.0) / 3.0
    expected = np.flatnonzero(covered > 0.1) + 1
    assert finding.frames == (pytest.approx(expected[0], abs=2), pytest.approx(expected[-1], abs=2))
    assert finding.level == "stop"
    assert "“lamp”" in finding.message
    assert "lamp" in finding.blocks


def test_a_thin_post_that_covers_a_part_is_no_stop() -> None:
    plan = slid(0.0, 2.0, tower(), post("rope", 1.0, 2.0, 0.02, 3.0))
    finding = only(plan, "subject-hidden")
    assert finding.level in ("note", "warn")
    assert 0.1 < present(finding.value) < 0.5


@pytest.mark.once
def test_a_hidden_subject_gets_a_fix_that_was_tried() -> None:
    plan = slid(0.2, 1.2, tower(), post("lamp", 0.3, 2.0, 0.2, 3.0), bollard(1.5))
    assert advice(plan, "subject-hidden").fix.startswith("Start the slide at")
    start = offered(plan, "subject-hidden", "move.poses[0].slide_m")["move.poses[0].slide_m"]
    left = found(slid(start, 1.2, *plan.blocks)).get("subject-hidden", [])
    assert {f.level for f in left} <= {"note"}


# ---------------------------------------------------------------- reveal


def revealing(start_m: float, end_m: float, by: float = 0.6, **changes: Any) -> Plan:
    wall = box("wall", -1.2, 2.0, (2.0, 0.3, 2.6), role="foreground")
    return slid(
        start_m,
        end_m,
        tower(),
        wall,
        composition=Composition(style="reveal", subject="tower", reveal_by=by),
        **changes,
    )


def test_a_reveal_in_time_is_fine() -> None:
    # the wall's right side is at −0.2 m: from −1 m on the rail (0) it hides the tower, from 1 m (2) it
    # doesn't
    plan = revealing(0.0, 1.8, origin_m=(-1.0, 0.0, 1.5))
    assert not {"reveal-late", "reveal-early", "subject-hidden", "subject-lost"} & set(found(plan))


def test_a_late_reveal_says_when_and_what_was_asked() -> None:
    plan = revealing(0.0, 1.0, by=0.3, origin_m=(-1.0, 0.0, 1.5))
    finding = only(plan, "reveal-late")
    assert finding.level == "stop"
    assert finding.limit == 0.3
    assert present(finding.value) > 0.5
    assert present(finding.frames)[0] == 121  # 30 % of 400 frames
    assert "“wall”" in finding.message


def test_a_subject_that_never_shows_is_never_revealed() -> None:
    finding = only(revealing(0.0, 0.3, origin_m=(-1.0, 0.0, 1.5)), "reveal-late")
    assert "never revealed" in finding.message


def test_a_reveal_from_outside_the_frame_counts_too() -> None:
    composition = Composition(style="reveal", subject="tower", reveal_by=0.6)
    assert not {"reveal-late", "reveal-early"} & set(
        found(panned(60.0, 5.0, tower(), composition=composition))
    )


def test_showing_from_the_start_reveals_nothing() -> None:
    finding = only(revealing(1.2, 1.9, origin_m=(-1.0, 0.0, 1.5)), "reveal-early")
    assert finding.level == "warn"


def test_what_is_revealed_must_not_be_hidden_again() -> None:
    plan = revealing(0.0, 1.8, origin_m=(-1.0, 0.0, 1.5))
    again = attrs.evolve(
        plan, blocks=(*plan.blocks, box("kiosk", 1.2, 2.0, (0.9, 0.3, 2.6), role="foreground"))
    )
    finding = only(again, "subject-hidden")
    assert finding.level == "stop"
    assert "“kiosk”" in finding.message


def test_hidden_frames_before_the_reveal_are_no_fault() -> None:
    plan = revealing(0.0, 1.8, origin_m=(-1.0, 0.0, 1.5))
    _, summary = review_topic(plan, compute_frames(plan))
    assert present(summary.weakest_score) > 0.5
    assert present(summary.subject_visible_share_min) > 0.9


# ---------------------------------------------------------------- foreground and background


def test_a_slide_past_nothing_misses_a_foreground() -> None:
    # common practice, no source
    codes = found(slid(0.0, 1.5, tower(), box("town", 60.0, 300.0, (50, 20, 20))))
    finding = codes["foreground-missing"][0]
    assert finding.level == "warn"
    assert finding.value < finding.limit
    assert finding.fact("nearest") == "tower"
    assert finding.fact("nearest_distance") == pytest.approx(58.5)  # 60 m to its middle, 3 m deep
    assert "1.2 to " in finding.fix  # a usual distance, common practice
    assert codes["background-static"][0].level == "warn"


def test_a_foreground_a_metre_away_is_enough() -> None:
    # common practice, no source; what is far then looks still, which is only said
    codes = found(slid(0.5, 1.5, tower(x=15.0), bollard(), box("town", 60.0, 300.0, (50, 20, 20))))
    assert "foreground-missing" not in codes
    assert codes["background-static"][0].level == "note"


def test_a_pan_alone_needs_no_foreground() -> None:
    # common practice, no source
    codes = found(panned(-5.0, 10.0, tower()))
    assert not {"foreground-missing", "background-static"} & set(codes)


def test_a_pan_off_the_pupil_is_no_slide() -> None:
    plan = panned(-5.0, 10.0, tower())
    swung = attrs.evolve(plan, rig=attrs.evolve(plan.rig, pupil_offset_m=0.2))
    assert not {"foreground-missing", "background-static"} & set(found(swung))


# ---------------------------------------------------------------- merging, horizon, camera


def test_an_outline_that_runs_into_the_subject_s_is_reported() -> None:
    edge = 1.5 / 58.5 * 100.0
    house = box("house", edge + 10.0, 95.0, (20.0, 10.0, 16.0))
    finding = only(panned(-5.0, -4.0, tower(), house), "subject-merging")
    assert finding.level == "warn"
    assert "house" in finding.blocks


def test_a_horizon_through_the_middle_is_noted() -> None:
    poses = (Pose(at=0.0, pan_deg=0.0, tilt_deg=0.0), Pose(at=1.0, pan_deg=5.0, tilt_deg=0.0))
    plan = place(tower(), poses=poses, composition=TOWER)
    assert only(plan, "horizon-middle").level == "note"
    assert "horizon-middle" not in found(panned(-5.0, 5.0, tower()))


def test_a_camera_inside_a_block_stops() -> None:
    finding = only(panned(0.0, 5.0, tower(), box("hut", 0, 0, (3, 3, 3))), "camera-inside")
    assert finding.level == "stop"
    assert "“hut”" in finding.message


# ---------------------------------------------------------------- plans that say little


def test_a_plan_without_blocks_says_what_is_missing() -> None:
    codes = found(place(frames=10))
    assert set(codes) == {"no-blocks"}
    assert codes["no-blocks"][0].level == "note"


def test_a_plan_without_a_subject_says_so() -> None:
    plan = place(box("house", 0, 30, (6, 6, 6)), frames=10)
    assert only(plan, "no-subject").level == "note"


def test_a_misspelt_subject_names_the_nearest() -> None:
    plan = panned(-5.0, 5.0, tower(), composition=Composition(subject="towr"))
    finding = only(plan, "subject-unknown")
    assert finding.level == "warn"
    assert "“tower”" in advice(plan, "subject-unknown").fix


def test_a_subject_like_no_name_is_taken_for_the_block_with_that_role() -> None:
    plan = panned(-5.0, 5.0, tower(), composition=Composition(subject="queen of hearts"))
    assert advice(plan, "subject-unknown").fix == "Set composition.subject to “tower”."


def test_a_single_frame_is_reviewed() -> None:
    codes = found(
        attrs.evolve(panned(0.0, 5.0, tower()), shoot=attrs.evolve(panned(0, 5, tower()).shoot, frames=1))
    )
    assert "subject-lost" not in codes


# ---------------------------------------------------------------- the whole review


@pytest.mark.once
def test_the_examples_have_no_stop_of_the_picture(example_plan: Plan) -> None:
    findings, summary = review_topic(example_plan, compute_frames(example_plan))
    assert [f.code for f in findings if f.level == "stop"] == []
    assert present(summary.weakest_score) > 0.7


@pytest.mark.once
def test_each_classic_mistake_is_named_and_nothing_else_stops(project_root: Path) -> None:
    # the planted faults: whole rail, nothing near, too fast, night too long, interval too short
    plan = load_plan(project_root / "example_scenes" / "classic_mistakes.plan.json")
    report = review(plan, compute_frames(plan))
    codes = {finding.code for finding in report.findings}
    assert {
        "travel-whole",
        "foreground-missing",
        "screen-speed",
        "day-night-balance",
        "interval-too-short",
    } <= codes
    planted = {"travel-whole", "travel-unused", "foreground-missing", "background-static", "screen-speed"}
    planted |= {"day-night-balance", "interval-too-short", "exposure-short"}
    assert {f.code for f in report.findings if f.level == "stop"} <= planted


def test_the_summary_speaks_of_near_and_far() -> None:
    _, summary = review_topic(*(lambda p: (p, compute_frames(p)))(slid(0.5, 1.5, tower(x=15.0), bollard())))
    assert present(summary.near_shift_percent) > 15.0
    assert present(summary.separation_percent) > 15.0
    assert summary.still_beyond_m == pytest.approx(2560.0 / 38.4, rel=0.01)
    assert present(summary.weakest_frame) >= 1


def test_a_fixed_head_is_reviewed() -> None:
    plan = place(tower(), bollard(), pan=None, tilt=None, composition=TOWER, frames=20)
    still = attrs.evolve(
        plan, move=attrs.evolve(plan.move, poses=(Pose(at=0.0, slide_m=0.2), Pose(at=1.0, slide_m=0.9)))
    )
    assert "subject-lost" not in found(still)
    assert PAN.min_deg < 0.0


# ---------------------------------------------------------------- what finding a change may cost


def crowd() -> Plan:
    """A row of towers behind a thicket, hidden in part wherever the rail goes."""
    rng = np.random.default_rng(7)
    towers = [box(f"part {i}", 1.6 * i, 60.0, (1.5, 3.0, 4.0 + i % 9), role="subject") for i in range(16)]
    thicket = [
        post(f"stem {i}", x, float(rng.uniform(4.0, 30.0)), 0.3, 6.0)
        for i, x in enumerate(np.linspace(-6.0, 25.0, 60))
    ]
    return slid(0.2, 1.8, tower(-2.0), *towers, *thicket, frames=480)


def spent(monkeypatch: pytest.MonkeyPatch, plan: Plan) -> tuple[list[int], list[Mapping[str, Any]]]:
    """What each trial of one review costs, in rays tried against a piece of a block and the like; and what is
    proposed.
    """
    costs = []
    spend = pose_repair.Budget.spend

    def counted(budget: Budget, seen: BlockVisibility) -> int:
        costs.append(spend(budget, seen))
        return costs[-1]

    with monkeypatch.context() as patch:
        patch.setattr(pose_repair.Budget, "spend", counted)
        frames = compute_frames(plan)
        hidden = [finding for finding in review_topic(plan, frames)[0] if finding.code == "subject-hidden"]
        changes = [
            remedy.changes for finding in hidden for remedy in remedies.proposed(plan, frames, finding)
        ]
    return costs, changes


@pytest.mark.once
def test_a_crowded_plan_that_fails_costs_no_more_work_than_the_review_allows(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plan = crowd()
    monkeypatch.setattr(remedies, "QUICK_TRIES", 400)
    for allowed in (remedies.QUICK_WORK, 100_000):
        monkeypatch.setattr(remedies, "QUICK_WORK", allowed)
        costs, changes = spent(monkeypatch, plan)
        assert costs
        assert sum(costs[:-1]) <= allowed  # what a try takes isn't known before: the last may go over
        assert costs[-1] < 200_000
        assert changes == []
        assert sum(costs) > allowed * 0.6  # it did run into the limit
    assert spent(monkeypatch, plan) == (costs, changes)


@pytest.mark.once
def test_the_pan_is_ended_on_the_subject_however_far_past_it_goes() -> None:
    for end_deg in (65.0, 75.0, 110.0):
        plan = panned(10.0, end_deg, tower(15.0))
        end = offered(plan, "subject-lost", "move.poses[1].pan_deg")["move.poses[1].pan_deg"]
        assert advice(plan, "subject-lost").fix.startswith(f"End the pan at {end:g}°")
        assert not {"subject-lost", "subject-cut"} & set(found(panned(10.0, end, tower(15.0))))
        assert {"subject-lost", "subject-cut"} & set(found(panned(10.0, end + 4.0, tower(15.0))))
