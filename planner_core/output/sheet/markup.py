"""Pieces of HTML that the shot sheet is made of, and what they are made from."""

from __future__ import annotations

import datetime as dt
import html
import re
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from attrs import frozen

from planner_core.evening.timetable import Moment
from planner_core.frames import FrameTable
from planner_core.output.sheet.draw import minus, printable
from planner_core.output.sheet.meters import reading
from planner_core.plan.model import Plan
from planner_core.plan.timeline import local_datetime, zone_letters
from planner_core.review.findings import Review


@frozen(kw_only=True)
class Picture:
    """A frame of the draft clip: its number from 1, and a PNG, JPEG or WebP file's content."""

    frame: int
    content: bytes


@frozen(kw_only=True, eq=False)
class SheetData:
    """All that a sheet tells. event is the light event that the shoot is about, date the day it begins."""

    plan: Plan
    frames: FrameTable
    report: Review
    pictures: dict[int, Picture]
    moments: tuple[Moment, ...]
    event: Moment | None
    date: dt.date
    clocks_change: bool

    def local(self, frame: int) -> dt.datetime:
        """Clock time at the site at which a frame (from 1) is taken."""
        return local_datetime(float(self.frames.utc_s[frame - 1]), self.plan.zone)

    def clock(self, frame: int) -> str:
        """What a clock on the wall shows then: minutes begun, not rounded."""
        return self.wall(self.local(frame))

    def wall(self, local: dt.datetime) -> str:
        """A local time as 18:42; with the zone's letters, 02:12 CEST, where the shoot's clocks change."""
        return f"{local:%H:%M}{self.letters(local)}"

    def letters(self, local: dt.datetime) -> str:
        """The zone's letters after a blank where the clocks change between leaving and the last moment."""
        return f" {zone_letters(local)}" if self.clocks_change else ""


def esc(text: object) -> str:
    """Any text as HTML text or attribute value."""
    return html.escape(printable(str(text)), quote=True)


_UNIT = re.compile(r"(?<=\d) (?=(?:s|min|h|mm|m|km|px|MB|GB|stops?|EV|frames?|%)\b|%)")


def unbroken(text: str) -> str:
    """The text with numbers and their units kept on one line."""
    return _UNIT.sub("\u00a0", text)


def table(kind: str, heads: Sequence[str], rows: Iterable[str], words: Sequence[int] = ()) -> Iterator[str]:
    """A table; heads are HTML, rows whole <tr> elements, `words` the columns that hold text."""
    cells = (
        f'<th scope="col"{" class=words" if column in words else ""}>{head}</th>'
        for column, head in enumerate(heads)
    )
    yield f'<table class="{kind}"><thead><tr>{"".join(cells)}</tr></thead><tbody>'
    yield from rows
    yield "</tbody></table>"


def cell(column: str, frame: int, value: float, shown: str) -> str:
    """A number with where it comes from: a column of the FrameTable, a frame from 1, full precision."""
    return f'<td data-column="{column}" data-frame="{frame}" data-value="{float(value)!r}">{esc(shown)}</td>'


def ev_cell(frames: FrameTable, column: str, index: int) -> str:
    """An EV of the frame `index` (0-based), from a column of the FrameTable or of its readings; a dash where
    there is nothing to read.
    """
    ev100 = float(reading(frames, column)[index])
    if not np.isfinite(ev100):
        return "<td>–</td>"
    text = cell(column, index + 1, ev100, minus(f"{ev100:.1f}"))
    return text if hasattr(frames, column) else text.replace("data-column", "data-reading")


def under(text: str) -> str:
    """A small remark under a table or figure."""
    return f'<p class="under">{esc(unbroken(text))}</p>'


def bullets(kind: str, sentences: Iterable[str]) -> Iterator[str]:
    """A list of sentences."""
    yield f'<ul class="{kind}">'
    yield from (f"<li>{esc(unbroken(sentence))}</li>" for sentence in sentences)
    yield "</ul>"


def stops(value: float) -> str:
    """1 stop, 2.5 stops."""
    return f"{value:g} stop{'' if value == 1.0 else 's'}"
