"""What all panels share: the tab they are in, text over several lines, and how rows are laid out."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from planner_core.words.language import in_words, say

from ...state import live

TAB = "Duskrail"
LETTER_PX = 5.9  # width of a letter of Blender's interface font at scale 1, on the generous side
UNITS = ("%", "°", "m", "s", "mm", "px", "min", "h", "EV")
ICON_PX = 24.0
LEVEL_ICONS = {"stop": "CANCEL", "warn": "ERROR", "note": "INFO"}


def wrapped(layout: Any, context: Any, text: str, *, icon: str = "NONE", spare_px: float = 40.0) -> None:
    """Text over as many lines as the sidebar's width needs."""
    scale = context.preferences.system.ui_scale
    spare_px += ICON_PX if icon != "NONE" else 0.0
    room = max(16, int((context.region.width - spare_px * scale) / (LETTER_PX * scale)))
    column = layout.column(align=True)
    column.scale_y = 0.8
    for number, line in enumerate(textwrap.wrap(with_units_beside_numbers(text), room)):
        column.label(
            text=line, translate=False, icon=icon if number == 0 else ("BLANK1" if icon != "NONE" else "NONE")
        )


def with_units_beside_numbers(text: str) -> str:
    """The same text, in which no line can end between a number and its unit."""
    kept = ""
    for word in text.split(" "):
        is_unit = kept[-1:].isdigit() and word.rstrip(".,;:)") in UNITS
        kept += ("\N{NO-BREAK SPACE}" if is_unit else " ") + word
    return kept[1:]


def counts(layout: Any, scene: Any) -> None:
    """How many findings there are of each level; faint while the review is behind the plan."""
    report = live.state_of(scene).review
    if report is None:
        return
    row = layout.row(align=True)
    row.active = live.is_reviewed(scene)
    for level in ("stop", "warn", "note"):
        count = sum(finding.level == level for finding in report.findings)
        if count:
            row.label(text=str(count), translate=False, icon=LEVEL_ICONS[level])


def done(layout: Any, context: Any, lines: Sequence[str]) -> None:
    """What was done, with a button to put the message away; nothing where there is nothing to tell."""
    if not lines:
        return
    box = layout.box()
    row = box.row()
    row.label(text=say("Done"), translate=False, icon="CHECKMARK")
    row.operator("duskrail.dismiss", text="", icon="X", emboss=False)
    for line in lines:
        wrapped(box, context, in_words(line), spare_px=52.0)


class Tab:
    """A panel of the tab."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB


class PlanTab(Tab):
    """A panel that has nothing to show without a plan."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Shown where the scene has a plan."""
        return context.scene is not None and live.plan_of(context.scene) is not None


def rows(layout: Any) -> Any:
    """The layout as Blender's own properties have it: names to the left of values."""
    layout.use_property_split = True
    layout.use_property_decorate = False
    return layout
