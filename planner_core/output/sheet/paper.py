"""How much of the first side's paper its words and tables take, so that the chart can have the rest.

Widths are about those of a wide face; in a narrow one a little stays white. Where the words take more than
judged, the browser makes the chart smaller (sheet.css).
"""

from __future__ import annotations

import math

from planner_core.output.sheet.draw import text_width

SIDE_MM, WIDTH_MM = 276.5, 188.0
PT_MM = 25.4 / 72.0
# as sheet.css has them: type in pt, the height of its lines, and what font-size-adjust leaves of the width
BODY_PT, BODY_LINE, LIST_LINE, ADJUSTED = 8.2, 1.27, 1.28, 0.86
ROW_MM = BODY_PT * PT_MM * 1.25 + 0.9
REMARK_MM = 7.5 * PT_MM * 1.25
HEADING_MM = 5.4


def lines(text: str, width_mm: float, size_pt: float = BODY_PT, *, bold: bool = False) -> int:
    """Lines that a text takes in a column, broken at its spaces; none for an empty one."""
    size, room = size_pt * PT_MM * ADJUSTED, width_mm * 0.97
    space, count, filled = text_width(" ", size, bold=bold), 0, math.inf
    for word in text.split(" "):
        wide = text_width(word, size, bold=bold)
        if filled + space + wide <= room:
            filled += space + wide
        elif wide > 0.0:
            count += max(math.ceil(wide / room), 1)
            filled = wide % room
    return count


def text_mm(
    text: str, width_mm: float, size_pt: float = BODY_PT, most: int = 99, line: float = BODY_LINE
) -> float:
    """Height of a text in a column, of no more lines than `most`; line is their height in sizes of type."""
    return min(lines(text, width_mm, size_pt), most) * size_pt * PT_MM * line


def table_mm(rows: int, head_lines: int = 1) -> float:
    """Height of a table under its heading."""
    return HEADING_MM + head_lines * BODY_PT * PT_MM * 1.15 + 0.7 + rows * ROW_MM


def remark_mm(text: str, width_mm: float) -> float:
    """Height of a remark under a table or figure."""
    return lines(text, width_mm, 7.5) * REMARK_MM + 0.8
