"""The FrameTable: what a plan means for every frame, computed once and read by everything else."""

from __future__ import annotations

import csv
import io
from typing import Any

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.light import colour, daylight
from planner_core.light.exposure import Ramp, exposure_ramp
from planner_core.plan import timeline
from planner_core.plan.model import Plan
from planner_core.rig import drive, geometry, motion
from planner_core.time import ephemeris

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class FrameTable:
    """Arrays of shape (frames,), (frames, 3) or (frames, 3, 3), one entry a frame, 0-based.

    slide_m, pan_deg and tilt_deg are None where neither rig nor poses have a value; lens_bearing_deg and
    lens_altitude_deg always say where the lens looks. camera_m is the entrance pupil in scene metres and
    camera_rotation turns camera axes (looking along −Z, +Y up) into scene axes. Altitudes are apparent
    unless the name says true. Light is natural and on level ground, in lux; scene_ev100 has the artificial
    floor in it. ramp is None for a plan without exposure.
    """

    plan: Plan
    at: Array
    utc_s: Array
    slide_m: Array | None
    pan_deg: Array | None
    tilt_deg: Array | None
    lens_bearing_deg: Array
    lens_altitude_deg: Array
    camera_m: Array
    camera_rotation: Array
    sun_azimuth_deg: Array
    sun_true_altitude_deg: Array
    sun_altitude_deg: Array
    sun_direction: Array
    moon_azimuth_deg: Array
    moon_altitude_deg: Array
    moon_direction: Array
    moon_lit_fraction: Array
    light: daylight.NaturalLight
    illuminance_lux: Array
    scene_ev100: Array
    sun_colour: Array
    sky_colour: Array
    ramp: Ramp | None

    def __len__(self) -> int:
        return len(self.utc_s)


def compute_frames(plan: Plan) -> FrameTable:
    """Everything about every frame of a plan. Raises PlanError where the plan has no times."""
    at = timeline.frame_places(plan.shoot.frames)
    utc_s = timeline.frame_times_utc_s(plan)
    axes = _axes(plan, at)
    sky = _sky(plan, utc_s)
    scene_ev100 = daylight.scene_ev100(
        sky["illuminance_lux"], plan.exposure.artificial_ev100 if plan.exposure else None
    )
    time_left_s = drive.exposure_time_left_s(plan, axes["slide_m"], axes["pan_deg"], axes["tilt_deg"])
    return FrameTable(
        plan=plan,
        at=at,
        utc_s=utc_s,
        **axes,
        **sky,
        scene_ev100=scene_ev100,
        ramp=exposure_ramp(plan, scene_ev100, time_left_s),
    )


def _axes(plan: Plan, at: Array) -> dict[str, Any]:
    slide, pan, tilt = motion.axis_positions(plan, at)
    north = plan.site.scene_north_deg
    bearing = pan if pan is not None else np.full(at.shape, north)
    altitude = tilt if tilt is not None else np.zeros(at.shape)
    return {
        "slide_m": slide,
        "pan_deg": pan,
        "tilt_deg": tilt,
        "lens_bearing_deg": bearing,
        "lens_altitude_deg": altitude,
        "camera_m": np.broadcast_to(geometry.camera_position_m(plan, slide, bearing, altitude), (len(at), 3)),
        "camera_rotation": geometry.camera_rotation(bearing, altitude, north),
    }


def _sky(plan: Plan, utc_s: Array) -> dict[str, Any]:
    site = plan.site
    sun_azimuth, sun_true = ephemeris.sun_position(utc_s, site.latitude_deg, site.longitude_deg)
    moon_azimuth, moon_true = ephemeris.moon_position(utc_s, site.latitude_deg, site.longitude_deg)
    sun_altitude = ephemeris.apparent_altitude_deg(sun_true)
    moon_altitude = ephemeris.apparent_altitude_deg(moon_true)
    light = daylight.natural_light(
        sun_altitude, moon_altitude, ephemeris.elongation_deg(utc_s), plan.shoot.cloud_divisor
    )
    return {
        "sun_azimuth_deg": sun_azimuth,
        "sun_true_altitude_deg": sun_true,
        "sun_altitude_deg": sun_altitude,
        "sun_direction": geometry.direction(sun_azimuth, sun_altitude, site.scene_north_deg),
        "moon_azimuth_deg": moon_azimuth,
        "moon_altitude_deg": moon_altitude,
        "moon_direction": geometry.direction(moon_azimuth, moon_altitude, site.scene_north_deg),
        "moon_lit_fraction": ephemeris.moon_lit_fraction(utc_s),
        "light": light,
        "illuminance_lux": light.total_lux,
        "sun_colour": colour.sun_tint(sun_altitude),
        "sky_colour": colour.sky_tint(sun_altitude, plan.shoot.cloud_divisor),
    }


COLUMNS = (
    "frame",
    "utc",
    "local",
    "slide_m",
    "pan_deg",
    "tilt_deg",
    "camera_x_m",
    "camera_y_m",
    "camera_z_m",
    "sun_azimuth_deg",
    "sun_altitude_deg",
    "moon_azimuth_deg",
    "moon_altitude_deg",
    "moon_lit_fraction",
    "illuminance_lux",
    "scene_ev100",
    "f_number",
    "shutter_s",
    "iso",
    "exposure_error_stops",
)


def frames_csv(frames: FrameTable) -> str:
    """The table as CSV, a row a frame, full precision; a cell is empty where rig or plan has no value."""
    ramp, zone = frames.ramp, frames.plan.zone
    columns: list[Any] = [
        range(1, len(frames) + 1),
        [timeline.utc_datetime(t).isoformat(timespec="microseconds") for t in frames.utc_s],
        [timeline.local_datetime(t, zone).isoformat(timespec="microseconds") for t in frames.utc_s],
        frames.slide_m if frames.plan.rig.slide else None,
        frames.pan_deg,
        frames.tilt_deg,
        *frames.camera_m.T,
        frames.sun_azimuth_deg,
        frames.sun_altitude_deg,
        frames.moon_azimuth_deg,
        frames.moon_altitude_deg,
        frames.moon_lit_fraction,
        frames.illuminance_lux,
        frames.scene_ev100,
        *((ramp.f_number, ramp.shutter_s, ramp.iso, ramp.error_stops) if ramp else (None,) * 4),
    ]
    cells = [[""] * len(frames) if c is None else [_cell(v) for v in c] for c in columns]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(zip(*cells, strict=True))
    return out.getvalue()


def _cell(value: Any) -> str:
    return repr(float(value)) if isinstance(value, (float, np.floating)) else str(value)


def replan(frames: FrameTable, **changes: Any) -> FrameTable:
    """The table of the same plan with some of its parts changed (attrs.evolve), computed anew."""
    return compute_frames(attrs.evolve(frames.plan, **changes))
