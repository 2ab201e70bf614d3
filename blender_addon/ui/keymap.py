"""Keys and clicks of the add-on, in Blender's add-on keymap, where users find and change them."""

from __future__ import annotations

from typing import Any

import bpy

# keymap, its space, operator, key, and how it is pressed
ITEMS: tuple[tuple[str, str, str, str, dict[str, Any]], ...] = (
    ("3D View", "VIEW_3D", "duskrail.evening", "E", {"value": "PRESS", "shift": True, "alt": True}),
    ("Time Scrub", "EMPTY", "duskrail.finding_in_timeline", "LEFTMOUSE", {"value": "PRESS"}),
    ("Dopesheet", "DOPESHEET_EDITOR", "duskrail.finding_in_timeline", "LEFTMOUSE", {"value": "PRESS"}),
)

_added: list[tuple[Any, Any]] = []


def register() -> None:
    """Add the items, where there is a keymap: not in the background."""
    manager: Any = bpy.context.window_manager
    config = manager.keyconfigs.addon
    if config is None:
        return
    for name, space, operator, key, how in ITEMS:
        keys = config.keymaps.new(name=name, space_type=space)
        _added.append((keys, keys.keymap_items.new(operator, type=key, **how)))


def unregister() -> None:
    """Take them out."""
    while _added:
        keys, item = _added.pop()
        keys.keymap_items.remove(item)
