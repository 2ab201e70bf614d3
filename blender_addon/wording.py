"""Messages of the core in the words of the panels: a field is called what it is called in the sidebar, not
what it is called in the plan file.
"""

from __future__ import annotations

import re

from planner_core import Plan
from planner_core.blocking import block_label

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

labels: dict[str, str] = {}  # of the plan's fields, with # for the number of a row


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
    rows = re.sub(r"^(blocks|move\.poses)\[\d+\]", r"\1[#]", path)
    label = labels.get(re.sub(r"\[\d+\]$", "", rows))
    said += [label] if label else []
    rest = message[found.end() :].replace('give "start" instead', "go by a start time")
    return f"{', '.join(said)}: {rest}"
