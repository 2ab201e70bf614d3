"""The benchmark's own arithmetic; its figures are for people to read."""

from __future__ import annotations

import time

import numpy as np
import pytest

from tools import benchmark

pytestmark = pytest.mark.once


def test_the_slower_task_takes_longer() -> None:
    quick, slow = benchmark.best_s(lambda: None, lambda: time.sleep(0.01), rounds=3)
    assert quick < 0.01 <= slow


def test_angles_between_directions_are_those_on_the_sky() -> None:
    # near the zenith a turn of azimuth moves hardly at all; a degree of altitude is a degree anywhere
    one, other = np.array([0.0, 10.0]), np.array([90.0, 10.0])
    assert benchmark._apart_deg(
        (one, np.array([89.0, 0.0])), (other, np.array([89.0, 1.0]))
    ) == pytest.approx(np.degrees(np.arccos(np.sin(np.radians(89.0)) ** 2)))


def test_a_section_that_is_none_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        benchmark.main(["nonsense"])
    assert "nonsense is not a section; there are sky" in capsys.readouterr().err


def test_the_sky_is_measured_with_its_accuracy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(benchmark, "best_s", lambda *tasks: [0.5, 1.0])
    lines = list(benchmark.sky())
    assert "ratio 0.50" in lines[0]
    assert "largest error against DE421: sun 0.00" in lines[1]
