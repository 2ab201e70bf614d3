"""Finished frames, kept from one preview to the next under a name made of everything they depend on."""

from __future__ import annotations

import hashlib
import json
import os
import sys
import time
from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

CACHE_VARIABLE = "DUSKRAIL_CACHE"
LARGEST_BYTES = 4_000_000_000
STALE_S = 86400.0
WISHES, MOST_WISHES = "drawn.json", 40
Wish = tuple[str, str, int, int]  # look, engine, width and height in pixels
# Modules that a picture's pixels depend on: those of this layer that draw, and those of the core that shape
# what is drawn. What the rest of the core computes is in the key as numbers.
DRAWING = (
    "compat",
    "scene/blocking",
    "scene/build",
    "scene/keyframes",
    "scene/lighting",
    "scene/materials",
    "scene/nightlights",
    "scene/nodes",
    "scene/rig",
    "scene/starfield",
    "render/fastlook",
    "render/looks",
)
DRAWN = (
    "draft/lamps",
    "draft/sky",
    "draft/stars",
    "draft/stars.csv",
    "light/colour",
    "picture/optics",
    "place/blocking",
    "place/draft_shapes",
)


def cache_folder() -> Path:
    """Where finished frames are kept: $DUSKRAIL_CACHE, else the system's place for such things."""
    chosen = os.environ.get(CACHE_VARIABLE)
    if chosen:
        return Path(chosen)
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "duskrail"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "duskrail"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "duskrail"


class FrameCache:
    """A folder of finished frames as PNG. A frame is there whole or not at all."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, key: str) -> Path:
        """Where a frame with that key is, or would be."""
        return self.folder / "frames" / key[:2] / f"{key}.png"

    def working_path(self, key: str) -> Path:
        """Where to write a frame before it is finished; the folder is made. Raises OSError."""
        path = self.path(key)
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.with_name(f".{key[:16]}.{os.getpid()}.png")

    def finish(self, key: str) -> Path:
        """Move a frame from its working path to its own. Raises OSError."""
        path = self.path(key)
        self.working_path(key).replace(path)
        return path

    def has(self, key: str) -> bool:
        """Whether a finished frame is kept; it counts as used now."""
        try:
            os.utime(self.path(key))
        except OSError:
            return False
        return True

    def note_wish(self, look: str, engine: str, width_px: int, height_px: int) -> None:
        """Remember that frames were drawn in a look, by an engine, in a size: to find them again by."""
        wish = (look, engine, width_px, height_px)
        before = self.wishes()
        if before[:1] == [wish]:
            return
        after = [wish, *(other for other in before if other != wish)][:MOST_WISHES]
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(self.folder / WISHES, json.dumps(after).encode("utf-8"))
        except OSError:
            return  # the frames are found by their names all the same

    def wishes(self) -> list[Wish]:
        """Looks, engines and sizes that frames were drawn with, the latest first."""
        try:
            noted = json.loads((self.folder / WISHES).read_text(encoding="utf-8"))
            return [(str(look), str(engine), int(wide), int(high)) for look, engine, wide, high in noted]
        except (OSError, ValueError, TypeError):
            return []

    def tidy(self, largest_bytes: int = LARGEST_BYTES) -> None:
        """Remove what was left half-written long ago, and the frames used least lately beyond a size."""
        found = []
        for path in (self.folder / "frames").glob("*/*.png"):
            try:
                facts = path.stat()
                if path.name.startswith("."):
                    if time.time() - facts.st_mtime > STALE_S:
                        path.unlink()
                else:
                    found.append((facts.st_mtime, facts.st_size, path))
            except OSError:
                continue  # another preview was quicker
        total = sum(size for _, size, _ in found)
        for _, size, path in sorted(found):
            if total <= largest_bytes:
                return
            path.unlink(missing_ok=True)
            total -= size


def key_of(*parts: Any) -> str:
    """A name for a frame from everything it depends on: plain values, mappings, arrays."""
    text = json.dumps([_plain(part) for part in parts], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (str, int, float, bool)) or value is None:
        return value
    if isinstance(value, Iterable):
        return [_plain(item) for item in value]
    return str(value)


@lru_cache(maxsize=1)
def code_key() -> str:
    """Of the code that draws: a frame drawn by other code is not taken for one of this."""
    import planner_core

    digest = hashlib.sha256()
    core, layer = Path(planner_core.__file__).parent, Path(__file__).parent.parent
    for folder, names in ((layer, DRAWING), (core, DRAWN)):
        for name in names:
            digest.update((folder / (name if "." in name else f"{name}.py")).read_bytes())
    return digest.hexdigest()


def write_whole(path: Path, content: bytes) -> None:
    """Write a file under another name and move it into place. Raises OSError."""
    working = path.with_name(f".{path.name}.{os.getpid()}")
    working.write_bytes(content)
    working.replace(path)
