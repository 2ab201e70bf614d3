"""The log of a shoot from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import attrs
import pytest

from planner_core import compute_frames, load_plan, save_plan
from tests.shoots import write_card
from tools.duskrail import main

pytestmark = pytest.mark.once


@pytest.fixture
def shoot(project_root: Path, tmp_path: Path) -> tuple[str, str]:
    """A short plan and the card of it."""
    plan = load_plan(project_root / "example_scenes" / "harbour_light.plan.json")
    assert plan.exposure is not None
    plan = attrs.evolve(
        plan,
        shoot=attrs.evolve(plan.shoot, frames=80, interval_s=72.0),
        exposure=attrs.evolve(plan.exposure, meter="ground"),
    )
    path, card = tmp_path / "a.plan.json", tmp_path / "card"
    save_plan(plan, path)
    card.mkdir()
    write_card(card, compute_frames(plan), ahead_s=197.0, without=(7, 8))
    return str(card), str(path)


def test_the_log_is_told_drawn_and_taught(
    shoot: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    card, plan = shoot
    before = sorted((path.name, path.read_bytes()) for path in Path(card).iterdir())
    page, new = tmp_path / "log.html", tmp_path / "new.plan.json"
    assert main(["log", card, plan, "-o", str(page), "--plan", str(new)]) == 0
    told = capsys.readouterr().out
    assert "Frames 7–8: missing." in told
    assert "3 min 17 s ahead" in told
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert "From the log of card" in str(load_plan(new).notes)
    assert sorted((path.name, path.read_bytes()) for path in Path(card).iterdir()) == before


def test_the_log_as_json(shoot: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    card, plan = shoot
    assert main(["log", card, plan, "--json", "--clock-offset", "+0:03:17"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["faults"] == [{"kind": "dropped", "frames": [7, 8], "files": [], "seconds": None}]
    assert told["clock"]["given"] is True
    assert abs(told["clock"]["late_s"]) < 1.0


@pytest.mark.parametrize(
    ("words", "told"), [(["--clock-offset", "soon"], "--clock-offset"), (["--plan", "PLAN"], "--plan")]
)
def test_what_cannot_be_meant_is_one_line(
    shoot: tuple[str, str], capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    card, plan = shoot
    assert main(["log", card, plan, *(plan if word == "PLAN" else word for word in words)]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1


def test_no_photograph_of_the_card_is_written_over_and_each_output_has_its_own_name(
    shoot: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    card, plan = shoot
    frame = next(path for path in Path(card).rglob("*") if path.is_file())
    before, link, both = frame.read_bytes(), tmp_path / "link", str(tmp_path / "both.json")
    link.symlink_to(card)
    for words, told in (
        (["-o", str(frame)], "is in the folder that is read"),
        (["--plan", str(link / frame.relative_to(card))], "is in the folder that is read"),
        (["-o", both, "--plan", both], "is what -o is written to"),
    ):
        assert main(["log", card, plan, *words]) == 2
        assert told in capsys.readouterr().err
    assert frame.read_bytes() == before
    assert not Path(both).exists()


def test_a_check_tells_what_an_earlier_log_of_the_same_site_said(
    shoot: tuple[str, str], project_root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    card, plan = shoot
    assert main(["log", card, plan, "--json"]) == 0
    kept = tmp_path / "log.json"
    kept.write_text(capsys.readouterr().out, encoding="utf-8")
    assert main(["check", plan, "--log", str(kept)]) in (0, 1)
    told = capsys.readouterr().out
    assert "at this site" in told
    assert "3 min 17 s ahead: set it" in told
    assert "Among its frames were: 2 missing." in told
    assert main(["check", plan, "--log", str(kept), "--json"]) in (0, 1)
    (earlier,) = json.loads(capsys.readouterr().out)["earlier_logs"]
    assert earlier["file"] == "log.json"
    assert set(earlier["fields"]) <= {"shoot.cloud_divisor", "exposure.artificial_ev100", "shoot.write_s"}
    elsewhere = str(project_root / "example_scenes" / "chapel_sunrise.plan.json")
    assert main(["check", elsewhere, "--log", str(kept)]) == 2
    assert "km away" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (None, "does not exist"),
        ("{", "is not JSON"),
        ("[1]", "is not a log"),
        ('{"site": {}}', "is not a log"),
    ],
)
def test_what_is_no_log_is_one_line(
    content: str | None,
    told: str,
    shoot: tuple[str, str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = tmp_path / "log.json"
    if content is not None:
        path.write_text(content, encoding="utf-8")
    assert main(["check", shoot[1], "--log", str(path)]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1
