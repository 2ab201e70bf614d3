"""Writes docs/reference/, docs/plan.schema.json and the extension's manual: `python tools/make_reference.py`.

What a field, a finding or a column is stands in the code once, and what the panels do in README.md; the pages
are made of that, and a test holds that they are what this script would write now.
"""

from __future__ import annotations

import argparse
import json
import sys
import typing
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import attrs

if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    __package__ = Path(__file__).resolve().parent.name

from planner_core.plan import file as planfile
from planner_core.plan import model as parts
from planner_core.plan.meanings import HEADER, MEANINGS
from planner_core.plan.schema import BEYOND, field_schema, plan_schema
from planner_core.plan.writing import write_atomically
from planner_core.review.catalogue import TOPICS

from .manual_page import manual_page
from .reference_columns import JSON, TABLES

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
MADE = "<!-- Made by tools/make_reference.py from the code. Change it there. -->\n\n"


def pages() -> dict[str, str]:
    """What each file holds, by its path in the project."""
    return {
        "docs/plan.schema.json": json.dumps(plan_schema(), indent=1, ensure_ascii=False) + "\n",
        "docs/reference/fields.md": MADE + fields_page(),
        "docs/reference/findings.md": MADE + findings_page(),
        "docs/reference/columns.md": MADE + columns_page(),
        "blender_addon/manual.html": manual_page(README.read_text("utf-8")),
    }


def table(heading: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [list(heading), ["---"] * len(heading), *(list(row) for row in rows)]
    return "".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |\n" for line in lines)


# ---------------------------------------------------------------- fields

FIELDS_HEAD = """\
# Every field of a plan

A plan is a JSON file in UTF-8 whose name ends in `.plan.json`. The unit ends a field's name. A field
without a default has to be there; `null` stands for a value that nobody gave, where a field takes it. A key
that isn't listed here is refused, but under `notes`, where anything goes.

An editor that knows JSON Schema (draft 2020-12) completes fields, shows what they mean and marks what won't
work, if the plan says where the schema is. Duskrail keeps that line and takes no notice of it:

```json
{"$schema": "docs/plan.schema.json", "format": "duskrail-plan", "version": 1}
```

"""
BEYOND_HEAD = """\
## What only Duskrail itself checks

The schema takes what Duskrail takes and refuses what it refuses, but for these, which a schema can't say,
or only in a way that no editor makes sense of:

"""


def fields_page() -> str:
    header = table(
        ("field", "meaning", "takes"),
        [
            (f"`{planfile.SCHEMA}`", HEADER[planfile.SCHEMA], "text; may be left out"),
            ("`format`", HEADER["format"], f'`"{planfile.FORMAT}"`'),
            ("`version`", HEADER["version"], f"`{planfile.VERSION}`"),
        ],
    )
    sections = [f"## The file itself\n\n{header}"]
    sections += [_fields_section(path, part) for path, part in part_paths(parts.Plan, "")]
    beyond = "".join(f"- {what}\n" for what in BEYOND)
    return FIELDS_HEAD + "\n".join(sections) + "\n" + BEYOND_HEAD + beyond


def part_paths(part: type, path: str) -> Iterator[tuple[str, type]]:
    """Every part of a plan and where it stands in the file, from the whole plan down."""
    yield path, part
    for each in attrs.fields(part):
        kind: Any = each.type
        inside = next((one for one in (kind, *typing.get_args(kind)) if attrs.has(one)), None)
        if inside is not None:
            many = "[]" if typing.get_origin(kind) is tuple else ""
            yield from part_paths(inside, f"{path}.{each.name}{many}".lstrip("."))


def _fields_section(path: str, part: type) -> str:
    heading = f"`{path}`" if path else "The plan"
    rows = [
        (f"`{name}`", meaning, *_takes(part, name), _default(part, name))
        for name, meaning in MEANINGS[part].items()
    ]
    retired = "".join(
        f"\n`{name}`, in older plans, is read and no longer written: it decides nothing.\n"
        for name in planfile.NO_LONGER.get(part, {})
    )
    return f"## {heading}\n\n{table(('field', 'meaning', 'takes', 'unit', 'default'), rows)}{retired}"


def _takes(part: type, name: str) -> tuple[str, str]:
    """What a field takes, in words, and its unit."""
    unit = str(attrs.fields_dict(part)[name].metadata.get("unit", ""))
    shown = "" if unit.startswith("(") else unit.removeprefix("as a ").replace("(", "").replace(")", "")
    return takes_text(field_schema(part, name)), shown


def takes_text(schema: dict[str, Any]) -> str:
    """A schema in words: 'a number from 0 to 90, or null'."""
    if not schema.keys() - {"description", "default"}:
        return "anything"
    if "anyOf" in schema:
        return "; or ".join(takes_text(one) for one in schema["anyOf"])
    if "enum" in schema:
        return ", ".join(_literal(value) for value in schema["enum"])
    if "$ref" in schema:
        return "an object, see below"
    kinds = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
    words = {
        "number": _numbers,
        "integer": _numbers,
        "array": _list,
        "string": lambda schema: _time(schema) if "pattern" in schema else "text",
        "boolean": lambda _schema: "`true`, `false`",
        "null": lambda _schema: "`null`",
    }
    return " or ".join(words[kind](schema) for kind in kinds)


def _literal(value: Any) -> str:
    number = isinstance(value, float)
    return f"`{value:.4g}`" if number else f"`{json.dumps(value)}`"


def _figure(number: float) -> str:
    """A limit as a person reads it: 100 000, −45, 0.001."""
    return f"{number:,.10g}".replace(",", " ").replace("-", "−")


def _time(schema: dict[str, Any]) -> str:
    return "a time, `2027-03-14T17:20:00`" if "T" in schema["pattern"] else "a date, `2027-03-14`"


def _numbers(schema: dict[str, Any]) -> str:
    what = "a whole number" if "integer" in schema["type"] else "a number"
    if "exclusiveMinimum" in schema:
        return f"{what} above {_figure(schema['exclusiveMinimum'])}, up to {_figure(schema['maximum'])}"
    return f"{what} from {_figure(schema['minimum'])} to {_figure(schema['maximum'])}"


def _list(schema: dict[str, Any]) -> str:
    items, count = schema["items"], schema.get("minItems")
    if items.get("type") == "array":
        return f"a list of points, each {items['minItems']} numbers to ±{_figure(items['items']['maximum'])}"
    if items.get("type") == "number" and count == schema.get("maxItems"):
        return f"{count} numbers in [ ], to ±{_figure(items['maximum'])}"
    if items.get("type") == "number":
        return f"a list of numbers from {_figure(items['minimum'])} to {_figure(items['maximum'])}"
    return "a list of objects, see below"


def _default(part: type, name: str) -> str:
    default: Any = attrs.fields_dict(part)[name].default
    if name == "anchor" or (part is parts.Shoot and name == "start"):
        return "one of anchor and start"
    if default is attrs.NOTHING or (part is parts.Move and name == "poses"):
        return "has to be given"
    if default in ((), ""):
        return "none"
    return "none" if default is None else _literal(default)


# ---------------------------------------------------------------- findings

FINDINGS_HEAD = """\
# Every finding

`stop` means: don't go out with this plan. `warn` means: look at it, you may want it so. `note` is good to
know. What is said to be *common practice* has no published source; *ours* is what we take a person to see as
a fault. Changes are suggested only after they were tried: the plan with the change was reviewed again, and
had the finding no more, or less of it, without another as serious. Where *nothing of the plan* is tried, the
finding's own sentence says what to do.

"""


def findings_page() -> str:
    sections = []
    for topic, findings in TOPICS.items():
        rows = [
            (
                f"`{code}`",
                about.means,
                about.levels.replace(" ", ", "),
                about.limit,
                about.source,
                about.remedies,
            )
            for code, about in findings.items()
        ]
        heading = (
            "finding",
            "means",
            "levels",
            "limit",
            "where the limit comes from",
            "what is tried against it",
        )
        sections.append(f"## {topic}\n\n{table(heading, rows)}")
    return FINDINGS_HEAD + "\n".join(sections)


# ---------------------------------------------------------------- columns

COLUMNS_HEAD = """\
# Every column and every name in the JSON

Tables are CSV as in RFC 4180 with a heading, commas, a decimal point and line feeds, in UTF-8, in full
precision. A cell is empty where rig or plan has no value. Bearings are true and clockwise from north,
altitudes apparent (with refraction). JSON has null where a table has an empty cell; `[]` marks a list.

"""


def columns_page() -> str:
    sections = []
    for heading, columns in {**TABLES, **JSON}.items():
        rows = [(f"`{name}`", means) for name, means in columns.items()]
        sections.append(f"## {heading}\n\n{table(('name', 'what'), rows)}")
    return COLUMNS_HEAD + "\n".join(sections)


# ---------------------------------------------------------------- writing


def main(argv: Sequence[str] | None = None) -> int:
    """Write the pages, or say with --check which of them are out of date; 1 where one is."""
    parser = argparse.ArgumentParser(prog="make_reference.py", description="Remake docs/reference/.")
    parser.add_argument("--check", action="store_true", help="write nothing; say what is out of date")
    arguments = parser.parse_args(argv)
    old = 0
    for name, text in pages().items():
        path = ROOT / name
        if path.is_file() and path.read_bytes() == text.encode("utf-8"):
            continue
        old += 1
        if not arguments.check:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_atomically(path, text.encode("utf-8"))
        print(f"{name} {'is out of date' if arguments.check else 'written'}")
    return 1 if arguments.check and old else 0


if __name__ == "__main__":
    sys.exit(main())
