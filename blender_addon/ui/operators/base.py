"""What all operators share: when they can run, and what they say when they can't."""

# Blender resolves text annotations of the classes it registers, so there are none in this module.

from collections.abc import Callable
from typing import Any

import bpy

from planner_core import Plan, PlanError
from planner_core.words.language import say

from ...scene import store
from ...state import live, shots
from .. import wording

Outcome = Any  # a set of Blender's status words, such as FINISHED
UNDOABLE: Any = {"REGISTER", "UNDO"}


def editable(cls: Any, context: Any) -> bool:
    """Whether the scene may be changed at all; says why not."""
    scene = context.scene
    if scene is None:
        cls.poll_message_set(say("There is no scene open here"))
        return False
    reason = live.linked(scene) or ("" if getattr(cls, "IN_ANY_MODE", False) else live.being_edited(scene))
    if reason:
        cls.poll_message_set(reason)
        return False
    return True


class ReadsPlan:
    """An operator that needs a plan in the scene, and changes nothing of it."""

    IN_ANY_MODE: bool = False  # whether it draws nothing, and so doesn't mind a mesh that is being edited

    poll_message_set: Callable[..., None]

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out, with the reason, where there is no plan."""
        if context.scene is None:
            cls.poll_message_set(say("There is no scene open here"))
            return False
        if live.plan_of(context.scene) is None:
            reason = live.unreadable(context.scene)
            cls.poll_message_set(
                say("The plan in this scene can't be read: {reason}", reason=reason)
                if reason
                else say("This scene has no plan yet. Start one, or open a plan file")
            )
            return False
        return True


class WithPlan(ReadsPlan):
    """An operator that changes the scene's plan."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out, with the reason, where there is no plan that can be changed."""
        return editable(cls, context) and super().poll(context)


class ReadsFrames(ReadsPlan):
    """An operator that needs to know every frame of the plan, and changes nothing of it."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out, with the reason, where the plan has no times."""
        if not super().poll(context):
            return False
        if live.frames_of(context.scene) is None:
            cls.poll_message_set(live.state_of(context.scene).reason)
            return False
        return True


class WithFrames(ReadsFrames, WithPlan):
    """An operator that needs to know every frame of the plan, and changes it."""


def change(operator: Any, context: Any, edit: Callable[[Plan], Plan], said: str = "") -> Outcome:
    """Run an edit of the scene's plan; a refusal is reported and leaves everything as it was."""
    if live.change_plan(context.scene, edit):
        operator.report({"ERROR"}, wording.problem_text(context.scene))
        return {"CANCELLED"}
    if said:
        operator.report({"INFO"}, said)
    return {"FINISHED"}


def set_plan(operator: Any, scene: bpy.types.Scene, plan: Plan) -> Outcome:
    """Make a plan that of a scene, or report why it can't be."""
    is_first = not store.has_plan(scene)
    try:
        live.set_plan(scene, plan)
    except PlanError as error:
        operator.report({"ERROR"}, str(error))
        return {"CANCELLED"}
    if is_first:
        shots.join(scene)
    return {"FINISHED"}
