"""Runs a module of this project inside a Blender application, with this project's packages.

Blender starts this script; what to run stands behind `--` on its command line, as blender_application has it.
Blender's numpy is imported first and stays: the project's is built for another Python. All other packages of
the project are pure Python, and come before Blender's.
"""

import importlib
import json
import os
import signal
import sys

import numpy  # noqa: F401


def _speak_alone(begins: bytes) -> None:
    """From here on standard output has what Python prints, and nothing of Blender's own."""
    sys.stdout.flush()
    own = os.dup(1)
    os.write(own, begins)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    sys.stdout = os.fdopen(own, "w", encoding="utf-8", errors="backslashreplace")


def main() -> None:
    """Call main(words) of the module and end the process with its exit code."""
    task = json.loads(sys.argv[sys.argv.index("--") + 1])
    sys.path[:0] = [path for path in task["paths"] if path not in sys.path]
    signal.signal(signal.SIGINT, signal.default_int_handler)  # Blender's own ends without a word
    if task["errors"] is not None:
        os.dup2(task["errors"], 2)
        # a stream of its own: the old one takes what is now there, a pipe perhaps, for a file
        sys.stderr = os.fdopen(
            2, "w", buffering=1, encoding="utf-8", errors="backslashreplace", closefd=False
        )
    ours = task["module"].partition(".")[0]
    _speak_alone(importlib.import_module(ours + ".blender_application").BEGINS)
    code = 3
    try:
        code = importlib.import_module(task["module"]).main(task["words"])
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)  # Blender's own end says more, and can hang after drivers that need Python


main()
