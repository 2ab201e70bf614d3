"""Crowns and hulls are drawn as such, within the blocks that stand for them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from planner_core import load_plan
from planner_core.place import draft_shapes
from planner_core.place.blocking import solid_mesh
from planner_core.plan.model import Plan

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
    assert len(drawn) == 12
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
