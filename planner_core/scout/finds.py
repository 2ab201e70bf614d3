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
from planner_core.place.blocking import block_text
from planner_core.plan.model import LIGHT_SIDES, Plan
from planner_core.plan.text import one_line
from planner_core.plan.timeline import clock
from planner_core.scout.search import Found, Scout
from planner_core.words.figures import figure, percent

LOW_M, WAIST_M, EYE_M = 0.75, 1.25, 1.85  # heights of the camera over the ground; common practice, no source
BEHIND_M = 8.0  # a foreground nearer than this gives the shot its name
WALL_M, OVERHEAD_M = 2.0, 0.7  # wider and so much higher than the camera, one doesn't look past or over it
WATER_NEAR_M, EDGE_NEAR_M = 5.0, 2.0
LIGHT_WORDS = {"front": "from behind the camera", "side": "from the side", "back": "from ahead"}
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
    found: Found

    @property
    def plan(self) -> Plan:
        return self.found.plan

    @property
    def points(self) -> float:
        """The score as it is told."""
        return round(self.found.score.total, 1)

    @property
    def in_short(self) -> str:
        """Lens and move, for a narrow list: “24 mm, slide left 0.8 m”."""
        return f"{self.found.shot.focal_length_mm:g} mm, {_move(self.found)}"

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        shot, measured = self.found.shot, self.found.measured
        return {
            "name": self.name,
            **self.found.score.as_dict(),
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
            "measures": measured.measures(),
            "findings": sorted({f.code for f in measured.findings if f.level != "note"}),
        }


def describe(scout: Scout, found: Found) -> Find:
    """A find in words."""
    measured = found.measured
    return Find(
        name=_name(scout, found),
        reason=_reason(found),
        costs=_costs(scout, found),
        to_check=_to_check(scout, found),
        weakest_frame=measured.weakest + 1,
        weakest_score=round(float(measured.reading.score[measured.weakest]), 3),
        found=found,
    )


# ---------------------------------------------------------------- the name


def _name(scout: Scout, found: Found) -> str:
    shot = found.shot
    where = f"{_height(shot.height_m + scout.plan.rig.head_height_m)} {_where(scout, found)}"
    parts = [where, f"{shot.focal_length_mm:g} mm", _move(found)]
    if shot.kind == "slide-held":
        parts.append(f"{_bare(composition.subject_name(found.plan))} held")
    return ", ".join(parts)


def _height(camera_m: float) -> str:
    if camera_m < LOW_M:
        return "low"
    if camera_m < WAIST_M:
        return "at waist height"
    return "at eye height" if camera_m < EYE_M else "high"


def _where(scout: Scout, found: Found) -> str:
    near = _foreground(found)
    if near is not None and near.distance_m < BEHIND_M:
        return f"{_beside_or_behind(found, near)} {_called(found, near.block)}"
    _, which = scout.terrain.under(np.array([found.shot.place_m[:2]]))
    name = scout.terrain.names[int(which[0])]
    return f"on {_with_article(one_line(name))}" if name else "in the open"


def _beside_or_behind(found: Found, near: Layer) -> str:
    """One stands beside what is too wide and high to look past and over: a house, not a post."""
    seen = found.measured.frames.view.visibility
    wall = float(np.ptp(seen.boxes.corners_m[seen.boxes.block == near.block], axis=(0, 1))[:2].max()) > WALL_M
    above_m = float(seen.top_m[near.block]) - float(seen.camera_m[:, 2].mean())
    return "beside" if wall and above_m > OVERHEAD_M else "behind"


def _foreground(found: Found) -> Layer | None:
    """The nearest thing in the picture that isn't the subject itself."""
    near = found.measured.parallax.near
    own = blocking.subject_parts(found.plan)
    return None if near is None or near.block == HORIZON or near.block in own else near


def _called(found: Found, block: int) -> str:
    """A block as one would speak of it; of several that are numbered alike and stand near, all of them."""
    name = _bare(block_text(found.plan, block))
    several = NUMBERED.fullmatch(name)
    if several is None:
        return _with_article(name)
    stem = several[1]
    near = [layer for layer in found.measured.parallax.layers if layer.distance_m < 2.0 * BEHIND_M]
    names = [_bare(block_text(found.plan, layer.block)) for layer in near if layer.block != HORIZON]
    alike = sum(bool(one and one[1] == stem) for one in map(NUMBERED.fullmatch, names))
    return _with_article(_plural(stem) if alike > 1 else name)


def _plural(word: str) -> str:
    if word.endswith(("s", "x", "ch", "sh")):
        return f"{word}es"
    return f"{word[:-1]}ies" if re.search(r"[^aeiou]y$", word) else f"{word}s"


def _with_article(name: str) -> str:
    """“the quay”; a name that is written as one, or has its article or number, stays as it is."""
    common = name[:1].islower() and not any(letter.isdigit() for letter in name)
    return f"the {name}" if common and not name.startswith(("the ", "a ", "an ")) else name


def _bare(text: str) -> str:
    """A block's name without the marks around it."""
    return text.strip("“”")


def _move(found: Found) -> str:
    shot, plan = found.shot, found.plan
    poses = plan.move.poses
    if shot.kind == "still":
        return "still"
    if shot.kind == "pan":
        turned = wrapped_deg(float(poses[-1].pan_deg or 0.0) - float(poses[0].pan_deg or 0.0))
        return f"pan {'right' if turned > 0.0 else 'left'} {figure(abs(turned), 2)}°"
    if shot.kind == "tilt":
        turned = float(poses[-1].tilt_deg or 0.0) - float(poses[0].tilt_deg or 0.0)
        return f"tilt {'up' if turned > 0.0 else 'down'} {figure(abs(turned), 2)}°"
    metres = f"{figure(abs(shot.travel_m), 2)} m"
    if shot.kind in ("push-in", "pull-out"):
        return f"{'push in' if shot.kind == 'push-in' else 'pull out'} {metres}"
    lens = float(found.measured.frames.lens_bearing_deg[0])
    aside = np.sin(np.radians(shot.rail_deg - lens)) * shot.travel_m
    return f"slide {'right' if aside > 0.0 else 'left'} {metres}"


# ---------------------------------------------------------------- the reason


def _reason(found: Found) -> str:
    """Why it is one, in a sentence or two: picture, move, light, and what its review warns of."""
    said = [_picture_words(found), _move_words(found)]
    text = "; ".join(part for part in said if part)
    sentences = [f"{text[0].upper()}{text[1:]}."]
    light = _light_words(found)
    if light:
        sentences.append(f"{light[0].upper()}{light[1:]}.")
    worry = found.measured.worst(set(found.score.faults) - {"foreground-missing", "background-static"})
    return " ".join(sentences) + (f" But: {worry.message}" if worry is not None else "")


def _picture_words(found: Found) -> str:
    measured = found.measured
    subject = _with_article(_bare(composition.subject_name(found.plan)))
    score = measured.reading.score[measured.weakest] * 100.0
    if measured.reveals:
        return (
            f"{subject} comes out in time and stays to the end (weakest frame after that {score:.0f} of 100)"
        )
    if score >= 80.0:
        return f"{subject} stands well in every frame (the weakest {score:.0f} of 100)"
    part = composition.part_text(found.plan, measured.reading, measured.weakest)
    return f"weakest at frame {measured.weakest + 1} ({score:.0f} of 100): {part}"


def _move_words(found: Found) -> str:
    measured, near = found.measured, _foreground(found)
    if not measured.axes:
        return "nothing moves but the light"
    if "slide" not in measured.axes:
        turned = percent(max(measured.turned_percent) / 100.0)
        return f"the view turns by {turned} of the frame's width, without parallax"
    apart = measured.parallax.separation_percent
    if apart < MISSING_PERCENT:
        return f"near and far move apart by no more than {apart:.1f} % of the frame's width"
    if near is None:
        return f"near and far move apart by {apart:.0f} % of the frame's width"
    widths = f"{apart:.0f} % of the frame's width" if apart < 95.0 else "the whole frame and more"
    name, away = _bare(block_text(found.plan, near.block)), figure(near.distance_m, 2)
    return f"{_with_article(name)}, {away} m from the camera, passes over {widths} before the far distance"


def _light_words(found: Found) -> str:
    """Where the light comes from, and sun and moon in the picture with their clock."""
    frames = found.measured.frames
    sun, said = _in_picture_words(found, sunlight.sunlight(frames).in_picture), []
    lit = frames.sun_altitude_deg > 0.0
    if lit.any():
        off = np.abs(wrapped_deg(frames.sun_azimuth_deg - frames.lens_bearing_deg))[lit]
        side = LIGHT_SIDES[int(light_comes_from(np.array([float(np.median(off))]))[0])]
        said.append(f"the sun shines {LIGHT_WORDS[side]}" + (f" and {sun}" if sun else ""))
    moon = _in_picture_words(found, moonlight.moon_view(frames).in_picture)
    return ", ".join([*said, *([f"the moon {moon}"] if moon else [])])


def _in_picture_words(found: Found, inside: NDArray[np.bool_]) -> str:
    rows = np.flatnonzero(inside)
    if not len(rows):
        return ""
    utc_s = found.measured.frames.utc_s
    first, last = (clock(float(utc_s[row]), found.plan.zone) for row in (rows[0], rows[-1]))
    return f"is in the picture {f'at {first}' if first == last else f'from {first} to {last}'}"


# ---------------------------------------------------------------- costs and checks


def _costs(scout: Scout, found: Found) -> tuple[str, ...]:
    plan, terrain, shot = scout.plan, scout.terrain, found.shot
    place = np.array(shot.place_m[:2])
    said = [_walk(scout, found), f"rail {figure(shot.height_m, 2)} m over the ground"]
    planned = float(terrain.under(np.array([plan.rig.origin_m[:2]]))[0][0])
    rise = shot.place_m[2] - planned
    if abs(rise) >= 0.5:
        said.append(f"{figure(abs(rise), 2)} m {'up' if rise > 0.0 else 'down'} from there")
    water, edge = terrain.shore_distance_m(place), terrain.edge_distance_m(place)
    if water < WATER_NEAR_M:
        said.append(f"water {figure(water, 2)} m away")
    elif edge < EDGE_NEAR_M:
        said.append(f"an edge {figure(edge, 2)} m away")
    return tuple(said)


def _walk(scout: Scout, found: Found) -> str:
    """How far from the planned place, and where from there as one looks at the subject."""
    way = np.array(found.shot.place_m[:2]) - scout.planned_place()[0]
    walk = float(np.hypot(*way))
    if walk < 1.0:
        return "at the planned place"
    ahead = ((scout.aim.low + scout.aim.high) / 2.0)[:2] - scout.planned_place()[0]
    ahead = ahead / max(float(np.hypot(*ahead)), 1e-9)
    on, right = float(way @ ahead), float(way @ np.array([ahead[1], -ahead[0]]))
    parts = [
        f"{figure(abs(value), 2)} m {words[0] if value > 0.0 else words[1]}"
        for value, words in ((on, ("forward", "back")), (right, ("to the right", "to the left")))
        if abs(value) >= max(0.5, 0.15 * walk)
    ]
    aside = parts[-1].endswith(("left", "right"))
    return f"{' and '.join(parts)} {'of' if aside else 'from'} the planned place"


def _to_check(scout: Scout, found: Found) -> tuple[str, ...]:
    near, frames = _foreground(found), found.measured.frames
    until = clock(float(frames.utc_s[-1]), found.plan.zone)
    said = [f"that you may stand there until {until}"]
    if not scout.tally.way_known:
        said.append("that there is a way on foot")
    if found.shot.travel_m and near is not None:
        name = _with_article(_bare(block_text(found.plan, near.block)))
        said.append(f"that {name} is {figure(near.distance_m, 2)} m from the lens: the move lives on it")
    reading = found.measured.reading
    if reading.subject and float(reading.shown[found.measured.weakest]) < 0.95:
        said.append(
            f"what stands before the subject: on frame {found.measured.weakest + 1} part of it is hidden"
        )
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
            return (
                "Nothing found here passes its review, wherever it stands; the same stops every shot, so "
                f"change that first. {stop.message}"
            )
        if not self.finds:
            return (
                "Nothing found here passes its review; a larger area, another lens or another subject would "
                "help."
            )
        if self.finds[0].found.shot.kind == "still":
            return (
                "No move is worth more than a still picture here; a foreground within two metres, a longer "
                "rail or another subject would help."
            )
        if self.finds[0].points < self.planned_score:
            return f"Nothing found is worth more than the shot as planned ({self.planned_score:.0f})."
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
    finds = [describe(scout, found) for found in scout.finds()]
    return Report(
        title=scout.plan.title,
        finds=tuple(told_apart(finds)),
        planned_score=round(scout.planned_score(), 1),
        scout=scout,
    )
