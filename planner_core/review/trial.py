"""Remedies put to the test: each is applied to the plan and reviewed, and kept only where it helps.

A remedy helps where its finding goes or falls a level, and nothing comes that is as grave or graver. Where
the proposals for a finding only bring another one, values between the plan's and theirs are tried, and then
what would help against what they bring, together with them.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Generator, Iterator, Mapping, Sequence
from typing import Any

import attrs
from attrs import frozen

from planner_core.evening.interval import on_the_timer_s
from planner_core.frames import FrameTable, compute_frames
from planner_core.light.exposure import nearest_f_number, nearest_third, nominal_iso, nominal_shutter_s
from planner_core.plan.changes import Changes, changed, value_at
from planner_core.plan.model import Plan, PlanError
from planner_core.plan.timeline import clock
from planner_core.review.assess import Assessor
from planner_core.review.cost import changed_wishes, cost
from planner_core.review.findings import LEVELS, Finding, Quantity, Remedy, Review, facts
from planner_core.review.remedies import PLACES, proposed
from planner_core.review.remedy import STARTS

# How many plans a trial may review: fewer where each takes longer, by frames and blocks. A count and not a
# time, so that the same plan gets the same answer everywhere.
MOST_REVIEWS, FEWEST_REVIEWS = 48, 6
WORK = 600_000  # frames times blocks, and a dozen blocks for all that isn't about blocks
PLAIN_BLOCKS = 12
KEPT_WHOLE = 1_000_000  # frames times blocks of a table: some 30 MB of what its pictures show
BETWEEN = (0.5, 0.75, 0.25)  # of the way from the plan's value to the proposed one
RECONCILED = 3  # proposals that bring something else, of which a way out is looked for
ANSWERS = 3  # proposals against what they bring
KEPT = 4
# digits that a person would set of what isn't printed on a camera
DIGITS = {**PLACES, "nd_stops": 1, "day_look_stops": 1, "night_look_stops": 1, "focus_distance_m": 2}

Steps = Generator[None, None, "_Outcome | None"]


@frozen(kw_only=True, eq=False)
class _Outcome:
    """A plan with a remedy applied, and what there is to say about it."""

    plan: Plan
    frames: FrameTable
    findings: tuple[Finding, ...]


class Trial:
    """Tries what is proposed against the findings of a plan's review."""

    def __init__(self, plan: Plan, frames: FrameTable, report: Review, assessor: Assessor) -> None:
        self.plan, self.frames, self.report, self._assessor = plan, frames, report, assessor
        work = plan.shoot.frames * (len(plan.blocks) + PLAIN_BLOCKS)
        self._left = max(FEWEST_REVIEWS, min(MOST_REVIEWS, WORK // work))
        self._known: dict[str, _Outcome | None] = {}
        self._first: list[tuple[str, _Outcome]] = []  # what comes of each finding's first remedy, by its code

    def running(self) -> Iterator[Review | None]:
        """The review with remedies that help, after a None for each step on the way."""
        findings = []
        for finding in self.report.findings:
            findings.append((yield from self._tried(finding)))
        yield attrs.evolve(self.report, findings=tuple(map(self._with_what_it_goes, findings)))

    def _with_what_it_goes(self, finding: Finding) -> Finding:
        """A finding without a remedy, with the graver one whose first remedy makes it go too."""
        if finding.remedies or finding.level == "note":
            return finding
        for code, outcome in self._first:
            if code != finding.code and not _still_there(finding, outcome.findings):
                return attrs.evolve(finding, goes_with=code)
        return finding

    def _tried(self, finding: Finding) -> Generator[None, None, Finding]:
        yield None
        proposals = proposed(self.plan, self.frames, finding)
        kept: list[tuple[Remedy, _Outcome]] = []
        bringing: list[tuple[Remedy, _Outcome]] = []
        untried = 0
        for remedy in proposals:
            outcome = yield from self._outcome(remedy.changes)
            if outcome is None:
                untried += _key(remedy.changes) not in self._known
                continue
            if helps(finding, self.report.findings, outcome.findings):
                kept.append((remedy, outcome))
            elif not _still_there(finding, outcome.findings):
                bringing.append((remedy, outcome))
        if not kept and finding.level != "note":
            kept = yield from self._reconciled(finding, bringing[:RECONCILED])
        ranked = self._in_order(kept)
        self._first += [(finding.code, ranked[0][1])] if ranked else []
        before = self.report.findings
        brought = [code for _, reached in bringing for code in _brought(finding, before, reached.findings)]
        return attrs.evolve(
            finding,
            remedies=self._told(ranked),
            tried=True,
            failed=len(proposals) - len(kept),
            brings=() if kept else tuple(dict.fromkeys(brought)),
            untried=untried,
        )

    def _in_order(self, kept: Sequence[tuple[Remedy, _Outcome]]) -> list[tuple[Remedy, _Outcome]]:
        """What leaves the least behind first, and what the plan wants untouched; of equals the first."""

        def rank(pair: tuple[Remedy, _Outcome]) -> tuple[Any, ...]:
            stops, warns, notes = gravity(pair[1].findings)
            all_poses = pair[0].fact("aim") is not None  # the smallest change leaves the move as it is meant
            return stops, all_poses, warns, len(changed_wishes(self.plan, pair[1].plan)), notes

        return sorted(kept, key=rank)[:KEPT]

    def _told(self, ranked: Sequence[tuple[Remedy, _Outcome]]) -> tuple[Remedy, ...]:
        """Remedies with what they cost, and what their words need."""
        return tuple(
            attrs.evolve(
                remedy,
                cost=_cost(remedy, self.frames, outcome.frames) + self._warnings(outcome),
                about=remedy.about or self._about_the_start(remedy, outcome),
            )
            for remedy, outcome in ranked
        )

    def _warnings(self, outcome: _Outcome) -> tuple[Quantity, ...]:
        """What a remedy brings that is worth a warning, though it is milder than what it is for."""
        was, now = (
            Counter(each.code for each in findings if each.level != "note")
            for findings in (self.report.findings, outcome.findings)
        )
        brought = tuple(code for code in now if now[code] > was[code])
        return facts(brings=(brought, "")) if brought else ()

    def _about_the_start(self, remedy: Remedy, outcome: _Outcome) -> tuple[Quantity, ...]:
        """What is said of a remedy that moves the start."""
        if not any(path.startswith(STARTS) for path in remedy.changes):
            return ()
        was, now, zone = float(self.frames.utc_s[0]), float(outcome.frames.utc_s[0]), self.plan.zone
        close = clock(was, zone) == clock(now, zone)
        return facts(
            start=clock(now, zone, seconds=close),
            was_start=clock(was, zone, seconds=close),
            was_at=self.plan.shoot.anchor.at if self.plan.shoot.anchor else None,
        )

    # ------------------------------------------------------------ trying

    def _outcome(self, changes: Mapping[str, Any]) -> Steps:
        """What comes of some changes; None where the plan can't be set so, or too much was tried."""
        key = _key(changes)
        if key not in self._known:
            if self._left <= 0:
                return None
            self._left -= 1
            self._known[key] = yield from self._reviewed(changes)
        return self._known[key]

    def _reviewed(self, changes: Mapping[str, Any]) -> Steps:
        try:
            plan = changed(self.plan, changes)
            frames = compute_frames(plan, self.frames)
        except PlanError:
            return None
        yield None
        for report in self._assessor.assessing(plan, frames):
            if report is not None:
                return _Outcome(plan=plan, frames=self._lightened(frames), findings=report.findings)
            yield None
        return None

    def _lightened(self, frames: FrameTable) -> FrameTable:
        """A table to keep. A large one is kept without what was worked out of its pictures, which can be had
        again: tables of many trials would fill the memory.
        """
        size = len(frames) * len(frames.plan.blocks)
        if size <= KEPT_WHOLE or frames.view is self.frames.view:
            return frames
        return attrs.evolve(frames, known_view=None, known_readings=None)

    # ------------------------------------------------------------ where two findings pull at one field

    def _reconciled(
        self, finding: Finding, bringing: Sequence[tuple[Remedy, _Outcome]]
    ) -> Generator[None, None, list[tuple[Remedy, _Outcome]]]:
        """Remedies between the plan and those that bring something else, or with an answer to that."""
        reconciled: list[tuple[Remedy, _Outcome]] = []
        for remedy, outcome in bringing:
            for changes in (
                *self._between(remedy.changes),
                *self._answered(finding, remedy.changes, outcome),
            ):
                reached = yield from self._outcome(changes)
                if reached is not None and helps(finding, self.report.findings, reached.findings):
                    reconciled.append((Remedy(changes=changes), reached))
                    break
        return reconciled

    def _between(self, changes: Mapping[str, Any]) -> Iterator[Changes]:
        """A single value that lies between the plan's and the one proposed."""
        if len(changes) != 1:
            return
        ((path, new),) = changes.items()
        old = value_at(self.plan, path)
        for fraction in BETWEEN:
            value = _settable(self.plan, path, _mixed(old, new, fraction))
            if value is not None and value not in (old, new):
                yield {path: value}

    def _answered(self, finding: Finding, changes: Mapping[str, Any], outcome: _Outcome) -> Iterator[Changes]:
        """The changes together with what is proposed against what they bring."""
        brought = _brought(finding, self.report.findings, outcome.findings)
        for new in (each for each in outcome.findings if each.code in brought):
            for answer in proposed(outcome.plan, outcome.frames, new)[:ANSWERS]:
                yield {**changes, **answer.changes}


def _key(changes: Mapping[str, Any]) -> str:
    return repr(sorted(changes.items()))


def helps(finding: Finding, before: Sequence[Finding], after: Sequence[Finding]) -> bool:
    """Whether a finding is gone or milder in a later review, and nothing as grave or graver has come."""
    return not _still_there(finding, after) and not _brought(finding, before, after)


def _brought(finding: Finding, before: Sequence[Finding], after: Sequence[Finding]) -> tuple[str, ...]:
    """The codes of which there are more than before that are as grave as a finding, or at a graver level."""
    codes: list[str] = []
    for rank in range(LEVELS.index(finding.level) + 1):
        grave = LEVELS[: rank + 1]
        was = Counter(each.code for each in before if each.level in grave)
        now = Counter(each.code for each in after if each.level in grave)
        codes += [code for code in now if now[code] > was[code]]
    return tuple(dict.fromkeys(codes))


def gravity(findings: Sequence[Finding]) -> tuple[int, ...]:
    """How many findings of each level, the gravest first: for sorting."""
    return tuple(sum(finding.level == level for finding in findings) for level in LEVELS)


def _still_there(finding: Finding, after: Sequence[Finding]) -> bool:
    """Whether a finding of the kind is still as grave, anywhere."""
    grave = LEVELS[: LEVELS.index(finding.level) + 1]
    return any(each.code == finding.code and each.level in grave for each in after)


def _cost(remedy: Remedy, before: FrameTable, after: FrameTable) -> tuple[Quantity, ...]:
    """What a remedy costs; where it says itself what the light costs, no more of the light."""
    costs = cost(before, after)
    if not remedy.cost:
        return costs
    return (*remedy.cost, *(each for each in costs if each.name not in ("less_light", "more_iso")))


def _mixed(old: Any, new: Any, fraction: float) -> Any:
    """A value so far from the old towards the new one, in few digits; None where there is none between."""
    if isinstance(old, dt.datetime) and isinstance(new, str):
        try:
            moment = old + fraction * (dt.datetime.fromisoformat(new) - old)
        except (ValueError, TypeError):
            return None
        return moment.replace(microsecond=0).isoformat()
    if any(isinstance(value, bool) or not isinstance(value, (int, float)) for value in (old, new)):
        return None
    value = old + fraction * (new - old)
    return round(value) if isinstance(old, int) else float(f"{value:.4g}")


def _settable(plan: Plan, path: str, value: Any) -> Any:
    """A value as a person can set it: what is printed on the camera nearest to it, a step of the timer."""
    if not isinstance(value, float):
        return value
    field = path.rpartition(".")[2]
    if path == "exposure.f_number":
        return nearest_f_number(value)
    if field in ("iso_min", "iso_max"):
        return nominal_iso(nearest_third(value, 100.0))
    if field in ("shutter_min_s", "shutter_max_s"):
        return nominal_shutter_s(nearest_third(value, 1.0))
    if path == "shoot.interval_s":
        return on_the_timer_s(plan, value)
    return round(value, DIGITS[field]) if field in DIGITS else value
