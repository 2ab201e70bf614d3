"""A place that nobody measured, from two photographs and an elevation grid: the example, done again."""

from __future__ import annotations

import shlex
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from planner_core.place.blocking import block_mesh
from planner_core.plan.file import load_plan
from planner_core.plan.model import Plan
from planner_core.terrain.grids import load_grids
from tests import scouted
from tools.duskrail import main


@pytest.fixture(scope="module")
def example(project_root: Path) -> Path:
    return project_root / "example_scenes" / "scouted"


def blocked_out(example: Path, work: Path) -> Plan:
    """The plan after the visit, by the commands that the guide gives."""
    for number, words in enumerate(scouted.COMMANDS):
        verb, *rest = words
        given = [str(example / word) if (example / word).exists() else word for word in rest]
        read = str(example / "before.plan.json" if number == 0 else work / f"{number}.plan.json")
        assert main([verb, *given[:1], read, "-o", str(work / f"{number + 1}.plan.json"), *given[1:]]) == 0
    return load_plan(work / f"{len(scouted.COMMANDS)}.plan.json")


@pytest.mark.once
def test_two_photographs_and_a_grid_give_back_what_stood_there(example: Path, tmp_path: Path) -> None:
    found = blocked_out(example, tmp_path)
    truth = scouted.as_it_is(load_plan(example / "before.plan.json"), load_grids([example / "valley.asc"]))
    for name in scouted.TRUTH:
        (bearing, away, top), (true_bearing, true_away, true_top) = seen(found, name), seen(truth, name)
        assert bearing == pytest.approx(true_bearing, abs=0.3)
        assert away == pytest.approx(true_away, rel=0.05)
        assert top == pytest.approx(true_top, rel=0.05)
    # the compass was 3° off, and the peaks put that right
    aimed = {photo.file: photo.bearing_deg for photo in found.photos}
    for name, _, bearing, _ in scouted.SHOTS:
        assert (aimed[name] - bearing + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.3)
    assert found == load_plan(example / "after.plan.json")


def test_the_guide_gives_these_commands(project_root: Path) -> None:
    page = (project_root / "docs" / "guide" / "blocking_out.md").read_text("utf-8")
    given = [shlex.split(line) for line in page.splitlines() if line.startswith("duskrail ")]
    for verb, file, *rest in scouted.COMMANDS:
        assert any(words[1:3] == [verb, file] and words[6:] == rest for words in given)


def seen(plan: Plan, name: str) -> tuple[float, float, float]:
    """Bearing and distance of a block's middle from the rail's start, and its height, metres."""
    block = next(block for block in plan.blocks if block.name == name)
    vertices = block_mesh(plan, block).vertices_m
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    x, y, _ = (low + high) / 2.0 - np.asarray(plan.rig.origin_m)
    return float(np.degrees(np.arctan2(x, y))), float(np.hypot(x, y)), float(high[2] - low[2])


@pytest.mark.once
def test_the_files_of_the_example_are_those_that_its_valley_makes(example: Path, project_root: Path) -> None:
    assert (example / "valley.asc").read_text("ascii") == scouted.grid_text()
    assert load_plan(example / "before.plan.json") == scouted.bare_plan(project_root)
    assert sum(file.stat().st_size for file in example.iterdir()) < 1_000_000
    bare = load_plan(example / "before.plan.json")
    for number, (name, *_) in enumerate(scouted.SHOTS):
        assert Image.open(example / name).info["exif"] == scouted.exif_of(bare, number)


def test_the_photographs_are_what_the_tool_draws_of_it(example: Path, tmp_path: Path) -> None:
    bare, grid = load_plan(example / "before.plan.json"), load_grids([example / "valley.asc"])
    name = scouted.SHOTS[0][0]
    scouted.draw(scouted.shot(bare, grid, 0), tmp_path / name, tmp_path, b"", size_px=(240, 160))
    drawn = np.asarray(Image.open(tmp_path / name), dtype=np.float64)
    kept = np.asarray(Image.open(example / name).resize((240, 160), Image.Resampling.BOX), dtype=np.float64)
    assert np.abs(drawn - kept).mean() < 3.0  # of 255: edges are drawn anew at that size
