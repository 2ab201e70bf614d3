"""Duskrail in Blender: draws a plan's frames as a scene, and reads edits of the scene back into the plan.

Nothing is imported here before Blender registers the extension, so that the command line can use single
modules.
"""

from __future__ import annotations


def register() -> None:
    """Called by Blender when the extension is enabled."""
    from .registration import register as enable

    enable()


def unregister() -> None:
    """Called by Blender when the extension is disabled; leaves nothing behind."""
    from .registration import unregister as disable

    disable()
