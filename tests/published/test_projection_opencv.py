"""Outlines and rectangles against OpenCV's projectPoints (opencv-python-headless) on the blocks' own
corners.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core.picture import block_visibility
from planner_core.picture.projection import delivered_crop, project_px
from planner_core.place import blocking
from planner_core.plan.model import Plan
from planner_core.rig.camera import CameraPath, camera_path
from tests.places import random_place


def opencv_px(
    plan: Plan, points_m: NDArray[np.float64], camera_m: NDArray[np.float64], rotation: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Pixels by OpenCV: its camera looks along +Z with +Y down, pixel centres at whole numbers."""
    to_opencv = np.diag([1.0, -1.0, -1.0]) @ rotation.T
    turn, _ = cv2.Rodrigues(to_opencv)
    focal = delivered_crop(plan.camera, plan.clip).focal_px
    matrix = np.array(
        [[focal, 0.0, plan.clip.width_px / 2.0], [0.0, focal, plan.clip.height_px / 2.0], [0, 0, 1]]
    )
    px, _ = cv2.projectPoints(np.asarray(points_m), turn, -to_opencv @ camera_m, matrix, np.zeros(0))
    return np.asarray(px, dtype=np.float64).reshape(-1, 2)


def ahead(
    points_m: NDArray[np.float64], camera_m: NDArray[np.float64], rotation: NDArray[np.float64]
) -> NDArray[np.float64]:
    return -((points_m - camera_m) @ rotation)[:, 2]


@pytest.mark.parametrize("seed", range(8))
def test_corners_project_as_opencv_has_them(seed: int) -> None:
    # cv2.projectPoints; the goal is 0.05 px of a 3840-wide frame
    plan = random_place(seed)
    path = camera_path(plan, np.linspace(0.0, 1.0, 7))
    for frame in range(7):
        pose = path.camera_m[frame], path.camera_rotation[frame]
        for block in plan.blocks:
            corners = blocking.block_mesh(plan, block).vertices_m
            corners = corners[ahead(corners, *pose) > 0.5]
            if len(corners):
                px, _ = project_px(plan, corners, *pose)
                np.testing.assert_allclose(px, opencv_px(plan, corners, *pose), atol=0.05)


@pytest.mark.parametrize("seed", range(8))
def test_rectangles_go_through_the_corners_as_opencv_has_them(seed: int) -> None:
    plan = random_place(seed)
    path = camera_path(plan, np.linspace(0.0, 1.0, 5))
    found = block_visibility.compute_visibility(plan, path)
    ground, checked = found.boxes.ground_m, 0
    for frame in range(5):
        pose = path.camera_m[frame], path.camera_rotation[frame]
        for index, block in enumerate(plan.blocks):
            corners = blocking.block_mesh(plan, block).vertices_m.copy()
            corners[:, 2] = np.maximum(corners[:, 2], ground)  # what stands in the ground isn't seen
            if block.shape not in ("box", "post") or ahead(corners, *pose).min() < 0.5:
                continue
            checked += 1
            px = opencv_px(plan, corners, *pose)
            low, high = px.min(axis=0), px.max(axis=0)
            rect = found.rectangle_px((index,))[frame]
            if block.shape == "box":
                np.testing.assert_allclose(rect, [*low, *high], atol=0.05)
            else:  # the box around a post
                assert (rect[:2] <= low + 0.05).all()
                assert (rect[2:] >= high - 0.05).all()
    assert checked > 20


def outlines_px(plan: Plan, path: CameraPath) -> Iterator[tuple[int, int, np.ndarray]]:
    """Block, frame and cv2.convexHull of its corners' pixels, of boxes and posts that lie wholly ahead."""
    ground = blocking.ground_level_m(plan)
    for frame, pose in enumerate(zip(path.camera_m, path.camera_rotation, strict=True)):
        for index, block in enumerate(plan.blocks):
            corners = blocking.block_mesh(plan, block).vertices_m.copy()
            corners[:, 2] = np.maximum(corners[:, 2], ground)  # what stands in the ground isn't seen
            if block.shape in ("box", "post") and ahead(corners, *pose).min() > 0.5:
                yield index, frame, cv2.convexHull(opencv_px(plan, corners, *pose).astype(np.float32))[:, 0]


def test_an_outline_s_area_is_its_polygon_s_by_opencv() -> None:
    # cv2.contourArea of the hull, within a thousandth (it works in single precision)
    plan = random_place(3)
    path = camera_path(plan, np.linspace(0.0, 1.0, 5))
    found = block_visibility.compute_visibility(plan, path)
    checked = 0
    for index, frame, outline in outlines_px(plan, path):
        area = found.areas_px(index, np.array([frame]))[0][0]
        assert area == pytest.approx(cv2.contourArea(outline), rel=1e-3, abs=1.0)
        checked += area > 100.0
    assert checked > 20


def test_the_part_of_an_outline_inside_the_frame_is_the_polygons_common_part_by_opencv() -> None:
    # cv2.intersectConvexConvex with the frame
    plan = random_place(5)
    path = camera_path(plan, np.linspace(0.0, 1.0, 9))
    found = block_visibility.compute_visibility(plan, path)
    width, height = plan.clip.width_px, plan.clip.height_px
    frame_ring = np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=np.float32)
    cut = 0
    for index, frame, outline in outlines_px(plan, path):
        if len(outline) < 3 or np.abs(outline).max() > 1e5:
            continue
        whole, inside = (area[0] for area in found.areas_px(index, np.array([frame])))
        common, _ = cv2.intersectConvexConvex(frame_ring, outline)
        assert inside == pytest.approx(common, rel=2e-3, abs=20.0)
        cut += 0.01 < inside / whole < 0.99
    assert cut, "no outline crosses the frame's edge, so nothing was tested"
