"""The plan file as a JSON Schema, made from the plan's classes, their validators and their meanings.

What holds between several fields is added here part by part, as far as a schema can say it. What it can't
say, or only in a way that no editor makes sense of, stands in `BEYOND`, with words of the message that the
loader has for it.
"""

from __future__ import annotations

import datetime as dt
import types
import typing
from typing import Any

import attrs

from planner_core.plan import file as planfile
from planner_core.plan import model as parts
from planner_core.plan.meanings import HEADER, MEANINGS

DIALECT = "https://json-schema.org/draft/2020-12/schema"

# ISO 8601 as Python's datetime module reads it, in the years that sun and moon are good for.
_YEAR = "(19[5-9][0-9]|20[0-4][0-9]|2050)"
_DAY = (
    "(-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])|(0[1-9]|1[0-2])(0[1-9]|[12][0-9]|3[01])"
    "|-?W(0[1-9]|[1-4][0-9]|5[0-3])(-?[1-7])?)"
)
_CLOCK = "([01][0-9]|2[0-3])(:?[0-5][0-9](:?[0-5][0-9]([.,][0-9]+)?)?)?"
DATE = {"type": "string", "pattern": f"^{_YEAR}{_DAY}$"}
MOMENT = {"type": "string", "pattern": f"^{_YEAR}{_DAY}[T ]{_CLOCK}(Z|[+-]{_CLOCK})?$"}
_SIMPLE: dict[Any, dict[str, Any]] = {dt.date: DATE, dt.datetime: MOMENT, bool: {"type": "boolean"}}

# What is left to the loader, and words of its messages.
BEYOND: dict[str, tuple[str, ...]] = {
    "a file that isn't JSON, nests too deeply, or has a field twice or a number no computer holds": (
        "stops being JSON",
        "too deep to be a plan",
        "nested too deeply",
        "is the second value for this field",
        "has too many digits",
        "is not a number JSON knows",
        "is not a finite number",
    ),
    "text with half a character in it (a lone surrogate)": ("has half a character",),
    "a number that is above zero but smaller than anything that can be measured": (
        "is smaller than anything that can be measured",
    ),
    "that a date is in the calendar": ("is not a date of the calendar", "is not a local time"),
    "that a time zone exists": ("is not an IANA time zone",),
    "that a local time happens, and once: clocks go forward and back": (
        "is skipped by a clock change",
        "happens twice in",
        "has an offset that",
    ),
    "that the anchor's event happens at this latitude on this date": ("does not happen at latitude",),
    "that a second number is above a first: min and max of an axis, of the ISO, of the shutter, of the "
    "stands": (
        "a rail needs some length",
        "an axis needs some range",
        "swap them?",
        "is less than stand_min_m",
    ),
    "that poses stand in the order of the move, each at a place of its own": (
        "put the poses in the order of the move",
        "give each pose a place",
    ),
    "that a head without a pan or tilt motor has one value in every pose": (
        "or give every pose the same value",
    ),
    "that waters of a tide table follow in time, and are high and low in turn": (
        "is not after the water before it",
        "is neither a high nor a low water",
    ),
    "that a focus distance and a sensor fit the focal length": (
        "is too near for a lens of",
        "is too short for a sensor",
    ),
    "that a prism has three different corners": ("needs three or more different corners",),
    "that a ridge's bearings rise": ("must be above the bearing before it",),
    "that the rows of a terrain are of one length, and its heights no higher than the block": (
        "is not a list of",
        "is higher than the block's",
    ),
    "that a roof is no higher than its prism": ("is more than height_m",),
}


def plan_schema() -> dict[str, Any]:
    """The schema of a plan file, draft 2020-12, as plain values."""
    body = _part_schema(parts.Plan)
    header: dict[str, dict[str, Any]] = {
        planfile.SCHEMA: {"type": "string"},
        "format": {"const": planfile.FORMAT},
        "version": {"const": planfile.VERSION},
    }
    fields = {name: {"description": HEADER[name], **takes} for name, takes in header.items()}
    body["properties"] = fields | body["properties"]
    body["required"] = ["format", "version", *body["required"]]
    about = {"$schema": DIALECT, "title": "A plan of Duskrail"}
    others = [part for part in planfile.PART_CLASSES if part is not parts.Plan]
    return about | body | {"$defs": {part.__name__: _part_schema(part) for part in others}}


def _part_schema(part: type) -> dict[str, Any]:
    kept = [each for each in attrs.fields(part) if each.name in MEANINGS[part]]
    retired = {
        name: {"type": "number", "minimum": low, "maximum": high, "deprecated": True}
        for name, (low, high) in planfile.NO_LONGER.get(part, {}).items()
    }
    schema: dict[str, Any] = {
        "type": "object",
        "additionalProperties": False,
        "properties": {each.name: field_schema(part, each.name) for each in kept} | retired,
        "required": [each.name for each in kept if each.default is attrs.NOTHING],
    }
    return schema | ({"allOf": _RULES[part]} if part in _RULES else {})


def field_schema(part: type, name: str) -> dict[str, Any]:
    """What a field of a part takes, with its meaning, its unit and its default."""
    attribute: Any = attrs.fields_dict(part)[name]
    unit = attribute.metadata.get("unit", "")
    described = MEANINGS[part][name] + (f" ({unit})" if unit and not unit.startswith("(") else "")
    takes = attribute.metadata.get("schema")
    shown = {"description": described, **(_of_type(attribute.type) if takes is None else takes)}
    plain = isinstance(attribute.default, (bool, int, float, str)) and attribute.default != ""
    return {**shown, "default": attribute.default} if plain else shown


def _of_type(kind: Any) -> dict[str, Any]:
    """What a type takes: a part, a list of parts, a date, true or false, or null beside it."""
    if kind in _SIMPLE:
        return dict(_SIMPLE[kind])
    if attrs.has(kind):
        return {"$ref": f"#/$defs/{kind.__name__}"}
    inside = typing.get_args(kind)
    if typing.get_origin(kind) is tuple:
        return {"type": "array", "items": _of_type(inside[0])}
    assert isinstance(kind, types.UnionType), kind
    return {"anyOf": [_of_type(inside[0]), {"type": "null"}]}


# ---------------------------------------------------------------- what stands between fields


def _where(name: str, takes: dict[str, Any]) -> dict[str, Any]:
    """An object in which a field, where it is there, takes this."""
    return {"properties": {name: takes}}


def _given(*names: str) -> dict[str, Any]:
    """An object in which these fields are given, and not as null."""
    return {"required": list(names), "properties": {name: {"not": {"type": "null"}} for name in names}}


def _is(name: str, *values: Any) -> dict[str, Any]:
    """An object in which a field is given and has one of these values."""
    return {"required": [name], **_where(name, {"enum": list(values)})}


def _says(name: str) -> dict[str, Any]:
    """An object in which a text is given and isn't empty."""
    return {"required": [name], **_where(name, {"minLength": 1})}


def _none_of(*schemas: dict[str, Any]) -> dict[str, Any]:
    return {"not": {"anyOf": list(schemas)}}


_NO_SLIDE_IN_A_POSE = _where("move", _where("poses", {"items": _where("slide_m", {"type": "null"})}))
_ALTITUDE = {"prefixItems": [{}, {"minimum": -parts.STEEPEST_DEG, "maximum": parts.STEEPEST_DEG}]}
_DIRECTION = _given("bearing_deg", "altitude_deg")
_RULES: dict[type, list[dict[str, Any]]] = {
    parts.Plan: [{"if": _where("rig", _none_of(_given("slide"))), "then": _NO_SLIDE_IN_A_POSE}],
    parts.Site: [_where("tides", {"anyOf": [{"maxItems": 0}, {"minItems": 2}]})],
    parts.Move: [{"required": ["poses"], **_where("poses", {"minItems": 1})}],
    parts.Shoot: [{"oneOf": [_given("anchor"), _given("start")]}],
    parts.Block: [
        _where("size_m", {"items": {"minimum": parts.THINNEST_M}}),
        {"if": _is("shape", "box", "post", "figure"), "then": _given("centre_m", "size_m")},
        {
            "if": _is("shape", "prism"),
            "then": {"allOf": [_given("footprint_m", "height_m"), _where("footprint_m", {"minItems": 3})]},
        },
        {
            "if": _is("shape", "ridge"),
            "then": {
                "allOf": [
                    _given("distance_m", "skyline_deg"),
                    _where("skyline_deg", {"minItems": 2, "items": _ALTITUDE}),
                ]
            },
        },
        {"if": _is("shape", "terrain"), "then": _given("centre_m", "size_m", "heights_m")},
        {
            "if": _is("roof", *(roof for roof in parts.ROOFS if roof != "flat")),
            "then": {"allOf": [_is("shape", "prism"), _given("roof_height_m")]},
        },
        {
            "if": _is("tidal", True),
            "then": {"allOf": [_is("role", "water"), {"not": _is("shape", "ridge", "terrain")}]},
        },
    ],
    parts.Pin: [
        _where("corner", {"pattern": f"^({parts.CORNERS})$"}),
        {"anyOf": [_DIRECTION, _none_of(_given("bearing_deg"), _given("altitude_deg"))]},
        {"oneOf": [_says("block"), _says("disc"), _DIRECTION]},
    ],
    parts.Photo: [
        {
            "if": {"not": _is("projection", "cylinder")},
            "then": _where("fov_deg", {"maximum": parts.WIDEST_FLAT_DEG}),
        }
    ],
}
