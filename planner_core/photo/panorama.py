"""A panorama as flat pictures: what a lens that keeps lines straight would show of it, aimed anywhere."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from planner_core.photo.camera import focal_px, photo_rotation, pixels
from planner_core.plan.model import Photo

Array = NDArray[np.float64]

WIDEST_DEG = 90.0  # of a flat picture; a wider one shows its edges drawn out


def view_deg(photo: Photo) -> float:
    """The horizontal field of view of a photograph's flat picture."""
    return photo.fov_deg if photo.projection == "flat" else min(photo.fov_deg, WIDEST_DEG)


def aspect(photo: Photo) -> float:
    """Width over height of a photograph's flat picture: of a panorama, as high as its middle is."""
    if photo.projection == "flat":
        return photo.width_px / photo.height_px
    return 2.0 * math.tan(math.radians(view_deg(photo)) / 2.0) * focal_px(photo) / photo.height_px


def held_deg(photo: Photo, look_deg: float) -> float:
    """A turn away from a panorama's middle, within what it shows; 0 for a flat photograph."""
    if photo.projection == "flat":
        return 0.0
    if photo.fov_deg >= 359.0:
        return (look_deg + 180.0) % 360.0 - 180.0
    most = (photo.fov_deg - view_deg(photo)) / 2.0
    return min(max(look_deg, -most), most)


def turned(look_deg: float) -> Array:
    """Rotation panorama-from-flat, (3, 3), for a flat picture so far right of the panorama's middle."""
    turn = math.radians(look_deg)
    sine, cosine = math.sin(turn), math.cos(turn)
    return np.array([[cosine, 0.0, -sine], [0.0, 1.0, 0.0], [sine, 0.0, cosine]])


def flat_rotation(photo: Photo, look_deg: float, scene_north_deg: float) -> Array:
    """Rotation scene-from-camera, (3, 3), of the flat picture."""
    return np.asarray(photo_rotation(photo, scene_north_deg) @ turned(look_deg))


def sources_px(photo: Photo, look_deg: float, width: int, height: int) -> Array:
    """Where in a panorama each pixel of its flat picture comes from, (height, width, 2), from the top left.

    What lies beyond the panorama lies outside of its pixels.
    """
    focal = width / 2.0 / math.tan(math.radians(view_deg(photo)) / 2.0)
    x, y = np.meshgrid(np.arange(width) + 0.5 - width / 2.0, height / 2.0 - np.arange(height) - 0.5)
    rays = np.stack([x, y, np.full_like(x, -focal)], axis=-1) @ turned(look_deg).T
    return pixels(photo, rays, np.eye(3), focal_px(photo))
