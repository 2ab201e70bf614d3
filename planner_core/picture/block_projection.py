"""Where every block is in every frame's picture: rectangles, distances, and areas of outlines.

Rectangles and distances are worked out for all blocks and frames at once, areas when they are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any, Protocol

import attrs
import numpy as np
from numpy.typing import NDArray

from planner_core.picture.projection import clipped_extent, delivered_crop
from planner_core.place import blocking, silhouette
from planner_core.place.silhouette import NEAR_M
from planner_core.plan.model import Plan

Array = NDArray[np.float64]
Frames = NDArray[np.intp]
Mask = NDArray[np.bool_]

CHUNK_FRAMES = 32  # so that a chunk's arrays stay in the processor's cache
JOINED_FRAMES = 512
DISTANCE_CHUNK_FRAMES = 1024
MANY_RECTANGLES = 8_000_000  # above this, 20,000 frames of 400 blocks, memory matters more than precision
AREA_CHUNK_FRAMES = 64
_JOINS: tuple[np.ufunc, ...] = (np.fmin, np.fmin, np.fmax, np.fmax, np.fmin)  # sides from the left, depth


class Cameras(Protocol):
    """What a projection needs of a FrameTable: where the camera stands and looks on each frame."""

    @property
    def plan(self) -> Plan: ...
    @property
    def at(self) -> Array: ...
    @property
    def camera_m(self) -> Array: ...
    @property
    def camera_rotation(self) -> Array: ...


def lifts_of(frames: Cameras) -> Array | None:
    """By how much each block stands above where the plan has it, (frames, blocks); None where none does."""
    return getattr(frames, "lifts_m", None)


@attrs.define
class Work:
    """What has been computed so far, for callers that limit it."""

    ray_tests: int = 0  # one ray against one convex piece each
    outlines: int = 0  # one block on one frame each


class BlockProjection:
    """Each block's place in the picture, frame by frame.

    left, top, right, bottom: arrays (frames, blocks), the rectangle around a block's bounding box in clip
    pixels, origin at the frame's top left corner, not cut off at the frame; NaN where all of it is behind
    the camera. distance_m (frames, blocks): from the entrance pupil to the nearest point of the bounding
    box; depth_m (frames, blocks): along the lens axis to its least deep corner. work counts what has been
    worked out so far.
    """

    def __init__(self, plan: Plan, frames: Cameras) -> None:
        self.plan = plan
        self.at = np.asarray(frames.at, dtype=np.float64)
        self.camera_m = np.ascontiguousarray(frames.camera_m, dtype=np.float64)
        self.camera_rotation = np.ascontiguousarray(frames.camera_rotation, dtype=np.float64)
        self.boxes = blocking.bounding_boxes(plan)
        self.lifts_m = lifts_of(frames)
        self.width_px, self.height_px = float(plan.clip.width_px), float(plan.clip.height_px)
        self.focal_px = delivered_crop(plan.camera, plan.clip).focal_px
        # six numbers a block and frame: very many of them are kept in single precision, good to a hundredth
        # of a pixel
        many = len(self.camera_m) * len(self.boxes.starts) > MANY_RECTANGLES
        self._stored: Any = np.float32 if many else np.float64
        self.left, self.top, self.right, self.bottom, self.depth_m = self._rectangles()
        self.distance_m = self._distances()
        self.top_m = self._edge_heights(self.boxes.high_m[:, 2], np.maximum)
        self.bottom_m = self._edge_heights(self.boxes.low_m[:, 2], np.minimum)
        if self.lifts_m is not None:
            self.top_m = self.top_m + self.lifts_m.max(axis=0)
            self.bottom_m = self.bottom_m + self.lifts_m.min(axis=0)
        self.work = Work()
        self._shells: dict[int, silhouette.Shell] = {}
        self._areas: dict[int, tuple[Array, Array]] = {}  # of blocks on all frames

    def __len__(self) -> int:
        return len(self.camera_m)

    # ------------------------------------------------------------ rectangles and distances

    def _by_block(self, values: Array, join: np.ufunc) -> Array:
        """(frames, boxes) to (frames, blocks)."""
        starts, count = self.boxes.starts, values.shape[1]
        if len(starts) == count:
            return values
        joined = values.take(starts, axis=1)
        ends = np.append(starts[1:], count)
        for block in np.flatnonzero(ends - starts > 1):
            join.reduce(values[:, starts[block] : ends[block]], axis=1, out=joined[:, block])
        return joined

    def _edge_heights(self, values: Array, join: np.ufunc) -> Array:
        return join.reduceat(values, self.boxes.starts) if len(values) else values

    def _rectangles(self) -> tuple[Array, Array, Array, Array, Array]:
        frames, count = len(self.camera_m), len(self.boxes.block)
        by_block = np.empty((5, frames, len(self.boxes.starts)), dtype=self._stored)
        corners = np.ascontiguousarray(self.boxes.corners_m.transpose(1, 2, 0))[None]
        axes = np.ascontiguousarray(
            self.camera_rotation.transpose(2, 0, 1)
        )  # right, up, back: (3, frames, 3)
        for first in range(0, frames if count else 0, JOINED_FRAMES):
            rows = slice(first, first + JOINED_FRAMES)
            left, low, right, high, depth = self._sides(corners, axes, rows)
            left += self.width_px / 2.0
            right += self.width_px / 2.0
            top, bottom = self.height_px / 2.0 - high, self.height_px / 2.0 - low
            for index, side in enumerate((left, top, right, bottom, depth)):
                by_block[index, rows] = self._by_block(side, _JOINS[index])
        left, top, right, bottom, depth = by_block
        return left, top, right, bottom, depth

    def _sides(self, corners: Array, axes: Array, rows: slice) -> Array:
        """Left, low, right and high of all boxes from the frame's middle, y up, on some frames, and their
        least depth, (5, n, boxes); corners and axes as below, axes of all frames.
        """
        first, count = rows.start, len(self.camera_m[rows])
        sides = np.empty((5, count, len(self.boxes.block)))
        lift = None if self.lifts_m is None else self.lifts_m[rows][:, self.boxes.block]
        reaching = []
        for begin in range(0, count, CHUNK_FRAMES):
            chunk = slice(begin, min(begin + CHUNK_FRAMES, count))
            here = slice(first + chunk.start, first + chunk.stop)
            higher = None if lift is None else lift[chunk]
            part = self._chunk_rectangles(
                corners, self.camera_m[here], axes[:, here], sides[:, chunk], higher
            )
            if part is not None:
                reaching.append((part[0] + begin, *part[1:]))
        if reaching:
            frame, box, local = (np.concatenate(parts, axis=-1) for parts in zip(*reaching, strict=True))
            sides[:4, frame, box] = clipped_extent(local, self.focal_px)
        return sides

    def _chunk_rectangles(
        self, corners: Array, camera_m: Array, axes: Array, sides: Array, lift: Array | None
    ) -> tuple[Frames, Frames, Array] | None:
        """Fill sides (5, n, boxes): left, low, right, high from the frame's middle, y up, NaN behind it; and
        the least depth.

        corners (1, 8, 3, boxes), camera_m (n, 3), axes (3, n, 3), lift (n, boxes). Boxes that reach
        from behind the camera to
        before it are left to do: their frames and numbers, and corners in camera axes (3, 8, pairs).
        """
        local = axes[:, None] @ corners
        local -= np.einsum("ifj,fj->if", axes, camera_m)[:, None, :, None]
        if lift is not None:
            local += axes[:, None, :, 2, None] * lift
        back = local[2]
        np.negative(back.max(axis=0), out=sides[4])
        behind = back.min(axis=0) >= -NEAR_M
        frame, box = np.nonzero((sides[4] <= NEAR_M) & ~behind)
        kept = local[:, :, frame, box] if len(frame) else None
        with np.errstate(divide="ignore", invalid="ignore"):
            scale = -self.focal_px / back
            across, up = local[0], local[1]
            across *= scale
            up *= scale
        across.min(axis=0, out=sides[0])
        up.min(axis=0, out=sides[1])
        across.max(axis=0, out=sides[2])
        up.max(axis=0, out=sides[3])
        sides[:, behind] = np.nan
        return None if kept is None else (frame, box, kept)

    def _distances(self) -> Array:
        distances: Array = np.empty((len(self), len(self.boxes.starts)), dtype=self._stored)
        for first in range(0, len(self), DISTANCE_CHUNK_FRAMES):
            rows = slice(first, first + DISTANCE_CHUNK_FRAMES)
            distances[rows] = self._by_block(self._box_distances(rows), np.minimum)
        return distances

    def _box_distances(self, rows: slice) -> Array:
        boxes, camera_m = self.boxes, self.camera_m[rows]
        cos, sin = np.cos(boxes.turn_rad), np.sin(boxes.turn_rad)
        x = camera_m[:, None, 0] - boxes.centre_m[:, 0]
        y = camera_m[:, None, 1] - boxes.centre_m[:, 1]
        z = camera_m[:, None, 2] - boxes.centre_m[:, 2]
        if self.lifts_m is not None:
            z = z - self.lifts_m[rows][:, boxes.block]
        along = np.maximum(np.abs(x * cos - y * sin) - boxes.half_m[:, 0], 0.0)
        across = np.maximum(np.abs(x * sin + y * cos) - boxes.half_m[:, 1], 0.0)
        up = np.maximum(np.abs(z) - boxes.half_m[:, 2], 0.0)
        return np.sqrt(along * along + across * across + up * up)

    def rectangle_px(self, group: Sequence[int], at: Frames | slice = slice(None)) -> Array:
        """Left, top, right, bottom around several blocks together, (frames, 4); NaN where all are behind the
        camera.
        """
        chosen = list(group)
        sides = (self.left, self.top, self.right, self.bottom)
        return np.stack(
            [join.reduce(side[at][:, chosen], axis=1) for side, join in zip(sides, _JOINS, strict=False)],
            axis=1,
        )

    @cached_property
    def in_frame(self) -> Mask:
        """Whether any of a block's rectangle lies in the frame, (frames, blocks)."""
        across = (self.left < self.width_px) & (self.right > 0.0)
        return np.asarray(across & (self.top < self.height_px) & (self.bottom > 0.0))

    @cached_property
    def whole_in_frame(self) -> Mask:
        """Whether all of a block's rectangle lies in the frame, ahead of the near plane, (frames, blocks)."""
        across = (self.left >= 0.0) & (self.right <= self.width_px)
        within = across & (self.top >= 0.0) & (self.bottom <= self.height_px)
        return np.asarray(within & (self.depth_m > NEAR_M))

    def any_in_frame(self, group: Sequence[int]) -> Mask:
        """Whether any of several blocks' rectangles lies in the frame, (frames,)."""
        return np.asarray(self.in_frame[:, list(group)].any(axis=1))

    # ------------------------------------------------------------ outlines and areas

    def _shell(self, index: int) -> silhouette.Shell:
        if index not in self._shells:
            self._shells[index] = silhouette.shell(self.plan, index, self.boxes.ground_m)
        return self._shells[index]

    def areas_px(self, index: int, at: Frames | None = None) -> tuple[Array, Array]:
        """Area of a block's whole outline and of its part inside the frame, square pixels, each (frames,)."""
        if at is None:
            if index not in self._areas:
                self._areas[index] = self.areas_px(index, np.arange(len(self)))
            return self._areas[index]
        form, size = self._shell(index), (self.width_px, self.height_px)
        self.work.outlines += len(at)
        whole, inside = np.zeros(len(at)), np.zeros(len(at))
        for first in range(0, len(at), AREA_CHUNK_FRAMES):
            part = slice(first, first + AREA_CHUNK_FRAMES)
            rows = at[part]
            whole[part], inside[part] = silhouette.covered_px(
                form, self.eye_of(index, rows), self.camera_rotation[rows], self.focal_px, size
            )
        return whole, inside

    def eye_of(self, index: int, rows: Frames) -> Array:
        """Where the camera is beside a block on some frames, (n, 3), taken as standing where the plan
        has it.
        """
        if self.lifts_m is None:
            return self.camera_m[rows]
        return self.camera_m[rows] - self.lifts_m[rows, index][:, None] * [0.0, 0.0, 1.0]

    def frame_share(self, index: int, at: Frames | None = None) -> Array:
        """Share of the frame that a block's outline covers, hidden parts included, (frames,)."""
        return np.minimum(self.areas_px(index, at)[1] / (self.width_px * self.height_px), 1.0)

    def part_inside(self, group: Sequence[int], at: Frames) -> Array:
        """Fraction of the outline of several blocks together that lies inside the frame, (n,); 0 behind the
        camera.
        """
        whole, inside = (sum(parts) for parts in zip(*(self.areas_px(i, at) for i in group), strict=True))
        return np.where(whole > 0.0, np.minimum(inside / np.where(whole > 0.0, whole, 1.0), 1.0), 0.0)
