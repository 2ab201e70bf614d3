"""Finished frames, kept from one preview to the next under a name made of everything they depend on."""

from __future__ import annotations

import ast
import contextlib
import hashlib
import json
import os
import re
import struct
import tempfile
import time
import zlib
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import platformdirs
from attrs import frozen

from planner_core.plan.writing import write_atomically

CACHE_VARIABLE = "DUSKRAIL_CACHE"
LARGEST_BYTES = 4_000_000_000
STALE_S = 86400.0
VARIANTS_FILE, MOST_VARIANTS = "drawn.json", 40
# The modules that draw; they and all that they import shape a picture's pixels.
DRAWING = ("scene/build.py", "render/looks.py", "render/displayed.py")
# an import statement, and what only begins like one
IMPORT = re.compile(r"^[ \t]*(?:import|from)[ \t][^(\n]*(?:\([^)]*\))?", re.MULTILINE)
PNG_SIGNATURE, PNG_END = b"\x89PNG\r\n\x1a\n", b"IEND"


def cache_folder() -> Path:
    """Where finished frames are kept: $DUSKRAIL_CACHE, else the system's place for such things."""
    chosen = os.environ.get(CACHE_VARIABLE)
    return Path(chosen or platformdirs.user_cache_dir("duskrail", appauthor=False, opinion=False))


@frozen(kw_only=True)
class CacheVariant:
    """How kept frames were drawn: in which look, by which engine, in which size."""

    look: str
    engine: str
    width_px: int
    height_px: int


class FrameCache:
    """A folder of finished frames as PNG. A frame is there whole or not at all.

    Where nothing can be written to it, new frames go to another folder.
    """

    def __init__(self, folder: Path, new: Path | None = None) -> None:
        self.folder, self.new = folder, new or folder

    def path(self, key: str) -> Path:
        """Where a frame with that key is, or would be."""
        kept = _frame_path(self.folder, key)
        return kept if kept.exists() else _frame_path(self.new, key)

    def working_path(self, key: str) -> Path:
        """Where to write a frame before it is finished; the folder is made. Raises OSError."""
        path = _frame_path(self.new, key)
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.with_name(f".{key[:16]}.{os.getpid()}.png")

    def finish(self, key: str) -> Path:
        """Move a frame from its working path to its own, once it is on the disk. Raises OSError."""
        path, working = _frame_path(self.new, key), self.working_path(key)
        with working.open("rb+") as drawn:
            os.fsync(drawn.fileno())
        working.replace(path)
        return path

    def has(self, key: str) -> bool:
        """Whether a frame is kept and whole; it counts as used now. A damaged one is taken away."""
        path = self.path(key)
        try:
            content = path.read_bytes()
        except OSError:
            return False
        if not is_whole_png(content):
            try:
                path.unlink()
            except OSError:  # it can't be replaced either
                self.folder = self.new
            return False
        with contextlib.suppress(OSError):  # a cache that may only be read
            os.utime(path)
        return True

    def note_variant(self, variant: CacheVariant) -> None:
        """Remember that frames were drawn in this way: to find them again by."""
        before = self.variants()
        if before[:1] == [variant]:
            return
        after = [variant, *(other for other in before if other != variant)][:MOST_VARIANTS]
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            rows = [attrs.astuple(one) for one in after]
            write_atomically(self.folder / VARIANTS_FILE, json.dumps(rows).encode("utf-8"))
        except OSError:
            return  # the frames are found by their names all the same

    def variants(self) -> list[CacheVariant]:
        """In which ways frames were drawn, the latest first."""
        try:
            noted = json.loads((self.folder / VARIANTS_FILE).read_text(encoding="utf-8"))
            return [
                CacheVariant(look=str(look), engine=str(engine), width_px=int(wide), height_px=int(high))
                for look, engine, wide, high in noted
            ]
        except (OSError, ValueError, TypeError):
            return []

    def tidy(self, largest_bytes: int = LARGEST_BYTES) -> None:
        """Remove what was left half-written long ago, and the frames used least lately beyond a size."""
        pictures = []
        for path in (self.folder / "frames").glob("*/*.png"):
            try:
                facts = path.stat()
                if path.name.startswith("."):
                    if time.time() - facts.st_mtime > STALE_S:
                        path.unlink()
                else:
                    pictures.append((facts.st_mtime, facts.st_size, path))
            except OSError:
                continue  # another preview was quicker
        total = sum(size for _, size, _ in pictures)
        for _, size, path in sorted(pictures):
            if total <= largest_bytes:
                return
            path.unlink(missing_ok=True)
            total -= size


@contextlib.contextmanager
def open_cache(folder: Path | None = None) -> Iterator[FrameCache]:
    """The user's cache, or the one in a folder; where nothing can be written there, new frames go to a
    temporary folder for as long as it is open.
    """
    folder = folder or cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError:
        with tempfile.TemporaryDirectory(prefix="duskrail-cache-") as new:
            yield FrameCache(folder, Path(new))
        return
    yield FrameCache(folder)


def _frame_path(folder: Path, key: str) -> Path:
    return folder / "frames" / key[:2] / f"{key}.png"


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


def is_whole_png(content: bytes) -> bool:
    """Whether a PNG has all its chunks, each with the checksum it should have (ISO/IEC 15948, 5.3)."""
    if not content.startswith(PNG_SIGNATURE):
        return False
    offset, kind = len(PNG_SIGNATURE), b""
    while offset + 12 <= len(content):
        length, kind = struct.unpack_from(">I4s", content, offset)
        end = offset + 8 + length
        if end + 4 > len(content):
            return False
        if zlib.crc32(memoryview(content)[offset + 4 : end]) != struct.unpack_from(">I", content, end)[0]:
            return False
        offset = end + 4
        if kind == PNG_END:
            break
    return kind == PNG_END and offset == len(content)


@lru_cache(maxsize=1)
def code_key() -> str:
    """Of the code that draws, and the data it reads: a frame drawn by other code is not taken for one of
    this.
    """
    digest = hashlib.sha256()
    for path in drawing_files():
        digest.update(path.read_bytes())
    return digest.hexdigest()


def drawing_files() -> list[Path]:
    """The modules that draw, those they import from this layer and the core, and the data beside these."""
    from planner_core import frames

    layer, core = Path(__file__).parent.parent, Path(frames.__file__).parent
    entries = [*(layer / name for name in DRAWING), core / "frames.py"]
    modules = _imported(entries, layer, core)
    data = {
        path
        for folder in {module.parent for module in modules} - {layer}
        for path in folder.iterdir()
        if path.is_file() and path.suffix not in (".py", ".pyc")
    }
    return sorted(modules) + sorted(data)


def _imported(entries: Iterable[Path], layer: Path, core: Path) -> set[Path]:
    """Modules and all that they import, late imports too, as far as they lie in the two folders."""
    paths: set[Path] = set()
    waiting = list(entries)
    while waiting:
        path = waiting.pop()
        if path in paths:
            continue
        paths.add(path)
        for node in _imports(path.read_text(encoding="utf-8")):
            if isinstance(node, ast.ImportFrom):
                waiting += _modules_named(node, path, layer, core)
            elif isinstance(node, ast.Import):
                for alias in node.names:
                    package, *inner = alias.name.split(".")
                    if package == core.name:
                        waiting += _module_files(core.joinpath(*inner))
    return paths


def _imports(source: str) -> Iterator[ast.stmt]:
    """Import statements of a module, wherever they stand. Only lines that begin like one are parsed: a whole
    tree of each module would take half a second before every clip.
    """
    for match in IMPORT.finditer(source):
        with contextlib.suppress(SyntaxError):  # a line of prose that begins so
            yield from ast.parse(match.group().strip()).body


def _modules_named(node: ast.ImportFrom, path: Path, layer: Path, core: Path) -> list[Path]:
    """Files of the modules that a from-import names, or takes something from."""
    names = node.module.split(".") if node.module else []
    if node.level:
        base = path.parents[node.level - 1]
    elif names[0] == core.name:
        base, names = core, names[1:]
    else:
        return []
    if base not in (layer, core) and not {layer, core} & set(base.parents):
        return []
    package = base.joinpath(*names)
    inner = [_module_files(package / alias.name) for alias in node.names]
    return [file for files in (inner if all(inner) else [*inner, _module_files(package)]) for file in files]


def _module_files(path: Path) -> list[Path]:
    """The module's file, or its package's."""
    return [file for file in (path.with_suffix(".py"), path / "__init__.py") if file.is_file()]
