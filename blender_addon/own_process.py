"""Modules of the add-on at work in a process of their own. Started as a script, this file is that process: it
loads the add-on and has one of its modules do its `main`.

Until it knows where the packages are, it has only the standard library.
"""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

PACKAGE = "duskrail_on_its_own"
NEEDED = ("planner_core", "attrs", "cattrs", "astral", "platformdirs")
ARGUMENTS = "--"  # begins what is meant for a script, not for Blender


def command(module: str, *arguments: str) -> list[str]:
    """What starts a process that calls main(*arguments) of a module, by its name within the add-on, and ends
    with the exit code that this returns.
    """
    import bpy

    script, blender = str(Path(__file__).resolve()), bpy.app.binary_path
    quiet = ("--background", "--factory-startup", "--python-exit-code", "1", "--python")
    start = [blender, *quiet, script] if blender else [sys.executable, "-I", script]
    return [*start, ARGUMENTS, json.dumps(_search_paths()), module, *arguments]


def _search_paths() -> list[str]:
    """Where another process finds the core and the packages that it needs."""
    specs = (importlib.util.find_spec(name) for name in NEEDED)
    homes = [Path(spec.origin).resolve().parent.parent for spec in specs if spec and spec.origin]
    return list(dict.fromkeys(str(home) for home in homes))


# ---------------------------------------------------------------- in the other process


def _run(search_paths: Sequence[str], module: str, arguments: Sequence[str]) -> int:
    importlib.import_module("numpy")  # Blender's own: beside the packages may lie another Python's
    sys.path[:0] = [path for path in search_paths if path not in sys.path]
    _load_package()
    code: int = importlib.import_module(f"{PACKAGE}.{module}").main(*arguments)
    return code


def _load_package() -> None:
    """The add-on under a name of its own: it needn't be installed, nor on the path."""
    home = Path(__file__).resolve().parent
    spec = importlib.util.spec_from_file_location(
        PACKAGE, home / "__init__.py", submodule_search_locations=[str(home)]
    )
    assert spec is not None
    assert spec.loader is not None
    sys.modules[PACKAGE] = package = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(package)


if __name__ == "__main__":
    code = 1
    try:
        described, module, *arguments = sys.argv[sys.argv.index(ARGUMENTS) + 1 :]
        code = _run(json.loads(described), module, arguments)
    except KeyboardInterrupt:
        code = 130
    except Exception:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)  # Blender is slow to shut down, and there is nothing left to save
