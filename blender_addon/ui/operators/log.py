"""Operators of the log: opening the frames of a shoot beside their plan, and putting them away."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from pathlib import Path
from typing import Any

import bpy
from bpy.props import StringProperty

from planner_core import Plan
from planner_core.log.card import PHOTOGRAPHS
from planner_core.log.folder import FRAMES
from planner_core.log.kept import log_text
from planner_core.log.learn import taught
from planner_core.words.language import say

from ...scene import store
from ...state import live
from ...state.thread_job import Listener, ThreadJob
from .base import UNDOABLE, Outcome, WithPlan, change
from .beside import BesideTheWindow

_under_way: list[ThreadJob[str]] = []  # the log that is read beside the window, if any


def stop() -> None:
    """Stop what is under way, and forget it."""
    while _under_way:
        _under_way.pop().stop()


def read(path: str, plan: Plan, listen: Listener) -> str:
    """The text of the log at a path; listen hears what is read, how many are, and of how many."""
    return log_text(path, plan, lambda what, done, total: listen(f"{what} {done} {total}"))


def progress_text(heard: str) -> str:
    """How far the reading is, in words."""
    what, _, counts = heard.partition(" ")
    done, _, total = counts.partition(" ")
    if not total:
        return say("Opening the log   (Esc stops it)")
    one, other = (
        "Reading the log: {done} of {total} frames   (Esc stops it)",
        "Reading the log: {done} of {total} thumbnails   (Esc stops it)",
    )
    return say(one if what == FRAMES else other, done=done, total=total)


class DUSKRAIL_OT_open_log(BesideTheWindow[ThreadJob[str]], WithPlan, bpy.types.Operator):
    """Lay what was really shot over the plan. Choose the folder with the frames, one of the frames, or the
    JSON file that the verb log writes. Nothing in the folder is changed
    """

    bl_idname = "duskrail.open_log"
    bl_label = "Open Log"
    bl_options = UNDOABLE
    UNDER_WAY = _under_way

    filepath: StringProperty(
        name="File",
        description="The folder with the frames, or the log's file",
        subtype="FILE_PATH",
        options={"SKIP_SAVE"},
    )
    filter_glob: StringProperty(
        default=";".join(["*.json", *(f"*.{ending}" for ending in sorted(PHOTOGRAPHS))]), options={"HIDDEN"}
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        if _under_way:
            cls.poll_message_set(say("A log is being read; Esc stops it"))
            return False
        return True

    def invoke(self, context: Any, _event: Any) -> Outcome:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> Outcome:
        """Begin to read beside the window; without one, here and now."""
        live.take_edits(context.scene)
        plan, path = live.plan_of(context.scene), bpy.path.abspath(self.filepath)
        assert plan is not None
        self.plan, self.scene_uid = plan, context.scene.session_uid
        job = ThreadJob(lambda listen: read(path, plan, listen), "duskrail-log")
        if bpy.app.background:
            job.wait()
            return self.taken(context, job)
        return self.begin(context, job)

    def progress(self, job: ThreadJob[str]) -> str:
        """How far the reading is."""
        return progress_text(job.text)

    def taken(self, _context: Any, job: ThreadJob[str]) -> Outcome:
        """What was read, kept in the scene that it was for."""
        if job.defect is not None:
            raise job.defect
        if job.problem is not None:
            self.report({"ERROR"}, str(job.problem))
            return {"CANCELLED"}
        scene = next((s for s in bpy.data.scenes if s.session_uid == self.scene_uid), None)
        if job.result is None or scene is None:
            self.report({"WARNING"}, say("The log was not opened; nothing has changed"))
            return {"CANCELLED"}
        store.store_log(scene, job.result)
        log = store.stored_log(scene)
        assert log is not None
        self.report({"INFO"}, say("Opened a log of {count} frames", count=len(log.curve)))
        live.show()
        return {"FINISHED"}


class DUSKRAIL_OT_clear_log(WithPlan, bpy.types.Operator):
    """Take what was shot out of view and timeline; plan and frames stay as they are"""

    bl_idname = "duskrail.clear_log"
    bl_label = "Remove the Log"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        if store.LOG_KEY not in context.scene:
            cls.poll_message_set(say("No log is open"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        store.drop_log(context.scene)
        live.show()
        return {"FINISHED"}


class DUSKRAIL_OT_learn_from_log(WithPlan, bpy.types.Operator):
    """Set the plan's interval, clouds, lamps and writing time to what the log found, as far as it is sure of
    them. Ctrl Z takes it back
    """

    bl_idname = "duskrail.learn_from_log"
    bl_label = "Learn from the Log"
    bl_options = UNDOABLE

    poll = DUSKRAIL_OT_clear_log.poll

    def execute(self, context: Any) -> Outcome:
        log = store.stored_log(context.scene)
        if log is None:
            self.report({"ERROR"}, say("The log in this scene can't be read; open it anew"))
            return {"CANCELLED"}
        source = Path(log.source).name
        return change(self, context, lambda plan: taught(plan, log.learned, source))


CLASSES = (DUSKRAIL_OT_open_log, DUSKRAIL_OT_clear_log, DUSKRAIL_OT_learn_from_log)
