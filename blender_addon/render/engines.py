"""Which of Blender's engines draws on this machine, found out without putting the session at risk.

Blender ends the whole process where OpenGL is missing, so that is tried in a process of its own, once a day.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, TypedDict

import bpy
from attrs import frozen

from planner_core.plan.writing import write_atomically
from planner_core.words.language import Phrase, in_words, phrase

from .. import compat
from . import cache as framecache

PROBE_SECONDS = 60.0
PROBE_LASTS_S = 86400.0

STARTED, FOUND = "DUSKRAIL STARTED", "DUSKRAIL PROBE"
PROBE = f"""
import bpy
print("{STARTED}", flush=True)
scene = bpy.data.scenes.new("probe")
camera = bpy.data.objects.new("probe", bpy.data.cameras.new("probe"))
scene.collection.objects.link(camera)
scene.camera = camera
scene.render.engine = "BLENDER_WORKBENCH"
scene.render.resolution_x = scene.render.resolution_y = 16
bpy.ops.render.render(scene=scene.name)
import gpu
print("{FOUND}", gpu.platform.device_type_get())
"""


class EngineError(RuntimeError):
    """No engine draws here, in one line that says what would do."""


@frozen(kw_only=True)
class Engine:
    """An engine by Blender's name, how to say it to a person, and why it was chosen."""

    name: str
    words: str | Phrase
    why: str | Phrase = ""

    @property
    def said(self) -> str:
        return f"{self.named} ({in_words(self.why)})" if self.why else self.named

    @property
    def named(self) -> str:
        """What it is called, in the current language."""
        return in_words(self.words)


@frozen(kw_only=True)
class Machine:
    """What draws here: OpenGL at all, and on a graphics card or in software."""

    opengl: bool
    graphics_card: bool


class Note(TypedDict):
    """What the probe found, kept in a file, and when, in seconds since 1970."""

    opengl: bool
    graphics_card: bool
    time: float


def choose_engine(look: str, wanted: str | None = None) -> Engine:
    """The engine for a look on this machine; or the wanted one, by Blender's name. Raises EngineError.

    fast takes Workbench, or Cycles with very few samples without OpenGL; lit takes EEVEE on a graphics card
    and Cycles without one.
    """
    if wanted is not None:
        return _named(wanted)
    machine = this_machine()
    if look == "fast" and machine.opengl:
        return Engine(name=compat.WORKBENCH, words="Workbench")
    if look == "lit" and machine.graphics_card:
        return Engine(name=compat.EEVEE, words="EEVEE", why=phrase("on the graphics card"))
    why = phrase("no OpenGL here") if look == "fast" else phrase("no graphics card here")
    if not _has_cycles():
        raise EngineError(
            phrase(
                "nothing here can draw: {why}, and this Blender was built without Cycles; install the "
                "system's OpenGL libraries (libgl1 and libegl1 on Debian and Ubuntu)",
                why=why,
            )
        )
    return Engine(name=compat.CYCLES, words=phrase("Cycles on the processor"), why=why)


def this_machine() -> Machine:
    """What the probe found, now or within the last day."""
    if not bpy.app.background:
        return Machine(opengl=True, graphics_card=_device_type() not in ("SOFTWARE", "UNKNOWN"))
    notes, key = _read_notes(), _machine_key()
    noted = notes.get(key)
    if noted is not None and 0.0 <= time.time() - noted["time"] < PROBE_LASTS_S:
        return Machine(opengl=noted["opengl"], graphics_card=noted["graphics_card"])
    machine, said = _probe()
    if STARTED in said:  # what failed before it could look says nothing about the machine
        notes[key] = Note(opengl=machine.opengl, graphics_card=machine.graphics_card, time=time.time())
        _write_notes(notes)
    return machine


def _probe() -> tuple[Machine, str]:
    """What a process of its own found, and what it printed."""
    if bpy.app.binary_path:
        command = [bpy.app.binary_path, "--background", "--factory-startup", "--python-expr", PROBE]
    else:  # isolated: nothing that lies in the current folder is imported
        command = [sys.executable, "-I", "-c", PROBE]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=PROBE_SECONDS, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return Machine(opengl=False, graphics_card=False), ""
    words = next((line.split() for line in done.stdout.splitlines() if FOUND in line), [])
    device = words[-1] if len(words) == 3 else ""
    machine = Machine(
        opengl=done.returncode == 0 and bool(device),
        graphics_card=done.returncode == 0 and device not in ("", "SOFTWARE", "UNKNOWN"),
    )
    return machine, done.stdout


def _device_type() -> str:
    import gpu

    return str(gpu.platform.device_type_get())


def _has_cycles() -> bool:
    preferences: Any = bpy.context.preferences
    return hasattr(bpy.types, "CyclesRenderSettings") or "cycles" in preferences.addons


def _named(name: str) -> Engine:
    words: dict[str, str | Phrase] = {
        compat.WORKBENCH: "Workbench",
        compat.CYCLES: phrase("Cycles on the processor"),
        compat.EEVEE: "EEVEE",
    }
    return Engine(name=name, words=words.get(name, name), why=phrase("as asked"))


def _machine_key() -> str:
    drivers = [
        f"{name}={os.environ[name]}"
        for name in sorted(os.environ)
        if name in ("DISPLAY", "WAYLAND_DISPLAY")
        or name.startswith(("LIBGL_", "__EGL", "__GLX", "MESA_", "EGL_"))
    ]
    return "|".join([bpy.app.version_string, platform.node(), *map(_binary_words, _binaries()), *drivers])


def _binaries() -> list[str]:
    """The files that the probe runs: Blender's program, or Python and Blender's module."""
    if bpy.app.binary_path:
        return [bpy.app.binary_path]
    return [name for name in (sys.executable, getattr(bpy, "__file__", None)) if name]


def _binary_words(name: str) -> str:
    """A file with its size and date, so that another one in its place is told apart."""
    try:
        facts = Path(name).stat()
    except OSError:
        return name
    return f"{name}:{facts.st_size}:{facts.st_mtime_ns}"


def _read_notes() -> dict[str, Note]:
    """What was found before, by machine; what another version wrote otherwise is left out."""
    try:
        notes = json.loads((framecache.cache_folder() / "machine.json").read_text(encoding="utf-8"))
        return {
            str(key): Note(
                opengl=bool(noted["opengl"]),
                graphics_card=bool(noted["graphics_card"]),
                time=float(noted["time"]),
            )
            for key, noted in notes.items()
        }
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return {}


def _write_notes(notes: dict[str, Note]) -> None:
    try:
        path = framecache.cache_folder() / "machine.json"
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(path, json.dumps(notes).encode("utf-8"))
    except OSError:
        return  # found out anew next time
