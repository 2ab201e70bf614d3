"""A log as it is kept beside a plan: read from the frames themselves, or from what `log --json` wrote."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from attrs import frozen

from planner_core.log.card import PHOTOGRAPHS
from planner_core.log.curve import Curve, curve_of
from planner_core.log.earlier import SAME_SITE_M, EarlierLog, away_m, earlier_log, read_document
from planner_core.log.folder import Tell, log_of_folder
from planner_core.log.learn import Learned, Lessons
from planner_core.log.report import log_dict
from planner_core.plan.model import Plan, PlanError, as_number
from planner_core.words.figures import figure

NAMED = "log"


def log_text(path: str | os.PathLike[str], plan: Plan, tell: Tell | None = None) -> str:
    """The log in a JSON file, or of the frames in a folder, as text to keep. Raises PlanError.

    A photograph stands for the folder that it is in. tell is as for log_of_folder.
    """
    named = Path(path)
    if named.suffix.lower()[1:] in PHOTOGRAPHS and not named.is_dir():
        named = named.parent
    is_folder = named.is_dir()
    document = log_dict(log_of_folder(named, plan, tell=tell)) if is_folder else _written(named, plan)
    return json.dumps({**document, "source": str(named)}, ensure_ascii=False, separators=(",", ":"))


def _written(path: Path, plan: Plan) -> dict[str, Any]:
    document = read_document(path, NAMED)
    try:
        kept_log(json.dumps({**document, "source": str(path)}))
        away = away_m(document, plan)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise PlanError(
            NAMED,
            str(path),
            "has no exposures of frames; write it with: log FOLDER PLAN --json > LOG.json",
        ) from None
    if not away <= SAME_SITE_M:
        raise PlanError(
            NAMED,
            str(path),
            "is of a site {away} km away; open that of this plan",
            away=figure(away / 1000.0),
        )
    known: dict[str, Any] = document
    return known


@frozen(kw_only=True, eq=False)
class KeptLog:
    """A kept log: where it was read, its exposures, what it says of a plan at its site, and what it
    teaches.
    """

    source: str
    curve: Curve
    said: EarlierLog
    learned: Lessons


def kept_log(text: str) -> KeptLog:
    """The log in the text of one. Raises ValueError where it is none."""
    try:
        document = json.loads(text)
        source = str(document["source"])
        return KeptLog(
            source=source,
            curve=curve_of(document),
            said=earlier_log(document, Path(source).name),
            learned=_lessons(document["learned"]),
        )
    except (KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"not a log ({type(error).__name__})") from None


def _lessons(learned: Any) -> Lessons:
    def value(name: str) -> Learned | None:
        said = learned.get(name)
        if said is None:
            return None
        return Learned(value=as_number(said["value"]), deviation=as_number(said["deviation"]))

    interval = value("interval_s")
    if interval is None:
        raise ValueError("no interval")
    return Lessons(
        interval_s=interval,
        cloud_divisor=value("cloud_divisor"),
        artificial_ev100=value("artificial_ev100"),
        overhead_s=value("overhead_s"),
    )
