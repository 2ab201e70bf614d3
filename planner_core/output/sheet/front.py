"""The shot sheet's first side: title, times, pictures, the chart, and the numbers to type."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator
from itertools import pairwise

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.timetable import Moment, timetable, turn_moment
from planner_core.frames import FrameTable
from planner_core.light import exposure
from planner_core.output import axes
from planner_core.output.sheet.chart import NARROW, WIDE, ChartSize, chart_svg
from planner_core.output.sheet.draw import minus
from planner_core.output.sheet.markup import Matter, cell, esc, stops, table, under
from planner_core.output.sheet.tables import PoseRow, exposure_rows, pose_rows
from planner_core.output.sheet.view import solids, view_svg
from planner_core.plan.timeline import utc_datetime
from planner_core.review.findings import Review
from planner_core.rig import drive
from planner_core.words.dates import day_words

Array = NDArray[np.float64]

MEDIA_TYPES = {b"\x89PNG": "image/png", b"\xff\xd8\xff": "image/jpeg", b"RIFF": "image/webp"}
STRIP_PICTURES = 4
LIGHTS = 7  # twilights and the like in the line under the times
FEW_ROWS, SHORT_TEXT = 8, 130  # with little around it the chart is taller, with much lower
TALL, LOW = 1.2, 0.75
EXACT = ("start", "event", "end")


@frozen(kw_only=True)
class Shown:
    """A frame of the strip: why it is shown, and its number from 1."""

    label: str
    frame: int


@frozen(kw_only=True, eq=False)
class _Axis:
    """An axis in the pose table: its column of the FrameTable, and how it is typed."""

    column: str
    head: str
    factor: float
    digits: int
    values: Array


def strip_frames(frames: FrameTable, report: Review | None) -> tuple[Shown, ...]:
    """The frames of the picture strip: first, event, weakest, last, each once; others fill it up to four."""
    event = turn_moment(timetable(frames.plan, frames))
    strip = [Shown(label="first", frame=1)]
    if event is not None and event.frame is not None:
        strip.append(Shown(label=event.label.lower(), frame=event.frame))
    weakest = report.summary.picture.weakest_frame if report else None
    if weakest is not None:
        strip.append(Shown(label="weakest picture", frame=weakest))
    strip.append(Shown(label="last", frame=len(frames)))
    places = {shown.frame for shown in strip}
    while len(places) < min(STRIP_PICTURES, len(frames)):  # one more in the middle of the widest gap
        before, after = max(pairwise(sorted(places)), key=lambda pair: pair[1] - pair[0])
        places.add((before + after) // 2)
        strip.append(Shown(label="between", frame=(before + after) // 2))
    merged: dict[int, str] = {}
    for shown in strip:
        merged[shown.frame] = (
            f"{merged[shown.frame]}, {shown.label}" if shown.frame in merged else shown.label
        )
    return tuple(Shown(label=label, frame=frame) for frame, label in sorted(merged.items()))


def first_side(matter: Matter) -> dict[str, Iterable[str]]:
    """The sections of the first side by their names in sheet.html, each as lines of HTML."""
    return {
        "head": _head(matter),
        "times": _times(matter),
        "strip": _strip(matter),
        "chart_wide": [chart_svg(matter.frames, matter.moments, _wide(matter))],
        "chart_narrow": [chart_svg(matter.frames, matter.moments, NARROW)],
        "poses": _poses(matter),
        "exposure": _exposure(matter),
    }


def _wide(matter: Matter) -> ChartSize:
    plan = matter.plan
    rows = max(len(pose_rows(plan)), (len(exposure_rows(matter.frames)) + 1) // 2)
    notes = plan.notes if isinstance(plan.notes, str) else ""
    short = max(len(plan.reason), len(notes)) <= SHORT_TEXT
    if short and rows <= FEW_ROWS:
        return attrs.evolve(WIDE, tall=TALL)
    return WIDE if short or rows <= FEW_ROWS else attrs.evolve(WIDE, tall=LOW)


# ---------------------------------------------------------------- head and times


def _head(matter: Matter) -> Iterator[str]:
    plan, site = matter.plan, matter.plan.site
    where = f"{abs(site.latitude_deg):.5f}° {'N' if site.latitude_deg >= 0 else 'S'}, "
    where += f"{abs(site.longitude_deg):.5f}° {'E' if site.longitude_deg >= 0 else 'W'}"
    yield f'<header class="head"><h1 class="clamp2">{esc(plan.title or "Shot sheet")}</h1>'
    yield f'<div class="day">{day_words(matter.date, year=True, weekday=True)}'
    if site.name:
        yield f'<small class="clamp1">{esc(site.name)}</small>'
    yield f"<small>{where}</small></div></header>"
    if plan.reason:
        yield f'<p class="reason clamp3">{esc(plan.reason)}</p>'
    yield f'<p class="facts">{esc(" · ".join(_facts(matter)))}</p>'
    if isinstance(plan.notes, str) and plan.notes.strip():
        yield f'<p class="notes clamp2">{esc(plan.notes)}</p>'


def _facts(matter: Matter) -> Iterator[str]:
    plan, count = matter.plan, len(matter.frames)
    every = f"one every {plan.shoot.interval_s:g} s, {matter.report.summary.rig.shoot_length}"
    yield f"{count} frames, {every}" if count > 1 else "1 frame"
    yield f"clip {count / plan.clip.fps:.1f} s at {plan.clip.fps:g} fps"
    yield f"{plan.camera.focal_length_mm:g} mm, focus {plan.camera.focus_distance_m:g} m"
    if plan.exposure is not None:
        nd = f", ND {stops(plan.exposure.nd_stops)}" if plan.exposure.nd_stops else ""
        grad = f", graduated {stops(plan.exposure.grad_stops)}" if plan.exposure.grad_stops else ""
        yield exposure.f_number_label(plan.exposure.f_number) + nd + grad
    if drive.axis_limits(plan):
        yield plan.move.drive
    yield f"times in {plan.site.timezone}"


def _times(matter: Matter) -> Iterator[str]:
    shown: list[tuple[str, Moment]] = []
    for moment in matter.moments:
        if moment.kind == "light":
            continue
        if shown and shown[-1][1].kind == "arrive" and moment.utc_s == shown[-1][1].utc_s:
            shown[-1] = (f"{shown[-1][0]}, {moment.label[0].lower()}{moment.label[1:]}", shown[-1][1])
        else:
            shown.append((moment.label, moment))
    yield '<ol class="times">'
    for label, moment in shown:
        yield _time(matter, label, moment)
    yield "</ol>"
    lights = [
        f"{esc(moment.label)} <b>{moment.local(matter.plan):%H:%M}</b>"
        + (f", frame {moment.frame}" if moment.frame is not None else "")
        for moment in matter.moments
        if moment.kind == "light"
    ]
    if lights:
        yield f'<p class="later">{" · ".join(lights[:LIGHTS])}</p>'


def _time(matter: Matter, label: str, moment: Moment) -> str:
    local = moment.local(matter.plan)
    exact = f"<small>:{local:%S}</small>" if moment.kind in EXACT else ""
    note = moment.note
    if moment.kind == "event" and moment.frame is not None:
        note = f"frame {moment.frame}, {note}"
    if local.date() != matter.date:
        note = f"{day_words(local.date(), weekday=True)}; {note}"
    return (
        f'<li class="{moment.kind}"><span class="what">{esc(label)}</span>'
        f'<time datetime="{utc_datetime(moment.utc_s).isoformat()}" data-kind="{moment.kind}">'
        f'{local:%H:%M}{exact}</time><span class="note">{esc(note)}</span></li>'
    )


# ---------------------------------------------------------------- pictures


def _strip(matter: Matter) -> Iterator[str]:
    shapes = solids(matter.plan)
    yield '<section class="strip">'
    for number, shown in enumerate(strip_frames(matter.frames, matter.report)):
        picture = matter.pictures.get(shown.frame)
        source = _data_address(picture.content) if picture else ""
        inner = (
            f'<img alt="Draft of frame {shown.frame}" src="{source}">'
            if source
            else view_svg(matter.frames, shown.frame - 1, 60.0, f"v{number}", shapes)
        )
        yield (
            f"<figure>{inner}<figcaption><b>{matter.clock(shown.frame)}</b> {esc(shown.label)}, "
            f"frame {shown.frame}</figcaption></figure>"
        )
    yield "</section>"


def _data_address(content: bytes) -> str:
    """The picture as a data: address; empty where it is none of the kinds a browser shows."""
    kind = next((media for magic, media in MEDIA_TYPES.items() if content.startswith(magic)), "")
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}" if kind else ""


# ---------------------------------------------------------------- numbers to type


def _clock_cell(matter: Matter, frame: int) -> str:
    local = matter.local(frame)
    return f'<td>{local:%H:%M}<span class="seconds">:{local:%S}</span></td>'


def _poses(matter: Matter) -> Iterator[str]:
    given = (
        ("slide_m", "slide<br>mm", 1000.0, 0),
        ("pan_deg", "pan<br>°", 1.0, 1),
        ("tilt_deg", "tilt<br>°", 1.0, 1),
    )
    shown = [
        _Axis(column=column, head=head, factor=factor, digits=digits, values=values)
        for column, head, factor, digits in given
        if (values := getattr(matter.frames, column)) is not None
    ]
    heads = ["place", "frame", "clock"]
    for axis in shown:
        heads += [axis.head, "from<br>start"]
    yield '<section><h2>Poses</h2><div class="scroll">'
    yield from table("pose-table", heads, (_pose(matter, row, shown) for row in pose_rows(matter.plan)))
    yield f"</div>{under(' '.join(_pose_notes(matter)))}</section>"


def _pose(matter: Matter, row: PoseRow, shown: list[_Axis]) -> str:
    k, last = row.index, len(matter.frames) - 1
    label = "start" if k == 0 else "end" if k == last else row.label
    cells = [f"<td>{label}</td><td>{k + 1}</td>", _clock_cell(matter, k + 1)]
    for axis in shown:
        value, away = float(axis.values[k]), float(axis.values[k] - axis.values[0])
        cells.append(cell(axis.column, k + 1, value, minus(f"{value * axis.factor:.{axis.digits}f}")))
        from_start = minus(f"{away * axis.factor:+.{axis.digits}f}")
        cells.append(cell(f"{axis.column}_from_start", k + 1, away, from_start))
    kind = "check" if row.pose is None else "pose"
    return f'<tr class="{kind}">{"".join(cells)}</tr>'


def _pose_notes(matter: Matter) -> Iterator[str]:
    plan = matter.plan
    yield "Pan is the true compass bearing of the lens, tilt its altitude."
    if plan.move.ease > 0.0 and len(matter.frames) > 1:
        ramp = round(plan.move.ease * (len(matter.frames) - 1))
        yield f"Ease in and out over {ramp} frames each; percentages are for checking the ease."
    if drive.axis_limits(plan):
        off = float(np.max(axes.typed_plan_error_px(plan, matter.frames), initial=0.0))
        how = f"at most {off:.1f} px off" if off >= 0.05 else "right to a tenth of a pixel"
        yield f"Typed as printed, the picture is {how}."


def _exposure(matter: Matter) -> Iterator[str]:
    rows = exposure_rows(matter.frames)
    ramp, limits = matter.frames.ramp, matter.plan.exposure
    yield "<section><h2>Exposure by hand</h2>"
    if ramp is None or limits is None:
        yield "<p>The plan has no exposure limits. What an incident meter should read at ISO 100:</p>"
        places = sorted({round(k) for k in np.linspace(0, len(matter.frames) - 1, 9)})
        yield from table("exposure-table", ("clock", "frame", "EV"), (_reading(matter, k) for k in places))
        yield "</section>"
        return
    half = (len(rows) + 1) // 2 if len(rows) > 6 else len(rows)
    yield '<div class="split">'
    for part in filter(None, (rows[:half], rows[half:])):
        cells = (
            f"<tr>{_clock_cell(matter, row.index + 1)}<td>{row.index + 1}</td>"
            + cell("shutter_s", row.index + 1, float(ramp.shutter_s[row.index]), row.shutter)
            + cell("iso", row.index + 1, float(ramp.iso[row.index]), row.iso.removeprefix("ISO "))
            + _ev(matter, row.index)
            + "</tr>"
            for row in part
        )
        yield from table("exposure-table", ("clock", "frame", "shutter", "ISO", "EV"), cells)
    nd = f", ND {stops(limits.nd_stops)}" if limits.nd_stops else ""
    look = ""
    if limits.night_look_stops:
        way = "darker" if limits.night_look_stops < 0 else "brighter"
        look = f" The night is kept {stops(abs(limits.night_look_stops))} {way} than metered."
    words = (
        f"{rows[0].f_number}{nd} throughout. EV is what an incident meter reads at ISO 100 in the open.{look}"
        f"{_spot_readings(matter)}"
    )
    yield f"</div>{under(words)}</section>"


METERED = {"picture": "the whole picture", "sky": "the brightest sky", "subject": "the subject's face"}


def _spot_readings(matter: Matter) -> str:
    """What is metered, and what a spot meter reads at start and end, where it is not the ground."""
    limits = matter.plan.exposure
    if limits is None or limits.meter == "ground":
        return ""
    readings = matter.frames.readings
    spots = (
        ("sky", readings.sky_ev100),
        ("ground", readings.ground_ev100),
        ("subject", readings.subject_ev100),
    )
    parts = [
        f"{name} {minus(f'{ev[0]:.1f}')} to {minus(f'{ev[-1]:.1f}')}"
        for name, ev in spots
        if np.isfinite(ev[[0, -1]]).all()
    ]
    return (
        f" The camera is set for {METERED[limits.meter]}. A spot meter reads, from first frame to last: "
        f"{', '.join(parts)} EV."
    )


def _ev(matter: Matter, k: int) -> str:
    value = float(matter.frames.scene_ev100[k])
    return cell("scene_ev100", k + 1, value, minus(f"{value:.1f}"))


def _reading(matter: Matter, k: int) -> str:
    return f"<tr>{_clock_cell(matter, k + 1)}<td>{k + 1}</td>{_ev(matter, k)}</tr>"
