"""What docs/exchange.md shows as an example works."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from planner_core.place.footprints import Selection, footprint_blocks, horizon_ridge
from tests.two_towers import plan


@pytest.fixture(scope="module")
def page(project_root: Path) -> str:
    return (project_root / "docs" / "exchange.md").read_text(encoding="utf-8")


def test_the_examples_can_be_imported(page: str) -> None:
    (example,) = re.findall(r"```json\n(.*?)```", page, re.DOTALL)
    (block,) = footprint_blocks(json.loads(example), plan(), Selection()).blocks
    assert (block.name, block.height_m) == ("Malthouse", 14.5)
    (profile,) = re.findall(r"```csv\n(.*?)```", page, re.DOTALL)
    assert horizon_ridge(profile).skyline_deg == ((245.0, 1.5), (260.0, 2.8), (275.0, 0.9))
