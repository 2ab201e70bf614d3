"""A process in the background, at one job: started as a script by `background`, it reads what the job is, has
a module of `ui` do it, and writes what that says into a file, a line a record.

Until it knows where the packages are, it has only the standard library.
"""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from .job_records import Failure, JobFile, Said

PACKAGE = "duskrail_in_the_background"


class Tell(Protocol):
    """Whoever hears what the work says."""

    def __call__(self, said: Said) -> None: ...


class Work(Protocol):
    """A module that does a job: it returns its own record of what came of it."""

    def run(self, job: JobFile, tell: Tell) -> Any: ...

    def failure(self, job: JobFile, problem: Exception) -> Failure: ...


def run(job_file: str) -> int:
    """Do the job that a file describes; returns the exit code."""
    described = json.loads(Path(job_file).read_text(encoding="utf-8"))
    sys.path[:0] = [path for path in described["paths"] if path not in sys.path]
    _load_package()
    records = importlib.import_module(f"{PACKAGE}.ui.job_records")
    language = importlib.import_module("planner_core.words.language")
    job: JobFile = records.read(records.JobFile, described)
    work: Work = importlib.import_module(f"{PACKAGE}.ui.{job.work}")  # type: ignore[assignment]
    with job.said.open("a", encoding="utf-8") as file:

        def tell(said: Said) -> None:
            file.write(records.line(said))
            file.flush()

        try:
            made = work.run(job, tell)
        except KeyboardInterrupt:
            return 130
        except Exception as problem:
            with language.spoken(job.language):
                tell(records.Said(failed=work.failure(job, problem)))
            return 1
        tell(records.Said(done=records.plain(made)))
    return 0


def _load_package() -> None:
    """The add-on under a name of its own: it needn't be installed, nor on the path."""
    home = Path(__file__).resolve().parent.parent
    spec = importlib.util.spec_from_file_location(
        PACKAGE, home / "__init__.py", submodule_search_locations=[str(home)]
    )
    assert spec is not None
    assert spec.loader is not None
    sys.modules[PACKAGE] = package = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(package)


if __name__ == "__main__":
    code = run(sys.argv[-1])
    sys.stdout.flush()
    os._exit(code)  # Blender is slow to shut down, and there is nothing left to save
