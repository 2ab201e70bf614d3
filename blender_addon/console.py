"""Keeps Blender's own messages out of the terminal while it draws."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator, Sequence
from typing import TextIO

import bpy

OUTPUTS = (1, 2)

_aside: list[tuple[list[int], int, TextIO]] = []  # of each silence: the outputs it keeps, and nowhere


@contextlib.contextmanager
def silenced() -> Iterator[None]:
    """Send what the process writes to standard output and error nowhere, and what operators report through
    Python; in Blender's window nothing changes.
    """
    if not bpy.app.background:
        yield
        return
    sys.stdout.flush()
    sys.stderr.flush()
    kept = [os.dup(number) for number in OUTPUTS]
    nowhere = os.open(os.devnull, os.O_WRONLY)
    _aside.append((kept, nowhere, sys.stdout))
    try:
        _lead([nowhere, nowhere])
        with contextlib.redirect_stdout(io.StringIO()):
            yield
    finally:
        _aside.pop()
        _lead(kept)
        for number in (*kept, nowhere):
            os.close(number)


@contextlib.contextmanager
def aloud() -> Iterator[None]:
    """Within silenced(): let what is written be heard."""
    if not _aside:
        yield
        return
    kept, nowhere, output = _aside[-1]
    _lead(kept)
    try:
        with contextlib.redirect_stdout(output):
            yield
            sys.stdout.flush()
        sys.stderr.flush()
    finally:
        _lead([nowhere, nowhere])


def _lead(to: Sequence[int]) -> None:
    """Where standard output and error go."""
    for number, other in zip(OUTPUTS, to, strict=True):
        os.dup2(other, number)
