"""How far a draft clip has come, as numbers; whoever shows it finds the words."""

from __future__ import annotations

import time
from collections.abc import Callable

from attrs import frozen

DRAWING, ENCODING = "drawing", "encoding"


@frozen(kw_only=True)
class Progress:
    """done of total frames are there; seconds_left is None while nobody can know, and 0 once none is left.

    stage is drawing, then encoding. engine says what draws, and why that.
    """

    stage: str
    done: int
    total: int
    seconds_left: float | None = None
    engine: str = ""


Listener = Callable[[Progress], None]


def nobody(_progress: Progress) -> None:
    """A listener that ignores progress."""


class Pace:
    """How long the rest will take, from the frames drawn so far."""

    def __init__(self) -> None:
        self.drawn, self.start = 0, time.monotonic()

    def step(self) -> None:
        """One more is drawn."""
        self.drawn += 1

    def seconds_for(self, count: int) -> float | None:
        """How long so many frames will take; None while none was drawn."""
        if not count:
            return 0.0
        return (time.monotonic() - self.start) / self.drawn * count if self.drawn else None
