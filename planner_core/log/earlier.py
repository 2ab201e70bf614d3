"""An earlier log of the same site, as `log --json` wrote it, and what it says of a plan's fields."""

from __future__ import annotations

import datetime as dt
import json
import math
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from attrs import frozen

from planner_core.log.learn import Learned
from planner_core.log.report import FAULT_WORDS
from planner_core.place.footprints import enu_m
from planner_core.plan.model import Plan, PlanError, as_number
from planner_core.plan.text import one_line
from planner_core.words.dates import day_words
from planner_core.words.durations import to_the_second
from planner_core.words.figures import figure
from planner_core.words.language import say

SAME_SITE_M = 2000.0  # lamps and cloud of the next village are others (common practice, no source)
MOST_BYTES = 20_000_000
WORTH_A_WORD = {"shoot.cloud_divisor": 0.1, "exposure.artificial_ev100": 0.2, "shoot.write_s": 0.2}
TIMER_OFF = 0.0005  # of the interval: over an hour it is two seconds


@frozen(kw_only=True)
class EarlierLog:
    """What a log said: learned values by the plan's field they belong to, and how camera and timer ran.

    shoot.write_s stands for writing and settling together; clock_s is how far the camera's clock was ahead,
    beside its zone; interval_s and planned_interval_s are the real and the set interval.
    """

    file: str
    title: str
    date: dt.date
    learned: dict[str, Learned]
    clock_s: float
    interval_s: float
    planned_interval_s: float
    faults: dict[str, int]

    @property
    def heading(self) -> str:
        """Which log it is."""
        day = day_words(self.date, year=True)
        if not self.title:
            return say("From the log of {day}, at this site", day=day)
        return say("From the log of “{title}” on {day}, at this site", title=one_line(self.title), day=day)

    def fields(self, plan: Plan) -> dict[str, tuple[Learned, float | None]]:
        """Values that the log has for the plan's fields, each with the plan's own."""
        exposure, rig = plan.exposure, plan.rig
        own = {
            "shoot.cloud_divisor": plan.shoot.cloud_divisor,
            "exposure.artificial_ev100": exposure.artificial_ev100 if exposure is not None else None,
            "shoot.write_s": plan.shoot.write_s + rig.settle_s,
        }
        return {path: (value, own[path]) for path, value in self.learned.items()}

    def lines(self, plan: Plan, field: Callable[[str], str] = str) -> Iterator[str]:
        """What it says, a sentence a line; field names the plan's fields by their paths."""
        words = {
            "shoot.cloud_divisor": "The light was that of cloud divisor {value}",
            "exposure.artificial_ev100": "Artificial light was EV {value}",
            "shoot.write_s": "Writing and settling took {value} s",
        }
        for path, (value, own) in self.fields(plan).items():
            told = say(words[path], value=f"{value.value:.2f} ± {max(value.deviation, 0.005):.2f}")
            has = say("nothing") if own is None else figure(own)
            off = own is None or abs(value.value - own) > max(WORTH_A_WORD[path], 2.0 * value.deviation)
            differs, agrees = (
                "{told}; this plan has {has} ({field}).",
                "{told}; this plan has {has}, which agrees ({field}).",
            )
            yield say(differs if off else agrees, told=told, has=has, field=field(path))
        off_timer = self.interval_s / self.planned_interval_s - 1.0
        if abs(off_timer) > TIMER_OFF:
            own_s = plan.shoot.interval_s
            yield say(
                "An interval set to {planned_s:g} s came every {real_s:.3f} s: this plan’s {own_s:g} s "
                "would be {own_real_s:.3f} s.",
                planned_s=self.planned_interval_s,
                real_s=self.interval_s,
                own_s=own_s,
                own_real_s=own_s * (1.0 + off_timer),
            )
        if abs(self.clock_s) >= 1.0:
            ahead, behind = (
                "The camera’s clock was {time} ahead: set it.",
                "The camera’s clock was {time} behind: set it.",
            )
            yield say(ahead if self.clock_s > 0.0 else behind, time=to_the_second(abs(self.clock_s)))
        if self.faults:
            told = ", ".join(_count_text(kind, count) for kind, count in sorted(self.faults.items()))
            yield say("Among its frames were: {faults}.", faults=told)

    def as_dict(self, plan: Plan) -> dict[str, Any]:
        """The same as plain values."""
        return {
            "file": self.file,
            "title": self.title,
            "date": self.date.isoformat(),
            "fields": {
                path: {"log": value.value, "deviation": value.deviation, "plan": own}
                for path, (value, own) in self.fields(plan).items()
            },
            "said": list(self.lines(plan)),
        }


def _count_text(kind: str, count: int) -> str:
    """12 missing."""
    words = {
        "dropped": "{count} missing",
        "doubled": "{count} there twice",
        "late": "{count} late",
        "cut-off": "{count} cut off",
        "turned": "{count} turned unlike the rest",
        "stranger": "{count} not of this sequence",
    }
    return say(words[kind], count=count)


def load_log(path: str | os.PathLike[str], plan: Plan) -> EarlierLog:
    """A log from its JSON file. Raises PlanError where it is none, or of another site than the plan's."""
    document = read_document(Path(path), "--log")
    try:
        log, away = earlier_log(document, Path(path).name), away_m(document, plan)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise PlanError(
            "--log", str(path), "is not a log; write one with: log FOLDER PLAN --json > LOG.json"
        ) from None
    if not away <= SAME_SITE_M:
        raise PlanError(
            "--log",
            str(path),
            "is of a site {away} km away; lamps and clouds differ",
            away=figure(away / 1000.0),
        )
    return log


def read_document(path: Path, named: str) -> Any:
    """What a log's JSON file holds. Raises PlanError, in which it is called so."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise PlanError(named, str(path), "is too large for a log")
        return json.loads(path.read_bytes())
    except FileNotFoundError:
        raise PlanError(named, str(path), "does not exist; check the name") from None
    except OSError as error:
        raise PlanError(named, str(path), "can't be read ({why})", why=error.strerror or error) from None
    except (ValueError, RecursionError) as error:
        if isinstance(error, PlanError):
            raise
        raise PlanError(named, str(path), "is not JSON; write one with: log FOLDER PLAN --json") from None


def away_m(document: Any, plan: Plan) -> float:
    """How far from a plan's site a log is. Raises KeyError, TypeError or ValueError for what is none."""
    site = document["site"]
    latitude, longitude = (as_number(site[name]) for name in ("latitude_deg", "longitude_deg"))
    east, north = enu_m(longitude, latitude, plan.site)
    return math.hypot(float(east), float(north))


def earlier_log(document: Any, file: str) -> EarlierLog:
    """A log from its plain values, as the file of that name has them. Raises KeyError, TypeError or
    ValueError for what is none.
    """
    learned = document["learned"]
    paths = {
        "cloud_divisor": "shoot.cloud_divisor",
        "artificial_ev100": "exposure.artificial_ev100",
        "overhead_s": "shoot.write_s",
    }
    interval = document["interval"]
    faults: dict[str, int] = {}
    for fault in document["faults"]:
        kind = fault["kind"]
        if kind not in FAULT_WORDS:
            raise ValueError(kind)
        first, last = fault["frames"] or (1, 1)
        faults[kind] = faults.get(kind, 0) + int(last) - int(first) + 1
    planned = as_number(interval["planned_s"])
    if planned <= 0.0:
        raise ValueError(planned)
    return EarlierLog(
        file=file,
        title=str(document["title"]),
        date=dt.date.fromisoformat(document["date"]),
        learned={
            path: Learned(
                value=as_number(learned[name]["value"]), deviation=as_number(learned[name]["deviation"])
            )
            for name, path in paths.items()
            if learned.get(name) is not None
        },
        clock_s=as_number(document["clock"]["error_s"]),
        interval_s=as_number(interval["seconds"]),
        planned_interval_s=planned,
        faults=faults,
    )
