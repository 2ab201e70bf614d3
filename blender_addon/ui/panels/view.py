"""What the view shows of a plan, in Blender's Overlays popover."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.words.language import say

from ...state import live


class DUSKRAIL_PT_overlay(bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_overlay"
    bl_space_type = "VIEW_3D"
    bl_region_type = "HEADER"
    bl_parent_id = "VIEW3D_PT_overlay"
    bl_label = "Duskrail"

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Shown where the scene has a plan."""
        return context.scene is not None and live.plan_of(context.scene) is not None

    def draw(self, context: Any) -> None:
        layout, settings = self.layout, context.scene.duskrail
        grid = layout.grid_flow(row_major=True, columns=2, even_columns=True, align=True)
        for name in ("show_readout", "show_path", "show_sky", "show_phases", "show_log"):
            grid.prop(settings, name)
        layout.label(text=say("In the Picture"), translate=False)
        grid = layout.grid_flow(row_major=True, columns=2, even_columns=True, align=True)
        for name in (
            "show_thirds",
            "show_sensor",
            "show_subject",
            "show_ways",
            "show_limits",
            "show_weakest",
        ):
            grid.prop(settings, name)


CLASSES = (DUSKRAIL_PT_overlay,)
