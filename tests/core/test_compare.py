"""Moves compared: fitted to the rig, ranked as a photographer would, the still shot among them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import compute_frames, review
from planner_core.moves import candidates, compare
from planner_core.moves.compare import KINDS, PLANNED, Comparison
from planner_core.picture import block_visibility, composition
from planner_core.plan.file import load_plan, plan_from_text, plan_to_text
from planner_core.plan.model import Block, Composition, Plan, Pose
from planner_core.rig.camera import camera_path
from planner_core.rig.drive import axis_limits
from tests.places import box, place, post
from tests.present import present

pytestmark = pytest.mark.once

TOWER = Composition(subject="tower")
LEVEL = (
    Pose(at=0.0, slide_m=0.2, pan_deg=-10.0, tilt_deg=4.0),
    Pose(at=1.0, slide_m=1.8, pan_deg=-10.0, tilt_deg=4.0),
)


def scene(*blocks: Any, poses: Sequence[Pose] = LEVEL, **changes: Any) -> Plan:
    changes.setdefault("composition", TOWER)
    tower = box("tower", 0.0, 60.0, (4.0, 4.0, 15.0), role="subject")
    town = box("town", 40.0, 150.0, (30.0, 10.0, 9.0))
    return place(tower, town, *blocks, poses=poses, frames=240, ease=0.2, **changes)


def near() -> list[Block]:
    return [post(f"bollard {n}", x, 1.5, 0.25, 1.2) for n, x in enumerate((-0.6, 0.9, 2.6))]


def ranks(comparison: Comparison) -> list[str]:
    return [row.name for row in comparison.rows if row.name != PLANNED]


@pytest.fixture(scope="module")
def by_example(project_root: Path) -> dict[str, Comparison]:
    """Each example's comparison; they take a second or two each."""
    return {
        path.name.split(".")[0]: compare.compare(load_plan(path))
        for path in sorted((project_root / "example_scenes").glob("*.plan.json"))
    }


@pytest.fixture(scope="module")
def with_bollards() -> Comparison:
    """The comparison on the tower with bollards near the rail."""
    return compare.compare(scene(*near()))


# ---------------------------------------------------------------- the ranking


def test_with_something_near_a_slide_wins(with_bollards: Comparison) -> None:
    # common practice, no source
    order = ranks(with_bollards)
    assert order[0] in ("slide", "slide-held", "slide-tilt")
    assert order.index("slide") < order.index("pan")
    assert order[-1] == "still"


def test_with_nothing_near_no_slide_beats_the_still_shot() -> None:
    # common practice, no source: what is far away looks still, so the slide is for nothing
    order = ranks(compare.compare(scene()))
    for slide in ("slide", "slide-held", "slide-tilt"):
        assert order.index(slide) > order.index("still")


def test_the_still_shot_can_win() -> None:
    # a subject that fills the frame from side to side leaves a pan no room, and nothing near a slide no sense
    wide = box("tower", 0.0, 40.0, (48.0, 2.0, 8.0), role="subject")
    plan = place(wide, poses=LEVEL, frames=240, composition=TOWER, tilt=None)
    level = tuple(attrs.evolve(pose, pan_deg=0.0) for pose in LEVEL)
    plan = attrs.evolve(plan, move=attrs.evolve(plan.move, poses=level))
    assert ranks(compare.compare(plan))[0] == "still"


def test_a_reveal_is_won_by_what_reveals() -> None:
    wall = box("wall", -1.2, 2.0, (2.0, 0.3, 2.6), role="foreground")
    plan = scene(
        wall,
        origin_m=(-1.0, 0.0, 1.5),
        composition=Composition(style="reveal", subject="tower", reveal_by=0.6),
    )
    comparison = compare.compare(plan)
    order = ranks(comparison)
    assert order[0] in ("slide", "slide-held", "slide-tilt")
    assert order.index("still") > order.index("pan")  # which can come in from outside
    measures = {row.name: row.measures for row in comparison.rows}
    assert measures["slide"].reveal_works is True
    assert measures["still"].reveal_works is False
    still = next(row for row in comparison.rows if row.name == "still")
    assert "nothing to reveal" in still.reason or "never revealed" in still.reason


def test_a_rail_that_points_at_the_subject_pushes_in() -> None:
    comparison = compare.compare(scene(*near(), rail_bearing_deg=0.0))
    cannot = dict(comparison.not_possible)
    assert {"push-in", "pull-out"} <= set(comparison.plans)
    assert "push-in" in cannot["slide"]
    ways = {
        name: [present(pose.slide_m) for pose in comparison.plans[name].move.poses]
        for name in ("push-in", "pull-out")
    }
    assert ways["push-in"][-1] > ways["push-in"][0]
    assert ways["pull-out"][-1] < ways["pull-out"][0]


def test_a_rail_across_says_why_it_can_t_push_in(with_bollards: Comparison) -> None:
    cannot = dict(with_bollards.not_possible)
    assert "90° off" in cannot["push-in"] or "89° off" in cannot["push-in"]


# ---------------------------------------------------------------- the examples, as one would defend them


def test_harbour_light_slides(by_example: dict[str, Comparison]) -> None:
    # bollards a metre away, a beacon that stays: a slide is worth it, a turn less, standing still the least
    order = ranks(by_example["harbour_light"])
    assert order[:3] == ["slide", "slide-held", "slide-tilt"]
    assert order[-1] == "still"
    assert set(order[3:5]) == {"pan", "tilt"}


def test_the_chapel_is_revealed_by_a_slide(by_example: dict[str, Comparison]) -> None:
    order = ranks(by_example["chapel_sunrise"])
    assert set(order[:3]) == {"slide", "slide-held", "slide-tilt"}
    assert order[3] == "pan"  # from outside the frame
    assert order[-1] == "still"


def test_the_square_is_panned(by_example: dict[str, Comparison]) -> None:
    comparison = by_example["square_pan"]
    assert ranks(comparison) == ["pan", "still"]
    assert {"slide", "slide-held", "push-in", "pull-out", "slide-tilt"} <= set(dict(comparison.not_possible))


def test_on_the_classic_mistakes_the_planned_move_comes_last(by_example: dict[str, Comparison]) -> None:
    comparison = by_example["classic_mistakes"]
    assert comparison.rows[-1].name == PLANNED
    order = ranks(comparison)
    assert order.index("still") < order.index("slide")
    assert "slide hardly shows" in next(row for row in comparison.rows if row.name == "slide").reason


def test_every_candidate_of_the_examples_fits_the_rig(by_example: dict[str, Comparison]) -> None:
    for comparison in by_example.values():
        for row in comparison.rows:
            if row.name == PLANNED:
                continue
            for axis in axis_limits(row.plan):
                for pose in row.plan.move.poses:
                    value = getattr(pose, axis.name)
                    assert value is None or axis.low <= value <= axis.high
            codes = {f.code for f in review(row.plan, compute_frames(row.plan)).findings if f.level == "stop"}
            assert not {code for code in codes if code.startswith("axis-")}, row.name


def test_every_row_has_a_reason_in_a_sentence(by_example: dict[str, Comparison]) -> None:
    for comparison in by_example.values():
        for row in comparison.rows:
            assert row.reason[0].isupper() or not row.reason[0].isalpha()
            assert row.reason.endswith(".")
        for _, why in comparison.not_possible:
            assert why.endswith(".")


# ---------------------------------------------------------------- candidates


def test_a_counter_pan_keeps_the_subject_in_its_place() -> None:
    plan = scene(*near(), poses=tuple(attrs.evolve(pose, pan_deg=0.0) for pose in LEVEL))
    close = attrs.evolve(
        plan, blocks=(box("tower", 0.0, 9.0, (1.0, 1.0, 3.0), role="subject"), *plan.blocks[1:])
    )
    held = compare.compare(close).plans["slide-held"]
    found = block_visibility.compute_visibility(held, camera_path(held, np.linspace(0.0, 1.0, 60)))
    left, _, right, _ = composition.read_subject(held, found).rect_px.T
    middle = (left + right) / 2.0 / held.clip.width_px
    assert np.ptp(middle) < 0.01
    assert np.ptp([pose.pan_deg for pose in held.move.poses]) > 3.0


def test_a_pan_across_north_takes_the_short_way() -> None:
    plan = scene(*near(), poses=tuple(attrs.evolve(pose, pan_deg=0.0) for pose in LEVEL))
    pans = [present(pose.pan_deg) for pose in compare.compare(plan).plans["pan"].move.poses]
    assert np.ptp(pans) < 60.0


@pytest.mark.parametrize("bearing_deg", [-350.0, 10.0, 370.0, 730.0])
def test_a_bearing_is_counted_as_the_axis_counts_it(bearing_deg: float) -> None:
    axis = attrs.evolve(present(scene().rig.pan), min_deg=0.0, max_deg=360.0)
    assert candidates.within(axis, bearing_deg, 20.0) == pytest.approx(10.0)
    far = attrs.evolve(axis, min_deg=200.0, max_deg=340.0)
    assert candidates.within(far, 190.0, 270.0) == 200.0


def test_a_rig_without_motors_stands_still() -> None:
    bare = scene(
        slide=None,
        pan=None,
        tilt=None,
        poses=(Pose(at=0.0, pan_deg=5.0, tilt_deg=4.0), Pose(at=1.0, pan_deg=5.0, tilt_deg=4.0)),
    )
    comparison = compare.compare(bare)
    assert ranks(comparison) == ["still"]
    assert set(dict(comparison.not_possible)) == set(KINDS) - {"still"}
    assert comparison.plans["still"].move.poses[0].pan_deg == 5.0


def test_a_place_without_blocks_or_subject_is_compared_all_the_same() -> None:
    empty = compare.compare(place(frames=48, poses=LEVEL))
    assert "still" in empty.plans
    assert "no subject" in dict(empty.not_possible)["slide-held"]
    anonymous = scene(*near(), composition=None)
    anonymous = attrs.evolve(
        anonymous, blocks=tuple(attrs.evolve(block, role="background") for block in anonymous.blocks)
    )
    assert "slide" in compare.compare(anonymous).plans


# ---------------------------------------------------------------- what it hands on


def test_the_comparison_is_plain_values_and_its_plans_are_plans(with_bollards: Comparison) -> None:
    document = json.loads(json.dumps(with_bollards.as_dict()))
    assert [row["rank"] for row in document["candidates"]] == list(range(1, len(with_bollards.rows) + 1))
    assert document["candidates"][0]["score"] >= document["candidates"][-1]["score"]
    for plan in with_bollards.plans.values():
        assert plan_from_text(plan_to_text(plan)) == plan
    text = "\n".join(with_bollards.lines())
    for row in with_bollards.rows:
        assert row.label in text
        assert row.reason in text


def test_a_plan_for_a_reveal_ranks_what_reveals_before_what_shows_at_once(project_root: Path) -> None:
    plan = load_plan(project_root / "example_scenes" / "chapel_sunrise.plan.json")
    rows = compare.compare(plan).rows
    reveals = [bool(row.measures.reveal_works) for row in rows if not row.stops]
    assert reveals == sorted(reveals, reverse=True)
    assert True in reveals
    assert False in reveals


def test_a_single_frame_is_compared_with_nothing_that_moves() -> None:
    comparison = compare.compare(attrs.evolve(one := scene(*near()), shoot=attrs.evolve(one.shoot, frames=1)))
    assert {row.name for row in comparison.rows} == {PLANNED, "still"}
    assert {why for _, why in comparison.not_possible} == {"A single frame can't move."}
