"""The blocked-out place: each block as a closed mesh in scene metres, and the ground it stands on.

Beside the meshes that are drawn, each block has upright bounding boxes, for what needs to be quick, and
convex pieces, for what needs to be exact.
"""

from __future__ import annotations

import weakref
from collections.abc import Callable
from functools import lru_cache, wraps
from itertools import pairwise
from typing import TypeVar

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths import polyhedron
from planner_core.maths.convex import convex_pieces, smallest_rectangle
from planner_core.place import land_grid
from planner_core.place.roofs import roof_planes
from planner_core.plan.model import Block, Plan
from planner_core.plan.text import one_line

Value = TypeVar("Value")

POST_SIDES = 16
FIGURE_SIZE_M = (0.5, 0.3, 1.75)
TOUCHING_M = 0.3  # blocks closer than this are built onto each other
RIDGE_BOX_DEG = 15.0  # a bounding box holds no more of a ridge than this


@frozen(kw_only=True, eq=False)
class Mesh:
    """vertices_m (n, 3) in scene metres and faces, tuples of vertex numbers, counter-clockwise seen from
    outside.
    """

    vertices_m: NDArray[np.float64]
    faces: tuple[tuple[int, ...], ...]


def block_mesh(plan: Plan, block: Block) -> Mesh:
    """A block as a closed mesh (a ridge as an open curtain), shape by shape."""
    if block.shape == "ridge":
        return _ridge(block, plan.rig.origin_m, plan.site.scene_north_deg)
    return solid_mesh(block)


@lru_cache(maxsize=4096)
def solid_mesh(block: Block) -> Mesh:
    """The mesh of a block of any shape but ridge, which alone depends on where the rail starts."""
    mesh = _MESHES[block.shape](block)
    mesh.vertices_m.flags.writeable = False  # many have it
    return mesh


def block_label(plan: Plan, index: int) -> str:
    """How a person calls the block: its name, else its role and number."""
    block = plan.blocks[index]
    return one_line(block.name) or f"{block.role} {index + 1}"


def block_text(plan: Plan, index: int) -> str:
    """A block's label as it stands in a sentence: “beacon”."""
    return f"“{block_label(plan, index)}”"


def remembered(work: Callable[[Plan], Value]) -> Callable[[Plan], Value]:
    """Caches a function of a plan's place: of its blocks, site, rig and subject, and of nothing else in it.

    Plans are immutable, but comparing large ones takes long. So a plan counts as known where it has these
    parts from one that is still there.
    """
    known: dict[tuple[int, ...], tuple[weakref.ref[Plan], Value]] = {}

    @wraps(work)
    def recall(plan: Plan) -> Value:
        key = (id(plan.blocks), id(plan.site), id(plan.rig), id(plan.composition))
        entry = known.get(key)
        holder = entry[0]() if entry is not None else None
        if entry is not None and holder is not None:
            return entry[1]
        value = work(plan)
        known[key] = weakref.ref(plan, lambda _: known.pop(key, None)), value
        return value

    return recall


@remembered
def subject_indices(plan: Plan) -> tuple[int, ...]:
    """The blocks that are the picture's subject: those composition.subject names, else those with the
    role.
    """
    wanted = plan.composition.subject if plan.composition else ""
    named = tuple(i for i, block in enumerate(plan.blocks) if wanted and block.name == wanted)
    return named or tuple(i for i, block in enumerate(plan.blocks) if block.role == "subject")


@remembered
def subject_parts(plan: Plan) -> tuple[int, ...]:
    """The subject with what is built onto it: blocks of the role subject that touch one of subject_indices.

    A tower's gallery and lantern are parts of the tower, though the plan names the tower alone.
    """
    parts = list(subject_indices(plan))
    left = {i for i, block in enumerate(plan.blocks) if block.role == "subject"} - set(parts)
    if not parts or not left:
        return tuple(parts)
    boxes = bounding_boxes(plan)
    low, high = boxes.low_m, boxes.high_m
    rows = {i: np.flatnonzero(boxes.block == i) for i in (*parts, *left)}
    pending = list(parts)
    while pending and left:
        here = rows[pending.pop()]
        for other in sorted(left):
            there = rows[other]
            gap = np.maximum(low[here][:, None] - high[there], low[there] - high[here][:, None])
            if gap.max(axis=-1).min() < TOUCHING_M:
                left.remove(other)
                parts.append(other)
                pending.append(other)
    return tuple(sorted(parts))


@remembered
def ground_level_m(plan: Plan) -> float:
    """Height of the level ground that reaches to the horizon.

    It is the lowest top of the ground and water blocks, so that it never covers them, or 0 where there are
    none; and no higher than the rail's start, nor than the foot of any block that would lie wholly below it.
    """
    tops = [_lowest_top_m(plan, b) for b in plan.blocks if b.role in ("ground", "water")]
    level = min(tops, default=0.0)
    level = min(level, plan.rig.origin_m[2])
    for block in plan.blocks:
        if block.shape != "ridge" and block.role not in ("ground", "water"):
            bottom, top = _vertical_span(plan, block)
            if top <= level:
                level = min(level, bottom)
    return float(level)


def _lowest_top_m(plan: Plan, block: Block) -> float:
    """Height of a ground or water block's top, of tidal water at the lowest water of the table."""
    top, tides = _vertical_span(plan, block)[1], plan.site.tides
    if block.shape == "terrain":
        return float(land_grid.grid_points_m(block)[..., 2].min())
    if not (block.tidal and tides):
        return top
    return min(top, min(tide.height_m for tide in tides) - plan.site.scene_zero_above_chart_m)


def water_top_m(block: Block) -> float:
    """Height of a water block's top as the plan has it."""
    if block.shape == "prism":
        return block.base_m + float(block.height_m or 0.0)
    assert block.centre_m is not None
    assert block.size_m is not None
    return block.centre_m[2] + block.size_m[2] / 2.0


def _vertical_span(plan: Plan, block: Block) -> tuple[float, float]:
    if block.shape == "prism":
        return block.base_m, block.base_m + float(block.height_m or 0.0)
    if block.shape == "ridge":
        heights = block_mesh(plan, block).vertices_m[:, 2]
        return float(heights.min()), float(heights.max())
    assert block.centre_m is not None
    assert block.size_m is not None
    return block.centre_m[2] - block.size_m[2] / 2.0, block.centre_m[2] + block.size_m[2] / 2.0


def _turned(block: Block, local: NDArray[np.float64]) -> NDArray[np.float64]:
    """Local points (x, y, z about the centre) turned clockwise by turn_deg and put in place."""
    turn = np.radians(block.turn_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    x, y, z = local.T
    return np.stack([x * cos + y * sin, y * cos - x * sin, z], axis=1) + np.asarray(block.centre_m)


def extruded(outline: NDArray[np.float64], bottom: float, top: float) -> Mesh:
    """A counter-clockwise outline (n, 2) drawn up from bottom to top."""
    n = len(outline)
    low = np.column_stack([outline, np.full(n, bottom)])
    high = np.column_stack([outline, np.full(n, top)])
    sides = tuple((i, (i + 1) % n, n + (i + 1) % n, n + i) for i in range(n))
    return Mesh(
        vertices_m=np.vstack([low, high]),
        faces=(*sides, tuple(range(n - 1, -1, -1)), tuple(range(n, 2 * n))),
    )


def _box(block: Block) -> Mesh:
    x, y, z = np.asarray(block.size_m) / 2.0
    solid = extruded(np.array([(-x, -y), (x, -y), (x, y), (-x, y)]), -z, z)
    return Mesh(vertices_m=_turned(block, solid.vertices_m), faces=solid.faces)


def _post(block: Block) -> Mesh:
    x, y, z = np.asarray(block.size_m) / 2.0
    angles = np.arange(POST_SIDES) * (2.0 * np.pi / POST_SIDES)
    solid = extruded(np.column_stack([x * np.cos(angles), y * np.sin(angles)]), -z, z)
    return Mesh(vertices_m=_turned(block, solid.vertices_m), faces=solid.faces)


# A standing person as shares of width, depth and height: outline half-widths at heights from the soles to
# the crown.
_FIGURE_RINGS = (
    (0.0, 0.30, 0.45),
    (0.45, 0.36, 0.42),
    (0.62, 0.34, 0.36),
    (0.80, 0.50, 0.40),
    (0.84, 0.14, 0.24),
    (0.88, 0.17, 0.36),
    (0.96, 0.17, 0.38),
    (1.0, 0.09, 0.20),
)


def _figure(block: Block) -> Mesh:
    width, depth, height = block.size_m or FIGURE_SIZE_M
    sides = 8
    angles = (np.arange(sides) + 0.5) * (2.0 * np.pi / sides)
    around = np.column_stack([np.cos(angles), np.sin(angles)]) / np.cos(np.pi / sides)
    rings = [
        np.column_stack(
            [around * (half_x * width, half_y * depth), np.full(sides, (height_fraction - 0.5) * height)]
        )
        for height_fraction, half_x, half_y in _FIGURE_RINGS
    ]
    faces: list[tuple[int, ...]] = [tuple(range(sides - 1, -1, -1))]
    for ring in range(len(rings) - 1):
        low, high = ring * sides, (ring + 1) * sides
        faces += [(low + i, low + (i + 1) % sides, high + (i + 1) % sides, high + i) for i in range(sides)]
    faces.append(tuple(range((len(rings) - 1) * sides, len(rings) * sides)))
    return Mesh(vertices_m=_turned(block, np.vstack(rings)), faces=tuple(faces))


def _footprint(block: Block) -> NDArray[np.float64]:
    """The prism's corners, counter-clockwise, the first not repeated at the end."""
    outline = np.asarray(block.footprint_m, dtype=np.float64)
    if np.allclose(outline[0], outline[-1]):
        outline = outline[:-1]
    x, y = outline.T
    return outline[::-1] if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0.0 else outline


def _prism(block: Block) -> Mesh:
    bottom, top = block.base_m, block.base_m + float(block.height_m or 0.0)
    if not len(roof_planes(block)):
        return extruded(_footprint(block), bottom, top)
    return roofed(block, convex_pieces(_footprint(block)))


def roofed(block: Block, rings: list[NDArray[np.float64]]) -> Mesh:
    """A prism over convex counter-clockwise rings, cut off by its roof; closed piece by piece."""
    bottom, top = block.base_m, block.base_m + float(block.height_m or 0.0)
    faces: polyhedron.Faces = []
    for ring in rings:
        piece = polyhedron.upright(ring, bottom, top)
        for row in roof_planes(block):
            piece = polyhedron.cut(piece, row[:3], float(row[3]))
        faces += piece
    vertices, numbered = polyhedron.merged(faces)
    return Mesh(vertices_m=vertices, faces=numbered)


def _terrain(block: Block) -> Mesh:
    """The surface first, in the grid's order, then a foot under its rim."""
    points = land_grid.grid_points_m(block)
    rows, columns = points.shape[:2]
    around = land_grid.rim(rows, columns)
    assert block.centre_m is not None
    assert block.size_m is not None
    foot = points.reshape(-1, 3)[around].copy()
    foot[:, 2] = block.centre_m[2] - block.size_m[2] / 2.0
    count, n = rows * columns, len(around)
    sides = tuple(
        (count + k, count + (k + 1) % n, int(around[(k + 1) % n]), int(around[k])) for k in range(n)
    )
    surface = tuple(tuple(int(number) for number in face) for face in land_grid.triangles(rows, columns))
    return Mesh(
        vertices_m=np.vstack([points.reshape(-1, 3), foot]),
        faces=(*surface, *sides, tuple(range(count + n - 1, count - 1, -1))),
    )


_MESHES: dict[str, Callable[[Block], Mesh]] = {
    "box": _box,
    "post": _post,
    "figure": _figure,
    "prism": _prism,
    "terrain": _terrain,
}


@frozen(kw_only=True, eq=False)
class RidgeLine:
    """A ridge's corners in scene metres: ground_m (n, 2) below its skyline, crest_m (n,) heights, foot_m."""

    ground_m: NDArray[np.float64]
    crest_m: NDArray[np.float64]
    foot_m: float


def ridge_line(block: Block, origin_m: tuple[float, float, float], north_deg: float) -> RidgeLine:
    """A ridge at its distance, as seen from the rail's start."""
    bearing, altitude = np.radians(np.asarray(block.skyline_deg, dtype=np.float64)).T
    turn = bearing - np.radians(north_deg)
    distance = float(block.distance_m or 0.0)
    crest = origin_m[2] + distance * np.tan(altitude)
    return RidgeLine(
        ground_m=np.asarray(origin_m[:2]) + distance * np.column_stack([np.sin(turn), np.cos(turn)]),
        crest_m=crest,
        foot_m=min(block.base_m, float(crest.min())),
    )


def _ridge(block: Block, origin_m: tuple[float, float, float], north_deg: float) -> Mesh:
    """A curtain at the ridge's distance, its upper edge the skyline as seen from the rail's start."""
    return curtain(ridge_line(block, origin_m, north_deg))


def curtain(line: RidgeLine) -> Mesh:
    """The open mesh that hangs from a ridge's skyline to its foot."""
    n = len(line.crest_m)
    foot = np.full(n, line.foot_m)
    return Mesh(
        vertices_m=np.vstack(
            [np.column_stack([line.ground_m, foot]), np.column_stack([line.ground_m, line.crest_m])]
        ),
        faces=tuple((i + 1, i, n + i, n + i + 1) for i in range(n - 1)),
    )


# ---------------------------------------------------------------- bounding boxes


@frozen(kw_only=True, eq=False)
class Boxes:
    """Upright boxes around the blocks, in the blocks' order; a ridge has several, all else one.

    centre_m and half_m (n, 3), turn_rad (n,) clockwise seen from above, block (n,) the index of the box's
    block and starts (blocks,) the index of each block's first box. Boxes reach no lower than the level
    ground.
    """

    centre_m: NDArray[np.float64]
    half_m: NDArray[np.float64]
    turn_rad: NDArray[np.float64]
    block: NDArray[np.intp]
    starts: NDArray[np.intp]
    corners_m: NDArray[np.float64]  # (n, 8, 3): four below counter-clockwise, then four above
    ground_m: float

    @property
    def low_m(self) -> NDArray[np.float64]:
        return self.corners_m.min(axis=1)

    @property
    def high_m(self) -> NDArray[np.float64]:
        return self.corners_m.max(axis=1)


_BOX_SIGNS = np.array([(x, y, z) for z in (-1.0, 1.0) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))])


@remembered
def bounding_boxes(plan: Plan) -> Boxes:
    """Upright boxes around all blocks of a plan."""
    return _bounding_boxes(plan.blocks, plan.rig.origin_m, plan.site.scene_north_deg, ground_level_m(plan))


@lru_cache(maxsize=16)
def _bounding_boxes(
    blocks: tuple[Block, ...], origin_m: tuple[float, float, float], north_deg: float, ground_m: float
) -> Boxes:
    rows: list[tuple[float, ...]] = []
    owner: list[int] = []
    for index, block in enumerate(blocks):
        boxes = _block_boxes(block, origin_m, north_deg)
        rows += boxes
        owner += [index] * len(boxes)
    table = np.array(rows, dtype=np.float64).reshape(-1, 7)
    centre, half, turn = table[:, :3].copy(), table[:, 3:6].copy(), table[:, 6]
    bottom, top = centre[:, 2] - half[:, 2], centre[:, 2] + half[:, 2]
    bottom = np.where(top > ground_m, np.maximum(bottom, ground_m), bottom)
    centre[:, 2], half[:, 2] = (bottom + top) / 2.0, (top - bottom) / 2.0
    local = half[:, None, :] * _BOX_SIGNS
    cos, sin = np.cos(turn)[:, None], np.sin(turn)[:, None]
    corners = centre[:, None, :] + np.stack(
        [
            local[..., 0] * cos + local[..., 1] * sin,
            local[..., 1] * cos - local[..., 0] * sin,
            local[..., 2],
        ],
        axis=-1,
    )
    owners = np.array(owner, dtype=np.intp)
    return Boxes(
        centre_m=centre,
        half_m=half,
        turn_rad=turn,
        block=owners,
        starts=np.searchsorted(owners, np.arange(len(blocks))),
        corners_m=corners,
        ground_m=ground_m,
    )


def _block_boxes(
    block: Block, origin_m: tuple[float, float, float], north_deg: float
) -> list[tuple[float, ...]]:
    """Rows of centre, half size and turn."""
    if block.shape == "ridge":
        return _ridge_boxes(block, origin_m, north_deg)
    if block.shape == "prism":
        return [_prism_box(block)]
    assert block.centre_m is not None
    assert block.size_m is not None
    return [(*block.centre_m, *(extent / 2.0 for extent in block.size_m), np.radians(block.turn_deg))]


@lru_cache(maxsize=4096)
def _prism_box(block: Block) -> tuple[float, ...]:
    (x, y), (half_x, half_y), turn = smallest_rectangle(np.asarray(block.footprint_m, dtype=np.float64))
    half_z = float(block.height_m or 0.0) / 2.0
    return float(x), float(y), block.base_m + half_z, float(half_x), float(half_y), half_z, turn


@lru_cache(maxsize=64)
def _ridge_boxes(
    block: Block, origin_m: tuple[float, float, float], north_deg: float
) -> list[tuple[float, ...]]:
    line = ridge_line(block, origin_m, north_deg)
    bearings = np.array([bearing for bearing, _ in block.skyline_deg or ()])
    rows: list[tuple[float, ...]] = []
    first = 0
    while first < len(bearings) - 1:
        last = int(np.searchsorted(bearings, bearings[first] + RIDGE_BOX_DEG, side="right")) - 1
        last = max(last, first + 1)
        (x, y), (half_x, half_y), turn = smallest_rectangle(line.ground_m[first : last + 1])
        top, foot = line.crest_m[first : last + 1].max(), line.foot_m
        rows.append(
            (float(x), float(y), (top + foot) / 2.0, float(half_x), float(half_y), (top - foot) / 2.0, turn)
        )
        first = last
    return rows


# ---------------------------------------------------------------- convex pieces


@frozen(kw_only=True, eq=False)
class ConvexPiece:
    """A convex piece of a block: all points p with low_m ≤ normals · p ≤ high_m, row by row.

    normals (k, 3) are unit vectors; a face without an opposite has an infinite limit on the other side.
    """

    normals: NDArray[np.float64]
    low_m: NDArray[np.float64]
    high_m: NDArray[np.float64]


_UP = np.array([0.0, 0.0, 1.0])
RIDGE_THICKNESS = 1e-3  # share of its distance; only a solid can be met by rays


def pieces(plan: Plan, index: int, ground_m: float | None = None) -> tuple[ConvexPiece, ...]:
    """The convex pieces that make up a block, cut off at the level ground."""
    ground = ground_level_m(plan) if ground_m is None else ground_m
    block = plan.blocks[index]
    if block.shape == "ridge":
        return _ridge_pieces(block, plan.rig.origin_m, plan.site.scene_north_deg, ground)
    return _pieces(block, ground)


@lru_cache(maxsize=8192)
def _pieces(block: Block, ground_m: float) -> tuple[ConvexPiece, ...]:
    if block.shape == "prism":
        bottom, top = block.base_m, block.base_m + float(block.height_m or 0.0)
        bottom = max(bottom, ground_m) if top > ground_m else bottom
        roof = roof_planes(block)
        return tuple(_under(_upright(ring, bottom, top), roof) for ring in convex_pieces(_footprint(block)))
    assert block.size_m is not None
    assert block.centre_m is not None
    if block.shape == "terrain":
        return _terrain_pieces(block, ground_m)
    turn = np.radians(block.turn_deg)
    axes = np.array([(np.cos(turn), -np.sin(turn), 0.0), (np.sin(turn), np.cos(turn), 0.0), (0.0, 0.0, 1.0)])
    half, centre = np.asarray(block.size_m) / 2.0, np.asarray(block.centre_m)
    bottom, top = centre[2] - half[2], centre[2] + half[2]
    bottom = max(bottom, ground_m) if top > ground_m else bottom
    if block.shape == "figure":
        return tuple(_ring_piece(low, high, axes, centre, half * 2.0, bottom) for low, high in _ring_pairs())
    if block.shape == "post":
        angles = (np.arange(POST_SIDES // 2) + 0.5) * (2.0 * np.pi / POST_SIDES)
        flat = np.column_stack([np.cos(angles) / half[0], np.sin(angles) / half[1]])
        length = np.linalg.norm(flat, axis=1)
        normals = (flat / length[:, None]) @ axes[:2]
        reach = np.cos(np.pi / POST_SIDES) / length
    else:
        normals, reach = axes[:2], half[:2]
    middle = normals @ centre
    return (
        ConvexPiece(
            normals=np.vstack([normals, _UP]),
            low_m=np.append(middle - reach, bottom),
            high_m=np.append(middle + reach, top),
        ),
    )


def _upright(ring: NDArray[np.float64], bottom: float, top: float) -> ConvexPiece:
    """The piece above a convex counter-clockwise ring; opposite sides that are parallel share a row."""
    edges = np.roll(ring, -1, axis=0) - ring
    keep = np.linalg.norm(edges, axis=1) > 1e-9
    edges, starts = edges[keep], ring[keep]
    out = np.column_stack([edges[:, 1], -edges[:, 0]]) / np.linalg.norm(edges, axis=1, keepdims=True)
    limits = np.sum(out * starts, axis=1)
    rows: list[tuple[NDArray[np.float64], float, float]] = []
    taken: set[int] = set()
    for i in range(len(out)):
        if i in taken:
            continue
        opposite = [j for j in range(i + 1, len(out)) if j not in taken and out[i] @ out[j] < -1.0 + 1e-12]
        taken |= set(opposite[:1])
        rows.append((out[i], -limits[opposite[0]] if opposite else -np.inf, limits[i]))
    return ConvexPiece(
        normals=np.vstack([*([x, y, 0.0] for (x, y), _, _ in rows), _UP]),
        low_m=np.array([*(low for _, low, _ in rows), bottom]),
        high_m=np.array([*(high for _, _, high in rows), top]),
    )


def _under(piece: ConvexPiece, planes: NDArray[np.float64]) -> ConvexPiece:
    """The part of a piece under planes (k, 4)."""
    return ConvexPiece(
        normals=np.vstack([piece.normals, planes[:, :3]]),
        low_m=np.append(piece.low_m, np.full(len(planes), -np.inf)),
        high_m=np.append(piece.high_m, planes[:, 3]),
    )


def _terrain_pieces(block: Block, ground_m: float) -> tuple[ConvexPiece, ...]:
    """The columns under the surface's triangles."""
    assert block.centre_m is not None
    assert block.size_m is not None
    points = land_grid.grid_points_m(block)
    foot = max(block.centre_m[2] - block.size_m[2] / 2.0, ground_m)
    corners = points.reshape(-1, 3)[land_grid.triangles(*points.shape[:2])]
    top = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    top /= np.linalg.norm(top, axis=1, keepdims=True)
    edges = (np.roll(corners, -1, axis=1) - corners)[..., :2]
    out = np.stack([edges[..., 1], -edges[..., 0], np.zeros(edges.shape[:2])], axis=-1)
    out /= np.linalg.norm(out, axis=-1, keepdims=True)
    sides = np.sum(out * corners, axis=-1)
    tops = np.sum(top * corners[:, 0], axis=1)
    return tuple(
        ConvexPiece(
            normals=np.vstack([out[k], top[k], _UP]),
            low_m=np.array([-np.inf, -np.inf, -np.inf, -np.inf, min(foot, corners[k, :, 2].min())]),
            high_m=np.array([*sides[k], tops[k], np.inf]),
        )
        for k in range(len(corners))
    )


def _ring_pairs() -> list[tuple[tuple[float, float, float], tuple[float, float, float]]]:
    return list(pairwise(_FIGURE_RINGS))


def _ring_piece(
    low: tuple[float, float, float],
    high: tuple[float, float, float],
    axes: NDArray[np.float64],
    centre: NDArray[np.float64],
    size: NDArray[np.float64],
    bottom_m: float,
) -> ConvexPiece:
    """The part of a figure between two rings of its outline."""
    sides = 8
    angles = np.arange(sides) * (2.0 * np.pi / sides)
    (share_low, *half_low), (share_high, *half_high) = low, high
    rows = []
    for angle in angles:
        left, right = (
            np.array([np.cos(a), np.sin(a)]) / np.cos(np.pi / sides)
            for a in (angle - np.pi / sides, angle + np.pi / sides)
        )
        corners = np.array(
            [
                np.append(corner * half * size[:2], (height_fraction - 0.5) * size[2])
                for corner, half, height_fraction in (
                    (left, half_low, share_low),
                    (right, half_low, share_low),
                    (right, half_high, share_high),
                    (left, half_high, share_high),
                )
            ]
        )
        # the four corners are not quite in one plane: the plane between both diagonals treats left and right
        # alike
        normal = np.cross(corners[2] - corners[0], corners[3] - corners[1])
        normal /= np.linalg.norm(normal)
        rows.append((normal @ axes, float(np.mean(corners @ normal))))
    normals = np.array([normal for normal, _ in rows])
    limits = np.array([limit for _, limit in rows]) + normals @ centre
    foot, top = (centre[2] + (height_fraction - 0.5) * size[2] for height_fraction in (share_low, share_high))
    return ConvexPiece(
        normals=np.vstack([normals, _UP]),
        low_m=np.append(np.full(sides, -np.inf), max(foot, min(bottom_m, top))),
        high_m=np.append(limits, top),
    )


@lru_cache(maxsize=64)
def _ridge_pieces(
    block: Block, origin_m: tuple[float, float, float], north_deg: float, ground_m: float
) -> tuple[ConvexPiece, ...]:
    line = ridge_line(block, origin_m, north_deg)
    pieces = []
    for a, b, low, high in zip(
        line.ground_m, line.ground_m[1:], line.crest_m, line.crest_m[1:], strict=False
    ):
        along = (b - a) / np.linalg.norm(b - a)
        out = np.array([along[1], -along[0]])
        out *= np.sign(out @ (a - np.asarray(origin_m[:2])))
        slope = (high - low) / np.linalg.norm(b - a)
        roof = np.array([-slope * along[0], -slope * along[1], 1.0]) / np.hypot(1.0, slope)
        near = out @ a
        thickness = RIDGE_THICKNESS * float(block.distance_m or 0.0)
        pieces.append(
            ConvexPiece(
                normals=np.array([[*out, 0.0], [*along, 0.0], roof, _UP]),
                low_m=np.array([near, along @ a, -np.inf, max(line.foot_m, ground_m)]),
                high_m=np.array([near + thickness, along @ b, roof @ np.append(a, low), np.inf]),
            )
        )
    return tuple(pieces)
