"""What is known to stand in a scene as its plan has it, so that an edit costs what it touches.

A scene that was looked through once is remembered: which objects lie where, and what they are called. What
differs from that, and what Blender tells to have moved or to have another shape, is suspect; all else needs
no second look. Undo and files that are opened make everything suspect again.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np
from attrs import define, frozen
from bpy.app.handlers import persistent
from numpy.typing import NDArray

from planner_core import Plan

from ..scene import parts

LIGHT_PART = "light"


@frozen(eq=False)
class _Row:
    """The objects of one collection, in its order: their session_uids (n,), where they stand on what they
    hang on, (n, 16), and their names. Only of collections of ours is more known than the uids.
    """

    part: str | None
    uids: NDArray[np.int32]
    places: NDArray[np.float32]
    names: tuple[str, ...]


@define(eq=False)
class _Standing:
    """A scene as it was looked through last, and the session_uids of what is suspect since."""

    plan: Plan
    rows: dict[int, _Row]
    suspects: set[int]


_known: dict[int, _Standing] = {}  # by scene


def forget(scene: Any = None) -> None:
    """Know nothing any more, of one scene or of all."""
    if scene is None:
        _known.clear()
    else:
        _known.pop(scene.session_uid, None)


@persistent
def hear(_scene: Any, depsgraph: Any) -> None:
    """Take note of what Blender evaluated anew: objects that moved, or have another shape, and lenses."""
    if not _known:
        return
    changed = {
        update.id.original.session_uid
        for update in depsgraph.updates
        if update.is_updated_geometry
        or update.is_updated_transform
        or isinstance(update.id, bpy.types.Camera)
    }
    for known in _known.values():
        known.suspects |= changed


def suspects(scene: bpy.types.Scene, plan: Plan) -> set[int] | None:
    """The session_uids of objects that may differ from what was drawn of this plan; None where any may, and
    where others may be there than were.
    """
    known = _known.get(scene.session_uid)
    if known is None or known.plan is not plan or hear not in bpy.app.handlers.depsgraph_update_post:
        return None
    rows = _rows(scene)
    if rows.keys() != known.rows.keys():
        return None
    for uid, row in rows.items():
        before = known.rows[uid]
        if not np.array_equal(row.uids, before.uids):
            return None
        moved = np.flatnonzero((row.places != before.places).any(axis=1)).tolist()
        renamed = [] if row.names == before.names else range(len(row.names))
        known.suspects |= {int(row.uids[i]) for i in moved}
        known.suspects |= {int(row.uids[i]) for i in renamed if row.names[i] != before.names[i]}
    known.rows = rows
    for row in rows.values():
        if row.part == LIGHT_PART:  # sun and moon turn with every other day, and nobody moves them
            known.suspects.difference_update(row.uids.tolist())
    return set(known.suspects)


def looked_through(scene: bpy.types.Scene, plan: Plan) -> None:
    """Note that everything in the scene stands as it was drawn of this plan."""
    _known[scene.session_uid] = _Standing(plan, _rows(scene), set())


def drawn(scene: bpy.types.Scene, before: Plan | None, plan: Plan) -> None:
    """Note that what differs between two plans was drawn; what was suspect stays so."""
    known = _known.get(scene.session_uid)
    if known is not None and known.plan is before:
        known.plan, known.rows = plan, _rows(scene)
    else:
        forget(scene)


def of(things: Sequence[bpy.types.Object], suspected: set[int] | None) -> list[int]:
    """Which of these objects are suspect, by their place among them."""
    if suspected is None:
        return list(range(len(things)))
    if not suspected:
        return []
    return [number for number, thing in enumerate(things) if thing.session_uid in suspected]


def _rows(scene: bpy.types.Scene) -> dict[int, _Row]:
    """The objects of the scene's collections as they are now."""
    rows = {}
    for collection in (scene.collection, *scene.collection.children_recursive):
        things: Any = collection.objects
        count = len(things)
        uids = np.empty(count, dtype=np.int32)
        things.foreach_get("session_uid", uids)
        part = parts.part_of(collection)
        is_ours = part is not None
        places = np.empty(16 * count if is_ours else 0, dtype=np.float32)
        if is_ours:
            things.foreach_get("matrix_basis", places)
        names = tuple(thing.name for thing in things) if is_ours else ()
        rows[collection.session_uid] = _Row(part, uids, places.reshape(-1, 16), names)
    return rows
