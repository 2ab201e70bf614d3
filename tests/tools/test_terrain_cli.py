"""The land from elevation grids, from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from planner_core import load_plan
from tools.duskrail import main

pytestmark = pytest.mark.once


@pytest.fixture
def tile(tmp_path: Path, project_root: Path) -> Path:
    """A tile under the harbour example, with a hill on it."""
    site = load_plan(project_root / "example_scenes" / "harbour_light.plan.json").site
    south, west = int(np.floor(site.latitude_deg)), int(np.floor(site.longitude_deg))
    name = f"{'N' if south >= 0 else 'S'}{abs(south):02d}{'E' if west >= 0 else 'W'}{abs(west):03d}.hgt"
    north, east = np.meshgrid(np.linspace(1, 0, 1201), np.linspace(0, 1, 1201), indexing="ij")
    heights = 20.0 + 300.0 * np.exp(-((north - 0.3) ** 2 + (east - 0.5) ** 2) / 0.01)
    heights.astype(">i2").tofile(tmp_path / name)
    return tmp_path / name


def test_the_land_comes_into_the_plan(
    tile: Path, project_root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan, new = str(project_root / "example_scenes" / "harbour_light.plan.json"), tmp_path / "new.plan.json"
    assert main(["terrain", str(tile), plan, "-o", str(new), "--near", "60"]) == 0
    assert "above the sea" in capsys.readouterr().out
    made = [block for block in load_plan(new).blocks if block.name.startswith(("land ", "hills "))]
    assert {block.shape for block in made} == {"terrain", "ridge"}
    assert (
        main(["terrain", str(tile), plan, "-o", str(tmp_path / "b.plan.json"), "--near", "0", "--json"]) == 0
    )
    told = json.loads(capsys.readouterr().out)
    assert max(row["altitude_deg"] for row in told["horizon"]) > 0.4


def test_a_tile_is_never_written_over(
    tile: Path, project_root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan, before = str(project_root / "example_scenes" / "harbour_light.plan.json"), tile.read_bytes()
    assert main(["terrain", str(tile), plan, "-o", str(tile)]) == 2
    assert "the terrain that is read" in capsys.readouterr().err
    assert tile.read_bytes() == before


@pytest.mark.parametrize("near", ["1e9", "-5", "far"])
def test_near_land_has_a_limit_that_is_said(
    tile: Path, project_root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], near: str
) -> None:
    plan = str(project_root / "example_scenes" / "harbour_light.plan.json")
    assert main(["terrain", str(tile), plan, "-o", str(tmp_path / "a.plan.json"), "--near", near]) == 2
    assert "from 0 to 2000 metres" in capsys.readouterr().err
