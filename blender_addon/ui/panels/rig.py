"""Rail, axes, motors, camera and clip."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.words.language import say

from .. import presets
from .layout import PlanTab, field, is_narrow, rows


class DUSKRAIL_PT_rig(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_rig"
    bl_label = "Rig and Camera"
    bl_order = 4

    def draw_header_preset(self, _context: Any) -> None:
        presets.DUSKRAIL_PT_rig_presets.draw_panel_header(self.layout)

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        row = layout.row() if is_narrow(context) else layout.row(heading="Axes")
        row.use_property_split = not is_narrow(context)
        row.prop(settings, "has_slide", toggle=True)
        row.prop(settings, "has_pan", toggle=True)
        row.prop(settings, "has_tilt", toggle=True)
        layout.operator("duskrail.place_rig", icon="PIVOT_CURSOR")
        layout.prop(settings, "origin")
        column = layout.column(align=True)
        column.prop(settings, "bearing")
        column.prop(settings, "incline")
        if settings.has_slide:
            column = layout.column(align=True)
            column.prop(settings, "slide_min", text="Usable From")
            column.prop(settings, "slide_max", text="To")
        column = layout.column(align=True)
        column.prop(settings, "focal_length")
        column.prop(settings, "focus")


class DUSKRAIL_PT_motors(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_motors"
    bl_parent_id = "DUSKRAIL_PT_rig"
    bl_label = "Motors"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        layout.prop(settings, "rig_name")
        column = layout.column(align=True)
        column.prop(settings, "head_height")
        column.prop(settings, "pupil")
        column = layout.column(align=True)
        column.prop(settings, "stand_min")
        column.prop(settings, "stand_max", text="to")
        layout.prop(settings, "settle")
        if settings.has_slide:
            layout.label(text=say("Slide"), translate=False)
            column = layout.column(align=True)
            for name in ("slide_speed", "slide_acceleration", "slide_step"):
                column.prop(settings, name)
            field(column, context, "max_incline")
        for axis in ("pan", "tilt"):
            if getattr(settings, f"has_{axis}"):
                layout.label(text=say(axis.capitalize()), translate=False)
                column = layout.column(align=True)
                for name in ("min", "max", "speed", "acceleration", "step"):
                    column.prop(settings, f"{axis}_{name}")


class DUSKRAIL_PT_camera(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_camera"
    bl_parent_id = "DUSKRAIL_PT_rig"
    bl_label = "Camera and Clip"
    bl_options = {"DEFAULT_CLOSED"}

    def draw_header_preset(self, _context: Any) -> None:
        presets.DUSKRAIL_PT_camera_presets.draw_panel_header(self.layout)

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        layout.prop(settings, "camera_name")
        column = layout.column(align=True)
        column.prop(settings, "sensor_width")
        column.prop(settings, "sensor_height")
        column = layout.column(align=True)
        column.prop(settings, "image_width")
        column.prop(settings, "image_height")
        layout.prop(settings, "write")
        layout.prop(settings, "interval_step")
        layout.prop(settings, "has_raw_size")
        if settings.has_raw_size:
            layout.prop(settings, "raw_size")
        layout.prop(settings, "has_card")
        if settings.has_card:
            layout.prop(settings, "card")
        layout.prop(settings, "has_battery")
        if settings.has_battery:
            layout.prop(settings, "battery")
        column = layout.column(align=True)
        column.prop(settings, "lenses")
        column.prop(settings, "headroom")
        column.prop(settings, "sensor_range")
        column = layout.column(align=True)
        column.prop(settings, "clip_width")
        column.prop(settings, "clip_height")
        layout.prop(settings, "fps")


CLASSES = (DUSKRAIL_PT_rig, DUSKRAIL_PT_motors, DUSKRAIL_PT_camera)
