"""What can still be saved, as lines and as one page for a phone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from planner_core.evening.timetable import EVENT_WORDS
from planner_core.fit.late import Rescue
from planner_core.output.page import short_page
from planner_core.output.sheet.markup import esc
from planner_core.plan.text import one_line
from planner_core.words.durations import duration_text
from planner_core.words.figures import percent

HEADINGS = {
    "event-kept": "Keep the light event where it is in the move",
    "same-end": "End as planned, with fewer frames",
    "whole-clip": "Shoot the whole clip, only later",
    "shorter-interval": "Shoot every frame by the planned end, with a shorter interval",
}

_STYLE = """.way { margin: 4mm 0; } .way dl { display: grid; grid-template-columns: auto 1fr; gap: 1mm 4mm; }
.way dd { margin: 0; font-weight: 700; }"""


def numbers(one: Rescue) -> list[tuple[str, str]]:
    """What to set by hand, each with its name."""
    shoot = one.plan.shoot
    rows = [
        ("Start", f"{one.start:%H:%M:%S}"),
        ("End", f"{one.end:%H:%M}"),
        ("Frames", f"{shoot.frames}"),
        ("Interval", f"{shoot.interval_s:g} s"),
        ("Clip", duration_text(one.clip_s)),
    ]
    if one.travel_m is not None:
        rows.append(("Travel", f"{one.travel_m:.2f} m"))
    if one.event_at is not None:
        rows.append((EVENT_WORDS[one.event], f"at {percent(one.event_at)} of the move"))
    return rows


def late_lines(found: Sequence[Rescue]) -> Iterator[str]:
    """Each way with its numbers and what there is to say against it."""
    for rank, one in enumerate(found, start=1):
        yield f"{rank}. {HEADINGS[one.kind]}"
        yield "   " + ", ".join(f"{name.lower()} {value}" for name, value in numbers(one))
        yield from (f"   {word}" for word in _against(one))


def _against(one: Rescue) -> list[str]:
    grave = [finding for finding in one.report.findings if finding.level != "note"]
    return [one_line(finding.message) for finding in grave[:4]] or ["No problems found."]


def late_page(title: str, found: Sequence[Rescue]) -> str:
    """One page, self-contained."""
    sections = []
    for rank, one in enumerate(found, start=1):
        rows = "".join(f"<dt>{esc(name)}</dt><dd>{esc(value)}</dd>" for name, value in numbers(one))
        told = "".join(f"<li>{esc(word)}</li>" for word in _against(one))
        sections.append(
            f'<section class="way"><h2>{rank}. {esc(HEADINGS[one.kind])}</h2>'
            f"<dl>{rows}</dl><ul>{told}</ul></section>"
        )
    return short_page(title or "Late", f"{title or 'Plan'}, late", "\n".join(sections), _STYLE)


def late_dict(found: Sequence[Rescue]) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "ways": [
            {
                "kind": one.kind,
                "start": one.start.isoformat(),
                "end": one.end.isoformat(),
                "frames": one.plan.shoot.frames,
                "interval_s": one.plan.shoot.interval_s,
                "clip_s": one.clip_s,
                "travel_m": one.travel_m,
                "event_at": one.event_at,
                "stops": [f.code for f in one.report.findings if f.level == "stop"],
                "warnings": [f.code for f in one.report.findings if f.level == "warn"],
            }
            for one in found
        ]
    }
