"""The command line: reads the arguments, calls the core or the Blender layer, says what is wrong in a line.

Every verb is a function that takes the parsed arguments and returns the exit code: 0 done, 1 the review
found a `stop`, 2 the input can't be used, 3 a defect of this program, 130 interrupted.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import io
import math
import os
import re
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from planner_core.plan.file import load_plan, save_plan
from planner_core.plan.model import Plan, PlanError
from tools.examples import EXAMPLES
from tools.files import check_files, deliver, inputs_of, refuse_input, say
from tools.outcome import (
    CRASHED,
    DONE,
    FOUND_STOP,
    INTERRUPTED,
    UNUSABLE,
    UsageError,
    WithoutBlenderError,
)
from tools.program import NAME, SHELLS, completion_script, is_completing, program, started_as, version
from tools.terminal import StatusLine, harmless_output, json_text, problem_line

if TYPE_CHECKING:
    from planner_core.fit.result import Fit

DEBUG_VARIABLE = "DUSKRAIL_DEBUG"
SETTLING_ROUNDS = 3  # of balance and clip: the one moves the start, the other changes what it is moved for


# ---------------------------------------------------------------- verbs


def check(arguments: argparse.Namespace) -> int:
    """The review of a plan, as text or JSON."""
    from planner_core import compute_frames, review
    from planner_core.log.earlier import load_log
    from tools.report import review_text

    plan = load_plan(arguments.plan)
    logs = [load_log(path, plan) for path in arguments.log]
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
        from tools.report import fits_dict

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
    """Poses that mend the picture, with a line now and then about how far the search is."""
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
    from tools.report import comparison_text

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
    from tools.new_command import run_new

    return run_new(arguments)


def doctor(arguments: argparse.Namespace) -> int:
    """What this machine has for Duskrail, and what is missing."""
    from tools.doctor_command import run_doctor

    return run_doctor(arguments)


def scout(arguments: argparse.Namespace) -> int:
    """Where to stand and how to move."""
    from tools.scout_command import run_scout

    return run_scout(arguments)


def preview(arguments: argparse.Namespace) -> int:
    """The draft clip."""
    from tools.preview_command import run_preview

    return run_preview(arguments)


def readback(arguments: argparse.Namespace) -> int:
    """The plan as it now stands in a Blender scene."""
    from tools.readback_command import run_readback

    return run_readback(arguments)


def sheet(arguments: argparse.Namespace) -> int:
    """The shot sheet, and the calendar file."""
    from tools.sheet_command import run_sheet

    return run_sheet(arguments)


def export(arguments: argparse.Namespace) -> int:
    """The camera's move and the blocks as glTF or USD."""
    from tools.export_command import run_export

    return run_export(arguments)


def blocks(arguments: argparse.Namespace) -> int:
    """Footprints or a horizon profile from a map, into a plan."""
    from tools.map_command import run_blocks

    return run_blocks(arguments)


def photo(arguments: argparse.Namespace) -> int:
    """A photograph of the place into a plan, or compared with its blocks."""
    from tools.photo_command import run_photo

    return run_photo(arguments)


def terrain(arguments: argparse.Namespace) -> int:
    """Elevation grids into a plan: ridges, ground, heights."""
    from tools.terrain_command import run_terrain

    return run_terrain(arguments)


def log(arguments: argparse.Namespace) -> int:
    """What the frames on a card say was really shot."""
    from tools.log_command import run_log

    return run_log(arguments)


def late(arguments: argparse.Namespace) -> int:
    """What can still be saved when the start was missed."""
    from tools.late_command import run_late

    return run_late(arguments)


def evening(arguments: argparse.Namespace) -> int:
    """Several plans in one evening."""
    from tools.evening_command import run_evening

    return run_evening(arguments)


def dates(arguments: argparse.Namespace) -> int:
    """On which dates the sun or moon sets where, against the picture."""
    from tools.map_command import run_dates

    return run_dates(arguments)


# ---------------------------------------------------------------- arguments


class _Parser(argparse.ArgumentParser):
    def __init__(self, *args: Any, **keywords: Any) -> None:
        super().__init__(*args, **keywords)
        # a value may begin with a minus: --at -3,12,1.6
        self._negative_number_matcher = re.compile(r"-\.?\d[-\d.,=eE]*.*")

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{self.prog}: {message}; {self.prog} --help says more")


class _Completion(argparse.Action):
    """Print what a shell reads to complete the command, and leave."""

    def __call__(
        self, parser: argparse.ArgumentParser, _namespace: Any, values: Any, _option: Any = None
    ) -> None:
        print(completion_script(str(values)))
        parser.exit()


@functools.cache
def build_parser() -> argparse.ArgumentParser:
    """The command line's arguments."""
    parser = _Parser(
        prog=program(), description="Plan a motion-control time-lapse before the evening of the shoot."
    )
    parser.add_argument("--version", action="version", version=f"{NAME} {version()}")
    parser.add_argument(
        "--completion",
        action=_Completion,
        choices=SHELLS,
        metavar="SHELL",
        help=f'make the Tab key complete: eval "$(duskrail --completion bash)"; or {", ".join(SHELLS[1:])}',
    )
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=_Parser)

    def verb(name: str, run: Callable[[argparse.Namespace], int], about: str, *, plan: bool = True) -> Any:
        example = f"Example:\n  {program()} {name} {EXAMPLES[name]}"
        added = verbs.add_parser(
            name,
            help=about,
            description=about,
            epilog=example,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        added.set_defaults(run=run)
        if plan:
            added.add_argument("plan", metavar="PLAN", help="a .plan.json file")
        return added

    _add_new(verb("new", new, "a first plan from a few facts: the rest is chosen, and said", plan=False))

    one = verb("check", check, "review the plan: what would go wrong, and what to change")
    one.add_argument("--json", action="store_true", help="the review as JSON")
    one.add_argument(
        "--log",
        metavar="LOG.json",
        action="append",
        default=[],
        help="what an earlier log of the same site (log --json) said of the plan's fields; may be repeated",
    )

    one = verb("frames", frames, "time, axes, camera, sun, moon, light and exposure, one row per frame")
    one.add_argument("-o", "--output", metavar="FILE.csv", help="a file instead of standard output")

    one = verb("axes", axes, "axis positions for programming the rig, per pose and per frame")
    one.add_argument("-o", "--output", metavar="FILE.csv", help="a file instead of standard output")

    one = verb("fit", fit, "solve for what you leave free and write a new plan")
    one.add_argument("-o", "--output", metavar="NEW", required=True, help="the new plan file")
    one.add_argument(
        "--travel",
        metavar="PX",
        nargs="?",
        type=_positive,
        const=0.0,
        help="how much of the rail to use, for a calm foreground or PX clip pixels a frame",
    )
    one.add_argument(
        "--balance", metavar="DAY:NIGHT", type=_ratio, help="when to start, for this balance (1:1)"
    )
    one.add_argument(
        "--clip", metavar="SECONDS", type=_positive, help="frames and interval, for a clip this long"
    )
    one.add_argument(
        "--compose", action="store_true", help="the smallest change of a pose that repairs the picture"
    )

    one.add_argument(
        "--all", action="store_true", help="whatever helps against the findings of check, step by step"
    )
    one.add_argument("--json", action="store_true", help="what was changed, and what is left, as JSON")
    _add_quiet(one)

    one = verb("compare", compare, "compare still, pan, tilt, slide and their combinations on the same scene")
    one.add_argument("--json", action="store_true", help="the table as JSON")
    one.add_argument("--write", metavar="DIR", help="save each candidate as a plan")

    _add_scout(verb("scout", scout, "where to stand and how to move: the place searched for the shot"))

    _add_preview(verb("preview", preview, "render the draft clip"))

    one = verb("readback", readback, "the keyframes of an edited scene as a plan", plan=False)
    one.add_argument(
        "scene", metavar="SCENE.blend", help="a scene saved from the add-on or with preview --blend"
    )
    one.add_argument("-o", "--output", metavar="NEW", required=True, help="the new plan file")

    one = verb("sheet", sheet, "write the shot sheet, to print or read on a phone")
    one.add_argument("-o", "--output", metavar="SHEET.html", help="the sheet")
    one.add_argument("--ics", metavar="FILE", help="also the evening as a calendar file")

    one = verb("export", export, "the camera's move and the blocks for other programs, as glTF or USD")
    one.add_argument(
        "-o", "--output", metavar="FILE", required=True, help="ending in .glb, .gltf, .usd or .usdc"
    )

    one = verb(
        "blocks", blocks, "a map (GeoJSON, OSM JSON) or a horizon profile (CSV) into a plan", plan=False
    )
    one.add_argument(
        "source", metavar="FOOTPRINTS", help="a map (GeoJSON or OSM JSON) or a .csv of bearing and altitude"
    )
    one.add_argument("plan", metavar="PLAN", help="the plan whose site places them")
    one.add_argument("-o", "--output", metavar="NEW", required=True, help="the new plan file")
    one.add_argument(
        "--within", metavar="METRES", type=_positive, default=2000.0, help="leave out what is farther"
    )
    one.add_argument(
        "--height", metavar="METRES", type=_positive, default=9.0, help="of footprints without one"
    )
    one.add_argument(
        "--smallest", metavar="M2", type=_positive, default=10.0, help="leave out what is smaller"
    )
    one.add_argument(
        "--distance", metavar="METRES", type=_positive, default=3000.0, help="of a horizon profile"
    )

    _add_photo(verb("photo", photo, "a photograph of the place into a plan, aimed by its pins", plan=False))

    one = verb(
        "terrain", terrain, "the land of elevation grids into a plan: ridges, ground, heights", plan=False
    )
    one.add_argument(
        "sources",
        metavar="FILE",
        nargs="+",
        help="SRTM .hgt, Esri .asc or GeoTIFF, in geographic coordinates",
    )
    one.add_argument("plan", metavar="PLAN", help="the plan whose site lies in them")
    one.add_argument("-o", "--output", metavar="NEW", required=True, help="the new plan file")
    one.add_argument(
        "--near",
        metavar="METRES",
        type=_near_m,
        default=120.0,
        help="build the ground this far around the rail; 0 for none (120)",
    )
    one.add_argument(
        "--zero", metavar="METRES", type=float, help="the scene's zero, above the sea; else the rail decides"
    )
    one.add_argument("--json", action="store_true", help="the horizon and what was said, as JSON")

    _add_log(verb("log", log, "what the frames on a card say was shot, and what it teaches", plan=False))

    _add_late(verb("late", late, "what of the plan can still be shot from now on"))

    _add_evening(
        verb(
            "evening",
            evening,
            "several plans in one evening: who does what when, and what clashes",
            plan=False,
        )
    )

    one = verb("dates", dates, "where the sun or moon rises and sets against the picture, day by day")
    one.add_argument(
        "--from", dest="first", metavar="DATE", required=True, help="the first date, as 2027-03-01"
    )
    one.add_argument("--to", dest="last", metavar="DATE", required=True, help="the last date")
    one.add_argument("--moon", action="store_true", help="the moon instead of the sun")
    one.add_argument(
        "--milky-way",
        action="store_true",
        help="on which nights its middle stands over the place in the dark",
    )
    one.add_argument("--beside", metavar="BLOCK", help="when it stands behind or just beside a block's top")
    one.add_argument(
        "--above", metavar="DEG", type=float, default=0.0, help="with --beside: so many degrees over the top"
    )
    one.add_argument("-o", "--output", metavar="FILE.csv", help="all days as CSV")

    one = verb(
        "doctor", doctor, "what this machine has for Duskrail, what is missing, and how to get it", plan=False
    )
    one.add_argument("--json", action="store_true", help="the same as JSON, to report a problem with")
    return parser


def _add_quiet(one: Any) -> None:
    one.add_argument("--quiet", action="store_true", help="say nothing on the way, only the result")


def _add_new(one: Any) -> None:
    one.add_argument("output", metavar="PLAN", help="the plan to write, ending in .plan.json")
    one.add_argument("--at", metavar="LAT,LON", help="where, as a map gives it: 43.46,-3.79")
    one.add_argument("--on", metavar="DATE", help="the date there, as 2027-03-14")
    one.add_argument(
        "--event", metavar="EVENT", help="what falls half-way: sunset, sunrise, civil_dusk … (sunset)"
    )
    one.add_argument(
        "--subject",
        metavar="THING",
        help='name, true bearing, distance and height in metres: "tower 262 160 20"',
    )
    one.add_argument("--foreground", metavar="THING", help='something near the rail: "post 250 1.3"')
    one.add_argument("--lens", metavar="MM", help="focal length; else by the subject's size")
    one.add_argument("--rail", metavar="METRES", help="the slider's usable length (1.2)")
    one.add_argument(
        "--zone", metavar="ZONE", help="time zone, as Europe/Madrid; else the nearest main city's"
    )
    one.add_argument("--overwrite", action="store_true", help="replace a plan of that name")
    one.add_argument("--json", action="store_true", help="what was chosen, and what the review says, as JSON")


def _add_scout(one: Any) -> None:
    one.add_argument(
        "--area",
        metavar="BLOCK|X0,Y0,X1,Y1",
        help="search here, not all ground within 60 m of the rail",
    )
    one.add_argument("--top", metavar="N", type=_count, default=5, help="how many finds (5)")
    one.add_argument(
        "--edge", metavar="METRES", type=_positive, default=0.5, help="keep from drops and water (0.5)"
    )
    one.add_argument(
        "--lenses", metavar="MM,MM", help="focal lengths to choose from, not the plan's (camera.lenses_mm)"
    )
    one.add_argument(
        "--heights",
        metavar="LOW:HIGH",
        help="how low and high the stands hold the rail, metres over the ground",
    )
    one.add_argument(
        "--from",
        dest="first",
        metavar="DATE",
        help="the best spot for each evening from here, and the best …",
    )
    one.add_argument("--to", dest="last", metavar="DATE", help="… evening for each spot, until here")
    one.add_argument(
        "--subjects",
        action="store_true",
        help="stay at the planned place: which block makes the best subject from there",
    )
    one.add_argument("--reviews", metavar="N", type=_count, default=120, help="review so many shots (120)")
    _add_quiet(one)
    one.add_argument("--json", action="store_true", help="the finds as JSON")
    one.add_argument("--write", metavar="DIR", help="save each find as a plan")
    one.add_argument("--picture", metavar="FILE.png", help="also a contact sheet of the finds, with a map")
    one.add_argument(
        "--look", choices=("fast", "lit"), help="draw the contact sheet as the draft clip is, in Blender"
    )


def _add_photo(one: Any) -> None:
    from tools.photo_command import moment, place

    one.add_argument("image", metavar="IMAGE", nargs="?", help="a JPEG, HEIC, TIFF or raw file")
    one.add_argument("plan", metavar="PLAN", help="a .plan.json file")
    one.add_argument("-o", "--output", metavar="NEW", help="the new plan file")
    one.add_argument(
        "--pin",
        metavar="X,Y=WHAT",
        action="append",
        default=[],
        help="what is at a point: sun, moon, BEARING,ALTITUDE, or BLOCK top, foot or a corner's number",
    )
    one.add_argument("--at", metavar="X,Y,Z", type=place, help="taken from here, in scene metres")
    one.add_argument("--bearing", metavar="DEG", type=float, help="toward here, true")
    one.add_argument("--fov", metavar="DEG", type=_positive, help="horizontal field of view")
    one.add_argument(
        "--declination", metavar="DEG", type=float, help="of a magnetic direction, east positive"
    )
    one.add_argument("--taken", metavar="TIME", type=moment, help="local time, as 2027-03-14T18:20:00")
    one.add_argument(
        "--block",
        metavar="NAME FOOT TOP",
        action="append",
        default=[],
        help='a block where its foot and top are, as "tower 412,900 410,300"; a distance may follow',
    )
    one.add_argument(
        "--skyline",
        metavar="NAME DISTANCE X,Y …",
        action="append",
        default=[],
        help='a ridge along points, as "hills 4000 0,500 900,440"',
    )
    one.add_argument(
        "--check", action="store_true", help="how far blocks and photographs are apart; writes nothing"
    )
    one.add_argument("--json", action="store_true", help="the result as JSON")


def _add_log(one: Any) -> None:
    from tools.log_command import clock_offset

    one.add_argument("folder", metavar="FOLDER", help="the folder with the frames; nothing is written to it")
    one.add_argument("plan", metavar="PLAN", help="the plan they were shot by")
    one.add_argument("-o", "--output", metavar="REPORT.html", help="plan and log over each other, as a page")
    one.add_argument("--plan", dest="new_plan", metavar="NEW", help="a new plan with what the log teaches")
    one.add_argument(
        "--clock-offset",
        metavar="OFFSET",
        type=clock_offset,
        help="how far the camera's clock was ahead of the site's: seconds, or +H:MM:SS",
    )
    one.add_argument("--json", action="store_true", help="the log as JSON")
    _add_quiet(one)


def _add_late(one: Any) -> None:
    from tools.late_command import length_s

    one.add_argument(
        "--now", metavar="TIME", required=True, help="when the first frame can be taken, as 18:52"
    )
    one.add_argument(
        "--have", metavar="TIME", type=length_s, help="how much time there is from now, as 75min"
    )
    one.add_argument("-o", "--output", metavar="PAGE.html", help="the numbers to set, as a page for a phone")
    one.add_argument("--write", metavar="DIR", help="save each way as a plan")
    one.add_argument("--json", action="store_true", help="the ways as JSON")


def _add_evening(one: Any) -> None:
    from tools.late_command import length_s

    one.add_argument("plans", metavar="PLAN", nargs="+", help="the evening's plans, up to six")
    one.add_argument(
        "-o", "--output", metavar="SHEET.html", help="the evening as a page; each shot's own sheet beside it"
    )
    one.add_argument("--ics", metavar="FILE", help="also the evening as a calendar file")
    one.add_argument("--people", metavar="N", type=_count, default=1, help="how many do the work (1)")
    one.add_argument("--pace", metavar="KM/H", type=_pace, default=4.0, help="of a walk with the gear (4)")
    one.add_argument(
        "--detour", metavar="FACTOR", type=_detour, default=1.3, help="the way over the straight line (1.3)"
    )
    one.add_argument(
        "--pack", metavar="TIME", type=length_s, default=1800.0, help="to pack up a shot (30min)"
    )
    one.add_argument(
        "--balance",
        metavar="DAY:NIGHT",
        type=_balance,
        default=0.05,
        help="how far day and night may leave 50:50 (55:45)",
    )
    one.add_argument(
        "--shift",
        metavar="TIME",
        type=length_s,
        default=1800.0,
        help="how far a start without a light event may move (30min)",
    )
    one.add_argument("--write", metavar="DIR", help="save the plans with the starts that were found")
    one.add_argument("--json", action="store_true", help="the evening as JSON")


def _pace(text: str) -> float:
    value = _positive(text)
    if not 0.2 <= value <= 130.0:
        raise argparse.ArgumentTypeError(f"{text} is not a pace from 0.2 to 130 km/h")
    return value


def _detour(text: str) -> float:
    value = _positive(text)
    if not 1.0 <= value <= 20.0:
        raise argparse.ArgumentTypeError(f"{text} is not a factor from 1 to 20")
    return value


def _balance(text: str) -> float:
    """How far the larger share lies over a half."""
    day, night = _ratio(text)
    return max(day, night) / (day + night) - 0.5


def _add_preview(one: Any) -> None:
    one.add_argument("-o", "--output", metavar="CLIP.mp4", help="the clip, or the still as PNG")
    one.add_argument(
        "--look", choices=("fast", "lit"), default="fast", help="fast: timing; lit: the plan's light"
    )
    one.add_argument("--frames", metavar="A:B", type=_frame_range, help="only these frames, counted from 1")
    one.add_argument(
        "--every", metavar="N", type=_count, default=1, help="every Nth frame; the clip lasts as long"
    )
    one.add_argument("--size", metavar="WxH", type=_size, help="clip pixels to render, in the clip's shape")
    one.add_argument("--title", action="store_true", help="a title card before the clip")
    one.add_argument(
        "--burn-in", action="store_true", help="time, frame, sun and exposure written into the picture"
    )
    one.add_argument("--beside", metavar="PLAN2", help="a second plan to the right, in the same timing")
    one.add_argument(
        "--join",
        action="store_true",
        help="draw nothing: the clip from frames drawn before, here or elsewhere",
    )
    one.add_argument(
        "--jobs", metavar="N", type=_count, help="how many processes draw; without it as many as help"
    )
    one.add_argument("--still", metavar="N", type=_count, help="one frame as PNG, at the clip's full size")
    one.add_argument("--contact", metavar="FILE.png", help="also a contact sheet of the frames that matter")
    one.add_argument("--blend", metavar="FILE.blend", help="also the scene, to edit in Blender and read back")
    _add_quiet(one)


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text} is not a number") from None
    if not 0 < value < 1e9:
        raise argparse.ArgumentTypeError(f"{text} is not above 0")
    return value


def _near_m(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 2000.0:
        raise argparse.ArgumentTypeError(f"{text} is not from 0 to 2000 metres")
    return value


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text} is not a whole number from 1")
    return int(text)


def _ratio(text: str) -> tuple[float, float]:
    day, colon, night = text.partition(":")
    if not colon:
        raise argparse.ArgumentTypeError(f"{text} is not a ratio; write it as 1:1 or 2:3")
    return _positive(day), _positive(night)


def _frame_range(text: str) -> tuple[int, int]:
    first, _colon, last = text.partition(":")
    a, b = _count(first), _count(last or first)
    if b < a:
        raise argparse.ArgumentTypeError(f"{text} ends before it begins; write it as 1:120")
    return a, b


def _size(text: str) -> tuple[int, int]:
    width, cross, height = text.lower().partition("x")
    if not cross:
        raise argparse.ArgumentTypeError(f"{text} is not a size; write it as 960x540")
    return _count(width), _count(height)


# ---------------------------------------------------------------- running


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
    except (PlanError, UsageError) as problem:
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


def _in_an_application(words: Sequence[str], problem: WithoutBlenderError) -> int:
    """The verb once more, in a Blender application, where there is one."""
    from tools import blender_application

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
