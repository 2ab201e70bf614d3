"""A job in the background: what the process does that `background` starts. It reads what the job is, has a
module of `ui` do it, and writes what that says into a file, a line a record.
"""

from __future__ import annotations

import importlib
import json
from pathlib import Path
from typing import Any, Protocol

from planner_core.words import language

from .job_records import Failure, JobFile, Said, line, plain, read


class Tell(Protocol):
    """Whoever hears what the work says."""

    def __call__(self, said: Said) -> None: ...


class Work(Protocol):
    """A module that does a job: it returns its own record of what came of it."""

    def run(self, job: JobFile, tell: Tell) -> Any: ...

    def failure(self, job: JobFile, problem: Exception) -> Failure: ...


def main(job_file: str) -> int:
    """Do the job that a file describes; returns the exit code."""
    job = read(JobFile, json.loads(Path(job_file).read_text(encoding="utf-8")))
    work: Work = importlib.import_module(f".{job.work}", __package__)  # type: ignore[assignment]
    with job.said.open("a", encoding="utf-8") as file:

        def tell(said: Said) -> None:
            file.write(line(said))
            file.flush()

        try:
            made = work.run(job, tell)
        except Exception as problem:
            with language.spoken(job.language):
                tell(Said(failed=work.failure(job, problem)))
            return 1
        tell(Said(done=plain(made)))
    return 0
