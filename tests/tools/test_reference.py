"""The reference says what the code says, now."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tools import make_reference


@pytest.mark.parametrize("name", sorted(make_reference.pages()))
def test_a_page_of_the_reference_is_what_the_code_says_now(project_root: Path, name: str) -> None:
    kept = (project_root / "docs" / name).read_text("utf-8")
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
    json.loads(make_reference.pages()["plan.schema.json"])
