"""Where Blender's module doesn't fit the Python at hand, a Blender application draws instead."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tools import blender_application, duskrail, outcome
from tools.blender_application import Application, ApplicationError

pytestmark = [pytest.mark.once, pytest.mark.skipif(os.name == "nt", reason="uses shell scripts")]

GREETING = "Blender 5.2.1 LTS"


def program(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)
    return path


@pytest.fixture
def places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine without a Blender but those that a test puts into these folders."""
    monkeypatch.delenv(blender_application.VARIABLE, raising=False)
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    usual = {sys.platform: (str(tmp_path / "opt" / "blender*" / "blender"),)}
    monkeypatch.setattr(blender_application, "USUAL_PLACES", usual)
    return tmp_path


@pytest.fixture
def blender(tmp_path: Path) -> Application:
    """A program that greets as Blender does and runs the script that it is given, with this Python."""
    text = f"""echo '{GREETING}'; echo 'noise' >&2
while [ "$1" != --python ]; do shift; done; shift
exec {sys.executable} -I "$@" """
    return Application(str(program(tmp_path / "blender", text)), (5, 2))


def test_the_named_one_is_taken_before_others(places: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program(places / "bin" / "blender", "echo Blender 5.2.0")
    named = program(places / "mine" / "blender", "echo Blender 4.5.3 LTS")
    monkeypatch.setenv(blender_application.VARIABLE, str(named))
    assert blender_application.find() == Application(str(named), (4, 5))


def test_one_on_the_path_is_taken_before_the_usual_places(places: Path) -> None:
    program(places / "opt" / "blender-5.2" / "blender", "echo Blender 5.2.0")
    found = program(places / "bin" / "blender", "echo Blender 4.5.0")
    assert blender_application.find() == Application(str(found), (4, 5))


def test_of_the_usual_places_the_newest_is_taken(places: Path) -> None:
    program(places / "opt" / "blender-4.5" / "blender", "echo Blender 4.5.0")
    newest = program(places / "opt" / "blender-5.10" / "blender", "echo Blender 5.10.0")
    program(places / "opt" / "blender-9" / "blender", "exit 1")
    assert blender_application.find() == Application(str(newest), (5, 10))


def test_one_that_is_too_old_is_none(places: Path) -> None:
    program(places / "bin" / "blender", "echo Blender 4.4.3")
    assert blender_application.find() is None


@pytest.mark.parametrize(
    ("text", "said"),
    [("echo Blender 3.6.0", "4.5 or later is needed"), ("exit 1", "is not a Blender that starts")],
)
def test_a_named_one_that_will_not_do_is_refused(
    places: Path, monkeypatch: pytest.MonkeyPatch, text: str, said: str
) -> None:
    monkeypatch.setenv(blender_application.VARIABLE, str(program(places / "odd", text)))
    with pytest.raises(ApplicationError, match=said):
        blender_application.find()


def test_a_verb_in_it_prints_what_it_prints_here_and_ends_the_same(
    blender: Application, project_root: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    plan = str(project_root / "example_scenes" / "harbour_light.plan.json")
    assert duskrail.main(["frames", plan]) == 0
    here = capfd.readouterr().out
    assert blender_application.run(blender, ["frames", plan]) == 0
    printed = capfd.readouterr()
    assert (printed.out, printed.err) == (here, "")
    assert blender_application.run(blender, ["check", str(tmp_path / "none.plan.json")]) == 2
    printed = capfd.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 1
    assert "does not exist" in printed.err


def test_it_works_in_a_pipe_too(blender: Application, project_root: Path) -> None:
    application = f"b.Application({blender.path!r}, (5, 2))"
    call = f"from tools import blender_application as b; b.run({application}, ['check', 'no'])"
    done = subprocess.run(
        [sys.executable, "-c", call],
        cwd=project_root,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert done.stderr.splitlines() == ["plan file: 'no' does not exist; check the name"]


def test_one_that_ends_before_the_verb_begins_is_said_to(tmp_path: Path) -> None:
    broken = Application(str(program(tmp_path / "blender", f"echo '{GREETING}'; exit 11")), (5, 2))
    with pytest.raises(ApplicationError, match="doesn't start in the background"):
        blender_application.run(broken, ["check"])


def without_module(name: str, *_: Any) -> Any:
    return None if name == "bpy" else FOUND(name)


FOUND = importlib.util.find_spec


def test_a_verb_that_draws_goes_to_the_application(
    blender: Application, project_root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[list[str]] = []
    monkeypatch.setattr(outcome.importlib.util, "find_spec", without_module)
    monkeypatch.setattr(blender_application, "find", lambda: blender)

    def ask(_application: Application, words: list[str]) -> int:
        asked.append(words)
        return 7

    monkeypatch.setattr(blender_application, "run", ask)
    words = [
        "preview",
        str(project_root / "example_scenes" / "square_pan.plan.json"),
        "-o",
        str(tmp_path / "c.mp4"),
    ]
    assert duskrail.main(words) == 7
    assert asked == [words]


def test_without_one_a_line_says_what_is_missing(
    project_root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(outcome.importlib.util, "find_spec", without_module)
    monkeypatch.setattr(blender_application, "find", lambda: None)
    plan = str(project_root / "example_scenes" / "square_pan.plan.json")
    assert duskrail.main(["preview", plan, "-o", str(tmp_path / "c.mp4")]) == 2
    said = capsys.readouterr().err
    assert len(said.splitlines()) == 1
    assert "Blender" in said


def test_the_task_says_where_the_projects_packages_are(project_root: Path) -> None:
    *_, mark, task = blender_application.command("blender", "tools.duskrail", ["check", "a b"])
    assert mark == "--"
    asked = json.loads(task)
    assert asked["words"] == ["check", "a b"]
    assert str(project_root) in asked["paths"]
