"""The command line: reads the arguments, calls the core or the Blender layer, says what is wrong in a line.

Every verb is a function that takes the parsed arguments and returns the exit code: 0 done, 1 the review
found a `stop`, 2 the input can't be used, 3 a defect of this program, 130 interrupted.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import io
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    __package__ = Path(__file__).resolve().parent.name

from planner_core.plan.file import load_plan, save_plan
from planner_core.plan.model import Plan, PlanError

from .arguments import parser_of
from .files import check_files, deliver, inputs_of, refuse_input, say
from .outcome import (
    CRASHED,
    DONE,
    FOUND_STOP,
    INTERRUPTED,
    UNUSABLE,
    UsageError,
    WithoutBlenderError,
)
from .program import NAME, is_completing, started_as
from .terminal import StatusLine, harmless_output, json_text, problem_line

if TYPE_CHECKING:
    from planner_core.fit.result import Fit
    from planner_core.log.earlier import EarlierLog

DEBUG_VARIABLE = "DUSKRAIL_DEBUG"
# What the core calls values that only options give; no part of a plan is called so
VALUES_OF_OPTIONS = ("now", "have", "from", "to", "beside", "above", "balance")
SETTLING_ROUNDS = 3  # of balance and clip: the one moves the start, the other changes what it is moved for


# ---------------------------------------------------------------- verbs


def _earlier_logs(paths: Sequence[str], plan: Plan) -> list[EarlierLog]:
    """The logs to compare a plan with; what reads them takes long to load, and most reviews have none."""
    if not paths:
        return []
    from planner_core.log.earlier import load_log

    return [load_log(path, plan) for path in paths]


def check(arguments: argparse.Namespace) -> int:
    """The review of a plan, as text or JSON."""
    from planner_core import compute_frames, review

    from .report import review_text

    plan = load_plan(arguments.plan)
    logs = _earlier_logs(arguments.log, plan)
    frames = compute_frames(plan)
    report = review(plan, frames)
    if arguments.json:
        from planner_core.moves.measured import Measured
        from planner_core.moves.score import shot_score

        document = report.as_dict()
        document["summary"]["shot"] = shot_score(Measured(plan, frames, report)).as_dict()
        if logs:
            document["earlier_logs"] = [log.as_dict(plan) for log in logs]
        print(json_text(document))
    else:
        print(review_text(report))
        for log in logs:
            print("\n".join(("", log.heading, *(f"  • {line}" for line in log.lines(plan)))))
    return FOUND_STOP if report.stops else DONE


def frames(arguments: argparse.Namespace) -> int:
    """The FrameTable as CSV."""
    from planner_core import compute_frames
    from planner_core.frames import frames_csv

    deliver(frames_csv(compute_frames(load_plan(arguments.plan))), arguments.output)
    return DONE


def axes(arguments: argparse.Namespace) -> int:
    """Axis positions for the controller, as CSV."""
    from planner_core import compute_frames
    from planner_core.output.axes import axes_csv

    plan = load_plan(arguments.plan)
    deliver(axes_csv(plan, compute_frames(plan)), arguments.output)
    return DONE


def fit(arguments: argparse.Namespace) -> int:
    """Solve for what is left free, write the new plan and say what changed."""
    steps = _fit_steps(arguments)
    if not steps:
        raise UsageError("fit: nothing to solve for; add --all, --clip, --balance, --travel or --compose")
    before = plan = load_plan(arguments.plan)
    fits: list[Fit] = []
    for step in steps:
        fits.append(step(plan))
        plan = fits[-1].plan
    save_plan(plan, arguments.output)
    if arguments.json:
        from .report import fits_dict

        say(json_text(fits_dict(before, fits)), arguments.output)
    else:
        said = [sentence for fitted in fits for sentence in fitted.said]
        say("\n".join((*said, f"Written to {arguments.output}.")), arguments.output)
    return DONE


def _fit_steps(arguments: argparse.Namespace) -> list[Callable[[Plan], Fit]]:
    """The solvers asked for, in the order in which they build on each other."""
    steps: list[Callable[[Plan], Fit]] = []
    if arguments.balance is not None:
        from planner_core.fit.light import fit_balance

        steps.append(lambda plan: fit_balance(plan, *arguments.balance))
    if arguments.clip is not None:  # after the balance: a night asks for longer intervals than a day
        from planner_core.fit.light import fit_clip

        steps.append(lambda plan: fit_clip(plan, arguments.clip))
    if arguments.travel is not None:
        from planner_core.fit.travel import fit_travel

        steps.append(lambda plan: fit_travel(plan, arguments.travel or None))
    if arguments.compose:
        steps.append(lambda plan: _compose(plan, arguments.quiet))
    if arguments.clip is not None and arguments.balance is not None:  # the frames are others now
        for _ in range(SETTLING_ROUNDS):
            steps.append(lambda plan: _quiet_if_kept(plan, fit_balance(plan, *arguments.balance)))
            steps.append(lambda plan: _clip_if_too_dark(plan, arguments.clip))
    if arguments.all:
        steps.append(lambda plan: _fit_all(plan, arguments.quiet))
    return steps


def _compose(plan: Plan, quiet: bool) -> Fit:
    """Poses that repair the picture, with a line now and then about how far the search is."""
    from planner_core.fit.compose import fit_compose

    status = StatusLine(quiet_s=5.0, silent=quiet)
    try:
        return fit_compose(plan, lambda trying: status.show(trying.text, share=trying.spent_share))
    finally:
        status.end()


def _fit_all(plan: Plan, quiet: bool) -> Fit:
    """Whatever helps against the findings, with a line now and then about what is done."""
    from planner_core.fit.everything import fit_all

    status = StatusLine(quiet_s=5.0, silent=quiet)
    try:
        return fit_all(plan, listen=status.show)
    finally:
        status.end()


def _clip_if_too_dark(plan: Plan, seconds: float) -> Fit:
    """The clip again where a start moved into the night leaves its frames too little time."""
    from planner_core.evening.interval import interval_holds
    from planner_core.fit.light import fit_clip
    from planner_core.fit.result import Fit

    return Fit(plan=plan, said=()) if interval_holds(plan) else fit_clip(plan, seconds)


def _quiet_if_kept(plan: Plan, fitted: Fit) -> Fit:
    return fitted if fitted.plan is not plan else type(fitted)(plan=plan, said=())


def compare(arguments: argparse.Namespace) -> int:
    """The moves that the rig could make on this scene, ranked."""
    from planner_core.moves.compare import compare as compare_moves

    from .report import comparison_text

    comparison = compare_moves(load_plan(arguments.plan))
    if arguments.write:
        folder = Path(arguments.write)
        files = {folder / f"{name}.plan.json": candidate for name, candidate in comparison.plans.items()}
        for path in files:
            refuse_input("--write", path, inputs_of(arguments))
        folder.mkdir(parents=True, exist_ok=True)
        for path, candidate in files.items():
            save_plan(candidate, path)
    print(json_text(comparison.as_dict()) if arguments.json else comparison_text(comparison))
    return DONE


def new(arguments: argparse.Namespace) -> int:
    """A first plan from a few facts."""
    from .new_command import run_new

    return run_new(arguments)


def doctor(arguments: argparse.Namespace) -> int:
    """What this machine has for Duskrail, and what is missing."""
    from .doctor_command import run_doctor

    return run_doctor(arguments)


def scout(arguments: argparse.Namespace) -> int:
    """Where to stand and how to move."""
    from .scout_command import run_scout

    return run_scout(arguments)


def preview(arguments: argparse.Namespace) -> int:
    """The draft clip."""
    from .preview_command import run_preview

    return run_preview(arguments)


def readback(arguments: argparse.Namespace) -> int:
    """The plan as it now stands in a Blender scene."""
    from .readback_command import run_readback

    return run_readback(arguments)


def sheet(arguments: argparse.Namespace) -> int:
    """The shot sheet, and the calendar file."""
    from .sheet_command import run_sheet

    return run_sheet(arguments)


def export(arguments: argparse.Namespace) -> int:
    """The camera's move and the blocks as glTF or USD."""
    from .export_command import run_export

    return run_export(arguments)


def blocks(arguments: argparse.Namespace) -> int:
    """Footprints or a horizon profile from a map, into a plan."""
    from .map_command import run_blocks

    return run_blocks(arguments)


def photo(arguments: argparse.Namespace) -> int:
    """A photograph of the place into a plan, or compared with its blocks."""
    from .photo_command import run_photo

    return run_photo(arguments)


def terrain(arguments: argparse.Namespace) -> int:
    """Elevation grids into a plan: ridges, ground, heights."""
    from .terrain_command import run_terrain

    return run_terrain(arguments)


def log(arguments: argparse.Namespace) -> int:
    """What the frames on a card say was really shot."""
    from .log_command import run_log

    return run_log(arguments)


def late(arguments: argparse.Namespace) -> int:
    """What can still be saved when the start was missed."""
    from .late_command import run_late

    return run_late(arguments)


def evening(arguments: argparse.Namespace) -> int:
    """Several plans in one evening."""
    from .evening_command import run_evening

    return run_evening(arguments)


def dates(arguments: argparse.Namespace) -> int:
    """On which dates the sun or moon sets where, against the picture."""
    from .map_command import run_dates

    return run_dates(arguments)


# ---------------------------------------------------------------- running


VERBS = {
    run.__name__: run
    for run in (
        *(new, check, frames, axes, fit, compare, scout, preview, readback, sheet, export),
        *(blocks, photo, terrain, log, late, evening, dates, doctor),
    )
}


@functools.cache
def build_parser() -> argparse.ArgumentParser:
    """The command line's arguments."""
    return parser_of(VERBS)


def main(words: Sequence[str] | None = None) -> int:
    """Run one verb; every problem that the user can fix is one line on standard error."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal without “ still gets the rest
    with harmless_output():
        return _run(words)


def _run(words: Sequence[str] | None) -> int:
    try:
        arguments = build_parser().parse_args(words)
        check_files(arguments)
        code = int(arguments.run(arguments))
        sys.stdout.flush()
        return code
    except WithoutBlenderError as problem:
        return _in_an_application(sys.argv[1:] if words is None else words, problem)
    except PlanError as problem:
        print(problem_line(_by_option(problem)), file=sys.stderr)
    except UsageError as problem:
        print(problem_line(problem), file=sys.stderr)
    except BrokenPipeError:
        _leave_output()
        return DONE
    except OSError as problem:
        print(f"{problem.filename or 'standard output'}: {problem.strerror or problem}", file=sys.stderr)
        _leave_output()
    except KeyboardInterrupt:
        print("Interrupted; nothing half-written.", file=sys.stderr)
        return INTERRUPTED
    except Exception as problem:
        return _crashed(problem)
    return UNUSABLE


def _by_option(problem: PlanError) -> PlanError:
    """The problem named as it was typed, where the value came from an option and not from the plan."""
    if problem.path in VALUES_OF_OPTIONS:
        return PlanError(f"--{problem.path}", problem.value, problem.expected)
    return problem


def _in_an_application(words: Sequence[str], problem: WithoutBlenderError) -> int:
    """The verb once more, in a Blender application, where there is one."""
    from . import blender_application

    try:
        application = blender_application.find()
        if application is not None:
            return blender_application.run(application, words)
    except blender_application.ApplicationError as refused:
        print(problem_line(refused), file=sys.stderr)
        return UNUSABLE
    print(problem_line(problem), file=sys.stderr)
    return UNUSABLE


def _crashed(problem: Exception) -> int:
    """A defect in one line, and where it is for those who ask."""
    if os.environ.get(DEBUG_VARIABLE):
        traceback.print_exc()
    what = " ".join(f"{type(problem).__name__}: {problem}".split())[:200]
    print(
        f"A defect of Duskrail's own ({what}); nothing half-written. {DEBUG_VARIABLE}=1 shows where it is.",
        file=sys.stderr,
    )
    return CRASHED


def _leave_output() -> None:
    """Keep what couldn't be printed from being tried again on the way out."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        with contextlib.suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _leave(code: int) -> None:
    """End the process. Where Blender's module was loaded its tidying up is left out: it can hang after
    drivers that need Python, and there is nothing left to keep.
    """
    if "bpy" in sys.modules:
        _leave_output()
        with contextlib.suppress(OSError, ValueError):
            sys.stderr.flush()
        os._exit(code)
    sys.exit(code)


def console() -> None:
    """The installed `duskrail` command."""
    started_as(NAME)
    if is_completing():
        import argcomplete

        argcomplete.autocomplete(build_parser())
    _leave(main())


if __name__ == "__main__":
    _leave(main())
