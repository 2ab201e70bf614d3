"""What can be typed after the program's name: the verbs, their options, and the help that tells of them."""

from __future__ import annotations

import argparse
import math
import re
import textwrap
from collections.abc import Callable, Mapping
from typing import Any, NoReturn

from .examples import EXAMPLES
from .outcome import UsageError
from .program import NAME, SHELLS, completion_script, program, version

HELP_COLUMNS = 90

# What each verb does: a line for the list of verbs, and what its own help adds
ABOUT = {
    "new": (
        "Make a first plan from a few facts.",
        "It chooses what you leave out, and says so. In a terminal it asks for what is missing.",
    ),
    "check": (
        "Review a plan: what would go wrong, and what to change.",
        "The exit code is 1 where something must change before you go out.",
    ),
    "frames": (
        "Print a table with a row for each frame.",
        "It has the time, the axes, the camera, the sun, the moon, the light and the exposure.",
    ),
    "axes": (
        "Print the axis positions to programme the rig with.",
        "They come first for each pose, then for each frame.",
    ),
    "fit": (
        "Work out what you leave open, and write a new plan.",
        "It says what it changed, and why. Give at least one of --all, --clip, --balance, --travel and "
        "--compose.",
    ),
    "compare": (
        "Compare a still, pans, tilts, slides and their combinations on the same scene.",
        "They are ranked, with reasons.",
    ),
    "scout": (
        "Search the place for where to stand and how to move.",
        "It tries spots, heights, lenses and moves, and reviews the best shots. Ctrl C stops the search and "
        "shows the best so far.",
    ),
    "preview": (
        "Draw the draft clip.",
        "It needs Blender. Frames that were drawn before are kept, so that a second clip of them is quick.",
    ),
    "readback": (
        "Read an edited Blender scene back into a plan.",
        "Keyframes, poses, blocks and settings that you changed in Blender come into the new plan.",
    ),
    "sheet": (
        "Write the shot sheet, to print or to read on a phone.",
        "It is a page that needs no network.",
    ),
    "export": (
        "Write the camera's move and the blocks for other programs, as glTF or USD.",
        "It needs Blender.",
    ),
    "blocks": (
        "Put buildings or a horizon from a map into a plan.",
        "A map is GeoJSON or OpenStreetMap's JSON; a horizon is a table of bearing and altitude (CSV).",
    ),
    "photo": (
        "Put a photograph of the place into a plan.",
        "Where it was taken and how it was aimed come from its EXIF data and from what you pin in it. Each "
        "point is X,Y in its pixels, from the top left.",
    ),
    "terrain": (
        "Put the land from elevation grids into a plan.",
        "Ridges make the horizon, the ground around the rail gets its shape, and blocks stand at its height.",
    ),
    "log": (
        "Compare the frames on a card with their plan.",
        "It tells what was really shot, and what to plan otherwise next time.",
    ),
    "late": (
        "Show what you can still shoot when you missed the start.",
        "Each way of saving the clip is reviewed and ranked, with the numbers to set by hand.",
    ),
    "evening": (
        "Put several shots into one evening.",
        "It tells who does what and when, what clashes and by how much, and what helps.",
    ),
    "dates": (
        "Show where in the picture the sun or the moon rises and sets, day by day.",
        "",
    ),
    "doctor": (
        "Show what Duskrail finds on this machine, what is missing, and how to get it.",
        "",
    ),
}


class _Parser(argparse.ArgumentParser):
    def __init__(self, *args: Any, **keywords: Any) -> None:
        super().__init__(*args, **(keywords | {"add_help": False}))
        self._positionals.title = "what to give"
        self.add_argument("-h", "--help", action="help", help="Show this help and exit.")
        # a value may begin with a minus: --at -3,12,1.6
        self._negative_number_matcher = re.compile(r"-\.?\d[-\d.,=eE]*.*")

    def error(self, message: str) -> NoReturn:
        name = self.prog.removeprefix(program()).strip() or NAME
        raise UsageError(f"{name}: {plainly(message)}; {self.prog} --help says more")


def plainly(message: str) -> str:
    """What is wrong with a command line, without the words of the library that reads it."""
    if missing := re.fullmatch(r"the following arguments are required: (.+)", message):
        names = [name.rpartition("/")[2] for name in missing[1].split(", ")]
        *first, last = names
        listed = f"{', '.join(first)} and {last}" if first else last
        return f"{listed} {'are' if first else 'is'} missing"
    if unknown := re.fullmatch(r"unrecognized arguments: (.+)", message):
        return f"nothing here is called {unknown[1]}"
    if bad := re.fullmatch(r"argument \S+: invalid choice: (.+) \(choose from (.+)\)", message):
        return f"{bad[1]} is not one of {bad[2]}".replace("'", "")
    if bare := re.fullmatch(r"argument (\S+): expected (?:one|at least one) argument", message):
        return f"{bare[1].rpartition('/')[2]} needs a value after it"
    return re.sub(r"^argument (?:\S+/)?(\S+):", r"\1:", message)


class _Completion(argparse.Action):
    """Print what a shell reads to complete the command, and leave."""

    def __call__(
        self, parser: argparse.ArgumentParser, _namespace: Any, values: Any, _option: Any = None
    ) -> None:
        print(completion_script(str(values)))
        parser.exit()


def parser_of(runs: Mapping[str, Callable[[argparse.Namespace], int]]) -> argparse.ArgumentParser:
    """Reads a command line; runs has the function that runs each verb."""
    parser = _Parser(
        prog=program(),
        description="Plan a motion-control time-lapse before the evening of the shoot.",
        epilog=f"{program()} VERB --help tells more about a verb and shows an example.",
    )
    parser.add_argument(
        "--version", action="version", version=f"{NAME} {version()}", help="Print the version and exit."
    )
    parser.add_argument(
        "--completion",
        action=_Completion,
        choices=SHELLS,
        metavar="SHELL",
        help='Let the Tab key complete commands: put eval "$(duskrail --completion bash)" into your shell\'s '
        f"start-up file. It also knows {', '.join(SHELLS[1:-1])} and {SHELLS[-1]}.",
    )
    verbs = parser.add_subparsers(
        dest="verb", required=True, metavar="VERB", title="verbs", parser_class=_Parser
    )

    def verb(name: str, *, plan: bool = True) -> argparse.ArgumentParser:
        about, more = ABOUT[name]
        added = verbs.add_parser(
            name,
            help=about,
            description=textwrap.fill(" ".join(filter(None, (about, more))), HELP_COLUMNS),
            epilog=f"Example:\n  {program()} {name} {EXAMPLES[name]}",
            formatter_class=argparse.RawDescriptionHelpFormatter,  # an example is copied as one line
        )
        added.set_defaults(run=runs[name])
        if plan:
            added.add_argument("plan", metavar="PLAN", help="The plan, a .plan.json file.")
        return added

    _add_new(verb("new", plan=False))
    _add_check(verb("check"))
    for name in ("frames", "axes"):
        verb(name).add_argument(
            "-o", "--output", metavar="FILE.csv", help="Write the table to this file, not to standard output."
        )
    _add_fit(verb("fit"))
    one = verb("compare")
    one.add_argument("--json", action="store_true", help="Print the ranking as JSON.")
    one.add_argument("--write", metavar="DIR", help="Save the plan of each move in this folder.")
    _add_scout(verb("scout"))
    _add_preview(verb("preview"))
    one = verb("readback", plan=False)
    one.add_argument(
        "scene", metavar="SCENE.blend", help="A scene saved in Blender, or written by preview --blend."
    )
    _add_new_plan(one)
    one = verb("sheet")
    one.add_argument("-o", "--output", metavar="SHEET.html", help="Write the sheet to this file.")
    one.add_argument("--ics", metavar="FILE", help="Also write the evening's times as a calendar file.")
    one = verb("export")
    one.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        required=True,
        help="Write this file; its name ends in .glb, .gltf, .usd or .usdc.",
    )
    _add_blocks(verb("blocks", plan=False))
    _add_photo(verb("photo", plan=False))
    _add_terrain(verb("terrain", plan=False))
    _add_log(verb("log", plan=False))
    _add_late(verb("late"))
    _add_evening(verb("evening", plan=False))
    _add_dates(verb("dates"))
    one = verb("doctor", plan=False)
    one.add_argument("--json", action="store_true", help="Print it as JSON, to send with a problem report.")
    return parser


def _add_quiet(one: argparse.ArgumentParser) -> None:
    one.add_argument("--quiet", action="store_true", help="Print the result only, and no progress.")


def _add_new_plan(one: argparse.ArgumentParser) -> None:
    one.add_argument("-o", "--output", metavar="NEW", required=True, help="Write the new plan to this file.")


def _add_new(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "output", metavar="PLAN", help="The plan file to write; its name should end in .plan.json."
    )
    one.add_argument(
        "--at", metavar="LAT,LON", help="Where you stand: latitude and longitude from a map, as 43.46,-3.79."
    )
    one.add_argument("--on", metavar="DATE", help="The date of the shoot, as 2027-03-14.")
    one.add_argument(
        "--event",
        metavar="EVENT",
        help="What falls half-way through the move: sunset, sunrise, civil_dusk … Default: sunset.",
    )
    one.add_argument(
        "--subject",
        metavar="THING",
        help="The picture's subject: name, true bearing, distance and height in metres, as "
        '"tower 262 160 20".',
    )
    one.add_argument(
        "--foreground",
        metavar="THING",
        help='Something close to the rail: name, true bearing and distance, as "post 250 1.3". Default: a '
        "post.",
    )
    one.add_argument(
        "--lens",
        metavar="MM",
        help="The focal length. Default: one that suits the subject's size.",
    )
    one.add_argument("--rail", metavar="METRES", help="How far the slider can travel. Default: 1.2 m.")
    one.add_argument(
        "--zone",
        metavar="ZONE",
        help="The time zone, as Europe/Madrid. Default: that of the nearest large city.",
    )
    one.add_argument("--overwrite", action="store_true", help="Replace the plan file if there is one.")
    one.add_argument(
        "--json", action="store_true", help="Print what was chosen and what the review says as JSON."
    )


def _add_check(one: argparse.ArgumentParser) -> None:
    one.add_argument("--json", action="store_true", help="Print the review as JSON.")
    one.add_argument(
        "--log",
        metavar="LOG.json",
        action="append",
        default=[],
        help="Also tell what an earlier shoot at this site measured; the file comes from log --json. May be "
        "given more than once.",
    )


def _add_fit(one: argparse.ArgumentParser) -> None:
    _add_new_plan(one)
    one.add_argument(
        "--travel",
        metavar="PX",
        nargs="?",
        type=_positive,
        const=0.0,
        help="Choose how much of the rail to use: for a calm foreground, or for PX clip pixels a frame.",
    )
    one.add_argument(
        "--balance",
        metavar="DAY:NIGHT",
        type=_ratio,
        help="Choose the start, so that the clip shows day and night in this ratio, as 1:1.",
    )
    one.add_argument(
        "--clip",
        metavar="SECONDS",
        type=_positive,
        help="Choose the number of frames and the interval for a clip of this length.",
    )
    one.add_argument(
        "--compose",
        action="store_true",
        help="Turn the poses no more than it takes to put the picture right.",
    )
    one.add_argument(
        "--all",
        action="store_true",
        help="Change whatever helps against the findings of check, step by step.",
    )
    one.add_argument("--json", action="store_true", help="Print what was changed and what is left as JSON.")
    _add_quiet(one)


def _add_scout(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--area",
        metavar="BLOCK|X0,Y0,X1,Y1",
        help="Search on this block or in this rectangle, in scene metres. Default: all ground within 60 m "
        "of the rail.",
    )
    one.add_argument("--top", metavar="N", type=_count, default=5, help="Show this many finds. Default: 5.")
    one.add_argument(
        "--edge",
        metavar="METRES",
        type=_positive,
        default=0.5,
        help="Stay this far from drops and water. Default: 0.5 m.",
    )
    one.add_argument(
        "--lenses",
        metavar="MM,MM",
        help="Try these focal lengths. Default: those in camera.lenses_mm, or the plan's own.",
    )
    one.add_argument(
        "--heights",
        metavar="LOW:HIGH",
        help="The lowest and the highest that your stands hold the rail, in metres above the ground.",
    )
    one.add_argument(
        "--from",
        dest="first",
        metavar="DATE",
        help="With --to: find the best spot for each evening, and the best evening for each spot.",
    )
    one.add_argument("--to", dest="last", metavar="DATE", help="The last of these evenings.")
    one.add_argument(
        "--subjects",
        action="store_true",
        help="Stay where the rail is planned, and find which block makes the best subject.",
    )
    one.add_argument(
        "--reviews",
        metavar="N",
        type=_count,
        default=120,
        help="Review this many shots; more take longer. Default: 120.",
    )
    _add_quiet(one)
    one.add_argument("--json", action="store_true", help="Print the finds as JSON.")
    one.add_argument("--write", metavar="DIR", help="Save each find as a plan in this folder.")
    one.add_argument(
        "--picture", metavar="FILE.png", help="Draw a contact sheet of the finds, with a map of the place."
    )
    one.add_argument(
        "--look",
        choices=("fast", "lit"),
        help="Draw the contact sheet as the draft clip would be drawn, in Blender.",
    )


def _add_blocks(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "source",
        metavar="FOOTPRINTS",
        help="A map as GeoJSON or OpenStreetMap's JSON, or a .csv file of bearing and altitude.",
    )
    one.add_argument("plan", metavar="PLAN", help="The plan of the place.")
    _add_new_plan(one)
    one.add_argument(
        "--within",
        metavar="METRES",
        type=_positive,
        default=2000.0,
        help="Leave out buildings farther away. Default: 2000 m.",
    )
    one.add_argument(
        "--height",
        metavar="METRES",
        type=_positive,
        default=9.0,
        help="How high to make buildings that the file has no height for. Default: 9 m.",
    )
    one.add_argument(
        "--smallest",
        metavar="M2",
        type=_positive,
        default=10.0,
        help="Leave out buildings of less ground than this, in square metres. Default: 10.",
    )
    one.add_argument(
        "--distance",
        metavar="METRES",
        type=_positive,
        default=3000.0,
        help="How far away the horizon of a .csv file is. Default: 3000 m.",
    )


def _add_photo(one: argparse.ArgumentParser) -> None:
    from .photo_command import moment, place

    one.add_argument("image", metavar="IMAGE", nargs="?", help="A JPEG, HEIC, TIFF or raw file.")
    one.add_argument("plan", metavar="PLAN", help="The plan of the place.")
    one.add_argument("-o", "--output", metavar="NEW", help="Write the new plan to this file.")
    one.add_argument(
        "--pin",
        metavar="X,Y=WHAT",
        action="append",
        default=[],
        help="Say what is at a point of the photograph: sun, moon, a direction as BEARING,ALTITUDE, or a "
        "block's top, foot or numbered corner, as 812,640=tower top.",
    )
    one.add_argument(
        "--at", metavar="X,Y,Z", type=place, help="Where the photograph was taken, in scene metres."
    )
    one.add_argument("--bearing", metavar="DEG", type=float, help="The true bearing that it looks along.")
    one.add_argument("--fov", metavar="DEG", type=_positive, help="Its horizontal field of view.")
    one.add_argument(
        "--declination",
        metavar="DEG",
        type=float,
        help="The magnetic declination there, east positive, where the camera noted a magnetic direction.",
    )
    one.add_argument(
        "--taken", metavar="TIME", type=moment, help="When it was taken, local time, as 2027-03-14T18:20:00."
    )
    one.add_argument(
        "--block",
        metavar="NAME FOOT TOP",
        action="append",
        default=[],
        help='Make a block that reaches from one point to another, as "tower 412,900 410,300"; its left '
        "and right edge may follow as two more points, then its distance, or foot and top in an earlier "
        'photograph: "= other.jpg 388,905 386,310".',
    )
    one.add_argument(
        "--skyline",
        metavar="NAME DISTANCE X,Y …",
        action="append",
        default=[],
        help='Make a ridge through these points, as "hills 4000 0,500 900,440".',
    )
    one.add_argument(
        "--check",
        action="store_true",
        help="Tell how far the plan's blocks and its photographs disagree, and write nothing.",
    )
    one.add_argument("--json", action="store_true", help="Print the result as JSON.")


def _add_terrain(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "sources",
        metavar="FILE",
        nargs="+",
        help="Elevation grids: SRTM .hgt, Esri .asc or GeoTIFF, in geographic coordinates.",
    )
    one.add_argument("plan", metavar="PLAN", help="The plan; its site has to lie in the grids.")
    _add_new_plan(one)
    one.add_argument(
        "--near",
        metavar="METRES",
        type=_near_m,
        default=120.0,
        help="Shape the ground this far around the rail; 0 leaves it flat. Default: 120 m.",
    )
    one.add_argument(
        "--zero",
        metavar="METRES",
        type=float,
        help="How high above the sea the scene's zero lies. Without it, the ground under the rail decides.",
    )
    one.add_argument("--json", action="store_true", help="Print the horizon and what was found as JSON.")


def _add_log(one: argparse.ArgumentParser) -> None:
    from .log_command import clock_offset

    one.add_argument("folder", metavar="FOLDER", help="The folder with the frames; it is only read.")
    one.add_argument("plan", metavar="PLAN", help="The plan that they were shot by.")
    one.add_argument(
        "-o",
        "--output",
        metavar="REPORT.html",
        help="Draw plan and log over each other, as a page.",
    )
    one.add_argument(
        "--plan", dest="new_plan", metavar="NEW", help="Write a new plan that keeps what was learned."
    )
    one.add_argument(
        "--clock-offset",
        metavar="OFFSET",
        type=clock_offset,
        help="How far the camera's clock was ahead of local time: in seconds, or as +H:MM:SS.",
    )
    one.add_argument("--json", action="store_true", help="Print the log as JSON.")
    _add_quiet(one)


def _add_late(one: argparse.ArgumentParser) -> None:
    from .late_command import length_s

    one.add_argument(
        "--now", metavar="TIME", required=True, help="When you can take the first frame, as 18:52."
    )
    one.add_argument(
        "--have", metavar="TIME", type=length_s, help="How much time you have from then on, as 75min."
    )
    one.add_argument(
        "-o", "--output", metavar="PAGE.html", help="Write the numbers to set as a page for a phone."
    )
    one.add_argument("--write", metavar="DIR", help="Save the plan of each way in this folder.")
    one.add_argument("--json", action="store_true", help="Print the ways as JSON.")


def _add_evening(one: argparse.ArgumentParser) -> None:
    from .late_command import length_s

    one.add_argument("plans", metavar="PLAN", nargs="+", help="The plans of the evening, up to six.")
    one.add_argument(
        "-o",
        "--output",
        metavar="SHEET.html",
        help="Write the evening as a page, and each shot's own sheet beside it.",
    )
    one.add_argument("--ics", metavar="FILE", help="Also write the evening's times as a calendar file.")
    one.add_argument(
        "--people", metavar="N", type=_count, default=1, help="How many of you there are. Default: 1."
    )
    one.add_argument(
        "--pace",
        metavar="KM/H",
        type=_pace,
        default=4.0,
        help="How fast you walk with the gear. Default: 4 km/h.",
    )
    one.add_argument(
        "--detour",
        metavar="FACTOR",
        type=_detour,
        default=1.3,
        help="How much longer the way is than the straight line. Default: 1.3 times.",
    )
    one.add_argument(
        "--pack",
        metavar="TIME",
        type=length_s,
        default=1800.0,
        help="How long it takes to pack up a shot. Default: 30min.",
    )
    one.add_argument(
        "--balance",
        metavar="DAY:NIGHT",
        type=_balance,
        default=0.05,
        help="How uneven day and night of a shot may become. Default: 55:45.",
    )
    one.add_argument(
        "--shift",
        metavar="TIME",
        type=length_s,
        default=1800.0,
        help="How far a shot that isn't tied to a light event may start earlier or later. Default: 30min.",
    )
    one.add_argument("--write", metavar="DIR", help="Save the plans with their new starts in this folder.")
    one.add_argument("--json", action="store_true", help="Print the evening as JSON.")


def _add_dates(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--from", dest="first", metavar="DATE", required=True, help="The first date, as 2027-03-01."
    )
    one.add_argument("--to", dest="last", metavar="DATE", required=True, help="The last date.")
    one.add_argument("--moon", action="store_true", help="Look at the moon instead of the sun.")
    one.add_argument(
        "--milky-way",
        action="store_true",
        help="Name the nights on which the middle of the Milky Way stands over the place in the dark.",
    )
    one.add_argument(
        "--beside",
        metavar="BLOCK",
        help="Name the times at which the sun, or the moon, stands behind or just beside this block's top.",
    )
    one.add_argument(
        "--above",
        metavar="DEG",
        type=float,
        default=0.0,
        help="With --beside: this many degrees above the top instead.",
    )
    one.add_argument("-o", "--output", metavar="FILE.csv", help="Write all days as a table to this file.")


def _add_preview(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "-o", "--output", metavar="CLIP.mp4", help="Write the clip to this file, or a still as PNG."
    )
    one.add_argument(
        "--look",
        choices=("fast", "lit"),
        default="fast",
        help="fast shows the timing and is quick; lit shows the light of the evening. Default: fast.",
    )
    one.add_argument(
        "--frames", metavar="A:B", type=_frame_range, help="Draw only these frames, counted from 1."
    )
    one.add_argument(
        "--every",
        metavar="N",
        type=_count,
        default=1,
        help="Draw every Nth frame only; the clip stays as long.",
    )
    one.add_argument(
        "--size", metavar="WxH", type=_size, help="Draw in this size, in the clip's shape, as 960x540."
    )
    one.add_argument("--title", action="store_true", help="Put a title card before the clip.")
    one.add_argument(
        "--burn-in",
        action="store_true",
        help="Write the time, the frame, the sun and the exposure into the picture.",
    )
    one.add_argument(
        "--beside", metavar="PLAN2", help="Show the clip of a second plan on the right, at the same pace."
    )
    one.add_argument(
        "--join",
        action="store_true",
        help="Draw nothing, and make the clip from frames that were drawn before, here or elsewhere.",
    )
    one.add_argument(
        "--jobs",
        metavar="N",
        type=_count,
        help="How many processes draw at once. Default: as many as make it faster.",
    )
    one.add_argument(
        "--still", metavar="N", type=_count, help="Draw frame N alone as PNG, in the clip's full size."
    )
    one.add_argument(
        "--contact", metavar="FILE.png", help="Also write a contact sheet of the frames that matter."
    )
    one.add_argument(
        "--blend",
        metavar="FILE.blend",
        help="Also save the scene, to edit in Blender and read back.",
    )
    _add_quiet(one)


# ---------------------------------------------------------------- values


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
