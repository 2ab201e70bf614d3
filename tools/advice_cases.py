"""Plans with planted mistakes, and whether the advice about them holds: each remedy of `check --json` is put
into the plan file and the plan checked again.

The changes are applied here by hand, as someone with an editor would, and not by the code that tried them.
"""

from __future__ import annotations

import copy
import json
import random
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from planner_core import PlanError, compute_frames, review
from planner_core.plan.file import plan_from_dict
from planner_core.review.assess import assess

EXAMPLES = Path(__file__).resolve().parent.parent / "example_scenes"
LEVELS = ("stop", "warn", "note")

Document = dict[str, Any]
Mistake = Callable[[random.Random, Document], None]


# ---------------------------------------------------------------- planting


def planted(rng: random.Random) -> Document:
    """An example of fewer frames and blocks, with one to four mistakes in it."""
    while True:
        document: Document = json.loads(rng.choice(sorted(EXAMPLES.glob("*.plan.json"))).read_text("utf-8"))
        _made_smaller(rng, document)
        for mistake in rng.sample(MISTAKES, rng.choice((1, 1, 2, 2, 3, 4))):
            mistake(rng, document)
        try:
            compute_frames(plan_from_dict(copy.deepcopy(document)))
        except PlanError:
            continue
        return document


def _made_smaller(rng: random.Random, document: Document) -> None:
    shoot, blocks = document["shoot"], document["blocks"]
    frames = rng.choice((60, 90, 120, 180))
    shoot["interval_s"] = round(shoot["interval_s"] * shoot["frames"] / frames * rng.choice((0.5, 1.0)), 1)
    shoot["frames"] = frames
    subject = document.get("composition", {}).get("subject")
    kept = [block for block in blocks if block["name"] == subject]
    kept += rng.sample([block for block in blocks if block not in kept], min(len(blocks) - len(kept), 7))
    document["blocks"] = kept


def _hurried(rng: random.Random, document: Document) -> None:
    document["shoot"]["interval_s"] = rng.choice((1.0, 2.0, 3.0, 4.0))


def _held_long(rng: random.Random, document: Document) -> None:
    document["exposure"]["shutter_max_s"] = rng.choice((8.0, 13.0, 20.0, 30.0))
    document["exposure"]["artificial_ev100"] = rng.choice((-2.0, 0.0, None))


def _lopsided(rng: random.Random, document: Document) -> None:
    if "anchor" in document["shoot"]:
        document["shoot"]["anchor"]["at"] = rng.choice((0.0, 0.05, 0.15, 0.8, 0.95, 1.0))


def _by_night(rng: random.Random, document: Document) -> None:
    if "anchor" in document["shoot"]:
        document["shoot"]["anchor"].update(event=rng.choice(("nautical_dusk", "astronomical_dusk")), at=0.0)
    document["exposure"].update(artificial_ev100=None, iso_max=rng.choice((1600, 6400)), shutter_max_s=25.0)
    document["shoot"]["interval_s"] = 30.0


def _pan_elsewhere(rng: random.Random, document: Document) -> None:
    pose = rng.choice(document["move"]["poses"])
    pose["pan_deg"] = pose.get("pan_deg", 0.0) + rng.choice((-70.0, -25.0, -12.0, 12.0, 25.0, 70.0))


def _tilt_elsewhere(rng: random.Random, document: Document) -> None:
    pose = rng.choice(document["move"]["poses"])
    pose["tilt_deg"] = rng.choice((-50.0, -12.0, 12.0, 25.0, 50.0))


def _off_the_rail(rng: random.Random, document: Document) -> None:
    slide = document["rig"].get("slide")
    if slide:
        rng.choice(document["move"]["poses"])["slide_m"] = slide["max_m"] + rng.choice((0.1, 0.4))


def _whole_rail(rng: random.Random, document: Document) -> None:
    slide, poses = document["rig"].get("slide"), document["move"]["poses"]
    if slide:
        poses[0]["slide_m"], poses[-1]["slide_m"] = slide["min_m"], slide["max_m"]


def _out_of_focus(rng: random.Random, document: Document) -> None:
    document["camera"]["focus_distance_m"] = rng.choice((0.6, 1.2, 2.5, 200.0))


def _wide_open(rng: random.Random, document: Document) -> None:
    document["exposure"]["f_number"] = rng.choice((1.4, 2.0, 2.8, 16.0, 22.0))


def _low_iso(rng: random.Random, document: Document) -> None:
    document["exposure"].update(iso_max=100, iso_min=100, shutter_max_s=rng.choice((0.25, 1.0, 2.0)))


def _dark_filter(rng: random.Random, document: Document) -> None:
    document["exposure"]["nd_stops"] = rng.choice((3.0, 6.0, 10.0))


def _slow_shutter(rng: random.Random, document: Document) -> None:
    document["exposure"]["shutter_min_s"] = rng.choice((1 / 60, 1 / 15, 0.125))


def _never_resting(rng: random.Random, document: Document) -> None:
    document["move"]["drive"] = "continuous"


def _along_the_rail(rng: random.Random, document: Document) -> None:
    document["rig"]["bearing_deg"] += rng.choice((-90.0, 90.0))


def _long_lens(rng: random.Random, document: Document) -> None:
    document["camera"]["focal_length_mm"] = rng.choice((50.0, 85.0, 135.0, 200.0))


def _misspelt(rng: random.Random, document: Document) -> None:
    if document.get("composition"):
        document["composition"]["subject"] = document["composition"]["subject"][:-1] + "x"


def _revealed(rng: random.Random, document: Document) -> None:
    if document.get("composition"):
        document["composition"].update(style="reveal", reveal_by=rng.choice((0.1, 0.3, 0.6)))


def _wrong_sign(rng: random.Random, document: Document) -> None:
    document["site"]["longitude_deg"] *= -1.0


def _too_large(rng: random.Random, document: Document) -> None:
    document["clip"].update(width_px=7680, height_px=4320)


def _steep_rail(rng: random.Random, document: Document) -> None:
    document["rig"]["incline_deg"] = rng.choice((-38.0, 35.0))


def _few_frames(rng: random.Random, document: Document) -> None:
    document["shoot"].update(frames=rng.choice((20, 30)), interval_s=rng.choice((60.0, 180.0)))


def _early_turn(rng: random.Random, document: Document) -> None:
    poses = document["move"]["poses"]
    if len(poses) == 2:
        middle = copy.deepcopy(poses[1]) | {"at": rng.choice((0.2, 0.3, 0.7))}
        document["move"]["poses"] = [poses[0], middle, poses[1]]


def _slow_motor(rng: random.Random, document: Document) -> None:
    slide = document["rig"].get("slide")
    if slide:
        slide["max_speed_m_s"] = rng.choice((0.0005, 0.002))


MISTAKES: tuple[Mistake, ...] = (
    *(_hurried, _held_long, _lopsided, _by_night, _pan_elsewhere, _tilt_elsewhere, _off_the_rail),
    *(_whole_rail, _out_of_focus, _wide_open, _low_iso, _dark_filter, _slow_shutter, _never_resting),
    *(_along_the_rail, _long_lens, _misspelt, _revealed, _wrong_sign, _too_large, _steep_rail),
    *(_few_frames, _early_turn, _slow_motor),
)


# ---------------------------------------------------------------- judging


def checked(document: Document) -> list[Document]:
    """The findings of `check --json`."""
    plan = plan_from_dict(copy.deepcopy(document))
    told: list[Document] = json.loads(json.dumps(review(plan, compute_frames(plan)).as_dict()))["findings"]
    return told


def found(document: Document) -> list[Document]:
    """The same findings by code and level, before anything is tried against them."""
    plan = plan_from_dict(copy.deepcopy(document))
    findings = assess(plan, compute_frames(plan)).findings
    return [{"code": each.code, "level": each.level} for each in findings]


def bad_advice(document: Document, told: Callable[[Document], None] = lambda _: None) -> Iterator[str]:
    """A sentence for each remedy that leaves its finding as it is, or that brings something as grave.

    told hears of every remedy that was put into the plan.
    """
    before = checked(document)
    for finding in before:
        for remedy in finding["remedies"]:
            told(remedy)
            try:
                after = found(edited(document, remedy["changes"]))
            except PlanError as problem:
                yield f"{finding['code']}: {remedy['text']} The plan refuses it: {problem}"
                continue
            grave = LEVELS[: LEVELS.index(finding["level"]) + 1]
            if any(each["code"] == finding["code"] and each["level"] in grave for each in after):
                yield f"{finding['code']}: {remedy['text']} It is still as grave."
            for code in _worse(before, after, finding["level"]):
                yield f"{finding['code']}: {remedy['text']} It brings {code}."


def _worse(before: list[Document], after: list[Document], level: str) -> list[str]:
    """Codes of which a level as grave as this one, or graver, has more than before."""
    worse = []
    for rank in range(LEVELS.index(level) + 1):
        was, now = (
            Counter(f["code"] for f in each if LEVELS.index(f["level"]) <= rank) for each in (before, after)
        )
        worse += [code for code in now if now[code] > was[code]]
    return worse


def edited(document: Document, changes: Mapping[str, Any]) -> Document:
    """The plan file with its fields changed by path, as by hand."""
    new = copy.deepcopy(document)
    for path, value in changes.items():
        *parents, last = [int(step) if step.isdigit() else step for step in re.findall(r"[^.\[\]]+", path)]
        holder: Any = new
        for step in parents:
            holder = holder.setdefault(step, {}) if isinstance(holder, dict) else holder[step]
        if value is None:
            holder.pop(last, None)
        else:
            holder[last] = value
        if path == "shoot.start" and value is not None:
            holder.pop("anchor", None)
        if path == "shoot.anchor" and value is not None:
            holder.pop("start", None)
    return new
