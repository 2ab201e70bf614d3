"""Operators of the draft clip: rendering it in the background, stopping that, and looking at the clip."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from pathlib import Path
from typing import Any

import attrs
import bpy

from planner_core import FrameTable, Plan, PlanError, load_plan
from planner_core.evening.timetable import EVENT_WORDS
from planner_core.output.sheet.page import strip_frames
from planner_core.plan.file import plan_to_text
from planner_core.plan.model import Clip
from planner_core.review.assess import assess
from planner_core.words.language import say

from ...state import live
from .. import views
from ..job_records import STILLS, Drawn, PreviewTask
from ..preview_job import Job
from .base import Outcome, WithFrames
from .plan_file import ENDING

LOOK_EVERY_S = 0.2

_jobs: list[Job] = []  # the one under way or done last, if any


def current() -> Job | None:
    """The clip under way, or the one made last."""
    return _jobs[0] if _jobs else None


def running() -> bool:
    """Whether a clip is being made."""
    job = current()
    return job is not None and job.is_running()


def stop() -> None:
    """Stop what is under way, and forget it."""
    while _jobs:
        _jobs.pop().stop()


def clip_path(scene: Any) -> Path:
    """Where the clip goes: as chosen, else beside the plan file, else beside the .blend, else in the home
    folder.
    """
    settings = scene.duskrail
    if settings.clip_file:
        chosen = Path(bpy.path.abspath(settings.clip_file))
        return chosen if chosen.suffix == ".mp4" else chosen.with_name(chosen.name + ".mp4")
    if settings.file:
        return Path(bpy.path.abspath(settings.file.removesuffix(ENDING) + ".mp4"))
    if bpy.data.filepath:
        return Path(bpy.data.filepath).with_suffix(".mp4")
    return Path.home() / "duskrail_preview.mp4"


def even_height(width: int, clip: Clip) -> int:
    """The height that goes with a width for the clip's shape; even, as video wants it."""
    return max(2, 2 * round(width * clip.height_px / clip.width_px / 2))


def task_of(scene: Any, plan: Plan, clip: Path) -> PreviewTask:
    """The clip that the panel asks for, within what the plan has, and where it goes."""
    settings = scene.duskrail
    width = 2 * round(settings.clip_px / 2)
    first = min(settings.first_frame, plan.shoot.frames)
    last = min(max(first, settings.last_frame), plan.shoot.frames)
    return PreviewTask(
        output=clip,
        look=settings.look.lower(),
        frame_range=(first, last) if settings.use_range else None,
        every=settings.every,
        jobs=settings.jobs or None,
        size=(width, even_height(width, plan.clip)),
    )


def beside_of(scene: Any) -> Plan | None:
    """The second plan that is shown to the right, if one is asked for. Raises PlanError."""
    path = scene.duskrail.beside_file
    return load_plan(bpy.path.abspath(path)) if path else None


def contact_path(clip: Path) -> Path:
    """Where a clip's contact sheet goes."""
    return clip.with_name(f"{clip.stem}_contact.png")


def stills_path(clip: Path) -> Path:
    """Where the stills go that are shown side by side."""
    return clip.with_name(f"{clip.stem}_stills.png")


def frames_that_matter(frames: FrameTable) -> list[tuple[int, str]]:
    """Frames of a contact sheet with their labels, as on the shot sheet."""
    strip = strip_frames(frames, assess(frames.plan, frames))
    return [(one.frame, one.label) for one in strip if one.label != "between"]


def three_frames(frames: FrameTable) -> list[tuple[int, str]]:
    """The first frame, that of the light event (else the middle), and the last, each once, with labels."""
    shoot, count = frames.plan.shoot, len(frames)
    at = shoot.anchor.at if shoot.anchor else 0.5
    middle = EVENT_WORDS[shoot.anchor.event] if shoot.anchor else "Half way"
    labels = {1: "First", count: "Last"}
    labels.setdefault(round(1 + at * (count - 1)), middle)
    return sorted(labels.items())


class _Draws(WithFrames):
    """An operator that has another Blender draw in the background, and tells when it is done."""

    report: Any  # Blender gives it to the operator

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        if running():
            cls.poll_message_set(say("A preview is being rendered. Stop it first"))
            return False
        return True

    def _start(self, context: Any) -> Job | None:
        scene = context.scene
        live.take_edits(scene)
        plan = live.plan_of(scene)
        assert plan is not None
        clip = clip_path(scene)
        if not clip.parent.is_dir():
            self.report(
                {"ERROR"}, say("{parent} is not a folder. Choose where to save the clip", parent=clip.parent)
            )
            return None
        frames = live.frames_of(scene)
        assert frames is not None
        try:
            task = self._asked(scene, frames, task_of(scene, plan, clip))
        except PlanError as error:
            self.report({"ERROR"}, say("Second plan: {error}", error=error))
            return None
        stop()
        _jobs.append(Job(plan_to_text(plan), task))
        return _jobs[0]

    def _asked(self, scene: Any, frames: FrameTable, clip: PreviewTask) -> PreviewTask:
        """What is drawn in place of the plain clip. Raises PlanError."""
        raise NotImplementedError

    def execute(self, context: Any) -> Outcome:
        """Without a window, wait for it."""
        job = self._start(context)
        if job is None:
            return {"CANCELLED"}
        job.wait()
        return self._tell(job)

    def invoke(self, context: Any, _event: Any) -> Outcome:
        if self._start(context) is None:
            return {"CANCELLED"}
        self.timer = context.window_manager.event_timer_add(LOOK_EVERY_S, window=context.window)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> Outcome:
        """Pass all events on to Blender but Esc; while the animation plays, Esc stops only that."""
        job = current()
        is_playing = context.screen is not None and context.screen.is_animation_playing
        if event.type == "ESC" and event.value == "PRESS" and running() and not is_playing:
            assert job is not None
            job.stop()
        elif event.type != "TIMER":
            return {"PASS_THROUGH"}
        if job is not None and job.look():
            context.workspace.status_text_set(say("Preview: {text}   (Esc to stop)", text=job.text))
            live.show()
            return {"PASS_THROUGH"}
        self._end(context)
        return self._tell(job) if job is not None else {"CANCELLED"}

    def _end(self, context: Any) -> None:
        context.window_manager.event_timer_remove(self.timer)
        context.workspace.status_text_set(None)
        live.show()

    def cancel(self, context: Any) -> None:
        """Blender quits, so the background Blender ends too."""
        stop()
        self._end(context)

    def _tell(self, job: Job) -> Outcome:
        if job.result is not None:
            self.report({"INFO"}, f"{job.result.output.name}: {told(job.result)}")
            if job.result.make == STILLS:
                views.show_image(bpy.context, str(job.result.output))
            return {"FINISHED"}
        self.report({"WARNING"} if job.stopped else {"ERROR"}, job.problem or say("Preview stopped"))
        return {"CANCELLED"}


class DUSKRAIL_OT_preview(_Draws, bpy.types.Operator):
    """Render a draft clip in the background while you keep working. Press Esc to stop it"""

    bl_idname = "duskrail.preview"
    bl_label = "Render Preview"
    bl_options = {"REGISTER"}

    def _asked(self, scene: Any, frames: FrameTable, clip: PreviewTask) -> PreviewTask:
        settings = scene.duskrail
        other = beside_of(scene)
        contact = settings.contact_sheet
        return attrs.evolve(
            clip,
            title=settings.title_card,
            burn_in=settings.burn_in,
            beside=plan_to_text(other) if other is not None else None,
            contact=contact_path(clip.output) if contact else None,
            shown=tuple(frames_that_matter(frames)) if contact else (),
        )


class DUSKRAIL_OT_stills(_Draws, bpy.types.Operator):
    """Render the first frame, that of the light event and the last, side by side for the Image Editor. Esc
    stops it
    """

    bl_idname = "duskrail.stills"
    bl_label = "Stills Side by Side"
    bl_options = {"REGISTER"}

    def _asked(self, scene: Any, frames: FrameTable, clip: PreviewTask) -> PreviewTask:
        stills = stills_path(clip.output)
        return attrs.evolve(clip, make=STILLS, output=stills, shown=tuple(three_frames(frames)))


def told(made: Drawn) -> str:
    """What was made, in a line."""
    if made.make == STILLS:
        return say("{frames} stills side by side", frames=made.frames)
    values = {"frames": made.frames, "size": made.size, "engine": made.engine}
    if made.kept:
        return say("{frames} frames, {kept} of them reused, {size}, {engine}", kept=made.kept, **values)
    return say("{frames} frames, {size}, {engine}", **values)


class DUSKRAIL_OT_preview_stop(bpy.types.Operator):
    """Stop rendering. Finished frames are reused next time"""

    bl_idname = "duskrail.preview_stop"
    bl_label = "Stop Preview"

    @classmethod
    def poll(cls, _context: Any) -> bool:
        if not running():
            cls.poll_message_set(say("No preview is being rendered"))
            return False
        return True

    def execute(self, _context: Any) -> Outcome:
        job = current()
        if job is not None:
            job.stop()
        return {"FINISHED"}


class DUSKRAIL_OT_preview_open(bpy.types.Operator):
    """Open the clip in your default video player"""

    bl_idname = "duskrail.preview_open"
    bl_label = "Show the Clip"

    @classmethod
    def poll(cls, context: Any) -> bool:
        if context.scene is None or not clip_path(context.scene).is_file():
            cls.poll_message_set(say("There is no clip yet. Render one first"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        opened: Outcome = bpy.ops.wm.path_open(filepath=str(clip_path(context.scene)))
        return opened


CLASSES = (DUSKRAIL_OT_preview, DUSKRAIL_OT_stills, DUSKRAIL_OT_preview_stop, DUSKRAIL_OT_preview_open)
