"""The blocked-out place: closed meshes, boxes around them, convex pieces that fill them, and the ground."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from planner_core.maths import convex
from planner_core.place import blocking
from planner_core.place.blocking import ConvexPiece, Mesh
from planner_core.plan.model import Block, Composition, Plan
from tests.places import box, place, post, random_block, random_place

SEEDS = st.integers(0, 10_000)


def random_solid(seed: int) -> Block:
    return random_block(np.random.default_rng(seed), 0)


def volume_m3(mesh: Mesh) -> float:
    """By the divergence theorem; negative where faces run clockwise seen from outside."""
    total = 0.0
    for face in mesh.faces:
        a = mesh.vertices_m[face[0]]
        for i in range(1, len(face) - 1):
            b, c = mesh.vertices_m[face[i]], mesh.vertices_m[face[i + 1]]
            total += a @ np.cross(b, c) / 6.0
    return total


def inside(piece: ConvexPiece, points: NDArray[np.float64]) -> NDArray[np.bool_]:
    along = points @ piece.normals.T
    return ((along >= piece.low_m - 1e-9) & (along <= piece.high_m + 1e-9)).all(axis=1)


@pytest.mark.once
@given(SEEDS)
def test_every_solid_is_closed_with_its_faces_outward(seed: int) -> None:
    mesh = blocking.solid_mesh(random_solid(seed))
    edges = [(a, b) for face in mesh.faces for a, b in zip(face, face[1:] + face[:1], strict=True)]
    assert len(set(edges)) == len(edges)
    assert {(b, a) for a, b in edges} == set(edges)
    assert volume_m3(mesh) > 0.0


@given(SEEDS)
def test_the_bounding_box_holds_the_mesh(seed: int) -> None:
    plan = place(random_solid(seed), origin_m=(0.0, 0.0, 200.0))
    boxes = blocking.bounding_boxes(plan)
    vertices = blocking.solid_mesh(plan.blocks[0]).vertices_m - boxes.centre_m[0]
    cos, sin = np.cos(boxes.turn_rad[0]), np.sin(boxes.turn_rad[0])
    along = np.column_stack(
        [vertices[:, 0] * cos - vertices[:, 1] * sin, vertices[:, 0] * sin + vertices[:, 1] * cos]
    )
    assert (np.abs(along) <= boxes.half_m[0, :2] + 1e-9).all()
    assert vertices[:, 2].max() <= boxes.half_m[0, 2] + 1e-9


@pytest.mark.once
@given(SEEDS)
def test_convex_pieces_fill_the_solid_and_no_more(seed: int) -> None:
    # volume by random points in the box around it, against the mesh's own
    block = random_solid(seed)
    mesh, rng = blocking.solid_mesh(block), np.random.default_rng(seed)
    low, high = mesh.vertices_m.min(axis=0), mesh.vertices_m.max(axis=0)
    points = rng.uniform(low, high, (4000, 3))
    plan = place(block)
    filled = np.any([inside(piece, points) for piece in blocking.pieces(plan, 0, ground_m=-1e9)], axis=0)
    expected = volume_m3(mesh) / np.prod(high - low)
    assert filled.mean() == pytest.approx(expected, abs=0.035)


@given(
    st.lists(
        st.tuples(st.floats(0.0, 6.28), st.floats(1.0, 9.0)),
        min_size=3,
        max_size=12,
        unique_by=lambda p: round(p[0], 2),
    )
)
def test_a_footprint_is_cut_into_convex_pieces_of_the_same_area(corners: list[tuple[float, float]]) -> None:
    corners = sorted(corners)
    ring = np.array([(reach * np.cos(angle), reach * np.sin(angle)) for angle, reach in corners])
    x, y = ring.T
    area = np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2.0
    gaps = np.diff([angle for angle, _ in corners] + [corners[0][0] + 2 * np.pi])
    if max(gaps) > 3.1:  # the middle would lie outside, and the ring might cross itself
        return
    pieces = convex.convex_pieces(ring)
    total = 0.0
    for piece in pieces:
        px, py = piece.T
        turns = (np.roll(px, -1) - px) * (np.roll(py, -2) - np.roll(py, -1)) - (np.roll(py, -1) - py) * (
            np.roll(px, -2) - np.roll(px, -1)
        )
        assert turns.min() >= -1e-9
        total += np.sum(px * np.roll(py, -1) - np.roll(px, -1) * py) / 2.0
    assert total == pytest.approx(area, rel=1e-6)


def test_an_outline_that_crosses_itself_still_gives_a_solid() -> None:
    bow_tie = ((0.0, 10.0), (4.0, 14.0), (4.0, 10.0), (0.0, 14.0))
    plan = place(Block(role="background", shape="prism", footprint_m=bow_tie, height_m=3.0))
    assert blocking.pieces(plan, 0)


def test_the_smallest_rectangle_around_a_turned_one_is_itself() -> None:
    corners = np.array([(-3.0, -1.0), (3.0, -1.0), (3.0, 1.0), (-3.0, 1.0)])
    angle = np.radians(-25.0)  # clockwise by 25°
    turn = np.array([(np.cos(angle), -np.sin(angle)), (np.sin(angle), np.cos(angle))])
    centre, half, turned = convex.smallest_rectangle(corners @ turn.T + (5.0, 7.0))
    assert centre == pytest.approx((5.0, 7.0))
    assert sorted(half) == pytest.approx([1.0, 3.0])
    assert np.degrees(turned) % 90.0 == pytest.approx(25.0)


def test_a_hull_leaves_out_what_lies_inside_and_on_edges() -> None:
    square = np.array([(0, 0), (2, 0), (2, 2), (0, 2), (1, 1), (1, 0)], dtype=float)
    assert {tuple(corner) for corner in convex.hull(square)} == {(0, 0), (2, 0), (2, 2), (0, 2)}


# ---------------------------------------------------------------- ground


def test_the_ground_is_the_lowest_top_of_ground_and_water() -> None:
    quay = box("quay", 0, 5, (10, 10, 1), role="ground", base=-1.0)
    water = box("water", 0, 50, (50, 50, 1), role="water", base=-3.0)
    assert blocking.ground_level_m(place(quay, water)) == -2.0
    assert blocking.ground_level_m(place(quay)) == 0.0


def test_without_ground_blocks_the_ground_is_at_nought() -> None:
    assert blocking.ground_level_m(place(box("house", 0, 20, (5, 5, 5)))) == 0.0


def test_a_town_below_a_lookout_isn_t_buried() -> None:
    town = box("town", 0, 200, (50, 50, 12), base=-60.0)
    assert blocking.ground_level_m(place(town)) == -60.0
    dug_in = box("cellar", 0, 20, (5, 5, 8), base=-3.0)  # a house with a cellar moves no ground
    assert blocking.ground_level_m(place(dug_in)) == 0.0


def test_a_rail_below_nought_stands_on_something() -> None:
    assert blocking.ground_level_m(place(origin_m=(0.0, 0.0, -4.0))) == -4.0


def test_boxes_and_pieces_end_at_the_ground() -> None:
    plan = place(box("pier", 0, 20, (2, 2, 6), base=-3.0))
    assert blocking.bounding_boxes(plan).low_m[0, 2] == 0.0
    assert blocking.pieces(plan, 0)[0].low_m[-1] == 0.0


# ---------------------------------------------------------------- subject


def tower(subject: str = "tower", **changes: Any) -> Plan:
    blocks = [
        box("tower", 0, 50, (4, 4, 20), role="subject"),
        box("lantern", 0, 50, (3, 3, 3), role="subject", base=20.0),
        box("keeper's house", 30, 50, (6, 6, 4), role="subject"),
        box("shed", 4, 50, (3.9, 4, 3)),
    ]
    return place(*blocks, composition=Composition(subject=subject), **changes)


def test_the_named_block_is_the_subject() -> None:
    assert blocking.subject_indices(tower()) == (0,)


def test_without_a_name_all_blocks_of_the_role_are() -> None:
    assert blocking.subject_indices(tower("")) == (0, 1, 2)
    assert blocking.subject_indices(attrs.evolve(tower(), composition=None)) == (0, 1, 2)


def test_what_is_built_onto_the_subject_is_part_of_it() -> None:
    # the lantern stands on the tower; the house stands apart; the shed touches it but has another role
    assert blocking.subject_parts(tower()) == (0, 1)


def test_a_plan_without_blocks_has_no_subject() -> None:
    assert blocking.subject_indices(place()) == ()
    assert blocking.subject_parts(place()) == ()


# ---------------------------------------------------------------- ridges


def test_a_ridge_stands_at_its_bearing_altitude_and_distance() -> None:
    # from the rail's start: the crest's altitude is the skyline's by definition
    ridge = Block(
        role="background", shape="ridge", distance_m=2000.0, skyline_deg=((-20.0, 3.0), (10.0, 5.0))
    )
    plan = place(ridge, origin_m=(5.0, 2.0, 1.5))
    crest = blocking.block_mesh(plan, ridge).vertices_m[2:] - plan.rig.origin_m
    reach = np.hypot(crest[:, 0], crest[:, 1])
    assert reach == pytest.approx(2000.0)
    assert np.degrees(np.arctan2(crest[:, 0], crest[:, 1])) == pytest.approx((-20.0, 10.0))
    assert np.degrees(np.arctan2(crest[:, 2], reach)) == pytest.approx((3.0, 5.0))


def test_a_long_ridge_gets_several_boxes_and_one_start() -> None:
    plan = random_place(0)
    boxes = blocking.bounding_boxes(plan)
    assert np.sum(boxes.block == len(plan.blocks) - 1) > 3
    assert boxes.starts.tolist() == list(range(len(plan.blocks)))


def test_a_post_s_pieces_hold_its_corners() -> None:
    plan = place(post("mast", 3, 12, 0.4, 9))
    corners = blocking.solid_mesh(plan.blocks[0]).vertices_m
    assert inside(blocking.pieces(plan, 0)[0], corners).all()
