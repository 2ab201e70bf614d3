"""Tidal water in the scene stands at the FrameTable's height on every frame, and the plan stays the plan."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from blender_addon.read import readback
from blender_addon.render import fastcolours
from blender_addon.scene import build, parts, tides
from blender_addon.state import live, redraw
from planner_core import FrameTable, compute_frames
from tests.core.test_tide import seaside

BASIN = 5


@pytest.fixture
def drawn(empty: Any) -> tuple[Any, FrameTable]:
    frames = compute_frames(seaside())
    build.build_scene(frames.plan, frames, empty)
    return empty, frames


def basin(scene: Any) -> Any:
    return next(t for t in parts.objects_of(scene, "block") if int(t[parts.INDEX_KEY]) == BASIN)


def top_m(scene: Any, thing: Any) -> float:
    world = np.array(thing.evaluated_get(parts.depsgraph_of(scene)).matrix_world)
    return float(max((world @ [*v.co, 1.0])[2] for v in thing.data.vertices))


def test_the_water_stands_at_the_tide_on_every_frame(drawn: Any) -> None:
    scene, frames = drawn
    assert frames.water_m is not None
    for number in (1, 20, 40):
        scene.frame_set(number)
        assert top_m(scene, basin(scene)) == pytest.approx(float(frames.water_m[number - 1]), abs=1e-4)


def test_the_tide_is_no_edit_of_the_block(drawn: Any) -> None:
    scene, frames = drawn
    for number in (1, 40):
        scene.frame_set(number)
        assert redraw.touched(scene, frames.plan) is None
        found = readback.read_scene(scene)
        assert found.plan == frames.plan
        assert not [said for said in found.said if "animated" in said]


def test_without_tides_the_water_stands_still_again(drawn: Any) -> None:
    scene, frames = drawn
    scene.frame_set(40)
    tides.draw_tide(scene, compute_frames(seaside(waters=[])))
    scene.frame_set(1)
    assert top_m(scene, basin(scene)) == pytest.approx(-5.5, abs=1e-4)
    assert live.plan_of(scene) == frames.plan


def test_reflections_are_worked_out_near_every_height(drawn: Any) -> None:
    _, frames = drawn
    assert frames.water_m is not None
    levels = np.array([level for level in fastcolours._tide_levels_m(frames) if level is not None])
    off = np.abs(frames.water_m[:, None] - levels).min(axis=1)
    assert off.max() <= fastcolours.TIDE_STEP_M + 1e-9
