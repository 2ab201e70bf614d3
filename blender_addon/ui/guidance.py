"""What to do next with a plan, in a line: the order of a photographer's decisions. Nothing changes here."""

from __future__ import annotations

from planner_core import Plan, Review
from planner_core.place.blocking import subject_indices
from planner_core.words.language import say

from . import wording


def next_step(plan: Plan, report: Review | None) -> str:
    """The next step, from a plan and its review; None for a review that is still under way."""
    if not plan.blocks:
        return say("Next: add the subject of the picture, under Blocking.")
    if not subject_indices(plan):
        return say("Next: choose a block under Blocking and give it the role Subject.")
    if report is None:
        return say("Reviewing the plan …")
    for level, told in (
        ("stop", "Next, under Review: “{title}” must change before you go out."),
        ("warn", "Next, under Review: “{title}”. Do you want it so?"),
    ):
        at_level = [finding for finding in report.findings if finding.level == level]
        if at_level:
            return say(told, title=wording.title(at_level[0]))
    return say("Ready: play the evening, render the preview and print the shot sheet.")
