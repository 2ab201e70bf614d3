"""What a find is called, why it is one, what it costs and what to check there: words for a person."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from attrs import evolve, frozen
from numpy.typing import NDArray

from planner_core.evening import moonlight, sunlight
from planner_core.maths.angles import wrapped_deg
from planner_core.moves.score import light_comes_from
from planner_core.picture import composition
from planner_core.picture.parallax import HORIZON, MISSING_PERCENT, Layer
from planner_core.place import blocking
from planner_core.place.blocking import block_label
from planner_core.plan.model import LIGHT_SIDES, Plan
from planner_core.plan.text import one_line
from planner_core.plan.timeline import clock
from planner_core.scout.search import ReviewedShot, Scout
from planner_core.words.figures import figure, percent
from planner_core.words.language import say

LOW_M, WAIST_M, EYE_M = 0.75, 1.25, 1.85  # heights of the camera over the ground; common practice, no source
BEHIND_M = 8.0  # a foreground nearer than this gives the shot its name
WALL_M, OVERHEAD_M = 2.0, 0.7  # wider and so much higher than the camera, one doesn't look past or over it
WHOLE_PERCENT = 95.0  # of the frame, from where on it is told as the whole
WATER_NEAR_M, EDGE_NEAR_M = 5.0, 2.0
LIGHT_WORDS = {
    "front": "the sun shines from behind the camera",
    "side": "the sun shines from the side",
    "back": "the sun shines from ahead",
}
NUMBERED = re.compile(r"(.*\S)\s+\d+")


@frozen(kw_only=True, eq=False)
class Find:
    """One find, described. place_m is where the middle of the travel stands on the ground."""

    name: str
    reason: str
    costs: tuple[str, ...]
    to_check: tuple[str, ...]
    weakest_frame: int
    weakest_score: float
    reviewed: ReviewedShot

    @property
    def plan(self) -> Plan:
        return self.reviewed.plan

    @property
    def points(self) -> float:
        """The score as it is told."""
        return round(self.reviewed.score.total, 1)

    @property
    def in_short(self) -> str:
        """Lens and move, for a narrow list: “24 mm, slide left 0.8 m”."""
        return f"{self.reviewed.shot.focal_length_mm:g} mm, {_move(self.reviewed)}"

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        shot, measured = self.reviewed.shot, self.reviewed.measured
        return {
            "name": self.name,
            **self.reviewed.score.as_dict(),
            "reason": self.reason,
            "costs": list(self.costs),
            "to_check": list(self.to_check),
            "weakest_frame": self.weakest_frame,
            "weakest_score": self.weakest_score,
            "kind": shot.kind,
            "place_m": [round(value, 3) for value in shot.place_m],
            "rail_height_m": shot.height_m,
            "rail_bearing_deg": self.plan.rig.bearing_deg,
            "focal_length_mm": shot.focal_length_mm,
            "travel_m": abs(shot.travel_m),
            "measures": measured.measures().as_dict(),
            "findings": sorted({f.code for f in measured.findings if f.level != "note"}),
        }


def describe(scout: Scout, reviewed: ReviewedShot) -> Find:
    """A find in words."""
    measured = reviewed.measured
    return Find(
        name=_name(scout, reviewed),
        reason=_reason(reviewed),
        costs=_costs(scout, reviewed),
        to_check=_to_check(scout, reviewed),
        weakest_frame=measured.weakest + 1,
        weakest_score=round(float(measured.reading.score[measured.weakest]), 3),
        reviewed=reviewed,
    )


# ---------------------------------------------------------------- the name


def _name(scout: Scout, reviewed: ReviewedShot) -> str:
    shot = reviewed.shot
    place = _height(shot.height_m + scout.plan.rig.head_height_m, _where(scout, reviewed))
    parts = [place, f"{shot.focal_length_mm:g} mm", _move(reviewed)]
    if shot.kind == "slide-held":
        label = _subject_label(reviewed)
        held = say("{name}", name=label) if label else say("the subject")
        parts.append(say("{subject} held", subject=held))
    return ", ".join(parts)


def _height(camera_m: float, where: str) -> str:
    if camera_m < LOW_M:
        return say("low {where}", where=where)
    if camera_m < WAIST_M:
        return say("at waist height {where}", where=where)
    return say("at eye height {where}" if camera_m < EYE_M else "high {where}", where=where)


def _where(scout: Scout, reviewed: ReviewedShot) -> str:
    near = _foreground(reviewed)
    if near is not None and near.distance_m < BEHIND_M:
        beside = _is_beside(reviewed, near)
        return say("beside {what}" if beside else "behind {what}", what=_called(reviewed, near.block))
    _, which = scout.terrain.under(np.array([reviewed.shot.place_m[:2]]))
    name = scout.terrain.names[int(which[0])]
    return say("on {what}", what=_with_article(one_line(name))) if name else say("in the open")


def _is_beside(reviewed: ReviewedShot, near: Layer) -> bool:
    """One stands beside what is too wide and high to look past and over: a house, not a post."""
    seen = reviewed.measured.frames.view.visibility
    wall = float(np.ptp(seen.boxes.corners_m[seen.boxes.block == near.block], axis=(0, 1))[:2].max()) > WALL_M
    above_m = float(seen.top_m[near.block]) - float(seen.camera_m[:, 2].mean())
    return wall and above_m > OVERHEAD_M


def _foreground(reviewed: ReviewedShot) -> Layer | None:
    """The nearest thing in the picture that isn't the subject itself."""
    near = reviewed.measured.parallax.near
    own = blocking.subject_parts(reviewed.plan)
    return None if near is None or near.block == HORIZON or near.block in own else near


def _called(reviewed: ReviewedShot, block: int) -> str:
    """A block as one would speak of it; of several that are numbered alike and stand near, all of them."""
    name = _label(reviewed, block)
    numbered = NUMBERED.fullmatch(name)
    if numbered is None:
        return _with_article(name)
    stem = numbered[1]
    near = [layer for layer in reviewed.measured.parallax.layers if layer.distance_m < 2.0 * BEHIND_M]
    names = [_label(reviewed, layer.block) for layer in near if layer.block != HORIZON]
    alike = sum(bool(one and one[1] == stem) for one in map(NUMBERED.fullmatch, names))
    if alike < 2:
        return _with_article(name)
    several = _plural(stem)
    return say("the {several}" if _is_common(several) else "{several}", several=several)


def _plural(word: str) -> str:
    if word.endswith(("s", "x", "ch", "sh")):
        return say("{word}es", word=word)
    if re.search(r"[^aeiou]y$", word):
        return say("{stem}ies", stem=word[:-1])
    return say("{word}s", word=word)


def _with_article(name: str) -> str:
    """“the quay”; a name that is written as one, or has its article or number, stays as it is."""
    return say("the {name}" if _is_common(name) else "{name}", name=name)


def _is_common(name: str) -> bool:
    common = name[:1].islower() and not any(letter.isdigit() for letter in name)
    return common and not name.startswith(("the ", "a ", "an "))


def _label(reviewed: ReviewedShot, block: int) -> str:
    """A block's name without the marks around it."""
    return block_label(reviewed.plan, block)


def _subject_label(reviewed: ReviewedShot) -> str:
    """The subject's name without marks; empty where there is none."""
    return composition.subject_label(reviewed.plan)


def _subject(reviewed: ReviewedShot) -> str:
    """The subject as one would speak of it."""
    label = _subject_label(reviewed)
    return _with_article(label) if label else say("the subject")


def _move(reviewed: ReviewedShot) -> str:
    shot, poses = reviewed.shot, reviewed.plan.move.poses
    if shot.kind == "still":
        return say("still")
    if shot.kind == "pan":
        turned = wrapped_deg(float(poses[-1].pan_deg or 0.0) - float(poses[0].pan_deg or 0.0))
        angle = figure(abs(turned), 2)
        return say("pan right {angle}°" if turned > 0.0 else "pan left {angle}°", angle=angle)
    if shot.kind == "tilt":
        turned = float(poses[-1].tilt_deg or 0.0) - float(poses[0].tilt_deg or 0.0)
        angle = figure(abs(turned), 2)
        return say("tilt up {angle}°" if turned > 0.0 else "tilt down {angle}°", angle=angle)
    travel = figure(abs(shot.travel_m), 2)
    if shot.kind in ("push-in", "pull-out"):
        return say("push in {travel} m" if shot.kind == "push-in" else "pull out {travel} m", travel=travel)
    lens = float(reviewed.measured.frames.lens_bearing_deg[0])
    aside = np.sin(np.radians(shot.rail_deg - lens)) * shot.travel_m
    return say("slide right {travel} m" if aside > 0.0 else "slide left {travel} m", travel=travel)


# ---------------------------------------------------------------- the reason


def _reason(reviewed: ReviewedShot) -> str:
    """Why it is one, in a sentence or two: picture, move, light, and what its review warns of."""
    said = [_picture_words(reviewed), _move_words(reviewed)]
    text = "; ".join(part for part in said if part)
    sentences = [f"{text[0].upper()}{text[1:]}."]
    light = _light_words(reviewed)
    if light:
        sentences.append(f"{light[0].upper()}{light[1:]}.")
    worry = reviewed.measured.worst(set(reviewed.score.faults) - {"foreground-missing", "background-static"})
    if worry is not None:
        sentences.append(say("But: {finding}", finding=worry.message))
    return " ".join(sentences)


def _picture_words(reviewed: ReviewedShot) -> str:
    measured = reviewed.measured
    score = measured.reading.score[measured.weakest] * 100.0
    if measured.reveals:
        return say(
            "{subject} comes out in time and stays to the end (weakest frame after that {score:.0f} of 100)",
            subject=_subject(reviewed),
            score=score,
        )
    if score >= 80.0:
        template = "{subject} stands well in every frame (the weakest {score:.0f} of 100)"
        return say(template, subject=_subject(reviewed), score=score)
    part = composition.part_text(reviewed.plan, measured.reading, measured.weakest)
    frame = measured.weakest + 1
    return say("weakest at frame {frame} ({score:.0f} of 100): {part}", frame=frame, score=score, part=part)


def _move_words(reviewed: ReviewedShot) -> str:
    measured, near = reviewed.measured, _foreground(reviewed)
    if not measured.axes:
        return say("nothing moves but the light")
    if "slide" not in measured.axes:
        turned = percent(max(measured.turned_percent) / 100.0)
        return say("the view turns by {turned} of the frame's width, without parallax", turned=turned)
    apart = measured.parallax.separation_percent
    if apart < MISSING_PERCENT:
        return say("near and far move apart by no more than {apart:.1f} % of the frame's width", apart=apart)
    if near is None:
        return say("near and far move apart by {apart:.0f} % of the frame's width", apart=apart)
    return say(
        "{name}, {away} m from the camera, passes over {apart:.0f} % of the frame's width before the far "
        "distance"
        if apart < WHOLE_PERCENT
        else "{name}, {away} m from the camera, passes over the whole frame and more before the far distance",
        name=_with_article(_label(reviewed, near.block)),
        away=figure(near.distance_m, 2),
        apart=apart,
    )


def _light_words(reviewed: ReviewedShot) -> str:
    """Where the light comes from, and sun and moon in the picture with their clock."""
    frames, said = reviewed.measured.frames, []
    lit = frames.sun_altitude_deg > 0.0
    if lit.any():
        off = np.abs(wrapped_deg(frames.sun_azimuth_deg - frames.lens_bearing_deg))[lit]
        side = LIGHT_SIDES[int(light_comes_from(np.array([float(np.median(off))]))[0])]
        said.append(_sun_words(reviewed, say(LIGHT_WORDS[side]), sunlight.sunlight(frames).in_picture))
    moon = moonlight.moon_view(frames).in_picture
    if moon.any():
        said.append(_moon_words(reviewed, moon))
    return ", ".join(said)


def _sun_words(reviewed: ReviewedShot, light: str, inside: NDArray[np.bool_]) -> str:
    """Where the sun shines from, and when it is in the picture, if ever."""
    if not inside.any():
        return light
    first, last = _clocks(reviewed, inside)
    return say(
        "{light} and is in the picture at {first}"
        if first == last
        else "{light} and is in the picture from {first} to {last}",
        light=light,
        first=first,
        last=last,
    )


def _moon_words(reviewed: ReviewedShot, inside: NDArray[np.bool_]) -> str:
    """When the moon is in the picture."""
    first, last = _clocks(reviewed, inside)
    return say(
        "the moon is in the picture at {first}"
        if first == last
        else "the moon is in the picture from {first} to {last}",
        first=first,
        last=last,
    )


def _clocks(reviewed: ReviewedShot, inside: NDArray[np.bool_]) -> tuple[str, str]:
    """The local time of the first and of the last frame of some."""
    utc_s, zone = reviewed.measured.frames.utc_s[inside], reviewed.plan.zone
    return clock(float(utc_s[0]), zone), clock(float(utc_s[-1]), zone)


# ---------------------------------------------------------------- costs and checks


def _costs(scout: Scout, reviewed: ReviewedShot) -> tuple[str, ...]:
    plan, terrain, shot = scout.plan, scout.terrain, reviewed.shot
    place = np.array(shot.place_m[:2])
    said = [_walk(scout, reviewed), say("rail {height} m over the ground", height=figure(shot.height_m, 2))]
    planned = float(terrain.under(np.array([plan.rig.origin_m[:2]]))[0][0])
    rise = shot.place_m[2] - planned
    if abs(rise) >= 0.5:
        template = "{rise} m up from there" if rise > 0.0 else "{rise} m down from there"
        said.append(say(template, rise=figure(abs(rise), 2)))
    water, edge = terrain.shore_distance_m(place), terrain.edge_distance_m(place)
    if water < WATER_NEAR_M:
        said.append(say("water {away} m away", away=figure(water, 2)))
    elif edge < EDGE_NEAR_M:
        said.append(say("an edge {away} m away", away=figure(edge, 2)))
    return tuple(said)


def _walk(scout: Scout, reviewed: ReviewedShot) -> str:
    """How far from the planned place, and where from there as one looks at the subject."""
    offset = np.array(reviewed.shot.place_m[:2]) - scout.planned_place()[0]
    walk = float(np.hypot(*offset))
    if walk < 1.0:
        return say("at the planned place")
    ahead = ((scout.aim.low + scout.aim.high) / 2.0)[:2] - scout.planned_place()[0]
    ahead = ahead / max(float(np.hypot(*ahead)), 1e-9)
    on, right = float(offset @ ahead), float(offset @ np.array([ahead[1], -ahead[0]]))
    least = max(0.5, 0.15 * walk)
    ahead_words = say("{way} m forward" if on > 0.0 else "{way} m back", way=figure(abs(on), 2))
    if abs(right) < least:
        return say("{way} from the planned place", way=ahead_words)
    aside = say("{way} m to the right" if right > 0.0 else "{way} m to the left", way=figure(abs(right), 2))
    both = aside if abs(on) < least else say("{one} and {other}", one=ahead_words, other=aside)
    return say("{way} of the planned place", way=both)


def _to_check(scout: Scout, reviewed: ReviewedShot) -> tuple[str, ...]:
    near, frames = _foreground(reviewed), reviewed.measured.frames
    until = clock(float(frames.utc_s[-1]), reviewed.plan.zone)
    said = [say("that you may stand there until {until}", until=until)]
    if not scout.tally.way_known:
        said.append(say("that there is a way on foot"))
    if reviewed.shot.travel_m and near is not None:
        name, away = _with_article(_label(reviewed, near.block)), figure(near.distance_m, 2)
        said.append(say("that {name} is {away} m from the lens: the move lives on it", name=name, away=away))
    reading = reviewed.measured.reading
    if reading.subject and float(reading.shown[reviewed.measured.weakest]) < 0.95:
        hidden = "what stands before the subject: on frame {frame} part of it is hidden"
        said.append(say(hidden, frame=reviewed.measured.weakest + 1))
    return tuple(said)


# ---------------------------------------------------------------- the whole report


@frozen(kw_only=True, eq=False)
class Report:
    """What a search found: finds, the best first, what was tried, and a remark where it is needed."""

    title: str
    finds: tuple[Find, ...]
    planned_score: float
    scout: Scout

    @property
    def remark(self) -> str:
        """Where no find, or no move, is worth more than a still picture: that, and what would help."""
        stop = None if self.finds else self.scout.stopped_by()
        if stop is not None:
            return say(
                "Nothing found here passes its review, wherever it stands; the same stops every shot, so "
                "change that first. {finding}",
                finding=stop.message,
            )
        if not self.finds:
            return say(
                "Nothing found here passes its review; a larger area, another lens or another subject "
                "would help."
            )
        if self.finds[0].reviewed.shot.kind == "still":
            return say(
                "No move is worth more than a still picture here; a foreground within two metres, a longer "
                "rail or another subject would help."
            )
        if self.finds[0].points < self.planned_score:
            planned = self.planned_score
            return say(
                "Nothing found is worth more than the shot as planned ({planned:.0f}).", planned=planned
            )
        return ""

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        scout, tally = self.scout, self.scout.tally
        return {
            "title": self.title,
            "area_m": [round(value, 3) for value in scout.terrain.area],
            "cell_m": scout.cell_m,
            "edge_m": scout.wishes.edge_m,
            "planned_score": self.planned_score,
            "tried": {
                "places": len(tally.places_m),
                "beyond_reach": tally.beyond_reach,
                "spots": tally.candidates,
                "stills": tally.stills,
                "moves": tally.moves,
                "reviews": tally.reviews,
            },
            "remark": self.remark,
            "finds": [{"rank": rank, **find.as_dict()} for rank, find in enumerate(self.finds, start=1)],
        }

    def lines(self) -> list[str]:
        """The finds as text."""
        tally = self.scout.tally
        wide, deep = np.ptp(tally.places_m[:, :2], axis=0) if len(tally.places_m) else (0.0, 0.0)
        said = [
            f"{one_line(self.title) or 'Untitled plan'}: where to stand and how to move, the best first",
            f"Tried {len(tally.places_m)} places on {wide:.0f} × {deep:.0f} m, {tally.tried} pictures and "
            f"moves, {tally.reviews} of them reviewed. The shot as planned: {self.planned_score:.0f}.",
        ]
        if tally.beyond_reach:
            said.append(f"{tally.beyond_reach} places more can't be reached on foot from the planned one.")
        for rank, find in enumerate(self.finds, start=1):
            said += [
                "",
                f"{rank:>2}. {find.name}  {find.points:.0f}",
                f"    {find.reason}",
                f"    Costs: {', '.join(find.costs)}. Check there {'; '.join(find.to_check)}.",
            ]
        if self.remark:
            said += ["", self.remark]
        return said


def told_apart(finds: list[Find]) -> list[Find]:
    """Finds of one name say where they are from the planned place."""
    names = [find.name for find in finds]
    return [
        evolve(find, name=f"{find.name}, {find.costs[0]}") if names.count(find.name) > 1 else find
        for find in finds
    ]


def report(scout: Scout) -> Report:
    """The report of a search that has run, or was left."""
    finds = [describe(scout, reviewed) for reviewed in scout.finds()]
    return Report(
        title=scout.plan.title,
        finds=tuple(told_apart(finds)),
        planned_score=round(scout.planned_score(), 1),
        scout=scout,
    )
