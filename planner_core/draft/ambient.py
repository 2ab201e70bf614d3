"""The light from all around on surfaces by the way they face: sky, lamps and what the ground sends up.

The beam of the sun is none of it, but its light on the ground is in what that sends up. The ground before a
wall that is turned from the sun lies partly in the wall's own shadow.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.draft.sky import PictureLight
from planner_core.frames import FrameTable
from planner_core.light import sky
from planner_core.light.sky import SkyLight
from planner_core.place.surface_colours import level_ground_colour

Array = NDArray[np.float64]

DIRECTIONS = 400
# with the sun behind a wall, how much of the ground that it sees lies in its shadow: fitted to what Cycles
# draws of a house
SHADED_FOOT = 0.25
WALLS = 8
MOST_FRAMES = 48  # between which the plain sky is interpolated
GLOW_FADES = 0.2  # the sky around the sun goes with a beam that is so weak beside it by half: ours
# of the bright band over the horizon what hides a sun on it hides, and the sine of the altitude by which that
# sinks to 1/e: ours
LOW_SKY_HIDDEN, LOW_SKY_FALL = 0.6, 0.1
# of the light from above, at least so much comes from below in the plain sky. With less than a fifth, EEVEE
# evens its light out and level ground gets too little; with a fifth, walls get too much. Ours, between
LEAST_BELOW = 0.12
# how much more walls turned from the sun count in the plain sky, and the sine of how far below the horizon it
# then is that they no longer do: ours
TURNED_COUNT, SUN_GONE = 20.0, 0.07
LOWEST_GLOW_RISE = 0.1  # the bright sky around a lower sun reaches as high as that, sine: ours


def even_directions(count: int) -> Array:
    """Directions spread evenly over the upper half, shape (count, 3): a spiral by the golden angle."""
    up = (np.arange(count) + 0.5) / count
    turn = np.arange(count) * (np.pi * (3.0 - np.sqrt(5.0)))
    level = np.sqrt(1.0 - up**2)
    return np.stack([level * np.cos(turn), level * np.sin(turn), up], axis=1)


@lru_cache(maxsize=1)
def ground_colour() -> Array:
    """What level ground sends back of the light on it, (3,)."""
    return np.array(level_ground_colour())


def from_around(
    frames: FrameTable, light: PictureLight, frame: int, normals: Array, sun: ArrayLike, takes: Array
) -> Array:
    """Light on surfaces by their normals (n, 3), shape (n, 3), of a frame counted from 0. sun is the beam's
    light square to it, (3,), and takes what shares_taken has for the normals.
    """
    directions, toward_sun = sky_directions(), frames.sun_direction[frame]
    whole_sky = sky.radiance(light, frame, directions)
    whole_sky += sky.lamp_shape(directions, light.lamp_direction[0])[:, None] * light.lamps[frame]
    beam = np.asarray(sun, dtype=np.float64) * max(float(toward_sun[2]), 0.0)
    moon = light.moon[frame] * max(float(frames.moon_direction[frame, 2]), 0.0)
    on_ground = (2.0 * directions[:, 2] / DIRECTIONS) @ whole_sky + beam + moon
    turned = np.clip(-(normals[:, :2] @ toward_sun[:2]), 0.0, 1.0)[:, None]
    sent_up = ground_colour() * (on_ground - SHADED_FOOT * turned * beam)
    return np.asarray(takes @ whole_sky + sent_up * ((1.0 - normals[:, 2]) / 2.0)[:, None])


def shares_taken(normals: Array) -> Array:
    """Share of each of the sky's directions in the light on each normal, (n, directions); an even sky of
    level 1 lights what faces it to 1.
    """
    return 2.0 * np.maximum(normals @ sky_directions().T, 0.0) / DIRECTIONS


@lru_cache(maxsize=1)
def sky_directions() -> Array:
    """Directions that stand for the whole sky, (directions, 3)."""
    return even_directions(DIRECTIONS)


def bright_around_sun(light: SkyLight, beam: Array) -> Array:
    """Light on level ground from the bright sky around the sun that what hides the sun hides too, shape
    (frames, 3); beam (frames, 3) is the sun's own. It fades away with that.
    """
    low = LOW_SKY_HIDDEN * np.exp(-light.lobe_direction[:, 2:] / LOW_SKY_FALL)
    bright = light.aureole + light.circumsolar / 2.0 + low * light.horizon_band
    return np.where(beam > 0.0, bright * beam / np.maximum(beam + GLOW_FADES * bright, 1e-12), 0.0)


@frozen(kw_only=True, eq=False)
class Probe:
    """A sky so plain that an engine can take it for the light from all around: upper + across · direction
    above the horizon, lower below it. upper, lower (frames, 3) and across (frames, 2, 3); and sun
    (frames, 3), the light square to the beam with the bright sky around it.
    """

    upper: Array
    lower: Array
    across: Array
    sun: Array


def probe(frames: FrameTable, light: PictureLight, sun_seen: ArrayLike, *, glow: bool = False) -> Probe:
    """The plain sky that lights level ground and walls as the whole sky does. sun_seen (frames,) is the share
    of the sun that shines; with glow, the bright sky around it shines with it and not from all around.

    In first-order spherical harmonics (Ramamoorthi and Hanrahan, *SIGGRAPH* 2001) an even half sky of 1
    lights a surface to (1 + z) / 2, and x above the horizon to x / 3. Between some of the frames the light is
    interpolated.
    """
    normals = _up_and_walls()
    takes = shares_taken(normals)
    beam = light.sun * np.asarray(sun_seen, dtype=np.float64)[:, None]
    rise = np.maximum(frames.sun_direction[:, 2:], 0.0)
    around_sun = bright_around_sun(light, beam * rise) * float(glow)
    extra = around_sun / np.maximum(rise, LOWEST_GLOW_RISE)
    count = len(frames)
    some = np.unique(np.linspace(0, count - 1, MOST_FRAMES).round().astype(int))
    lit = np.array([from_around(frames, light, k, normals, beam[k], takes) for k in some])
    per_lux = light.level_per_lux
    dark = np.log(np.maximum(lit / per_lux[some, None, None], 1e-12)).reshape(len(some), -1)
    columns = [np.interp(np.arange(count), some, column) for column in dark.T]
    lit = np.exp(np.stack(columns, axis=1)).reshape(count, len(normals), 3) * per_lux[:, None, None]
    facing = np.maximum(frames.sun_direction @ normals.T, 0.0)[:, :, None]
    lit = np.maximum(lit - facing * extra[:, None], 0.0)
    even, across = _plain_walls(lit[:, 1:], normals[1:, :2], frames.sun_direction)
    lower = np.maximum(2.0 * even - lit[:, 0], LEAST_BELOW * lit[:, 0])
    return Probe(upper=lit[:, 0], lower=lower, across=3.0 * across, sun=beam + extra)


def _plain_walls(lit: Array, facing: Array, sun: Array) -> tuple[Array, Array]:
    """Light on walls, (frames, walls, 3), that face (walls, 2), as even + across · facing by least squares:
    (frames, 3) and (frames, 2, 3). While the sun is up, those turned from it count for more: the others have
    its light besides.
    """
    turned = np.maximum(-(sun[:, :2] @ facing.T), 0.0)
    is_up = np.clip(1.0 + sun[:, 2:] / SUN_GONE, 0.0, 1.0)
    weights = 1.0 + TURNED_COUNT * is_up * turned**2
    terms = np.column_stack([np.ones(len(facing)), facing])
    squares = np.einsum("fw,wi,wj->fij", weights, terms, terms)
    coefficients = np.linalg.solve(squares, np.einsum("fw,wi,fwc->fic", weights, terms, lit))
    return coefficients[:, 0], coefficients[:, 1:]


def _up_and_walls() -> Array:
    turns = np.arange(WALLS) * (2.0 * np.pi / WALLS)
    walls = np.stack([np.cos(turns), np.sin(turns), np.zeros(WALLS)], axis=-1)
    return np.vstack([[[0.0, 0.0, 1.0]], walls])
