"""Operators of the review: showing what a finding is about, and resolving it."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from typing import Any

import bpy
from bpy.props import EnumProperty, IntProperty

from planner_core import Plan, PlanError
from planner_core.fit.result import Fit
from planner_core.review.findings import sentences

from ...state import live, selection
from .. import timeline, wording
from .base import UNDOABLE, Outcome, ReadsFrames, WithFrames, change

EVERYTHING = "all"


def fit_of(kind: str, plan: Plan) -> Fit:
    """The plan with what the fit of that name solves for. Raises PlanError."""
    if kind == "travel":
        from planner_core.fit.travel import fit_travel

        return fit_travel(plan)
    if kind == "balance":
        from planner_core.fit.light import fit_balance

        return fit_balance(plan, 1.0, 1.0)
    if kind == "clip":
        from planner_core.fit.light import fit_clip

        return fit_clip(plan, plan.shoot.frames / plan.clip.fps, wording.SIDEBAR)
    if kind == "compose":
        from planner_core.fit.compose import fit_compose

        return fit_compose(plan)
    if kind == EVERYTHING:
        from planner_core.fit.everything import fit_all

        return fit_all(plan, wording.SIDEBAR)
    raise PlanError("fit", kind, "is not a fit that this version knows")


FITS = {
    "travel": ("Fit the Travel", "Find the length of rail that lets the foreground slide by calmly"),
    "balance": ("Fit the Start", "Find the start that has as much day as night in the clip"),
    "clip": (
        "Fit the Interval",
        "Find frames and interval that leave time for every exposure and move, for a clip as long",
    ),
    "compose": ("Fit the Picture", "Find the smallest change of a pose that keeps the subject composed"),
    EVERYTHING: (
        "Fit All",
        "Take whatever helps against the findings, step by step, and say what it costs and what is left",
    ),
}


class DUSKRAIL_OT_review_now(WithFrames, bpy.types.Operator):
    """Go over the plan now"""

    bl_idname = "duskrail.review_now"
    bl_label = "Review Now"

    def execute(self, context: Any) -> Outcome:
        live.take_edits(context.scene)
        report = live.review_now(context.scene)
        assert report is not None
        self.report({"INFO"}, f"{len(report.findings)} findings")
        return {"FINISHED"}


class DUSKRAIL_OT_finding_go(WithFrames, bpy.types.Operator):
    """Show the frames that this finding is about, and select its blocks"""

    bl_idname = "duskrail.finding_go"
    bl_label = "Go to Finding"
    bl_options = UNDOABLE

    finding: IntProperty(name="Finding", description="Its number in the list, from 0", default=0, min=0)

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        """The whole finding, with what to do."""
        report = live.state_of(context.scene).review
        if report is None or properties.finding >= len(report.findings):
            return cls.__doc__ or ""
        finding = report.findings[properties.finding]
        told = " ".join(filter(None, sentences(finding, wording.SIDEBAR)))
        return f"{told}\n\nClick to go to its frames and select its blocks"

    def execute(self, context: Any) -> Outcome:
        scene = context.scene
        report, plan = live.review_now(scene), live.plan_of(scene)
        if report is None or plan is None or self.finding >= len(report.findings):
            self.report({"WARNING"}, "The review has no such finding any more")
            return {"CANCELLED"}
        finding = report.findings[self.finding]
        if finding.frames:
            first, last = finding.frames
            if not first <= scene.frame_current <= last:
                scene.frame_set(first)
            scene.use_preview_range = False
        numbers = selection.blocks_called(plan, finding.blocks)
        if numbers:
            live.choose_block(scene, numbers[0])
            selection.select_blocks(context, scene, numbers)
        self.report({"INFO"}, " ".join(filter(None, sentences(finding, wording.SIDEBAR))))
        return {"FINISHED"}


class DUSKRAIL_OT_finding_in_timeline(ReadsFrames, bpy.types.Operator):
    """Go to the finding whose bar in the timeline is clicked"""

    bl_idname = "duskrail.finding_in_timeline"
    bl_label = "Go to the Finding under the Mouse"
    bl_options = {"INTERNAL"}

    def invoke(self, context: Any, event: Any) -> Outcome:
        region = context.region
        if region is None or region.type != "WINDOW" or not context.scene.duskrail.show_phases:
            return {"PASS_THROUGH"}
        bar = timeline.bar_at(context.scene, region, event.mouse_region_x, event.mouse_region_y)
        if bar is None:
            return {"PASS_THROUGH"}
        operators: Any = bpy.ops
        return set(operators.duskrail.finding_go("EXEC_DEFAULT", True, finding=bar.number))


class DUSKRAIL_OT_weakest_frame(WithFrames, bpy.types.Operator):
    """Show the frame whose picture is the weakest of the move"""

    bl_idname = "duskrail.weakest_frame"
    bl_label = "Weakest Frame"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        report = live.review_now(context.scene)
        picture = report.summary.picture if report else None
        if picture is None or picture.weakest_frame is None:
            self.report({"INFO"}, "No frame is judged yet: block out what the picture is about first")
            return {"CANCELLED"}
        context.scene.frame_set(picture.weakest_frame)
        self.report({"INFO"}, f"Frame {picture.weakest_frame}: {picture.weakest_part}")
        return {"FINISHED"}


class DUSKRAIL_OT_apply_fit(WithFrames, bpy.types.Operator):
    """Solve for what would resolve this finding, and change the plan accordingly. Undo takes it back"""

    bl_idname = "duskrail.apply_fit"
    bl_label = "Fit the Plan"
    bl_options = UNDOABLE

    kind: EnumProperty(
        name="Fit",
        description="What is solved for",
        items=[(kind, label, tip) for kind, (label, tip) in FITS.items()],
    )

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says what it solves for."""
        return f"{FITS[properties.kind][1]}. Undo takes it back"

    def execute(self, context: Any) -> Outcome:
        fitted: list[Fit] = []

        def edit(plan: Plan) -> Plan:
            fitted.append(fit_of(self.kind, plan))
            return fitted[-1].plan

        outcome = change(self, context, edit)
        if fitted and outcome == {"FINISHED"}:
            live.state_of(context.scene).fit_said = fitted[-1].said
            for line in fitted[-1].said:
                self.report({"INFO"}, line)
        return outcome


CLASSES = (
    DUSKRAIL_OT_review_now,
    DUSKRAIL_OT_finding_go,
    DUSKRAIL_OT_finding_in_timeline,
    DUSKRAIL_OT_weakest_frame,
    DUSKRAIL_OT_apply_fit,
)
