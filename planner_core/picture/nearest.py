"""The nearest parts of blocks that the picture shows: faces are cut along the frame's edges, exactly.

What stands before a block doesn't count here: a part in the frame may be hidden by another block.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.convex import convex_pieces
from planner_core.maths.vectors import cross, dot, length
from planner_core.picture.block_projection import BlockProjection
from planner_core.picture.projection import delivered_crop
from planner_core.place import blocking
from planner_core.place.silhouette import NEAR_M
from planner_core.plan.model import Block, Plan

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

LOOKED_AT = 2_000_000  # frames times blocks at a time, so that large plans don't fill the memory
PAIRS_AT_A_TIME = 20_000  # so that many blocks on many frames stay within some 100 MB
LEAST_FACE_M2 = 1e-12  # what the level ground has flattened is no face


@frozen(kw_only=True, eq=False)
class NearestParts:
    """The nearest part in the frame of blocks, each seen by one camera; arrays of shape (n,) and (n, 3).

    distance_m from the entrance pupil, and near_m where that is in the scene; depth_m along the lens axis,
    and shallow_m where that is; middle_m is well inside what shows of a face. Infinite and NaN where nothing
    of the block is in the frame.
    """

    distance_m: Array
    near_m: Array
    depth_m: Array
    shallow_m: Array
    middle_m: Array


def nearest_parts(plan: Plan, block: Indices, camera_m: Array, camera_rotation: Array) -> NearestParts:
    """The nearest part in the frame of each block (n,) for a camera each, at camera_m (n, 3) and turned by
    camera_rotation (n, 3, 3).

    What is nearer to the pupil than NEAR_M isn't drawn and doesn't count.
    """
    pair, corners, normals = _faces_of(plan, block, camera_m)
    local = (corners - camera_m[pair][:, None]) @ camera_rotation[pair]
    facing = np.einsum("fi,fij->fj", normals, camera_rotation[pair])  # the same normals in camera axes
    sides, offsets = _frame_planes(plan)
    within = (local.reshape(-1, 3) @ sides.T + offsets >= 0.0).reshape(-1, 4, len(sides))
    reaching = within.any(axis=1).all(axis=1)
    whole = within.all(axis=(1, 2))
    cut = np.flatnonzero(reaching & ~whole)
    polygons, visible = _clipped(local[cut], sides, offsets)
    cut, whole = cut[visible], np.flatnonzero(whole)
    as_many = np.minimum(np.arange(polygons.shape[1]), 3)  # corners, the last one repeated
    faces = np.concatenate([local[whole][:, as_many], polygons[visible]])
    shown = np.concatenate([whole, cut])
    return _of_pairs(pair[shown], _nearest_of_faces(faces, facing[shown]), camera_m, camera_rotation)


def _of_pairs(
    owner: Indices, faces: tuple[Array, ...], camera_m: Array, camera_rotation: Array
) -> NearestParts:
    """The nearest of each pair's faces, back in the scene; faces has what _nearest_of_faces gives."""
    distance, near, depth, shallow, middle = faces
    count = len(camera_m)

    def least(values: Array, points: Array) -> tuple[Array, Array, Indices, Indices]:
        pairs, chosen = _least_of(values, owner, np.full(count, np.inf))
        lowest, place = np.full(count, np.inf), np.full((count, 3), np.nan)
        lowest[pairs] = values[chosen]
        place[pairs] = _in_scene(points[chosen], camera_m[pairs], camera_rotation[pairs])
        return lowest, place, pairs, chosen

    distance_m, near_m, pairs, chosen = least(distance, near)
    depth_m, shallow_m, _, _ = least(depth, shallow)
    middle_m = np.full((count, 3), np.nan)
    middle_m[pairs] = _in_scene(middle[chosen], camera_m[pairs], camera_rotation[pairs])
    return NearestParts(
        distance_m=distance_m, near_m=near_m, depth_m=depth_m, shallow_m=shallow_m, middle_m=middle_m
    )


def _in_scene(local: Array, camera_m: Array, camera_rotation: Array) -> Array:
    return np.asarray(np.einsum("nij,nj->ni", camera_rotation, local) + camera_m)


def _frame_planes(plan: Plan) -> tuple[Array, Array]:
    """The frame's four sides and the near plane in camera axes: inside where sides @ p + offsets ≥ 0."""
    focal_px = delivered_crop(plan.camera, plan.clip).focal_px
    across, up = plan.clip.width_px / 2.0 / focal_px, plan.clip.height_px / 2.0 / focal_px
    sides = np.array([(1, 0, -across), (-1, 0, -across), (0, 1, -up), (0, -1, -up), (0, 0, -1)], dtype=float)
    return sides, np.array([0.0, 0.0, 0.0, 0.0, -NEAR_M])


def _clipped(polygons: Array, sides: Array, offsets: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Convex polygons (n, 4, 3) cut off at each plane: (n, k, 3), corners repeated where there are fewer; and
    which of them are left. Sutherland and Hodgman, *Communications of the ACM* 17 (1974).
    """
    left = np.ones(len(polygons), dtype=bool)
    for side, offset in zip(sides, offsets, strict=True):
        height = polygons @ side + offset
        outside = np.flatnonzero((height < 0.0).any(axis=1))
        if len(outside):
            cut, some = _cut(polygons[outside], height[outside])
            polygons = np.concatenate([polygons, polygons[:, -1:]], axis=1)
            polygons[outside] = cut
            left[outside] &= some
    return polygons, left


def _cut(polygons: Array, height: Array) -> tuple[Array, NDArray[np.bool_]]:
    """The part of polygons (n, k, 3) where height (n, k) is not below 0, (n, k + 1, 3), and whether there is
    any.
    """
    count, corners = height.shape
    after, after_height = np.roll(polygons, -1, axis=1), np.roll(height, -1, axis=1)
    inside = height >= 0.0
    crosses = inside != (after_height >= 0.0)
    fraction = np.where(crosses, height / np.where(crosses, height - after_height, 1.0), 0.0)
    crossing = polygons + fraction[..., None] * (after - polygons)
    points = np.stack([polygons, crossing], axis=2).reshape(count, 2 * corners, 3)
    kept = np.stack([inside, crosses], axis=2).reshape(count, 2 * corners)
    order = np.argsort(~kept, axis=1, kind="stable")[:, : corners + 1]
    number = np.minimum(np.arange(corners + 1), np.maximum(kept.sum(axis=1), 1)[:, None] - 1)
    chosen = np.take_along_axis(order, number, axis=1)
    return np.take_along_axis(points, chosen[..., None], axis=1), kept.any(axis=1)


def _nearest_of_faces(polygons: Array, normals: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Of convex polygons (n, k, 3) in camera axes with unit normals (n, 3): distance, nearest point, depth,
    the point least deep, and the middle.
    """
    rows = np.arange(len(polygons))
    depth = -polygons[..., 2]
    shallowest = depth.argmin(axis=1)
    edges = np.roll(polygons, -1, axis=1) - polygons
    squared = np.einsum("nki,nki->nk", edges, edges)
    along = -np.einsum("nki,nki->nk", polygons, edges) / np.where(squared > 0.0, squared, 1.0)
    on_edge = polygons + np.clip(along, 0.0, 1.0)[..., None] * edges
    from_edge = length(on_edge)
    nearest = from_edge.argmin(axis=1)
    foot = np.einsum("ni,ni->n", polygons[:, 0], normals)[:, None] * normals
    turn = dot(cross(edges, foot[:, None] - polygons), normals[:, None])
    over = (turn >= 0.0).all(axis=1) & (squared.max(axis=1) > 0.0)
    distance = np.where(over, length(foot), from_edge[rows, nearest])
    point = np.where(over[:, None], foot, on_edge[rows, nearest])
    return distance, point, depth[rows, shallowest], polygons[rows, shallowest], polygons.mean(axis=1)


# ---------------------------------------------------------------- over a clip

SPREAD_FRAMES = 5  # on which a block is looked at that is never wholly in the frame
CLOSER_FRAMES = 12  # on which it is looked at where its box promises to come nearer than what was found
BETWEEN_FRAMES = 8  # and again beside the best of them
FAR_M = 100.0  # beyond, a part more or less in the frame changes no advice
SMALL_FOR_DISTANCE = 0.01  # half a block's size over its distance
NEARER, MUCH_NEARER = 0.99, 0.97  # of what is known: a box that promises less is worth looks, and more looks


@frozen(kw_only=True, eq=False)
class NearestOfClip:
    """How near blocks come to the lens over a clip, as far as the picture shows them; arrays over all blocks.

    distance_m (blocks,) is the least distance from the entrance pupil, infinite for a block that is never in
    the frame; near_m (blocks, 3) the place in the scene and frame (blocks,) the frame, from 0, where it has
    it. depth_m (blocks,) is the least depth along the lens axis, and depth_frame (blocks,) its frame.
    """

    distance_m: Array
    near_m: Array
    frame: Indices
    depth_m: Array
    depth_frame: Indices


def nearest_of_clip(view: BlockProjection, blocks: Indices, deep: NDArray[np.bool_]) -> NearestOfClip:
    """The nearest parts in the frame of some blocks (n,) of a plan over all frames.

    A block that is wholly in the frame is nearest where its box is. On frames that cut it, it is looked at as
    long as its box promises that it comes nearer there; for its depth only where deep (n,) asks for that.
    """
    count = len(view.plan.blocks)
    best = NearestOfClip(
        distance_m=np.full(count, np.inf),
        near_m=np.full((count, 3), np.nan),
        frame=np.zeros(count, dtype=np.intp),
        depth_m=np.full(count, np.inf),
        depth_frame=np.zeros(count, dtype=np.intp),
    )
    some = max(LOOKED_AT // max(len(view), 1), 1)
    for first in range(0, len(blocks), some):
        _note_nearest(view, best, blocks[first : first + some], deep[first : first + some])
    return best


def _note_nearest(
    view: BlockProjection, best: NearestOfClip, blocks: Indices, deep: NDArray[np.bool_]
) -> None:
    """Take note of what is nearest of some blocks (n,); each is looked at by itself."""
    here = view.in_frame[:, blocks]
    whole = here & view.whole_in_frame[:, blocks]
    distance, depth = view.distance_m[:, blocks], view.depth_m[:, blocks]
    nearest, shallowest = _least_where(whole, distance), _least_where(whole, depth)
    by_box = whole.any(axis=0) & _is_its_box(view, blocks, nearest[1])
    _take_boxes(view, best, blocks[by_box], nearest[0][by_box], shallowest[0][by_box])
    cut = here & ~whole
    nearer = cut & (distance < NEARER * nearest[1])
    shallower = cut & deep & (np.maximum(depth, 0.0) < NEARER * shallowest[1])
    shaped = whole.any(axis=0) & ~by_box
    unseen = ~whole.any(axis=0)
    _look(
        view,
        best,
        (nearest[0][shaped], blocks[shaped]),
        (shallowest[0][shaped], blocks[shaped]),
        _spread_pairs(here & unseen & (distance >= FAR_M), blocks, SPREAD_FRAMES),
        _least_pairs(nearer, distance, blocks),
        _least_pairs(shallower, depth, blocks),
        _spread_pairs((nearer | shallower) & (distance < FAR_M), blocks, CLOSER_FRAMES),
    )
    enough = np.minimum(FAR_M, MUCH_NEARER * best.distance_m[blocks])
    _look_beside(view, best, blocks, nearer & (distance < enough))


def _look_beside(
    view: BlockProjection, best: NearestOfClip, blocks: Indices, promising: NDArray[np.bool_]
) -> None:
    """Look between the frames that were looked at, beside the best of them."""
    gap = promising.sum(axis=0) // CLOSER_FRAMES
    number = np.arange(len(promising))[:, None]
    beside = np.abs(number - best.frame[blocks]) <= gap
    beside |= np.abs(number - best.depth_frame[blocks]) <= gap
    pairs = _spread_pairs(promising & beside & (gap > 0), blocks, BETWEEN_FRAMES)
    if len(pairs[0]):
        _look(view, best, pairs)


def _is_its_box(view: BlockProjection, blocks: Indices, distance_m: Array) -> NDArray[np.bool_]:
    """Whether a block's bounding box stands for it: it is a box, or small for its distance."""
    boxes, starts = view.boxes, view.boxes.starts[blocks]
    small = np.linalg.norm(boxes.half_m[starts], axis=1) < SMALL_FOR_DISTANCE * distance_m
    shapes = np.array([view.plan.blocks[index].shape for index in blocks], dtype=object)
    return np.asarray((shapes == "box") | (small & (shapes != "ridge")))


def _take_boxes(
    view: BlockProjection, best: NearestOfClip, blocks: Indices, near: Indices, shallow: Indices
) -> None:
    """Take the nearest point of each block's box on one frame, and its least deep corner on another."""
    boxes, box = view.boxes, view.boxes.starts[blocks]
    cos, sin = np.cos(boxes.turn_rad[box]), np.sin(boxes.turn_rad[box])
    x, y, z = (view.camera_m[near] - boxes.centre_m[box]).T
    half = boxes.half_m[box]
    along = np.clip(x * cos - y * sin, -half[:, 0], half[:, 0])
    across = np.clip(x * sin + y * cos, -half[:, 1], half[:, 1])
    up = np.clip(z, -half[:, 2], half[:, 2])
    offset = np.column_stack([along * cos + across * sin, across * cos - along * sin, up])
    best.near_m[blocks] = boxes.centre_m[box] + offset
    best.distance_m[blocks], best.frame[blocks] = view.distance_m[near, blocks], near
    best.depth_m[blocks], best.depth_frame[blocks] = view.depth_m[shallow, blocks], shallow


def _least_where(where: NDArray[np.bool_], values: Array) -> tuple[Indices, Array]:
    """Each block's frame with the least value among some, and that value, infinite where there is none."""
    held = np.where(where, values, np.inf)
    frame = held.argmin(axis=0)
    return frame, held[frame, np.arange(held.shape[1])]


def _least_pairs(where: NDArray[np.bool_], values: Array, blocks: Indices) -> tuple[Indices, Indices]:
    """The frame with the least value of each block, where there is any: frames and blocks (n,)."""
    some = np.flatnonzero(where.any(axis=0))
    return np.where(where, values, np.inf)[:, some].argmin(axis=0), blocks[some]


def _spread_pairs(where: NDArray[np.bool_], blocks: Indices, most: int) -> tuple[Indices, Indices]:
    """Up to so many frames of each block, evenly, with the first and the last: frames and blocks (n,)."""
    number = np.cumsum(where, axis=0)
    total = number[-1]
    some = np.flatnonzero(total)
    thinning = (most - 1.0) / np.maximum(total[some] - 1.0, most - 1.0)
    turn = np.ceil((number[:, some] - 1.0) * thinning)
    chosen = where[:, some] & (np.diff(turn, axis=0, prepend=-1.0) > 0.0)
    frames, column = np.nonzero(chosen)
    return frames, blocks[some[column]]


def _look(view: BlockProjection, best: NearestOfClip, *pairs: tuple[Indices, Indices]) -> None:
    """Take note of what is nearer, of pairs of frames and blocks."""
    frames, blocks = (np.concatenate(parts) for parts in zip(*pairs, strict=True))
    for first in range(0, len(frames), PAIRS_AT_A_TIME):
        frame, block = frames[first : first + PAIRS_AT_A_TIME], blocks[first : first + PAIRS_AT_A_TIME]
        nearest = nearest_parts(view.plan, block, view.camera_m[frame], view.camera_rotation[frame])
        owner, chosen = _least_of(nearest.distance_m, block, best.distance_m)
        best.distance_m[owner], best.near_m[owner] = nearest.distance_m[chosen], nearest.near_m[chosen]
        best.frame[owner] = frame[chosen]
        owner, chosen = _least_of(nearest.depth_m, block, best.depth_m)
        best.depth_m[owner], best.depth_frame[owner] = nearest.depth_m[chosen], frame[chosen]


def _least_of(values: Array, owner: Indices, known: Array) -> tuple[Indices, Indices]:
    """Owners whose least value is below what is known of them, and the indices of those values."""
    order = np.lexsort((values, owner))
    owners, first = np.unique(owner[order], return_index=True)
    index = order[first]
    less = values[index] < known[owners]
    return owners[less], index[less]


# ---------------------------------------------------------------- faces


def _faces_of(plan: Plan, block: Indices, camera_m: Array) -> tuple[Indices, Array, Array]:
    """The faces that each of some blocks (n,) turns to a place (n, 3), one after the other: whose they are,
    corners (faces, 4, 3) and unit normals (faces, 3).

    A ridge shows from both sides, and from inside all of a block's faces do.
    """
    kinds, kind = np.unique(block, return_inverse=True)
    ground_m = blocking.ground_level_m(plan)
    tables = [_faces(plan, int(index), ground_m) for index in kinds]
    if not tables:
        return np.empty(0, np.intp), np.empty((0, 4, 3)), np.empty((0, 3))
    corners, normals = (np.concatenate(each) for each in zip(*tables, strict=True))
    counts = np.array([len(each) for each, _ in tables])
    per_pair = counts[kind]
    pair = np.repeat(np.arange(len(block)), per_pair)
    face = np.arange(len(pair)) + np.repeat(
        (np.cumsum(counts) - counts)[kind] - (np.cumsum(per_pair) - per_pair), per_pair
    )
    is_open = np.array([plan.blocks[index].shape == "ridge" for index in kinds])
    offsets = dot(normals, corners[:, 0])
    towards = dot(normals.take(face, axis=0), camera_m.take(pair, axis=0)) > offsets[face]
    outside = np.zeros(len(block), dtype=bool)
    outside[pair[towards]] = True
    shown = towards | (is_open[kind] | ~outside)[pair]
    pair, face = pair[shown], face[shown]
    return pair, corners.take(face, axis=0), normals.take(face, axis=0)


def _faces(plan: Plan, index: int, ground_m: float) -> tuple[Array, Array]:
    """Corners (n, 4, 3) and unit normals (n, 3) of a block's faces above the level ground."""
    block = plan.blocks[index]
    if block.shape == "ridge":
        return _ridge_faces(block, plan.rig.origin_m, plan.site.scene_north_deg, ground_m)
    return _solid_faces(block, ground_m)


@lru_cache(maxsize=256)
def _ridge_faces(
    block: Block, origin_m: tuple[float, float, float], north_deg: float, ground_m: float
) -> tuple[Array, Array]:
    mesh = blocking.curtain(blocking.ridge_line(block, origin_m, north_deg))
    return _risen(mesh.vertices_m[np.array(mesh.faces)], ground_m)


@lru_cache(maxsize=4096)
def _solid_faces(block: Block, ground_m: float) -> tuple[Array, Array]:
    mesh = blocking.solid_mesh(block)
    quads = [list(face) for face in mesh.faces if len(face) == 4]
    faces = [mesh.vertices_m[np.array(quads, dtype=int).reshape(-1, 4)]]
    for face in mesh.faces:
        if len(face) != 4:
            ring = mesh.vertices_m[list(face)]
            is_level = len(face) > 3 and np.ptp(ring[:, 2]) < 1e-9
            faces += [_quads(each) for each in (_convex_rings(ring) if is_level else [ring])]
    return _risen(np.concatenate(faces), ground_m)


def _convex_rings(ring: Array) -> list[Array]:
    """A level ring (n, 3), as a prism's floor or roof is, cut into convex ones that run the same way."""
    x, y = ring[:, 0], ring[:, 1]
    is_floor = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) < 0.0
    pieces = convex_pieces(ring[::-1, :2] if is_floor else ring[:, :2])
    height = np.full(1, ring[0, 2])
    rings = [np.column_stack([piece, np.broadcast_to(height, len(piece))]) for piece in pieces]
    return [each[::-1] for each in rings] if is_floor else rings


def _quads(ring: Array) -> Array:
    """A convex ring (n, 3) as four-cornered faces, the last corner repeated where one is left over."""
    last = len(ring) - 1
    return np.array([ring[[0, i, min(i + 1, last), min(i + 2, last)]] for i in range(1, last, 2)])


def _risen(corners: Array, ground_m: float) -> tuple[Array, Array]:
    """Faces (n, 4, 3) without what lies below the level ground, and their unit normals (n, 3)."""
    if len(corners) and corners[..., 2].max() > ground_m:
        corners = np.concatenate([corners[..., :2], np.maximum(corners[..., 2:], ground_m)], axis=-1)
    normals = cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    area = length(normals)
    kept = area > LEAST_FACE_M2
    return corners[kept], normals[kept] / area[kept, None]
