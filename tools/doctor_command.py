"""The doctor verb: what this machine has for Duskrail, what is missing, and how to get it."""

from __future__ import annotations

import argparse
import importlib.metadata
import importlib.util
import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from attrs import asdict, frozen

from blender_addon.render.jobs import usable_cores

from . import blender_application
from .outcome import DONE, how_to_get_blender
from .program import version
from .terminal import json_text

PACKAGES = ("numpy", "astral", "attrs", "cattrs", "tzdata", "bpy")
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "firefox", "msedge", "brave-browser")
APPLICATIONS = ("Google Chrome.app", "Firefox.app", "Safari.app", "Chromium.app")


@frozen(kw_only=True)
class Item:
    """One thing looked for: what was found, or how to get it where it is missing and worth having."""

    name: str
    found: str
    missing: str = ""


def run_doctor(arguments: argparse.Namespace) -> int:
    """Look at everything and print it."""
    items = list(look())
    if arguments.json:
        print(json_text({item.name: _as_dict(item) for item in items}))
        return DONE
    width = max(len(item.name) for item in items)
    for item in items:
        print(f"{item.name:{width}}  {item.found or 'none'}")
        if item.missing:
            print(f"{'':{width}}  → {item.missing}")
    missing = sum(bool(item.missing) for item in items)
    print("Nothing is missing." if not missing else "What is marked → is missing; it says how to get it.")
    return DONE


def _as_dict(item: Item) -> dict[str, Any]:
    return {name: value or None for name, value in asdict(item).items() if name != "name"}


def look() -> Iterator[Item]:
    """Everything that matters to a verb, in the order in which a set-up needs it."""
    yield Item(name="duskrail", found=f"{version()}, in {Path(__file__).resolve().parent.parent}")
    yield _python()
    yield Item(name="system", found=f"{platform.platform()}, {usable_cores()} cores")
    yield Item(name="packages", found=_packages(), missing=_missing_packages())
    yield from _drawing()
    yield _cache()
    yield _fonts()
    yield _browser()


def _python() -> Item:
    found = f"{platform.python_version()}, {sys.executable}"
    enough = sys.version_info >= (3, 11)
    return Item(name="python", found=found, missing="" if enough else "install Python 3.11 or later")


def _version_of(package: str) -> str | None:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return None


def _packages() -> str:
    pairs = ((name, _version_of(name)) for name in PACKAGES)
    return ", ".join(f"{name} {found}" for name, found in pairs if found)


def _missing_packages() -> str:
    lacking = [name for name in PACKAGES if name != "bpy" and _version_of(name) is None]
    return f"install {', '.join(lacking)}" if lacking else ""


# ---------------------------------------------------------------- what draws


def _drawing() -> Iterator[Item]:
    """Blender's module and the engine it draws with, and an application beside it."""
    application = _blender_application()
    module = _version_of("bpy") if importlib.util.find_spec("bpy") else None
    lacking = "" if module or application else f"preview, readback and export need it; {how_to_get_blender()}"
    yield Item(name="blender module", found=module or "", missing=lacking)
    yield Item(name="blender", found=application)
    if module:
        yield from (_engine(look) for look in ("fast", "lit"))


def _engine(look: str) -> Item:
    """What a look is drawn with here, as Blender itself finds out by drawing something small."""
    from blender_addon.render.engines import EngineError, choose_engine

    try:
        return Item(name=f"{look} look", found=choose_engine(look).said)
    except (EngineError, OSError) as problem:
        return Item(name=f"{look} look", found="", missing=str(problem))


def _blender_application() -> str:
    """A Blender application and its version; '' for none that is new enough."""
    try:
        application = blender_application.find()
    except blender_application.ApplicationError as problem:
        return str(problem)
    if application is None:
        return ""
    return "Blender {}.{}, {}".format(*application.version, application.path)


# ---------------------------------------------------------------- what is kept, and what shows


def _cache() -> Item:
    from blender_addon.render.cache import CACHE_VARIABLE, cache_folder

    folder = cache_folder()
    total, count = 0, 0
    for path in folder.rglob("*"):
        if path.is_file():
            total, count = total + path.stat().st_size, count + 1
    there = folder
    while not there.exists() and there != there.parent:
        there = there.parent
    writable = os.access(there, os.W_OK)
    return Item(
        name="cache",
        found=f"{folder}, {count} file{'s' * (count != 1)}, {total / 1e6:.0f} MB",
        missing="" if writable else f"can't be written to; set {CACHE_VARIABLE} to a folder that can",
    )


def _fonts() -> Item:
    """Fonts that a sheet's page can be shown in; text inside pictures is Blender's own."""
    lister = shutil.which("fc-list")
    if sys.platform.startswith("win") or sys.platform == "darwin":
        return Item(name="fonts", found="the system's")
    if not lister:
        return Item(name="fonts", found="unknown, as there is no fontconfig to ask")
    done = subprocess.run([lister, ":", "family"], capture_output=True, text=True, check=False)
    families = {line.split(",")[0].strip() for line in done.stdout.splitlines() if line.strip()}
    lacking = (
        ""
        if families
        else "a sheet shows boxes instead of letters; install a font, such as fonts-dejavu-core"
    )
    return Item(name="fonts", found=f"{len(families)} families" if families else "", missing=lacking)


def _browser() -> Item:
    """A browser to look at a sheet with, or print it from."""
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if not found and sys.platform == "darwin":
        found = next((name for name in APPLICATIONS if Path("/Applications", name).exists()), None)
    if not found and sys.platform.startswith("win"):
        found = "the system's"
    lacking = (
        "" if found else "you need a browser to see and print sheets; install one, or open them on a phone"
    )
    return Item(name="browser", found=found or "", missing=lacking)
