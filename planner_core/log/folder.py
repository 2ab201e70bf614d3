"""A folder of frames as a log of its plan: everything that is read from the card, in one go."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from planner_core.log.card import read_card
from planner_core.log.report import Log, read_log
from planner_core.log.sequence import find_sequence
from planner_core.log.thumbnail import sampled_stops
from planner_core.plan.model import Plan, PlanError

Tell = Callable[[str, int, int], None]
FRAMES, THUMBNAILS = "frames", "thumbnails"


def log_of_folder(
    folder: str | os.PathLike[str], plan: Plan, clock_offset_s: float | None = None, tell: Tell | None = None
) -> Log:
    """The frames in a folder against the plan that they were shot by. Raises PlanError where there are none.

    tell hears now and then what is read (frames or thumbnails), how many are, and of how many; what it raises
    ends the reading.
    """
    hear: Tell = tell or (lambda _what, _done, _total: None)
    card = read_card(folder, lambda done, total: hear(FRAMES, done, total))
    shot = find_sequence(card, plan.shoot.interval_s)
    if shot is None:
        raise PlanError("folder", str(folder), "has no sequence of frames with times; are these of a shoot?")
    stops = sampled_stops(Path(folder), shot, lambda done, total: hear(THUMBNAILS, done, total))
    return read_log(plan, shot, clock_offset_s, stops)
