"""The rig's geometry: from axis positions to where the entrance pupil is and which way the lens looks."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.plan import Plan


def direction(bearing_deg: ArrayLike, altitude_deg: ArrayLike, scene_north_deg: float) -> NDArray[np.float64]:
    """Unit vectors in scene axes (X right, Y ahead, Z up) of bearings and altitudes, shape (..., 3)."""
    turn = np.radians(np.asarray(bearing_deg, dtype=np.float64) - scene_north_deg)
    rise = np.radians(np.asarray(altitude_deg, dtype=np.float64))
    turn, rise = np.broadcast_arrays(turn, rise)
    return np.stack([np.sin(turn) * np.cos(rise), np.cos(turn) * np.cos(rise), np.sin(rise)], axis=-1)


def bearing_and_altitude(vectors: ArrayLike, scene_north_deg: float) -> tuple[NDArray, NDArray]:
    """Compass bearing (0..360) and altitude, degrees, of scene vectors of shape (..., 3)."""
    vectors = np.asarray(vectors, dtype=np.float64)
    across, ahead, up = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    bearing = (np.degrees(np.arctan2(across, ahead)) + scene_north_deg) % 360.0
    return bearing, np.degrees(np.arctan2(up, np.hypot(across, ahead)))


def camera_rotation(pan_deg: ArrayLike, tilt_deg: ArrayLike, scene_north_deg: float) -> NDArray[np.float64]:
    """Rotations scene-from-camera, shape (..., 3, 3). The camera looks along its −Z, +Y up, without roll."""
    ahead = direction(pan_deg, tilt_deg, scene_north_deg)
    pan = np.radians(
        np.broadcast_to(np.asarray(pan_deg, dtype=np.float64), ahead.shape[:-1]) - scene_north_deg
    )
    right = np.stack([np.cos(pan), -np.sin(pan), np.zeros_like(pan)], axis=-1)
    up = np.cross(right, ahead)
    return np.stack([right, up, -ahead], axis=-1)


def rail_direction(plan: Plan) -> NDArray[np.float64]:
    """Unit vector along the rail, in which slide_m grows, shape (3,)."""
    return direction(plan.rig.bearing_deg, plan.rig.incline_deg, plan.site.scene_north_deg)


def carriage_position_m(plan: Plan, slide_m: ArrayLike | None) -> NDArray[np.float64]:
    """Carriage on the rail in scene metres, shape (..., 3); the rail's start where the rig has no slide."""
    slide = np.asarray(0.0 if slide_m is None else slide_m, dtype=np.float64)
    return np.asarray(plan.rig.origin_m) + slide[..., None] * rail_direction(plan)


def camera_position_m(
    plan: Plan, slide_m: ArrayLike | None, pan_deg: ArrayLike, tilt_deg: ArrayLike
) -> NDArray[np.float64]:
    """Entrance pupil in scene metres, shape (..., 3): a head above the carriage, the pupil offset ahead."""
    head = carriage_position_m(plan, slide_m) + np.array([0.0, 0.0, plan.rig.head_height_m])
    return head + plan.rig.pupil_offset_m * direction(pan_deg, tilt_deg, plan.site.scene_north_deg)
