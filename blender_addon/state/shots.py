"""The shots of an evening: the scenes of this file that have a plan, and their common timetable.

It is worked out beside the window, a moment after the last change, and only while somebody looks at it.
Nothing here is saved: the plans are in their scenes, and it follows from them.
"""

from __future__ import annotations

import contextlib
from typing import Any

import bpy
from attrs import define, frozen

from planner_core import Plan, PlanError
from planner_core.evening.shots import MOST_SHOTS, Shot, Terms, read_shots
from planner_core.fit.evening import Evening, solve_evening

from . import live
from .thread_job import Listener, ThreadJob

AFTER_S, LOOK_EVERY_S = 0.5, 0.2  # the last change; while it is worked out
FEWEST = 2
ALIKE = ("evening_people", "evening_pace", "evening_detour")  # settings that an evening has one of


@frozen(kw_only=True)
class Task:
    """What an evening is made of: its scenes by number from 1, their plans, and how it is planned."""

    scenes: tuple[int, ...]  # session_uid of each
    names: tuple[str, ...]
    plans: tuple[Plan, ...]
    terms: Terms


@define(eq=False)
class Solved:
    """An evening as it was worked out last: the shots as planned and the evening, or why there is none."""

    task: Task
    shots: tuple[Shot, ...] = ()
    evening: Evening | None = None
    problem: PlanError | None = None


Answer = tuple[tuple[Shot, ...], Evening]

_solved: Solved | None = None
_under_way: tuple[Task, ThreadJob[Answer]] | None = None


def clear() -> None:
    """Forget the evening, and stop working one out."""
    global _solved, _under_way
    if _under_way is not None:
        _under_way[1].stop()
    _solved, _under_way = None, None
    for timer in (_begin, _look):
        if bpy.app.timers.is_registered(timer):
            bpy.app.timers.unregister(timer)


def scenes_with_plans() -> list[Any]:
    """The scenes of this file that have a plan with times, the earliest start first."""
    starts = {}
    scenes: Any = bpy.data.scenes
    for scene in scenes:
        frames = live.frames_of(scene) if scene.library is None else None
        if frames is not None:
            starts[scene] = (float(frames.utc_s[0]), scene.name)
    return sorted(starts, key=lambda scene: starts[scene])


def scene_of(uid: int) -> Any:
    """A scene by its session_uid; None where it is gone."""
    scenes: Any = bpy.data.scenes
    return next((scene for scene in scenes if scene.session_uid == uid), None)


def task_now() -> Task | None:
    """What the evening is made of as the scenes are now; None where there are too few shots for one."""
    chosen = [scene for scene in scenes_with_plans() if scene.duskrail.in_evening]
    if len(chosen) < FEWEST:
        return None
    settings = chosen[0].duskrail
    plans = [live.plan_of(scene) for scene in chosen]
    return Task(
        scenes=tuple(scene.session_uid for scene in chosen),
        names=tuple(scene.name for scene in chosen),
        plans=tuple(plan for plan in plans if plan is not None),
        terms=Terms(
            people=settings.evening_people,
            # Blender keeps single precision: 1.3 would be 1.2999999523
            pace_m_s=round(settings.evening_pace, 4) / 3.6,
            detour=round(settings.evening_detour, 4),
        ),
    )


def look() -> tuple[Solved | None, bool]:
    """The evening as known, and whether that is of the scenes as they are now; if not, it will be soon."""
    task = task_now()
    if task is None:
        return None, False
    if not _is_solved(task):
        _ask(task)
    return _solved, _is_solved(task)


def _is_solved(task: Task) -> bool:
    return _solved is not None and task == _solved.task


def known() -> Solved:
    """The evening as known, for whoever has seen that there is one."""
    assert _solved is not None
    return _solved


def known_evening() -> Evening:
    """The evening's timetable, for whoever has seen that there is one."""
    evening = known().evening
    assert evening is not None
    return evening


def is_under_way() -> bool:
    """Whether an evening is being worked out."""
    return _under_way is not None


def _ask(task: Task) -> None:
    """Have it worked out a moment after the last change; without a window that is done when it is asked
    for.
    """
    if bpy.app.background:
        solve_now()
        return
    if _under_way is not None and task == _under_way[0]:
        return
    if not bpy.app.timers.is_registered(_begin):
        bpy.app.timers.register(_begin, first_interval=AFTER_S)


def _begin() -> None:
    global _under_way
    task = task_now()
    if task is None or _is_solved(task):
        return
    if _under_way is not None:
        if task == _under_way[0]:
            return
        _under_way[1].stop()
    _under_way = (task, ThreadJob(lambda listen: solve(task, listen), "duskrail-evening"))
    if not bpy.app.timers.is_registered(_look):
        bpy.app.timers.register(_look, first_interval=LOOK_EVERY_S)


def _look() -> float | None:
    """Take what was worked out, once it is."""
    global _solved, _under_way
    if _under_way is None:
        return None
    task, job = _under_way
    if job.is_running():
        return LOOK_EVERY_S
    _under_way, _solved = None, _answer(task, job)
    live.show()
    if job.defect is not None:
        raise job.defect
    return None


def solve_now() -> Solved | None:
    """The evening of the scenes as they are, worked out here and now; None where there are too few shots."""
    global _solved
    task = task_now()
    if task is None:
        return None
    if not _is_solved(task):
        job: ThreadJob[Answer] = ThreadJob(lambda listen: solve(task, listen))
        job.wait()
        _solved = _answer(task, job)
        if job.defect is not None:
            raise job.defect
    return _solved


def _answer(task: Task, job: ThreadJob[Answer]) -> Solved:
    shots, evening = job.result if job.result is not None else ((), None)
    return Solved(task=task, shots=shots, evening=evening, problem=job.problem)


def solve(task: Task, listen: Listener) -> Answer:
    """The evening; touches nothing of Blender's. Raises PlanError for shots of more than one evening."""
    if len(task.plans) > MOST_SHOTS:
        raise PlanError(
            "evening", len(task.plans), "shots are too many; leave out all but {most}", most=MOST_SHOTS
        )
    shots = read_shots(task.plans, task.names)
    return shots, solve_evening(shots, task.terms, listen)


def take(solved: Solved, plans: dict[int, Plan]) -> None:
    """Make plans those of the evening's scenes, by number from 1: all of them, or none. Raises PlanError."""
    wanted = [(scene_of(solved.task.scenes[number - 1]), plan) for number, plan in plans.items()]
    before = [(scene, live.plan_of(scene)) for scene, _ in wanted]
    try:
        for scene, plan in wanted:
            live.set_plan(scene, plan)
    except PlanError:
        for scene, old in before:
            if old is not None:
                with contextlib.suppress(PlanError):
                    live.set_plan(scene, old)
        raise


def keep_alike(scene: Any, name: str) -> None:
    """Give the other scenes with a plan the same of this setting: an evening has one of each."""
    value = getattr(scene.duskrail, name)
    for other in scenes_with_plans():
        if other != scene and getattr(other.duskrail, name) != value:
            setattr(other.duskrail, name, value)


def join(scene: Any) -> None:
    """Give a scene that has just got a plan the evening's settings of the others, which somebody may have
    chosen.
    """
    other = next((one for one in scenes_with_plans() if one != scene), None)
    if other is not None:
        for name in ALIKE:
            setattr(scene.duskrail, name, getattr(other.duskrail, name))
