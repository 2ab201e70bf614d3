"""The day of the shoot, and the frame of its light event."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from typing import Any

import bpy
from bpy.props import IntProperty

from planner_core.edit import edits
from planner_core.words.language import say

from ...state import live
from .base import UNDOABLE, Outcome, ReadsPlan, WithFrames, WithPlan, change


class DUSKRAIL_OT_step_day(WithPlan, bpy.types.Operator):
    """Move the shoot some days earlier or later"""

    bl_idname = "duskrail.step_day"
    bl_label = "Shift the Shoot by Days"
    bl_options = UNDOABLE

    days: IntProperty(name="Days", description="Number of days later; negative for earlier", default=1)

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says which way."""
        count = abs(properties.days)
        if count == 1:
            later, earlier = "The same shoot a day later", "The same shoot a day earlier"
            return say(later if properties.days > 0 else earlier)
        later, earlier = "The same shoot {count} days later", "The same shoot {count} days earlier"
        return say(later if properties.days > 0 else earlier, count=count)

    def execute(self, context: Any) -> Outcome:
        outcome = change(self, context, lambda plan: edits.with_days_added(plan, self.days))
        if outcome == {"FINISHED"} and context.scene.duskrail.look_days == self.days:
            context.scene.duskrail.look_days = 0  # the day that was tried out is the plan's now
        return outcome


class DUSKRAIL_OT_plan_day(ReadsPlan, bpy.types.Operator):
    """Show the plan's own date again"""

    bl_idname = "duskrail.plan_day"
    bl_label = "Back to the Plan's Day"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        context.scene.duskrail.look_days = 0
        return {"FINISHED"}


class DUSKRAIL_OT_anchor_here(WithPlan, bpy.types.Operator):
    """Let the light event fall on the current frame"""

    bl_idname = "duskrail.anchor_here"
    bl_label = "Put the Event at This Frame"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        plan = live.plan_of(context.scene)
        if plan is not None and plan.shoot.anchor is None:
            cls.poll_message_set(say("The shoot begins at a start time. Set Timing to Light Event first"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        at = live.place_shown(context.scene)
        return change(self, context, lambda plan: edits.evolved(plan, "shoot.anchor.at", at))


class DUSKRAIL_OT_go_to_event(WithFrames, bpy.types.Operator):
    """Show the frame on which the light event falls"""

    bl_idname = "duskrail.go_to_event"
    bl_label = "Go to the Event"
    bl_options = UNDOABLE
    IN_ANY_MODE = True

    def execute(self, context: Any) -> Outcome:
        scene = context.scene
        plan = live.plan_of(scene)
        if plan is None or plan.shoot.anchor is None:
            self.report({"ERROR"}, say("The shoot begins at a start time, not at a light event"))
            return {"CANCELLED"}
        scene.frame_set(round(1 + plan.shoot.anchor.at * (plan.shoot.frames - 1)))
        return {"FINISHED"}


CLASSES = (
    DUSKRAIL_OT_step_day,
    DUSKRAIL_OT_plan_day,
    DUSKRAIL_OT_anchor_here,
    DUSKRAIL_OT_go_to_event,
)
