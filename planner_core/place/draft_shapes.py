"""Blocks that are drawn as what they evidently stand for: a crown on its trunk, a hull afloat.

The drawn shape stays within the block's own outline and reaches its six sides, so that the picture is judged
by nothing it doesn't hold.
"""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray

from planner_core.place.blocking import remembered
from planner_core.plan.model import Block, Plan

Array = NDArray[np.float64]
Shape = tuple[Array, tuple[tuple[int, ...], ...]]

# a post that stands on a much thinner one is a crown, if it is no lamp: ours
TRUNK_SHARE, TRUNK_NEAR_M, TRUNK_INTO = 0.4, 0.3, 0.4
CROWN_COLOUR, TRUNK_COLOUR = (0.235, 0.50, 0.075), (0.075, 0.45, 0.09)  # hue, saturation, albedo
CROWN_AROUND, CROWN_RINGS, CROWN_ROUNDNESS = 16, 7, 2.4
CROWN_UNEVEN = 0.13  # by how much a crown's bulges draw in
# a box that dips into water and is shaped like a boat is a hull: ours
HULL_WIDE_M, HULL_LONG, HULL_HIGH_M, HULL_DIP_M = (1.2, 12.0), (2.2, 6.5), 5.0, 0.05
# a hull from above, as shares of half its width and length from stern to bow; and from below
HULL_SIDE = ((0.82, -1.0), (1.0, -0.35), (0.97, 0.2), (0.72, 0.62), (0.34, 0.88))
HULL_KEEL_WIDE, HULL_KEEL_LONG = 0.62, 0.86


def drawn_shape(plan: Plan, block: Block) -> Shape | None:
    """Vertices (n, 3), metres from the block's centre before it is turned, and faces; None: as it is."""
    if is_crown(plan, block):
        return _crown(block)
    return _hull(block) if is_hull(plan, block) else None


def drawn_colour(plan: Plan, block: Block) -> tuple[float, float, float] | None:
    """Hue, saturation and albedo of a crown or trunk; None: the role's."""
    if block.shape != "post":
        return None
    if is_crown(plan, block):
        return CROWN_COLOUR
    return TRUNK_COLOUR if any(_stands_on(crown, block) for crown in _crowns(plan)) else None


def is_crown(plan: Plan, block: Block) -> bool:
    """Whether a post of the background stands on a much thinner one."""
    return any(block is crown for crown in _crowns(plan))


@remembered
def _crowns(plan: Plan) -> tuple[Block, ...]:
    posts = [block for block in plan.blocks if block.shape == "post"]
    return tuple(
        block
        for block in posts
        if block.role == "background" and not block.lights and any(_stands_on(block, o) for o in posts)
    )


def is_hull(plan: Plan, block: Block) -> bool:
    """Whether a box of the background dips into water and has a boat's proportions."""
    if block.shape != "box" or block.role != "background" or block.lights:
        return False
    assert block.centre_m is not None
    assert block.size_m is not None
    wide, long = sorted(block.size_m[:2])
    low, top = _span(block)
    if not (HULL_WIDE_M[0] <= wide <= HULL_WIDE_M[1] and HULL_LONG[0] <= long / wide <= HULL_LONG[1]):
        return False
    return block.size_m[2] <= HULL_HIGH_M and any(
        low + HULL_DIP_M <= _span(water)[1] <= top and _is_over(block, water)
        for water in plan.blocks
        if water.role == "water" and water.shape == "box"
    )


def _stands_on(block: Block, other: Block) -> bool:
    if other is block or other.shape != "post" or block.shape != "post" or other.lights:
        return False
    assert block.centre_m is not None
    assert other.centre_m is not None
    assert block.size_m is not None
    assert other.size_m is not None
    apart = np.hypot(block.centre_m[0] - other.centre_m[0], block.centre_m[1] - other.centre_m[1])
    if apart > TRUNK_NEAR_M or max(other.size_m[:2]) > TRUNK_SHARE * min(block.size_m[:2]):
        return False
    foot, top = _span(other)[0], _span(other)[1]
    low, high = _span(block)
    return foot < low and low - TRUNK_NEAR_M <= top <= low + TRUNK_INTO * (high - low)


def _span(block: Block) -> tuple[float, float]:
    assert block.centre_m is not None
    assert block.size_m is not None
    return block.centre_m[2] - block.size_m[2] / 2.0, block.centre_m[2] + block.size_m[2] / 2.0


def _is_over(block: Block, water: Block) -> bool:
    assert block.centre_m is not None
    assert water.centre_m is not None
    assert water.size_m is not None
    turn = np.radians(water.turn_deg)
    dx, dy = block.centre_m[0] - water.centre_m[0], block.centre_m[1] - water.centre_m[1]
    across, along = dx * np.cos(turn) - dy * np.sin(turn), dx * np.sin(turn) + dy * np.cos(turn)
    return abs(across) <= water.size_m[0] / 2.0 and abs(along) <= water.size_m[1] / 2.0


def _crown(block: Block) -> Shape:
    """A rounded post, uneven as its name decides; its widest ring and its ends are the block's own."""
    half = np.asarray(block.size_m) / 2.0
    luck = np.random.default_rng(zlib.crc32(block.name.encode()))
    angles = np.arange(CROWN_AROUND) * (2.0 * np.pi / CROWN_AROUND)
    heights = np.sin(np.linspace(-0.5, 0.5, CROWN_RINGS) * np.pi * 0.94)
    heights = heights / heights[-1]
    widths = (1.0 - np.abs(0.96 * heights) ** CROWN_ROUNDNESS) ** (1.0 / CROWN_ROUNDNESS)
    draw_in = 1.0 - CROWN_UNEVEN * luck.random((CROWN_RINGS, CROWN_AROUND))
    draw_in[CROWN_RINGS // 2, :: CROWN_AROUND // 4] = 1.0
    rings = [
        np.column_stack(
            [
                half[0] * width * uneven * np.cos(angles),
                half[1] * width * uneven * np.sin(angles),
                np.full(CROWN_AROUND, half[2] * height),
            ]
        )
        for height, width, uneven in zip(heights, widths, draw_in, strict=True)
    ]
    return np.vstack(rings), _skin(CROWN_RINGS, CROWN_AROUND)


def _hull(block: Block) -> Shape:
    """A boat with its bow at the far end of its longer side."""
    half = np.asarray(block.size_m) / 2.0
    starboard = np.array(HULL_SIDE)
    outline = np.vstack([starboard, [[0.0, 1.0]], starboard[::-1] * [-1.0, 1.0]])
    keel = outline * [HULL_KEEL_WIDE, HULL_KEEL_LONG]
    rings = []
    for ring, height in ((keel, -1.0), (outline, 1.0)):
        flat = ring if half[1] >= half[0] else ring[:, ::-1] * [1.0, -1.0]
        rings.append(np.column_stack([flat * half[:2], np.full(len(ring), height * half[2])]))
    return np.vstack(rings), _skin(2, len(outline))


def _skin(rings: int, around: int) -> tuple[tuple[int, ...], ...]:
    """Faces of rings of vertices, counter-clockwise from above, from the lowest up, with lids."""
    faces: list[tuple[int, ...]] = [tuple(reversed(range(around)))]
    for ring in range(rings - 1):
        a, b = ring * around, (ring + 1) * around
        faces += [(a + i, a + (i + 1) % around, b + (i + 1) % around, b + i) for i in range(around)]
    faces.append(tuple(range((rings - 1) * around, rings * around)))
    return tuple(faces)
