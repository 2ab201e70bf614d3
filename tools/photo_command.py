"""The photo verb: a photograph of a scouting visit into the plan, and blocks and photographs compared."""

from __future__ import annotations

import argparse
import datetime as dt
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from planner_core.plan.file import load_plan, save_plan
from planner_core.plan.model import Block, Photo, Pin, Plan, PlanError
from planner_core.plan.text import one_line

from .files import say
from .outcome import DONE, UsageError
from .terminal import json_text

if TYPE_CHECKING:
    from planner_core.photo.check import PinCheck
    from planner_core.photo.solve import Solved

_PIN = re.compile(r"\s*(-?[\d.]+)\s*,\s*(-?[\d.]+)\s*=\s*(.+?)\s*")


def run_photo(arguments: argparse.Namespace) -> int:
    """Add or check a photograph."""
    plan = load_plan(arguments.plan)
    if arguments.check:
        return _check(arguments, plan)
    if arguments.image is None or arguments.output is None:
        raise UsageError("photo: name an IMAGE, a PLAN and -o NEW; with --check a PLAN alone")
    return _add(arguments, plan)


def _add(arguments: argparse.Namespace, plan: Plan) -> int:
    from planner_core.photo.editing import rounded, with_photo
    from planner_core.photo.exif import read_exif
    from planner_core.photo.solve import solve_photo
    from planner_core.photo.start import Given, entry
    from planner_core.photo.words import solved_lines

    name = Path(arguments.image).name
    before = next((photo for photo in plan.photos if photo.file == name), None)
    pins = tuple(_pin(text) for text in arguments.pin) or (before.pins if before else ())
    begun = entry(
        plan,
        name,
        read_exif(arguments.image),
        Given(
            place_m=arguments.at,
            bearing_deg=arguments.bearing,
            fov_deg=arguments.fov,
            declination_deg=arguments.declination,
            taken=arguments.taken,
        ),
        pins,
    )
    solved = solve_photo(plan, begun.photo, place_known=begun.place_known)
    photo = rounded(solved.photo)
    plan = with_photo(plan, photo)
    plan = _with_blocks(arguments, plan, photo)
    save_plan(plan, arguments.output)
    if arguments.json:
        say(json_text(_solved_dict(attrs.evolve(solved, photo=photo))), arguments.output)
    else:
        said = [sentence + "." for sentence in begun.said] + solved_lines(solved)
        said += [
            f"The block {one_line(block.name)} was made from the photograph."
            for block in plan.blocks[_count_before(arguments, plan) :]
        ]
        say("\n".join((*said, f"Written to {arguments.output}.")), arguments.output)
    return DONE


def _count_before(arguments: argparse.Namespace, plan: Plan) -> int:
    return len(plan.blocks) - len(arguments.block) - len(arguments.skyline)


def _with_blocks(arguments: argparse.Namespace, plan: Plan, photo: Photo) -> Plan:
    """The plan with the blocks that --block and --skyline point at."""
    from planner_core.photo.sightings import ridge_from_photo

    blocks = [*plan.blocks, *(_block(plan, photo, text) for text in arguments.block)]
    for text in arguments.skyline:
        name, points, numbers = _sighting(text, "--skyline", "hills 4000 0,500 900,440")
        if len(points) < 2 or len(numbers) != 1:
            raise UsageError(
                f"--skyline: {text} needs a name, a distance and points, as in: hills 4000 0,500 900,440"
            )
        blocks.append(ridge_from_photo(plan, photo, name, points, numbers[0]))
    return attrs.evolve(plan, blocks=tuple(blocks))


def _block(plan: Plan, photo: Photo, text: str) -> Block:
    """A block that --block points at in this photograph, and behind “=” in an earlier one."""
    from planner_core.photo.sightings import block_from_photo, block_from_two

    here, equals, there = text.partition("=")
    name, points, numbers = _sighting(here, "--block", "tower 412,900 410,300")
    if len(points) not in (2, 4) or len(numbers) > (0 if equals else 1):
        raise UsageError(
            f"--block: {one_line(text)} needs a name, foot and top, as in: tower 412,900 410,300 [DISTANCE]"
        )
    width = abs(points[3][0] - points[2][0]) if len(points) == 4 else None
    if not equals:
        distance = numbers[0] if numbers else None
        return block_from_photo(plan, photo, name, points[0], points[1], distance_m=distance, width_px=width)
    file, others, rest = _sighting(there, "--block", "tower 412,900 410,300 = other.jpg 388,905 386,310")
    if len(others) != 2 or rest:
        raise UsageError(
            f"--block: {one_line(text)} needs foot and top in the other photograph too, as in: "
            "tower 412,900 410,300 = other.jpg 388,905 386,310"
        )
    other = next((one for one in plan.photos if one.file == file and one.file != photo.file), None)
    if other is None:
        raise UsageError(f"--block: {one_line(file)} is not another photograph of the plan; add it first")
    feet, tops = (points[0], others[0]), (points[1], others[1])
    return block_from_two(plan, (photo, other), name, feet, tops, width_px=width)


def _sighting(text: str, option: str, example: str) -> tuple[str, list[tuple[float, float]], list[float]]:
    """A name, points and plain numbers out of one option's words. Raises UsageError."""
    name: list[str] = []
    points: list[tuple[float, float]] = []
    numbers: list[float] = []
    for word in text.split():
        parts = word.split(",")
        try:
            values = [float(part) for part in parts]
        except ValueError:
            if points or numbers:
                raise UsageError(
                    f"{option}: {one_line(word)} is not a number; write it like: {example}"
                ) from None
            name.append(word)
            continue
        if len(values) == 2:
            points.append((values[0], values[1]))
        elif len(values) == 1 and values[0] > 0.0:
            numbers.append(values[0])
        else:
            raise UsageError(
                f"{option}: {one_line(word)} is neither a point nor a distance; write it like: {example}"
            )
    if not name:
        raise UsageError(f"{option}: {one_line(text)} has no name; write it like: {example}")
    return " ".join(name), points, numbers


def _pin(text: str) -> Pin:
    """A pin in words: X,Y=sun, X,Y=BEARING,ALTITUDE, or X,Y=BLOCK [top|foot|CORNER]. Raises UsageError."""
    match = _PIN.fullmatch(text)
    if match is None:
        raise UsageError(f"--pin: {one_line(text)} is not a pin; write X,Y=WHAT, as 812,640=tower top")
    what = match[3]
    try:
        x, y = float(match[1]), float(match[2])
        if what in ("sun", "moon"):
            return Pin(x_px=x, y_px=y, disc=what)
        direction = re.fullmatch(r"(-?[\d.]+)\s*,\s*(-?[\d.]+)", what)
        if direction:
            return Pin(x_px=x, y_px=y, bearing_deg=float(direction[1]), altitude_deg=float(direction[2]))
        name, _, corner = what.rpartition(" ")
        if name and (corner in ("top", "foot") or corner.isdecimal()):
            return Pin(x_px=x, y_px=y, block=name.strip(), corner=corner)
        return Pin(x_px=x, y_px=y, block=what)
    except PlanError as error:
        raise UsageError(f"--pin: {one_line(text)}: {error}") from None
    except ValueError:
        raise UsageError(f"--pin: {one_line(text)} has something in it that is not a number") from None


def _check(arguments: argparse.Namespace, plan: Plan) -> int:
    from planner_core.photo.check import check_photo
    from planner_core.photo.words import check_lines

    name = Path(arguments.image).name if arguments.image else None
    photos = [photo for photo in plan.photos if name in (None, photo.file)]
    if not photos:
        what = (
            f"{one_line(name)} is not among the plan's photographs" if name else "the plan has no photographs"
        )
        raise UsageError(f"photo: {what}; add one with: photo IMAGE PLAN -o NEW")
    checks = [one for photo in photos for one in check_photo(plan, photo)]
    if arguments.json:
        print(
            json_text(
                {"photos": [photo.file for photo in photos], "pins": [_check_dict(one) for one in checks]}
            )
        )
    else:
        lines = check_lines(checks) or ["There are no pins to compare with."]
        print("\n".join(lines))
    return DONE


def _solved_dict(solved: Solved) -> dict[str, Any]:
    from planner_core.plan.file import plan_part_to_dict

    def finite(value: Any) -> Any:
        if isinstance(value, (tuple, list)):
            return [finite(one) for one in value]
        return None if isinstance(value, float) and value in (float("inf"), float("-inf")) else value

    return {
        "photo": plan_part_to_dict(solved.photo),
        "solved": list(solved.solved),
        "rms_px": solved.rms_px,
        "residuals_px": list(solved.residual_px),
        "certainty": {name: finite(value) for name, value in attrs.asdict(solved.certainty).items()},
        "off_pin": None if solved.off is None else solved.off + 1,
        "off_px": solved.off_px if solved.off is not None else None,
    }


def _check_dict(one: PinCheck) -> dict[str, Any]:
    from planner_core.photo.check import pin_label

    return {
        "photo": one.photo,
        "pin": one.number + 1,
        "what": pin_label(one.pin),
        "off_px": one.off_px,
        "off_deg": one.off_deg,
        "bearing_off_deg": one.bearing_off_deg,
        "altitude_off_deg": one.altitude_off_deg,
    }


def place(text: str) -> tuple[float, float, float]:
    """Three numbers, as --at takes them."""
    parts = text.split(",")
    try:
        x, y, z = (float(part) for part in parts)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text} is not a place; write X,Y,Z in scene metres") from None
    return x, y, z


def moment(text: str) -> dt.datetime:
    """A local time, as --taken takes it."""
    try:
        if "T" not in text and " " not in text:
            raise ValueError
        return dt.datetime.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text} is not a time; write 2027-03-14T18:20:00") from None
