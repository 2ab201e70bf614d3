"""Blocks from photographs: a thing's foot and top on the ground or at a distance, from two photographs, and a
skyline as a ridge.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from planner_core.maths import search
from planner_core.maths.angles import unwound_deg
from planner_core.photo.camera import sight
from planner_core.place.ground import ground_under_m
from planner_core.plan.model import Block, Photo, Plan, PlanError
from planner_core.rig.geometry import bearing_and_altitude

Array = NDArray[np.float64]
Pixel = tuple[float, float]

FARTHEST_M = 20_000.0  # a foot that looks farther away lies on the horizon
WIDTH = 0.25  # of its height, where only foot and top are known


def block_from_photo(
    plan: Plan,
    photo: Photo,
    name: str,
    foot_px: Pixel,
    top_px: Pixel,
    *,
    distance_m: float | None = None,
    width_px: float | None = None,
    role: str = "background",
) -> Block:
    """A box that stands where a photograph shows its foot and reaches up to where it shows its top.

    It stands on the ground under the foot's sight, or at a level distance from the camera. Raises PlanError
    where the sight never meets the ground, or foot and top can't be one thing's.
    """
    foot_m = (
        _on_ground_m(plan, photo, foot_px)
        if distance_m is None
        else _at_distance_m(plan, photo, foot_px, distance_m)
    )
    away = float(np.hypot(*(foot_m[:2] - np.asarray(photo.place_m[:2]))))
    _, top_altitude = _bearing_altitude(plan, photo, top_px)
    height = photo.place_m[2] + away * np.tan(np.radians(top_altitude)) - foot_m[2]
    if height <= 0.0:
        raise PlanError("top", list(top_px), "is below the foot; the foot comes first, then the top")
    width = WIDTH * height if width_px is None else _width_m(plan, photo, foot_px, top_px, width_px, away)
    return _standing(plan, photo, name, role, foot_m, float(height), max(width, 0.01))


def block_from_two(
    plan: Plan,
    photos: tuple[Photo, Photo],
    name: str,
    feet_px: tuple[Pixel, Pixel],
    tops_px: tuple[Pixel, Pixel],
    *,
    width_px: float | None = None,
    role: str = "background",
) -> Block:
    """A box whose foot and top are where the sights of two photographs pass nearest to each other; width_px
    is how wide the first of them shows it.

    Raises PlanError where the sights run side by side.
    """
    foot, top = (_crossing_m(plan, photos, points) for points in (feet_px, tops_px))
    height = float(top[2] - foot[2])
    if height <= 0.0:
        raise PlanError("top", list(tops_px[0]), "is below the foot; the foot comes first, then the top")
    width = WIDTH * height
    if width_px is not None:
        away = float(np.hypot(*(foot[:2] - np.asarray(photos[0].place_m[:2]))))
        width = _width_m(plan, photos[0], feet_px[0], tops_px[0], width_px, away)
    return _standing(plan, photos[0], name, role, foot, height, max(width, 0.01))


def _width_m(
    plan: Plan, photo: Photo, foot_px: Pixel, top_px: Pixel, width_px: float, away_m: float
) -> float:
    """How wide a thing is that a photograph shows so wide around its foot and top."""
    middle = (foot_px[0] + top_px[0]) / 2.0, (foot_px[1] + top_px[1]) / 2.0
    left, right = (
        sight(photo, (middle[0] + side * width_px / 2.0, middle[1]), plan.site.scene_north_deg)
        for side in (-1, 1)
    )
    return away_m * float(np.arccos(np.clip(left @ right, -1.0, 1.0)))


def ridge_from_photo(
    plan: Plan, photo: Photo, name: str, points_px: Sequence[Pixel], distance_m: float
) -> Block:
    """The skyline along points of a photograph as a ridge at a distance from the rail's start.

    Raises PlanError for fewer than two points, or points that go back on themselves.
    """
    if len(points_px) < 2:
        raise PlanError(
            "skyline", len(points_px), "points make no skyline; give two or more, from left to right"
        )
    origin, north = np.asarray(plan.rig.origin_m), plan.site.scene_north_deg
    rows: list[tuple[float, float]] = []
    for point in points_px:
        _, altitude = _bearing_altitude(plan, photo, point)
        vector = sight(photo, point, north)
        level = vector[:2] / max(float(np.hypot(*vector[:2])), 1e-9)
        crest = np.append(
            np.asarray(photo.place_m[:2]) + distance_m * level,
            photo.place_m[2] + distance_m * np.tan(np.radians(altitude)),
        )
        seen, rise = bearing_and_altitude(crest - origin, north)
        rows.append((float(unwound_deg(float(seen), rows[-1][0])) if rows else float(seen), float(rise)))
    rows.sort()
    skyline = tuple((round(bearing, 3), round(altitude, 3)) for bearing, altitude in rows)
    return Block(name=name, role="background", shape="ridge", distance_m=distance_m, skyline_deg=skyline)


def _bearing_altitude(plan: Plan, photo: Photo, point: Pixel) -> tuple[float, float]:
    bearing, altitude = bearing_and_altitude(
        sight(photo, point, plan.site.scene_north_deg), plan.site.scene_north_deg
    )
    return float(bearing), float(altitude)


def _on_ground_m(plan: Plan, photo: Photo, point: Pixel) -> Array:
    """Where a sight meets the ground blocks or the level ground."""
    ray, start = sight(photo, point, plan.site.scene_north_deg), np.asarray(photo.place_m)
    distances = np.geomspace(0.3, FARTHEST_M, 600)

    def above(distance: float) -> float:
        x, y, z = start + distance * ray
        return float(z - ground_under_m(plan, (x, y, np.inf)))

    heights = np.array([above(float(distance)) for distance in distances])
    below = np.flatnonzero(heights <= 0.0)
    if not len(below):
        raise PlanError(
            "foot",
            [round(value, 1) for value in point],
            "is at or above the horizon, so it meets no ground; give its distance",
        )
    first = int(below[0])
    if first == 0:
        return np.asarray(start + distances[0] * ray)
    reached, _ = search.boundary(
        lambda distance: above(distance) > 0.0,
        float(distances[first - 1]),
        float(distances[first]),
        within=1e-3,
    )
    return np.asarray(start + reached * ray)


def _at_distance_m(plan: Plan, photo: Photo, point: Pixel, distance_m: float) -> Array:
    ray = sight(photo, point, plan.site.scene_north_deg)
    return np.asarray(photo.place_m) + distance_m / max(float(np.hypot(*ray[:2])), 1e-6) * ray


def _crossing_m(plan: Plan, photos: tuple[Photo, Photo], points: tuple[Pixel, Pixel]) -> Array:
    """The point nearest to the sights of both photographs, (3,)."""
    rays = [
        sight(photo, point, plan.site.scene_north_deg) for photo, point in zip(photos, points, strict=True)
    ]
    across = [np.eye(3) - np.outer(ray, ray) for ray in rays]
    if float(np.linalg.norm(np.cross(rays[0], rays[1]))) < np.sin(np.radians(0.5)):
        raise PlanError(
            "photographs", photos[1].file, "looks the same way as the first; two places apart are needed"
        )
    total = sum(part @ np.asarray(photo.place_m) for part, photo in zip(across, photos, strict=True))
    return np.asarray(np.linalg.solve(across[0] + across[1], total))


def _standing(
    plan: Plan, photo: Photo, name: str, role: str, foot_m: Array, height_m: float, width_m: float
) -> Block:
    bearing, _ = bearing_and_altitude(foot_m - np.asarray(photo.place_m), plan.site.scene_north_deg)
    return Block(
        name=name,
        role=role,
        shape="box",
        centre_m=(
            round(float(foot_m[0]), 3),
            round(float(foot_m[1]), 3),
            round(float(foot_m[2]) + height_m / 2.0, 3),
        ),
        size_m=(round(width_m, 3), round(width_m, 3), round(height_m, 3)),
        turn_deg=round(float((bearing - plan.site.scene_north_deg + 180.0) % 360.0 - 180.0), 2),
    )
