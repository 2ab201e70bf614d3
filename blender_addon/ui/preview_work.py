"""Draws one plan's clip or stills, in the process that `background` starts. What it refuses is told in the
window's language; what is drawn stays as a file is.
"""

from __future__ import annotations

import traceback

from planner_core import Plan, PlanError
from planner_core.plan.file import plan_from_text
from planner_core.words.language import Phrase, in_words, say

from ..render import preview
from ..render.progress import Progress
from ..render.request import PreviewRequest
from .background_work import Tell
from .job_records import STILLS, Drawn, Failure, JobFile, PreviewTask, Said, read


def run(job: JobFile, tell: Tell) -> Drawn:
    """Draw a clip, with a contact sheet or without, or stills side by side."""
    task, plan = read(PreviewTask, job.task), plan_from_text(job.plan)

    def listen(now: Progress) -> None:
        tell(Said(progress=now))

    if task.make == STILLS:
        count = preview.render_contact(
            plan, task.shown, task.output, look=task.look, size=task.size, between=False, progress=listen
        )
        return Drawn(make=STILLS, output=task.output, frames=count)
    made = preview.render_preview(_request(plan, task), listen)
    if task.contact is not None:
        preview.render_contact(plan, task.shown, task.contact, look=task.look, progress=listen)
    width, height = made.size_px
    return Drawn(
        make=task.make,
        output=made.output,
        frames=len(made.frames),
        kept=made.kept,
        size=f"{width} × {height}",
        engine=made.engine,
    )


def _request(plan: Plan, task: PreviewTask) -> PreviewRequest:
    return PreviewRequest(
        plan=plan,
        output=task.output,
        look=task.look,
        frame_range=task.frame_range,
        every=task.every,
        jobs=task.jobs,
        size=task.size,
        title=task.title,
        burn_in=task.burn_in,
        beside=plan_from_text(task.beside) if task.beside is not None else None,
    )


def failure(job: JobFile, problem: Exception) -> Failure:
    """Why there is no clip, in the current language."""
    words = refusal_words(problem, job.task["output"])
    return Failure(problem=" ".join(words.split()), field=getattr(problem, "field", ""))


def refusal_words(problem: Exception, output: str) -> str:
    """What keeps the clip from being made, in the current language."""
    told = getattr(problem, "text", None)
    if isinstance(told, Phrase):
        return in_words(told)
    if isinstance(problem, PlanError):
        return str(problem)
    if isinstance(problem, OSError):
        return f"{problem.filename or output}: {in_words(problem.strerror or str(problem))}"
    traceback.print_exception(problem)
    return say("Blender can't draw this here: {why}", why=str(problem) or type(problem).__name__)
