"""Crowns and hulls are drawn as such, within the blocks that stand for them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner_core import load_plan
from planner_core.light import lamps
from planner_core.place import draft_shapes
from planner_core.place.blocking import solid_mesh
from planner_core.plan.file import plan_from_dict
from planner_core.plan.model import Plan
from tests.two_towers import document

EXAMPLES = Path(__file__).resolve().parents[2] / "example_scenes"


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    return {path.name.split(".")[0]: load_plan(path) for path in sorted(EXAMPLES.glob("*.plan.json"))}


def names_of(plan: Plan, kind: str) -> set[str]:
    judge = {"crown": draft_shapes.is_crown, "hull": draft_shapes.is_hull}[kind]
    return {block.name for block in plan.blocks if judge(plan, block)}


def test_trees_have_crowns_and_towers_have_none(plans: dict[str, Plan]) -> None:
    assert names_of(plans["chapel_sunrise"], "crown") == {f"tree {k} crown" for k in range(1, 7)}
    for other in ("harbour_light", "square_pan", "classic_mistakes"):
        assert names_of(plans[other], "crown") == set()


def test_boats_have_hulls_and_moles_and_jetties_have_none(plans: dict[str, Plan]) -> None:
    assert names_of(plans["harbour_light"], "hull") == {f"boat {k} hull" for k in range(1, 6)}
    assert names_of(plans["classic_mistakes"], "hull") == {"ferry hull"}
    assert names_of(plans["chapel_sunrise"], "hull") == names_of(plans["square_pan"], "hull") == set()


def test_what_is_drawn_stays_within_its_block_and_reaches_its_sides(plans: dict[str, Plan]) -> None:
    drawn = [
        (block, shape)
        for plan in plans.values()
        for block in plan.blocks
        if (shape := draft_shapes.drawn_shape(plan, block)) is not None
    ]
    assert len(drawn) == 12 + 33  # crowns and hulls, and houses
    for block, (vertices, faces) in drawn:
        half = np.asarray(block.size_m) / 2.0
        assert np.abs(vertices).max(axis=0) == pytest.approx(half, rel=1e-9)
        assert vertices.max(axis=0) == pytest.approx(-vertices.min(axis=0), rel=1e-9)
        if block.shape == "post":
            assert np.all(np.hypot(vertices[:, 0] / half[0], vertices[:, 1] / half[1]) <= 1.0 + 1e-9)
        # closed, and facing outwards: the volume is positive and no larger than the block's own
        volume = sum(
            float(np.dot(vertices[f[0]], np.cross(vertices[f[k]], vertices[f[k + 1]]))) / 6.0
            for f in faces
            for k in range(1, len(f) - 1)
        )
        whole = np.prod(np.asarray(block.size_m)) * (np.pi / 4.0 if block.shape == "post" else 1.0)
        assert 0.45 * whole < volume < whole
        assert len(solid_mesh(block).faces) < len(faces)


def place(*blocks: dict[str, Any]) -> Plan:
    made = document()
    made["blocks"] = [
        *made["blocks"],
        *({"role": "background", "shape": "box", "turn_deg": 30.0} | one for one in blocks),
    ]
    return plan_from_dict(made)


@pytest.mark.parametrize(
    ("block", "kind"),
    [
        ({"size_m": [10, 8, 6], "centre_m": [0, 60, 3]}, "house"),
        ({"size_m": [8, 8, 30], "centre_m": [0, 60, 15]}, ""),  # a tower
        ({"size_m": [60, 20, 8], "centre_m": [0, 60, 4]}, ""),  # a hall
        ({"size_m": [10, 8, 6], "centre_m": [0, 60, 3], "role": "foreground"}, ""),
        ({"size_m": [6, 0.06, 1.1], "centre_m": [0, 9, 0.55], "role": "foreground"}, "railing"),
        ({"size_m": [6, 0.4, 1.1], "centre_m": [0, 9, 0.55], "role": "foreground"}, ""),  # a wall
        ({"size_m": [40, 4, 1.2], "centre_m": [0, 60, 6]}, "deck"),
        ({"size_m": [40, 4, 1.2], "centre_m": [0, 60, 0.6]}, ""),  # a kerb
    ],
)
def test_a_box_is_drawn_as_what_its_size_and_place_say(block: dict[str, Any], kind: str) -> None:
    # common sizes of houses, railings and foot bridges, no source
    plan = place({"name": "it", **block})
    it = plan.blocks[-1]
    assert draft_shapes.box_kind(plan, it) == kind
    shape = draft_shapes.drawn_shape(plan, it)
    assert (shape is None) == (kind == "")
    if shape is not None:
        half = np.asarray(it.size_m) / 2.0
        assert np.abs(shape[0]).max(axis=0) == pytest.approx(half, rel=1e-9)
        assert shape[0].min(axis=0) == pytest.approx(-half, rel=1e-9)


def test_the_roof_box_of_a_house_runs_to_a_ridge_and_the_house_under_it_stays_a_box() -> None:
    house = {"name": "house", "size_m": [12, 9, 5], "centre_m": [0, 60, 2.5]}
    roof = {"name": "roof", "size_m": [12, 5, 3], "centre_m": [0, 60, 6.5]}
    plan = place(house, roof)
    assert [draft_shapes.box_kind(plan, block) for block in plan.blocks[-2:]] == ["", "roof"]


def test_no_window_is_in_a_roof() -> None:
    plan = place({"name": "house", "size_m": [12, 10, 9], "centre_m": [0, 60, 4.5], "turn_deg": 0.0})
    house = plan.blocks[-1]
    corners = lamps.panes(plan, (0.0, 0.0, 1.6)).corners_m
    own = corners[np.abs(corners[..., 0].mean(axis=1)) < 7.0]
    assert draft_shapes.box_kind(plan, house) == "house"
    wall_high_m = 9.0 - draft_shapes.roof_high_m(house)
    assert len(own)
    assert own[..., 2].max() < wall_high_m < 9.0
