"""The lens and the delivered frame: crop, field of view, projection, depth of field, star drift."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.plan.model import Camera, Clip, Plan
from planner_core.rig.geometry import direction


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


def circle_of_confusion_mm(camera: Camera) -> float:
    """Largest blur that reads as sharp: sensor diagonal over 1442, 0.030 mm on 36×24 (common practice)."""
    return float(np.hypot(camera.sensor_width_mm, camera.sensor_height_mm)) / 1442.0


def hyperfocal_m(
    focal_length_mm: ArrayLike, f_number: ArrayLike, circle_of_confusion_mm: ArrayLike
) -> NDArray[np.float64]:
    """Distance to focus at for the deepest sharpness to infinity.

    Arguments broadcast; the result is in metres. Raises ValueError where a length or f-number is not
    positive. H = f²/(N c) + f, any handbook of optics.
    """
    f, n, c = (
        np.asarray(value, dtype=np.float64) for value in (focal_length_mm, f_number, circle_of_confusion_mm)
    )
    if np.any(f <= 0) or np.any(n <= 0) or np.any(c <= 0):
        raise ValueError("focal length, f-number and circle of confusion must be above 0")
    return (f**2 / (n * c) + f) / 1000.0


def depth_of_field_m(
    focus_m: ArrayLike, focal_length_mm: ArrayLike, f_number: ArrayLike, circle_of_confusion_mm: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nearest and farthest sharp distance in metres; the far one is infinite from the hyperfocal distance on.

    near = s(H − f)/(H + s − 2f), far = s(H − f)/(H − s), any handbook of optics.
    """
    s, f = np.asarray(focus_m, dtype=np.float64), np.asarray(focal_length_mm, dtype=np.float64) / 1000.0
    h = hyperfocal_m(focal_length_mm, f_number, circle_of_confusion_mm)
    near = s * (h - f) / (h + s - 2.0 * f)
    beyond = h - s
    far = np.where(beyond > 0.0, s * (h - f) / np.where(beyond > 0.0, beyond, 1.0), np.inf)
    return near, far


def blur_disc_mm(
    distance_m: ArrayLike, focus_m: ArrayLike, focal_length_mm: ArrayLike, f_number: ArrayLike
) -> NDArray[np.float64]:
    """Width on the sensor of a point's blur, millimetres; arguments broadcast, distances from the pupil.

    f²/(N (s − f)) · |D − s|/D, thin lens, any handbook of optics; it equals the circle of
    confusion at the ends of depth_of_field_m. An infinite distance has the limit f²/(N (s − f)).
    """
    d, s = np.asarray(distance_m, dtype=np.float64), np.asarray(focus_m, dtype=np.float64)
    f, n = np.asarray(focal_length_mm, dtype=np.float64), np.asarray(f_number, dtype=np.float64)
    share = np.abs(1.0 - s / d)
    return f**2 / (n * (1000.0 * s - f)) * share


def focus_between_m(
    near_m: float, far_m: float, focal_length_mm: float, circle_of_confusion_mm: float
) -> tuple[float, float]:
    """Focus distance that blurs two distances alike, and the f-number at which both are just sharp.

    far_m may be infinite: the focus is then twice the near distance, the hyperfocal distance of that
    f-number. s = 2ab/(a + b) and N = f² |b − s| / (b c (s − f)), from the blur of a thin lens.
    """
    focus_m = 2.0 * near_m if np.isinf(far_m) else 2.0 * near_m * far_m / (near_m + far_m)
    blur_at_f1 = float(blur_disc_mm(near_m, focus_m, focal_length_mm, 1.0))
    return focus_m, blur_at_f1 / circle_of_confusion_mm


# ---------------------------------------------------------------- stars

SKY_TURN_ARCSEC_S = 15.041  # hour angle a second of mean time, sidereal
FULL_FRAME_DIAGONAL_MM = 43.2666
# places across the frame, edges included, at which stars are watched: the drift is fastest at an edge or on a
# line
_WATCHED = np.stack(np.meshgrid(np.linspace(-0.5, 0.5, 7), np.linspace(-0.5, 0.5, 5)), axis=-1).reshape(-1, 2)


def star_drift_px_s(plan: Plan, rotation: ArrayLike) -> NDArray[np.float64]:
    """How fast the fastest star in the frame drifts, clip pixels a second; NaN without sky in the frame.

    rotation (..., 3, 3) is scene-from-camera; the result has shape (...). The sky turns about the pole by
    15.041″ a second, so a star at declination δ moves 15.041″·cos δ, drawn out towards the frame's edges by
    the projection. Only what is above the level horizon counts; blocks that hide the sky don't.
    """
    turn = np.asarray(rotation, dtype=np.float64)
    crop = delivered_crop(plan.camera, plan.clip)
    sides = np.array([plan.clip.width_px, plan.clip.height_px]) / crop.focal_px
    ray = np.column_stack([_WATCHED * sides, np.full(len(_WATCHED), -1.0)])  # camera axes, one ahead
    pole = direction(0.0, plan.site.latitude_deg, plan.site.scene_north_deg)
    in_camera = np.einsum("...ji,j->...i", turn, pole)
    moving = np.cross(in_camera[..., None, :], ray) * np.radians(SKY_TURN_ARCSEC_S / 3600.0)
    # with z = −1 the picture's place is (x, y), and moving out of that plane draws it in or out
    drift = np.hypot(moving[..., 0] + ray[:, 0] * moving[..., 2], moving[..., 1] + ray[:, 1] * moving[..., 2])
    height = np.einsum("...j,kj->...k", turn[..., 2, :], ray)
    fastest = np.max(np.where(height > 0.0, drift, -np.inf), axis=-1)
    return np.where(np.isfinite(fastest), fastest * crop.focal_px, np.nan)


def full_frame_focal_mm(camera: Camera) -> float:
    """Focal length with the same diagonal view on 36×24 mm."""
    diagonal = float(np.hypot(camera.sensor_width_mm, camera.sensor_height_mm))
    return camera.focal_length_mm * FULL_FRAME_DIAGONAL_MM / diagonal


def rule_of_500_s(camera: Camera) -> float:
    """Longest exposure for pointlike stars: 500 over the full-frame focal length (common practice)."""
    return 500.0 / full_frame_focal_mm(camera)
