"""The plan assessed: the findings of every topic, with proposals that haven't been tried."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from planner_core.frames import FrameTable
from planner_core.plan.model import Plan
from planner_core.review import light as review_light
from planner_core.review import picture as review_picture
from planner_core.review import rig as review_rig
from planner_core.review.care import review_care
from planner_core.review.findings import Finding, Review, sort_findings
from planner_core.review.photos import photo_findings
from planner_core.review.summary import PictureSummary, Summary
from planner_core.review.tide import review_tide
from planner_core.review.words import care as _care_words  # noqa: F401
from planner_core.review.words import edges as _edges_words  # noqa: F401  (registers its sentences)
from planner_core.review.words import lens as _lens_words  # noqa: F401
from planner_core.review.words import light as _light_words  # noqa: F401
from planner_core.review.words import mains as _mains_words  # noqa: F401
from planner_core.review.words import moon as _moon_words  # noqa: F401
from planner_core.review.words import moving as _moving_words  # noqa: F401
from planner_core.review.words import photos as _photo_words  # noqa: F401
from planner_core.review.words import picture as _picture_words  # noqa: F401
from planner_core.review.words import rig as _rig_words  # noqa: F401
from planner_core.review.words import sun as _sun_words  # noqa: F401
from planner_core.review.words import support as _support_words  # noqa: F401
from planner_core.review.words import tide as _tide_words  # noqa: F401
from planner_core.review.words import tones as _tones_words  # noqa: F401


def assess(plan: Plan, frames: FrameTable) -> Review:
    """What a careful colleague would say about the plan, before trying what would help."""
    return finished(Assessor().assessing(plan, frames))


def finished(steps: Iterator[Review | None]) -> Review:
    """What comes at the end of an iterator of steps."""
    *_, report = steps
    assert report is not None
    return report


class Assessor:
    """Looks over one plan after another, and the picture only where it isn't one that was seen before."""

    def __init__(self) -> None:
        self._pictures: list[tuple[tuple[Any, ...], tuple[list[Finding], PictureSummary]]] = []

    def assessing(self, plan: Plan, frames: FrameTable) -> Iterator[Review | None]:
        """The review, after a None for each of its topics."""
        light_findings, light = review_light.review_topic(plan, frames)
        yield None
        rig_findings, rig = review_rig.review_topic(plan, frames)
        yield None
        picture_findings, picture = self._picture(plan, frames)
        yield None
        safety_findings = [*review_tide(plan, frames), *review_care(plan, frames)]
        yield None
        yield Review(
            title=plan.title,
            summary=Summary(light=light, rig=rig, picture=picture),
            findings=sort_findings(
                [*light_findings, *rig_findings, *picture_findings, *safety_findings, *photo_findings(plan)]
            ),
        )

    def _picture(self, plan: Plan, frames: FrameTable) -> tuple[list[Finding], PictureSummary]:
        key = _picture_of(plan)
        for known, result in self._pictures:
            if known == key:
                return result
        self._pictures.append((key, review_picture.review_topic(plan, frames)))
        return self._pictures[-1][1]


def _picture_of(plan: Plan) -> tuple[Any, ...]:
    """All of a plan that its pictures are made of: with a tide, also when they are taken."""
    return (
        (plan.site, plan.shoot) if any(block.tidal for block in plan.blocks) else None,
        plan.site.scene_north_deg,
        plan.shoot.frames,
        plan.camera,
        plan.clip,
        plan.rig,
        plan.move,
        plan.composition,
        plan.blocks,
    )
