"""The fuzzer: strange input ends in a result or in one line, and the fuzzer notices where it doesn't."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from attrs import evolve

from tools import fuzz, fuzz_cases, fuzz_kinds
from tools.fuzz import Ended

pytestmark = pytest.mark.once

PLANS = int(os.environ.get("DUSKRAIL_STRANGE_PLANS", "2000"))
CASES = {
    "map": 300,
    "profile": 200,
    "bytes": 200,
    "words": 200,
    "plan": PLANS,
    "verb": 60,
    "evening": 3,
    "late": 12,
    "log": 12,
    "new": 40,
    "photo": 60,
    "terrain": 60,
}


def fallen(kind: str, cases: int, folder: Path) -> str:
    """What fell over so many cases of a kind, as the fuzzer tells it; empty where nothing did."""
    run = fuzz.Run(folder, seed=20270314, kinds=[kind])
    new = run.go(minutes=8.0, cases=cases)
    assert sum(run.ran.values()) == cases, "it took too long"
    return run.summary() if new else ""


@pytest.mark.parametrize("kind", CASES)
def test_strange_input_ends_in_a_result_or_in_one_line(kind: str, tmp_path: Path) -> None:
    assert not fallen(kind, CASES[kind], tmp_path)


def test_a_call_that_goes_on_for_ever_is_noticed_and_the_next_one_answered(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    worker = fuzz.Worker()
    waiting = evolve(CASE, files={}, words=("check", "/dev/stdin"))  # which nobody writes to
    try:
        assert worker.flaw(CASE) == ""
        with monkeypatch.context() as patch:
            patch.setattr(fuzz, "STUCK_S", 1.0)
            assert worker.flaw(waiting, limit_s=0.5) == "takes more than 0 s"
        assert worker.flaw(CASE) == ""
    finally:
        worker.end()


def test_a_case_is_the_same_each_time_it_is_made() -> None:
    for kind in fuzz_kinds.KINDS:
        assert fuzz_kinds.make(kind, 3, 17) == fuzz_kinds.make(kind, 3, 17)
        assert fuzz_kinds.make(kind, 3, 17) != fuzz_kinds.make(kind, 4, 17)


CASE = evolve(fuzz_kinds.make("plan", 1, 1), words=("check", fuzz_cases.PLAN))


@pytest.mark.parametrize(
    "ended",
    [
        Ended(code=3, err='Traceback …\n  File "/x/planner_core/a.py", line 7\nKeyError: 1', files={}),
        Ended(code=2, err="one\ntwo\n", files={}),
        Ended(code=2, files={}),
        Ended(code=2, err="plan: no\n", files={"left.csv": b""}),
        Ended(code=0, err="warning\n", files={}),
        Ended(code=0, out="value nan", files={}),
        Ended(code=0, out="a\x1b[2J", files={}),
        Ended(code=0, files={"x.csv": b"a,=1+1\n"}),
        Ended(code=0, files={".x.csv.part": b""}),
        Ended(code=2, err="tilt_deg: 90.5 is outside\n", files={}),
        Ended(code=-11, files={}),
    ],
)
def test_a_call_that_ends_wrongly_is_noticed(ended: Ended) -> None:
    assert fuzz.flaw(CASE, ended)


def test_what_fell_is_cut_down_to_what_makes_it_fall() -> None:
    files = {"plan.json": json.dumps({"a": [1, 2, {"bad": 3}], "b": {"c": 4}}).encode()}
    case = evolve(CASE, files=files)
    small = fuzz.smaller(case, "bad", lambda c: "bad" if b"bad" in c.files["plan.json"] else "")
    assert json.loads(small.files["plan.json"]) == {"a": [{"bad": 3}]}


def test_a_run_goes_on_where_the_last_one_stopped(tmp_path: Path) -> None:
    for _ in range(2):
        fuzz.Run(tmp_path, seed=5, kinds=["profile"]).go(minutes=1.0, cases=4)
    assert json.loads((tmp_path / "state-5.json").read_text())["next"] == {"profile": 8}
