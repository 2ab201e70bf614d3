"""The skyline: how high the blocks stand above the level horizon all the way round, and which block it is."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.maths.angles import wrapped_deg
from planner_core.place.blocking import Mesh, block_mesh, remembered
from planner_core.plan.model import Plan

Array = NDArray[np.float64]

STEP_DEG = 0.02  # a twenty-fifth of the sun's width
STEPS = round(360.0 / STEP_DEG)
OPEN = -1


@frozen(eq=False)
class Skyline:
    """altitude_deg and block (index into plan.blocks, OPEN for the level horizon) at equal steps of bearing
    from north.

    Both have shape (n,); step k stands for the bearings around k·STEP_DEG.
    """

    altitude_deg: Array
    block: NDArray[np.int32]

    def step(self, bearing_deg: ArrayLike) -> NDArray[np.intp]:
        """The step that stands for a bearing, any shape."""
        step = np.rint(np.asarray(bearing_deg, dtype=np.float64) / STEP_DEG).astype(np.intp)
        return step % len(self.altitude_deg)

    def altitude_at(self, bearing_deg: ArrayLike) -> Array:
        """Altitude of the skyline, degrees, 0 or more, any shape."""
        return self.altitude_deg[self.step(bearing_deg)]

    def block_at(self, bearing_deg: ArrayLike) -> NDArray[np.int32]:
        """Index of the block that makes the skyline, or OPEN, any shape."""
        return self.block[self.step(bearing_deg)]


def skyline(plan: Plan, eye_m: ArrayLike, *, ignoring: tuple[int, ...] = ()) -> Skyline:
    """The skyline of the plan's blocks seen from a place in the scene, eye_m (3,), without those to ignore.

    The upper outline of a solid runs along its edges, so each edge is followed over the bearings that it
    spans. Light goes straight here: over 2 km Earth's curve lowers a roof by 0.3 m.
    """
    altitude = np.zeros(STEPS)
    owner = np.full(STEPS, OPEN, dtype=np.int32)
    eye = np.asarray(eye_m, dtype=np.float64)
    starts, ends, owners = _edges(plan)
    if ignoring:
        counted = ~np.isin(owners, ignoring)
        starts, ends, owners = starts[counted], ends[counted], owners[counted]
    for part in np.array_split(np.arange(len(owners)), max(1, len(owners) // 5000)):
        start, end = starts[part] - eye, ends[part] - eye
        low, counts = _spans(start, end)
        edge = np.repeat(np.arange(len(start)), counts)
        within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        steps = low[edge] + within
        heights = _heights_deg(start, end, edge, steps)
        steps %= STEPS
        np.maximum.at(altitude, steps, heights)
        top = heights >= altitude[steps]
        owner[steps[top]] = owners[part][edge[top]]
    owner[altitude <= 0.0] = OPEN
    turned = _turned(plan, np.arange(STEPS))
    return Skyline(altitude_deg=altitude[turned], block=owner[turned])


def skyline_at(plan: Plan, eye_m: ArrayLike, bearing_deg: ArrayLike) -> tuple[Array, NDArray[np.int32]]:
    """The skyline's altitude and block at a few bearings (n,) only, the same as skyline() has there."""
    step = np.rint(np.asarray(bearing_deg, dtype=np.float64) / STEP_DEG).astype(np.intp) % STEPS
    turned = _turned(plan, step)
    eye = np.asarray(eye_m, dtype=np.float64)
    starts, ends, owners = _edges(plan)
    start, end = starts - eye, ends - eye
    low, counts = _spans(start, end)
    past_low = (turned[:, None] - low) % STEPS
    row, edge = np.nonzero(past_low < counts)
    heights = _heights_deg(start, end, edge, low[edge] + past_low[row, edge])
    altitude = np.zeros(len(turned))
    np.maximum.at(altitude, row, heights)
    top = heights >= altitude[row]
    owner = np.full(len(turned), OPEN, dtype=np.int32)
    owner[row[top]] = owners[edge[top]]
    owner[altitude <= 0.0] = OPEN
    return altitude, owner


def _turned(plan: Plan, step: NDArray[np.intp]) -> NDArray[np.intp]:
    """The steps from the scene's Y for steps of bearing from north."""
    return np.rint((step * STEP_DEG - plan.site.scene_north_deg) / STEP_DEG).astype(np.intp) % STEPS


@remembered
def _edges(plan: Plan) -> tuple[Array, Array, NDArray[np.int32]]:
    """Both ends of every block's edges, shape (n, 3), and the block that each belongs to."""
    starts, ends, owners = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, dtype=np.int32)]
    for index, block in enumerate(plan.blocks):
        mesh = block_mesh(plan, block)
        edges = _mesh_edges(mesh)
        starts.append(mesh.vertices_m[edges[:, 0]])
        ends.append(mesh.vertices_m[edges[:, 1]])
        owners.append(np.full(len(edges), index, dtype=np.int32))
    return np.concatenate(starts), np.concatenate(ends), np.concatenate(owners)


def _mesh_edges(mesh: Mesh) -> NDArray[np.intp]:
    pairs = {
        (min(a, b), max(a, b)) for face in mesh.faces for a, b in zip(face, (*face[1:], face[0]), strict=True)
    }
    return np.array(sorted(pairs), dtype=np.intp).reshape(-1, 2)


def _spans(start: Array, end: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The first step of turn that each edge (n, 3) spans, below zero left of the scene's −Y, and how many."""
    first = np.degrees(np.arctan2(start[:, 0], start[:, 1]))
    sweep = wrapped_deg(np.degrees(np.arctan2(end[:, 0], end[:, 1])) - first)
    low = np.ceil(np.minimum(first, first + sweep) / STEP_DEG)
    counts = np.maximum(np.floor(np.maximum(first, first + sweep) / STEP_DEG) - low + 1.0, 0.0)
    return low.astype(np.intp), counts.astype(np.intp)


def _heights_deg(start: Array, end: Array, edge: NDArray[np.intp], steps: NDArray[np.intp]) -> Array:
    """The altitude of edges of (n, 3) at steps of turn that they span, both (k,)."""
    turn = np.radians(steps * STEP_DEG)
    across, ahead = np.sin(turn), np.cos(turn)
    vector = end - start
    slant = vector[edge, 0] * ahead - vector[edge, 1] * across
    offset = start[edge, 0] * ahead - start[edge, 1] * across
    with np.errstate(divide="ignore", invalid="ignore"):
        fraction = np.clip(np.nan_to_num(-offset / slant), 0.0, 1.0)
    x, y, z = (start[edge, axis] + fraction * vector[edge, axis] for axis in range(3))
    return np.degrees(np.arctan2(z, np.hypot(x, y)))
