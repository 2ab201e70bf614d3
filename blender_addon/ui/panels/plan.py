"""The plan as a whole: how to begin one, and what is wrong in the scene around it."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core import Plan
from planner_core.words.language import say

from ...read import rig_check, settings
from ...scene import store
from ...state import live, redraw
from .. import evening, guidance, manual_page, wording
from .layout import BOX_PX, Tab, counts, done, wrapped


class DUSKRAIL_PT_plan(Tab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_plan"
    bl_label = "Plan"
    bl_order = 0

    def draw_header_preset(self, context: Any) -> None:
        if context.scene is not None and live.plan_of(context.scene) is not None:
            counts(self.layout, context.scene)

    def draw(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        here = live.state_of(scene)
        if here.problem:
            box = layout.box()
            row = box.row()
            row.alert = True
            row.label(
                text=say("This value won't work") if here.refusal else say("Not Done"),
                translate=False,
                icon="ERROR",
            )
            row.operator("duskrail.dismiss", text="", icon="X", emboss=False)
            wrapped(box, context, wording.problem_text(scene))
        if not store.has_plan(scene):
            self._begin(context)
            return
        plan = live.plan_of(scene)
        if plan is None:
            wrapped(
                layout,
                context,
                say("The plan in this scene can't be read. {reason}", reason=live.unreadable(scene)),
                icon="ERROR",
            )
            layout.operator("duskrail.open", icon="FILE_FOLDER")
            layout.operator("duskrail.remove_plan", icon="TRASH")
            return
        self._about(context, plan)

    def _begin(self, context: Any) -> None:
        layout = self.layout
        wrapped(layout, context, say("This scene has no plan yet."))
        column = layout.column()
        column.scale_y = 1.3
        column.operator("duskrail.first_scene", text="First Scene…", icon="OUTLINER_OB_LIGHT")
        column = layout.column(align=True)
        column.operator("duskrail.new_scene", text="New Example Scene", icon="SCENE_DATA").example = True
        column.operator("duskrail.new_scene", text="New Empty Scene", icon="ADD").example = False
        column.operator("duskrail.start_plan", icon="OBJECT_ORIGIN")
        column.operator("duskrail.open", text="Open Plan…", icon="FILE_FOLDER")
        manual_page.button(layout)

    def _about(self, context: Any, plan: Plan) -> None:
        layout, scene = self.layout, context.scene
        shown, here = scene.duskrail, live.state_of(scene)
        layout.prop(shown, "title", text="")
        frames = live.frames_of(scene)
        if frames is None:
            wrapped(layout, context, here.reason, icon="ERROR")
        self._faults(context, plan)
        done(layout, context, here.said)
        column = layout.column()
        column.scale_y = 1.3
        is_on = evening.is_on(context.space_data)
        column.operator("duskrail.evening", icon="HIDE_OFF", depress=is_on)
        row = layout.row(align=True)
        row.operator("duskrail.show_place", text="Place", icon="VIEW3D")
        row.operator("duskrail.show_rig", text="Rig", icon="TRACKING")
        row.operator("duskrail.show_picture", text="Picture", icon="OUTLINER_OB_CAMERA")
        fresh = live.is_reviewed(scene)
        wrapped(layout, context, guidance.next_step(plan, here.review if fresh else None), icon="FORWARD")

    def _faults(self, context: Any, plan: Plan) -> None:
        """What is wrong in the scene around the plan, each with its remedy."""
        layout, scene = self.layout, context.scene
        linked = live.linked(scene)
        if linked:
            box = layout.box()
            wrapped(box, context, linked, icon="LINKED", spare_px=BOX_PX)
            if scene.library is None:
                box.operator("duskrail.make_own", icon="DUPLICATE")
        if scene.unit_settings.scale_length != 1.0:
            box = layout.box()
            scale = scene.unit_settings.scale_length
            wrapped(
                box,
                context,
                say(
                    "The scene's unit scale is {scale:g}: a metre of the plan is shown as {scale:g} m.",
                    scale=scale,
                ),
                icon="ERROR",
                spare_px=BOX_PX,
            )
            box.operator("duskrail.set_units")
        for difference in (*rig_check.differences(scene, plan), *settings.differences(scene, plan)):
            box = layout.box()
            wrapped(box, context, difference.text, icon="INFO", spare_px=BOX_PX)
            row = box.row(align=True)
            if difference.take is not None:
                row.operator("duskrail.take_setting").setting = difference.key
            row.operator("duskrail.restore_setting").setting = difference.key
        missing = redraw.missing_parts(scene)
        if missing:
            box = layout.box()
            told = say("Deleted from the scene: {parts}.", parts=_listed(missing))
            wrapped(box, context, told, icon="ERROR", spare_px=BOX_PX)
            box.operator("duskrail.redraw", text="Redraw", icon="FILE_REFRESH")


def _listed(missing: list[str]) -> str:
    """Parts of the rig in words: the rail, the pan head and the camera."""
    words = {
        "rail": "the rail",
        "carriage": "the carriage",
        "pan": "the pan head",
        "tilt": "the tilt head",
        "camera": "the camera",
    }
    names = [say(words[part]) for part in missing]
    if len(names) == 1:
        return names[0]
    return say("{first} and {last}", first=", ".join(names[:-1]), last=names[-1])


CLASSES = (DUSKRAIL_PT_plan,)
