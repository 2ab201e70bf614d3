"""From axis positions to camera poses: where the entrance pupil is and which way the lens looks."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.plan.model import Plan
from planner_core.rig import geometry, motion
from planner_core.rig.axes import AxisPositions

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class CameraPose:
    """The camera in the scene, at one instant or at many: arrays of shape (..., 3), (..., 3, 3) and (...).

    camera_m is the entrance pupil in scene metres; camera_rotation turns camera axes (looking along −Z, +Y
    up) into scene axes; lens_bearing_deg and lens_altitude_deg say where the lens looks.
    """

    camera_m: Array
    camera_rotation: Array
    lens_bearing_deg: Array
    lens_altitude_deg: Array


@frozen(kw_only=True, eq=False)
class CameraPath(CameraPose):
    """Poses along a plan's move: at (n,) has the place of each in the move, 0 to 1."""

    plan: Plan
    at: Array


def camera_pose(plan: Plan, axes: AxisPositions, shape: tuple[int, ...]) -> CameraPose:
    """Where these axis positions, which broadcast to shape, put the camera.

    Without a value the carriage is at the rail's start, and the lens looks along the scene's +Y, level.
    """
    north = plan.site.scene_north_deg
    bearing = np.broadcast_to(np.asarray(north if axes.pan_deg is None else axes.pan_deg, float), shape)
    altitude = np.broadcast_to(np.asarray(0.0 if axes.tilt_deg is None else axes.tilt_deg, float), shape)
    position = geometry.camera_position_m(plan, axes.slide_m, bearing, altitude)
    return CameraPose(
        camera_m=np.broadcast_to(position, (*shape, 3)),
        camera_rotation=geometry.camera_rotation(bearing, altitude, north),
        lens_bearing_deg=bearing,
        lens_altitude_deg=altitude,
    )


def camera_path(plan: Plan, at: Array) -> CameraPath:
    """The camera at places (n,) of the move, 0 to 1, without anything about time or light."""
    return camera_along(plan, at, motion.axis_positions(plan, at))


def camera_along(plan: Plan, at: Array, axes: AxisPositions) -> CameraPath:
    """The camera at places (n,) of the move for any axis positions (n,) there."""
    pose = camera_pose(plan, axes, at.shape)
    return CameraPath(
        plan=plan,
        at=at,
        camera_m=pose.camera_m,
        camera_rotation=pose.camera_rotation,
        lens_bearing_deg=pose.lens_bearing_deg,
        lens_altitude_deg=pose.lens_altitude_deg,
    )
