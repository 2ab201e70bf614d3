"""Fits the move to the picture: the smallest changes of poses after which the subject composes throughout."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from attrs import frozen

from planner_core.fit.result import Fit
from planner_core.frames import compute_frames
from planner_core.maths.runs import span
from planner_core.picture import composition, parallax, pose_repair
from planner_core.picture.composition import WEAK, Reading
from planner_core.plan.model import Plan
from planner_core.review.assess import assess
from planner_core.review.findings import Finding, sentences
from planner_core.review.remedy import PLAN_FILE, Names
from planner_core.words.figures import frames_text, percent
from planner_core.words.language import phrase, say

MOST_CHANGES = 4
MOST_TRIES = 400  # of one search
MOST_WORK = 40_000_000  # of a whole fit, as a Budget counts it: about a minute on a usual laptop
RIG_FAULTS = ("axis-", "interval-", "camera-inside")


@frozen(kw_only=True)
class Trying:
    """How far a fit has come: which change it looks for, how many it has tried in all, and what share of the
    work it may do is done.
    """

    change: int
    tries: int
    spent_share: float

    @property
    def text(self) -> str:
        """The same in words."""
        return say(
            "Looking for change {change} of the poses: {tries} tried, {share} of the budget spent",
            change=self.change,
            tries=self.tries,
            share=percent(self.spent_share),
        )


Listener = Callable[[Trying], None]


def nobody(_trying: Trying) -> None:
    """A listener who doesn't want to know."""


def fit_compose(
    plan: Plan, listen: Listener = nobody, most_work: int = MOST_WORK, names: Names = PLAN_FILE
) -> Fit:
    """Change poses as little as possible until no judged frame fails; every change is tried on all frames.

    Where one change doesn't repair all of them, the most effective one is taken, and so on up to
    MOST_CHANGES, as long as there is work left to do. What remains is said. Raises PlanError where the plan
    has no times. names are those that its words call fields by.
    """
    reading = _read(plan)
    if not reading.subject:
        nothing = phrase("There is nothing to compose: none of the plan's blocks is its subject.")
        return Fit(plan=plan, said=(nothing,))
    if not pose_repair.failing(plan, reading, weak=WEAK).any():
        return Fit(
            plan=plan,
            said=(phrase("The picture needs no change: {weakest}.", weakest=_weakest_text(plan, reading)),),
        )
    given, said = plan, [_failing_text(plan, reading)]
    search = _Search(most_work, listen)
    for change in search.changes(plan, reading):
        said.append(change.text(plan))
        plan = change.plan
    after = _read(plan)
    left = pose_repair.failing(plan, after, weak=WEAK)
    if left.any():
        failed = "Still failing: {failing}" if len(said) > 1 else "No change of a pose helps: {failing}"
        said.append(phrase(failed, failing=_failing_text(plan, after)))
        if search.stopped:
            said.append(
                phrase(
                    "The search stopped after its limit, with {tries} changes tried: fewer or simpler "
                    "blocks leave "
                    "room for more, and a second fit goes on from here.",
                    tries=search.tries,
                )
            )
        said.append(
            phrase("Another place for the rail, another lens or another subject may help where poses can't.")
        )
    else:
        said.append(phrase("Now {weakest}.", weakest=_weakest_text(plan, after)))
    if plan is not given:
        said += [phrase("But: {finding}", finding=_told(finding, names)) for finding in _rig_faults(plan)]
    return Fit(plan=plan, said=tuple(said))


class _Search:
    """The search for changes, one after another, with so much work to do in all."""

    def __init__(self, most_work: int, listen: Listener) -> None:
        self.most_work, self.listen = most_work, listen
        self.made: list[pose_repair.Budget] = []
        self.change = 1

    def changes(self, plan: Plan, reading: Reading) -> Iterator[pose_repair.Change]:
        """The changes, each applied to the plan that the one before left."""
        for self.change in range(1, MOST_CHANGES + 1):
            change = pose_repair.smallest_change(plan, reading, weak=WEAK, budget=self._budget()) or (
                pose_repair.best_change(plan, reading, weak=WEAK, budget=self._budget())
            )
            if change is None:
                return
            yield change
            plan, reading = change.plan, _read(change.plan)
            if not pose_repair.failing(plan, reading, weak=WEAK).any():
                return

    def _budget(self) -> pose_repair.Budget:
        """What the next search may do: so many tries of its own, and what is left of the work."""
        left = max(self.most_work - self.work, 0)
        self.made.append(pose_repair.Budget(MOST_TRIES, left, tell=self._tell))
        return self.made[-1]

    @property
    def tries(self) -> int:
        """How many changes were tried."""
        return sum(budget.tries for budget in self.made)

    @property
    def work(self) -> int:
        """How much work that was."""
        return sum(budget.work for budget in self.made)

    @property
    def stopped(self) -> bool:
        """Whether the last search left out a change for its work."""
        return self.made[-1].refused

    def _tell(self) -> None:
        self.listen(
            Trying(change=self.change, tries=self.tries, spent_share=min(self.work / self.most_work, 1.0))
        )


def _read(plan: Plan) -> Reading:
    frames = compute_frames(plan)
    return composition.read(plan, frames.view.visibility, travels=parallax.slides(plan))


def _rig_faults(plan: Plan) -> list[Finding]:
    """What the changed move asks of the rig that it can't do."""
    findings = assess(plan, compute_frames(plan)).findings
    return [f for f in findings if f.level == "stop" and f.code.startswith(RIG_FAULTS)]


def _told(finding: Finding, names: Names) -> str:
    return sentences(finding, names).text


def _weakest_text(plan: Plan, reading: Reading) -> str:
    weakest = composition.weakest_frame(reading, composition.judged(plan, reading.at))
    return phrase(
        "the weakest frame is {frame}, {score:.0f} of 100 ({part})",
        frame=weakest + 1,
        score=reading.score[weakest] * 100.0,
        part=composition.part_text(plan, reading, weakest),
    )


def _failing_text(plan: Plan, reading: Reading) -> str:
    bad = pose_repair.failing(plan, reading, weak=WEAK)
    frames = span(bad)
    assert frames is not None
    worst = composition.weakest_frame(reading, bad)
    if bad[0] and not composition.judged(plan, reading.at)[0] and bad.sum() == 1:
        return phrase(
            "Frame 1: {subject} shows from the start, so nothing is revealed.",
            subject=composition.subject_name(plan),
        )
    return phrase(
        "{frames}: {count} of {all} frames fail, frame {worst} the most: {part}.",
        frames=frames_text(frames),
        count=int(bad.sum()),
        all=len(bad),
        worst=worst + 1,
        part=composition.part_text(plan, reading, worst),
    )
