"""scout on the command line: finds as text, JSON, plans and picture; what is wrong, in a line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from planner_core.plan.file import load_plan, save_plan
from tests.scouting import TOWER, box, ground, place
from tools import duskrail

pytestmark = pytest.mark.once

BENCH = box("bench", "foreground", (1.0, 5.0), (1.8, 0.5, 0.8))


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    path = tmp_path / "evening.plan.json"
    save_plan(place(TOWER, BENCH, ground("square", (-9.0, -5.0), (9.0, 3.0))), path)
    return path


def test_finds_come_as_json_plans_and_a_picture(
    plan_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["scout", str(plan_file), "--reviews", "9", "--top", "2", "--json"]
    words += [
        "--write",
        str(tmp_path / "finds"),
        "--picture",
        str(tmp_path / "finds.png"),
        "--area",
        "square",
    ]
    assert duskrail.main(words) == 0
    document = json.loads(capsys.readouterr().out)
    assert len(document["finds"]) == 2
    for find in document["finds"]:
        assert load_plan(find["plan"]).rig.bearing_deg == find["rail_bearing_deg"]
        assert duskrail.main(["check", find["plan"], "--json"]) == 0
        shot = json.loads(capsys.readouterr().out)["summary"]["shot"]
        assert shot == {key: find[key] for key in ("score", "parts", "faults")}
    picture = (tmp_path / "finds.png").read_bytes()
    assert picture.startswith(b"\x89PNG")
    assert int.from_bytes(picture[16:20]) > 700


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--area", "nowhere"], "neither a block nor x0,y0,x1,y1 in metres; ground blocks here: square"),
        (["--area", "4,4,1,1"], "has no area"),
        (["--picture", "finds.jpg"], "doesn't end in .png"),
        (["--edge", "-1"], "is not above 0"),
        (["--lenses", "0.024"], "0.024 is not a list of focal lengths; write millimetres, as 24,35,85"),
        (
            ["--heights", "1.6:0.4"],
            "1.6:0.4 is not a span of heights; write metres, the lower first, as 0.4:1.6",
        ),
        (["--from", "2027-03-01"], "evenings take both --from and --to"),
        (["--from", "2027-03-09", "--to", "2027-03-01"], "comes before the first date"),
        (["--subjects", "--area", "square"], "stays at the planned place"),
        (["--look", "lit"], "says how --picture FILE.png is drawn; add that"),
    ],
)
def test_what_a_search_cannot_use_is_one_line(
    plan_file: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert duskrail.main(["scout", str(plan_file), *words]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert said in lines[-1]
