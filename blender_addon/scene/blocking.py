"""Blocks as meshes in collections by role, with plain draft colours; and the level ground that reaches to
the horizon.

A block stays an ordinary object. Its mesh has the size the plan gives and its origin is the block's centre
(a prism's: the middle of its footprint, at its base; a ridge's: the rail's start, from where its skyline is
seen).
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import attrs
import bpy
import numpy as np
from mathutils import Matrix, Vector
from numpy.typing import NDArray

from planner_core.place import draft_shapes
from planner_core.place.blocking import block_label, block_mesh, ground_level_m
from planner_core.place.surface_colours import block_colour, level_ground_colour
from planner_core.plan.model import Block, Plan
from planner_core.rig import geometry

from . import materials, parts
from .rig import flat

ROLE_COLLECTIONS = {
    "subject": "Subject",
    "foreground": "Foreground",
    "background": "Background",
    "ground": "Ground",
    "water": "Water",
}
ROLE_KEY = "duskrail_role"
SHAPE_KEY = "duskrail_shape"
NAME_KEY = "duskrail_name"  # the name as the plan has it; Blender's own may end in .001
SHOWN_KEY = "duskrail_shown_name"
OWN_MESH_KEY = "duskrail_own_mesh"  # a mesh made by the user, which the add-on never redraws

THINNEST_PX, UPRIGHT = 1.25, 3.0  # widths of what stands upright, and so many times as high as wide: ours
GROUND_RINGS_M = (60.0, 600.0, 6000.0, 80000.0)
GROUND_BELOW_M = 0.03  # how far the level ground stays under blocks that lie on it


def draw_blocks(scene: bpy.types.Scene, plan: Plan) -> None:
    """All blocks of the plan and the level ground, replacing those drawn before; own meshes of the user
    stay.
    """
    old = block_objects(scene)
    if any(is_own(thing) for thing in old):
        for layer in scene.view_layers:
            layer.update()
    chosen = _match(plan, old)
    for surplus in old:
        if surplus not in chosen and parts.part_of(surplus) is not None:
            release(scene, surplus)
    for index, (block, thing) in enumerate(zip(plan.blocks, chosen, strict=True)):
        draw_block(scene, plan, index, block, thing)
    draw_level_ground(scene, plan)


def block_objects(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Objects that are blocks: those drawn, in the plan's order, then copies of them and the user's own, by
    name.

    A mesh of the user's own is a block once it lies in the collection of a role.
    """
    return list(_block_objects(scene))


@parts.once_a_scan
def _block_objects(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    first: dict[int, bpy.types.Object] = {}
    copies: list[bpy.types.Object] = []
    for thing in parts.objects_of(scene, "block"):
        number = int(thing.get(parts.INDEX_KEY, -1))
        if number < 0 or number in first:
            copies.append(thing)
        else:
            first[number] = thing
    copies += [
        thing
        for collection in parts.collections_of(scene)
        if str(parts.part_of(collection)).startswith("role:")
        for thing in collection.objects
        if thing.type == "MESH" and parts.part_of(thing) is None
    ]
    return [*first.values(), *sorted(dict.fromkeys(copies), key=lambda thing: thing.name)]


def is_own(thing: bpy.types.Object) -> bool:
    """Whether a block's mesh was made by the user, so that the add-on never redraws it. A block with
    modifiers or shape keys counts as one: its shape is their result.
    """
    return parts.part_of(thing) is None or bool(thing.get(OWN_MESH_KEY)) or is_shaped_later(thing)


def is_shaped_later(obj: bpy.types.Object) -> bool:
    """Whether Blender shows another shape than the object's mesh has: by modifiers or shape keys."""
    mesh: Any = obj.data
    return bool(obj.modifiers) or getattr(mesh, "shape_keys", None) is not None


def shown_mesh(obj: bpy.types.Object) -> Any:
    """The mesh as Blender shows it, with modifiers and shape keys, as of its last evaluation."""
    if not is_shaped_later(obj):
        return obj.data
    scenes = obj.users_scene
    return obj.evaluated_get(parts.depsgraph_of(scenes[0])).data if scenes else obj.data


def keeps_name(obj: bpy.types.Object) -> bool:
    """Whether an object is called what it was drawn as, but for the number that Blender puts after a name
    that is taken: a full copy of a scene numbers every object anew.
    """
    shown = obj.get(SHOWN_KEY)
    return isinstance(shown, str) and (shown == obj.name or _unnumbered(shown) == _unnumbered(obj.name))


def _unnumbered(name: str) -> str:
    stem, dot, number = name.rpartition(".")
    return stem if dot and len(number) >= 3 and number.isdecimal() else name


def release(scene: bpy.types.Scene, thing: bpy.types.Object) -> None:
    """Take a block out of the scene; a mesh of the user's own only loses its mark and its role's
    collection.
    """
    if not is_own(thing):
        parts.remove(thing)
        return
    for key in [key for key in thing.keys() if key.startswith("duskrail_")]:  # noqa: SIM118  # an object is no dict
        del thing[key]
    parts.parts_changed()
    for collection in list(thing.users_collection):
        if str(parts.part_of(collection) or "").startswith("role:"):
            collection.objects.unlink(thing)
    if not thing.users_collection:
        scene.collection.objects.link(thing)
    parts.parts_changed()


def _match(plan: Plan, old: list[bpy.types.Object]) -> list[bpy.types.Object | None]:
    """Which object each block had before: the one with its name, else the one with its number."""
    left = dict(enumerate(old))
    chosen: list[bpy.types.Object | None] = [None] * len(plan.blocks)

    def name_of(thing: bpy.types.Object) -> object:
        return thing.get(NAME_KEY) if keeps_name(thing) else thing.name

    def number_of(thing: bpy.types.Object) -> object:
        return thing.get(parts.INDEX_KEY)

    for mark_of in (name_of, number_of):
        by_mark = {mark_of(left[number]): number for number in sorted(left, reverse=True)}
        for index, block in enumerate(plan.blocks):
            mark = block.name if mark_of is name_of else index
            if chosen[index] is None and mark != "" and mark in by_mark:
                chosen[index] = left.pop(by_mark.pop(mark))
    return chosen


def draw_block(
    scene: bpy.types.Scene, plan: Plan, index: int, block: Block, thing: bpy.types.Object | None = None
) -> bpy.types.Object:
    """One block, into the object it had before if there is one."""
    collection = parts.collection_of(scene, f"role:{block.role}", ROLE_COLLECTIONS[block.role])
    label = block_label(plan, index)
    if thing is None:
        thing = parts.new_object("block", label, bpy.data.meshes.new(label), collection, index)
    elif thing.name != label:
        thing.name = label
    _move_to(thing, collection)
    own = is_own(thing)
    if own:
        if parts.part_of(thing) != "block" or not thing.get(OWN_MESH_KEY):
            thing[parts.PART_KEY], thing[OWN_MESH_KEY] = "block", True
            parts.parts_changed()
    else:
        place, vertices, faces = local_mesh(plan, block)
        mesh = thing.data
        assert isinstance(mesh, bpy.types.Mesh)
        stands_for = draft_shapes.drawn_shape(plan, block)
        if parts.assign_mesh(mesh, *(stands_for or (vertices, faces))):
            if block.shape == "ridge" or (block.shape == "post" and stands_for is not None):
                mesh.polygons.foreach_set("use_smooth", [True] * len(mesh.polygons))
            elif block.shape == "post":
                _round(mesh)
            mesh.update()
        # else the tide would count as part of the place
        parts.assign(thing, parent=None, rotation_mode="XYZ", delta_location=(0.0, 0.0, 0.0))
        thing.matrix_basis = place
        parts.assign(
            thing, color=tuple(np.array([*block_colour(plan, index), 1.0], dtype=np.float32).tolist())
        )
        _paint(mesh, block.role)
    parts.number(thing, index)
    thing[ROLE_KEY] = block.role
    thing[SHAPE_KEY] = block.shape
    thing[NAME_KEY] = block.name
    thing[SHOWN_KEY] = thing.name
    thing[parts.WRITTEN_KEY] = [*flat(thing.matrix_world if own else thing.matrix_basis), *mesh_sums(thing)]
    return thing


def keep_thin_blocks(scene: bpy.types.Scene, plan: Plan, width_px: int) -> None:
    """Draw upright posts and masts no thinner than a picture so wide can show: few samples would miss them.

    The scene is one that is drawn and thrown away; what is read back must keep its size.
    """
    pixel_rad = plan.camera.sensor_width_mm / plan.camera.focal_length_mm / width_px
    eye = Vector(geometry.head_middle_m(plan).tolist())
    for thing in parts.objects_of(scene, "block"):
        if thing.get(SHAPE_KEY) not in ("post", "box") or is_own(thing):
            continue
        sides = thing.dimensions
        thinnest = THINNEST_PX * pixel_rad * (thing.matrix_basis.translation - eye).length
        if max(sides[:2]) < thinnest and sides[2] > UPRIGHT * max(sides[:2]):
            thing.scale = [max(1.0, thinnest / side) for side in sides[:2]] + [1.0]


def local_mesh(plan: Plan, block: Block) -> tuple[Matrix, NDArray[np.float64], tuple[tuple[int, ...], ...]]:
    """Where a block stands, and its mesh (vertices (n, 3) in metres and faces) as seen from there."""
    if block.shape == "prism":
        outline = np.asarray(block.footprint_m, dtype=np.float64)
        middle = (outline.min(axis=0) + outline.max(axis=0)) / 2.0
        origin = np.array([*middle, block.base_m])
    elif block.shape == "ridge":
        origin = np.asarray(plan.rig.origin_m, dtype=np.float64)
    else:
        upright = attrs.evolve(block, centre_m=(0.0, 0.0, 0.0), turn_deg=0.0)
        mesh = block_mesh(plan, upright)
        turn = Matrix.Rotation(-math.radians(block.turn_deg), 4, "Z")
        return Matrix.Translation(block.centre_m or (0.0, 0.0, 0.0)) @ turn, mesh.vertices_m, mesh.faces
    mesh = block_mesh(plan, block)
    return Matrix.Translation(origin.tolist()), mesh.vertices_m - origin, mesh.faces


def mesh_sums(thing: bpy.types.Object) -> list[float]:
    """A few numbers that change with a mesh's vertices: their count, and sums of their coordinates."""
    vertices = shown_mesh(thing).vertices
    count = len(vertices)
    coordinates = np.empty(3 * count, dtype=np.float32)
    vertices.foreach_get("co", coordinates)
    points = coordinates.astype(np.float64)
    sums = _counted(count) @ points.reshape(count, 3)
    return [float(count), *sums.tolist(), float(points @ points)]


@lru_cache(maxsize=64)
def _counted(count: int) -> NDArray[np.float64]:
    """1, 2, 3 …: vertices that change places change their sums."""
    return np.arange(1.0, count + 1.0)


def _round(mesh: bpy.types.Mesh) -> None:
    """Shade a post's side as round, with sharp rims."""
    sides = [len(face.vertices) == 4 for face in mesh.polygons]
    mesh.polygons.foreach_set("use_smooth", sides)
    rims = {tuple(sorted(key)) for face in mesh.polygons if len(face.vertices) != 4 for key in face.edge_keys}
    mesh.edges.foreach_set("use_edge_sharp", [tuple(sorted(edge.vertices)) in rims for edge in mesh.edges])


def draw_level_ground(scene: bpy.types.Scene, plan: Plan) -> None:
    """The level ground to the horizon, just under the ground and water blocks where there are any."""
    collection = parts.collection_of(scene, "role:ground", ROLE_COLLECTIONS["ground"])
    ground = parts.ensure_object(scene, "ground", "Level ground", bpy.types.Mesh, collection)
    mesh = ground.data
    assert isinstance(mesh, bpy.types.Mesh)
    vertices, faces = _rings()
    if len(mesh.vertices) != len(vertices) or len(mesh.polygons) != len(faces):
        mesh.clear_geometry()
        mesh.from_pydata(vertices, [], faces)
        mesh.update()
    covered = any(block.role in ("ground", "water") for block in plan.blocks)
    x, y, _ = plan.rig.origin_m
    ground.matrix_basis = Matrix.Translation(
        (x, y, ground_level_m(plan) - (GROUND_BELOW_M if covered else 0.0))
    )
    ground.color = (*level_ground_colour(), 1.0)
    parts.assign(ground, hide_select=True)
    _paint(mesh, "ground")


def _paint(mesh: bpy.types.Mesh, role: str) -> None:
    """The material of a role as the mesh's only one."""
    material = materials.role_material(role)
    if list(mesh.materials) != [material]:
        mesh.materials.clear()
        mesh.materials.append(material)


def _rings() -> tuple[list[tuple[float, float, float]], list[tuple[int, ...]]]:
    """Squares within squares: small faces near the camera, where precision counts, and large ones far
    away.
    """
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    vertices = [(x * half, y * half, 0.0) for half in GROUND_RINGS_M for x, y in corners]
    faces: list[tuple[int, ...]] = [(0, 1, 2, 3)]
    for ring in range(1, len(GROUND_RINGS_M)):
        inner, outer = 4 * (ring - 1), 4 * ring
        faces += [(outer + i, outer + (i + 1) % 4, inner + (i + 1) % 4, inner + i) for i in range(4)]
    return vertices, faces


def _move_to(thing: bpy.types.Object, collection: bpy.types.Collection) -> None:
    """Keep an object in its role's collection, and out of those of other roles."""
    for other in list(thing.users_collection):
        if other != collection and str(parts.part_of(other) or "").startswith("role:"):
            other.objects.unlink(thing)
            parts.parts_changed()
    if collection not in list(thing.users_collection):
        collection.objects.link(thing)
        parts.parts_changed()
