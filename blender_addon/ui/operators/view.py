"""Turning the 3D views to the place, the rig or the picture."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from typing import Any

import bpy
from bpy.props import EnumProperty

from .. import evening, views
from .base import Outcome, ReadsFrames, ReadsPlan


class DUSKRAIL_OT_show_place(ReadsFrames, bpy.types.Operator):
    """Look at the place from above and behind the rig, in the blocks' own colours, far enough to see the
    sky's ways
    """

    bl_idname = "duskrail.show_place"
    bl_label = "Show the Place"

    def execute(self, context: Any) -> Outcome:
        views.show_place(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_show_rig(ReadsFrames, bpy.types.Operator):
    """Look at the rail and the poses from nearby"""

    bl_idname = "duskrail.show_rig"
    bl_label = "Show the Rig"

    def execute(self, context: Any) -> Outcome:
        views.show_rig(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_show_picture(ReadsPlan, bpy.types.Operator):
    """Look through the rig's camera"""

    bl_idname = "duskrail.show_picture"
    bl_label = "Show the Picture"

    def execute(self, context: Any) -> Outcome:
        views.show_picture(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_evening(ReadsFrames, bpy.types.Operator):
    """Turn this view into the picture as the frame is exposed, to play and scrub through the evening. Once
    more turns it back as it was
    """

    bl_idname = "duskrail.evening"
    bl_label = "Evening View"

    by: EnumProperty(
        name="Drawn By",
        description="What draws it",
        items=[
            ("AUTO", "Automatic", "EEVEE on a graphics card, else plain colours"),
            (evening.EEVEE, "EEVEE", "The light as in the lit look"),
            (evening.PLAIN, "Plain Colours", "The colours of the fast look; needs no graphics card"),
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
            cls.poll_message_set("There is no 3D view in this window")
            return False
        if area.spaces.active.region_quadviews:
            cls.poll_message_set("Leave Quad View first")
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        area = view_area(context)
        if evening.is_on(area.spaces.active):
            evening.leave(context.scene, area)
        else:
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
