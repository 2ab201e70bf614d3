"""Bearing, altitude, roll, field of view and place of a photograph from what is pinned in it.

One pin turns the camera to it; two give the roll; three the field of view, and four, at least two of them
corners of blocks, the place. What the pins leave too uncertain stays as it was.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.angles import compass_deg, wrapped_deg
from planner_core.maths.least_squares import Solution, solve
from planner_core.photo import camera
from planner_core.photo.pins import Targets, targets
from planner_core.plan.model import Photo, Plan
from planner_core.rig.geometry import bearing_and_altitude

Array = NDArray[np.float64]

AIM, ROLL, PLACE = 1, 2, 4  # how many pins it takes
POINTS_FOR_PLACE = 2
CLICK_PX = 2.0  # how well a corner is pointed at (common practice, no source) …
CLICK_WEIGHT = 5.0  # … which counts as much as so many residuals: few pins say little of their own scatter
UNCERTAIN = 0.25  # of the distance to the nearest pinned thing: a place known less well isn't taken
STEPS = np.array([1e-4, 1e-4, 1e-4, 1e-6, 1e-3, 1e-3, 1e-3])  # degrees, log of the focal length, metres
LEAST_FOCAL, MOST_FOCAL = 7.0, 100.0  # of the picture's width: 148° and 0.6°, a whole turn of a panorama
OFF_PX, OFF_FACTOR = 6.0, 3.0  # a pin is off where it is so far out and all else fits so much better


@frozen(kw_only=True)
class Certainty:
    """One standard deviation of each value that was solved for; None where it was left as it was."""

    bearing_deg: float | None = None
    altitude_deg: float | None = None
    roll_deg: float | None = None
    fov_deg: float | None = None
    place_m: tuple[float, float, float] | None = None


@frozen(kw_only=True)
class Solved:
    """A photograph as its pins place it.

    residual_px (pins,) is how far each pin is from where the plan has its thing, rms_px of them all together.
    off is the index of a pin that all others contradict, off_px by how much. solved names what was solved
    for: aim, roll, view and place; kept_place_m is how uncertain the pins left a place that stays as given.
    """

    photo: Photo
    residual_px: tuple[float, ...]
    rms_px: float
    certainty: Certainty
    solved: tuple[str, ...]
    off: int | None = None
    off_px: float = 0.0
    kept_place_m: float | None = None


def solve_photo(plan: Plan, photo: Photo, *, place_known: bool = True) -> Solved:
    """The photograph with what its pins say. Raises PlanError for a pin on what isn't there.

    Where the place isn't known, photo.place_m is only where the search begins.
    """
    aimed_at = targets(plan, photo)
    count = len(aimed_at.pixels)
    if count == 0:
        return Solved(photo=photo, residual_px=(), rms_px=0.0, certainty=Certainty(), solved=())
    problem = _Problem(plan=plan, photo=photo, targets=aimed_at)
    unknowns = _unknowns(count, int(aimed_at.is_point.sum()))
    solution = problem.solve(unknowns, place_known=place_known)
    kept = None
    if unknowns == 7:
        uncertain = problem.place_uncertain_m(solution)
        if uncertain is not None:
            kept, unknowns = uncertain, 4
            solution = problem.solve(unknowns, place_known=True)
    off, off_px = problem.odd_one(unknowns, solution)
    return _solved(problem, solution, unknowns, off, off_px, kept)


def _unknowns(pins: int, points: int) -> int:
    """How many of bearing, altitude, roll, focal length, x, y, z so many pins can tell."""
    if pins >= PLACE and points >= POINTS_FOR_PLACE:
        return 7
    return {AIM: 2, ROLL: 3}.get(pins, 4)


@frozen(kw_only=True, eq=False)
class _Problem:
    """A photograph, its pins, and the values to solve for: bearing, altitude, roll (degrees), the logarithm
    of the focal length in pixels, and the place in metres.
    """

    plan: Plan
    photo: Photo
    targets: Targets

    def start(self) -> Array:
        photo = self.photo
        return np.array(
            [
                photo.bearing_deg,
                photo.altitude_deg,
                photo.roll_deg,
                math.log(camera.focal_px(photo)),
                *photo.place_m,
            ]
        )

    def focal_px(self, values: Array) -> float:
        """The focal length, kept to lenses that there are."""
        width = self.photo.width_px
        return float(
            np.clip(math.exp(np.clip(values[3], -20.0, 20.0)), width / LEAST_FOCAL, width * MOST_FOCAL)
        )

    def aim(self, values: Array) -> Array:
        bearing, altitude, roll = (float(value) for value in values[:3])
        return camera.rotation(bearing, altitude, roll, self.plan.site.scene_north_deg)

    def off_px(self, values: Array) -> Array:
        """How far, in x and y, each thing is from its pin, (pins, 2)."""
        seen = self.targets.seen_from(values[4:7])
        return camera.pixels(self.photo, seen, self.aim(values), self.focal_px(values)) - self.targets.pixels

    def off_rays(self, values: Array) -> Array:
        """The same as differences of unit vectors, about in pixels: smooth even behind the camera."""
        seen = self.targets.seen_from(values[4:7]) @ self.aim(values)
        rays = camera.in_camera(self.photo, self.targets.pixels, self.focal_px(values))
        return camera.focal_px(self.photo) * (seen - rays)

    def solve(self, unknowns: int, *, place_known: bool) -> Solution:
        """From the start that promises most; from others only until one fits as well as pins can."""
        good = len(self.targets.pixels) * (2.0 * CLICK_PX) ** 2
        best: Solution | None = None
        for start in self._starts(unknowns, place_known):
            near = self._run(start, unknowns, rays=True)
            solution = self._run(near.values, unknowns, rays=False)
            if best is None or solution.sum_of_squares < best.sum_of_squares:
                best = solution
            if best.sum_of_squares < good:
                break
        assert best is not None
        return best

    def _run(self, start: Array, unknowns: int, *, rays: bool) -> Solution:
        off = self.off_rays if rays else self.off_px

        def residuals(free: Array) -> Array:
            return off(np.concatenate([free, start[unknowns:]])).ravel()

        solution = solve(residuals, start[:unknowns], STEPS[:unknowns], settled=1e-3 if rays else 1e-12)
        return attrs.evolve(solution, values=np.concatenate([solution.values, start[unknowns:]]))

    def _starts(self, unknowns: int, place_known: bool) -> Iterator[Array]:
        given = self.start()
        if unknowns == 2:
            yield self._turned_to(given)
            return
        yield self._aimed(given, given[4:7])
        if unknowns < 7:
            return
        tried = [self._aimed(given, place) for place in self._places(given[4:7], place_known)]
        tried.sort(key=lambda values: float(np.sum(self.off_rays(values) ** 2)))
        yield from tried[:8]

    def _turned_to(self, given: Array) -> Array:
        """Turned so that the one pinned thing is about where its pin is."""
        focal = self.focal_px(given)
        away = camera.directions(self.photo, self.targets.pixels, self.aim(given), focal)
        north = self.plan.site.scene_north_deg
        (bearing,), (altitude,) = bearing_and_altitude(away, north)
        (wanted,), (height,) = bearing_and_altitude(self.targets.seen_from(given[4:7]), north)
        turned = given.copy()
        turned[0] += float(wrapped_deg(np.asarray(wanted - bearing)))
        turned[1] = np.clip(turned[1] + height - altitude, -89.0, 89.0)
        return turned

    def _aimed(self, given: Array, place_m: Array) -> Array:
        """At a place, the rotation that fits all directions best: Wahba's problem by singular values
        (Markley, *Journal of the Astronautical Sciences* 36, 1988).
        """
        seen = self.targets.seen_from(place_m)
        rays = camera.in_camera(self.photo, self.targets.pixels, self.focal_px(given))
        left, _, right = np.linalg.svd(seen.T @ rays)
        turn = np.diag([1.0, 1.0, np.linalg.det(left) * np.linalg.det(right)])
        bearing, altitude, roll = _angles(left @ turn @ right, self.plan.site.scene_north_deg)
        return np.array([bearing, altitude, roll, given[3], *place_m])

    def _places(self, given_m: Array, known: bool) -> Iterator[Array]:
        """Places to begin from: around the one given, and round the pinned corners where it isn't known."""
        points = self.targets.vectors[self.targets.is_point]
        middle, spread = points.mean(axis=0), max(float(np.ptp(points, axis=0).max()), 1.0)
        reach = max(float(np.linalg.norm(given_m - middle)), 1.0)
        distances = [reach] if known else [spread * factor for factor in (0.7, 1.5, 3.0, 6.0, 12.0)]
        for distance in distances:
            for turn in np.radians(np.arange(0.0, 360.0, 15.0)):
                around = distance * np.array([np.sin(turn), np.cos(turn), 0.0])
                yield np.array([middle[0], middle[1], given_m[2]]) + around
                if not known:
                    yield middle + around

    def sigma_px(self, solution: Solution, unknowns: int) -> float:
        """How far a thing is from its pin in each direction, from the residuals and from what is usual."""
        free = 2 * len(self.targets.pixels) - unknowns
        usual = CLICK_WEIGHT * CLICK_PX**2
        return math.sqrt((solution.sum_of_squares + usual) / (free + CLICK_WEIGHT))

    def place_uncertain_m(self, solution: Solution) -> float | None:
        """How uncertain the place is, where that is too much to take it; else None."""
        points = self.targets.vectors[self.targets.is_point]
        nearest = float(np.linalg.norm(points - solution.values[4:7], axis=1).min())
        variance = np.diag(solution.cofactor)[4:7]
        uncertain = self.sigma_px(solution, 7) * math.sqrt(float(variance.sum()))
        return uncertain if uncertain > UNCERTAIN * nearest else None

    def odd_one(self, unknowns: int, solution: Solution) -> tuple[int | None, float]:
        """The pin that all others contradict, and by how many pixels; None where no one stands out."""
        count = len(self.targets.pixels)
        if 2 * (count - 1) <= unknowns or count < 3:
            return None, 0.0
        best: tuple[float, int, float] | None = None
        for number in range(count):
            others = attrs.evolve(self, targets=self.targets.without(number))
            without = others._run(solution.values, unknowns, rays=False)
            off = float(np.linalg.norm(self.off_px(without.values)[number]))
            rms = math.sqrt(without.sum_of_squares / (count - 1))
            if best is None or rms < best[0]:
                best = rms, number, off
        assert best is not None
        rms, number, off = best
        whole = math.sqrt(solution.sum_of_squares / count)
        is_off = (
            off > OFF_PX and off > OFF_FACTOR * rms and whole > OFF_FACTOR / 2.0 * max(rms, CLICK_PX / 2.0)
        )
        return (number, off) if is_off else (None, 0.0)


def _angles(aim: Array, scene_north_deg: float) -> tuple[float, float, float]:
    """Bearing, altitude and roll, degrees, of a rotation scene-from-camera."""
    bearing, altitude = (float(value) for value in bearing_and_altitude(-aim[:, 2], scene_north_deg))
    level = camera.rotation(bearing, altitude, 0.0, scene_north_deg)
    roll = math.degrees(math.atan2(-float(aim[:, 0] @ level[:, 1]), float(aim[:, 0] @ level[:, 0])))
    return bearing, altitude, roll


def _solved(
    problem: _Problem, solution: Solution, unknowns: int, off: int | None, off_px: float, kept_m: float | None
) -> Solved:
    values = solution.values
    # angles past the zenith come back as a person says them
    bearing, altitude, roll = _angles(problem.aim(values), problem.plan.site.scene_north_deg)
    photo = attrs.evolve(
        problem.photo,
        bearing_deg=float(compass_deg(bearing)),
        altitude_deg=altitude,
        roll_deg=roll,
        fov_deg=camera.fov_of_focal_deg(problem.photo, problem.focal_px(values)),
        place_m=(float(values[4]), float(values[5]), float(values[6])),
    )
    residuals = np.linalg.norm(problem.off_px(values), axis=1)
    return Solved(
        photo=photo,
        residual_px=tuple(float(value) for value in residuals),
        rms_px=float(np.sqrt(np.mean(residuals**2))),
        certainty=_certainty(problem, solution, unknowns),
        solved=(
            "aim",
            *(("roll",) * (unknowns > 2)),
            *(("view",) * (unknowns > 3)),
            *(("place",) * (unknowns > 4)),
        ),
        off=off,
        off_px=off_px,
        kept_place_m=kept_m,
    )


def _certainty(problem: _Problem, solution: Solution, unknowns: int) -> Certainty:
    deviation = problem.sigma_px(solution, unknowns) * np.sqrt(np.diag(solution.cofactor))
    spread = [float(value) for value in deviation]
    focal = problem.focal_px(solution.values)
    wider, narrower = (
        (
            camera.fov_of_focal_deg(problem.photo, focal * math.exp(sign * min(spread[3], 1.0)))
            for sign in (-1.0, 1.0)
        )
        if unknowns > 3
        else (0.0, 0.0)
    )
    return Certainty(
        bearing_deg=spread[0],
        altitude_deg=spread[1],
        roll_deg=spread[2] if unknowns > 2 else None,
        fov_deg=(wider - narrower) / 2.0 if unknowns > 3 else None,
        place_m=(spread[4], spread[5], spread[6]) if unknowns > 4 else None,
    )
