"""Fits: what is left free in a plan, solved for. Each topic's solver returns a Fit: the new plan, and what changed and why."""

from __future__ import annotations

from attrs import frozen

from planner_core.plan import Plan


@frozen(kw_only=True)
class Fit:
    """A new plan, and sentences that say what changed, why, and what could not be met."""

    plan: Plan
    said: tuple[str, ...]
