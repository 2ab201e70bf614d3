"""Late, from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from planner_core import load_plan
from tools.duskrail import main
from tools.late_command import length_s

pytestmark = pytest.mark.once


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("75min", 4500), ("1h15", 4500), ("1:15", 4500), ("90m", 5400), ("2h", 7200), ("600s", 600)],
)
def test_lengths_of_time_as_people_write_them(text: str, seconds: float) -> None:
    assert length_s(text) == seconds


def test_late_tells_writes_and_draws(
    project_root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = str(project_root / "example_scenes" / "square_pan.plan.json")
    start = load_plan(plan)
    assert main(["late", plan, "--now", "23:59", "--json"]) in (0, 2)
    capsys.readouterr()
    from planner_core import compute_frames
    from planner_core.plan.timeline import local_datetime

    now = local_datetime(float(compute_frames(start).utc_s[0]) + 900.0, start.zone)
    words = [
        "late",
        plan,
        "--now",
        f"{now:%H:%M}",
        "-o",
        str(tmp_path / "a.html"),
        "--write",
        str(tmp_path / "ways"),
    ]
    assert main(words) == 0
    assert "1. " in capsys.readouterr().out
    written = sorted((tmp_path / "ways").glob("*.plan.json"))
    assert written
    assert all(load_plan(path).shoot.start is not None for path in written)
    assert main(["late", plan, "--now", f"{now:%H:%M}", "--json"]) == 0
    assert {"kind", "start", "frames", "interval_s", "stops"} <= set(
        json.loads(capsys.readouterr().out)["ways"][0]
    )


@pytest.mark.parametrize("words", [["--now", "soon"], ["--now", "18:00", "--have", "long"], []])
def test_what_cannot_be_meant_is_one_line(
    project_root: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    plan = str(project_root / "example_scenes" / "harbour_light.plan.json")
    assert main(["late", plan, *words]) == 2
    assert capsys.readouterr().err.count("\n") == 1
