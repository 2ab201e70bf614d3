"""Every message of the add-on that a person reads, found in the source and in what Blender is told."""

from __future__ import annotations

import ast
import functools
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import bpy

from blender_addon.ui import gizmos, menus, operators, panels, preferences, presets, properties, wording
from planner_core.edit import kit
from planner_core.evening.timetable import EVENT_WORDS
from planner_core.output.evening.rows import LABELS
from planner_core.output.evening.words import TRIED
from planner_core.picture.speed import ROLES, SPEED_WORDS
from planner_core.plan.model import PIN_DISCS, WANTED
from planner_core.review.words import in_short
from planner_core.scout.finds import LIGHT_WORDS
from planner_core.time.events import PHASES
from planner_core.words.dates import MONTHS, WEEKDAYS
from tests.spoken import codes_of_the_tool

ROOT = Path(__file__).resolve().parents[2]
# What only the command line calls: the add-on imports none of it
COMMAND_LINE = ("begin/facts", "begin/chooser", "fit/late", "evening/beside", "terrain/land", "terrain/grids")
SOURCES = [
    path
    for path in (
        *sorted((ROOT / "blender_addon").rglob("*.py")),
        *sorted((ROOT / "planner_core").rglob("*.py")),
    )
    if not path.with_suffix("").as_posix().endswith(COMMAND_LINE)
]
NOT_SHOWN = {"", " ", "File", "Clip"}  # Blender's own words say the same
NOT_SAID = {"Ellipsis", "CURSOR", "EARLIER", "LATER", "True", "False", "None"}
MOMENTS = ("Leave by", "Arrive", "Set up", "Test run", "Start", "End")
SIDES = ("left", "right", "upper", "lower", "high", "wide", "up", "down")


def is_message(text: str) -> bool:
    """Whether a constant is something that is read: it has letters, and isn't a name in the code."""
    bare = text.strip()
    return any(c.isalpha() for c in bare) and (" " in bare or bare[:1].isupper())


# What takes a message, and which of its arguments that is
SAYING = {
    "say": 0,
    "phrase": 0,
    "PlanError": 2,
    "Word": 0,
    "flaw": 1,
    "ReadbackError": 0,
    "PreviewError": 0,
    "FramesMissingError": 0,
}


@functools.cache
def nodes_of(source: str) -> tuple[ast.AST, ...]:
    """Every node of a module, itself first."""
    return tuple(ast.walk(ast.parse(source)))


def spoken_in(source: str) -> Iterator[str]:
    """What is handed to `say`, `phrase` or an error in a module; where that is a name or a table, every
    message of the function.
    """
    module, *inside = nodes_of(source)
    assert isinstance(module, ast.Module)
    yield from _of_the_module(module)
    for function in inside:
        if not isinstance(function, ast.FunctionDef):
            continue
        given = [
            call.args[SAYING[call.func.id]]
            for call in ast.walk(function)
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name)
            if call.func.id in SAYING and len(call.args) > SAYING[call.func.id]
        ]
        for message in given:
            yield from _constants(message)
        if any(not list(_constants(message)) for message in given):
            yield from _messages_of(function)


def _of_the_module(module: ast.Module) -> Iterator[str]:
    """Messages of errors that are made once for the whole module."""
    for statement in module.body:
        call = statement.value if isinstance(statement, ast.Assign) else None
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in SAYING:
            yield from _constants(call.args[0])


def units_and_reasons() -> Iterator[str]:
    """What the plan's fields say of their numbers when they refuse one: units, slips, and why."""
    tree = ast.parse((ROOT / "planner_core" / "plan" / "model.py").read_text("utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and "SLIP" in ast.unparse(node.targets[0]):
            yield from _strings(node.value)
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        if node.func.id in {"_number", "_points", "_grid", "_lengths"}:
            named = (k.value for k in node.keywords if k.arg in {"slips", "remark", "unit"})
            yield from (text for part in (*node.args, *named) for text in _strings(part))
        elif node.func.id == "_ordered":
            yield from _strings(node.args[3])


def _strings(node: ast.expr) -> Iterator[str]:
    for part in ast.walk(node):
        if isinstance(part, ast.Constant) and isinstance(part.value, str):
            yield part.value


def filled_in_too_early(source: str) -> Iterator[str]:
    """What is handed to `say`, `phrase` or an error with its values in it: no catalogue can have that."""
    for call in nodes_of(source):
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in SAYING:
            place = SAYING[call.func.id]
            if len(call.args) > place and isinstance(call.args[place], ast.JoinedStr | ast.BinOp):
                yield ast.unparse(call)


def _constants(message: ast.expr) -> Iterator[str]:
    """A message that stands where it is said, or either of two."""
    if isinstance(message, ast.Constant):
        yield str(message.value)
    elif isinstance(message, ast.IfExp):
        yield from _constants(message.body)
        yield from _constants(message.orelse)


def _messages_of(function: ast.FunctionDef) -> Iterator[str]:
    """Messages that a function names before it says one of them: not its docstring, not what is formatted."""
    formatted = {id(v) for n in ast.walk(function) if isinstance(n, ast.JoinedStr) for v in n.values}
    for node in ast.walk(function):
        values: list[ast.expr] = []
        if isinstance(node, ast.Dict):
            values = node.values
        elif isinstance(node, ast.Tuple):
            values = node.elts
        elif isinstance(node, ast.Assign):
            values = [node.value]
        elif isinstance(node, ast.IfExp):
            values = [node.body, node.orelse]
        for value in values:
            said = str(value.value) if isinstance(value, ast.Constant) else ""
            if id(value) not in formatted and is_message(said) and said not in NOT_SAID:
                yield said


def tables() -> Iterator[str]:
    """Words that stand in tables of the core and are said by whoever shows them."""
    yield from PHASES
    yield from EVENT_WORDS.values()
    yield from (event.replace("_", " ") for event in EVENT_WORDS)
    yield from ("plan file", "footprints", "horizon profile", "photograph", "folder")  # paths of errors
    yield from (*ROLES, *(word for word, _ in SPEED_WORDS), *PIN_DISCS, "pan", "tilt")
    yield from (*WANTED.values(), *units_and_reasons())
    yield from (*MONTHS, *WEEKDAYS, *MOMENTS, *SIDES)
    yield from (*wording.PANELS.values(), *wording.PARTS.values(), *wording.labels.values())
    for piece in kit.PIECES.values():
        yield from (piece.label, piece.says)
    yield from (*LABELS.values(), *TRIED.values(), *LIGHT_WORDS.values())
    for label, tip in wording.FITS.values():
        yield from (label, tip)
    yield from (in_short.title(code) for code in codes_of_the_tool())


def classes() -> Iterator[Any]:
    """Everything that is registered with Blender and has words."""
    yield from operators.CLASSES
    yield from properties.CLASSES
    yield from (cls for cls in panels.CLASSES if not issubclass(cls, bpy.types.UIList))
    yield from (*menus.CLASSES, *presets.CLASSES, *gizmos.CLASSES)
    yield preferences.DUSKRAIL_AP_preferences


def told_to_blender(cls: Any) -> Iterator[str]:
    """Names, tooltips and options of a class and of what it declares."""
    yield getattr(cls, "bl_label", "")
    known: Any = cls.bl_rna
    if issubclass(cls, bpy.types.Operator):
        called: Any = getattr(bpy.ops.duskrail, cls.bl_idname.removeprefix("duskrail."))
        known = called.get_rna_type()
        yield known.description
    declared = {name for base in cls.__mro__ for name in getattr(base, "__annotations__", {})}
    for name in sorted(declared & set(known.properties.keys())):
        prop: Any = known.properties[name]
        if prop.is_hidden:
            continue
        yield from (prop.name, prop.description)
        if prop.type == "ENUM":
            for item in prop.enum_items:
                yield from (item.name, item.description)


def button_words() -> Iterator[str]:
    """Words that a layout gives a button or field in place of its own."""
    for path in SOURCES:
        for node in nodes_of(path.read_text("utf-8")):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            if node.func.attr in {"prop", "operator", "operator_menu_enum", "column", "row"}:
                for keyword in node.keywords:
                    value = keyword.value
                    if keyword.arg in {"text", "heading"} and isinstance(value, ast.Constant):
                        yield str(value.value)


def all_messages() -> list[str]:
    """Each message once, in the order in which they are found."""
    found: Iterable[str] = [
        *(message for path in SOURCES for message in spoken_in(path.read_text("utf-8"))),
        *tables(),
        *(message for cls in classes() for message in told_to_blender(cls)),
        *button_words(),
    ]
    return list(dict.fromkeys(m for m in found if m not in NOT_SHOWN and any(c.isalpha() for c in m)))
