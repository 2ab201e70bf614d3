"""Parallax: how far near, middle and far move against each other while the camera travels.

What turning the camera does is left out: the shift of a thing is that of its picture between the first and
the last place of the camera, with the lens turned as on the middle frame, or where that looks away from it
as on the frame that has it nearest. So a pan about the entrance pupil
shifts nothing, and a slide of d across the line of sight shifts a thing at the distance Z by f·d/Z.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.picture.block_visibility import BlockVisibility
from planner_core.place import blocking
from planner_core.place.silhouette import NEAR_M
from planner_core.plan.model import Plan
from planner_core.rig.motion import axis_positions

Array = NDArray[np.float64]

# Common practice, no source: how far things must move apart over the clip, in percent of the frame's width.
STILL_PERCENT = 1.0  # what shifts less looks still
MISSING_PERCENT = 5.0  # a slide that separates near and far by less is hardly seen
GOOD_PERCENT = 15.0  # a slide that separates them by this much is plain to see
PRACTICE_M = 1.2  # a usual distance for a foreground to slide past
MOVING_M = 0.02  # a camera that travels less stands still

SMALL_SHARE = 0.001  # of the frame; what is smaller is no foreground
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
    blocks, distance, shift = _shifts(visibility, first, last, lens)
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
    visibility: BlockVisibility, first: int, last: int, lens: Array
) -> tuple[NDArray[np.intp], Array, Array]:
    """Blocks in the picture, the nearest first: number, distance of the nearest part in it, and shift (n, 2)
    in pixels.
    """
    nearest = visibility.nearest
    blocks = np.flatnonzero(np.isfinite(nearest.distance_m))
    frame = nearest.frame[blocks]
    width, height = visibility.width_px, visibility.height_px
    left, right = (np.clip(side[frame, blocks], 0.0, width) for side in (visibility.left, visibility.right))
    top, bottom = (np.clip(side[frame, blocks], 0.0, height) for side in (visibility.top, visibility.bottom))
    blocks = blocks[(right - left) * (bottom - top) >= SMALL_SHARE * width * height]
    blocks = blocks[np.argsort(nearest.distance_m[blocks], kind="stable")]
    offsets = nearest.near_m[blocks] - visibility.camera_m[[first, last]][:, None]
    ends = offsets @ lens
    aside = (ends[..., 2] >= -NEAR_M).any(axis=0)  # seen only while the lens is turned another way
    own = visibility.camera_rotation[nearest.frame[blocks[aside]]]
    ends[:, aside] = np.einsum("eni,nij->enj", offsets[:, aside], own)
    depth = -ends[..., 2]
    pictures = ends[..., :2] / np.maximum(depth, NEAR_M)[..., None] * visibility.focal_px
    shift = (pictures[1] - pictures[0]) * (1.0, -1.0)
    shift[(depth < NEAR_M).any(axis=0)] = width, 0.0  # passed by the camera: it has crossed the picture
    return blocks, nearest.distance_m[blocks], shift


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
