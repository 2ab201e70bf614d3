"""Files that a verb reads and writes: no output is an input, each can be written before work begins."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from planner_core.plan.writing import (
    check_writable,
    is_same_file,
    is_standard_output,
    is_stream,
    write_atomically,
)

from .outcome import UsageError

# Arguments of all verbs by their names: files that are read, and files that are written
INPUTS = {
    "plan": "the plan",
    "image": "the photograph",
    "source": "the map file",
    "scene": "the scene",
    "beside": "the plan beside it",
}
OURS = {".html", ".json"}  # which may be written anew beside the photographs of a card
FOLDERS = {"write": "--write"}  # that are made where they aren't there yet
OUTPUTS = {
    "output": "-o",
    "ics": "--ics",
    "contact": "--contact",
    "blend": "--blend",
    "picture": "--picture",
    "new_plan": "--plan",
}


def check_files(arguments: argparse.Namespace) -> None:
    """Raise UsageError where an output is an input or another output, OSError where it can't be written."""
    inputs = inputs_of(arguments)
    outputs = [(option, path) for name, option in OUTPUTS.items() if (path := _path(arguments, name))]
    written: list[tuple[str, Path]] = []
    for option, path in outputs:
        if not is_stream(path):
            refuse_input(option, path, inputs)
            _refuse_file_of_folder(option, path, _path(arguments, "folder"))
            for other, before in written:
                if is_same_file(path, before):
                    raise UsageError(
                        f"{option}: {path} is what {other} is written to; give each its own name"
                    )
            written.append((option, path))
        check_writable(path)
    for name, option in FOLDERS.items():
        if (folder := _path(arguments, name)) is not None:
            _check_folder(option, folder)


def _check_folder(option: str, folder: Path) -> None:
    """Raise UsageError where no folder can be there, OSError where nothing could be written to it."""
    there = folder
    while not os.path.lexists(there) and there != there.parent:
        there = there.parent
    if not there.is_dir():
        raise UsageError(f"{option}: {there} is not a folder; name one to write plans to")
    check_writable(there / "one.plan.json")


def refuse_input(option: str, path: Path, inputs: list[tuple[str, Path]]) -> None:
    """Raise UsageError where a file to write is one that is read."""
    for word, read in inputs:
        if is_same_file(path, read):
            raise UsageError(f"{option}: {path} is {word} that is read; give another name")


def _refuse_file_of_folder(option: str, path: Path, folder: Path | None) -> None:
    """Raise UsageError where a file to write is in a folder that is read, and no page or plan of ours."""
    if folder is None or path.suffix.lower() in OURS or not path.exists():
        return
    if Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder)):
        raise UsageError(f"{option}: {path} is in the folder that is read; give another name")


def inputs_of(arguments: argparse.Namespace) -> list[tuple[str, Path]]:
    """The files that a verb reads, each with a word for it."""
    several = [("the terrain", Path(source)) for source in getattr(arguments, "sources", ())]
    several += [("a plan", Path(plan)) for plan in getattr(arguments, "plans", ())]
    return several + [(word, path) for name, word in INPUTS.items() if (path := _path(arguments, name))]


def deliver(text: str, output: str | None) -> None:
    """Write a verb's result to a file, or to standard output where none is named."""
    if output is None:
        sys.stdout.write(text)
    else:
        write_atomically(Path(output), text.encode("utf-8"))


def say(text: str, output: str | None) -> None:
    """Print what a verb has to say about a file; beside the file, where that is standard output itself."""
    beside = output is not None and is_standard_output(Path(output))
    print(text, file=sys.stderr if beside else sys.stdout)


def _path(arguments: argparse.Namespace, name: str) -> Path | None:
    value = getattr(arguments, name, None)
    return Path(value) if value else None
