"""Tracks: where every block is in every frame's picture, and how much of it is seen.

Rectangles and distances are there for all blocks and frames at once. What costs more is worked out when it
is asked for: areas from outlines, and what hides a block from rays.
"""

from __future__ import annotations

import weakref
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Any, Protocol

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.picture.optics import delivered_crop
from planner_core.place import blocking, silhouette
from planner_core.place.silhouette import NEAR_M
from planner_core.place.visibility import TOUCHING, interval, lattice
from planner_core.plan.model import Plan

Array = NDArray[np.float64]
Frames = NDArray[np.intp]

CHUNK_FRAMES = 32  # so that a chunk's arrays stay in the processor's cache
QUICK_RAYS = 144  # one ray is 0.7 % of what a block's rectangle shows
MORE_RAYS = 610
FINE_RAYS = 2584
DISTANCE_CHUNK_FRAMES = 1024
MANY_RECTANGLES = 8_000_000  # above this, 20,000 frames of 400 blocks, memory counts for more than digits
AREA_CHUNK_FRAMES = 64
RAY_CHUNK_FRAMES = 64
FEW_HITS = 64  # fewer rays than this on the block, and a share is asked again with MORE_RAYS
TOLERANCE = 0.02  # between frames that differ by less, shares are interpolated
FIRST_FRAMES = 33
BESIDE_PX = 1.0  # rays so near to a block's rectangle are tried against the block
_JOINS: tuple[np.ufunc, ...] = (np.fmin, np.fmin, np.fmax, np.fmax)  # left, top, right, bottom


class Cameras(Protocol):
    """What tracks need of a FrameTable: where the camera stands and looks on each frame."""

    @property
    def plan(self) -> Plan: ...
    @property
    def at(self) -> Array: ...
    @property
    def camera_m(self) -> Array: ...
    @property
    def camera_rotation(self) -> Array: ...


@frozen(kw_only=True, eq=False)
class Seen:
    """How much of a thing shows where it is inside the frame.

    share (frames,) is the part that other blocks leave free, NaN on frames where none of it is inside the
    frame. looked_at are the frames that were worked out, between which it is interpolated; hidden_by
    (looked_at, blocks) is the share that each block by itself hides there.
    """

    share: Array
    looked_at: Frames
    hidden_by: Array


class Tracks:
    """Each block's place in the picture, frame by frame.

    left, top, right, bottom: arrays (frames, blocks), the rectangle around a block's bounding box in clip
    pixels, origin at the frame's top left corner, not cut off at the frame; NaN where all of it is behind
    the camera. distance_m (frames, blocks): from the entrance pupil to the nearest point of the bounding
    box. ray_tests and outlines count what has been worked out so far.
    """

    def __init__(self, plan: Plan, frames: Cameras) -> None:
        self.plan = plan
        self.at = np.asarray(frames.at, dtype=np.float64)
        self.camera_m = np.ascontiguousarray(frames.camera_m, dtype=np.float64)
        self.camera_rotation = np.ascontiguousarray(frames.camera_rotation, dtype=np.float64)
        self.boxes = blocking.bounding_boxes(plan)
        self.width_px, self.height_px = float(plan.clip.width_px), float(plan.clip.height_px)
        self.focal_px = delivered_crop(plan.camera, plan.clip).focal_px
        # five numbers a block and frame: of very many, to seven digits, a hundredth of a pixel and more
        many = len(self.camera_m) * len(self.boxes.starts) > MANY_RECTANGLES
        self._stored: Any = np.float32 if many else np.float64
        self.left, self.top, self.right, self.bottom = self._rectangles()
        self.distance_m = self._distances()
        self._top_m = self._edge_heights(self.boxes.high_m[:, 2], np.maximum)
        self._bottom_m = self._edge_heights(self.boxes.low_m[:, 2], np.minimum)
        self._shells: dict[int, silhouette.Shell] = {}
        self._kept: dict[Any, Any] = {}
        self.ray_tests = 0  # one ray against one convex piece each
        self.outlines = 0  # worked out, one block on one frame each

    def __len__(self) -> int:
        return len(self.camera_m)

    # ------------------------------------------------------------ rectangles and distances

    def _by_block(self, values: Array, join: np.ufunc) -> Array:
        """(frames, boxes) to (frames, blocks)."""
        starts = self.boxes.starts
        if len(starts) == values.shape[1]:
            return values
        joined = values[:, starts]
        ends = np.append(starts[1:], values.shape[1])
        for block in np.flatnonzero(ends - starts > 1):
            joined[:, block] = join.reduce(values[:, starts[block] : ends[block]], axis=1)
        return joined

    def _edge_heights(self, values: Array, join: np.ufunc) -> Array:
        return join.reduceat(values, self.boxes.starts) if len(values) else values

    def _rectangles(self) -> tuple[Array, Array, Array, Array]:
        frames, count = len(self.camera_m), len(self.boxes.block)
        found = np.empty((4, frames, len(self.boxes.starts)), dtype=self._stored)
        corners = np.ascontiguousarray(self.boxes.corners_m.transpose(1, 2, 0))[None]
        axes = np.ascontiguousarray(
            self.camera_rotation.transpose(2, 0, 1)
        )  # right, up, back: (3, frames, 3)
        for first in range(0, frames if count else 0, CHUNK_FRAMES):
            rows = slice(first, first + CHUNK_FRAMES)
            camera_m = self.camera_m[rows]
            sides = np.empty((4, len(camera_m), count))
            reaching = self._chunk_rectangles(corners, camera_m, axes[:, rows], sides)
            if reaching is not None:
                frame, box, local = reaching
                sides[:, frame, box] = _clipped_extent(local, self.focal_px)
            left, low, right, high = sides
            left += self.width_px / 2.0
            right += self.width_px / 2.0
            top, bottom = self.height_px / 2.0 - high, self.height_px / 2.0 - low
            for place, (side, join) in enumerate(zip((left, top, right, bottom), _JOINS, strict=True)):
                found[place, rows] = self._by_block(side, join)
        left, top, right, bottom = found
        return left, top, right, bottom

    def _chunk_rectangles(
        self, corners: Array, camera_m: Array, axes: Array, sides: Array
    ) -> tuple[Frames, Frames, Array] | None:
        """Fill sides (4, n, boxes): left, low, right, high from the frame's middle, y up.

        corners (1, 8, 3, boxes), camera_m (n, 3), axes (3, n, 3). Boxes that reach behind the camera are
        left to do: their frames and numbers, and corners in camera axes (3, 8, pairs).
        """
        local = axes[:, None] @ corners
        local -= np.einsum("ifj,fj->if", axes, camera_m)[:, None, :, None]
        back = local[2]
        frame, box = np.nonzero(back.max(axis=0) >= -NEAR_M)
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
        return None if kept is None else (frame, box, kept)

    def _distances(self) -> Array:
        found: Array = np.empty((len(self), len(self.boxes.starts)), dtype=self._stored)
        for first in range(0, len(self), DISTANCE_CHUNK_FRAMES):
            rows = slice(first, first + DISTANCE_CHUNK_FRAMES)
            found[rows] = self._by_block(self._box_distances(self.camera_m[rows]), np.minimum)
        return found

    def _box_distances(self, camera_m: Array) -> Array:
        boxes = self.boxes
        cos, sin = np.cos(boxes.turn_rad), np.sin(boxes.turn_rad)
        x = camera_m[:, None, 0] - boxes.centre_m[:, 0]
        y = camera_m[:, None, 1] - boxes.centre_m[:, 1]
        z = camera_m[:, None, 2] - boxes.centre_m[:, 2]
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
            [join.reduce(side[at][:, chosen], axis=1) for side, join in zip(sides, _JOINS, strict=True)],
            axis=1,
        )

    @property
    def in_frame(self) -> NDArray[np.bool_]:
        """Whether any of a block's rectangle lies in the frame, (frames, blocks)."""
        if "in_frame" not in self._kept:
            self._kept["in_frame"] = (
                (self.left < self.width_px)
                & (self.right > 0.0)
                & (self.top < self.height_px)
                & (self.bottom > 0.0)
            )
        return np.asarray(self._kept["in_frame"])

    # ------------------------------------------------------------ outlines and areas

    def _shell(self, index: int) -> silhouette.Shell:
        if index not in self._shells:
            self._shells[index] = silhouette.shell(self.plan, index, self.boxes.ground_m)
        return self._shells[index]

    def areas_px(self, index: int, at: Frames | None = None) -> tuple[Array, Array]:
        """Area of a block's whole outline and of its part inside the frame, square pixels, each (frames,)."""
        if at is None:
            key = ("areas", index)
            if key not in self._kept:
                self._kept[key] = self.areas_px(index, np.arange(len(self)))
            whole, inside = self._kept[key]
            return whole, inside
        form, size = self._shell(index), (self.width_px, self.height_px)
        self.outlines += len(at)
        whole, inside = np.zeros(len(at)), np.zeros(len(at))
        for first in range(0, len(at), AREA_CHUNK_FRAMES):
            part = slice(first, first + AREA_CHUNK_FRAMES)
            rows = at[part]
            whole[part], inside[part] = silhouette.covered_px(
                form, self.camera_m[rows], self.camera_rotation[rows], self.focal_px, size
            )
        return whole, inside

    def frame_share(self, index: int, at: Frames | None = None) -> Array:
        """Share of the frame that a block's outline covers, hidden parts included, (frames,)."""
        return np.minimum(self.areas_px(index, at)[1] / (self.width_px * self.height_px), 1.0)

    def inside_share(self, group: Sequence[int], at: Frames | None = None) -> Array:
        """Share of the outline of several blocks together that lies inside the frame, (frames,); 0 behind
        the camera.

        Without `at`, all frames, from outlines only where a rectangle crosses the frame's edge, and
        interpolated there like `seen`.
        """
        if at is not None:
            whole, inside = (sum(parts) for parts in zip(*(self.areas_px(i, at) for i in group), strict=True))
            return np.where(whole > 0.0, np.minimum(inside / np.where(whole > 0.0, whole, 1.0), 1.0), 0.0)
        left, top, right, bottom = self.rectangle_px(group).T
        within = (left >= 0.0) & (top >= 0.0) & (right <= self.width_px) & (bottom <= self.height_px)
        share = within.astype(np.float64)
        crossing = np.flatnonzero(self._any_inside(group) & ~within)
        if len(crossing):
            first = spread(len(crossing))
            share[crossing] = between(lambda rows: self.inside_share(group, rows), crossing, first, TOLERANCE)
        return share

    # ------------------------------------------------------------ what hides what

    def could_hide(self, group: Sequence[int], at: Frames | slice = slice(None)) -> NDArray[np.bool_]:
        """Blocks that may stand before any of the group inside the frame, (frames, blocks). It errs on the
        side of yes.
        """
        chosen = list(group)
        rect = self.rectangle_px(group, at)
        camera = self.camera_m[at]
        left, top = np.maximum(rect[:, :2], 0.0).T[:, :, None]
        right = np.minimum(rect[:, 2], self.width_px)[:, None]
        bottom = np.minimum(rect[:, 3], self.height_px)[:, None]
        mine = np.isin(self.boxes.block, chosen)
        offset = camera[:, None] - self.boxes.centre_m[mine]
        far = np.sqrt(np.einsum("fbi,fbi->fb", offset, offset)) + np.linalg.norm(
            self.boxes.half_m[mine], axis=1
        )
        lowest = np.minimum(camera[:, 2], self._bottom_m[chosen].min())[:, None]
        highest = np.maximum(camera[:, 2], self._top_m[chosen].max())[:, None]
        found = (self.left[at] < right) & (self.right[at] > left)
        found &= (self.top[at] < bottom) & (self.bottom[at] > top)
        found &= self.distance_m[at] < far.max(axis=1)[:, None]
        found &= (self._top_m > lowest) & (self._bottom_m < highest)
        found[:, chosen] = False
        return found & (left < right) & (top < bottom)

    def seen(
        self, group: Sequence[int], *, ignoring: Collection[int] = (), every_frame: bool = False
    ) -> Seen:
        """How much of several blocks together the other blocks leave to be seen.

        Frames are worked out where something could hide them: a first few, those where a block comes or
        goes, and then between any two that differ by more than TOLERANCE, until they don't or are
        neighbours; or all of them.
        """
        key = ("seen", tuple(group), tuple(sorted(ignoring)), every_frame)
        if key not in self._kept:
            self._kept[key] = self._seen(tuple(group), ignoring, every_frame)
        found: Seen = self._kept[key]
        return found

    def _seen(self, group: tuple[int, ...], ignoring: Collection[int], every_frame: bool) -> Seen:
        count = len(self)
        maybe = self.could_hide(group)
        maybe[:, list(ignoring)] = False
        share = np.where(self._any_inside(group), 1.0, np.nan)
        busy = maybe.any(axis=1)
        if not busy.any():
            return Seen(share=share, looked_at=np.empty(0, np.intp), hidden_by=np.empty((0, maybe.shape[1])))
        hidden: dict[int, Array] = {}

        def look(frames: Frames) -> Array:
            shares, by_block = self.look(group, frames, maybe=maybe[frames])
            hidden.update(zip(frames.tolist(), by_block, strict=True))
            return shares

        places = np.arange(count)
        if every_frame:
            share[busy] = look(places[busy])
        else:
            changes = np.flatnonzero((maybe[1:] != maybe[:-1]).any(axis=1))
            first = spread(count)
            first[changes] = first[changes + 1] = True
            middles = _middles(maybe, changes)
            first[middles] = True
            share[busy] = between(look, places[busy], first[busy], TOLERANCE)
        looked_at = np.array(sorted(hidden), dtype=np.intp)
        return Seen(share=share, looked_at=looked_at, hidden_by=np.array([hidden[i] for i in looked_at]))

    def _any_inside(self, group: Sequence[int]) -> NDArray[np.bool_]:
        return np.asarray(self.in_frame[:, list(group)].any(axis=1))

    def look(
        self,
        group: Sequence[int],
        frames: Frames,
        *,
        maybe: NDArray[np.bool_] | None = None,
        rays: int = QUICK_RAYS,
    ) -> tuple[Array, Array]:
        """Rays through the group's part of the frame: share left free (n,), and share that each block hides
        (n, blocks).

        maybe (n, blocks) are the blocks to try. NaN where no ray meets the group.
        """
        maybe = self.could_hide(group, frames) if maybe is None else maybe
        share, by_block = np.empty(len(frames)), np.empty(maybe.shape)
        for first in range(0, len(frames), RAY_CHUNK_FRAMES):
            rows = slice(first, first + RAY_CHUNK_FRAMES)
            share[rows], by_block[rows], hits = self._look(group, frames[rows], maybe[rows], rays)
            few = np.flatnonzero((hits < FEW_HITS) & self._any_inside(group)[frames[rows]])
            if len(few) and rays < MORE_RAYS:
                again = frames[rows][few]
                share[first + few], by_block[first + few], _ = self._look(
                    group, again, maybe[rows][few], MORE_RAYS
                )
        return share, by_block

    def _look(
        self, group: Sequence[int], frames: Frames, maybe: NDArray[np.bool_], rays: int
    ) -> tuple[Array, Array, NDArray[np.intp]]:
        rect = self.rectangle_px(group, frames)
        low = np.clip(np.nan_to_num(rect[:, :2]), 0.0, (self.width_px, self.height_px))
        high = np.clip(np.nan_to_num(rect[:, 2:]), 0.0, (self.width_px, self.height_px))
        px = low[:, None] + lattice(rays) * (high - low)[:, None]
        local = np.stack(
            [
                (px[..., 0] - self.width_px / 2.0) / self.focal_px,
                (self.height_px / 2.0 - px[..., 1]) / self.focal_px,
                np.full(px.shape[:2], -1.0),
            ]
        )
        way = np.einsum("fij,jfr->ifr", self.camera_rotation[frames], local, optimize=True)
        start = self.camera_m[frames].T[:, :, None]
        sides = [side[frames] for side in (self.left, self.top, self.right, self.bottom)]

        def near(index: int, rows: Frames) -> NDArray[np.bool_]:
            left, top, right, bottom = (side[rows, index, None] for side in sides)
            x, y = px[rows, :, 0], px[rows, :, 1]
            return np.asarray(
                (x > left - BESIDE_PX)
                & (x < right + BESIDE_PX)
                & (y > top - BESIDE_PX)
                & (y < bottom + BESIDE_PX)
            )

        return self._hidden(group, start, way, maybe, near)

    def _hidden(
        self,
        group: Sequence[int],
        start: Array,
        way: Array,
        maybe: NDArray[np.bool_],
        near: Callable[[int, Frames], NDArray[np.bool_]],
    ) -> tuple[Array, Array, NDArray[np.intp]]:
        """start (3, n, 1 or rays) and way (3, n, rays): share free, share hidden by each block, rays that
        meet the group.

        near(block, rows) says which rays of some frames may meet a block at all, (rows, rays).
        """
        count, rays = way.shape[1:]
        ways = np.ascontiguousarray(way).reshape(3, -1)
        starts = np.ascontiguousarray(start).reshape(3, -1)
        step = rays if start.shape[2] == 1 else 1
        reach = np.full(count * rays, np.inf)
        everywhere = np.arange(count)
        for index in group:
            tried = np.flatnonzero(near(index, everywhere))
            for enter, leave in self._meetings(index, starts[:, tried // step], ways[:, tried]):
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
            for enter, leave in self._meetings(index, starts[:, tried // step], ways[:, tried]):
                here |= (enter <= leave) & (leave > 0.0) & (enter < before[tried])
            hidden[tried] |= here
            counts[rows, index] = np.bincount(row[here], minlength=len(rows))
        with np.errstate(divide="ignore", invalid="ignore"):
            free = 1.0 - hidden.reshape(count, rays).sum(axis=1) / hits
            return free, counts / hits[:, None], hits

    def _meetings(self, index: int, starts: Array, ways: Array) -> Iterator[tuple[Array, Array]]:
        """Where rays enter and leave each piece of a block; counts them as work done."""
        if ways.shape[1]:
            for piece in self._pieces(index):
                self.ray_tests += ways.shape[1]
                yield interval(piece, starts, ways)

    def _pieces(self, index: int) -> tuple[blocking.Piece, ...]:
        key = ("pieces", index)
        if key not in self._kept:
            self._kept[key] = blocking.pieces(self.plan, index, self.boxes.ground_m)
        found: tuple[blocking.Piece, ...] = self._kept[key]
        return found


def compute_tracks(plan: Plan, frames: Cameras) -> Tracks:
    """The tracks of all blocks on all frames of a table, or along a camera_path."""
    return Tracks(plan, frames)


_known: weakref.WeakKeyDictionary[Any, Tracks] = weakref.WeakKeyDictionary()


def of(frames: Cameras) -> Tracks:
    """The tracks of a table, computed the first time they are asked for."""
    found = _known.get(frames)
    if found is None:
        found = _known[frames] = compute_tracks(frames.plan, frames)
    return found


def between(
    look: Callable[[Frames], Array], places: Frames, first: NDArray[np.bool_], tolerance: float
) -> Array:
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


def spread(count: int, some: int = FIRST_FRAMES) -> NDArray[np.bool_]:
    """Some of so many frames, evenly."""
    first = np.zeros(count, dtype=bool)
    first[np.linspace(0, count - 1, min(count, some)).round().astype(int)] = True
    return first


def _middles(maybe: NDArray[np.bool_], changes: Frames) -> Frames:
    """The middle frame of each run during which a block could hide something."""
    if not len(changes):
        return np.empty(0, dtype=np.intp)
    padded = np.zeros((len(maybe) + 2, maybe.shape[1]), dtype=np.int8)
    padded[1:-1] = maybe
    step = np.diff(padded, axis=0)
    starts, ends = np.nonzero(step.T == 1), np.nonzero(step.T == -1)
    return np.unique((starts[1] + ends[1] - 1) // 2)


def _clipped_extent(local: Array, focal_px: float) -> Array:
    """Left, low, right, high, (4, n), of boxes that reach behind the near plane, from corners (3, 8, n) in
    camera axes.

    In pixels from the middle of the frame, y up; NaN where all of a box is behind.
    """
    a, b = _BOX_EDGES.T
    depth = -local[2]
    ahead = depth > NEAR_M
    cut = ahead[a] != ahead[b]
    run = np.where(cut, depth[a] - depth[b], 1.0)
    share = np.where(cut, (depth[a] - NEAR_M) / run, 0.0)
    crossing = local[:2, a] + share * (local[:2, b] - local[:2, a])
    corner = local[:2] * (focal_px / np.where(ahead, depth, 1.0))
    points = np.concatenate([corner, crossing * (focal_px / NEAR_M)], axis=1)
    there = np.concatenate([ahead, cut])
    low = np.where(there, points, np.inf).min(axis=1)
    high = np.where(there, points, -np.inf).max(axis=1)
    return np.where(ahead.any(axis=0), np.concatenate([low, high]), np.nan)


_BOX_EDGES = np.array(
    [(0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7)]
)
