"""The plan file: JSON to Plan and back, errors that name the field, writing that can't leave half a file."""

from __future__ import annotations

import datetime as dt
import difflib
import json
import math
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, get_args, get_type_hints

import attrs
import cattrs
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override

from planner_core.plan import model as parts
from planner_core.plan.kept import kept
from planner_core.plan.model import MISSING, NO_FIELD, Plan, PlanError, Word, as_number, as_whole
from planner_core.plan.text import escaped_json, nested_deeper
from planner_core.plan.timeline import start_utc_s, tide_times_utc_s
from planner_core.plan.writing import write_atomically
from planner_core.words.language import phrase

FORMAT = "duskrail-plan"
VERSION = 1
SCHEMA = "$schema"  # where a file may name its JSON Schema, for editors
SMALLEST = 1e-30  # smallest number accepted, in any unit; rounding leaves 1e-17
DEEPEST = 100  # levels of a plan file; notes alone may have half of them

PART_CLASSES = (
    parts.Tide,
    parts.Site,
    parts.Camera,
    parts.Clip,
    parts.SlideAxis,
    parts.TurnAxis,
    parts.Rig,
    parts.Pose,
    parts.Move,
    parts.Anchor,
    parts.Shoot,
    parts.Exposure,
    parts.Composition,
    parts.Block,
    parts.Pin,
    parts.Photo,
    parts.Plan,
)
# Fields that a file leaves out where they have their default.
_OMIT_IF_DEFAULT = {
    parts.Camera: (
        *("name", "raw_file_mb", "headroom_stops", "range_stops", "lenses_mm"),
        *("card_gb", "battery_frames"),
    ),
    parts.Composition: ("light", "sun", "moon"),
    parts.Rig: ("name", "max_incline_deg", "stand_min_m", "stand_max_m"),
    parts.Pose: ("slide_m", "pan_deg", "tilt_deg"),
    parts.Shoot: (
        *("interval_step_s", "anchor", "start", "setup_s", "travel_s"),
        *("cloud_divisor", "wind_m_s", "wind_from_deg", "attended"),
    ),
    parts.Exposure: ("artificial_ev100", "ramp_order", "meter", "day_look_stops", "grad_stops", "mains_hz"),
    parts.Block: (
        "centre_m",
        "size_m",
        "turn_deg",
        "footprint_m",
        "height_m",
        "base_m",
        "roof",
        "roof_height_m",
        "roof_turn_deg",
        "heights_m",
        "distance_m",
        "skyline_deg",
        "lights",
        "keep_out",
        "part_of",
        "moves",
        "tidal",
        "floods_at_m",
    ),
    parts.Site: ("tides", "scene_zero_above_chart_m", "swell_m", "water_margin_m"),
    parts.Pin: ("block", "corner", "bearing_deg", "altitude_deg", "disc"),
    parts.Photo: ("projection", "taken", "pins"),
    parts.Plan: ("reason", "notes", "exposure", "composition", "photos"),
}
# Fields of older plans that decided nothing, with the numbers they took: still read, no longer written. A
# place's height above the sea says nothing about its horizon: that lies lower by how far the eye stands above
# the water or the plain that it sees, not above the sea.
NO_LONGER: dict[type, dict[str, tuple[float, float]]] = {parts.Site: {"elevation_m": (-450.0, 9000.0)}}
# One function a step: MIGRATIONS[n] turns a version-n document into version n + 1.
MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}


def load_plan(path: str | os.PathLike[str]) -> Plan:
    """The plan in a file. Raises PlanError, in one line, for anything wrong with the file or in it."""
    return plan_from_text(_read(Path(path)))


def save_plan(plan: Plan, path: str | os.PathLike[str]) -> None:
    """Write the plan as JSON: a new file beside the old, flushed, then renamed over it. Raises OSError."""
    write_atomically(Path(path), plan_to_text(plan).encode("utf-8"))


def plan_from_text(text: str) -> Plan:
    """The plan in a JSON text. Raises PlanError."""
    return plan_from_dict(_parse(text))


def plan_to_text(plan: Plan) -> str:
    """The plan as JSON, short lists kept on one line, ending in a line feed."""
    bare = plan_to_dict(attrs.evolve(plan, blocks=()))
    rows = [
        f"  {_encode(key)}: {_blocks_text(plan) if key == 'blocks' else escaped_json(_layout(item, '  '))}"
        for key, item in bare.items()
    ]
    return "{\n" + ",\n".join(rows) + "\n}\n"


def plan_from_dict(document: Any) -> Plan:
    """The plan in a parsed document. Raises PlanError, also where its anchor's event doesn't happen."""
    if not isinstance(document, dict):
        raise PlanError("", document, "is not a plan; a plan file holds one JSON object")
    body = _current_version(document)
    schema = body.pop(SCHEMA, "")
    try:
        plan = _converter.structure(body, Plan)
        plan = attrs.evolve(plan, schema=schema) if schema != "" else plan
    except PlanError as error:
        raise error from None
    except Exception as error:  # cattrs nests what went wrong; the first is the one to report
        raise _first_problem(error) from None
    start_utc_s(plan)  # so that a loaded plan has times
    tide_times_utc_s(plan)
    return plan


def plan_to_dict(plan: Plan) -> dict[str, Any]:
    """The plan as plain values, in the order of the plan file."""
    body = _converter.unstructure(plan)
    order = [attribute.name for attribute in attrs.fields(Plan) if attribute.name in body]
    named = {SCHEMA: plan.schema} if plan.schema else {}
    return {**named, "format": FORMAT, "version": VERSION, **{name: body[name] for name in order}}


def plan_part_to_dict(part: Any) -> dict[str, Any]:
    """A part of a plan as plain values, as the plan file has it."""
    return dict(_converter.unstructure(part))


def _read(path: Path) -> str:
    try:
        if path.is_dir():
            raise PlanError("plan file", str(path), "is a folder; name a file ending in .plan.json")
        content = path.read_bytes()
    except FileNotFoundError:
        raise PlanError("plan file", str(path), "does not exist; check the name") from None
    except PlanError:
        raise
    except (OSError, ValueError) as error:  # a name with a NUL in it is a ValueError
        why = getattr(error, "strerror", None) or error
        raise PlanError("plan file", str(path), "can't be read ({why})", why=why) from None
    if not content.strip():
        raise PlanError("plan file", str(path), "is empty; a plan file holds one JSON object")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise PlanError("plan file", str(path), "is not text in UTF-8; is it a plan file?") from None


class _Flaw:
    """Stands in a parsed document for what JSON may not hold, until its place in the file is known."""

    def __init__(self, value: Any, expected: str) -> None:
        self.value, self.expected = value, expected


def _parse(text: str) -> Any:
    flaws: list[_Flaw] = []

    def flaw(value: Any, expected: str) -> _Flaw:
        flaws.append(_Flaw(value, expected))
        return flaws[-1]

    def no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        values: dict[str, Any] = {}
        for key, value in pairs:
            values[key] = (
                flaw(value, "is the second value for this field; keep one") if key in values else value
            )
        return values

    def finite(number: str) -> Any:
        value = float(number)
        return value if math.isfinite(value) else flaw(value, "is not a finite number")

    try:
        document = json.loads(
            text,
            parse_constant=lambda name: flaw(Word(name), "is not a number JSON knows; give a finite number"),
            parse_float=finite,
            object_pairs_hook=no_twins,
        )
        if nested_deeper(document, DEEPEST):
            raise PlanError("plan file", Word("is nested"), "too deep to be a plan")
        problem = _find_flaw(document, "") if flaws else None
    except json.JSONDecodeError as error:
        raise PlanError(
            "plan file",
            Word(phrase("line {line}, column {column}", line=error.lineno, column=error.colno)),
            "is where it stops being JSON ({problem})",
            problem=error.msg,
        ) from None
    except RecursionError:
        raise PlanError("plan file", Word("is nested"), "too deep to be a plan") from None
    except PlanError:
        raise
    except ValueError:
        raise PlanError("plan file", Word("has a number in it"), "that has too many digits") from None
    if problem is not None:
        raise problem
    return document


def _find_flaw(value: Any, path: str) -> PlanError | None:
    """The first flaw in a parsed document, with its path."""
    if isinstance(value, _Flaw):
        nested = None if isinstance(value.value, Word) else _find_flaw(value.value, path)
        return nested or PlanError(path or "plan file", value.value, value.expected)
    if isinstance(value, dict):
        parts: Any = ((f"{path}.{key}" if path else key, item) for key, item in value.items())
    elif isinstance(value, list):
        parts = ((f"{path}[{index}]", item) for index, item in enumerate(value))
    else:
        return None
    return next((flaw for name, item in parts if (flaw := _find_flaw(item, name))), None)


def _current_version(document: dict[str, Any]) -> dict[str, Any]:
    """The document without its two header fields, brought to this version."""
    if document.get("format", MISSING) != FORMAT:
        raise PlanError(
            "format",
            document.get("format", MISSING),
            'is not a plan\'s format; a plan file says "{format}" here'
            if "format" in document
            else 'a plan file says "{format}" here',
            format=FORMAT,
        )
    version = document.get("version", MISSING)
    if version is MISSING:
        raise PlanError(
            "version",
            MISSING,
            "a plan file written for this tool says {version} here",
            version=VERSION,
        )
    if isinstance(version, float) and version.is_integer():
        version = int(version)
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise PlanError(
            "version", version, "is not a version number; this tool writes {version}", version=VERSION
        )
    if version > VERSION:
        raise PlanError(
            "version",
            version,
            "is newer than this tool knows ({version}); update Duskrail to open it",
            version=VERSION,
        )
    for step in range(version, VERSION):
        document = MIGRATIONS[step](document)
    return {key: value for key, value in document.items() if key not in ("format", "version")}


# ---------------------------------------------------------------- reading values


def _text_hook(value: Any, _type: Any) -> str:
    if not isinstance(value, str):
        raise PlanError("", value, "is not text; write it in double quotes")
    return value


def _date_hook(value: Any, _type: Any) -> dt.date:
    try:
        return dt.date.fromisoformat(_text_hook(value, str))
    except ValueError as error:
        if isinstance(error, PlanError):
            raise
        raise PlanError("", value, "is not a date of the calendar; write it as 2027-03-14") from None


def _datetime_hook(value: Any, _type: Any) -> dt.datetime:
    text = _text_hook(value, str)
    try:
        if "T" not in text and " " not in text:
            raise ValueError(text)
        return dt.datetime.fromisoformat(text)
    except ValueError as error:
        if isinstance(error, PlanError):
            raise
        raise PlanError("", value, "is not a local time; write it as 2027-03-14T17:20:00") from None


def _measurable(value: Any, path: str = "") -> Any:
    """The value, or list of values, unchanged; PlanError for a number too small to be deliberate."""
    if isinstance(value, list):
        for index, item in enumerate(value):
            _measurable(item, f"{path}[{index}]")
    elif isinstance(value, float) and 0.0 < abs(value) < SMALLEST:
        raise PlanError(path, value, "is smaller than anything that can be measured")
    return value


def _as_it_is(value: Any) -> Any:
    return value


def _build_converter() -> cattrs.Converter:
    converter = cattrs.Converter(detailed_validation=True, forbid_extra_keys=True)
    converter.register_structure_hook(float, lambda value, _type: as_number(_measurable(value)))
    converter.register_structure_hook(int, lambda value, _type: as_whole(value))
    converter.register_structure_hook(bool, lambda value, _type: value)  # the field says what is wrong
    converter.register_structure_hook(str, _text_hook)
    converter.register_structure_hook(dt.date, _date_hook)
    converter.register_structure_hook(dt.datetime, _datetime_hook)
    as_given = (
        *(parts.Vector, parts.Vector | None, tuple[parts.Point, ...] | None, tuple[float, ...] | None),
        tuple[tuple[float, ...], ...] | None,
    )
    for shape in (*as_given, bool | None):
        converter.register_structure_hook_func(_is(shape), lambda value, _type: _measurable(value))
    lists: dict[Any, type] = {
        tuple[parts.Pose, ...]: parts.Pose,
        tuple[parts.Block, ...]: parts.Block,
        tuple[parts.Tide, ...]: parts.Tide,
        tuple[parts.Pin, ...]: parts.Pin,
        tuple[parts.Photo, ...]: parts.Photo,
    }
    for listed, item in lists.items():
        converter.register_structure_hook_func(_is(listed), _list_hook(converter, item))
    converter.register_unstructure_hook(dt.datetime, lambda value: value.isoformat())
    converter.register_unstructure_hook(dt.date, lambda value: value.isoformat())
    for part in PART_CLASSES:
        omitted: Any = {name: override(omit_if_default=True) for name in _OMIT_IF_DEFAULT.get(part, ())}
        attrs.resolve_types(part)
        header: Any = {"schema": override(omit=True)} if part is Plan else {}  # it stands beside format
        structure: Any = make_dict_structure_fn(part, converter, **header)
        converter.register_structure_hook(part, _object_hook(structure, NO_LONGER.get(part, {})))
        if part is parts.Plan:
            omitted |= {"notes": override(omit_if_default=True, unstruct_hook=_as_it_is), **header}
        converter.register_unstructure_hook(part, make_dict_unstructure_fn(part, converter, **omitted))
    return converter


def _is(wanted: Any) -> Callable[[Any], bool]:
    return lambda candidate: candidate == wanted


def _object_hook(
    structure: Callable[[Any, Any], Any], no_longer: Mapping[str, tuple[float, float]]
) -> Callable[[Any, Any], Any]:
    def hook(value: Any, cls: Any) -> Any:
        if not isinstance(value, dict):
            raise PlanError("", value, "is not an object; write it in { }")
        for name in no_longer.keys() & value.keys():
            _check_no_longer(name, value[name], *no_longer[name])
        return structure({name: item for name, item in value.items() if name not in no_longer}, cls)

    return hook


def _check_no_longer(name: str, value: Any, low: float, high: float) -> None:
    """A retired field is still checked for a plausible value. Raises PlanError."""
    try:
        number = as_number(value)
    except PlanError as error:
        raise error.under(name) from None
    if not low <= number <= high:
        raise PlanError(
            name,
            value,
            "is outside what is possible; leave it out, or give {low:g} to {high:g} metres",
            low=low,
            high=high,
        )


def _list_hook(converter: cattrs.Converter, item: type) -> Callable[[Any, Any], Any]:
    def hook(value: Any, _type: Any) -> Any:
        if not isinstance(value, list):
            raise PlanError("", value, "is not a list; write it in [ ]")
        items: list[Any] = []
        for index, entry in enumerate(value):
            try:
                items.append(converter.structure(entry, item))
            except Exception as error:
                raise _first_problem(error).under(f"[{index}]") from None
        return tuple(items)

    return hook


def _first_problem(error: BaseException) -> PlanError:
    """The first thing wrong, with its whole path, out of the groups that cattrs raises."""
    if isinstance(error, PlanError):
        return error
    if isinstance(error, cattrs.errors.ForbiddenExtraKeysError):
        return _unknown_key(error)
    if isinstance(error, cattrs.errors.ClassValidationError):
        nested = sorted(
            error.exceptions, key=lambda e: isinstance(e, cattrs.errors.ForbiddenExtraKeysError), reverse=True
        )
        first = nested[0]
        name = next(
            (
                n.name
                for n in getattr(first, "__notes__", ())
                if isinstance(n, cattrs.errors.AttributeValidationNote)
            ),
            "",
        )
        if isinstance(first, KeyError) and name:
            return PlanError(name, MISSING, "every plan needs it")
        return _first_problem(first).under(name)
    return PlanError(
        "", Word("what stands here"), "can't be read as part of a plan ({problem})", problem=error
    )


def _unknown_key(error: cattrs.errors.ForbiddenExtraKeysError) -> PlanError:
    key = sorted(error.extra_fields)[0]
    known = [attribute.name for attribute in attrs.fields(error.cl)]
    if error.cl is Plan:
        known = ["format", "version", SCHEMA, *(name for name in known if name != "schema")]
    begun = [name for name in known if name.startswith(key.lower())]
    likely = begun or _one_level_down(error.cl, key)
    near = (likely or difflib.get_close_matches(key, known, n=1, cutoff=0.0))[0]
    return PlanError(key, NO_FIELD, "did you mean {near}? (free text goes under notes)", near=near)


def _one_level_down(cls: type, key: str) -> list[str]:
    """Where the parts of a part of the plan have a field of that name: `anchor.date` of the shoot."""
    parts = (
        (name, part)
        for name, kind in get_type_hints(cls).items()
        for part in (kind, *get_args(kind))
        if isinstance(part, type) and attrs.has(part)
    )
    return [f"{name}.{key}" for name, part in parts if key in attrs.fields_dict(part)]


_converter = _build_converter()


# ---------------------------------------------------------------- writing JSON that a person can edit


LINE = 110

_encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


@kept
def _block_text(block: parts.Block) -> str:
    """A block as it stands in a plan's list of blocks."""
    return escaped_json(_layout(_converter.unstructure(block), "    "))


def _blocks_text(plan: Plan) -> str:
    """The blocks as `_layout` would have them."""
    if len(plan.blocks) < 2:
        return escaped_json(_layout([_converter.unstructure(block) for block in plan.blocks], "  "))
    return "[\n" + ",\n".join(f"    {_block_text(block)}" for block in plan.blocks) + "\n  ]"


def _layout(value: Any, indent: str = "") -> str:
    """JSON with objects opened up and short ones kept on a line, as a person would write it."""
    flat = _encode(value)
    if not isinstance(value, (dict, list)) or len(flat) + len(indent) <= LINE:
        return flat
    inner = indent + "  "
    if isinstance(value, dict):
        rows = [f"{inner}{_encode(key)}: {_layout(item, inner)}" for key, item in value.items()]
        return "{\n" + ",\n".join(rows) + f"\n{indent}}}"
    rows = [inner + _layout(item, inner) for item in value]
    return "[\n" + ",\n".join(rows) + f"\n{indent}]"
