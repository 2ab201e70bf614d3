"""The layers hold: who imports whom, read from the source without running it."""

from __future__ import annotations

import ast
import functools
import sys
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

CORE_MAY_IMPORT = {
    *sys.stdlib_module_names,
    "planner_core",
    "numpy",
    "astral",
    "tzdata",
    "attr",
    "attrs",
    "cattr",
    "cattrs",
    "drawsvg",
    "icalendar",
    "exifread",
    "imagesize",
    "tifffile",
}
# Blender brings these, but for the core and the library its plans are made with (to evolve one).
ADDON_MAY_IMPORT = {
    *sys.stdlib_module_names,
    "blender_addon",
    "planner_core",
    "attrs",
    "platformdirs",
    "numpy",
    "bpy",
    "bpy_extras",
    "bl_ui",
    "bl_operators",
    "bl_math",
    "bmesh",
    "mathutils",
    "pxr",
    "gpu",
    "gpu_extras",
    "blf",
    "imbuf",
    "idprop",
    "addon_utils",
}


class Module(NamedTuple):
    """A module's source; package is what its relative imports start from."""

    name: str
    package: str
    source: str


def nodes(tree: ast.AST, *, late: bool) -> Iterator[ast.AST]:
    """Every node of a tree; without late, only what runs while the module is being imported."""
    yield tree
    for child in ast.iter_child_nodes(tree):
        is_function = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        is_for_types = isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test)
        if late or not (is_function or is_for_types):
            yield from nodes(child, late=late)


@functools.cache
def imports(module: Module, *, late: bool = True) -> tuple[str, ...]:
    """Full dotted name of everything that a module imports: `package.module.name` for a from-import."""
    return tuple(_imports(module, late=late))


def _imports(module: Module, *, late: bool) -> Iterator[str]:
    for node in nodes(ast.parse(module.source), late=late):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            parents = module.package.split(".")
            package = parents[: len(parents) - node.level + 1] if node.level else []
            base = [*package, *([node.module] if node.module else [])]
            yield from (".".join([*base, alias.name]) for alias in node.names)
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in ("import_module", "__import__") and isinstance(node.args[0].value, str):
                yield node.args[0].value


def strangers(modules: Iterable[Module], allowed: Collection[str]) -> list[str]:
    """`module: name` for every import of something outside allowed."""
    return sorted(
        f"{module.name}: {name}"
        for module in modules
        for name in imports(module)
        if name.split(".")[0] not in allowed
    )


def import_cycle(modules: Iterable[Module], *, late: bool = False) -> list[str]:
    """Modules that need each other while being imported (or ever, with late), as a path that ends where it
    began; or nothing.
    """
    by_name = {module.name: module for module in modules}
    finished: set[str] = set()

    def needs(module: Module) -> set[str]:
        # `from package import thing` needs `package.thing` where that is a module, else `package`
        names = imports(module, late=late)
        found = {name if name in by_name else name.rpartition(".")[0] for name in names}
        return (found & set(by_name)) - {module.name}

    def walk(name: str, path: list[str]) -> list[str]:
        if name in path:
            return [*path[path.index(name) :], name]
        if name in finished:
            return []
        for needed in sorted(needs(by_name[name])):
            cycle = walk(needed, [*path, name])
            if cycle:
                return cycle
        finished.add(name)
        return []

    return next((cycle for name in sorted(by_name) if (cycle := walk(name, []))), [])


def modules_of(root: Path, package: str) -> list[Module]:
    found = []
    for path in sorted((root / package).rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found.append(Module(name, ".".join(parts[:-1]), path.read_text(encoding="utf-8")))
    assert found, f"no modules under {package}"
    return found


@pytest.mark.once
def test_the_core_knows_neither_blender_nor_the_layers_above_it(project_root: Path) -> None:
    assert strangers(modules_of(project_root, "planner_core"), CORE_MAY_IMPORT) == []


@pytest.mark.once
def test_the_blender_layer_needs_only_the_core_and_what_blender_brings(project_root: Path) -> None:
    assert strangers(modules_of(project_root, "blender_addon"), ADDON_MAY_IMPORT) == []


@pytest.mark.once
@pytest.mark.parametrize("package", ["planner_core", "blender_addon"])
def test_no_two_modules_need_each_other_to_be_imported(project_root: Path, package: str) -> None:
    assert import_cycle(modules_of(project_root, package)) == []


def test_no_two_tools_need_each_other_ever(project_root: Path) -> None:
    assert import_cycle(modules_of(project_root, "tools"), late=True) == []


# The checker itself, on sources that break each rule.


@pytest.mark.parametrize(
    ("source", "stranger"),
    [
        ("import bpy", "bpy"),
        ("import bpy.types as t", "bpy.types"),
        ("from bpy_extras import object_utils", "bpy_extras.object_utils"),
        ("def late():\n    from blender_addon.rig import build", "blender_addon.rig.build"),
        ("import importlib\nimportlib.import_module('tools.duskrail')", "tools.duskrail"),
        ("from ..tools import duskrail", "tools.duskrail"),
        ("try:\n    import scipy\nexcept ImportError:\n    scipy = None", "scipy"),
    ],
)
def test_an_import_across_the_layers_is_found(source: str, stranger: str) -> None:
    modules = [
        Module("planner_core.bad", "planner_core", source),
        Module("planner_core.good", "planner_core", "import json"),
    ]
    assert strangers(modules, CORE_MAY_IMPORT) == [f"planner_core.bad: {stranger}"]


def test_relative_imports_stay_in_the_package() -> None:
    source = "from . import plan\nfrom .plan import Plan\nimport numpy as np"
    for name in ("planner_core", "planner_core.frames"):
        assert list(imports(Module(name, "planner_core", source)))[:2] == [
            "planner_core.plan",
            "planner_core.plan.Plan",
        ]
        assert strangers([Module(name, "planner_core", source)], CORE_MAY_IMPORT) == []


def package(**sources: str) -> list[Module]:
    """Modules of a package `p`; `init` is the package's own source."""
    return [Module("p" if name == "init" else f"p.{name}", "p", source) for name, source in sources.items()]


def test_modules_that_need_each_other_are_found() -> None:
    around = package(a="from .b import x", b="from p import c", c="import p.a", d="import p.a")
    assert import_cycle(around) == ["p.a", "p.b", "p.c", "p.a"]
    through_the_package = package(init="from .a import x", a="from p import x")
    assert import_cycle(through_the_package) == ["p", "p.a", "p"]
    in_a_class = package(a="class C:\n    from p import b", b="try:\n    import p.a\nfinally:\n    pass")
    assert import_cycle(in_a_class) == ["p.a", "p.b", "p.a"]


# The folders of each layer, in the order of the flow: a row imports from rows above it only.
CORE_ROWS = (
    *(
        "maths",
        "words",
        "time",
        "plan",
        "place",
        "terrain",
        "light",
        "rig",
        "picture",
        "photo",
        "frames",
        "draft",
        "evening",
        "log",
    ),
    *("review", "fit", "moves", "scout", "edit", "begin", "output"),
)
ADDON_ROWS = ("compat", "console", "own_process", "scene", "read", "render", "state", "ui", "registration")


def from_below(modules: Iterable[Module], package: str, rows: tuple[str, ...]) -> list[str]:
    """`module: import` for each import of a module in a later row, or in one that no row names."""
    found = []
    for module in modules:
        row = module.name.split(".")[1:2]
        if not row:  # the package's own doors
            continue
        allowed = rows[: rows.index(row[0]) + 1]
        for name in imports(module):
            parts = name.split(".")
            if parts[0] == package and len(parts) > 1 and parts[1] not in allowed:
                found.append(f"{module.name}: {name}")
    return sorted(found)


@pytest.mark.once
@pytest.mark.parametrize(("package", "rows"), [("planner_core", CORE_ROWS), ("blender_addon", ADDON_ROWS)])
def test_a_row_imports_from_rows_above_it_only(
    project_root: Path, package: str, rows: tuple[str, ...]
) -> None:
    assert from_below(modules_of(project_root, package), package, rows) == []


def folders_of(root: Path, package: str) -> list[Path]:
    return sorted(path for path in (root / package).iterdir() if (path / "__init__.py").is_file())


def test_every_folder_says_what_belongs_in_it_as_the_guide_for_developers_does(project_root: Path) -> None:
    guide = (project_root / "DEVELOPERS.md").read_text(encoding="utf-8")
    for folder in folders_of(project_root, "planner_core"):
        says = ast.get_docstring(ast.parse((folder / "__init__.py").read_text(encoding="utf-8")))
        assert f"| `{folder.name}` | {says} |" in guide
    for folder in folders_of(project_root, "blender_addon"):
        assert f"| `{folder.name}` |" in guide
        assert ast.get_docstring(ast.parse((folder / "__init__.py").read_text(encoding="utf-8")))


def test_an_import_from_a_row_below_is_found() -> None:
    modules = [
        Module("p.low", "p", "import p.high"),
        Module(
            "p.high.x", "p.high", "from p import low\nfrom ..low import y\ndef f():\n    import p.highest"
        ),
    ]
    rows = ("low", "high", "highest")
    assert from_below(modules, "p", rows) == ["p.high.x: p.highest", "p.low: p.high"]


def test_imports_made_late_or_for_types_only_are_no_cycle() -> None:
    assert import_cycle(package(a="import p.b", b="def f():\n    from .a import x")) == []
    assert import_cycle(package(a="import p.b", b="if TYPE_CHECKING:\n    from .a import x")) == []
