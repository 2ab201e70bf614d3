"""The new verb: a first plan from a few facts. On a terminal it asks for what is missing, one by one."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from planner_core.begin.chooser import FirstPlan, first_plan
from planner_core.begin.clock import guess_zone
from planner_core.begin.facts import Facts, parse_event, parse_place, parse_thing
from planner_core.edit.edits import parse_date
from planner_core.plan.file import save_plan
from planner_core.plan.model import PlanError
from planner_core.plan.writing import is_stream
from planner_core.review.findings import Finding, sentences

from .files import say
from .outcome import DONE, UsageError
from .terminal import json_text

Read = TypeVar("Read")

# What can't be chosen for somebody, with an example of each
NEEDED = {"--at": "43.46,-3.79", "--on": "2027-03-14", "--subject": '"tower 262 160 20"'}


def run_new(arguments: argparse.Namespace) -> int:
    """Make the plan, write it, and say what was chosen."""
    output = Path(arguments.output)
    if output.exists() and not is_stream(output) and not arguments.overwrite:
        raise UsageError(f"new: {output} is there already; give another name, or add --overwrite")
    try:
        made = first_plan(_facts(arguments))
    except PlanError as problem:
        raise _by_option(problem) from None
    save_plan(made.plan, output)
    if arguments.json:
        say(json_text(_as_dict(made, arguments.output)), arguments.output)
    else:
        say("\n".join(_lines(made, arguments.output)), arguments.output)
    return DONE


# ---------------------------------------------------------------- facts


def _facts(arguments: argparse.Namespace) -> Facts:
    """The facts as given; on a terminal what is missing is asked for."""
    given = _read_options(arguments)
    missing = [option for option in NEEDED if given.get(option) is None]
    if missing and not _on_terminal():
        example = " ".join(f"{option} {NEEDED[option]}" for option in missing)
        *first, last = missing
        listed = f"{', '.join(first)} and {last} are" if first else f"{last} is"
        raise UsageError(f"new: {listed} missing; add {example}")
    if missing:
        _ask_for(given)
    latitude, longitude = given["--at"]
    return Facts(
        latitude_deg=latitude,
        longitude_deg=longitude,
        date=given["--on"],
        event=given["--event"],
        subject=given["--subject"],
        foreground=given["--foreground"],
        timezone=given["--zone"],
        focal_length_mm=given["--lens"],
        rail_m=given["--rail"],
    )


def _read_options(arguments: argparse.Namespace) -> dict[str, Any]:
    """Each option's value as read; None where it isn't given. Raises PlanError."""
    return {
        option: None if (text := getattr(arguments, option.strip("-"))) is None else read(text)
        for option, read in READERS.items()
    }


def _length(path: str, unit: str) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            value = float(text.strip().removesuffix(unit).strip())
        except ValueError:
            value = math.nan
        if not 0.0 < value < 1e6:
            raise PlanError(path, text, f"is not a length above 0; write it in {unit}, as in 24")
        return value

    return read


READERS: dict[str, Callable[[str], Any]] = {
    "--at": lambda text: parse_place(text, "--at"),
    "--on": lambda text: parse_date(text, "--on"),
    "--event": lambda text: parse_event(text, "--event"),
    "--subject": lambda text: parse_thing(text, "--subject"),
    "--foreground": lambda text: parse_thing(text, "--foreground"),
    "--lens": _length("--lens", "mm"),
    "--rail": _length("--rail", "m"),
    "--zone": str.strip,
}


def _by_option(problem: PlanError) -> PlanError:
    """The problem by the option that the fact was given with."""
    option = {"date": "--on"}.get(problem.path, f"--{problem.path}")
    return PlanError(option if option in READERS else problem.path or "new", problem.value, problem.expected)


# ---------------------------------------------------------------- asking


def _on_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def _ask_for(given: dict[str, Any]) -> None:
    """Ask for each fact that isn't given; an empty answer leaves it to be chosen, where it can be."""
    print("A few questions. Enter alone takes what stands in brackets; Ctrl C stops.", file=sys.stderr)
    for option, question in QUESTIONS.items():
        if given[option] is None:
            given[option] = _asked(question(given), READERS[option], needed=option in NEEDED)


def _zone_question(given: dict[str, Any]) -> str:
    latitude, longitude = given["--at"]
    guess = guess_zone(latitude, longitude, given["--on"])
    return f"In which time zone? [{guess.zone}]" + (f" (or {guess.rival}?)" if guess.rival else "")


QUESTIONS: dict[str, Callable[[dict[str, Any]], str]] = {
    "--at": lambda _: "Where do you stand? Latitude and longitude from a map, as 43.46,-3.79",
    "--on": lambda _: "On which date? As 2027-03-14",
    "--zone": _zone_question,
    "--event": lambda _: "Around which event? sunset, sunrise, civil_dusk … [sunset]",
    "--subject": lambda _: (
        "What is the subject? Name, true bearing, distance and height in metres, as tower 262 160 20"
    ),
    "--foreground": lambda _: (
        "What stands close to the rail? Name, true bearing and distance, as post 250 1.3 [a post]"
    ),
    "--lens": lambda _: "Which lens, in mm? [one that suits the subject's size]",
    "--rail": lambda _: "How far can the slider travel, in metres? [1.2]",
}


def _asked(question: str, read: Callable[[str], Read], *, needed: bool) -> Read | None:
    """The answer as read; asked again until it is one."""
    while True:
        print(f"{question}: ", end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        if not line:
            raise KeyboardInterrupt
        if not line.strip():
            if needed:
                continue
            return None
        try:
            return read(line.strip())
        except PlanError as problem:
            print(str(problem), file=sys.stderr)


# ---------------------------------------------------------------- words


def _lines(made: FirstPlan, output: str) -> list[str]:
    lines = [*made.said]
    warned = [finding for finding in made.findings if finding.level == "warn"]
    lines += [f"Look at: {_told(finding)}" for finding in warned]
    lines.append(f"Written to {output}.")
    return lines


def _told(finding: Finding) -> str:
    return sentences(finding).text


def _as_dict(made: FirstPlan, output: str) -> dict[str, Any]:
    return {
        "plan": output,
        "title": made.plan.title,
        "said": list(made.said),
        "findings": [
            {"code": finding.code, "level": finding.level, "message": sentences(finding).message}
            for finding in made.findings
        ],
    }
