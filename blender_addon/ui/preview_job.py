"""The draft clip rendered by a Blender of its own, while the photographer goes on working.

Started as a script it is that other Blender's: it draws one plan file's clip and writes what it has to say
into a file, a line at a time. Imported it is what starts, watches and stops it.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from pathlib import Path
from typing import Any

PACKAGE = "duskrail_in_the_background"
PROGRESS, DONE, FAILED = "progress", "done", "failed"
STOP_WITHIN_S = 5.0


# ---------------------------------------------------------------- starting, watching, stopping


class Job:
    """One clip under way, with the last thing it said."""

    def __init__(self, plan_text: str, output: Path, options: dict[str, Any]) -> None:
        import bpy

        self.output = output
        self.folder = Path(tempfile.mkdtemp(prefix="duskrail-"))
        self.said = self.folder / "said.txt"
        task = self.folder / "task.json"
        (self.folder / "now.plan.json").write_text(plan_text, encoding="utf-8")
        task.write_text(
            json.dumps(
                {
                    "plan": str(self.folder / "now.plan.json"),
                    "output": str(output),
                    "said": str(self.said),
                    "paths": search_paths(),
                    **options,
                }
            ),
            encoding="utf-8",
        )
        script = str(Path(__file__).resolve())
        command = (
            [
                bpy.app.binary_path,
                "--background",
                "--factory-startup",
                "--python-exit-code",
                "1",
                "--python",
                script,
                "--",
            ]
            if bpy.app.binary_path
            else [sys.executable, "-I", script]
        )
        self.log = (self.folder / "log.txt").open("w", encoding="utf-8")
        self.process = subprocess.Popen(
            [*command, str(task)], stdin=subprocess.DEVNULL, stdout=self.log, stderr=subprocess.STDOUT
        )
        self.text = "Starting Blender in the background"
        self.share = 0.0
        self.result: dict[str, Any] | None = None
        self.problem = ""
        self.stopped = False

    def is_running(self) -> bool:
        """Whether it is still at it."""
        return self.result is None and not self.problem and not self.stopped

    def look(self) -> bool:
        """Take in what it said since; returns whether it is still running."""
        if not self.is_running():
            return False
        ended = self.process.poll() is not None  # asked first, so that its last words aren't missed
        with contextlib.suppress(OSError):
            for line in self.said.read_text(encoding="utf-8").splitlines():
                kind, _, content = line.partition("\t")
                if kind == PROGRESS:
                    self.text = content
                elif kind == DONE:
                    self.result = json.loads(content)
                elif kind == FAILED:
                    self.problem = content
        self.share = share_of(self.text, self.share)
        if ended and self.is_running():
            self.problem = f"Blender stopped in the background: {self._last_words()}"
        if not self.is_running():
            self.close()
        return self.is_running()

    def _last_words(self) -> str:
        self.log.flush()
        lines = [
            line
            for line in (self.folder / "log.txt").read_text("utf-8", "replace").splitlines()
            if line.strip()
        ]
        return lines[-1][:200] if lines else f"exit code {self.process.returncode}"

    def stop(self) -> None:
        """Stop it; frames that are finished are kept for the next time."""
        if self.is_running():
            self.stopped = True
            with contextlib.suppress(OSError):
                self.process.send_signal(signal.SIGINT if os.name != "nt" else signal.SIGTERM)
            try:
                self.process.wait(STOP_WITHIN_S)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self.close()

    def wait(self) -> None:
        """Wait until it is done."""
        while self.look():
            time.sleep(0.1)

    def close(self) -> None:
        """Take away what it needed."""
        if self.log.closed:
            return
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(STOP_WITHIN_S)
        self.log.close()
        for left in self.folder.iterdir():
            left.unlink()
        self.folder.rmdir()


def search_paths() -> list[str]:
    """Where the other Blender finds what this one has: the core and the packages it needs."""
    specs = (importlib.util.find_spec(name) for name in ("planner_core", "attrs", "cattrs", "astral"))
    homes = [Path(spec.origin).resolve().parent.parent for spec in specs if spec and spec.origin]
    return list(dict.fromkeys(str(home) for home in homes))


def share_of(text: str, before: float) -> float:
    """How much is done, 0 to 1, from words with `12 of 48` or `12/48` in them; as before where there are
    none.
    """
    import re

    found = re.search(r"(\d+)\s*(?:of|/)\s*(\d+)", text)
    if not found or int(found[2]) == 0:
        return before
    return min(int(found[1]) / int(found[2]), 1.0)


# ---------------------------------------------------------------- in the other Blender


def run(task_file: str) -> int:
    """Draw the clip that a task file describes."""
    import importlib.util

    task = json.loads(Path(task_file).read_text(encoding="utf-8"))
    sys.path[:0] = [path for path in task["paths"] if path not in sys.path]
    home = Path(__file__).resolve().parent.parent
    spec = importlib.util.spec_from_file_location(
        PACKAGE, home / "__init__.py", submodule_search_locations=[str(home)]
    )
    assert spec is not None
    assert spec.loader is not None
    sys.modules[PACKAGE] = package = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(package)
    preview = importlib.import_module(f"{PACKAGE}.render.preview")
    from planner_core import PlanError, load_plan

    with Path(task["said"]).open("a", encoding="utf-8") as said:

        def say(kind: str, content: str) -> None:
            said.write(f"{kind}\t{' '.join(content.split())}\n")
            said.flush()

        try:
            made = preview.render_preview(
                load_plan(task["plan"]),
                Path(task["output"]),
                look=task["look"],
                frame_range=tuple(task["frame_range"]) if task["frame_range"] else None,
                every=task["every"],
                size=tuple(task["size"]) if task["size"] else None,
                progress=lambda text: say(PROGRESS, text),
            )
        except (preview.PreviewError, PlanError) as problem:
            say(FAILED, str(problem))
            return 1
        except OSError as problem:
            say(FAILED, f"{task['output']} can't be written: {problem.strerror or problem}")
            return 1
        except KeyboardInterrupt:
            return 130
        except Exception as problem:
            traceback.print_exc()
            say(FAILED, f"Blender can't draw this here: {str(problem) or type(problem).__name__}")
            return 1
        width, height = made.size_px
        say(
            DONE,
            json.dumps(
                {
                    "output": str(made.output),
                    "frames": len(made.frames),
                    "drawn": made.drawn,
                    "kept": made.kept,
                    "size": f"{width} × {height}",
                    "engine": made.engine,
                }
            ),
        )
    return 0


if __name__ == "__main__":
    code = run(sys.argv[-1])
    sys.stdout.flush()
    os._exit(code)  # Blender's module is slow to tidy up, and there is nothing to keep
