"""The evening verb: several plans in one evening, as one timetable with a map, lists and a calendar."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from planner_core.plan.file import load_plan, save_plan
from planner_core.plan.model import PlanError
from planner_core.plan.writing import check_writable, is_same_file, is_stream, write_atomically

from .files import deliver, inputs_of, refuse_input, say
from .outcome import DONE, UsageError
from .terminal import StatusLine, json_text


def run_evening(arguments: argparse.Namespace) -> int:
    """Solve the evening, and write what was asked for."""
    from planner_core.evening.shots import Terms, read_shots
    from planner_core.fit.evening import Evening, solve_evening
    from planner_core.output.evening.calendar import evening_ics_bytes
    from planner_core.output.evening.words import evening_dict, evening_lines

    paths = [Path(path) for path in arguments.plans]
    _check_once(paths)
    plans = []
    for path in paths:
        try:
            plans.append(load_plan(path))
        except PlanError as error:
            raise PlanError(f"{path.name}: {error.path}", error.value, error.expected) from None
    shots = read_shots(plans, [path.name for path in paths])
    sheets = _sheet_files(arguments, paths)
    written = _plan_files(arguments, paths)
    terms = Terms(
        people=arguments.people,
        pace_m_s=arguments.pace / 3.6,
        detour=arguments.detour,
        pack_s=arguments.pack,
        balance=arguments.balance,
        shift_s=arguments.shift,
    )
    status = StatusLine(quiet_s=5.0)
    try:
        evening: Evening = solve_evening(shots, terms, status.show)
        if arguments.output:
            _write_page(evening, arguments.output, sheets)
    finally:
        status.end()
    if arguments.ics:
        write_atomically(Path(arguments.ics), evening_ics_bytes(evening))
    if written:
        Path(arguments.write).mkdir(parents=True, exist_ok=True)
        for shot, path in zip(evening.shots, written, strict=True):
            save_plan(shot.plan, path)
    if arguments.json:
        say(json_text(evening_dict(evening)), arguments.output)
    else:
        names = (arguments.output, *map(str, sheets), arguments.ics, *map(str, written))
        lines = (*evening_lines(evening), "", *(f"Written to {name}." for name in names if name))
        say("\n".join(lines).rstrip(), arguments.output)
    return DONE


def _check_once(paths: list[Path]) -> None:
    """Raise UsageError where a plan stands there twice."""
    for index, path in enumerate(paths):
        if any(is_same_file(path, other) for other in paths[:index]):
            raise UsageError(f"evening: {path} is given twice; name each shot's plan once")


def _sheet_files(arguments: argparse.Namespace, paths: list[Path]) -> list[Path]:
    """Where each shot's own sheet goes: beside the evening's; nowhere, where that is no file."""
    if not arguments.output or is_stream(Path(arguments.output)):
        return []
    page = Path(arguments.output)
    files = [
        page.with_name(f"{page.stem}-{number}-{_plain(path)}.html")
        for number, path in enumerate(paths, start=1)
    ]
    for path in files:
        refuse_input("-o", path, inputs_of(arguments))
        check_writable(path)
    return files


def _plan_files(arguments: argparse.Namespace, paths: list[Path]) -> list[Path]:
    if not arguments.write:
        return []
    folder = Path(arguments.write)
    files = [folder / f"{number}-{_plain(path)}.plan.json" for number, path in enumerate(paths, start=1)]
    for path in files:
        refuse_input("--write", path, inputs_of(arguments))
    return files


def _plain(path: Path) -> str:
    """A plan file's name as a part of another's: letters, digits, - and _."""
    stem = path.name.removesuffix(".json").removesuffix(".plan")
    return re.sub(r"[^\w-]+", "_", stem)[:60].strip("_") or "shot"


def _write_page(evening: object, output: str, sheets: list[Path]) -> None:
    """The evening's page, and before it the sheets that it links."""
    from planner_core import review
    from planner_core.fit.evening import Evening
    from planner_core.output.evening.page import evening_page

    from .sheet_command import sheet_page

    assert isinstance(evening, Evening)
    for shot, path in zip(evening.shots, sheets, strict=bool(sheets)):
        page, _ = sheet_page(shot.plan, shot.frames, review(shot.plan, shot.frames))
        deliver(page, str(path))
    names = {number: path.name for number, path in enumerate(sheets, start=1)}
    deliver(evening_page(evening, names), output)
