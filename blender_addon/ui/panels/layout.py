"""What all panels share: the tab they are in, text over several lines, and how rows are laid out."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import blf

from planner_core.words.language import in_words, say

from ...state import live

TAB = "Duskrail"
TYPE = 0  # Blender's interface font
UNITS = ("%", "°", "m", "s", "mm", "px", "min", "h", "EV")
ICON_PX = 26.0
SPARE_PX, BOX_PX = 50.0, 60.0  # that margins and tabs take of a sidebar's width, and a box with them
NARROW_PX, NAME_SPARE_PX, NAME_SHARE = 270.0, 14.0, (0.27, 0.5)
LEVEL_ICONS = {"stop": "CANCEL", "warn": "ERROR", "note": "INFO"}


def wrapped(layout: Any, context: Any, text: str, *, icon: str = "NONE", spare_px: float = SPARE_PX) -> None:
    """Text over as many lines as the sidebar's width needs."""
    scale = context.preferences.system.ui_scale
    spare_px += ICON_PX if icon != "NONE" else 0.0
    room_px = context.region.width - spare_px * scale
    type_px = context.preferences.ui_styles[0].widget.points * scale
    column = layout.column(align=True)
    column.scale_y = 0.8
    for number, line in enumerate(lines_of(with_units_beside_numbers(text), room_px, type_px)):
        column.label(
            text=line, translate=False, icon=icon if number == 0 else ("BLANK1" if icon != "NONE" else "NONE")
        )


@lru_cache(maxsize=1024)
def lines_of(text: str, room_px: float, type_px: float) -> tuple[str, ...]:
    """Text in lines as wide as there is room for, in Blender's interface font; a word that is wider alone has
    a line of its own.
    """
    blf.size(TYPE, type_px)
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if lines[-1] and blf.dimensions(TYPE, longer)[0] > room_px:
            lines.append(word)
        else:
            lines[-1] = longer
    return tuple(lines)


def with_units_beside_numbers(text: str) -> str:
    """The same text, in which no line can end between a number and its unit."""
    kept = ""
    for word in text.split(" "):
        is_unit = kept[-1:].isdigit() and word.rstrip(".,;:)") in UNITS
        kept += ("\N{NO-BREAK SPACE}" if is_unit else " ") + word
    return kept[1:]


def is_narrow(context: Any) -> bool:
    """Whether the sidebar is so narrow that what usually stands side by side has no room."""
    return bool(context.region.width < NARROW_PX * context.preferences.system.ui_scale)


def field(layout: Any, context: Any, name: str) -> Any:
    """A field behind its name, which leaves it more room where the sidebar is narrow. Returns its row."""
    settings = context.scene.duskrail
    if not is_narrow(context):
        row = layout.row(align=True)
        row.prop(settings, name)
        return row
    named, scale = _name_of(settings, name), context.preferences.system.ui_scale
    blf.size(TYPE, context.preferences.ui_styles[0].widget.points * scale)
    wide_px = blf.dimensions(TYPE, named)[0] + NAME_SPARE_PX * scale
    fraction = wide_px / (context.region.width - SPARE_PX * scale)
    split = layout.split(factor=min(max(fraction, NAME_SHARE[0]), NAME_SHARE[1]))
    cell = split.row()
    cell.alignment = "RIGHT"
    cell.label(text=named, translate=False)
    row = split.row(align=True)
    row.use_property_split = False
    row.prop(settings, name, text="")
    return row


def _name_of(settings: Any, name: str) -> str:
    return say(settings.bl_rna.properties[name].name)


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
        wrapped(box, context, in_words(line), spare_px=BOX_PX)


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
