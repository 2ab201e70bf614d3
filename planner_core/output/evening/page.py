"""The evening's page: timetable, shots, clashes and what was tried, the map, and what to pack."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from urllib.parse import quote

from planner_core.evening.shots import Shot
from planner_core.fit.evening import Evening, Round
from planner_core.output.evening.lists import camera_loads, things_to_pack
from planner_core.output.evening.map import walks_svg
from planner_core.output.evening.rows import Row, evening_rows, local
from planner_core.output.evening.words import (
    attempt_text,
    clash_text,
    clock_text,
    day_text,
    found_text,
    heading,
    moved_s,
    moved_text,
    row_text,
    rush_text,
    state_text,
    terms_text,
)
from planner_core.output.page import short_page
from planner_core.output.sheet.markup import bullets, esc, table, unbroken, under

_STYLE = """.evening section { margin-top: 4mm; } .evening p + p { margin-top: 0.8mm; }
.rounds td:first-child { white-space: nowrap; width: 24mm; } .rounds tr.start td, .rounds tr.leave td {
font-weight: 700; } .rounds tr.light td, .rounds tr.away td { color: var(--quiet); }
.rounds tr.light td { color: var(--sun); } .evening .state { font-size: 10pt; margin-top: 1.2mm; }
.evening .lists { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; } a { color: inherit; }
@media print { .page { height: auto; } .evening section { break-inside: auto; } tr { break-inside: avoid; } }
@media screen and (max-width: 760px) { .evening .lists { display: block; } .rounds td:first-child {
width: auto; } .evening section { margin-top: 26px; } .shots { display: block; overflow-x: auto; } }"""


def evening_page(evening: Evening, sheets: Mapping[int, str] | None = None) -> str:
    """The whole page; sheets are the names of the shots' own sheets beside it, by the shot's number."""
    body = "\n".join(_body(evening, sheets or {}))
    title = heading(evening)
    return short_page(title, f"{title}, {day_text(evening)}", f'<div class="evening">{body}</div>', _STYLE)


def _body(evening: Evening, sheets: Mapping[int, str]) -> Iterator[str]:
    yield f'<p class="state"><b>{esc(day_text(evening))}.</b> {esc(state_text(evening))} '
    yield f"{esc(rush_text(evening))}</p>"
    rows = evening_rows(evening)
    for each in evening.rounds:
        yield from _timetable(evening, each, rows)
    yield "<section><h2>Shots</h2>"
    yield from table(
        "shots",
        ("", "Shot", "Planned", "Start", "End", "Moved", "Rig", "Camera", "Who"),
        (_shot(evening, shot, sheets) for shot in evening.shots),
        (1, 6, 7, 8),
    )
    yield from _new_findings(evening)
    yield "</section>"
    if evening.clashes:
        yield "<section><h2>Clashes as planned, and what was tried</h2>"
        yield from bullets("plain", (clash_text(evening, clash) for clash in evening.clashes))
        yield from bullets("plain", (attempt_text(evening, attempt) for attempt in evening.attempts))
        yield "</section>"
    yield f'<section class="map"><h2>Places and walks</h2>{walks_svg(evening)}'
    yield under(terms_text(evening.terms))
    yield "</section>"
    yield from _lists(evening)


def _timetable(evening: Evening, each: Round, rows: tuple[Row, ...]) -> Iterator[str]:
    title = f"Person {each.person}" if len(evening.rounds) > 1 else "Timetable"
    mine = (row for row in rows if row.person in (0, each.person))
    yield f"<section><h2>{title}</h2>"
    yield from table("rounds", ("When", "What"), (_row(evening, row) for row in mine), (1,))
    yield "</section>"


def _row(evening: Evening, row: Row) -> str:
    kind = row.kind if row.person or row.kind == "light" else "away"
    return (
        f'<tr class="{kind}"><td><time>{esc(clock_text(evening, row))}</time></td>'
        f'<td class="words">{esc(unbroken(row_text(evening, row)))}</td></tr>'
    )


def _shot(evening: Evening, shot: Shot, sheets: Mapping[int, str]) -> str:
    name = esc(shot.name)
    if shot.number in sheets:
        name = f'<a href="{esc(quote(sheets[shot.number]))}">{name}</a>'
    shift = moved_s(evening, shot.number)
    who = next((each.person for each in evening.rounds if shot.number in each.shots), None)
    start, end = shot.start_s, shot.start_s + shot.runs_s
    cells = (
        f"{local(evening, evening.planned_s[shot.number - 1]):%H:%M}",
        "left out" if who is None else f"{local(evening, start):%H:%M}",
        "" if who is None else f"{local(evening, end):%H:%M}",
        moved_text(shift) if shift else "",
    )
    words = (
        shot.plan.rig.name,
        shot.plan.camera.name,
        "" if who is None else f"person {who}" + (", stays" if shot.plan.shoot.attended else ""),
    )
    numbers = "".join(f"<td>{esc(cell)}</td>" for cell in cells)
    texts = "".join(f'<td class="words">{esc(word)}</td>' for word in words)
    return f'<tr><td>{shot.number}</td><td class="words">{name}</td>{numbers}{texts}</tr>'


def _new_findings(evening: Evening) -> Iterator[str]:
    for number, codes in evening.new_findings.items():
        yield under(f"Moved, shot {number} gets from its review: {found_text(codes)}.")


def _lists(evening: Evening) -> Iterator[str]:
    yield '<div class="lists"><section><h2>To pack</h2><ul class="items">'
    yield from (
        f"<li><b>{esc(item.name)}</b> {esc(unbroken(item.why))}</li>" for item in things_to_pack(evening)
    )
    yield "</ul></section><section><h2>Cards and batteries</h2>"
    yield from table(
        "loads",
        ("Camera", "Shots", "Frames", "Card", "Batteries"),
        (
            f'<tr><td class="words">{esc(load.camera)}</td><td>{", ".join(map(str, load.shots))}</td>'
            f"<td>{load.frames}</td><td>{'' if load.filled_gb is None else f'{load.filled_gb:.1f} GB'}</td>"
            f"<td>{load.batteries}</td></tr>"
            for load in camera_loads(evening)
        ),
        (0,),
    )
    yield "</section></div>"
