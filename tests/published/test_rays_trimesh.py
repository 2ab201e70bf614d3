"""Rays against trimesh: the same rays through the meshes that are drawn, triangle by triangle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from planner_core.place import blocking, visibility
from planner_core.place.blocking import Mesh
from planner_core.plan.model import Block, Plan
from tests.places import place, random_place

RAYS = 1500


def triangles(mesh: Mesh, ground_m: float) -> Any:
    """A trimesh of a block's faces; concave caps are cut by trimesh's own triangulation of the footprint."""
    vertices = mesh.vertices_m.copy()
    vertices[:, 2] = np.maximum(vertices[:, 2], ground_m)
    corners = [(face[0], face[i], face[i + 1]) for face in mesh.faces for i in range(1, len(face) - 1)]
    return trimesh.Trimesh(vertices=vertices, faces=corners, process=False)


def met_by_trimesh(
    plan: Plan, origins: NDArray[np.float64], directions: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Distance and block of each ray's first hit, infinite and −1 where there is none; the ground left
    out.
    """
    ground = blocking.ground_level_m(plan)
    distance, met = np.full(len(origins), np.inf), np.full(len(origins), -1)
    for index, block in enumerate(plan.blocks):
        mesh = triangles(blocking.block_mesh(plan, block), ground)
        spots, rays, _ = mesh.ray.intersects_location(origins, directions, multiple_hits=True)
        reach = np.linalg.norm(spots.reshape(-1, 3) - origins[rays], axis=1)
        best = np.full(len(origins), np.inf)
        np.minimum.at(best, rays, reach)
        nearer = best < distance
        distance, met = np.where(nearer, best, distance), np.where(nearer, index, met)
    return distance, met


def random_rays(plan: Plan, rng: Any) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rays from around the rail to all parts of the view, and some that go anywhere."""
    origins = np.asarray(plan.rig.origin_m) + rng.uniform(-0.5, 0.5, (RAYS, 3))
    turn, rise = rng.uniform(-0.9, 0.9, RAYS), rng.uniform(-0.3, 0.4, RAYS)
    directions = np.stack([np.sin(turn) * np.cos(rise), np.cos(turn) * np.cos(rise), np.sin(rise)], axis=1)
    anywhere = rng.normal(size=(RAYS // 5, 3))
    directions[: RAYS // 5] = anywhere / np.linalg.norm(anywhere, axis=1, keepdims=True)
    return origins, directions


@pytest.mark.once
@pytest.mark.parametrize("seed", range(6))
def test_rays_meet_what_trimesh_meets(seed: int) -> None:
    plan = random_place(seed)
    # a fan of triangles is wrong for a concave cap, and the sides of a figure aren't quite flat
    convex = tuple(b for b in plan.blocks if b.shape not in ("prism", "figure"))
    plan = place(*convex, origin_m=plan.rig.origin_m, rail_bearing_deg=plan.rig.bearing_deg)
    origins, directions = random_rays(plan, np.random.default_rng(seed))
    outside = ~np.isin(visibility.first_hits(plan, origins, directions)[0], [0.0])
    origins, directions = origins[outside], directions[outside]
    distance, met = visibility.first_hits(plan, origins, directions)
    theirs, their_block = met_by_trimesh(plan, origins, directions)
    fall = np.where(
        directions[:, 2] < 0.0, (blocking.ground_level_m(plan) - origins[:, 2]) / directions[:, 2], np.inf
    )
    over_ground = theirs < fall * (1.0 - 1e-9)
    fall = np.minimum(fall, 1e9)
    agree = np.where(over_ground, met == their_block, met < 0) | (np.abs(theirs - fall) < 1e-6)
    # a ray in ten thousand may graze an edge, or a ridge's thickness
    assert np.mean(agree) > 0.999, np.flatnonzero(~agree)
    same = over_ground & (met == their_block)
    assert same.sum() > 100
    np.testing.assert_allclose(distance[same], theirs[same], rtol=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_rays_meet_a_footprint_with_notches_as_trimesh_has_it(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    angles = np.sort(rng.uniform(0.0, 2.0 * np.pi, 11))
    reach = rng.uniform(2.0, 9.0, 11)
    ring = np.column_stack([reach * np.cos(angles), reach * np.sin(angles)]) + np.array((0.0, 25.0))
    prism = Block(
        name="yard",
        role="background",
        shape="prism",
        footprint_m=tuple((float(x), float(y)) for x, y in ring),
        height_m=6.0,
        base_m=1.0,
    )
    plan = place(prism)
    polygon_mesh = trimesh.util.concatenate(
        [triangles(blocking.extruded(piece, 1.0, 7.0), 0.0) for piece in _triangulated(ring)]
    )
    origins, directions = random_rays(plan, rng)
    distance, met = visibility.first_hits(plan, origins, directions)
    scene: Any = polygon_mesh
    spots, rays, _ = scene.ray.intersects_location(origins, directions, multiple_hits=True)
    theirs = np.full(len(origins), np.inf)
    np.minimum.at(theirs, rays, np.linalg.norm(spots - origins[rays], axis=1))
    hit = met == 0
    assert np.mean(hit == np.isfinite(theirs)) > 0.999
    both = hit & np.isfinite(theirs)
    assert both.sum() > 100
    np.testing.assert_allclose(distance[both], theirs[both], rtol=1e-6)


def _triangulated(ring: Sequence[Sequence[float]]) -> list[NDArray[np.float64]]:
    """A star-shaped ring as triangles about its middle, which needs none of the code under test."""
    middle = np.array((0.0, 25.0))
    ends = np.roll(ring, -1, axis=0)
    found = [np.array([middle, a, b]) for a, b in zip(ring, ends, strict=True)]
    return [t for t in found if np.linalg.det([t[1] - t[0], t[2] - t[0]]) > 1e-9]
