"""`new` as it is typed: by options, or asked one by one on a terminal; nothing is overwritten unasked."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from planner_core.plan.file import load_plan
from tools.duskrail import main

pytestmark = pytest.mark.once

FACTS = "--at 43.46,-3.79 --on 2027-03-14 --event sunset --lens 24 --rail 1.2".split()
THINGS = ["--subject", "tower 262 160 20", "--foreground", "post 250 1.3"]


def test_the_facts_make_a_plan_that_check_has_no_stop_against(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    output = str(tmp_path / "evening.plan.json")
    assert main(["new", output, *FACTS, *THINGS]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("Time zone: Europe/Madrid")
    assert said[-1] == f"Written to {output}."
    assert main(["check", output]) == 0
    capsys.readouterr()
    before = Path(output).read_bytes()
    assert main(["new", output, *FACTS, *THINGS]) == 2
    assert capsys.readouterr().err.startswith(f"new: {output} is there already")
    assert Path(output).read_bytes() == before
    assert main(["new", output, *FACTS, *THINGS, "--zone", "Europe/Lisbon", "--overwrite", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["plan"] == output
    assert all(finding["level"] == "note" for finding in told["findings"])
    assert load_plan(output).site.timezone == "Europe/Lisbon"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (FACTS, "new: --subject is missing; add --subject "),
        (["--lens", "24"], "new: --at, --on and --subject are missing; add --at 43.46,-3.79"),
        ([*FACTS, "--subject", "tower 262"], "--subject: 'tower 262' is not a name, bearing, distance"),
        ([*FACTS, *THINGS, "--lens", "0.5"], "--lens: 0.5 "),
        ([*FACTS, *THINGS, "--rail", "1200"], "--rail: 1200 is longer than any slider"),
        ([*FACTS, *THINGS, "--zone", "CEST"], "--zone: 'CEST' is not an IANA time zone"),
        ([*FACTS, *THINGS, "--zone", " "], "--zone: '' is not an IANA time zone"),
        ([*FACTS, *THINGS, "--event", "tea"], "--event: 'tea' is not a light event"),
        (
            [*THINGS, "--at", "71,25", "--on", "2027-06-21", "--event", "sunset"],
            "--event: 'sunset on 2027-06-21' does not happen",
        ),
        ([*THINGS, "--at", "43,-3", "--on", "2127-06-21"], "--on: '2127-06-21' is outside the years"),
    ],
)
def test_what_is_missing_or_cannot_be_is_one_line_by_its_option(
    words: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(tmp_path / "evening.plan.json"), *words]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith(says)
    assert captured.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name == "nt", reason="a pseudo-terminal is Unix's")
def test_on_a_terminal_what_is_missing_is_asked_one_by_one(tmp_path: Path, project_root: Path) -> None:
    import pty

    keyboard, terminal = pty.openpty()
    output = tmp_path / "evening.plan.json"
    command = [sys.executable, str(project_root / "tools" / "duskrail.py"), "new", str(output), *FACTS[2:]]
    answers = ["nowhere", "43.46,-3.79", "", "", "tower 262 160 20", "post 250 1.3"]
    with subprocess.Popen(command, stdin=terminal, stderr=terminal, stdout=subprocess.PIPE, text=True) as run:
        os.close(terminal)
        os.write(keyboard, "".join(f"{answer}\n" for answer in answers).encode())
        shown = b""
        try:
            while piece := os.read(keyboard, 4096):
                shown += piece
        except OSError:  # the other end is closed
            pass
        said = run.stdout.read() if run.stdout else ""
    asked = shown.decode()
    assert run.returncode == 0, asked
    assert "Latitude and longitude from a map" in asked
    assert "'nowhere' is not a place" in asked
    assert "In which time zone? [Europe/Madrid]" in asked
    assert asked.count("What is the subject?") == 2, "an empty answer to what is needed is asked again"
    assert "On which date" not in asked, "what was given is not asked for"
    assert said.endswith(f"Written to {output}.\n")
    assert load_plan(output).blocks[0].name == "tower"
