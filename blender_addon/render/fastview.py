"""What the fast look's pictures show between them: how far the sky reaches, the shapes of its dome and discs,
and how finely sky and water are cut. Numbers only; no Blender.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.light import sky
from planner_core.picture import projection

Array = NDArray[np.float64]

# into how many steps sky and water are cut over the picture's width, and at most over all that is in view
DOME_GRID, WATER_GRID = (36, 120), (64, 200)
MIRROR_GRID = (20, 60)  # steps of what water mirrors
WATER_STEPS_M = 0.8 * 1.2 ** np.arange(38)
DOME_RINGS = 32
DOME_FOOT_RAD, STEEP_RAD = -0.06, np.radians(75.0)
MOST_VIEWS = 1000
VIEW_MARGIN = 1.15  # how much more than the pictures' width and height is made ready
DISC_SIDES = 24
# rings around the middle of the sun, in its radii: the disc's soft edge, and the glare around it
SUN_RINGS = np.array([0.0, 0.85, 1.15, 1.6, 2.4, 3.6, 5.5, 8.0, 12.0, 18.0, 27.0, 40.0])
MOON_ROWS, MOON_COLUMNS = 33, 4  # of points over the lit part of the moon
RIM_COS, RIM_SIN = (f(np.arange(DISC_SIDES) * (2.0 * np.pi / DISC_SIDES)) for f in (np.cos, np.sin))


def _at_points(of_rings: Array) -> Array:
    """What the rings of a disc have, at its middle and its points."""
    return np.concatenate([of_rings[:1], np.repeat(of_rings[1:], DISC_SIDES)])


SUN_EDGE = _at_points(np.clip(1.15 - SUN_RINGS, 0.0, 0.3) / 0.3)  # how much of the disc is seen


@frozen(kw_only=True)
class View:
    """What the pictures show between them, and a little more: from and to which direction over level ground,
    counter-clockwise from +X, and how high; and the angle that one takes in.
    """

    first_rad: float
    last_rad: float
    highest_rad: float
    width_rad: float

    def around(self, across: int, most: int) -> int:
        """Into how many equal steps the whole circle is cut: so many across a picture, unless that would make
        more than `most` over all pictures. A multiple of 8.
        """
        step = max(self.width_rad / across, (self.last_rad - self.first_rad) / most)
        return 8 * int(np.ceil(np.pi / 4.0 / step - 1e-9))  # not one more for a last bit

    def directions_rad(self, across: int, most: int) -> Array:
        """Directions of those steps, from one side of what is in view to the other. They are the same
        whatever else is in view: so a frame looks as it did when a pose far from it changes.
        """
        step = 2.0 * np.pi / self.around(across, most)
        return step * np.arange(np.floor(self.first_rad / step), np.ceil(self.last_rad / step) + 1.0)


def grid_of(frames: FrameTable) -> tuple[int, int, int]:
    """What of the fast look's frames depends on the move as a whole."""
    view = in_view(frames)
    return view.around(*WATER_GRID), view.around(*DOME_GRID), view.around(*MIRROR_GRID)


def in_view(frames: FrameTable) -> View:
    plan = frames.plan
    focal_px = projection.delivered_crop(plan.camera, plan.clip).focal_px
    half = np.array([plan.clip.width_px, plan.clip.height_px]) / (2.0 * focal_px)
    side = np.linspace(-VIEW_MARGIN, VIEW_MARGIN, 13)  # over the whole picture: the zenith may be within it
    across, upward = np.meshgrid(side * half[0], side * half[1])
    rays = np.column_stack([across.ravel(), upward.ravel(), np.full(across.size, -1.0)])
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    some = np.unique(np.linspace(0, len(frames) - 1, MOST_VIEWS).astype(int))  # of a slow move, enough
    seen = np.einsum("fij,rj->fri", frames.camera_rotation[some], rays)
    altitude = np.arcsin(np.clip(seen[..., 2], -1.0, 1.0))
    highest = float(altitude.max())
    ahead = np.radians(90.0 + plan.site.scene_north_deg - frames.lens_bearing_deg)
    ahead = np.unwrap(ahead)[some]
    aside = np.arctan2(seen[..., 1], seen[..., 0]) - ahead[:, None]
    turn = ahead[:, None] + (aside + np.pi) % (2.0 * np.pi) - np.pi
    first, last = float(turn.min()), float(turn.max())
    if np.abs(altitude).max() > STEEP_RAD or last - first > 2.0 * np.pi:
        first, last, highest = 0.0, 2.0 * np.pi, np.pi / 2.0  # all around, where the lens looks steeply
    return View(
        first_rad=first,
        last_rad=last,
        highest_rad=max(highest, 0.1),
        width_rad=2.0 * float(np.arctan(half[0])),
    )


def dome_shape(view: View) -> tuple[Array, list[tuple[int, ...]]]:
    """The part of a unit sphere that is in view, from just below the horizon up, with rings that stand closer
    near the horizon.
    """
    around = view.directions_rad(*DOME_GRID)
    rise = (np.pi / 2.0) * np.linspace(0.0, 1.0, DOME_RINGS) ** 2.2
    rise = rise[: 1 + np.searchsorted(rise, view.highest_rad)]
    rise, turn = np.meshgrid(np.concatenate([[DOME_FOOT_RAD], rise]), around, indexing="ij")
    vertices = np.stack([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)], axis=-1)
    return vertices.reshape(-1, 3), sheet(0, len(rise), len(around))


def rings_around(middle: Array, radii: Array) -> Array:
    """Directions (points, 3) of a disc's middle and of points on rings around it."""
    near, across = _beside(middle, np.array([0.0, 0.0, 1.0]))
    rim = RIM_COS[:, None] * near + RIM_SIN[:, None] * across
    points = middle + (radii[1:, None, None] * sky.SUN_RADIUS_RAD * rim).reshape(-1, 3)
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    return np.vstack([middle, points])


def lune(middle: Array, toward: Array, lit_fraction: float) -> Array:
    """Directions (points, 3) over the lit part of the moon's disc, row by row from one horn to the other: in
    each from the terminator, half an ellipse, to the limb on the side of the sun.
    """
    near, across = _beside(middle, toward)
    turn = np.linspace(-np.pi / 2.0, np.pi / 2.0, MOON_ROWS)
    limb = np.cos(turn)
    fraction = np.linspace(0.0, 1.0, MOON_COLUMNS)
    along = limb[:, None] * (1.0 - 2.0 * lit_fraction * (1.0 - fraction))
    aside = np.broadcast_to(np.sin(turn)[:, None], along.shape)
    points = middle + sky.SUN_RADIUS_RAD * (along.reshape(-1, 1) * near + aside.reshape(-1, 1) * across)
    return np.asarray(points / np.linalg.norm(points, axis=1, keepdims=True))


def _beside(middle: Array, toward: Array) -> tuple[Array, Array]:
    """Directions square to one, the first towards another."""
    near = toward - (toward @ middle) * middle
    near /= max(float(np.linalg.norm(near)), 1e-9)
    return near, np.cross(middle, near)


def sheet(first: int, rows: int, columns: int) -> list[tuple[int, ...]]:
    """Faces of rows of points, the first of which is the vertex `first`."""
    low = (first + columns * np.arange(rows - 1)[:, None] + np.arange(columns - 1)).ravel()
    faces = np.stack([low, low + columns, low + columns + 1, low + 1], axis=1)
    return [tuple(face) for face in faces.tolist()]


def fan(first: int, rings: int) -> list[tuple[int, ...]]:
    """Faces of a disc: a fan around its middle, the vertex `first`, and rings around that."""
    n = DISC_SIDES
    faces: list[tuple[int, ...]] = [(first, first + 1 + (i + 1) % n, first + 1 + i) for i in range(n)]
    for ring in range(rings - 1):
        inner, outer = first + 1 + ring * n, first + 1 + (ring + 1) * n
        faces += [(inner + i, inner + (i + 1) % n, outer + (i + 1) % n, outer + i) for i in range(n)]
    return faces
