"""What is printed goes through here: nobody's title, name or key gives the terminal orders."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Any, TextIO

from planner_core.plan.text import escaped

LONGEST_PROBLEM = 600  # characters of a line that says what is wrong


class HarmlessStream:
    r"""A text stream that writes control characters out (\x1b); a line may be begun again, for progress."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        again = "\r" if text.startswith("\r") else ""
        self._stream.write(again + escaped(text.removeprefix(again), keep="\n\t"))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextlib.contextmanager
def harmless_output() -> Iterator[None]:
    """Standard output and standard error go through a HarmlessStream meanwhile."""
    out: Any = HarmlessStream(sys.stdout)
    err: Any = HarmlessStream(sys.stderr)
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        yield


def problem_line(problem: Exception) -> str:
    """What is wrong, on one line of bearable length."""
    line = " ".join(str(problem).splitlines())
    return line if len(line) <= LONGEST_PROBLEM else f"{line[:400]} ... {line[-190:]}"
