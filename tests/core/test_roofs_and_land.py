"""Roofs on prisms, and terrain: their solids against trimesh, and the ground that they make."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
import trimesh

from planner_core.place import roofs, silhouette
from planner_core.place.blocking import bounding_boxes, ground_level_m, pieces, solid_mesh
from planner_core.place.ground import ground_under_m
from planner_core.place.land_grid import height_at_m
from planner_core.place.skyline import skyline
from planner_core.place.visibility import first_hits
from planner_core.plan.file import plan_from_text, plan_to_text
from planner_core.plan.model import Block, PlanError
from planner_core.rig.geometry import shadow_on_ground_m
from tests.places import place

pytestmark = pytest.mark.once

HOUSE = ((0.0, 0.0), (10.0, 0.0), (10.0, 6.0), (0.0, 6.0))
CORNER = ((0.0, 0.0), (12.0, 0.0), (12.0, 5.0), (5.0, 5.0), (5.0, 12.0), (0.0, 12.0))
HILLSIDE = tuple(
    tuple(row) for row in np.round(3.0 + np.random.default_rng(1).random((5, 7)) * 4.0, 2).tolist()
)


def house(roof: str, **changes: Any) -> Block:
    given: dict[str, Any] = {
        "name": "house",
        "role": "background",
        "shape": "prism",
        "footprint_m": HOUSE,
        "height_m": 9.0,
        "roof": roof,
        "roof_height_m": 3.0,
    }
    return Block(**(given | changes))


def slope(**changes: Any) -> Block:
    given: dict[str, Any] = {
        "name": "slope",
        "role": "ground",
        "shape": "terrain",
        "centre_m": (3.0, 4.0, 0.0),
        "size_m": (70.0, 50.0, 8.0),
        "turn_deg": 25.0,
        "heights_m": HILLSIDE,
    }
    return Block(**(given | changes))


def solid(block: Block) -> trimesh.Trimesh:
    mesh = solid_mesh(block)
    faces = [(f[0], f[i], f[i + 1]) for f in mesh.faces for i in range(1, len(f) - 1)]
    return trimesh.Trimesh(mesh.vertices_m, faces, process=False)


@pytest.mark.parametrize(
    ("roof", "volume_m3"),
    [
        # 10 by 6 m, walls of 6 m: 360 m³; above them by the formulas of prism, wedge and pyramid
        ("gabled", 360.0 + 10.0 * 6.0 * 3.0 / 2.0),
        ("hipped", 360.0 + 3.0 * 6.0 * (3.0 * 10.0 - 6.0) / 6.0),
        ("pyramidal", 360.0 + 60.0 * 3.0 / 3.0),
        ("skillion", 360.0 + 10.0 * 6.0 * 3.0 / 2.0),
    ],
)
def test_a_roof_closes_its_house_and_holds_the_volume_of_its_shape(roof: str, volume_m3: float) -> None:
    found = solid(house(roof))
    assert found.is_watertight
    assert found.volume == pytest.approx(volume_m3)
    assert found.bounds[1][2] == pytest.approx(9.0)


def test_a_roof_falls_to_the_side_that_the_plan_names() -> None:
    vertices = solid_mesh(house("skillion", roof_turn_deg=90.0)).vertices_m
    assert vertices[vertices[:, 0] > 9.9, 2].max() == pytest.approx(6.0)
    assert vertices[vertices[:, 0] < 0.1, 2].max() == pytest.approx(9.0)
    (ridge,) = roofs.ridge_lines(house("gabled", roof_turn_deg=90.0))
    assert np.ptp(ridge[:, 0]) == pytest.approx(0.0, abs=1e-9)
    assert np.ptp(ridge[:, 1]) == pytest.approx(6.0)


@pytest.mark.parametrize("roof", ["gabled", "hipped", "pyramidal", "skillion", "dome"])
@pytest.mark.parametrize("footprint", [HOUSE, CORNER])
def test_rays_meet_a_roof_where_its_mesh_is(roof: str, footprint: tuple[tuple[float, float], ...]) -> None:
    here = place(house(roof, footprint_m=footprint, base_m=1.0))
    luck = np.random.default_rng(3)
    spots = luck.uniform(-1.0, 13.0, (60, 2))
    start, down = np.column_stack([spots, np.full(60, 50.0)]), np.tile([0.0, 0.0, -1.0], (60, 1))
    far, met = first_hits(here, start, down)
    hits, ray, _ = trimesh.ray.ray_triangle.RayMeshIntersector(solid(here.blocks[0])).intersects_location(
        start, down, multiple_hits=False
    )
    assert sorted(ray) == np.flatnonzero(met == 0).tolist()
    np.testing.assert_allclose(50.0 - far[ray], hits[:, 2], atol=1e-5)


def test_a_roof_covers_less_of_the_picture_than_its_box() -> None:
    here = place(house("gabled", footprint_m=((-5, 30), (5, 30), (5, 36), (-5, 36)), roof_turn_deg=90.0))
    shares = []
    for block in (here.blocks[0], attrs.evolve(here.blocks[0], roof="flat")):
        form = silhouette.shell(attrs.evolve(here, blocks=(block,)), 0, 0.0)
        whole, _ = silhouette.covered_px(
            form, np.array([[0.0, 0.0, 1.5]]), _looking_ahead(), 1000.0, (2000.0, 1000.0)
        )
        shares.append(float(whole[0]))
    # a gable end from the front: walls of 6 m under a triangle of 3 m, where the box has 9 m
    assert shares[0] / shares[1] == pytest.approx((6.0 + 1.5) / 9.0, abs=0.01)


def _looking_ahead() -> np.ndarray:
    return np.array([[[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]])


def test_terrain_is_a_closed_solid_whose_height_is_that_of_its_mesh() -> None:
    found = solid(slope())
    assert found.is_watertight
    assert found.is_winding_consistent
    spots = np.random.default_rng(2).uniform(-40.0, 40.0, (200, 2))
    start, down = np.column_stack([spots, np.full(200, 50.0)]), np.tile([0.0, 0.0, -1.0], (200, 1))
    hits, ray, _ = trimesh.ray.ray_triangle.RayMeshIntersector(found).intersects_location(
        start, down, multiple_hits=False
    )
    height = height_at_m(slope(), spots)
    assert sorted(ray) == np.flatnonzero(~np.isnan(height)).tolist()
    np.testing.assert_allclose(height[ray], hits[:, 2], atol=1e-9)


def test_slanting_rays_meet_terrain_where_its_mesh_is() -> None:
    here = place(slope(), origin_m=(0.0, 0.0, 6.0))
    luck = np.random.default_rng(4)
    start = np.tile([0.0, 0.0, 6.0], (80, 1))
    ways = np.column_stack([luck.uniform(-1.0, 1.0, (80, 2)), luck.uniform(-0.6, 0.05, 80)])
    far, met = first_hits(here, start, ways)
    hits, ray, _ = trimesh.ray.ray_triangle.RayMeshIntersector(solid(here.blocks[0])).intersects_location(
        start, ways, multiple_hits=False
    )
    mine = np.flatnonzero(met == 0)
    assert set(mine) <= set(ray)
    reach = np.linalg.norm(hits - start[ray], axis=1) / np.linalg.norm(ways[ray], axis=1)
    by_ray = dict(zip(ray.tolist(), reach.tolist(), strict=True))
    np.testing.assert_allclose(far[mine], [by_ray[k] for k in mine.tolist()], rtol=1e-6)


def test_what_stands_on_terrain_stands_at_its_height_there() -> None:
    here = place(slope(), origin_m=(0.0, 0.0, 9.0))
    for x, y in ((0.0, 0.0), (12.0, -8.0), (-9.0, 14.0)):
        wanted = float(height_at_m(slope(), np.array([x, y])))
        assert ground_under_m(here, (x, y, np.inf)) == pytest.approx(wanted)
    # the level ground around never covers it
    assert ground_level_m(here) == pytest.approx(min(map(min, HILLSIDE)) - 4.0)
    assert bounding_boxes(here).high_m[0, 2] == pytest.approx(4.0)


def test_a_shadow_falls_onto_the_slope_and_not_onto_its_highest_point() -> None:
    rising = slope(
        turn_deg=0.0,
        centre_m=(0.0, 0.0, 5.0),
        size_m=(100.0, 100.0, 10.0),
        heights_m=((0.0, 0.0), (10.0, 10.0)),
    )
    here = place(rising, origin_m=(0.0, 0.0, 7.0))
    light = np.array([0.0, -1.0, 1.0]) / np.sqrt(2.0)
    spot, _ = shadow_on_ground_m(here, np.array([0.0, 0.0, 8.0]), light)
    # z = 5 + y/10 meets z = 8 − y
    assert spot[1] == pytest.approx(3.0 / 1.1, abs=1e-3)


def test_terrain_makes_a_skyline_and_has_convex_columns() -> None:
    here = place(slope(centre_m=(0.0, 60.0, 0.0), turn_deg=0.0, size_m=(70.0, 50.0, 40.0)))
    assert float(skyline(here, (0.0, 0.0, -15.0)).altitude_at(0.0)) > 0.0
    assert len(pieces(here, 0)) == 2 * 4 * 6


def test_roofs_and_terrain_come_out_of_the_plan_file_as_they_went_in() -> None:
    here = place(house("hipped", roof_turn_deg=12.0), slope())
    assert plan_from_text(plan_to_text(here)) == here
    flat = place(house("flat", roof_height_m=None))
    assert "roof" not in plan_to_text(flat)


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"heights_m": ((1.0, 2.0),)}, r"heights_m: .*2 to 64 rows"),
        ({"heights_m": ((1.0, 2.0), (1.0,))}, r"heights_m\[1\]"),
        ({"heights_m": ((1.0, 2.0), (1.0, -2.0))}, r"heights_m\[1\]: -2.*is below 0"),
        ({"heights_m": ((1.0, 2.0), (1.0, 9.0))}, r"heights_m\[1\]: 9.*is higher than the block's 8"),
        ({"heights_m": None}, r"heights_m: .*a terrain needs it"),
        ({"roof": "gabled"}, r"roof: .*is for a prism"),
    ],
)
def test_a_terrain_that_cannot_be_is_refused_by_name(changes: dict[str, Any], named: str) -> None:
    with pytest.raises(PlanError, match=named):
        slope(**changes)


def test_a_roof_needs_its_height_and_fits_its_house() -> None:
    with pytest.raises(PlanError, match=r"roof_height_m: .*a dome roof needs it"):
        house("dome", roof_height_m=None)
    with pytest.raises(PlanError, match=r"roof_height_m: 12.*is more than height_m, 9"):
        house("dome", roof_height_m=12.0)
