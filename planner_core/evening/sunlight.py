"""Where the sun itself reaches: camera, subject and picture; and when the place's own horizon takes it away.

The sun counts as there while its upper limb is: above the level horizon (true altitude of the centre −0.833°)
and not behind a block. So sunrise and sunset here are the almanac's wherever nothing stands in the way.
"""

from __future__ import annotations

import datetime as dt
import weakref
from functools import lru_cache

import numpy as np
from attrs import field, frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.frames import FrameTable
from planner_core.light.daylight import MOON_SEMIDIAMETER_DEG
from planner_core.picture.projection import delivered_crop
from planner_core.picture.view import View
from planner_core.place import blocking, visibility
from planner_core.plan.model import Block, Plan, Site, Vector
from planner_core.plan.timeline import local_datetime
from planner_core.rig import geometry
from planner_core.time import ephemeris, events

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

SUN_RADIUS_DEG = 16.0 / 60.0
SCAN_S = 240.0
REFINED_STEPS = 24
OPEN = -1


@frozen(kw_only=True, eq=False)
class Sunlight:
    """The sun in each frame, arrays of shape (frames,).

    up: above the level horizon. camera_behind: the block that hides it from the camera, an index into
    plan.blocks, or OPEN. subject_lit: whether it reaches the middle of the subject; None without a subject.
    picture_px (frames, 2): its centre in clip pixels, NaN behind the camera. in_picture: seen in the
    delivered frame.
    """

    up: Mask
    camera_behind: Indices
    subject_lit: Mask | None
    picture_px: Array
    in_picture: Mask

    @property
    def camera_lit(self) -> Mask:
        return np.asarray(self.up & (self.camera_behind == OPEN))


@frozen(kw_only=True)
class SunDay:
    """When the sun first and last reaches a point on a day, POSIX seconds, and the blocks that hold it back.

    None where it never does, or is there from the night before or into the next; OPEN for the level horizon.
    """

    rise_utc_s: float | None
    set_utc_s: float | None
    rise_behind: int
    set_behind: int


_known: weakref.WeakKeyDictionary[View, tuple[Array, Sunlight]] = weakref.WeakKeyDictionary()


def sunlight(frames: FrameTable) -> Sunlight:
    """The sun against the blocks and the picture in every frame, found once for a view and a sky."""
    known = _known.get(frames.view)
    if known is None or known[0] is not frames.sun_direction:
        known = _known[frames.view] = frames.sun_direction, _sunlight(frames)
    return known[1]


def _sunlight(frames: FrameTable) -> Sunlight:
    plan = frames.plan
    up = sun_up(frames)
    limb = upper_limb(plan, frames.sun_azimuth_deg, frames.sun_altitude_deg)
    camera = np.full(len(frames), OPEN, dtype=np.intp)
    camera[up] = blocks_in_the_way(plan, frames.camera_m[up], limb[up])
    spot, own = subject_spot(plan)
    lit = None
    if spot is not None:
        lit = up.copy()
        lit[up] = blocks_in_the_way(plan, spot, limb[up], ignoring=own) == OPEN
    px = picture_px(frames, frames.sun_direction)
    inside = in_delivered_frame(plan, px)
    return Sunlight(
        up=up, camera_behind=camera, subject_lit=lit, picture_px=px, in_picture=up & inside & (camera == OPEN)
    )


def sun_up(frames: FrameTable) -> Mask:
    """Whether the sun's upper limb is above a level horizon, shape (frames,)."""
    return np.asarray(frames.sun_true_altitude_deg > events.SUN_RISES_AT_DEG)


def moon_up(frames: FrameTable) -> Mask:
    """Whether the moon's upper limb is above a level horizon, shape (frames,); altitudes are apparent."""
    return np.asarray(frames.moon_altitude_deg > -MOON_SEMIDIAMETER_DEG)


def sun_in_picture_frames(sun: Sunlight) -> tuple[int, int] | None:
    """The first and the last frame, from 1, with the sun in the picture; None where it never is.

    It may be hidden, or out of the picture, in some between them.
    """
    frames_with_sun = np.flatnonzero(sun.in_picture)
    return (int(frames_with_sun[0]) + 1, int(frames_with_sun[-1]) + 1) if len(frames_with_sun) else None


def subject_spot(plan: Plan) -> tuple[Array | None, tuple[int, ...]]:
    """The middle of the subject, (3,), and the blocks that it is made of; None without a subject."""
    indices = blocking.subject_indices(plan)
    if not indices:
        return None, ()
    vertices = blocking.block_mesh(plan, plan.blocks[indices[0]]).vertices_m
    return (vertices.min(axis=0) + vertices.max(axis=0)) / 2.0, blocking.subject_parts(plan)


def blocks_in_the_way(
    plan: Plan, points_m: ArrayLike, directions: ArrayLike, *, ignoring: tuple[int, ...] = ()
) -> Indices:
    """The nearest block between points and what is infinitely far in a direction; OPEN where there is none.

    points_m (3,) or (n, 3), close to each other, and directions (n, 3), unit vectors above the horizon; shape
    (n,).
    """
    points, vectors = np.asarray(points_m, dtype=np.float64), np.asarray(directions, dtype=np.float64)
    if not len(vectors) or not plan.blocks:
        return np.full(len(vectors), OPEN, dtype=np.intp)
    beside = set(range(len(plan.blocks))) - _towards(plan, np.atleast_2d(points), vectors)
    _, met = visibility.first_hits(plan, points, vectors, ignoring=beside | set(ignoring))
    return np.where(met >= 0, met, OPEN).astype(np.intp)


def _towards(plan: Plan, points: Array, directions: Array) -> set[int]:
    """The blocks that could be met: spheres around their boxes against the cone of directions."""
    boxes = blocking.bounding_boxes(plan)
    eye = (points.min(axis=0) + points.max(axis=0)) / 2.0
    spread = float(np.linalg.norm(points - eye, axis=1).max())
    axis = directions.mean(axis=0)
    axis /= max(float(np.linalg.norm(axis)), 1e-12)
    cone = float(np.arccos(np.clip(np.min(directions @ axis), -1.0, 1.0)))
    offset = boxes.centre_m - eye
    distance = np.maximum(np.linalg.norm(offset, axis=1), 1e-9)
    reach = np.minimum((np.linalg.norm(boxes.half_m, axis=1) + spread) / distance, 1.0)
    apart = np.arccos(np.clip(offset @ axis / distance, -1.0, 1.0))
    near = (apart <= cone + np.arcsin(reach) + 1e-6) & (boxes.high_m[:, 2] > points[:, 2].min())
    return set(boxes.block[near].tolist())


def sun_day(plan: Plan, point_m: ArrayLike, date: dt.date, *, ignoring: tuple[int, ...] = ()) -> SunDay:
    """Sunrise and sunset at a point (3,) behind the blocks around it, from midnight to midnight by the sun.

    To five seconds. Gaps shorter than four minutes between blocks may go unseen. Remembered between calls.
    """
    x, y, z = (round(float(value), 3) for value in np.asarray(point_m))
    place = _Place(site=plan.site, origin_m=plan.rig.origin_m, blocks=plan.blocks, plan=plan)
    return _sun_day(place, (x, y, z), date, ignoring)


@frozen(kw_only=True)
class _Place:
    """What of a plan decides when the sun reaches a point."""

    site: Site
    origin_m: Vector
    blocks: tuple[Block, ...]
    plan: Plan = field(eq=False)


@lru_cache(maxsize=64)
def _sun_day(place: _Place, point: Vector, date: dt.date, ignoring: tuple[int, ...]) -> SunDay:
    plan, scan = place.plan, _mean_noon_utc_s(place.plan, date) + np.arange(-43200.0, 43201.0, SCAN_S)
    places = np.flatnonzero(_reaching(plan, point, scan, ignoring)[0])
    if not len(places):
        return SunDay(rise_utc_s=None, set_utc_s=None, rise_behind=OPEN, set_behind=OPEN)

    def edge(inside: int, outside: int) -> tuple[float | None, int]:
        if not 0 <= outside < len(scan):
            return None, OPEN
        tries = np.linspace(scan[inside], scan[outside], REFINED_STEPS + 1)
        lit, behind = _reaching(plan, point, tries, ignoring)
        dark = int(np.argmin(lit[1:])) + 1
        return float(tries[dark - 1] + tries[dark]) / 2.0, int(behind[dark])

    rise, rise_behind = edge(int(places[0]), int(places[0]) - 1)
    set_, set_behind = edge(int(places[-1]), int(places[-1]) + 1)
    return SunDay(rise_utc_s=rise, set_utc_s=set_, rise_behind=rise_behind, set_behind=set_behind)


def _reaching(plan: Plan, point: Vector, utc_s: Array, ignoring: tuple[int, ...]) -> tuple[Mask, Indices]:
    """Whether the sun reaches a point at instants (n,), and the block that holds it back."""
    azimuth, true = ephemeris.sun_position(utc_s, plan.site.latitude_deg, plan.site.longitude_deg)
    up = true > events.SUN_RISES_AT_DEG
    behind = np.full(len(utc_s), OPEN, dtype=np.intp)
    limb = upper_limb(plan, azimuth[up], ephemeris.apparent_altitude_deg(true[up]))
    behind[up] = blocks_in_the_way(plan, point, limb, ignoring=ignoring)
    return up & (behind == OPEN), behind


def _mean_noon_utc_s(plan: Plan, date: dt.date) -> float:
    """Noon by the mean sun on the local date, POSIX seconds."""
    midnight = dt.datetime.combine(date, dt.time(), dt.UTC).timestamp()
    noon = midnight + 43200.0 - 240.0 * plan.site.longitude_deg
    return noon + 86400.0 * (date - local_datetime(noon, plan.zone).date()).days


def upper_limb(
    plan: Plan, azimuth_deg: Array, altitude_deg: Array, radius_deg: float = SUN_RADIUS_DEG
) -> Array:
    """Unit vectors to the upper limb of sun or moon, held above the level horizon, shape (n, 3)."""
    altitude = np.maximum(altitude_deg + radius_deg, 1e-3)
    return geometry.direction(azimuth_deg, altitude, plan.site.scene_north_deg)


def picture_px(frames: FrameTable, directions: Array) -> Array:
    """Where far directions (frames, 3) are in each frame, clip pixels (frames, 2); NaN behind the camera."""
    plan = frames.plan
    across, up, back = np.einsum("nji,nj->in", frames.camera_rotation, directions)
    ahead = np.where(back < 0.0, -back, np.nan)
    scale = delivered_crop(plan.camera, plan.clip).focal_px / ahead
    return np.stack(
        [plan.clip.width_px / 2.0 + across * scale, plan.clip.height_px / 2.0 - up * scale], axis=-1
    )


def in_delivered_frame(plan: Plan, px: Array) -> Mask:
    """Whether places in clip pixels (n, 2) lie in the frame, (n,)."""
    with np.errstate(invalid="ignore"):
        return np.asarray(np.all((px >= 0.0) & (px <= (plan.clip.width_px, plan.clip.height_px)), axis=-1))
