"""The cube, light and camera that Blender puts into every new file, told from anything that somebody made."""

from __future__ import annotations

from typing import Any

import bpy
from mathutils import Matrix, Vector

from . import parts

# Where Blender's own startup file has them, read from 4.5 LTS and 5.2 LTS.
LIGHT_M, CAMERA_M = Vector((4.076245, 1.005454, 5.903862)), Vector((7.358891, -6.925791, 4.958309))
SAME_M = 1e-3
CUBE_CORNERS = 8


def remove_startup_objects(scene: bpy.types.Scene) -> int:
    """Take what Blender's startup file has out of a scene, where nobody touched it. Returns how many went.

    A file that was ever saved is left alone.
    """
    if bpy.data.filepath:
        return 0
    unused = [obj for obj in scene.collection.all_objects if _is_startup(obj)]
    for obj in unused:
        parts.remove(obj)
    return len(unused)


def _is_startup(obj: bpy.types.Object) -> bool:
    if obj.parent is not None or obj.modifiers or obj.constraints or obj.animation_data is not None:
        return False
    if obj.name == "Cube" and obj.type == "MESH":
        mesh: Any = obj.data
        corners = mesh.vertices
        is_cube = len(corners) == CUBE_CORNERS and all(
            abs(abs(x) - 1.0) < SAME_M for v in corners for x in v.co
        )
        return is_cube and obj.matrix_basis == Matrix.Identity(4)
    places = {("Light", "LIGHT"): LIGHT_M, ("Camera", "CAMERA"): CAMERA_M}
    place = places.get((obj.name, obj.type))
    return place is not None and (obj.location - place).length < SAME_M
