"""The rig in the scene: rail, carriage, head and camera as a hierarchy, its keys, and the poses as ghost
cameras.

    Rail (start and direction) → Carriage (location Y: slide) → Pan (rotation Z) → Tilt (rotation X) → Camera

The carriage slides along the rail's own Y in metres; the head above it stands level however the rail leans.
Pan and tilt are one rotation each. The camera object stands at the lens's entrance pupil. Poses hang on the
rail, and stand where the camera is when the move reaches them.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import ArrayLike, NDArray

from planner_core.frames import FrameTable
from planner_core.picture import projection
from planner_core.plan.model import Plan
from planner_core.rig import motion
from planner_core.rig.camera import camera_path

from . import keyframes, parts

RAIL_WIDTH_M, RAIL_HEIGHT_M = 0.08, 0.03
SLIDE_CHANNEL = ("location", 1)
PAN_CHANNEL = ("rotation_euler", 2)
TILT_CHANNEL = ("rotation_euler", 0)
CHANNELS = {
    "slide_m": ("carriage", *SLIDE_CHANNEL),
    "pan_deg": ("pan", *PAN_CHANNEL),
    "tilt_deg": ("tilt", *TILT_CHANNEL),
}
CLIP_START_M, CLIP_END_M = 0.02, 4e5
POSE_AT_KEY = "duskrail_at"


# ---------------------------------------------------------------- between the plan's values and Blender's


def channel_values(plan: Plan, axis: str, values: ArrayLike) -> NDArray[np.float64]:
    """An axis's values (slide_m, pan_deg or tilt_deg) as its channel in Blender has them: metres, or radians.

    Blender turns counter-clockwise from the scene's +Y, a compass clockwise from north.
    """
    values = np.asarray(values, dtype=np.float64)
    if axis == "pan_deg":
        return np.radians(plan.site.scene_north_deg - values)
    return np.radians(values) if axis == "tilt_deg" else values


def axis_values(plan: Plan, axis: str, channel: ArrayLike) -> NDArray[np.float64]:
    """The other way round: channel values as the plan has them."""
    channel = np.asarray(channel, dtype=np.float64)
    if axis == "pan_deg":
        return plan.site.scene_north_deg - np.degrees(channel)
    return np.degrees(channel) if axis == "tilt_deg" else channel


def frame_at(plan: Plan, at: ArrayLike) -> NDArray[np.float64]:
    """Frame number, counted from 1 and seldom whole, of places in the move."""
    return 1.0 + np.asarray(at, dtype=np.float64) * (plan.shoot.frames - 1)


def rail_matrix(plan: Plan) -> Matrix:
    """The rail's start, its +Y along the rail and its +X level."""
    turn = math.radians(plan.site.scene_north_deg - plan.rig.bearing_deg)
    lean = math.radians(plan.rig.incline_deg)
    return (
        Matrix.Translation(plan.rig.origin_m) @ Matrix.Rotation(turn, 4, "Z") @ Matrix.Rotation(lean, 4, "X")
    )


# ---------------------------------------------------------------- drawing


def draw_rig(scene: bpy.types.Scene, frames: FrameTable, keep: Collection[str] = ()) -> None:
    """Rail, carriage, head, camera and poses of the plan, with the keys of the move.

    Settings in keep (camera: the scene's; lens: the rig camera's) stay as somebody set them.
    """
    plan = frames.plan
    collection = parts.collection_of(scene, "rig", "Rig")
    rail = parts.ensure_object(scene, "rail", "Rail", bpy.types.Mesh, collection)
    _fill(rail, *_rail_shape(plan))
    rail.matrix_basis = rail_matrix(plan)
    carriage = _ensure_axis(scene, collection, "carriage", "Carriage", rail, "CUBE", 0.06)
    pan = _ensure_axis(scene, collection, "pan", "Pan", carriage, "CIRCLE", 0.08)
    tilt = _ensure_axis(scene, collection, "tilt", "Tilt", pan, "SINGLE_ARROW", 0.12)
    pan.matrix_parent_inverse = rail.matrix_basis.to_3x3().inverted().to_4x4()
    pan.location = (0.0, 0.0, plan.rig.head_height_m)
    camera = parts.ensure_object(scene, "camera", "Camera", bpy.types.Camera, collection)
    parts.assign(camera, parent=tilt)
    camera.matrix_parent_inverse = Matrix.Identity(4)
    camera.location = (0.0, plan.rig.pupil_offset_m, 0.0)
    camera.rotation_mode = "XYZ"
    camera.rotation_euler = (math.pi / 2.0, 0.0, 0.0)
    if "lens" not in keep:
        set_sensor(camera.data, frames.plan)
    set_lens(camera.data, frames.plan)
    for thing, slides, turns in (
        (carriage, (True, False, True), (True, True, True)),
        (pan, (True, True, True), (True, True, False)),
        (tilt, (True, True, True), (False, True, True)),
        (camera, (True, True, True), (True, True, True)),
    ):
        parts.assign(thing, lock_location=slides, lock_rotation=turns, lock_scale=(True, True, True))
    if "camera" not in keep:
        parts.assign(scene, camera=camera)
    draw_move(scene, frames)


def clear_foreign(scene: bpy.types.Scene) -> None:
    """Take off the rig whatever else than its axes could move its camera: constraints, drivers, the NLA, keys
    of other channels, and shifts of single parts. Drawing the rig puts its parts back in place.
    """
    own = {part: (path, index) for part, path, index in CHANNELS.values()}
    for part in ("rail", "carriage", "pan", "tilt", "camera"):
        thing: Any = parts.object_of(scene, part)
        if thing is None:
            continue
        thing.constraints.clear()
        if part == "rail":
            thing.parent = None
        thing.parent_type = "OBJECT"
        thing.delta_location = thing.delta_rotation_euler = (0.0, 0.0, 0.0)
        thing.delta_scale = thing.scale = (1.0, 1.0, 1.0)
        thing.delta_rotation_quaternion = (1.0, 0.0, 0.0, 0.0)
        if thing.animation_data is not None:
            keyframes.keep_only(thing, own.get(part))


def draw_move(scene: bpy.types.Scene, frames: FrameTable) -> None:
    """The move alone, on a rig that is already there: the keys of its axes, and the poses."""
    plan = frames.plan
    for axis, (part, path, index) in CHANNELS.items():
        thing = parts.object_of(scene, part)
        assert thing is not None
        values = getattr(frames, axis)
        rest = plan.site.scene_north_deg if axis == "pan_deg" else 0.0
        start = float(channel_values(plan, axis, rest if values is None else values[0]))
        getattr(thing, path)[index] = start
        if values is None:
            keyframes.clear_curve(thing, path, index)
        else:
            _write_axis(thing, plan, axis, values, path, index)
    draw_poses(scene, frames)


def _write_axis(
    thing: bpy.types.Object, plan: Plan, axis: str, values: NDArray[np.float64], path: str, index: int
) -> None:
    """A key on every frame, and one at each pose that gives the axis, between frames too."""
    numbers = np.arange(1.0, len(values) + 1.0)
    given = [pose.at for pose in plan.move.poses if getattr(pose, axis) is not None]
    places = frame_at(plan, given)
    near = np.rint(places)
    places = np.where(np.abs(places - near) < 1e-4, near, places)
    between = np.array([p for p in places if p != np.rint(p)])
    if len(between):
        exact = motion.axis_values(plan.move, axis, np.array(given)[places != np.rint(places)])
        assert exact is not None
        numbers, values = np.concatenate([numbers, between]), np.concatenate([values, exact])
        order = np.argsort(numbers)
        numbers, values = numbers[order], values[order]
    keyframes.write_curve(
        thing,
        path,
        channel_values(plan, axis, values),
        index,
        frames=numbers,
        decided=np.isin(numbers, places),
    )


def draw_poses(scene: bpy.types.Scene, frames: FrameTable) -> None:
    """The poses as ghost cameras on the rail, numbered from 0 in their index.

    Moving or turning one changes its pose, deleting one removes the pose, duplicating one adds a pose.
    """
    plan = frames.plan
    collection = parts.collection_of(scene, "poses", "Poses")
    rail, camera = parts.object_of(scene, "rail"), parts.object_of(scene, "camera")
    assert rail is not None
    assert camera is not None
    old = parts.objects_of(scene, "pose")
    for surplus in old[len(plan.move.poses) :]:
        parts.remove(surplus)
    worlds = pose_matrices(plan)
    onto_rail = rail_matrix(plan).inverted()
    for number, (pose, world) in enumerate(zip(plan.move.poses, worlds, strict=True)):
        if number < len(old):
            ghost = old[number]
        else:
            ghost = parts.new_object("pose", f"Pose {number + 1}", camera.data, collection, number)
        parts.assign(ghost, data=camera.data, parent=rail)
        ghost.matrix_parent_inverse = Matrix.Identity(4)
        ghost.rotation_mode = "XYZ"
        ghost.matrix_basis = onto_rail @ world
        ghost.lock_location = (True, False, True)
        ghost.lock_scale = (True, True, True)
        parts.number(ghost, number)
        ghost[POSE_AT_KEY] = pose.at
        ghost[parts.WRITTEN_KEY] = flat(ghost.matrix_basis)


def pose_matrices(plan: Plan) -> list[Matrix]:
    """Where the camera is at each pose, in scene axes."""
    path = camera_path(plan, np.array([pose.at for pose in plan.move.poses]))
    return [matrix(p, r) for p, r in zip(path.camera_m, path.camera_rotation, strict=True)]


def matrix(position: ArrayLike, rotation: ArrayLike) -> Matrix:
    """A Blender matrix from a position (3,) and a rotation (3, 3)."""
    whole = np.eye(4)
    whole[:3, :3], whole[:3, 3] = np.asarray(rotation), np.asarray(position)
    return Matrix(whole.tolist())


def flat(whole: Any) -> list[float]:
    """A matrix's sixteen numbers, row by row."""
    rows = whole.tolist() if isinstance(whole, np.ndarray) else whole
    return [value for row in rows for value in row]


def set_sensor(camera: Any, plan: Plan) -> None:
    """Sensor and crop, so that the frame is the delivered clip frame."""
    crop = projection.delivered_crop(plan.camera, plan.clip)
    parts.assign(
        camera,
        type="PERSP",
        sensor_fit="HORIZONTAL",
        sensor_width=crop.width_mm,
        sensor_height=crop.height_mm,
        shift_x=0.0,
        shift_y=0.0,
    )


def set_lens(camera: Any, plan: Plan) -> None:
    """Focal length, focus and aperture."""
    parts.assign(
        camera,
        lens_unit="MILLIMETERS",
        lens=plan.camera.focal_length_mm,
        clip_start=CLIP_START_M,
        clip_end=CLIP_END_M,
        display_size=0.25,
    )
    parts.assign(camera.dof, use_dof=False, focus_distance=plan.camera.focus_distance_m)
    if plan.exposure is not None:
        parts.assign(camera.dof, aperture_fstop=plan.exposure.f_number)


def _ensure_axis(
    scene: bpy.types.Scene,
    collection: bpy.types.Collection,
    part: str,
    name: str,
    parent: bpy.types.Object,
    shape: str,
    size_m: float,
) -> bpy.types.Object:
    """An empty of the hierarchy, at rest on its parent."""
    axis = parts.ensure_object(scene, part, name, None, collection)
    parts.assign(axis, empty_display_type=shape, empty_display_size=size_m)
    parts.assign(axis, parent=parent)
    axis.matrix_parent_inverse = Matrix.Identity(4)
    axis.rotation_mode = "XYZ"
    axis.matrix_basis = Matrix.Identity(4)
    return axis


def _rail_shape(plan: Plan) -> tuple[list[tuple[float, float, float]], list[tuple[int, ...]]]:
    """A flat bar along +Y over the usable rail, just under the carriage; a short stub where there is no
    rail.
    """
    slide = plan.rig.slide
    low, high = (slide.min_m, slide.max_m) if slide else (-RAIL_WIDTH_M / 2.0, RAIL_WIDTH_M / 2.0)
    half = RAIL_WIDTH_M / 2.0
    vertices = [
        (x, y, z)
        for z in (-RAIL_HEIGHT_M, 0.0)
        for x, y in ((-half, low), (half, low), (half, high), (-half, high))
    ]
    faces: list[tuple[int, ...]] = [
        (3, 2, 1, 0),
        (4, 5, 6, 7),
        (0, 1, 5, 4),
        (1, 2, 6, 5),
        (2, 3, 7, 6),
        (3, 0, 4, 7),
    ]
    return vertices, faces


def _fill(
    thing: bpy.types.Object, vertices: list[tuple[float, float, float]], faces: list[tuple[int, ...]]
) -> None:
    """Replace a mesh's geometry. The rig itself is not in the picture, so that it can't stand before the
    lens.
    """
    mesh = thing.data
    assert isinstance(mesh, bpy.types.Mesh)
    if parts.assign_mesh(mesh, vertices, faces):
        mesh.update()
    parts.assign(thing, hide_render=True, show_in_front=True)
