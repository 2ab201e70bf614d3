"""The moon in the picture: on which frames, behind what it comes and goes, how bright its disc is against the
exposure, and how far it drifts meanwhile.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.sunlight import (
    OPEN,
    Indices,
    Mask,
    blocks_in_the_way,
    in_delivered_frame,
    moon_up,
    picture_px,
    upper_limb,
)
from planner_core.frames import FrameTable
from planner_core.light.daylight import MOON_SEMIDIAMETER_DEG, moon_disc_ev100
from planner_core.picture.projection import delivered_crop
from planner_core.rig import geometry
from planner_core.time import ephemeris

Array = NDArray[np.float64]

# The thinnest crescent that anybody sees: Danjon's limit, from memory; a camera hardly does better
LEAST_ELONGATION_DEG = 7.0


@frozen(kw_only=True, eq=False)
class MoonView:
    """The moon in each frame, arrays of shape (frames,) and (frames, 2).

    up: above the level horizon, and not too near the sun to show. camera_behind: the block that hides its
    upper limb, an index into plan.blocks, or OPEN; known where its centre is within the frame. picture_px:
    the centre in clip pixels, NaN behind the camera. in_picture: seen in the delivered frame. over_stops: its
    disc over middle grey, and smear_px: how far it drifts while the shutter is open, without the rig's own
    move; both NaN where it isn't in the picture or the plan has no exposure. disc_px is its width.
    """

    up: Mask
    camera_behind: Indices
    picture_px: Array
    in_picture: Mask
    over_stops: Array
    smear_px: Array
    disc_px: float


def moon_view(frames: FrameTable) -> MoonView:
    """The moon against the blocks and the picture in every frame."""
    plan = frames.plan
    focal_px = delivered_crop(plan.camera, plan.clip).focal_px
    px = picture_px(frames, frames.moon_direction)
    framed = in_delivered_frame(plan, px)
    up = moon_up(frames)
    rows = np.flatnonzero(up & framed)
    behind = np.full(len(frames), OPEN, dtype=np.intp)
    over, smear = np.full(len(frames), np.nan), np.full(len(frames), np.nan)
    if len(rows):
        shows = ephemeris.elongation_deg(frames.utc_s) >= LEAST_ELONGATION_DEG
        up, rows = up & shows, rows[shows[rows]]
        limb = upper_limb(
            plan, frames.moon_azimuth_deg[rows], frames.moon_altitude_deg[rows], MOON_SEMIDIAMETER_DEG
        )
        behind[rows] = blocks_in_the_way(plan, frames.camera_m[rows], limb)
    seen = up & framed & (behind == OPEN)
    if frames.ramp is not None and seen.any():
        over[seen] = _over_stops(frames, np.flatnonzero(seen))
        smear[seen] = _smear_px(frames, np.flatnonzero(seen), px)
    return MoonView(
        up=up,
        camera_behind=behind,
        picture_px=px,
        in_picture=seen,
        over_stops=over,
        smear_px=smear,
        disc_px=2.0 * focal_px * float(np.tan(np.radians(MOON_SEMIDIAMETER_DEG))),
    )


def _over_stops(frames: FrameTable, rows: Indices) -> Array:
    """How far the disc is over middle grey on some frames (from 0), through the cloud that is planned."""
    assert frames.ramp is not None
    disc_ev100 = moon_disc_ev100(
        frames.moon_altitude_deg[rows],
        ephemeris.elongation_deg(frames.utc_s[rows]),
        frames.moon_lit_fraction[rows],
    )
    exposed_ev100 = frames.ramp.target_ev100[rows] - frames.ramp.error_stops[rows]
    return np.asarray(disc_ev100 - np.log2(frames.plan.shoot.cloud_divisor) - exposed_ev100)


def _smear_px(frames: FrameTable, rows: Indices, px: Array) -> Array:
    """How far the moon's centre drifts during the exposure of some frames (from 0), the camera at rest."""
    assert frames.ramp is not None
    site = frames.plan.site
    end_utc_s = frames.utc_s[rows] + frames.ramp.shutter_s[rows]
    azimuth, true = ephemeris.moon_position(end_utc_s, site.latitude_deg, site.longitude_deg)
    directions = frames.moon_direction.copy()
    directions[rows] = geometry.direction(
        azimuth, ephemeris.apparent_altitude_deg(true), site.scene_north_deg
    )
    return np.asarray(np.hypot(*(picture_px(frames, directions)[rows] - px[rows]).T))
