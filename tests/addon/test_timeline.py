"""What the timeline says of a plan: where findings, poses and events are, at Blender's usual height of it."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from blender_addon.state import live
from blender_addon.ui import timeline
from planner_core import load_plan

USUAL_HEIGHT_PX = 33  # seen in Blender 5.2's Layout workspace at a window of 1600 × 900


def region(height: int = USUAL_HEIGHT_PX, width: int = 1311, frames: int = 240) -> Any:
    """A timeline that shows all frames over its width."""

    def to_x(frame: float, _y: float, *, clip: bool) -> tuple[float, float]:
        assert not clip
        return (frame - 1.0) / (frames - 1.0) * (width - 60.0) + 30.0, 0.0

    return SimpleNamespace(width=width, height=height, view2d=SimpleNamespace(view_to_region=to_x))


@pytest.fixture
def reviewed(empty: Any, project_root: Path) -> Any:
    """The example with the most findings, reviewed."""
    live.set_plan(empty, load_plan(project_root / "example_scenes" / "classic_mistakes.plan.json"))
    assert live.review_now(empty) is not None
    return empty


def test_findings_lie_over_their_frames(reviewed: Any) -> None:
    shown = region()
    found = timeline.bars(reviewed, shown)
    assert found
    for bar in found:
        assert bar.finding.frames is not None
        first, last = bar.finding.frames
        assert bar.left == pytest.approx(timeline._x(shown, first - 0.5))
        assert bar.right >= timeline._x(shown, last + 0.5) - 1e-6
        report = live.state_of(reviewed).review
        assert report is not None
        assert report.findings[bar.number] is bar.finding


@pytest.mark.parametrize("height", [USUAL_HEIGHT_PX, 400])
def test_no_two_of_them_cover_each_other_and_all_are_in_the_region(reviewed: Any, height: int) -> None:
    found = timeline.bars(reviewed, region(height))
    for number, bar in enumerate(found):
        assert 0.0 < bar.bottom < bar.top <= height
        for other in found[:number]:
            apart = bar.left > other.right or bar.right < other.left
            assert apart or bar.bottom >= other.top or bar.top <= other.bottom


def test_a_click_on_a_bar_finds_its_finding_and_one_beside_finds_none(reviewed: Any) -> None:
    shown = region()
    for bar in timeline.bars(reviewed, shown):
        here = timeline.bar_at(reviewed, shown, (bar.left + bar.right) / 2.0, (bar.bottom + bar.top) / 2.0)
        assert here == bar
    assert timeline.bar_at(reviewed, shown, 600.0, USUAL_HEIGHT_PX - 2.0) is None


def test_a_plan_that_is_not_reviewed_yet_has_no_bars(empty: Any, project_root: Path) -> None:
    live.set_plan(empty, load_plan(project_root / "example_scenes" / "harbour_light.plan.json"))
    assert timeline.bars(empty, region()) == []


def test_poses_and_events_are_marked_with_the_clock(reviewed: Any) -> None:
    frames = live.frames_of(reviewed)
    assert frames is not None
    found = list(timeline.marks(frames))
    # the first and last pose stand at the first and last frame, whose clock the frames have
    assert (1.0, "1 · 18:45", False) in found
    assert (240.0, "3 · 19:08", False) in found
    assert [words for _, words, is_event in found if is_event] == ["Sunset 18:46"]
