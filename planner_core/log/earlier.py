"""An earlier log of the same site, as `log --json` wrote it, and what it says of a plan's fields."""

from __future__ import annotations

import datetime as dt
import json
import math
import os
from collections.abc import Iterator
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
        name = f" “{one_line(self.title)}”" if self.title else ""
        return f"From the log of{name} on {day_words(self.date, year=True)}, at this site"

    def fields(self, plan: Plan) -> dict[str, tuple[Learned, float | None]]:
        """Values that the log has for the plan's fields, each with the plan's own."""
        exposure, rig = plan.exposure, plan.rig
        own = {
            "shoot.cloud_divisor": plan.shoot.cloud_divisor,
            "exposure.artificial_ev100": exposure.artificial_ev100 if exposure is not None else None,
            "shoot.write_s": plan.shoot.write_s + rig.settle_s,
        }
        return {path: (value, own[path]) for path, value in self.learned.items()}

    def lines(self, plan: Plan) -> Iterator[str]:
        """What it says, a sentence a line."""
        words = {
            "shoot.cloud_divisor": "the light was that of cloud divisor {}",
            "exposure.artificial_ev100": "artificial light was EV {}",
            "shoot.write_s": "writing and settling took {} s",
        }
        for path, (value, own) in self.fields(plan).items():
            told = words[path].format(f"{value.value:.2f} ± {max(value.deviation, 0.005):.2f}")
            has = "nothing" if own is None else figure(own)
            off = own is None or abs(value.value - own) > max(WORTH_A_WORD[path], 2.0 * value.deviation)
            agrees = "" if off else ", which agrees"
            yield f"{told[0].upper()}{told[1:]}; this plan has {has}{agrees} ({path})."
        off_timer = self.interval_s / self.planned_interval_s - 1.0
        if abs(off_timer) > TIMER_OFF:
            own_s = plan.shoot.interval_s
            yield (
                f"An interval set to {self.planned_interval_s:g} s came every {self.interval_s:.3f} s: this "
                f"plan’s {own_s:g} s would be {own_s * (1.0 + off_timer):.3f} s."
            )
        if abs(self.clock_s) >= 1.0:
            side = "ahead" if self.clock_s > 0.0 else "behind"
            yield f"The camera’s clock was {to_the_second(abs(self.clock_s))} {side}: set it."
        if self.faults:
            told = ", ".join(f"{count} {FAULT_WORDS[kind]}" for kind, count in sorted(self.faults.items()))
            yield f"Among its frames were: {told}."

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


def load_log(path: str | os.PathLike[str], plan: Plan) -> EarlierLog:
    """A log from its JSON file. Raises PlanError where it is none, or of another site than the plan's."""
    document = _document(Path(path))
    try:
        log, away_m = _read(document, Path(path).name), _away_m(document, plan)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise PlanError(
            "--log", str(path), "is not a log; write one with: log FOLDER PLAN --json > LOG.json"
        ) from None
    if not away_m <= SAME_SITE_M:
        raise PlanError(
            "--log", str(path), f"is of a site {figure(away_m / 1000.0)} km away; lamps and clouds differ"
        )
    return log


def _document(path: Path) -> Any:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise PlanError("--log", str(path), "is too large for a log")
        return json.loads(path.read_bytes())
    except FileNotFoundError:
        raise PlanError("--log", str(path), "does not exist; check the name") from None
    except OSError as error:
        raise PlanError("--log", str(path), f"can't be read ({error.strerror or error})") from None
    except (ValueError, RecursionError) as error:
        if isinstance(error, PlanError):
            raise
        raise PlanError("--log", str(path), "is not JSON; write one with: log FOLDER PLAN --json") from None


def _away_m(document: Any, plan: Plan) -> float:
    site = document["site"]
    latitude, longitude = (as_number(site[name]) for name in ("latitude_deg", "longitude_deg"))
    east, north = enu_m(longitude, latitude, plan.site)
    return math.hypot(float(east), float(north))


def _read(document: Any, file: str) -> EarlierLog:
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
