"""The poses, how the rig is driven between them, and what the picture is about."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

import math
from typing import Any

import bpy

from planner_core.words.language import say

from .layout import PlanTab, rows


class DUSKRAIL_UL_poses(bpy.types.UIList):
    """The poses in the order of the move."""

    def draw_item(
        self,
        context: Any,
        layout: Any,
        _data: Any,
        item: Any,
        _icon: Any,
        _active: Any,
        _property: Any,
        index: int = 0,
        _flag: int = 0,
    ) -> None:
        settings = context.scene.duskrail
        row = layout.row(align=True)
        row.operator("duskrail.pose_go", text="", icon="HIDE_OFF", emboss=False).pose = index
        row.label(text=f"{item.at:.3g} %", translate=False)
        for axis, digits in (("slide", 3), ("pan", 1), ("tilt", 1)):
            if getattr(settings, f"has_{axis}"):
                cell = row.row(align=True)
                cell.active = getattr(item, f"has_{axis}")
                value = getattr(item, axis)
                cell.label(
                    text=f"{value if axis == 'slide' else math.degrees(value):.{digits}f}".replace("-", "−")
                )


class DUSKRAIL_PT_move(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_move"
    bl_label = "Move"
    bl_order = 5

    def draw(self, context: Any) -> None:
        layout, settings = self.layout, context.scene.duskrail
        row = layout.row()
        column = row.column()
        head = column.row(align=True)
        head.label(text="", icon="BLANK1")
        head.label(text=say("Place"), translate=False)
        for axis, unit in (("slide", "m"), ("pan", "°"), ("tilt", "°")):
            if getattr(settings, f"has_{axis}"):
                head.label(text=f"{say(axis.capitalize())} {unit}", translate=False)
        column.template_list("DUSKRAIL_UL_poses", "", settings, "poses", settings, "pose_row", rows=3)
        column = row.column(align=True)
        column.label(text="", icon="BLANK1")
        column.operator("duskrail.pose_add", text="", icon="ADD")
        column.operator("duskrail.pose_remove", text="", icon="REMOVE")
        column.separator()
        column.operator("duskrail.pose_move", text="", icon="TRIA_UP").way = "EARLIER"
        column.operator("duskrail.pose_move", text="", icon="TRIA_DOWN").way = "LATER"
        layout.operator("duskrail.stand_here", icon="OUTLINER_OB_CAMERA")
        layout = rows(layout)
        self._chosen_pose(layout, settings)
        layout.prop(settings, "drive")
        layout.prop(settings, "ease")

    def _chosen_pose(self, layout: Any, settings: Any) -> None:
        if not 0 <= settings.pose_row < len(settings.poses):
            return
        item = settings.poses[settings.pose_row]
        column = layout.column(align=True)
        column.prop(item, "at", text=say("Pose {number} at", number=settings.pose_row + 1), translate=False)
        for axis in ("slide", "pan", "tilt"):
            if getattr(settings, f"has_{axis}"):
                row = column.row(align=True)
                cell = row.row(align=True)
                cell.enabled = getattr(item, f"has_{axis}")
                cell.prop(item, axis)
                given = getattr(item, f"has_{axis}")
                row.prop(
                    item, f"has_{axis}", text="", icon="KEYFRAME_HLT" if given else "KEYFRAME", emboss=False
                )


class DUSKRAIL_PT_picture(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_picture"
    bl_parent_id = "DUSKRAIL_PT_move"
    bl_label = "Subject and Framing"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        layout.prop(settings, "reason")
        layout.prop(settings, "has_composition", text="Judge the Picture")
        if settings.has_composition:
            layout.prop(settings, "subject")
            layout.prop(settings, "style")
            if settings.style == "reveal":
                layout.prop(settings, "reveal_by")
            layout.prop(settings, "light")
            layout.prop(settings, "sun")
            layout.prop(settings, "moon")


CLASSES = (DUSKRAIL_UL_poses, DUSKRAIL_PT_move, DUSKRAIL_PT_picture)
