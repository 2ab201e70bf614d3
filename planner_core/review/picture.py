"""Findings about the picture: is the subject there, whole and free; does every frame compose; does the slide
show.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.maths.runs import spans
from planner_core.picture import block_visibility, composition, parallax, pose_repair
from planner_core.picture.block_visibility import BlockVisibility
from planner_core.picture.composition import (
    INSIDE_LOST,
    INSIDE_WHOLE,
    SEEN_BARELY,
    SEEN_ENOUGH,
    Reading,
    percent,
)
from planner_core.picture.parallax import GOOD_PERCENT, MISSING_PERCENT, PRACTICE_M, STILL_PERCENT, Parallax
from planner_core.place import blocking
from planner_core.place.blocking import block_label, block_text
from planner_core.plan.model import Plan
from planner_core.review.findings import Finding
from planner_core.words.figures import figure, frames_text

Mask = NDArray[np.bool_]

NOTICED = 0.1  # of the subject hidden: worth saying
LONG_S = 0.25  # of clip: hidden for longer is a stretch, not a passing post
MERGING_SHARE = 0.15  # of the judged frames: outlines that run together for longer are worth saying
MOST_SPANS = 3  # more stretches than this are told as one
QUICK_TRIES = 20  # changes of a pose that a review tries; the fit tries more
QUICK_WORK = 600_000  # that a review may spend on it, in rays tried against a piece of a block


def review_topic(plan: Plan, frames: FrameTable) -> tuple[list[Finding], dict[str, Any]]:
    """Findings and summary numbers of this topic."""
    seen = block_visibility.of(frames)
    moved = parallax.parallax(plan, seen)
    slides = parallax.slides(plan)
    reading = composition.read(plan, seen, travels=slides)
    findings = _about_the_plan(plan) + _camera_inside(plan, seen)
    if reading.subject:
        findings += _Subject(plan, seen, reading).findings()
    if plan.blocks:
        findings += _horizon(plan, reading)
        findings += _foreground(plan, moved, _turned_percent(seen)) if slides else []
    return findings, _summary(plan, reading, moved)


def _summary(plan: Plan, reading: Reading, moved: Parallax) -> dict[str, Any]:
    frames = composition.judged(plan, reading.at)
    weakest = composition.weakest_frame(reading, frames)
    layers = {"near": moved.near, "middle": moved.middle, "far": moved.far}
    return {
        "weakest_frame": weakest + 1 if plan.blocks else None,
        "weakest_score": round(float(reading.score[weakest]), 3) if plan.blocks else None,
        "weakest_part": composition.part_text(plan, reading, weakest) if plan.blocks else None,
        "subject_visible_share_min": float(reading.shown[frames].min()) if reading.subject else None,
        "horizon_height_share": float(reading.horizon[weakest]),
        "camera_travel_m": moved.travel_m,
        "separation_percent": moved.separation_percent,
        **{f"{name}_shift_percent": layer.shift_percent if layer else None for name, layer in layers.items()},
        "still_beyond_m": moved.still_beyond_m if reading.travels else None,
    }


# ---------------------------------------------------------------- the plan itself


def _about_the_plan(plan: Plan) -> list[Finding]:
    """What is missing for the picture to be judged."""
    if not plan.blocks:
        return [
            Finding(
                code="no-blocks",
                level="note",
                message="The place isn't blocked out, so nothing can be said about the picture.",
                fix="Add blocks for what the picture is about, what is near and what stands behind.",
            )
        ]
    wanted = plan.composition.subject if plan.composition else ""
    names = [block.name for block in plan.blocks]
    found: list[Finding] = []
    if wanted and wanted not in names:
        instead = blocking.subject_indices(plan)
        near = difflib.get_close_matches(wanted, names, n=1) or [names[i] for i in instead if names[i]]
        taken = " The blocks with the role subject are taken instead." if instead else ""
        found.append(
            Finding(
                code="subject-unknown",
                level="warn",
                message=f"No block is called “{wanted}”, the subject.{taken}",
                fix=f"Did you mean “{near[0]}”?" if near else "Name one of the blocks.",
            )
        )
    elif not blocking.subject_indices(plan):
        found.append(
            Finding(
                code="no-subject",
                level="note",
                message="The plan doesn't say what the picture is about; only horizon and foreground are "
                "judged.",
                fix="Name a block as composition.subject, or give one the role subject.",
            )
        )
    return found


def _camera_inside(plan: Plan, seen: BlockVisibility) -> list[Finding]:
    """A camera inside a solid sees nothing."""
    found = []
    for index in np.flatnonzero((seen.distance_m == 0.0).any(axis=0)):
        within = np.zeros(len(seen), dtype=bool)
        for piece in blocking.pieces(plan, int(index), seen.boxes.ground_m):
            place = seen.camera_m @ piece.normals.T
            within |= ((place > piece.low_m) & (place < piece.high_m)).all(axis=1)
        if within.any():
            name, frames = block_label(plan, int(index)), _whole(within)
            found.append(
                Finding(
                    code="camera-inside",
                    level="stop",
                    message=f"{frames_text(frames)}: the camera is inside “{name}”.",
                    fix="Move the rail, or correct the block.",
                    frames=frames,
                    blocks=(name,),
                )
            )
    return found


# ---------------------------------------------------------------- the subject


class _Subject:
    """Findings about the subject: lost, cut, hidden, late; merging; and the weakest frame."""

    def __init__(self, plan: Plan, seen: BlockVisibility, reading: Reading) -> None:
        self.plan, self.seen, self.reading = plan, seen, reading
        self.judged = composition.judged(plan, reading.at)
        self.reveal = plan.composition is not None and plan.composition.style == "reveal"
        self.name = composition.subject_name(plan)
        self.labels = tuple(block_label(plan, i) for i in blocking.subject_indices(plan))
        self.big = reading.oversize.any(axis=1)
        self.lost = np.where(self.big, reading.inside <= 0.0, reading.inside < INSIDE_LOST)
        self.cut = ~self.lost & ~self.big & (reading.inside < INSIDE_WHOLE)
        emerging = ~self.judged if self.reveal else np.zeros(len(seen), dtype=bool)
        self.hidden = ~self.lost & (reading.visible < np.where(emerging, SEEN_ENOUGH, 1.0 - NOTICED))
        self._mending: tuple[pose_repair.Change | None] | None = None

    def findings(self) -> list[Finding]:
        first = self._first_shown()
        found: list[Finding] = []
        watched = self.judged
        if self.reveal:
            found += self._reveal(first)
            watched = np.zeros(len(self.seen), dtype=bool)
            watched[len(self.seen) if first is None else first :] = True
        found += self._lost(watched)
        found += self._cut(watched & self.judged)
        found += self._hidden(watched)
        if not any(finding.level == "stop" for finding in found):
            found += self._too_big() + self._weak(found)
        return found + self._merging()

    def _first_shown(self) -> int | None:
        shown = np.flatnonzero(self.reading.shown >= SEEN_ENOUGH)
        return int(shown[0]) if len(shown) else None

    # ------------------------------------------------------------ mending

    def _fix(self, otherwise: str, blocks: tuple[int, ...] = ()) -> str:
        """What to change, found by trying, once for all findings; a general word where nothing small
        helps.
        """
        if self._mending is None:
            culprits = sorted({*blocks, *self._hiding(np.ones(len(self.seen), dtype=bool), 4)})
            self._mending = (
                pose_repair.smallest_change(
                    self.plan,
                    self.reading,
                    most_tries=QUICK_TRIES,
                    most_work=QUICK_WORK,
                    only=culprits,
                ),
            )
        change = self._mending[0]
        return change.text(self.plan) if change is not None else otherwise

    def _hiding(self, frames: Mask, most: int) -> list[int]:
        """The blocks that hide most of the subject on some frames, the worst first."""
        looked_at = self.reading.seen.sampled
        rows = frames[looked_at] if len(looked_at) else np.empty(0, dtype=bool)
        if not rows.any():
            return []
        worst = np.nan_to_num(self.reading.seen.hidden_by[rows]).max(axis=0)
        order = np.argsort(-worst, kind="stable")[:most]
        return [int(i) for i in order if worst[i] > 0.05 and worst[i] > 0.25 * worst[order[0]]]

    # ------------------------------------------------------------ one kind of finding each

    def _finding(
        self,
        code: str,
        level: str,
        frames: tuple[int, int],
        message: str,
        fix: str,
        amount: tuple[float, float, str],
        blocks: Sequence[str] = (),
        fit: str = "compose",
    ) -> Finding:
        """A finding about the subject on some frames; amount is its value, limit and unit."""
        value, limit, unit = amount
        return Finding(
            code=code,
            level=level,
            message=f"{frames_text(frames)}: {message}",
            fix=fix,
            frames=frames,
            value=value,
            limit=limit,
            unit=unit,
            blocks=(*self.labels, *blocks),
            fit=fit,
        )

    def _reveal(self, first: int | None) -> list[Finding]:
        assert self.plan.composition is not None
        by = self.plan.composition.reveal_by
        count, due = len(self.seen), int(self.judged.argmax())
        shown, found = self.reading.shown, []
        if first is None or first > due:
            late = (due + 1, count if first is None else first)
            if first is None:
                best = int(shown.argmax())
                message = (
                    f"{self.name} is never revealed; at most {percent(shown[best])} of it shows (frame "
                    f"{best + 1})."
                )
            else:
                place_text = percent(self.reading.at[first])
                message = (
                    f"{self.name} shows only from frame {first + 1} on, {place_text} into the move; the "
                    f"plan asks for {percent(by)}, frame {due + 1}."
                )
            behind = self._names(np.arange(count) >= due)
            message += f" It is behind {behind}." if behind else ""
            place = 1.0 if first is None else float(self.reading.at[first])
            fix = self._fix("Start the move farther on, or let the plan reveal it later.")
            found.append(self._finding("reveal-late", "stop", late, message, fix, (place, by, "of the move")))
        if shown[0] >= SEEN_BARELY:
            message = (
                f"{percent(shown[0])} of {self.name} shows from the start, so there is nothing to reveal."
            )
            fix = 'Start where something hides it or it lies outside the frame, or set the style to "hold".'
            amount = (float(shown[0]), SEEN_BARELY, "of the subject")
            found.append(self._finding("reveal-early", "warn", (1, 1), message, fix, amount))
        return found

    def _lost(self, watched: Mask) -> list[Finding]:
        found = []
        for frames in _stretches(self.lost & watched):
            first, last = frames[0] - 1, frames[1] - 1
            edge = self._edge(first, last)
            if first > 0 and watched[first - 1]:
                gone = "leaves the frame" + (f" over the {edge} edge" if edge else "")
            else:
                gone = "is outside the frame" + (
                    f", beyond its {edge} edge" if edge else ", behind the camera"
                )
            outside = 1.0 - float(self.reading.inside[first : last + 1].min())
            message = f"{self.name} {gone} ({percent(outside)} outside)."
            fix = self._fix("Turn the lens with it, or shorten the move; fit --compose tries by how much.")
            amount = (outside, 1.0 - INSIDE_LOST, "of the subject outside")
            found.append(self._finding("subject-lost", "stop", frames, message, fix, amount))
        return found

    def _cut(self, watched: Mask) -> list[Finding]:
        found = []
        for frames in _stretches(self.cut & watched):
            first, last = frames[0] - 1, frames[1] - 1
            worst = first + int(self.reading.inside[first : last + 1].argmin())
            outside = 1.0 - float(self.reading.inside[worst])
            edge = self._edge(worst, worst) or "frame's"
            message = f"{self.name} is cut by the {edge} edge ({percent(outside)} outside)."
            fix = self._fix(
                "Turn the lens towards it (fit --compose tries by how much), or use a shorter lens."
            )
            amount = (outside, 1.0 - INSIDE_WHOLE, "of the subject outside")
            found.append(self._finding("subject-cut", "warn", frames, message, fix, amount))
        return found

    def _hidden(self, watched: Mask) -> list[Finding]:
        found = []
        for frames in _stretches(self.hidden & watched):
            stretch = np.zeros(len(self.seen), dtype=bool)
            stretch[frames[0] - 1 : frames[1]] = True
            visible = np.where(stretch & self.hidden & watched, self.reading.visible, np.inf)
            least = float(visible.min())
            gone = int(np.sum(visible < SEEN_BARELY))
            again = self.reveal and bool(np.sum(visible < SEEN_ENOUGH))
            if again or gone > LONG_S * self.plan.clip.fps:
                level = "stop"
            else:
                level = "warn" if least < SEEN_ENOUGH else "note"
            by = self._names(stretch)
            message = (
                f"{self.name} is {'hidden' if least < SEEN_BARELY else 'partly hidden'}"
                f"{' by ' + by if by else ''} ({percent(1.0 - least)} of it at most)."
            )
            fix = self._fix(self._elsewhere(by)) if level != "note" else ""
            amount = (1.0 - least, 1.0 - SEEN_ENOUGH, "of the subject hidden")
            others = [block_label(self.plan, i) for i in self._hiding(stretch, 2)]
            fit = "compose" if level != "note" else ""
            found.append(self._finding("subject-hidden", level, frames, message, fix, amount, others, fit))
        return found

    def _elsewhere(self, by: str) -> str:
        verb = "stand" if " and " in by else "stands"
        clear = f"until {by or 'what hides it'} {verb} clear of it"
        return f"Move the rail to the side {clear}; fit --compose tries by how much."

    def _names(self, frames: Mask) -> str:
        return " and ".join(block_text(self.plan, i) for i in self._hiding(frames, 2))

    def _edge(self, first: int, last: int) -> str:
        """The edge over which most of the subject lies on some frames; nothing where it is behind the
        camera.
        """
        rect = self.reading.rect_px[first : last + 1]
        rect = rect[np.isfinite(rect).all(axis=1)]
        if not len(rect):
            return ""
        left, top, right, bottom = rect[0]
        width, height = self.seen.width_px, self.seen.height_px
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
        size = float(np.max([(right - left) / self.seen.width_px, (bottom - top) / self.seen.height_px]))
        message = f"{self.name} is larger than the frame, up to {size:.1f} times, so its edges aren't judged."
        fix = "Go farther away or use a shorter lens if it was meant to be whole."
        return [
            self._finding("subject-large", "note", _whole(large), message, fix, (size, 1.0, "frames"), fit="")
        ]

    def _weak(self, before: list[Finding]) -> list[Finding]:
        """The weakest stretch, where no other finding has said why."""
        said = np.zeros(len(self.seen), dtype=bool)
        for finding in before:
            if finding.frames and finding.level != "note":
                said[finding.frames[0] - 1 : finding.frames[1]] = True
        weak = self.judged & (self.reading.score < composition.WEAK) & ~said
        if not weak.any():
            return []
        worst = composition.weakest_frame(self.reading, weak)
        frames = next(span for span in spans(weak) if span[0] <= worst + 1 <= span[1])
        score = float(self.reading.score[worst])
        message = (
            f"a weak picture, frame {worst + 1} the weakest ({score * 100:.0f} of 100): "
            f"{composition.part_text(self.plan, self.reading, worst)}."
        )
        fix = "Frame that part of the move anew, or keep it out of the move."
        return [self._finding("weak-frame", "warn", frames, message, fix, (score, composition.WEAK, "score"))]

    def _merging(self) -> list[Finding]:
        found = []
        apart, least = self.reading.parts["apart"], MERGING_SHARE * np.sum(self.judged)
        for other in np.unique(self.reading.merging[self.judged]):
            mask = self.judged & (self.reading.merging == other) & (apart < 0.7)
            if other < 0 or np.sum(mask) < least:
                continue
            name = block_label(self.plan, int(other))
            message = f"the outlines of {self.name} and “{name}” run together; they read as one thing."
            fix = "Move the rail a little to the side, so that they stand apart or clearly overlap."
            amount = (float(np.sum(mask)), float(np.ceil(least)), "frames")
            found.append(
                self._finding("subject-merging", "warn", _whole(mask), message, fix, amount, [name], fit="")
            )
        return found


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
            message=f"{frames_text(_whole(middle))}: the horizon runs through the middle of the frame "
            f"({percent(height)} of its height), so neither sky nor ground leads.",
            fix=f"Tilt about {abs(tilt):.0f}° up for the sky, or down for the ground."
            if abs(tilt) >= 0.5
            else "",
            frames=_whole(middle),
            value=height,
            limit=high,
            unit="of the frame's height",
        )
    ]


def _turned_percent(seen: BlockVisibility) -> float:
    """How far turning the lens moves the far distance over the clip, in percent of the frame's width."""
    ahead = -seen.camera_rotation[:, :, 2]
    turn = np.arccos(np.clip(ahead @ ahead[0], -1.0, 1.0)).max()
    return float(turn) * seen.focal_px / seen.width_px * 100.0


def _foreground(plan: Plan, moved: Parallax, turned_percent: float) -> list[Finding]:
    """Whether a slide shows: something near against something far."""
    missing = moved.separation_percent < MISSING_PERCENT
    found = []
    if missing:
        nearest = _nearest_text(plan, moved)
        found.append(
            Finding(
                code="foreground-missing",
                level="warn",
                message=f"The slide of {moved.travel_m:.2f} m hardly shows: near and far move apart by "
                f"{moved.separation_percent:.1f} % of the frame's width. {nearest}",
                fix=_where_to_put_it(moved),
                value=moved.separation_percent,
                limit=MISSING_PERCENT,
                unit="% of the frame's width",
                blocks=(block_label(plan, moved.near.block),) if moved.near and moved.near.block >= 0 else (),
            )
        )
    far = moved.far
    if far is not None and far.shift_percent < STILL_PERCENT:
        found.append(_background(plan, moved, far, turned_percent, missing))
    return found


def _background(
    plan: Plan, moved: Parallax, far: parallax.Layer, turned_percent: float, missing: bool
) -> Finding:
    name = block_text(plan, far.block) if far.block >= 0 else "the horizon"
    turns = turned_percent >= MISSING_PERCENT
    moves = figure(far.shift_percent, 2) if far.shift_percent >= 0.01 else "under 0.01"
    shift = f"{name} shifts by {moves} % of the frame's width over the whole clip"
    if turns:
        message = (
            f"Beyond {_metres(moved.still_beyond_m)} the slide adds nothing, only pan and tilt move the "
            f"picture: by the slide, {shift}."
        )
    else:
        message = (
            f"Everything beyond {_metres(moved.still_beyond_m)} looks still while the camera slides: {shift}."
        )
    fix = (
        "" if turns or not missing else "Let a pan or tilt move the picture, or put something near in front."
    )
    return Finding(
        code="background-static",
        level="warn" if missing and not turns else "note",
        message=message,
        fix=fix if missing else "That is as it should be with a foreground in front.",
        value=far.shift_percent,
        limit=STILL_PERCENT,
        unit="% of the frame's width",
        blocks=(block_label(plan, far.block),) if far.block >= 0 else (),
    )


def _nearest_text(plan: Plan, moved: Parallax) -> str:
    near = moved.near
    if near is None or near.block < 0:
        return "Nothing that is blocked out stands before the lens at the middle of the move."
    name = block_text(plan, near.block)
    return f"The nearest thing in the picture, {name}, is {_metres(near.distance_m)} away."


def _where_to_put_it(moved: Parallax) -> str:
    reach = moved.plain_within_m
    if reach < PRACTICE_M / 2.0:
        return (
            f"Even a thing {_metres(reach)} away would only shift by {GOOD_PERCENT:.0f} % of the width: "
            "slide farther, or leave the slide out."
        )
    near = (
        f"about {_metres(PRACTICE_M)}" if reach < 1.5 * PRACTICE_M else f"{PRACTICE_M:g} to {_metres(reach)}"
    )
    return f"Bring something into the picture {near} from the camera, or leave the slide out."


# ---------------------------------------------------------------- small things


def _metres(value: float) -> str:
    return f"{value:.1f} m" if value < 10.0 else f"{value:,.0f} m".replace(",", " ")


def _whole(mask: Mask) -> tuple[int, int]:
    places = np.flatnonzero(mask)
    return int(places[0]) + 1, int(places[-1]) + 1


def _stretches(mask: Mask) -> list[tuple[int, int]]:
    """Runs of frames; many of them as one."""
    found = spans(mask)
    return found if len(found) <= MOST_SPANS else [_whole(mask)]
