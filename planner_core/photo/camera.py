"""The camera that took a photograph: from directions at the place to pixels of the picture, and back."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.plan.model import Photo
from planner_core.rig.geometry import camera_rotation

Array = NDArray[np.float64]

NEAREST = 1e-6  # of a direction's length: what lies less far ahead is beside the camera


def rotation(bearing_deg: float, altitude_deg: float, roll_deg: float, scene_north_deg: float) -> Array:
    """Rotation scene-from-camera, (3, 3): the camera looks along its −Z, +Y up; roll leans it rightward."""
    level = camera_rotation(bearing_deg, altitude_deg, scene_north_deg)
    roll = math.radians(roll_deg)
    right, up = level[:, 0], level[:, 1]
    return np.stack(
        [
            right * math.cos(roll) - up * math.sin(roll),
            right * math.sin(roll) + up * math.cos(roll),
            level[:, 2],
        ],
        axis=-1,
    )


def photo_rotation(photo: Photo, scene_north_deg: float) -> Array:
    """Rotation scene-from-camera of a photograph as the plan has it, (3, 3)."""
    return rotation(photo.bearing_deg, photo.altitude_deg, photo.roll_deg, scene_north_deg)


def focal_px(photo: Photo) -> float:
    """Focal length in pixels; of a panorama, its pixels a radian."""
    half = math.radians(photo.fov_deg) / 2.0
    return photo.width_px / 2.0 / (half if photo.projection == "cylinder" else math.tan(half))


def fov_of_focal_deg(photo: Photo, focal: float) -> float:
    """The horizontal field of view that a focal length in pixels gives."""
    half = photo.width_px / 2.0 / focal
    return math.degrees(2.0 * (half if photo.projection == "cylinder" else math.atan(half)))


def pixels(photo: Photo, directions: ArrayLike, aim: Array, focal: float) -> Array:
    """Where directions in the scene (n, 3) are in the picture, (n, 2), for a rotation and a focal length.

    A direction beside or behind a flat picture lies far outside of it.
    """
    right, up, back = np.moveaxis(np.asarray(directions, dtype=np.float64) @ aim, -1, 0)
    ahead = -back
    if photo.projection == "cylinder":
        across, rise = np.arctan2(right, ahead), up / np.maximum(np.hypot(right, ahead), NEAREST)
    else:
        depth = np.maximum(ahead, NEAREST)
        across, rise = right / depth, up / depth
    return np.stack([photo.width_px / 2.0 + focal * across, photo.height_px / 2.0 - focal * rise], axis=-1)


def directions(photo: Photo, points_px: ArrayLike, aim: Array, focal: float) -> Array:
    """Unit vectors in the scene (n, 3) of points in the picture (n, 2)."""
    return in_camera(photo, points_px, focal) @ aim.T


def in_camera(photo: Photo, points_px: ArrayLike, focal: float) -> Array:
    """Unit vectors in camera axes (n, 3) of points in the picture (n, 2)."""
    points = np.asarray(points_px, dtype=np.float64)
    across = (points[..., 0] - photo.width_px / 2.0) / focal
    rise = (photo.height_px / 2.0 - points[..., 1]) / focal
    if photo.projection == "cylinder":
        vectors = np.stack([np.sin(across), rise, -np.cos(across)], axis=-1)
    else:
        vectors = np.stack([across, rise, -np.ones_like(across)], axis=-1)
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


def sight(photo: Photo, point_px: tuple[float, float], scene_north_deg: float) -> Array:
    """Unit vector in the scene, (3,), toward what is at a point of the picture, by the plan's values."""
    return directions(photo, [point_px], photo_rotation(photo, scene_north_deg), focal_px(photo))[0]
