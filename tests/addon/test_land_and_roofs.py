"""Terrain and roofs in a scene: drawn as they are, and read back however they were moved or shaped."""

from __future__ import annotations

from typing import Any

import attrs
import bpy
import numpy as np
import pytest

from blender_addon.read.blocks import read_blocks
from blender_addon.scene.blocking import block_objects
from planner_core import Plan
from planner_core.place.blocking import block_mesh
from planner_core.plan.model import Block
from tests.addon.scenes import drawn
from tests.two_towers import plan

pytestmark = pytest.mark.once

LAND = Block(
    name="land 1",
    part_of="land",
    role="ground",
    shape="terrain",
    centre_m=(4.0, -3.0, 0.5),
    size_m=(60.0, 40.0, 5.0),
    turn_deg=20.0,
    heights_m=((1.0, 2.0, 3.5), (2.0, 3.0, 5.0)),
)
BARN = Block(
    name="barn",
    role="background",
    shape="prism",
    footprint_m=((20.0, 30.0), (32.0, 30.0), (32.0, 37.0), (20.0, 37.0)),
    height_m=8.0,
    roof="hipped",
    roof_height_m=3.0,
    roof_turn_deg=90.0,
)
HERE: Plan = attrs.evolve(plan(shoot__frames=2), blocks=(*plan().blocks, LAND, BARN))


@pytest.fixture
def scene() -> bpy.types.Scene:
    return drawn(HERE)[0]


def thing(scene: bpy.types.Scene, name: str) -> Any:
    return next(one for one in block_objects(scene) if one.name == name)


def read(scene: bpy.types.Scene, name: str) -> Block:
    scene.view_layers[0].update()
    return next(block for block in read_blocks(scene, HERE)[0] if block.name == name)


def test_land_and_roofs_nobody_touched_come_back_as_they_were(scene: bpy.types.Scene) -> None:
    assert read(scene, "land 1") == LAND
    assert read(scene, "barn") == BARN


def test_they_are_drawn_where_the_plan_has_them(scene: bpy.types.Scene) -> None:
    scene.view_layers[0].update()
    for block in (LAND, BARN):
        one = thing(scene, block.name)
        there = np.array([one.matrix_world @ vertex.co for vertex in one.data.vertices])
        np.testing.assert_allclose(there, block_mesh(HERE, block).vertices_m, atol=1e-4)


def test_land_moved_turned_and_scaled_keeps_its_heights_in_proportion(scene: bpy.types.Scene) -> None:
    one = thing(scene, "land 1")
    one.location.x += 3.0
    one.rotation_euler.z -= np.radians(15.0)
    one.scale.z = 2.0
    found = read(scene, "land 1")
    assert found.shape == "terrain"
    assert found.centre_m == pytest.approx((7.0, -3.0, 0.5), abs=1e-3)
    assert found.turn_deg == pytest.approx(35.0, abs=1e-2)
    assert found.size_m == pytest.approx((60.0, 40.0, 10.0), abs=1e-3)
    assert np.array(found.heights_m) == pytest.approx(2.0 * np.array(LAND.heights_m), abs=1e-3)


def test_land_shaped_in_edit_mode_takes_its_new_heights(scene: bpy.types.Scene) -> None:
    one = thing(scene, "land 1")
    one.data.vertices[0].co.z += 6.0  # above its highest point
    found = read(scene, "land 1")
    assert found.shape == "terrain"
    assert found.size_m is not None
    assert found.size_m[2] == pytest.approx(7.0, abs=1e-3)
    assert np.array(found.heights_m)[0, 0] == pytest.approx(7.0, abs=1e-3)
    assert np.array(found.heights_m)[1, 2] == pytest.approx(5.0, abs=1e-3)
    now = block_mesh(HERE, found).vertices_m
    there = np.array([one.matrix_world @ vertex.co for vertex in one.data.vertices])
    np.testing.assert_allclose(there, now, atol=2e-3)


def test_a_house_that_is_turned_and_raised_turns_and_raises_its_roof(scene: bpy.types.Scene) -> None:
    one = thing(scene, "barn")
    one.rotation_euler.z = np.radians(-30.0)
    one.scale.z = 1.5
    found = read(scene, "barn")
    assert (found.shape, found.roof) == ("prism", "hipped")
    assert found.roof_turn_deg == pytest.approx(120.0, abs=0.01)
    assert found.height_m == pytest.approx(12.0, abs=1e-3)
    assert found.roof_height_m == pytest.approx(4.5, abs=1e-3)
    scene.view_layers[0].update()
    there = np.array([one.matrix_world @ vertex.co for vertex in one.data.vertices])
    now = block_mesh(HERE, found).vertices_m
    assert np.linalg.norm(there[:, None] - now[None], axis=-1).min(axis=1).max() < 2e-3
