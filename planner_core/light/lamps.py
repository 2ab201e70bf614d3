"""Windows and lamps of the blocked-out place: where they are, when they come on and how bright they are.

They are invented, but always the same for the same block: its name decides. Buildings are boxes and prisms of
the roles subject and background that stand on the ground and have a house's or a tower's size; a post with
`lights: true` carries a lamp.
"""

from __future__ import annotations

import math
import zlib
from functools import lru_cache

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.light import daylight
from planner_core.light.colour import tint_from_xy
from planner_core.place.blocking import POST_SIDES, block_label, ground_level_m, solid_mesh
from planner_core.place.draft_shapes import SILL_M, STOREY_M, storeys_in
from planner_core.place.ground import ground_under_m
from planner_core.plan.kept import kept
from planner_core.plan.model import Block, Plan

Array = NDArray[np.float64]

WINDOW_M, WINDOW_HIGH_M, BETWEEN_M = 1.25, 1.55, 2.9  # common sizes of houses, no source
SLIT_M, TOWER_SHAPE = 0.8, 2.0  # a tower is so many times higher than wide, and has slits
SMALLEST_M, LARGEST_M = 2.9, 70.0  # sides of what is taken for a building
RAISED_M = 2.0  # a prism with its foot higher than that is a roof
FARTHEST_M, MOST_PANES = 1200.0, 6000
BEFORE_WALL_M, BEFORE_FAR_WALL = 0.04, 1e-6  # metres, and metres a metre squared: drawn apart from afar too
LIT_SHARE = 0.55  # of the windows of an evening: ours
WINDOW_LUX = (3.0, 150.0)  # natural light at which windows come on: ours
LAMP_LUX = (25.0, 45.0)  # … and street lamps: from memory of their light switches
# what a meter reads of a lit window: home interiors at night, ANSI PH2.7-1986 as reproduced in exposure
# tables, value from memory. It doesn't go by how bright the street is.
WINDOW_EV100 = (5.0, 7.0)
LAMP_GAIN = 30.0  # brightness against a white surface under the artificial floor: ours
SWITCH_STOPS = 0.04  # of falling light over which one lamp comes on
WARM_XY, WHITE_XY = (0.4599, 0.4106), (0.3805, 0.3768)  # black bodies of 2700 and 4000 K


# Street lamps gather so much of the artificial floor's light around them: ours. What they add to the level
# ground within POOL_REACH times their height comes to what the rest is dimmed by, so that it is the floor's
# light on average there.
POOL_SHARE, POOL_REACH, MOST_POOLS = 0.6, 2.5, 12
POOL_HEIGHTS_M = (1.5, 14.0)  # a higher lamp is seen from afar and lights no street
SOURCE_M = 6.0  # windows so near each other are one light in the water: ours
POOL_ASIDE_M = 0.35  # how far the lamp hangs before its post


@frozen(kw_only=True, eq=False)
class Pools:
    """Lamps that light the ground below them, n of them: places_m (n, 3) and their height over it (n,).

    on_lux (n,) as for panes. intensity (n,) is that of a light that is alike to all sides, in units of the
    artificial floor's light on level ground: at a distance d metres, square to it, intensity / d² of that.
    """

    places_m: Array
    heights_m: Array
    on_lux: Array
    intensity: Array


@frozen(kw_only=True, eq=False)
class Panes:
    """Rectangles that shine, n of them: corners_m (n, 4, 3) counter-clockwise from outside, in scene metres.

    on_lux (n,) is the natural light below which each is on, 0 for one that stays dark; glow (n, 3) its
    brightness when it is on, linear, against a white surface under the artificial floor. is_lamp (n,).
    """

    corners_m: Array
    on_lux: Array
    glow: Array
    is_lamp: NDArray[np.bool_]


def panes(plan: Plan, eye_m: ArrayLike) -> Panes:
    """Windows and lamps that can be seen from near a place, the nearest blocks first where they are many."""
    eye = np.asarray(eye_m, dtype=np.float64)
    groups: list[tuple[Array, Array, Array, bool]] = []
    count = 0
    for distance, index in sorted((_distance_m(block, eye), i) for i, block in enumerate(plan.blocks)):
        block = plan.blocks[index]
        if count >= MOST_PANES or distance > FARTHEST_M:
            break
        corners, is_lamp = _places(plan, block, eye)
        if not len(corners):
            continue
        luck = np.random.default_rng(zlib.crc32(block_label(plan, index).encode()))
        groups.append((corners, *_shine(plan, len(corners), is_lamp, luck), is_lamp))
        count += len(corners)
    if not groups:
        return Panes(
            corners_m=np.zeros((0, 4, 3)),
            on_lux=np.zeros(0),
            glow=np.zeros((0, 3)),
            is_lamp=np.zeros(0, dtype=bool),
        )
    corners, on_lux, glow = (np.concatenate([one[part] for one in groups]) for part in range(3))  # type: ignore[arg-type]
    lamps = np.repeat([one[3] for one in groups], [len(one[0]) for one in groups])
    return Panes(corners_m=corners, on_lux=on_lux, glow=glow, is_lamp=lamps)


@frozen(kw_only=True, eq=False)
class Sources:
    """Panes taken together that are near each other, n of them: their middles (n, 3), in which of them each
    pane is (panes,), the panes' areas, and the way they face on the whole (n, 3): of length 1, or 0 where
    they shine to all sides.
    """

    places_m: Array
    source: NDArray[np.int_]
    area_m2: Array
    facing: Array


def sources(panes: Panes) -> Sources:
    """Panes in groups: each lamp's, and those of windows within a few metres."""
    middles = panes.corners_m.mean(axis=1)
    along, upward = (panes.corners_m[:, k] - panes.corners_m[:, 0] for k in (1, 3))
    outward = np.cross(along, upward)
    outward *= np.where(panes.is_lamp, 0.0, 1.0)[:, None]
    area = np.linalg.norm(np.cross(along, upward), axis=1)
    cells = np.column_stack(
        [np.round(middles / SOURCE_M), panes.is_lamp, np.where(panes.is_lamp, panes.on_lux, 0)]
    )
    _, source = np.unique(cells, axis=0, return_inverse=True)
    source = source.ravel()
    count = int(source.max(initial=-1)) + 1
    weight = np.maximum(np.bincount(source, area, count), 1e-9)

    def summed(values: Array) -> Array:
        return np.stack([np.bincount(source, values[:, k], count) for k in range(3)], axis=1)

    facing = summed(outward)
    length = np.linalg.norm(facing, axis=1, keepdims=True)
    return Sources(
        places_m=summed(middles * area[:, None]) / weight[:, None],
        source=source,
        area_m2=area,
        facing=np.where(length > 0.0, facing / np.maximum(length, 1e-12), 0.0),
    )


def square_light(some: Sources, points: ArrayLike) -> tuple[Array, Array]:
    """What a brightness of 1 of each square metre of panes makes of light square to it at points (m, 3), and
    the way to them: (m, n) and (m, n, 3). A brightness of 1 all around lights a surface to 1.
    """
    toward = some.places_m[None] - np.asarray(points, dtype=np.float64)[:, None]
    far = np.maximum(np.linalg.norm(toward, axis=2), 0.5)
    toward = toward / far[..., None]
    # all sides of a lamp together look as large as a quarter of its surface
    whole = np.linalg.norm(some.facing, axis=1) == 0.0
    seen = np.where(whole, 0.25, np.maximum(-np.einsum("mnk,nk->mn", toward, some.facing), 0.0))
    return seen / (np.pi * far**2), toward


def pools(plan: Plan, eye_m: ArrayLike) -> Pools:
    """The lamps of posts that stand near enough to the ground to light it, the nearest first."""
    eye = np.asarray(eye_m, dtype=np.float64)
    lamps = []
    posts = (
        (_distance_m(block, eye), i)
        for i, block in enumerate(plan.blocks)
        if block.shape == "post" and block.lights and block.role not in ("ground", "water")
    )
    for distance, index in sorted(posts):
        block = plan.blocks[index]
        x, y, _, top, radius = _head(block)
        height = top - ground_under_m(plan, (x, y, math.inf), water=True)
        if distance > FARTHEST_M or not POOL_HEIGHTS_M[0] <= height <= POOL_HEIGHTS_M[1]:
            continue
        aside = (eye[:2] - [x, y]) / max(distance, 1e-6) * (radius + POOL_ASIDE_M)
        luck = np.random.default_rng(zlib.crc32(block_label(plan, index).encode()))
        on_lux, _ = _shine(plan, 1, True, luck)
        lamps.append((x + aside[0], y + aside[1], top, height, on_lux[0]))
    rows = np.array(lamps[:MOST_POOLS], dtype=np.float64).reshape(-1, 5)
    return Pools(
        places_m=rows[:, :3],
        heights_m=rows[:, 3],
        on_lux=rows[:, 4],
        intensity=POOL_SHARE * rows[:, 3] ** 2 / pool_mean(),
    )


def pool_tint() -> Array:
    """Tint of street lamps' light, luminance 1, shape (3,)."""
    return 0.7 * tint_from_xy(WARM_XY) + 0.3 * tint_from_xy(WHITE_XY)


def pool_mean() -> float:
    """Mean light on the level disc below a lamp, out to POOL_REACH times its height, over that right below.

    The flux into the disc's cone, 2π (1 − cos), over the disc's area.
    """
    reach = POOL_REACH
    return 2.0 * (1.0 - 1.0 / np.hypot(1.0, reach)) / reach**2


def share_on(on_lux: ArrayLike, natural_lux: ArrayLike) -> Array:
    """How far lamps are on, 0 to 1, in natural light; the arguments broadcast."""
    on, light = np.asarray(on_lux, dtype=np.float64), np.asarray(natural_lux, dtype=np.float64)
    stops = np.log2(np.maximum(on, 1e-9)) - np.log2(np.maximum(light, 1e-9))
    return np.where(on > 0.0, np.clip(stops / SWITCH_STOPS, 0.0, 1.0), 0.0)


def gathered(pools: Pools, natural_lux: ArrayLike) -> Array:
    """Share of the place's lamps' light that its street lamps gather around them, by the natural light."""
    natural = np.asarray(natural_lux, dtype=np.float64)
    if not len(pools.on_lux):
        return np.zeros(natural.shape)
    return POOL_SHARE * share_on(pools.on_lux[:, None], natural).mean(axis=0)


def _distance_m(block: Block, eye: Array) -> float:
    middle = _middle_m(block)
    if middle is None:
        return float(block.distance_m or 0.0)
    dx, dy = middle[0] - float(eye[0]), middle[1] - float(eye[1])
    return math.sqrt(dx * dx + dy * dy)


@kept
def _middle_m(block: Block) -> tuple[float, float] | None:
    """The middle of a block on the ground; None for a ridge, which is all around."""
    if block.shape == "prism":
        x, y = np.mean(np.asarray(block.footprint_m, dtype=np.float64), axis=0).tolist()
        return x, y
    return None if block.centre_m is None else block.centre_m[:2]


def _places(plan: Plan, block: Block, eye: Array) -> tuple[Array, bool]:
    nothing = np.zeros((0, 4, 3))
    if block.lights is False or block.role in ("ground", "water"):
        return nothing, False
    if block.shape == "post":
        return (_lamp(block, _before_m(_distance_m(block, eye))), True) if block.lights else (nothing, True)
    if block.shape not in ("box", "prism") or (block.role == "foreground" and not block.lights):
        return nothing, False
    return _of_walls(block, (float(eye[0]), float(eye[1]), float(eye[2])), ground_level_m(plan))


@lru_cache(maxsize=4096)
def _of_walls(block: Block, eye_m: tuple[float, float, float], ground_m: float) -> tuple[Array, bool]:
    """Windows of a building, or a lantern's panes, and whether it is a lantern."""
    walls = _walls(block, np.array(eye_m))
    if _is_building(block, ground_m):
        return _windows(walls), False
    return (_lantern(walls), True) if block.lights and block.shape == "box" else (np.zeros((0, 4, 3)), False)


def _is_building(block: Block, ground_m: float) -> bool:
    if block.shape == "prism":
        outline = np.asarray(block.footprint_m, dtype=np.float64)
        sides, high = np.ptp(outline, axis=0), float(block.height_m or 0.0)
        if block.base_m - ground_m > RAISED_M and not block.lights:
            return False
    else:
        assert block.size_m is not None
        sides, high = np.array(block.size_m[:2]), block.size_m[2]
    return bool(sides.min() >= SMALLEST_M and sides.max() <= LARGEST_M and high >= SMALLEST_M)


def _walls(block: Block, eye: Array) -> list[tuple[Array, Array, float]]:
    """Upright faces towards the eye: lower left corner, way to the lower right one, height."""
    mesh = solid_mesh(block)
    walls = []
    for face in mesh.faces:
        points = mesh.vertices_m[list(face)]
        low = points[:, 2].min()
        if len(points) != 4 or np.sum(points[:, 2] < low + 1e-6) != 2 or _leans(points):
            continue
        start = next(k for k in range(4) if max(points[k, 2], points[(k + 1) % 4, 2]) < low + 1e-6)
        along = points[(start + 1) % 4] - points[start]
        outward = np.array([along[1], -along[0], 0.0])
        if outward @ (eye - points[start]) > 0.0:
            out = outward * _before_m(_distance_m(block, eye)) / float(np.linalg.norm(outward))
            walls.append((points[start] + out, along, float(np.ptp(points[:, 2]))))
    return walls


def _leans(points: Array) -> bool:
    """Whether a face (4, 3) is no upright wall: a side of a roof."""
    normal = np.cross(points[2] - points[0], points[3] - points[1])
    return bool(abs(normal[2]) > 1e-6 * np.linalg.norm(normal))


def _windows(walls: list[tuple[Array, Array, float]]) -> Array:
    windows = []
    for start, along, high in walls:
        long = float(np.linalg.norm(along))
        tower = high > TOWER_SHAPE * max(float(np.linalg.norm(other)) for _, other, _ in walls)
        wide = SLIT_M if tower else WINDOW_M
        columns = 1 if tower else int((long - 0.8) // BETWEEN_M)
        storeys = storeys_in(high)
        for storey in range(0, storeys, 2 if tower else 1):
            sill = SILL_M + storey * STOREY_M
            if high >= sill + 1.0:
                top = min(sill + WINDOW_HIGH_M, high - 0.25)
                middles = (np.arange(columns) + 0.5) * long / max(columns, 1)
                windows += [
                    _pane(start, along / long, m - wide / 2.0, m + wide / 2.0, sill, top) for m in middles
                ]
    return np.array(windows).reshape(-1, 4, 3)


def _lantern(walls: list[tuple[Array, Array, float]]) -> Array:
    panes = []
    for start, along, high in walls:
        long = float(np.linalg.norm(along))
        panes.append(_pane(start, along / long, 0.1 * long, 0.9 * long, 0.12 * high, 0.88 * high))
    return np.array(panes).reshape(-1, 4, 3)


def _before_m(distance_m: float) -> float:
    """How far panes stand before their wall."""
    return BEFORE_WALL_M + BEFORE_FAR_WALL * distance_m**2


def _pane(start: Array, right: Array, left: float, far: float, low: float, top: float) -> Array:
    return np.array(
        [start + x * right + [0.0, 0.0, z] for x, z in ((left, low), (far, low), (far, top), (left, top))]
    )


def _head(block: Block) -> tuple[float, float, float, float, float]:
    """Middle x and y, lower and upper end and radius of a post's lamp, metres: all of a squat post, else its
    top.
    """
    assert block.centre_m is not None
    assert block.size_m is not None
    x, y, z = block.centre_m
    wide, high = max(block.size_m[:2]), block.size_m[2]
    if high < 2.5 * wide:
        return x, y, z - 0.38 * high, z + 0.38 * high, wide / 2.0
    tall = max(0.4, 1.2 * wide)
    return x, y, z + high / 2.0 - 0.15 * tall, z + high / 2.0 + 0.85 * tall, max(0.22, 0.6 * wide)


def _lamp(block: Block, before_m: float) -> Array:
    x, y, low, top, radius = _head(block)
    radius += before_m
    turn = np.arange(POST_SIDES + 1) * (2.0 * np.pi / POST_SIDES)
    rim = np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
    sides = [
        [(*rim[k], low), (*rim[k + 1], low), (*rim[k + 1], top), (*rim[k], top)] for k in range(POST_SIDES)
    ]
    lids = [
        [(x, y, z), (*rim[k], z), (*rim[k + 1], z), (*rim[k + 2], z)]
        for z in (low, top)
        for k in range(0, POST_SIDES, 2)
    ]
    return np.array([*sides, *lids], dtype=np.float64)


@lru_cache(maxsize=1)
def _tints() -> tuple[Array, Array]:
    return tint_from_xy(WARM_XY), tint_from_xy(WHITE_XY)


def _shine(plan: Plan, count: int, is_lamp: bool, luck: np.random.Generator) -> tuple[Array, Array]:
    low, high = LAMP_LUX if is_lamp else WINDOW_LUX
    warm, white = _tints()
    if is_lamp:
        on = np.full(count, low + (high - low) * luck.random())
        return on, np.tile(LAMP_GAIN * pool_tint(), (count, 1))
    lit = luck.random(count) < LIT_SHARE
    on = low * (high / low) ** luck.random(count)
    whiter = luck.random(count)[:, None] ** 2
    dim, bright = (math.pi * float(daylight.luminance_from_ev100(ev100)) for ev100 in WINDOW_EV100)
    lux = dim + (bright - dim) * luck.random(count)[:, None] ** 1.5
    return np.where(lit, on, 0.0), lux / floor_lux(plan) * (whiter * white + (1.0 - whiter) * warm)


def floor_lux(plan: Plan) -> float:
    """The light of the place's lamps on level ground; 1 for a place without, where nothing shines."""
    floor = plan.exposure.artificial_ev100 if plan.exposure else None
    return 1.0 if floor is None else float(daylight.lux_from_ev100(floor))
