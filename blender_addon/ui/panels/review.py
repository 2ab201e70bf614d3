"""The findings of the review, each with what it would take to resolve it."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.review.findings import sentences
from planner_core.words.language import say

from ...state import live
from .. import wording
from ..operators.review import EVERYTHING, under_way_text
from ..wording import FITS
from .layout import BOX_PX, LEVEL_ICONS, PlanTab, counts, done, wrapped


class DUSKRAIL_PT_review(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_review"
    bl_label = "Review"
    bl_order = 1

    def draw_header_preset(self, context: Any) -> None:
        counts(self.layout, context.scene)

    def draw(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        report = live.state_of(scene).review
        if report is None:
            layout.operator("duskrail.review_now", icon="VIEWZOOM")
            return
        fresh = live.is_reviewed(scene)
        row = layout.row(align=True)
        weakest = report.summary.picture.weakest_frame
        text = say("Weakest Frame: {frame}", frame=weakest) if weakest else say("Weakest Frame")
        row.operator("duskrail.weakest_frame", text=text, translate=False, icon="VIS_SEL_11")
        if not fresh:
            row.operator("duskrail.review_now", text="", icon="FILE_REFRESH")
        if any(finding.level != "note" for finding in report.findings):
            label, _ = FITS[EVERYTHING]
            layout.operator("duskrail.apply_fit", text=label, icon="MODIFIER").kind = EVERYTHING
        fitting = under_way_text()
        if fitting:
            wrapped(layout, context, fitting, icon="SORTTIME")
        done(layout, context, live.state_of(scene).fit_said)
        if not report.findings:
            wrapped(layout, context, say("No problems found."), icon="CHECKMARK")
        column = layout.column()
        column.active = fresh
        for number, finding in enumerate(report.findings):
            self._finding(column, context, number, finding)

    def _finding(self, layout: Any, context: Any, number: int, finding: Any) -> None:
        """One line; what it says and what would do is folded in, and open at first where it is grave."""
        header, body = layout.panel(
            f"duskrail_finding_{finding.code}_{number}", default_closed=finding.level != "stop"
        )
        line = header.row()
        line.alignment, line.alert = "LEFT", finding.level == "stop"
        button = line.operator(
            "duskrail.finding_go",
            text=wording.title(finding),
            translate=False,
            icon=LEVEL_ICONS[finding.level],
            emboss=False,
        )
        button.finding = number
        if body is None:
            return
        told = sentences(finding, wording.SIDEBAR)
        about = told.frames or say("Whole Plan")
        body.operator("duskrail.finding_go", text=about, translate=False, icon="TIME").finding = number
        wrapped(body, context, told.body[:1].upper() + told.body[1:], spare_px=BOX_PX)
        if told.fix:
            wrapped(body, context, told.fix, icon="TOOL_SETTINGS", spare_px=BOX_PX)
        if finding.code == "no-reason":
            body.prop(context.scene.duskrail, "reason", text="")
        if not finding.tried:
            wrapped(body, context, say("Looking for what would help …"), icon="SORTTIME", spare_px=BOX_PX)
        if finding.fit in FITS:
            label, _ = FITS[finding.fit]
            body.operator("duskrail.apply_fit", text=label, icon="MODIFIER").kind = finding.fit


CLASSES = (DUSKRAIL_PT_review,)
