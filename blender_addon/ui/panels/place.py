"""The site, the day and its light event, and the evening's timetable."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.evening.timetable import EVENT_WORDS, end_utc_s, events_in_shoot, shoot_length_s
from planner_core.output import readout
from planner_core.plan import timeline
from planner_core.words.dates import day_words
from planner_core.words.durations import duration_text
from planner_core.words.language import say

from ...state import live
from .. import presets
from .layout import SPARE_PX, PlanTab, field, rows, wrapped

CLOCK_SHARE = 0.22


class DUSKRAIL_PT_place(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_place"
    bl_label = "Place and Light"
    bl_order = 2

    def draw_header_preset(self, _context: Any) -> None:
        presets.DUSKRAIL_PT_place_presets.draw_panel_header(self.layout)

    def draw(self, context: Any) -> None:
        layout, scene = rows(self.layout), context.scene
        settings = scene.duskrail
        column = layout.column(align=True)
        column.prop(settings, "site_name")
        column.prop(settings, "latitude")
        column.prop(settings, "longitude")
        field(column, context, "timezone")
        field(layout, context, "north")
        self._sea(context)
        layout.separator()
        row = layout.row()
        row.use_property_split = False
        row.prop(settings, "timing", expand=True)
        if settings.timing == "ANCHOR":
            field(layout, context, "event")
            self._day_buttons(field(layout, context, "date"))
            row = layout.row(align=True)
            row.prop(settings, "anchor_at")
            row.operator("duskrail.anchor_here", text="", icon="EYEDROPPER")
            row.operator("duskrail.go_to_event", text="", icon="TIME")
        else:
            field(layout, context, "start")
            split = layout.split(factor=0.4, align=True)
            name = split.row()
            name.alignment = "RIGHT"
            name.label(text=say("Day"), translate=False)
            self._day_buttons(split.row(align=True))
        column = layout.column(align=True)
        column.prop(settings, "frames")
        column.prop(settings, "interval")
        layout.prop(settings, "cloud")
        if settings.cloud > 1.0:
            column = layout.column(align=True)
            column.prop(settings, "wind")
            column.prop(settings, "wind_from")
        self._times(context)
        self._other_day(context)

    def _sea(self, context: Any) -> None:
        """The tide table, where there is water that goes by it."""
        plan, settings = live.plan_of(context.scene), context.scene.duskrail
        if plan is None or not (plan.site.tides or any(block.tidal for block in plan.blocks)):
            return
        column = rows(self.layout).column(align=True)
        for name in ("tides", "chart_zero", "swell", "water_margin"):
            column.prop(settings, name)

    def _day_buttons(self, row: Any) -> None:
        row.operator("duskrail.step_day", text="", icon="TRIA_LEFT").days = -1
        row.operator("duskrail.step_day", text="", icon="TRIA_RIGHT").days = 1

    def _times(self, context: Any) -> None:
        frames = live.frames_of(context.scene)
        if frames is None:
            return
        zone = frames.plan.zone
        first, end = (timeline.clock(t, zone) for t in (float(frames.utc_s[0]), end_utc_s(frames)))
        length = duration_text(shoot_length_s(frames))
        clip = len(frames) / frames.plan.clip.fps
        column = self.layout.column(align=True)
        column.scale_y = 0.85
        column.label(
            text=say("{first} to {end}, {length}", first=first, end=end, length=length),
            translate=False,
            icon="TIME",
        )
        column.label(text=say("{clip:.1f} s of clip", clip=clip), translate=False, icon="BLANK1")
        for icon, line in zip(("LIGHT_SUN", "LIGHT_HEMI", "BLANK1"), readout.sky_lines(frames), strict=False):
            column.label(text=line, translate=False, icon=icon)

    def _other_day(self, context: Any) -> None:
        """A slider over the days around the plan's; what the sun does then, and a button to take that day."""
        layout, settings = self.layout, context.scene.duskrail
        layout.prop(settings, "look_days", slider=True)
        frames = live.shown_frames(context.scene)
        if not settings.look_days or frames is None:
            return
        middle = timeline.local_datetime(float(frames.utc_s[len(frames) // 2]), frames.plan.zone)
        column = layout.column(align=True)
        column.scale_y = 0.85
        column.label(
            text=day_words(middle.date(), year=True, weekday=True), translate=False, icon="LIGHT_SUN"
        )
        for name, utc_s, frame in events_in_shoot(frames):
            clock, azimuth = timeline.clock(utc_s, frames.plan.zone), frames.sun_azimuth_deg[frame - 1]
            column.label(
                text=say(
                    "{event} {clock}, sun at {azimuth:.0f}°",
                    event=say(EVENT_WORDS[name]),
                    clock=clock,
                    azimuth=azimuth,
                ),
                translate=False,
                icon="BLANK1",
            )
        row = layout.row(align=True)
        row.operator("duskrail.step_day", text="Use This Day", icon="CHECKMARK").days = settings.look_days
        row.operator("duskrail.plan_day", text="", icon="LOOP_BACK")


class DUSKRAIL_PT_evening(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_evening"
    bl_parent_id = "DUSKRAIL_PT_place"
    bl_label = "Timetable"
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
            split = grid.row().split(factor=CLOCK_SHARE)
            split.label(text=f"{moment.local(plan):%H:%M}", translate=False)
            tail = f" ({say('frame {frame}', frame=moment.frame)})" if moment.frame else ""
            taken_px = CLOCK_SHARE * context.region.width / context.preferences.system.ui_scale + SPARE_PX
            wrapped(split.column(), context, f"{say(moment.label)}{tail}", spare_px=taken_px)
        column = rows(layout).column(align=True)
        column.prop(scene.duskrail, "setup")
        column.prop(scene.duskrail, "travel")
        column.prop(scene.duskrail, "attended")


CLASSES = (DUSKRAIL_PT_place, DUSKRAIL_PT_evening)
