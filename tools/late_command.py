"""The late verb: what of a plan can still be shot from now on."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from planner_core.plan.file import load_plan, save_plan

from .files import deliver, refuse_input, say
from .outcome import DONE
from .terminal import json_text


def run_late(arguments: argparse.Namespace) -> int:
    """Rank what can be saved, and tell the numbers to set by hand."""
    from planner_core.fit.late import now_utc_s, rescues
    from planner_core.output.late_page import late_dict, late_lines, late_page

    plan = load_plan(arguments.plan)
    ranked = rescues(plan, now_utc_s(plan, arguments.now), arguments.have)
    if arguments.output:
        deliver(late_page(plan.title, ranked), arguments.output)
    written = [arguments.output] if arguments.output else []
    if arguments.write:
        folder = Path(arguments.write)
        files = [folder / f"{one.kind}.plan.json" for one in ranked]
        for path in files:
            refuse_input("--write", path, [("the plan", Path(arguments.plan))])
        folder.mkdir(parents=True, exist_ok=True)
        for path, one in zip(files, ranked, strict=True):
            save_plan(one.plan, path)
        written += [str(path) for path in files]
    if arguments.json:
        say(json_text(late_dict(ranked)), arguments.output)
    else:
        say("\n".join((*late_lines(ranked), *(f"Written to {path}." for path in written))), arguments.output)
    return DONE


def length_s(text: str) -> float:
    """A length of time: 75min, 1h15, 1:15 or 4500 s. Raises ArgumentTypeError."""
    words = text.strip().lower().replace(" ", "")
    match = (
        re.fullmatch(r"(?:(\d+(?:\.\d+)?)h)?(?:(\d+(?:\.\d+)?)(?:min|m)?)?", words)
        if re.search(r"[hm]", words)
        else re.fullmatch(r"(\d+):(\d{2})", words)
    )
    seconds = 0.0
    if match is not None:
        seconds = 3600.0 * float(match[1] or 0.0) + 60.0 * float(match[2] or 0.0)
    elif re.fullmatch(r"\d+(?:\.\d+)?s", words):
        seconds = float(words[:-1])
    if not 0.0 < seconds <= 86400.0:
        raise argparse.ArgumentTypeError(
            f"{text} is not a length of time up to a day; write it as 75min or 1h15"
        )
    return seconds
