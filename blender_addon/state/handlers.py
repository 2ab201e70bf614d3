"""What the add-on listens to: things moved in the view, undo and redo, files loaded.

Each handler leaves at once where the scene has no plan, and there is none for frame changes: the readout is
made when the view is drawn.
"""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..scene import parts, store
from . import files, live, shots, standing
from .listening import listen, stop_listening

LISTENED_TO = {"block", "pose", "rail"}


@persistent
def on_depsgraph_update(scene: Any, depsgraph: Any) -> None:
    """Something was moved, edited, added or deleted: take it into the plan if it is one of ours."""
    if live.is_busy() or not store.has_plan(scene):
        return
    if live.is_behind(scene):
        live.catch_up(scene)
        return
    if not _concerns_us(depsgraph):
        return
    live.take_edits(scene, curves=False)


def _concerns_us(depsgraph: Any) -> bool:
    """Whether an update is about a block, pose or rail, or about which objects there are."""
    for update in depsgraph.updates:
        changed = update.id
        if isinstance(changed, bpy.types.Object):
            if parts.part_of(changed) in LISTENED_TO:
                return True
        elif isinstance(changed, bpy.types.Scene | bpy.types.Collection | bpy.types.Mesh | bpy.types.Camera):
            return True
    return False


@persistent
def on_undo(scene: Any, *_more: Any) -> None:
    """After undo and redo the scene is what counts; the plan's text is updated from it."""
    standing.forget()
    for other in bpy.data.scenes:
        if store.has_plan(other):
            files.after_undo(other)
            live.forget_what_was_said(other)
    live.after_undo()
    live.show()


@persistent
def on_load(*_more: Any) -> None:
    """Another file: nothing that was known holds any more."""
    shots.clear()
    live.clear()
    files.clear()
    for scene in bpy.data.scenes:
        if store.has_plan(scene):
            live.match_lists(scene, live.plan_of(scene))
            live.ask_for_review(scene)
            live.ask_for_windows(scene)


@persistent
def before_saving(*_more: Any) -> None:
    """A file is saved with its plans up to date and in the light of their days, whichever was tried out."""
    scenes: Any = bpy.data.scenes
    standing.forget()
    live.light_up_now()
    for scene in scenes:
        if live.is_behind(scene):
            live.catch_up(scene)
        settings = getattr(scene, "duskrail", None)
        if settings is not None and scene.library is None and settings.look_days:
            settings.look_days = 0


HANDLERS = (
    ("save_pre", before_saving),
    ("depsgraph_update_post", standing.hear),
    ("depsgraph_update_post", on_depsgraph_update),
    ("undo_post", on_undo),
    ("redo_post", on_undo),
    ("load_post", on_load),
)


def register() -> None:
    """Begin to listen."""
    listen(HANDLERS)


def unregister() -> None:
    """Stop listening."""
    stop_listening(HANDLERS)
