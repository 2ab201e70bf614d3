"""The tables of the first side: poses to type into a controller, and exposure by hand with what to meter."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.output import axes
from planner_core.output.sheet import paper
from planner_core.output.sheet.draw import minus
from planner_core.output.sheet.markup import SheetData, cell, esc, ev_cell, stops, table, under
from planner_core.output.sheet.meters import plan_meter, spots, turns
from planner_core.output.sheet.tables import ExposureRow, PoseRow, exposure_rows, pose_rows
from planner_core.plan.model import Exposure
from planner_core.rig import drive

Array = NDArray[np.float64]

POSES_MM, EXPOSURE_MM = 80.0, 96.0  # about how wide the tables are on paper
ONE_COLUMN = 6  # rows of exposure


@frozen(kw_only=True, eq=False)
class _Axis:
    """An axis in the pose table: its column of the FrameTable, and how it is typed."""

    column: str
    head: str
    factor: float
    digits: int
    values: Array


def tables_mm(data: SheetData) -> float:
    """Height of both tables on paper, side by side."""
    plan, rows = data.plan, exposure_rows(data.frames)
    poses = paper.table_mm(len(pose_rows(plan)), 2) + paper.remark_mm(" ".join(_pose_notes(data)), POSES_MM)
    if plan.exposure is None:
        return max(poses, paper.table_mm(len(_reading_places(data))) + paper.ROW_MM)
    by_hand = paper.table_mm(_column_rows(rows)) + paper.remark_mm(
        _exposure_words(data, plan.exposure, rows), EXPOSURE_MM
    )
    return max(poses, by_hand + 9.0 + len(spots(data.frames)) * paper.ROW_MM)


def _clock_cell(data: SheetData, frame: int) -> str:
    local = data.local(frame)
    return f'<td>{local:%H:%M}<span class="seconds">:{local:%S}</span>{data.letters(local)}</td>'


def poses(data: SheetData) -> Iterator[str]:
    given = (
        ("slide_m", "slide<br>mm", 1000.0, 0),
        ("pan_deg", "pan<br>°", 1.0, 1),
        ("tilt_deg", "tilt<br>°", 1.0, 1),
    )
    shown = [
        _Axis(column=column, head=head, factor=factor, digits=digits, values=values)
        for column, head, factor, digits in given
        if (values := getattr(data.frames, column)) is not None
    ]
    heads = ["place", "frame", "clock"]
    for axis in shown:
        heads += [axis.head, "from <br>start"]
    yield '<section><h2>Poses</h2><div class="scroll">'
    yield from table("pose-table", heads, (_pose(data, row, shown) for row in pose_rows(data.plan)))
    yield f"</div>{under(' '.join(_pose_notes(data)))}</section>"


def _pose(data: SheetData, row: PoseRow, shown: list[_Axis]) -> str:
    k, last = row.index, len(data.frames) - 1
    label = "start" if k == 0 else "end" if k == last else row.label
    cells = [f"<td>{label}</td><td>{k + 1}</td>", _clock_cell(data, k + 1)]
    for axis in shown:
        value, away = float(axis.values[k]), float(axis.values[k] - axis.values[0])
        cells.append(cell(axis.column, k + 1, value, minus(f"{value * axis.factor:.{axis.digits}f}")))
        from_start = minus(f"{away * axis.factor:+.{axis.digits}f}")
        cells.append(cell(f"{axis.column}_from_start", k + 1, away, from_start))
    kind = "check" if row.pose is None else "pose"
    return f'<tr class="{kind}">{"".join(cells)}</tr>'


def _pose_notes(data: SheetData) -> Iterator[str]:
    plan = data.plan
    yield "Pan is the true compass bearing of the lens, tilt its altitude."
    if plan.move.ease > 0.0 and len(data.frames) > 1:
        ramp = round(plan.move.ease * (len(data.frames) - 1))
        yield f"Ease in and out over {ramp} frames each. Use the percentages to check the ease."
    if drive.axis_limits(plan):
        off = float(np.max(axes.typed_plan_error_px(plan, data.frames), initial=0.0))
        how = f"at most {off:.1f} px off" if off >= 0.05 else "right to a tenth of a pixel"
        yield f"Entered as printed, the picture is {how}."


def by_hand(data: SheetData) -> Iterator[str]:
    rows = exposure_rows(data.frames)
    ramp, limits = data.frames.ramp, data.plan.exposure
    yield "<section><h2>Exposure by hand</h2>"
    if ramp is None or limits is None:
        yield "<p>The plan has no exposure limits. What an incident meter should read at ISO 100:</p>"
        read = (_reading(data, k) for k in _reading_places(data))
        yield from table("exposure-table", ("clock", "frame", "EV"), read)
        yield "</section>"
        return
    column, half = plan_meter(data.frames).column, _column_rows(rows)
    yield '<div class="split">'
    for part in filter(None, (rows[:half], rows[half:])):
        cells = (
            f"<tr>{_clock_cell(data, row.index + 1)}<td>{row.index + 1}</td>"
            + cell("shutter_s", row.index + 1, float(ramp.shutter_s[row.index]), row.shutter)
            + cell("iso", row.index + 1, float(ramp.iso[row.index]), row.iso.removeprefix("ISO "))
            + ev_cell(data.frames, column, row.index)
            + "</tr>"
            for row in part
        )
        yield from table("exposure-table", ("clock", "frame", "shutter", "ISO", "EV"), cells)
    yield f"</div>{under(_exposure_words(data, limits, rows))}"
    yield from _spots(data)
    yield "</section>"


def _column_rows(rows: tuple[ExposureRow, ...]) -> int:
    """Rows in each column of the exposure table: few stand in one."""
    return (len(rows) + 1) // 2 if len(rows) > ONE_COLUMN else len(rows)


def _exposure_words(data: SheetData, limits: Exposure, rows: tuple[ExposureRow, ...]) -> str:
    nd = f", ND {stops(limits.nd_stops)}" if limits.nd_stops else ""
    meter = plan_meter(data.frames)
    burnt = any(finding.code == "highlights-lost" for finding in data.report.findings)
    kept = meter.column == "sky_ev100" and not burnt
    white = " The settings keep it just under white." if kept else ""
    return (
        f"{rows[0].f_number}{nd} throughout. The meter reads {meter.metered}: EV is what {meter.how} shows, "
        f"at ISO 100.{white}{_looks(limits)}"
    )


def _looks(limits: Exposure) -> str:
    """How day and night are kept against what is metered; nothing where they are as metered."""
    kept = [
        f"the {name} {stops(abs(look))} {'darker' if look < 0.0 else 'brighter'}"
        for name, look in (("day", limits.day_look_stops), ("night", limits.night_look_stops))
        if look
    ]
    return f" Kept on purpose: {' and '.join(kept)} than metered." if kept else ""


def _spots(data: SheetData) -> Iterator[str]:
    """What a spot meter reads at start, event and end, to check the light on location."""
    places = turns(data.frames, data.event)
    heads = ("spot meter, EV", *(f"{esc(when)}<br>{data.clock(k + 1)}" for when, k in places))
    rows = (
        f'<tr><td class="words">{spot.off}</td>'
        + "".join(ev_cell(data.frames, spot.column, k) for _, k in places)
        + "</tr>"
        for spot in spots(data.frames)
    )
    yield from table("spot-table", heads, rows, words=(0,))


def _reading_places(data: SheetData) -> list[int]:
    return sorted({round(k) for k in np.linspace(0, len(data.frames) - 1, 9)})


def _reading(data: SheetData, k: int) -> str:
    ev = ev_cell(data.frames, "scene_ev100", k)
    return f"<tr>{_clock_cell(data, k + 1)}<td>{k + 1}</td>{ev}</tr>"
