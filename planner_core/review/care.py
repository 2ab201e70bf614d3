"""Cautions that the plan gives cause for: edges, railings, slopes, weather, darkness, people, lamps, lasers.

All limits are common practice without a source:

| finding | note | warn |
|---|---|---|
| `edge-near`, metres that the ground drops within 2 m of the rig | water at any depth | 1 |
| `railing-near`, metres from the rig | 2 | – |
| `carriage-runs`, degrees that the rail slopes | 2 | 8 |
| `people-near`, metres from the rig | 10 | – |
| `lamps-dazzle`, metres to a road or a waterway, in the dark | 300 | – |

Thunderstorms are likeliest in the warmer half of the year outside the tropics, and all year within them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.sunlight import sun_in_picture_frames, sun_up, sunlight
from planner_core.frames import FrameTable
from planner_core.maths.angles import compass_deg
from planner_core.maths.runs import span
from planner_core.place import blocking, ground
from planner_core.place.land_grid import height_at_m
from planner_core.place.outlines import distance_m, inside
from planner_core.plan.model import Block, Plan
from planner_core.plan.timeline import clock, local_datetime
from planner_core.review.findings import Finding, facts
from planner_core.rig.geometry import stand_points_m

Array = NDArray[np.float64]

EDGE_DROP_M, EDGE_WITHIN_M = 1.0, 2.0
RAILING_WITHIN_M, RAILING_THICK_M, RAILING_HIGH_M = 2.0, 0.15, (0.6, 1.5)
SLOPES_DEG, RUNS_DEG = 2.0, 8.0
PEOPLE_WITHIN_M, DAZZLE_WITHIN_M = 10.0, 300.0
TROPIC_DEG, POLAR_DEG = 23.4, 66.6
WARM_MONTHS = {"north": (4, 5, 6, 7, 8, 9), "south": (10, 11, 12, 1, 2, 3)}
DARK_DEG = -6.0
STEPS_UP_M = 0.3  # ground so much higher is still a place that one could step on
AROUND = 32
DISTANCES_M = np.arange(0.25, EDGE_WITHIN_M + 1e-9, 0.25)
LASERS = re.compile(r"\b(lasers?|light shows?|laser shows?)\b", re.IGNORECASE)


def review_care(plan: Plan, frames: FrameTable) -> list[Finding]:
    """Findings of this topic."""
    return [
        *_edge(plan),
        *_railing(plan),
        *_runs_down(plan),
        *_thunder(plan, frames),
        *_night(plan, frames),
        *_people(plan),
        *_dazzle(plan, frames),
        *_filtered_sun(plan, frames),
        *_lasers(plan),
    ]


# ---------------------------------------------------------------- where the rig stands


@frozen(kw_only=True, eq=False)
class _Surface:
    """Height of what lies under points (n,), and whether that is water."""

    top_m: Array
    is_water: NDArray[np.bool_]


def _surface(plan: Plan, points: Array, highest_m: float) -> _Surface:
    """What lies under points (n, 2), no higher than so much: block tops, else the level ground."""
    top = np.full(len(points), blocking.ground_level_m(plan))
    is_water = np.zeros(len(points), dtype=bool)
    for block in plan.blocks:
        if block.shape in ("ridge", "figure"):
            continue
        height = _top_m(plan, block, points)
        if height.min() > highest_m:
            continue
        here = inside(ground.outline_m(plan, block), points) & (height >= top) & (height <= highest_m)
        top[here], is_water[here] = height[here], block.role == "water"
    return _Surface(top_m=top, is_water=is_water)


def _top_m(plan: Plan, block: Block, points: Array) -> Array:
    """Height of a block's top at points (n, 2); where they are beside it, its highest."""
    highest = float(blocking.block_mesh(plan, block).vertices_m[:, 2].max())
    if block.shape != "terrain":
        return np.full(len(points), highest)
    return np.asarray(np.nan_to_num(height_at_m(block, points), nan=highest))


@frozen(kw_only=True)
class Edge:
    """A drop beside the rig: how deep, onto what, how far away and towards which bearing."""

    drop_m: float
    is_water: bool
    distance_m: float
    bearing_deg: float


@blocking.remembered
def nearest_edge(plan: Plan) -> Edge | None:
    """The deepest drop within reach of the rig, where it is nearest; or water, however little below."""
    away, turn = (
        grid.ravel() for grid in np.meshgrid(DISTANCES_M, np.arange(AROUND) * (2.0 * np.pi / AROUND))
    )
    offsets = away[:, None] * np.column_stack([np.sin(turn), np.cos(turn)])
    edges: list[Edge] = []
    for stand in stand_points_m(plan):
        foot = float(_surface(plan, stand[None, :2], float(stand[2])).top_m[0])
        under = _surface(plan, stand[:2] + offsets, foot + STEPS_UP_M)
        drop = foot - under.top_m
        counts = np.flatnonzero((drop >= EDGE_DROP_M - 1e-9) | (under.is_water & (drop > 0.0)))
        if len(counts):
            deepest = counts[np.lexsort((away[counts], -np.round(drop[counts], 3)))[0]]
            edges.append(
                Edge(
                    drop_m=float(drop[deepest]),
                    is_water=bool(under.is_water[deepest]),
                    distance_m=float(away[deepest]),
                    bearing_deg=compass_deg(float(np.degrees(turn[deepest])) + plan.site.scene_north_deg),
                )
            )
    return max(edges, key=lambda edge: (round(edge.drop_m, 3), -edge.distance_m), default=None)


def _edge(plan: Plan) -> Iterator[Finding]:
    edge = nearest_edge(plan)
    if edge is not None:
        yield Finding(
            code="edge-near",
            level="warn" if edge.drop_m >= EDGE_DROP_M - 1e-9 else "note",
            value=edge.drop_m,
            limit=EDGE_DROP_M,
            unit="m",
            facts=facts(
                distance=(edge.distance_m, "m"), bearing=(edge.bearing_deg, "°"), water=edge.is_water
            ),
        )


@frozen(kw_only=True)
class _Near:
    """A block near the rig: which one, and how far away."""

    distance_m: float
    block: int


@blocking.remembered
def _nearest_railing(plan: Plan) -> _Near | None:
    """The first block in reach that is thin and waist-high."""
    stands = stand_points_m(plan)
    for index, block in enumerate(plan.blocks):
        if block.role in ("ground", "water") or block.shape != "box" or block.size_m is None:
            continue
        assert block.centre_m is not None
        thick, long = sorted(block.size_m[:2])
        if thick > RAILING_THICK_M or long < 1.0:
            continue
        near = _away_m(plan, index)
        top = block.centre_m[2] + block.size_m[2] / 2.0 - ground.ground_under_m(plan, stands[0])
        if near <= RAILING_WITHIN_M and RAILING_HIGH_M[0] <= top <= RAILING_HIGH_M[1]:
            return _Near(distance_m=near, block=index)
    return None


def _away_m(plan: Plan, index: int) -> float:
    """How far a block is from where the rig stands."""
    outline = ground.outline_m(plan, plan.blocks[index])
    return min(distance_m(outline, stand[:2]) for stand in stand_points_m(plan))


def _railing(plan: Plan) -> Iterator[Finding]:
    """Something thin and waist-high beside the rig, which invites a tether and may not hold one."""
    near = _nearest_railing(plan)
    if near is not None:
        yield Finding(
            code="railing-near",
            level="note",
            value=near.distance_m,
            limit=RAILING_WITHIN_M,
            unit="m",
            blocks=(blocking.block_label(plan, near.block),),
        )


def _runs_down(plan: Plan) -> Iterator[Finding]:
    """A rail steep enough for the carriage to run down when its motor lets go."""
    slope = abs(plan.rig.incline_deg)
    if plan.rig.slide is None or slope < SLOPES_DEG:
        return
    yield Finding(
        code="carriage-runs",
        level="warn" if slope >= RUNS_DEG else "note",
        value=slope,
        limit=SLOPES_DEG,
        unit="°",
        facts=facts(length=(plan.rig.slide.max_m - plan.rig.slide.min_m, "m")),
    )


# ---------------------------------------------------------------- weather and darkness


def thunder_season(latitude_deg: float, month: int) -> bool:
    """Whether thunderstorms are likely at that time of the year."""
    if abs(latitude_deg) <= TROPIC_DEG:
        return True
    half = WARM_MONTHS["north" if latitude_deg > 0.0 else "south"]
    return abs(latitude_deg) < POLAR_DEG and month in half


def _thunder(plan: Plan, frames: FrameTable) -> Iterator[Finding]:
    month = local_datetime(float(frames.utc_s[0]), plan.zone)
    if thunder_season(plan.site.latitude_deg, month.month):
        yield Finding(
            code="lightning-season",
            level="note",
            facts=facts(month=f"{month:%B}", on_rail=plan.rig.slide is not None),
        )


def _night(plan: Plan, frames: FrameTable) -> Iterator[Finding]:
    """Frames after the end of civil twilight, with somebody at the rig."""
    dark = span(frames.sun_true_altitude_deg < DARK_DEG)
    if dark is not None:
        clears = dark[0] == 1 and dark[1] < len(frames)
        edge = float(frames.utc_s[dark[1] if clears else dark[0] - 1])
        yield Finding(
            code="night-alone",
            level="note",
            frames=dark,
            facts=facts(clears=clears, time=clock(edge, plan.zone)),
        )


# ---------------------------------------------------------------- people, lamps, lasers


def _nearest_where(plan: Plan, counts: Callable[[Block], bool]) -> _Near | None:
    """The nearest block that counts, of equals the first."""
    blocks = (index for index, block in enumerate(plan.blocks) if counts(block))
    near_blocks = (_Near(distance_m=_away_m(plan, index), block=index) for index in blocks)
    return min(near_blocks, key=lambda near: (near.distance_m, near.block), default=None)


@blocking.remembered
def _nearest_people(plan: Plan) -> _Near | None:
    """Standing figures, or where people move."""

    def counts(block: Block) -> bool:
        return block.moves == "people" or (block.shape == "figure" and block.moves != "nothing")

    return _nearest_where(plan, counts)


@blocking.remembered
def _nearest_way(plan: Plan) -> _Near | None:
    """A road or a waterway."""

    def counts(block: Block) -> bool:
        return block.shape != "ridge" and (block.moves == "traffic" or block.role == "water")

    return _nearest_where(plan, counts)


def _people(plan: Plan) -> Iterator[Finding]:
    """Passers-by so near that they come by the rig."""
    near = _nearest_people(plan)
    if near is not None and near.distance_m <= PEOPLE_WITHIN_M:
        yield Finding(
            code="people-near",
            level="note",
            value=near.distance_m,
            limit=PEOPLE_WITHIN_M,
            unit="m",
            blocks=(blocking.block_label(plan, near.block),),
        )


def _dazzle(plan: Plan, frames: FrameTable) -> Iterator[Finding]:
    """Traffic or boats within sight of a head lamp, in the dark."""
    dark = span(frames.sun_true_altitude_deg < DARK_DEG)
    near = None if dark is None else _nearest_way(plan)
    if near is not None and near.distance_m <= DAZZLE_WITHIN_M:
        yield Finding(
            code="lamps-dazzle",
            level="note",
            frames=dark,
            value=near.distance_m,
            limit=DAZZLE_WITHIN_M,
            unit="m",
            blocks=(blocking.block_label(plan, near.block),),
            facts=facts(boats=plan.blocks[near.block].role == "water"),
        )


def _filtered_sun(plan: Plan, frames: FrameTable) -> Iterator[Finding]:
    """A neutral density filter and a sun in the picture: the eye is not safe behind it."""
    stops = plan.exposure.nd_stops if plan.exposure else 0.0
    if stops <= 0.0 or not sun_up(frames).any():
        return
    where = sun_in_picture_frames(sunlight(frames))
    if where is not None:
        yield Finding(code="nd-sun", level="note", frames=where, value=stops, limit=0.0, unit="stops")


def _lasers(plan: Plan) -> Iterator[Finding]:
    """A plan that speaks of lasers or a light show."""
    notes = plan.notes if isinstance(plan.notes, str) else json.dumps(plan.notes, default=str)
    said = " ".join([plan.title, plan.reason, notes, *(block.name for block in plan.blocks)])
    match = LASERS.search(said)
    if match is not None:
        yield Finding(code="lasers", level="note", facts=facts(said=match.group(0).lower()))
