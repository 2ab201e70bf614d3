"""Every finding that the review can make has its sentences, and every sentence belongs to a finding."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from planner_core.frames import compute_frames
from planner_core.plan.model import Plan
from planner_core.review import findings
from planner_core.review.report import review
from tests.spoken import codes_of_the_tool


def codes_made(source: str) -> Iterator[str]:
    """The codes of all findings that a module makes: `Finding(code="…")`, or first in a call of a helper of
    that name.
    """
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if not name.lstrip("_").lower().startswith("finding"):
            continue
        given = [keyword.value for keyword in node.keywords if keyword.arg == "code"] or node.args[:1]
        for value in given:
            yield from (
                part.value
                for part in ast.walk(value)
                if isinstance(part, ast.Constant) and isinstance(part.value, str)
            )


@pytest.fixture(scope="module")
def made(project_root: Path) -> set[str]:
    folder = project_root / "planner_core"
    return {code for path in folder.rglob("*.py") for code in codes_made(path.read_text(encoding="utf-8"))}


def test_codes_are_found_in_each_way_that_findings_are_made() -> None:
    source = "Finding(code='a')\nself._finding('b' if late else 'c', 1)\nx.Finding(level='d', code='e')"
    assert set(codes_made(source)) == {"a", "b", "c", "e"}


@pytest.mark.once
def test_every_finding_has_its_sentences(made: set[str]) -> None:
    assert len(made) > 30
    assert {"interval-too-short", "subject-lost", "sun-in-frame", "star-trails"} <= made
    assert made - set(findings.SPEAKERS["en"]) == set()


def test_every_sentence_belongs_to_a_finding(made: set[str]) -> None:
    ours = codes_of_the_tool()
    assert ours - made == set()


@pytest.mark.once
def test_the_examples_findings_are_whole_sentences(example_plan: Plan) -> None:
    for finding in review(example_plan, compute_frames(example_plan)).findings:
        assert finding.message.endswith(".")
        assert finding.fix == "" or finding.fix.endswith(".")
