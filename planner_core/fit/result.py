"""What a fit returns: each topic's solver gives a new plan, and says what changed and why."""

from __future__ import annotations

from attrs import frozen

from planner_core.plan.model import Plan


@frozen(kw_only=True)
class Fit:
    """A new plan, and sentences that say what changed, why, and what could not be met: phrases, to be said in
    the language of whoever shows them.
    """

    plan: Plan
    said: tuple[str, ...]
