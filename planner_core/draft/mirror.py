"""What the water of a place mirrors on each frame: the sky, and the blocks that stand behind the water.

The light on water is worked out for a grid of directions from the camera, as sums over the sky's directions
and over blocks whose weights stay as they are from frame to frame (light/water.py). Blocks are taken by their
outline against the sky.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.frames import FrameTable
from planner_core.light import sky, water
from planner_core.place.blocking import block_mesh
from planner_core.plan.model import Plan

Array = NDArray[np.float64]

SKY_AROUND, SKY_RISES = 72, 20  # into how many directions the sky is cut
DROPS = 14  # sines of the angle down to the water, in even ratios
STEEPEST_DROP = 0.9
MOST_OUTLINES = 160
HORIZON_M = 20_000.0  # as far as water is seen


@frozen(kw_only=True)
class Outline:
    """A piece of a block's outline from the camera: from one bearing to another (radians counter-clockwise
    from +X), at a distance, and how high its two ends are above the eye.
    """

    block: int
    first_rad: float
    last_rad: float
    distance_m: float
    first_m: float
    last_m: float


@frozen(kw_only=True, eq=False)
class Mirror:
    """Weights of a grid of directions down to the water, drops by bearings: bearings_rad (b,), drops (d,).

    of_sky (d * b, directions) are the weights of sky_directions (directions, 3), of_blocks (d * b, blocks)
    those of what is seen of each block.
    """

    bearings_rad: Array
    drops: Array
    sky_directions: Array
    of_sky: Array
    of_blocks: Array

    def levels(self, sky_levels: ArrayLike, block_levels: ArrayLike) -> Array:
        """What the water sends up in each direction, (d, b, 3), from brightness of the sky's directions and
        of the blocks.
        """
        whole = self.of_sky @ np.asarray(sky_levels) + self.of_blocks @ np.asarray(block_levels)
        return whole.reshape(len(self.drops), len(self.bearings_rad), 3)

    def seen(self, levels: Array, away: Array) -> Array:
        """Those levels in directions (n, 3), between those of the grid, shape (n, 3)."""
        bearing = np.arctan2(away[:, 1], away[:, 0])
        first, last = self.bearings_rad[0], self.bearings_rad[-1]
        bearing = first + (bearing - first + 1e-9) % (2.0 * np.pi)
        bearing = np.where(bearing > (first + last) / 2.0 + np.pi, bearing - 2.0 * np.pi, bearing)
        column = np.interp(bearing, self.bearings_rad, np.arange(len(self.bearings_rad)))
        drop = np.clip(-away[:, 2], self.drops[0], self.drops[-1])
        row = np.interp(np.log(drop), np.log(self.drops), np.arange(len(self.drops)))
        return _between(levels, row, column)


def slope(_plan: Plan) -> float:
    """Mean square slope of the place's water."""
    return float(water.mean_square_slope(water.CALM_WIND_M_S))


def mirror(plan: Plan, eye_m: ArrayLike, bearings_rad: ArrayLike, water_m: float | None = None) -> Mirror:
    """The weights for water seen from a place over those bearings; water_m is its height where a tide
    sets it.
    """
    eye, bearings = np.asarray(eye_m, dtype=np.float64), np.asarray(bearings_rad, dtype=np.float64)
    level_m = water_level_m(plan) if water_m is None else water_m
    high = max(float(eye[2]) - level_m, 0.2)
    drops = np.geomspace(water.LEAST_DROP, STEEPEST_DROP, DROPS)
    drop, bearing = (grid.ravel() for grid in np.meshgrid(drops, bearings, indexing="ij"))
    level = np.sqrt(1.0 - drop**2)
    away = np.stack([level * np.cos(bearing), level * np.sin(bearing), -drop], axis=-1)
    toward, shares = water.facets(away, slope(plan))
    there_m = np.minimum(high * level / drop, HORIZON_M)
    struck = _struck(outlines(plan, eye), high, there_m, bearing, toward)
    of_blocks = np.zeros((len(drop), len(plan.blocks)))
    rows = np.broadcast_to(np.arange(len(drop), dtype=np.intp)[:, None], struck.shape)
    hit = struck >= 0
    np.add.at(of_blocks, (rows[hit], struck[hit]), shares[hit])
    directions, of_sky = _sky_weights(toward, np.where(hit, 0.0, shares))
    used = of_sky.any(axis=0)  # what no wave in view mirrors needn't be known
    return Mirror(
        bearings_rad=bearings,
        drops=drops,
        sky_directions=directions[used],
        of_sky=np.ascontiguousarray(of_sky[:, used]),
        of_blocks=of_blocks,
    )


def water_level_m(plan: Plan) -> float:
    """Mean height of the place's water."""
    tops = [float(block_mesh(plan, b).vertices_m[:, 2].max()) for b in plan.blocks if b.role == "water"]
    return float(np.mean(tops)) if tops else 0.0


def outlines(plan: Plan, eye_m: ArrayLike) -> list[Outline]:
    """Outlines of what stands up, the farthest first."""
    eye, standing = np.asarray(eye_m, dtype=np.float64), []
    for index, block in enumerate(plan.blocks):
        if block.role in ("ground", "water"):
            continue
        away = block_mesh(plan, block).vertices_m - eye
        distance = np.hypot(away[:, 0], away[:, 1])
        bearing = np.arctan2(away[:, 1], away[:, 0])
        if block.shape == "ridge":
            standing += _skyline(index, away, distance, bearing)
            continue
        middle = np.arctan2(np.sin(bearing).mean(), np.cos(bearing).mean())
        aside = (bearing - middle + np.pi) % (2.0 * np.pi) - np.pi
        if distance.min() < 2.0 or np.ptp(aside) > np.pi:
            continue
        top = float(away[:, 2].max())
        standing.append(
            Outline(
                block=index,
                first_rad=float(middle + aside.min()),
                last_rad=float(middle + aside.max()),
                distance_m=float(distance.mean()),
                first_m=top,
                last_m=top,
            )
        )
    standing.sort(key=lambda one: -one.distance_m)
    return standing[-MOST_OUTLINES:]


def sun_seen_over_land(frames: FrameTable, eye_m: ArrayLike) -> Array:
    """Share of the sun's disc above the far skylines, as seen from a place, shape (frames,)."""
    seen = np.ones(len(frames))
    bearing = np.arctan2(frames.sun_direction[:, 1], frames.sun_direction[:, 0])
    rise = np.arcsin(np.clip(frames.sun_direction[:, 2], -1.0, 1.0))
    for one in outlines(frames.plan, eye_m):
        if frames.plan.blocks[one.block].shape != "ridge":
            continue
        inside, high = _height(one, bearing)
        over = (rise - np.arctan2(high, one.distance_m)) / (2.0 * sky.SUN_RADIUS_RAD) + 0.5
        seen = np.where(inside, np.minimum(seen, np.clip(over, 0.0, 1.0)), seen)
    return seen


def is_hidden(found: list[Outline], eye_m: Array, places_m: Array, toward: Array) -> NDArray[np.bool_]:
    """Whether what lies in a direction (3,) is hidden behind outlines from places on the water (n, 3)."""
    away = np.asarray(places_m) - eye_m
    if not len(away):
        return np.zeros(0, dtype=bool)
    bearing, there_m = np.arctan2(away[:, 1], away[:, 0]), np.hypot(away[:, 0], away[:, 1])
    high_m = max(float(-away[:, 2].mean()), 0.2)
    rays = np.broadcast_to(np.asarray(toward, dtype=np.float64), (len(away), 1, 3))
    near = _in_sector(found, bearing, float(np.arctan2(toward[1], toward[0])))
    steep = float(toward[2]) / max(float(np.hypot(toward[0], toward[1])), 1e-9)
    passes_m = steep * np.maximum([one.distance_m for one in near] - there_m.max(), 0.0) - high_m
    near = [one for one, over_m in zip(near, passes_m, strict=True) if max(one.first_m, one.last_m) > over_m]
    return np.asarray(_struck(near, high_m, there_m, bearing, rays)[:, 0] >= 0)


def _in_sector(standing: list[Outline], bearing: Array, toward_rad: float) -> list[Outline]:
    """Outlines that reach into the sector which rays from bearings (n,) toward one bearing can cross."""
    aside = (bearing - toward_rad + np.pi) % (2.0 * np.pi) - np.pi
    low, high = min(float(aside.min()), 0.0), max(float(aside.max()), 0.0)

    def reaches(one: Outline) -> bool:
        off = (one.first_rad + one.last_rad) / 2.0 - toward_rad - (low + high) / 2.0
        off = abs((off + np.pi) % (2.0 * np.pi) - np.pi)
        return bool(off <= (one.last_rad - one.first_rad + high - low) / 2.0 + 1e-9)

    return [one for one in standing if reaches(one)]


def _skyline(index: int, away: Array, distance: Array, bearing: Array) -> list[Outline]:
    """A ridge's upper edge, piece by piece."""
    upper = np.arange(len(away) // 2, len(away))  # below it hangs the curtain
    order = upper[np.argsort(np.unwrap(bearing[upper]))]
    turn = np.unwrap(bearing[order])
    return [
        Outline(
            block=index,
            first_rad=float(turn[k]),
            last_rad=float(turn[k + 1]),
            distance_m=float(distance[order[k : k + 2]].mean()),
            first_m=float(away[order[k], 2]),
            last_m=float(away[order[k + 1], 2]),
        )
        for k in range(len(order) - 1)
        if turn[k + 1] - turn[k] > 1e-9
    ]


def _height(one: Outline, bearing: Array) -> tuple[NDArray[np.bool_], Array]:
    """Where bearings are within an outline, and how high it is there above the eye, metres."""
    wide = one.last_rad - one.first_rad
    along = bearing - one.first_rad
    along -= 2.0 * np.pi * np.floor((along + np.pi - wide / 2.0) / (2.0 * np.pi))  # quicker than a remainder
    fraction = along / wide
    return (fraction >= 0.0) & (fraction <= 1.0), one.first_m + fraction * (one.last_m - one.first_m)


def _struck(
    standing: list[Outline], high_m: float, there_m: Array, bearing: Array, toward: Array
) -> NDArray[np.intp]:
    """Which block rays (n, k, 3) strike that start on the water at distances (n,) and bearings (n,); −1 for
    none.
    """
    struck = np.full(toward.shape[:2], -1, dtype=np.intp)
    turned = np.arctan2(toward[..., 1], toward[..., 0]) - bearing[:, None]
    turned = (turned + np.pi) % (2.0 * np.pi) - np.pi
    steep = np.maximum(toward[..., 2], 0.0) / np.maximum(np.hypot(toward[..., 0], toward[..., 1]), 1e-9)
    for one in standing:
        before = np.flatnonzero(there_m < one.distance_m)
        left = (one.distance_m - there_m[before])[:, None]
        aside = bearing[before, None] + turned[before] * (left / one.distance_m)
        inside, above = _height(one, aside)
        row, ray = np.nonzero(inside & (steep[before] * left < above + high_m))
        struck[before[row], ray] = one.block
    return struck


def _sky_weights(toward: Array, shares: Array) -> tuple[Array, Array]:
    """Directions of the upper half of the sky (m, 3), and weights (n, m) of them that stand for shares (n, k)
    of light from directions (n, k, 3).
    """
    rises = np.linspace(0.0, 1.0, SKY_RISES) ** 2
    turns = np.arange(SKY_AROUND) * (2.0 * np.pi / SKY_AROUND)
    rise, turn = (grid.ravel() for grid in np.meshgrid(rises, turns, indexing="ij"))
    level = np.sqrt(1.0 - rise**2)
    directions = np.stack([level * np.cos(turn), level * np.sin(turn), rise], axis=-1)
    row = np.sqrt(np.clip(toward[..., 2], 0.0, 1.0)) * (SKY_RISES - 1)
    column = np.arctan2(toward[..., 1], toward[..., 0]) / (2.0 * np.pi / SKY_AROUND) % SKY_AROUND
    low, left = np.minimum(row.astype(int), SKY_RISES - 2), column.astype(int) % SKY_AROUND
    up, right = row - low, column - np.floor(column)
    weights = np.zeros((len(toward), SKY_RISES * SKY_AROUND))
    rows = np.broadcast_to(np.arange(len(toward))[:, None], low.shape)
    for more_up, part_up in ((0, 1.0 - up), (1, up)):
        for more_right, part_right in ((0, 1.0 - right), (1, right)):
            cell = (low + more_up) * SKY_AROUND + (left + more_right) % SKY_AROUND
            np.add.at(weights, (rows, cell), shares * part_up * part_right)
    return directions, weights


def _between(levels: Array, row: Array, column: Array) -> Array:
    """Bilinear values of a grid (d, b, 3) at rows and columns (n,), shape (n, 3)."""
    low = np.clip(row.astype(int), 0, max(levels.shape[0] - 2, 0))
    left = np.clip(column.astype(int), 0, max(levels.shape[1] - 2, 0))
    up, right = (row - low)[:, None], (column - left)[:, None]
    high, aside = np.minimum(low + 1, levels.shape[0] - 1), np.minimum(left + 1, levels.shape[1] - 1)
    lower = levels[low, left] * (1.0 - right) + levels[low, aside] * right
    upper = levels[high, left] * (1.0 - right) + levels[high, aside] * right
    return lower * (1.0 - up) + upper * up
