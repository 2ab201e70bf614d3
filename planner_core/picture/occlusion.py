"""Occlusion: which blocks may stand before others in the picture, and by rays how much they hide."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from planner_core.picture.block_projection import Array, BlockProjection, Frames, Mask
from planner_core.place import blocking
from planner_core.place.visibility import TOUCHING, interval, mirrored_lattice

QUICK_RAYS = 178  # one ray is 0.6 % of what a block's rectangle shows
MORE_RAYS = 754
RAY_CHUNK_FRAMES = 64
FEW_HITS = 64  # fewer rays than this on the block, and it is looked at again with MORE_RAYS
BESIDE_PX = 1.0  # rays so near to a block's rectangle are tried against the block


class Occlusion:
    """What hides what among the blocks of a projection."""

    def __init__(self, projection: BlockProjection) -> None:
        self.projection = projection
        self._pieces_of: dict[int, tuple[blocking.ConvexPiece, ...]] = {}

    def could_hide(self, group: Sequence[int], at: Frames | slice = slice(None)) -> Mask:
        """Blocks that may stand before any of the group inside the frame, (frames, blocks). It errs on the
        side of yes.
        """
        view = self.projection
        chosen = list(group)
        rect = view.rectangle_px(group, at)
        camera = view.camera_m[at]
        left, top = np.maximum(rect[:, :2], 0.0).T[:, :, None]
        right = np.minimum(rect[:, 2], view.width_px)[:, None]
        bottom = np.minimum(rect[:, 3], view.height_px)[:, None]
        mine = np.isin(view.boxes.block, chosen)
        offset = camera[:, None] - view.boxes.centre_m[mine]
        far = np.sqrt(np.einsum("fbi,fbi->fb", offset, offset)) + np.linalg.norm(
            view.boxes.half_m[mine], axis=1
        )
        lowest = np.minimum(camera[:, 2], view.bottom_m[chosen].min())[:, None]
        highest = np.maximum(camera[:, 2], view.top_m[chosen].max())[:, None]
        candidate = (view.left[at] < right) & (view.right[at] > left)
        candidate &= (view.top[at] < bottom) & (view.bottom[at] > top)
        candidate &= view.distance_m[at] < far.max(axis=1)[:, None]
        candidate &= (view.top_m > lowest) & (view.bottom_m < highest)
        candidate[:, chosen] = False
        return candidate & (left < right) & (top < bottom)

    def look(
        self,
        group: Sequence[int],
        frames: Frames,
        *,
        maybe: Mask | None = None,
        rays: int = QUICK_RAYS,
    ) -> tuple[Array, Array]:
        """Rays through the group's part of the frame: share left free (n,), and share that each block hides
        (n, blocks).

        maybe (n, blocks) are the blocks to try. NaN where no ray meets the group.
        """
        maybe = self.could_hide(group, frames) if maybe is None else maybe
        visible, by_block = np.empty(len(frames)), np.empty(maybe.shape)
        for first in range(0, len(frames), RAY_CHUNK_FRAMES):
            rows = slice(first, first + RAY_CHUNK_FRAMES)
            visible[rows], by_block[rows], hits = self._look(group, frames[rows], maybe[rows], rays)
            few = np.flatnonzero((hits < FEW_HITS) & self.projection.any_in_frame(group)[frames[rows]])
            if len(few) and rays < MORE_RAYS:
                again = frames[rows][few]
                visible[first + few], by_block[first + few], _ = self._look(
                    group, again, maybe[rows][few], MORE_RAYS
                )
        return visible, by_block

    def _look(
        self, group: Sequence[int], frames: Frames, maybe: Mask, rays: int
    ) -> tuple[Array, Array, NDArray[np.intp]]:
        view = self.projection
        rect = view.rectangle_px(group, frames)
        low = np.clip(np.nan_to_num(rect[:, :2]), 0.0, (view.width_px, view.height_px))
        high = np.clip(np.nan_to_num(rect[:, 2:]), 0.0, (view.width_px, view.height_px))
        px = low[:, None] + mirrored_lattice(rays) * (high - low)[:, None]
        local = np.stack(
            [
                (px[..., 0] - view.width_px / 2.0) / view.focal_px,
                (view.height_px / 2.0 - px[..., 1]) / view.focal_px,
                np.full(px.shape[:2], -1.0),
            ]
        )
        directions = np.einsum("fij,jfr->ifr", view.camera_rotation[frames], local, optimize=True)
        start = view.camera_m[frames].T[:, :, None]
        sides = [side[frames] for side in (view.left, view.top, view.right, view.bottom)]

        def near(index: int, rows: Frames) -> Mask:
            left, top, right, bottom = (side[rows, index, None] for side in sides)
            x, y = px[rows, :, 0], px[rows, :, 1]
            return np.asarray(
                (x > left - BESIDE_PX)
                & (x < right + BESIDE_PX)
                & (y > top - BESIDE_PX)
                & (y < bottom + BESIDE_PX)
            )

        lifts = None if view.lifts_m is None else view.lifts_m[frames]
        return self._hidden(group, start, directions, maybe, near, lifts)

    def _hidden(
        self,
        group: Sequence[int],
        start: Array,
        directions: Array,
        maybe: Mask,
        near: Callable[[int, Frames], Mask],
        lifts_m: Array | None = None,
    ) -> tuple[Array, Array, NDArray[np.intp]]:
        """start (3, n, 1 or rays) and directions (3, n, rays): share free, share hidden by each block, rays
        that meet the group.

        near(block, rows) says which rays of some frames may meet a block at all, (rows, rays). lifts_m
        (n, blocks) is by how much blocks stand above where the plan has them.
        """
        count, rays = directions.shape[1:]
        toward = np.ascontiguousarray(directions).reshape(3, -1)
        starts = np.ascontiguousarray(start).reshape(3, -1)
        step = rays if start.shape[2] == 1 else 1

        def beside(index: int, tried: Frames) -> Array:
            at = starts[:, tried // step]
            if lifts_m is not None:
                at[2] -= lifts_m[tried // rays, index]
            return at

        reach = np.full(count * rays, np.inf)
        everywhere = np.arange(count)
        for index in group:
            tried = np.flatnonzero(near(index, everywhere))
            for enter, leave in self._meetings(index, beside(index, tried), toward[:, tried]):
                meets = (enter <= leave) & (leave > 0.0)
                nearer = np.minimum(reach[tried], np.maximum(enter, 0.0))
                reach[tried] = np.where(meets, nearer, reach[tried])
        target = np.isfinite(reach).reshape(count, rays)
        hits = target.sum(axis=1)
        before = reach * (1.0 - TOUCHING)
        hidden = np.zeros(count * rays, dtype=bool)
        counts = np.zeros(maybe.shape)
        for index in np.flatnonzero(maybe.any(axis=0)).tolist():
            rows = np.flatnonzero(maybe[:, index])
            row, ray = np.nonzero(near(index, rows) & target[rows])
            tried = rows[row] * rays + ray
            here = np.zeros(len(tried), dtype=bool)
            for enter, leave in self._meetings(index, beside(index, tried), toward[:, tried]):
                here |= (enter <= leave) & (leave > 0.0) & (enter < before[tried])
            hidden[tried] |= here
            counts[rows, index] = np.bincount(row[here], minlength=len(rows))
        with np.errstate(divide="ignore", invalid="ignore"):
            free = 1.0 - hidden.reshape(count, rays).sum(axis=1) / hits
            return free, counts / hits[:, None], hits

    def _meetings(self, index: int, starts: Array, directions: Array) -> Iterator[tuple[Array, Array]]:
        """Where rays enter and leave each piece of a block; counts them as work done."""
        if directions.shape[1]:
            for piece in self._pieces(index):
                self.projection.work.ray_tests += directions.shape[1]
                yield interval(piece, starts, directions)

    def _pieces(self, index: int) -> tuple[blocking.ConvexPiece, ...]:
        if index not in self._pieces_of:
            view = self.projection
            self._pieces_of[index] = blocking.pieces(view.plan, index, view.boxes.ground_m)
        return self._pieces_of[index]
