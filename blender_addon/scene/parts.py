"""Which things in a .blend are Duskrail's, and how to find them again after they were renamed or moved about.

Every object or collection that Duskrail makes carries its part in a custom property. A scene's parts are
looked for among its own objects, so that scenes don't mix.
"""

from __future__ import annotations

import contextlib
import functools
import struct
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

import bpy
import numpy as np
from numpy.typing import ArrayLike

PART_KEY = "duskrail_part"
WRITTEN_KEY = "duskrail_written"  # what was written into the thing, to tell edits from what was there
INDEX_KEY = "duskrail_index"


_Parts = dict[str, list[bpy.types.Object]]  # objects by their part, in the order of their index
_Found = TypeVar("_Found")
_scanned: dict[tuple[str, int], Any] | None = None  # by what was looked for and scene, while `scanned` holds


@contextlib.contextmanager
def scanned() -> Iterator[None]:
    """Scan a scene's objects once and answer all lookups from that, instead of scanning for each.

    Holds while only this module makes, marks and removes parts; a file may have thousands of other objects.
    """
    global _scanned
    outer = _scanned
    _scanned = {} if outer is None else outer
    try:
        yield
    finally:
        _scanned = outer


def parts_changed() -> None:
    """Scan scenes again: an object was made, marked, numbered, linked or removed."""
    if _scanned is not None:
        _scanned.clear()


def once_a_scan(look: Callable[[bpy.types.Scene], _Found]) -> Callable[[bpy.types.Scene], _Found]:
    """Have something be looked for in a scene once while `scanned` holds, and each time otherwise."""

    @functools.wraps(look)
    def found(scene: bpy.types.Scene) -> _Found:
        if _scanned is None:
            return look(scene)
        key = look.__qualname__, scene.session_uid
        if key not in _scanned:
            _scanned[key] = look(scene)
        return _scanned[key]  # type: ignore[no-any-return]

    return found


@once_a_scan
def _parts_in(scene: bpy.types.Scene) -> _Parts:
    """The scene's objects that have a part."""
    known: _Parts = {}
    for thing in dict.fromkeys(scene.collection.all_objects):
        part = part_of(thing)
        if part is not None:
            known.setdefault(part, []).append(thing)
    for things in known.values():
        things.sort(key=lambda thing: int(thing.get(INDEX_KEY, 0)))
    return known


def number(thing: bpy.types.Object, index: int) -> None:
    """Give an object its place among those of its part."""
    if thing.get(INDEX_KEY) != index:
        thing[INDEX_KEY] = index
        parts_changed()


def part_of(thing: Any) -> str | None:
    """The thing's part in the plan's scene; None for what isn't Duskrail's."""
    part = thing.get(PART_KEY)
    return part if isinstance(part, str) else None


def objects_of(scene: bpy.types.Scene, part: str) -> list[bpy.types.Object]:
    """The scene's objects with that part, in the order of their index."""
    return list(_parts_in(scene).get(part, ()))


def object_of(scene: bpy.types.Scene, part: str) -> bpy.types.Object | None:
    """The scene's one object with that part, or None."""
    objects = objects_of(scene, part)
    return objects[0] if objects else None


def depsgraph_of(scene: bpy.types.Scene) -> Any:
    """The scene's dependency graph, also for a scene that no window shows."""
    return scene.view_layers[0].depsgraph


def collections_of(scene: bpy.types.Scene) -> Iterator[bpy.types.Collection]:
    """The scene's collections that Duskrail made."""
    return (c for c in scene.collection.children_recursive if part_of(c) is not None)


def collection_of(scene: bpy.types.Scene, part: str, name: str) -> bpy.types.Collection:
    """The scene's collection with that part, made and linked where it is missing."""
    for existing in collections_of(scene):
        if part_of(existing) == part:
            return existing
    made = bpy.data.collections.new(name)
    made[PART_KEY] = part
    scene.collection.children.link(made)
    return made


def ensure_object(
    scene: bpy.types.Scene, part: str, name: str, kind: type | None, collection: bpy.types.Collection
) -> bpy.types.Object:
    """The scene's one object with that part, made where it is missing or has data of another kind than this
    (None: an empty).

    Nothing is made to be thrown away: Blender relates all objects of a scene anew where data is removed.
    """
    existing = object_of(scene, part)
    if existing is not None:
        if type(existing.data) is (kind or type(None)):
            return existing
        remove(existing)
    return new_object(part, name, _new_data(kind, name), collection)


def assign(thing: Any, **values: Any) -> None:
    """Set what has another value: settings of a scene, lamp, camera or world, and parents, data and
    visibility, have Blender relate all objects of a scene anew, even where they are set to what they are.
    """
    for name, value in values.items():
        if not _is(getattr(thing, name), value):
            setattr(thing, name, value)


def assign_mesh(mesh: Any, vertices: ArrayLike, faces: Sequence[Sequence[int]]) -> bool:
    """Give a mesh these vertices (n, 3) and faces where it has others: another mesh has Blender relate all
    objects of a scene anew. Returns whether it was given them.
    """
    wanted = np.asarray(vertices, dtype=np.float32).reshape(-1, 3)
    corners = [corner for face in faces for corner in face]
    there = np.empty(wanted.size, dtype=np.float32)
    joined = np.empty(len(corners), dtype=np.int32)
    if (len(mesh.vertices), len(mesh.polygons), len(mesh.loops)) == (len(wanted), len(faces), len(corners)):
        mesh.vertices.foreach_get("co", there)
        mesh.loops.foreach_get("vertex_index", joined)
        if np.array_equal(there, wanted.ravel()) and joined.tolist() == corners:
            return False
    mesh.clear_geometry()
    mesh.from_pydata(wanted.tolist(), [], [list(face) for face in faces])
    return True


def _is(now: Any, value: Any) -> bool:
    """Whether a property of Blender's, which keeps numbers in single precision, has a value."""
    if isinstance(value, float):
        return bool(now == struct.unpack("f", struct.pack("f", value))[0])
    return bool(tuple(now) == value if isinstance(value, tuple) else now == value)


def _new_data(kind: type | None, name: str) -> Any:
    if kind is bpy.types.Mesh:
        return bpy.data.meshes.new(name)
    if kind is bpy.types.Camera:
        return bpy.data.cameras.new(name)
    if kind is bpy.types.SunLight:
        return bpy.data.lights.new(name, "SUN")
    assert kind is None, kind
    return None


def new_object(
    part: str, name: str, data: Any, collection: bpy.types.Collection, index: int | None = None
) -> bpy.types.Object:
    """A new object in a collection, marked with its part."""
    made = bpy.data.objects.new(name, data)
    made[PART_KEY] = part
    if index is not None:
        made[INDEX_KEY] = index
    collection.objects.link(made)
    parts_changed()
    return made


def remove(thing: bpy.types.Object) -> None:
    """Take an object out of the file, with its data and its keys where nobody else uses them."""
    data = thing.data
    keys = [_action_of(thing)]
    bpy.data.objects.remove(thing)
    parts_changed()
    if data is not None and data.users == 0:
        keys.append(_action_of(data))
    discard(data)
    _remove_unused(keys)


def remove_world(world: bpy.types.World) -> None:
    """Take a world out of the file, with its keys."""
    keys = [_action_of(world), _action_of(world.node_tree)]
    bpy.data.worlds.remove(world)
    _remove_unused(keys)


def stop_moving(owner: Any) -> None:
    """Take an ID's animation off it, and its keys out of the file where nobody else uses them."""
    keys = [_action_of(owner)]
    owner.animation_data_clear()
    _remove_unused(keys)


def _action_of(owner: Any) -> Any:
    animation = getattr(owner, "animation_data", None)
    return animation.action if animation else None


def _remove_unused(actions: list[Any]) -> None:
    for action in actions:
        if action is not None and action.users == 0:
            bpy.data.actions.remove(action)


def discard(data: Any) -> None:
    """Take unused object data out of the file."""
    if data is None or data.users > 0:
        return
    owners: dict[type, Any] = {
        bpy.types.Mesh: bpy.data.meshes,
        bpy.types.Camera: bpy.data.cameras,
        bpy.types.Light: bpy.data.lights,
    }
    for kind, owner in owners.items():
        if isinstance(data, kind):
            owner.remove(data)
            return
