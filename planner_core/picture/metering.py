"""What a camera would read of each frame: the luminance of the delivered picture on a coarse grid.

Each cell of the grid is a ray from the entrance pupil. It meets the sky (light/sky.py, with the glare around
the sun, without the discs of sun and moon), or a block or the level ground, whose luminance is what falls on
it times its albedo over π: the sun and the moon, where the face is turned to them and neither horizon, ridge
nor another block stands before it; the sky by the face's turn; light from the ground; the place's lamps.
Water mirrors the sky, and
blocks, by Fresnel's law. What is far away goes over into the sky behind it. Windows and lamps
add what they shine. What blocks take of each other's skylight is left out: it is within what a meter is
off.

Light and camera change smoothly, so some frames are read and the rest interpolated. Where the camera stands
as on another of them, its rays are followed once for both, and only the light is computed anew.

A reflected reading is EV at ISO 100 by ISO 2720:1974 with K = 12.5: L = K · 2^EV / 100 cd/m².
"""

from __future__ import annotations

from functools import cached_property
from typing import Protocol

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.light import daylight, lamps, sky
from planner_core.light.colour import LUMINANCE
from planner_core.light.daylight import NaturalLight
from planner_core.maths.vectors import cross, dot, length
from planner_core.picture import graduated
from planner_core.picture.block_projection import Cameras
from planner_core.picture.picture_rays import (
    COLUMNS,
    LEVEL_GROUND,
    LINES,
    NEAR_M,
    SKY,
    PictureRays,
    cell_directions,
)
from planner_core.place import blocking, solids
from planner_core.place.surface_colours import block_albedos, level_ground_colour, luminance
from planner_core.plan.model import Plan
from planner_core.rig import geometry

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

READ_FRAMES = 13  # of a clip, evenly spread
AIR_M = 30_000.0  # distance at which the air leaves 1/e of a colour: a clear evening, value from memory
WATER_INDEX = 1.333
WATER_ALBEDO = 0.1  # what it mirrors of an even sky, Fresnel, and its own colour: 0.066 and 0.035
# mean square slope of water in little wind, value from memory of Cox and Munk (1954); and the most of the
# sun's light that a wave mirrors
SWELL, GLITTER_MOST = 0.004, 6.0
DOME_RAYS = 160
UNDER_WHITE_STOPS = 1.0 / 3.0
SHADOW_START_M = 0.02
LAMP_SIZE_M = 0.5  # nearer than that a lamp lights nothing more
SHADOW_RAYS_EVERY, MIRRORED_RAYS_EVERY = 3, 2
ALIKE = 1000.0  # normals count as one to a thousandth


class Scene(Cameras, Protocol):
    """What is read of a FrameTable."""

    @property
    def lens_bearing_deg(self) -> Array: ...
    @property
    def sun_altitude_deg(self) -> Array: ...
    @property
    def sun_direction(self) -> Array: ...
    @property
    def moon_altitude_deg(self) -> Array: ...
    @property
    def moon_direction(self) -> Array: ...
    @property
    def light(self) -> NaturalLight: ...
    @property
    def illuminance_lux(self) -> Array: ...
    @property
    def scene_ev100(self) -> Array: ...


@frozen(kw_only=True, eq=False)
class Grid:
    """The luminance of the pictures that were read, those of the frames `at` (n,), 0-based.

    luminance_cd_m2, met, is_sky and let_through have shape (n, LINES, COLUMNS), from the top line down; met
    is the block that a cell shows, SKY or LEVEL_GROUND; let_through is what a graduated filter leaves of the
    light. subject_cd_m2 (n,) is the luminance of the subject's upright face toward the camera, NaN for a plan
    without a subject, subject_rise the sine of its altitude, and subject_let_through what the filter leaves
    of it; ground_cd_m2 (n,) that of level ground in the open.
    """

    at: Rows
    luminance_cd_m2: Array
    met: Rows
    is_sky: NDArray[np.bool_]
    let_through: Array
    subject_cd_m2: Array
    subject_rise: Array
    subject_let_through: Array
    ground_cd_m2: Array

    @property
    def on_sensor_cd_m2(self) -> Array:
        """The luminance behind the graduated filter."""
        return self.luminance_cd_m2 * self.let_through


@frozen(kw_only=True, eq=False)
class Readings:
    """What a camera reads of every frame, EV at ISO 100, arrays of shape (frames,), each worked out when it
    is asked for.

    grid are the pictures that were read. Between them, what a reading is over scene_ev100, the incident light
    on level ground, is interpolated, after a low pass in time: each read frame counts half, its neighbours a
    quarter. So what enters or leaves the picture changes the reading over a sixth of the clip.
    """

    grid: Grid
    scene_ev100: Array
    headroom_stops: float

    @cached_property
    def evaluative_ev100(self) -> Array:
        """Through the lens and its graduated filter: the mean luminance of the picture, but never so low that
        its brightest tenth goes over white, as a meter that protects the highlights.
        """
        cells = self.grid.on_sensor_cd_m2.reshape(len(self.grid.at), -1)
        tenth = cells.shape[1] // 10
        brightest = np.partition(cells, (tenth, -tenth), axis=1)[:, -tenth:].mean(axis=1)
        return self._every(np.maximum(cells.mean(axis=1), brightest * 2.0**-self.headroom_stops))

    @cached_property
    def brightest_sky_ev100(self) -> Array:
        """Through the filter, the brightest tenth of the sky; NaN where there is none."""
        return self._every(_brightest_sky(self.grid.on_sensor_cd_m2, self.grid.is_sky))

    @cached_property
    def subject_face_ev100(self) -> Array:
        """Through the filter, the subject's face toward the camera; NaN where there is none."""
        return self._every(self.grid.subject_cd_m2 * self.grid.subject_let_through)

    @cached_property
    def sky_ev100(self) -> Array:
        """The brightest tenth of the sky as a spot meter reads it beside the camera."""
        return self._every(_brightest_sky(self.grid.luminance_cd_m2, self.grid.is_sky))

    @cached_property
    def subject_ev100(self) -> Array:
        """The subject, likewise."""
        return self._every(self.grid.subject_cd_m2)

    @cached_property
    def ground_ev100(self) -> Array:
        """Level ground in the open, likewise."""
        return self._every(self.grid.ground_cd_m2)

    def of(self, plan: Plan) -> Array:
        """What the plan's meter reads, as an EV to expose for, (frames,).

        `sky` keeps the brightest tenth of the sky UNDER_WHITE_STOPS under white, which is headroom_stops over
        middle grey. Where there is no sky, or no subject, the picture is read.
        """
        assert plan.exposure is not None
        if plan.exposure.meter == "sky":
            read = self.brightest_sky_ev100 - max(plan.camera.headroom_stops - UNDER_WHITE_STOPS, 0.0)
        elif plan.exposure.meter == "subject":
            read = self.subject_face_ev100
        else:
            return self.evaluative_ev100
        return np.where(np.isfinite(read), read, self.evaluative_ev100)

    def _every(self, luminance_cd_m2: Array) -> Array:
        """The reading on every frame of a luminance on the frames that were read."""
        frames = np.arange(len(self.scene_ev100))
        over = daylight.ev100_from_luminance(luminance_cd_m2) - self.scene_ev100[self.grid.at]
        return np.interp(frames, self.grid.at, _low_pass(over)) + self.scene_ev100


def readings(scene: Scene, rays: PictureRays | None = None) -> Readings:
    """The readings of every frame of a scene, from pictures of some of its frames; with the rays through
    these where they were followed before.
    """
    at = read_frames(len(scene.camera_m))
    return readings_from(scene, _Reading(scene, at, rays or PictureRays(scene, at)).grid())


def readings_from(scene: Scene, grid: Grid) -> Readings:
    """The readings of every frame, from the pictures that were read."""
    return Readings(grid=grid, scene_ev100=scene.scene_ev100, headroom_stops=scene.plan.camera.headroom_stops)


def _low_pass(values: Array) -> Array:
    """Values (n,) with their neighbours, 1:2:1; at the ends, and beside what is NaN, as they are."""
    smooth = values.copy()
    smooth[1:-1] = (values[:-2] + 2.0 * values[1:-1] + values[2:]) / 4.0
    return np.where(np.isfinite(smooth), smooth, values)


def _brightest_sky(luminance_cd_m2: Array, is_sky: NDArray[np.bool_]) -> Array:
    """Mean luminance of the brightest tenth of each picture's sky, (n,), NaN where there is none."""
    sky_only = np.where(is_sky, luminance_cd_m2, -1.0).reshape(len(is_sky), -1)
    count = np.ceil(is_sky.mean(axis=(1, 2)) * sky_only.shape[1] / 10.0).astype(np.intp)
    falling = -np.sort(-sky_only, axis=1)
    sums = np.cumsum(falling, axis=1)[np.arange(len(count)), np.maximum(count, 1) - 1]
    return np.where(count > 0, sums / np.maximum(count, 1), np.nan)


def sky_light(scene: Scene, at: Rows | slice = slice(None)) -> sky.SkyLight:
    """The light of sky, sun, moon and lamps on some frames, in lux."""
    plan, light = scene.plan, scene.light
    some = NaturalLight(
        direct_lux=light.direct_lux[at],
        diffuse_lux=light.diffuse_lux[at],
        moon_lux=light.moon_lux[at],
        night_sky_lux=light.night_sky_lux[at],
        total_lux=light.total_lux[at],
    )
    # computed behind the first frame's camera, so that a change of a later pose leaves other frames as they
    # are
    lamps_bearing_deg = float(scene.lens_bearing_deg[0]) + sky.LAMPS_ASIDE_DEG
    return sky.sky_light(
        sun_altitude_deg=scene.sun_altitude_deg[at],
        sun_direction=scene.sun_direction[at],
        moon_altitude_deg=scene.moon_altitude_deg[at],
        natural=some,
        cloud_divisor=plan.shoot.cloud_divisor,
        artificial_ev100=plan.exposure.artificial_ev100 if plan.exposure else None,
        lamp_direction=geometry.direction(lamps_bearing_deg, sky.LAMPS_HIGH_DEG, plan.site.scene_north_deg),
    )


def through_filter(plan: Plan, grid: Grid, scene: Scene) -> Grid:
    """The same pictures behind the graduated filter of another plan, which differs in nothing else."""
    rotation = np.asarray(scene.camera_rotation, dtype=np.float64)[grid.at]
    return attrs.evolve(
        grid,
        let_through=graduated.light_let_through(plan, cell_directions(plan, rotation)[..., 2]).reshape(
            grid.is_sky.shape
        ),
        subject_let_through=graduated.light_let_through(plan, grid.subject_rise),
    )


def read_frames(count: int) -> Rows:
    """The frames that are read, of so many."""
    return np.unique(np.linspace(0, count - 1, min(count, READ_FRAMES)).round().astype(np.intp))


def read_grid(scene: Scene, at: Rows | None = None, size: tuple[int, int] = (COLUMNS, LINES)) -> Grid:
    """The luminance of some frames' pictures, by default of read_frames, on so many columns and lines."""
    rows = read_frames(len(scene.camera_m)) if at is None else np.asarray(at, dtype=np.intp)
    return _Reading(scene, rows, PictureRays(scene, rows, size)).grid()


@blocking.remembered
def _pools(plan: Plan) -> lamps.Pools:
    return lamps.pools(plan, geometry.head_middle_m(plan))


@frozen(kw_only=True, eq=False)
class _Lights:
    """The windows and lamps of a plan: middle_m (p, 3), area_m2 (p, 3) along the normal, how bright they are
    (p,), windows in lux of a white surface and lamps against one under the floor's light, and below how many
    lux they are on (p,).
    """

    middle_m: Array
    area_m2: Array
    bright: Array
    is_lamp: NDArray[np.bool_]
    on_lux: Array


@blocking.remembered
def _lights(plan: Plan) -> _Lights:
    panes = lamps.panes(plan, geometry.head_middle_m(plan))
    corners = panes.corners_m
    return _Lights(
        middle_m=corners.mean(axis=1),
        area_m2=cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]) / 2.0,
        bright=panes.glow @ LUMINANCE * np.where(panes.is_lamp, 1.0, lamps.floor_lux(plan)),
        is_lamp=panes.is_lamp,
        on_lux=panes.on_lux,
    )


class _Reading:
    """The work of read_grid: n frames by k rays, flat where rays are followed."""

    def __init__(self, scene: Scene, at: Rows, picture: PictureRays) -> None:
        self.scene, self.plan, self.at, self.picture = scene, scene.plan, at, picture
        self.light = sky_light(scene, at)
        self.eye, self.rotation, self.half = picture.eye, picture.rotation, picture.half
        self.lines, self.columns = picture.lines, picture.columns
        self.sun, self.moon = scene.sun_direction[at], scene.moon_direction[at]
        self.boxes = blocking.bounding_boxes(self.plan)
        self.is_water = np.array([block.role == "water" for block in self.plan.blocks] + [False, False])
        self.ground_albedo = luminance(level_ground_colour())
        self.rays = picture.directions
        self.frame = np.repeat(np.arange(len(at)), self.columns * self.lines)
        self.level_lux = sky.on_level_ground(self.light, self.sun, self.moon) @ LUMINANCE
        self.sun_lux, self.moon_lux = self.light.sun @ LUMINANCE, self.light.moon @ LUMINANCE
        self.skyglow = sky.skyglow(self.light) @ LUMINANCE
        self.lifts_m, self.followed = picture.lifts_m, picture.followed
        self.distance, self.met, self.normal = picture.distance_m, picture.met, picture.normal
        self.pools = _pools(self.plan)
        self.pools_on = lamps.share_on(self.pools.on_lux[:, None], scene.illuminance_lux[at])
        self.dome = self._dome()
        self.behind_ridge = self._behind_ridge()

    def grid(self) -> Grid:
        distance, met, normal = self.distance, self.met, self.normal
        is_sky = met == SKY
        solid, open_sky = np.flatnonzero(~is_sky), np.flatnonzero(is_sky)
        white_lux = np.empty(len(met))
        white_lux[open_sky] = self._sky(self.rays.reshape(-1, 3).take(open_sky, axis=0), self.frame[open_sky])
        white_lux[solid] = self._surfaces(distance[solid], met[solid], normal[solid], solid)
        shape = (len(self.at), self.lines, self.columns)
        white_lux = white_lux.reshape(shape)
        white_lux += self._panes(distance.reshape(shape))
        subject, toward_subject = self._subject()
        return Grid(
            at=self.at,
            luminance_cd_m2=white_lux / np.pi,
            met=met.reshape(shape),
            is_sky=is_sky.reshape(shape),
            let_through=graduated.light_let_through(self.plan, self.rays[..., 2]).reshape(shape),
            subject_cd_m2=subject / np.pi,
            subject_rise=toward_subject,
            subject_let_through=graduated.light_let_through(self.plan, toward_subject),
            ground_cd_m2=self.level_lux * self.ground_albedo / np.pi,
        )

    # ------------------------------------------------------------ how bright it is, in lux of a white surface

    def _sky(self, directions: Array, frame: Rows) -> Array:
        """The sky as the camera sees it, in directions (k, 3) of as many frames' own."""
        white = self._low_sky(directions, frame)
        lit = np.flatnonzero(self.sun_lux[frame] > 0.0)
        if len(lit):
            frame = frame[lit]
            away = length(directions.take(lit, axis=0) - self.sun.take(frame, axis=0))
            peaks = sky.glare_levels(self.light) @ LUMINANCE
            for (_, width), peak in zip(sky.GLARE, peaks.T, strict=True):
                white[lit] += np.exp(away * (-1.0 / width)) * peak[frame]
        return white

    def _dome(self) -> tuple[Array, Array]:
        """Directions (d, 3) spread evenly over the upper half, and what the sky and the lamps send from there
        onto a face that is turned to them, (n, d).
        """
        up = (np.arange(DOME_RAYS) + 0.5) / DOME_RAYS
        turn = np.arange(DOME_RAYS) * (np.pi * (3.0 - np.sqrt(5.0)))
        level = np.sqrt(1.0 - up**2)
        above = np.stack([level * np.cos(turn), level * np.sin(turn), up], axis=1)
        seen = sky.radiances(self.light, np.broadcast_to(above, (len(self.at), DOME_RAYS, 3))) @ LUMINANCE
        shape = sky.lamp_shape(above, self.light.lamp_direction[0])
        natural_lux = self.scene.illuminance_lux[self.at]
        lamps_lux = self.light.lamps @ LUMINANCE * (1.0 - lamps.gathered(self.pools, natural_lux))
        return above, (seen + shape * lamps_lux[:, None]) * (2.0 / DOME_RAYS)

    def _albedo_below(self) -> float:
        """How much of its light what lies level in the pictures sends back, land and water together."""
        level = self.met[(self.met != SKY) & (self.normal[:, 2] > 0.9)]
        if not len(level):
            return self.ground_albedo
        wet = float(self.is_water[level].mean())
        return wet * WATER_ALBEDO + (1.0 - wet) * self.ground_albedo

    def _from_dome(self, frame: Rows, normal: Array) -> Array:
        """The light on faces with these outward normals (k, 3): of the sky, the lamps, and lit land or water
        below.
        """
        kinds = np.rint((normal + 1.0) * ALIKE).astype(np.int64) @ [1, 4096, 4096**2] * len(self.at) + frame
        _, one, alike = np.unique(kinds, return_index=True, return_inverse=True)
        normal, frame = normal[one], frame[one]
        from_below = (self.level_lux * self._albedo_below())[frame] * (1.0 - normal[:, 2]) / 2.0
        directions, lux = self.dome
        facing = np.maximum(normal @ directions.T, 0.0)
        return np.asarray((from_below + np.einsum("kd,kd->k", facing, lux[frame]))[alike.ravel()])

    def _surfaces(self, distance: Array, met: Rows, normal: Array, ray: Rows) -> Array:
        """What rays see that meet something, (k,); `ray` are their numbers among all."""
        frame = self.frame[ray]
        rays = self.rays.reshape(-1, 3).take(ray, axis=0)
        points = self.eye.take(frame, axis=0) + distance[:, None] * rays
        white, shaded = self._matt(points, met, normal, frame)
        wet = np.flatnonzero(self.is_water[met] & (normal[:, 2] > 0.5))
        if len(wet):
            body = block_albedos(self.plan)[met[wet]] * self.level_lux[frame[wet]]
            rays_there, there = rays.take(wet, axis=0), points.take(wet, axis=0)
            white[wet] = self._water(rays_there, there, ray[wet], body, shaded[wet])
        return self._through_air(white, rays, distance, frame)

    def _matt(self, points: Array, met: Rows, normal: Array, frame: Rows) -> tuple[Array, NDArray[np.bool_]]:
        """What matt surfaces send back, (k,), and whether they lie in the sun's shade."""
        albedos = np.append(block_albedos(self.plan), [self.ground_albedo])
        albedo = albedos[np.where(met == LEVEL_GROUND, len(albedos) - 1, met)]
        direct = np.maximum(dot(normal, self.sun.take(frame, axis=0)), 0.0) * self.sun_lux[frame]
        shaded = self._shaded(points + SHADOW_START_M * normal, frame, direct > 0.0, met)
        to_moon = np.maximum(dot(normal, self.moon.take(frame, axis=0)), 0.0)
        light = direct * ~shaded + to_moon * self.moon_lux[frame] + self._from_dome(frame, normal)
        return albedo * (light + self._from_pools(points, normal, frame)), shaded

    def _from_pools(self, points: Array, normal: Array, frame: Rows) -> Array:
        """The light of street lamps on points (k, 3), as if nothing stood before them, (k,)."""
        light = np.zeros(len(points))
        lit = np.flatnonzero(self.pools_on.any(axis=0)[frame])
        if not len(lit):
            return light
        toward = self.pools.places_m - points[lit][:, None]
        away = np.maximum(length(toward), LAMP_SIZE_M)
        facing = np.maximum(np.einsum("kpi,ki->kp", toward, normal[lit]), 0.0) / away
        lux = self.pools_on[:, frame[lit]].T * (self.light.lamps @ LUMINANCE)[frame[lit], None]
        light[lit] = np.sum(self.pools.intensity * lux * facing / away**2, axis=1)
        return light

    def _through_air(self, white: Array, rays: Array, distance: Array, frame: Rows) -> Array:
        """What is left of surfaces so far away, going over into the sky low behind them."""
        haze = 1.0 - np.exp(-distance / AIR_M)
        far = np.flatnonzero(haze > 0.002)
        if len(far):
            low = rays.take(far, axis=0) * [1.0, 1.0, 0.0]
            low /= np.maximum(length(low), 1e-9)[:, None]
            white[far] += haze[far] * (self._low_sky(low, frame[far]) - white[far])
        return white

    def _low_sky(self, directions: Array, frame: Rows) -> Array:
        """The sky without glare in directions (k, 3) of as many frames' own."""
        natural = sky.luminances(self.light, directions, frame)
        if not self.skyglow.any():
            return natural
        band = np.exp(-sky.HORIZON_FALL * np.maximum(directions[:, 2], 0.0))
        return np.asarray(natural + band * self.skyglow[frame])

    def _water(self, rays: Array, points: Array, ray: Rows, body: Array, shaded: NDArray[np.bool_]) -> Array:
        """What stands behind water and the sky, mirrored by Fresnel's law, the sun in a broken path
        (microfacets, a light swell), and the water's own body.
        """
        frame = self.frame[ray]
        drop = np.clip(-rays[:, 2], 0.02, 1.0)
        fresnel = _fresnel(drop, WATER_INDEX)
        half = self.sun.take(frame, axis=0) - rays
        half /= np.maximum(length(half), 1e-6)[:, None]
        rise = np.maximum(half[:, 2], 0.05)
        slopes = np.exp(-(1.0 - rise**2) / rise**2 / SWELL) / (SWELL * rise**4)
        glitter = np.minimum(slopes / (4.0 * drop), GLITTER_MOST) * self.sun_lux[frame] * ~shaded
        some, alike = _some_of_each_frame(frame, MIRRORED_RAYS_EVERY)
        rays_there, there = rays.take(some, axis=0), points.take(some, axis=0)
        mirrored = self._mirrored(rays_there, drop[some], there, ray[some])[alike]
        return np.asarray((1.0 - fresnel) * body + fresnel * (mirrored + glitter))

    def _mirrored(self, rays: Array, drop: Array, points: Array, ray: Rows) -> Array:
        """What rays see in level water at points (k, 3): the sky, or a block, found by its image below."""
        directions = rays * [1.0, 1.0, 0.0]
        directions[:, 2] = drop
        directions /= length(directions)[:, None]
        frame = self.frame[ray]
        seen = self._low_sky(directions, frame)
        hits = self._mirrored_hits(directions, points, ray)
        met = np.flatnonzero(np.isfinite(hits.distance_m))
        if len(met):
            away = hits.distance_m[met]
            there = points.take(met, axis=0) + away[:, None] * directions.take(met, axis=0)
            white, _ = self._matt(there, hits.block[met], hits.normal[met], frame[met])
            seen[met] = self._through_air(white, directions[met], away, frame[met])
        return seen

    def _mirrored_hits(self, directions: Array, points: Array, ray: Rows) -> solids.Hits:
        """What rays in directions (k, 3) up from points in water meet, found once for frames of one view."""
        cells = self.lines * self.columns
        own = self.picture.same_view[self.frame[ray]] * cells + ray % cells
        traced, first, alike = np.unique(own, return_index=True, return_inverse=True)
        number = np.full(len(self.followed) * cells, -1, dtype=np.intp)
        number[traced] = np.arange(len(traced))
        level = float(np.median(points[:, 2]))
        images = self.boxes.corners_m * [1.0, 1.0, -1.0] + [0.0, 0.0, 2.0 * level]
        pairs = self.picture.pairs(
            images, np.flatnonzero(~self.is_water[self.boxes.block]), self.followed, self._image_lifts(level)
        )
        mine = np.flatnonzero(number[pairs.ray] >= 0)
        some = solids.Pairs(ray=number[pairs.ray[mine]], block=pairs.block[mine])
        hits = solids.nearest(self.plan, points[first], directions[first], some)
        return solids.Hits(
            distance_m=hits.distance_m[alike], block=hits.block[alike], normal=hits.normal[alike]
        )

    def _image_lifts(self, level_m: float) -> Array | None:
        """How much higher the images of all blocks stand than they would in water of that level, by how the
        tide stands above it, (followed, blocks); None where no water rises.
        """
        water_m = getattr(self.scene, "water_m", None)
        if self.lifts_m is None or water_m is None:
            return None
        rise = 2.0 * (np.asarray(water_m)[self.at][self.followed] - level_m)
        return np.repeat(rise[:, None], len(self.plan.blocks), axis=1)

    def _shaded(self, points: Array, frame: Rows, lit: NDArray[np.bool_], met: Rows) -> NDArray[np.bool_]:
        """Whether something stands between points and the sun: a ridge, or the box around a block."""
        hidden = np.zeros(len(points), dtype=bool)
        lit_at = np.flatnonzero(lit)
        if not len(lit_at):
            return hidden
        hidden[lit_at] = self.behind_ridge[frame[lit_at]]
        some, alike = _some_of_each_frame(frame[lit_at], SHADOW_RAYS_EVERY)
        tried = lit_at[some]
        shaded = self._box_shadow(points[tried], self.sun[frame[tried]], met[tried])
        hidden[lit_at] |= shaded[alike]
        return hidden

    def _behind_ridge(self) -> NDArray[np.bool_]:
        """Whether a ridge hides the sun from the camera, (n,)."""
        ridges = [index for index, block in enumerate(self.plan.blocks) if block.shape == "ridge"]
        ray, block = np.meshgrid(np.flatnonzero(self.sun_lux > 0.0), np.array(ridges, dtype=np.intp))
        pairs = solids.Pairs(ray=ray.ravel(), block=block.ravel())
        return np.isfinite(solids.nearest(self.plan, self.eye, self.sun, pairs).distance_m)

    def _box_shadow(self, points: Array, sun: Array, met: Rows) -> NDArray[np.bool_]:
        boxes = self.boxes
        roles = np.array([b.role in ("ground", "water") or b.shape == "ridge" for b in self.plan.blocks])
        chosen = np.flatnonzero(~roles[boxes.block]) if len(boxes.block) else np.empty(0, dtype=np.intp)
        hidden = np.zeros(len(points), dtype=bool)
        point, box = _near_the_way(points, sun, boxes.centre_m[chosen], boxes.half_m[chosen])
        box = chosen[box]
        other = boxes.block[box] != met[point]
        point, box = point[other], box[other]
        if not len(point):
            return hidden
        cos, sin = np.cos(boxes.turn_rad[box]), np.sin(boxes.turn_rad[box])
        (x, y, z), (sx, sy, sz) = (points[point] - boxes.centre_m[box]).T, sun[point].T
        half = boxes.half_m[box]
        enter, leave = np.full(len(point), -np.inf), np.full(len(point), np.inf)
        for offset, component, reach in (
            (x * cos - y * sin, sx * cos - sy * sin, half[:, 0]),
            (x * sin + y * cos, sx * sin + sy * cos, half[:, 1]),
            (z, sz, half[:, 2]),
        ):
            inverse = 1.0 / (component + 1e-30)
            middle, extent = -offset * inverse, reach * np.abs(inverse)
            enter, leave = np.maximum(enter, middle - extent), np.minimum(leave, middle + extent)
        hidden[point[(enter <= leave) & (leave > 0.0)]] = True
        return hidden

    # ------------------------------------------------------------ lamps, and the subject

    def _panes(self, distance: Array) -> Array:
        """What windows and lamps add to the grid, each spread over its cell."""
        extra = np.zeros(distance.shape)
        level = self.light.lamps.max(axis=1)
        if not level.any() or self.scene.illuminance_lux[self.at].min() > lamps.WINDOW_LUX[1]:
            return extra
        lights = _lights(self.plan)
        if not len(lights.on_lux):
            return extra
        cell_sr = 4.0 * self.half[0] * self.half[1] / (self.columns * self.lines)
        lit = lamps.share_on(lights.on_lux, self.scene.illuminance_lux[self.at][:, None])
        local = (lights.middle_m - self.eye[:, None]) @ self.rotation
        depth = -local[..., 2]
        position = local[..., :2] / np.maximum(depth, NEAR_M)[..., None] / self.half
        within = (np.abs(position) < 1.0).all(axis=2) & (depth > NEAR_M)
        n, on = np.nonzero((lit > 0.0) & within)
        away, depth, position = lights.middle_m[on] - self.eye[n], depth[n, on], position[n, on]
        far = length(away)
        facing = np.maximum(-dot(lights.area_m2[on], away), 0.0) / far  # m² across the sight
        column = ((position[:, 0] + 1.0) * (self.columns / 2.0)).astype(np.intp)
        line = ((1.0 - position[:, 1]) * (self.lines / 2.0)).astype(np.intp)
        seen = far <= distance[n, line, column] * 1.05 + 1.0
        # a cell's part of the picture plane, seen from here, takes in this much of the pane
        covers = np.minimum(facing * far / depth**3 / cell_sr, 1.0)
        shine = lights.bright[on] * np.where(lights.is_lamp[on], level[n], level[n] > 0.0)
        np.add.at(extra, (n, line, column), seen * lit[n, on] * shine * covers)
        return extra

    def _subject(self) -> tuple[Array, Array]:
        """White-surface lux that the subject's upright face toward the camera sends back, and the sine of its
        altitude as the camera sees it, (n,) each.
        """
        parts = blocking.subject_indices(self.plan)
        if not parts:
            return np.full(len(self.at), np.nan), np.zeros(len(self.at))
        boxes = self.boxes
        mine = np.isin(boxes.block, parts)
        middle = boxes.centre_m[mine].mean(axis=0)
        reach = float(np.hypot(*boxes.half_m[mine][:, :2].max(axis=0)))
        normal = (self.eye - middle) * [1.0, 1.0, 0.0]
        normal /= np.maximum(length(normal), 1e-9)[:, None]
        frames = np.arange(len(self.at))
        direct = np.maximum(dot(normal, self.sun), 0.0) * self.sun_lux
        front = middle + normal * reach
        shaded = self._shaded(front, frames, direct > 0.0, np.full(len(frames), parts[0]))
        to_moon = np.maximum(dot(normal, self.moon), 0.0) * self.moon_lux
        albedo = float(block_albedos(self.plan)[list(parts)].mean())
        away = middle - self.eye
        rise = away[:, 2] / np.maximum(length(away), NEAR_M)
        lit = self._from_dome(frames, normal) + self._from_pools(front, normal, frames)
        return albedo * (direct * ~shaded + to_moon + lit), rise


def _near_the_way(points: Array, direction: Array, centre: Array, half: Array) -> tuple[Rows, Rows]:
    """Points (k, 3) and boxes (b, 3), one ball around each, that lie in a direction (k, 3) from the point."""
    along = direction @ centre.T - dot(points, direction)[:, None]
    apart = dot(points, points)[:, None] + dot(centre, centre) - 2.0 * (points @ centre.T)
    ball = dot(half, half) * 1.001 + 1e-3
    point, box = np.nonzero((apart - along**2 <= ball) & (along > -np.sqrt(ball)))
    return point, box


def _some_of_each_frame(frame: Rows, step: int) -> tuple[Rows, Rows]:
    """Places in frame (k,), which rises: the first of each frame and every so many after it; and for all
    places which of those stands for them.
    """
    begins = np.flatnonzero(np.diff(frame, prepend=-1))
    within = np.arange(len(frame)) - np.repeat(begins, np.diff(begins, append=len(frame)))
    chosen = within % step == 0
    return np.flatnonzero(chosen), np.cumsum(chosen) - 1


def _fresnel(cosine: Array, index: float) -> Array:
    """The share of light that a smooth surface mirrors under an angle with this cosine, any shape."""
    inside = np.sqrt(1.0 - (1.0 - cosine**2) / index**2)
    across = (cosine - index * inside) / (cosine + index * inside)
    along = (index * cosine - inside) / (index * cosine + inside)
    return (across**2 + along**2) / 2.0
