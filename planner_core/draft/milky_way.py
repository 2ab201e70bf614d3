"""The band of the Milky Way as a draft picture shows it: the light of stars that are too faint to be points.

A smooth model after the integrated starlight of Leinert and others, "The 1997 reference of diffuse night sky
brightness" (*Astronomy and Astrophysics Supplement* 127, 1998): brightness along the plane from memory and
rounded, width, bulge and dark lane ours. It says where the band is and about how bright, not how it looks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.draft import sky, stars
from planner_core.frames import FrameTable
from planner_core.time.galaxy import CENTRE_DEG, POLE_DEG

Array = NDArray[np.float64]

# One star of magnitude 10 on each square degree, cd/m²: the unit that such tables are in
S10_CD_M2 = stars.LUX_AT_MAGNITUDE_0 * 1e-4 / np.radians(1.0) ** 2
PLANE_STEP_DEG = 30.0
# from the centre on
PLANE_S10 = (260.0, 190.0, 150.0, 130.0, 80.0, 60.0, 50.0, 60.0, 100.0, 150.0, 200.0, 240.0)
HALF_WIDTH_DEG = 9.0  # off the plane, in which it falls to a third
BULGE_S10, BULGE_DEG = 240.0, (12.0, 7.0)
LANE_SHARE, LANE_DEG, LANE_AT_DEG = 0.45, 2.2, 1.5  # the dark lane that splits the band from the centre on …
LANE_FROM_DEG, LANE_TO_DEG = -20.0, 70.0  # … between these longitudes
TINT = np.array([1.03, 0.99, 1.0])  # hardly warmer than white
REACH_DEG = 32.0  # off the plane; beyond, nothing of it is drawn


def luminance_cd_m2(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Array:
    """What the band adds to the sky above the air at galactic longitudes and latitudes; any shape."""
    along = np.mod(np.asarray(longitude_deg, dtype=np.float64), 360.0)
    off = np.asarray(latitude_deg, dtype=np.float64)
    places = np.arange(len(PLANE_S10) + 1) * PLANE_STEP_DEG
    plane = np.interp(along, places, (*PLANE_S10, PLANE_S10[0])) * np.exp(-np.abs(off) / HALF_WIDTH_DEG)
    side = np.mod(along + 180.0, 360.0) - 180.0
    bulge = BULGE_S10 * np.exp(-((side / BULGE_DEG[0]) ** 2) - (off / BULGE_DEG[1]) ** 2)
    ends = np.clip((side - LANE_FROM_DEG) / 15.0, 0.0, 1.0) * np.clip((LANE_TO_DEG - side) / 15.0, 0.0, 1.0)
    lane = 1.0 - LANE_SHARE * ends * np.exp(-(((off - LANE_AT_DEG) / LANE_DEG) ** 2))
    edge = np.clip((REACH_DEG - np.abs(off)) / 8.0, 0.0, 1.0)
    return np.asarray(S10_CD_M2 * (plane + bulge) * lane * edge)


def galactic_axes() -> Array:
    """Unit vectors on the equator of J2000 to the centre, a quarter round from it, and the pole, (3, 3)."""
    centre, pole = (_unit(*place) for place in (CENTRE_DEG, POLE_DEG))
    centre = centre - (centre @ pole) * pole
    centre /= np.linalg.norm(centre)
    return np.stack([centre, np.cross(pole, centre), pole])


def levels(frames: FrameTable, frame: int, directions: Array) -> Array:
    """What the band adds to the picture of a frame (from 0) in directions (n, 3) of the scene, (n, 3)."""
    site = frames.plan.site
    rotation = stars.sky_rotation(
        frames.utc_s[frame], site.latitude_deg, site.longitude_deg, site.scene_north_deg
    )
    places = directions @ rotation @ galactic_axes().T
    longitude = np.degrees(np.arctan2(places[:, 1], places[:, 0]))
    latitude = np.degrees(np.arcsin(np.clip(places[:, 2], -1.0, 1.0)))
    light = luminance_cd_m2(longitude, latitude) * stars.through_air(directions[:, 2])
    return np.asarray((light * lux_level(frames)[frame])[:, None] * TINT)


def lux_level(frames: FrameTable) -> Array:
    """What a cd/m² of the band comes to in each frame's picture, (frames,)."""
    per_lux = sky.picture_light(frames).level_per_lux
    return np.asarray(np.pi * per_lux / frames.plan.shoot.cloud_divisor**3)


def shows(frames: FrameTable) -> bool:
    """Whether some frame is exposed long enough to show it."""
    brightest = float(luminance_cd_m2(0.0, 6.0))
    return bool(brightest * lux_level(frames).max() > stars.FAINTEST_SEEN)


def belt(steps: int, rows: int) -> tuple[Array, Array]:
    """Points along the band, (steps, rows), on the equator of J2000 (…, 3), and the light there, cd/m²."""
    along, off = np.meshgrid(
        np.arange(steps) * (360.0 / steps), np.linspace(-REACH_DEG, REACH_DEG, rows), indexing="ij"
    )
    turn, rise = np.radians(along), np.radians(off)
    level = np.cos(rise)
    places = np.stack([level * np.cos(turn), level * np.sin(turn), np.sin(rise)], axis=-1)
    return places @ galactic_axes(), luminance_cd_m2(along, off)


def _unit(ascension_deg: float, declination_deg: float) -> Array:
    turn, rise = np.radians(ascension_deg), np.radians(declination_deg)
    return np.array([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)])
