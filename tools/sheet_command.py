"""The sheet verb: the shot sheet and the calendar file, from one FrameTable."""

from __future__ import annotations

import argparse
import importlib.util
from pathlib import Path

from planner_core import compute_frames, review
from planner_core.frames import FrameTable
from planner_core.output.calendar import ics_bytes
from planner_core.output.sheet.page import Picture, Shown, sheet_html, strip_frames
from planner_core.plan.file import load_plan
from planner_core.plan.model import Plan
from planner_core.plan.writing import write_atomically
from planner_core.review.findings import Review

from .files import deliver, say
from .outcome import DONE, UsageError


def run_sheet(arguments: argparse.Namespace) -> int:
    """Write what was asked for: the sheet, the calendar file, or both."""
    if not (arguments.output or arguments.ics):
        raise UsageError("sheet: where should it go? Add -o SHEET.html, --ics FILE.ics, or both")
    plan = load_plan(arguments.plan)
    frames = compute_frames(plan)
    if arguments.output:
        page, how = sheet_page(plan, frames, review(plan, frames))
        deliver(page, arguments.output)
        say(f"{arguments.output}: the shot sheet, {how}.", arguments.output)
    if arguments.ics:
        write_atomically(Path(arguments.ics), ics_bytes(plan, frames))
        say(f"{arguments.ics}: the shoot for a calendar.", arguments.ics)
    return DONE


def sheet_page(plan: Plan, frames: FrameTable, report: Review) -> tuple[str, str]:
    """The sheet, with pictures of the draft clip where all are there, and where its pictures are from."""
    shown = strip_frames(frames, report)
    pictures = _pictures(frames, shown)
    how = "pictures drawn from the blocks"
    if len(pictures) == len(shown):
        how = "pictures from the draft clip"
    elif pictures:
        how += f", as the draft clip has {len(pictures)} of the {len(shown)} frames"
    return sheet_html(plan, frames, report, pictures), how


def _pictures(frames: FrameTable, shown: tuple[Shown, ...]) -> list[Picture]:
    """Frames of the draft clip that earlier previews of the same plan have left; nothing is rendered."""
    if importlib.util.find_spec("bpy") is None:
        return []
    from blender_addon.render.preview import kept_pictures

    kept = kept_pictures(frames, [one.frame for one in shown])
    return [Picture(frame=frame, content=content) for frame, content in kept.items()]
