"""The fit of everything: remedies that help, one after another, until nothing above a note is left.

What the plan wants (its subject, style, date and place), the rig as it is, the blocks and the size of the
clip are left alone: what only they could put right is left to the photographer, and said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from attrs import field, frozen

from planner_core.fit.compose import fit_compose
from planner_core.fit.light import fit_balance, fit_clip
from planner_core.fit.result import Fit
from planner_core.fit.travel import fit_travel
from planner_core.frames import FrameTable, compute_frames
from planner_core.plan.changes import changed, differences
from planner_core.plan.model import Plan, PlanError
from planner_core.review.assess import assess, finished
from planner_core.review.cost import changed_wishes, cost, together
from planner_core.review.findings import Finding, Review, sentences, voice
from planner_core.review.remedy import PLAN_FILE, Names, Quantity, Remedy
from planner_core.review.report import review_in_parts
from planner_core.review.trial import helps
from planner_core.words.language import in_words, phrase, say

MOST_STEPS = 24
MINE = ("move.", "shoot.", "exposure.", "camera.focus_distance_m")  # what may be changed without asking
# What is put right first: where the axes go, then what the lens looks at and how fast, when, with what
# light, and only then how often. What comes earlier often settles what comes later.
ORDER = (
    *(
        "card-space",
        "battery-short",
        "axis-range",
        "subject-lost",
        "subject-cut",
        "subject-hidden",
        "reveal-late",
        "reveal-early",
    ),
    *("rail-in-frame", "weak-frame", "subject-merging", "screen-speed", "day-night-balance"),
    *("move-midpoint", "highlights-lost", "shadows-lost", "axis-speed", "interval-too-short"),
    *("exposure-short", "exposure-long"),
)


@frozen(kw_only=True)
class Step:
    """One thing that was put right: the finding's code, the remedy with its cost, and in words."""

    code: str
    remedy: Remedy
    text: str


@frozen(kw_only=True)
class FitAll(Fit):
    """A fit of everything: its steps, what they cost together, and the findings above a note left over."""

    steps: tuple[Step, ...] = ()
    cost: tuple[Quantity, ...] = ()
    left: tuple[Finding, ...] = field(default=())


Listener = Callable[[str], None]  # who is told what is being done, and may stop it by an exception


def nobody(_text: str) -> None:
    """A listener who doesn't want to know."""


def fit_all(plan: Plan, names: Names = PLAN_FILE, listen: Listener = nobody) -> FitAll:
    """The plan with whatever helps, a step at a time, each of which leaves fewer or milder findings.

    Raises PlanError where the plan has no times. names are those that its words call fields by.
    """
    frames = compute_frames(plan)
    steps: list[Step] = []
    left = _above_a_note(plan, frames, listen)
    while left and len(steps) < MOST_STEPS:
        step = next(_steps(frames.plan, frames, left, names, listen), None)
        if step is None:
            break
        steps.append(step)
        frames = compute_frames(changed(frames.plan, step.remedy.changes), frames)
        listen(in_words(step.text))
        left = _above_a_note(frames.plan, frames, listen)
    total = together([step.remedy.cost for step in steps])
    return FitAll(
        plan=frames.plan,
        said=(*(step.text for step in steps), *_summed_up(steps, total, left, names)),
        steps=tuple(steps),
        cost=total,
        left=left,
    )


def _above_a_note(plan: Plan, frames: FrameTable, listen: Listener) -> tuple[Finding, ...]:
    report = finished(_told(review_in_parts(plan, frames), listen))
    return tuple(finding for finding in report.findings if finding.level != "note")


def _told(parts: Iterator[Review | None], listen: Listener) -> Iterator[Review | None]:
    for part in parts:
        listen(say("Reviewing the plan, and trying what helps"))
        yield part


def _steps(
    plan: Plan, frames: FrameTable, left: tuple[Finding, ...], names: Names, listen: Listener
) -> Iterator[Step]:
    """The steps that could be taken, in ORDER; what that doesn't name comes last."""
    rank = {code: index for index, code in enumerate(ORDER)}
    findings = sorted(left, key=lambda each: rank.get(each.code, len(ORDER)))
    for finding in findings:
        for remedy in finding.remedies:
            if _may_be_set(plan, remedy.changes):
                yield _step(finding, remedy, names)
    for finding in findings:
        yield from _solved_for(plan, frames, finding, names, listen)


def _may_be_set(plan: Plan, changes: Mapping[str, Any]) -> bool:
    """Whether changes touch nothing that is the photographer's to decide."""
    if not all(path.startswith(MINE) for path in changes):
        return False
    return not changed_wishes(plan, changed(plan, changes))


def _solved_for(
    plan: Plan, frames: FrameTable, finding: Finding, names: Names, listen: Listener
) -> Iterator[Step]:
    """What the finding's own fit makes of it, which looks farther than a review; only where that helps."""
    try:
        new = _fitted(plan, finding.fit, names, listen)
    except PlanError:
        return
    changes = differences(plan, new)
    if not changes or not _may_be_set(plan, changes):
        return
    after = compute_frames(new, frames)
    if helps(finding, assess(plan, frames).findings, assess(new, after).findings):
        yield _step(finding, Remedy(changes=changes, cost=cost(frames, after)), names)


def _fitted(plan: Plan, kind: str, names: Names, listen: Listener) -> Plan:
    listen(say("Solving for what the finding leaves free"))
    if kind == "compose":
        return fit_compose(plan, lambda trying: listen(trying.text), names=names).plan
    if kind == "travel":
        return fit_travel(plan).plan
    if kind == "balance":
        return fit_balance(plan, 1.0, 1.0).plan
    if kind == "clip":
        return fit_clip(plan, plan.shoot.frames / plan.clip.fps, names).plan
    return plan


# ---------------------------------------------------------------- words


def _step(finding: Finding, remedy: Remedy, names: Names) -> Step:
    spoken = voice()
    deed = spoken.remedies((remedy,), names)
    text = phrase(
        "Against {finding}: {deed}",
        finding=spoken.about(finding.code),
        deed=f"{deed[:1].lower()}{deed[1:]}",
    )
    return Step(code=finding.code, remedy=remedy, text=text)


def _summed_up(
    steps: list[Step], total: tuple[Quantity, ...], left: tuple[Finding, ...], names: Names
) -> Iterator[str]:
    if steps:
        yield phrase(
            "In all: {cost}.", cost=voice().costs(total) or phrase("no change of time, light or travel")
        )
    elif left:
        yield phrase("None of the changes that were tried helps, so the plan stays as it is.")
    else:
        yield phrase("No problems found, so the plan stays as it is.")
        return
    if not left:
        yield phrase("Only notes are left.")
    for finding in left:
        yield phrase("Left to you: {finding}", finding=sentences(finding, names).text)
