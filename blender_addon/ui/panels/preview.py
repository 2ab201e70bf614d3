"""The draft clip: how it is drawn, how far it is, and what came of it."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from ..operators import preview
from .layout import PlanTab, rows, wrapped


class DUSKRAIL_PT_preview(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_preview"
    bl_label = "Preview"
    bl_order = 7
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, scene = rows(self.layout), context.scene
        settings = scene.duskrail
        layout.row().prop(settings, "look", expand=True)
        column = layout.column(align=True)
        column.prop(settings, "clip_px")
        column.prop(settings, "every")
        column.prop(settings, "jobs")
        row = layout.row(heading="Frame Range")
        row.prop(settings, "use_range", text="")
        cell = row.row(align=True)
        cell.enabled = settings.use_range
        cell.prop(settings, "first_frame", text="")
        cell.prop(settings, "last_frame", text="")
        row = layout.row()  # of its own, so that a name isn't cut
        row.use_property_split = False
        row.prop(settings, "clip_file", text="", placeholder=preview.clip_path(scene).name)
        job = preview.current()
        if job is not None and job.is_running():
            layout.progress(factor=job.done_fraction, type="BAR", text=job.text)
            layout.operator("duskrail.preview_stop", text="Stop", icon="X")
            return
        column = layout.column()
        column.scale_y = 1.3
        column.operator("duskrail.preview", icon="RENDER_ANIMATION")
        layout.operator("duskrail.stills", icon="IMAGE_DATA")
        if job is not None and job.problem:
            wrapped(layout, context, job.problem, icon="ERROR")
        elif job is not None and job.result is not None:
            wrapped(layout, context, preview.told(job.result), icon="CHECKMARK")
        layout.operator("duskrail.preview_open", icon="PLAY")


class DUSKRAIL_PT_client(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_client"
    bl_parent_id = "DUSKRAIL_PT_preview"
    bl_label = "For the Client"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        column = layout.column(align=True, heading="In the clip")
        column.prop(settings, "title_card")
        column.prop(settings, "burn_in")
        column = layout.column(align=True, heading="Beside it")
        column.prop(settings, "contact_sheet")
        layout.prop(settings, "beside_file")


CLASSES = (DUSKRAIL_PT_preview, DUSKRAIL_PT_client)
