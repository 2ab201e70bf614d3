"""In a process of its own: searches one plan's place for the shot, and writes how far it is and the best so
far into a file, a JSON record a line, in the language that the task brings along. Started as a script by
scout_job.
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
    from planner_core.review import german  # noqa: F401  (registers its sentences)
    from planner_core.scout.search import Wishes
    from planner_core.words.language import Language, say, spoken

    with Path(task["said"]).open("a", encoding="utf-8") as said, spoken(Language(**task["language"])):

        def tell(kind: str, **record: Any) -> None:
            said.write(json.dumps({"kind": kind, **record}) + "\n")
            said.flush()

        try:
            area = tuple(task["area"]) if task["area"] else None
            wishes = Wishes(area=area, reviews=task["reviews"], top=task["top"])  # type: ignore[arg-type]
            SEARCHES[task["what"]](load_plan(task["plan"]), wishes, task, tell)
        except PlanError as problem:
            tell(FAILED, problem=str(problem))
            return 1
        except KeyboardInterrupt:
            return 130
        except Exception as problem:
            traceback.print_exc()
            why = str(problem) or type(problem).__name__
            tell(FAILED, problem=say("The search failed: {problem}", problem=why))
            return 1
    return 0


def _spots(plan: Any, wishes: Any, _task: dict[str, Any], tell: Callable[..., None]) -> None:
    """Where to stand on the planned evening."""
    from planner_core.scout.search import Scout

    scout = Scout(plan, wishes)
    told: tuple[Any, ...] = ()
    stage = ""
    for now in scout.run():
        better = now.stage == "reviews" and now.done % TELL_EVERY == 0 and now.finds != told
        if better or now.stage != stage:
            tell(PROGRESS, stage=now.stage, done=now.done, total=now.total, **_shown(scout))
            told, stage = now.finds, now.stage
        else:
            tell(PROGRESS, stage=now.stage, done=now.done, total=now.total)
    tell(DONE, done=1, total=1, **_shown(scout))


def _evenings(plan: Any, wishes: Any, task: dict[str, Any], tell: Callable[..., None]) -> None:
    """Which of several evenings is the best for each spot, and which spot for each evening."""
    from planner_core.evening.dates import date_span
    from planner_core.scout.evenings import EveningSearch

    search = EveningSearch(plan, wishes, *date_span(task["first"], task["last"]))
    for now in search.run():
        more: dict[str, Any] = {}
        if now.stage == "reviews" and now.done % TELL_EVERY == 0 and search.searching is not None:
            more = _shown(search.searching)  # on one of the evenings, until all are compared
        elif now.stage == "evenings" and now.done % (TELL_EVERY * len(search.shots)) == 0:
            more = _shown_evenings(search)
        tell(PROGRESS, stage=now.stage, done=now.done, total=now.total, **more)
    tell(DONE, done=1, total=1, **_shown_evenings(search))


def _shown_evenings(search: Any) -> dict[str, Any]:
    found = search.result()
    tally = found.scout.tally
    finds = []
    for number, find in enumerate(found.finds):
        days = [found.dates[row].isoformat() for row in found.best_evenings(number)]
        finds.append({**_find(find), "best_evenings": days})
    return {
        **_map(tally, found.scout.cell_m, found.planned_score, found.remark),
        "finds": finds,
        "evenings": [_evening(found, row) for row in range(len(found.dates))],
        "without": len(found.without),
    }


def _evening(found: Any, row: int) -> dict[str, Any]:
    """One evening: its date, and its best spot from 0 with the points, None where none can be shot."""
    best = found.best_spot(row)
    points = None if best is None else round(float(found.points[row, best]), 1)
    return {"date": found.dates[row].isoformat(), "best": best, "points": points}


def _subjects(plan: Any, wishes: Any, _task: dict[str, Any], tell: Callable[..., None]) -> None:
    """Which block makes the best subject from the planned place."""
    from planner_core.scout.evenings import SubjectSearch

    search = SubjectSearch(plan, wishes)
    for now in search.run():
        tell(PROGRESS, stage=now.stage, done=now.done, total=now.total)
    found = search.result()
    finds = [{**_find(find), "subject": name} for name, find in zip(found.subjects, found.finds, strict=True)]
    tell(DONE, done=1, total=1, **_map(None, 1.0, found.planned_score, found.remark), finds=finds)


def _map(tally: Any, cell_m: float, planned: float, remark: str) -> dict[str, Any]:
    """What each place is worth, where places were searched."""
    return {
        "places_m": [] if tally is None else tally.places_m.round(3).tolist(),
        "worth": [] if tally is None else tally.worth.round(2).tolist(),
        "cell_m": cell_m,
        "planned": planned,
        "remark": remark,
    }


def _find(find: Any) -> dict[str, Any]:
    """One find: what is told of it, where its cameras are, and its plan."""
    from planner_core.plan.file import plan_to_text

    return {
        "name": find.name,
        "in_short": find.in_short,
        "points": find.points,
        "reason": find.reason,
        "costs": list(find.costs),
        "to_check": list(find.to_check),
        "place_m": list(find.found.shot.place_m),
        "cameras_m": find.found.measured.frames.camera_m[[0, -1]].tolist(),
        "turns": find.found.measured.frames.camera_rotation[[0, -1]].tolist(),
        "plan": plan_to_text(find.plan),
    }


def _shown(scout: Any) -> dict[str, Any]:
    """The map and the finds so far."""
    from planner_core.scout.finds import report

    told = report(scout)
    remark = told.remark if scout.tally.reviews else ""
    shown = _map(scout.tally, scout.cell_m, told.planned_score, remark)
    return {**shown, "finds": [_find(find) for find in told.finds]}


SEARCHES = {"SPOTS": _spots, "EVENINGS": _evenings, "SUBJECTS": _subjects}


if __name__ == "__main__":
    code = run(sys.argv[-1])
    sys.stdout.flush()
    os._exit(code)  # Blender is slow to shut down, and there is nothing left to save
