"""The lens: depth of field, circle of confusion, drift of the stars."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.picture.projection import delivered_crop
from planner_core.plan.model import Camera, Plan
from planner_core.rig.geometry import direction


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
    defocus = np.abs(1.0 - s / d)
    return f**2 / (n * (1000.0 * s - f)) * defocus


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
