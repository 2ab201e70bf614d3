"""The camera and the blocks for other programs, from the command line."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest

from tools.duskrail import main


@pytest.fixture
def plan_path(project_root: Path) -> str:
    return str(project_root / "example_scenes" / "square_pan.plan.json")


def test_the_camera_and_every_block_are_in_the_file(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "square.glb"
    assert main(["export", plan_path, "-o", str(target)]) == 0
    assert "420 frames" in capsys.readouterr().out
    content = target.read_bytes()
    (length,) = struct.unpack_from("<I", content, 12)  # glTF 2.0, 4.4: header, then the JSON chunk
    document = json.loads(content[20 : 20 + length])
    assert document["cameras"]
    assert {"clock tower", "grain market"} <= {node["name"] for node in document["nodes"]}


def test_another_ending_is_named_and_nothing_written(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", plan_path, "-o", str(tmp_path / "square.xyz")]) == 2
    assert capsys.readouterr().err.startswith("square.xyz: is neither glTF nor USD")
    assert list(tmp_path.iterdir()) == []
