"""The FrameTable: what a plan means for every frame, computed once and read by everything else."""

from __future__ import annotations

import csv
import io
from collections import deque
from functools import cached_property
from typing import Any

import attrs
import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from planner_core.light import daylight
from planner_core.light.exposure import Ramp, exposure_ramp, following_the_light
from planner_core.light.sky import SkyLight
from planner_core.picture import metering
from planner_core.picture.view import View
from planner_core.place import tides
from planner_core.plan import timeline
from planner_core.plan.model import Plan, Site
from planner_core.rig import drive, geometry, motion
from planner_core.rig.axes import AxisPositions
from planner_core.rig.camera import CameraPose, camera_pose
from planner_core.time import ephemeris, galaxy

Array = NDArray[np.float64]

KEPT_BESIDE = 6
SMALL = 100_000  # frames times blocks: some 5 MB of what its pictures show


@frozen(kw_only=True, eq=False)
class _SkyPosition:
    """Sun or moon as seen from the site on every frame."""

    azimuth_deg: Array
    true_altitude_deg: Array
    altitude_deg: Array
    direction: Array


@frozen(kw_only=True, eq=False)
class _Sky:
    """Sun, moon and natural light at a site at the frames' times, (frames,)."""

    site: Site
    cloud_divisor: float
    utc_s: Array
    sun: _SkyPosition
    moon: _SkyPosition
    moon_lit_fraction: Array
    light: daylight.NaturalLight

    def is_of(self, plan: Plan, utc_s: Array) -> bool:
        """Whether it is that of a plan at these times."""
        same_place = (plan.site, plan.shoot.cloud_divisor) == (self.site, self.cloud_divisor)
        return same_place and np.array_equal(utc_s, self.utc_s)


@frozen(kw_only=True, eq=False)
class FrameTable:
    """Arrays of shape (frames,), (frames, 3) or (frames, 3, 3), one entry a frame, 0-based.

    slide_m, pan_deg and tilt_deg are None where neither rig nor poses have a value; lens_bearing_deg and
    lens_altitude_deg always say where the lens looks. camera_m is the entrance pupil in scene metres and
    camera_rotation turns camera axes (looking along −Z, +Y up) into scene axes. Altitudes are apparent
    unless the name says true. Light is natural and on level ground, in lux; scene_ev100 has the artificial
    floor in it; metered_ev100 is what the plan's meter reads. ramp is None for a plan without exposure.
    water_m is the height of the sea in the scene, None without a tide table.
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
    metered_ev100: Array
    ramp: Ramp | None
    known_view: View | None = None
    known_sky: _Sky | None = None
    water_m: Array | None = None
    known_readings: metering.Readings | None = None
    beside: deque[FrameTable] = field(factory=lambda: deque(maxlen=KEPT_BESIDE), init=False, repr=False)

    def __len__(self) -> int:
        return len(self.utc_s)

    @property
    def axes(self) -> AxisPositions:
        """Where the axes stand on every frame."""
        return AxisPositions(slide_m=self.slide_m, pan_deg=self.pan_deg, tilt_deg=self.tilt_deg)

    @property
    def pose(self) -> CameraPose:
        """Where the camera stands and looks on every frame."""
        return CameraPose(
            camera_m=self.camera_m,
            camera_rotation=self.camera_rotation,
            lens_bearing_deg=self.lens_bearing_deg,
            lens_altitude_deg=self.lens_altitude_deg,
        )

    @cached_property
    def view(self) -> View:
        """What its pictures depend on beside the light; that of another table which shows the same."""
        mine = View(
            plan=self.plan,
            at=self.at,
            axes=self.axes,
            camera_m=self.camera_m,
            camera_rotation=self.camera_rotation,
            lifts_m=self.lifts_m,
        )
        known = self.known_view
        return known if known is not None and known.shows_the_same(mine) else mine

    @cached_property
    def _galactic_centre(self) -> tuple[Array, Array]:
        site = self.plan.site
        azimuth, true = galaxy.galactic_centre(self.utc_s, site.latitude_deg, site.longitude_deg)
        return azimuth, ephemeris.apparent_altitude_deg(true)

    @property
    def galactic_centre_azimuth_deg(self) -> Array:
        """Bearing of the middle of the Milky Way on every frame."""
        return self._galactic_centre[0]

    @property
    def galactic_centre_altitude_deg(self) -> Array:
        """How high the middle of the Milky Way stands on every frame, apparent."""
        return self._galactic_centre[1]

    @cached_property
    def lifts_m(self) -> Array | None:
        """By how much each block stands above where the plan has it, (frames, blocks); None where none
        does.
        """
        return tides.lifts_m(self.plan, self.water_m, len(self))

    @cached_property
    def sky_light(self) -> SkyLight:
        """The light of sky, sun, moon and lamps on every frame, in lux."""
        return metering.sky_light(self)

    @cached_property
    def readings(self) -> metering.Readings:
        """What a camera would read of every frame."""
        return self.known_readings or metering.readings(self, self.view.metered_rays)


def compute_frames(plan: Plan, known: FrameTable | None = None) -> FrameTable:
    """Everything about every frame of a plan. Raises PlanError where the plan has no times.

    known is the table of another plan: what the two have in common is taken over, the same to the last bit.
    The last few small tables that were worked out beside it are kept with it, for whoever asks again.
    """
    if known is None:
        return _computed(plan, None)
    for table in (known, *known.beside):
        if table.plan == plan:
            return table
    found = _computed(plan, known)
    if len(found) * len(plan.blocks) <= SMALL:
        known.beside.append(found)
    return found


def _computed(plan: Plan, known: FrameTable | None) -> FrameTable:
    at, axes, pose = _poses(plan, known)
    utc_s = timeline.frame_times_utc_s(plan)
    water_m = tides.water_m(plan, utc_s)
    mine = View(
        plan=plan,
        at=at,
        axes=axes,
        camera_m=pose.camera_m,
        camera_rotation=pose.camera_rotation,
        lifts_m=tides.lifts_m(plan, water_m, len(at)),
    )
    view, sky = _view(mine, known), _sky(plan, utc_s, known)
    sun, moon, light = sky.sun, sky.moon, sky.light
    scene_ev100 = daylight.scene_ev100(
        light.total_lux, plan.exposure.artificial_ev100 if plan.exposure else None
    )
    time_left_s = drive.exposure_time_left_s(plan, view.axes)
    table = FrameTable(
        plan=plan,
        at=view.at,
        utc_s=sky.utc_s,
        slide_m=view.axes.slide_m,
        pan_deg=view.axes.pan_deg,
        tilt_deg=view.axes.tilt_deg,
        lens_bearing_deg=pose.lens_bearing_deg,
        lens_altitude_deg=pose.lens_altitude_deg,
        camera_m=view.camera_m,
        camera_rotation=view.camera_rotation,
        sun_azimuth_deg=sun.azimuth_deg,
        sun_true_altitude_deg=sun.true_altitude_deg,
        sun_altitude_deg=sun.altitude_deg,
        sun_direction=sun.direction,
        moon_azimuth_deg=moon.azimuth_deg,
        moon_altitude_deg=moon.altitude_deg,
        moon_direction=moon.direction,
        moon_lit_fraction=sky.moon_lit_fraction,
        light=light,
        illuminance_lux=light.total_lux,
        scene_ev100=scene_ev100,
        metered_ev100=scene_ev100,
        ramp=None,
        known_view=view,
        known_sky=sky,
        water_m=water_m,
    )
    if known is not None and plan.exposure is not None and _reads_the_same(table, known):
        table = attrs.evolve(table, known_readings=known.readings)
    if plan.exposure is None or plan.exposure.meter == "ground":
        return attrs.evolve(table, ramp=exposure_ramp(plan, scene_ev100, time_left_s))
    readings = table.readings
    metered = following_the_light(readings.of(plan), scene_ev100)
    return attrs.evolve(
        table,
        metered_ev100=metered,
        known_readings=readings,
        ramp=exposure_ramp(plan, scene_ev100, time_left_s, metered),
    )


def _poses(plan: Plan, known: FrameTable | None) -> tuple[Array, AxisPositions, CameraPose]:
    """Each frame's place in the move, where the axes stand there, and where that puts the camera; those of
    the known table where it moves the same way.
    """
    if known is not None and _moves(plan) == _moves(known.plan):
        return known.at, known.axes, known.pose
    axes = motion.axis_positions(plan, at := timeline.frame_places(plan.shoot.frames))
    return at, axes, camera_pose(plan, axes, at.shape)


def _moves(plan: Plan) -> tuple[Any, ...]:
    """All of a plan that says where its axes go, and where that puts the camera."""
    return plan.shoot.frames, plan.site.scene_north_deg, plan.rig, plan.move


def _view(mine: View, known: FrameTable | None) -> View:
    """The known table's view, where it shows the same."""
    return known.view if known is not None and known.view.shows_the_same(mine) else mine


def _sky(plan: Plan, utc_s: Array, known: FrameTable | None) -> _Sky:
    """The sky over a plan's site; that of the known table where it is the same."""
    site, cloud_divisor = plan.site, plan.shoot.cloud_divisor
    same = None if known is None else known.known_sky
    if same is not None and same.is_of(plan, utc_s):
        return same
    both = ephemeris.sun_and_moon(utc_s, site.latitude_deg, site.longitude_deg)
    sun = _sky_position(plan, both.sun_azimuth_deg, both.sun_true_altitude_deg)
    moon = _sky_position(plan, both.moon_azimuth_deg, both.moon_true_altitude_deg)
    return _Sky(
        site=site,
        cloud_divisor=cloud_divisor,
        utc_s=utc_s,
        sun=sun,
        moon=moon,
        moon_lit_fraction=both.moon_lit_fraction,
        light=daylight.natural_light(sun.altitude_deg, moon.altitude_deg, both.elongation_deg, cloud_divisor),
    )


def _sky_position(plan: Plan, azimuth_deg: Array, true_altitude_deg: Array) -> _SkyPosition:
    altitude_deg = ephemeris.apparent_altitude_deg(true_altitude_deg)
    return _SkyPosition(
        azimuth_deg=azimuth_deg,
        true_altitude_deg=true_altitude_deg,
        altitude_deg=altitude_deg,
        direction=geometry.direction(azimuth_deg, altitude_deg, plan.site.scene_north_deg),
    )


def metered_ev100(plan: Plan, scene_ev100: Array, readings: metering.Readings) -> Array | None:
    """What the plan's meter reads, following the light, (frames,); None for one that reads incident light."""
    if plan.exposure is None or plan.exposure.meter == "ground":
        return None
    return following_the_light(readings.of(plan), scene_ev100)


def _reads_the_same(table: FrameTable, known: FrameTable) -> bool:
    """Whether a camera reads the same of both tables' frames, whatever it then makes of that."""
    shows_the_same = table.view is known.view and table.known_sky is known.known_sky
    return shows_the_same and _lamps_filter_and_white(table.plan) == _lamps_filter_and_white(known.plan)


def _lamps_filter_and_white(plan: Plan) -> tuple[float | None, float, float] | None:
    exposure = plan.exposure
    if exposure is None:
        return None
    return exposure.artificial_ev100, exposure.grad_stops, plan.camera.headroom_stops


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
    "metered_ev100",
    "galactic_centre_azimuth_deg",
    "galactic_centre_altitude_deg",
    "tide_m",
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
        frames.metered_ev100,
        frames.galactic_centre_azimuth_deg,
        frames.galactic_centre_altitude_deg,
        tides.table_height_m(frames.plan, frames.utc_s),
    ]
    cells = [[""] * len(frames) if c is None else [_cell(v) for v in c] for c in columns]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(zip(*cells, strict=True))
    return out.getvalue()


def _cell(value: Any) -> str:
    return repr(float(value)) if isinstance(value, (float, np.floating)) else str(value)
