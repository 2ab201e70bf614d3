"""The search for a shot, coarse to fine: spots by their bounds, framings by still pictures, moves by a few of
their pictures, the most promising improved step by step, and then the whole review.

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
from planner_core.moves.score import POINTS, ShotScore, shot_score
from planner_core.picture import composition
from planner_core.place import blocking
from planner_core.plan.model import Plan, PlanError, Word
from planner_core.review.findings import Finding
from planner_core.rig import geometry
from planner_core.scout import places, spots
from planner_core.scout.estimate import ACROSS, GRACE_PERCENT, GRACE_SIZE, Estimate, Estimator, Framer
from planner_core.scout.places import Area, Terrain
from planner_core.scout.shots import BACKWARDS, Aim, Shot, plan_of, reveals
from planner_core.scout.spots import Spots
from planner_core.scout.ties import STEADY_DIGITS, Surroundings, steady
from planner_core.scout.walk import reachable
from planner_core.words.language import phrase

Array = NDArray[np.float64]

CELLS_M = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
MOST_PLACES = 15_000
RAIL_TURNS_DEG = (90.0, 45.0, 135.0, 0.0)  # off the line of sight; the other ways the carriage runs backwards
RISING_TURNS_DEG = (*RAIL_TURNS_DEG, -90.0, -45.0, -135.0, 180.0)  # where the rail rises to one end
ALONG = float(np.cos(np.radians(20.0)))  # a rail that points so near to the subject goes towards it
SHORT_TRAVEL = 0.4  # of the rail, where something is too near for more
PAN_ENDS = ((1 / 3, 2 / 3), (2 / 3, 1 / 3))  # of the frame's width
REVEAL_FROM = (-0.35, 1.35)  # beyond the frame: where a pan that reveals the subject begins
TILT_SHARE, REVEAL_TILT = 0.15, 1.1  # of the angle of view
FRAMED_SPOTS, FRAMED_A_TILE = 600, 6  # spots whose framings are tried, and how many of a tile at least
MOVED_SPOTS, MOVED_A_TILE = 64, 3
IMPROVED, ROUNDS = 16, 3  # shots that are improved by their estimates, and how often
REVIEWS = 120
STEPS_FROM = 4  # of the best shots, steps to the side are tried from so many
WORTH_A_STEP = 0.01  # points, as estimated
WORTH_A_REVIEW = 1.5  # points below the shot that it steps from, as estimated
APART_M = 3.0  # finds nearer to each other must differ in lens or move
STILLS_AT_ONCE = 512
SAME_PLANNED_M = 1e-3
KEPT = 16  # reviews, after which all but the finds are let go
# What a shot loses in the list of finds to one before it that is like it, points
SAME_KIND, SAME_LENS, SAME_PLACE, PLACE_M = 6.0, 3.0, 5.0, 8.0
FAR_BELOW = 30.0  # the best: no find any more
STEP_UP_M, STEP_TILT_DEG = 0.25, 2.0


@frozen(kw_only=True)
class Wishes:
    """What a search is asked for. area is a rectangle of the scene, all walkable ground within reach where it
    is None; edge_m how far to stand from drops, water and keep-out ground; cell_m the grid of places, by the
    area's size where it is None; heights_m the rail's over the ground and lenses_mm the lenses, the plan's
    where they are None; reviews how many shots are reviewed; keep_place keeps to the planned place.
    """

    area: Area | None = None
    edge_m: float = 0.5
    top: int = 5
    cell_m: float | None = None
    heights_m: tuple[float, ...] | None = None
    lenses_mm: tuple[float, ...] | None = None
    reviews: int = REVIEWS
    keep_place: bool = False


class ReviewedShot:
    """A shot that was reviewed. rank is the lower, the better: points as they are told, then fewer faults, a
    move that shows more and a larger subject.
    """

    def __init__(self, shot: Shot, plan: Plan) -> None:
        self.shot, self.plan = shot, plan
        self._measured: Measured | None = None
        measured = self.measured
        self.score: ShotScore = shot_score(measured)
        self.stops = frozenset(finding.code for finding in measured.findings if finding.level == "stop")
        self.fits = fits(measured)
        rect = measured.reading.rect_px
        large = float(np.nan_to_num(rect[:, 3] - rect[:, 1]).mean()) / plan.clip.height_px
        apart = measured.parallax.separation_percent
        grace = min(apart / GRACE_PERCENT, 1.0) + min(large / GRACE_SIZE, 1.0)
        self.rank = (-steady(self.score.total, 1), len(self.score.faults), -steady(grace, 1))

    @property
    def measured(self) -> Measured:
        """Its frames and review, worked out anew where they were let go."""
        if self._measured is None:
            self._measured = Measured(self.plan)
        return self._measured

    def let_go(self) -> None:
        """Free what can be worked out again."""
        self._measured = None


@frozen(kw_only=True, eq=False)
class Progress:
    """How far a search is: what it does now, how much of that is done, and the finds so far, best first."""

    stage: str
    done: int
    total: int
    finds: tuple[ReviewedShot, ...] = ()


@attrs.define(kw_only=True)
class Tally:
    """What a search has tried, and what a shot from every place could be worth as far as is known, for a map:
    a bound that falls as pictures, moves and reviews are tried from there.
    """

    places_m: Array = field(factory=lambda: np.empty((0, 3)))
    worth: Array = field(factory=lambda: np.empty(0))
    beyond_reach: int = 0  # places that one can't walk to
    way_known: bool = True  # whether it could be told where one can walk to
    candidates: int = 0
    stills: int = 0
    moves: int = 0
    reviews: int = 0

    @property
    def tried(self) -> int:
        """Pictures and moves all together."""
        return self.candidates + self.stills + self.moves

    def learn(self, place: tuple[float, ...], points: float) -> None:
        """Take the best shot known from a place as what it is worth."""
        away = np.abs(self.places_m[:, :2] - np.array(place[:2])).sum(axis=1)
        near = away < away.min() + 1e-6  # a step to the side is as near to two of them
        self.worth[near] = np.maximum(self.worth[near], points)


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
        self.surroundings = Surroundings(plan)
        self.estimator = Estimator(plan, self.frames, self.aim, self.surroundings)
        self._reviewed: dict[Shot, ReviewedShot] = {}
        self._standing: dict[tuple[float, float, float], bool] = {}
        self._estimated: dict[Shot, Estimate] = {}
        self._planned: tuple[float, bool] | None = None

    # ------------------------------------------------------------ the stages

    def run(self) -> Iterator[Progress]:
        """Search, saying how far it is; the last one has the finds."""
        chosen = yield from self._spots()
        framed = yield from self._framed(chosen)
        tried = yield from self._moves(framed)
        tried = yield from self._improved(tried)
        yield from self._review(tried)
        yield from self._steps()
        finds = self.finds()
        yield Progress(stage="done", done=len(finds), total=len(finds), finds=finds)

    def finds(self) -> tuple[ReviewedShot, ...]:
        """The best so far, the best first, none with a stop, each different from those before it."""
        passed = [reviewed for reviewed in self._reviewed.values() if not reviewed.stops]
        whole = [reviewed for reviewed in passed if reviewed.fits]
        ranked = sorted(
            whole if whole and self.planned_fits() else passed,
            key=lambda reviewed: (*reviewed.rank, *self._equals(reviewed.shot)),
        )
        if not ranked:
            return ()
        least = ranked[0].score.total - FAR_BELOW
        chosen = _varied(
            [reviewed.shot for reviewed in ranked if reviewed.score.total >= least],
            [steady(reviewed.score.total, STEADY_DIGITS) for reviewed in ranked],
            self.wishes.top,
        )
        return tuple(ranked[row] for row in sorted(chosen))

    def stopped_by(self) -> Finding | None:
        """What stops every shot that was reviewed, as the best of them says it; None without such."""
        every = list(self._reviewed.values())
        common = frozenset.intersection(*(reviewed.stops for reviewed in every)) if every else frozenset()
        if not common:
            return None
        best = min(every, key=lambda reviewed: (*reviewed.rank, *self._equals(reviewed.shot)))
        return best.measured.worst(set(common))

    def best_at(self, place: Array) -> Shot | None:
        """The best shot from one place (2,), by its estimate; None where the rail can't stand there."""
        best = self._best_from(place, 1)
        return best[0][1] if best else None

    def best_shots_here(self, most: int) -> list[tuple[float, Shot]]:
        """The best shots from the planned place with their estimated points."""
        return self._best_from(self.planned_place()[0], most)

    def _best_from(self, place: Array, most: int) -> list[tuple[float, Shot]]:
        there = np.array([[*place[:2], float(self.terrain.under(place[None, :2])[0][0])]])
        lots = list(spots.bounded(self.plan, self.frames, there, self.heights_m(), self.lenses_mm))
        every = spots.joined(lots)
        tried: list[Shot] = []
        for lens in self.lenses_mm:
            chosen = every.take(np.flatnonzero(every.focal_length_mm == lens))
            _, across, tilt = Framer(self.plan, lens, self.surroundings).best(chosen)
            for row in range(len(chosen)):
                tried += self._shots(chosen, row, float(across[row]), float(tilt[row]))
        points = dict(zip(tried, self._estimate(tried), strict=True))
        return [(points[shot], shot) for shot in sorted(points, key=self._promise)[:most]]

    def heights_m(self) -> tuple[float, ...]:
        """The rail's heights to try: what the stands reach, and the planned one."""
        if self.wishes.heights_m:
            return self.wishes.heights_m
        planned = self.plan.rig.origin_m[2] - float(
            self.terrain.under(np.array([self.plan.rig.origin_m[:2]]))[0][0]
        )
        rig = self.plan.rig
        possible = 0.0 < planned <= max(2.5, rig.stand_max_m)
        middle = planned if possible else (rig.stand_min_m + rig.stand_max_m) / 2.0
        return tuple(sorted({rig.stand_min_m, round(middle, 2), rig.stand_max_m}))

    def _spots(self) -> Generator[Progress, None, Spots]:
        there = self._places()
        heights = self.heights_m()
        total = len(there) * len(heights) * len(self.lenses_mm)
        lots: list[Spots] = []
        for lot in spots.bounded(self.plan, self.frames, there, heights, self.lenses_mm):
            lots.append(lot)
            self.tally.candidates += len(lot)
            yield Progress(stage="places", done=self.tally.candidates, total=total)
        every = spots.joined(lots)
        self._note_places(there, every)
        tiles = len(np.unique(every.tiles(self.aim.middle_m), axis=0))
        a_tile = max(FRAMED_A_TILE, FRAMED_SPOTS // tiles)
        return every.take(self._by_tile_rows(every, every.bound, FRAMED_SPOTS, a_tile))

    def _by_tile_rows(self, every: Spots, value: Array, most: int, a_tile: int) -> NDArray[np.intp]:
        """The rows of the highest values, no more than a few of a tile; of equals those with less to walk,
        then those nearer to what stands there.
        """
        around_m = self.surroundings.mean_distance_m(every.eyes(self.plan))
        order = np.lexsort((around_m, self._walks_m(every), -np.round(value, STEADY_DIGITS)))
        taken: dict[tuple[int, int], int] = {}
        tiles = every.tiles(self.aim.middle_m)
        chosen: list[int] = []
        for row in order:
            if len(chosen) == most:
                break
            tile = (int(tiles[row, 0]), int(tiles[row, 1]))
            if taken.get(tile, 0) < a_tile:
                taken[tile] = taken.get(tile, 0) + 1
                chosen.append(int(row))
        return np.array(chosen, dtype=np.intp)

    def _walks_m(self, chosen: Spots) -> Array:
        """How far each spot is from the planned place, (n,)."""
        away = chosen.place_m[:, :2] - self.planned_place()[0]
        return np.asarray(np.round(np.hypot(away[:, 0], away[:, 1]), 3))

    def _places(self) -> Array:
        """Where to stand, (n, 3): safe, and to be got to on foot."""
        if self.wishes.keep_place:
            planned = self.planned_place()
            return np.column_stack([planned, self.terrain.under(planned)[0]])
        points, ground = places.standing_places(
            self.terrain, self.terrain.area, self.cell_m, self.aim.middle_m
        )
        points, ground = self._with_planned(points, ground)
        if not len(points):
            raise PlanError(
                "blocks",
                Word(places_word(self.plan)),
                "leave nowhere to stand in this area, {edge:g} m from every edge; "
                "take a larger area or a smaller distance",
                edge=self.wishes.edge_m,
            )
        near = reachable(self.terrain, self.planned_place()[0], points)
        self.tally.way_known = near is not None
        if near is None:
            near = np.ones(len(points), dtype=bool)
        if not near.any():
            raise PlanError(
                "blocks",
                Word(places_word(self.plan)),
                "leave no way on foot from the planned place to this area; add what one walks over, a bridge "
                "or steps, as a block of role ground",
            )
        self.tally.beyond_reach = int((~near).sum())
        return np.column_stack([points, ground])[near]

    def planned_place(self) -> Array:
        """Under the middle of the planned rail, (1, 2)."""
        slide = self.plan.rig.slide
        middle = (slide.min_m + slide.max_m) / 2.0 if slide else 0.0
        return np.asarray(geometry.carriage_position_m(self.plan, middle)[None, :2])

    def _with_planned(self, points: Array, ground: Array) -> tuple[Array, Array]:
        """The places and the planned one, where one may stand there and it isn't one of them."""
        planned = self.planned_place()
        if (np.abs(points - planned) < SAME_PLANNED_M).all(axis=1).any():
            return points, ground
        x0, y0, x1, y1 = self.terrain.area
        inside = bool(((planned >= (x0, y0)) & (planned <= (x1, y1))).all())
        if not inside or not self.terrain.may_stand(planned)[0]:
            return points, ground
        return np.concatenate([points, planned]), np.append(ground, self.terrain.under(planned)[0])

    def _note_places(self, there: Array, every: Spots) -> None:
        best = {tuple(place): 0.0 for place in there.tolist()}
        for place, bound in zip(every.place_m.tolist(), every.bound.tolist(), strict=True):
            best[tuple(place)] = max(best[tuple(place)], bound)
        self.tally.places_m, self.tally.worth = there, np.array(list(best.values()))

    def _framed(self, chosen: Spots) -> Generator[Progress, None, _Framed]:
        """The best still picture of each spot: its score, and where in the frame the subject is."""
        score, across, tilt = (np.zeros(len(chosen)) for _ in range(3))
        done = 0
        for lens in self.lenses_mm:
            rows = np.flatnonzero(chosen.focal_length_mm == lens)
            framer = Framer(self.plan, lens, self.surroundings)
            step = max(1, STILLS_AT_ONCE // framer.count)
            for first in range(0, len(rows), step):
                part = rows[first : first + step]
                score[part], across[part], tilt[part] = framer.best(chosen.take(part))
                done += len(part)
                self.tally.stills += len(part) * framer.count
                yield Progress(stage="framings", done=done, total=len(chosen))
        value = chosen.bound - POINTS["picture"] * (1.0 - score)
        self._note_framed(chosen, value)
        order = self._by_tile_rows(chosen, value, MOVED_SPOTS, MOVED_A_TILE)
        return _Framed(spots=chosen.take(order), across=across[order], tilt_deg=tilt[order])

    def _note_framed(self, chosen: Spots, value: Array) -> None:
        """Places whose framings were tried are worth the best of them; the rest lose as much as those did."""
        rows = {(x, y): i for i, (x, y) in enumerate(self.tally.places_m[:, :2].tolist())}
        worth = np.full(len(self.tally.worth), -np.inf)
        for (x, y), points in zip(chosen.place_m[:, :2].tolist(), value.tolist(), strict=True):
            worth[rows[(x, y)]] = max(worth[rows[(x, y)]], points)
        known = np.isfinite(worth)
        loss = float(np.median(self.tally.worth[known] - worth[known])) if known.any() else 0.0
        self.tally.worth = np.where(known, worth, self.tally.worth - loss)

    def _moves(self, framed: _Framed) -> Generator[Progress, None, list[Shot]]:
        """Shots with an estimate of their points, the best first."""
        chosen, across, tilt = framed.spots, framed.across, framed.tilt_deg
        self._ask_standing(
            [
                (*place[:2], bearing)
                for place, towards in zip(chosen.place_m, chosen.bearing_deg, strict=True)
                for bearing in self._rails_deg(float(towards))
            ]
        )
        shots: list[Shot] = []
        for row in range(len(chosen)):
            tried = list(self._shots(chosen, row, float(across[row]), float(tilt[row])))
            self._estimate(tried)
            shots += tried
            yield Progress(stage="moves", done=row + 1, total=len(chosen))
        return sorted(shots, key=self._promise)

    def _promise(self, shot: Shot) -> tuple[float, ...]:
        """What shots are sorted by: the most points, as estimated."""
        return -self._estimated[shot].points, *self._equals(shot)

    def _equals(self, shot: Shot) -> tuple[float, ...]:
        """What equals are sorted by: the least to walk, then the nearest to what stands there; of a shot and
        its mirror image in a place that is its own, the one to the left and below in the scene.
        """
        self._estimate([shot])
        known, place = self._estimated[shot], shot.place_m
        return self._walk_m(place), known.ends_m, known.begins_m, *place, shot.rail_deg, shot.travel_m

    def _walk_m(self, place: Sequence[float]) -> float:
        """How far a place is from the planned one."""
        planned = self.planned_place()[0]
        return round(float(np.hypot(place[0] - planned[0], place[1] - planned[1])), 3)

    def _estimate(self, tried: Sequence[Shot]) -> list[float]:
        """The estimated points of each shot, worked out once."""
        new = [shot for shot in dict.fromkeys(tried) if shot not in self._estimated]
        if new:
            self._estimated.update(zip(new, self.estimator.estimates(new), strict=True))
            self.tally.moves += len(new)
        return [self._estimated[shot].points for shot in tried]

    def _shots(self, chosen: Spots, row: int, across: float, tilt: float) -> Iterator[Shot]:
        """The moves worth trying from a spot, where the rail stands safely."""
        rig = self.plan.rig
        x, y, z = (float(v) for v in chosen.place_m[row])
        tilt = round(tilt, 1)
        base = Shot(
            kind="still",
            place_m=(x, y, z),
            height_m=float(chosen.height_m[row]),
            focal_length_mm=float(chosen.focal_length_mm[row]),
            rail_deg=self._rails_deg(float(chosen.bearing_deg[row]))[0],
            travel_m=0.0,
            across=(across, across),
            tilts_deg=(tilt, tilt),
        )
        standing = self._stands(base)
        if standing:
            yield base
        if self.plan.shoot.frames < 2:
            return
        if standing:
            yield from self._turns(base)
        if rig.slide is None:
            return
        rails = self._rails_deg(float(chosen.bearing_deg[row]))
        if self.wishes.keep_place:
            rails.append(self.plan.rig.bearing_deg)
        for bearing in rails:
            rail = attrs.evolve(base, rail_deg=bearing)
            if self._stands(rail):
                yield from self._slides(rail, float(np.cos(np.radians(bearing - chosen.bearing_deg[row]))))

    def _rails_deg(self, towards_deg: float) -> list[float]:
        """Bearings of the rail to try where the subject is in a direction, to what one would set."""
        turns = RISING_TURNS_DEG if self.plan.rig.incline_deg else RAIL_TURNS_DEG
        return [round(towards_deg + turn, 2) for turn in turns]

    def _turns(self, base: Shot) -> Iterator[Shot]:
        """Pans and tilts of a still shot."""
        rig, across = self.plan.rig, base.across[0]
        if rig.pan is not None:
            ends = tuple((out, across) for out in REVEAL_FROM) if reveals(self.plan) else PAN_ENDS
            for one in ends:
                yield attrs.evolve(base, kind="pan", across=one)
        if rig.tilt is not None:
            up = composition.view_deg(spots.with_lens(self.plan, base.focal_length_mm))[1]
            tilt = base.tilts_deg[0]
            for sign in (1.0, -1.0):
                if reveals(self.plan):
                    ends_deg = (tilt + sign * REVEAL_TILT * up, tilt)
                else:
                    ends_deg = (tilt - sign * TILT_SHARE * up / 2.0, tilt + sign * TILT_SHARE * up / 2.0)
                low, high = rig.tilt.min_deg, rig.tilt.max_deg
                if all(low <= end <= high for end in ends_deg):
                    first, last = (round(end, 1) for end in ends_deg)
                    yield attrs.evolve(base, kind="tilt", tilts_deg=(first, last))

    def _slides(self, rail: Shot, towards: float) -> Iterator[Shot]:
        """Moves along a rail, both ways, long and short; for a reveal the lens is aimed at where they end.

        towards is the cosine of the angle between rail and line of sight.
        """
        sideways = abs(towards) < ALONG
        slide, aimed_at = self.plan.rig.slide, 1.0 if reveals(self.plan) else 0.5
        assert slide is not None
        length = slide.max_m - slide.min_m
        travels = [round(fraction * length, 2) for fraction in (spots.USED_TRAVEL, SHORT_TRAVEL)]
        for travel_m in (sign * travel for travel in travels for sign in (1.0, -1.0)):
            kind = "slide" if sideways else ("push-in" if travel_m * towards > 0.0 else "pull-out")
            yield attrs.evolve(rail, kind=kind, travel_m=travel_m, aimed_at=aimed_at)
            if sideways and self.plan.rig.pan is not None:
                yield attrs.evolve(rail, kind="slide-held", travel_m=travel_m)

    # ------------------------------------------------------------ where the rail stands

    def _stands(self, shot: Shot) -> bool:
        key = (shot.place_m[0], shot.place_m[1], shot.rail_deg)
        if key not in self._standing:
            self._ask_standing([key])
        return self._standing[key]

    def _ask_standing(self, rails: Sequence[tuple[float, float, float]]) -> None:
        """Note which rails, given by the middle of each and its bearing, stand safely and level."""
        slide = self.plan.rig.slide
        half = (slide.max_m - slide.min_m) / 2.0 if slide else 0.0
        given = np.array([tuple(map(float, rail)) for rail in rails]).reshape(-1, 3)
        to_end = half * geometry.direction(given[:, 2], 0.0, self.plan.site.scene_north_deg)[:, :2]
        ends = np.stack([given[:, :2] - to_end, given[:, :2] + to_end], axis=1)
        heights = self.terrain.under(ends.reshape(-1, 2))[0].reshape(-1, 2)
        safe = places.rail_stands(self.terrain, ends) & (np.ptp(heights, axis=1) < places.STEP_M)
        if self.wishes.keep_place:  # as it is planned it stands, wherever that is
            safe |= np.abs(np.sin(np.radians(given[:, 2] - self.plan.rig.bearing_deg))) < 0.01
        for row, (x, y, bearing) in enumerate(given.tolist()):
            self._standing[(x, y, bearing)] = bool(safe[row])

    # ------------------------------------------------------------ better by small steps

    def _improved(self, tried: Sequence[Shot]) -> Generator[Progress, None, list[Shot]]:
        """The shots with the most promising of them improved by their estimates, the best first."""
        if not tried or self.wishes.keep_place:
            return list(tried)
        chosen = _varied(tried, [self._estimated[shot].points for shot in tried], IMPROVED)
        shots: list[Shot] = []
        for count, row in enumerate(sorted(chosen), start=1):
            shot, step = tried[row], self.cell_m / 2.0
            for _ in range(ROUNDS):
                near = [other for other in self._neighbours(shot, step) if self._stands(other)]
                self._estimate(near)
                better = min([shot, *near], key=self._promise)
                if self._estimated[better].points > self._estimated[shot].points + WORTH_A_STEP:
                    shot = better
                step = max(step / 2.0, 0.1)
            shots.append(shot)
            yield Progress(stage="moves", done=count, total=len(chosen))
        every = dict.fromkeys([*shots, *tried])
        return sorted(every, key=self._promise)

    def _neighbours(self, shot: Shot, step_m: float) -> Iterator[Shot]:
        if not reveals(self.plan) and shot.kind != "still":
            yield shot.backwards()
        yield from self._moved(shot, step_m)
        if shot.travel_m:
            for turn in (15.0, -15.0):
                yield attrs.evolve(shot, rail_deg=round(shot.rail_deg + turn, 2))
            yield attrs.evolve(shot, travel_m=round(0.6 * shot.travel_m, 2))
        for across in ACROSS:
            if shot.across[0] == shot.across[1] != across:
                yield attrs.evolve(shot, across=(across, across))
        if self.plan.rig.tilt is not None:
            for sign in (1.0, -1.0):
                first, last = (round(tilt + sign * STEP_TILT_DEG, 1) for tilt in shot.tilts_deg)
                yield attrs.evolve(shot, tilts_deg=(first, last))
        for lens in self.lenses_mm:
            if lens != shot.focal_length_mm:
                yield attrs.evolve(shot, focal_length_mm=lens)

    def _moved(self, shot: Shot, step_m: float) -> Iterator[Shot]:
        """The shot from places around it that belong to the area, and from higher and lower."""
        x, y, _ = shot.place_m
        x0, y0, x1, y1 = self.terrain.area
        steps = np.array([[step_m, 0.0], [-step_m, 0.0], [0.0, step_m], [0.0, -step_m]])
        there = np.round(np.array([[x, y]]) + steps, 3)
        inside = ((there >= (x0, y0)) & (there <= (x1, y1))).all(axis=1)
        inside &= self.terrain.may_stand(there)
        ground = self.terrain.under(there)[0]
        inside &= np.abs(ground - shot.place_m[2]) < places.STEP_M  # so that one can walk there too
        for row in np.flatnonzero(inside):
            to = (float(there[row, 0]), float(there[row, 1]), float(ground[row]))
            yield attrs.evolve(shot, place_m=to)
        low, high = min(self.heights_m()), max(self.heights_m())
        for height in (shot.height_m - STEP_UP_M, shot.height_m + STEP_UP_M):
            height = round(min(max(height, low), high), 2)
            if height != shot.height_m:
                yield attrs.evolve(shot, height_m=height)

    # ------------------------------------------------------------ the whole review

    def _review(self, tried: Sequence[Shot]) -> Iterator[Progress]:
        """Review the most promising, leaving a third of the reviews for steps to the side. What is estimated
        too far below the best to be a find is looked at only where nothing else holds.
        """
        most = max(1, self.wishes.reviews * 2 // 3)
        points = self._estimate(tried)
        least = max(points, default=0.0) - FAR_BELOW
        promising = [shot for shot, one in zip(tried, points, strict=True) if one >= least]
        yield from self._rounds(promising, most)
        if not self.finds():
            yield from self._rounds([s for s, one in zip(tried, points, strict=True) if one < least], most)

    def _rounds(self, tried: Sequence[Shot], most: int) -> Iterator[Progress]:
        """Review shots in rounds, so that what is reviewed first is spread over the place: in each round no
        more than one of a kind and lens from a tile. The same move backwards is worth much the same: it comes
        last, but for the best finds, where it is a step.
        """
        waiting, backwards = list(tried), set[Shot]()
        while waiting and self.tally.reviews < most:
            if backwards.issuperset(waiting):
                backwards.clear()
            taken: set[tuple[int, int, str, float]] = set()
            later: list[Shot] = []
            for shot in waiting:
                x, y = spots.tile_of(np.array(shot.place_m[:2]), self.aim.middle_m).tolist()
                key = (x, y, shot.kind, shot.focal_length_mm)
                if key in taken or shot in backwards or self.tally.reviews >= most:
                    later.append(shot)
                    continue
                taken.add(key)
                backwards.add(shot.backwards())
                self.look(shot)
                yield self._reviewing()
            waiting = later

    def _steps(self) -> Iterator[Progress]:
        """From the best finds, steps to the side, up, nearer, with a turned rail or another lens, as long as
        they help.
        """
        tried: set[Shot] = set()
        step = self.cell_m / 2.0
        while self.tally.reviews < self.wishes.reviews and step > 0.1:
            for reviewed in self.finds()[:STEPS_FROM]:
                near = [
                    shot
                    for shot in self._neighbours(reviewed.shot, step)
                    if shot not in tried and self._stands(shot)
                ]
                tried.update(near)
                least = self._estimate([reviewed.shot])[0] - WORTH_A_REVIEW
                self._estimate(near)
                for shot in sorted(near, key=self._promise):
                    if self.tally.reviews >= self.wishes.reviews:
                        return
                    if self._estimated[shot].points >= least:
                        self.look(shot)
                        yield self._reviewing()
            step /= 2.0

    def planned_score(self) -> float:
        """What the plan's own shot is worth."""
        return self._measure_planned()[0]

    def planned_fits(self) -> bool:
        """Whether the plan's own shot has the whole subject; if not, a part of it may be what is wanted."""
        return self._measure_planned()[1]

    def _measure_planned(self) -> tuple[float, bool]:
        if self._planned is None:
            measured = Measured(self.plan)
            self._planned = shot_score(measured).total, fits(measured)
        return self._planned

    def look(self, shot: Shot) -> ReviewedShot:
        """Review a shot, once."""
        if shot not in self._reviewed:
            reviewed = self._reviewed[shot] = ReviewedShot(shot, plan_of(self.plan, shot, self.aim))
            self.tally.reviews += 1
            if self.tally.reviews % KEPT == 0:
                best = self.finds()
                for other in self._reviewed.values():
                    if other not in best:
                        other.let_go()
            if not reviewed.stops and len(self.tally.worth):
                self.tally.learn(shot.place_m, reviewed.score.total)
        return self._reviewed[shot]

    def _reviewing(self) -> Progress:
        return Progress(
            stage="reviews", done=self.tally.reviews, total=self.wishes.reviews, finds=self.finds()
        )


def fits(measured: Measured) -> bool:
    """Whether the subject is never too large for the picture with a part of it outside."""
    reading = measured.reading
    return not bool((reading.oversize.any(axis=1) & (reading.inside < composition.INSIDE_WHOLE)).any())


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
    return phrase("{count} blocks", count=len(plan.blocks))


def _cell_m(area: Area) -> float:
    size = (area[2] - area[0]) * (area[3] - area[1])
    return next((cell for cell in CELLS_M[1:] if size / cell**2 <= MOST_PLACES), CELLS_M[-1])


# ---------------------------------------------------------------- different shots


def _varied(ranked: Sequence[Shot], points: Sequence[float], most: int) -> list[int]:
    """Rows of shots, given best first, that are good and differ from each other: each next one is worth its
    points less what it has in common with those chosen.
    """
    chosen: list[int] = []
    left = np.array(points[: len(ranked)], dtype=np.float64)
    place = np.array([shot.place_m[:2] for shot in ranked]).reshape(-1, 2)
    # a move and the same backwards show the same
    kind = np.array([min(shot.kind, BACKWARDS.get(shot.kind, shot.kind)) for shot in ranked])
    lens = np.array([shot.focal_length_mm for shot in ranked])
    lenses = len(set(lens.tolist())) > 1
    alike, near = np.zeros(len(ranked)), np.zeros(len(ranked))
    while len(chosen) < most:
        value = np.round(left - alike - near, STEADY_DIGITS)
        if not np.isfinite(value).any():
            break
        row = int(np.argmax(value))
        chosen.append(row)
        apart = np.hypot(*(place - place[row]).T)
        same_kind, same_lens = kind == kind[row], lens == lens[row]
        alike += SAME_KIND * same_kind + SAME_LENS * (same_lens & lenses)
        near = np.maximum(near, SAME_PLACE * np.exp(-apart / PLACE_M))
        left[(apart < APART_M) & (same_kind | same_lens)] = -np.inf
        left[row] = -np.inf
    return chosen
