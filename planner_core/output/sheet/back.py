"""The shot sheet's second side: the place, sun and moon, what to mind, what to do when the light differs,
what to pack, and the cautions.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from planner_core.evening.moonlight import moon_view
from planner_core.evening.sunlight import OPEN, sun_in_picture_frames, sun_up, sunlight
from planner_core.frames import FrameTable
from planner_core.maths.angles import compass_deg, wrapped_deg
from planner_core.output.packing import Item, packing_list
from planner_core.output.sheet import paper
from planner_core.output.sheet.draw import minus
from planner_core.output.sheet.map import (
    Bearing,
    Measured,
    Outlines,
    bearings,
    block_outlines,
    measured,
    place_svg,
    rig_svg,
)
from planner_core.output.sheet.markup import SheetData, bullets, cell, esc, ev_cell, table, unbroken, under
from planner_core.output.sheet.meters import plan_meter
from planner_core.output.sheet.tables import Shift, late_starts, light_advice, light_shifts
from planner_core.picture.projection import project_px
from planner_core.place.ground import height_above_ground_m
from planner_core.plan.model import Plan
from planner_core.review.findings import Finding
from planner_core.words.figures import percent

LEVEL_WORDS = {"stop": "Stop", "warn": "Look", "note": "Note"}
# on paper: a column's width, what stands above and between, and the map at its lowest and tallest
COLUMN_MM, AROUND_MM, MAP_MM = 91.0, 13.0, (58.0, 86.0)
RIG_MM = (70.0, 38.0)  # the rig's drawing
MORE_MM = 3.7  # the line that says how many findings aren't on paper
STOPS_OFF = {-2: "2 stops<br>darker", -1: "1 stop<br>darker", 1: "1 stop<br>brighter"}


def second_side(data: SheetData) -> dict[str, Iterable[str]]:
    """The sections of the second side by their names in sheet.html, each as lines of HTML."""
    outlines, advice = block_outlines(data.plan), _advice(data)
    note_mm = paper.HEADING_MM + paper.remark_mm(" ".join(_place_notes(data)), 112.0)
    maps_mm = max(note_mm + MAP_MM[0], _rig_mm(data, outlines))
    shown = _findings_on_paper(data, advice, paper.SIDE_MM - AROUND_MM - maps_mm)
    columns_mm = max(_left_mm(data, advice, shown), _right_mm(data))
    map_mm = float(np.clip(paper.SIDE_MM - AROUND_MM - columns_mm - note_mm, *MAP_MM))
    return {
        "place": _place(data, outlines, map_mm),
        "rig": _rig(data, outlines),
        "findings": _findings(data, shown),
        "light_differs": _differs(data, advice),
        "sun_and_moon": _sky(data),
        "packing": _packing(data),
        "care": _care(data),
    }


# ---------------------------------------------------------------- the place


def _place(data: SheetData, outlines: Outlines, map_mm: float) -> Iterator[str]:
    yield '<section class="map"><h2>The place</h2>'
    for kind, width, height in (("wide", 112.0, map_mm), ("narrow", 80.0, 84.0)):
        drawing = place_svg(data.plan, data.frames, data.event, outlines, width, height, f"m{kind[0]}")
        yield f'<div class="{kind}">{drawing}</div>'
    yield f"{under(' '.join(_place_notes(data)))}</section>"


def _place_notes(data: SheetData) -> list[str]:
    notes = ["North is up. Field of view: full line at the start, dashed at the end."]
    if any(not row.up for row in bearings(data.frames, data.event) if row.body == "sun"):
        notes.append("A hollow mark is below the horizon.")
    for block in data.plan.blocks:
        if block.shape == "ridge" and block.skyline_deg and block.distance_m:
            low, high = min(a for _, a in block.skyline_deg), max(a for _, a in block.skyline_deg)
            name = block.name[:40] or "A ridge"
            notes.append(f"{name}: {block.distance_m / 1000.0:.1f} km away, {low:.1f}° to {high:.1f}° high.")
    return notes[:4]


def _rig_words(data: SheetData) -> str:
    plan, rig = data.plan, data.plan.rig
    if rig.slide is None:
        height_m = height_above_ground_m(plan, data.frames.camera_m[0])
        return f"Tripod; the lens {height_m:.2f} m above the ground."
    rise = f", rising {rig.incline_deg:g}°" if rig.incline_deg else ", level"
    return (
        f"Rail of {rig.slide.max_m - rig.slide.min_m:.2f} m along "
        f"{compass_deg(rig.bearing_deg):.1f}°{rise}, "
        f"its start {height_above_ground_m(plan, rig.origin_m):.2f} m above the ground."
    )


def _rig(data: SheetData, outlines: Outlines) -> Iterator[str]:
    drawing = rig_svg(data.plan, data.frames, outlines, *RIG_MM)
    yield f'<section class="map"><h2>The rig</h2>{drawing}{under(_rig_words(data))}</section>'
    rows = measured(data.plan, outlines)
    if rows:
        heads = ("from the rail’s start", "distance", "bearing", "height")
        yield '<section class="measures">'
        yield from table("measure-table", heads, map(_measured, rows), words=(0,))
        yield "</section>"


def _measured(row: Measured) -> str:
    distance = f"{row.distance_m:.2f} m" if row.distance_m < 20 else f"{row.distance_m:.0f} m"
    height = f"{row.height_m:.1f} m" if row.height_m < 20 else f"{row.height_m:.0f} m"
    return (
        f'<tr><td class="words"><span class="clamp1">{esc(row.name)}</span></td><td>{distance}</td>'
        f"<td>{row.bearing_deg:.1f}°</td><td>{minus(height[:-2])} m</td></tr>"
    )


def _sky(data: SheetData) -> Iterator[str]:
    shown, bodies = bearings(data.frames, data.event), _sky_bodies(data)
    yield '<section class="sky"><h2>Sun and moon</h2><div class="bodies">'
    for body in bodies:
        heads = ("", f"{body}<br>bearing", "altitude", "across")
        rows = (
            f'<tr><td class="words">{esc(row.when)}</td>{_sky_cells(data, row)}</tr>'
            for row in shown
            if row.body == body
        )
        yield from table("sky-table", heads, rows, words=(0,))
    yield f"</div>{under(_sky_words(data))}</section>"


def _sky_bodies(data: SheetData) -> list[str]:
    """The sun, and the moon where it is up at one of the moments shown."""
    shown = bearings(data.frames, data.event)
    return [body for body in ("sun", "moon") if body == "sun" or any(r.up for r in shown if r.body == body)]


def _sky_words(data: SheetData) -> str:
    moon = float(data.frames.moon_lit_fraction[len(data.frames) // 2])
    lit = f"Moon {percent(moon)} lit." if "moon" in _sky_bodies(data) else "The moon stays below the horizon."
    in_picture = data.report.summary.light.moon.moon_in_picture_frames
    if in_picture is not None:
        lit += f" It is in the picture in frames {in_picture[0]} to {in_picture[1]}."
    return (
        f"{lit} Across: share of the picture’s width, from its left edge. Bearings are true. On a "
        "compass, subtract an east declination or add a west one."
    )


def _sky_cells(data: SheetData, row: Bearing) -> str:
    altitude = minus(f"{row.altitude_deg:.1f}") + "°"
    return (
        cell(f"{row.body}_azimuth_deg", row.frame, row.bearing_deg, f"{row.bearing_deg:.1f}°")
        + cell(f"{row.body}_altitude_deg", row.frame, row.altitude_deg, altitude)
        + f"<td>{_in_picture(data, row)}</td>"
    )


def _in_picture(data: SheetData, row: Bearing) -> str:
    if not row.up:
        return "down"
    plan, frames, k = data.plan, data.frames, row.frame - 1
    if _is_hidden(frames, row):
        return "hidden"
    eye, rotation = frames.camera_m[k], frames.camera_rotation[k]
    (x, y), _ = project_px(plan, eye + getattr(frames, f"{row.body}_direction")[k], eye, rotation)
    width, height = plan.clip.width_px, plan.clip.height_px
    if np.isfinite(x) and 0 <= x <= width:
        return f"{percent(x / width)}" if 0 <= y <= height else "above" if y < 0 else "below"
    turn = wrapped_deg(row.bearing_deg - float(frames.lens_bearing_deg[k]))
    return "behind" if abs(turn) > 90.0 else f"{abs(turn):.0f}° {'right' if turn > 0 else 'left'}"


def _is_hidden(frames: FrameTable, row: Bearing) -> bool:
    """Whether blocks or land stand before sun or moon in a row's frame."""
    body = sunlight(frames) if row.body == "sun" else moon_view(frames)
    return bool(body.camera_behind[row.frame - 1] != OPEN)


# ---------------------------------------------------------------- words


def _findings(data: SheetData, shown: int) -> Iterator[str]:
    findings = data.report.findings
    yield '<section class="findings"><h2>Watch out for</h2>'
    if not findings:
        yield "<p>No problems found.</p></section>"
        return
    yield "<ul>"
    for number, finding in enumerate(findings):
        yield _finding(finding, screen_only=number >= shown)
    yield "</ul>"
    if shown < len(findings):
        more = len(findings) - shown
        yield f'<p class="paper-only quiet">{more} more on the phone, or from check.</p>'
    yield "</section>"


def _finding(finding: Finding, *, screen_only: bool) -> str:
    fix = f' <span class="fix">{esc(unbroken(finding.fix))}</span>' if finding.fix else ""
    kind = finding.level + (" screen-only" if screen_only else "")
    return f'<li class="{kind}"><b>{LEVEL_WORDS[finding.level]}</b>{esc(unbroken(finding.message))}{fix}</li>'


def _differs(data: SheetData, advice: list[str]) -> Iterator[str]:
    yield '<section class="differs"><h2>When the light is different</h2>'
    shifts = light_shifts(data.frames, data.event, tuple(STOPS_OFF))
    heads = ("meter at", "should<br>read EV", *STOPS_OFF.values())
    yield from table("shift-table", heads, (_shift(data, row) for row in shifts))
    yield under(_differs_words(data))
    yield from bullets("plain", advice)
    yield "</section>"


def _differs_words(data: SheetData) -> str:
    meter = plan_meter(data.frames)
    return (
        f"Meter {meter.metered} with {meter.how}. If it is that much darker or brighter than it should "
        f"be, use "
        "the exposure table’s line for so many minutes later (+) or earlier (−). A dash: there is none."
    )


def _shift(data: SheetData, row: Shift) -> str:
    cells = "".join(f"<td>{_minutes(row.minutes[stop])}</td>" for stop in STOPS_OFF)
    reading = ev_cell(data.frames, plan_meter(data.frames).column, row.index)
    return f"<tr><td>{esc(row.when)}, {data.clock(row.index + 1)}</td>{reading}{cells}</tr>"


def _minutes(value: float | None) -> str:
    if value is None:
        return "–"
    size = round(abs(value))
    if size == 0:
        return "now"
    words = f"{size} min" if size < 100 else f"{size // 60} h {size % 60:02d}"
    return f"{'+' if value > 0 else '−'}{words}"


def _advice(data: SheetData) -> list[str]:
    event = data.event
    said = light_advice(data.plan, data.frames, event)
    late = late_starts(data.plan, data.frames, event)
    if late and event is not None:
        words = [f"{row.minutes} min, frame {row.frame} or every {row.interval_s:.1f} s" for row in late]
        said.append(
            f"If you start late, {event.label.lower()} comes before frame {event.frame}. A shorter interval "
            f"still ends on time: {'; '.join(words)}."
        )
    return said


def _packing(data: SheetData) -> Iterator[str]:
    def line(item: Item) -> str:
        return f"<li>{esc(unbroken(item.name))} <small>{esc(unbroken(item.why))}</small></li>"

    yield '<section><h2>To pack</h2><ul class="items">'
    yield from map(line, packing_list(data.plan, data.frames))
    yield "</ul></section>"


def _care(data: SheetData) -> Iterator[str]:
    yield '<section class="care"><h2>Take care</h2>'
    yield from bullets("plain", cautions(data.plan, data.frames))
    yield "</section>"


def cautions(plan: Plan, frames: FrameTable) -> list[str]:
    """What can hurt people or gear, with this plan's own facts where it has some."""
    rising = bool(sun_up(frames)[-1] and not sun_up(frames)[0])
    cover = "Cover the lens from the last frame on" if rising else "Until the first frame, cap the lens"
    sun = (
        f"Never look at the sun through the finder or a long lens. {cover} or turn it away: a sun resting in "
        "it burns shutter and sensor."
    )
    in_picture = sun_in_picture_frames(sunlight(frames))
    if in_picture is not None:
        sun += f" Here it can be in the picture from frame {in_picture[0]} to frame {in_picture[1]}."
    edge = "Weigh the rig down and tie it to something that holds, most of all near an edge, water or people"
    edge += ": there is water here." if any(block.role == "water" for block in plan.blocks) else "."
    dark = bool(np.any(~sun_up(frames)))
    weather = "Check the forecast, the wind, the tide and the traffic, and dress for standing still."
    if dark:
        direction = "there" if rising else "back"
        weather += f" Walk the way {direction} once in daylight."
    return [
        sun,
        edge,
        weather,
        "Ask the owner of the ground. Local law governs filming, lights and access.",
        "Leave work at height, rigging on structures and mains power to licensed people, under local law. "
        "This page replaces neither.",
    ]


# ---------------------------------------------------------------- room on paper


def _rig_mm(data: SheetData, outlines: Outlines) -> float:
    """Height of the rig's drawing with what is measured from it."""
    drawing = paper.HEADING_MM + RIG_MM[1] + paper.remark_mm(_rig_words(data), RIG_MM[0])
    return drawing + paper.table_mm(len(measured(data.plan, outlines)))


def _findings_on_paper(data: SheetData, advice: list[str], most_mm: float) -> int:
    """How many findings, from the first, the left column holds in so much height."""
    counts = range(len(data.report.findings), 0, -1)
    return next((count for count in counts if _left_mm(data, advice, count) <= most_mm), 0)


def _left_mm(data: SheetData, advice: list[str], shown: int) -> float:
    """Height of so many findings and of what to do when the light differs."""
    findings = data.report.findings
    said = (f"{finding.message} {finding.fix}" for finding in findings[:shown])
    mind = paper.HEADING_MM + sum(_listed_mm(words, 11.0) + 1.2 for words in said)
    more = MORE_MM if shown < len(findings) else 0.0
    table = paper.table_mm(3, 2) + paper.remark_mm(_differs_words(data), COLUMN_MM)
    return mind + more + 3.0 + table + 1.0 + _bullets_mm(advice)


def _right_mm(data: SheetData) -> float:
    """Height of sun and moon, the packing list and the cautions."""
    sky = paper.table_mm(3, 2) + paper.remark_mm(_sky_words(data), COLUMN_MM)
    items = (f"{item.name} {item.why}" for item in packing_list(data.plan, data.frames))
    packing = paper.HEADING_MM + sum(_listed_mm(words, 5.0) + 1.1 for words in items)
    care = 1.7 + paper.HEADING_MM + _bullets_mm(cautions(data.plan, data.frames))
    return sky + 3.0 + packing + 3.0 + care


def _bullets_mm(sentences: list[str]) -> float:
    return sum(_listed_mm(sentence, 3.2) + 0.8 for sentence in sentences)


def _listed_mm(words: str, indent_mm: float) -> float:
    """Height of a line of a list, which breaks no number from its unit."""
    return paper.text_mm(unbroken(words), COLUMN_MM - indent_mm, line=paper.LIST_LINE)
