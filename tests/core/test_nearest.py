"""The nearest parts in the picture, against points spread densely over the same blocks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from planner_core import compute_frames, review
from planner_core.maths.convex import convex_pieces
from planner_core.maths.vectors import length
from planner_core.picture import parallax, speed
from planner_core.picture.block_visibility import compute_visibility
from planner_core.picture.projection import NEAR_M, in_picture, point_paths, project_px
from planner_core.place import blocking
from planner_core.plan.model import Block, Composition, Plan, Pose
from planner_core.rig.camera import CameraPath, camera_path
from tests.places import box, place

pytestmark = pytest.mark.once

POINTS, FRAMES = 100_000, 7
WITHIN = 0.03  # of a distance: a hundred thousand points leave gaps of their own


def crowded(seed: int) -> Plan:
    """A random place with walls, masts, prisms, figures and ridges at all distances, and a random move."""
    rng = np.random.default_rng(seed)

    def at(distance_m: float) -> tuple[float, float]:
        turn = rng.uniform(-1.0, 1.0)
        return float(distance_m * np.sin(turn)), float(distance_m * np.cos(turn))

    blocks: list[Block] = []
    for number in range(rng.integers(1, 5)):
        shape = ("box", "post", "prism", "figure", "box")[rng.integers(5)]
        x, y = at(float(10.0 ** rng.uniform(0.0, 2.0)))
        high = float(rng.uniform(0.4, 12.0))
        name = f"{shape} {number}"
        if shape == "prism":
            turns = np.sort(rng.uniform(0.0, 2.0 * np.pi, rng.integers(4, 8)))
            reach = rng.uniform(0.3, 1.5, len(turns))
            ring = tuple((x + r * np.cos(t), y + r * np.sin(t)) for r, t in zip(reach, turns, strict=True))
            blocks.append(Block(name=name, role="background", shape=shape, footprint_m=ring, height_m=high))
            continue
        wide, deep = (float(10.0 ** rng.uniform(-1.0, 1.0)) for _ in range(2))
        blocks.append(
            Block(
                name=name,
                role=("foreground", "background")[rng.integers(2)],
                shape=shape,
                centre_m=(x, y, float(high / 2.0 + rng.uniform(-0.5, 2.0))),
                size_m=(wide, deep, high),
                turn_deg=float(rng.uniform(0.0, 360.0)),
            )
        )
    pan, tilt = rng.uniform(-40.0, 40.0), rng.uniform(-10.0, 15.0)
    poses = (
        Pose(at=0.0, slide_m=0.0, pan_deg=float(pan), tilt_deg=float(tilt)),
        Pose(at=1.0, slide_m=float(rng.uniform(0.0, 2.0)), pan_deg=float(pan + rng.uniform(-40.0, 40.0)),
             tilt_deg=float(tilt)),
    )  # fmt: skip
    return place(*blocks, poses=poses, focal_length_mm=float(rng.choice([16.0, 24.0, 50.0, 85.0, 200.0])))


def spread_over(plan: Plan, index: int, count: int) -> tuple[np.ndarray, float]:
    """Points (n, 3) spread over a block's surface above the level ground, and how far apart they lie."""
    mesh, rng = blocking.block_mesh(plan, plan.blocks[index]), np.random.default_rng(index)
    triangles: list[np.ndarray] = []
    for face in mesh.faces:
        corners = mesh.vertices_m[list(face)]
        rings = [corners]
        if len(face) > 4:  # a roof or a floor, possibly with a notch
            level = corners[:, :2]
            area = np.sum(level[:, 0] * np.roll(level[:, 1], -1) - np.roll(level[:, 0], -1) * level[:, 1])
            pieces = convex_pieces(level if area > 0.0 else level[::-1])
            rings = [np.column_stack([piece, np.full(len(piece), corners[0, 2])]) for piece in pieces]
        triangles += [ring[[0, i, i + 1]] for ring in rings for i in range(1, len(ring) - 1)]
    faces = np.array(triangles)
    area = np.linalg.norm(np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0]), axis=1)
    chosen = rng.choice(len(faces), count, p=area / area.sum())
    u, v = np.sort(rng.uniform(size=(2, count)), axis=0)
    weight = np.stack([u, v - u, 1.0 - v], axis=1)
    points = np.einsum("nk,nki->ni", weight, faces[chosen])
    gap_m = 3.0 * float(np.sqrt(area.sum() / count))  # by chance some places stay emptier than others
    return points[points[:, 2] >= blocking.ground_level_m(plan)], gap_m


@pytest.mark.parametrize("first", range(0, 200, 20))
def test_the_nearest_part_in_the_picture_is_that_of_dense_points(first: int) -> None:
    told = 0
    for seed in range(first, first + 20):
        plan = crowded(seed)
        path = camera_path(plan, np.linspace(0.0, 1.0, FRAMES))
        seen = compute_visibility(plan, path)
        for index in range(len(plan.blocks)):
            points, gap_m = spread_over(plan, index, POINTS // len(plan.blocks))
            distance, depth = _by_points(plan, path, points)
            found = seen.nearest.distance_m[index], seen.nearest.depth_m[index]
            inside = bool(np.any(seen.distance_m[:, index] == 0.0))  # the camera stands in the block
            if np.isfinite(distance) and not inside:
                assert -WITHIN * distance - gap_m < found[0] - distance < WITHIN * distance, (seed, index)
                if plan.blocks[index].role == "foreground":  # what the focus is judged by
                    assert -WITHIN * depth - gap_m < found[1] - depth < WITHIN * depth, (seed, index)
                told += 1
    assert told > 15


def _by_points(plan: Plan, path: CameraPath, points: np.ndarray) -> tuple[float, float]:
    distance, depth = np.inf, np.inf
    for camera, inside, deep in in_the_pictures(plan, path, points):
        if inside.any():
            distance = min(distance, float(length(points[inside] - camera).min()))
            depth = min(depth, float(deep[inside].min()))
    return distance, depth


def in_the_pictures(
    plan: Plan, path: CameraPath, points: np.ndarray
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """For each frame where the camera stands, which of the points it shows, and how deep they lie."""
    seen = point_paths(plan, points, path.camera_m, path.camera_rotation)
    with np.errstate(invalid="ignore"):
        inside = in_picture(plan, seen) & (seen.depth_m > NEAR_M)
    yield from zip(path.camera_m, inside, seen.depth_m, strict=True)


def sliding(*blocks: Block, **changes: Any) -> Plan:
    """A slide of 1.5 m to the right past blocks, looking north; the middle of the rail is at x = 0."""
    poses = (
        Pose(at=0.0, slide_m=0.0, pan_deg=0.0, tilt_deg=0.0),
        Pose(at=1.0, slide_m=1.5, pan_deg=0.0, tilt_deg=0.0),
    )
    return place(*blocks, poses=poses, origin_m=(-0.75, 0.0, 1.5), **changes)


def test_a_mast_that_reaches_out_of_the_frame_above_and_below_is_near() -> None:
    mast = box("mast", 0.0, 1.85, (0.1, 0.1, 2.6), role="foreground")
    town = box("town", 0.0, 300.0, (400.0, 20.0, 30.0), role="background")
    plan = sliding(mast, town, focal_length_mm=35.0)
    moved = parallax.parallax(plan, compute_visibility(plan, compute_frames(plan)))
    assert moved.near is not None
    assert moved.near.distance_m == pytest.approx(1.8, rel=1e-3)
    # f·d/Z on a sensor 36 mm wide, any handbook of optics: 35 · 1.5 / 1.8 / 36, and the town's own behind it
    assert moved.separation_percent == pytest.approx(
        100.0 * 35.0 * 1.5 / 36.0 * (1 / 1.8 - 1 / 290.0), rel=0.01
    )
    codes = {finding.code for finding in review(plan, compute_frames(plan)).findings}
    assert not codes & {"foreground-missing", "travel-whole"}


@pytest.mark.parametrize("focal_length_mm", [24.0, 70.0, 120.0, 200.0])
def test_a_wall_wider_and_higher_than_the_picture_is_as_near_as_it_stands(focal_length_mm: float) -> None:
    wall = box("wall", 0.0, 3.0, (30.0, 0.5, 8.0), role="foreground")
    plan = sliding(wall, focal_length_mm=focal_length_mm)
    nearest = compute_visibility(plan, compute_frames(plan)).nearest
    assert nearest.distance_m[0] == pytest.approx(2.75, rel=1e-6)
    assert nearest.depth_m[0] == pytest.approx(2.75, rel=1e-6)
    frames = compute_frames(plan)
    assert speed.screen_speeds(plan, frames.camera_m, frames.camera_rotation)["foreground"].seen


def test_a_subject_that_stands_near_is_what_the_slide_passes() -> None:
    near = sliding(
        box("stone", 0.2, 1.6, (0.6, 0.4, 1.4), role="subject"), composition=Composition(subject="stone")
    )
    far = sliding(
        box("stone", 0.2, 60.0, (6.0, 4.0, 14.0), role="subject"), composition=Composition(subject="stone")
    )
    codes = [{finding.code for finding in review(p, compute_frames(p)).findings} for p in (near, far)]
    assert not codes[0] & {"foreground-missing", "travel-whole"}
    assert "foreground-missing" in codes[1]


def test_a_post_that_slips_by_between_two_looks_is_the_foreground_for_its_moment() -> None:
    post = Block(name="post", role="foreground", shape="box", centre_m=(1.4, -0.2, 1.5), size_m=(0.05,) * 3)
    poses = (Pose(at=0.0, pan_deg=0.0, tilt_deg=0.0), Pose(at=1.0, pan_deg=359.0, tilt_deg=0.0))
    plan = place(post, poses=poses, focal_length_mm=120.0, frames=480)
    frames = compute_frames(plan)
    found = speed.screen_speeds(plan, frames.camera_m, frames.camera_rotation)["foreground"]
    assert np.count_nonzero(np.isfinite(found.px_per_frame)) > 5
    assert np.nanmin(found.distance_m) == pytest.approx(np.hypot(1.4, 0.2) - 0.025, rel=0.02)
    nearest = compute_visibility(plan, frames).nearest
    assert nearest.distance_m[0] == pytest.approx(np.hypot(1.4, 0.2) - 0.025, rel=0.02)


@pytest.mark.parametrize("first", range(0, 200, 50))
def test_the_shift_of_near_against_far_is_that_of_dense_points(first: int) -> None:
    told = 0
    for seed in range(first, first + 50):
        plan = crowded(seed)
        path = camera_path(plan, np.linspace(0.0, 1.0, FRAMES))
        moved = parallax.parallax(plan, compute_visibility(plan, path))
        near = moved.near
        if near is None or near.distance_m > 20.0 or moved.travel_m < 0.1:
            continue
        points, gap_m = spread_over(plan, near.block, POINTS)
        least, spot = np.inf, points[0]
        for camera, inside, _ in in_the_pictures(plan, path, points):
            away = np.where(inside, length(points - camera), np.inf)
            if away.min() < least:
                least, spot = float(away.min()), points[away.argmin()]
        lens = path.camera_rotation[len(path.at) // 2]
        ends, depth = project_px(plan, spot, path.camera_m[[0, -1]], np.stack([lens, lens]))
        if least < 20.0 * gap_m or np.any(depth < 0.5 * least):
            continue  # as near as the points lie apart, or beside the lens, where a hair's breadth decides
        shift = float(np.hypot(*(ends[1] - ends[0]))) / plan.clip.width_px * 100.0
        assert near.shift_percent == pytest.approx(shift, rel=WITHIN + gap_m / least, abs=0.05), seed
        told += 1
    assert told > 10
