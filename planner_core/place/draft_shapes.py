"""Blocks that are drawn as what they evidently stand for: a crown on its trunk, a hull afloat, a roof on its
house, rails of a railing, a deck between parapets.

The drawn shape stays within the block's own outline and reaches its six sides, so that the picture is judged
by nothing it doesn't hold.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from planner_core.place.blocking import ground_level_m, remembered
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
# a box of a house's size that bears nothing has a roof under its top; a lower box along a house is its roof
HOUSE_SIDES_M, HOUSE_HIGH_M, HOUSE_SLENDER = (4.0, 32.0), (3.0, 24.0), 1.6
ROOF_SHARE, ROOF_PITCH, HIPPED_M = 0.3, 0.6, 12.0  # of the height, rise over half the depth, and depth: ours
STOREY_M, SILL_M, WINDOWS_M = 3.2, 1.0, 1.7  # of a storey; common sizes of houses, no source
ROOF_GAP_M = 0.05  # between a house and what counts as its roof
ROOF_NARROW, RIDGE = (0.35, 0.95), 0.02  # how much narrower than its house, and share left at its top
# a box so thin and high is a railing, one that hangs so long and flat over the ground a deck: ours
RAILING_THIN_M, RAILING_HIGH_M, RAILING_LONG, POST_EVERY_M = 0.13, (0.7, 1.5), 1.5, 1.8
DECK_LONG_M, DECK_WIDE_M, DECK_THICK_M, DECK_LIFTED_M, PARAPET_M = 8.0, (1.2, 16.0), (0.4, 2.5), 0.8, 0.25


def drawn_shape(plan: Plan, block: Block) -> Shape | None:
    """Vertices (n, 3), metres from the block's centre before it is turned, and faces; None: as it is."""
    if is_crown(plan, block):
        return _crown(block)
    if block.shape != "box":
        return None
    if is_hull(plan, block):
        return _hull(block)
    return _SHAPES[box_kind(plan, block)](block)


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


def box_kind(plan: Plan, block: Block) -> str:
    """What a box evidently stands for: house, roof, railing, deck, or "" for none of them."""
    return _box_kinds(plan).get(id(block), "")


def roof_high_m(block: Block) -> float:
    """How high the roof of a house is within its block: over the windows."""
    assert block.size_m is not None
    high = block.size_m[2]
    windows = SILL_M + (storeys_in(high) - 1) * STOREY_M + WINDOWS_M
    return float(max(min(ROOF_SHARE * high, ROOF_PITCH * min(block.size_m[:2]) / 2.0, high - windows), 0.1))


def storeys_in(high_m: float) -> int:
    """Storeys of a house so high."""
    return int((high_m - 0.4) // STOREY_M) or 1


@remembered
def _box_kinds(plan: Plan) -> dict[int, str]:
    """What each box stands for, by its identity: blocks that are alike may stand apart."""
    boxes = [
        b for b in plan.blocks if b.shape == "box" and b.role not in ("ground", "water") and not b.lights
    ]
    ground_m = ground_level_m(plan)
    return {
        id(block): "roof" if is_roof else _kind(plan, block, ground_m)
        for block, is_roof in zip(boxes, _are_roofs(boxes), strict=True)
    }


def _kind(plan: Plan, block: Block, ground_m: float) -> str:
    assert block.size_m is not None
    (narrow, long), high = sorted(block.size_m[:2]), block.size_m[2]
    low = _span(block)[0]
    if (
        narrow <= RAILING_THIN_M
        and RAILING_HIGH_M[0] <= high <= RAILING_HIGH_M[1]
        and long > RAILING_LONG * high
    ):
        return "railing"
    is_deck = long >= max(DECK_LONG_M, 2.0 * narrow) and DECK_WIDE_M[0] <= narrow <= DECK_WIDE_M[1]
    if is_deck and DECK_THICK_M[0] <= high <= DECK_THICK_M[1] and low > ground_m + DECK_LIFTED_M:
        return "deck" if block.role != "foreground" else ""
    is_house = HOUSE_SIDES_M[0] <= narrow and long <= HOUSE_SIDES_M[1] and HOUSE_HIGH_M[0] <= high
    if is_house and high <= min(HOUSE_HIGH_M[1], HOUSE_SLENDER * long) and block.role == "background":
        return "" if _bears_something(plan, block) or is_hull(plan, block) else "house"
    return ""


def _are_roofs(boxes: list[Block]) -> list[bool]:
    """Whether each box lies on a house along its whole length, narrower, as the houses of the kit have it."""
    if not boxes:
        return []
    centre = np.array([box.centre_m for box in boxes], dtype=np.float64)
    size = np.array([box.size_m for box in boxes], dtype=np.float64)
    turn_deg = np.array([box.turn_deg for box in boxes], dtype=np.float64)
    low, top = centre[:, 2] - size[:, 2] / 2.0, centre[:, 2] + size[:, 2] / 2.0
    order = np.argsort(top, kind="stable")
    first = np.searchsorted(top[order], low - ROOF_GAP_M, side="left")
    after = np.searchsorted(top[order], low + ROOF_GAP_M, side="right")
    turn = np.radians(turn_deg)
    are_roofs = [False] * len(boxes)
    for index in np.flatnonzero(first < after):
        under = order[first[index] : after[index]]  # those whose top is at this one's foot
        under = under[(under != index) & (abs(turn_deg[index] - turn_deg[under]) <= 0.5)]
        if not len(under):
            continue
        dx, dy = (centre[index, :2] - centre[under, :2]).T
        across = dx * np.cos(turn[under]) - dy * np.sin(turn[under])
        along = dx * np.sin(turn[under]) + dy * np.cos(turn[under])
        over = (abs(across) <= size[under, 0] / 2.0) & (abs(along) <= size[under, 1] / 2.0)
        shares = np.sort(size[index, :2] / size[under, :2], axis=1)
        narrower = (ROOF_NARROW[0] <= shares[:, 0]) & (shares[:, 0] <= ROOF_NARROW[1])
        are_roofs[index] = bool(np.any(over & narrower & (abs(shares[:, 1] - 1.0) < 0.02)))
    return are_roofs


def _bears_something(plan: Plan, block: Block) -> bool:
    top = _span(block)[1]
    for other in plan.blocks:
        if other is block or other.shape == "ridge" or other.role in ("ground", "water"):
            continue
        if other.shape == "prism":
            places, foot, end = (
                np.asarray(other.footprint_m),
                other.base_m,
                other.base_m + (other.height_m or 0.0),
            )
        else:
            assert other.centre_m is not None
            places, (foot, end) = np.asarray(other.centre_m)[None, :2], _span(other)
        middle = places.mean(axis=0)
        if foot <= top + 0.3 and end > top + 0.05 and _covers(block, (float(middle[0]), float(middle[1]))):
            return True
    return False


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


def _is_over(block: Block, other: Block) -> bool:
    assert block.centre_m is not None
    return _covers(other, block.centre_m[:2])


def _covers(block: Block, place_m: tuple[float, ...]) -> bool:
    """Whether a place is within a box seen from above."""
    assert block.centre_m is not None
    assert block.size_m is not None
    turn = np.radians(block.turn_deg)
    dx, dy = place_m[0] - block.centre_m[0], place_m[1] - block.centre_m[1]
    across, along = dx * np.cos(turn) - dy * np.sin(turn), dx * np.sin(turn) + dy * np.cos(turn)
    return bool(abs(across) <= block.size_m[0] / 2.0 and abs(along) <= block.size_m[1] / 2.0)


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


def _house(block: Block) -> Shape:
    """Walls, and on them a gable roof along the longer side; hipped on deep houses."""
    half = np.asarray(block.size_m) / 2.0
    eaves = half[2] - roof_high_m(block)
    inset = half[:2].min() if 2.0 * half[:2].min() >= HIPPED_M else 0.0
    return _along(
        half, [(1.0, 1.0, -half[2]), (1.0, 1.0, eaves), (RIDGE, 1.0 - inset / half[:2].max(), half[2])]
    )


def _roof(block: Block) -> Shape:
    half = np.asarray(block.size_m) / 2.0
    return _along(half, [(1.0, 1.0, -half[2]), (RIDGE, 1.0, half[2])])


def _along(half: Array, rings: list[tuple[float, float, float]]) -> Shape:
    """Rectangles over each other: shares of half the shorter and of half the longer side, and height."""
    shorter = int(half[1] < half[0])
    corners = []
    for across, along, high in rings:
        shares = np.array([across, along] if shorter == 0 else [along, across]) * half[:2]
        corners += [(x * shares[0], y * shares[1], high) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return np.array(corners), _skin(len(rings), 4)


def _railing(block: Block) -> Shape:
    """A hand rail, one at knee height, and posts."""
    half = np.asarray(block.size_m) / 2.0
    long = int(half[1] > half[0])
    bar = min(0.06, 0.15 * half[2])
    count = max(1, int(np.ceil(2.0 * half[long] / POST_EVERY_M)))
    wide = min(half[1 - long], half[long] / (2 * count))
    parts = [
        _part(half, long, 0.0, half[long], half[2] - bar, bar),
        _part(half, long, 0.0, half[long], 0.0, bar / 2.0),
    ]
    for middle in np.linspace(-half[long] + wide, half[long] - wide, count + 1):
        parts.append(_part(half, long, float(middle), wide, -bar, half[2] - bar))
    return _together(parts)


def _deck(block: Block) -> Shape:
    """A slab between two parapets, which rise over it."""
    half = np.asarray(block.size_m) / 2.0
    long = int(half[1] > half[0])
    thick = min(PARAPET_M / 2.0, half[1 - long] / 6.0)
    parts = [_part(half, long, 0.0, half[long], -0.4 * half[2], 0.6 * half[2])]
    for side in (-1.0, 1.0):
        beside = side * (half[1 - long] - thick)
        parts.append(_part(half, long, 0.0, half[long], 0.0, half[2], beside, thick))
    return _together(parts)


def _part(
    half: Array, long: int, along: float, half_along: float, up: float, half_up: float,
    aside: float = 0.0, half_aside: float | None = None,
) -> Shape:  # fmt: skip
    """A box by its middle and half sides, along a block's longer side, upwards, and across."""
    middle, sides = np.zeros(3), half.copy()
    middle[long], middle[1 - long], middle[2] = along, aside, up
    sides[long], sides[2] = half_along, half_up
    if half_aside is not None:
        sides[1 - long] = half_aside
    vertices, faces = _along(sides, [(1.0, 1.0, -sides[2]), (1.0, 1.0, sides[2])])
    return vertices + middle, faces


def _together(parts: list[Shape]) -> Shape:
    before = np.cumsum([0, *(len(vertices) for vertices, _ in parts)])
    faces = [
        tuple(k + int(at) for k in face) for (_, own), at in zip(parts, before, strict=False) for face in own
    ]
    return np.vstack([vertices for vertices, _ in parts]), tuple(faces)


def _plain(_block: Block) -> None:
    return None


_SHAPES: dict[str, Callable[[Block], Shape | None]] = {
    "house": _house,
    "roof": _roof,
    "railing": _railing,
    "deck": _deck,
    "": _plain,
}


def _skin(rings: int, around: int) -> tuple[tuple[int, ...], ...]:
    """Faces of rings of vertices, counter-clockwise from above, from the lowest up, with lids."""
    faces: list[tuple[int, ...]] = [tuple(reversed(range(around)))]
    for ring in range(rings - 1):
        a, b = ring * around, (ring + 1) * around
        faces += [(a + i, a + (i + 1) % around, b + (i + 1) % around, b + i) for i in range(around)]
    faces.append(tuple(range((rings - 1) * around, rings * around)))
    return tuple(faces)
