"""The fast look's colours as the texture of its meshes: a frame's colours are one small image's pixels.

Blender takes a mesh anew, with the edges that throw its shadow, whenever its colours change; an image costs
it next to nothing. Faces that have the same colours at their corners share four texels.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bmesh
import bpy
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from .. import compat
from ..scene import parts

Rows = NDArray[np.intp]

PART = "fast look colours"
CORNERS = 4  # of a face at most, unless all of them have one colour
CORNERS_PER_SIDE = 2  # of the four texels of a face
TEXEL_OF_CORNER = np.array([(0, 0), (1, 0), (1, 1), (0, 1)])


@frozen(eq=False)
class Layout:
    """Which of a frame's colours each texel has, row by row from below, (upward * across,). Of triangles the
    fourth texel stands for none: it is what lets the other three change evenly over it. Texels with such
    texels' numbers are in `fourth` (triangles,), and of each the numbers of the three (triangles, 3).
    """

    across: int
    upward: int
    of_texels: Rows
    fourth: Rows
    others: Rows

    def texels(self, colours: NDArray[np.float32]) -> NDArray[np.float32]:
        """RGBA of all texels, as Blender's images have them, for a frame's colours (n, 3)."""
        opaque = np.ones((len(colours), 4), dtype=np.float32)
        opaque[:, :3] = colours
        shown = opaque.take(self.of_texels, axis=0)
        first, second, third = (shown[self.others[:, k]] for k in range(3))
        shown[self.fourth] = first - second + third
        return shown.ravel()


def laid_out(faces: Sequence[tuple[Rows, Rows, Rows]]) -> tuple[Layout, list[NDArray[np.float32]]]:
    """The texels of meshes, and where on the image each corner of each mesh is.

    A mesh is given by which colour each of its corners has, and where each of its faces begins and how many
    corners it has.
    """
    kinds = [_kinds(*one) for one in faces]
    all_kinds = np.concatenate([np.zeros((0, CORNERS), np.intp), *kinds])
    different, which = np.unique(all_kinds, axis=0, return_inverse=True)
    across = max(1, int(np.ceil(np.sqrt(len(different)))))
    upward = max(1, -(-len(different) // across))
    number = np.arange(len(different))
    first = np.column_stack([number % across, number // across])
    spots = CORNERS_PER_SIDE * first[:, None] + TEXEL_OF_CORNER
    texel = spots[..., 0] + CORNERS_PER_SIDE * across * spots[..., 1]
    of_texels = np.zeros(CORNERS * across * upward, np.intp)
    of_texels[texel] = np.maximum(different, 0)
    triangle = texel[different[:, 3] < 0] if len(different) else texel
    size = CORNERS_PER_SIDE * across, CORNERS_PER_SIDE * upward
    layout = Layout(*size, of_texels, triangle[:, 3], triangle[:, :3])
    ends = np.cumsum([len(kind) for kind in kinds])
    places = []
    for groups, (_, starts, sizes) in zip(np.split(which.ravel(), ends[:-1]), faces, strict=True):
        corner = np.minimum(np.arange(int(sizes.sum())) - np.repeat(starts, sizes), CORNERS - 1)
        middle = spots[np.repeat(groups, sizes), corner] + 0.5
        places.append((middle / np.array(size)).astype(np.float32))
    return layout, places


def _kinds(of_corners: Rows, starts: Rows, sizes: Rows) -> Rows:
    """For each face the colours of its four corners, the fourth −1 for a triangle of more than one."""
    first_four = of_corners[starts[:, None] + np.minimum(np.arange(CORNERS), sizes[:, None] - 1)]
    uneven = (first_four != first_four[:, :1]).any(axis=1)
    first_four[uneven & (sizes == 3), 3] = -1
    return np.asarray(first_four)


class ColourAtlas:
    """The image, on all of a scene's meshes."""

    def __init__(self, meshes: Sequence[Any], of_corners: Sequence[Rows]) -> None:
        """of_corners says for each corner of each mesh which of a frame's colours it has. Faces that need it
        are cut into triangles.
        """
        cut = [cut_into_triangles(mesh, rows) for mesh, rows in zip(meshes, of_corners, strict=True)]
        faces = [(rows, *_faces_of(mesh)) for mesh, rows in zip(meshes, cut, strict=True)]
        self.layout, places = laid_out(faces)
        size = self.layout.across, self.layout.upward
        image: Any = bpy.data.images.new("Draft colours", *size, float_buffer=True)
        self.image = image
        image[parts.PART_KEY] = PART
        image.colorspace_settings.name = "Non-Color"  # they are linear as they are
        image.use_half_precision = False
        system: Any = bpy.context.preferences.system  # type: ignore[union-attr]
        self.system = system
        self.limit = self.system.gl_texture_limit  # a smaller texture would mix up all colours
        self.system.gl_texture_limit = "CLAMP_OFF"
        self.material = bpy.data.materials.new("Draft colours")
        self.material[parts.PART_KEY] = PART
        tree: Any = compat.use_nodes(self.material)
        texture = tree.nodes.new("ShaderNodeTexImage")
        texture.image, texture.interpolation = image, "Linear"
        tree.nodes.active = texture  # the one that Workbench shows
        for mesh, where in zip(meshes, places, strict=True):
            _wear(mesh, self.material, where)

    def show(self, texels: NDArray[np.float32]) -> None:
        """Put a frame's texels in."""
        self.image.pixels.foreach_set(texels)
        self.image.update()

    def remove(self) -> None:
        """Take image and material out of the file, and leave the preferences as they were."""
        self.system.gl_texture_limit = self.limit
        bpy.data.materials.remove(self.material)
        bpy.data.images.remove(self.image)


def _faces_of(mesh: Any) -> tuple[Rows, Rows]:
    """Where each face of a mesh begins among its corners, and how many it has."""
    starts, sizes = np.empty(len(mesh.polygons), np.int32), np.empty(len(mesh.polygons), np.int32)
    mesh.polygons.foreach_get("loop_start", starts)
    mesh.polygons.foreach_get("loop_total", sizes)
    return starts.astype(np.intp), sizes.astype(np.intp)


def _wear(mesh: Any, material: bpy.types.Material, places: NDArray[np.float32]) -> None:
    mesh.materials.clear()
    mesh.materials.append(material)
    mesh.polygons.foreach_set("material_index", np.zeros(len(mesh.polygons), np.int32))
    for layer in list(mesh.uv_layers):
        mesh.uv_layers.remove(layer)
    mesh.uv_layers.new(name=PART).data.foreach_set("uv", places.ravel())


def cut_into_triangles(mesh: Any, of_corners: Rows) -> Rows:
    """Cut those faces of a mesh that have over four corners and more than one colour into triangles; which
    colour each corner then has.
    """
    starts, sizes = _faces_of(mesh)
    most, least = (
        np.asarray(f.reduceat(of_corners, starts)) if len(starts) else starts
        for f in (np.maximum, np.minimum)
    )
    uneven = np.flatnonzero((sizes > CORNERS) & (most != least))
    if not len(uneven):
        return of_corners
    held = mesh.attributes.new(PART, "INT", "CORNER")
    held.data.foreach_set("value", of_corners.astype(np.int32))
    cut: Any = bmesh.new()
    try:
        cut.from_mesh(mesh)
        cut.faces.ensure_lookup_table()
        bmesh.ops.triangulate(cut, faces=[cut.faces[int(number)] for number in uneven])
        cut.to_mesh(mesh)
    finally:
        cut.free()
    after = np.empty(len(mesh.loops), np.int32)
    held = mesh.attributes[PART]
    held.data.foreach_get("value", after)
    mesh.attributes.remove(held)
    return after.astype(np.intp)
