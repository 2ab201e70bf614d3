"""Parallax: how far near, middle and far move against each other while the camera travels.

What turning the camera does is left out: the shift of a thing is that of its picture between the first and
the last place of the camera, with the lens turned as on the middle frame. So a pan about the entrance pupil
shifts nothing, and a slide of d across the line of sight shifts a thing at the distance Z by f·d/Z.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.picture.block_visibility import BlockVisibility
from planner_core.place import blocking
from planner_core.plan.model import Plan
from planner_core.rig.motion import axis_positions

Array = NDArray[np.float64]

# Common practice, no source: how far things must move apart over the clip, in percent of the frame's width.
STILL_PERCENT = 1.0  # what shifts less looks still
MISSING_PERCENT = 5.0  # a slide that separates near and far by less is hardly seen
GOOD_PERCENT = 15.0  # a slide that separates them by this much is plain to see
PRACTICE_M = 1.0  # a foreground about a metre away works
MOVING_M = 0.02  # a camera that travels less stands still

SMALL_SHARE = 0.001  # of the frame; what is smaller is no foreground
SAMPLE_FRAMES = 5
_ALONG = np.linspace(-1.0, 1.0, 9)
_LATTICE = np.array([(a, b, c) for a in _ALONG for b in (-1.0, 1.0) for c in (-1.0, 1.0)])
HORIZON = -1


@frozen(kw_only=True)
class Layer:
    """A thing in the picture: its block (HORIZON for what is infinitely far), its distance and its shift."""

    block: int
    distance_m: float
    shift_percent: float


@frozen(kw_only=True)
class Parallax:
    """What the camera's travel does to the picture.

    travel_m: between the camera's places that lie farthest apart. near, middle, far: what is in the picture,
    None where nothing is. separation_percent: shift of near against far, in percent of the frame's width.
    still_beyond_m: from which distance on everything looks still. plain_within_m: up to which distance a
    foreground moves plainly. layers: every block in the picture, the nearest first.
    """

    travel_m: float
    near: Layer | None
    middle: Layer | None
    far: Layer | None
    separation_percent: float
    still_beyond_m: float
    plain_within_m: float
    layers: tuple[Layer, ...]


def slides(plan: Plan) -> bool:
    """Whether the plan moves the carriage along the rail at all; a single frame never does."""
    if plan.shoot.frames < 2:
        return False
    slide = axis_positions(plan, np.linspace(0.0, 1.0, 33)).slide_m
    return plan.rig.slide is not None and slide is not None and float(np.ptp(slide)) >= MOVING_M


def parallax(plan: Plan, visibility: BlockVisibility) -> Parallax:
    """The parallax of a clip."""
    camera = visibility.camera_m
    first, last = _farthest_apart(camera)
    travel = float(np.linalg.norm(camera[last] - camera[first]))
    lens = visibility.camera_rotation[len(visibility) // 2]
    strength = _strength_px_m(visibility, camera[last] - camera[first], lens)
    blocks, distance, shift = _shifts(plan, visibility, first, last, lens)
    width = visibility.width_px
    layers = tuple(
        Layer(block=int(b), distance_m=float(d), shift_percent=float(np.hypot(*s)) / width * 100.0)
        for b, d, s in zip(blocks, distance, shift, strict=True)
    )
    near, middle, far = _near_middle_far(plan, layers)
    apart = 0.0
    if near is not None and far is not None:
        ends = [
            shift[layers.index(layer)] if layer.block != HORIZON else np.zeros(2) for layer in (near, far)
        ]
        apart = float(np.hypot(*(ends[0] - ends[1]))) / width * 100.0
    return Parallax(
        travel_m=travel,
        near=near,
        middle=middle,
        far=far,
        separation_percent=apart,
        still_beyond_m=strength / (STILL_PERCENT / 100.0 * width),
        plain_within_m=strength / (GOOD_PERCENT / 100.0 * width),
        layers=layers,
    )


def _farthest_apart(camera_m: Array) -> tuple[int, int]:
    """The two frames between which the camera travels farthest."""
    first = int(np.argmax(np.linalg.norm(camera_m - camera_m[0], axis=1)))
    second = int(np.argmax(np.linalg.norm(camera_m - camera_m[first], axis=1)))
    return min(first, second), max(first, second)


def _strength_px_m(visibility: BlockVisibility, travel: Array, lens: Array) -> float:
    """Shift in clip pixels, times distance in metres, of a thing halfway between the middle and the side of
    the frame.
    """
    across, up, back = travel @ lens
    return float(
        np.hypot(
            abs(across) * visibility.focal_px + abs(back) * visibility.width_px / 4.0,
            up * visibility.focal_px,
        )
    )


def _shifts(
    plan: Plan, visibility: BlockVisibility, first: int, last: int, lens: Array
) -> tuple[NDArray[np.intp], Array, Array]:
    """Blocks in the picture, the nearest first: number, distance of the nearest part in it, and shift (n, 2)
    in pixels.
    """
    frames = np.unique(np.linspace(0, len(visibility) - 1, SAMPLE_FRAMES).round().astype(int))
    width, height = visibility.width_px, visibility.height_px
    rect = [side[frames] for side in (visibility.left, visibility.top, visibility.right, visibility.bottom)]
    shown = (np.clip(rect[2], 0, width) - np.clip(rect[0], 0, width)) * (
        np.clip(rect[3], 0, height) - np.clip(rect[1], 0, height)
    )
    large = np.nanmax(np.append(np.nan_to_num(shown), np.zeros((1, shown.shape[1])), axis=0), axis=0)
    roles = np.array([block.role not in ("ground", "water") for block in plan.blocks], dtype=bool)
    kept = np.flatnonzero((large >= SMALL_SHARE * width * height) & roles)
    boxes = visibility.boxes
    chosen = np.flatnonzero(np.isin(boxes.block, kept))
    none = np.empty(0, dtype=np.intp)
    if not len(chosen):
        return none, np.empty(0), np.empty((0, 2))
    points = _surface(boxes, chosen)
    turned, camera = visibility.camera_rotation[frames], visibility.camera_m[frames]
    local = points.reshape(1, -1, 3) @ turned - (camera[:, None] @ turned)
    local = local.reshape(len(frames), *points.shape)
    depth = -local[..., 2]
    across, up = (np.abs(local[..., axis]) * visibility.focal_px for axis in (0, 1))
    inside = (depth > 0.0) & (across <= depth * width / 2.0) & (up <= depth * height / 2.0)
    squared = np.where(inside, np.einsum("fbpi,fbpi->fbp", local, local), np.inf)
    reach = np.sqrt(squared.min(axis=0))  # (boxes, points)
    best = reach.argmin(axis=1)
    rows = np.arange(len(chosen))
    distance, spot = reach[rows, best], points[rows, best]
    ends = [(spot - visibility.camera_m[frame]) @ lens for frame in (first, last)]
    ahead = np.isfinite(distance) & (ends[0][:, 2] < 0.0) & (ends[1][:, 2] < 0.0)
    pictures = [end[:, :2] / np.where(ahead, -end[:, 2], 1.0)[:, None] * visibility.focal_px for end in ends]
    shift = (pictures[1] - pictures[0]) * (1.0, -1.0)
    order = np.flatnonzero(ahead)[np.argsort(distance[ahead], kind="stable")]
    _, firsts = np.unique(boxes.block[chosen[order]], return_index=True)  # the nearest box of each block
    order = order[np.sort(firsts)]
    return boxes.block[chosen[order]], distance[order], shift[order]


def _surface(boxes: blocking.Boxes, chosen: NDArray[np.intp]) -> Array:
    """Points on bounding boxes, (boxes, points, 3), close together along each box's longer side."""
    half, turn = boxes.half_m[chosen], boxes.turn_rad[chosen]
    swap = half[:, 1] > half[:, 0]
    local = np.where(swap[:, None, None], _LATTICE[:, [1, 0, 2]], _LATTICE) * half[:, None]
    cos, sin = np.cos(turn)[:, None], np.sin(turn)[:, None]
    turned = np.stack(
        [local[..., 0] * cos + local[..., 1] * sin, local[..., 1] * cos - local[..., 0] * sin, local[..., 2]],
        axis=-1,
    )
    return boxes.centre_m[chosen][:, None] + turned


def _near_middle_far(
    plan: Plan, layers: tuple[Layer, ...]
) -> tuple[Layer | None, Layer | None, Layer | None]:
    """The nearest, the subject or else one between, and the farthest, for which the horizon stands in."""
    if not layers:
        return None, None, None
    near, far = layers[0], layers[-1]
    if len(layers) == 1:
        return near, None, Layer(block=HORIZON, distance_m=np.inf, shift_percent=0.0)
    between = layers[1:-1]
    subject = [layer for layer in between if layer.block in blocking.subject_indices(plan)]
    middle = subject[0] if subject else between[len(between) // 2] if between else None
    return near, middle, far
