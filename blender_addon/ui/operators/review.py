"""Operators of the review: showing what a finding is about, and resolving it."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from collections.abc import Callable
from typing import Any

import bpy
from bpy.props import EnumProperty, IntProperty

from planner_core import Plan, PlanError
from planner_core.fit.everything import nobody
from planner_core.fit.result import Fit
from planner_core.review.findings import sentences
from planner_core.words.language import in_words, say

from ...state import live, selection
from ...state.thread_job import BEGINS, Listener, ThreadJob
from .. import timeline, wording
from ..wording import FITS
from .base import UNDOABLE, Outcome, ReadsFrames, WithFrames, change
from .beside import BesideTheWindow

EVERYTHING = "all"

TAKES_A_WHILE = ("compose", EVERYTHING)  # so these run beside the window


class FitJob(ThreadJob[Fit]):
    """A fit beside the window, by its kind."""

    def __init__(self, kind: str, work: Callable[[Listener], Fit]) -> None:
        super().__init__(work, "duskrail-fit")
        self.kind = kind


_under_way: list[FitJob] = []  # the fit that runs beside the window, if any


def stop() -> None:
    """Stop what is under way, and forget it."""
    while _under_way:
        _under_way.pop().stop()


def fit_of(kind: str, plan: Plan, listen: Listener) -> Fit:
    """The plan with what the fit of that name solves for; listen is told what it does. Raises PlanError."""
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

        return fit_compose(plan, lambda trying: listen(trying.text), names=wording.SIDEBAR)
    if kind == EVERYTHING:
        from planner_core.fit.everything import fit_all

        return fit_all(plan, wording.SIDEBAR, listen)
    raise PlanError("fit", kind, "is not a fit that this version of Duskrail knows")


def under_way_text() -> str:
    """Which fit runs beside the window and what it is doing, with how to stop it; "" where none runs."""
    if not _under_way:
        return ""
    job = _under_way[0]
    what = say("stops") if job.is_stopped else say("begins") if job.text == BEGINS else job.text
    return say("{fit}: {what}   (Esc stops it)", fit=say(FITS[job.kind][0]), what=what)


class DUSKRAIL_OT_review_now(ReadsFrames, bpy.types.Operator):
    """Review the plan now"""

    bl_idname = "duskrail.review_now"
    bl_label = "Review Now"
    IN_ANY_MODE = True

    def execute(self, context: Any) -> Outcome:
        live.take_edits(context.scene)
        report = live.review_now(context.scene)
        assert report is not None
        self.report({"INFO"}, say("{count} findings", count=len(report.findings)))
        return {"FINISHED"}


class DUSKRAIL_OT_finding_go(WithFrames, bpy.types.Operator):
    """Show the frames that this finding is about, and select its blocks"""

    bl_idname = "duskrail.finding_go"
    bl_label = "Go to Finding"
    bl_options = UNDOABLE
    IN_ANY_MODE = True

    finding: IntProperty(name="Finding", description="Number in the list, counted from 0", default=0, min=0)

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        """The whole finding, with what to do."""
        report = live.state_of(context.scene).review
        if report is None or properties.finding >= len(report.findings):
            return say("Show the frames that this finding is about, and select its blocks")
        finding = report.findings[properties.finding]
        told = sentences(finding, wording.SIDEBAR).text
        return say("{told}\n\nClick to show its frames and select its blocks", told=told)

    def execute(self, context: Any) -> Outcome:
        scene = context.scene
        report, plan = live.review_now(scene), live.plan_of(scene)
        if report is None or plan is None or self.finding >= len(report.findings):
            self.report({"WARNING"}, say("This finding is gone: the plan has changed"))
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
        self.report({"INFO"}, sentences(finding, wording.SIDEBAR).text)
        return {"FINISHED"}


class DUSKRAIL_OT_finding_in_timeline(ReadsFrames, bpy.types.Operator):
    """Show the finding whose bar in the timeline you click"""

    bl_idname = "duskrail.finding_in_timeline"
    bl_label = "Go to Finding in Timeline"
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
    """Show the frame with the weakest picture of the move"""

    bl_idname = "duskrail.weakest_frame"
    bl_label = "Weakest Frame"
    bl_options = UNDOABLE
    IN_ANY_MODE = True

    def execute(self, context: Any) -> Outcome:
        report = live.review_now(context.scene)
        picture = report.summary.picture if report else None
        if picture is None or picture.weakest_frame is None:
            self.report({"INFO"}, say("No frame has been judged yet. Add the subject of the picture first"))
            return {"CANCELLED"}
        context.scene.frame_set(picture.weakest_frame)
        self.report(
            {"INFO"}, say("Frame {frame}: {part}", frame=picture.weakest_frame, part=picture.weakest_part)
        )
        return {"FINISHED"}


class DUSKRAIL_OT_apply_fit(BesideTheWindow[FitJob], WithFrames, bpy.types.Operator):
    """Change the plan so that this finding goes away. Undo reverts it"""

    bl_idname = "duskrail.apply_fit"
    bl_label = "Fit the Plan"
    bl_options = UNDOABLE
    UNDER_WAY = _under_way

    kind: EnumProperty(
        name="Fit",
        description="What to solve for",
        items=[(kind, label, tip) for kind, (label, tip) in FITS.items()],
    )

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says what it solves for."""
        return say("{fit}. Undo reverts it", fit=say(FITS[properties.kind][1]))

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        if _under_way:
            cls.poll_message_set(say("A fit is under way; Esc stops it"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        """Here and now."""
        return self._take(context, lambda plan: fit_of(self.kind, plan, nobody))

    def invoke(self, context: Any, _event: Any) -> Outcome:
        """Beside the window, where it takes a while."""
        if self.kind not in TAKES_A_WHILE:
            return self.execute(context)
        live.take_edits(context.scene)
        plan, kind = live.plan_of(context.scene), self.kind
        assert plan is not None
        self.plan = plan
        live.pause_reviews()
        return self.begin(context, FitJob(kind, lambda listen: fit_of(kind, plan, listen)))

    def progress(self, _job: FitJob) -> str:
        """Which fit runs, and what it is doing."""
        return under_way_text()

    def ended(self) -> None:
        """The review goes on, which waited for the fit."""
        live.go_on_reviewing()

    def taken(self, context: Any, job: FitJob) -> Outcome:
        """What the fit found, taken into the plan that it was for."""
        if job.defect is not None:
            raise job.defect
        if job.problem is not None:
            self.report({"ERROR"}, wording.refusal_text(job.problem, self.plan))
            return {"CANCELLED"}
        fitted = job.result
        if fitted is None:
            self.report({"WARNING"}, say("The fit was stopped; the plan is as it was"))
            return {"CANCELLED"}
        if not self.poll(context) or live.plan_of(context.scene) != self.plan:
            changed = say("The plan was changed meanwhile, so the fit was left out; fit it again")
            self.report({"WARNING"}, changed)
            return {"CANCELLED"}
        return self._take(context, lambda _plan: fitted)

    def _take(self, context: Any, fit: Callable[[Plan], Fit]) -> Outcome:
        fitted: list[Fit] = []

        def edit(plan: Plan) -> Plan:
            fitted.append(fit(plan))
            return fitted[-1].plan

        outcome = change(self, context, edit)
        if fitted and outcome == {"FINISHED"}:
            live.state_of(context.scene).fit_said = fitted[-1].said
            for line in fitted[-1].said:
                self.report({"INFO"}, in_words(line))
        return outcome


CLASSES = (
    DUSKRAIL_OT_review_now,
    DUSKRAIL_OT_finding_go,
    DUSKRAIL_OT_finding_in_timeline,
    DUSKRAIL_OT_weakest_frame,
    DUSKRAIL_OT_apply_fit,
)
