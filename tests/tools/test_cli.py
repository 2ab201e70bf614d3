"""The command line as it is typed: exit codes, one line for what is wrong, nothing half-written."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tools.duskrail import main


@pytest.fixture
def plan_path(project_root: Path) -> str:
    return str(project_root / "example_scenes" / "harbour_light.plan.json")


def test_check_says_its_findings_and_exits_by_the_gravest(
    plan_path: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["check", plan_path, "--json"])
    report = json.loads(capsys.readouterr().out)
    assert report["title"] == "Harbour light"
    assert code == (1 if any(finding["level"] == "stop" for finding in report["findings"]) else 0)
    for finding in report["findings"]:
        keys = {"code", "level", "frames", "value", "limit", "unit", "message", "fix", "remedies"}
        assert set(finding) == keys


def test_check_in_words_names_the_plan(plan_path: str, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", plan_path])
    assert capsys.readouterr().out.startswith("Harbour light")


def test_frames_go_to_standard_output_or_to_a_file(
    plan_path: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(["frames", plan_path]) == 0
    printed = capsys.readouterr().out
    assert main(["frames", plan_path, "-o", str(tmp_path / "f.csv")]) == 0
    assert (tmp_path / "f.csv").read_text(encoding="utf-8") == printed
    assert printed.count("\n") == 481


@pytest.mark.parametrize(
    "words",
    [
        ["check", "missing.plan.json"],
        ["check", "."],
        ["frames", "missing.plan.json", "-o", "out.csv"],
        ["readback", "missing.blend", "-o", "out.plan.json"],
        ["fit", "missing.plan.json", "-o", "out.plan.json", "--balance", "1:1"],
        ["fit", "missing.plan.json", "-o", "out.plan.json"],
        ["fit", "missing.plan.json", "-o", "out.plan.json", "--balance", "even"],
        ["preview", "missing.plan.json", "-o", "out.mp4", "--frames", "9:3"],
        ["preview", "missing.plan.json", "-o", "out.mp4", "--size", "big"],
        ["preview", "missing.plan.json", "-o", "out.mp4", "--every", "0"],
        ["dance", "missing.plan.json"],
        [],
    ],
)
def test_what_cannot_be_used_is_one_line_and_exit_2(
    words: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert "Traceback" not in captured.err
    assert list(tmp_path.iterdir()) == []


def test_an_output_folder_that_is_missing_is_named(
    plan_path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["frames", plan_path, "-o", str(tmp_path / "none" / "f.csv")]) == 2
    assert "none" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["-o", "clip.txt"], "-o: 'clip.txt' is not a name for a clip; end it in .mp4"),
        (["-o", "clip.mp4", "--still", "1"], "-o: 'clip.mp4' is not a name for a still; end it in .png"),
        (
            ["--contact", "sheet.mp4"],
            "--contact: 'sheet.mp4' is not a name for a contact sheet; end it in .png",
        ),
        (["--blend", "scene.mp4"], "--blend: 'scene.mp4' is not a name for a scene; end it in .blend"),
    ],
)
def test_a_name_that_promises_another_kind_of_file_is_refused(
    words: list[str],
    says: str,
    plan_path: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["preview", plan_path, *words]) == 2
    assert capsys.readouterr().err == says + "\n"
    assert list(tmp_path.iterdir()) == []


def test_it_runs_as_a_script(project_root: Path, plan_path: str) -> None:
    script = str(project_root / "tools" / "duskrail.py")
    done = subprocess.run(
        [sys.executable, script, "check", plan_path, "--json"], capture_output=True, text=True
    )
    assert done.returncode in (0, 1)
    assert json.loads(done.stdout)["title"] == "Harbour light"
    broken = subprocess.run([sys.executable, script, "check", "no.plan.json"], capture_output=True, text=True)
    assert broken.returncode == 2
    assert broken.stderr.startswith("plan file: ")


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_terminal_that_lacks_characters_gets_the_rest(
    project_root: Path, plan_path: str, tmp_path: Path, encoding: str
) -> None:
    document = json.loads(Path(plan_path).read_text(encoding="utf-8")) | {"title": "“Łódź” 🌅"}
    path = tmp_path / "title.plan.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    command = [sys.executable, str(project_root / "tools" / "duskrail.py"), "check", str(path)]
    surroundings = os.environ | {"PYTHONIOENCODING": encoding}
    for option in ([], ["--json"]):
        done = subprocess.run([*command, *option], capture_output=True, env=surroundings)
        assert done.returncode in (0, 1)
        assert not done.stderr
    assert json.loads(done.stdout.decode(encoding))["title"] == "“Łódź” 🌅"


def test_a_clip_fitted_with_its_balance_leaves_time_for_the_night(
    plan_path: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    document = json.loads(Path(plan_path).read_text(encoding="utf-8"))
    document["shoot"] = {"frames": 200, "interval_s": 20.0, "write_s": 1.0, "start": "2027-03-14T14:00:00"}
    document["exposure"] |= {"f_number": 11.0, "artificial_ev100": 1.0}
    by_day, fitted = tmp_path / "day.plan.json", tmp_path / "new.plan.json"
    by_day.write_text(json.dumps(document), encoding="utf-8")
    assert main(["fit", str(by_day), "-o", str(fitted), "--clip", "25", "--balance", "1:1"]) == 0
    assert "The nearest is" in capsys.readouterr().out
    main(["check", str(fitted), "--json"])
    report = json.loads(capsys.readouterr().out)
    assert "interval-too-short" not in {f["code"] for f in report["findings"] if f["level"] == "stop"}
    summary = report["summary"]
    assert abs(2 * summary["day_frames"] - summary["frames"]) <= 2
