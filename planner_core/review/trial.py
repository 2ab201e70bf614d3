"""Remedies put to the test: each is applied to the plan and reviewed, and kept only where it helps."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import attrs

from planner_core.frames import compute_frames
from planner_core.plan.changes import changed
from planner_core.plan.model import Plan, PlanError
from planner_core.review.findings import LEVELS, Finding, Remedy, Review
from planner_core.review.report import review


def tried(plan: Plan, report: Review) -> Review:
    """The review with those remedies only that keep their promise, the better first.

    A remedy keeps its promise where its finding goes or falls a level, and where nothing comes that is as
    grave or graver. The same changes offered by two findings are reviewed once.
    """
    reviewed: dict[str, Sequence[Finding] | None] = {}

    def after(remedy: Remedy) -> Sequence[Finding] | None:
        key = repr(sorted(remedy.changes.items()))
        if key not in reviewed:
            reviewed[key] = _reviewed(plan, remedy)
        return reviewed[key]

    def kept(finding: Finding) -> tuple[Remedy, ...]:
        outcomes = [(remedy, after(remedy)) for remedy in finding.remedies]
        helpful = [
            (_gravity(found), place, remedy)
            for place, (remedy, found) in enumerate(outcomes)
            if found is not None and helps(finding, report.findings, found)
        ]
        return tuple(remedy for _, _, remedy in sorted(helpful, key=lambda row: row[:2]))

    findings = tuple(attrs.evolve(finding, remedies=kept(finding)) for finding in report.findings)
    return attrs.evolve(report, findings=findings)


def helps(finding: Finding, before: Sequence[Finding], after: Sequence[Finding]) -> bool:
    """Whether a finding is gone or milder in a later review, without another as grave in its place."""
    grave = LEVELS[: LEVELS.index(finding.level) + 1]
    was = Counter(each.code for each in before if each.level in grave)
    now = Counter(each.code for each in after if each.level in grave)
    return now[finding.code] < was[finding.code] and all(now[code] <= was[code] for code in now)


def _reviewed(plan: Plan, remedy: Remedy) -> Sequence[Finding] | None:
    """The findings that a remedy leaves; None where the plan can't be set so."""
    try:
        new = changed(plan, remedy.changes)
        return review(new, compute_frames(new)).findings
    except PlanError:
        return None


def _gravity(findings: Sequence[Finding]) -> tuple[int, ...]:
    """How many findings of each level, the gravest first: for sorting."""
    return tuple(sum(finding.level == level for finding in findings) for level in LEVELS)
