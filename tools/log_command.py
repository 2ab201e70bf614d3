"""The log verb: the frames on a card read against the plan they were shot by."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from planner_core.plan.file import load_plan, save_plan
from planner_core.plan.text import one_line

from .files import deliver, say
from .outcome import DONE
from .terminal import StatusLine, json_text


def run_log(arguments: argparse.Namespace) -> int:
    """Read the card, tell what was shot, and teach a plan where one is named."""
    from planner_core.log.folder import log_of_folder
    from planner_core.log.learn import taught
    from planner_core.log.report import ended, log_dict, log_lines
    from planner_core.output.log_page import log_page

    plan = load_plan(arguments.plan)
    status = StatusLine(quiet_s=2.0, silent=arguments.quiet)

    def tell(what: str, done: int, total: int) -> None:
        status.show(f"{done} of {total} {what} read", share=done / max(total, 1), of=what)

    try:
        log = log_of_folder(arguments.folder, plan, arguments.clock_offset, tell)
    finally:
        status.end()
    if arguments.output:
        deliver(log_page(log), arguments.output)
    if arguments.new_plan:
        save_plan(taught(plan, log.learned, one_line(Path(arguments.folder).name)), arguments.new_plan)
    written = [path for path in (arguments.output, arguments.new_plan) if path]
    if arguments.json:
        say(json_text(log_dict(log)), arguments.output)
    else:
        lines = [ended(sentence) for sentence in log_lines(log)] + [f"Written to {path}." for path in written]
        say("\n".join(lines), arguments.output)
    return DONE


def clock_offset(text: str) -> float:
    """Seconds of an offset as --clock-offset takes it: 197, -3600 or +1:03:17. Raises ArgumentTypeError."""
    match = re.fullmatch(r"([+-]?)(?:(\d{1,2}):)?(\d{1,2}):(\d{1,2}(?:\.\d+)?)", text.strip())
    try:
        if match is None:
            seconds = float(text)
        else:
            seconds = 3600.0 * int(match[2] or 0) + 60.0 * int(match[3]) + float(match[4])
            seconds = -seconds if match[1] == "-" else seconds
    except ValueError:
        seconds = float("nan")
    if not abs(seconds) <= 400 * 86400.0:
        raise argparse.ArgumentTypeError(
            f"{text} is not an offset; write how far the camera is ahead, in seconds or as +H:MM:SS"
        )
    return seconds
