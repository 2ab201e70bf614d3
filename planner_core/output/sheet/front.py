"""The shot sheet's first side: title, times, pictures and the chart; numbers.py has its tables."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator
from itertools import pairwise

from attrs import frozen

from planner_core.evening.timetable import Moment, timetable, turn_moment
from planner_core.frames import FrameTable
from planner_core.light import exposure
from planner_core.output.sheet import numbers, paper
from planner_core.output.sheet.chart import NARROW, WIDE, ChartSize, chart_svg, fitting
from planner_core.output.sheet.markup import SheetData, esc, stops, unbroken
from planner_core.output.sheet.view import solids, view_svg
from planner_core.plan.model import Plan
from planner_core.plan.timeline import utc_datetime
from planner_core.review.findings import Review
from planner_core.rig import drive
from planner_core.words.dates import day_words

MEDIA_TYPES = {b"\x89PNG": "image/png", b"\xff\xd8\xff": "image/jpeg", b"RIFF": "image/webp"}
STRIP_PICTURES, UPRIGHT_STRIP_PICTURES = 4, 8
LIGHTS = 7  # twilights and the like in the line under the times
TITLE_PT, STRIP_MM, STRIP_GAP_MM, GAPS_MM = 19.0, 26.5, 2.5, 14.0  # as sheet.css has them
EXACT = ("start", "event", "end")


@frozen(kw_only=True)
class Shown:
    """A frame of the strip: why it is shown, and its number from 1."""

    label: str
    frame: int


def strip_frames(frames: FrameTable, report: Review | None) -> tuple[Shown, ...]:
    """The frames of the picture strip: first, event, weakest, last, each once; others fill it up to four, or
    up to eight where they are upright.
    """
    event = turn_moment(timetable(frames.plan, frames))
    strip = [Shown(label="first", frame=1)]
    if event is not None and event.frame is not None:
        strip.append(Shown(label=event.label.lower(), frame=event.frame))
    weakest = report.summary.picture.weakest_frame if report else None
    if weakest is not None:
        strip.append(Shown(label="weakest picture", frame=weakest))
    strip.append(Shown(label="last", frame=len(frames)))
    places = {shown.frame for shown in strip}
    most = min(_strip_pictures(frames.plan), len(frames))
    while len(places) < most:  # one more in the middle of the widest gap
        before, after = max(pairwise(sorted(places)), key=lambda pair: pair[1] - pair[0])
        places.add((before + after) // 2)
        strip.append(Shown(label="between", frame=(before + after) // 2))
    merged: dict[int, str] = {}
    for shown in strip:
        merged[shown.frame] = (
            f"{merged[shown.frame]}, {shown.label}" if shown.frame in merged else shown.label
        )
    return tuple(Shown(label=label, frame=frame) for frame, label in sorted(merged.items()))


def _strip_pictures(plan: Plan) -> int:
    """How many pictures stand beside each other."""
    return UPRIGHT_STRIP_PICTURES if plan.clip.height_px > plan.clip.width_px else STRIP_PICTURES


def first_side(data: SheetData) -> dict[str, Iterable[str]]:
    """The sections of the first side by their names in sheet.html, each as lines of HTML."""
    return {
        "head": _head(data),
        "times": _times(data),
        "strip": _strip(data),
        "chart_wide": [chart_svg(data.frames, data.moments, _wide(data))],
        "chart_narrow": [chart_svg(data.frames, data.moments, NARROW)],
        "poses": numbers.poses(data),
        "exposure": numbers.by_hand(data),
    }


def _wide(data: SheetData) -> ChartSize:
    """The chart for paper, as tall as the other sections leave room for."""
    return fitting(data.frames, WIDE, paper.SIDE_MM - _words_mm(data) - numbers.tables_mm(data))


def _words_mm(data: SheetData) -> float:
    """Height of what stands above the chart on paper."""
    plan, wide = data.plan, paper.WIDTH_MM
    title = min(paper.lines(plan.title, 0.6 * wide, TITLE_PT, bold=True), 2) * TITLE_PT * paper.PT_MM * 1.12
    day = (11.0 + 2.0 * paper.BODY_PT) * paper.PT_MM * paper.BODY_LINE
    notes = plan.notes if isinstance(plan.notes, str) else ""
    shown = _shown_times(data)
    column = wide / len(shown) - 4.0
    times = 16.7 + max(paper.remark_mm(_time_note(data, moment), column) for _, moment in shown)
    captions = (f"00:00 {_caption(shown)}" for shown in strip_frames(data.frames, data.report))
    picture = (wide + STRIP_GAP_MM) / _strip_pictures(plan) - STRIP_GAP_MM
    caption = max(paper.remark_mm(words, picture) for words in captions)
    strip = picture * plan.clip.height_px / plan.clip.width_px
    return (
        max(title, day)
        + paper.text_mm(plan.reason, wide, 10.0, 3)
        + paper.text_mm(" · ".join(_facts(data)), wide)
        + paper.text_mm(notes, wide, most=2)
        + times
        + paper.text_mm(_lights(data), wide)
        + min(strip, STRIP_MM)
        + caption
        + paper.text_mm(_unready(data), wide)
        + GAPS_MM
    )


# ---------------------------------------------------------------- head and times


def _head(data: SheetData) -> Iterator[str]:
    plan, site = data.plan, data.plan.site
    where = f"{abs(site.latitude_deg):.5f}° {'N' if site.latitude_deg >= 0 else 'S'}, "
    where += f"{abs(site.longitude_deg):.5f}° {'E' if site.longitude_deg >= 0 else 'W'}"
    yield f'<header class="head"><h1 class="clamp2">{esc(plan.title or "Shot sheet")}</h1>'
    yield f'<div class="day">{day_words(data.date, year=True, weekday=True)}'
    if site.name:
        yield f'<small class="clamp1">{esc(site.name)}</small>'
    yield f"<small>{where}</small></div></header>"
    if plan.reason:
        yield f'<p class="reason clamp3">{esc(plan.reason)}</p>'
    yield f'<p class="facts">{esc(" · ".join(_facts(data)))}</p>'
    if isinstance(plan.notes, str) and plan.notes.strip():
        yield f'<p class="notes clamp2">{esc(plan.notes)}</p>'
    if words := _unready(data):
        yield f'<p class="unready">{esc(words)}</p>'


def _unready(data: SheetData) -> str:
    """That the plan has findings nobody should go out with, if so."""
    count = sum(finding.level == "stop" for finding in data.report.findings)
    if not count:
        return ""
    points = "one point has" if count == 1 else f"{count} points have"
    return f"Not ready to go: {points} to change first, see “Watch out for”."


def _facts(data: SheetData) -> Iterator[str]:
    plan, count = data.plan, len(data.frames)
    every = f"one every {plan.shoot.interval_s:g} s, {data.report.summary.rig.shoot_length}"
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


def _shown_times(data: SheetData) -> list[tuple[str, Moment]]:
    """Moments by the clock, those at the same instant as one, with their names."""
    shown: list[tuple[str, Moment]] = []
    for moment in data.moments:
        if moment.kind == "light":
            continue
        if shown and shown[-1][1].kind == "arrive" and moment.utc_s == shown[-1][1].utc_s:
            shown[-1] = (f"{shown[-1][0]}, {moment.label[0].lower()}{moment.label[1:]}", shown[-1][1])
        else:
            shown.append((moment.label, moment))
    return shown


def _times(data: SheetData) -> Iterator[str]:
    yield '<ol class="times">'
    for label, moment in _shown_times(data):
        yield _time(data, label, moment)
    yield "</ol>"
    if lights := _lights(data):
        yield f'<p class="later">{lights}</p>'


def _lights(data: SheetData) -> str:
    """Twilights and the like, as HTML."""
    lights = [
        f"{esc(moment.label)} <b>{data.wall(moment.local(data.plan))}</b>"
        + (f", frame {moment.frame}" if moment.frame is not None else "")
        for moment in data.moments
        if moment.kind == "light"
    ]
    return " · ".join(lights[:LIGHTS])


def _time(data: SheetData, label: str, moment: Moment) -> str:
    local = moment.local(data.plan)
    exact = (f":{local:%S}" if moment.kind in EXACT else "") + data.letters(local)
    exact = f"<small>{exact}</small>" if exact else ""
    return (
        f'<li class="{moment.kind}"><span class="what">{esc(label)}</span>'
        f'<time datetime="{utc_datetime(moment.utc_s).isoformat()}" data-kind="{moment.kind}">'
        f'{local:%H:%M}{exact}</time><span class="note">{esc(_time_note(data, moment))}</span></li>'
    )


def _time_note(data: SheetData, moment: Moment) -> str:
    note, date = moment.note, moment.local(data.plan).date()
    if moment.kind == "event" and moment.frame is not None:
        note = f"frame {moment.frame}, {note}"
    if date != data.date:
        note = f"{day_words(date, weekday=True)}; {note}"
    return unbroken(note)


# ---------------------------------------------------------------- pictures


def _strip(data: SheetData) -> Iterator[str]:
    chosen = strip_frames(data.frames, data.report)
    sources = [_source(data, shown.frame) for shown in chosen]
    drawn = None if all(sources) else solids(data.plan)  # pictures of two kinds can't be compared
    yield f'<section class="strip" style="--pictures: {_strip_pictures(data.plan)}">'
    for number, (shown, source) in enumerate(zip(chosen, sources, strict=True)):
        inner = (
            f'<img alt="Draft of frame {shown.frame}" src="{source}">'
            if drawn is None
            else view_svg(data.frames, shown.frame - 1, 60.0, f"v{number}", drawn)
        )
        yield (
            f"<figure>{inner}<figcaption><b>{data.clock(shown.frame)}</b> {esc(_caption(shown))}"
            "</figcaption></figure>"
        )
    yield "</section>"


def _source(data: SheetData, frame: int) -> str:
    """The draft clip's picture of a frame as an address; empty where there is none."""
    picture = data.pictures.get(frame)
    return _data_address(picture.content) if picture else ""


def _caption(shown: Shown) -> str:
    return f"{shown.label}, frame {shown.frame}"


def _data_address(content: bytes) -> str:
    """The picture as a data: address; empty where it is none of the kinds a browser shows."""
    kind = next((media for magic, media in MEDIA_TYPES.items() if content.startswith(magic)), "")
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}" if kind else ""
