"""Searches one plan's place for the shot, in the process that `background` starts, and shows the best so far;
all in the window's language.
"""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence

import attrs
import numpy as np

from planner_core import Plan, PlanError
from planner_core.evening.dates import date_span
from planner_core.plan.file import plan_from_text, plan_to_text
from planner_core.review import german  # noqa: F401  (registers its sentences)
from planner_core.scout.evenings import Evenings, EveningSearch, SubjectSearch
from planner_core.scout.finds import Find, report
from planner_core.scout.search import ReviewedShot, Scout, Tally, Wishes
from planner_core.words.language import say, spoken

from ..render.progress import Progress
from .background_work import Tell
from .job_records import (
    EVENINGS,
    SPOTS,
    SUBJECTS,
    Failure,
    JobFile,
    Said,
    ScoutTask,
    Shown,
    ShownEvening,
    ShownFind,
    plain,
    read,
)

TELL_EVERY = 4  # reviews


def run(job: JobFile, tell: Tell) -> Shown:
    """Search as the task asks."""
    with spoken(job.language):
        task = read(ScoutTask, job.task)
        wishes = Wishes(area=task.area, reviews=task.reviews, top=task.top)
        return SEARCHES[task.what](plan_from_text(job.plan), wishes, task, tell)


def failure(_job: JobFile, problem: Exception) -> Failure:
    """Why nothing was searched, in the current language."""
    if isinstance(problem, PlanError):
        return Failure(problem=str(problem))
    traceback.print_exception(problem)
    why = str(problem) or type(problem).__name__
    return Failure(problem=say("The search failed: {problem}", problem=why))


def _show(tell: Tell, shown: Shown) -> None:
    tell(Said(meanwhile=plain(shown)))


# ---------------------------------------------------------------- what is searched


def _spots(plan: Plan, wishes: Wishes, _task: ScoutTask, tell: Tell) -> Shown:
    """Where to stand on the planned evening."""
    scout = Scout(plan, wishes)
    told: tuple[ReviewedShot, ...] = ()
    stage = ""
    for now in scout.run():
        better = now.stage == "reviews" and now.done % TELL_EVERY == 0 and now.finds != told
        if better or now.stage != stage:
            _show(tell, _shown(scout))
            told, stage = now.finds, now.stage
        tell(Said(progress=Progress(stage=now.stage, done=now.done, total=now.total)))
    return _shown(scout)


def _evenings(plan: Plan, wishes: Wishes, task: ScoutTask, tell: Tell) -> Shown:
    """Which of several evenings is the best for each spot, and which spot for each evening."""
    search = EveningSearch(plan, wishes, *date_span(task.first, task.last))
    for now in search.run():
        if now.stage == "reviews" and now.done % TELL_EVERY == 0 and search.searching is not None:
            _show(tell, _shown(search.searching))  # on one of the evenings, until all are compared
        elif now.stage == "evenings" and now.done % (TELL_EVERY * len(search.shots)) == 0:
            _show(tell, _shown_evenings(search.result()))
        tell(Said(progress=Progress(stage=now.stage, done=now.done, total=now.total)))
    return _shown_evenings(search.result())


def _subjects(plan: Plan, wishes: Wishes, _task: ScoutTask, tell: Tell) -> Shown:
    """Which block makes the best subject from the planned place."""
    search = SubjectSearch(plan, wishes)
    for now in search.run():
        tell(Said(progress=Progress(stage=now.stage, done=now.done, total=now.total)))
    result = search.result()
    finds = zip(result.subjects, result.finds, strict=True)
    return Shown(
        planned=result.planned_score,
        remark=result.remark,
        finds=tuple(attrs.evolve(_find(find), subject=name) for name, find in finds),
    )


SEARCHES: dict[str, Callable[[Plan, Wishes, ScoutTask, Tell], Shown]] = {
    SPOTS: _spots,
    EVENINGS: _evenings,
    SUBJECTS: _subjects,
}


# ---------------------------------------------------------------- what is shown of it


def _shown(scout: Scout) -> Shown:
    """The map and the finds so far."""
    told = report(scout)
    remark = told.remark if scout.tally.reviews else ""
    finds = [_find(find) for find in told.finds]
    return _mapped(scout.tally, scout.cell_m, told.planned_score, remark, finds)


def _shown_evenings(result: Evenings) -> Shown:
    finds = []
    for number, find in enumerate(result.finds):
        days = tuple(result.dates[row] for row in result.best_evenings(number))
        finds.append(attrs.evolve(_find(find), best_evenings=days))
    shown = _mapped(result.scout.tally, result.scout.cell_m, result.planned_score, result.remark, finds)
    evenings = tuple(_evening(result, row) for row in range(len(result.dates)))
    return attrs.evolve(shown, evenings=evenings, without=len(result.without))


def _mapped(tally: Tally, cell_m: float, planned: float, remark: str, finds: Sequence[ShownFind]) -> Shown:
    """The finds on the map of what each place is worth."""
    return Shown(
        places_m=tally.places_m.round(3),
        worth=tally.worth.round(2),
        cell_m=cell_m,
        planned=planned,
        remark=remark,
        finds=tuple(finds),
    )


def _evening(result: Evenings, row: int) -> ShownEvening:
    best = result.best_spot(row)
    points = 0.0 if best is None else round(float(result.points[row, best]), 1)
    return ShownEvening(date=result.dates[row], best=best, points=points)


def _find(find: Find) -> ShownFind:
    x, y, z = (float(part) for part in find.reviewed.shot.place_m)
    frames = find.reviewed.measured.frames
    return ShownFind(
        name=find.name,
        in_short=find.in_short,
        points=find.points,
        reason=find.reason,
        costs=tuple(find.costs),
        to_check=tuple(find.to_check),
        place_m=(x, y, z),
        cameras_m=np.asarray(frames.camera_m[[0, -1]]),
        turns=np.asarray(frames.camera_rotation[[0, -1]]),
        plan=plan_to_text(find.plan),
    )
