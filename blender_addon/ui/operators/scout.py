"""Operators of the search for a shot: starting and stopping it, stepping through its finds, taking one."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

import datetime as dt
from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np
from bpy.props import IntProperty

from planner_core import Plan, PlanError
from planner_core.plan.file import plan_from_text, plan_to_text
from planner_core.plan.timeline import local_datetime
from planner_core.scout.search import Scout, Wishes
from planner_core.scout.shots import plan_of
from planner_core.words.dates import day_words
from planner_core.words.language import say

from ...state import live
from .. import scout_overlay, views
from ..job_records import SUBJECTS, ScoutTask, Shown, ShownFind
from ..scout_job import ScoutJob
from .base import UNDOABLE, Outcome, ReadsPlan, WithFrames, set_plan

LOOK_EVERY_S = 0.3
USUAL_DAYS = 14  # that are searched where nobody says until when
TOP = 6

_jobs: dict[int, ScoutJob] = {}  # the search under way or done last, by scene
_handles: list[Any] = []


def job_of(scene: Any) -> ScoutJob | None:
    """The search of a scene, under way or done."""
    return _jobs.get(scene.session_uid)


def shown_of(scene: Any) -> Shown | None:
    """What its search has found so far."""
    job = job_of(scene)
    return job.shown if job is not None else None


def chosen_find(scene: Any) -> ShownFind | None:
    """The find that is chosen in the list."""
    shown = shown_of(scene)
    if shown is None or not shown.finds:
        return None
    return shown.finds[min(scene.duskrail.scout_find, len(shown.finds) - 1)]


def best_evenings_text(dates: Sequence[dt.date]) -> str:
    """On which of the evenings a find is at its best."""
    day = day_words(dates[0], year=True)
    if len(dates) == 1:
        return say("Best on {day}, which its plan has", day=day)
    return say("Best on {day}, which its plan has, and {count} more", day=day, count=len(dates) - 1)


def stop() -> None:
    """Stop every search, and forget what they found."""
    while _jobs:
        _jobs.popitem()[1].stop()
    scout_overlay.forget()


def area_of(scene: Any, plan: Plan) -> tuple[float, float, float, float]:
    """The square that is searched, around the rail's start."""
    x, y, _ = plan.rig.origin_m
    reach = float(scene.duskrail.scout_reach)
    return x - reach, y - reach, x + reach, y + reach


def date_of(scene: Any) -> dt.date:
    """The local date in the middle of the plan's shoot."""
    frames = live.frames_of(scene)
    assert frames is not None
    return local_datetime(float(frames.utc_s[len(frames) // 2]), frames.plan.zone).date()


def start(scene: Any) -> ScoutJob:
    """Begin a search of the scene's place, and forget the one before."""
    live.take_edits(scene)
    plan = live.plan_of(scene)
    assert plan is not None
    old = _jobs.pop(scene.session_uid, None)
    if old is not None:
        old.stop()
    scene.duskrail.scout_find = 0
    settings = scene.duskrail
    planned = date_of(scene)
    task = ScoutTask(
        what=settings.scout_what,
        area=None if settings.scout_what == SUBJECTS else area_of(scene, plan),
        reviews=settings.scout_reviews,
        top=TOP,
        first=settings.scout_from.strip() or planned.isoformat(),
        last=settings.scout_to.strip() or (planned + dt.timedelta(days=USUAL_DAYS)).isoformat(),
    )
    job = _jobs[scene.session_uid] = ScoutJob(plan_to_text(plan), task)
    return job


def watch() -> float | None:
    """Take in what the searches have said; again in a moment while one is under way."""
    running = [job.look() for job in list(_jobs.values())]
    live.show()
    return LOOK_EVERY_S if any(running) else None


class WithFinds(WithFrames):
    """An operator on the finds of a search."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out, with the reason, where nothing was found yet."""
        if not super().poll(context):
            return False
        if chosen_find(context.scene) is None:
            cls.poll_message_set(say("Nothing is found yet; begin a search"))
            return False
        return True


class DUSKRAIL_OT_scout(WithFrames, bpy.types.Operator):
    """Search the ground around the rail for where to stand, which lens to take and how to move, in the
    background. You can go on working; what is shown improves until it is done
    """

    bl_idname = "duskrail.scout"
    bl_label = "Find the Shot"

    def execute(self, context: Any) -> Outcome:
        job = start(context.scene)
        if bpy.app.background:
            job.wait()
        elif not bpy.app.timers.is_registered(watch):
            bpy.app.timers.register(watch, first_interval=LOOK_EVERY_S)
        if job.problem:
            self.report({"ERROR"}, job.problem)
            return {"CANCELLED"}
        return {"FINISHED"}


class DUSKRAIL_OT_scout_stop(ReadsPlan, bpy.types.Operator):
    """Stop the search and keep the best so far"""

    bl_idname = "duskrail.scout_stop"
    bl_label = "Stop the Search"

    @classmethod
    def poll(cls, context: Any) -> bool:
        job = job_of(context.scene) if context.scene is not None else None
        if job is None or not job.is_running():
            cls.poll_message_set(say("No search is under way"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        job = job_of(context.scene)
        assert job is not None
        job.stop()
        live.show()
        return {"FINISHED"}


class DUSKRAIL_OT_scout_clear(ReadsPlan, bpy.types.Operator):
    """Remove map and finds; the plan stays as it is"""

    bl_idname = "duskrail.scout_clear"
    bl_label = "Remove the Finds"

    def execute(self, context: Any) -> Outcome:
        job = _jobs.pop(context.scene.session_uid, None)
        if job is not None:
            job.stop()
        scout_overlay.forget()
        live.show()
        return {"FINISHED"}


class DUSKRAIL_OT_scout_step(WithFinds, bpy.types.Operator):
    """Show the next find, or the one before"""

    bl_idname = "duskrail.scout_step"
    bl_label = "Next Find"
    by: IntProperty(default=1, options={"HIDDEN", "SKIP_SAVE"})

    def execute(self, context: Any) -> Outcome:
        scene, shown = context.scene, shown_of(context.scene)
        assert shown is not None
        scene.duskrail.scout_find = (scene.duskrail.scout_find + self.by) % len(shown.finds)
        live.show()
        return {"FINISHED"}


class DUSKRAIL_OT_scout_choose(WithFinds, bpy.types.Operator):
    """Show this find: why it is one, what it costs, and its cameras in the view"""

    bl_idname = "duskrail.scout_choose"
    bl_label = "Show Find"
    number: IntProperty(options={"HIDDEN", "SKIP_SAVE"})

    def execute(self, context: Any) -> Outcome:
        context.scene.duskrail.scout_find = self.number
        live.show()
        return {"FINISHED"}


class DUSKRAIL_OT_scout_take(WithFinds, bpy.types.Operator):
    """Make the plan this find's: rail, lens, focus and poses. Ctrl Z takes it back"""

    bl_idname = "duskrail.scout_take"
    bl_label = "Take This Shot"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        find = chosen_find(context.scene)
        assert find is not None
        return _take(self, context.scene, plan_from_text(find.plan), find.name)


class DUSKRAIL_OT_scout_stand(WithFinds, bpy.types.Operator):
    """Click a place on the map to stand there with the best shot from it, or a find's number to see that.
    Esc leaves it
    """

    bl_idname = "duskrail.scout_stand"
    bl_label = "Stand Where I Click"
    bl_options = UNDOABLE

    def invoke(self, context: Any, _event: Any) -> Outcome:
        context.workspace.status_text_set(
            say("Click a place to stand there, or a find's number   (Esc leaves it)")
        )
        context.window.cursor_modal_set("CROSSHAIR")
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> Outcome:
        """Wait for a click into the view; what turns and zooms the view goes on to Blender."""
        if event.type in ("ESC", "RIGHTMOUSE") and event.value == "PRESS":
            self._end(context)
            return {"CANCELLED"}
        if event.type != "LEFTMOUSE" or event.value != "PRESS":
            return {"PASS_THROUGH"}
        under = views.view_under(context, event)
        if under is None:
            return {"PASS_THROUGH"}
        self._end(context)
        return self._clicked(context, under, event)

    def _clicked(self, context: Any, under: tuple[Any, Any], event: Any) -> Outcome:
        scene, shown = context.scene, shown_of(context.scene)
        assert shown is not None
        area, region = under
        x, y = event.mouse_x - region.x, event.mouse_y - region.y
        with context.temp_override(area=area, region=region):
            number = scout_overlay.find_under(bpy.context, shown, x, y)
            place = scout_overlay.place_under(bpy.context, shown, x, y)
        if number is not None:
            scene.duskrail.scout_find = number
            live.show()
            return {"CANCELLED"}
        if place is None:
            self.report({"WARNING"}, say("That is beside the map: nobody can stand there"))
            return {"CANCELLED"}
        return stand_at(self, scene, place)

    def _end(self, context: Any) -> None:
        context.workspace.status_text_set(None)
        context.window.cursor_modal_restore()


def stand_at(operator: Any, scene: Any, place: Any) -> Outcome:
    """Move the rig to a place (3,) of the map, with the best shot from there."""
    plan = live.plan_of(scene)
    assert plan is not None
    at = np.asarray(place, dtype=np.float64)
    try:
        scout = Scout(plan, Wishes(area=(at[0] - 2.0, at[1] - 2.0, at[0] + 2.0, at[1] + 2.0)))
        shot = scout.best_at(at)
    except PlanError as error:
        operator.report({"ERROR"}, str(error))
        return {"CANCELLED"}
    if shot is None:
        operator.report({"WARNING"}, say("The rail has no room there: an edge, water or a block is too near"))
        return {"CANCELLED"}
    return _take(operator, scene, plan_of(plan, shot, scout.aim), say("the best shot from there"))


def _take(operator: Any, scene: Any, plan: Plan, said: str) -> Outcome:
    outcome = set_plan(operator, scene, plan)
    if outcome == {"FINISHED"}:
        operator.report({"INFO"}, say("Taken: {said}", said=said))
    return outcome


# ---------------------------------------------------------------- in the view


def _drawn(context: Any) -> Shown | None:
    """What is to be drawn in a view, where its overlays are on."""
    space, scene = context.space_data, context.scene
    if scene is None or space is None or space.type != "VIEW_3D" or not space.overlay.show_overlays:
        return None
    if space.region_3d is not None and space.region_3d.view_perspective == "CAMERA":
        return None
    return shown_of(scene)


def _draw_in_scene() -> None:
    context: Any = bpy.context
    shown, plan = _drawn(context), live.plan_of(context.scene) if context.scene else None
    if shown is not None and plan is not None:
        aspect = plan.clip.height_px / plan.clip.width_px
        scene = context.scene
        scout_overlay.draw_in_scene(shown, scene.duskrail.scout_find, scene.session_uid, aspect)


def _draw_text() -> None:
    context: Any = bpy.context
    shown = _drawn(context)
    if shown is not None:
        scout_overlay.draw_text(context, shown, context.scene.duskrail.scout_find)


def begin_drawing() -> None:
    """Draw finds in the 3D views, where there is a window to draw in."""
    if bpy.app.background:
        return
    for function, moment in ((_draw_in_scene, "POST_VIEW"), (_draw_text, "POST_PIXEL")):
        _handles.append(bpy.types.SpaceView3D.draw_handler_add(function, (), "WINDOW", moment))


def end_drawing() -> None:
    """Stop drawing, and stop all searches."""
    while _handles:
        bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
    if bpy.app.timers.is_registered(watch):
        bpy.app.timers.unregister(watch)
    stop()


CLASSES = (
    DUSKRAIL_OT_scout,
    DUSKRAIL_OT_scout_stop,
    DUSKRAIL_OT_scout_clear,
    DUSKRAIL_OT_scout_step,
    DUSKRAIL_OT_scout_choose,
    DUSKRAIL_OT_scout_take,
    DUSKRAIL_OT_scout_stand,
)
