"""The command line's help and errors: whole sentences, in words that a photographer knows."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.shown_words import faults
from tools.arguments import ABOUT, plainly
from tools.duskrail import VERBS, build_parser, main
from tools.examples import EXAMPLES

pytestmark = pytest.mark.once


def parsers() -> Iterator[tuple[str, argparse.ArgumentParser]]:
    whole = build_parser()
    yield "duskrail", whole
    for action in whole._actions:
        if isinstance(action, argparse._SubParsersAction):
            yield from action.choices.items()


def test_every_verb_is_told_of_and_has_an_example() -> None:
    assert set(VERBS) == set(ABOUT) == set(EXAMPLES) == {name for name, _ in parsers()} - {"duskrail"}


@pytest.mark.parametrize(("name", "parser"), list(parsers()), ids=[name for name, _ in parsers()])
def test_help_is_made_of_sentences(name: str, parser: argparse.ArgumentParser) -> None:
    texts = [str(parser.description)]
    texts += [str(action.help) for action in parser._actions if action.dest != "verb"]
    for text in texts:
        assert faults(" ".join(text.split()), sentence=True) == [], text
        assert text[0].isupper() or text.split()[0] in ("fast", "lit"), text
    assert parser.format_help().isprintable() or "\n" in parser.format_help()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "duskrail: VERB is missing; "),
        (["dance"], "duskrail: dance is not one of new, check, frames, "),
        (["sheet"], "sheet: PLAN is missing; "),
        (["blocks", "map.geojson"], "blocks: PLAN and --output are missing; "),
        (["late", "p.plan.json", "--now"], "late: --now needs a value after it; "),
        (["check", "p.plan.json", "more"], "duskrail: nothing here is called more; "),
        (["preview", "p.plan.json", "--look", "neon"], "preview: neon is not one of fast, lit; "),
        (
            ["preview", "p.plan.json", "--size", "big"],
            "preview: --size: big is not a size; ",
        ),
    ],
)
def test_a_wrong_command_line_is_told_of_in_one_plain_line(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    said = capsys.readouterr().err
    assert said.startswith(says)
    assert said.endswith("--help says more\n")
    assert said.count("\n") == 1


def test_what_the_reading_library_says_otherwise_is_left_as_it_is() -> None:
    assert plainly("something else") == "something else"


def test_a_value_of_an_option_is_told_of_by_the_option(
    plan_file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    dates = ["dates", plan_file, "--from", "2027-03-01", "--to", "2027-02-01"]
    for words, says in (
        (["late", plan_file, "--now", "25:70"], "--now: '25:70' is not a clock time"),
        (dates, "--to: '2027-02-01' comes before the first date"),
    ):
        assert main(words) == 2
        assert capsys.readouterr().err.startswith(says)


@pytest.fixture
def plan_file(project_root: Path) -> str:
    return str(project_root / "example_scenes" / "square_pan.plan.json")
