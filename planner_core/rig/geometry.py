"""The rig's geometry: directions, rail, head, pupil and legs, and the shadow they throw."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.maths.angles import compass_deg
from planner_core.maths.vectors import cross, from_components
from planner_core.place import ground, outlines
from planner_core.place.blocking import ground_level_m
from planner_core.plan.model import Plan


def direction(bearing_deg: ArrayLike, altitude_deg: ArrayLike, scene_north_deg: float) -> NDArray[np.float64]:
    """Unit vectors in scene axes (X right, Y ahead, Z up) of bearings and altitudes, shape (..., 3)."""
    turn = np.radians(np.asarray(bearing_deg, dtype=np.float64) - scene_north_deg)
    rise = np.radians(np.asarray(altitude_deg, dtype=np.float64))
    level = np.cos(rise)
    return from_components(np.sin(turn) * level, np.cos(turn) * level, np.sin(rise))


def bearing_and_altitude(vectors: ArrayLike, scene_north_deg: float) -> tuple[NDArray, NDArray]:
    """Compass bearing (0..360) and altitude, degrees, of scene vectors of shape (..., 3)."""
    vectors = np.asarray(vectors, dtype=np.float64)
    across, ahead, up = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    bearing = compass_deg(np.degrees(np.arctan2(across, ahead)) + scene_north_deg)
    return bearing, np.degrees(np.arctan2(up, np.hypot(across, ahead)))


def camera_rotation(pan_deg: ArrayLike, tilt_deg: ArrayLike, scene_north_deg: float) -> NDArray[np.float64]:
    """Rotations scene-from-camera, shape (..., 3, 3). The camera looks along its −Z, +Y up, without roll."""
    ahead = direction(pan_deg, tilt_deg, scene_north_deg)
    pan = np.radians(
        np.broadcast_to(np.asarray(pan_deg, dtype=np.float64), ahead.shape[:-1]) - scene_north_deg
    )
    right = from_components(np.cos(pan), -np.sin(pan), np.zeros_like(pan))
    up = cross(right, ahead)
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


def head_middle_m(plan: Plan) -> NDArray[np.float64]:
    """The head with the carriage in the middle of the usable rail, scene metres, shape (3,).

    It is near the camera of every frame, and no pose changes it.
    """
    slide = plan.rig.slide
    middle = None if slide is None else (slide.min_m + slide.max_m) / 2.0
    return carriage_position_m(plan, middle) + np.array([0.0, 0.0, plan.rig.head_height_m])


# ---------------------------------------------------------------- the rig as a thing that stands in the scene

LEG_SPREAD_M = 0.3  # how far a tripod's feet are from the point below the rail's end; value from memory
ON_SLOPES = 8  # steps in which a shadow finds its place on a slope
LONGEST_LEGS_M = 1.6  # a rail higher than this rests on something other than legs; value from memory
RAIL_POINTS, LEG_POINTS = 16, 6


def rail_points_m(plan: Plan) -> NDArray[np.float64]:
    """Points along the usable rail, its ends first and last, scene metres, (n, 3); none without a rail."""
    slide = plan.rig.slide
    if slide is None:
        return np.zeros((0, 3))
    return carriage_position_m(plan, np.linspace(slide.min_m, slide.max_m, RAIL_POINTS))


def stand_points_m(plan: Plan) -> NDArray[np.float64]:
    """Where the rig stands: both ends of the rail, or the head where there is no rail, shape (n, 3)."""
    rail = rail_points_m(plan)
    return rail[[0, -1]] if len(rail) else np.asarray(plan.rig.origin_m, dtype=np.float64)[None]


def leg_points_m(plan: Plan) -> NDArray[np.float64]:
    """Points along the legs under the rail's ends, or under the head where there is no rail, shape (n, 3).

    Each stand is taken as four splayed legs down to the ground, or LONGEST_LEGS_M where that is deeper.
    """
    tops = stand_points_m(plan)
    spread = LEG_SPREAD_M * np.array([(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)])
    down = np.linspace(0.0, 1.0, LEG_POINTS)
    legs = []
    for top in tops:
        height = np.clip(top[2] - ground.ground_under_m(plan, top), 0.0, LONGEST_LEGS_M)
        for foot in spread:
            legs.append(top + down[:, None] * np.array([*foot, -height]))
    return np.concatenate(legs)


def shadow_on_ground_m(
    plan: Plan, points_m: ArrayLike, light_direction: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where the shadow of points falls on the ground, and how far it falls.

    points_m and light_direction, unit vectors towards the light, have shapes (..., 3) that broadcast. The
    shadow falls on the ground block that it meets first, else on the level ground. NaN where the light stands
    at or below the horizon, or the point below the ground.
    """
    points, light = np.broadcast_arrays(
        np.asarray(points_m, dtype=np.float64), np.asarray(light_direction, dtype=np.float64)
    )
    rise = np.where(light[..., 2] > 0.0, light[..., 2], np.nan)

    def way_to(level: ArrayLike) -> NDArray[np.float64]:
        distance = (points[..., 2] - level) / rise
        return np.where(distance >= 0.0, distance, np.nan)

    distance = way_to(ground_level_m(plan))
    for flat_block in ground.flat_blocks(plan):
        if flat_block.is_water:
            continue
        place = points[..., :2]
        for _ in range(1 if flat_block.terrain is None else ON_SLOPES):
            candidate = way_to(flat_block.heights_m(place))
            place = points[..., :2] - candidate[..., None] * light[..., :2]
        with np.errstate(invalid="ignore"):
            on_it = outlines.inside(flat_block.outline_m, place)
            distance = np.where(on_it & ~(candidate > distance), candidate, distance)
    return points - distance[..., None] * light, distance
