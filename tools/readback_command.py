"""The readback verb: the plan as it stands in an edited scene.

A damaged file can make Blender itself fall over, run for ever or ask for all memory. So a process of its own
reads it (this module, started as a script), within limits, and hands the plan over as text.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import subprocess
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    __package__ = Path(__file__).resolve().parent.name

import attrs
from attrs import frozen

from planner_core.plan.file import plan_from_text, plan_to_text, save_plan
from planner_core.plan.model import PlanError

from . import blender_application
from .files import say
from .outcome import DONE, UsageError, need_blender

LONGEST_S = 600  # of the processor's time; a large scene takes a few
MEMORY_SHARE = 0.75  # of what the computer has


def run_readback(arguments: argparse.Namespace) -> int:
    """Read the scene and write its plan."""
    scene = Path(arguments.scene)
    if not scene.is_file():
        raise PlanError("scene file", str(scene), "does not exist; check the name")
    need_blender()
    answer = _asked(scene)
    if answer.refused:
        raise UsageError(answer.refused)
    if answer.defect:
        raise RuntimeError(answer.defect)
    save_plan(plan_from_text(answer.plan), arguments.output)
    say("\n".join((*answer.said, f"Written to {arguments.output}.")), arguments.output)
    return DONE


@frozen(kw_only=True)
class Answer:
    """What is read of a scene: its plan's text with what could not be kept, or why the scene is refused, or
    where the program failed.
    """

    plan: str = ""
    said: Sequence[str] = ()
    refused: str = ""
    defect: str = ""


def _asked(scene: Path) -> Answer:
    """What a process of its own says of a scene. Raises UsageError where it doesn't live to say anything."""
    import bpy

    command = [sys.executable, "-I", str(Path(__file__).resolve()), str(scene)]
    if bpy.app.binary_path:  # the application, whose Python can't be started without it
        command = blender_application.command(bpy.app.binary_path, __name__, [str(scene)])
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=False)
    with contextlib.suppress(ValueError, TypeError):
        return Answer(**json.loads(blender_application.said_after(done.stdout)))
    raise UsageError(
        f"{scene}: Blender falls over while reading it, so the file is damaged; take an older copy "
        "(Blender keeps one beside it, ending in .blend1)"
    )


# ---------------------------------------------------------------- in a process of its own


def _limited() -> None:
    """Bound the processor's time and the memory of this process, where the system can."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S))
        most = int(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") * MEMORY_SHARE)
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))


def _answer(scene: str) -> Answer:
    from blender_addon.read.readback import ReadbackError, read_file

    try:
        edited = read_file(scene)
        return Answer(plan=plan_to_text(edited.plan), said=edited.said)
    except (ReadbackError, PlanError) as refused:
        return Answer(refused=str(refused))
    except Exception as defect:
        told = traceback.extract_tb(defect.__traceback__)[-1]
        where = f"{Path(told.filename).name}:{told.lineno}"
        return Answer(defect=f"{type(defect).__name__}: {defect}, {where}")


def _read(scene: str) -> None:
    """Say on standard output what a scene's plan is, or why there is none, as JSON. Ends the process."""
    _limited()
    said = os.dup(sys.stdout.fileno())
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for number in (1, 2):
        os.dup2(nowhere, number)
    with os.fdopen(said, "w", encoding="utf-8") as out:
        json.dump(attrs.asdict(_answer(scene)), out)
    os._exit(0)  # Blender's tidying up can hang after drivers that need Python


def main(words: Sequence[str]) -> int:
    """Read the scene that the one word names."""
    _read(words[0])
    return DONE


if __name__ == "__main__":
    main(sys.argv[1:])
