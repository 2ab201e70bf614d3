"""How a verb ends: the exit codes, and what is said in one line where an argument won't do."""

from __future__ import annotations

import importlib.util

from tools.program import is_installed, program

# done; the review found a `stop`; the input can't be used; a defect of this program; interrupted
DONE, FOUND_STOP, UNUSABLE, CRASHED, INTERRUPTED = 0, 1, 2, 3, 130


class UsageError(ValueError):
    """An argument that won't do; its message is one line."""


def need_blender() -> None:
    """Raise UsageError where there is no Blender module."""
    if importlib.util.find_spec("bpy") is None:
        raise UsageError(f"this verb needs Blender's Python module; {how_to_get_blender()}")


def how_to_get_blender() -> str:
    """What to do for Blender's Python module."""
    if is_installed():
        return (
            "install Duskrail with its extra preview on Python 3.11 or 3.13, as in "
            "pipx install --force --python 3.13 '.[preview]' in its folder"
        )
    return f"run it with {program()}, which sets it up"
