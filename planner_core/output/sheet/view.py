"""The picture as a drawing: blocks as the lens sees them at one frame, for a sheet without a draft clip."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.sunlight import moon_up, sun_up
from planner_core.frames import FrameTable
from planner_core.light.daylight import SUN_SEMIDIAMETER_DEG
from planner_core.output.sheet.draw import Canvas
from planner_core.picture.projection import delivered_crop
from planner_core.place import blocking
from planner_core.plan.model import Plan
from planner_core.time import events

Array = NDArray[np.float64]

NEAR_M = 0.05
SMALLEST_MM = 0.25
MOST_FACES = 1200
FLAT = ("water", "ground")


@frozen(eq=False)
class Solids:
    """The faces of all blocks, one after another.

    vertices_m is (v, 3); corner (c,) holds numbers of vertices, face after face; first (f,) says where
    each face's corners begin, block (f,) to which block it belongs.
    """

    vertices_m: Array
    corner: NDArray[np.intp]
    first: NDArray[np.intp]
    block: NDArray[np.intp]

    @property
    def following(self) -> NDArray[np.intp]:
        """The corner after each one, round its own face, shape (c,)."""
        after = np.roll(self.corner, -1)
        after[np.append(self.first[1:], len(self.corner)) - 1] = self.corner[self.first]
        return after


def solids(plan: Plan) -> Solids:
    """The plan's blocks, gathered once for any number of views."""
    vertices, faces, owners, count = [np.zeros((0, 3))], [], [], 0
    for index, block in enumerate(plan.blocks):
        mesh = blocking.block_mesh(plan, block)
        faces += [[count + corner for corner in face] for face in mesh.faces]
        owners += [index] * len(mesh.faces)
        vertices.append(mesh.vertices_m)
        count += len(mesh.vertices_m)
    sizes = np.array([len(face) for face in faces], dtype=np.intp)
    return Solids(
        np.vstack(vertices),
        np.array([corner for face in faces for corner in face], dtype=np.intp),
        np.cumsum(sizes) - sizes,
        np.array(owners, dtype=np.intp),
    )


def view_svg(frames: FrameTable, index: int, width: float, prefix: str, shapes: Solids | None = None) -> str:
    """The delivered frame `index` (0-based) as an SVG element of that width in millimetres.

    shapes are the plan's solids, gathered here where they aren't given.
    """
    plan = frames.plan
    height = width * plan.clip.height_px / plan.clip.width_px
    view = _Picture(frames, index, width, height, prefix)
    view.sky()
    view.ground()
    if moon_up(frames)[index]:
        view.body("moon", frames.moon_direction[index])
    if sun_up(frames)[index]:
        view.body("sun", frames.sun_direction[index])
    view.blocks(shapes or solids(plan))
    view.canvas.outside()
    view.canvas.box(0.15, 0.15, width - 0.3, height - 0.3, "edge")
    return view.canvas.svg()


class _Picture:
    def __init__(self, frames: FrameTable, index: int, width: float, height: float, prefix: str) -> None:
        self.frames, self.index, self.plan = frames, index, frames.plan
        self.width, self.height = width, height
        self.eye, self.rotation = frames.camera_m[index], frames.camera_rotation[index]
        crop = delivered_crop(self.plan.camera, self.plan.clip)
        self.focal = crop.focal_px * width / self.plan.clip.width_px
        self.canvas = Canvas(width, height, prefix, f"The picture at frame {index + 1}")
        self.canvas.inside(0, 0, width, height)

    def sky(self) -> None:
        phase = int(events.light_phase(self.frames.sun_true_altitude_deg[self.index]))
        self.canvas.box(0, 0, self.width, self.height, f"phase{phase}")

    def ground(self) -> None:
        """Level ground to the horizon."""
        altitude = np.radians(self.frames.lens_altitude_deg[self.index])
        y = self.height / 2.0 + self.focal * np.tan(altitude)
        if y < self.height:
            self.canvas.box(0, max(y, 0.0), self.width, self.height - max(y, 0.0), "block ground")
        self.canvas.line((0, y), (self.width, y), "horizon")

    def body(self, name: str, direction: Array) -> None:
        """Sun or moon, at its true size or a little dot's, ringed so that it is found."""
        local = self._local((self.eye + direction)[None])[0]
        if -local[2] <= NEAR_M:
            return
        x, y = self._paper(local[None])[0]
        radius = self.focal * np.tan(np.radians(SUN_SEMIDIAMETER_DEG))
        self.canvas.dot((x, y), max(radius, 0.35), f"{name}-mark")
        if radius < 1.0:
            self.canvas.dot((x, y), max(radius, 0.35) + 0.9, f"{name} ring")

    def blocks(self, shapes: Solids) -> None:
        """Faces turned to the camera, from the farthest block to the nearest."""
        if not len(shapes.first):
            return
        local = self._local(shapes.vertices_m)
        a, b = local[shapes.corner], local[shapes.following]
        normal = np.add.reduceat(np.cross(a, b), shapes.first)  # Newell: twice the area along the normal
        ridge = np.array([block.shape == "ridge" for block in self.plan.blocks])[shapes.block]
        facing = ridge | (np.sum(normal * a[shapes.first], axis=1) < 0.0)
        shaded = ~ridge & (normal[:, 0] > 0.35 * np.linalg.norm(normal, axis=1))
        away = np.linalg.norm(a, axis=1)
        nearest = np.full(len(self.plan.blocks), np.inf)
        np.minimum.at(nearest, shapes.block, np.minimum.reduceat(away, shapes.first))
        solid = np.array([block.role not in FLAT for block in self.plan.blocks])[shapes.block]
        depth = np.maximum.reduceat(away, shapes.first)
        order = np.lexsort((-depth, -nearest[shapes.block], solid))
        chosen = order[(facing & self._shows(a, shapes.first))[order]][-MOST_FACES:]
        ends = np.append(shapes.first[1:], len(shapes.corner))
        for face in chosen:
            block = self.plan.blocks[shapes.block[face]]
            clipped = _in_front(a[shapes.first[face] : ends[face]])
            if len(clipped) < 3:
                continue
            outline = np.clip(self._paper(clipped), -999.0, 999.0)
            self.canvas.path(outline, f"face {'ridge' if ridge[face] else block.role}", closed=True)
            if shaded[face]:
                self.canvas.path(outline, "shade", closed=True)

    def _shows(self, corners: Array, first: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Faces (f,) that are in front at least in part, and then in the picture and not too small to see."""
        front = -corners[:, 2] > NEAR_M
        paper = self._paper(np.where(front[:, None], corners, (0.0, 0.0, -1.0)))
        low, high = np.minimum.reduceat(paper, first), np.maximum.reduceat(paper, first)
        within = np.all((high > 0.0) & (low < (self.width, self.height)), axis=1)
        within &= np.max(high - low, axis=1) > SMALLEST_MM
        cut = ~np.logical_and.reduceat(front, first)
        return np.logical_or.reduceat(front, first) & (cut | within)

    def _local(self, points_m: Array) -> Array:
        return (points_m - self.eye) @ self.rotation

    def _paper(self, local: Array) -> Array:
        scale = self.focal / -local[:, 2]
        return np.column_stack(
            [self.width / 2.0 + local[:, 0] * scale, self.height / 2.0 - local[:, 1] * scale]
        )


def _in_front(corners: Array) -> Array:
    """A face cut off a little in front of the camera (Sutherland and Hodgman, 1974, against one plane)."""
    kept = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        front_a, front_b = -a[2] > NEAR_M, -b[2] > NEAR_M
        if front_a:
            kept.append(a)
        if front_a != front_b:
            fraction = (-NEAR_M - a[2]) / (b[2] - a[2])
            kept.append(a + fraction * (b - a))
    return np.array(kept)
