"""Findings about the picture: is the subject there, whole and free; does every frame compose; does the slide
show.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.maths.runs import spans
from planner_core.picture import composition, parallax
from planner_core.picture.block_visibility import BlockVisibility
from planner_core.picture.composition import (
    INSIDE_LOST,
    INSIDE_WHOLE,
    SEEN_BARELY,
    SEEN_ENOUGH,
    Reading,
)
from planner_core.picture.parallax import MISSING_PERCENT, STILL_PERCENT, Layer, Parallax
from planner_core.place import blocking
from planner_core.place.blocking import block_label
from planner_core.plan.model import Plan
from planner_core.review import remedies
from planner_core.review.edges import review_edges
from planner_core.review.findings import Finding, Quantity, Remedy, facts
from planner_core.review.summary import PictureSummary

Mask = NDArray[np.bool_]

NOTICED = 0.1  # of the subject hidden: worth saying
LONG_S = 0.25  # of clip: hidden for longer is a stretch, not a passing post
MERGING_SHARE = 0.15  # of the judged frames: outlines that run together for longer are worth saying
MOST_SPANS = 3  # more stretches than this are told as one


def review_topic(plan: Plan, frames: FrameTable) -> tuple[list[Finding], PictureSummary]:
    """Findings and summary numbers of this topic."""
    view = frames.view.visibility
    moved = parallax.parallax(plan, view)
    slides = parallax.slides(plan)
    reading = composition.read(plan, view, travels=slides)
    findings = _about_the_plan(plan) + _camera_inside(plan, view)
    if reading.subject:
        findings += _Subject(plan, view, reading).findings()
    if plan.blocks:
        findings += _horizon(plan, reading)
        findings += _foreground(plan, moved, _turned_percent(view)) if slides else []
        findings += review_edges(plan, frames)
    return findings, _summary(plan, reading, moved)


def _summary(plan: Plan, reading: Reading, moved: Parallax) -> PictureSummary:
    frames = composition.judged(plan, reading.at)
    weakest = composition.weakest_frame(reading, frames)

    def shift_percent(layer: Layer | None) -> float | None:
        return layer.shift_percent if layer else None

    return PictureSummary(
        weakest_frame=weakest + 1 if plan.blocks else None,
        weakest_score=round(float(reading.score[weakest]), 3) if plan.blocks else None,
        weakest_part=composition.part_text(plan, reading, weakest) if plan.blocks else None,
        subject_visible_share_min=float(reading.shown[frames].min()) if reading.subject else None,
        horizon_height_share=float(reading.horizon[weakest]),
        camera_travel_m=moved.travel_m,
        separation_percent=moved.separation_percent,
        near_shift_percent=shift_percent(moved.near),
        middle_shift_percent=shift_percent(moved.middle),
        far_shift_percent=shift_percent(moved.far),
        still_beyond_m=moved.still_beyond_m if reading.travels else None,
    )


# ---------------------------------------------------------------- the plan itself


def _about_the_plan(plan: Plan) -> list[Finding]:
    """What is missing for the picture to be judged."""
    if not plan.blocks:
        return [
            Finding(
                code="no-blocks",
                level="note",
            )
        ]
    wanted = plan.composition.subject if plan.composition else ""
    names = [block.name for block in plan.blocks]
    findings: list[Finding] = []
    if wanted and wanted not in names:
        instead = blocking.subject_indices(plan)
        near = difflib.get_close_matches(wanted, names, n=1) or [names[i] for i in instead if names[i]]
        findings.append(
            Finding(
                code="subject-unknown",
                level="warn",
                facts=facts(wanted=wanted, near=near[0] if near else None, by_role=bool(instead)),
                remedies=(Remedy(changes={"composition.subject": near[0]}),) if near else (),
            )
        )
    elif not blocking.subject_indices(plan):
        findings.append(
            Finding(
                code="no-subject",
                level="note",
            )
        )
    return findings


def _camera_inside(plan: Plan, view: BlockVisibility) -> list[Finding]:
    """A camera inside a solid sees nothing."""
    findings = []
    for index in np.flatnonzero((view.distance_m == 0.0).any(axis=0)):
        within = np.zeros(len(view), dtype=bool)
        for piece in blocking.pieces(plan, int(index), view.boxes.ground_m):
            along_m = view.camera_m @ piece.normals.T
            within |= ((along_m > piece.low_m) & (along_m < piece.high_m)).all(axis=1)
        if within.any():
            name, frames = block_label(plan, int(index)), _whole(within)
            findings.append(
                Finding(
                    code="camera-inside",
                    level="stop",
                    frames=frames,
                    blocks=(name,),
                )
            )
    return findings


# ---------------------------------------------------------------- the subject


class _Subject:
    """Findings about the subject: lost, cut, hidden, late; merging; and the weakest frame."""

    def __init__(self, plan: Plan, view: BlockVisibility, reading: Reading) -> None:
        self.plan, self.view, self.reading = plan, view, reading
        self.judged = composition.judged(plan, reading.at)
        self.reveal = plan.composition is not None and plan.composition.style == "reveal"
        self.name = composition.subject_label(plan)
        self.labels = tuple(block_label(plan, i) for i in blocking.subject_indices(plan))
        self.big = reading.oversize.any(axis=1)
        self.lost = np.where(self.big, reading.inside <= 0.0, reading.inside < INSIDE_LOST)
        self.cut = ~self.lost & ~self.big & (reading.inside < INSIDE_WHOLE)
        emerging = ~self.judged if self.reveal else np.zeros(len(view), dtype=bool)
        self.hidden = ~self.lost & (reading.visible < np.where(emerging, SEEN_ENOUGH, 1.0 - NOTICED))

    def findings(self) -> list[Finding]:
        first = self._first_shown()
        findings: list[Finding] = []
        watched = self.judged
        if self.reveal:
            findings += self._reveal(first)
            watched = np.zeros(len(self.view), dtype=bool)
            watched[len(self.view) if first is None else first :] = True
        findings += self._lost(watched)
        findings += self._cut(watched & self.judged)
        findings += self._hidden(watched)
        if not any(finding.level == "stop" for finding in findings):
            findings += self._too_big() + self._weak(findings)
        return findings + self._merging()

    def _first_shown(self) -> int | None:
        shown = np.flatnonzero(self.reading.shown >= SEEN_ENOUGH)
        return int(shown[0]) if len(shown) else None

    # ------------------------------------------------------------ one kind of finding each

    def _finding(
        self,
        code: str,
        level: str,
        frames: tuple[int, int],
        amount: tuple[float, float, str],
        said: tuple[Quantity, ...] = (),
        *,
        blocks: Sequence[str] = (),
        fit: str = "compose",
    ) -> Finding:
        """A finding about the subject on some frames; amount is its value, limit and unit."""
        value, limit, unit = amount
        return Finding(
            code=code,
            level=level,
            frames=frames,
            facts=facts(subject=self.name, rail=self.plan.rig.slide is not None) + said,
            value=value,
            limit=limit,
            unit=unit,
            blocks=(*self.labels, *blocks),
            fit=fit,
        )

    def _reveal(self, first: int | None) -> list[Finding]:
        assert self.plan.composition is not None
        by = self.plan.composition.reveal_by
        count, due = len(self.view), int(self.judged.argmax())
        shown, findings = self.reading.shown, []
        if first is None or first > due:
            late = (due + 1, count if first is None else first)
            first_at = 1.0 if first is None else float(self.reading.at[first])
            best = int(shown.argmax())
            said = facts(
                first_frame=None if first is None else first + 1,
                due_frame=due + 1,
                most_shown=float(shown[best]),
                best_frame=best + 1,
                behind=(self._names(np.arange(count) >= due), ""),
            )
            amount = (first_at, by, "of the move")
            findings.append(self._finding("reveal-late", "stop", late, amount, said))
        if shown[0] >= SEEN_BARELY:
            amount = (float(shown[0]), SEEN_BARELY, "of the subject")
            findings.append(self._finding("reveal-early", "warn", (1, 1), amount))
        return findings

    def _lost(self, watched: Mask) -> list[Finding]:
        findings = []
        for frames in _stretches(self.lost & watched):
            first, last = frames[0] - 1, frames[1] - 1
            edge = self._edge(first, last)
            outside = 1.0 - float(self.reading.inside[first : last + 1].min())
            said = facts(edge=edge, leaves=bool(first > 0 and watched[first - 1]))
            amount = (outside, 1.0 - INSIDE_LOST, "of the subject outside")
            findings.append(self._finding("subject-lost", "stop", frames, amount, said))
        return findings

    def _cut(self, watched: Mask) -> list[Finding]:
        findings = []
        for frames in _stretches(self.cut & watched):
            first, last = frames[0] - 1, frames[1] - 1
            worst = first + int(self.reading.inside[first : last + 1].argmin())
            outside = 1.0 - float(self.reading.inside[worst])
            said = facts(edge=self._edge(worst, worst) or "frame's")
            amount = (outside, 1.0 - INSIDE_WHOLE, "of the subject outside")
            findings.append(self._finding("subject-cut", "warn", frames, amount, said))
        return findings

    def _hidden(self, watched: Mask) -> list[Finding]:
        findings = []
        for frames in _stretches(self.hidden & watched):
            stretch = np.zeros(len(self.view), dtype=bool)
            stretch[frames[0] - 1 : frames[1]] = True
            visible = np.where(stretch & self.hidden & watched, self.reading.visible, np.inf)
            least = float(visible.min())
            gone = int(np.sum(visible < SEEN_BARELY))
            again = self.reveal and bool(np.sum(visible < SEEN_ENOUGH))
            if again or gone > LONG_S * self.plan.clip.fps:
                level = "stop"
            else:
                level = "warn" if least < SEEN_ENOUGH else "note"
            said = facts(by=(self._names(stretch), ""), barely=bool(least < SEEN_BARELY))
            amount = (1.0 - least, 1.0 - SEEN_ENOUGH, "of the subject hidden")
            others = [block_label(self.plan, i) for i in composition.hiding(self.reading, stretch, 2)]
            fit = "compose" if level != "note" else ""
            findings.append(
                self._finding("subject-hidden", level, frames, amount, said, blocks=others, fit=fit)
            )
        return findings

    def _names(self, frames: Mask) -> tuple[str, ...]:
        """The blocks that hide most of the subject on some frames, by their labels."""
        return tuple(block_label(self.plan, i) for i in composition.hiding(self.reading, frames, 2))

    def _edge(self, first: int, last: int) -> str:
        """The edge over which most of the subject lies on some frames; nothing where it is behind the
        camera.
        """
        rect = self.reading.rect_px[first : last + 1]
        rect = rect[np.isfinite(rect).all(axis=1)]
        if not len(rect):
            return ""
        left, top, right, bottom = rect[0]
        width, height = self.view.width_px, self.view.height_px
        over = {
            "left": -left / (right - left),
            "right": (right - width) / (right - left),
            "top": -top / (bottom - top),
            "lower": (bottom - height) / (bottom - top),
        }
        return max(over, key=lambda edge: over[edge])

    def _too_big(self) -> list[Finding]:
        large = self.big & self.judged
        if not large.any() or any(self.plan.blocks[i].shape == "ridge" for i in self.reading.subject):
            return []
        left, top, right, bottom = self.reading.rect_px[large].T
        size = float(np.max([(right - left) / self.view.width_px, (bottom - top) / self.view.height_px]))
        return [self._finding("subject-large", "note", _whole(large), (size, 1.0, "frames"), fit="")]

    def _weak(self, before: list[Finding]) -> list[Finding]:
        """The weakest stretch, where no other finding has said why."""
        told = np.zeros(len(self.view), dtype=bool)
        for finding in before:
            if finding.frames and finding.level != "note":
                told[finding.frames[0] - 1 : finding.frames[1]] = True
        weak = self.judged & (self.reading.score < composition.WEAK) & ~told
        if not weak.any():
            return []
        worst = composition.weakest_frame(self.reading, weak)
        frames = next(span for span in spans(weak) if span[0] <= worst + 1 <= span[1])
        score = float(self.reading.score[worst])
        said = facts(worst_frame=worst + 1, part=composition.weakest_part(self.plan, self.reading, worst))
        return [self._finding("weak-frame", "warn", frames, (score, composition.WEAK, "score"), said)]

    def _merging(self) -> list[Finding]:
        findings = []
        apart, least = self.reading.parts["apart"], MERGING_SHARE * np.sum(self.judged)
        for other in np.unique(self.reading.merging[self.judged]):
            mask = self.judged & (self.reading.merging == other) & (apart < 0.7)
            if other < 0 or np.sum(mask) < least:
                continue
            name = block_label(self.plan, int(other))
            amount = (float(np.sum(mask)), float(np.ceil(least)), "frames")
            findings.append(
                self._finding(
                    "subject-merging", "warn", _whole(mask), amount, facts(other=name), blocks=[name], fit=""
                )
            )
        return findings


# ---------------------------------------------------------------- horizon and foreground


def _horizon(plan: Plan, reading: Reading) -> list[Finding]:
    """A horizon through the middle of most of the clip."""
    frames = composition.judged(plan, reading.at)
    low, high = composition.HORIZON_MIDDLE
    middle = frames & (reading.horizon > low) & (reading.horizon < high)
    if np.sum(middle) < 0.8 * np.sum(frames):
        return []
    height = float(np.median(reading.horizon[middle]))
    tilt = composition.view_deg(plan)[1] * (height - 0.38)
    return [
        Finding(
            code="horizon-middle",
            level="note",
            frames=_whole(middle),
            value=height,
            limit=high,
            unit="of the frame's height",
            facts=facts(tilt=(float(tilt), "°")),
            remedies=(
                *remedies.shifted(plan, "tilt_deg", float(round(tilt))),
                *remedies.shifted(plan, "tilt_deg", -float(round(tilt))),
            )
            if abs(tilt) >= 0.5
            else (),
        )
    ]


def _turned_percent(view: BlockVisibility) -> float:
    """How far turning the lens moves the far distance over the clip, in percent of the frame's width."""
    ahead = -view.camera_rotation[:, :, 2]
    turn = np.arccos(np.clip(ahead @ ahead[0], -1.0, 1.0)).max()
    return float(turn) * view.focal_px / view.width_px * 100.0


def _foreground(plan: Plan, moved: Parallax, turned_percent: float) -> list[Finding]:
    """Whether a slide shows: something near against something far."""
    missing = moved.separation_percent < MISSING_PERCENT
    findings = []
    if missing:
        near = moved.near if moved.near is not None and moved.near.block >= 0 else None
        findings.append(
            Finding(
                code="foreground-missing",
                level="warn",
                facts=facts(
                    travel=(moved.travel_m, "m"),
                    nearest=block_label(plan, near.block) if near else None,
                    nearest_distance=(near.distance_m if near else None, "m"),
                    shows_within=(moved.plain_within_m, "m"),
                ),
                value=moved.separation_percent,
                limit=MISSING_PERCENT,
                unit="% of the frame's width",
                blocks=(block_label(plan, moved.near.block),) if moved.near and moved.near.block >= 0 else (),
            )
        )
    far = moved.far
    if far is not None and far.shift_percent < STILL_PERCENT:
        findings.append(_background(plan, moved, far, turned_percent, missing))
    return findings


def _background(
    plan: Plan, moved: Parallax, far: parallax.Layer, turned_percent: float, missing: bool
) -> Finding:
    turns = turned_percent >= MISSING_PERCENT
    return Finding(
        code="background-static",
        level="warn" if missing and not turns else "note",
        facts=facts(
            block=block_label(plan, far.block) if far.block >= 0 else None,
            still_beyond=(moved.still_beyond_m, "m"),
            turns=turns,
            foreground=not missing,
        ),
        value=far.shift_percent,
        limit=STILL_PERCENT,
        unit="% of the frame's width",
        blocks=(block_label(plan, far.block),) if far.block >= 0 else (),
    )


# ---------------------------------------------------------------- small things


def _whole(mask: Mask) -> tuple[int, int]:
    places = np.flatnonzero(mask)
    return int(places[0]) + 1, int(places[-1]) + 1


def _stretches(mask: Mask) -> list[tuple[int, int]]:
    """Runs of frames; many of them as one."""
    runs = spans(mask)
    return runs if len(runs) <= MOST_SPANS else [_whole(mask)]
