"""The shots of one evening, each in a scene of its own: who does what when, what clashes, what helps."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.evening.shots import MOST_SHOTS
from planner_core.fit.evening import Evening
from planner_core.output.evening.rows import Row, evening_rows, local
from planner_core.output.evening.words import (
    attempt_text,
    clash_text,
    day_text,
    new_findings_text,
    row_text,
    rush_text,
    start_text,
    state_text,
)
from planner_core.plan import timeline
from planner_core.words.language import say

from ...state import live, shots
from .. import wording
from ..operators.shots import moved_plans
from .layout import SPARE_PX, PlanTab, rows, wrapped

CLOCK_SHARE = 0.18  # of the sidebar's width


class DUSKRAIL_PT_shots(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_shots"
    bl_label = "Shots of the Evening"
    bl_order = 8
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        solved, fresh = shots.look()
        self._list(context)
        layout.operator("duskrail.add_shots", text="Add Shots…", icon="FILE_FOLDER")
        if solved is None and not shots.is_under_way():
            template = "Two to {most} plans of one evening, each in a scene, get a common timetable here."
            wrapped(layout, context, say(template, most=MOST_SHOTS))
            return
        column = rows(layout).column(align=True)
        column.prop(scene.duskrail, "evening_people")
        column.prop(scene.duskrail, "evening_pace")
        column.prop(scene.duskrail, "evening_detour")
        if not fresh:
            layout.label(text=say("Working out the evening …"), translate=False, icon="SORTTIME")
        if solved is None:
            return
        if solved.problem is not None:
            wrapped(layout, context, str(solved.problem), icon="ERROR")
        if solved.evening is not None:
            column = layout.column()
            column.active = fresh
            self._evening(column, context, solved.evening)

    def _list(self, context: Any) -> None:
        """Every shot with its start, and whether it is one of this evening's."""
        column, number = self.layout.column(align=True), 0
        for scene in shots.scenes_with_plans():
            is_in = scene.duskrail.in_evening
            number += is_in
            frames = live.frames_of(scene)
            assert frames is not None
            start = timeline.clock(float(frames.utc_s[0]), frames.plan.zone)
            row = column.row(align=True)
            row.prop(scene.duskrail, "in_evening", text="")
            text = f"{number}. {scene.name}   {start}" if is_in else f"{scene.name}   {start}"
            button = row.operator(
                "duskrail.go_to_shot", text=text, translate=False, depress=scene == context.scene
            )
            button.scene = scene.name

    def _evening(self, layout: Any, context: Any, evening: Evening) -> None:
        told = f"{day_text(evening)}. {state_text(evening)} {rush_text(evening)}"
        wrapped(layout, context, told, icon="ERROR" if evening.dropped else "INFO")
        for clash in evening.clashes:
            wrapped(layout, context, clash_text(evening, clash), icon="ERROR")
        self._remedies(layout, context, evening)
        moved = moved_plans(evening)
        if moved:
            box = layout.box()
            for number in moved:
                wrapped(box, context, start_text(evening, number), icon="TIME")
            for number in evening.new_findings:
                wrapped(box, context, new_findings_text(evening, number, wording.code_title), icon="ERROR")
            box.operator("duskrail.take_starts", icon="CHECKMARK")
        self._timetable(layout, context, evening)
        layout.operator("duskrail.save_evening", text="Save Evening Sheet…", icon="DOCUMENTS")

    def _remedies(self, layout: Any, context: Any, evening: Evening) -> None:
        """What was tried against the clashes, each that helps with a button."""
        for number, attempt in enumerate(evening.attempts):
            box = layout.box()
            told = attempt_text(evening, attempt, wording.code_title)
            if not attempt.works:
                box.active = False
            wrapped(box, context, told, icon="CHECKMARK" if attempt.works else "X")
            if attempt.works:
                box.operator("duskrail.take_remedy").number = number

    def _timetable(self, layout: Any, context: Any, evening: Evening) -> None:
        """Who does what when, line by line."""
        every = evening_rows(evening)
        for each in evening.rounds:
            box = layout.box()
            if len(evening.rounds) > 1:
                box.label(text=say("Person {number}", number=each.person), translate=False, icon="USER")
            column = box.column(align=True)
            for row in (row for row in every if row.person in (0, each.person)):
                _line(column, context, evening, row)


def _line(layout: Any, context: Any, evening: Evening, row: Row) -> None:
    """A line of the timetable: when it begins, and beside it what there is to do; fainter what the light
    does.
    """
    split = layout.split(factor=CLOCK_SHARE)
    split.active = row.kind != "light"
    split.label(text=f"{local(evening, row.begin_s):%H:%M}", translate=False)
    scale = context.preferences.system.ui_scale
    taken_px = CLOCK_SHARE * context.region.width / scale + SPARE_PX
    wrapped(split.column(), context, row_text(evening, row), spare_px=taken_px)


CLASSES = (DUSKRAIL_PT_shots,)
