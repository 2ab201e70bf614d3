"""The sidebar's panels, a topic a module: layout alone, no computing and no changes of the plan."""

from __future__ import annotations

import bpy

from ..translation import in_own_context
from . import (
    blocking,
    exposure,
    file,
    log,
    move,
    photo,
    place,
    plan,
    preview,
    review,
    rig,
    scout,
    shots,
    view,
)

TOPICS = (plan, place, blocking, photo, rig, move, exposure, review, scout, preview, shots, log, file, view)
CLASSES = tuple(cls for topic in TOPICS for cls in topic.CLASSES)


def register() -> None:
    """Show the tab."""
    in_own_context(CLASSES)
    for cls in CLASSES:
        bpy.utils.register_class(cls)
    bpy.types.VIEW3D_MT_add.append(blocking.draw_add_menu)


def unregister() -> None:
    """Take the tab away."""
    bpy.types.VIEW3D_MT_add.remove(blocking.draw_add_menu)
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
