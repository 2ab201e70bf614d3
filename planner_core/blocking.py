"""The blocked-out place: each block as a closed mesh in scene metres, and the ground it stands on."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.plan import Block, Plan

POST_SIDES = 16
FIGURE_SIZE_M = (0.5, 0.3, 1.75)


@frozen(kw_only=True, eq=False)
class Mesh:
    """vertices_m (n, 3) in scene metres and faces, tuples of vertex numbers, counter-clockwise seen from outside."""

    vertices_m: NDArray[np.float64]
    faces: tuple[tuple[int, ...], ...]


def block_mesh(plan: Plan, block: Block) -> Mesh:
    """A block as a closed mesh (a ridge as an open curtain), shape by shape."""
    builders = {"box": _box, "post": _post, "figure": _figure, "prism": _prism, "ridge": _ridge}
    return builders[block.shape](plan, block)


def block_label(plan: Plan, index: int) -> str:
    """How a person calls the block: its name, else its role and number."""
    block = plan.blocks[index]
    return block.name or f"{block.role} {index + 1}"


def subject_indices(plan: Plan) -> tuple[int, ...]:
    """The blocks that are the picture's subject: those composition.subject names, else those with the role."""
    wanted = plan.composition.subject if plan.composition else ""
    named = tuple(i for i, block in enumerate(plan.blocks) if wanted and block.name == wanted)
    return named or tuple(i for i, block in enumerate(plan.blocks) if block.role == "subject")


def ground_level_m(plan: Plan) -> float:
    """Height of the level ground that reaches to the horizon.

    It is the lowest top of the ground and water blocks, so that it never covers them; 0 where there are none.
    """
    tops = [block_mesh(plan, b).vertices_m[:, 2].max() for b in plan.blocks if b.role in ("ground", "water")]
    return float(min(tops, default=0.0))


def _turned(block: Block, local: NDArray[np.float64]) -> NDArray[np.float64]:
    """Local points (x, y, z about the centre) turned clockwise by turn_deg and put in place."""
    turn = np.radians(block.turn_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    x, y, z = local.T
    return np.stack([x * cos + y * sin, y * cos - x * sin, z], axis=1) + np.asarray(block.centre_m)


def _extruded(outline: NDArray[np.float64], bottom: float, top: float) -> Mesh:
    """A counter-clockwise outline (n, 2) drawn up from bottom to top."""
    n = len(outline)
    low = np.column_stack([outline, np.full(n, bottom)])
    high = np.column_stack([outline, np.full(n, top)])
    sides = tuple((i, (i + 1) % n, n + (i + 1) % n, n + i) for i in range(n))
    return Mesh(
        vertices_m=np.vstack([low, high]),
        faces=(*sides, tuple(range(n - 1, -1, -1)), tuple(range(n, 2 * n))),
    )


def _box(_plan: Plan, block: Block) -> Mesh:
    x, y, z = np.asarray(block.size_m) / 2.0
    solid = _extruded(np.array([(-x, -y), (x, -y), (x, y), (-x, y)]), -z, z)
    return Mesh(vertices_m=_turned(block, solid.vertices_m), faces=solid.faces)


def _post(_plan: Plan, block: Block) -> Mesh:
    x, y, z = np.asarray(block.size_m) / 2.0
    angles = np.arange(POST_SIDES) * (2.0 * np.pi / POST_SIDES)
    solid = _extruded(np.column_stack([x * np.cos(angles), y * np.sin(angles)]), -z, z)
    return Mesh(vertices_m=_turned(block, solid.vertices_m), faces=solid.faces)


# A standing person as shares of width, depth and height: outline half-widths at heights from the soles to the crown.
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


def _figure(_plan: Plan, block: Block) -> Mesh:
    width, depth, height = block.size_m or FIGURE_SIZE_M
    sides = 8
    angles = (np.arange(sides) + 0.5) * (2.0 * np.pi / sides)
    around = np.column_stack([np.cos(angles), np.sin(angles)]) / np.cos(np.pi / sides)
    rings = [
        np.column_stack([around * (half_x * width, half_y * depth), np.full(sides, (share - 0.5) * height)])
        for share, half_x, half_y in _FIGURE_RINGS
    ]
    faces: list[tuple[int, ...]] = [tuple(range(sides - 1, -1, -1))]
    for ring in range(len(rings) - 1):
        low, high = ring * sides, (ring + 1) * sides
        faces += [(low + i, low + (i + 1) % sides, high + (i + 1) % sides, high + i) for i in range(sides)]
    faces.append(tuple(range((len(rings) - 1) * sides, len(rings) * sides)))
    return Mesh(vertices_m=_turned(block, np.vstack(rings)), faces=tuple(faces))


def _prism(_plan: Plan, block: Block) -> Mesh:
    outline = np.asarray(block.footprint_m, dtype=np.float64)
    if np.allclose(outline[0], outline[-1]):
        outline = outline[:-1]
    x, y = outline.T
    if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0.0:
        outline = outline[::-1]
    return _extruded(outline, block.base_m, block.base_m + float(block.height_m or 0.0))


def _ridge(plan: Plan, block: Block) -> Mesh:
    """A curtain at the ridge's distance, its upper edge the skyline as seen from the rail's start."""
    bearing, altitude = np.radians(np.asarray(block.skyline_deg, dtype=np.float64)).T
    turn = bearing - np.radians(plan.site.scene_north_deg)
    distance = float(block.distance_m or 0.0)
    eye = np.asarray(plan.rig.origin_m)
    ground = eye[:2] + distance * np.column_stack([np.sin(turn), np.cos(turn)])
    foot = np.full(len(turn), min(block.base_m, eye[2] + distance * np.tan(altitude.min())))
    crest = eye[2] + distance * np.tan(altitude)
    n = len(turn)
    return Mesh(
        vertices_m=np.vstack([np.column_stack([ground, foot]), np.column_stack([ground, crest])]),
        faces=tuple((i + 1, i, n + i, n + i + 1) for i in range(n - 1)),
    )
