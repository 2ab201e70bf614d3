"""Findings about the rig."""

from __future__ import annotations

from typing import Any

from planner_core.findings import Finding
from planner_core.frames import FrameTable
from planner_core.plan import Plan


def review_topic(plan: Plan, frames: FrameTable) -> tuple[list[Finding], dict[str, Any]]:
    """Findings and summary numbers of this topic."""
    return [], {}
