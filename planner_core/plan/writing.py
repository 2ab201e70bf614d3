"""Files that appear whole or not at all. A device or a pipe is written to as it is, a link is followed."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from planner_core.words.language import phrase

OPEN_FILES = {"/dev/stdin": 0, "/dev/stdout": 1, "/dev/stderr": 2}
LINKS_FOLLOWED = 40


def write_atomically(path: Path, content: bytes) -> None:
    """Replace a file's content in one step; where that fails, the old one stays as it was. Raises OSError,
    which names the file.
    """
    if is_stream(path):
        _write_stream(path, content)
        return
    with whole_file(path) as working:
        working.write_bytes(content)


@contextlib.contextmanager
def whole_file(path: Path, *, may_be_empty: bool = True) -> Iterator[Path]:
    """Where something else may write a file of that name; it is put in place once it is on the disk.

    Raises OSError, which names the file at path.
    """
    check_writable(path)
    with _naming(path):
        beside = None if is_stream(path) else _target(path).parent
        holder = tempfile.TemporaryDirectory(prefix=f".{path.name[:40]}.", dir=beside)
    with holder as folder:
        working = Path(folder) / path.name
        with _naming(path, within=Path(folder)):
            yield working
            if not working.is_file() or not (may_be_empty or working.stat().st_size):
                raise OSError(errno.EIO, phrase("could not be written; is the disk full?"), str(path))
        put_in_place(working, path)


def put_in_place(working: Path, path: Path) -> None:
    """Move a finished file to its place, or send it down the pipe there is. Raises OSError, which names the
    file at path.
    """
    if is_stream(path):
        _write_stream(path, working.read_bytes())
        return
    check_writable(path)
    target = _target(path)
    with _naming(path):
        with working.open("rb+") as stream:
            os.fsync(stream.fileno())
        working.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask())
        working.replace(target)


def check_writable(path: Path) -> None:
    """Raise OSError, which names the file, where it could not be written."""
    if is_stream(path):
        if path.is_block_device():
            raise OSError(errno.EINVAL, phrase("is a disk, and no file"), str(path))
        return
    target = _target(path)
    if not target.parent.is_dir():
        raise FileNotFoundError(errno.ENOENT, phrase("the folder to write it to does not exist"), str(path))
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, phrase("is a folder; give a file name"), str(path))
    if target.exists() and not (target.stat().st_mode & 0o222 and os.access(target, os.W_OK)):
        raise PermissionError(errno.EACCES, phrase("is read-only, and stays as it is"), str(path))
    try:
        with tempfile.TemporaryFile(dir=target.parent):
            pass
    except OSError as problem:
        why = phrase("nothing can be written to its folder ({why})", why=problem.strerror)
        raise OSError(problem.errno, why, str(path)) from None


def is_same_file(one: Path, other: Path) -> bool:
    """Whether two names are one file, by whatever links and spellings."""
    try:
        return os.path.samefile(one, other)
    except OSError:  # one of them isn't there yet
        return os.path.normcase(_target(one)) == os.path.normcase(_target(other))


def is_stream(path: Path) -> bool:
    """Whether a name stands for a device, a pipe or a file that this process has open."""
    if _open_file(path) is not None:
        return True
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


def is_standard_output(path: Path) -> bool:
    """Whether what is written there mixes with what is printed."""
    return _open_file(path) == 1


def _target(path: Path) -> Path:
    return Path(os.path.realpath(path))


def _open_file(path: Path) -> int | None:
    """The number of the open file that a name stands for: /dev/stdout, /dev/fd/3 and links to them."""
    name = os.path.abspath(path)
    for _ in range(LINKS_FOLLOWED):
        if name in OPEN_FILES:
            return OPEN_FILES[name]
        folder, last = os.path.split(name)
        if folder in ("/dev/fd", "/proc/self/fd") and last.isdecimal():
            return int(last)
        if not os.path.islink(name):
            return None
        name = os.path.normpath(os.path.join(folder, os.readlink(name)))
    return None


def _write_stream(path: Path, content: bytes) -> None:
    check_writable(path)
    number = _open_file(path)
    with _naming(path):
        if number is None:
            with path.open("wb") as stream:
                stream.write(content)
            return
        sys.stdout.flush()  # what was printed before comes before
        with os.fdopen(os.dup(number), "wb") as stream:
            stream.write(content)


@contextlib.contextmanager
def _naming(path: Path, within: Path | None = None) -> Iterator[None]:
    """Have an OSError name the file that was asked for; with within, only one that is about that folder."""
    try:
        yield
    except OSError as problem:
        about = Path(os.fsdecode(problem.filename)) if isinstance(problem.filename, str | bytes) else None
        if problem.errno is None or (within and about and within not in (about, *about.parents)):
            raise
        raise OSError(problem.errno, problem.strerror, str(path)) from None


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
