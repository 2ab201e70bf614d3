"""Work of the core that is done beside the window, which goes on meanwhile: how far it is, and a way to stop
it.

The core alone runs there, on plans that can't change; nothing of Blender's is touched outside the window's
own thread, not even for the language to speak.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

from planner_core import PlanError

Result = TypeVar("Result")
Listener = Callable[[str], None]


BEGINS = "begins"  # what is told of work that has told nothing yet


class _Stopped(Exception):
    """Somebody asked for it."""


class ThreadJob(Generic[Result]):
    """One piece of work under way or done. `work` gets a listener, whom it tells now and then what it is
    doing.
    """

    def __init__(self, work: Callable[[Listener], Result], name: str = "duskrail") -> None:
        self.text = BEGINS
        self.result: Result | None = None
        self.problem: PlanError | None = None
        self.defect: Exception | None = None
        self._work, self._stop = work, threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def is_running(self) -> bool:
        """Whether it is still at work."""
        return self._thread.is_alive()

    @property
    def is_stopped(self) -> bool:
        """Whether somebody asked it to stop."""
        return self._stop.is_set()

    def stop(self) -> None:
        """Ask it to stop; it does at the next thing that it would tell."""
        self._stop.set()

    def wait(self, seconds: float | None = None) -> None:
        """Wait for its end."""
        self._thread.join(seconds)

    def _run(self) -> None:
        try:
            self.result = self._work(self._hear)
        except _Stopped:
            pass
        except PlanError as problem:
            self.problem = problem
        except Exception as defect:  # told in the window's thread, where it can be seen
            self.defect = defect

    def _hear(self, text: str) -> None:
        self.text = text
        if self._stop.is_set():
            raise _Stopped
