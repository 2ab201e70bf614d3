"""The fast look's colours as a texture: each corner of each face shows its own."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon import compat
from blender_addon.render import engines, fastatlas, looks
from tests.addon.scenes import drawn, texels
from tests.addon.test_evening import short_evening, sizes_of_file

POINTS = [(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), (4, 0, 0), (5, 1, 0), (4, 2, 0)]
FACES = [(0, 1, 2, 3), (1, 4, 2), (1, 4, 5, 6, 2)]  # of four corners, of three, of five
COLOURS = np.random.default_rng(5).uniform(0.0, 3.0, (9, 3)).astype(np.float32)


def mesh_of(faces: list[tuple[int, ...]]) -> Any:
    made: Any = bpy.data.meshes.new("Test")
    made.from_pydata(POINTS, [], faces)
    return made


def points_of_corners(mesh: Any) -> Any:
    numbers = np.empty(len(mesh.loops), dtype=np.int32)
    mesh.loops.foreach_get("vertex_index", numbers)
    return numbers.astype(np.intp)


def between(colours: Any, spot: Any) -> Any:
    """What a texture shows between the middles of texels: OpenGL's linear filter."""
    rows, columns, _ = colours.shape
    column, row = min(int(spot[0]), columns - 2), min(int(spot[1]), rows - 2)
    right, up = spot[0] - column, spot[1] - row
    lower = colours[row, column] * (1.0 - right) + colours[row, column + 1] * right
    upper = colours[row + 1, column] * (1.0 - right) + colours[row + 1, column + 1] * right
    return lower * (1.0 - up) + upper * up


def shown_by(faces: list[tuple[int, ...]], of_points: Any) -> tuple[Any, Any, Any]:
    mesh = mesh_of(faces)
    atlas = fastatlas.ColourAtlas([mesh], [of_points[points_of_corners(mesh)]])
    atlas.show(atlas.layout.texels(COLOURS))
    return mesh, *texels(mesh)


def test_every_corner_shows_its_own_colour() -> None:
    of_points = np.array([3, 1, 4, 1, 5, 8, 2])
    mesh, colours, spots = shown_by(FACES, of_points)
    for spot, point in zip(spots, points_of_corners(mesh), strict=True):
        column, row = spot.round().astype(int)
        assert colours[row, column] == pytest.approx(COLOURS[of_points[point]], rel=1e-6)


def test_over_a_triangle_the_colour_changes_evenly() -> None:
    _, colours, spots = shown_by([(1, 4, 2)], np.arange(7))
    for shares in ([0.2, 0.3, 0.5], [0.7, 0.1, 0.2], [0.0, 0.5, 0.5], [1 / 3, 1 / 3, 1 / 3]):
        expected = np.array(shares) @ COLOURS[[1, 4, 2]]
        assert between(colours, np.array(shares) @ spots) == pytest.approx(expected, rel=1e-4)


def test_faces_of_one_colour_share_their_texels_however_many_corners_they_have() -> None:
    mesh, _, spots = shown_by(FACES, np.full(7, 2))
    assert len(mesh.polygons) == len(FACES)
    assert len(np.unique(np.floor(spots.round() / 2.0), axis=0)) == 1


def test_a_face_of_five_corners_that_differ_is_cut_into_triangles() -> None:
    mesh, _, _ = shown_by([FACES[2]], np.arange(7))
    assert [len(face.vertices) for face in mesh.polygons] == [3, 3, 3]
    assert sum(face.area for face in mesh.polygons) == pytest.approx(5.0)


def test_a_clip_leaves_neither_image_nor_material_in_the_file() -> None:
    scene, frames = drawn(short_evening())
    looks.Look(scene, frames, engines.Engine(name=compat.WORKBENCH, words="Workbench"))
    before = sizes_of_file()
    look = looks.Look(scene, frames, engines.Engine(name=compat.WORKBENCH, words="Workbench"))
    look.show(1)
    look.clear()
    after = sizes_of_file()
    assert (after["images"], after["materials"]) == (before["images"], before["materials"])
