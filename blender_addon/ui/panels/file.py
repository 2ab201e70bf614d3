"""The plan's file."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy

from planner_core.words.language import say

from ...state import files
from .layout import PlanTab, wrapped


class DUSKRAIL_PT_file(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_file"
    bl_label = "Plan File"
    bl_order = 10
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        settings = scene.duskrail
        if settings.file:
            name = Path(settings.file).name
            unsaved = files.is_unsaved(scene)
            layout.label(
                text=say("{file} (not saved)", file=name) if unsaved else name,
                translate=False,
                icon="FILE_TEXT" if not unsaved else "GREASEPENCIL",
            )
        else:
            wrapped(layout, context, say("Not saved as a file; kept in the .blend."), icon="BLENDER")
        row = layout.row(align=True)
        row.operator("duskrail.open", text="Open…", icon="FILE_FOLDER")
        row.operator("duskrail.save", text="Save", icon="FILE_TICK")
        row.operator("duskrail.save_as", text="Save As…")
        column = layout.column(align=True)
        column.operator("duskrail.read_back", icon="LOOP_BACK")
        column.operator("duskrail.redraw", text="Redraw", icon="FILE_REFRESH")
        column.operator("duskrail.save_sheet", text="Save Shot Sheet…", icon="DOCUMENTS")
        layout.operator("duskrail.remove_plan", icon="TRASH")


CLASSES = (DUSKRAIL_PT_file,)
