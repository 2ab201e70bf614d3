"""What the buttons do: operators of a few lines that change the plan through `state.live`; no layout here."""

import bpy

from ..translation import in_own_context
from . import blocks, log, photo, plan, plan_file, preview, review, rig, scout, shots, timing, view

CLASSES = tuple(
    cls
    for module in (plan, timing, view, plan_file, blocks, photo, rig, review, preview, scout, shots, log)
    for cls in module.CLASSES
)


def register() -> None:
    """Make the buttons known."""
    in_own_context(CLASSES)
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    """Forget them."""
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
