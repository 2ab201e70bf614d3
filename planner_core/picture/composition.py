"""Reading the picture: where the subject sits, what is cut or hidden, horizon, foreground, things that
merge.

Every frame gets one score, 0 to 1, from named parts; the plan is judged by its weakest frame. What a good
picture is, is common practice with no source: the numbers are in one table here.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.picture.block_visibility import NEAR_BY_M, BlockVisibility, Visibility, spread
from planner_core.picture.projection import delivered_crop, field_of_view_deg
from planner_core.place import blocking
from planner_core.plan.model import Plan
from planner_core.words.figures import percent
from planner_core.words.language import say

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# What each part counts for in a frame's score. Common practice, no source.
WEIGHTS: dict[str, float] = {
    "place": 3.0,  # the subject near a third or the middle, away from the frame's edges
    "edges": 3.0,  # nothing of it cut, a little air around it
    "size": 2.0,  # large enough to be read
    "apart": 1.5,  # its outline free of others
    "horizon": 1.5,  # on a third rather than through the middle
    "headroom": 1.0,  # air above it
    "foreground": 1.0,  # something near the camera, where it travels
}

# Shares, all common practice with no source.
SEEN_ENOUGH = 0.7  # of the subject seen, for it to be there
SEEN_BARELY = 0.3  # less of it seen than this, and it is hidden
CROSSED_COSTS = 0.4  # of the score, times the share of the subject that something near stands before
INSIDE_WHOLE = 0.98  # inside by this much, it isn't cut
INSIDE_LOST = 0.1  # inside by less, it is lost
PLACES = (1 / 3, 1 / 2, 2 / 3)  # of the frame's width
READABLE = (0.012, 0.09)  # of the frame's height or width: too small to be read, large enough
AIR = 0.03  # of the frame, between the subject and its edges
HEADROOM = 0.06  # of the frame's height
HORIZON_MIDDLE = (0.46, 0.54)  # of the frame's height: splits the picture
FOREGROUND = (0.01, 0.5)  # of the frame: there at all, too much
TOUCH = 0.004  # of the frame's width: outlines nearer than this merge
LARGER_PART = 0.25  # of the subject's height: a part whose sides matter
APART_DISTANCE = 0.04  # blocks whose distances differ by less belong together
FOREGROUND_FRAMES = 17  # on which the foreground is measured; it comes and goes slowly
WEAK = 0.5  # a score below this is a weak picture


@frozen(kw_only=True, eq=False)
class SubjectReading:
    """Where the subject is, frame by frame; arrays of shape (frames,) unless it says otherwise.

    at: place in the move. subject: block numbers, none where the plan has no subject. rect_px (frames, 4):
    left, top, right, bottom around it, NaN behind the camera. inside: share of its outline inside the frame.
    seen: what of that nothing hides. shown: share of all of it that shows. oversize (frames, 2): wider,
    taller than the frame.
    """

    at: Array
    subject: tuple[int, ...]
    rect_px: Array
    inside: Array
    seen: Visibility
    visible: Array
    shown: Array
    oversize: Mask


@frozen(kw_only=True, eq=False)
class Reading(SubjectReading):
    """What is in the picture, frame by frame; arrays of shape (frames,).

    horizon: its height above the frame's lower edge, as a share. foreground: share of the frame covered by
    what is near. crossed: share of the subject that near things stand before. merging: the block whose
    outline touches the subject's, −1 where none does. travels: whether the camera moves along. parts: score
    of each part, 0 to 1. score: all together.
    """

    horizon: Array
    foreground: Array
    crossed: Array
    merging: NDArray[np.intp]
    travels: bool
    parts: dict[str, Array]
    score: Array

    def weakest_part(self, frame: int) -> str:
        """The part that costs a frame (0-based) the most; 'seen' where the subject is hidden or gone."""
        if self.subject and self.shown[frame] < SEEN_ENOUGH and not self.oversize[frame].any():
            return "seen"
        total = sum(WEIGHTS[name] for name in self.parts)
        costs = {name: WEIGHTS[name] / total * (1.0 - values[frame]) for name, values in self.parts.items()}
        costs["seen"] = CROSSED_COSTS * self.crossed[frame]
        return max(costs, key=lambda name: costs[name])


def read_subject(plan: Plan, visibility: BlockVisibility, *, every_frame: bool = False) -> SubjectReading:
    """Where the subject is on every frame, and how much of it shows.

    every_frame works out each frame by itself, for cameras that don't follow on each other.
    """
    subject = blocking.subject_parts(plan)
    count = len(visibility)
    if not subject:
        nothing = np.full(count, np.nan)
        none = np.zeros(count)
        return SubjectReading(
            at=visibility.at,
            subject=(),
            rect_px=np.full((count, 4), np.nan),
            inside=none,
            seen=Visibility(
                fraction=nothing, sampled=np.empty(0, np.intp), hidden_by=np.empty((0, len(plan.blocks)))
            ),
            visible=none,
            shown=none,
            oversize=np.zeros((count, 2), dtype=bool),
        )
    rect = visibility.rectangle_px(subject)
    oversize = _oversize(visibility, rect)
    seen = visibility.visible(subject, ignoring=_companions(plan, subject), every_frame=every_frame)
    visible = np.nan_to_num(seen.fraction)
    inside = visibility.inside_share(subject, np.arange(count) if every_frame else None)
    return SubjectReading(
        at=visibility.at,
        subject=subject,
        rect_px=rect,
        inside=inside,
        seen=seen,
        visible=visible,
        shown=np.where(oversize.any(axis=1), (inside > 0.0) * visible, inside * visible),
        oversize=oversize,
    )


def read(plan: Plan, visibility: BlockVisibility, *, travels: bool, every_frame: bool = False) -> Reading:
    """The reading of every frame. travels says whether the camera moves along, which asks for a
    foreground.
    """
    subject_reading = read_subject(plan, visibility, every_frame=every_frame)
    horizon = _horizon(visibility)
    some = len(visibility) if every_frame and travels else FOREGROUND_FRAMES
    foreground = _foreground(plan, visibility, subject_reading.subject, some)
    crossed = _crossed(plan, visibility, subject_reading)
    merging, closeness = np.full(len(visibility), -1), np.zeros(len(visibility))
    parts = {"horizon": _horizon_score(horizon)}
    if travels:
        parts["foreground"] = _foreground_score(foreground)
    if subject_reading.subject:
        merging, closeness = _merging(plan, visibility, subject_reading.subject, subject_reading.rect_px)
        parts |= {
            "place": _place_score(visibility, subject_reading),
            "edges": _edges_score(visibility, subject_reading),
            "size": _size_score(visibility, subject_reading),
            "headroom": _headroom_score(visibility, subject_reading),
            "apart": 1.0 - 0.6 * closeness,
        }
    score = _together(parts)
    return Reading(
        **{name: getattr(subject_reading, name) for name in attrs.fields_dict(SubjectReading)},
        horizon=horizon,
        foreground=foreground,
        crossed=crossed,
        merging=merging,
        travels=travels,
        parts=parts,
        score=score
        * _smooth(subject_reading.shown, SEEN_BARELY, SEEN_ENOUGH)
        * (1.0 - CROSSED_COSTS * crossed)
        if subject_reading.subject
        else score,
    )


def gaps(plan: Plan, subject: SubjectReading) -> tuple[Array, Array]:
    """Room between the subject and the nearer side, and the nearer of top and bottom, as shares of the
    frame, (frames,).

    Below 0 where it reaches past the edge, NaN behind the camera; 1 where it is too large to keep clear of
    the edges.
    """
    left, top, right, bottom = subject.rect_px.T
    width, height = plan.clip.width_px, plan.clip.height_px
    across = np.where(subject.oversize[:, 0], 1.0, np.minimum(left, width - right) / width)
    above = np.where(subject.oversize[:, 1], 1.0, np.minimum(top, height - bottom) / height)
    return across, above


def air(plan: Plan, subject: SubjectReading) -> Array:
    """Room between the subject and the nearest edge, as `gaps` has it, (frames,)."""
    return np.minimum(*gaps(plan, subject))


def judged(plan: Plan, at: Array) -> Mask:
    """Which places of the move must stand as pictures: all of a hold; of a reveal, those from reveal_by
    on.
    """
    composition = plan.composition
    if composition is None or composition.style == "hold":
        return np.ones(len(at), dtype=bool)
    return np.asarray(at >= min(composition.reveal_by, float(at[-1])) - 1e-9)


def view_deg(plan: Plan) -> tuple[float, float]:
    """Angles of view of the delivered frame, across and up, in degrees."""
    crop = delivered_crop(plan.camera, plan.clip)
    across, up = field_of_view_deg((crop.width_mm, crop.height_mm), plan.camera.focal_length_mm)
    return float(across), float(up)


def weakest_frame(reading: Reading, frames: Mask) -> int:
    """The judged frame with the lowest score, 0-based; of several at the bottom, the one that shows the
    least.
    """
    return int(np.argmin(np.where(frames, reading.score + 1e-3 * reading.shown, np.inf)))


def hiding(reading: Reading, frames: Mask, most: int) -> list[int]:
    """The blocks that hide most of the subject on some frames, the worst first."""
    looked_at = reading.seen.sampled
    rows = frames[looked_at] if len(looked_at) else np.empty(0, dtype=bool)
    if not rows.any():
        return []
    worst = np.nan_to_num(reading.seen.hidden_by[rows]).max(axis=0)
    order = np.argsort(-worst, kind="stable")[:most]
    return [int(i) for i in order if worst[i] > 0.05 and worst[i] > 0.25 * worst[order[0]]]


# ---------------------------------------------------------------- words


@frozen(kw_only=True)
class WeakestPart:
    """What is weakest in a frame: the part's name, the number it goes by, and what else its words need.

    share is of the subject for "seen", else of the frame. side is the edge, or "high" or "wide" for a size;
    other the label of a block that the subject's outline runs into.
    """

    part: str
    subject: str
    share: float = 0.0
    side: str = ""
    other: str = ""


def weakest_part(plan: Plan, reading: Reading, frame: int) -> WeakestPart:
    """The weakest part of a frame (0-based) as facts."""
    part, subject = reading.weakest_part(frame), subject_label(plan)
    left, top, right, bottom = (float(edge) for edge in reading.rect_px[frame])
    width, height = plan.clip.width_px, plan.clip.height_px
    plain = {"seen": reading.shown, "horizon": reading.horizon, "foreground": reading.foreground}
    if part in plain:
        return WeakestPart(part=part, subject=subject, share=float(plain[part][frame]))
    if part == "size":
        tall, wide = (bottom - top) / height, (right - left) / width
        return WeakestPart(
            part=part, subject=subject, share=max(tall, wide), side="high" if tall >= wide else "wide"
        )
    if part == "headroom":
        return WeakestPart(part=part, subject=subject, share=max(top / height, 0.0))
    if part == "apart":
        other = int(reading.merging[frame])
        label = blocking.block_label(plan, other) if other >= 0 else ""
        return WeakestPart(part=part, subject=subject, other=label)
    gaps_by_edge = {
        "left": left / width,
        "right": 1.0 - right / width,
        "top": top / height,
        "lower": 1.0 - bottom / height,
    }
    edge = min(gaps_by_edge, key=lambda name: gaps_by_edge[name])
    gap = gaps_by_edge[edge]
    if gap < 0.0 and reading.inside[frame] < INSIDE_WHOLE:
        return WeakestPart(part="cut", subject=subject, side=edge)
    fraction = max(gap, 0.0) if part == "edges" else (left + right) / 2.0 / width
    return WeakestPart(part=part, subject=subject, share=fraction, side=edge)


def part_text(plan: Plan, reading: Reading, frame: int) -> str:
    """The weakest part of a frame (0-based) in words, with its number."""
    return weakest_part_text(weakest_part(plan, reading, frame))


def weakest_part_text(weakest: WeakestPart) -> str:
    """A frame's weakest part in words, with its number."""
    name, fraction, side = subject_text(weakest.subject), percent(weakest.share), weakest.side
    other = f"“{weakest.other}”" if weakest.other else say("another outline")
    none_near, unseen = weakest.share <= 0.0, weakest.share < 0.005
    templates = {
        "seen": "{name} doesn't show" if unseen else "only {share} of {name} shows",
        "horizon": "the horizon lies at {share} of the frame's height",
        "foreground": "nothing near is in the frame"
        if none_near
        else "what is near covers {share} of the frame",
        "size": "{name} is only {share} of the frame {side}",
        "headroom": "there is {share} of the frame above {name}",
        "apart": "{name} runs into {other}",
        "cut": "{name} is cut by the {side} edge",
        "edges": "{name} is {share} of the frame from the {side} edge",
    }
    near_edge = "{name} stands at {share} of the frame's width, near the {side} edge"
    template = templates.get(weakest.part, near_edge)
    return say(template, name=name, share=fraction, side=say(side) if side else "", other=other)


def subject_label(plan: Plan) -> str:
    """The label of the subject's first block; empty where there is none."""
    subjects = blocking.subject_indices(plan)
    return blocking.block_label(plan, subjects[0]) if subjects else ""


def subject_text(label: str) -> str:
    """How a person calls the subject in a sentence: “beacon”, or the subject."""
    return f"“{label}”" if label else say("the subject")


def subject_name(plan: Plan) -> str:
    """How a person calls the subject: “beacon”, or the subject."""
    return subject_text(subject_label(plan))


# ---------------------------------------------------------------- parts


def _together(parts: dict[str, Array]) -> Array:
    total = sum(WEIGHTS[name] for name in parts)
    return np.asarray(sum(WEIGHTS[name] * values for name, values in parts.items()) / total)


def _smooth(value: ArrayLike, low: float, high: float) -> Array:
    """0 up to low, 1 from high on, and an even way between them."""
    fraction = np.clip((np.asarray(value, dtype=np.float64) - low) / (high - low), 0.0, 1.0)
    return fraction * fraction * (3.0 - 2.0 * fraction)


def _horizon(visibility: BlockVisibility) -> Array:
    """Height of the level horizon above the frame's lower edge, as a share of the frame's height; no rig
    here rolls.
    """
    ahead = -visibility.camera_rotation[:, :, 2]
    level = np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)
    return 0.5 - visibility.focal_px * ahead[:, 2] / level / visibility.height_px


def _horizon_score(horizon: Array) -> Array:
    """Best between a sixth and the middle of either half; a level split or a line along the edge is
    weaker.
    """
    split = 0.35 * (1.0 - _smooth(np.abs(horizon - 0.5), 0.0, 0.1))
    off = np.minimum(horizon, 1.0 - horizon)
    edge = 0.35 * (1.0 - _smooth(np.abs(off), 0.0, 0.12))
    return np.where(off < 0.0, np.maximum(0.8 - edge, 0.65), 1.0 - split - edge)


def _foreground(plan: Plan, visibility: BlockVisibility, subject: Sequence[int], some: int) -> Array:
    """Share of the frame that near things cover, worked out on so many frames and interpolated."""
    count = len(visibility)
    total = np.zeros(count)
    if not plan.blocks:
        return total
    frames = np.flatnonzero(spread(count, some))
    inside, distance = visibility.in_frame[frames], visibility.distance_m[frames]
    for index, block in enumerate(plan.blocks):
        if block.role in ("ground", "water"):
            continue
        near = inside[:, index] & (distance[:, index] < NEAR_BY_M)
        if index not in subject:
            near |= inside[:, index] & (block.role == "foreground")
        if near.any():
            covered = np.zeros(len(frames))
            covered[near] = visibility.frame_share(index, frames[near])
            if index in subject:  # a subject may fill the frame; that something is near is all that counts
                covered = np.minimum(covered, FOREGROUND[0])
            total += np.interp(np.arange(count), frames, covered)
    return np.minimum(total, 1.0)


def _crossed(plan: Plan, visibility: BlockVisibility, subject: SubjectReading) -> Array:
    """Share of the subject that near things stand before, (frames,): a post may pass before it, but the
    picture is the better without.
    """
    count, looked_at = len(visibility), subject.seen.sampled
    hidden = np.flatnonzero(subject.visible < 1.0)
    if not len(looked_at) or not len(hidden):
        return np.zeros(count)
    roles = np.array([block.role for block in plan.blocks])
    near = (visibility.distance_m[looked_at] < NEAR_BY_M) & (roles != "ground") & (roles != "water")
    before = np.where(near | (roles == "foreground"), np.nan_to_num(subject.seen.hidden_by), 0.0).sum(axis=1)
    crossed = np.zeros(count)
    crossed[hidden] = np.interp(hidden, looked_at, before)
    return np.minimum(crossed, 1.0 - subject.visible)


def _foreground_score(foreground: Array) -> Array:
    low, high = FOREGROUND
    return (0.3 + 0.7 * _smooth(foreground, 0.0, low)) * (1.0 - 0.6 * _smooth(foreground, high, 0.85))


def _oversize(visibility: BlockVisibility, rect: Array) -> Mask:
    wide = rect[:, 2] - rect[:, 0] > visibility.width_px
    tall = rect[:, 3] - rect[:, 1] > visibility.height_px
    return np.stack([wide, tall], axis=1)


def _companions(plan: Plan, subject: Sequence[int]) -> tuple[int, ...]:
    """Other blocks of the role subject: what they hide of the subject isn't held against the picture."""
    return tuple(i for i, block in enumerate(plan.blocks) if block.role == "subject" and i not in subject)


def _place_score(visibility: BlockVisibility, subject: SubjectReading) -> Array:
    rect, oversize = subject.rect_px, subject.oversize
    middle_x = (rect[:, 0] + rect[:, 2]) / 2.0 / visibility.width_px
    middle_y = (rect[:, 1] + rect[:, 3]) / 2.0 / visibility.height_px
    away = np.min([np.abs(middle_x - place) for place in PLACES], axis=0)
    across = np.where(oversize[:, 0], 1.0, 1.0 - np.clip((away - 0.05) / 0.25, 0.0, 1.0))
    above = np.where(oversize[:, 1], 1.0, 1.0 - np.clip((np.abs(middle_y - 0.5) - 0.25) / 0.25, 0.0, 1.0))
    return np.nan_to_num(np.minimum(across, above))


def _edges_score(visibility: BlockVisibility, subject: SubjectReading) -> Array:
    """1 with air all round, 0.7 where the outline touches the edge, falling to 0 where a quarter of it is
    cut.
    """
    gap = air(visibility.plan, subject)
    whole = 0.7 + 0.3 * _smooth(gap, 0.0, AIR)
    cut = 0.7 * (1.0 - np.clip((1.0 - subject.inside) / 0.25, 0.0, 1.0))
    return np.nan_to_num(np.where(gap >= 0.0, whole, cut))


def _size_score(visibility: BlockVisibility, subject: SubjectReading) -> Array:
    rect = subject.rect_px
    width = (np.minimum(rect[:, 2], visibility.width_px) - np.maximum(rect[:, 0], 0.0)) / visibility.width_px
    height = (
        np.minimum(rect[:, 3], visibility.height_px) - np.maximum(rect[:, 1], 0.0)
    ) / visibility.height_px
    size = np.maximum(np.fmax(width, height), 1e-6)
    low, high = np.log(READABLE)
    return np.nan_to_num(np.clip((np.log(size) - low) / (high - low), 0.0, 1.0))


def _headroom_score(visibility: BlockVisibility, subject: SubjectReading) -> Array:
    gap = subject.rect_px[:, 1] / visibility.height_px
    return np.nan_to_num(np.where(subject.oversize[:, 1], 1.0, 0.2 + 0.8 * _smooth(gap, 0.0, HEADROOM)))


def _merging(
    plan: Plan, visibility: BlockVisibility, subject: Sequence[int], rect: Array
) -> tuple[NDArray[np.intp], Array]:
    """The block whose side runs along a side of the subject, −1 for none, and how closely, 0 to 1.

    The sides of the subject's larger parts count, and blocks that reach along at least half of such a side:
    one that ends where the part begins, or that stands in front with its edge on the part's edge. Not those
    at much the same distance, which are built onto it, nor ground, water and ridges.
    """
    count = len(visibility)
    roles = [
        block.role in ("foreground", "background") and block.shape != "ridge" and index not in subject
        for index, block in enumerate(plan.blocks)
    ]
    tolerance = TOUCH * visibility.width_px
    beside = (visibility.left < rect[:, 2:3] + tolerance) & (visibility.right > rect[:, 0:1] - tolerance)
    beside &= (visibility.top < rect[:, 3:4]) & (visibility.bottom > rect[:, 1:2]) & visibility.in_frame
    chosen = np.flatnonzero(beside.any(axis=0) & np.array(roles, dtype=bool))
    if not len(chosen):
        return np.full(count, -1), np.zeros(count)
    left, top, right, bottom = (
        side[:, chosen] for side in (visibility.left, visibility.top, visibility.right, visibility.bottom)
    )
    distance = visibility.distance_m[:, chosen]
    gap = np.full(left.shape, np.inf)
    tall = rect[:, 3] - rect[:, 1]
    for part in subject:
        own_left, own_top, own_right, own_bottom = visibility.rectangle_px((part,)).T[:, :, None]
        high = own_bottom - own_top
        own = visibility.distance_m[:, part : part + 1]
        kissing = np.minimum(np.abs(left - own_right), np.abs(right - own_left))
        flush = np.minimum(np.abs(left - own_left), np.abs(right - own_right))
        nearest = np.where(distance < own, np.minimum(kissing, flush), kissing)
        counts = np.minimum(bottom, own_bottom) - np.maximum(top, own_top) > 0.5 * high
        counts &= (high >= LARGER_PART * tall[:, None]) & (bottom - top < 4.0 * tall[:, None])
        counts &= np.abs(distance - own) > APART_DISTANCE * own + 1.0
        gap = np.fmin(gap, np.where(counts & beside[:, chosen], nearest, np.inf))
    best = gap.argmin(axis=1)
    closeness = 1.0 - np.clip(gap[np.arange(count), best] / tolerance, 0.0, 1.0)
    return np.where(closeness > 0.0, chosen[best], -1), closeness
