"""Everything that Blender is told about when the extension is enabled, and forgets when it is disabled."""

from __future__ import annotations

import bpy

from .state import files, handlers, live, shots
from .ui import (
    evening,
    gizmos,
    keymap,
    manual,
    menus,
    operators,
    overlay,
    panels,
    photo_view,
    preferences,
    presets,
    properties,
    timeline,
    translation,
)
from .ui.operators import log, preview, review, scout


def register() -> None:
    """Enable: preferences and properties first, then what uses them."""
    translation.register()
    preferences.register()
    properties.register()
    operators.register()
    presets.register()
    panels.register()
    overlay.register()
    timeline.register()
    menus.register()
    gizmos.register()
    keymap.register()
    manual.register()
    evening.register()
    photo_view.register()
    scout.begin_drawing()
    handlers.register()
    bpy.app.timers.register(_take_up, first_interval=0.0)


def unregister() -> None:
    """Disable, in the opposite order; plans stay in their scenes."""
    if bpy.app.timers.is_registered(_take_up):
        bpy.app.timers.unregister(_take_up)
    preview.stop()
    scout.end_drawing()
    review.stop()
    log.stop()
    handlers.unregister()
    manual.unregister()
    keymap.unregister()
    gizmos.unregister()
    menus.unregister()
    photo_view.unregister()
    evening.unregister()
    timeline.unregister()
    overlay.unregister()
    panels.unregister()
    presets.unregister()
    operators.unregister()
    properties.unregister()
    preferences.unregister()
    translation.unregister()
    shots.clear()
    live.clear()
    files.clear()


def _take_up() -> None:
    """Load the plans of the file that is open; its data isn't accessible while Blender registers."""
    handlers.on_load()
