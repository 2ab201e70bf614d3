"""What README and guide show works: commands are run or, where they take long, read; fragments are plans."""

from __future__ import annotations

import copy
import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from planner_core.plan.file import plan_from_dict
from tools import duskrail, guide_pictures

pytestmark = pytest.mark.once

GUIDE = Path(__file__).resolve().parent.parent.parent / "docs" / "guide"
PAGES = ("first_evening", *sorted(page.stem for page in GUIDE.glob("*.md") if page.stem != "first_evening"))
TWO_PAGES_WORDS = 900
CALLS = ("duskrail ", "python3 tools/bootstrap.py ")
QUICK = {"new", "check", "frames", "axes", "sheet", "fit", "dates", "late"}
NOT_VERBS = {"test", "lint"}  # the set-up's own


def text_of(page: str) -> str:
    return (GUIDE / f"{page}.md").read_text("utf-8")


def fenced(text: str, kind: str) -> Iterator[str]:
    yield from re.findall(rf"^```{kind}\n(.*?)^```", text, re.DOTALL | re.MULTILINE)


def commands(text: str) -> Iterator[list[str]]:
    """The words of every call of the tool in a page's blocks of commands."""
    for block in fenced(text, "sh"):
        for line in block.splitlines():
            call = next((call for call in CALLS if line.startswith(call)), None)
            words = shlex.split(line.removeprefix(call or ""), comments=True)
            if call is not None and words[0] not in NOT_VERBS:
                yield words


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the plan that the guide begins with."""
    folder = tmp_path_factory.mktemp("evening")
    first = next(commands(text_of("first_evening")))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert duskrail.main(first) == 0
    return folder


@pytest.mark.parametrize("page", PAGES)
def test_every_command_of_a_page_is_one(page: str) -> None:
    found = list(commands(text_of(page)))
    assert found
    for words in found:
        assert duskrail.build_parser().parse_args(words).verb == words[0]


def test_every_command_of_the_readme_is_one(project_root: Path) -> None:
    found = list(commands((project_root / "README.md").read_text("utf-8")))
    assert found
    for words in found:
        assert duskrail.build_parser().parse_args(words).verb == words[0]


def quick_commands() -> list[list[str]]:
    """Each quick command of the guide once, in the order in which it is read."""
    found = [words for page in PAGES for words in commands(text_of(page)) if words[0] in QUICK]
    return [words for place, words in enumerate(found) if words not in found[:place]][1:]


def test_quick_commands_of_the_guide_do_what_they_say(
    evening: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(evening)
    ran = quick_commands()
    assert {words[0] for words in ran} == QUICK - {"new"}
    for words in ran:
        code = duskrail.main(words)
        said = capsys.readouterr()
        assert code == 0, f"{' '.join(words)}: {said.err or said.out}"
        for written in (words[place + 1] for place, word in enumerate(words) if word in ("-o", "--ics")):
            assert (evening / written).stat().st_size > 100, words


def with_fragment(document: dict[str, Any], fragment: dict[str, Any]) -> dict[str, Any]:
    """A plan with a fragment in it: objects go into each other, blocks are added, all else is replaced."""
    joined = copy.deepcopy(document)
    for name, value in fragment.items():
        if isinstance(value, dict) and isinstance(joined.get(name), dict):
            joined[name] = with_fragment(joined[name], value)
        elif name == "blocks":
            joined[name] = [*joined[name], *value]
        else:
            joined[name] = value
    return joined


@pytest.mark.parametrize("page", PAGES)
def test_fragments_of_a_page_are_parts_of_a_plan(page: str, evening: Path) -> None:
    document = json.loads((evening / "evening.plan.json").read_text("utf-8"))
    for text in fenced(text_of(page), "json"):
        plan = plan_from_dict(with_fragment(document, json.loads(text)))
        assert plan != plan_from_dict(document), text


def test_fields_named_in_the_reference_are_written_as_a_plan_has_them(
    project_root: Path, evening: Path
) -> None:
    document = json.loads((evening / "evening.plan.json").read_text("utf-8"))
    (header,) = fenced((project_root / "docs" / "reference" / "fields.md").read_text("utf-8"), "json")
    assert plan_from_dict({**document, **json.loads(header)}).schema == "docs/plan.schema.json"


@pytest.mark.parametrize("page", PAGES)
def test_a_page_is_short_and_its_links_lead_somewhere(page: str) -> None:
    text = text_of(page)
    assert len(text.split()) <= TWO_PAGES_WORDS
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text)
    for link in links:
        assert (GUIDE / link).exists(), link


def test_all_pictures_are_shown_and_small() -> None:
    shown = {link for page in PAGES for link in re.findall(r"\]\(pictures/([^)]+)\)", text_of(page))}
    kept = {path.name: path.stat().st_size for path in (GUIDE / "pictures").iterdir()}
    assert set(kept) == shown
    assert sum(kept.values()) < 1_500_000


def test_pictures_are_of_the_plan_and_the_steps_that_there_are(project_root: Path) -> None:
    first = next(commands(text_of("first_evening")))
    assert sorted(first[2:]) == sorted(guide_pictures.FACTS)
    walk = (project_root / "tests" / "addon" / "gui_walk.py").read_text("utf-8")
    for _, step in guide_pictures.WINDOW.values():
        assert f'step("{step}"' in walk or f'"{step}"' in walk, step
