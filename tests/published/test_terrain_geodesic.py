"""The land's horizon is that of a march along pyproj's geodesics, and Earth curves as the formulae say."""

from __future__ import annotations

import datetime as dt
import math

import attrs
import numpy as np
import pytest
from numpy.typing import NDArray
from pyproj import Geod

from planner_core import compute_frames
from planner_core.evening.sunlight import sunlight
from planner_core.plan.model import Plan, Pose, Shoot
from planner_core.terrain.grids import Grid
from planner_core.terrain.horizon import altitude_deg, dip_deg, geodesics, horizon
from planner_core.terrain.land import with_land

Array = NDArray[np.float64]

WGS84 = Geod(ellps="WGS84")
SIDE = 601


def ranges(seed: int, latitude: float = 46.0, longitude: float = 7.0) -> Grid:
    """An invented tile of 1° with mountains of every width from 30 km down to 1 km."""
    rng = np.random.default_rng(seed)
    north, east = np.meshgrid(np.linspace(1.0, 0.0, SIDE), np.linspace(0.0, 1.0, SIDE), indexing="ij")
    heights = np.full((SIDE, SIDE), 1200.0)
    for waves, size in ((4, 500.0), (11, 250.0), (31, 120.0), (90, 40.0)):
        turn, shift = rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi)
        along = waves * 2 * np.pi * (north * np.cos(turn) + east * np.sin(turn))
        heights += size * np.sin(along + shift) * np.cos(waves * 3 * (north - east) + shift)
    step = 1.0 / (SIDE - 1)
    return Grid(
        heights_m=heights.astype(np.float32),
        north_deg=latitude + 1,
        west_deg=longitude,
        step_deg=(step, step),
    )


def marched_deg(
    grid: Grid, latitude: float, longitude: float, eye_m: float, bearing: float, from_m: float
) -> float:
    """The highest apparent altitude along one bearing, every 4 m, by pyproj's geodesic and a round Earth."""
    distance = np.arange(from_m, 90_000.0, 4.0)
    east, north, _ = WGS84.fwd(
        np.full(len(distance), longitude),
        np.full(len(distance), latitude),
        np.full(len(distance), bearing),
        distance,
    )
    drop = distance**2 * (1 - 0.13) / (2 * 6_371_000.0)  # k = 0.13, any handbook of surveying
    return float(np.degrees(np.nanmax(np.arctan2(grid.at(north, east) - eye_m - drop, distance))))


@pytest.mark.once
@pytest.mark.parametrize("seed", range(3))
def test_the_horizon_is_that_of_a_brute_force_march_within_a_fiftieth_of_a_degree(seed: int) -> None:
    rng, grid = np.random.default_rng(seed), ranges(seed)
    latitude, longitude = 46.0 + rng.uniform(0.3, 0.7), 7.0 + rng.uniform(0.3, 0.7)
    eye = float(grid.at(latitude, longitude)) + 1.6
    seen = horizon(grid, latitude, longitude, eye, from_m=200.0)
    for number in rng.choice(len(seen.bearing_deg), 16, replace=False):
        wanted = marched_deg(grid, latitude, longitude, eye, float(seen.bearing_deg[number]), 200.0)
        assert seen.altitude_deg[number] == pytest.approx(wanted, abs=0.02)


@pytest.mark.once
def test_the_sun_goes_behind_the_land_within_two_frames_of_the_brute_force_march(harbour: Plan) -> None:
    grid, latitude, longitude = ranges(1), 46.5, 7.5
    site = attrs.evolve(
        harbour.site, latitude_deg=latitude, longitude_deg=longitude, timezone="Europe/Zurich", tides=()
    )
    rig = attrs.evolve(harbour.rig, origin_m=(0.0, 0.0, 1.6), slide=None, bearing_deg=0.0)
    poses = (Pose(at=0.0, pan_deg=265.0),)
    shoot = Shoot(frames=400, interval_s=30.0, start=dt.datetime(2027, 3, 14, 15, 30))
    bare = attrs.evolve(
        harbour,
        site=site,
        rig=rig,
        shoot=shoot,
        move=attrs.evolve(harbour.move, poses=poses),
        blocks=(),
        composition=None,
    )
    frames = compute_frames(with_land(bare, grid, near_m=0.0).plan)
    hidden = sunlight(frames).camera_behind >= 0
    assert 0 < hidden.sum() < len(hidden)
    first = int(np.argmax(hidden))
    eye = float(grid.at(latitude, longitude)) + float(frames.camera_m[0, 2])
    marched = [
        marched_deg(grid, latitude, longitude, eye, float(frames.sun_azimuth_deg[k]), 100.0)
        for k in range(first - 3, first + 4)
    ]
    limb = frames.sun_altitude_deg[first - 3 : first + 4] + 16.0 / 60.0
    behind = limb < np.array(marched)
    assert behind.any()
    assert abs(int(np.argmax(behind)) - 3) <= 2


def test_a_geodesic_leads_where_pyproj_leads() -> None:
    bearing = np.arange(0.0, 360.0, 7.0)
    lines = geodesics(46.5, 7.5, bearing, 250_000.0)
    distance = np.array([17_300.0, 99_999.0, 248_000.0])
    latitude, longitude = lines.at(np.arange(len(bearing))[:, None], distance)
    for row, azimuth in enumerate(bearing):
        east, north, _ = WGS84.fwd([7.5] * 3, [46.5] * 3, [azimuth] * 3, distance)
        assert latitude[row] == pytest.approx(north, abs=2e-7)  # 2 cm
        assert longitude[row] == pytest.approx(east, abs=3e-7)


def test_at_forty_kilometres_the_earth_has_dropped_by_what_curvature_less_refraction_says() -> None:
    # d²(1 − k)/2R with k = 0.13: 125.6 m of curvature less 16.3 m (R = 6371 km); 112 m with k = 1/9
    distance = 40_000.0
    level = math.degrees(math.atan2(distance**2 * (1 - 0.13) / (2 * 6_371_000.0), distance))
    assert float(altitude_deg(0.0, 0.0, distance, 6_371_000.0)) == pytest.approx(-level, abs=1e-4)
    lifted = distance**2 * (1 - 0.13) / (2 * 6_371_000.0)
    assert float(altitude_deg(lifted, 0.0, distance, 6_371_000.0)) == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("eye_m", [2.0, 30.0, 400.0])
def test_the_dip_of_the_sea_is_the_navigators(eye_m: float) -> None:
    # Bowditch, American Practical Navigator: dip = 1.76′ √h(m); refraction there is that of k = 1/6 or so
    assert 60.0 * dip_deg(eye_m) == pytest.approx(1.76 * math.sqrt(eye_m), rel=0.04)


@pytest.mark.once
def test_the_sea_from_a_cliff_lies_by_its_dip_below_level() -> None:
    sea = Grid(
        heights_m=np.zeros((SIDE, SIDE), dtype=np.float32),
        north_deg=47.0,
        west_deg=7.0,
        step_deg=(1 / 600, 1 / 600),
    )
    seen = horizon(sea, 46.5, 7.5, 120.0, from_m=200.0)
    assert seen.altitude_deg == pytest.approx(-dip_deg(120.0, 46.5), abs=2e-3)
