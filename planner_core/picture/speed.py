"""Speed as seen: how fast foreground, subject and background cross the picture, and words for it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.maths.vectors import length
from planner_core.picture.nearest import nearest_parts
from planner_core.picture.projection import PointPaths, delivered_crop, in_picture, point_paths
from planner_core.place.blocking import block_mesh, remembered, subject_indices
from planner_core.plan.model import Block, Plan
from planner_core.words.figures import figure
from planner_core.words.language import say

Array = NDArray[np.float64]

# The word for each speed, up to the number of frame widths a second of clip beside it. Common practice, no
# source; values from memory. A thing that takes longer than 100 s to cross the picture reads as creeping, and
# cinematographers pan no faster than a picture width in seven seconds, to avoid judder.
SPEED_WORDS: tuple[tuple[str, float], ...] = (
    ("still", 0.001),
    ("creeping", 0.01),
    ("calm", 0.05),
    ("brisk", 1.0 / 7.0),
    ("too fast", math.inf),
)
FOREGROUND, SUBJECT, BACKGROUND, FAR = "foreground", "subject", "background", "far distance"
ROLES = (FOREGROUND, SUBJECT, BACKGROUND, FAR)
FAR_M = 1e6
LEAST_PX = 0.01  # a frame; less is no movement to speak of
SAMPLE_FRAMES = 12  # frames at which the points to watch are chosen
CLOSE_FRAMES = 49  # and those at which it is asked what of the foreground is in the picture
KEPT_BLOCKS = {FOREGROUND: 8, SUBJECT: 4, BACKGROUND: 12}
KEPT_POINTS = 12
LARGE_FACE = 0.3  # share of its distance from which a face is looked at more closely than at its corners


def speed_limit(word: str) -> float:
    """Up to how many frame widths a second of clip a speed is called by this word."""
    return dict(SPEED_WORDS)[word]


def speed_word(frame_widths_s: float) -> str:
    """The word for a speed in frame widths a second of clip."""
    return next(word for word, up_to in SPEED_WORDS if frame_widths_s <= up_to)


def frame_widths_a_second(plan: Plan, px_per_frame: ArrayLike) -> Array:
    """Clip pixels a frame as frame widths a second of clip, any shape."""
    return np.asarray(px_per_frame, dtype=np.float64) * plan.clip.fps / plan.clip.width_px


def px_a_frame(plan: Plan, frame_widths_s: ArrayLike) -> Array:
    """Frame widths a second of clip as clip pixels a frame, any shape."""
    return np.asarray(frame_widths_s, dtype=np.float64) * plan.clip.width_px / plan.clip.fps


def px_text(px_per_frame: float) -> str:
    """A speed as a person reads it: '4.79 px a frame', 'under 0.01 px a frame'."""
    if px_per_frame < LEAST_PX:
        return say("under {speed:g} px a frame", speed=LEAST_PX)
    return say("{speed} px a frame", speed=figure(px_per_frame))


@frozen(kw_only=True, eq=False)
class WatchedPoints:
    """Points of the scene whose way across the picture is watched, and the blocks that they belong to."""

    points_m: Array  # (points, 3)
    role: NDArray[np.intp]  # (points,), places in ROLES
    block: NDArray[np.intp]  # (points,), −1 for the far distance


@frozen(kw_only=True, eq=False)
class RoleSpeed:
    """How fast one role moves from each frame to the next; arrays of shape (frames − 1,).

    px_per_frame is NaN where nothing of the role is in the picture. For the foreground it is the speed of the
    nearest point in the picture, else the median of the points in it. distance_m and block say what that is.
    """

    role: str
    px_per_frame: Array
    distance_m: Array
    block: NDArray[np.intp]

    @property
    def seen(self) -> bool:
        return bool(np.any(np.isfinite(self.px_per_frame)))

    @property
    def worst(self) -> int:
        """Place of the fastest frame."""
        return int(np.nanargmax(self.px_per_frame))

    @property
    def worst_px(self) -> float:
        """Clip pixels a frame at the fastest frame."""
        return float(self.px_per_frame[self.worst])


@frozen(kw_only=True, eq=False)
class WatchedMotion:
    """The watched points in every frame's picture, and how fast each role moves.

    lift_m is by how much the points stand higher on a frame, (frames, points), None where none moves.
    """

    watched: WatchedPoints
    paths: PointPaths
    speeds: dict[str, RoleSpeed]
    lift_m: Array | None = None


def watched_motion(
    plan: Plan, camera_m: Array, camera_rotation: Array, lifts_m: Array | None = None
) -> WatchedMotion:
    """What is watched and how it moves; lifts_m (frames, blocks) is by how much blocks stand higher."""
    watched = watched_points(plan, camera_m, camera_rotation)
    lift = None if lifts_m is None else np.where(watched.block < 0, 0.0, lifts_m[:, watched.block])
    lift = lift if lift is not None and np.any(lift) else None
    paths = point_paths(plan, watched.points_m, camera_m, camera_rotation, lift)
    return WatchedMotion(watched=watched, paths=paths, speeds=role_speeds(plan, watched, paths), lift_m=lift)


def screen_speeds(
    plan: Plan, camera_m: Array, camera_rotation: Array, lifts_m: Array | None = None
) -> dict[str, RoleSpeed]:
    """Speed of each role that the picture shows at some frame, by its name in ROLES.

    camera_m is (frames, 3), camera_rotation (frames, 3, 3) and lifts_m None or (frames, blocks), as in the
    FrameTable. The far distance, which
    moves by pan and tilt alone, is always there. Empty for a plan of a single frame.
    """
    if len(camera_m) < 2:
        return {}
    return watched_motion(plan, camera_m, camera_rotation, lifts_m).speeds


def role_speeds(plan: Plan, watched: WatchedPoints, paths: PointPaths) -> dict[str, RoleSpeed]:
    """Speed of each role out of the watched points' way through the pictures, as screen_speeds has it."""
    moved = np.hypot(np.diff(paths.x_px, axis=0), np.diff(paths.y_px, axis=0))
    counts = in_picture(plan, paths)[:-1]
    # what is behind the camera a frame later has crossed the picture at the least
    moved = np.where(np.isfinite(moved), moved, math.hypot(plan.clip.width_px, plan.clip.height_px))
    depth = paths.depth_m[:-1]
    speeds = {}
    for index, role in enumerate(ROLES):
        mine = watched.role == index
        if not np.any(counts[:, mine]):
            continue
        choose = _nearest if role == FOREGROUND else _median
        speeds[role] = choose(role, counts[:, mine], moved[:, mine], depth[:, mine], watched.block[mine])
    return speeds


def _nearest(role: str, counts: NDArray, moved: Array, depth: Array, block: NDArray) -> RoleSpeed:
    near = np.argmin(np.where(counts, depth, np.inf), axis=1)
    rows = np.arange(len(moved))
    some = counts.any(axis=1)
    return RoleSpeed(
        role=role,
        px_per_frame=np.where(some, moved[rows, near], np.nan),
        distance_m=np.where(some, depth[rows, near], np.nan),
        block=np.where(some, block[near], -1),
    )


def _median(role: str, counts: NDArray, moved: Array, depth: Array, block: NDArray) -> RoleSpeed:
    ranked = np.argsort(np.where(counts, moved, np.inf), axis=1)
    middle = np.maximum(counts.sum(axis=1) - 1, 0) // 2
    rows = np.arange(len(moved))
    chosen = ranked[rows, middle]
    some = counts.any(axis=1)
    return RoleSpeed(
        role=role,
        px_per_frame=np.where(some, moved[rows, chosen], np.nan),
        distance_m=np.where(some, depth[rows, chosen], np.nan),
        block=np.where(some, block[chosen], -1),
    )


# ---------------------------------------------------------------- points


def shift_px(plan: Plan, meant: PointPaths, real: PointPaths) -> Array:
    """How far off, at worst, things in the picture are where the camera isn't as it is meant; (frames,)."""
    off = np.hypot(real.x_px - meant.x_px, real.y_px - meant.y_px)
    counts = in_picture(plan, meant) & np.isfinite(off)
    return np.where(counts, off, 0.0).max(axis=1, initial=0.0)


def watched_points(plan: Plan, camera_m: Array, camera_rotation: Array) -> WatchedPoints:
    """A few dozen points that stand for what the picture shows: chosen at some frames, to be watched at all.

    Of the foreground, the points that are nearest in one frame or another; of subject and background, points
    spread over what is in the picture; and for each of those frames a point far away on the lens axis.
    """
    chosen = np.unique(np.linspace(0, len(camera_m) - 1, SAMPLE_FRAMES).round().astype(int))
    eyes, turns = camera_m[chosen], camera_rotation[chosen]
    points, roles, owners = [], [], []
    for role, blocks in _blocks_by_role(plan).items():
        if role == FOREGROUND:
            on_faces, owner = _foreground_points(plan, blocks, camera_m, camera_rotation)
        else:
            on_faces, owner = _spread_points(plan, role, blocks, eyes, turns)
        points.append(on_faces)
        owners.append(owner)
        roles.append(np.full(len(on_faces), ROLES.index(role)))
    points.append(eyes - FAR_M * turns[:, :, 2])
    owners.append(np.full(len(eyes), -1))
    roles.append(np.full(len(eyes), ROLES.index(FAR)))
    return WatchedPoints(
        points_m=np.concatenate(points), role=np.concatenate(roles), block=np.concatenate(owners)
    )


def _foreground_points(
    plan: Plan, blocks: Sequence[int], camera_m: Array, camera_rotation: Array
) -> tuple[Array, NDArray[np.intp]]:
    """The points that are nearest in one picture or another, KEPT_POINTS at most, and their blocks.

    The blocks that come nearest are looked at on frames that may show them, so that none slips by between
    two looks.
    """
    some = np.unique(np.linspace(0, len(camera_m) - 1, CLOSE_FRAMES).round().astype(int))
    eyes, turns = camera_m[some], camera_rotation[some]
    seen, away = _balls_seen(plan, blocks, eyes, turns)
    near = np.where(seen, away, np.inf).min(axis=0)
    kept = np.argsort(near, kind="stable")[: min(int(np.isfinite(near).sum()), KEPT_BLOCKS[FOREGROUND])]
    frames, column = _some_of_each(seen[:, kept], SAMPLE_FRAMES // 2)
    whose = np.asarray(blocks, dtype=np.intp)[kept[column]]
    parts = nearest_parts(plan, whose, eyes[frames], turns[frames])
    shown = np.isfinite(parts.depth_m)
    points = np.concatenate([parts.shallow_m[shown], parts.middle_m[shown]])
    owner = np.concatenate([whose[shown], whose[shown]])
    picked = _nearest_somewhere(plan, points, eyes, turns)
    return points[picked], owner[picked]


def _nearest_somewhere(plan: Plan, points: Array, eyes: Array, turns: Array) -> NDArray[np.intp]:
    """Which points are the nearest in some picture; of many, the nearest of all and those often nearest."""
    if not len(points):
        return np.zeros(0, dtype=np.intp)
    paths = point_paths(plan, points, eyes, turns)
    depth = np.where(in_picture(plan, paths), paths.depth_m, np.inf)
    winner, times = np.unique(depth.argmin(axis=1)[np.isfinite(depth.min(axis=1))], return_counts=True)
    least = depth.min(axis=0)[winner]
    order = np.lexsort((least, -times, least > least.min(initial=np.inf)))
    return np.sort(winner[order[:KEPT_POINTS]])


def _some_of_each(wanted: NDArray[np.bool_], most: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Up to so many rows of each column where it is wanted, evenly: rows and columns (n,)."""
    rows, columns = [], []
    for column in range(wanted.shape[1]):
        places = np.flatnonzero(wanted[:, column])
        rows.append(places[np.unique(np.linspace(0, len(places) - 1, most).round().astype(int))])
        columns.append(np.full(len(rows[-1]), column))
    return (
        np.concatenate([*rows, np.empty(0, np.intp)]).astype(np.intp),
        np.concatenate([*columns, np.empty(0, np.intp)]).astype(np.intp),
    )


def _spread_points(
    plan: Plan, role: str, blocks: Sequence[int], eyes: Array, turns: Array
) -> tuple[Array, NDArray[np.intp]]:
    """Points spread over what some pictures show of blocks, KEPT_POINTS at most, and their blocks."""
    kept = _blocks_in_picture(plan, blocks, eyes, turns, KEPT_BLOCKS[role])
    points, owner = _surface_points(plan, kept, eyes[[len(eyes) // 2]])
    picked = _picked(plan, points, eyes, turns)
    if len(picked) or not kept:
        return points[picked], owner[picked]
    frame, block = (each.ravel() for each in np.meshgrid(np.arange(len(eyes)), kept, indexing="ij"))
    parts = nearest_parts(plan, block, eyes[frame], turns[frame])  # they reach out of the frame on all sides
    shown = np.flatnonzero(np.isfinite(parts.depth_m))[:: max(len(frame) // KEPT_POINTS, 1)]
    return parts.middle_m[shown], block[shown]


def _blocks_by_role(plan: Plan) -> dict[str, list[int]]:
    subjects = subject_indices(plan)
    groups: dict[str, list[int]] = {FOREGROUND: [], SUBJECT: list(subjects), BACKGROUND: []}
    for index, block in enumerate(plan.blocks):
        if block.role in (FOREGROUND, BACKGROUND) and index not in subjects:
            groups[block.role].append(index)
    return {role: blocks for role, blocks in groups.items() if blocks}


@remembered
def _balls(plan: Plan) -> Array:
    """Centre and radius of a ball around each block, (blocks, 4)."""
    return np.array([_ball(plan, block) for block in plan.blocks]).reshape(-1, 4)


def _ball(plan: Plan, block: Block) -> tuple[float, float, float, float]:
    """Centre and radius of a ball around a block."""
    if block.shape in ("box", "post", "figure") and block.centre_m and block.size_m:
        return (*block.centre_m, math.hypot(*block.size_m) / 2.0)
    vertices = block_mesh(plan, block).vertices_m
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    x, y, z = (low + high) / 2.0
    return float(x), float(y), float(z), float(np.linalg.norm(high - low)) / 2.0


def _balls_seen(
    plan: Plan, blocks: Sequence[int], eyes: Array, turns: Array
) -> tuple[NDArray[np.bool_], Array]:
    """Whether balls around blocks may be in pictures, (pictures, blocks), and how far they are away."""
    balls = _balls(plan)[list(blocks)]
    local = (balls[:, :3] - eyes[:, None, :]) @ turns
    radius, depth = balls[:, 3], -local[..., 2]
    crop = delivered_crop(plan.camera, plan.clip)
    seen = depth > -radius
    for across, size_px in ((local[..., 0], plan.clip.width_px), (local[..., 1], plan.clip.height_px)):
        edge = size_px / 2.0 / crop.focal_px
        seen &= np.abs(across) - depth * edge <= radius * math.hypot(1.0, edge)
    return seen, length(local) - radius


def _blocks_in_picture(plan: Plan, blocks: Sequence[int], eyes: Array, turns: Array, most: int) -> list[int]:
    """Blocks that may be in some of the pictures, spread over all distances."""
    seen, away = _balls_seen(plan, blocks, eyes, turns)
    near = np.where(seen, away, np.inf).min(axis=0)
    order = np.argsort(near, kind="stable")[: int(np.isfinite(near).sum())]
    if len(order) > most:
        order = order[np.linspace(0, len(order) - 1, most).round().astype(int)]
    return [blocks[index] for index in order]


def _surface_points(plan: Plan, blocks: Iterable[int], lookouts: Array) -> tuple[Array, NDArray[np.intp]]:
    """Points on the blocks' faces, denser toward each lookout, and each point's block.

    On every four-cornered face that shows to a lookout (a ridge's do from both sides): its corners; and on
    one that is large for its distance also edges, the point nearest to the lookout, and points one and a half
    times as far from that as the lookout is.
    """
    quads, owners, open_ones = [], [], []
    for index in blocks:
        mesh = block_mesh(plan, plan.blocks[index])
        faces = [face for face in mesh.faces if len(face) == 4]
        quads.append(mesh.vertices_m[np.array(faces, dtype=int).reshape(-1, 4)])
        owners.append(np.full(len(faces), index))
        open_ones.append(np.full(len(faces), plan.blocks[index].shape == "ridge"))
    if not quads:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.intp)
    corners, owner, is_open = np.concatenate(quads), np.concatenate(owners), np.concatenate(open_ones)
    on_faces, whose = [], []
    for eye in lookouts:
        facing = is_open | (np.einsum("fi,fi->f", _normals(corners), eye - corners[:, 0]) > 0.0)
        diagonal = np.linalg.norm(corners[:, 2] - corners[:, 0], axis=1)
        large = diagonal > LARGE_FACE * np.linalg.norm(corners.mean(axis=1) - eye, axis=1)
        for chosen, on_face in (
            (facing & large, _face_points(corners[facing & large], eye)),
            (facing & ~large, corners[facing & ~large]),
        ):
            on_faces.append(on_face.reshape(-1, 3))
            whose.append(np.repeat(owner[chosen], on_face.shape[1]))
    return np.concatenate(on_faces), np.concatenate(whose)


def _normals(corners: Array) -> Array:
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 3] - corners[:, 0])


def _face_points(corners: Array, eye: Array) -> Array:
    """Points of faces (faces, 4, 3) as seen from an eye, shape (faces, 25, 3)."""
    origin = corners[:, 0]
    sides = corners[:, [1, 3]] - origin[:, None]  # (faces, 2, 3)
    long = np.maximum(length(sides), 1e-9)
    fraction = np.clip(np.einsum("fsi,fi->fs", sides, eye - origin) / long**2, 0.0, 1.0)
    distance = np.linalg.norm(eye - origin - np.einsum("fs,fsi->fi", fraction, sides), axis=-1)
    spread = 1.5 * distance[:, None] / long
    ends = np.zeros_like(fraction), np.ones_like(fraction)
    along = np.stack([ends[0], fraction - spread, fraction, fraction + spread, ends[1]], axis=-1).clip(
        0.0, 1.0
    )
    s, t = along[:, 0, :, None], along[:, 1, None, :]  # (faces, 5, 1) and (faces, 1, 5)
    weights = np.stack([(1 - s) * (1 - t), s * (1 - t), s * t, (1 - s) * t], axis=-1)
    return (weights.reshape(len(corners), 25, 4) @ corners) if len(corners) else np.zeros((0, 25, 3))


def _picked(plan: Plan, points: Array, eyes: Array, turns: Array) -> NDArray[np.intp]:
    """Which points to watch: some spread over all that are in a picture."""
    if not len(points):
        return np.zeros(0, dtype=np.intp)
    seen = np.flatnonzero(in_picture(plan, point_paths(plan, points, eyes, turns)).any(axis=0))
    if len(seen) > KEPT_POINTS:
        seen = seen[np.linspace(0, len(seen) - 1, KEPT_POINTS).round().astype(int)]
    return seen
