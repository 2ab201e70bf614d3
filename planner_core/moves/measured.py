"""A shot measured: its frames, its review, and what a person would say of picture and move."""

from __future__ import annotations

from typing import Any

import attrs
from attrs import frozen

from planner_core.frames import FrameTable, compute_frames
from planner_core.moves.score import OF_PICTURE, OF_RIG, moving_axes, reveal_works, turned_percent
from planner_core.picture import composition, parallax
from planner_core.picture.parallax import MISSING_PERCENT
from planner_core.picture.speed import frame_widths_a_second, speed_word
from planner_core.place.blocking import block_text
from planner_core.plan.model import Plan
from planner_core.review.assess import assess
from planner_core.review.findings import Finding, Review
from planner_core.words.figures import percent


@frozen(kw_only=True)
class Measures:
    """A move in numbers, rounded as they are told; frames count from 1. reveal_works is None where nothing is
    to be revealed.
    """

    weakest_frame: int
    weakest_score: float
    weakest_part: str
    separation_percent: float
    pan_percent: float
    tilt_percent: float
    fastest_frame_widths_s: float
    speed: str
    reveal_works: bool | None
    moving_axes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return attrs.asdict(self)


class Measured:
    """A candidate's frames, measured and reviewed."""

    def __init__(self, plan: Plan, frames: FrameTable | None = None, report: Review | None = None) -> None:
        self.plan = plan
        frames = self.frames = frames or compute_frames(plan)
        self.report = report or assess(plan, frames)
        self.findings = self.report.findings
        seen = frames.view.visibility
        self.parallax = parallax.parallax(plan, seen)
        self.reading = composition.read(plan, seen, travels=parallax.slides(plan))
        self.turned_percent = turned_percent(seen)
        self.axes = moving_axes(plan)
        self.speeds = {
            role: float(frame_widths_a_second(plan, speed.worst_px))
            for role, speed in frames.view.motion.speeds.items()
            if speed.seen
        }
        self.fastest = max(self.speeds.values(), default=0.0)
        judged = composition.judged(plan, self.reading.at)
        self.weakest = composition.weakest_frame(self.reading, judged)
        self.reveals = reveal_works(plan, self.reading)

    def codes(self, level: str, starts: tuple[str, ...] = OF_PICTURE + OF_RIG) -> set[str]:
        return {f.code for f in self.findings if f.level == level and f.code.startswith(starts)}

    def worst(self, codes: set[str]) -> Finding | None:
        return next((finding for finding in self.findings if finding.code in codes), None)

    def measures(self) -> Measures:
        return Measures(
            weakest_frame=self.weakest + 1,
            weakest_score=round(float(self.reading.score[self.weakest]), 3),
            weakest_part=composition.part_text(self.plan, self.reading, self.weakest),
            separation_percent=round(self.parallax.separation_percent, 2),
            pan_percent=round(self.turned_percent[0], 2),
            tilt_percent=round(self.turned_percent[1], 2),
            fastest_frame_widths_s=round(self.fastest, 4),
            speed=speed_word(self.fastest),
            reveal_works=self.reveals,
            moving_axes=tuple(self.axes),
        )


def reason_text(measured: Measured, stops: set[str], warns: set[str]) -> str:
    """Why a move stands where it does, in a sentence."""
    fault = measured.worst(stops)
    if fault is not None:
        return fault.message
    said = [_picture_text(measured), _move_text(measured)]
    if speed_word(measured.fastest) == "too fast":
        said.append(f"but it is too fast at {measured.fastest:.2f} frame widths a second")
    worry = measured.worst(warns - {"foreground-missing", "background-static"})
    text = ", ".join(part for part in said if part)
    text = text[0].upper() + text[1:] + "."
    return f"{text} {worry.message}" if worry is not None else text


def _picture_text(measured: Measured) -> str:
    score = measured.reading.score[measured.weakest] * 100.0
    name = composition.subject_name(measured.plan)
    if measured.reveals:
        return f"reveals {name} in time and keeps it to the end (weakest frame after that {score:.0f} of 100)"
    if score >= 80.0:
        what = f"composes {name}" if measured.reading.subject else "every picture stands"
        return f"{what} from first to last frame (weakest {score:.0f} of 100)"
    part = composition.part_text(measured.plan, measured.reading, measured.weakest)
    return f"weakest at frame {measured.weakest + 1} ({score:.0f} of 100): {part}"


def _move_text(measured: Measured) -> str:
    moved, axes = measured.parallax, measured.axes
    if not axes:
        return "and nothing moves but the light"
    if "slide" in axes:
        apart = moved.separation_percent
        if apart < MISSING_PERCENT:
            return (
                f"but the slide hardly shows: near and far move apart by {apart:.1f} % of the frame's width"
            )
        near = moved.near
        name = (
            block_text(measured.plan, near.block) if near is not None and near.block >= 0 else "what is near"
        )
        where = f", {near.distance_m:.1f} m from the camera," if near is not None else ""
        return f"and {name}{where} moves {apart:.0f} % of the frame's width against the far distance"
    turned = percent(max(measured.turned_percent) / 100.0)
    return f"and turns the view by {turned} of the frame's width, without parallax"
