"""Enabling and disabling: the same twice, nothing left behind, and no work where there is no plan."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy
import pytest

import blender_addon
from blender_addon import registration
from blender_addon.state import handlers, live
from blender_addon.ui import operators, overlay
from tests.present import present


def what_blender_knows() -> dict[str, Any]:
    """Everything that an extension could leave behind."""
    return {
        "types": sorted(name for name in dir(bpy.types) if "duskrail" in name.lower()),
        "operators": sorted(dir(bpy.ops.duskrail)),
        "scene": sorted(name for name in dir(bpy.types.Scene) if "duskrail" in name),
        "listeners": sorted(
            (name, function.__qualname__)
            for name in dir(bpy.app.handlers)
            if isinstance(getattr(bpy.app.handlers, name), list)
            for function in getattr(bpy.app.handlers, name)
            if "blender_addon" in getattr(function, "__module__", "")
        ),
        "timers": bpy.app.timers.is_registered(registration._take_up),
        "drawn": len(overlay._handles),
        "menu": sum(
            "blender_addon" in getattr(function, "__module__", "")
            for function in getattr(bpy.types.VIEW3D_MT_add.draw, "_draw_funcs", ())
        ),
    }


@pytest.fixture
def disabled() -> Iterator[None]:
    yield
    if hasattr(bpy.types.Scene, "duskrail"):
        blender_addon.unregister()


def test_disabling_leaves_nothing_behind(disabled: None) -> None:
    before = what_blender_knows()
    assert before["types"] == []
    for _ in range(3):
        blender_addon.register()
        assert what_blender_knows()["listeners"] != before["listeners"]
        blender_addon.unregister()
        assert what_blender_knows() == before


def test_plans_outlive_being_disabled(disabled: None) -> None:
    blender_addon.register()
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.duskrail.new_scene()
    plan = live.plan_of(present(bpy.context.scene))
    assert plan is not None
    blender_addon.unregister()
    blender_addon.register()
    handlers.on_load()
    assert live.plan_of(present(bpy.context.scene)) == plan
    assert bpy.context.scene.duskrail.title == plan.title


def test_nothing_listens_to_frame_changes_and_others_leave_a_scene_without_a_plan_alone(empty: Any) -> None:
    # how quickly the others leave is measured by tools/benchmark.py
    assert not [f for f in bpy.app.handlers.frame_change_post if "blender_addon" in f.__module__]
    assert not [f for f in bpy.app.handlers.frame_change_pre if "blender_addon" in f.__module__]
    graph = bpy.context.evaluated_depsgraph_get()
    handlers.on_depsgraph_update(empty, graph)
    handlers.on_undo(empty)
    assert live.plan_of(empty) is None
    assert not list(empty.objects)


def test_every_tooltip_is_there_and_ends_as_blenders_do(empty: Any) -> None:
    told: dict[str, str] = {}
    for cls in (*operators.CLASSES,):
        known = getattr(bpy.ops.duskrail, cls.bl_idname.split(".")[1]).get_rna_type()
        told[cls.bl_idname] = known.description
        for prop in known.properties:
            if prop.identifier != "rna_type" and not prop.is_hidden:
                told[f"{cls.bl_idname}.{prop.identifier}"] = prop.description
    settings = empty.duskrail
    for group in (settings, settings.poses.add(), settings.blocks.add()):
        for prop in group.bl_rna.properties:
            if prop.identifier not in ("rna_type", "name", "poses", "blocks") and not prop.is_hidden:
                told[f"{group.bl_rna.identifier}.{prop.identifier}"] = prop.description
    assert [name for name, text in told.items() if not text.strip()] == []
    assert [name for name, text in told.items() if text.strip().endswith(".")] == []
    assert len(told) > 120


def test_an_operator_without_a_plan_is_greyed_out_with_a_reason(empty: Any) -> None:
    for cls in operators.CLASSES:
        kind, name = cls.bl_idname.split(".")
        operator = getattr(getattr(bpy.ops, kind), name)
        if hasattr(cls, "poll") and not operator.poll():
            with pytest.raises(RuntimeError, match=r"(plan|clip|preview|search)"):
                operator()
