"""Rays paired with blocks meet what all rays with all blocks do."""

from __future__ import annotations

import numpy as np
import pytest

from planner_core.picture import metering
from planner_core.place import solids, visibility
from planner_core.place.solids import Pairs, nearest
from tests.places import box, place, random_place


def rays_of(seed: int, count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Origins near the camera and directions ahead."""
    rng = np.random.default_rng(seed)
    directions = np.column_stack(
        [rng.uniform(-0.7, 0.7, count), np.ones(count), rng.uniform(-0.3, 0.3, count)]
    )
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    return rng.uniform([-0.2, -0.2, 1.5], [0.2, 0.2, 1.9], (count, 3)), directions


@pytest.mark.parametrize("seed", range(6))
def test_pairs_of_all_rays_and_all_blocks_meet_what_the_rays_meet(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(solids, "PAIRS_AT_ONCE", 1000)
    plan = random_place(seed)
    origins, directions = rays_of(seed)
    ray, block = np.meshgrid(np.arange(len(directions)), np.arange(len(plan.blocks)))
    hits = nearest(plan, origins, directions, Pairs(ray=ray.ravel(), block=block.ravel()))
    distance, met = visibility.first_hits(plan, origins, directions)
    on_block = (met >= 0) & (distance > 0.0)
    assert on_block.any()
    assert hits.block[on_block] == pytest.approx(met[on_block])
    assert hits.distance_m[on_block] == pytest.approx(distance[on_block])
    against = np.sum(hits.normal[on_block] * directions[on_block], axis=1)
    assert np.all(against < 0.0)
    assert np.linalg.norm(hits.normal[on_block], axis=1) == pytest.approx(1.0)


@pytest.mark.parametrize("seed", range(4))
def test_a_pictures_rays_are_paired_with_every_block_they_meet(seed: int) -> None:
    frames = _frames(seed)
    grid = metering.read_grid(frames)
    at = grid.at[len(grid.at) // 2]
    rays = metering.cell_directions(frames.plan, frames.camera_rotation[at : at + 1])[0]
    _, met = visibility.first_hits(frames.plan, frames.camera_m[at], rays)
    is_sky = grid.is_sky[len(grid.at) // 2].ravel()
    assert np.array_equal(is_sky, met == visibility.NOTHING)


def _frames(seed: int) -> metering.Scene:
    from planner_core import compute_frames

    return compute_frames(random_place(seed, frames=30))


def test_a_ray_without_a_pair_meets_nothing() -> None:
    plan = place(box("wall", 0.0, 20.0, (40.0, 1.0, 10.0)))
    none = np.empty(0, dtype=np.intp)
    hits = nearest(plan, np.zeros((1, 3)), np.array([[0.0, 1.0, 0.0]]), Pairs(ray=none, block=none))
    assert np.isinf(hits.distance_m[0])
    assert hits.block[0] == visibility.NOTHING


def test_of_two_faces_in_one_place_the_later_block_is_met() -> None:
    plan = place(box("wall", 0.0, 20.0, (40.0, 1.0, 10.0)), box("poster", 0.0, 20.0, (4.0, 1.0, 3.0)))
    for blocks in ([0, 1], [1, 0]):
        pairs = Pairs(ray=np.zeros(2, dtype=np.intp), block=np.array(blocks))
        hits = nearest(plan, np.array([[0.0, 0.0, 1.5]]), np.array([[0.0, 1.0, 0.0]]), pairs)
        assert hits.block[0] == 1
        assert hits.distance_m[0] == pytest.approx(19.5)
        assert hits.normal[0] == pytest.approx([0.0, -1.0, 0.0])
