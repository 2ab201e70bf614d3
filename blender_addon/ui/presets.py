"""Rigs, cameras and places to choose again, kept by Blender's own preset system."""
# Blender's preset classes are no part of the stubs, and a menu's draw is Blender's.
# mypy: disable-error-code="misc,import-not-found,import-untyped,assignment"

from __future__ import annotations

from typing import Any

import bpy
from bl_operators.presets import AddPresetBase
from bl_ui.utils import PresetPanel

DEFINES = ["settings = bpy.context.scene.duskrail"]


def _values(*names: str) -> list[str]:
    return [f"settings.{name}" for name in names]


def _turn(axis: str) -> tuple[str, ...]:
    # a range may lie beyond the one before: its upper end is set on both sides of the lower
    ends = (f"{axis}_max", f"{axis}_min", f"{axis}_max")
    return (f"has_{axis}", *ends, f"{axis}_speed", f"{axis}_acceleration", f"{axis}_step")


RIG = _values(
    "head_height",
    "pupil",
    "settle",
    "stand_max",
    "stand_min",
    "stand_max",
    *_turn("slide"),
    "max_incline",
    *_turn("pan"),
    *_turn("tilt"),
)
CAMERA = _values("sensor_width", "sensor_height", "image_width", "image_height", "focal_length", "write")
PLACE = _values("site_name", "timezone", "latitude", "longitude")


class DUSKRAIL_MT_rig_presets(bpy.types.Menu):
    bl_label = "Rig Presets"
    preset_subdir = "duskrail/rig"
    preset_operator = "script.execute_preset"
    draw = bpy.types.Menu.draw_preset


class DUSKRAIL_MT_camera_presets(bpy.types.Menu):
    bl_label = "Camera Presets"
    preset_subdir = "duskrail/camera"
    preset_operator = "script.execute_preset"
    draw = bpy.types.Menu.draw_preset


class DUSKRAIL_MT_place_presets(bpy.types.Menu):
    bl_label = "Place Presets"
    preset_subdir = "duskrail/place"
    preset_operator = "script.execute_preset"
    draw = bpy.types.Menu.draw_preset


class DUSKRAIL_OT_rig_preset_add(AddPresetBase, bpy.types.Operator):
    """Keep this rig under a name, or take one out"""

    bl_idname = "duskrail.rig_preset_add"
    bl_label = "Add Rig Preset"
    preset_menu = "DUSKRAIL_MT_rig_presets"
    preset_subdir = "duskrail/rig"
    preset_defines = DEFINES
    preset_values = RIG


class DUSKRAIL_OT_camera_preset_add(AddPresetBase, bpy.types.Operator):
    """Keep this camera and lens under a name, or take one out"""

    bl_idname = "duskrail.camera_preset_add"
    bl_label = "Add Camera Preset"
    preset_menu = "DUSKRAIL_MT_camera_presets"
    preset_subdir = "duskrail/camera"
    preset_defines = DEFINES
    preset_values = CAMERA


class DUSKRAIL_OT_place_preset_add(AddPresetBase, bpy.types.Operator):
    """Keep this place under a name, or take one out"""

    bl_idname = "duskrail.place_preset_add"
    bl_label = "Add Place Preset"
    preset_menu = "DUSKRAIL_MT_place_presets"
    preset_subdir = "duskrail/place"
    preset_defines = DEFINES
    preset_values = PLACE


class _ForView:
    """Blender's list of presets, in the 3D view's sidebar."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    preset_operator = "script.execute_preset"


class DUSKRAIL_PT_rig_presets(_ForView, PresetPanel, bpy.types.Panel):
    bl_label = "Rig Presets"
    preset_subdir = "duskrail/rig"
    preset_add_operator = "duskrail.rig_preset_add"


class DUSKRAIL_PT_camera_presets(_ForView, PresetPanel, bpy.types.Panel):
    bl_label = "Camera Presets"
    preset_subdir = "duskrail/camera"
    preset_add_operator = "duskrail.camera_preset_add"


class DUSKRAIL_PT_place_presets(_ForView, PresetPanel, bpy.types.Panel):
    bl_label = "Place Presets"
    preset_subdir = "duskrail/place"
    preset_add_operator = "duskrail.place_preset_add"


CLASSES: tuple[Any, ...] = (
    DUSKRAIL_MT_rig_presets,
    DUSKRAIL_MT_camera_presets,
    DUSKRAIL_MT_place_presets,
    DUSKRAIL_OT_rig_preset_add,
    DUSKRAIL_OT_camera_preset_add,
    DUSKRAIL_OT_place_preset_add,
    DUSKRAIL_PT_rig_presets,
    DUSKRAIL_PT_camera_presets,
    DUSKRAIL_PT_place_presets,
)


def register() -> None:
    """Offer presets."""
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    """Take them away; what was kept stays in Blender's presets."""
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
