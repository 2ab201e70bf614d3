"""Changes to a plan by the paths of its file, such as `{"move.poses[1].pan_deg": 271.5}`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import attrs

from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.plan.model import Plan, PlanError

Changes = dict[str, Any]  # fields of a plan to set, each by its path
Step = str | int

_STEP = re.compile(r"[^.\[\]]+|\[\d+\]")


def changed(plan: Plan, changes: Mapping[str, Any]) -> Plan:
    """The plan with fields set by path, checked as if it had been read from a file.

    None empties an optional field; an anchor or start may be replaced whole, and takes the other's place.
    Raises PlanError for a path that doesn't exist or a value that the plan can't have. Parts that come out
    equal are those of the plan itself, so that what is known of them is known of the new plan too.
    """
    apart = not any(path.startswith("blocks") for path in changes)  # of which there are hundreds
    document = plan_to_dict(attrs.evolve(plan, blocks=()) if apart else plan)
    for path, value in changes.items():
        _set(document, path, value)
    new = plan_from_dict(document)
    if apart:
        new = attrs.evolve(new, blocks=plan.blocks)
    kept = {
        name: old
        for name in ("site", "camera", "clip", "rig", "composition", "blocks")
        if getattr(new, name) == (old := getattr(plan, name))
    }
    return attrs.evolve(new, **kept)


def steps_of(path: str) -> list[Step]:
    """`move.poses[2].at` as ["move", "poses", 2, "at"]."""
    return [int(step[1:-1]) if step.startswith("[") else step for step in _STEP.findall(path)]


def value_at(plan: Plan, path: str) -> Any:
    """What a plan has at a path, None where it has nothing there: a number, a word, a part."""
    holder: Any = plan
    for step in steps_of(path):
        if holder is None:
            return None
        holder = holder[step] if isinstance(step, int) else getattr(holder, step)
    return holder


def differences(before: Plan, after: Plan) -> Changes:
    """The changes that make the plan after of the plan before, by path; a list that is longer or shorter is
    replaced whole.
    """
    changes = _differences(plan_to_dict(before), plan_to_dict(after), "")
    # one that takes the other's place empties it
    return {path: value for path, value in changes.items() if not _takes_its_place(path, changes)}


def _takes_its_place(path: str, changes: Mapping[str, Any]) -> bool:
    other = {"shoot.anchor": "shoot.start", "shoot.start": "shoot.anchor"}.get(path)
    return other is not None and changes[path] is None and changes.get(other) is not None


def _differences(old: Any, new: Any, path: str) -> Changes:
    changes: Changes = {}
    if isinstance(old, dict) and isinstance(new, dict):
        for name in dict.fromkeys((*old, *new)):
            inner = f"{path}.{name}" if path else name
            if old.get(name) != new.get(name):
                changes |= _differences(old.get(name), new.get(name), inner)
        return changes
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new) and _parts(new):
        for index, pair in enumerate(zip(old, new, strict=True)):
            if pair[0] != pair[1]:
                changes |= _differences(*pair, f"{path}[{index}]")
        return changes
    return {path: new}


def _parts(values: list[Any]) -> bool:
    return all(isinstance(value, dict) for value in values)


def _set(document: dict[str, Any], path: str, value: Any) -> None:
    steps = steps_of(path)
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
