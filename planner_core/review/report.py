"""The review: every topic's findings gathered, with a summary of the plan in numbers."""

from __future__ import annotations

from typing import Any

from planner_core.frames import FrameTable
from planner_core.plan.model import Plan
from planner_core.review import light as review_light
from planner_core.review import picture as review_picture
from planner_core.review import rig as review_rig
from planner_core.review.findings import Finding, Review, sort_findings
from planner_core.review.words import lens as _lens_words  # noqa: F401
from planner_core.review.words import light as _light_words  # noqa: F401
from planner_core.review.words import sun as _sun_words  # noqa: F401

TOPICS = (review_light, review_rig, review_picture)


def review(plan: Plan, frames: FrameTable) -> Review:
    """What a careful colleague would say about the plan."""
    findings: list[Finding] = []
    summary: dict[str, Any] = {}
    for topic in TOPICS:
        found, numbers = topic.review_topic(plan, frames)
        findings += found
        summary |= numbers
    return Review(title=plan.title, summary=summary, findings=sort_findings(findings))
