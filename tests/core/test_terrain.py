"""Land from elevation grids: read from three formats, told where it isn't, and built into the plan."""

from __future__ import annotations

import struct
from pathlib import Path

import attrs
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

from planner_core.frames import compute_frames
from planner_core.place.blocking import block_mesh
from planner_core.place.footprints import lonlat_deg, scene_xy_m
from planner_core.place.ground import ground_under_m
from planner_core.place.skyline import skyline
from planner_core.plan.model import Block, Plan, PlanError
from planner_core.terrain.grids import Grid, load_grids
from planner_core.terrain.land import with_land

Heights = NDArray[np.float32]


def slope(rows: int, columns: int) -> Heights:
    """Heights that tell their place: 100 m and a metre a row, a tenth a column."""
    return (100.0 + np.arange(rows)[:, None] + 0.1 * np.arange(columns)[None, :]).astype(np.float32)


def hgt(path: Path, side: int = 1201, **holes: tuple[int, int]) -> Path:
    values = np.round(slope(side, side)).astype(">i2")
    for row, column in holes.values():
        values[row, column] = -32768
    values.tofile(path)
    return path


def test_an_srtm_tile_lies_where_its_name_says(tmp_path: Path) -> None:
    grid = load_grids([hgt(tmp_path / "S34W071.hgt", hole=(5, 7))])
    assert (grid.north_deg, grid.south_deg, grid.west_deg, grid.east_deg) == pytest.approx(
        (-33, -34, -71, -70)
    )
    assert float(grid.at(-33.0, -71.0)) == 100.0
    assert float(grid.at(-34.0, -70.0)) == pytest.approx(np.round(100 + 1200 + 120))
    assert grid.missing == pytest.approx(1 / 1201**2)
    assert np.isnan(grid.at(-33.0 - 5 / 1200, -71.0 + 7 / 1200))
    assert np.isnan(grid.at(-32.9, -70.5))


@pytest.mark.parametrize("corner", ["corner", "center"])
def test_an_esri_grid_is_read_by_its_header(tmp_path: Path, corner: str) -> None:
    west, south = (7.0, 46.0) if corner == "corner" else (7.005, 46.005)
    rows = "\n".join(" ".join(f"{value:.1f}" for value in row) for row in slope(3, 4))
    head = f"ncols 4\nnrows 3\nxll{corner} {west}\nyll{corner} {south}\ncellsize 0.01\nNODATA_value 100.0\n"
    (tmp_path / "a.asc").write_text(head + rows + "\n", encoding="utf-8")
    grid = load_grids([tmp_path / "a.asc"])
    assert (grid.north_deg, grid.west_deg) == pytest.approx((46.025, 7.005))
    assert float(grid.at(46.015, 7.015)) == pytest.approx(101.1, abs=1e-4)
    assert np.isnan(grid.heights_m[0, 0])


@pytest.mark.parametrize(("raster", "half"), [(1, 0.5), (2, 0.0)])
def test_a_geotiff_is_placed_by_its_keys(tmp_path: Path, raster: int, half: float) -> None:
    keys = (1, 1, 0, 3, 1024, 0, 1, 2, 1025, 0, 1, raster, 2048, 0, 1, 4326)
    tifffile.imwrite(
        tmp_path / "a.tif", slope(3, 4), compression="zlib",
        extratags=[
            (33550, 12, 3, (0.01, 0.01, 0.0), True), (33922, 12, 6, (0.0, 0.0, 0.0, 7.0, 46.03, 0.0), True),
            (34735, 3, len(keys), keys, True), (42113, 2, 6, "101.1\0", True),
        ],
    )  # fmt: skip
    grid = load_grids([tmp_path / "a.tif"])
    assert (grid.north_deg, grid.west_deg) == pytest.approx((46.03 - half * 0.01, 7.0 + half * 0.01))
    assert np.isnan(grid.heights_m[1, 1])
    assert grid.heights_m[2, 3] == pytest.approx(102.3)


def test_a_damaged_or_a_huge_geotiff_is_refused_in_a_line_and_nothing_else_is_said(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    rows = b"".join(struct.pack("<HHII", tag, 4, 1, 60_000) for tag in (256, 257))  # its width and height
    small = rows.replace(struct.pack("<I", 60_000), struct.pack("<I", 8))
    for content, told in ((small, "can't be read as GeoTIFF"), (rows, "60000 × 60000 heights are too many")):
        tiff = b"II*\0" + struct.pack("<IH", 8, 2) + content + bytes(4)
        (tmp_path / "a.tif").write_bytes(tiff)
        with pytest.raises(PlanError, match=told):
            load_grids([tmp_path / "a.tif"])
    assert "".join(capfd.readouterr()) == ""


def test_four_tiles_are_one_land(tmp_path: Path) -> None:
    names = ["N46E007.hgt", "N46E008.hgt", "N47E007.hgt", "N47E008.hgt"]
    grid = load_grids([hgt(tmp_path / name) for name in names])
    assert (grid.south_deg, grid.north_deg, grid.west_deg, grid.east_deg) == pytest.approx((46, 48, 7, 9))
    assert grid.missing == 0.0
    assert not np.isnan(grid.at(47.0, 8.0))


def damaged(folder: Path) -> dict[str, Path]:
    header = "ncols 4\nnrows 3\nxllcorner 7\nyllcorner 46\ncellsize 0.01\n"
    texts = {
        "metres.asc": header.replace("7", "600000").replace("0.01", "30") + "1 2 3 4\n" * 3,
        "short.asc": header + "1 2 3\n",
        "words.asc": header + "1 2 3 four\n" * 3,
        "no-head.asc": "1 2 3\n",
        "plain.txt": "1",
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "tile.hgt").write_bytes(b"\0" * 2 * 1201 * 1201)
    (folder / "N46E007.hgt").write_bytes(b"\0" * 200)
    (folder / "empty").mkdir()
    np.full((1201, 1201), -32768, dtype=">i2").tofile(folder / "empty" / "N46E008.hgt")
    tifffile.imwrite(folder / "nowhere.tif", slope(3, 4))
    tifffile.imwrite(folder / "picture.tif", np.zeros((9, 9, 3), dtype=np.uint8))
    (folder / "broken.tif").write_bytes(b"II*\0" + struct.pack("<I", 4_000_000) + b"\0" * 40)
    names = [
        *texts,
        "tile.hgt",
        "N46E007.hgt",
        "empty/N46E008.hgt",
        "nowhere.tif",
        "picture.tif",
        "broken.tif",
    ]
    return {name: folder / name for name in [*names, "missing.hgt"]}


def test_what_cannot_be_read_is_said_in_one_line_with_what_would_do(tmp_path: Path) -> None:
    for name, path in damaged(tmp_path).items():
        with pytest.raises(PlanError) as told:
            load_grids([path])
        text = str(told.value)
        assert text.startswith("terrain: "), name
        assert "\n" not in text
    with pytest.raises(PlanError, match="gdalwarp"):
        load_grids([tmp_path / "metres.asc"])


def test_places_go_to_the_map_and_back(harbour: Plan) -> None:
    site = attrs.evolve(harbour.site, scene_north_deg=212.0)
    points = np.array([(0.0, 0.0), (1500.0, -900.0), (-42_000.0, 61_000.0)])
    longitude, latitude = lonlat_deg(points, site)
    assert scene_xy_m(longitude, latitude, site) == pytest.approx(points, abs=1e-3)


# ---------------------------------------------------------------- land in the plan


@pytest.fixture
def valley(harbour: Plan) -> Plan:
    """A rail on level ground and a chapel, at a place on the invented tile."""
    site = attrs.evolve(
        harbour.site, latitude_deg=46.5, longitude_deg=7.5, timezone="Europe/Zurich", scene_north_deg=30.0
    )
    chapel = Block(name="chapel", role="subject", shape="box", centre_m=(40, 70, 6), size_m=(8, 8, 12))
    composition = attrs.evolve(harbour.composition, subject="chapel") if harbour.composition else None
    rig = attrs.evolve(harbour.rig, origin_m=(0.0, 0.0, 0.9))
    return attrs.evolve(harbour, site=site, blocks=(chapel,), composition=composition, rig=rig)


def tilted(north_per_m: float, hill_m: float = 0.0) -> Grid:
    """Land that rises so much a metre toward the north from 500 m at the site, with a wall of a hill 8 km
    west.
    """
    side = 1201
    north, east = np.meshgrid(np.linspace(47, 46, side), np.linspace(7, 8, side), indexing="ij")
    heights = 500.0 + (north - 46.5) * 111_170.0 * north_per_m
    heights = heights + hill_m * np.exp(-(((east - 7.5) * 76_700.0 + 8000.0) ** 2) / 400.0**2)
    return Grid(heights_m=heights.astype(np.float32), north_deg=47, west_deg=7, step_deg=(1 / 1200, 1 / 1200))


@pytest.mark.once
def test_ground_and_blocks_take_the_lands_height(valley: Plan) -> None:
    landed = with_land(valley, tilted(0.1), near_m=120.0)
    new = landed.plan
    assert new.rig == valley.rig  # the rail stays: the scene's zero is the land under it
    longitude, latitude = lonlat_deg(np.array([(40.0, 70.0)]), valley.site)
    chapel = new.blocks[0]
    foot = block_mesh(new, chapel).vertices_m[:, 2].min()
    assert foot == pytest.approx(float(tilted(0.1).at(latitude, longitude)[0]) - 500.0, abs=0.01)
    for x, y in ((0.0, 0.0), (50.0, 60.0), (-80.0, -30.0)):
        longitude, latitude = lonlat_deg(np.array([(x, y)]), valley.site)
        land = float(tilted(0.1).at(latitude, longitude)[0]) - 500.0
        assert ground_under_m(new, (x, y, np.inf)) == pytest.approx(land, abs=0.02)


@pytest.mark.once
def test_the_hills_stand_where_they_are_in_the_skyline(valley: Plan) -> None:
    landed = with_land(valley, tilted(0.0, hill_m=700.0), near_m=0.0)
    eye = np.asarray(valley.rig.origin_m)
    # due west 700 m up, 8 km away; Earth's curve and refraction take (1 − 0.13) d²/2R = 4.4 m
    wanted = np.degrees(np.arctan2(700.0 - 0.9 - 4.4, 8000.0))
    seen = skyline(landed.plan, eye)
    assert float(seen.altitude_at(270.0)) == pytest.approx(wanted, abs=0.03)
    (west,) = (
        block
        for block in landed.plan.blocks
        if block.skyline_deg and block.skyline_deg[0][0] < 270.0 < block.skyline_deg[-1][0]
    )
    assert west.distance_m == pytest.approx(8000.0, rel=0.13)
    assert float(seen.altitude_at(90.0)) == 0.0


@pytest.mark.once
def test_the_sun_goes_behind_the_land(valley: Plan) -> None:
    plan = with_land(valley, tilted(0.0, hill_m=900.0), near_m=0.0).plan
    frames = compute_frames(plan)
    hidden = skyline(plan, valley.rig.origin_m).altitude_at(frames.sun_azimuth_deg) > frames.sun_altitude_deg
    assert bool(hidden[frames.sun_altitude_deg > 1.0].any())


@pytest.mark.once
def test_terrain_a_second_time_replaces_the_first(valley: Plan) -> None:
    once = with_land(valley, tilted(0.05, hill_m=300.0)).plan
    twice = with_land(once, tilted(0.05, hill_m=300.0)).plan
    assert twice == once


def test_a_site_off_the_grid_is_said(valley: Plan) -> None:
    away = attrs.evolve(valley, site=attrs.evolve(valley.site, latitude_deg=12.0))
    with pytest.raises(PlanError, match="is not on this terrain"):
        with_land(away, tilted(0.0))


def test_where_the_grid_ends_before_the_view_does_it_says_so(valley: Plan) -> None:
    said = with_land(valley, tilted(0.0), near_m=0.0).said
    assert any("The grid ends 38" in sentence for sentence in said)  # half a degree of longitude at 46.5°


def test_a_hole_in_the_data_is_said(valley: Plan) -> None:
    grid = tilted(0.0)
    grid.heights_m[560:640, 640:700] = np.nan
    said = with_land(valley, grid, near_m=0.0).said
    assert any("of the grid has no data" in sentence for sentence in said)
