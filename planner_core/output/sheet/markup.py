"""Pieces of HTML that the shot sheet is made of, and what they are made from."""

from __future__ import annotations

import datetime as dt
import html
from collections.abc import Iterable, Iterator, Sequence

from attrs import frozen

from planner_core.evening.timetable import Moment
from planner_core.frames import FrameTable
from planner_core.output.sheet.draw import printable
from planner_core.plan.model import Plan
from planner_core.plan.timeline import local_datetime
from planner_core.review.findings import Review


@frozen(kw_only=True)
class Picture:
    """A frame of the draft clip: its number from 1, and a PNG, JPEG or WebP file's content."""

    frame: int
    content: bytes


@frozen(kw_only=True, eq=False)
class Matter:
    """All that a sheet tells. event is the light event that the shoot is about, date the day it begins."""

    plan: Plan
    frames: FrameTable
    report: Review
    pictures: dict[int, Picture]
    moments: tuple[Moment, ...]
    event: Moment | None
    date: dt.date

    def local(self, frame: int) -> dt.datetime:
        """Clock time at the site at which a frame (from 1) is taken."""
        return local_datetime(float(self.frames.utc_s[frame - 1]), self.plan.zone)

    def clock(self, frame: int) -> str:
        """What a clock on the wall shows then: minutes begun, not rounded."""
        return f"{self.local(frame):%H:%M}"


def esc(text: object) -> str:
    """Any text as HTML text or attribute value."""
    return html.escape(printable(str(text)), quote=True)


def table(kind: str, heads: Sequence[str], rows: Iterable[str], words: Sequence[int] = ()) -> Iterator[str]:
    """A table; heads are HTML, rows whole <tr> elements, `words` the columns that hold text."""
    cells = (
        f'<th scope="col"{" class=words" if place in words else ""}>{head}</th>'
        for place, head in enumerate(heads)
    )
    yield f'<table class="{kind}"><thead><tr>{"".join(cells)}</tr></thead><tbody>'
    yield from rows
    yield "</tbody></table>"


def cell(column: str, frame: int, value: float, shown: str) -> str:
    """A number with where it comes from: a column of the FrameTable, a frame from 1, full precision."""
    return f'<td data-column="{column}" data-frame="{frame}" data-value="{float(value)!r}">{esc(shown)}</td>'


def under(text: str) -> str:
    """A small remark under a table or figure."""
    return f'<p class="under">{esc(text)}</p>'


def bullets(kind: str, sentences: Iterable[str]) -> Iterator[str]:
    """A list of sentences."""
    yield f'<ul class="{kind}">'
    yield from (f"<li>{esc(sentence)}</li>" for sentence in sentences)
    yield "</ul>"


def stops(value: float) -> str:
    """1 stop, 2.5 stops."""
    return f"{value:g} stop{'' if value == 1.0 else 's'}"
