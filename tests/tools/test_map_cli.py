"""Footprints, horizons and dates from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from planner_core import load_plan
from tools.duskrail import main

pytestmark = pytest.mark.once


@pytest.fixture
def plan_path(project_root: Path) -> str:
    return str(project_root / "example_scenes" / "harbour_light.plan.json")


def test_a_building_from_a_map_stands_in_the_new_plan(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = load_plan(plan_path)
    lon, lat = plan.site.longitude_deg - 0.002, plan.site.latitude_deg
    ring = [[lon, lat], [lon + 0.0003, lat], [lon + 0.0003, lat + 0.0002], [lon, lat + 0.0002], [lon, lat]]
    feature = {
        "type": "Feature",
        "properties": {"name": "net loft", "height": 11},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }
    source = tmp_path / "map.geojson"
    source.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")
    assert main(["blocks", str(source), plan_path, "-o", str(tmp_path / "new.plan.json")]) == 0
    added = load_plan(tmp_path / "new.plan.json").blocks[len(plan.blocks) :]
    assert [(block.name, block.shape, block.height_m) for block in added] == [("net loft", "prism", 11.0)]
    assert "Written to" in capsys.readouterr().out


def test_a_horizon_profile_becomes_a_ridge(plan_path: str, tmp_path: Path) -> None:
    source = tmp_path / "west.csv"
    source.write_text("bearing,altitude\n240,2.5\n270,1.0\n300,3\n", encoding="utf-8")
    new = tmp_path / "new.plan.json"
    assert main(["blocks", str(source), plan_path, "-o", str(new), "--distance", "4000"]) == 0
    ridge = load_plan(new).blocks[-1]
    assert (ridge.shape, ridge.distance_m, ridge.skyline_deg) == (
        "ridge",
        4000.0,
        ((240.0, 2.5), (270.0, 1.0), (300.0, 3.0)),
    )


def test_a_map_that_is_none_leaves_nothing_behind(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "map.geojson"
    source.write_text('{"type": "FeatureCollection"}', encoding="utf-8")
    assert main(["blocks", str(source), plan_path, "-o", str(tmp_path / "new.plan.json")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "new.plan.json").exists()


def test_dates_are_said_and_written(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "dates.csv"
    assert main(["dates", plan_path, "--from", "2027-03-01", "--to", "2027-03-31", "-o", str(out)]) == 0
    assert "sun" in capsys.readouterr().out.lower()
    assert out.read_text(encoding="utf-8").count("\n") >= 62


def test_dates_the_wrong_way_round_are_named(plan_path: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["dates", plan_path, "--from", "2027-03-31", "--to", "2027-03-01"]) == 2
    assert "swap" in capsys.readouterr().err
