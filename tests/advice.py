"""A plan's advice for the tests: the finding of a code, with its remedies tried."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner_core import Finding, Plan, compute_frames, review


def advice(plan: Plan, code: str) -> Finding:
    """The one finding of this code in the whole review."""
    (found,) = (each for each in review(plan, compute_frames(plan)).findings if each.code == code)
    return found


def offered(plan: Plan, code: str, *paths: str) -> Mapping[str, Any]:
    """The changes of the first remedy for a finding that sets just these fields."""
    return next(remedy.changes for remedy in advice(plan, code).remedies if set(remedy.changes) == set(paths))
