"""What a find is called, why it is one, what it costs and what to check there: words for a person."""

from __future__ import annotations

from typing import Any

import numpy as np
from attrs import evolve, frozen

from planner_core.maths.angles import compass_deg, wrapped_deg
from planner_core.moves.measured import reason_text
from planner_core.moves.score import OF_PICTURE, OF_RIG
from planner_core.picture.parallax import HORIZON
from planner_core.place import outlines
from planner_core.place.blocking import block_text
from planner_core.plan.model import Plan
from planner_core.plan.text import one_line
from planner_core.scout.places import Terrain
from planner_core.scout.search import Found, Scout
from planner_core.scout.shots import Shot
from planner_core.words.figures import figure

LOW_M, WAIST_M, EYE_M = 0.75, 1.25, 1.85  # heights of the camera over the ground; common practice, no source
BEHIND_M = 8.0  # a foreground nearer than this gives the shot its name
WATER_NEAR_M, EDGE_NEAR_M = 5.0, 2.0


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

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        shot, measured = self.found.shot, self.found.measured
        return {
            "name": self.name,
            "score": self.points,
            "parts": {name: round(value, 2) + 0.0 for name, value in self.found.score.parts.items()},
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
    stops = measured.codes("stop", OF_PICTURE + OF_RIG)
    warns = measured.codes("warn", OF_PICTURE + OF_RIG)
    return Find(
        name=_name(scout, found),
        reason=reason_text(measured, stops, warns),
        costs=_costs(scout.plan, scout.terrain, found.shot),
        to_check=_to_check(found),
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
        parts.append("subject held")
    return ", ".join(parts)


def _height(camera_m: float) -> str:
    if camera_m < LOW_M:
        return "low"
    if camera_m < WAIST_M:
        return "at waist height"
    return "at eye height" if camera_m < EYE_M else "high"


def _where(scout: Scout, found: Found) -> str:
    near = found.measured.parallax.near
    if near is not None and near.block != HORIZON and near.distance_m < BEHIND_M:
        return f"behind {_bare(block_text(scout.plan, near.block))}"
    _, which = scout.terrain.under(np.array([found.shot.place_m[:2]]))
    name = scout.terrain.names[int(which[0])]
    return f"on {one_line(name)}" if name else "in the open"


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
    metres = f"{figure(abs(shot.travel_m), 2)} m"
    if shot.kind in ("push-in", "pull-out"):
        return f"{shot.kind} {metres}"
    lens = float(found.measured.frames.lens_bearing_deg[0])
    aside = np.sin(np.radians(shot.rail_deg - lens)) * shot.travel_m
    return f"slide {'right' if aside > 0.0 else 'left'} {metres}"


# ---------------------------------------------------------------- costs and checks


def _costs(plan: Plan, terrain: Terrain, shot: Shot) -> tuple[str, ...]:
    place = np.array(shot.place_m[:2])
    way = place - np.array(plan.rig.origin_m[:2])
    walk = float(np.hypot(*way))
    toward = compass_deg(float(np.degrees(np.arctan2(*way))) + plan.site.scene_north_deg)
    far = f"{figure(walk, 2)} m from the planned place toward {toward:.0f}°"
    said = [far if walk >= 1.0 else "at the planned place"]
    planned = float(terrain.under(np.array([plan.rig.origin_m[:2]]))[0][0])
    rise = shot.place_m[2] - planned
    if abs(rise) >= 0.5:
        said.append(f"{figure(abs(rise), 2)} m {'higher' if rise > 0.0 else 'lower'}")
    waters = [s.outline_m for s in terrain.surfaces if s.is_water and s.outline_m is not None]
    water = min((outlines.distance_m(ring, place) for ring in waters), default=np.inf)
    if water < WATER_NEAR_M:
        said.append(f"water {figure(water, 2)} m away")
    edge = terrain.edge_distance_m(place)
    if edge < EDGE_NEAR_M:
        said.append(f"an edge {figure(edge, 2)} m away")
    return tuple(said)


def _to_check(found: Found) -> tuple[str, ...]:
    near = found.measured.parallax.near
    said = ["that one may stand there, until the last frame"]
    if found.shot.travel_m and near is not None and near.block != HORIZON:
        name = block_text(found.plan, near.block)
        said.append(f"that {name} stands {figure(near.distance_m, 2)} m away: the parallax hangs on it")
    hidden = found.measured.reading
    if hidden.subject and float(hidden.shown[found.measured.weakest]) < 0.95:
        said.append("what stands before the subject: not all of it shows on the weakest frame")
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
        if not self.finds:
            return (
                "Nothing found here passes its review; a larger area, another lens in camera.lenses_mm or "
                "another subject would help."
            )
        if self.finds[0].found.shot.kind == "still":
            return (
                "No move is worth more than a still picture here; a foreground within two metres, a longer "
                "rail or another subject would help."
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
        tally, area = self.scout.tally, self.scout.terrain.area
        said = [
            f"{one_line(self.title) or 'Untitled plan'}: where to stand and how to move, the best first",
            f"Tried {len(tally.places_m)} places in {area[2] - area[0]:.0f} × {area[3] - area[1]:.0f} m, "
            f"{tally.candidates + tally.stills + tally.moves} pictures and moves, {tally.reviews} of them "
            f"reviewed. The shot as planned: {self.planned_score:.0f}.",
        ]
        for rank, find in enumerate(self.finds, start=1):
            said += [
                "",
                f"{rank:>2}. {find.name}  {find.points:.0f}",
                f"    {find.reason}",
                f"    Costs: {', '.join(find.costs)}. Check on the spot {'; '.join(find.to_check)}.",
            ]
        if self.remark:
            said += ["", self.remark]
        return said


def report(scout: Scout) -> Report:
    """The report of a search that has run, or was left."""
    finds = [describe(scout, found) for found in scout.finds()]
    names = [find.name for find in finds]
    return Report(
        title=scout.plan.title,
        finds=tuple(
            evolve(find, name=f"{find.name}, {find.costs[0]}") if names.count(find.name) > 1 else find
            for find in finds
        ),
        planned_score=round(scout.planned_score(), 1),
        scout=scout,
    )
