"""The search for a shot: what is searched, how far it is, the finds, and what there is to know of one."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.words.language import say

from ..operators import scout
from .layout import PlanTab, rows, wrapped


class DUSKRAIL_PT_scout(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_scout"
    bl_label = "Find the Shot"
    bl_order = 4
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, scene = rows(self.layout), context.scene
        settings, job = scene.duskrail, scout.job_of(scene)
        if job is not None and job.is_running():
            layout.progress(factor=job.done_fraction, type="BAR", text=job.text)
            layout.operator("duskrail.scout_stop", text="Stop", icon="X")
        else:
            layout.prop(settings, "lenses")
            column = layout.column(align=True)
            column.prop(settings, "scout_reach")
            column.prop(settings, "scout_reviews")
            column = layout.column()
            column.scale_y = 1.3
            column.operator("duskrail.scout", icon="VIEWZOOM")
        if job is not None and job.problem:
            wrapped(layout, context, job.problem, icon="ERROR")
        self._finds(context)

    def _finds(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        shown, find = scout.shown_of(scene), scout.chosen_find(scene)
        if shown is None or find is None:
            return
        wrapped(layout, context, say("The shot as planned: {planned:.0f} points", planned=shown.planned))
        column = layout.column(align=True)
        for number, other in enumerate(shown.finds):
            text = f"{number + 1}.  {other['points']:.0f}   {other['name']}"
            column.operator(
                "duskrail.scout_choose", text=text, translate=False, depress=other is find
            ).number = number
        row = layout.row(align=True)
        row.operator("duskrail.scout_step", text="", icon="TRIA_LEFT").by = -1
        row.operator("duskrail.scout_take", icon="CHECKMARK")
        row.operator("duskrail.scout_step", text="", icon="TRIA_RIGHT").by = 1
        box = layout.box()
        wrapped(box, context, f"{find['name']}. {find['reason']}")
        wrapped(box, context, f"{', '.join(find['costs'])}.", icon="TRACKING")
        wrapped(box, context, say("Check there {what}.", what="; ".join(find["to_check"])), icon="VIEWZOOM")
        if shown.remark:
            wrapped(layout, context, shown.remark, icon="INFO")
        layout.operator("duskrail.scout_stand", icon="CURSOR")
        layout.operator("duskrail.scout_clear", icon="X")


CLASSES = (DUSKRAIL_PT_scout,)
