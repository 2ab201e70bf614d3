"""An edited scene back into a plan."""

from __future__ import annotations

import os

from planner_core.plan import Plan


class ReadbackError(RuntimeError):
    """Why a scene has no plan to read back, in one line."""


def read_plan(blend: str | os.PathLike[str]) -> Plan:
    """The plan in a .blend file, with the edits made to its scene."""
    raise ReadbackError("not yet")
