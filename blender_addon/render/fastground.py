"""What lies on level ground in the fast look: the shade that things cast, in its own colour, and the pools of
light around street lamps. Numbers only; no Blender.

Workbench darkens all channels alike where it draws a shadow, but shade on the ground is lit by the blue sky
alone. So shade on level ground is a shape of its own: the faces of what throws it, moved along the beam. What
lies on the ground is drawn a little nearer to the eye than that, along the line of sight: it covers the
same part of the picture, and nothing that stands before it.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.light.lamps import Pools
from planner_core.maths.vectors import length
from planner_core.place.ground import flat_blocks
from planner_core.plan.model import Plan

Array = NDArray[np.float64]

POOL_NEARER, SHADE_NEARER, NEARER_PER_M = 1.2e-4, 2.4e-4, 1.5e-6  # share of the way to the eye, and more afar
POOL_SIDES = 20
POOL_RINGS = np.array([0.3, 0.6, 0.9, 1.3, 1.8, 2.5, 3.5, 5.0, 7.0])  # in heights of the lamp
FARTHEST_SHADE_M = 500.0  # from what throws it
BELOW_M = 1.0  # how deep under the ground nothing is seen
LEAST_HEIGHT_M = 0.05  # over the ground, of what throws shade on it
LOWEST_SUN = 0.015  # sine of its altitude, below which shade is lost in the distance


@frozen(kw_only=True, eq=False)
class Level:
    """Level ground: which block of the plan it is the top of, its height, and its outline from above (n, 2),
    counter-clockwise; −1 and None for the ground that reaches to the horizon.
    """

    block: int
    high_m: float
    outline_m: Array | None


def nearer(places: Array, eye: Array, share: float) -> Array:
    """Places (n, 3) moved towards the eye."""
    away = places - eye
    far = length(away)[:, None]
    return eye + away * (1.0 - share - NEARER_PER_M * np.minimum(far, 600.0))


def within(level: Level, starts: Array, ways: Array, reach_m: Array) -> Array:
    """Points (n, 2) so far along lines from starts in unit directions `ways` (n, 2), and on a level: those
    before or behind its outline are brought to where their line enters or leaves it, and those whose line
    misses it to its nearest corner.
    """
    if level.outline_m is None:
        return starts + reach_m[:, None] * ways
    corners = level.outline_m
    first, last = np.full(len(starts), -np.inf), np.full(len(starts), np.inf)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        inward = np.array([a[1] - b[1], b[0] - a[0]])
        inside, gain = (starts - a) @ inward, ways @ inward
        cross = -inside / np.where(np.abs(gain) > 1e-12, gain, 1e-12)
        first = np.where(gain > 1e-12, np.maximum(first, cross), first)
        last = np.where(gain < -1e-12, np.minimum(last, cross), last)
        last = np.where((np.abs(gain) <= 1e-12) & (inside < 0.0), -np.inf, last)
    misses = first > last
    along = np.clip(reach_m, np.where(misses, 0.0, first), np.where(misses, 0.0, last))
    to_corner = corners[None] - starts[:, None]
    aside = np.abs(to_corner[..., 0] * ways[:, None, 1] - to_corner[..., 1] * ways[:, None, 0])
    nearest = corners[np.argmin(aside, axis=1)]
    return np.where(misses[:, None], nearest, starts + along[:, None] * ways)


def shade(level: Level, places: Array, normals: Array, sun: Array, eye: Array) -> Array:
    """Where the shade of faces falls on level ground, drawn nearer to the eye: for each of their corners, of
    places and normals (n, 3). Those that are turned from the sun lie in a point: the others cover theirs.
    """
    high = np.maximum(places[:, 2] - level.high_m, 0.0)
    flat = max(float(np.hypot(sun[0], sun[1])), 1e-9)
    reach = np.minimum(high * flat / max(float(sun[2]), LOWEST_SUN), FARTHEST_SHADE_M)
    ends = within(level, places[:, :2], np.tile(-sun[:2] / flat, (len(places), 1)), reach)
    on_ground = nearer(np.column_stack([ends, np.full(len(ends), level.high_m)]), eye, SHADE_NEARER)
    return np.where((normals @ sun > 0.0)[:, None], on_ground, [0.0, 0.0, level.high_m - BELOW_M])


def may_shade(level: Level, box_m: Array, beams: Array) -> bool:
    """Whether the shade of what is within a box, its corners (8, 3), falls on level ground in any of the
    beams that come from unit directions (n, 3).
    """
    high = box_m[:, 2].max() - level.high_m
    if high < LEAST_HEIGHT_M or not len(beams):
        return False
    if level.outline_m is None:
        return True
    flat = np.maximum(np.hypot(beams[:, 0], beams[:, 1]), 1e-9)
    reach = np.minimum(high * flat / np.maximum(beams[:, 2], LOWEST_SUN), FARTHEST_SHADE_M)
    along = -beams[:, :2] / flat[:, None]
    aside = np.column_stack([-along[:, 1], along[:, 0]])
    (near, far), (left, right) = (_extent(box_m[:, :2], directions) for directions in (along, aside))
    (first, last), (least, most) = (_extent(level.outline_m, directions) for directions in (along, aside))
    return bool(((left <= most) & (right >= least) & (near <= last) & (far + reach >= first)).any())


def _extent(points: Array, directions: Array) -> tuple[Array, Array]:
    """From where to where points (n, 2) reach along each of the directions (m, 2)."""
    reach = points @ directions.T
    return reach.min(axis=0), reach.max(axis=0)


def levels(plan: Plan, level_ground_m: float) -> list[Level]:
    """The level ground, and tops of ground blocks with convex outlines."""
    grounds = [Level(block=-1, high_m=level_ground_m, outline_m=None)]
    flat = (index for index, block in enumerate(plan.blocks) if block.role in ("ground", "water"))
    for index, one in zip(flat, flat_blocks(plan), strict=True):
        outline = counter_clockwise(one.outline_m)
        if outline is not None and not one.is_water and one.terrain is None:
            grounds.append(Level(block=index, high_m=one.top_m, outline_m=outline))
    return grounds


def counter_clockwise(outline: Array) -> Array | None:
    """An outline (n, 2) counter-clockwise if it is convex; else None."""
    side = np.roll(outline, -1, axis=0) - outline
    after = np.roll(side, -1, axis=0)
    turns = side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0]
    if (turns >= -1e-9).all():
        return outline
    return outline[::-1] if (turns <= 1e-9).all() else None


def pool_discs(pools: Pools, ground: list[Level], eye: Array) -> list[tuple[int, Array, NDArray[np.int_]]]:
    """Rings around street lamps on the ground: for each ground with any, by its block's number, their points
    (n, 3) and faces of them (m, 3).
    """
    turn = np.arange(POOL_SIDES) * (2.0 * np.pi / POOL_SIDES)
    around = np.column_stack([np.cos(turn), np.sin(turn)])
    lying: dict[int, list[Array]] = {}
    for place, high in zip(pools.places_m, pools.heights_m, strict=True):
        under = min(ground, key=lambda one: (abs(one.high_m - (place[2] - high)), one.block))
        directions, reach = np.tile(around, (len(POOL_RINGS), 1)), np.repeat(high * POOL_RINGS, POOL_SIDES)
        rim = within(under, np.tile(place[:2], (len(directions), 1)), directions, reach)
        flat = np.vstack([place[:2], rim])
        disc = nearer(np.column_stack([flat, np.full(len(flat), under.high_m)]), eye, POOL_NEARER)
        lying.setdefault(under.block, []).append(disc)
    return [(block, np.vstack(discs), _disc_faces(len(discs))) for block, discs in lying.items()]


def _disc_faces(count: int) -> NDArray[np.int_]:
    n, rings = POOL_SIDES, len(POOL_RINGS)
    faces = [(0, 1 + k, 1 + (k + 1) % n) for k in range(n)]
    for ring in range(rings - 1):
        inner, outer = 1 + ring * n, 1 + (ring + 1) * n
        for k in range(n):
            after = (k + 1) % n
            faces += [(inner + k, outer + k, outer + after), (inner + k, outer + after, inner + after)]
    one = np.array(faces, dtype=int)
    return (one[None] + (1 + rings * n) * np.arange(count)[:, None, None]).reshape(-1, 3)


def pool_light(pools: Pools, places: Array, normals: Array) -> Array:
    """Light of each lamp on surfaces (n, 3) with their normals, in units of the floor's: (n, lamps)."""
    to_lamp = pools.places_m[None] - places[:, None]
    far = np.maximum(np.linalg.norm(to_lamp, axis=2), 0.3)
    facing = np.maximum(np.einsum("nlk,nk->nl", to_lamp, normals), 0.0) / far
    return np.asarray(pools.intensity * facing / far**2)
