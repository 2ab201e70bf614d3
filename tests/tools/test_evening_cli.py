"""An evening of several plans from the command line."""

from __future__ import annotations

import json
import re
from pathlib import Path

import attrs
import pytest

from planner_core import load_plan, save_plan
from tools.duskrail import main

pytestmark = pytest.mark.once


@pytest.fixture
def two(project_root: Path, tmp_path: Path) -> list[str]:
    """Two shots of the example evening with few frames, so that their sheets are quick."""
    names = []
    for name in ("weir_slide", "mill_night"):
        plan = load_plan(project_root / "example_scenes" / "evening" / f"{name}.plan.json")
        shoot, exposure = plan.shoot, plan.exposure
        assert exposure is not None
        plan = attrs.evolve(
            plan,
            shoot=attrs.evolve(shoot, frames=24, interval_s=100.0),
            exposure=attrs.evolve(exposure, meter="ground"),
        )
        names.append(str(tmp_path / f"{name}.plan.json"))
        save_plan(plan, names[-1])
    return names


def test_page_sheets_calendar_and_plans_are_written(
    two: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, ics, folder = tmp_path / "evening.html", tmp_path / "evening.ics", tmp_path / "plans"
    assert main(["evening", *two, "-o", str(page), "--ics", str(ics), "--write", str(folder)]) == 0
    told = capsys.readouterr().out
    assert "It can be done" in told
    assert "Set up 1. Weir, slide" in told
    links = re.findall(r'href="([^"#:]+\.html)"', page.read_text(encoding="utf-8"))
    assert links == ["evening-1-weir_slide.html", "evening-2-mill_night.html"]
    assert all((tmp_path / name).read_text(encoding="utf-8").startswith("<!doctype html>") for name in links)
    assert ics.read_bytes().count(b"BEGIN:VCALENDAR") == 1
    assert [path.name for path in sorted(folder.iterdir())] == [
        "1-weir_slide.plan.json",
        "2-mill_night.plan.json",
    ]


def test_the_evening_as_json_for_two_people(two: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["evening", *two, "--json", "--people", "2", "--pace", "5", "--detour", "1.5"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {shot["person"] for shot in told["shots"]} == {1, 2}
    assert told["pace_km_h"] == 5.0
    (walk,) = told["walks"]
    assert walk["distance_m"] / walk["time_s"] == pytest.approx(5.0 / 3.6, rel=0.01)
    assert {row["kind"] for row in told["timetable"]} >= {"leave", "set-up", "test", "start", "end", "pack"}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--people", "0"], "--people"),
        (["--pace", "500"], "--pace"),
        (["--detour", "0.5"], "--detour"),
        (["--balance", "half"], "--balance"),
        (["-o", "PLAN"], "that is read"),
        (["PLAN"], "given twice"),
        (["nothing.plan.json"], "does not exist"),
    ],
)
def test_what_cannot_be_meant_is_one_line(
    two: list[str], capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    assert main(["evening", *two, *(two[0] if word == "PLAN" else word for word in words)]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1
