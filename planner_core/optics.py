"""The lens and the delivered frame: crop, field of view, projection to clip pixels, depth of field."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.plan import Camera, Clip, Plan


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


def field_of_view_deg(size_mm: ArrayLike, focal_length_mm: ArrayLike) -> NDArray[np.float64]:
    """Angle of view of a sensor side, degrees: 2·atan(w / 2f)."""
    return np.degrees(2.0 * np.arctan(np.asarray(size_mm) / (2.0 * np.asarray(focal_length_mm))))


def project_px(
    plan: Plan, points_m: ArrayLike, position_m: ArrayLike, rotation: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Clip pixels and depth of scene points for cameras.

    points_m (..., 3) broadcasts against position_m (..., 3) and rotation (..., 3, 3). Returns x, y in clip pixels,
    shape (..., 2), origin at the frame's top left corner with y down, and the depth ahead of the entrance pupil in
    metres, shape (...). Points at or behind the pupil (depth ≤ 0) have no picture: their pixels are NaN.
    """
    offset = np.asarray(points_m, dtype=np.float64) - np.asarray(position_m, dtype=np.float64)
    local = np.einsum("...ji,...j->...i", np.asarray(rotation, dtype=np.float64), offset)
    depth = -local[..., 2]
    scale = delivered_crop(plan.camera, plan.clip).focal_px / np.where(depth > 0.0, depth, np.nan)
    x = plan.clip.width_px / 2.0 + local[..., 0] * scale
    y = plan.clip.height_px / 2.0 - local[..., 1] * scale
    return np.stack([x, y], axis=-1), depth


def blur_circle_mm(camera: Camera) -> float:
    """Largest blur that still reads as sharp: the sensor's diagonal over 1442, 0.030 mm on 36×24 (common practice)."""
    return float(np.hypot(camera.sensor_width_mm, camera.sensor_height_mm)) / 1442.0


def hyperfocal_m(
    focal_length_mm: ArrayLike, f_number: ArrayLike, blur_circle_mm: ArrayLike
) -> NDArray[np.float64]:
    """Distance to focus at for the deepest sharpness to infinity.

    Arguments broadcast; the result is in metres. Raises ValueError where a length or f-number is not positive.
    H = f²/(N c) + f, any handbook of optics.
    """
    f, n, c = (np.asarray(value, dtype=np.float64) for value in (focal_length_mm, f_number, blur_circle_mm))
    if np.any(f <= 0) or np.any(n <= 0) or np.any(c <= 0):
        raise ValueError("focal length, f-number and blur circle must be above 0")
    return (f**2 / (n * c) + f) / 1000.0


def depth_of_field_m(
    focus_m: ArrayLike, focal_length_mm: ArrayLike, f_number: ArrayLike, blur_circle_mm: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nearest and farthest sharp distance in metres; the far one is infinite from the hyperfocal distance on.

    near = s(H − f)/(H + s − 2f), far = s(H − f)/(H − s), any handbook of optics.
    """
    s, f = np.asarray(focus_m, dtype=np.float64), np.asarray(focal_length_mm, dtype=np.float64) / 1000.0
    h = hyperfocal_m(focal_length_mm, f_number, blur_circle_mm)
    near = s * (h - f) / (h + s - 2.0 * f)
    beyond = h - s
    far = np.where(beyond > 0.0, s * (h - f) / np.where(beyond > 0.0, beyond, 1.0), np.inf)
    return near, far
