"""Block visibility: how much of each block is in the picture, and how much of that nothing hides.

Frames are sampled, and those between samples that agree are interpolated.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import cached_property

import numpy as np
from attrs import frozen

from planner_core.picture.block_projection import Array, BlockProjection, Cameras, Frames, Mask
from planner_core.picture.nearest import NearestOfClip, nearest_of_clip
from planner_core.picture.occlusion import Occlusion
from planner_core.place.blocking import subject_indices
from planner_core.plan.model import Plan

TOLERANCE = 0.02  # between frames that differ by less, fractions are interpolated
FIRST_FRAMES = 33
NEAR_BY_M = 4.0  # nearer than this is foreground, whatever its role; common practice, no source


@frozen(kw_only=True, eq=False)
class Visibility:
    """How much of a thing shows where it is inside the frame.

    fraction (frames,) is the part that other blocks leave free, NaN on frames where none of it is inside the
    frame. sampled are the frames that were worked out, between which it is interpolated; hidden_by
    (sampled, blocks) is the fraction that each block by itself hides there.
    """

    fraction: Array
    sampled: Frames
    hidden_by: Array


@frozen(kw_only=True)
class _Question:
    """What `visible` was asked for."""

    group: tuple[int, ...]
    ignoring: tuple[int, ...]
    every_frame: bool


class BlockVisibility(BlockProjection):
    """The projection of all blocks, with what hides them."""

    def __init__(self, plan: Plan, frames: Cameras) -> None:
        super().__init__(plan, frames)
        self.occlusion = Occlusion(self)
        self._known: dict[_Question, Visibility] = {}

    @cached_property
    def nearest(self) -> NearestOfClip:
        """How near each block comes to the lens where the picture shows it; ground and water don't count."""
        roles = np.array([block.role for block in self.plan.blocks], dtype=object)
        stands = (roles != "ground") & (roles != "water") & self.in_frame.any(axis=0)
        focused = (roles == "foreground") | (self.distance_m.min(axis=0) < NEAR_BY_M)
        focused[list(subject_indices(self.plan))] = True
        blocks = np.flatnonzero(stands)
        return nearest_of_clip(self, blocks, focused[blocks])

    def visible(
        self, group: Sequence[int], *, ignoring: Collection[int] = (), every_frame: bool = False
    ) -> Visibility:
        """How much of several blocks together the other blocks leave to be seen.

        Frames are worked out where something could hide them: a first few, those where a block comes or
        goes, and then between any two that differ by more than TOLERANCE, until they don't or are
        neighbours; or all of them.
        """
        key = _Question(group=tuple(group), ignoring=tuple(sorted(ignoring)), every_frame=every_frame)
        if key not in self._known:
            self._known[key] = self._visibility(key)
        return self._known[key]

    def _visibility(self, asked: _Question) -> Visibility:
        count, group = len(self), asked.group
        maybe = self.occlusion.could_hide(group)
        maybe[:, list(asked.ignoring)] = False
        fraction = np.where(self.any_in_frame(group), 1.0, np.nan)
        busy = maybe.any(axis=1)
        if not busy.any():
            return Visibility(
                fraction=fraction, sampled=np.empty(0, np.intp), hidden_by=np.empty((0, maybe.shape[1]))
            )
        hidden: dict[int, Array] = {}

        def sample(frames: Frames) -> Array:
            fractions, by_block = self.occlusion.look(group, frames, maybe=maybe[frames])
            hidden.update(zip(frames.tolist(), by_block, strict=True))
            return fractions

        places = np.arange(count)
        if asked.every_frame:
            fraction[busy] = sample(places[busy])
        else:
            changes = np.flatnonzero((maybe[1:] != maybe[:-1]).any(axis=1))
            first = spread(count)
            first[changes] = first[changes + 1] = True
            middles = _middles(maybe, changes)
            first[middles] = True
            fraction[busy] = between(sample, places[busy], first[busy], TOLERANCE)
        sampled = np.array(sorted(hidden), dtype=np.intp)
        return Visibility(
            fraction=fraction, sampled=sampled, hidden_by=np.array([hidden[i] for i in sampled])
        )

    def inside_share(self, group: Sequence[int], at: Frames | None = None) -> Array:
        """Share of the outline of several blocks together that lies inside the frame, (frames,); 0 behind
        the camera.

        Without `at`, all frames, from outlines only where a rectangle crosses the frame's edge, and
        interpolated there like `visible`.
        """
        if at is not None:
            return self.part_inside(group, at)
        left, top, right, bottom = self.rectangle_px(group).T
        within = (left >= 0.0) & (top >= 0.0) & (right <= self.width_px) & (bottom <= self.height_px)
        fraction = within.astype(np.float64)
        crossing = np.flatnonzero(self.any_in_frame(group) & ~within)
        if len(crossing):
            first = spread(len(crossing))
            fraction[crossing] = between(
                lambda rows: self.part_inside(group, rows), crossing, first, TOLERANCE
            )
        return fraction


def compute_visibility(plan: Plan, frames: Cameras) -> BlockVisibility:
    """Of all blocks on all frames of a table, or along a camera_path."""
    return BlockVisibility(plan, frames)


def between(look: Callable[[Frames], Array], places: Frames, first: Mask, tolerance: float) -> Array:
    """Values at all places from as few looks as it takes, (places,).

    The first ones, the ends and those beside a jump in places are looked at; then the middle between any two
    that differ by more than the tolerance, until they don't or are neighbours. The rest is interpolated. NaN
    counts as a value by itself.
    """
    known = first.copy()
    known[[0, -1]] = True
    gaps = np.flatnonzero(np.diff(places) > 1)
    known[gaps] = known[gaps + 1] = True
    values = np.full(len(places), np.nan)
    values[known] = look(places[known])
    while True:
        at = np.flatnonzero(known)
        a, b = at[:-1], at[1:]
        differ = np.abs(values[a] - values[b]) > tolerance
        differ |= np.isnan(values[a]) != np.isnan(values[b])
        wide = (b - a > 1) & differ
        if not wide.any():
            break
        middles = (a[wide] + b[wide]) // 2
        values[middles] = look(places[middles])
        known[middles] = True
    at = np.flatnonzero(known)
    return np.interp(places, places[at], values[at])


def spread(count: int, some: int = FIRST_FRAMES) -> Mask:
    """Some of so many frames, evenly."""
    first = np.zeros(count, dtype=bool)
    first[np.linspace(0, count - 1, min(count, some)).round().astype(int)] = True
    return first


def _middles(maybe: Mask, changes: Frames) -> Frames:
    """The middle frame of each run during which a block could hide something."""
    if not len(changes):
        return np.empty(0, dtype=np.intp)
    padded = np.zeros((len(maybe) + 2, maybe.shape[1]), dtype=np.int8)
    padded[1:-1] = maybe
    step = np.diff(padded, axis=0)
    starts, ends = np.nonzero(step.T == 1), np.nonzero(step.T == -1)
    return np.unique((starts[1] + ends[1] - 1) // 2)
