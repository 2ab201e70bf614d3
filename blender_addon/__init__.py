"""Duskrail in Blender: draws a plan's frames as a scene, and reads edits of the scene back into the plan.

Nothing is imported here before Blender registers the extension, so that the command line can use single
modules.
"""

from __future__ import annotations

import sys


def register() -> None:
    """Called by Blender when the extension is enabled."""
    from .registration import register as enable

    enable()


def unregister() -> None:
    """Called by Blender when the extension is disabled; leaves nothing behind."""
    from .registration import unregister as disable

    disable()
    if __package__.startswith("bl_ext."):
        _forget_modules()


def _forget_modules() -> None:
    """Have modules loaded anew when the extension is enabled again, maybe in another version."""
    for name in [name for name in sys.modules if name.startswith((f"{__package__}.", "planner_core"))]:
        del sys.modules[name]
