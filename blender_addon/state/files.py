"""Plan files of this session: what was read from or written to each, and which name a scene's plan goes by.

The scene's own properties keep it for the next session. Undo sets those back, though it doesn't set back the
disk; so within a session what is noted here holds.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from attrs import frozen

from planner_core import Plan
from planner_core.plan.file import plan_to_text

from ..scene import store


@frozen
class OnDisk:
    """Fingerprints of a file's content, and of the plan that it holds."""

    file_digest: str
    plan_digest: str


_on_disk: dict[str, OnDisk] = {}
_saved_as: dict[int, dict[str, str]] = {}  # by scene: the name a plan had, and the one it was saved under


def clear() -> None:
    """Forget every file."""
    _on_disk.clear()
    _saved_as.clear()


def digest_of(path: str) -> str:
    """A fingerprint of a file's content; nothing where it can't be read."""
    try:
        return hashlib.sha256(Path(path).read_bytes()).hexdigest()
    except OSError:
        return ""


def text_digest(text: str) -> str:
    """A fingerprint of a plan's text."""
    return hashlib.sha256(text.encode()).hexdigest()


def opened(scene: Any, path: str, plan: Plan) -> None:
    """Note that the scene's plan was read from a file. Undoing it gives back the name from before."""
    _saved_as.pop(scene.session_uid, None)
    _note(scene, path, plan)


def saved(scene: Any, path: str, plan: Plan) -> None:
    """Note that the scene's plan was written to a file, which no undo takes back."""
    before = scene.duskrail.file
    if before != path:
        _saved_as.setdefault(scene.session_uid, {})[before] = path
    _note(scene, path, plan)


def _note(scene: Any, path: str, plan: Plan) -> None:
    settings = scene.duskrail
    noted = OnDisk(digest_of(path), text_digest(plan_to_text(plan)))
    _on_disk[path] = noted
    settings.file, settings.file_digest, settings.saved_digest = path, noted.file_digest, noted.plan_digest


def after_undo(scene: Any) -> None:
    """Give back the file name that undo took away although the file was written."""
    settings = getattr(scene, "duskrail", None)
    names = _saved_as.get(scene.session_uid, {})
    if settings is None or scene.library is not None:
        return
    seen = {settings.file}
    name = settings.file
    while name in names and names[name] not in seen:
        name = names[name]
        seen.add(name)
    if name != settings.file:
        settings.file = name


def last_known(scene: Any) -> OnDisk:
    """What the scene's plan file held when it was last read or written."""
    settings = scene.duskrail
    return _on_disk.get(settings.file, OnDisk(settings.file_digest, settings.saved_digest))


def changed_on_disk(scene: Any, path: str) -> bool:
    """Whether the plan's file, at its absolute path, is there and no longer what was last read or written."""
    digest = digest_of(path) if path else ""
    return bool(digest) and digest != last_known(scene).file_digest


def is_unsaved(scene: Any) -> bool:
    """Whether the plan differs from what was last read or written."""
    text = store.stored_text(scene)
    return text is None or text_digest(text) != last_known(scene).plan_digest
