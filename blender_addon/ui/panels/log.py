"""What was really shot, beside the plan."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy

from planner_core.log.curve import is_far
from planner_core.words.dates import day_words
from planner_core.words.language import say

from ...scene import store
from ...state import live
from .. import wording
from .layout import BOX_PX, PlanTab, wrapped


class DUSKRAIL_PT_log(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_log"
    bl_label = "As Shot"
    bl_order = 9
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        log, plan = store.stored_log(scene), live.plan_of(scene)
        layout.operator("duskrail.open_log", text="Open Log…", icon="FILE_FOLDER")
        if log is None or plan is None:
            if store.LOG_KEY in scene:
                wrapped(
                    layout, context, say("The log in this scene can't be read; open it anew"), icon="ERROR"
                )
                layout.operator("duskrail.clear_log", icon="X")
            return
        told = say(
            "{count} frames of {date}, from {name}",
            count=len(log.curve),
            date=day_words(log.said.date, year=True),
            name=Path(log.source).name,
        )
        wrapped(layout, context, told, icon="RENDER_ANIMATION")
        if is_far(log.curve, plan):
            template = "The plan has {count} frames: is this the plan they were shot by?"
            wrapped(layout, context, say(template, count=plan.shoot.frames), icon="ERROR")
        layout.prop(scene.duskrail, "show_log")
        lines = list(log.said.lines(plan, wording.SIDEBAR.field))
        if lines:
            box = layout.box()
            for line in lines:
                wrapped(box, context, line, spare_px=BOX_PX)
        layout.operator("duskrail.learn_from_log", icon="IMPORT")
        layout.operator("duskrail.clear_log", icon="X")


CLASSES = (DUSKRAIL_PT_log,)
