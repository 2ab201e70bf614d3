"""The shot sheet: one self-contained page for the evening itself, two A4 sides on paper, one column on a
phone.

No script, no outside request, system fonts. Numbers stand in cells with data attributes (data-column,
data-frame, data-value), so that they can be read back. The page's frame is sheet.html, its look sheet.css;
front.py and back.py fill in the sections of the two sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from string import Template

from planner_core.evening.timetable import timetable, turn_moment
from planner_core.frames import FrameTable
from planner_core.output.sheet.back import second_side
from planner_core.output.sheet.front import Shown, first_side, strip_frames
from planner_core.output.sheet.markup import Picture, SheetData, esc
from planner_core.plan.model import Plan
from planner_core.plan.timeline import clock_changes, local_datetime
from planner_core.review.findings import Review
from planner_core.words.dates import day_words

__all__ = ["Picture", "Shown", "sheet_html", "strip_frames"]


def sheet_html(
    plan: Plan, frames: FrameTable, report: Review, pictures: Sequence[Picture] | None = None
) -> str:
    """The whole page as HTML.

    pictures of the draft clip are taken for the strip by frame number, where there is one of every frame that
    it wants (strip_frames); else the strip is drawn from the blocks.
    """
    moments = timetable(plan, frames)
    data = SheetData(
        plan=plan,
        frames=frames,
        report=report,
        pictures={picture.frame: picture for picture in pictures or ()},
        moments=moments,
        event=turn_moment(moments),
        date=local_datetime(float(frames.utc_s[0]), plan.zone).date(),
        clocks_change=bool(clock_changes(moments[0].utc_s, moments[-1].utc_s, plan.zone)),
    )
    sections = first_side(data) | second_side(data)
    return _template().substitute(
        title=esc(plan.title or "Shot sheet"),
        day=day_words(data.date, year=True),
        style=_file("sheet.css").strip(),
        **{name: "\n".join(lines) for name, lines in sections.items()},
    )


@lru_cache(maxsize=1)
def _template() -> Template:
    return Template(_file("sheet.html"))


def _file(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")
