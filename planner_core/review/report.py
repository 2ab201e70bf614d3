"""The review: every topic's findings gathered, with a summary of the plan in numbers."""

from __future__ import annotations

from collections.abc import Iterator

from planner_core.frames import FrameTable
from planner_core.plan.model import Plan
from planner_core.review import light as review_light
from planner_core.review import picture as review_picture
from planner_core.review import rig as review_rig
from planner_core.review.findings import Review, sort_findings
from planner_core.review.summary import Summary
from planner_core.review.words import lens as _lens_words  # noqa: F401  (registers its sentences)
from planner_core.review.words import light as _light_words  # noqa: F401
from planner_core.review.words import picture as _picture_words  # noqa: F401
from planner_core.review.words import rig as _rig_words  # noqa: F401
from planner_core.review.words import sun as _sun_words  # noqa: F401
from planner_core.review.words import tones as _tones_words  # noqa: F401


def review(plan: Plan, frames: FrameTable) -> Review:
    """What a careful colleague would say about the plan."""
    *_, whole = review_in_parts(plan, frames)
    assert whole is not None
    return whole


def review_in_parts(plan: Plan, frames: FrameTable) -> Iterator[Review | None]:
    """The same with a pause (None) after each topic, for whoever has a window to keep alive meanwhile."""
    light_findings, light = review_light.review_topic(plan, frames)
    yield None
    rig_findings, rig = review_rig.review_topic(plan, frames)
    yield None
    picture_findings, picture = review_picture.review_topic(plan, frames)
    yield None
    yield Review(
        title=plan.title,
        summary=Summary(light=light, rig=rig, picture=picture),
        findings=sort_findings([*light_findings, *rig_findings, *picture_findings]),
    )
