"""What no string that people read may say, for the tests that walk those strings."""

from __future__ import annotations

import random
import re

from planner_core import PlanError, compute_frames
from planner_core.plan.file import plan_from_dict
from planner_core.review.assess import assess
from planner_core.review.findings import Review
from tools.advice_cases import planted

BANNED = (
    "can't be meant",
    "to be meant",
    "nothing to say against",
    "what it is about",
    "judge it",
    "take the plan out",
    "draw anew",
    "gives first",
    "on its way",
    "scene looks to",
    "runs to",
    "what findings call",
    "empty: what it is",
    "as wide as it is long",
    "that no number supports",
    "declination off",
    "take yours off",
    "so many minutes later than",
    "need not be used",
)
PLAN_FIELD = re.compile(
    r"\b(site|camera|clip|rig|move|shoot|exposure|composition|blocks)(\[\d+\])?\.[a-z]+(_[a-z0-9]+)*\b"
    r"|\b[a-z]+_(m|mm|deg|s|px|lux|stops|ev100)\b"
)


def faults(text: str, *, sentence: bool = False, in_sidebar: bool = False) -> list[str]:
    """What is wrong with a text as people read it: nothing, for most."""
    small = text.lower()
    found = [f"says “{words}”" for words in BANNED if words in small]
    if re.search(r"\S  +\S", text):
        found.append("has a doubled space")
    if re.search(r"\s[,;]|\s\.(?=\s|$)|\.\.(?!\.)|;\.|,\.", text):
        found.append("has odd punctuation")
    if sentence and text and not text.rstrip("”)").endswith((".", "?", "!", "…")):
        found.append("has no full stop")
    if in_sidebar and PLAN_FIELD.search(text):
        found.append("names a field of the plan file")
    return found


def reviews(count: int) -> list[Review]:
    """So many random plans with something planted in each, looked over; without any that can't be read."""
    rng = random.Random(20)
    found: list[Review] = []
    while len(found) < count:
        document = planted(rng)
        document["shoot"]["frames"] = min(document["shoot"]["frames"], 60)
        try:
            plan = plan_from_dict(document)
        except PlanError:
            continue
        found.append(assess(plan, compute_frames(plan)))
    return found
