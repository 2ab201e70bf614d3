"""The rays through a coarse grid over some frames' pictures, and what each of them meets first.

A frame that repeats another's view has its hits from there. Rays are paired with the blocks whose rectangles
they go through, so that a picture costs a few array operations, however many blocks there are.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner_core.maths import vectors
from planner_core.picture.block_projection import Cameras, lifts_of
from planner_core.picture.projection import delivered_crop
from planner_core.place import blocking, solids, visibility
from planner_core.plan.model import Plan

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

COLUMNS, LINES = 32, 18  # fine enough to meter by
SKY, LEVEL_GROUND = -1, -2
NEAR_M = 0.01


def half_picture(plan: Plan) -> Array:
    """Tangents of half the angles of view, across and up."""
    crop = delivered_crop(plan.camera, plan.clip)
    return np.array([plan.clip.width_px, plan.clip.height_px]) / (2.0 * crop.focal_px)


def cell_directions(plan: Plan, rotation: Array, size: tuple[int, int] = (COLUMNS, LINES)) -> Array:
    """Directions through the middles of the cells, (n, lines · columns, 3), for cameras turned so."""
    half, (columns, lines) = half_picture(plan), size
    x = ((np.arange(columns) + 0.5) * (2.0 / columns) - 1.0) * half[0]
    y = (1.0 - (np.arange(lines) + 0.5) * (2.0 / lines)) * half[1]
    across, up = np.meshgrid(x, y)
    local = np.column_stack([across.ravel(), up.ravel(), np.full(across.size, -1.0)])
    local /= vectors.length(local)[:, None]
    (x, y, z), turned = local.T, rotation[..., None]
    directions = turned[:, :, 0] * x + turned[:, :, 2] * z + turned[:, :, 1] * y
    return np.ascontiguousarray(directions.transpose(0, 2, 1))


class PictureRays:
    """The rays through the pictures of n frames, by k = lines × columns cells from the top line down.

    eye (n, 3) and rotation (n, 3, 3) are the cameras, lifts_m (n, blocks) by how much blocks stand above
    where the plan has them; directions (n, k, 3) are the rays. Flat, all frames' rays one after another:
    distance_m, infinite for the sky; met, a block, SKY or LEVEL_GROUND; and normal (rays, 3), outward where
    something is met. followed are the frames that repeat none before them, and same_view (n,) says for each
    frame which of those it is.
    """

    def __init__(self, cameras: Cameras, at: Rows, size: tuple[int, int] = (COLUMNS, LINES)) -> None:
        self.plan = cameras.plan
        self.eye = np.asarray(cameras.camera_m, dtype=np.float64)[at]
        self.rotation = np.asarray(cameras.camera_rotation, dtype=np.float64)[at]
        lifts_m = lifts_of(cameras)
        self.lifts_m = None if lifts_m is None else np.asarray(lifts_m, dtype=np.float64)[at]
        self.columns, self.lines = size
        self.half = half_picture(self.plan)
        self.boxes = blocking.bounding_boxes(self.plan)
        self.directions = cell_directions(self.plan, self.rotation, size)
        self.followed, self.same_view = _alike(self.eye, self.rotation, self.lifts_m)
        self.distance_m, self.met, self.normal = self._first_hits()

    def _first_hits(self) -> tuple[Array, Rows, Array]:
        followed = self.followed
        directions = self.directions[followed].reshape(-1, 3)
        origins = np.repeat(self.eye[followed], self.lines * self.columns, axis=0)
        with np.errstate(divide="ignore"):
            fall = (blocking.ground_level_m(self.plan) - origins[:, 2]) / directions[:, 2]
        distance = np.where((directions[:, 2] < 0.0) & (fall > 0.0), fall, np.inf)
        met = np.where(np.isfinite(distance), LEVEL_GROUND, SKY)
        pairs = self.pairs(
            self.boxes.corners_m,
            np.arange(len(self.boxes.block)),
            followed,
            None if self.lifts_m is None else self.lifts_m[followed],
        )
        hits = solids.nearest(self.plan, origins, directions, pairs)
        nearer = hits.distance_m * (1.0 - visibility.TOUCHING) < distance
        distance = np.where(nearer, hits.distance_m, distance)
        normal = hits.normal
        normal[~nearer] = [0.0, 0.0, 1.0]
        met = np.where(nearer, hits.block, met)
        shape = (len(followed), self.lines * self.columns)
        return (
            distance.reshape(shape)[self.same_view].ravel(),
            met.reshape(shape)[self.same_view].ravel(),
            normal.reshape(*shape, 3)[self.same_view].reshape(-1, 3),
        )

    def pairs(
        self, corners_m: Array, boxes: Rows, frames: Rows, lifts_m: Array | None = None
    ) -> solids.Pairs:
        """The rays of some frames, numbered among theirs, that may meet the blocks of some boxes, by the
        rectangles around them; corners_m are those of all boxes, lifts_m (frames, blocks) what their blocks
        stand higher on each of the frames.
        """
        corners_m = corners_m[boxes]
        lines, columns = self.lines, self.columns
        whole = np.array([columns, lines])
        higher = None if lifts_m is None else lifts_m[:, self.boxes.block[boxes]]
        low, high = self._rectangles(corners_m, frames, higher)
        top_m = corners_m[..., 2].max(axis=1)
        self._cut_at_horizon(high, top_m if higher is None else top_m + higher, frames)
        first = np.clip(np.ceil((low + 1.0) / 2.0 * whole - 0.5), 0, whole).astype(np.intp)
        size = np.clip(np.floor((high + 1.0) / 2.0 * whole + 0.5), 0, whole).astype(np.intp) - first
        frame, box = np.nonzero((size > 0).all(axis=2))
        size, first = size[frame, box], first[frame, box]
        cells = size.prod(axis=1)
        within = np.arange(cells.sum()) - np.repeat(np.cumsum(cells) - cells, cells)
        up, across = np.divmod(within, np.repeat(size[:, 0], cells))
        line = lines - 1 - (np.repeat(first[:, 1], cells) + up)
        column = np.repeat(first[:, 0], cells) + across
        ray = (np.repeat(frame, cells) * lines + line) * columns + column
        block = self.boxes.block[boxes[np.repeat(box, cells)]]
        if len(self.boxes.block) > len(self.plan.blocks):  # rectangles of one block overlap
            count = len(frames) * lines * columns
            block, ray = np.divmod(np.unique(block * count + ray), count)
        lift = None if lifts_m is None else lifts_m[ray // (lines * columns), block]
        return solids.Pairs(ray=ray, block=block, lift_m=lift)

    def _cut_at_horizon(self, high: Array, top_m: Array, frames: Rows) -> None:
        """Lower the rectangles of what lies below the camera to the highest point of the horizon in each
        picture: no ray that rises meets it.
        """
        lines = self.lines
        rises = (self.directions[frames, :, 2] >= 0.0).reshape(len(frames), lines, -1).all(axis=2)
        horizon = 1.0 - 2.0 * rises.argmin(axis=1) / lines
        horizon[rises.all(axis=1)] = -2.0
        below = top_m < self.eye[frames, 2:]
        high[..., 1] = np.where(below, np.minimum(high[..., 1], horizon[:, None]), high[..., 1])

    def _rectangles(
        self, corners_m: Array, frames: Rows, higher_m: Array | None = None
    ) -> tuple[Array, Array]:
        """The rectangle around boxes (b, 8, 3) in the pictures of n frames, which go from −1 to 1: (n, b, 2)
        both.
        """
        count = len(frames)
        corner = corners_m.transpose(2, 1, 0).reshape(3, -1)  # all boxes' first corners, then the second …
        offset = corner - self.eye[frames, :, None]
        if higher_m is not None:
            offset[:, 2] += np.tile(higher_m, 8)
        local = (self.rotation[frames].transpose(0, 2, 1) @ offset).reshape(count, 3, 8, -1)
        ahead = -local[:, 2]
        px = local[:, :2] / (np.maximum(ahead, NEAR_M)[:, None] * self.half[:, None, None])
        low, high = (join(axis=2).transpose(0, 2, 1) for join in (px.min, px.max))
        near = ahead < NEAR_M
        behind, gone = near.any(axis=1), near.all(axis=1)
        low[behind], high[behind] = -1.0, 1.0
        low[gone], high[gone] = 2.0, -2.0
        return low, high


def _alike(eye: Array, rotation: Array, lifts_m: Array | None) -> tuple[Rows, Rows]:
    """Frames whose rays are followed, for all n: the first with each view and height of water; and for each
    frame which of those it is.
    """
    water = np.empty((len(eye), 0)) if lifts_m is None else lifts_m
    stands = np.round(np.concatenate([eye, rotation.reshape(-1, 9), water], axis=1), 9)
    _, first, view = np.unique(stands, axis=0, return_index=True, return_inverse=True)
    return first, view.ravel()
