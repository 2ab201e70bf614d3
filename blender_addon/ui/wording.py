"""The plan's fields by the names of the sidebar, for findings and for what the plan refuses."""

from __future__ import annotations

from typing import Any

from planner_core import Plan, PlanError
from planner_core.place.blocking import block_label
from planner_core.review.findings import Finding, Names
from planner_core.review.words import in_short
from planner_core.words.language import say

from ..state import live

PANELS = {
    "site": "Place and Light",
    "shoot": "Place and Light",
    "blocks": "Blocking",
    "rig": "Rig and Camera",
    "camera": "Rig and Camera",
    "clip": "Camera and Clip",
    "move": "Move",
    "exposure": "Exposure",
    "composition": "Subject and Framing",
    "photos": "Photographs",
}
PARTS = {"slide": "Slider", "pan": "Pan", "tilt": "Tilt"}
ROWS = ("blocks", "move.poses")

# The review's buttons: what they are called, and what they do
FITS = {
    "travel": ("Fit the Travel", "Choose how far to slide, so that the foreground moves at a calm pace"),
    "balance": ("Fit the Start", "Choose when to start, so that day and night each take up half of the clip"),
    "clip": (
        "Fit the Interval",
        "Choose frames and interval so that every exposure and move fits, for a clip of the same length",
    ),
    "compose": ("Fit the Picture", "Change a pose as little as possible so that the subject stays composed"),
    "all": (
        "Fit All",
        "Make every change that helps, one by one, and list what each costs and what is left to you",
    ),
}

labels: dict[str, str] = {}  # of the plan's fields, with # for the number of a row …
options: dict[str, dict[str, str]] = {}  # … and of the options of those that have some


class SidebarNames(Names):
    """Fields as the sidebar labels them, places of the move in percent."""

    def field(self, path: str) -> str:
        """A field's label in quotation marks; its path where the sidebar doesn't have it."""
        label = labels.get(label_key(path))
        return _quoted(label) if label else path

    def fit(self, kind: str) -> str:
        """The button's name in quotation marks."""
        return _quoted(FITS[kind][0])

    def fraction(self, value: float) -> str:
        """A place in the move, in percent."""
        return f"{100.0 * value:.3g} %"

    def choice(self, path: str, value: str) -> str:
        """An option as its menu has it, in quotation marks; the plan's word where there is no menu."""
        label = options.get(label_key(path), {}).get(value)
        return _quoted(label) if label else value


def _quoted(label: str) -> str:
    return say("“{name}”", name=say(label))


SIDEBAR = SidebarNames()


def title(finding: Finding) -> str:
    """What a finding is about, in a few words."""
    return code_title(finding.code)


def code_title(code: str) -> str:
    """What a finding's code is about, in a few words."""
    return say(in_short.title(code))


def label_key(path: str) -> str:
    """A path as the labels know it: `blocks[3].size_m[2]` is `blocks[#].size_m`."""
    for rows in ROWS:
        number, bracket, rest = path.removeprefix(f"{rows}[").partition("]")
        if path.startswith(f"{rows}[") and bracket and number.isdigit():
            path = f"{rows}[#]{rest}"
    head, _, last = path.rpartition("[")
    return head if head and last[:-1].isdigit() else path


def problem_text(scene: Any) -> str:
    """What was refused last in a scene, with the field named as in the sidebar."""
    here = live.state_of(scene)
    return here.problem if here.refusal is None else refusal_text(here.refusal, live.plan_of(scene))


def refusal_text(error: PlanError, plan: Plan | None = None) -> str:
    """What the plan refuses, beginning with where that field is in the sidebar."""
    top = error.path.partition(".")[0].partition("[")[0]
    if top not in PANELS:
        return str(error)
    said = [say(PANELS[top]), *_inside(error.path, top, plan)]
    label = labels.get(label_key(error.path))
    return f"{', '.join([*said, say(label)] if label else said)}: {error.reason}"


def _inside(path: str, top: str, plan: Plan | None) -> list[str]:
    """The part of the rig, the block or the pose that a path leads to."""
    if top == "rig":
        return [say(word) for part, word in PARTS.items() if path.startswith(f"rig.{part}.")]
    number = path.partition("[")[2].partition("]")[0] if path.startswith(ROWS) else ""
    if not number.isdigit():
        return []
    if top == "blocks" and plan is not None and int(number) < len(plan.blocks):
        return [f"“{block_label(plan, int(number))}”"]
    template = "block {number}" if top == "blocks" else "pose {number}"
    return [say(template, number=int(number) + 1)]
