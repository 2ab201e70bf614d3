"""Rigs, cameras and places kept as Blender's presets: what is kept can be set again, whatever was before."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from blender_addon.state import live
from blender_addon.ui import presets
from planner_core.edit import edits, starter

KINDS = {"rig": presets.RIG, "camera": presets.CAMERA, "place": presets.PLACE}


def values_of(scene: Any, names: list[str]) -> dict[str, Any]:
    return {name: getattr(scene.duskrail, name.removeprefix("settings.")) for name in names}


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_kept_of_one_plan_can_be_set_in_another(empty: Any, kind: str) -> None:
    plan = starter.bare_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))
    changes = {
        "rig": {
            "rig.slide.max_m": 3.5,
            "rig.slide.min_m": 2.5,
            "rig.settle_s": 1.5,
            "rig.tilt.max_deg": 60.0,
        },
        "camera": {"camera.focal_length_mm": 35.0, "camera.sensor_width_mm": 23.5},
        "place": {"site.latitude_deg": 60.1, "site.longitude_deg": 24.9, "site.timezone": "Europe/Helsinki"},
    }[kind]
    other = edits.evolved(plan, "move.poses", plan.move.poses)
    for path, value in changes.items():
        other = edits.evolved(other, path, value)
    live.set_plan(empty, other)
    kept = values_of(empty, KINDS[kind])
    live.set_plan(empty, plan)
    assert values_of(empty, KINDS[kind]) != kept
    for name in KINDS[kind]:  # as Blender runs a preset: line by line
        setattr(empty.duskrail, name.removeprefix("settings."), kept[name])
    assert values_of(empty, KINDS[kind]) == pytest.approx(kept)
    assert not live.state_of(empty).problem


def test_presets_are_found_in_folders_of_the_add_ons_own() -> None:
    folders = {cls.preset_subdir for cls in presets.CLASSES}
    assert folders == {f"duskrail/{kind}" for kind in KINDS}
