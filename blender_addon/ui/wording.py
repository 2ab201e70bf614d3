"""Messages of the core in the words of the panels: a field is called what it is called in the sidebar, not
what it is called in the plan file.
"""

from __future__ import annotations

import re

from planner_core import Plan
from planner_core.place.blocking import block_label

FIELD = re.compile(r"^([a-z]\w*(?:\.\w+|\[\d+\])*): ")
PANELS = {
    "site": "Place and Light",
    "shoot": "Place and Light",
    "blocks": "Blocking",
    "rig": "Rig and Camera",
    "camera": "Rig and Camera",
    "clip": "Camera and Clip",
    "move": "Move",
    "exposure": "Exposure",
    "composition": "What It Is About",
}
PARTS = {"rig.slide.": "Slider", "rig.pan.": "Pan", "rig.tilt.": "Tilt"}

INSIDE = re.compile(r"\b(?:site|shoot|camera|clip|rig|move|exposure|composition)(?:\.\w+|\[\d+\])+")
PLACE = re.compile(r"\bshoot\.anchor\.at ([\d.]*\d)(?: instead of ([\d.]*\d))?")

labels: dict[str, str] = {}  # of the plan's fields, with # for the number of a row


def plainly(text: str) -> str:
    """A text with the fields in it called as in the sidebar, and places of the move in percent as there."""

    def place(found: re.Match[str]) -> str:
        shown = [f"{100.0 * float(value):.3g} %" for value in found.groups() if value]
        return f"“{labels.get('shoot.anchor.at', 'at')}” {' instead of '.join(shown)}"

    def field(found: re.Match[str]) -> str:
        label = labels.get(_of_a_row(found[0]))
        return f"“{label}”" if label else found[0]

    return INSIDE.sub(field, PLACE.sub(place, text))


def _of_a_row(path: str) -> str:
    rows = re.sub(r"^(blocks|move\.poses)\[\d+\]", r"\1[#]", path)
    return re.sub(r"\[\d+\]$", "", rows)


def in_words(message: str, plan: Plan | None = None) -> str:
    """A message that begins with a field's path, beginning with where that field is in the sidebar."""
    found = FIELD.match(message)
    if not found:
        return message
    path = found[1]
    top = re.split(r"[.\[]", path, maxsplit=1)[0]
    if top not in PANELS:
        return message
    said = [PANELS[top]]
    said += [word for start, word in PARTS.items() if path.startswith(start)]
    row = re.match(r"(?:move\.poses|blocks)\[(\d+)\]", path)
    if row and top == "blocks" and plan is not None and int(row[1]) < len(plan.blocks):
        said.append(f"“{block_label(plan, int(row[1]))}”")
    elif row:
        said.append(f"{'block' if top == 'blocks' else 'pose'} {int(row[1]) + 1}")
    label = labels.get(_of_a_row(path))
    said += [label] if label else []
    rest = message[found.end() :].replace('give "start" instead', "go by a start time")
    return f"{', '.join(said)}: {plainly(rest)}"
