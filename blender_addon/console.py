"""Keeps Blender's own messages out of the terminal while it draws."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator

import bpy


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
    kept = [os.dup(number) for number in (1, 2)]
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        for number in (1, 2):
            os.dup2(nowhere, number)
        with contextlib.redirect_stdout(io.StringIO()):
            yield
    finally:
        for number, old in zip((1, 2), kept, strict=True):
            os.dup2(old, number)
            os.close(old)
        os.close(nowhere)
