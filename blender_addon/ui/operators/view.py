"""Turning the 3D views to the place, the rig or the picture."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from typing import Any

import bpy
from bpy.props import EnumProperty

from planner_core.words.language import say

from .. import evening, photo_view, views
from .base import Outcome, ReadsFrames, ReadsPlan


class DUSKRAIL_OT_show_place(ReadsFrames, bpy.types.Operator):
    """Look at the place from above and behind the rig, with the paths of sun and moon in view"""

    bl_idname = "duskrail.show_place"
    bl_label = "Show the Place"

    def execute(self, context: Any) -> Outcome:
        photo_view.leave_all()
        views.show_place(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_show_rig(ReadsFrames, bpy.types.Operator):
    """Look at the rail and the poses up close"""

    bl_idname = "duskrail.show_rig"
    bl_label = "Show the Rig"

    def execute(self, context: Any) -> Outcome:
        photo_view.leave_all()
        views.show_rig(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_show_picture(ReadsPlan, bpy.types.Operator):
    """Look through the rig's camera"""

    bl_idname = "duskrail.show_picture"
    bl_label = "Show the Picture"

    def execute(self, context: Any) -> Outcome:
        photo_view.leave_all()
        views.show_picture(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_evening(ReadsFrames, bpy.types.Operator):
    """Show this view as the camera exposes it, to play or scrub through the evening. Press again to turn
    it back
    """

    bl_idname = "duskrail.evening"
    bl_label = "Evening View"

    by: EnumProperty(
        name="Drawing",
        description="How the view is drawn",
        items=[
            ("AUTO", "Automatic", "EEVEE where there is a graphics card, plain colours otherwise"),
            (evening.EEVEE, "EEVEE", "Light and shadow as in the exposed look"),
            (evening.PLAIN, "Plain Colours", "Colours as in the fast look. This needs no graphics card"),
        ],
        default="AUTO",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        area = view_area(context)
        if area is None:
            cls.poll_message_set(say("There is no 3D view in this window"))
            return False
        if area.spaces.active.region_quadviews:
            cls.poll_message_set(say("Leave Quad View first"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        area = view_area(context)
        if evening.is_on(area.spaces.active):
            evening.leave(context.scene, area)
        else:
            photo_view.leave(area)
            evening.enter(context.scene, area, evening.usual_way() if self.by == "AUTO" else self.by)
        return {"FINISHED"}


def view_area(context: Any) -> Any:
    """The 3D view under the mouse, else the largest of the window; None where there is none."""
    if context.area is not None and context.area.type == "VIEW_3D":
        return context.area
    areas = [a for a in context.window.screen.areas if a.type == "VIEW_3D"] if context.window else []
    return max(areas, key=lambda area: area.width * area.height, default=None)


CLASSES = (
    DUSKRAIL_OT_evening,
    DUSKRAIL_OT_show_place,
    DUSKRAIL_OT_show_rig,
    DUSKRAIL_OT_show_picture,
)
