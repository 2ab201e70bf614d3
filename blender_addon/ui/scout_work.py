"""In a process of its own: searches one plan's place for the shot, and writes how far it is and the best so
far into a file, a JSON record a line. Started as a script by scout_job.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

PROGRESS, DONE, FAILED = "progress", "done", "failed"
TELL_EVERY = 4  # reviews


def run(task_file: str) -> int:
    """Search as a task file asks."""
    task = json.loads(Path(task_file).read_text(encoding="utf-8"))
    sys.path[:0] = [path for path in task["paths"] if path not in sys.path]
    from planner_core import PlanError, load_plan
    from planner_core.scout.search import Scout, Wishes

    with Path(task["said"]).open("a", encoding="utf-8") as said:

        def say(kind: str, **record: Any) -> None:
            said.write(json.dumps({"kind": kind, **record}) + "\n")
            said.flush()

        try:
            area = tuple(task["area"]) if task["area"] else None
            wishes = Wishes(area=area, reviews=task["reviews"], top=task["top"])  # type: ignore[arg-type]
            _search(Scout(load_plan(task["plan"]), wishes), say)
        except PlanError as problem:
            say(FAILED, problem=str(problem))
            return 1
        except KeyboardInterrupt:
            return 130
        except Exception as problem:
            traceback.print_exc()
            say(FAILED, problem=f"The search failed: {str(problem) or type(problem).__name__}")
            return 1
    return 0


def _search(scout: Any, say: Callable[..., None]) -> None:
    told: tuple[Any, ...] = ()
    stage = ""
    for now in scout.run():
        better = now.stage == "reviews" and now.done % TELL_EVERY == 0 and now.finds != told
        if better or now.stage != stage:
            say(PROGRESS, stage=now.stage, done=now.done, total=now.total, **_shown(scout))
            told, stage = now.finds, now.stage
        else:
            say(PROGRESS, stage=now.stage, done=now.done, total=now.total)
    say(DONE, done=1, total=1, **_shown(scout))


def _shown(scout: Any) -> dict[str, Any]:
    """The map and the finds so far."""
    from planner_core.plan.file import plan_to_text
    from planner_core.scout.finds import report

    told = report(scout)
    tally = scout.tally
    return {
        "places_m": tally.places_m.round(3).tolist(),
        "worth": tally.worth.round(2).tolist(),
        "cell_m": scout.cell_m,
        "planned": told.planned_score,
        "remark": told.remark if tally.reviews else "",
        "finds": [
            {
                "name": find.name,
                "points": find.points,
                "reason": find.reason,
                "costs": list(find.costs),
                "to_check": list(find.to_check),
                "place_m": list(find.found.shot.place_m),
                "cameras_m": find.found.measured.frames.camera_m[[0, -1]].tolist(),
                "turns": find.found.measured.frames.camera_rotation[[0, -1]].tolist(),
                "plan": plan_to_text(find.plan),
            }
            for find in told.finds
        ],
    }


if __name__ == "__main__":
    code = run(sys.argv[-1])
    sys.stdout.flush()
    os._exit(code)  # Blender is slow to shut down, and there is nothing left to save
