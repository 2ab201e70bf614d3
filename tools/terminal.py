"""All output to the terminal, with control characters in titles, names and keys escaped."""

from __future__ import annotations

import contextlib
import json
import sys
import time
from collections.abc import Iterator
from typing import Any, TextIO

from planner_core.plan.text import escaped, escaped_json

LONGEST_PROBLEM = 600  # characters of a line that says what is wrong


def json_text(values: Any) -> str:
    """Plain values as JSON for standard output: letters as they are where it takes them."""
    plain = not (sys.stdout.encoding or "utf-8").lower().startswith("utf")
    return escaped_json(json.dumps(values, indent=2, ensure_ascii=plain, allow_nan=False))


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


class StatusLine:
    """One line on standard error that overwrites itself in a terminal; elsewhere a line now and then: one for
    each tenth where it is known how much there is to do.
    """

    REDRAWN_S = 0.1
    TENTHS = 10

    def __init__(self, quiet_s: float = 0.0, *, silent: bool = False) -> None:
        """quiet_s pass before a line and between two; in a terminal no more than a tenth of a second. Where
        silent, nothing is shown.
        """
        self.silent = silent
        self.in_terminal = sys.stderr.isatty()
        self.pause_s = min(quiet_s, self.REDRAWN_S) if self.in_terminal else quiet_s
        self.shown_s, self.last_length = time.monotonic(), 0
        self.told = ("", 0)

    def show(self, text: str, *, share: float | None = None, of: str = "") -> None:
        """Show it, unless something has been shown only just now; share is how much of a stage is done."""
        if self.silent or not self._is_due(share, of):
            return
        self.shown_s = time.monotonic()
        if self.in_terminal:
            print("\r" + text.ljust(self.last_length), end="", file=sys.stderr, flush=True)
            self.last_length = len(text)
        else:
            print(text, file=sys.stderr, flush=True)

    def _is_due(self, share: float | None, of: str) -> bool:
        """Whether the time is up and, outside a terminal, another tenth of the stage done."""
        if time.monotonic() - self.shown_s < self.pause_s:
            return False
        if share is None or self.in_terminal:
            return True
        tenth = int(share * self.TENTHS + 1e-9)
        stage, told = self.told
        if tenth <= (told if of == stage else 0):
            return False
        self.told = (of, tenth)
        return True

    def end(self) -> None:
        """Leave the line, so that what is printed next stands on its own."""
        if self.last_length:
            print(file=sys.stderr, flush=True)
            self.last_length = 0


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
