"""Trying out the light of another day: the scene is lit as on that day, the plan stays as it is."""

from __future__ import annotations

import datetime as dt
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.scene import keyframes, parts
from blender_addon.state import handlers, live
from planner_core.edit import edits, starter
from tests.present import present


@pytest.fixture
def scene(empty: Any) -> Any:
    plan = starter.bare_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))
    live.set_plan(empty, edits.evolved(plan, "shoot.frames", 24))
    return empty


def lit_from_deg(scene: Any) -> float:
    """Where the sun lamp shines from on the first frame, as it is keyed."""
    sun = present(parts.object_of(scene, "sun"))
    values = keyframes.keys(present(keyframes.find_curve(sun, "rotation_euler", 2)))[1]
    north = present(live.plan_of(scene)).site.scene_north_deg
    return float((180.0 - np.degrees(values[0]) + north) % 360.0)


def test_the_scene_is_lit_as_on_that_day_and_the_plan_stays(scene: Any) -> None:
    plan = present(live.plan_of(scene))
    own = present(live.frames_of(scene))
    assert lit_from_deg(scene) == pytest.approx(float(own.sun_azimuth_deg[0]), abs=0.01)
    scene.duskrail.look_days = 60
    shown = present(live.shown_frames(scene))
    assert live.plan_of(scene) is plan
    assert present(shown.plan.shoot.anchor).date == dt.date(2027, 5, 13)
    # in Central Europe the sun sets farther north in May than in March
    assert shown.sun_azimuth_deg[0] > own.sun_azimuth_deg[0] + 15.0
    assert lit_from_deg(scene) == pytest.approx(float(shown.sun_azimuth_deg[0]), abs=0.01)


def test_an_edit_of_the_plan_keeps_the_day_that_is_tried_out(scene: Any) -> None:
    scene.duskrail.look_days = 60
    scene.duskrail.anchor_at = 40.0
    shown = present(live.shown_frames(scene))
    assert present(shown.plan.shoot.anchor).at == 0.4
    assert lit_from_deg(scene) == pytest.approx(float(shown.sun_azimuth_deg[0]), abs=0.01)


def test_taking_the_day_makes_it_the_plans(scene: Any) -> None:
    scene.duskrail.look_days = -30
    assert bpy.ops.duskrail.step_day(days=-30) == {"FINISHED"}
    assert scene.duskrail.look_days == 0
    assert scene.duskrail.date == "2027-02-12"


def test_a_saved_file_has_the_light_of_the_plans_own_day(scene: Any) -> None:
    scene.duskrail.look_days = 60
    handlers.before_saving()
    own = present(live.frames_of(scene))
    assert scene.duskrail.look_days == 0
    assert lit_from_deg(scene) == pytest.approx(float(own.sun_azimuth_deg[0]), abs=0.01)


def test_a_day_without_the_event_is_told_and_the_plans_day_stays(scene: Any) -> None:
    # value from memory: at 70° north the sun doesn't set around midsummer
    live.change_plan(scene, lambda plan: edits.evolved(plan, "site.latitude_deg", 70.0))
    scene.duskrail.look_days = 99
    assert "sunset" in live.state_of(scene).problem
    assert live.shown_frames(scene) is live.frames_of(scene)
