"""Buildings from a map and a skyline from a list: what becomes a block, and what is said about the rest."""

from __future__ import annotations

import copy
import json
import math
import tracemalloc
from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.place import outlines
from planner_core.place.footprints import (
    Selection,
    footprint_blocks,
    horizon_ridge,
    load_footprints,
    load_horizon,
    parse_geojson,
    scene_xy_m,
)
from planner_core.place.map_feature import length_m
from planner_core.plan.file import plan_from_text, plan_to_text
from planner_core.plan.model import Block, Plan, PlanError
from tests.present import present
from tests.two_towers import plan

METRE_NORTH_DEG = 1.0 / 111_000.0  # near enough to place things by
SITE = plan().site


def square(east_m: float, north_m: float, side_m: float, *, turn: int = 1) -> list[list[float]]:
    """A closed ring of longitudes and latitudes, its south-west corner east and north of the site."""
    east = METRE_NORTH_DEG / math.cos(math.radians(SITE.latitude_deg))
    corners = [(0, 0), (side_m, 0), (side_m, side_m), (0, side_m), (0, 0)][::turn]
    return [
        [SITE.longitude_deg + (east_m + x) * east, SITE.latitude_deg + (north_m + y) * METRE_NORTH_DEG]
        for x, y in corners
    ]


def feature(*rings: list[list[float]], identity: Any = None, **properties: Any) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": "Polygon", "coordinates": list(rings)},
    }
    return entry if identity is None else {**entry, "id": identity}


def collection(*features: Any) -> dict[str, Any]:
    return {"type": "FeatureCollection", "features": list(features)}


def imported(document: Any, **selection: Any) -> Any:
    return footprint_blocks(document, plan(), Selection(**selection))


def test_a_house_becomes_a_prism_with_its_name_and_height() -> None:
    result = imported(collection(feature(square(100, 50, 20), name="Malthouse", height="14.5 m")))
    (block,) = result.blocks
    assert (block.name, block.shape, block.role, block.height_m, block.base_m) == (
        "Malthouse",
        "prism",
        "background",
        14.5,
        0.0,
    )
    assert abs(outlines.area_m2(np.array(block.footprint_m))) == pytest.approx(400.0, rel=0.01)


def test_heights_come_from_height_then_levels_then_a_default_that_is_said() -> None:
    houses = [
        feature(square(0, 100, 20), height=7),
        feature(square(30, 100, 20), **{"building:levels": "4", "height": ""}),
        feature(square(60, 100, 20), levels=2),
        feature(square(90, 100, 20), height="tall"),
    ]
    result = imported(collection(*houses), default_height_m=6.5)
    assert [block.height_m for block in result.blocks] == [7.0, 12.0, 6.0, 6.5]
    assert "1 given, 2 from levels × 3 m, 1 without either, set to 6.5 m" in " ".join(result.said)


@pytest.mark.parametrize(
    ("value", "metres"),
    [
        (12, 12.0),
        ("12", 12.0),
        ("12 m", 12.0),
        ("12,5m", 12.5),
        ("10 ft", 3.048),
        ("10'6\"", 3.2004),
        ("x", None),
    ],
)
def test_a_length_is_read_with_its_unit(value: Any, metres: float | None) -> None:
    # one foot is 0.3048 m exactly, international yard and pound agreement (1959)
    assert length_m(value) == (metres if metres is None else pytest.approx(metres))


def test_a_part_that_starts_above_the_ground_stands_there() -> None:
    (block,) = imported(collection(feature(square(0, 100, 20), height=20, min_height="6 m"))).blocks
    assert (block.base_m, block.height_m) == (6.0, 14.0)


def quay_and_water(*more: Block) -> Plan:
    """Water 2 m below the scene's zero ahead of a quay, whose top is 0.4 m above it, 200 m deep."""
    return attrs.evolve(
        plan(),
        blocks=(
            Block(name="basin", role="water", shape="box", centre_m=(0, 0, -2.5), size_m=(4000, 4000, 1)),
            Block(name="quay", role="ground", shape="box", centre_m=(0, -100, -1.0), size_m=(400, 200, 2.8)),
            *more,
        ),
    )


def built(on: Plan, east_m: float, north_m: float, **properties: Any) -> Block:
    document = collection(feature(square(east_m, north_m, 20), **properties))
    (block,) = footprint_blocks(document, on, Selection()).blocks
    return block


def test_a_building_stands_on_the_ground_block_under_it_and_not_on_the_water() -> None:
    # the scene of the two towers looks to 266°: the quay, behind the rail, reaches 200 m to the east
    terrace = Block(name="terrace", role="ground", shape="box", centre_m=(0, -150, 0), size_m=(90, 90, 8))
    assert built(quay_and_water(), 50, 0).base_m == pytest.approx(0.4)
    assert built(quay_and_water(terrace), 140, 0).base_m == pytest.approx(4.0)
    assert built(quay_and_water(terrace), 140, 0, height=20, min_height=6).base_m == pytest.approx(10.0)


def test_a_building_beyond_all_ground_blocks_stands_as_high_as_the_nearest() -> None:
    assert built(quay_and_water(), 900, 0).base_m == pytest.approx(0.4)
    only_water = attrs.evolve(plan(), blocks=quay_and_water().blocks[:1])
    assert built(only_water, 900, 0).base_m == 0.0
    assert built(attrs.evolve(plan(), blocks=()), 900, 0).base_m == 0.0


def test_heights_are_counted_for_buildings_that_are_taken_and_guessed_ones_are_named() -> None:
    houses = [
        feature(square(0, 100, 20), height=7),
        feature(square(0, 9000, 20), height=7),  # too far
        feature(square(60, 100, 2)),  # too small
        feature(square(90, 100, 20), name="Malthouse"),
    ]
    said = " ".join(imported(collection(*houses)).said)
    assert "Heights: 1 given, 1 without either, set to 9 m (“Malthouse”)." in said


def test_north_is_where_the_site_says() -> None:
    # with +Y due west a place to the west lies ahead, one to the north right
    west_facing = plan(site__scene_north_deg=270.0).site
    west = scene_xy_m(west_facing.longitude_deg - 0.001, west_facing.latitude_deg, west_facing)
    north = scene_xy_m(west_facing.longitude_deg, west_facing.latitude_deg + 0.001, west_facing)
    assert west[1] > 80.0
    assert abs(west[0]) < 0.01
    assert north[0] > 100.0
    assert abs(north[1]) < 0.01


def test_a_courtyard_stays_open() -> None:
    ring, yard = square(100, 100, 40), square(110, 110, 15, turn=-1)
    result = imported(collection(feature(ring, yard, name="Cloister")))
    areas = [abs(outlines.area_m2(np.array(block.footprint_m))) for block in result.blocks]
    assert sum(areas) == pytest.approx(40**2 - 15**2, rel=0.01)
    assert [block.name for block in result.blocks] == ["Cloister, part 1", "Cloister, part 2"]
    lon, lat = np.mean(yard[:-1], axis=0)
    middle = scene_xy_m(lon, lat, SITE)
    assert not any(outlines.contains(np.array(block.footprint_m), middle) for block in result.blocks)
    assert result.counts["holes"] == 1


def test_a_multipolygon_becomes_its_parts() -> None:
    entry = feature(name="Twins", height=10)
    entry["geometry"] = {"type": "MultiPolygon", "coordinates": [[square(0, 90, 10)], [square(20, 90, 10)]]}
    assert [block.name for block in imported(collection(entry)).blocks] == ["Twins, part 1", "Twins, part 2"]


def test_what_is_far_tiny_or_no_building_is_left_out_and_counted() -> None:
    post = {"type": "Feature", "properties": None, "geometry": {"type": "Point", "coordinates": [0, 0]}}
    nowhere: dict[str, Any] = {"type": "Feature", "properties": {}, "geometry": None}
    bow_tie = square(0, 300, 20)
    bow_tie[1], bow_tie[2] = bow_tie[2], bow_tie[1]
    result = imported(
        collection(
            feature(square(0, 100, 20)),
            feature(square(0, 5000, 20)),
            feature(square(0, 100, 2)),
            feature(bow_tie, identity="w7"),
            post,
            nowhere,
        )
    )
    counts = result.counts
    assert (counts["far"], counts["tiny"], counts["crossing"], counts["not_polygons"]) == (1, 1, 1, 2)
    assert len(result.blocks) == 1
    assert "1 farther than 2000 m from the rail" in " ".join(result.said)
    assert "features[3] (id w7)" in " ".join(result.said)


def test_a_map_of_somewhere_else_is_noticed() -> None:
    swapped = [[latitude, longitude] for longitude, latitude in square(0, 100, 20)]
    said = " ".join(imported(collection(feature(swapped))).said)
    assert "km from the rail" in said
    assert "longitude first" in said


def test_importing_a_map_twice_adds_nothing(tmp_path: Any) -> None:
    path = tmp_path / "town.geojson"
    path.write_text(json.dumps(collection(feature(square(0, 100, 20)), feature(square(50, 100, 20)))))
    once, _ = load_footprints(path, plan())
    twice, second = load_footprints(path, once)
    assert len(once.blocks) == len(plan().blocks) + 2
    assert twice == once
    assert "2 already in the plan" in " ".join(second.said)


def test_imported_blocks_survive_the_plan_file(tmp_path: Any) -> None:
    path = tmp_path / "town.geojson"
    path.write_text(json.dumps(collection(feature(square(0, 100, 20), name="Kiln"))))
    once, _ = load_footprints(path, plan())
    assert plan_from_text(plan_to_text(once)) == once


def test_a_round_tank_loses_corners_but_hardly_area() -> None:
    east = METRE_NORTH_DEG / math.cos(math.radians(SITE.latitude_deg))
    circle = [
        [
            SITE.longitude_deg + (100 + 15 * math.cos(a)) * east,
            SITE.latitude_deg + (100 + 15 * math.sin(a)) * METRE_NORTH_DEG,
        ]
        for a in np.linspace(0, 2 * math.pi, 121)[:-1]
    ]
    (fine,) = imported(collection(feature([*circle, circle[0]])), tolerance_m=0.0).blocks
    (thin,) = imported(collection(feature([*circle, circle[0]]))).blocks
    assert len(fine.footprint_m) == 120
    assert len(thin.footprint_m) < 40
    before, after = (abs(outlines.area_m2(np.array(b.footprint_m))) for b in (fine, thin))
    assert after == pytest.approx(before, rel=0.02)


def test_a_building_around_the_rail_is_mentioned() -> None:
    assert "lies inside building 1" in " ".join(imported(collection(feature(square(-10, -10, 20)))).said)


def change(path: str, value: Any) -> dict[str, Any]:
    """A sound collection of two, with one place changed."""
    document: Any = collection(feature(square(0, 90, 20)), feature(square(40, 90, 20), identity="way/12"))
    document = copy.deepcopy(document)
    *parents, last = [int(step) if step.isdigit() else step for step in path.split("/")]
    part = document
    for step in parents:
        part = part[step]
    part[last] = value
    return document


@pytest.mark.parametrize(
    ("document", "named"),
    [
        (
            change("features/1/geometry/coordinates/0/2", ["a", 3]),
            "features[1] (id way/12).geometry.coordinates[0][2]",
        ),
        (
            change("features/1/geometry/coordinates/0/2", [431.0, 3]),
            "features[1] (id way/12).geometry.coordinates[0][2]",
        ),
        (change("features/1/geometry/coordinates/0/2", [float("nan"), 3]), "features[1] (id way/12)"),
        (change("features/1/geometry/coordinates/0/4", [0.0, 3]), "must repeat the ring's first position"),
        (
            change("features/1/geometry/coordinates/0", [[0, 0]]),
            "features[1] (id way/12).geometry.coordinates[0]",
        ),
        (change("features/1/geometry/coordinates", 7), "features[1] (id way/12).geometry.coordinates"),
        (change("features/1/geometry/type", "Circle"), "features[1] (id way/12).geometry.type: 'Circle'"),
        (change("features/1/type", "Building"), "features[1].type: 'Building'"),
        (change("features/1", 12), "features[1].type: 12"),
        (change("features/0/properties", [1]), "features[0].properties"),
        (change("type", "Topology"), "type: 'Topology'"),
        (change("features", {}), "features: {}"),
        ({**change("type", "FeatureCollection"), "crs": {"properties": {"name": "EPSG:25832"}}}, "crs: "),
        ([], "footprints: []"),
    ],
)
def test_a_malformed_map_names_the_feature(document: Any, named: str) -> None:
    # RFC 7946: 3.1.6 rings are closed and have four or more positions; 4 coordinates are WGS 84
    with pytest.raises(PlanError) as caught:
        imported(document)
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        '{"type": NaN}',
        "[" * 100_000,
        "[" * 300 + "]" * 300,
        '{"a": 1e400}',
        '{"type": 1' + "0" * 5000 + "}",
    ],
)
def test_what_is_no_json_is_one_line(text: str) -> None:
    with pytest.raises(PlanError) as caught:
        parse_geojson(text)
    assert "\n" not in str(caught.value)


@pytest.mark.once
@given(
    st.lists(
        st.tuples(st.integers(0, 3), st.integers(0, 3), st.floats(0.2, 3.9), st.floats(0.2, 3.9)),
        max_size=6,
        unique_by=lambda hole: hole[:2],
    )
)
def test_cutting_out_holes_keeps_the_area_and_leaves_sound_pieces(
    holes: list[tuple[int, int, float, float]],
) -> None:
    cut = [box(1 + 5 * i, 1 + 5 * j, w, h) for i, j, w, h in holes]
    pieces = outlines.without_holes([box(0, 0, 21, 21), *cut])
    assert pieces is not None
    wanted = 21.0**2 - sum(outlines.area_m2(hole) for hole in cut)
    assert sum(outlines.area_m2(piece) for piece in pieces) == pytest.approx(wanted)
    for piece in pieces:
        assert not outlines.crosses_itself(piece)
        assert not any(outlines.contains(piece, hole.mean(axis=0)) for hole in cut)


def box(x: float, y: float, w: float, h: float) -> np.ndarray:
    return np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], dtype=float)


@pytest.mark.once
@pytest.mark.parametrize(
    ("yards", "open_m2"),
    [
        ([box(10, 10, 5, 5), box(15, 15, 5, 5)], 50.0),  # they share a corner
        ([box(10, 10, 5, 5), box(15, 10, 5, 5)], 50.0),  # an edge
        ([box(10, 10, 5, 10), box(15, 12, 5, 5)], 75.0),  # part of an edge
        ([box(10, 10, 5, 5), box(10, 10, 5, 5)], 25.0),  # it is there twice
        ([box(10, 10, 5, 5), box(10, 10, 5, 5)[::-1]], 25.0),
        ([box(10, 10, 10, 10), box(12, 12, 2, 2)], 100.0),  # one lies in the other
        ([box(10, 10, 10, 10), box(10, 10, 2, 2)], 100.0),
        ([box(0, 10, 5, 5)], 25.0),  # it shares an edge with the outline
        ([box(0, 0, 5, 5)], 25.0),
        ([np.array([(0.0, 15.0), (8.0, 10.0), (8.0, 20.0)])], 40.0),  # a corner on the outline
        ([np.array([(8.0, 30.0), (4.0, 20.0), (12.0, 20.0)])], 40.0),
        ([box(0, 10, 30, 5)], 150.0),  # it cuts the building in two
        ([box(5 * i, 5 * j, 5, 5) for i in range(6) for j in range(6) if (i + j) % 2], 450.0),  # a chessboard
        ([box(5 * i, 10, 5, 5) for i in range(6)], 150.0),
    ],
)
def test_courtyards_that_touch_repeat_or_nest_are_cut_out_once(
    yards: list[np.ndarray], open_m2: float
) -> None:
    rings = outlines.open_holes(outlines.joined([box(0, 0, 30, 30), *yards]))
    assert not outlines.rings_cross(rings)
    pieces = outlines.without_holes(rings)
    assert pieces is not None
    assert sum(outlines.area_m2(piece) for piece in pieces) == pytest.approx(900.0 - open_m2)
    for piece in pieces:
        assert not outlines.crosses_itself(piece)
        assert not any(outlines.contains(piece, yard.mean(axis=0)) for yard in yards)
    for x, y in np.random.default_rng(7).uniform(0, 30, (200, 2)):  # each place is in one piece or in a yard
        solid = sum(outlines.contains(piece, np.array([x, y])) for piece in pieces)
        assert solid == (0 if any(outlines.contains(yard, np.array([x, y])) for yard in yards) else 1)


@pytest.mark.parametrize(
    "yards",
    [
        [box(10, 10, 10, 10), box(15, 15, 10, 10)],
        [box(10, 10, 10, 10), box(15, 10, 10, 10)],  # they overlap, and no two edges cross
        [box(25, 10, 10, 10)],
        [box(-5, -5, 40, 40)],
        [box(40, 40, 5, 5)],
    ],
)
def test_courtyards_that_overlap_or_lie_outside_are_told_as_outlines_to_mend(yards: list[np.ndarray]) -> None:
    rings = outlines.joined([box(0, 0, 30, 30), *yards])
    assert outlines.rings_cross(rings) or outlines.without_holes(outlines.open_holes(rings)) is None


def test_an_outline_of_many_corners_is_compared_in_little_memory() -> None:
    turns = np.linspace(0.0, 2.0 * np.pi, 20_000, endpoint=False)
    ring = (100.0 + np.cos(turns * 50.0))[:, None] * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    tracemalloc.start()
    try:
        assert not outlines.crosses_itself(ring)
        assert tracemalloc.get_traced_memory()[1] < 200e6  # 20,000² pairs at once would take 3 GB a number
    finally:
        tracemalloc.stop()


# ---------------------------------------------------------------- horizon profiles


def test_a_profile_becomes_a_ridge_in_the_order_of_bearings() -> None:
    ridge = horizon_ridge("bearing_deg,altitude_deg\n280,2\n250,1.5\n# a remark\n265,3\n")
    assert ridge.shape == "ridge"
    assert ridge.skyline_deg == ((250.0, 1.5), (265.0, 3.0), (280.0, 2.0))


def test_a_profile_across_north_stays_in_one_piece() -> None:
    ridge = horizon_ridge("10;1,5\n350;2\n20;1\n340;3\n")
    assert ridge.skyline_deg == ((340.0, 3.0), (350.0, 2.0), (370.0, 1.5), (380.0, 1.0))


def test_a_profile_all_the_way_round_is_closed() -> None:
    ridge = horizon_ridge("\n".join(f"{bearing}\t{1 + bearing / 360}" for bearing in range(0, 361, 10)))
    skyline = present(ridge.skyline_deg)
    bearings = [bearing for bearing, _ in skyline]
    assert bearings[-1] - bearings[0] == 360.0
    assert skyline[0][1] == skyline[-1][1]


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("250,1\n260,x\n", "line 2"),
        ("250,1\n260,99\n", "line 2"),
        ("250,1\n250,2\n", "line 2"),
        ("250\n", "line 1"),
        ("250,1\r260,2\r", "its lines end in another way"),
        ('250,1\n"' + "1" * 140_000 + '",2\n', "line 2"),
        ("250,1\n260,nan\n", "line 2"),
        ("", "needs two or more"),
        ("bearing,altitude\n250,1\n", "needs two or more"),
    ],
)
def test_a_bad_profile_names_the_line(text: str, named: str) -> None:
    with pytest.raises(PlanError, match=named):
        horizon_ridge(text)


def test_a_profile_file_is_added_to_the_plan(tmp_path: Any) -> None:
    path = tmp_path / "east hills.csv"
    path.write_text("80,2\n100,3\n")
    changed, ridge = load_horizon(path, plan())
    assert changed.blocks[-1] == ridge
    assert ridge.name == "east hills"
    with pytest.raises(PlanError, match="does not exist"):
        load_horizon(tmp_path / "none.csv", plan())
