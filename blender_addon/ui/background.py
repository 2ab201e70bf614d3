"""Work given to a process of its own while the photographer goes on: started, watched and stopped.

What passes to it and back is in `job_records`; what runs there is `background_work`.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any, Generic, TypeVar

from planner_core.words import language
from planner_core.words.language import say

from .. import own_process
from ..render.progress import Progress
from .job_records import Failure, JobFile, Said, plain, read

STOP_WITHIN_S = 5.0

Made = TypeVar("Made")


class BackgroundJob(Generic[Made]):
    """A module of `ui` at work on a plan, with the last thing it said; what comes of it is a record of the
    kind `made`.
    """

    def __init__(self, work: str, plan_text: str, task: Any, made: type[Made]) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="duskrail-"))
        self.said = self.folder / "said.txt"
        self._made = made
        described = self.folder / "job.json"
        job = JobFile(
            work=work,
            task=plain(task),
            plan=plan_text,
            said=self.said,
            language=language.current(),
        )
        described.write_text(json.dumps(plain(job)), encoding="utf-8")
        self.log = (self.folder / "log.txt").open("w", encoding="utf-8")
        self.process = subprocess.Popen(
            own_process.command("ui.background_work", str(described)),
            stdin=subprocess.DEVNULL,
            stdout=self.log,
            stderr=subprocess.STDOUT,
        )
        self.progress: Progress | None = None
        self.result: Made | None = None
        self.problem = ""
        self.stopped = False
        self._heard = 0  # bytes of what it said

    def is_running(self) -> bool:
        """Whether it is still running."""
        return self.result is None and not self.problem and not self.stopped

    def look(self) -> bool:
        """Read what it has reported since; returns whether it is still running."""
        if not self.is_running():
            return False
        ended = self.process.poll() is not None  # checked first, so that its last message isn't missed
        with contextlib.suppress(OSError), self.said.open("rb") as said:
            said.seek(self._heard)
            for line in said.read().splitlines(keepends=True):
                if line.endswith(b"\n"):  # the last one may be half written
                    self._heard += len(line)
                    self._take(read(Said, json.loads(line)))
        if ended and self.is_running():
            self.problem = say("Blender quit in the background: {last}", last=self._last_words())
        if not self.is_running():
            self.close()
        return self.is_running()

    def _take(self, said: Said) -> None:
        if said.progress is not None:
            self.progress = said.progress
        if said.done is not None:
            self.result = read(self._made, said.done)
        if said.failed is not None:
            self.problem = self.worded(said.failed)

    def worded(self, failure: Failure) -> str:
        """What went wrong, in a sentence."""
        return failure.problem

    @property
    def done_fraction(self) -> float:
        """How much is done, 0 to 1."""
        now = self.progress
        return now.done / now.total if now is not None and now.total else 0.0

    def _last_words(self) -> str:
        self.log.flush()
        lines = [
            line
            for line in (self.folder / "log.txt").read_text("utf-8", "replace").splitlines()
            if line.strip()
        ]
        return lines[-1][:200] if lines else say("exit code {code}", code=self.process.returncode)

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
