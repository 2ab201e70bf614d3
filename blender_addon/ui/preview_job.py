"""The draft clip rendered by a Blender of its own, while the photographer goes on working."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from planner_core.words.durations import duration_text
from planner_core.words.language import say

from .background import BackgroundJob

WORK = Path(__file__).resolve().with_name("preview_work.py")
CLIP, STILLS = "clip", "stills"
# What the parts of a request are called in the panel
LABELS = {
    "frame_range": "Frame Range",
    "every": "Every Nth Frame",
    "jobs": "Processes",
    "size": "Width",
    "look": "Look",
    "beside": "Second Plan",
}
# What is asked beside the clip itself, unless told otherwise; `shown` are frames with their labels
PLAIN: dict[str, Any] = {"title": False, "burn_in": False, "beside": None, "contact": None, "shown": []}


class Job(BackgroundJob):
    """One clip under way, with the last thing it said."""

    def __init__(self, plan_text: str, output: Path, options: dict[str, Any]) -> None:
        self.output = output
        super().__init__(WORK, plan_text, {"output": str(output), **PLAIN, "make": CLIP, **options})

    def worded(self, record: dict[str, Any]) -> str:
        """What went wrong, with the panel's name of the field."""
        label = LABELS.get(record["field"])
        return f"{say(label)}: {record['problem']}" if label else str(record["problem"])

    @property
    def text(self) -> str:
        """How far it is, in words."""
        now = self.progress
        if not now:
            return say("Starting Blender in the background")
        if now["stage"] == "encoding":
            return say("Writing the clip")
        if now["engine"]:
            return say("Drawing with {engine}", engine=now["engine"])
        left = now["seconds_left"]
        done = {"done": now["done"], "total": now["total"]}
        if not left:
            return say("Frame {done} of {total}", **done)
        about = duration_text(max(1, round(left)))
        return say("Frame {done} of {total}, about {left} left", left=about, **done)
