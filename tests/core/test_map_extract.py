"""OpenStreetMap's JSON as blocks: rings from ways and relations, roofs, parts, trees and walls."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import compute_frames
from planner_core.output.sheet.map import block_outlines, place_svg
from planner_core.place.blocking import block_mesh
from planner_core.place.draft_shapes import is_crown
from planner_core.place.footprints import (
    Imported,
    Selection,
    footprint_blocks,
    load_footprints,
    scene_xy_m,
)
from planner_core.plan.model import Block, PlanError
from tests.two_towers import plan

pytestmark = pytest.mark.once

SITE = plan().site
NORTH_DEG = 1.0 / 111_000.0  # near enough to place things by
EAST_DEG = NORTH_DEG / math.cos(math.radians(SITE.latitude_deg))


def at(east_m: float, north_m: float) -> dict[str, float]:
    return {"lat": SITE.latitude_deg + north_m * NORTH_DEG, "lon": SITE.longitude_deg + east_m * EAST_DEG}


def ring(east_m: float, north_m: float, wide_m: float, deep_m: float) -> list[dict[str, float]]:
    corners = ((0, 0), (wide_m, 0), (wide_m, deep_m), (0, deep_m), (0, 0))
    return [at(east_m + x, north_m + y) for x, y in corners]


def way(number: int, places: list[dict[str, float]], **tags: str) -> dict[str, Any]:
    named = {key.replace("__", ":"): value for key, value in tags.items()}
    return {"type": "way", "id": number, "geometry": places, "tags": named}


def imported(*elements: dict[str, Any], **selection: Any) -> Imported:
    return footprint_blocks(
        {"version": 0.6, "elements": list(elements)}, plan(blocks=[]), Selection(**selection)
    )


def named(found: Imported) -> dict[str, Block]:
    return {block.name: block for block in found.blocks}


def high_m(block: Block) -> float:
    return float(np.ptp(block_mesh(plan(), block).vertices_m[:, 2]))


def test_a_building_comes_from_the_nodes_that_its_way_names() -> None:
    corners = ring(50.0, 60.0, 12.0, 8.0)[:4]
    nodes = [{"type": "node", "id": 10 + k, **place} for k, place in enumerate(corners)]
    house = {
        "type": "way",
        "id": 5,
        "nodes": [10, 11, 12, 13, 10],
        "tags": {"building": "yes", "name": "Mill"},
    }
    (block,) = imported(*nodes, house).blocks
    assert block.name == "Mill"
    wanted = np.array([scene_xy_m(place["lon"], place["lat"], SITE) for place in corners])
    assert np.abs(np.sort(np.asarray(block.footprint_m), axis=0) - np.sort(wanted, axis=0)).max() < 0.01


def test_a_relation_is_put_together_from_its_ways_and_keeps_its_courtyard() -> None:
    outer, inner = ring(40.0, 40.0, 40.0, 40.0), ring(50.0, 50.0, 20.0, 20.0)
    relation = {
        "type": "relation",
        "id": 7,
        "tags": {"type": "multipolygon", "building": "yes", "name": "Court"},
        "members": [
            {"type": "way", "ref": 1, "role": "outer", "geometry": outer[:3]},
            {"type": "way", "ref": 2, "role": "outer", "geometry": outer[2:][::-1]},
            {"type": "way", "ref": 3, "role": "inner", "geometry": inner},
        ],
    }
    found = imported(relation)
    area = sum(abs(_area(np.asarray(block.footprint_m))) for block in found.blocks)
    assert area == pytest.approx(40.0 * 40.0 - 20.0 * 20.0, rel=0.01)
    assert found.counts["holes"] == 1


def _area(outline: np.ndarray) -> float:
    x, y = outline.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2.0)


def test_levels_do_not_count_the_roof_and_a_height_does() -> None:
    # OpenStreetMap's Simple 3D Buildings: building:levels are those without the roof, height is to its top
    by_levels = way(
        1, ring(40, 40, 12, 8), building="yes", building__levels="2", roof__shape="gabled", roof__height="3"
    )
    by_height = way(
        2, ring(80, 40, 12, 8), building="yes", height="9", roof__shape="hipped", roof__height="3"
    )
    first, second = imported(by_levels, by_height).blocks
    assert (first.roof, first.height_m, first.roof_height_m) == ("gabled", 9.0, 3.0)
    assert (second.roof, second.height_m, second.roof_height_m) == ("hipped", 9.0, 3.0)


def test_a_roof_falls_where_its_direction_says_and_a_ridge_across_runs_the_short_way() -> None:
    shed = way(
        1, ring(40, 40, 12, 8), building="yes", height="6", roof__shape="skillion", roof__direction="E"
    )
    barn = way(
        2, ring(80, 40, 12, 8), building="yes", height="6", roof__shape="gabled", roof__orientation="across"
    )
    first, second = imported(shed, barn).blocks
    assert first.roof_turn_deg == pytest.approx((90.0 - SITE.scene_north_deg) % 360.0)
    # the barn's longer side runs east: its roof falls to east and west
    falls = ((second.roof_turn_deg or 0.0) + SITE.scene_north_deg) % 180.0
    assert falls == pytest.approx(90.0, abs=0.5)


def test_parts_stand_for_their_building_each_at_its_own_height() -> None:
    whole = way(1, ring(40, 40, 20, 20), building="church", name="Church", height="30")
    nave = way(2, ring(40, 40, 20, 20), building__part="yes", height="12", name="Nave")
    tower = way(3, ring(44, 44, 6, 6), building__part="yes", height="30", min_height="12", name="Tower")
    lantern = way(4, ring(44, 44, 6, 6), building__part="yes", height="34", min_height="30", name="Lantern")
    found = imported(whole, nave, tower, lantern)
    blocks = named(found)
    assert sorted(blocks) == ["Lantern", "Nave", "Tower"]
    foot = blocks["Nave"].base_m
    assert blocks["Tower"].base_m - foot == pytest.approx(12.0)
    assert blocks["Tower"].height_m == pytest.approx(18.0)
    assert blocks["Lantern"].base_m - foot == pytest.approx(30.0)
    assert any("whose parts are taken instead" in sentence for sentence in found.said)


def test_a_tree_is_a_crown_on_its_trunk() -> None:
    found = imported(
        {"type": "node", "id": 1, **at(30.0, 40.0), "tags": {"natural": "tree", "height": "12"}},
        {"type": "node", "id": 2, **at(900.0, 40.0), "tags": {"natural": "tree"}},
    )
    crown, trunk = found.blocks
    here = attrs.evolve(plan(blocks=[]), blocks=found.blocks)
    assert is_crown(here, crown)
    assert high_m(crown) + high_m(trunk) == pytest.approx(12.0)
    x, y = scene_xy_m(at(30.0, 40.0)["lon"], at(30.0, 40.0)["lat"], SITE)
    assert crown.centre_m is not None
    assert crown.centre_m[:2] == pytest.approx((x, y), abs=0.01)
    assert found.counts["trees"] == 1
    assert found.counts["far"] == 1
    # from above it is round
    outline = block_outlines(here)[0][1]
    reach = np.linalg.norm(outline - outline.mean(axis=0), axis=1)
    assert np.ptp(reach) < 1e-6


def test_a_wall_follows_its_line_in_straight_pieces() -> None:
    line = [at(20.0, 30.0), at(60.0, 30.0), at(60.0, 55.0)]
    found = imported({"type": "way", "id": 9, "geometry": line, "tags": {"barrier": "wall", "height": "3 m"}})
    first, second = found.blocks
    assert first.size_m is not None
    assert second.size_m is not None
    assert (first.size_m[0], second.size_m[0]) == pytest.approx((40.0, 25.0), rel=0.01)
    assert first.size_m[2] == pytest.approx(3.0)
    assert first.part_of == second.part_of != ""
    # its corners reach both ends of the line, in the scene
    ends = np.array([scene_xy_m(place["lon"], place["lat"], SITE) for place in line[:2]])
    corners = block_mesh(plan(), first).vertices_m[:, :2]
    assert all(np.linalg.norm(corners - end, axis=1).min() < 0.3 for end in ends)


def test_trees_and_walls_of_a_geojson_map_are_taken_too() -> None:
    tree = {
        "type": "Feature",
        "properties": {"natural": "tree"},
        "geometry": {"type": "Point", "coordinates": list(at(30, 30).values())[::-1]},
    }
    found = footprint_blocks({"type": "FeatureCollection", "features": [tree]}, plan(blocks=[]), Selection())
    assert [block.shape for block in found.blocks] == ["post", "post"]


def test_the_same_extract_a_second_time_adds_nothing(tmp_path: Path) -> None:
    elements = [
        way(1, ring(40, 40, 20, 20), building__part="yes", height="12"),
        way(2, ring(40, 40, 20, 20), building__part="yes", height="30", min_height="12"),
        {"type": "node", "id": 1, **at(30.0, 40.0), "tags": {"natural": "tree"}},
        {"type": "way", "id": 9, "geometry": [at(20, 30), at(60, 30)], "tags": {"barrier": "wall"}},
    ]
    file = tmp_path / "extract.json"
    file.write_text(json.dumps({"elements": elements}), "utf-8")
    once, first = load_footprints(file, plan())
    twice, second = load_footprints(file, once)
    assert len(first.blocks) == 5
    assert twice == once
    assert not second.blocks


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ({"elements": 3}, "elements: 3 .*lists its elements"),
        ({"elements": [3]}, r"elements\[0\].type: 3"),
        ({"elements": [{"type": "way", "id": 1, "tags": 4}]}, r"elements\[0\] \(way 1\).tags"),
        (
            {"elements": [way(1, [{"lat": 99.0, "lon": 0.0}], building="yes")]},
            r"elements\[0\] \(way 1\).geometry\[0\]",
        ),
        ({"elements": [{"type": "node", "id": 1, "tags": {"natural": "tree"}}]}, r"\(node 1\)"),
        ({"type": "CityJSON", "version": "1.1"}, "city model, which isn't read"),
    ],
)
def test_a_malformed_extract_names_the_element(document: Any, message: str) -> None:
    with pytest.raises(PlanError, match=message):
        footprint_blocks(document, plan(), Selection())


def test_on_the_sheets_map_a_wall_is_a_line_and_a_roof_has_its_ridge() -> None:
    line = {"type": "way", "id": 9, "geometry": [at(20.0, 60.0), at(60.0, 60.0)], "tags": {"barrier": "wall"}}
    barn = way(1, ring(-40, 80, 14, 8), building="yes", height="8", roof__shape="gabled")
    here = plan(shoot__frames=2)
    found = imported(line, barn)
    here = attrs.evolve(here, blocks=(*here.blocks, *found.blocks))
    frames = compute_frames(here)
    drawn = place_svg(here, frames, None, block_outlines(here), 112.0, 90.0, "m")
    assert drawn.count('class="wall background"') == 1
    assert drawn.count('class="roof"') == 1
