"""How aperture, shutter and ISO follow the light."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.output import readout
from planner_core.words.language import say

from ...state import live
from .layout import PlanTab, rows, wrapped


class DUSKRAIL_PT_exposure(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_exposure"
    bl_label = "Exposure"
    bl_order = 6
    bl_options = {"DEFAULT_CLOSED"}

    def draw_header(self, context: Any) -> None:
        self.layout.prop(context.scene.duskrail, "has_exposure", text="")

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        layout.active = settings.has_exposure
        if not settings.has_exposure:
            wrapped(
                layout,
                context,
                say("No exposure is planned. Turn it on to see how the camera has to follow the light."),
            )
            return
        layout.prop(settings, "f_number")
        column = layout.column(align=True)
        column.prop(settings, "shutter_min")
        column.prop(settings, "shutter_max")
        column = layout.column(align=True)
        column.prop(settings, "iso_min")
        column.prop(settings, "iso_max")
        layout.prop(settings, "ramp_order")
        column = layout.column(align=True)
        column.prop(settings, "nd")
        column.prop(settings, "grad")
        layout.prop(settings, "meter")
        layout.prop(settings, "day_look")
        layout.prop(settings, "night_look")
        row = layout.row(heading="Lamps")
        row.prop(settings, "has_artificial", text="")
        cell = row.row()
        cell.enabled = settings.has_artificial
        cell.prop(settings, "artificial", text="EV")
        if settings.has_artificial:
            layout.prop(settings, "mains")
        frames = live.frames_of(context.scene)
        if frames is not None and frames.ramp is not None:
            column = layout.column(align=True)
            column.scale_y = 0.85
            for template, index in (("First frame: {settings}", 0), ("Last frame: {settings}", -1)):
                told = readout.settings_text(frames, index).replace("   ", "  ")
                column.label(text=say(template, settings=told), translate=False)


CLASSES = (DUSKRAIL_PT_exposure,)
