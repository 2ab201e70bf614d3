"""The fast look's colours, worked out corner by corner and point by point for each frame. No Blender.

Each corner of each face gets its draft colour lit by sun, sky, ground and lamps as the frame's settings
record them. Shadows that one thing throws on another are left to whoever draws: `Lit.shadow` says how much of
the light they take away.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from attrs import evolve, frozen
from numpy.typing import NDArray

from planner_core.draft import ambient, milky_way, mirror, skyshapes, stars
from planner_core.draft.sky import PictureLight
from planner_core.frames import FrameTable
from planner_core.light import lamps, sky, water
from planner_core.light.colour import LUMINANCE
from planner_core.maths.vectors import length
from planner_core.picture import graduated
from planner_core.rig import geometry

from ..scene import materials, starfield
from . import fastground, fastview
from .fastview import View

Array = NDArray[np.float64]

BRIGHTEST = 8.0  # more would overflow in Workbench, and is white anyway
BEARING_RAD = 0.002  # within which what is far away goes over into the same sky
CORNER_SHADE = 0.30  # how much darker a wall is at its foot: ours
FOCUS = 0.01  # over which rise of the sun above a face its shadow fades in
GLITTER_MOST = 30.0  # of a beam's light, mirrored by a corner that its path crosses
FAINTEST_GLITTER = 1e-3  # of what the water mirrors besides: where it is fainter, nobody sees what hides it
FAINTEST_LAMP = 1e-6  # of a lamp's path at its brightest: where it is fainter, it counts as none
LEVEL = 0.9  # rise of a normal from which on a face lies level
TIDE_STEP_M = 0.15  # of water: how far off its mirror may be worked out
DROPS, STRAIGHT_DOWN = 300, 0.9999  # steps of the angle down to the water, and the sine of the last
WAVES = 0.35  # how unevenly the water glitters: ours
UNSEEN_STAR = 0.03  # of the sky behind it, what a star has to add to be drawn: ours


@frozen(kw_only=True, eq=False)
class Corners:
    """Corners of faces, n of them: places and normals (n, 3) in scene axes, draft colours (n, 3), and for
    each whether it is water, whether no shadow falls on it, and which pane of glass it belongs to (−1: none).
    block is which of the plan's blocks they are of, or −1.
    """

    places: Array
    normals: Array
    albedo: Array
    is_water: NDArray[np.bool_]
    in_shade: NDArray[np.bool_]
    pane: NDArray[np.int_]
    block: int = -1

    @property
    def count(self) -> int:
        return len(self.places)


def shaded_to_foot(albedo: Array, places: Array, normals: Array) -> Array:
    """Draft colours (n, 3) of a thing that stands upright, its walls darker towards their foot."""
    height = places[:, 2].max() - places[:, 2].min()
    if height <= 0.2:
        return albedo
    up = (places[:, 2] - places[:, 2].min()) / height
    wall = np.sqrt(np.maximum(1.0 - normals[:, 2] ** 2, 0.0))
    return albedo * (1.0 - CORNER_SHADE * wall * (1.0 - up))[:, None]


@frozen(eq=False)
class Lit:
    """A frame's colours of all corners that differ, shape (rows, 3), in full light and capped; how much of it
    a shadow takes away, by channel too (3,); and of each row (rows,) how much of a shadow can fall on it:
    none where it faces away from the sun.
    """

    rows: Array
    shadow: float
    takes_shadow: Array
    shadow_by_channel: Array


@frozen(eq=False)
class _Facing:
    """Of blocks, numbers (k,): which rows are seen from the eye, one block's after the other's, where each
    begins and how many there are.
    """

    blocks: NDArray[np.intp]
    rows: NDArray[np.intp]
    starts: NDArray[np.intp]
    counts: NDArray[np.intp]

    @classmethod
    def of(cls, seen: Sequence[tuple[int, NDArray[np.intp]]]) -> _Facing:
        counts = np.array([len(rows) for _, rows in seen], dtype=np.intp)
        rows = np.concatenate([np.zeros(0, np.intp), *(rows for _, rows in seen)])
        blocks = np.array([block for block, _ in seen], dtype=np.intp)
        return cls(blocks, rows, np.cumsum(counts) - counts, counts)

    def means(self, colours: Array, blocks: int) -> Array:
        """Mean colour of each of so many blocks, (blocks, 3)."""
        result = np.zeros((blocks, 3))
        if len(self.blocks):
            result[self.blocks] = np.add.reduceat(colours[self.rows], self.starts) / self.counts[:, None]
        return result


class CornerColours:
    """The colours of things made of corners, frame by frame. Corners that look alike on every frame are
    worked out once: `alike` says for each piece which rows its corners have. filtered: with what the plan's
    graduated filter takes.
    """

    def __init__(
        self,
        frames: FrameTable,
        light: PictureLight,
        panes: lamps.Panes,
        pieces: Sequence[Corners],
        *,
        filtered: bool = True,
    ) -> None:
        eye = geometry.head_middle_m(frames.plan)
        self.frames, self.panes = frames, panes
        self.lamps, self.pools = light.lamps, lamps.pools(frames.plan, eye)
        from_around = 1.0 - lamps.gathered(self.pools, frames.illuminance_lux)
        self.light = light = evolve(light, lamps=light.lamps * from_around[:, None])
        pieces = [_turned_to(piece, eye) for piece in pieces]
        self.skyglow = sky.skyglow(evolve(light, lamps=self.lamps))
        self.whole_light = sky.on_level_ground(light, frames.sun_direction, frames.moon_direction)
        # the sun's light at the place: less while it goes down behind the land
        self.sun_level = light.sun * mirror.sun_seen_over_land(frames, eye)[:, None]
        here = evolve(light, sun=self.sun_level)
        self.level_light = sky.on_level_ground(here, frames.sun_direction, frames.moon_direction)
        self.taken = _taken_by_shadow(frames, here)

        def joined(name: str) -> Array:
            return np.concatenate([getattr(piece, name) for piece in pieces])

        places, normals, albedo = joined("places"), joined("normals"), joined("albedo")
        is_water, in_shade, pane = joined("is_water"), joined("in_shade"), joined("pane")
        normal_rows, normal_of = distinct_rows(np.round(normals, 4))
        self.unique_normals = normals[normal_rows]
        looks = [np.round(places, 3), normal_of, np.round(albedo, 4), is_water, in_shade, pane]
        rows, alike = distinct_rows(np.column_stack(looks))
        ends = np.cumsum([piece.count for piece in pieces])
        self.alike = np.split(alike, ends[:-1])
        places, self.albedo, self.normal_of = places[rows], albedo[rows], normal_of[rows]
        self.is_water, self.in_shade = is_water[rows].astype(bool), in_shade[rows].astype(bool)
        self.pane_rows = np.flatnonzero(pane[rows] >= 0)
        self.pane = pane[rows][self.pane_rows].astype(int)
        self.water_rows = np.flatnonzero(self.is_water)
        self.water_places = places[self.is_water]
        self.pool_light = fastground.pool_light(self.pools, places, normals[rows])
        # level faces have few corners, far apart; they are seen from above, below a filter's edge
        self.filtered = np.flatnonzero(filtered & (self.is_water | (np.abs(normals[rows][:, 2]) < LEVEL)))
        self.filtered_places = places[self.filtered]
        away = places - eye
        self.haze = materials.air_before(np.linalg.norm(away, axis=1))
        bearing_rows, self.bearing_of = distinct_rows(
            np.round(np.arctan2(away[:, 1], away[:, 0]) / BEARING_RAD)
        )
        level = away[bearing_rows] * [1.0, 1.0, 0.0]
        self.level = level / np.maximum(np.linalg.norm(level, axis=1), 1e-6)[:, None]
        self.takes = ambient.shares_taken(self.unique_normals)
        block = np.concatenate([np.full(piece.count, piece.block) for piece in pieces])[rows]
        self.water_block = block[self.is_water]
        self.mirrors = self._mirrors(eye, pieces) if len(self.water_places) else []

    def _mirrors(self, eye: Array, pieces: Sequence[Corners]) -> list[mirror.Mirror]:
        """What the water mirrors from where, at a few heights of the tide from the lowest; and the corners
        that it sees of each block.
        """
        spots = np.abs(np.sin(np.round(self.water_places[:, :2], 2) @ [127.1, 311.7]) * 43758.5) % 1.0
        self.waves = 1.0 + WAVES * (2.0 * spots - 1.0)
        plan = self.frames.plan
        self.slope = mirror.slope(plan)
        away = self.water_places - eye
        away /= np.maximum(np.linalg.norm(away, axis=1), 1e-6)[:, None]
        # it changes too evenly with the angle to be worked out corner by corner
        drops = np.geomspace(water.LEAST_DROP, STRAIGHT_DOWN, DROPS)
        mirrored = water.mirrored_share(drops, self.slope)
        self.sent_up = 1.0 - np.interp(np.maximum(-away[:, 2], water.LEAST_DROP), drops, mirrored)
        mirrored_lamps = self._mirrored_lamps(away)
        self.lit_water = np.flatnonzero(mirrored_lamps.any(axis=1))
        self.mirrored_lamps = mirrored_lamps[self.lit_water]
        self.eye, self.outlines = eye, mirror.outlines(plan, eye)
        facing: list[tuple[int, NDArray[np.intp]]] = []
        for piece, alike in zip(pieces, self.alike, strict=True):
            if 0 <= piece.block < len(plan.blocks) and plan.blocks[piece.block].role not in (
                "ground",
                "water",
            ):
                turned = np.sum(piece.normals * (eye - piece.places), axis=1) > 0.0
                facing.append((piece.block, alike[turned] if turned.any() else alike))
        self.facing = _Facing.of(facing)
        directions = fastview.in_view(self.frames).directions_rad(*fastview.MIRROR_GRID)
        self.levels_m = _tide_levels_m(self.frames)
        return [mirror.mirror(plan, eye, directions, level) for level in self.levels_m]

    def _mirrored_lamps(self, away: Array) -> Array:
        """How bright the water is at its corners for each pane's brightness of 1, (water corners, panes)."""
        some = lamps.sources(self.panes)
        if not len(some.places_m):
            return np.zeros((len(away), 0))
        level, toward = lamps.square_light(some, self.water_places)
        path = np.stack(
            [water.glitter(away, self.slope, toward[:, k]) for k in range(level.shape[1])], axis=1
        )
        path = np.minimum(path, GLITTER_MOST) * level * self.waves[:, None]
        path[path < FAINTEST_LAMP * path.max(axis=0, initial=0.0)] = 0.0
        return np.asarray(path[:, some.source] * some.area_m2)

    def lit(self, number: int) -> Lit:
        """The colours of a frame, counted from 1."""
        frame, light = number - 1, self.light
        colours, taken = self._in_full_light(frame)
        sky_low = (sky.radiance(light, frame, self.level) + self.skyglow[frame])[self.bearing_of]
        if self.mirrors:
            colours[self.is_water] = self._water(frame, self._mirror_at(frame), colours)
        colours += self.haze[:, None] * (sky_low - colours)
        if len(self.panes.on_lux):
            share = lamps.share_on(self.panes.on_lux, self.frames.illuminance_lux[frame])
            shining = (share * self.lamps[frame].max())[:, None] * self.panes.glow
            colours[self.pane_rows] += shining[self.pane]
            if self.mirrors:
                colours[self.water_rows[self.lit_water]] += self.mirrored_lamps @ shining
        away = self.filtered_places - self.frames.camera_m[frame]
        colours[self.filtered] *= let_through(self.frames, away)
        level_light = self.level_light[frame]
        shadow = float(taken @ LUMINANCE / max(float(level_light @ LUMINANCE), 1e-12))
        by_channel = taken / np.maximum(level_light, 1e-12)
        takes = self._takes_shadow(self.frames.sun_direction[frame])
        return Lit(capped(colours), shadow, takes, by_channel)

    def on_level(self, number: int, albedo: Array, places: Array, *, in_shade: bool) -> Array:
        """Colours of level ground of a draft colour (3,) at places (n, 3), in a shadow or out of it, of a
        frame counted from 1.
        """
        frame = number - 1
        light = self.level_light[frame] - (self.taken[frame] if in_shade else 0.0)
        away = places - self.frames.camera_m[frame]
        far = length(away)
        level = away * [1.0, 1.0, 0.0]
        level /= np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-6)[:, None]
        low = sky.radiance(self.light, frame, level) + self.skyglow[frame]
        haze = materials.air_before(far)
        return capped(albedo * light + haze[:, None] * (low - albedo * light))

    def _in_full_light(self, frame: int) -> tuple[Array, Array]:
        """Colours of all kinds of corner in full light, and what a shadow takes of that on level ground."""
        light, sun, sun_level = self.light, self.frames.sun_direction[frame], self.sun_level[frame]
        whole = ambient.from_around(self.frames, light, frame, self.unique_normals, sun_level, self.takes)
        moon = np.maximum(self.unique_normals @ self.frames.moon_direction[frame], 0.0)
        whole += moon[:, None] * light.moon[frame]
        whole += np.maximum(self.unique_normals @ sun, 0.0)[:, None] * sun_level
        on_corners = whole[self.normal_of]
        if len(self.pools.on_lux):
            share = lamps.share_on(self.pools.on_lux, self.frames.illuminance_lux[frame])
            level = float(self.lamps[frame] @ LUMINANCE)
            on_corners = on_corners + (self.pool_light @ share * level)[:, None] * lamps.pool_tint()
        return self.albedo * on_corners, self.taken[frame]

    def _takes_shadow(self, sun: Array) -> Array:
        rise = np.clip((self.unique_normals @ sun) / FOCUS, 0.0, 1.0)
        return (rise * rise * (3.0 - 2.0 * rise))[self.normal_of]

    def _mirror_at(self, frame: int) -> mirror.Mirror:
        """The one for the height that comes nearest to the frame's."""
        water_m = self.frames.water_m
        if water_m is None or len(self.mirrors) == 1:
            return self.mirrors[0]
        away = [abs(float(water_m[frame]) - (level or 0.0)) for level in self.levels_m]
        return self.mirrors[int(np.argmin(away))]

    def _water(self, frame: int, glass: mirror.Mirror, colours: Array) -> Array:
        """What the water sends up: sky, land and beams as its waves mirror them, and its own dark."""
        light, sun, moon = self.light, self.frames.sun_direction[frame], self.frames.moon_direction[frame]
        away = self.water_places - self.frames.camera_m[frame]
        if self.frames.lifts_m is not None:
            lifts = np.append(self.frames.lifts_m[frame], 0.0)  # what is no block stands still
            away[:, 2] += lifts[np.where(self.water_block < 0, len(lifts) - 1, self.water_block)]
        away /= np.maximum(length(away), 1e-6)[:, None]
        blocks = self.facing.means(colours, glass.of_blocks.shape[1])
        band = np.exp(-sky.HORIZON_FALL * glass.sky_directions[:, 2:])
        above = sky.radiance(light, frame, glass.sky_directions) + band * self.skyglow[frame]
        seen = glass.seen(glass.levels(above, blocks), away)
        for toward, level in ((sun, self.sun_level[frame]), (moon, light.moon[frame])):
            if level.max() > 0.0:
                path = water.glitter(away, self.slope, toward, sky.SUN_RADIUS_RAD)
                bright = np.flatnonzero(path * level.max() > FAINTEST_GLITTER * seen.min(axis=1))
                hidden = mirror.is_hidden(self.outlines, self.eye, self.water_places[bright], toward)
                path[bright[hidden]] = 0.0
                seen += (self.waves * np.minimum(path, GLITTER_MOST))[:, None] * level
        level = self.whole_light[frame]
        return np.asarray(self.sent_up[:, None] * self.albedo[self.is_water] * level + seen)


def _taken_by_shadow(frames: FrameTable, light: PictureLight) -> Array:
    """What a shadow takes of the light on level ground, (frames, 3): what hides the sun hides the brightest
    sky too.
    """
    beam = light.sun * np.maximum(frames.sun_direction[:, 2:], 0.0)
    shines = beam.max(axis=1, keepdims=True) > 0.0
    return np.where(shines, beam + ambient.bright_around_sun(light, beam), 0.0)


def _tide_levels_m(frames: FrameTable) -> list[float | None]:
    """Heights of the sea that the mirror is worked out for, within TIDE_STEP_M of every frame's; None for
    water that stands still.
    """
    if frames.lifts_m is None or frames.water_m is None:
        return [None]
    low, high = float(frames.water_m.min()), float(frames.water_m.max())
    count = 1 + math.ceil((high - low) / (2.0 * TIDE_STEP_M))
    return [float(level) for level in np.linspace(low, high, count)]


class SkyColours:
    """The dome of the sky as seen by the camera, with the discs of sun and moon and the stars before it.

    outward are the dome's points as unit vectors (dome, 3) and faces all faces, those of discs and stars
    after the dome's; their points, `discs` of them, stand elsewhere on each frame.
    """

    def __init__(self, frames: FrameTable, light: PictureLight, view: View, width_px: float) -> None:
        self.frames, self.light = frames, light
        side = starfield.spot_rad(frames, width_px)  # stars are as large as the picture's pixels let them
        directions, self.star_levels = stars.seen(frames, side**2)
        self.star_corners = starfield.star_squares(directions, side).reshape(-1, 3)
        self.star_pole, self.star_turn_deg = stars.sky_pole(frames), stars.turned_deg(frames)
        self.skyglow, self.glare = sky.skyglow(light), sky.glare_levels(light)
        self.has_milky_way = milky_way.shows(frames)
        self.sun_disc = sky.sun_disc(light)
        self.moon_disc = sky.moon_disc(light, frames.moon_lit_fraction)
        self.outward, self.faces = fastview.dome_shape(view)
        count = len(self.outward)
        self.faces += fastview.fan(count, len(fastview.SUN_RINGS) - 1)
        count += 1 + (len(fastview.SUN_RINGS) - 1) * fastview.DISC_SIDES
        self.faces += fastview.sheet(count, fastview.MOON_ROWS, fastview.MOON_COLUMNS)
        count += fastview.MOON_ROWS * fastview.MOON_COLUMNS
        ends = range(count, count + 4 * len(directions), 4)
        self.faces += [(at + 3, at + 2, at + 1, at) for at in ends]
        self.points = count + 4 * len(directions)
        self.discs = self.points - len(self.outward)

    def shown(self, number: int) -> tuple[Array, Array]:
        """A frame's directions of the points of discs and stars, and the colours of all points, with the glow
        of the place and the glare around the sun; number counts from 1.
        """
        frame = number - 1
        sun, moon = self.frames.sun_direction[frame], self.frames.moon_direction[frame]
        # a sun that is down has no rings: they draw the sky around them less finely than the dome does
        rings = fastview.rings_around(sun, fastview.SUN_RINGS * (self.light.sun[frame].max() > 0.0))
        lune = fastview.lune(moon, sun, float(self.frames.moon_lit_fraction[frame]))
        spots = stars.turned(self.star_corners, self.star_pole, float(self.star_turn_deg[frame]))
        middles = spots.reshape(-1, 4, 3).mean(axis=1)  # the sky behind a star is as at its middle
        directions = np.vstack([self.outward, rings, lune, middles])
        colours = self._smooth(frame, directions)
        ends = np.cumsum([len(self.outward), len(rings), len(lune)])
        _, on_sun, on_moon, on_stars = np.split(colours, ends)
        on_sun += fastview.SUN_EDGE[:, None] * self.sun_disc[frame]
        on_moon += self.moon_disc[frame]
        level = stars.through_air(middles[:, 2]) * self.light.level_per_lux[frame]
        shining = level[:, None] * self.star_levels
        unseen = shining.max(axis=1) < UNSEEN_STAR * on_stars.max(axis=1)
        spots.reshape(-1, 4, 3)[unseen] = middles[unseen, None]
        on_stars += shining
        shown = capped(colours * let_through(self.frames, directions))
        four = np.repeat(shown[ends[-1] :], 4, axis=0)
        return np.vstack([rings, lune, spots]), np.vstack([shown[: ends[-1]], four])

    def _smooth(self, frame: int, directions: Array) -> Array:
        """The sky in directions (n, 3) without its discs and stars, (n, 3)."""
        sun = self.frames.sun_direction[frame]
        band = np.exp(-sky.HORIZON_FALL * np.maximum(directions[:, 2:], 0.0))
        colours = sky.radiance(self.light, frame, directions)
        colours *= skyshapes.factors(self.frames, frame, directions)
        colours += band * self.skyglow[frame]
        colours += sky.glare(self.glare[frame], length(directions - sun))
        if self.has_milky_way:
            dome = slice(0, len(self.outward))
            colours[dome] += milky_way.levels(self.frames, frame, directions[dome])
        return colours


def let_through(frames: FrameTable, away: Array) -> Array | float:
    """What the plan's graduated filter leaves of the light from where `away` (n, 3) points, (n, 1); 1 for
    none.
    """
    plan = frames.plan
    if plan.exposure is None or not plan.exposure.grad_stops:
        return 1.0
    rise = away[:, 2] / np.maximum(length(away), 1e-6)
    return graduated.light_let_through(plan, rise)[:, None]


def distinct_rows(values: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where each row (or number) that differs from the others is found first, and which of them each is."""
    _, first, which = np.unique(values, axis=0, return_index=True, return_inverse=True)
    return first, which.ravel()


def capped(colours: Array) -> Array:
    """Colours no brighter than a picture needs: whiter, and as bright as before as far as that goes."""
    most = np.maximum(np.maximum(colours[:, 0], colours[:, 1]), colours[:, 2])
    over = np.flatnonzero(most > BRIGHTEST)
    if not len(over):
        return colours
    bright, luminance = colours[over], colours[over] @ LUMINANCE
    grey = np.minimum(luminance, BRIGHTEST)
    fraction = (BRIGHTEST - grey) / np.maximum(most[over] - grey, 1e-9)
    whiter = grey[:, None] + fraction[:, None] * (bright - luminance[:, None])
    shown = colours.copy()
    shown[over] = np.clip(whiter, 0.0, BRIGHTEST)
    return shown


def _turned_to(piece: Corners, eye: Array) -> Corners:
    """A skyline's sheet with its normals on the side of the eye, and all else as it is."""
    if not piece.in_shade.all() or piece.is_water.any():
        return piece
    turned = np.sum(piece.normals * (eye - piece.places), axis=1)
    return evolve(piece, normals=piece.normals * np.where(turned < 0.0, -1.0, 1.0)[:, None])
