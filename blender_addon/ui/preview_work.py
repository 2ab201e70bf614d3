"""In a Blender of its own: draws one plan file's clip or stills, and writes what it has to say into a file, a
JSON record a line; what it refuses in the language that the task brings along. Started as a script by
preview_job.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from pathlib import Path
from typing import Any

PACKAGE = "duskrail_in_the_background"
PROGRESS, DONE, FAILED = "progress", "done", "failed"
CLIP, STILLS = "clip", "stills"


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

    from planner_core.words.language import Language, spoken

    with Path(task["said"]).open("a", encoding="utf-8") as said:

        def tell(kind: str, **record: Any) -> None:
            said.write(json.dumps({"kind": kind, **record}) + "\n")
            said.flush()

        try:
            made = _make(task, preview, request, lambda now: tell(PROGRESS, **attrs.asdict(now)))
        except KeyboardInterrupt:
            return 130
        except Exception as problem:
            with spoken(Language(**task["language"])):  # not before: what is drawn stays as a file is
                words = refusal_words(problem, task["output"])
            tell(FAILED, problem=" ".join(words.split()), field=getattr(problem, "field", ""))
            return 1
        tell(DONE, **made)
    return 0


def refusal_words(problem: Exception, output: str) -> str:
    """What keeps the clip from being made, in the current language."""
    from planner_core import PlanError
    from planner_core.words.language import Phrase, in_words, say

    told = getattr(problem, "text", None)
    if isinstance(told, Phrase):
        return in_words(told)
    if isinstance(problem, PlanError):
        return str(problem)
    if isinstance(problem, OSError):
        return f"{problem.filename or output}: {in_words(problem.strerror or str(problem))}"
    traceback.print_exception(problem)
    return say("Blender can't draw this here: {why}", why=str(problem) or type(problem).__name__)


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
        jobs=task["jobs"],
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
