"""The review: what there is to say about a plan, with remedies that were tried."""

from __future__ import annotations

from collections.abc import Iterator

from planner_core.frames import FrameTable
from planner_core.plan.model import Plan
from planner_core.review.assess import Assessor, finished
from planner_core.review.findings import Review
from planner_core.review.trial import Trial


def review(plan: Plan, frames: FrameTable) -> Review:
    """What a careful colleague would say about the plan, and what would help where that was tried."""
    return finished(review_in_parts(plan, frames))


def review_in_parts(plan: Plan, frames: FrameTable) -> Iterator[Review | None]:
    """The same with a pause (None) after each step, for whoever has a window to keep alive meanwhile.

    The findings come as soon as they are known, before anything was tried against them, and once more at the
    end, with what helps.
    """
    assessor = Assessor()
    report: Review | None = None
    for report in assessor.assessing(plan, frames):
        yield report
    assert report is not None
    yield from Trial(plan, frames, report, assessor).running()
