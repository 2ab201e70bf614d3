"""Operators whose work goes on beside the window: its progress stands in the status bar, and Esc stops it."""

from __future__ import annotations

from typing import Any, ClassVar, Generic, TypeVar

from ...state import live
from ...state.thread_job import ThreadJob
from .base import Outcome

LOOK_EVERY_S = 0.2
Job = TypeVar("Job", bound=ThreadJob[Any])


class BesideTheWindow(Generic[Job]):
    """What such an operator has in common: `begin` in its `invoke` or `execute`, then `taken` when the job is
    done, stopped, or has failed. `UNDER_WAY` holds the one job of its kind that runs, if any.
    """

    UNDER_WAY: ClassVar[list[Any]]
    timer: Any
    told: str

    def progress(self, job: Job) -> str:
        """How far the job is, for the status bar."""
        raise NotImplementedError

    def taken(self, context: Any, job: Job) -> Outcome:
        """What the job found, taken into the scene that it was for."""
        raise NotImplementedError

    def ended(self) -> None:
        """What is to be done when the job is over, however it ended."""

    def begin(self, context: Any, job: Job) -> Outcome:
        """Go on beside the window."""
        self.told = ""
        self.UNDER_WAY.append(job)
        self.timer = context.window_manager.event_timer_add(LOOK_EVERY_S, window=context.window)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> Outcome:
        """Pass all events on to Blender but Esc; while the animation plays, Esc stops only that."""
        if not self.UNDER_WAY:  # the extension was disabled, or another file opened
            self._end(context)
            return {"CANCELLED"}
        job = self.UNDER_WAY[0]
        is_playing = context.screen is not None and context.screen.is_animation_playing
        if event.type == "ESC" and event.value == "PRESS" and not is_playing:
            job.stop()
            return {"RUNNING_MODAL"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        if job.is_running():
            told = self.progress(job)
            if told != self.told:
                self.told = told
                context.workspace.status_text_set(told)
                live.show()
            return {"PASS_THROUGH"}
        self._end(context)
        return self.taken(context, job)

    def cancel(self, context: Any) -> None:
        """Blender quits, or opens another file."""
        while self.UNDER_WAY:
            self.UNDER_WAY.pop().stop()
        self._end(context)

    def _end(self, context: Any) -> None:
        self.UNDER_WAY.clear()
        context.window_manager.event_timer_remove(self.timer)
        context.workspace.status_text_set(None)
        self.ended()
