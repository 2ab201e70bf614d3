"""How a verb ends: the exit codes, and what is said in one line where an argument won't do."""

from __future__ import annotations

import importlib.util

# done; the review found a `stop`; the input can't be used; a defect of this program; interrupted
DONE, FOUND_STOP, UNUSABLE, CRASHED, INTERRUPTED = 0, 1, 2, 3, 130


class UsageError(ValueError):
    """An argument that won't do; its message is one line."""


def need_blender() -> None:
    """Raise UsageError where there is no Blender module."""
    if importlib.util.find_spec("bpy") is None:
        raise UsageError(
            "this verb needs Blender's Python module; run it with tools/bootstrap.py, which sets it up"
        )
