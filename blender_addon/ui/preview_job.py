"""The draft clip rendered by a Blender of its own, while the photographer goes on working.

Started as a script it is that other Blender's: it draws one plan file's clip or stills and writes what it has
to say into a file, a JSON record a line. Imported it is what starts, watches and stops it.
"""

from __future__ import annotations

import contextlib
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
CLIP, STILLS = "clip", "stills"
STOP_WITHIN_S = 5.0
# What the parts of a request are called in the panel
LABELS = {
    "frame_range": "Frame Range",
    "every": "Every Nth Frame",
    "size": "Width",
    "look": "Look",
    "beside": "Second Plan",
}
# What is asked beside the clip itself, unless told otherwise; `shown` are frames with their labels
PLAIN: dict[str, Any] = {"title": False, "burn_in": False, "beside": None, "contact": None, "shown": []}


# ---------------------------------------------------------------- starting, watching, stopping


class Job:
    """One clip under way, with the last thing it said."""

    def __init__(self, plan_text: str, output: Path, options: dict[str, Any]) -> None:
        import bpy

        from ..render.jobs import search_paths

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
                    **PLAIN,
                    "make": CLIP,
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
        self.progress: dict[str, Any] = {}
        self.result: dict[str, Any] | None = None
        self.problem = ""
        self.stopped = False

    def is_running(self) -> bool:
        """Whether it is still running."""
        return self.result is None and not self.problem and not self.stopped

    def look(self) -> bool:
        """Read what it has reported since; returns whether it is still running."""
        if not self.is_running():
            return False
        ended = self.process.poll() is not None  # checked first, so that its last message isn't missed
        with contextlib.suppress(OSError):
            for line in self.said.read_text(encoding="utf-8").splitlines(keepends=True):
                if line.endswith("\n"):  # the last one may be half written
                    self._take(json.loads(line))
        if ended and self.is_running():
            self.problem = f"Blender quit in the background: {self._last_words()}"
        if not self.is_running():
            self.close()
        return self.is_running()

    def _take(self, record: dict[str, Any]) -> None:
        kind = record.pop("kind")
        if kind == PROGRESS:
            self.progress = record
        elif kind == DONE:
            self.result = record
        elif kind == FAILED:
            label = LABELS.get(record["field"])
            self.problem = f"{label}: {record['problem']}" if label else record["problem"]

    @property
    def done_fraction(self) -> float:
        """How much is done, 0 to 1."""
        total = self.progress.get("total", 0)
        return self.progress["done"] / total if total else 0.0

    @property
    def text(self) -> str:
        """How far it is, in words."""
        from planner_core.words.durations import duration_text

        now = self.progress
        if not now:
            return "Starting Blender in the background"
        if now["stage"] == "encoding":
            return "Writing the clip"
        if now["engine"]:
            return f"Drawing with {now['engine']}"
        left = now["seconds_left"]
        return f"Frame {now['done']} of {now['total']}" + (
            f", about {duration_text(max(1, round(left)))} left" if left else ""
        )

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
        """Remove its temporary files."""
        if self.log.closed:
            return
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(STOP_WITHIN_S)
        self.log.close()
        for left in self.folder.iterdir():
            left.unlink()
        self.folder.rmdir()


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
    request = importlib.import_module(f"{PACKAGE}.render.request")
    import attrs

    from planner_core import PlanError

    with Path(task["said"]).open("a", encoding="utf-8") as said:

        def say(kind: str, **record: Any) -> None:
            said.write(json.dumps({"kind": kind, **record}) + "\n")
            said.flush()

        def fail(problem: str, field: str = "") -> int:
            say(FAILED, problem=" ".join(problem.split()), field=field)
            return 1

        try:
            made = _make(task, preview, request, lambda now: say(PROGRESS, **attrs.asdict(now)))
        except request.PreviewError as problem:
            return fail(str(problem), problem.field)
        except PlanError as problem:
            return fail(str(problem))
        except OSError as problem:
            return fail(f"{problem.filename or task['output']}: {problem.strerror or problem}")
        except KeyboardInterrupt:
            return 130
        except Exception as problem:
            traceback.print_exc()
            return fail(f"Blender can't draw this here: {str(problem) or type(problem).__name__}")
        say(DONE, **made)
    return 0


def _make(task: dict[str, Any], preview: Any, request: Any, progress: Any) -> dict[str, Any]:
    """Draw a clip, with a contact sheet or without, or stills side by side; returns what was made."""
    from planner_core import load_plan
    from planner_core.plan.file import plan_from_text

    plan, shown = load_plan(task["plan"]), [(number, label) for number, label in task["shown"]]
    size = tuple(task["size"]) if task["size"] else None
    if task["make"] == STILLS:
        output = Path(task["output"])
        drawing = {"look": task["look"], "size": size, "between": False, "progress": progress}
        count = preview.render_contact(plan, shown, output, **drawing)
        return {"output": str(output), "frames": count, "make": STILLS}
    asked = request.PreviewRequest(
        plan=plan,
        output=Path(task["output"]),
        look=task["look"],
        frame_range=tuple(task["frame_range"]) if task["frame_range"] else None,
        every=task["every"],
        size=size,
        title=task["title"],
        burn_in=task["burn_in"],
        beside=plan_from_text(task["beside"]) if task["beside"] else None,
    )
    made = preview.render_preview(asked, progress)
    if task["contact"]:
        preview.render_contact(plan, shown, Path(task["contact"]), look=task["look"], progress=progress)
    width, height = made.size_px
    return {
        "output": str(made.output),
        "frames": len(made.frames),
        "drawn": made.drawn,
        "kept": made.kept,
        "size": f"{width} × {height}",
        "engine": made.engine,
        "contact": task["contact"],
        "make": CLIP,
    }


if __name__ == "__main__":
    code = run(sys.argv[-1])
    sys.stdout.flush()
    os._exit(code)  # Blender's module is slow to shut down, and there is nothing left to save
