"""The scout verb: searches a place for the shot, tells the finds, writes them as plans and as a picture."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from planner_core.plan.file import load_plan, save_plan
from planner_core.plan.model import Plan
from planner_core.plan.text import one_line
from planner_core.scout.places import Area, area_of_block

from .files import refuse_input
from .outcome import DONE, INTERRUPTED, UsageError, need_blender
from .terminal import StatusLine, json_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from planner_core.frames import FrameTable
    from planner_core.scout.evenings import Evenings, Subjects
    from planner_core.scout.finds import Report
    from planner_core.scout.picture import Draw
    from planner_core.scout.raster import Image
    from planner_core.scout.search import Progress, Wishes

    Told = Report | Evenings | Subjects


def run_scout(arguments: argparse.Namespace) -> int:
    """Search, and tell what was found."""
    from planner_core.scout.search import Wishes

    if arguments.picture and not arguments.picture.lower().endswith(".png"):
        raise UsageError(f"--picture: {arguments.picture} doesn't end in .png; the picture is a PNG")
    _check_together(arguments)
    if arguments.look:
        need_blender()
    plan = load_plan(arguments.plan)
    wishes = Wishes(
        area=_area(plan, arguments.area),
        edge_m=arguments.edge,
        lenses_mm=_lenses_mm(arguments.lenses),
        heights_m=_heights_m(arguments.heights),
        top=arguments.top,
        reviews=arguments.reviews,
    )
    finished, found = _search(arguments, plan, wishes)
    if not finished and not found.finds:
        raise KeyboardInterrupt
    written = _write(arguments, [find.plan for find in found.finds])
    if arguments.picture:
        from planner_core.plan.writing import write_atomically
        from planner_core.scout.picture import finds_png

        draw = _drawn_by_look(arguments.look) if arguments.look else None
        write_atomically(Path(arguments.picture), finds_png(found, draw))
    if arguments.json:
        document = found.as_dict()
        for find, path in zip(document["finds"], written, strict=False):
            find["plan"] = str(path)
        print(json_text(document))
    else:
        print("\n".join((*found.lines(), *(f"Written to {path}." for path in written))))
    return DONE if finished else INTERRUPTED


def _check_together(arguments: argparse.Namespace) -> None:
    """Refuse what can't be asked for together."""
    dated = (arguments.first, arguments.last)
    if any(dated) and not all(dated):
        raise UsageError("scout: evenings take both --from and --to")
    if arguments.look and not arguments.picture:
        raise UsageError("scout: --look says how --picture FILE.png is drawn; add that")
    if arguments.subjects and (any(dated) or arguments.area):
        raise UsageError(
            "scout: --subjects stays at the planned place, so it takes no --area, --from or --to"
        )


def _drawn_by_look(look: str) -> Draw:
    """Draws frames as the draft clip does, in one of its looks."""
    from blender_addon.render.preview import render_frames
    from blender_addon.render.request import PreviewError, size_in_shape

    def draw(frames: FrameTable, rows: tuple[int, ...], columns: int) -> list[Image]:
        numbers = tuple(sorted({row + 1 for row in rows}))
        try:
            drawn = render_frames(
                frames.plan, numbers, look=look, size=size_in_shape(frames.plan.clip, columns)
            )
        except PreviewError as problem:
            raise UsageError(f"--look: {problem}") from None
        by_number = dict(zip(numbers, drawn, strict=True))
        return [by_number[row + 1] for row in rows]

    return draw


def _search(arguments: argparse.Namespace, plan: Plan, wishes: Wishes) -> tuple[bool, Told]:
    """Whether the search came to its end, and what it found."""
    from planner_core.evening.dates import date_span
    from planner_core.scout.evenings import EveningSearch, SubjectSearch
    from planner_core.scout.finds import report
    from planner_core.scout.search import Scout

    if arguments.subjects:
        subjects = SubjectSearch(plan, wishes)
        return _run(subjects.run(), arguments.quiet), subjects.result()
    if arguments.first:
        evenings = EveningSearch(plan, wishes, *date_span(arguments.first, arguments.last))
        return _run(evenings.run(), arguments.quiet), evenings.result()
    scout = Scout(plan, wishes)
    return _run(scout.run(), arguments.quiet), report(scout)


def _run(search: Iterator[Progress], quiet: bool) -> bool:
    """Search to the end; False where Ctrl C left it with the best so far."""
    line = StatusLine(quiet_s=2.0, silent=quiet)
    try:
        for progress in search:
            share = progress.done / max(progress.total, 1)
            line.show(_progress_text(progress), share=share, of=progress.stage)
    except KeyboardInterrupt:
        line.end()
        print("Interrupted; this is the best so far.", file=sys.stderr)
        return False
    line.end()
    return True


def _progress_text(progress: Progress) -> str:
    best = f", the best so far {progress.finds[0].score.total:.0f}" if progress.finds else ""
    words = {
        "places": "Places",
        "framings": "Framings",
        "moves": "Moves",
        "reviews": "Reviews",
        "evenings": "Evenings",
        "done": "Finds",
    }
    return f"{words[progress.stage]}: {progress.done} of {progress.total}{best}"


def _write(arguments: argparse.Namespace, plans: list[Plan]) -> list[Path]:
    if not arguments.write:
        return []
    folder = Path(arguments.write)
    files = [folder / f"find-{rank}.plan.json" for rank in range(1, len(plans) + 1)]
    for path in files:
        refuse_input("--write", path, [("the plan", Path(arguments.plan))])
    folder.mkdir(parents=True, exist_ok=True)
    for path, plan in zip(files, plans, strict=True):
        save_plan(plan, path)
    return files


def _lenses_mm(text: str | None) -> tuple[float, ...] | None:
    """The focal lengths that --lenses names."""
    if text is None:
        return None
    lenses_mm = _numbers(text, ",")
    if not lenses_mm or not all(2.0 <= lens <= 3000.0 for lens in lenses_mm):
        raise UsageError(
            f"--lenses: {one_line(text)} is not a list of focal lengths; write millimetres, as 24,35,85"
        )
    return tuple(sorted(set(lenses_mm)))


def _heights_m(text: str | None) -> tuple[float, ...] | None:
    """The rail's heights that --heights spans."""
    if text is None:
        return None
    heights_m = _numbers(text, ":")
    if len(heights_m) != 2 or not 0.0 <= heights_m[0] <= heights_m[1] <= 30.0:
        raise UsageError(
            f"--heights: {one_line(text)} is not a span of heights; write metres, the lower first, as 0.4:1.6"
        )
    low, high = heights_m
    return tuple(sorted({low, round((low + high) / 2.0, 2), high}))


def _numbers(text: str, separator: str) -> list[float]:
    try:
        return [float(part) for part in text.split(separator)]
    except ValueError:
        return []


def _area(plan: Plan, text: str | None) -> Area | None:
    """The area that --area names: a block, or the corners of a rectangle."""
    if text is None:
        return None
    numbers = text.split(",")
    if len(numbers) == 4:
        try:
            x0, y0, x1, y1 = (float(number) for number in numbers)
        except ValueError:
            pass
        else:
            if not (x0 < x1 and y0 < y1 and max(map(abs, (x0, y0, x1, y1))) <= 1e5):
                raise UsageError(
                    f"--area: {text} has no area; write x0,y0,x1,y1 in metres, the lower ones first"
                )
            return x0, y0, x1, y1
    area = area_of_block(plan, text)
    if area is None:
        names = ", ".join(
            one_line(block.name) for block in plan.blocks if block.role == "ground" and block.name
        )
        raise UsageError(
            f"--area: {one_line(text)} is neither a block nor x0,y0,x1,y1 in metres"
            + (f"; ground blocks here: {names}" if names else "")
        )
    return area
