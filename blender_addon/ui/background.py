"""Work given to a process of its own while the photographer goes on: started, watched and stopped.

What the other process has to say it writes into a file, a JSON record a line, in the language of whoever
asked: its words go along with the task.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from planner_core.words import language
from planner_core.words.language import say

PROGRESS, DONE, FAILED = "progress", "done", "failed"
STOP_WITHIN_S = 5.0


class BackgroundJob:
    """A script at work on a plan, with the last thing it said."""

    def __init__(self, script: Path, plan_text: str, task: dict[str, Any]) -> None:
        import bpy

        from ..render.jobs import search_paths

        spoken = language.current()
        self.folder = Path(tempfile.mkdtemp(prefix="duskrail-"))
        self.said = self.folder / "said.txt"
        described = self.folder / "task.json"
        (self.folder / "now.plan.json").write_text(plan_text, encoding="utf-8")
        described.write_text(
            json.dumps(
                {
                    "plan": str(self.folder / "now.plan.json"),
                    "said": str(self.said),
                    "paths": search_paths(),
                    "language": {"code": spoken.code, "catalogue": dict(spoken.catalogue)},
                    **task,
                }
            ),
            encoding="utf-8",
        )
        command = (
            [
                bpy.app.binary_path,
                "--background",
                "--factory-startup",
                "--python-exit-code",
                "1",
                "--python",
                str(script),
                "--",
            ]
            if bpy.app.binary_path
            else [sys.executable, "-I", str(script)]
        )
        self.log = (self.folder / "log.txt").open("w", encoding="utf-8")
        self.process = subprocess.Popen(
            [*command, str(described)], stdin=subprocess.DEVNULL, stdout=self.log, stderr=subprocess.STDOUT
        )
        self.progress: dict[str, Any] = {}
        self.result: dict[str, Any] | None = None
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
                    self._take(json.loads(line))
        if ended and self.is_running():
            self.problem = say("Blender quit in the background: {last}", last=self._last_words())
        if not self.is_running():
            self.close()
        return self.is_running()

    def _take(self, record: dict[str, Any]) -> None:
        kind = record.pop("kind")
        if kind == PROGRESS:
            self.progress = record
        elif kind == DONE:
            self.result = record
        elif kind == FAILED:
            self.problem = self.worded(record)

    def worded(self, record: dict[str, Any]) -> str:
        """What a failure's record says."""
        return str(record["problem"])

    @property
    def done_fraction(self) -> float:
        """How much is done, 0 to 1."""
        total = self.progress.get("total", 0)
        return self.progress["done"] / total if total else 0.0

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
