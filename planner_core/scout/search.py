"""The search for a shot, coarse to fine: spots by their bounds, framings by still pictures, moves by a few of
their pictures, and the most promising by the whole review; then steps to the side from the best.

Everything is counted, not timed, so the same plan gives the same finds. The search yields its progress, with
the best so far, and may be left at any time.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence

import attrs
import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from planner_core.frames import compute_frames
from planner_core.moves.measured import Measured
from planner_core.moves.score import POINTS, ShotScore, move_points, shot_score
from planner_core.picture import block_visibility, composition
from planner_core.picture.speed import speed_word
from planner_core.place import blocking
from planner_core.plan.model import Plan, PlanError, Word
from planner_core.rig import geometry
from planner_core.rig.camera import CameraPath
from planner_core.rig.motion import progress
from planner_core.scout import places, spots
from planner_core.scout.places import Area, Terrain
from planner_core.scout.shots import Aim, Shot, aimed_deg, plan_of, width_share_px, with_lens
from planner_core.scout.spots import Spots

Array = NDArray[np.float64]

LOW_M, HIGH_M = 0.4, 1.4  # rail heights that stands reach, tried beside the planned one
CELLS_M = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
MOST_PLACES = 15_000
ACROSS = (1 / 3, 1 / 2, 2 / 3)
HORIZONS = (0.36, 0.62)  # of the frame's height, from below
RAIL_TURNS_DEG = (90.0, 45.0, 135.0, 0.0)  # off the line of sight
SHORT_TRAVEL = 0.4  # of the rail, where something is too near for more
QUICK_FRAMES = 5
FRAMED_SPOTS, FRAMED_A_TILE = 600, 6  # spots whose framings are tried, and how many of a tile
MOVED_SPOTS, MOVED_A_TILE = 64, 3
REVIEWS = 120
STEPS_FROM = 4  # of the best shots, steps to the side are tried from so many
APART_M = 3.0  # finds nearer to each other must differ in lens or move
STILLS_AT_ONCE = 512
PANNING = ("pan", "slide-held")


@frozen(kw_only=True)
class Wishes:
    """What a search is asked for. area is a rectangle of the scene, all walkable ground within reach where it
    is None; edge_m how far to stand from drops, water and keep-out ground; cell_m the grid of places, by the
    area's size where it is None; heights_m the rail's over the ground; reviews how many shots are reviewed.
    """

    area: Area | None = None
    edge_m: float = 0.5
    top: int = 5
    cell_m: float | None = None
    heights_m: tuple[float, ...] | None = None
    lenses_mm: tuple[float, ...] | None = None
    reviews: int = REVIEWS


@frozen(kw_only=True, eq=False)
class Found:
    """A shot that was reviewed."""

    shot: Shot
    plan: Plan
    score: ShotScore
    measured: Measured

    @property
    def stops(self) -> bool:
        """Whether its review holds a `stop`."""
        return any(finding.level == "stop" for finding in self.measured.findings)


@frozen(kw_only=True, eq=False)
class Progress:
    """How far a search is: what it does now, how much of that is done, and the finds so far, best first."""

    stage: str
    done: int
    total: int
    finds: tuple[Found, ...] = ()


@attrs.define(kw_only=True)
class Tally:
    """What a search has tried, and the best spot bound at every place, for a map."""

    places_m: Array = field(factory=lambda: np.empty((0, 3)))
    place_bound: Array = field(factory=lambda: np.empty(0))
    candidates: int = 0
    stills: int = 0
    moves: int = 0
    reviews: int = 0


@frozen(kw_only=True, eq=False)
class _Framed:
    """Spots with their best framing, arrays (n,): where the subject is across the frame, and the tilt."""

    spots: Spots
    across: Array
    tilt_deg: Array


class Scout:
    """One search over a place. Raises PlanError where there is nothing to search for or nowhere to stand."""

    def __init__(self, plan: Plan, wishes: Wishes | None = None) -> None:
        self.plan, self.wishes = plan, wishes or Wishes()
        self.tally = Tally()
        self.aim = _aim(plan)
        self.terrain = Terrain(plan, self.wishes.edge_m, self.wishes.area)
        if not self.terrain.is_walkable:
            raise PlanError(
                "blocks", Word(places_word(plan)), "leave nowhere to stand; add a block of role ground"
            )
        self.cell_m = self.wishes.cell_m or _cell_m(self.terrain.area)
        self.frames = compute_frames(plan)
        self.lenses_mm = self.wishes.lenses_mm or plan.camera.lenses_mm or (plan.camera.focal_length_mm,)
        self._reviewed: dict[Shot, Found] = {}

    # ------------------------------------------------------------ the stages

    def run(self) -> Iterator[Progress]:
        """Search, saying how far it is; the last one has the finds."""
        chosen = yield from self._spots()
        framed = yield from self._framed(chosen)
        tried = yield from self._moves(framed)
        yield from self._review(tried)
        yield from self._steps()
        finds = self.finds()
        yield Progress(stage="done", done=len(finds), total=len(finds), finds=finds)

    def finds(self) -> tuple[Found, ...]:
        """The best so far, the best first, none with a stop, each different from those before it."""
        ranked = sorted(
            (found for found in self._reviewed.values() if not found.stops),
            key=lambda found: (-round(found.score.total, 6), found.shot.place_m, found.shot.kind),
        )
        kept: list[Found] = []
        for found in ranked:
            if len(kept) == self.wishes.top:
                break
            if all(_different(found.shot, other.shot) for other in kept):
                kept.append(found)
        return tuple(kept)

    def heights_m(self) -> tuple[float, ...]:
        """The rail's heights to try."""
        if self.wishes.heights_m:
            return self.wishes.heights_m
        planned = self.plan.rig.origin_m[2] - float(
            self.terrain.under(np.array([self.plan.rig.origin_m[:2]]))[0][0]
        )
        planned = planned if 0.1 <= planned <= 2.5 else (LOW_M + HIGH_M) / 2.0
        return tuple(sorted({LOW_M, round(planned, 2), HIGH_M}))

    def _spots(self) -> Generator[Progress, None, Spots]:
        points, ground = places.standing_places(self.terrain, self.terrain.area, self.cell_m)
        points, ground = self._with_planned(points, ground)
        if not len(points):
            raise PlanError(
                "blocks",
                Word(places_word(self.plan)),
                f"leave nowhere to stand in this area, {self.wishes.edge_m:g} m from every edge; take a "
                "larger area or a smaller distance",
            )
        there = np.column_stack([points, ground])
        heights = self.heights_m()
        total = len(there) * len(heights) * len(self.lenses_mm)
        found: list[Spots] = []
        for lot in spots.bounded(self.plan, self.frames, there, heights, self.lenses_mm):
            found.append(lot)
            self.tally.candidates += len(lot)
            yield Progress(stage="places", done=self.tally.candidates, total=total)
        every = spots.joined(found)
        self._note_places(there, every)
        return _by_tile(every, every.bound, FRAMED_SPOTS, FRAMED_A_TILE)

    def _with_planned(self, points: Array, ground: Array) -> tuple[Array, Array]:
        """The places and the one under the middle of the planned rail, where one may stand there."""
        slide = self.plan.rig.slide
        middle = (slide.min_m + slide.max_m) / 2.0 if slide else 0.0
        planned = geometry.carriage_position_m(self.plan, middle)[None, :2]
        x0, y0, x1, y1 = self.terrain.area
        inside = bool(((planned >= (x0, y0)) & (planned <= (x1, y1))).all())
        if not inside or not self.terrain.may_stand(planned)[0]:
            return points, ground
        return np.concatenate([points, planned]), np.append(ground, self.terrain.under(planned)[0])

    def _note_places(self, there: Array, every: Spots) -> None:
        best = {tuple(place): 0.0 for place in there.tolist()}
        for place, bound in zip(every.place_m.tolist(), every.bound.tolist(), strict=True):
            best[tuple(place)] = max(best[tuple(place)], bound)
        self.tally.places_m, self.tally.place_bound = there, np.array(list(best.values()))

    def _framed(self, chosen: Spots) -> Generator[Progress, None, _Framed]:
        """The best still picture of each spot: its score, and where in the frame the subject is."""
        score, across, tilt = (np.zeros(len(chosen)) for _ in range(3))
        done = 0
        for lens in self.lenses_mm:
            rows = np.flatnonzero(chosen.focal_length_mm == lens)
            framer = _Framer(self.plan, lens)
            step = max(1, STILLS_AT_ONCE // framer.count)
            for first in range(0, len(rows), step):
                part = rows[first : first + step]
                score[part], across[part], tilt[part] = framer.best(chosen.take(part))
                done += len(part)
                self.tally.stills += len(part) * framer.count
                yield Progress(stage="framings", done=done, total=len(chosen))
        value = chosen.bound - POINTS["picture"] * (1.0 - score)
        order = _by_tile_rows(chosen, value, MOVED_SPOTS, MOVED_A_TILE)
        return _Framed(spots=chosen.take(order), across=across[order], tilt_deg=tilt[order])

    def _moves(self, framed: _Framed) -> Generator[Progress, None, list[Shot]]:
        """Shots with an estimate of their points, the best first."""
        chosen, across, tilt = framed.spots, framed.across, framed.tilt_deg
        estimates: list[tuple[float, int, Shot]] = []
        for row in range(len(chosen)):
            tried = list(self._shots(chosen, row, float(across[row]), float(tilt[row])))
            for shot, points in zip(tried, self._estimates(tried), strict=True):
                estimates.append((-points, len(estimates), shot))
            self.tally.moves += len(tried)
            yield Progress(stage="moves", done=row + 1, total=len(chosen))
        return [shot for _, _, shot in sorted(estimates)]

    def _shots(self, chosen: Spots, row: int, across: float, tilt: float) -> Iterator[Shot]:
        """The moves worth trying from a spot, where the rail stands safely."""
        rig = self.plan.rig
        place = tuple(float(v) for v in chosen.place_m[row])
        base = Shot(
            kind="still",
            place_m=(place[0], place[1], place[2]),
            height_m=float(chosen.height_m[row]),
            focal_length_mm=float(chosen.focal_length_mm[row]),
            rail_deg=float(chosen.bearing_deg[row] + 90.0),
            travel_m=0.0,
            across=(across, across),
            tilt_deg=round(tilt, 1),
        )
        if self._stands(base):
            yield base
            if rig.pan is not None and self.plan.shoot.frames > 1:
                for ends in ((1 / 3, 2 / 3), (2 / 3, 1 / 3)):
                    yield attrs.evolve(base, kind="pan", across=ends)
        if rig.slide is None or self.plan.shoot.frames < 2:
            return
        length = rig.slide.max_m - rig.slide.min_m
        travels = [round(share * length, 2) for share in (spots.USED_TRAVEL, SHORT_TRAVEL)]
        for turn in RAIL_TURNS_DEG:
            rail = attrs.evolve(base, rail_deg=float(chosen.bearing_deg[row] + turn))
            if not self._stands(rail):
                continue
            for way in (sign * travel for travel in travels for sign in (1.0, -1.0)):
                kind = "slide" if turn else ("push-in" if way > 0.0 else "pull-out")
                yield attrs.evolve(rail, kind=kind, travel_m=way)
                if turn and rig.pan is not None:
                    yield attrs.evolve(rail, kind="slide-held", travel_m=way)

    def _stands(self, shot: Shot) -> bool:
        slide = self.plan.rig.slide
        half = (slide.max_m - slide.min_m) / 2.0 if slide else 0.0
        rail = geometry.direction(shot.rail_deg, 0.0, self.plan.site.scene_north_deg)[:2]
        middle = np.array(shot.place_m[:2])
        ends = np.stack([middle - half * rail, middle + half * rail])
        level = np.ptp(self.terrain.under(ends)[0]) < places.STEP_M
        return bool(level and places.rail_stands(self.terrain, ends[None])[0])

    def _estimates(self, tried: Sequence[Shot]) -> list[float]:
        """Points of shots from one spot by a few pictures each, without the review."""
        if not tried:
            return []
        plan = with_lens(self.plan, tried[0].focal_length_mm)
        path, travels = _quick_path(plan, tried, self.aim)
        seen = block_visibility.compute_visibility(plan, path)
        reading = composition.read(plan, seen, travels=False, every_frame=True)
        score = reading.score.reshape(len(tried), QUICK_FRAMES)
        judged = composition.judged(plan, np.linspace(0.0, 1.0, QUICK_FRAMES))
        near = _near_m(plan, seen, len(tried))
        width = width_share_px(plan)
        found = []
        for i, shot in enumerate(tried):
            percent = 100.0 * travels[i] / near[i] / width if near[i] < np.inf else 0.0
            turned = abs(shot.across[1] - shot.across[0]) * 100.0
            axes = (*(("slide",) if shot.travel_m else ()), *(("pan",) if shot.kind in PANNING else ()))
            points = move_points(float(score[i][judged].min()), percent, (turned, 0.0), axes, None)
            speed = max(percent, turned) / 100.0 / (plan.shoot.frames / plan.clip.fps)
            points += POINTS["too fast"] if speed_word(1.9 * speed) == "too fast" else 0.0
            found.append(points)
        return found

    # ------------------------------------------------------------ the whole review

    def _review(self, tried: Sequence[Shot]) -> Iterator[Progress]:
        """Review the most promising, leaving a third of the reviews for steps to the side.

        In rounds, so that what is reviewed first is spread over the place: in each round no more than one of
        a kind from a tile.
        """
        most = max(1, self.wishes.reviews * 2 // 3)
        waiting = list(tried)
        while waiting and self.tally.reviews < most:
            taken: set[tuple[float, float, str]] = set()
            later: list[Shot] = []
            for shot in waiting:
                key = (shot.place_m[0] // spots.TILE_M, shot.place_m[1] // spots.TILE_M, shot.kind)
                if key in taken or self.tally.reviews >= most:
                    later.append(shot)
                    continue
                taken.add(key)
                self.look(shot)
                yield self._reviewing()
            waiting = later

    def _steps(self) -> Iterator[Progress]:
        """From the best shots, steps to the side, up, nearer and with a turned rail, as long as they help."""
        tried: set[Shot] = set()
        step = self.cell_m / 2.0
        while self.tally.reviews < self.wishes.reviews and step > 0.1:
            for found in self.finds()[:STEPS_FROM]:
                for shot in self._neighbours(found.shot, step):
                    if self.tally.reviews >= self.wishes.reviews:
                        return
                    if shot in tried or not self._stands(shot):
                        continue
                    tried.add(shot)
                    self.look(shot)
                    yield self._reviewing()
            step /= 2.0

    def _neighbours(self, shot: Shot, step_m: float) -> Iterator[Shot]:
        x, y, _ = shot.place_m
        for dx, dy in ((step_m, 0.0), (-step_m, 0.0), (0.0, step_m), (0.0, -step_m)):
            there = np.array([[x + dx, y + dy]])
            if self.terrain.may_stand(there)[0]:
                ground = float(self.terrain.under(there)[0][0])
                yield attrs.evolve(shot, place_m=(round(x + dx, 3), round(y + dy, 3), ground))
        for turn in (15.0, -15.0):
            if shot.travel_m:
                yield attrs.evolve(shot, rail_deg=shot.rail_deg + turn)
        for across in ACROSS:
            if shot.kind != "pan" and across != shot.across[0]:
                yield attrs.evolve(shot, across=(across, across))
        if shot.travel_m:
            yield attrs.evolve(shot, travel_m=round(0.6 * shot.travel_m, 2))

    def planned_score(self) -> float:
        """What the plan's own shot is worth."""
        return shot_score(Measured(self.plan)).total

    def look(self, shot: Shot) -> Found:
        """Review a shot, once."""
        if shot not in self._reviewed:
            plan = plan_of(self.plan, shot, self.aim)
            measured = Measured(plan)
            self._reviewed[shot] = Found(shot=shot, plan=plan, score=shot_score(measured), measured=measured)
            self.tally.reviews += 1
        return self._reviewed[shot]

    def _reviewing(self) -> Progress:
        return Progress(
            stage="reviews", done=self.tally.reviews, total=self.wishes.reviews, finds=self.finds()
        )


def _aim(plan: Plan) -> Aim:
    if not blocking.subject_parts(plan):
        named = plan.composition.subject if plan.composition else ""
        raise PlanError(
            "composition.subject",
            named,
            "names no block to find a shot of; name one, or give one the role subject",
        )
    return Aim(plan)


def places_word(plan: Plan) -> str:
    """The blocks, as an error names them."""
    return f"{len(plan.blocks)} blocks"


def _cell_m(area: Area) -> float:
    size = (area[2] - area[0]) * (area[3] - area[1])
    return next((cell for cell in CELLS_M[1:] if size / cell**2 <= MOST_PLACES), CELLS_M[-1])


def _by_tile(every: Spots, value: Array, most: int, a_tile: int) -> Spots:
    return every.take(_by_tile_rows(every, value, most, a_tile))


def _by_tile_rows(every: Spots, value: Array, most: int, a_tile: int) -> NDArray[np.intp]:
    """The rows of the highest values, no more than a few of a tile."""
    order = np.lexsort((np.arange(len(value)), -np.round(value, 6)))
    taken: dict[tuple[int, int], int] = {}
    tiles = every.tile
    chosen: list[int] = []
    for row in order:
        if len(chosen) == most:
            break
        tile = (int(tiles[row, 0]), int(tiles[row, 1]))
        if taken.get(tile, 0) < a_tile:
            taken[tile] = taken.get(tile, 0) + 1
            chosen.append(int(row))
    return np.array(chosen, dtype=np.intp)


def _different(shot: Shot, other: Shot) -> bool:
    """Whether two shots differ in place, or in lens and kind of move."""
    apart = np.hypot(shot.place_m[0] - other.place_m[0], shot.place_m[1] - other.place_m[1])
    if apart >= APART_M:
        return True
    return shot.focal_length_mm != other.focal_length_mm and shot.kind != other.kind


# ---------------------------------------------------------------- framings


class _Framer:
    """Still pictures from spots with one lens: the subject at thirds and in the middle, a few tilts."""

    def __init__(self, plan: Plan, lens_mm: float) -> None:
        self.plan = with_lens(plan, lens_mm)
        self.width = width_share_px(self.plan)
        self.tall = self.width * plan.clip.height_px / plan.clip.width_px
        self.tilts = 1 + len(HORIZONS)
        self.count = len(ACROSS) * self.tilts

    def _tilts(self, chosen: Spots) -> Array:
        """Tilts to try, (n, tilts)."""
        on_horizon = [np.degrees(np.arctan((0.5 - share) * self.tall)) for share in HORIZONS]
        tried = np.column_stack([*(np.full(len(chosen), tilt) for tilt in on_horizon), chosen.altitude_deg])
        axis = self.plan.rig.tilt
        if axis is None:
            return tried
        return np.clip(tried, axis.min_deg, axis.max_deg)

    def best(self, chosen: Spots) -> tuple[Array, Array, Array]:
        """Score, the subject's share of the width and tilt of each spot's best still picture, (n,) each."""
        plan, n = self.plan, len(chosen)
        across = np.tile(np.repeat(ACROSS, self.tilts), n)
        tilt = np.tile(self._tilts(chosen), (1, len(ACROSS))).ravel()
        bearing = np.repeat(chosen.bearing_deg, self.count)
        pan = aimed_deg(bearing, across, self.width)
        path = CameraPath(
            plan=plan,
            at=np.zeros(len(pan)),
            camera_m=np.repeat(chosen.eyes(plan), self.count, axis=0),
            camera_rotation=geometry.camera_rotation(pan, tilt, plan.site.scene_north_deg),
            lens_bearing_deg=pan,
            lens_altitude_deg=tilt,
        )
        seen = block_visibility.compute_visibility(plan, path)
        reading = composition.read(plan, seen, travels=False, every_frame=True)
        value = (reading.score + 1e-3 * reading.shown).reshape(n, self.count)
        at = np.arange(n) * self.count + value.argmax(axis=1)
        return reading.score[at], across[at], tilt[at]


# ---------------------------------------------------------------- moves, quickly


def _quick_path(plan: Plan, tried: Sequence[Shot], aim: Aim) -> tuple[CameraPath, list[float]]:
    """A few cameras of each shot, one shot after another; and how far each travels across the view."""
    at = np.linspace(0.0, 1.0, QUICK_FRAMES)
    done = progress(at, plan.move.ease)
    north, width = plan.site.scene_north_deg, width_share_px(plan)
    eyes, pans, tilts, travels = [], [], [], []
    for shot in tried:
        rail = geometry.direction(shot.rail_deg, plan.rig.incline_deg, north)
        head = np.array(shot.place_m) + np.array([0.0, 0.0, shot.height_m + plan.rig.head_height_m])
        eye = head + np.outer(shot.travel_m * (done - 0.5), rail)
        aimed = eye if shot.kind == "slide-held" else np.broadcast_to(head, eye.shape)
        bearing = aim.bearing_and_altitude(np.ascontiguousarray(aimed))[0]
        across = shot.across[0] + (shot.across[1] - shot.across[0]) * done
        pan = aimed_deg(bearing, across, width)
        eyes.append(eye)
        pans.append(pan)
        tilts.append(np.full(QUICK_FRAMES, shot.tilt_deg))
        aside = abs(np.sin(np.radians(shot.rail_deg - bearing[QUICK_FRAMES // 2])))
        travels.append(abs(shot.travel_m) * max(aside, 0.35))
    pan, tilt = np.concatenate(pans), np.concatenate(tilts)
    return (
        CameraPath(
            plan=plan,
            at=np.tile(at, len(tried)),
            camera_m=np.concatenate(eyes),
            camera_rotation=geometry.camera_rotation(pan, tilt, north),
            lens_bearing_deg=pan,
            lens_altitude_deg=tilt,
        ),
        travels,
    )


def _near_m(plan: Plan, seen: block_visibility.BlockVisibility, count: int) -> Array:
    """Distance of the nearest solid in the middle picture of each of so many shots, (count,)."""
    solid = np.array([block.role not in ("ground", "water") for block in plan.blocks], dtype=bool)
    there = seen.in_frame & solid
    nearest = np.where(there, seen.distance_m, np.inf).min(axis=1, initial=np.inf)
    return np.maximum(nearest.reshape(count, QUICK_FRAMES)[:, QUICK_FRAMES // 2], 0.3)
