"""The draft clip rendered by a Blender of its own, while the photographer goes on working."""

from __future__ import annotations

from planner_core.words.durations import duration_text
from planner_core.words.language import say

from .background import BackgroundJob
from .job_records import Drawn, Failure, PreviewTask

# What the parts of a request are called in the panel
LABELS = {
    "frame_range": "Frame Range",
    "every": "Every Nth Frame",
    "jobs": "Processes",
    "size": "Width",
    "look": "Look",
    "beside": "Second Plan",
}


class Job(BackgroundJob[Drawn]):
    """One clip under way, with the last thing it said."""

    def __init__(self, plan_text: str, task: PreviewTask) -> None:
        self.output = task.output
        super().__init__("preview_work", plan_text, task, Drawn)

    def worded(self, failure: Failure) -> str:
        """What went wrong, with the panel's name of the field."""
        label = LABELS.get(failure.field)
        return f"{say(label)}: {failure.problem}" if label else failure.problem

    @property
    def text(self) -> str:
        """How far it is, in words."""
        now = self.progress
        if now is None:
            return say("Starting Blender in the background")
        if now.stage == "encoding":
            return say("Writing the clip")
        if now.engine:
            return say("Drawing with {engine}", engine=now.engine)
        done = {"done": now.done, "total": now.total}
        if not now.seconds_left:
            return say("Frame {done} of {total}", **done)
        about = duration_text(max(1, round(now.seconds_left)))
        return say("Frame {done} of {total}, about {left} left", left=about, **done)
