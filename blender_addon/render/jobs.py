"""Frames drawn by several processes at once, into the cache that they share.

One of those processes does `main`: it reads from its standard input what to draw, a line of JSON, and ends
when that input is closed, which happens with its parent however that ends. What it leaves undrawn, the parent
draws itself.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TypedDict

from .. import own_process

MOST_JOBS = 64
# Where it helps, measured on 16 cores with a card: four processes drew the fast look twice as quickly as one
# and twelve hardly more; EEVEE, which shares the card, and Cycles, which uses all cores, gain nothing.
USUAL_JOBS, CORES_EACH = 4, 4
MEMORY_EACH_BYTES = 1_500_000_000
FRAMES_EACH = 24  # fewer are drawn before another Blender has started
# numpy's threads would wait for one another, each with a core of its own, for products this small
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1"}
POLL_S, END_WITHIN_S = 0.1, 5.0


class Task(TypedDict):
    """Frames of a plan, counted from 1, that one process draws into a cache."""

    plan: str
    look: str
    engine: str
    size: tuple[int, int]
    cache: str
    numbers: list[int]


def usual_jobs(*, fast_on_card: bool, frames: int, cores: int | None = None, memory_bytes: int = 0) -> int:
    """How many processes draw so many frames soonest: several only for the fast look on a graphics card, with
    cores and memory to spare.
    """
    if not fast_on_card:
        return 1
    cores = cores or usable_cores()
    memory_bytes = memory_bytes or free_memory_bytes()
    by_memory = memory_bytes // MEMORY_EACH_BYTES if memory_bytes else USUAL_JOBS
    return max(1, min(USUAL_JOBS, cores // CORES_EACH, by_memory, frames // FRAMES_EACH))


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def free_memory_bytes() -> int:
    """Free memory, 0 where the system doesn't say."""
    try:
        return os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, ValueError, OSError):
        return 0


def shares(numbers: Sequence[int], jobs: int) -> list[list[int]]:
    """Numbers dealt out in turn, so that the first of them are drawn first."""
    return [list(numbers[k::jobs]) for k in range(min(jobs, len(numbers)))]


@contextlib.contextmanager
def drawing(tasks: Sequence[Task]) -> Iterator[list[subprocess.Popen[bytes]]]:
    """Processes at work on tasks, for as long as it is open; then none is left."""
    children: list[subprocess.Popen[bytes]] = []
    try:
        for task in tasks:
            child = subprocess.Popen(
                own_process.command("render.jobs"),
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={**os.environ, **ONE_THREAD},
            )
            children.append(child)
            assert child.stdin is not None
            with contextlib.suppress(OSError):  # it may have ended already
                child.stdin.write(json.dumps(task).encode() + b"\n")
                child.stdin.flush()
        yield children
    finally:
        for child in children:
            assert child.stdin is not None
            with contextlib.suppress(OSError):
                child.stdin.close()
        for child in children:
            try:
                child.wait(END_WITHIN_S)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()


def finished(children: Sequence[subprocess.Popen[bytes]], paths: dict[int, Path]) -> Iterator[int]:
    """Numbers of frames as their files appear, until all are there or nobody draws any more."""
    waiting = dict(paths)
    while waiting:
        working = any(child.poll() is None for child in children)  # asked first: none is missed
        for number in [number for number, path in waiting.items() if path.exists()]:
            del waiting[number]
            yield number
        if not working:
            return
        time.sleep(POLL_S)


# ---------------------------------------------------------------- in the other process


def end_with_parent() -> None:
    """End this process as soon as its standard input is closed."""

    def wait() -> None:
        while os.read(0, 1):  # below the reader's buffer, whose line has been read
            pass
        os._exit(0)

    threading.Thread(target=wait, daemon=True).start()


def read_task() -> Task | None:
    """The line of JSON on standard input, byte by byte, so that nothing behind it is read; None if there is
    none.
    """
    line = bytearray()
    while not line.endswith(b"\n"):
        byte = os.read(0, 1)
        if not byte:
            return None
        line += byte
    task: Task = json.loads(line)
    return task


def main() -> int:
    """Draw what standard input asks for; returns the exit code."""
    task = read_task()
    if task is not None:
        end_with_parent()
        from .preview import draw_task

        draw_task(task)
    return 0
