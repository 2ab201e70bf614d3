"""Windows and lamps in the scene that is worked in: they follow the plan; the plan doesn't follow them."""

from __future__ import annotations

import datetime as dt
from typing import Any

import attrs
import bpy
import numpy as np
import pytest

from blender_addon.read import readback
from blender_addon.scene import keyframes, nightlights, parts, windows
from blender_addon.state import live
from planner_core.edit import starter
from planner_core.light import lamps
from planner_core.rig import geometry
from tests.present import present


@pytest.fixture
def lit(empty: Any) -> Any:
    """A scene with the example's place, its windows drawn."""
    live.set_plan(empty, starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14)))
    assert windows.draw(empty, frames_of(empty))
    return empty


def frames_of(scene: Any) -> Any:
    frames = live.frames_of(scene)
    assert frames is not None
    return frames


def corners_m(scene: Any) -> Any:
    thing: Any = parts.object_of(scene, nightlights.PART)
    return np.array([vertex.co for vertex in thing.data.vertices])


def test_they_stand_where_the_core_has_them(lit: Any) -> None:
    frames = frames_of(lit)
    panes = lamps.panes(frames.plan, geometry.head_middle_m(frames.plan))
    assert corners_m(lit) == pytest.approx(panes.corners_m.reshape(-1, 3), abs=1e-3)


def test_drawn_again_there_is_still_one_of_them(lit: Any) -> None:
    assert not windows.draw(lit, frames_of(lit))
    live.draw_anew(lit)
    nightlights.draw_windows(lit, frames_of(lit))
    assert len(parts.objects_of(lit, nightlights.PART)) == 1


def test_a_moved_block_takes_its_windows_along(lit: Any) -> None:
    before = corners_m(lit)
    plan = frames_of(lit).plan
    moved = list(plan.blocks)
    number = next(i for i, block in enumerate(plan.blocks) if block.name == "inn")
    x, y, z = plan.blocks[number].centre_m or (0.0, 0.0, 0.0)
    moved[number] = attrs.evolve(plan.blocks[number], centre_m=(x + 3.0, y, z))
    live.change_plan(lit, lambda old: attrs.evolve(old, blocks=tuple(moved)))
    assert windows.draw(lit, frames_of(lit))
    shifted = np.linalg.norm(corners_m(lit) - before, axis=1)
    assert np.isclose(shifted, 3.0, atol=1e-3).any()
    assert np.isclose(shifted, 0.0, atol=1e-3).any()  # those of the other houses


def test_the_plan_read_back_is_the_same(lit: Any) -> None:
    assert readback.read_scene(lit).plan == live.plan_of(lit)
    assert not live.take_edits(lit)


def test_in_plain_shading_they_are_dark_by_day_and_brighten_as_it_gets_dark(lit: Any) -> None:
    thing: Any = parts.object_of(lit, nightlights.PART)
    curve = keyframes.find_curve(thing, "color", 0)
    assert curve is not None
    red = keyframes.keys(curve)[1]
    assert red[0] == pytest.approx(nightlights.GLASS[0], abs=1e-4)
    assert red[-1] > 0.5
    assert np.all(np.diff(red) >= -1e-6)


def test_without_buildings_there_are_none_any_more(lit: Any) -> None:
    live.change_plan(lit, lambda plan: attrs.evolve(plan, blocks=(), composition=None))
    windows.draw(lit, frames_of(lit))
    assert parts.object_of(lit, nightlights.PART) is None


def test_undo_brings_them_with_the_plan_or_has_them_drawn_again(lit: Any) -> None:
    bpy.context.preferences.edit.use_global_undo = True
    bpy.ops.ed.undo_push(message="start")
    at_first = corners_m(lit)
    live.change_plan(lit, lambda plan: attrs.evolve(plan, blocks=plan.blocks[:-6]))
    windows.draw(lit, frames_of(lit))
    bpy.ops.ed.undo_push(message="fewer")
    bpy.ops.ed.undo()
    scene = present(bpy.context.scene)
    windows.draw(scene, frames_of(scene))
    assert corners_m(scene) == pytest.approx(at_first)


def test_taking_the_plan_out_takes_them_out(lit: Any) -> None:
    live.remove(lit)
    assert not [thing for thing in lit.objects if thing.get(parts.PART_KEY)]


def test_drawn_late_in_the_evening_they_shine_at_once(empty: Any) -> None:
    live.set_plan(empty, starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14)))
    empty.frame_set(330)
    windows.draw(empty, frames_of(empty))
    bpy.context.view_layer.update()
    thing: Any = parts.object_of(empty, nightlights.PART)
    assert thing.color[0] > 0.5
    seen: Any = empty.world.evaluated_get(parts.depsgraph_of(empty))
    panes = lamps.panes(frames_of(empty).plan, geometry.head_middle_m(frames_of(empty).plan))
    assert 2.0 ** seen[nightlights.DUSK] == pytest.approx(frames_of(empty).illuminance_lux[329], rel=1e-3)
    assert (panes.on_lux > 2.0 ** seen[nightlights.DUSK]).any()
