"""The reference says what the code says, now."""

from __future__ import annotations

import ast
import inspect
import json
import textwrap
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from planner_core import compute_frames, frames
from planner_core.evening import dates, milky_way
from planner_core.log import curve
from planner_core.log import report as log_report
from planner_core.moves import compare, measured, score
from planner_core.output.axes import axes_csv
from planner_core.output.evening.words import evening_dict
from planner_core.output.late_page import late_dict
from planner_core.review import remedies
from planner_core.review.assess import assess
from planner_core.review.catalogue import NOTHING, TOPICS
from planner_core.review.findings import LEVELS, finding_dict
from planner_core.review.summary import Summary
from planner_core.scout import evenings, finds
from tests.spoken import codes_of_the_tool
from tests.two_towers import plan
from tools import make_reference, photo_command, report, terrain_command
from tools import reference_columns as columns

CATALOGUE = {code: about for topic in TOPICS.values() for code, about in topic.items()}

pytestmark = pytest.mark.once


@pytest.mark.parametrize("name", sorted(make_reference.pages()))
def test_a_page_of_the_reference_is_what_the_code_says_now(project_root: Path, name: str) -> None:
    kept = (project_root / name).read_text("utf-8")
    assert kept == make_reference.pages()[name], "run tools/make_reference.py"


def test_the_script_says_what_is_out_of_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(make_reference, "ROOT", tmp_path)
    assert make_reference.main(["--check"]) == 1
    assert "docs/plan.schema.json is out of date" in capsys.readouterr().out
    assert make_reference.main([]) == 0
    assert make_reference.main(["--check"]) == 0


def test_a_field_says_its_limits_in_words() -> None:
    page = make_reference.fields_page()
    assert (
        "| `focal_length_mm` | of the lens, as written on it | a number from 2 to 3 000 | millimetres |"
        in page
    )
    assert "`0`, `50`, `60`, `null`" in page
    json.loads(make_reference.pages()["docs/plan.schema.json"])


# ---------------------------------------------------------------- findings


def test_every_finding_has_its_line() -> None:
    assert set(CATALOGUE) == codes_of_the_tool()


def levels_in_the_code(project_root: Path) -> dict[str, set[str] | None]:
    """The levels that each code is given where findings are made; None where one is worked out elsewhere."""
    found: dict[str, set[str] | None] = {}
    for path in (project_root / "planner_core" / "review").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                given = {word.arg: word.value for word in node.keywords}
                for code in words_in(given["code"]) & set(CATALOGUE):
                    levels = words_in(given["level"]) & set(LEVELS)
                    known = found.get(code, set())
                    found[code] = None if known is None or not levels else known | levels
    return found


def words_in(node: ast.AST) -> set[str]:
    return {
        each.value
        for each in ast.walk(node)
        if isinstance(each, ast.Constant) and isinstance(each.value, str)
    }


def test_levels_are_those_that_the_review_gives(project_root: Path) -> None:
    in_code = levels_in_the_code(project_root)
    assert len(in_code) > 50
    for code, levels in in_code.items():
        if levels is not None:
            assert set(CATALOGUE[code].levels.split()) == levels, code
    for about in CATALOGUE.values():
        assert about.levels.split() == [level for level in LEVELS if level in about.levels.split()]


def test_levels_of_a_plan_full_of_mistakes_are_among_them(project_root: Path) -> None:
    from planner_core import load_plan

    wrong = load_plan(project_root / "example_scenes" / "classic_mistakes.plan.json")
    for finding in assess(wrong, compute_frames(wrong)).findings:
        assert finding.level in CATALOGUE[finding.code].levels.split()


def test_whatever_is_tried_against_a_finding_is_said() -> None:
    for code in remedies.PROPOSERS:
        assert CATALOGUE[code].remedies != NOTHING, code


# ---------------------------------------------------------------- columns


def test_columns_of_the_tables_are_those_that_are_written() -> None:
    assert list(columns.FRAMES) == list(frames.COLUMNS)
    assert list(columns.DATES) == list(dates.COLUMNS)
    assert list(columns.NIGHTS) == list(milky_way.COLUMNS)
    here = plan()
    written = axes_csv(here, compute_frames(here)).splitlines()[0].split(",")
    left_out = {name for name in columns.AXES if name.split("_")[0] in ("slide", "pan", "tilt")} - set(
        written
    )
    assert [name for name in columns.AXES if name not in left_out] == written


def keys_of(*makers: Callable[..., Any]) -> set[str]:
    """Names of the dictionaries that functions write down, or of a record's fields."""
    found: set[str] = set()
    for maker in makers:
        if isinstance(maker, type):
            found |= {each.name for each in attrs.fields(maker)}
            continue
        tree = ast.parse(textwrap.dedent(inspect.getsource(maker)))
        for node in ast.walk(tree):
            if isinstance(node, ast.Dict):
                found |= {str(key.value) for key in node.keys if isinstance(key, ast.Constant)}
    return found


def names(heading: str) -> set[str]:
    """The last part of each documented name under a heading, and the parts that hold others."""
    return {part.removesuffix("[]") for name in columns.JSON[heading] for part in name.split(".")} - {"…"}


FIND = (finds.Find.as_dict, score.ShotScore.as_dict, measured.Measures)
MAKERS: dict[str, tuple[Callable[..., Any], ...]] = {
    "`fit PLAN -o NEW --json`": (report.fits_dict, report._cost_list, finding_dict),
    "`compare PLAN --json`": (compare.Comparison.as_dict, measured.Measures),
    "`scout PLAN --json`": (finds.Report.as_dict, *FIND),
    "`scout PLAN --from D --to D --json`": (evenings.Evenings.as_dict, *FIND),
    "`scout PLAN --subjects --json`": (evenings.Subjects.as_dict, *FIND),
    "`photo IMAGE PLAN -o NEW --json`": (photo_command._solved_dict,),
    "`photo --check PLAN --json`": (photo_command._check, photo_command._check_dict),
    "`terrain FILE… PLAN -o NEW --json`": (terrain_command._as_dict,),
    "`log FOLDER PLAN --json`": (log_report.log_dict, curve.exposures),
    "`late PLAN --now TIME --json`": (late_dict,),
    "`evening PLAN PLAN… --json`": (evening_dict,),
}
AROUND = {"measures", "plan", "learned", "interval_s", "cloud_divisor", "artificial_ev100", "overhead_s"}


@pytest.mark.parametrize("heading", MAKERS)
def test_names_in_the_json_are_those_that_are_written(heading: str) -> None:
    assert names(heading) ^ keys_of(*MAKERS[heading]) <= AROUND


def summary_names(record: type, prefix: str = "") -> Iterator[str]:
    for each in attrs.fields(attrs.resolve_types(record)):
        kind: Any = each.type
        inside = next((one for one in (kind, *getattr(kind, "__args__", ())) if attrs.has(one)), None)
        flat = prefix if each.metadata.get("flat") else f"{prefix}{each.name}_"
        if inside is None:
            yield f"{prefix}{each.name}"
        else:
            yield from summary_names(inside, flat)


def test_every_number_of_the_summary_has_its_line() -> None:
    assert list(columns.SUMMARY) == list(summary_names(Summary))


def test_the_json_of_a_review_has_documented_names_only() -> None:
    here = plan()
    given = assess(here, compute_frames(here)).as_dict()
    known: dict[str, set[str]] = defaultdict(set)
    for name in columns.JSON["`check PLAN --json`"]:
        holder, _, last = name.rpartition(".")
        known[holder].add(last)
    assert set(given) <= known[""]
    assert set(given["summary"]) <= known["summary"]
    assert given["findings"]
    assert {key for finding in given["findings"] for key in finding} <= known["findings[]"]
