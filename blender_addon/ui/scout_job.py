"""The search for a shot, in a process of its own, and what it has found so far."""

from __future__ import annotations

from planner_core.words.language import say

from .background import BackgroundJob
from .job_records import Said, ScoutTask, Shown, read

STAGES = {
    "places": "Places",
    "framings": "Framings",
    "moves": "Moves",
    "reviews": "Reviews",
    "evenings": "Evenings",
    "done": "Done",
}


class ScoutJob(BackgroundJob[Shown]):
    """One search under way, or done."""

    def __init__(self, plan_text: str, task: ScoutTask) -> None:
        self.shown: Shown | None = None
        super().__init__("scout_work", plan_text, task, Shown)

    def _take(self, said: Said) -> None:
        """Keep what is shown until something better comes."""
        super()._take(said)
        if said.meanwhile is not None:
            self.shown = read(Shown, said.meanwhile)
        if self.result is not None:
            self.shown = self.result

    @property
    def text(self) -> str:
        """How far it is, in words."""
        now = self.progress
        if now is None:
            return say("Starting the search")
        best = self.shown.finds[0].points if self.shown and self.shown.finds else None
        done = {"stage": say(STAGES[now.stage]), "done": now.done, "total": now.total}
        if best is None:
            return say("{stage}: {done} of {total}", **done)
        return say("{stage}: {done} of {total}, best {best:.0f}", best=best, **done)
