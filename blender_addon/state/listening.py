"""Being told of what happens in Blender: functions put on its lists of handlers, and taken off again."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import bpy

Handler = tuple[str, Callable[..., Any]]  # the list of bpy.app.handlers, and what is put on it


def listen(handlers: Iterable[Handler]) -> None:
    """Begin to be told, once each."""
    for name, function in handlers:
        listeners = getattr(bpy.app.handlers, name)
        if function not in listeners:
            listeners.append(function)


def stop_listening(handlers: Iterable[Handler]) -> None:
    """Be told no longer."""
    for name, function in handlers:
        listeners = getattr(bpy.app.handlers, name)
        if function in listeners:
            listeners.remove(function)
