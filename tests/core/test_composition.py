"""Reading the picture: where the subject sits, what is cut or hidden, horizon, foreground, merging; one
score a frame.
"""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner_core.picture import block_visibility, composition
from planner_core.picture.composition import WEIGHTS, Reading
from planner_core.plan.model import Block, Composition, Plan, Pose
from planner_core.rig.camera import camera_path
from tests.core.test_block_visibility import mirrored
from tests.places import box, place, post, random_place


def read(plan: Plan, *, travels: bool = False) -> Reading:
    path = camera_path(plan, np.linspace(0.0, 1.0, plan.shoot.frames))
    return composition.read(plan, block_visibility.compute_visibility(plan, path), travels=travels)


def at_share(
    x: float, *, distance: float = 50.0, size: tuple[float, float, float] = (3.0, 3.0, 12.0)
) -> Block:
    """A tower whose middle stands at a share of the frame's width."""
    return box("tower", (x - 0.5) * 1.5 * distance, distance, size, role="subject")


def framed(*blocks: Block, pan_deg: float = 0.0, tilt_deg: float = 3.0, **changes: Any) -> Plan:
    poses = (
        Pose(at=0.0, pan_deg=pan_deg, tilt_deg=tilt_deg),
        Pose(at=1.0, pan_deg=pan_deg, tilt_deg=tilt_deg),
    )
    return place(*blocks, poses=poses, frames=3, composition=Composition(subject="tower"), **changes)


def test_every_part_has_a_weight_and_counts_from_nought_to_one() -> None:
    reading = read(framed(at_share(1 / 3)), travels=True)
    assert set(reading.parts) == set(WEIGHTS)
    for values in (*reading.parts.values(), reading.score):
        assert (values >= 0.0).all()
        assert (values <= 1.0).all()


@pytest.mark.parametrize("x", [1 / 3, 1 / 2, 2 / 3])
def test_a_subject_on_a_third_or_in_the_middle_sits_well(x: float) -> None:
    # common practice, no source
    assert read(framed(at_share(x))).parts["place"][0] == pytest.approx(1.0)


def test_the_nearer_to_the_edge_the_weaker() -> None:
    # common practice, no source
    scores = [read(framed(at_share(x))).score[0] for x in (0.33, 0.2, 0.1, 0.05, 0.0)]
    assert scores == sorted(scores, reverse=True)
    assert scores[0] > 0.9
    assert scores[-1] < 0.5


def test_a_cut_subject_loses_by_how_much_is_cut() -> None:
    parts = [read(framed(at_share(x, size=(8.0, 3.0, 12.0)))).parts["edges"][0] for x in (0.12, 0.045, 0.0)]
    assert parts[0] == pytest.approx(1.0)
    assert 0.0 < parts[1] < 0.7
    assert parts[2] == 0.0


def test_a_hidden_subject_makes_no_picture() -> None:
    wall = box("wall", 0, 20, (30, 1, 20))
    hidden, free = read(framed(at_share(0.5), wall)), read(framed(at_share(0.5)))
    assert hidden.score[0] == 0.0
    assert hidden.weakest_part(0) == "seen"
    assert composition.part_text(framed(at_share(0.5), wall), hidden, 0) == "“tower” doesn't show"
    assert free.score[0] > 0.9


def test_what_stands_near_before_the_subject_costs_and_what_stands_far_before_it_does_not() -> None:
    # common practice, no source: a post may pass, but the picture is the better without
    tower = at_share(0.5, size=(6.0, 3.0, 12.0))
    half = box("pier", 0.06, 2.0, (0.12, 0.1, 1.7), role="foreground")  # before the lower right of the tower
    low, far = read(framed(tower, half)), read(framed(tower, box("house", 0.0, 40.0, (9.0, 3.0, 3.0))))
    assert 0.1 < low.crossed[0] < 0.6
    factor = composition._smooth(low.shown, composition.SEEN_BARELY, composition.SEEN_ENOUGH)
    parts = sum(WEIGHTS[name] * values[0] for name, values in low.parts.items())
    parts /= sum(WEIGHTS[name] for name in low.parts)
    assert low.score[0] == pytest.approx(parts * factor[0] * (1.0 - 0.4 * low.crossed[0]))
    assert low.weakest_part(0) == "seen"
    assert far.shown[0] < 1.0
    assert far.crossed[0] == 0.0


def test_a_tiny_subject_can_t_be_read() -> None:
    far = box("tower", 0, 800, (2, 2, 3), role="subject")
    reading = read(framed(far))
    assert reading.parts["size"][0] < 0.1
    assert reading.weakest_part(0) == "size"
    assert "0.4 % of the frame" in composition.part_text(framed(far), reading, 0)


def test_headroom_is_wanted() -> None:
    low, high = (read(framed(at_share(0.5, size=(3.0, 3.0, h)))).parts["headroom"][0] for h in (12.0, 24.5))
    assert low == pytest.approx(1.0)
    assert high < 0.5


def test_the_horizon_s_height_follows_the_tilt() -> None:
    # a level lens has it in the middle; f · tan 5° below that with the lens 5° up
    assert read(framed(at_share(0.5), tilt_deg=0.0)).horizon == pytest.approx(0.5)
    shift = 2560.0 * np.tan(np.radians(5.0)) / 2160.0
    assert read(framed(at_share(0.5), tilt_deg=5.0)).horizon == pytest.approx(0.5 - shift)
    assert read(framed(at_share(0.5), tilt_deg=-5.0)).horizon == pytest.approx(0.5 + shift)


def test_a_horizon_on_a_third_is_better_than_through_the_middle() -> None:
    # common practice, no source
    level, third = (read(framed(at_share(0.5), tilt_deg=t)).parts["horizon"][0] for t in (0.0, 6.0))
    assert third > level + 0.2


def test_a_foreground_is_asked_of_a_camera_that_travels_alone() -> None:
    # common practice, no source: with pan and tilt alone it is optional
    bare = framed(at_share(0.5))
    assert "foreground" not in read(bare).parts
    assert read(bare, travels=True).parts["foreground"][0] == pytest.approx(0.3)
    near = framed(at_share(0.5), post("bollard", -0.8, 1.6, 0.3, 1.2))
    assert read(near, travels=True).parts["foreground"][0] == pytest.approx(1.0)
    assert read(near).foreground[0] > 0.01


def test_a_roof_edge_in_line_with_the_subject_merges() -> None:
    tower = at_share(0.5)
    # a house behind, whose left rear corner lies in line with the tower's right front corner
    edge = 1.5 / 48.5 * 88.5
    flush = box("house", edge + 10.0, 83.5, (20.0, 10.0, 16.0))
    clear = box("house", edge + 16.0, 83.5, (20.0, 10.0, 16.0))
    reading = read(framed(tower, flush))
    assert reading.merging[0] == 1
    assert reading.parts["apart"][0] < 0.6
    assert read(framed(tower, clear)).merging[0] == -1


def test_a_mast_in_front_along_the_subject_s_edge_merges() -> None:
    # its right side in line with the tower's right side, 20 m ahead of it
    edge = 1.5 / 48.5 * 20.0
    mast = post("mast", edge - 0.05, 20.0, 0.1, 4.5)
    reading = read(framed(at_share(0.5), mast))
    assert reading.merging[0] == 1
    aside = post("mast", edge + 0.6, 20.0, 0.1, 4.5)
    assert read(framed(at_share(0.5), aside)).merging[0] == -1


def test_a_weak_place_is_told_by_where_it_is() -> None:
    near_edge, between = framed(at_share(0.08)), framed(at_share(0.42))
    assert "near the left edge" in composition.part_text(near_edge, read(near_edge), 0)
    reading = read(between)
    assert reading.weakest_part(0) in ("place", "horizon")


def test_what_is_built_beside_the_subject_does_not_merge() -> None:
    tower, nave = at_share(0.5), box("nave", 8.5, 50.0, (14.0, 6.0, 9.0))
    assert read(framed(tower, nave)).merging[0] == -1


def test_a_subject_larger_than_the_frame_has_no_edges_to_cut() -> None:
    wall = box("tower", 0, 10, (60, 1, 3), role="subject")
    reading = read(framed(wall))
    assert reading.oversize[0].tolist() == [True, False]
    assert reading.parts["edges"][0] == pytest.approx(1.0)
    assert reading.shown[0] == pytest.approx(1.0)


def test_without_a_subject_horizon_and_foreground_are_read() -> None:
    plan = attrs.evolve(framed(box("house", 0, 30, (6, 6, 6))), composition=None)
    reading = read(plan, travels=True)
    assert set(reading.parts) == {"horizon", "foreground"}
    assert reading.subject == ()


def test_a_plan_is_judged_by_its_weakest_frame() -> None:
    poses = (Pose(at=0.0, pan_deg=0.0), Pose(at=1.0, pan_deg=30.0))
    plan = place(at_share(0.5), poses=poses, frames=50, composition=Composition(subject="tower"))
    reading = read(plan)
    frames = composition.judged(plan, reading.at)
    assert frames.all()
    assert composition.weakest_frame(reading, frames) == 49


def test_a_reveal_is_judged_from_where_it_must_show() -> None:
    plan = place(
        at_share(0.5), frames=101, composition=Composition(style="reveal", reveal_by=0.6, subject="tower")
    )
    frames = composition.judged(plan, read(plan).at)
    assert np.flatnonzero(frames)[0] == 60
    assert frames[-1]


@settings(max_examples=15)
@given(st.integers(0, 10_000))
def test_a_mirrored_place_reads_the_same(seed: int) -> None:
    plan = random_place(seed, frames=10)
    flat = tuple(b for b in plan.blocks if b.shape != "figure")  # a figure's sides aren't quite flat
    plan = attrs.evolve(plan, blocks=flat)
    subject = next(b for b in plan.blocks if b.shape == "box")
    plan = attrs.evolve(plan, composition=Composition(subject=subject.name))
    one, other = read(plan, travels=True), read(mirrored(plan), travels=True)
    np.testing.assert_allclose(one.inside, other.inside, atol=1e-6)
    np.testing.assert_allclose(one.horizon, other.horizon)
    np.testing.assert_allclose(one.foreground, other.foreground, atol=1e-5)
    for name, values in one.parts.items():
        np.testing.assert_allclose(values, other.parts[name], atol=1e-4, err_msg=name)


def test_shares_are_said_as_a_person_reads_them() -> None:
    assert composition.percent(0.314) == "31 %"
    assert composition.percent(0.004) == "0.4 %"
    assert composition.percent(0.0) == "0 %"


def test_a_subject_hidden_by_another_part_of_itself_is_not_held_against_it() -> None:
    tower = at_share(0.5)
    porch = Block(
        name="porch", role="subject", shape="box", centre_m=(0.0, 44.0, 4.0), size_m=(3.0, 2.0, 8.0)
    )
    assert read(framed(tower, porch)).visible[0] == pytest.approx(1.0)
    assert read(framed(tower, attrs.evolve(porch, role="background"))).visible[0] < 0.6
