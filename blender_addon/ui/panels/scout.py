"""The search for a shot: what is searched, how far it is, the finds, and what there is to know of one."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.plan.text import one_line
from planner_core.words.dates import day_words
from planner_core.words.language import say

from ..job_records import EVENINGS, SUBJECTS, Shown
from ..operators import scout
from .layout import BOX_PX, PlanTab, rows, wrapped

MOST_EVENINGS = 12


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


class DUSKRAIL_PT_scout(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_scout"
    bl_label = "Find the Shot"
    bl_order = 4
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, scene = rows(self.layout), context.scene
        settings, job = scene.duskrail, scout.job_of(scene)
        if job is not None and job.is_running():
            layout.progress(factor=job.done_fraction, type="BAR", text=job.text)
            layout.operator("duskrail.scout_stop", text="Stop", icon="X")
        else:
            self._wishes(layout, settings)
            column = layout.column()
            column.scale_y = 1.3
            column.operator("duskrail.scout", icon="VIEWZOOM")
        if job is not None and job.problem:
            wrapped(layout, context, job.problem, icon="ERROR")
        self._finds(context)

    def _wishes(self, layout: Any, settings: Any) -> None:
        row = layout.row()
        row.use_property_split = False  # its three words need the whole width
        row.prop(settings, "scout_what", expand=True)
        if settings.scout_what == EVENINGS:
            column = layout.column(align=True)
            column.prop(settings, "scout_from")
            column.prop(settings, "scout_to")
        layout.prop(settings, "lenses")
        if settings.scout_what == SUBJECTS:
            return
        column = layout.column(align=True)
        column.prop(settings, "scout_reach")
        column.prop(settings, "scout_reviews")

    def _finds(self, context: Any) -> None:
        layout, scene = self.layout, context.scene
        shown, find = scout.shown_of(scene), scout.chosen_find(scene)
        if shown is None or find is None:
            return
        wrapped(layout, context, say("The shot as planned: {planned:.0f} points", planned=shown.planned))
        column = layout.column(align=True)
        for number, other in enumerate(shown.finds):
            subject = f"{one_line(other.subject)}: " if other.subject else ""
            text = f"{number + 1}.  {other.points:.0f}   {subject}{other.in_short}"
            column.operator(
                "duskrail.scout_choose", text=text, translate=False, depress=other is find
            ).number = number
        row = layout.row(align=True)
        row.operator("duskrail.scout_step", text="", icon="TRIA_LEFT").by = -1
        row.operator("duskrail.scout_take", icon="CHECKMARK")
        row.operator("duskrail.scout_step", text="", icon="TRIA_RIGHT").by = 1
        box = layout.box()
        check = say("Check there {what}.", what="; ".join(find.to_check))
        wrapped(box, context, f"{_capital(find.name)}. {find.reason}", spare_px=BOX_PX)
        if find.best_evenings:
            best = scout.best_evenings_text(find.best_evenings)
            wrapped(box, context, best, icon="TIME", spare_px=BOX_PX)
        wrapped(box, context, f"{_capital(', '.join(find.costs))}.", icon="TRACKING", spare_px=BOX_PX)
        wrapped(box, context, check, icon="VIEWZOOM", spare_px=BOX_PX)
        if shown.remark:
            wrapped(layout, context, shown.remark, icon="INFO")
        self._evenings(context, shown)
        if len(shown.places_m):
            layout.operator("duskrail.scout_stand", icon="CURSOR")
        layout.operator("duskrail.scout_clear", icon="X")

    def _evenings(self, context: Any, shown: Shown) -> None:
        """The evenings with their best spot, as many as there is room for; a click shows that."""
        good = [one for one in shown.evenings if one.best is not None]
        best = sorted(good, key=lambda one: -one.points)[:MOST_EVENINGS]
        if not best:
            return
        column, count = self.layout.column(align=True), len(shown.evenings)
        if count > len(best):
            template = "The best {best} of {count} evenings"
            column.label(text=say(template, best=len(best), count=count), translate=False)
        for one in sorted(best, key=lambda one: one.date):
            number, day = one.best or 0, day_words(one.date, weekday=True)
            template = "{day}: spot {number}, {points:.0f} points"
            text = say(template, day=day, number=number + 1, points=one.points)
            column.operator("duskrail.scout_choose", text=text, translate=False).number = number
        if shown.without:
            single, many = "1 date has no such event.", "{count} dates have no such event."
            told = say(single if shown.without == 1 else many, count=shown.without)
            wrapped(column, context, told)


CLASSES = (DUSKRAIL_PT_scout,)
