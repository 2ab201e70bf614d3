"""Parallax: near, middle and far against each other, by slide and by pan."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.picture import block_visibility, parallax
from planner_core.picture.parallax import HORIZON, Parallax
from planner_core.plan.model import Block, Composition, Plan, Pose
from planner_core.rig.camera import camera_path
from tests.places import box, place, post, random_place
from tests.present import present


def of(plan: Plan) -> Parallax:
    path = camera_path(plan, np.linspace(0.0, 1.0, 60))
    return parallax.parallax(plan, block_visibility.compute_visibility(plan, path))


def sliding(*blocks: Block, travel_m: float = 1.0, pan_deg: float = 0.0, **changes: Any) -> Plan:
    middle = 1.0
    poses = (
        Pose(at=0.0, slide_m=middle - travel_m / 2.0, pan_deg=pan_deg),
        Pose(at=1.0, slide_m=middle + travel_m / 2.0, pan_deg=pan_deg),
    )
    return place(*blocks, poses=poses, origin_m=(-1.0, 0.0, 1.5), **changes)


def plate(name: str, distance_m: float, role: str = "background") -> Block:
    """A thin upright plate square to the lens and at its height, so that all of it is equally far."""
    size = 0.2 * distance_m
    return Block(
        name=name,
        role=role,
        shape="box",
        centre_m=(0.0, distance_m, 1.5),
        size_m=(size, 1e-3, min(size, 2.9)),
    )


@pytest.mark.once
@given(st.floats(0.6, 60.0), st.floats(0.1, 1.6))
def test_a_slide_across_shifts_by_focal_length_times_travel_over_distance(
    distance_m: float, travel_m: float
) -> None:
    # f · d / Z on the sensor, any handbook of optics; against the horizon, which stands still
    found = of(sliding(plate("near", distance_m), travel_m=travel_m))
    assert present(found.far).block == HORIZON
    expected = 2560.0 * travel_m / (distance_m - 5e-4) / 3840.0 * 100.0
    assert found.separation_percent == pytest.approx(expected, rel=1e-6)
    assert found.travel_m == pytest.approx(travel_m)


@pytest.mark.once
@given(st.floats(1.0, 20.0), st.floats(1.5, 6.0))
def test_separation_falls_as_one_over_distance(distance_m: float, times: float) -> None:
    one, other = (of(sliding(plate("near", d))).separation_percent for d in (distance_m, distance_m * times))
    assert one / other == pytest.approx(times, rel=2e-3)


@pytest.mark.once
@given(st.integers(0, 10_000), st.floats(-60.0, 60.0), st.floats(-60.0, 60.0), st.floats(-20.0, 20.0))
def test_a_pan_about_the_entrance_pupil_separates_nothing(
    seed: int, start_deg: float, end_deg: float, tilt_deg: float
) -> None:
    crowd = random_place(seed)
    poses = (
        Pose(at=0.0, pan_deg=start_deg, slide_m=0.4, tilt_deg=0.0),
        Pose(at=1.0, pan_deg=end_deg, slide_m=0.4, tilt_deg=tilt_deg),
    )
    found = of(place(*crowd.blocks, poses=poses))
    assert found.separation_percent == 0.0
    assert found.travel_m == 0.0
    assert found.still_beyond_m == 0.0


def test_a_pan_about_another_axis_separates_a_little() -> None:
    poses = (Pose(at=0.0, pan_deg=-15.0), Pose(at=1.0, pan_deg=15.0))
    plan = place(plate("near", 2.0), plate("far", 200.0), poses=poses)
    off_axis = attrs.evolve(plan, rig=attrs.evolve(plan.rig, pupil_offset_m=0.1))
    # the pupil swings 2 · 0.1 · sin 15° = 52 mm to the side
    near = 2560.0 * 0.2 * np.sin(np.radians(15.0)) / 3840.0 * 100.0
    expected = near / (2.0 - 0.1) - near / (200.0 - 0.1)
    assert of(off_axis).separation_percent == pytest.approx(expected, rel=0.02)
    assert not parallax.slides(off_axis)


def test_near_middle_and_far_are_what_the_picture_shows() -> None:
    # the subject is the middle, whatever stands nearer to the median
    plan = sliding(
        post("post", 0.3, 2.0, 0.1, 2.0),
        plate("shed", 12.0),
        plate("tower", 60.0, role="subject"),
        box("town", 40, 200, (50, 5, 20)),
        box("behind", 0, -1.0, (0.3, 0.3, 2)),
        composition=Composition(subject="tower"),
    )
    found = of(plan)
    assert [plan.blocks[present(layer).block].name for layer in (found.near, found.middle, found.far)] == [
        "post",
        "tower",
        "town",
    ]
    near, middle, far = (present(layer).shift_percent for layer in (found.near, found.middle, found.far))
    assert near > middle > far
    assert "behind" not in [plan.blocks[layer.block].name for layer in found.layers]


@pytest.mark.parametrize("travel_m", [1.1, 1.4, 2.0])
def test_no_portable_rail_moves_the_far_side_of_a_valley(travel_m: float) -> None:
    # common practice, no source: rails that one carries end between one and two metres; f·d/Z of 24 mm over
    # 36 mm is 0.19 % of the frame for 2 m at 700 m
    village = attrs.evolve(plate("village", 700.0), size_m=(140.0, 1e-3, 30.0), centre_m=(0.0, 700.0, 15.0))
    found = of(sliding(village, travel_m=travel_m))
    expected = 100.0 * 24.0 * travel_m / 700.0 / 36.0
    assert found.layers[0].shift_percent == pytest.approx(expected, rel=0.01)
    assert found.still_beyond_m < 700.0


def test_beyond_the_still_distance_things_shift_by_less_than_a_percent() -> None:
    found = of(sliding(plate("near", 1.0)))
    just = of(sliding(plate("there", found.still_beyond_m * 1.001)))
    assert just.separation_percent == pytest.approx(parallax.STILL_PERCENT, rel=0.01)
    plain = of(sliding(plate("there", found.plain_within_m)))
    assert plain.separation_percent == pytest.approx(parallax.GOOD_PERCENT, rel=0.01)


def test_a_foreground_between_half_a_metre_and_two_is_plain_to_see() -> None:
    # common practice, no source: a slide shows in things roughly 0.6 to 2 m from the lens
    for distance_m in (0.6, 1.3, 2.0):
        found = of(sliding(plate("near", distance_m), plate("village", 700.0)))
        assert found.separation_percent > parallax.GOOD_PERCENT


def test_a_push_in_shifts_what_stands_to_the_side() -> None:
    poses = (Pose(at=0.0, slide_m=0.0, pan_deg=0.0), Pose(at=1.0, slide_m=1.0, pan_deg=0.0))
    plan = place(post("post", 1.0, 3.0, 0.1, 2.0), plate("town", 300.0), poses=poses, rail_bearing_deg=0.0)
    found = of(plan)
    # its front, from 3 m to 2 m ahead, 1 m to the side: f · (1/2 − 1/3)
    assert present(found.near).shift_percent == pytest.approx(
        2560.0 * (1 / 2 - 1 / 3) / 3840.0 * 100.0, rel=0.15
    )


def test_the_ground_alone_is_no_foreground() -> None:
    meadow = Block(
        name="meadow", role="ground", shape="box", centre_m=(0.0, 0.0, -0.5), size_m=(2000.0, 2000.0, 1.0)
    )
    assert of(sliding(meadow)).near is None
    assert of(sliding()).separation_percent == 0.0


def test_a_mirrored_slide_separates_as_much() -> None:
    blocks = (post("post", 0.3, 2.0, 0.1, 2.0), box("town", 40, 200, (50, 5, 20)))
    flipped = (post("post", -0.3, 2.0, 0.1, 2.0), box("town", -40, 200, (50, 5, 20)))
    one = of(sliding(*blocks, travel_m=0.8))
    other = of(sliding(*flipped, travel_m=0.8))
    assert one.separation_percent == pytest.approx(other.separation_percent)
