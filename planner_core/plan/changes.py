"""Changes to a plan by the paths of its file, such as `{"move.poses[1].pan_deg": 271.5}`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.plan.model import Plan, PlanError

_STEP = re.compile(r"[^.\[\]]+|\[\d+\]")


def changed(plan: Plan, changes: Mapping[str, Any]) -> Plan:
    """The plan with fields set by path, checked as if it had been read from a file.

    None empties an optional field; an anchor or start may be replaced whole, and takes the other's place.
    Raises PlanError for a path that doesn't exist or a value that the plan can't have.
    """
    document = plan_to_dict(plan)
    for path, value in changes.items():
        _set(document, path, value)
    return plan_from_dict(document)


def _set(document: dict[str, Any], path: str, value: Any) -> None:
    steps = [int(step[1:-1]) if step.startswith("[") else step for step in _STEP.findall(path)]
    holder: Any = document
    for step in steps[:-1]:
        if isinstance(step, str):
            holder.setdefault(step, {})
        elif step >= len(holder):
            raise PlanError(path, value, "has no such place in the plan")
        holder = holder[step]
    last: Any = steps[-1]
    if value is None and isinstance(holder, dict):
        holder.pop(last, None)
    else:
        holder[last] = value
    if path in ("shoot.anchor", "shoot.start") and value is not None:
        holder.pop("start" if last == "anchor" else "anchor", None)
