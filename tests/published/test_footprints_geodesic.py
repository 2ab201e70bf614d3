"""A square kilometre of invented town, measured against the geodesic on the WGS 84 ellipsoid."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pyproj import Geod

from planner_core.place import outlines
from planner_core.place.footprints import Selection, footprint_blocks, scene_xy_m
from planner_core.rig.geometry import bearing_and_altitude
from tests.two_towers import plan

GEOD = Geod(ellps="WGS84")  # Karney, Journal of Geodesy 87 (2013)
PLACES = ((38.7, -9.15), (0.0, 10.0), (69.6, 18.9), (-51.7, -57.9), (-36.8, 179.999), (84.0, -40.0))


def town(
    latitude_deg: float, longitude_deg: float, count: int, half_m: float
) -> tuple[dict[str, Any], list[float]]:
    """A GeoJSON town of turned blocks with 4 to 12 corners, and each outline's area on the ellipsoid, m²."""
    rng = np.random.default_rng(7)
    features, areas = [], []
    for _ in range(count):
        away, bearing = half_m * np.sqrt(rng.random()), rng.uniform(0.0, 360.0)
        middle_lon, middle_lat, _ = GEOD.fwd(longitude_deg, latitude_deg, bearing, away)
        corners = int(rng.integers(4, 13))
        angles = np.sort(rng.uniform(0.0, 360.0, corners)) + np.arange(corners)
        lon, lat, _ = GEOD.fwd(
            np.full(corners, middle_lon),
            np.full(corners, middle_lat),
            -angles,
            rng.uniform(8.0, 25.0, corners),
        )
        areas.append(abs(GEOD.polygon_area_perimeter(lon, lat)[0]))
        ring = [[float(x), float(y)] for x, y in zip(lon, lat, strict=True)]
        features.append(
            {
                "type": "Feature",
                "properties": {"building:levels": int(rng.integers(1, 9))},
                "geometry": {"type": "Polygon", "coordinates": [[*ring, ring[0]]]},
            }
        )
    return {"type": "FeatureCollection", "features": features}, areas


@pytest.mark.parametrize(("latitude_deg", "longitude_deg"), PLACES)
def test_lengths_and_bearings_keep_to_the_geodesic_within_2_km(
    latitude_deg: float, longitude_deg: float
) -> None:
    site = plan(
        site__latitude_deg=latitude_deg, site__longitude_deg=longitude_deg, site__scene_north_deg=217.0
    ).site
    rng = np.random.default_rng(3)
    bearing, length = rng.uniform(0.0, 360.0, 500), rng.uniform(5.0, 2000.0, 500)
    lon, lat, _ = GEOD.fwd(np.full(500, longitude_deg), np.full(500, latitude_deg), bearing, length)
    xy = scene_xy_m(lon, lat, site)
    found, _ = bearing_and_altitude(np.column_stack([xy, np.zeros(500)]), site.scene_north_deg)
    assert np.max(np.abs(np.hypot(*xy.T) / length - 1.0)) < 1e-3
    turned = (found - bearing + 180.0) % 360.0 - 180.0
    assert np.max(np.abs(np.radians(turned))) < 1e-3  # 0.1 % of a distance, sideways


@pytest.mark.once
@pytest.mark.parametrize(("latitude_deg", "longitude_deg"), PLACES)
def test_areas_keep_to_the_geodesic_within_2_km(latitude_deg: float, longitude_deg: float) -> None:
    document, areas = town(latitude_deg, longitude_deg, 60, 2000.0)
    here = plan(site__latitude_deg=latitude_deg, site__longitude_deg=longitude_deg)
    result = footprint_blocks(
        document, here, Selection(tolerance_m=0.0, min_area_m2=0.0, max_distance_m=3000.0)
    )
    found = [abs(outlines.area_m2(np.array(block.footprint_m))) for block in result.blocks]
    assert len(found) == len(areas)
    # corners are kept to the millimetre, which the smallest slivers feel
    assert np.all(np.abs(np.array(found) - areas) < 1e-3 * np.array(areas) + 0.02)


@pytest.mark.once
def test_a_square_kilometre_of_two_thousand_footprints_comes_in_whole() -> None:
    document, areas = town(38.7, -9.15, 2000, 560.0)
    result = footprint_blocks(document, plan(), Selection(min_area_m2=0.0))
    assert len(result.blocks) + result.counts.get("crossing", 0) == 2000
    found = [abs(outlines.area_m2(np.array(block.footprint_m))) for block in result.blocks]
    assert sum(found) == pytest.approx(sum(areas), rel=0.01)
