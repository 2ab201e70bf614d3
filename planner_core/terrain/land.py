"""The land in the plan: far land as ridges by distance, near land as ground, and blocks at its height.

The scene's zero lies so that the rail stays as high above the ground as it was: everything else follows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.angles import wrapped_deg
from planner_core.place.blocking import block_mesh
from planner_core.place.footprints import EQUATOR_RADIUS_M, lonlat_deg
from planner_core.place.ground import ground_under_m
from planner_core.place.land_grid import grid_points_m
from planner_core.plan.model import Block, Plan, PlanError
from planner_core.terrain.grids import Grid
from planner_core.terrain.horizon import BANDS_M, Horizon, dip_deg, horizon
from planner_core.words.figures import percent

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PREFIX, RIDGE_PREFIX = "land", "hills"  # how blocks that this module makes are called
NARROWEST_DEG = 0.4  # a crest narrower than this is left to the one behind it
GAP_DEG = 0.3
SHORTEST_PART = 10  # bearings
SIMPLE_DEG = 0.01  # a skyline keeps to the land's within this (Douglas and Peucker 1973)
LOWEST_DEG = 0.05  # lower land is the level ground's own
LONGEST = (
    1.25  # one ridge stands at one distance, so a crest that runs away is cut where it gets so much farther
)
LEAST_CELLS, MOST_CELLS = 8, 20  # near land is so many cells wide
SMALLEST_CELL_M = 5.0
STANDS_M = 0.5  # a block whose foot is within this of the ground stands on it
FAR_EDGE_M = 40_000.0  # nearer than this the grid's end is said: hills there can still stand in the way
CRADLE_M = 3.0  # how far near land's blocks reach down


@frozen(kw_only=True)
class Landed:
    """What came of it: the plan, the horizon it was built from, and the sentences for a person."""

    plan: Plan
    horizon: Horizon
    said: tuple[str, ...]


def with_land(plan: Plan, grid: Grid, *, near_m: float = 120.0, zero_m: float | None = None) -> Landed:
    """The plan on the land of a grid: ridges around it, ground within near_m, blocks at the land's height.

    zero_m is the height above the sea of the scene's zero; without it the land under the rail's start is it.
    Blocks of an earlier call are replaced. Raises PlanError where the site lies outside of the grid.
    """
    bare = attrs.evolve(plan, blocks=tuple(block for block in plan.blocks if not _is_land(block)))
    here = _sea_height_m(bare, grid, np.asarray(bare.rig.origin_m)[None, :2])[0]
    if math.isnan(here):
        raise PlanError(
            "site",
            f"{plan.site.latitude_deg:.4f}, {plan.site.longitude_deg:.4f}",
            "is not on this terrain; name the tile that has it, or check the coordinates",
        )
    ground = ground_under_m(bare, bare.rig.origin_m)
    zero = here - ground if zero_m is None else zero_m
    lifted, count = _on_land(bare, grid, zero)
    near = _near_block(lifted, grid, zero, near_m) if near_m > 0.0 else None
    origin = np.asarray(lifted.rig.origin_m)
    longitude, latitude = (float(value[0]) for value in lonlat_deg(origin[None, :2], plan.site))
    eye = zero + float(origin[2])
    seen = horizon(grid, latitude, longitude, eye, from_m=max(near_m, 50.0))
    ridges = tuple(_ridges(seen, lifted))
    new = attrs.evolve(lifted, blocks=(*lifted.blocks, *((near,) if near else ()), *ridges))
    return Landed(
        plan=new, horizon=seen, said=tuple(_said(new, grid, seen, zero, eye, count, near_m, near, ridges))
    )


def _is_land(block: Block) -> bool:
    head, _, number = block.name.partition(" ")
    return head in (PREFIX, RIDGE_PREFIX) and block.part_of == head and number.isdecimal()


def _sea_height_m(plan: Plan, grid: Grid, points_m: Array) -> Array:
    """Height above the sea of the land at scene points (n, 2); NaN where the grid has none."""
    longitude, latitude = lonlat_deg(points_m, plan.site)
    return grid.at(latitude, longitude)


# ---------------------------------------------------------------- blocks on the land


def _on_land(plan: Plan, grid: Grid, zero_m: float) -> tuple[Plan, int]:
    """The plan with what stood on the level ground raised or lowered to the land, and how many that are."""
    blocks, count = list(plan.blocks), 0
    for index, block in enumerate(plan.blocks):
        if block.role in ("ground", "water") or block.shape == "ridge":
            continue
        vertices = block_mesh(plan, block).vertices_m
        middle, foot = vertices[:, :2].mean(axis=0), float(vertices[:, 2].min())
        if _on_a_ground_block(plan, middle) or abs(foot - ground_under_m(plan, (*middle, np.inf))) > STANDS_M:
            continue
        height = float(_sea_height_m(plan, grid, middle[None, :])[0]) - zero_m
        if math.isnan(height):
            continue
        blocks[index] = _raised(block, height - foot)
        count += 1
    return attrs.evolve(plan, blocks=tuple(blocks)), count


def _on_a_ground_block(plan: Plan, middle: Array) -> bool:
    """Whether a place has ground of its own in the plan: a quay, a terrace."""
    without = attrs.evolve(plan, blocks=tuple(block for block in plan.blocks if block.role != "ground"))
    here = (*middle, np.inf)
    return ground_under_m(plan, here) != ground_under_m(without, here)


def _raised(block: Block, by_m: float) -> Block:
    if block.centre_m is not None:
        x, y, z = block.centre_m
        return attrs.evolve(block, centre_m=(x, y, round(z + by_m, 3)))
    return attrs.evolve(block, base_m=round(block.base_m + by_m, 3))


# ---------------------------------------------------------------- near land


def _near_block(plan: Plan, grid: Grid, zero_m: float, near_m: float) -> Block | None:
    """The land around the rail as one terrain, about as fine as the grid; None where the grid has a hole."""
    spacing = min(grid.step_deg) * math.radians(1.0) * EQUATOR_RADIUS_M
    cells = int(np.clip(math.ceil(2.0 * near_m / max(spacing, SMALLEST_CELL_M)), LEAST_CELLS, MOST_CELLS))
    origin = np.asarray(plan.rig.origin_m[:2])
    offsets = np.linspace(-near_m, near_m, cells + 1)
    x, y = np.meshgrid(offsets, offsets)
    heights = _sea_height_m(plan, grid, np.stack([x, y], axis=-1).reshape(-1, 2) + origin) - zero_m
    if np.isnan(heights).any():
        return None
    foot = round(float(heights.min()) - CRADLE_M, 2)
    above = np.round(heights.reshape(x.shape) - foot, 2)
    size = float(above.max())
    return Block(
        name=f"{PREFIX} 1",
        part_of=PREFIX,
        role="ground",
        shape="terrain",
        centre_m=(float(origin[0]), float(origin[1]), foot + size / 2.0),
        size_m=(2.0 * near_m, 2.0 * near_m, size),
        heights_m=tuple(tuple(row) for row in above.tolist()),
    )


# ---------------------------------------------------------------- ridges


def _ridges(seen: Horizon, plan: Plan) -> Iterator[Block]:
    """A block for each stretch of crest that shows, by distance, the nearest first."""
    number = 0
    for crest, distance in zip(seen.band_deg, seen.band_m, strict=True):
        stretches = _stretches(crest, seen.bearing_deg)
        for rows in (part for whole in stretches for part in _at_one_distance(whole, distance[whole])):
            number += 1
            away = float(np.median(distance[rows]))
            bearing = np.unwrap(seen.bearing_deg[rows], period=360.0)
            skyline = _simplified(np.column_stack([bearing, crest[rows]]))
            yield Block(
                name=f"{RIDGE_PREFIX} {number}",
                part_of=RIDGE_PREFIX,
                role="background",
                shape="ridge",
                distance_m=round(away, 1),
                base_m=round(_foot_m(plan, away, skyline), 1),
                skyline_deg=tuple((round(float(a), 2), round(float(b), 4)) for a, b in skyline),
            )


def _at_one_distance(rows: NDArray[np.intp], distance: Array) -> Iterator[NDArray[np.intp]]:
    """A stretch cut where its crest comes much nearer or goes much farther; neighbours share their end."""
    first = 0
    for index in range(1, len(rows)):
        nearest, farthest = distance[first : index + 1].min(), distance[first : index + 1].max()
        long_enough = min(index - first, len(rows) - index) >= SHORTEST_PART
        if farthest > LONGEST * nearest and long_enough:
            yield rows[first : index + 1]
            first = index
    yield rows[first:]


def _foot_m(plan: Plan, away_m: float, skyline: Array) -> float:
    """Low enough that nothing shows beneath it."""
    crest = plan.rig.origin_m[2] + away_m * np.tan(np.radians(skyline[:, 1]))
    return float(min(crest.min(), 0.0)) - 10.0


def _stretches(crest: Array, bearing: Array) -> Iterator[NDArray[np.intp]]:
    """Rows of each stretch of a band's crest that shows, all the way round."""
    step = float(bearing[1] - bearing[0])
    shows = _closed(crest > LOWEST_DEG, round(GAP_DEG / step))
    if not shows.any():
        return
    count = len(shows)
    turn = 0 if shows.all() else int(np.flatnonzero(~shows)[0])
    order = (np.arange(count) + turn) % count
    shown = shows[order]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], shown, [False]]).astype(int)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        rows = order[first:last]
        rows = rows[crest[rows] > LOWEST_DEG]
        if len(rows) * step >= NARROWEST_DEG:
            # a whole turn is two halves: a skyline runs from one bearing to another
            yield from ((rows[: count // 2 + 1], rows[count // 2 :]) if len(rows) == count else (rows,))


def _closed(mask: Mask, gap: int) -> Mask:
    """A mask with gaps of up to so many places filled, all the way round."""
    grown, shrunk = mask.copy(), None
    for shift in range(-gap, gap + 1):
        grown |= np.roll(mask, shift)
    shrunk = grown.copy()
    for shift in range(-gap, gap + 1):
        shrunk &= np.roll(grown, shift)
    return shrunk | mask


def _simplified(line: Array) -> Array:
    """The points of a skyline (n, 2) that keep it within SIMPLE_DEG."""
    keep = np.zeros(len(line), dtype=bool)
    keep[[0, -1]] = True
    open_parts = [(0, len(line) - 1)]
    while open_parts:
        first, last = open_parts.pop()
        if last - first < 2:
            continue
        inner = np.arange(first + 1, last)
        straight = np.interp(line[inner, 0], line[[first, last], 0], line[[first, last], 1])
        off = np.abs(line[inner, 1] - straight)
        worst = int(np.argmax(off))
        if off[worst] > SIMPLE_DEG:
            keep[inner[worst]] = True
            open_parts += [(first, int(inner[worst])), (int(inner[worst]), last)]
    return line[keep]


# ---------------------------------------------------------------- words


def _said(
    plan: Plan,
    grid: Grid,
    seen: Horizon,
    zero_m: float,
    eye_m: float,
    moved: int,
    near_m: float,
    near: Block | None,
    ridges: Sequence[Block],
) -> Iterator[str]:
    top = int(np.argmax(seen.altitude_deg))
    yield f"The scene's zero lies {zero_m:.0f} m above the sea, and the rail's start {eye_m:.0f} m"
    if ridges:
        yield (
            f"{len(ridges)} ridges; the land is highest toward {seen.bearing_deg[top]:.0f}°: "
            f"{seen.altitude_deg[top]:.1f}° up, {_away(seen.distance_m[top])} away"
        )
    else:
        dip = dip_deg(eye_m, plan.site.latitude_deg)
        yield f"No land rises above the horizon, which lies {dip:.2f}° below level"
    if near is not None:
        heights = grid_points_m(near)[..., 2]
        yield (
            f"Ground around the rail as a grid of {len(heights)} × {heights.shape[1]} heights, from "
            f"{heights.min():.1f} to {heights.max():.1f} m in the scene"
        )
    elif near_m > 0.0:
        yield "No ground around the rail: the grid ends there, or has a hole"
    if moved:
        yield (
            f"{moved} blocks now stand at the land's height"
            if moved > 1
            else "One block now stands at the land's height"
        )
    if grid.missing > 0.0:
        yield f"{percent(max(grid.missing, 0.001))} of the grid has no data"
    if seen.unknown.any():
        yield f"On {percent(seen.unknown.mean())} of the bearings the view crosses land without data"
    edge_m, toward = _nearest_edge(plan, grid)
    if edge_m < FAR_EDGE_M:
        yield f"The grid ends {_away(edge_m)} to the {toward}, and no land is known beyond: add the next tile"


def _nearest_edge(plan: Plan, grid: Grid) -> tuple[float, str]:
    """How far the nearest edge of the grid is from the site, and in which direction."""
    site = plan.site
    east = EQUATOR_RADIUS_M * math.radians(1.0) * math.cos(math.radians(site.latitude_deg))
    north = EQUATOR_RADIUS_M * math.radians(1.0)
    middle = (grid.west_deg + grid.east_deg) / 2.0
    longitude = float(wrapped_deg(site.longitude_deg - middle)) + middle
    edges = (
        ((grid.north_deg - site.latitude_deg) * north, "north"),
        ((grid.east_deg - longitude) * east, "east"),
        ((site.latitude_deg - grid.south_deg) * north, "south"),
        ((longitude - grid.west_deg) * east, "west"),
    )
    return min(edges)


def _away(metres: float) -> str:
    return f"{metres / 1000.0:.1f} km" if metres >= 1000.0 else f"{metres:.0f} m"


__all__ = ["BANDS_M", "Landed", "with_land"]
