"""One field of the plan as a Blender property: reading it reads the plan, setting it changes the plan.

Numbers come from Blender in single precision and are kept as they were typed.
"""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

import datetime as dt
import math
from collections.abc import Callable
from typing import Any

from bpy.props import (
    BoolProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    StringProperty,
)

from planner_core import Plan
from planner_core.edit import edits, starter
from planner_core.light.exposure import shutter_label
from planner_core.plan.changes import value_at

from ...state import live
from .. import wording

NOT_KEYED: Any = set()  # options of every property: without ANIMATABLE
USUAL = starter.bare_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))  # what Backspace goes back to

Getter = Callable[[Any], Any]
Setter = Callable[[Any, Any], None]


def _row_path(owner: Any, path: str) -> str:
    """A path with the owner's row number in it, where it is a row."""
    return path.replace("#", str(owner.row)) if "#" in path else path


def get_value(path: str, convert: Callable[[Any], Any], empty: Any) -> Getter:
    def get(owner: Any) -> Any:
        plan = live.plan_of(owner.id_data)
        if plan is None:
            return empty
        try:
            value = value_at(plan, _row_path(owner, path))
        except IndexError:
            return empty
        return empty if value is None else convert(value)

    return get


def usual(path: str, convert: Callable[[Any], Any], empty: Any) -> Any:
    """A field's value in a new plan, as Blender's property has it: the default that Backspace gives."""
    try:
        value = value_at(USUAL, path)
    except (IndexError, AttributeError):
        return empty
    return empty if value is None else convert(value)


def set_value(path: str, convert: Callable[[Any], Any]) -> Setter:
    def set_field(owner: Any, value: Any) -> None:
        live.change_plan(
            owner.id_data, lambda plan: edits.evolved(plan, _row_path(owner, path), convert(value))
        )

    return set_field


def labelled(path: str, name: str) -> str:
    """The name of a property, kept for messages about its field."""
    wording.labels[path] = name
    return name


def number(
    path: str,
    name: str,
    description: str,
    *,
    low: float = -1e6,
    high: float = 1e6,
    step: float = 1.0,
    precision: int = 2,
    unit: Any = "NONE",
    subtype: Any = "NONE",
    fresh: float = 0.0,
) -> Any:
    """A plain number of the plan, with Blender's unit where it has one that fits; `fresh` is its
    default where a new plan leaves it out.
    """
    return FloatProperty(
        name=labelled(path, name),
        description=description,
        soft_min=low,
        soft_max=high,
        step=max(1, round(100 * step)),
        precision=precision,
        unit=unit,
        subtype=subtype,
        options=NOT_KEYED,
        default=usual(path, float, fresh),
        get=get_value(path, float, 0.0),
        set=set_value(path, edits.tidy),
    )


def length(
    path: str, name: str, description: str, *, low: float = -1e5, high: float = 1e5, step: float = 0.1
) -> Any:
    """A length in metres."""
    return number(
        path, name, description, low=low, high=high, step=step, precision=3, unit="LENGTH", subtype="DISTANCE"
    )


def millimetres(path: str, name: str, description: str, *, high: float) -> Any:
    """A length on the camera."""
    return number(path, name, description, low=1.0, high=high, unit="CAMERA", subtype="DISTANCE_CAMERA")


def seconds(
    path: str, name: str, description: str, *, low: float = 0.0, high: float = 3600.0, step: float = 0.5
) -> Any:
    """A time in seconds."""
    return number(
        path, name, description, low=low, high=high, step=step, unit="TIME_ABSOLUTE", subtype="TIME_ABSOLUTE"
    )


def angle(path: str, name: str, description: str, *, low: float = -360.0, high: float = 360.0) -> Any:
    """An angle: degrees in the plan, radians in Blender."""
    return FloatProperty(
        name=labelled(path, name),
        description=description,
        soft_min=math.radians(low),
        soft_max=math.radians(high),
        step=50,
        precision=2,
        subtype="ANGLE",
        unit="ROTATION",
        options=NOT_KEYED,
        default=usual(path, math.radians, 0.0),
        get=get_value(path, math.radians, 0.0),
        set=set_value(path, edits.tidy_degrees),
    )


def share(path: str, name: str, description: str, *, high: float = 1.0) -> Any:
    """A share of the move, shown in percent."""
    return FloatProperty(
        name=labelled(path, name),
        description=description,
        min=0.0,
        max=100.0 * high,
        step=100,
        precision=1,
        subtype="PERCENTAGE",
        options=NOT_KEYED,
        default=usual(path, lambda value: 100.0 * value, 0.0),
        get=get_value(path, lambda value: 100.0 * value, 0.0),
        set=set_value(path, lambda value: round(edits.tidy(value) / 100.0, edits.PLACE_DECIMALS)),
    )


def whole(path: str, name: str, description: str, *, low: int, high: int, subtype: Any = "NONE") -> Any:
    """A whole number."""
    return IntProperty(
        name=labelled(path, name),
        description=description,
        min=low,
        max=high,
        subtype=subtype,
        options=NOT_KEYED,
        default=usual(path, int, low),
        get=get_value(path, int, low),
        set=set_value(path, int),
    )


def text(path: str, name: str, description: str, **more: Any) -> Any:
    """A line of text."""
    return StringProperty(
        name=labelled(path, name),
        description=description,
        options=NOT_KEYED,
        get=get_value(path, str, ""),
        set=set_value(path, str.strip),
        **more,
    )


def choice(
    path: str, name: str, description: str, options: tuple[str, ...], words: dict[str, tuple[str, str]]
) -> Any:
    """One of the plan's options; words has a label and a tooltip for each."""
    wording.options[path] = {option: words[option][0] for option in options}
    return EnumProperty(
        name=labelled(path, name),
        description=description,
        items=[(option, *words[option], index) for index, option in enumerate(options)],
        options=NOT_KEYED,
        default=usual(path, str, options[0]),
        get=get_value(path, options.index, 0),
        set=set_value(path, lambda index: options[index]),
    )


def yes_or_no(path: str, name: str, description: str) -> Any:
    """A field of the plan that is true or false."""
    return BoolProperty(
        name=labelled(path, name),
        description=description,
        options=NOT_KEYED,
        default=usual(path, bool, False),
        get=get_value(path, bool, False),
        set=set_value(path, bool),
    )


def numbers(path: str, name: str, description: str) -> Any:
    """An optional list of numbers, typed with commas between them; empty for none."""
    return StringProperty(
        name=labelled(path, name),
        description=description,
        options=NOT_KEYED,
        get=get_value(path, lambda given: ", ".join(f"{number:g}" for number in given), ""),
        set=set_value(path, parsed_numbers),
    )


def parsed_numbers(typed: str) -> Any:
    """The numbers of a text, None for an empty one; the text as it is where it can't be read."""
    parts = [part.strip() for part in typed.replace(";", ",").split(",") if part.strip()]
    try:
        return tuple(float(part) for part in parts) or None
    except ValueError:
        return typed


def shutter(path: str, name: str, description: str) -> Any:
    """A shutter time, typed and shown as on a camera."""
    return StringProperty(
        name=labelled(path, name),
        description=description,
        options=NOT_KEYED,
        get=get_value(path, lambda seconds_: shutter_label(seconds_).removesuffix(" s"), ""),
        set=set_value(path, lambda typed: edits.parse_shutter(typed, path)),
    )


def point(path: str, name: str, description: str) -> Any:
    """A point or extent in scene metres."""
    return FloatVectorProperty(
        name=labelled(path, name),
        description=description,
        size=3,
        precision=3,
        step=10,
        unit="LENGTH",
        subtype="XYZ",
        options=NOT_KEYED,
        default=usual(path, tuple, (1.0, 1.0, 1.0) if path.endswith("size_m") else (0.0, 0.0, 0.0)),
        get=get_value(path, tuple, (0.0, 0.0, 0.0)),
        set=set_value(path, lambda values: tuple(edits.tidy(v) for v in values)),
    )


def optional_part(
    path: str, name: str, description: str, make: Callable[[Plan], Plan], drop: Callable[[Plan], Plan]
) -> Any:
    """Whether the plan has an optional part: switched on, `make` adds it, switched off, `drop` takes it
    out.
    """

    def switch(owner: Any, wanted: bool) -> None:
        plan = live.plan_of(owner.id_data)
        if plan is not None and wanted != (value_at(plan, path) is not None):
            live.change_plan(owner.id_data, make if wanted else drop)

    return BoolProperty(
        name=labelled(path, name),
        description=description,
        options=NOT_KEYED,
        default=usual(path, lambda _value: True, False),
        get=get_value(path, lambda _value: True, False),
        set=switch,
    )


def optional_number(path: str, fresh: Any, name: str, description: str) -> Any:
    """Whether an optional number of the plan is given; switched on it starts at `fresh`."""
    return optional_part(
        path,
        name,
        description,
        lambda plan: edits.evolved(plan, path, fresh),
        lambda plan: edits.evolved(plan, path, None),
    )
