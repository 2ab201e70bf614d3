"""A Blender application that draws where Blender's Python module doesn't fit the Python at hand.

What belongs here: finding one, starting it in the background with this project's own packages, and passing on
what the verb in it prints. The set-up script asks here too, so: standard library only, and no syntax that an
old Python can't read.
"""

import glob
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Iterator, List, NamedTuple, Optional, Sequence, Tuple

VARIABLE = "DUSKRAIL_BLENDER"
OLDEST = (4, 5)
ANSWER_S = 60.0  # a Blender that starts at all says its version sooner
# What comes before this on its standard output is Blender's own greeting.
BEGINS = b"\x1eduskrail\n"
WITHIN = Path(__file__).resolve().with_name("in_blender.py")
USUAL_PLACES = {
    "linux": ("/opt/blender*/blender", "~/blender*/blender", "/snap/bin/blender", "/usr/local/bin/blender"),
    "darwin": (
        "/Applications/Blender*.app/Contents/MacOS/Blender",
        "~/Applications/Blender*.app/Contents/MacOS/Blender",
    ),
    "win32": (r"%ProgramFiles%\Blender Foundation\Blender *\blender.exe",),
}


class ApplicationError(Exception):
    """The Blender that was named won't do; its message is one line."""


class Application(NamedTuple):
    """A Blender application. version is (major, minor)."""

    path: str
    version: Tuple[int, int]


def find() -> Optional[Application]:
    """The application that DUSKRAIL_BLENDER names, else one on PATH, else the newest in the usual places.

    None where there is none that is new enough. Raises ApplicationError for a named one that won't do.
    """
    named = os.environ.get(VARIABLE)
    if named:
        path = shutil.which(os.path.expanduser(named))
        application = probe(path) if path else None
        if application is None:
            raise ApplicationError(f"{VARIABLE}: {named} is not a Blender that starts")
        if application.version < OLDEST:
            raise ApplicationError(
                "{}: {} is Blender {}.{}; {}.{} or later is needed".format(
                    VARIABLE, named, *application.version, *OLDEST
                )
            )
        return application
    on_path = shutil.which("blender")
    first = probe(on_path) if on_path else None
    if first is not None and first.version >= OLDEST:
        return first
    others = [application for application in map(probe, usual_paths()) if application is not None]
    newest = max(others, key=lambda application: application.version) if others else None
    return newest if newest is not None and newest.version >= OLDEST else None


def usual_paths() -> Iterator[str]:
    for pattern in USUAL_PLACES.get(sys.platform, ()):
        yield from sorted(glob.glob(os.path.expanduser(os.path.expandvars(pattern))))


def probe(path: str) -> Optional[Application]:
    """The application at a path, or None where it doesn't say its version."""
    try:
        answer = subprocess.run(
            [path, "--version"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
            timeout=ANSWER_S,
        )
    except (OSError, subprocess.SubprocessError):
        return None
    said = re.search(r"^Blender (\d+)\.(\d+)", answer.stdout.decode(errors="replace"), re.MULTILINE)
    return Application(path, (int(said.group(1)), int(said.group(2)))) if said else None


# --- running in it ------------------------------------------------------------------------------


def search_paths() -> List[str]:
    """Where this project and its packages are imported from here."""
    import importlib.util

    names = ("planner_core", "blender_addon", "attrs", "cattrs", "astral", "platformdirs", "tzdata")
    specs = [importlib.util.find_spec(name) for name in (str(__package__), *names)]
    homes = [str(Path(spec.origin).resolve().parent.parent) for spec in specs if spec and spec.origin]
    return list(dict.fromkeys(homes))


def command(path: str, module: str, words: Sequence[str], errors: Optional[int] = None) -> List[str]:
    """What starts Blender in the background and calls main(words) of a module of this project in it.

    errors is an open file that becomes standard error once the module begins. Blender's own Python is an
    isolated one: neither its user's packages nor what lies in the current folder is imported.
    """
    task = json.dumps({"paths": search_paths(), "module": module, "words": list(words), "errors": errors})
    options = ["--background", "--factory-startup", "--disable-autoexec", "--python-exit-code", "3"]
    return [path, *options, "--python", str(WITHIN), "--", task]


def run(application: Application, words: Sequence[str]) -> int:
    """Run a verb in the application; its exit code. What it prints comes out here, and nothing else."""
    sys.stderr.flush()
    # what Blender says as it starts is no concern of the verb
    errors = None if os.name == "nt" else os.dup(2)
    child = subprocess.Popen(
        command(application.path, "{}.duskrail".format(__package__), words, errors),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=None if errors is None else subprocess.DEVNULL,
        pass_fds=() if errors is None else (errors,),
    )
    if errors is not None:
        os.close(errors)
    assert child.stdout is not None
    begun = pass_on(child.stdout)
    while True:
        try:
            code = child.wait()
            break
        except KeyboardInterrupt:
            continue  # the child got it too and ends in its own way
    if not begun:
        raise ApplicationError(f"{application.path} doesn't start in the background; does it open at all?")
    return code if code >= 0 else 128 - code


def pass_on(stream) -> bool:  # type: ignore[no-untyped-def]
    """Copy to standard output what comes after the mark; whether it came."""
    sys.stdout.flush()
    begun, kept = False, b""
    while True:
        try:
            piece = os.read(stream.fileno(), 65536)
        except KeyboardInterrupt:
            continue
        if not piece:
            return begun
        if not begun:
            kept += piece
            if BEGINS not in kept:
                continue
            begun, piece = True, kept.split(BEGINS, 1)[1]
        while piece:
            piece = piece[os.write(1, piece) :]


def said_after(output: bytes) -> bytes:
    """What a module that ran in the application printed itself."""
    return output.split(BEGINS, 1)[-1]
