"""What docs/exchange.md says about the tables is what the tables hold."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from planner_core import compute_frames, frames
from planner_core.evening import dates
from planner_core.output.axes import axes_csv
from planner_core.place.footprints import Selection, footprint_blocks, horizon_ridge
from tests.two_towers import plan


@pytest.fixture(scope="module")
def page(project_root: Path) -> str:
    return (project_root / "docs" / "exchange.md").read_text(encoding="utf-8")


def documented(page: str, heading: str) -> list[str]:
    """Column names in the first cells of the table under a heading, in order."""
    part = page.split(f"## {heading}")[1].split("\n## ")[0]
    cells = re.findall(r"^\| (.*?) \|", part, re.MULTILINE)
    return [name for cell in cells for name in re.findall(r"`([^`]+)`", cell)]


def test_columns_of_frames(page: str) -> None:
    assert documented(page, "`frames PLAN") == list(frames.COLUMNS)


def test_columns_of_dates(page: str) -> None:
    assert documented(page, "`dates PLAN") == list(dates.COLUMNS)


def test_columns_of_axes(page: str) -> None:
    here = plan()
    names = axes_csv(here, compute_frames(here)).splitlines()[0].split(",")
    patterns = [name.replace("…", "[a-z]+") for name in documented(page, "`axes PLAN")]
    for name in names:
        assert any(re.fullmatch(pattern, name) for pattern in patterns), name
    for pattern in patterns:
        assert any(re.fullmatch(pattern, name) for name in names), pattern


def test_the_examples_can_be_imported(page: str) -> None:
    (example,) = re.findall(r"```json\n(.*?)```", page, re.DOTALL)
    (block,) = footprint_blocks(json.loads(example), plan(), Selection()).blocks
    assert (block.name, block.height_m) == ("Malthouse", 14.5)
    (profile,) = re.findall(r"```csv\n(.*?)```", page, re.DOTALL)
    assert horizon_ridge(profile).skyline_deg == ((245.0, 1.5), (260.0, 2.8), (275.0, 0.9))
