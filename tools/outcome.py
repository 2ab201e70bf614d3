"""How a verb ends: the exit codes, and what is said in one line where an argument won't do."""

from __future__ import annotations

import importlib.util

from .program import is_installed, program

# done; the review found a `stop`; the input can't be used; a defect of this program; interrupted
DONE, FOUND_STOP, UNUSABLE, CRASHED, INTERRUPTED = 0, 1, 2, 3, 130


class UsageError(ValueError):
    """An argument that won't do; its message is one line."""


class WithoutBlenderError(UsageError):
    """The verb needs Blender, whose module isn't here; an application may draw instead."""


def need_blender() -> None:
    """Raise WithoutBlenderError where there is no Blender module."""
    if importlib.util.find_spec("bpy") is None:
        raise WithoutBlenderError(f"this verb needs Blender's Python module; {how_to_get_blender()}")


def how_to_get_blender() -> str:
    """What to do for Blender: its module, or an application that draws as well."""
    or_else = "or install Blender 4.5 or later (DUSKRAIL_BLENDER=/path/to/blender where it isn't on PATH)"
    if is_installed():
        return (
            "install Duskrail with its extra preview on Python 3.11 or 3.13, as in "
            f"pipx install --force --python 3.13 '.[preview]' in its folder, {or_else}"
        )
    return f"run it with {program()}, which sets it up, {or_else}"
