"""The horizon that the land makes, with Earth's curvature and refraction, by marching rays outward.

A ray's altitude at a distance follows from a sphere as round as the ellipsoid is in its direction, made
larger by refraction: k = 0.13 of the curvature, the surveyors' usual value (Gauss; Torge and Müller,
*Geodesy*, 2012).
"""

from __future__ import annotations

import math

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.place.footprints import EQUATOR_RADIUS_M, FLATTENING
from planner_core.terrain.grids import Grid

Array = NDArray[np.float64]

REFRACTION = 0.13
AZIMUTHS = 3600  # a tenth of a degree: at 20 km 35 m, about a cell
NODE_M = 1000.0  # between these a geodesic's latitude and longitude are straight to a centimetre
FARTHEST_M = 300_000.0
FIRST_M = 20.0
# A step is so short a share of the distance, within these shares of a cell; peaks are then closed in on.
STEP, SHORTEST_CELL, LONGEST_CELL = 2e-3, 0.15, 0.7
CHUNK = 48
BANDS_M = (0.0, 1500.0, 4000.0, 10_000.0, 25_000.0, math.inf)


@frozen(kw_only=True, eq=False)
class Horizon:
    """For bearings (azimuths,), degrees true: the apparent altitude of the land's highest line, degrees, and
    how far away it is; −90 and 0 where no land was met. unknown tells where a hole in the grid may hide
    something higher.

    band_deg and band_m (bands, azimuths) are those of the highest line within each of BANDS_M that nothing
    nearer hides, −90 where there is none.
    """

    bearing_deg: Array
    altitude_deg: Array
    distance_m: Array
    unknown: NDArray[np.bool_]
    band_deg: Array
    band_m: Array


def earth_radius_m(latitude_deg: float, bearing_deg: ArrayLike) -> Array:
    """Radius of curvature of the WGS 84 ellipsoid in a direction, by Euler's formula (any handbook)."""
    squared = FLATTENING * (2.0 - FLATTENING)
    sine = 1.0 - squared * math.sin(math.radians(latitude_deg)) ** 2
    across = EQUATOR_RADIUS_M / math.sqrt(sine)
    along = EQUATOR_RADIUS_M * (1.0 - squared) / sine**1.5
    turn = np.radians(np.asarray(bearing_deg, dtype=np.float64))
    return np.asarray(1.0 / (np.cos(turn) ** 2 / along + np.sin(turn) ** 2 / across))


def altitude_deg(height_m: ArrayLike, eye_m: float, distance_m: ArrayLike, radius_m: ArrayLike) -> Array:
    """Apparent altitude of what stands height_m above the sea at a distance, over a sphere of radius_m."""
    round_m = np.asarray(radius_m, dtype=np.float64) / (1.0 - REFRACTION)
    angle = np.asarray(distance_m, dtype=np.float64) / round_m
    top = round_m + np.asarray(height_m, dtype=np.float64)
    # the difference of the radii first: they agree in seven digits
    up = (top - round_m - eye_m) - top * 2.0 * np.sin(angle / 2.0) ** 2
    return np.degrees(np.arctan2(up, top * np.sin(angle)))


def dip_deg(eye_m: float, latitude_deg: float = 45.0) -> float:
    """How far the sea's horizon lies below level for an eye so high."""
    radius = float(earth_radius_m(latitude_deg, 0.0)) / (1.0 - REFRACTION)
    return math.degrees(math.acos(radius / (radius + max(eye_m, 0.0))))


def horizon(
    grid: Grid, latitude_deg: float, longitude_deg: float, eye_m: float, *, from_m: float = FIRST_M
) -> Horizon:
    """The land's horizon from a place, its eye at eye_m above the sea, without land nearer than from_m."""
    bearing = np.arange(AZIMUTHS) * (360.0 / AZIMUTHS)
    radius = earth_radius_m(latitude_deg, bearing)
    reach = min(_reach_m(grid, latitude_deg, longitude_deg), FARTHEST_M)
    lines = geodesics(latitude_deg, longitude_deg, bearing, reach)
    march = _March(grid=grid, lines=lines, eye_m=eye_m, from_m=from_m, radius_m=radius)
    return march.run(bearing, reach)


def _reach_m(grid: Grid, latitude_deg: float, longitude_deg: float) -> float:
    """How far the grid's farthest corner is at most."""
    north = max(abs(grid.north_deg - latitude_deg), abs(grid.south_deg - latitude_deg))
    east = max(abs((edge - longitude_deg + 180.0) % 360.0 - 180.0) for edge in (grid.west_deg, grid.east_deg))
    return math.hypot(north, east) * math.radians(1.0) * EQUATOR_RADIUS_M


@frozen(kw_only=True, eq=False)
class Geodesics:
    """Latitude and longitude, degrees, (azimuths, nodes) of geodesics at every NODE_M."""

    latitude_deg: Array
    longitude_deg: Array

    def at(self, rows: NDArray[np.intp], distance_m: Array) -> tuple[Array, Array]:
        """Both on some of the lines, at distances from the start; rows and distances broadcast."""
        node = np.minimum((distance_m / NODE_M).astype(np.intp), self.latitude_deg.shape[1] - 2)
        part = distance_m / NODE_M - node
        latitude, longitude = (
            table[rows, node] * (1.0 - part) + table[rows, node + 1] * part
            for table in (self.latitude_deg, self.longitude_deg)
        )
        return latitude, longitude


def geodesics(latitude_deg: float, longitude_deg: float, bearing_deg: Array, reach_m: float) -> Geodesics:
    """Geodesics of the WGS 84 ellipsoid from a place (Vincenty, *Survey Review* 23, 1975)."""
    distance = np.arange(math.ceil(reach_m / NODE_M) + 2) * NODE_M
    latitude, longitude = _direct(latitude_deg, longitude_deg, bearing_deg[:, None], distance[None, :])
    return Geodesics(latitude_deg=latitude, longitude_deg=longitude)


def _direct(
    latitude_deg: float, longitude_deg: float, bearing_deg: Array, distance_m: Array
) -> tuple[Array, Array]:
    flat, polar = FLATTENING, EQUATOR_RADIUS_M * (1.0 - FLATTENING)
    turn = np.radians(bearing_deg)
    reduced = math.atan((1.0 - flat) * math.tan(math.radians(latitude_deg)))
    sin_u, cos_u = math.sin(reduced), math.cos(reduced)
    start = np.arctan2(math.tan(reduced), np.cos(turn))
    sin_a = cos_u * np.sin(turn)
    cos2_a = 1.0 - sin_a**2
    u2 = cos2_a * (EQUATOR_RADIUS_M**2 - polar**2) / polar**2
    a = 1.0 + u2 / 16384.0 * (4096.0 + u2 * (-768.0 + u2 * (320.0 - 175.0 * u2)))
    b = u2 / 1024.0 * (256.0 + u2 * (-128.0 + u2 * (74.0 - 47.0 * u2)))
    sigma = distance_m / (polar * a)
    for _ in range(4):
        middle = np.cos(2.0 * start + sigma)
        change = b * np.sin(sigma) * (
            middle
            + b / 4.0 * (np.cos(sigma) * (2.0 * middle**2 - 1.0)
                         - b / 6.0 * middle * (4.0 * np.sin(sigma) ** 2 - 3.0) * (4.0 * middle**2 - 3.0))
        )  # fmt: skip
        sigma = distance_m / (polar * a) + change
    sin_s, cos_s = np.sin(sigma), np.cos(sigma)
    across = sin_u * sin_s - cos_u * cos_s * np.cos(turn)
    latitude = np.arctan2(
        sin_u * cos_s + cos_u * sin_s * np.cos(turn), (1.0 - flat) * np.sqrt(sin_a**2 + across**2)
    )
    east = np.arctan2(sin_s * np.sin(turn), cos_u * cos_s - sin_u * sin_s * np.cos(turn))
    c = flat / 16.0 * cos2_a * (4.0 + flat * (4.0 - 3.0 * cos2_a))
    middle = np.cos(2.0 * start + sigma)
    east = east - (1.0 - c) * flat * sin_a * (
        sigma + c * sin_s * (middle + c * cos_s * (2.0 * middle**2 - 1.0))
    )
    return np.degrees(latitude), longitude_deg + np.degrees(east)


@frozen(kw_only=True, eq=False)
class _March:
    grid: Grid
    lines: Geodesics
    eye_m: float
    from_m: float
    radius_m: Array

    def altitudes(self, rows: NDArray[np.intp], distance_m: Array) -> Array:
        """Apparent altitudes (rows, n); NaN off the grid and in holes."""
        heights = self.grid.at(*self.lines.at(rows[:, None], distance_m[None, :]))
        return altitude_deg(heights, self.eye_m, distance_m[None, :], self.radius_m[rows][:, None])

    def run(self, bearing_deg: Array, reach_m: float) -> Horizon:
        count, bands = len(bearing_deg), len(BANDS_M) - 1
        best, best_m = np.full(count, -90.0), np.zeros(count)
        band, band_m = np.full((bands, count), -90.0), np.zeros((bands, count))
        unknown = np.zeros(count, dtype=bool)
        highest = float(np.nanmax(self.grid.heights_m))
        open_rows = np.arange(count)
        steps = _steps(self.from_m, reach_m, self.grid)
        for begin in range(0, len(steps), CHUNK):
            distance = steps[begin : begin + CHUNK]
            could = altitude_deg(highest, self.eye_m, distance[0], self.radius_m[open_rows])
            open_rows = open_rows[could > best[open_rows]]
            if not len(open_rows):
                break
            seen = self.altitudes(open_rows, distance)
            missing = np.isnan(seen)
            unknown[open_rows] |= (missing[:, :-1] & ~missing[:, 1:]).any(
                axis=1
            )  # the grid's end isn't a hole
            self._raise(open_rows, distance, np.where(missing, -90.0, seen), best, best_m, band, band_m)
            open_rows = open_rows[~missing[:, -1] | ~missing.all(axis=1)]
        return Horizon(
            bearing_deg=bearing_deg,
            altitude_deg=best,
            distance_m=best_m,
            unknown=unknown,
            band_deg=band,
            band_m=band_m,
        )

    def _raise(
        self,
        rows: NDArray[np.intp],
        distance: Array,
        seen: Array,
        best: Array,
        best_m: Array,
        band: Array,
        band_m: Array,
    ) -> None:
        """Take what stands higher than all before it, closed in on between the steps."""
        number = np.searchsorted(np.asarray(BANDS_M), distance, side="right") - 1
        for which in np.unique(number):
            within = np.flatnonzero(number == which)
            top = within[np.argmax(seen[:, within], axis=1)]
            height = seen[np.arange(len(rows)), top]
            higher = np.flatnonzero(height > best[rows])
            if not len(higher):
                continue
            mine = rows[higher]
            peak, peak_m = self._closed_in(mine, distance, top[higher], height[higher])
            best[mine], best_m[mine] = peak, peak_m
            band[which, mine], band_m[which, mine] = peak, peak_m

    def _closed_in(
        self, rows: NDArray[np.intp], distance: Array, top: NDArray[np.intp], height: Array
    ) -> tuple[Array, Array]:
        """The highest point between a step's neighbours, and its distance, (rows,) each."""
        before = 2.0 * distance[0] - distance[1] if len(distance) > 1 else distance[0]
        below = np.concatenate([[max(before, self.from_m)], distance])[top]
        above = distance[np.minimum(top + 1, len(distance) - 1)]
        peak, peak_m = height.copy(), distance[top].copy()
        for part in np.linspace(0.0, 1.0, 9):
            here = below + part * (above - below)
            heights = self.grid.at(*self.lines.at(rows, here))
            seen = altitude_deg(heights, self.eye_m, here, self.radius_m[rows])
            higher = seen > peak
            peak, peak_m = np.where(higher, seen, peak), np.where(higher, here, peak_m)
        return peak, peak_m


def _steps(from_m: float, reach_m: float, grid: Grid) -> Array:
    """Distances to look at: closer together near by, never much farther apart than the grid's own heights."""
    cell = min(grid.step_deg) * math.radians(1.0) * EQUATOR_RADIUS_M
    shortest, longest = SHORTEST_CELL * cell, LONGEST_CELL * cell
    steps, here = [], from_m
    while here < reach_m:
        steps.append(here)
        here += min(max(STEP * here, shortest), longest)
    return np.array(steps)
