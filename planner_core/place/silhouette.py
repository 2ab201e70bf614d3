"""Areas that solids cover in the picture: of their whole outline, and of its part inside the frame.

The outline of a closed solid is the edges between faces turned to the camera and faces turned away. The area
of a closed line inside the frame is the integral of its height, held between the frame's lower and upper
edge, along the frame's width (Green's theorem); so each edge contributes independently, and all edges and
frames are computed at once.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.convex import hull
from planner_core.place import blocking
from planner_core.plan.model import Block, Plan

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

NEAR_M = 0.01  # what is nearer to the entrance pupil than this is not drawn


@frozen(kw_only=True, eq=False)
class Shell:
    """A block's surface: vertices_m (v, 3), each face's plane, and each edge with the faces on both sides.

    edges (e, 2) are vertex numbers; left (e,) is the face that runs along the edge, right (e,) the one that
    runs back, −1 where there is none. two_sided shells (a ridge's curtain) show from both sides.
    """

    vertices_m: Array
    normals: Array
    offsets_m: Array
    edges: Indices
    left: Indices
    right: Indices
    two_sided: bool


def shell(plan: Plan, index: int, ground_m: float) -> Shell:
    """A block as it is seen: cut off at the level ground; a prism by the hull of its footprint.

    A figure, whose shoulders can stand before its hips, is counted a little twice where it overlaps itself.
    """
    block = plan.blocks[index]
    if block.shape == "ridge":
        line = blocking.ridge_line(block, plan.rig.origin_m, plan.site.scene_north_deg)
        return _build(blocking.curtain(_risen(line, ground_m)), ground_m, two_sided=True)
    return _solid_shell(block, ground_m)


@lru_cache(maxsize=4096)
def _solid_shell(block: Block, ground_m: float) -> Shell:
    mesh = blocking.solid_mesh(block)
    if block.shape == "prism":
        ring = hull(mesh.vertices_m[:, :2])
        if block.roof == "flat":
            mesh = blocking.extruded(ring, mesh.vertices_m[:, 2].min(), mesh.vertices_m[:, 2].max())
        else:
            mesh = blocking.roofed(block, [ring])
    return _build(mesh, ground_m, two_sided=False)


def _risen(line: blocking.RidgeLine, ground_m: float) -> blocking.RidgeLine:
    """The ridge with a corner more wherever its skyline sinks into the ground or rises from it."""
    over = line.crest_m - ground_m
    before = np.flatnonzero(over[:-1] * over[1:] < 0.0)
    fraction = (over[before] / (over[before] - over[before + 1]))[:, None]
    corners = line.ground_m[before] + fraction * (line.ground_m[before + 1] - line.ground_m[before])
    return blocking.RidgeLine(
        ground_m=np.insert(line.ground_m, before + 1, corners, axis=0),
        crest_m=np.insert(line.crest_m, before + 1, ground_m),
        foot_m=line.foot_m,
    )


def _build(mesh: blocking.Mesh, ground_m: float, *, two_sided: bool) -> Shell:
    vertices, faces = mesh.vertices_m, mesh.faces
    if vertices[:, 2].max() > ground_m:
        vertices = np.column_stack([vertices[:, :2], np.maximum(vertices[:, 2], ground_m)])
    normals = _normals(vertices, faces)
    sides_of: dict[tuple[int, int], int] = {
        (a, b): n for n, face in enumerate(faces) for a, b in zip(face, face[1:] + face[:1], strict=True)
    }
    rows = [
        (a, b, n, sides_of.get((b, a), -1))
        for (a, b), n in sides_of.items()
        if a < b or (b, a) not in sides_of
    ]
    table = np.array(rows, dtype=np.intp)
    first = np.array([face[0] for face in faces])
    return Shell(
        vertices_m=vertices,
        normals=normals,
        offsets_m=np.sum(normals * vertices[first], axis=1),
        edges=table[:, :2],
        left=table[:, 2],
        right=table[:, 3],
        two_sided=two_sided,
    )


def _normals(vertices: Array, faces: tuple[tuple[int, ...], ...]) -> Array:
    """Unit normals of flat rings, outward where they run counter-clockwise (Newell's method); 0 for a
    flattened one.
    """
    longest = max(map(len, faces))
    corners = vertices[np.array([face + face[-1:] * (longest - len(face)) for face in faces])]
    normals = np.cross(corners, np.roll(corners, -1, axis=1)).sum(axis=1)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    return normals / np.where(length > 0.0, length, 1.0)


def covered_px(
    form: Shell, camera_m: Array, rotation: Array, focal_px: float, size_px: tuple[float, float]
) -> tuple[Array, Array]:
    """Area in square pixels of a shell's whole outline and of its part inside the frame, both of shape
    (frames,).

    camera_m (frames, 3) and rotation (frames, 3, 3), scene from camera. What lies behind the camera adds
    nothing; a shell that reaches past the camera has the outline of its part ahead.
    """
    local = np.einsum("fji,vj->fiv", rotation, form.vertices_m)
    local -= np.einsum("fji,fj->fi", rotation, camera_m)[:, :, None]
    depth = -local[:, 2]
    front = camera_m @ form.normals.T > form.offsets_m
    sides = np.where(front, 1.0, -1.0 if form.two_sided else 0.0)
    right = np.where(form.right >= 0, sides[:, form.right], 0.0)
    weight = sides[:, form.left] - right
    a, b = form.edges.T
    behind = depth <= NEAR_M
    straddling = behind.any(axis=1)
    safe = np.where(behind, NEAR_M, depth)
    x = local[:, 0] / safe * focal_px + size_px[0] / 2.0
    y = local[:, 1] / safe * focal_px + size_px[1] / 2.0
    whole, inside = _edge_areas(x[:, a], y[:, a], x[:, b], y[:, b], size_px)
    whole, inside = np.sum(weight * whole, axis=1), np.sum(weight * inside, axis=1)
    if straddling.any():
        rows = np.flatnonzero(straddling)
        whole[rows], inside[rows] = _clipped_areas(form, local[rows], sides[rows], focal_px, size_px)
    return np.maximum(whole, 0.0), np.maximum(inside, 0.0)


def _clipped_areas(
    form: Shell, local: Array, sides: Array, focal_px: float, size_px: tuple[float, float]
) -> tuple[Array, Array]:
    """The same for frames in which some vertices lie behind the near plane.

    Each face that the plane cuts is closed along it, and so is the solid by the cut, which faces the camera.
    """
    a, b = form.edges.T
    depth_a, depth_b = -local[:, 2, a] - NEAR_M, -local[:, 2, b] - NEAR_M
    ahead_a, ahead_b = depth_a > 0.0, depth_b > 0.0
    cut = ahead_a != ahead_b
    fraction = np.where(cut, depth_a / np.where(cut, depth_a - depth_b, 1.0), 0.0)
    crossing = local[:, :2, a] + fraction[:, None] * (local[:, :2, b] - local[:, :2, a])
    scale = focal_px / NEAR_M
    middle = np.array(size_px) / 2.0

    def picture(ahead: NDArray[np.bool_], ends: Indices) -> tuple[Array, Array]:
        projected = local[:, :2, ends] * (focal_px / np.where(ahead, -local[:, 2, ends], 1.0))[:, None]
        px = np.where(ahead[:, None], projected, crossing * scale)
        return px[:, 0] + middle[0], px[:, 1] + middle[1]

    whole, inside = _edge_areas(*picture(ahead_a, a), *picture(ahead_b, b), size_px)
    right = np.where(form.right >= 0, sides[:, form.right], 0.0)
    weight = np.where(ahead_a | ahead_b, sides[:, form.left] - right, 0.0)
    total = np.sum(weight * whole, axis=1), np.sum(weight * inside, axis=1)

    # for each face: where its ring leaves the part ahead, and where it comes back
    every_face = np.arange(len(form.offsets_m))
    of_left, of_right = (
        (owner[:, None] == every_face).astype(np.float64) for owner in (form.left, form.right)
    )
    at_a, at_b = cut & ahead_a, cut & ahead_b  # which end of a cut edge lies ahead
    from_a, from_b = crossing * at_a[:, None], crossing * at_b[:, None]
    leaves = from_a @ of_left + from_b @ of_right
    enters = from_b @ of_left + from_a @ of_right
    closed = at_a @ of_left + at_b @ of_right > 0.0
    start, end = leaves * scale + middle[:, None], enters * scale + middle[:, None]
    closing = np.where(closed, sides if form.two_sided else sides - 1.0, 0.0)
    more, more_inside = _edge_areas(start[:, 0], start[:, 1], end[:, 0], end[:, 1], size_px)
    return total[0] + np.sum(closing * more, axis=1), total[1] + np.sum(closing * more_inside, axis=1)


def _edge_areas(
    x1: Array, y1: Array, x2: Array, y2: Array, size_px: tuple[float, float]
) -> tuple[Array, Array]:
    """What edges add to the area on their left, whole and inside the frame; y points up from the frame's
    lower edge.
    """
    width, height = size_px
    run = x2 - x1
    slope = np.divide(y2 - y1, run, out=np.zeros_like(run), where=run != 0.0)
    x1_in, x2_in = np.clip(x1, 0.0, width), np.clip(x2, 0.0, width)
    y1_in, y2_in = y1 + slope * (x1_in - x1), y1 + slope * (x2_in - x1)
    rise = y2_in - y1_in
    level = np.abs(rise) < 1e-9 * (np.abs(y1_in) + 1.0)
    mean = np.where(
        level,
        np.clip(y1_in, 0.0, height),
        (_clamped_integral(y2_in, height) - _clamped_integral(y1_in, height)) / np.where(level, 1.0, rise),
    )
    return -run * (y1 + y2) / 2.0, -(x2_in - x1_in) * mean


def _clamped_integral(y: Array, height: float) -> Array:
    """∫₀^y of u held between 0 and height."""
    held = np.clip(y, 0.0, height)
    return held * held / 2.0 + height * np.maximum(y - height, 0.0)
