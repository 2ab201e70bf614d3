"""Duskrail as a program: what it is called where it was started, its version, and its shell completion."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

NAME = "duskrail"
FROM_SOURCE = "python3 tools/bootstrap.py"
SHELLS = ("bash", "zsh", "fish", "tcsh", "powershell")
ROOT = Path(__file__).resolve().parent.parent
# Says it to the processes that this one starts, a Blender application above all
STARTED_AS_VARIABLE = "DUSKRAIL_STARTED_AS"


def started_as(name: str) -> None:
    """Be called that in messages from now on, in this process and in those that it starts."""
    os.environ[STARTED_AS_VARIABLE] = name


def program() -> str:
    """What to type to start this program again."""
    return os.environ.get(STARTED_AS_VARIABLE, FROM_SOURCE)


def version() -> str:
    """The version that runs: that of the source it was started from, else of the package installed."""
    try:
        text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
        project = tomllib.loads(text)["project"]
        if project["name"] == NAME:
            return str(project["version"])
    except (OSError, KeyError, tomllib.TOMLDecodeError):
        pass
    import importlib.metadata

    return importlib.metadata.version(NAME)


def is_installed() -> bool:
    """Whether it was started as the installed command."""
    return program() == NAME


def is_completing() -> bool:
    """Whether a shell asks how a command line may go on."""
    return "_ARGCOMPLETE" in os.environ


def completion_script(shell: str) -> str:
    """What one of SHELLS has to read to complete the installed command."""
    import argcomplete

    return str(argcomplete.shellcode([NAME], shell=shell))
