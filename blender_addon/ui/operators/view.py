"""Turning the 3D views to the place, the rig or the picture."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from typing import Any

import bpy

from .. import views
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


CLASSES = (
    DUSKRAIL_OT_show_place,
    DUSKRAIL_OT_show_rig,
    DUSKRAIL_OT_show_picture,
)
