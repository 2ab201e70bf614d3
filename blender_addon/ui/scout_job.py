"""The search for a shot, in a process of its own, and what it has found so far."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.words.language import say

from .background import BackgroundJob

WORK = Path(__file__).resolve().with_name("scout_work.py")
STAGES = {
    "places": "Places",
    "framings": "Framings",
    "moves": "Moves",
    "reviews": "Reviews",
    "evenings": "Evenings",
    "done": "Done",
}


@frozen(kw_only=True, eq=False)
class Shown:
    """What there is to see of a search: places (n, 3) in the scene, what each is worth (n,), and finds.

    evenings are those of a search over dates, each with its best find, from 0; without counts the dates that
    have no such event.
    """

    places_m: NDArray[np.float64]
    worth: NDArray[np.float64]
    cell_m: float
    planned: float
    remark: str
    finds: tuple[dict[str, Any], ...]
    evenings: tuple[dict[str, Any], ...] = ()
    without: int = 0


class ScoutJob(BackgroundJob):
    """One search under way, or done."""

    def __init__(self, plan_text: str, options: dict[str, Any]) -> None:
        self.shown: Shown | None = None
        super().__init__(WORK, plan_text, options)

    def _take(self, record: dict[str, Any]) -> None:
        """Keep what is shown until something better comes."""
        if "places_m" in record:
            self.shown = Shown(
                places_m=np.array(record.pop("places_m"), dtype=np.float64).reshape(-1, 3),
                worth=np.array(record.pop("worth"), dtype=np.float64),
                cell_m=record.pop("cell_m"),
                planned=record.pop("planned"),
                remark=record.pop("remark"),
                finds=tuple(record.pop("finds")),
                evenings=tuple(record.pop("evenings", ())),
                without=record.pop("without", 0),
            )
        super()._take(record)

    @property
    def text(self) -> str:
        """How far it is, in words."""
        now = self.progress
        if not now:
            return say("Starting the search")
        best = self.shown.finds[0]["points"] if self.shown and self.shown.finds else None
        done = {"stage": say(STAGES[now["stage"]]), "done": now["done"], "total": now["total"]}
        if best is None:
            return say("{stage}: {done} of {total}", **done)
        return say("{stage}: {done} of {total}, best {best:.0f}", best=best, **done)
