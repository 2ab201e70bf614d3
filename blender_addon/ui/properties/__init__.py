"""The plan's fields as Blender properties: views of the plan that the scene carries, no values of their own.

What the plan refuses stays as it was, and the panel shows why. How a field is laid out belongs to `panels`.
"""

# mypy: disable-error-code="func-returns-value"

from typing import Any

import bpy
from bpy.props import PointerProperty

from ..translation import in_own_context
from .rows import DUSKRAIL_PG_block, DUSKRAIL_PG_pose
from .settings import DUSKRAIL_PG_settings

CLASSES = (DUSKRAIL_PG_pose, DUSKRAIL_PG_block, DUSKRAIL_PG_settings)


def register() -> None:
    in_own_context(CLASSES)
    for cls in CLASSES:
        bpy.utils.register_class(cls)
    scenes: Any = bpy.types.Scene
    scenes.duskrail = PointerProperty(type=DUSKRAIL_PG_settings)


def unregister() -> None:
    scenes: Any = bpy.types.Scene
    del scenes.duskrail
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
