"""The sidebar's one tab, in the order of the work. Panels only lay out; what they show comes from
elsewhere.
"""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import bpy

from planner_core import Plan
from planner_core.edit import kit
from planner_core.output import readout
from planner_core.plan import timeline
from planner_core.words.figures import frames_text

from ..scene import store
from ..state import live, redraw
from . import ops_plan, ops_preview, ops_review, wording

TAB = "Duskrail"
LETTER_PX = 5.9  # width of a letter of Blender's interface font at scale 1, on the generous side
UNIT = re.compile(r"(?<=\d) (?=(?:%|°|m|s|mm|px|min|h|EV)\b|%|°)")  # stays beside its number
ICON_PX = 24.0
LEVEL_ICONS = {"stop": "CANCEL", "warn": "ERROR", "note": "INFO"}
ROLE_ICONS = {
    "subject": "OUTLINER_OB_LIGHT",
    "foreground": "AXIS_FRONT",
    "background": "HOME",
    "ground": "MESH_PLANE",
    "water": "MOD_OCEAN",
}
PIECE_ICONS = {
    "tower": "EMPTY_SINGLE_ARROW",
    "house": "HOME",
    "wall": "MOD_BUILD",
    "post": "MESH_CYLINDER",
    "railing": "SNAP_GRID",
    "tree": "OUTLINER_OB_CURVES",
    "figure": "USER",
    "box": "MESH_CUBE",
    "bridge": "IPO_LINEAR",
    "road": "CURVE_PATH",
    "ground": "MESH_PLANE",
    "water": "MOD_OCEAN",
}


def wrapped(layout: Any, context: Any, text: str, *, icon: str = "NONE", spare_px: float = 40.0) -> None:
    """Text over as many lines as the sidebar's width needs."""
    scale = context.preferences.system.ui_scale
    spare_px += ICON_PX if icon != "NONE" else 0.0
    room = max(16, int((context.region.width - spare_px * scale) / (LETTER_PX * scale)))
    column = layout.column(align=True)
    column.scale_y = 0.8
    text = UNIT.sub("\N{NO-BREAK SPACE}", text)
    for number, line in enumerate(textwrap.wrap(text, room)):
        column.label(text=line, icon=icon if number == 0 else ("BLANK1" if icon != "NONE" else "NONE"))


def counts(layout: Any, scene: Any) -> None:
    """How many findings there are of each level; faint while the review is behind the plan."""
    report = live.desk(scene).review
    if report is None:
        return
    row = layout.row(align=True)
    row.active = live.is_reviewed(scene)
    for level in ("stop", "warn", "note"):
        count = sum(found.level == level for found in report.findings)
        if count:
            row.label(text=str(count), icon=LEVEL_ICONS[level])


def done(layout: Any, context: Any, lines: Sequence[str]) -> None:
    """What was done, with a button to put the message away; nothing where there is nothing to tell."""
    if not lines:
        return
    box = layout.box()
    row = box.row()
    row.label(text="Done", icon="CHECKMARK")
    row.operator("duskrail.dismiss", text="", icon="X", emboss=False)
    for line in lines:
        wrapped(box, context, wording.plainly(line))


class Tab:
    """A panel of the tab."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB


class PlanTab(Tab):
    """A panel that has nothing to show without a plan."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Shown where the scene has a plan."""
        return context.scene is not None and live.plan_of(context.scene) is not None


def rows(layout: Any) -> Any:
    """The layout as Blender's own properties have it: names to the left of values."""
    layout.use_property_split = True
    layout.use_property_decorate = False
    return layout


# ---------------------------------------------------------------- what there is, and what is wrong


class DUSKRAIL_PT_plan(Tab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_plan"
    bl_label = "Plan"
    bl_order = 0

    def draw_header_preset(self, context: Any) -> None:
        if context.scene is not None and live.plan_of(context.scene) is not None:
            counts(self.layout, context.scene)

    def draw(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        here = live.desk(scene)
        if here.problem:
            box = layout.box()
            row = box.row()
            row.alert = True
            row.label(text="That can't be meant" if ":" in here.problem else "Not done", icon="ERROR")
            row.operator("duskrail.dismiss", text="", icon="X", emboss=False)
            wrapped(box, context, wording.in_words(here.problem, live.plan_of(scene)))
        if not store.has_plan(scene):
            self._begin(context)
            return
        plan = live.plan_of(scene)
        if plan is None:
            wrapped(
                layout,
                context,
                f"The plan in this scene can't be read. {live.unreadable(scene)}",
                icon="ERROR",
            )
            layout.operator("duskrail.open", icon="FILE_FOLDER")
            layout.operator("duskrail.remove_plan", icon="TRASH")
            return
        self._about(context, plan)

    def _begin(self, context: Any) -> None:
        layout = self.layout
        wrapped(layout, context, "This scene has no plan yet.")
        column = layout.column()
        column.scale_y = 1.3
        column.operator("duskrail.new_scene", text="New Example Scene", icon="SCENE_DATA").example = True
        column = layout.column(align=True)
        column.operator("duskrail.new_scene", text="New Empty Scene", icon="ADD").example = False
        column.operator("duskrail.start_plan", icon="OBJECT_ORIGIN")
        column.operator("duskrail.open", text="Open Plan…", icon="FILE_FOLDER")

    def _about(self, context: Any, plan: Plan) -> None:
        layout, scene = self.layout, context.scene
        settings, here = scene.duskrail, live.desk(scene)
        layout.prop(settings, "title", text="")
        frames = live.frames_of(scene)
        if frames is None:
            wrapped(layout, context, here.reason, icon="ERROR")
        self._faults(context, plan)
        done(layout, context, here.said)
        row = layout.row(align=True)
        row.prop(settings, "show_readout", icon="TEXT", toggle=True)
        row.prop(settings, "show_path", icon="CON_FOLLOWPATH", toggle=True)
        row.prop(settings, "show_sky", icon="LIGHT_SUN", toggle=True)
        row.prop(settings, "show_phases", text="", icon="TIME", toggle=True)
        row = layout.row(align=True)
        row.operator("duskrail.show_place", text="Place", icon="VIEW3D")
        row.operator("duskrail.show_rig", text="Rig", icon="TRACKING")
        row.operator("duskrail.show_picture", text="Picture", icon="OUTLINER_OB_CAMERA")

    def _faults(self, context: Any, plan: Plan) -> None:
        """What is amiss in the scene around the plan, each with its remedy."""
        layout, scene = self.layout, context.scene
        linked = live.linked(scene)
        if linked:
            wrapped(layout.box(), context, linked, icon="LINKED", spare_px=52.0)
        if scene.unit_settings.scale_length != 1.0:
            box = layout.box()
            scale = scene.unit_settings.scale_length
            wrapped(
                box,
                context,
                f"The scene's unit scale is {scale:g}: a metre of the plan is shown as {scale:g} m.",
                icon="ERROR",
                spare_px=52.0,
            )
            box.operator("duskrail.set_units")
        missing = redraw.missing_parts(scene)
        if missing:
            box = layout.box()
            gone = " and ".join(missing)
            wrapped(
                box,
                context,
                f"The rig's {gone} {'is' if len(missing) == 1 else 'are'} gone from the scene.",
                icon="ERROR",
                spare_px=52.0,
            )
            box.operator("duskrail.redraw", icon="FILE_REFRESH")


# ---------------------------------------------------------------- the place and its light


class DUSKRAIL_PT_place(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_place"
    bl_label = "Place and Light"
    bl_order = 1

    def draw(self, context: Any) -> None:
        layout, scene = rows(self.layout), context.scene
        settings = scene.duskrail
        column = layout.column(align=True)
        column.prop(settings, "site_name")
        column.prop(settings, "latitude")
        column.prop(settings, "longitude")
        column.prop(settings, "timezone")
        layout.prop(settings, "north")
        layout.separator()
        row = layout.row()
        row.use_property_split = False
        row.prop(settings, "timing", expand=True)
        if settings.timing == "ANCHOR":
            layout.prop(settings, "event")
            row = layout.row(align=True)
            row.prop(settings, "date")
            self._day_buttons(row)
            row = layout.row(align=True)
            row.prop(settings, "anchor_at")
            row.operator("duskrail.anchor_here", text="", icon="EYEDROPPER")
            row.operator("duskrail.go_to_event", text="", icon="TIME")
        else:
            row = layout.row(align=True)
            row.prop(settings, "start")
            self._day_buttons(row)
        column = layout.column(align=True)
        column.prop(settings, "frames")
        column.prop(settings, "interval")
        layout.prop(settings, "cloud")
        self._times(context)

    def _day_buttons(self, row: Any) -> None:
        row.operator("duskrail.step_day", text="", icon="TRIA_LEFT").days = -1
        row.operator("duskrail.step_day", text="", icon="TRIA_RIGHT").days = 1

    def _times(self, context: Any) -> None:
        frames = live.frames_of(context.scene)
        if frames is None:
            return
        zone = frames.plan.zone
        first, last = (timeline.clock(float(frames.utc_s[i]), zone) for i in (0, -1))
        minutes = frames.plan.duration_s / 60.0
        clip = len(frames) / frames.plan.clip.fps
        column = self.layout.column(align=True)
        column.scale_y = 0.85
        column.label(text=f"{first} to {last}, {minutes:.0f} min", icon="TIME")
        column.label(text=f"{clip:.1f} s of clip", icon="BLANK1")


class DUSKRAIL_PT_evening(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_evening"
    bl_parent_id = "DUSKRAIL_PT_place"
    bl_label = "By the Clock"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        from planner_core.evening.timetable import timetable

        layout, scene = self.layout, context.scene
        frames = live.frames_of(scene)
        if frames is None:
            return
        plan = frames.plan
        grid = layout.column(align=True)
        grid.scale_y = 0.85
        for moment in timetable(plan, frames):
            row = grid.row()
            split = row.split(factor=0.22)
            split.label(text=f"{moment.local(plan):%H:%M}")
            tail = f"  (frame {moment.frame})" if moment.frame else ""
            split.label(text=f"{moment.label}{tail}")
        column = rows(layout).column(align=True)
        column.prop(scene.duskrail, "setup")
        column.prop(scene.duskrail, "travel")
        layout.prop(scene.duskrail, "elevation")


# ---------------------------------------------------------------- blocking


class DUSKRAIL_UL_blocks(bpy.types.UIList):
    """The blocks by name."""

    def draw_item(
        self,
        _context: Any,
        layout: Any,
        _data: Any,
        item: Any,
        _icon: Any,
        _active: Any,
        _property: Any,
        _index: int = 0,
        _flag: int = 0,
    ) -> None:
        layout.prop(item, "label", text="", emboss=False, icon=ROLE_ICONS.get(item.role, "DOT"))

    def filter_items(self, _context: Any, data: Any, name: str) -> tuple[list[int], list[int]]:
        """By name, as Blender's lists do."""
        if not self.filter_name:
            return [], []
        helpers: Any = bpy.types.UI_UL_list
        found = helpers.filter_items_by_name(
            self.filter_name, self.bitflag_filter_item, getattr(data, name), "label"
        )
        return found, []


class DUSKRAIL_PT_blocking(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_blocking"
    bl_label = "Blocking"
    bl_order = 2

    def draw(self, context: Any) -> None:
        layout, settings = self.layout, context.scene.duskrail
        layout.row().prop(settings, "block_where", expand=True)
        grid = layout.grid_flow(row_major=True, columns=3, even_columns=True, align=True)
        for kind, piece in kit.PIECES.items():
            button = grid.operator("duskrail.add_block", text=piece.label, icon=PIECE_ICONS[kind])
            button.kind, button.where = kind, settings.block_where
        grid.operator("duskrail.add_ridge", text="Ridge", icon="RNDCURVE")
        row = layout.row(align=True)
        row.operator_menu_enum("duskrail.mark_block", "role", text="Mark Mesh", icon="MESH_DATA")
        row.operator("duskrail.import_map", text="Map File…", icon="IMPORT")
        row = layout.row()
        row.template_list("DUSKRAIL_UL_blocks", "", settings, "blocks", settings, "block_row", rows=4)
        column = row.column(align=True)
        column.operator("duskrail.remove_block", text="", icon="REMOVE")
        column.separator()
        column.operator_menu_enum("duskrail.set_role", "role", text="", icon="DOWNARROW_HLT")


class DUSKRAIL_PT_block(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_block"
    bl_parent_id = "DUSKRAIL_PT_blocking"
    bl_label = "Chosen Block"

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        settings = context.scene.duskrail
        plan = live.plan_of(context.scene)
        return plan is not None and 0 <= settings.block_row < min(len(plan.blocks), len(settings.blocks))

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        plan = live.plan_of(context.scene)
        assert plan is not None
        item = settings.blocks[settings.block_row]
        block = plan.blocks[settings.block_row]
        layout.prop(item, "label")
        layout.prop(item, "role")
        if block.shape in ("box", "post", "figure"):
            layout.prop(item, "centre")
            column = layout.column(align=True)
            for axis, label in enumerate(("Width", "Depth", "Height")):
                column.prop(item, "size", index=axis, text=label)
            layout.prop(item, "turn")
        elif block.shape == "prism":
            column = layout.column(align=True)
            column.prop(item, "height")
            column.prop(item, "base", text="Foot at")
        else:
            layout.prop(item, "distance")
        if block.role in ("subject", "background"):
            layout.prop(item, "lights")


# ---------------------------------------------------------------- rig and camera


class DUSKRAIL_PT_rig(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_rig"
    bl_label = "Rig and Camera"
    bl_order = 3

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        row = layout.row(heading="Axes")
        row.prop(settings, "has_slide", toggle=True)
        row.prop(settings, "has_pan", toggle=True)
        row.prop(settings, "has_tilt", toggle=True)
        layout.operator("duskrail.place_rig", icon="PIVOT_CURSOR")
        layout.prop(settings, "origin")
        column = layout.column(align=True)
        column.prop(settings, "bearing")
        column.prop(settings, "incline")
        if settings.has_slide:
            column = layout.column(align=True)
            column.prop(settings, "slide_min", text="Usable from")
            column.prop(settings, "slide_max", text="To")
        column = layout.column(align=True)
        column.prop(settings, "focal_length")
        column.prop(settings, "focus")


class DUSKRAIL_PT_motors(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_motors"
    bl_parent_id = "DUSKRAIL_PT_rig"
    bl_label = "What the Rig Can Do"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        column = layout.column(align=True)
        column.prop(settings, "head_height")
        column.prop(settings, "pupil")
        layout.prop(settings, "settle")
        if settings.has_slide:
            layout.label(text="Slide")
            column = layout.column(align=True)
            for name in ("slide_speed", "slide_acceleration", "slide_step", "max_incline"):
                column.prop(settings, name)
        for axis in ("pan", "tilt"):
            if getattr(settings, f"has_{axis}"):
                layout.label(text=axis.capitalize())
                column = layout.column(align=True)
                for name in ("min", "max", "speed", "acceleration", "step"):
                    column.prop(settings, f"{axis}_{name}")


class DUSKRAIL_PT_camera(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_camera"
    bl_parent_id = "DUSKRAIL_PT_rig"
    bl_label = "Camera and Clip"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        column = layout.column(align=True)
        column.prop(settings, "sensor_width")
        column.prop(settings, "sensor_height")
        column = layout.column(align=True)
        column.prop(settings, "image_width")
        column.prop(settings, "image_height")
        layout.prop(settings, "write")
        layout.prop(settings, "has_raw_size")
        if settings.has_raw_size:
            layout.prop(settings, "raw_size")
        column = layout.column(align=True)
        column.prop(settings, "clip_width")
        column.prop(settings, "clip_height")
        layout.prop(settings, "fps")


# ---------------------------------------------------------------- the move


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
        row.label(text=f"{item.at:.3g} %")
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
    bl_order = 4

    def draw(self, context: Any) -> None:
        layout, settings = self.layout, context.scene.duskrail
        row = layout.row()
        column = row.column()
        head = column.row(align=True)
        head.label(text="", icon="BLANK1")
        head.label(text="At")
        for axis, unit in (("slide", "m"), ("pan", "°"), ("tilt", "°")):
            if getattr(settings, f"has_{axis}"):
                head.label(text=f"{axis.capitalize()} {unit}")
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
        column.prop(item, "at", text=f"Pose {settings.pose_row + 1} at")
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
    bl_label = "What It Is About"

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        layout.prop(settings, "reason")
        layout.prop(settings, "has_composition", text="Judge it")
        if settings.has_composition:
            layout.prop(settings, "subject")
            layout.prop(settings, "style")
            if settings.style == "reveal":
                layout.prop(settings, "reveal_by")


# ---------------------------------------------------------------- exposure


class DUSKRAIL_PT_exposure(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_exposure"
    bl_label = "Exposure"
    bl_order = 5

    def draw_header(self, context: Any) -> None:
        self.layout.prop(context.scene.duskrail, "has_exposure", text="")

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        layout.active = settings.has_exposure
        if not settings.has_exposure:
            wrapped(
                layout,
                context,
                "No exposure is planned. Switch it on to see how the camera has to follow the light.",
            )
            return
        layout.prop(settings, "f_number")
        column = layout.column(align=True)
        column.prop(settings, "shutter_min")
        column.prop(settings, "shutter_max")
        column = layout.column(align=True)
        column.prop(settings, "iso_min")
        column.prop(settings, "iso_max")
        layout.prop(settings, "ramp_order")
        layout.prop(settings, "nd")
        layout.prop(settings, "night_look")
        row = layout.row(heading="Lamps")
        row.prop(settings, "has_artificial", text="")
        cell = row.row()
        cell.enabled = settings.has_artificial
        cell.prop(settings, "artificial", text="EV")
        frames = live.frames_of(context.scene)
        if frames is not None and frames.ramp is not None:
            column = layout.column(align=True)
            column.scale_y = 0.85
            for label, place in (("First", 0), ("Last", -1)):
                column.label(
                    text=f"{label} frame: {readout.settings_text(frames, place)}".replace("   ", "  ")
                )


# ---------------------------------------------------------------- what the review says


class DUSKRAIL_PT_review(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_review"
    bl_label = "Review"
    bl_order = 6

    def draw_header_preset(self, context: Any) -> None:
        counts(self.layout, context.scene)

    def draw(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        report = live.desk(scene).review
        if report is None:
            layout.operator("duskrail.review_now", icon="VIEWZOOM")
            return
        fresh = live.is_reviewed(scene)
        row = layout.row(align=True)
        weakest = report.summary.get("weakest_frame")
        text = f"Weakest Frame: {weakest}" if weakest else "Weakest Frame"
        row.operator("duskrail.weakest_frame", text=text, icon="VIS_SEL_11")
        if not fresh:
            row.operator("duskrail.review_now", text="", icon="FILE_REFRESH")
        done(layout, context, live.desk(scene).mended)
        if not report.findings:
            wrapped(layout, context, "Nothing to say against this plan.", icon="CHECKMARK")
        column = layout.column()
        column.active = fresh
        for number, found in enumerate(report.findings):
            self._finding(column, context, number, found)

    def _finding(self, layout: Any, context: Any, number: int, found: Any) -> None:
        box = layout.box()
        row = box.row(align=True)
        row.alert = found.level == "stop"
        about = frames_text(found.frames) if found.frames else "The whole plan"
        message, fix = wording.plainly(found.message), wording.plainly(found.fix)
        told = re.match(rf"({re.escape(about)}(?: \([^)]*\))?): ", message)
        if told:
            about, message = told[1], message[told.end() :]
        button = row.operator("duskrail.finding_go", text=about, icon=LEVEL_ICONS[found.level])
        button.finding = number
        wrapped(box, context, message[:1].upper() + message[1:], spare_px=52.0)
        if fix:
            wrapped(box, context, fix, icon="TOOL_SETTINGS", spare_px=52.0)
        if found.fit in ops_review.FITS:
            label, _ = ops_review.FITS[found.fit]
            box.operator("duskrail.apply_fit", text=label, icon="MODIFIER").kind = found.fit


# ---------------------------------------------------------------- preview


class DUSKRAIL_PT_preview(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_preview"
    bl_label = "Preview"
    bl_order = 7

    def draw(self, context: Any) -> None:
        layout, scene = rows(self.layout), context.scene
        settings = scene.duskrail
        layout.row().prop(settings, "look", expand=True)
        column = layout.column(align=True)
        column.prop(settings, "clip_px")
        column.prop(settings, "every")
        row = layout.row(heading="Only frames")
        row.prop(settings, "use_range", text="")
        cell = row.row(align=True)
        cell.enabled = settings.use_range
        cell.prop(settings, "first_frame", text="")
        cell.prop(settings, "last_frame", text="")
        layout.prop(settings, "clip_file", placeholder=ops_preview.clip_path(scene).name)
        job = ops_preview.current()
        if job is not None and job.is_running():
            layout.progress(factor=job.share, type="BAR", text=job.text)
            layout.operator("duskrail.preview_stop", icon="X")
            return
        column = layout.column()
        column.scale_y = 1.3
        column.operator("duskrail.preview", icon="RENDER_ANIMATION")
        if job is not None and job.problem:
            wrapped(layout, context, job.problem, icon="ERROR")
        elif job is not None and job.result:
            wrapped(layout, context, ops_preview.told(job), icon="CHECKMARK")
        layout.operator("duskrail.preview_open", icon="PLAY")


# ---------------------------------------------------------------- the plan file


class DUSKRAIL_PT_file(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_file"
    bl_label = "Plan File"
    bl_order = 8

    def draw(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        settings = scene.duskrail
        if settings.file:
            unsaved = ops_plan.unsaved(scene)
            layout.label(
                text=Path(settings.file).name + (" (not saved)" if unsaved else ""),
                icon="FILE_TEXT" if not unsaved else "GREASEPENCIL",
            )
        else:
            wrapped(layout, context, "No file yet; kept in the .blend.", icon="BLENDER")
        row = layout.row(align=True)
        row.operator("duskrail.open", text="Open…", icon="FILE_FOLDER")
        row.operator("duskrail.save", text="Save", icon="FILE_TICK")
        row.operator("duskrail.save_as", text="Save As…")
        column = layout.column(align=True)
        column.operator("duskrail.read_back", icon="LOOP_BACK")
        column.operator("duskrail.redraw", icon="FILE_REFRESH")
        column.operator("duskrail.save_sheet", text="Save Shot Sheet…", icon="DOCUMENTS")
        layout.operator("duskrail.remove_plan", icon="TRASH")


# ---------------------------------------------------------------- menus


def draw_add_menu(self: Any, context: Any) -> None:
    """The kit in the view's Add menu, at the 3D cursor."""
    if context.scene is not None and live.plan_of(context.scene) is not None:
        self.layout.menu("DUSKRAIL_MT_add_block", icon="MESH_CUBE")


class DUSKRAIL_MT_add_block(bpy.types.Menu):
    bl_idname = "DUSKRAIL_MT_add_block"
    bl_label = "Block of the Place"

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.operator_context = "INVOKE_DEFAULT"
        for kind, piece in kit.PIECES.items():
            button = layout.operator("duskrail.add_block", text=piece.label, icon=PIECE_ICONS[kind])
            button.kind, button.where = kind, "CURSOR"


CLASSES = (
    DUSKRAIL_UL_blocks,
    DUSKRAIL_UL_poses,
    DUSKRAIL_MT_add_block,
    DUSKRAIL_PT_plan,
    DUSKRAIL_PT_place,
    DUSKRAIL_PT_evening,
    DUSKRAIL_PT_blocking,
    DUSKRAIL_PT_block,
    DUSKRAIL_PT_rig,
    DUSKRAIL_PT_motors,
    DUSKRAIL_PT_camera,
    DUSKRAIL_PT_move,
    DUSKRAIL_PT_picture,
    DUSKRAIL_PT_exposure,
    DUSKRAIL_PT_review,
    DUSKRAIL_PT_preview,
    DUSKRAIL_PT_file,
)


def register() -> None:
    """Show the tab."""
    for cls in CLASSES:
        bpy.utils.register_class(cls)
    bpy.types.VIEW3D_MT_add.append(draw_add_menu)


def unregister() -> None:
    """Take the tab away."""
    bpy.types.VIEW3D_MT_add.remove(draw_add_menu)
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
