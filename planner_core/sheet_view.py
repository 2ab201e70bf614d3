"""The picture as a drawing: blocks as the lens sees them at one frame, for a sheet without a draft clip."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner_core import blocking, events
from planner_core.daylight import SUN_SEMIDIAMETER_DEG
from planner_core.frames import FrameTable
from planner_core.optics import delivered_crop
from planner_core.sheet_draw import Canvas

Array = NDArray[np.float64]

NEAR_M = 0.05
SMALLEST_MM = 0.25
MOST_FACES = 1200
FLAT = ("water", "ground")


def view_svg(frames: FrameTable, index: int, width: float, prefix: str) -> str:
    """The delivered frame `index` (0-based) as an SVG element of that width in millimetres."""
    plan = frames.plan
    height = width * plan.clip.height_px / plan.clip.width_px
    view = _Picture(frames, index, width, height, prefix)
    view.sky()
    view.ground()
    view.body("moon", frames.moon_direction[index], frames.moon_altitude_deg[index])
    view.body("sun", frames.sun_direction[index], frames.sun_altitude_deg[index])
    view.blocks()
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

    def body(self, name: str, direction: Array, altitude_deg: float) -> None:
        """Sun or moon, at its true size or a little dot's, ringed so that it is found."""
        local = self._local((self.eye + direction)[None])[0]
        if -local[2] <= NEAR_M or altitude_deg < -0.3:
            return
        x, y = self._paper(local[None])[0]
        radius = self.focal * np.tan(np.radians(SUN_SEMIDIAMETER_DEG))
        self.canvas.dot((x, y), max(radius, 0.35), f"{name}-mark")
        if radius < 1.0:
            self.canvas.dot((x, y), max(radius, 0.35) + 0.9, f"{name} ray")

    def blocks(self) -> None:
        """Faces turned to the camera, from the farthest to the nearest."""
        drawn: list[tuple[tuple[bool, float, float], Array, str, bool]] = []
        for block in self.plan.blocks:
            mesh = blocking.block_mesh(self.plan, block)
            local = self._local(mesh.vertices_m)
            if np.all(-local[:, 2] <= NEAR_M) or self._outside(local):
                continue
            distance = float(np.min(np.linalg.norm(local, axis=1)))
            for face in mesh.faces:
                corners = local[list(face)]
                if block.shape != "ridge" and _turned_away(corners):
                    continue
                clipped = _in_front(corners)
                if len(clipped) < 3:
                    continue
                paper = self._paper(clipped)
                if np.ptp(paper, axis=0).max() < SMALLEST_MM:
                    continue
                depth = float(np.mean(np.linalg.norm(corners, axis=1)))
                kind = "ridge" if block.shape == "ridge" else block.role
                order = (block.role not in FLAT, -distance, -depth)
                drawn.append((order, paper, kind, block.shape != "ridge" and _turned_right(corners)))
        drawn.sort(key=lambda entry: entry[0])
        for _, paper, kind, shaded in drawn[-MOST_FACES:]:
            outline = np.clip(paper, -999.0, 999.0)
            self.canvas.path(outline, f"face {kind}", closed=True)
            if shaded:
                self.canvas.path(outline, "shade", closed=True)

    def _outside(self, local: Array) -> bool:
        """Whether a block wholly in front lies wholly beside the picture, or is too small to see."""
        if np.any(-local[:, 2] <= NEAR_M):
            return False
        paper = self._paper(local)
        low, high = paper.min(axis=0), paper.max(axis=0)
        return bool(
            np.any(high < 0.0) or np.any(low > (self.width, self.height)) or np.max(high - low) < SMALLEST_MM
        )

    def _local(self, points_m: Array) -> Array:
        return (points_m - self.eye) @ self.rotation

    def _paper(self, local: Array) -> Array:
        scale = self.focal / -local[:, 2]
        return np.column_stack(
            [self.width / 2.0 + local[:, 0] * scale, self.height / 2.0 - local[:, 1] * scale]
        )


def _normal(corners: Array) -> Array:
    """Twice a face's area along its outward normal (Newell's sum, right for any outline)."""
    return np.sum(np.cross(corners, np.roll(corners, -1, axis=0)), axis=0)


def _turned_away(corners: Array) -> bool:
    """Whether a face's outside looks away from the camera, which stands at the origin."""
    return bool(np.dot(_normal(corners), corners[0]) >= 0.0)


def _turned_right(corners: Array) -> bool:
    """Whether a face looks to the picture's right: those are drawn a little darker, so that solids read as
    such.
    """
    normal = _normal(corners)
    return bool(normal[0] > 0.35 * np.linalg.norm(normal))


def _in_front(corners: Array) -> Array:
    """A face cut off a little in front of the camera (Sutherland and Hodgman, 1974, against one plane)."""
    kept = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        front_a, front_b = -a[2] > NEAR_M, -b[2] > NEAR_M
        if front_a:
            kept.append(a)
        if front_a != front_b:
            share = (-NEAR_M - a[2]) / (b[2] - a[2])
            kept.append(a + share * (b - a))
    return np.array(kept)
