"""The picture of a frame as triangles with colours, ready for OpenGL to draw.

The colours are the fast look's. Nothing of the file is touched: places and shapes are read off the blocks
that stand in the scene, and what is worked out stays outside of it.
"""

from __future__ import annotations

from typing import Any

import bmesh
import bpy
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.draft.sky import picture_light
from planner_core.frames import FrameTable
from planner_core.light import lamps
from planner_core.picture import projection
from planner_core.rig import geometry

from ..scene import blocking, nightlights, parts, tides
from . import fastcolours, fastlook, fastview

Array = NDArray[np.float64]
Array32 = NDArray[np.float32]

WIDTH_PX = 1280.0  # stars are as large as a pixel of a picture so wide
NEAREST_M, FARTHEST_M = 0.1, 2e5
SUN_MARGIN = 1.02  # how much more than what throws shadows is seen from the sun


@frozen(eq=False)
class Shape:
    """Corners of a thing, and which three make a triangle, shape (n, 3)."""

    corners: fastcolours.Corners
    triangles: NDArray[np.int32]
    throws_shadow: bool


@frozen(eq=False)
class FramePicture:
    """What changes from frame to frame. Linear colours (n, 3) of all corners in full light, and in the shadow
    of other things; and of the sky's points, with their places (n, 3). in_sun (n, 3) says where each corner
    is seen from the sun: right, up and away, each 0 to 1 over what throws shadows; None where no sun shines.
    to_picture (4, 4) leads from there to the picture, as OpenGL has it.
    """

    lit: Array32
    shaded: Array32
    sky: Array32
    sky_places: Array32
    in_sun: Array32 | None
    to_picture: NDArray[np.float64]


class EveningPicture:
    """A scene's plan prepared to be drawn, in metres from the eye: places (n, 3) of all corners, triangles
    (m, 3) of them, those of them that throw shadows, and triangles of the sky's points.
    """

    def __init__(self, scene: bpy.types.Scene, frames: FrameTable) -> None:
        self.frames = frames
        self.eye = geometry.head_middle_m(frames.plan)
        light, view = picture_light(frames), fastview.in_view(frames)
        panes = lamps.panes(frames.plan, self.eye)
        shapes = [*_shapes(scene, self.eye, view), *_glass(panes)]
        self.colours = fastcolours.CornerColours(frames, light, panes, [shape.corners for shape in shapes])
        self.sky = fastcolours.SkyColours(frames, light, view, WIDTH_PX)
        starts = np.cumsum([0, *(shape.corners.count for shape in shapes)])[:-1]
        self.rows = np.concatenate(self.colours.alike)
        self.places = _joined([shape.corners.places for shape in shapes]) - self.eye
        numbered = [shape.triangles + start for shape, start in zip(shapes, starts, strict=True)]
        self.triangles = _joined(numbered).astype(np.int32)
        throwing = [some for some, shape in zip(numbered, shapes, strict=True) if shape.throws_shadow]
        self.throwing = _joined(throwing).astype(np.int32) if throwing else np.zeros((0, 3), np.int32)
        self.ends = self.places[np.unique(self.throwing)]
        self.sky_triangles = np.array(
            [(face[0], face[i], face[i + 1]) for face in self.sky.faces for i in range(1, len(face) - 1)],
            dtype=np.int32,
        )
        blocks = [s.corners.places for s in shapes if s.throws_shadow or s.corners.in_shade.all()]
        self.dome_m = fastlook.dome_radius_m(blocks, self.eye)

    def frame(self, number: int) -> FramePicture:
        """A frame's colours and camera; number counts from 1."""
        lit = self.colours.lit(number)
        has_shadow = lit.shadow > 0.01 and len(self.throwing) > 0
        takes = np.where(self.colours.in_shade, 0.0, lit.takes_shadow)
        shaded = lit.rows * (1.0 - takes[:, None] * lit.shadow_by_channel) if has_shadow else lit.rows
        discs, sky = self.sky.shown(number)
        directions = np.vstack([self.sky.outward, fastlook.DISC_SHARE * discs])
        return FramePicture(
            lit=lit.rows.astype(np.float32)[self.rows],
            shaded=shaded.astype(np.float32)[self.rows],
            sky=sky.astype(np.float32),
            sky_places=(self.dome_m * directions).astype(np.float32),
            in_sun=self._in_sun(number) if has_shadow else None,
            to_picture=self._to_picture(number),
        )

    def _in_sun(self, number: int) -> Array32:
        """Where each corner is seen from the sun, within what throws shadows."""
        sun = self.frames.sun_direction[number - 1]
        across = np.cross([0.0, 0.0, 1.0] if abs(sun[2]) < 0.9 else [1.0, 0.0, 0.0], sun)
        across /= np.linalg.norm(across)
        turned = np.stack([across, np.cross(sun, across), -sun], axis=1)
        from_sun, ends = self.places @ turned, self.ends @ turned
        low, high = ends.min(axis=0), ends.max(axis=0)
        middle, half = (low + high) / 2.0, SUN_MARGIN * np.maximum((high - low) / 2.0, 0.01)
        return (0.5 + 0.5 * (from_sun - middle) / half).astype(np.float32)

    def _to_picture(self, number: int) -> Array:
        """From metres from the eye to the picture, shape (4, 4), as OpenGL has it."""
        plan, frame = self.frames.plan, number - 1
        crop = projection.delivered_crop(plan.camera, plan.clip)
        from_scene = np.eye(4)
        turned = self.frames.camera_rotation[frame].T  # a rotation's inverse
        from_scene[:3, :3] = turned
        from_scene[:3, 3] = -turned @ (self.frames.camera_m[frame] - self.eye)
        near, far = NEAREST_M, FARTHEST_M
        lens = np.zeros((4, 4))
        lens[0, 0] = 2.0 * crop.focal_px / plan.clip.width_px
        lens[1, 1] = 2.0 * crop.focal_px / plan.clip.height_px
        lens[2, 2], lens[2, 3] = -(far + near) / (far - near), -2.0 * far * near / (far - near)
        lens[3, 2] = -1.0
        whole: Array = lens @ from_scene
        return whole


def _joined(some: list[Any]) -> Any:
    return np.concatenate(some)


def _shapes(scene: bpy.types.Scene, eye: Array, view: fastview.View) -> list[Shape]:
    """Blocks and ground as they stand in the scene."""
    scene.view_layers[0].update()
    ground = parts.object_of(scene, "ground")
    things = [*blocking.block_objects(scene), *([ground] if ground is not None else [])]
    return [
        _water(thing, eye, view) if thing.get(blocking.ROLE_KEY) == "water" else _solid(thing)
        for thing in things
        if thing.type == "MESH" and len(blocking.shown_mesh(thing).polygons)
    ]


def _solid(thing: Any) -> Shape:
    mesh = blocking.shown_mesh(thing)
    mesh.calc_loop_triangles()
    triangles = np.empty(3 * len(mesh.loop_triangles), dtype=np.int32)
    mesh.loop_triangles.foreach_get("loops", triangles)
    flat = fastlook.lies_flat(thing) or thing.get(blocking.SHAPE_KEY) == "ridge"
    return Shape(
        fastlook.corners_of(thing, mesh, np.array(thing.matrix_world)), triangles.reshape(-1, 3), not flat
    )


def _water(thing: Any, eye: Array, view: fastview.View) -> Shape:
    """Water cut finely, so that what it mirrors can change over it; the block's own mesh stays as it is."""
    world = tides.planned_matrix(thing)
    cut: Any = bmesh.new()
    try:
        cut.from_mesh(blocking.shown_mesh(thing))
        fastlook.cut_finely(cut, world, eye, view)
        loops = [loop for triangle in cut.calc_loop_triangles() for loop in triangle]
        own = np.array([loop.vert.co for loop in loops], dtype=np.float64)
        normals = np.array([loop.face.normal for loop in loops], dtype=np.float64)
    finally:
        cut.free()
    triangles = np.arange(len(own), dtype=np.int32).reshape(-1, 3)
    return Shape(fastlook.corners_at(thing, own, normals, world), triangles, False)


def _glass(panes: lamps.Panes) -> list[Shape]:
    """Windows and lamps, where there are any."""
    count = len(panes.on_lux)
    if not count:
        return []
    places = panes.corners_m.reshape(-1, 3)
    along, upward = (panes.corners_m[:, k] - panes.corners_m[:, 0] for k in (1, 3))
    normals = np.cross(along, upward)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-12)[:, None]
    corners = fastcolours.Corners(
        places=places,
        normals=np.repeat(normals, 4, axis=0),
        albedo=np.tile(np.array(nightlights.GLASS), (4 * count, 1)),
        is_water=np.zeros(4 * count, dtype=bool),
        in_shade=np.zeros(4 * count, dtype=bool),
        pane=np.arange(4 * count) // 4,
    )
    first = 4 * np.arange(count, dtype=np.int32)[:, None]
    triangles = np.concatenate([first + np.array(three) for three in ((0, 1, 2), (0, 2, 3))])
    return [Shape(corners, triangles.astype(np.int32), False)]
