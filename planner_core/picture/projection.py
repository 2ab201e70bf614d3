"""Projection into the delivered frame: crop, field of view, and where scene points are in the picture.

The picture is the delivered clip frame, in clip pixels from its top left corner. What lies nearer to the
entrance pupil than NEAR_M is cut off.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.place.silhouette import NEAR_M
from planner_core.plan.model import Camera, Clip, Plan

Array = NDArray[np.float64]


@frozen(kw_only=True)
class Crop:
    """The widest part of the sensor with the clip's shape: what is delivered and judged."""

    width_mm: float
    height_mm: float
    focal_px: float  # focal length in clip pixels; clip pixels are square on the crop


def delivered_crop(camera: Camera, clip: Clip) -> Crop:
    """The widest crop of the sensor with the clip's shape (16:9 out of 3:2 keeps the width)."""
    shape = clip.width_px / clip.height_px
    width_mm = min(camera.sensor_width_mm, camera.sensor_height_mm * shape)
    return Crop(
        width_mm=width_mm,
        height_mm=width_mm / shape,
        focal_px=camera.focal_length_mm / width_mm * clip.width_px,
    )


def delivered_image_px(camera: Camera, clip: Clip) -> tuple[float, float]:
    """Width and height of that crop in pixels of the camera's image."""
    crop = delivered_crop(camera, clip)
    return (
        crop.width_mm / camera.sensor_width_mm * camera.image_width_px,
        crop.height_mm / camera.sensor_height_mm * camera.image_height_px,
    )


def field_of_view_deg(size_mm: ArrayLike, focal_length_mm: ArrayLike) -> NDArray[np.float64]:
    """Angle of view of a sensor side, degrees: 2·atan(w / 2f)."""
    return np.degrees(2.0 * np.arctan(np.asarray(size_mm) / (2.0 * np.asarray(focal_length_mm))))


def project_px(
    plan: Plan, points_m: ArrayLike, position_m: ArrayLike, rotation: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Clip pixels and depth of scene points for cameras.

    points_m (..., 3) broadcasts against position_m (..., 3) and rotation (..., 3, 3). Returns x, y in clip
    pixels, shape (..., 2), origin at the frame's top left corner with y down, and the depth ahead of the
    entrance pupil in metres, shape (...). Points at or behind the pupil (depth ≤ 0) have no picture: their
    pixels are NaN.
    """
    offset = np.asarray(points_m, dtype=np.float64) - np.asarray(position_m, dtype=np.float64)
    local = np.einsum("...ji,...j->...i", np.asarray(rotation, dtype=np.float64), offset)
    depth = -local[..., 2]
    scale = delivered_crop(plan.camera, plan.clip).focal_px / np.where(depth > 0.0, depth, np.nan)
    x = plan.clip.width_px / 2.0 + local[..., 0] * scale
    y = plan.clip.height_px / 2.0 - local[..., 1] * scale
    return np.stack([x, y], axis=-1), depth


# ---------------------------------------------------------------- points along a clip


@frozen(kw_only=True, eq=False)
class PointPaths:
    """Where the same points are in every frame's picture, arrays of shape (frames, points).

    x_px and y_px are clip pixels from the frame's top left corner, NaN where depth_m, the distance ahead of
    the camera, is not above 0.
    """

    x_px: Array
    y_px: Array
    depth_m: Array


def point_paths(
    plan: Plan, points_m: Array, camera_m: Array, camera_rotation: Array, lift_m: Array | None = None
) -> PointPaths:
    """Where the same points (points, 3) are in the picture of every frame's camera.

    What project_px gives, faster, for the case that every frame sees every point. camera_m is
    (frames, 3), camera_rotation (frames, 3, 3), and lift_m by how much points stand higher on a frame, as
    tidal water does, (frames, points).
    """
    axes = np.ascontiguousarray(camera_rotation.transpose(2, 0, 1))  # right, up, back: (3, frames, 3)
    local = (axes.reshape(-1, 3) @ np.ascontiguousarray(points_m).T).reshape(3, len(camera_m), -1)
    local -= np.einsum("jfi,fi->jf", axes, camera_m)[:, :, None]
    if lift_m is not None:
        local += axes[:, :, 2, None] * lift_m
    x, y, depth = local
    np.negative(depth, out=depth)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        scale = delivered_crop(plan.camera, plan.clip).focal_px / depth
        scale[depth <= 0.0] = np.nan
        x *= scale
        y *= scale
    x += plan.clip.width_px / 2.0
    np.subtract(plan.clip.height_px / 2.0, y, out=y)
    return PointPaths(x_px=x, y_px=y, depth_m=depth)


def in_picture(plan: Plan, paths: PointPaths) -> NDArray[np.bool_]:
    """Whether points lie ahead of the camera and inside the delivered frame, (frames, points)."""
    x, y = paths.x_px, paths.y_px
    return (x >= 0.0) & (x <= plan.clip.width_px) & (y >= 0.0) & (y <= plan.clip.height_px)


# ---------------------------------------------------------------- the near plane

_BOX_EDGES = np.array(
    [(0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7)]
)


def clipped_extent(local: Array, focal_px: float) -> Array:
    """Left, low, right, high, (4, n), of boxes that reach behind the near plane, from corners (3, 8, n) in
    camera axes.

    In pixels from the middle of the frame, y up; NaN where all of a box is behind.
    """
    a, b = _BOX_EDGES.T
    depth = -local[2]
    ahead = depth > NEAR_M
    cut = ahead[a] != ahead[b]
    run = np.where(cut, depth[a] - depth[b], 1.0)
    fraction = np.where(cut, (depth[a] - NEAR_M) / run, 0.0)
    crossing = local[:2, a] + fraction * (local[:2, b] - local[:2, a])
    corner = local[:2] * (focal_px / np.where(ahead, depth, 1.0))
    points = np.concatenate([corner, crossing * (focal_px / NEAR_M)], axis=1)
    there = np.concatenate([ahead, cut])
    low = np.where(there, points, np.inf).min(axis=1)
    high = np.where(there, points, -np.inf).max(axis=1)
    return np.where(ahead.any(axis=0), np.concatenate([low, high]), np.nan)
