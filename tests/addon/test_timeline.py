"""What the timeline says of a plan: where findings, poses and events are, at Blender's usual height of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import bpy
import pytest

from blender_addon.state import handlers, live
from blender_addon.ui import level_marks, timeline
from planner_core import Plan, load_plan
from tests.addon.scenes import empty_scene

USUAL_HEIGHT_PX = 33  # seen in Blender 5.2's Layout workspace at a window of 1600 × 900


def region(height: int = USUAL_HEIGHT_PX, width: int = 1311, frames: int = 240) -> Any:
    """A timeline that shows all frames over its width."""

    def to_x(frame: float, _y: float, *, clip: bool) -> tuple[float, float]:
        assert not clip
        return (frame - 1.0) / (frames - 1.0) * (width - 60.0) + 30.0, 0.0

    return SimpleNamespace(width=width, height=height, view2d=SimpleNamespace(view_to_region=to_x))


@pytest.fixture(scope="module")
def reviewed(addon: None, project_root: Path) -> Any:
    """The example with the most findings, reviewed."""
    scene = empty_scene()
    live.clear()
    handlers.register()  # a new file keeps only persistent ones
    live.set_plan(scene, load_plan(project_root / "example_scenes" / "classic_mistakes.plan.json"))
    assert live.review_now(scene) is not None
    return scene


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


# the lowest with room for findings, Blender 5.2's usual in a small and a large window, 4.5's, and higher ones
HEIGHTS_PX = [18, USUAL_HEIGHT_PX, 48, 53, 100, 400]


@pytest.fixture
def at_all_heights(reviewed: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Any, float, list[Any]]]:
    """Regions with the interface's scale and their bars."""

    def each() -> Iterator[tuple[Any, float, list[Any]]]:
        for scale in (1.0, 2.0):
            monkeypatch.setattr(timeline, "ui_scale", lambda scale=scale: scale)
            for height in HEIGHTS_PX:
                shown = region(round(height * scale))
                yield shown, scale, timeline.bars(reviewed, shown)

    return each()


def apart(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    """Whether two rectangles (left, bottom, right, top) don't cover each other by more than rounding."""
    return a[0] > b[2] - 0.6 or b[0] > a[2] - 0.6 or a[1] >= b[3] - 0.6 or b[1] >= a[3] - 0.6


def square(bar: timeline.Bar) -> tuple[float, float, float, float]:
    assert bar.mark is not None
    left, bottom, size = bar.mark
    return left, bottom, left + size, bottom + size


def test_no_two_of_them_cover_each_other_and_all_are_in_the_region(
    at_all_heights: Iterator[tuple[Any, float, list[Any]]],
) -> None:
    for shown, _, found in at_all_heights:
        assert found, shown.height
        for number, bar in enumerate(found):
            assert 0.0 < bar.bottom < bar.top <= shown.height
            here = (bar.left, bar.bottom, bar.right, bar.top)
            for other in found[:number]:
                assert apart(here, (other.left, other.bottom, other.right, other.top)), shown.height


def test_each_has_the_mark_of_its_level_in_sight_beside_the_others(
    at_all_heights: Iterator[tuple[Any, float, list[Any]]],
) -> None:
    for shown, scale, found in at_all_heights:
        for number, bar in enumerate(found):
            left, bottom, right, top = square(bar)
            assert right - left >= 11.0 * scale  # legible by eye, in screenshots at both scales
            assert 0.0 <= left < right <= shown.width
            assert 0.0 <= bottom < top <= shown.height
            assert all(apart(square(bar), square(other)) for other in found[:number])
            if (
                bar.top > shown.height - 23.0 * scale
            ):  # in the ruler, where Blender has the current frame's number
                assert abs((left + right) / 2.0 - timeline._x(shown, 1.0)) > 16.0 * scale


def test_words_in_the_ruler_go_beside_the_current_frames_number() -> None:
    assert timeline._beside(100.0, 60.0, (300.0, 330.0), 1000.0) == 100.0
    assert timeline._beside(290.0, 60.0, (300.0, 330.0), 1000.0) == 330.0
    assert timeline._beside(940.0, 60.0, (960.0, 990.0), 1000.0) == 900.0


def test_below_that_there_is_none(reviewed: Any) -> None:
    assert timeline.bars(reviewed, region(17)) == []
    assert timeline.bars(reviewed, region(2)) == []  # what Blender leaves of it at a scale of 2


def test_bars_keep_clear_of_blenders_own_markers(reviewed: Any) -> None:
    assert len(reviewed.timeline_markers)  # the events
    assert min(bar.bottom for bar in timeline.bars(reviewed, region(400))) >= 30.0


def test_a_higher_timeline_has_no_fewer_of_them(reviewed: Any) -> None:
    counts = [len(timeline.bars(reviewed, region(height))) for height in HEIGHTS_PX]
    assert counts == sorted(counts)


def test_the_marks_of_the_levels_have_shapes_of_their_own() -> None:
    for size in (11, 22):
        shapes = {level: level_marks.mark_pixels(level, size)[:, :, 3] > 0.5 for level in level_marks.SHAPES}
        assert shapes["stop"][size // 2].all()  # round: full width half way up
        assert not shapes["stop"][0, 0]
        assert shapes["note"][size // 2, 1]
        assert shapes["warn"][size // 5].sum() > 2 * shapes["warn"][4 * size // 5].sum()  # wider below
        for level in shapes:
            pixels = level_marks.mark_pixels(level, size)
            dark = (pixels[:, :, :3].max(axis=2) < 0.4) & shapes[level]
            assert 0.05 < dark.sum() / shapes[level].sum() < 0.45, level  # the sign on it


def test_a_click_on_a_bar_finds_its_finding_and_one_beside_finds_none(reviewed: Any) -> None:
    shown = region(400)
    for bar in timeline.bars(reviewed, shown):
        here = timeline.bar_at(reviewed, shown, (bar.left + bar.right) / 2.0, (bar.bottom + bar.top) / 2.0)
        assert here == bar
    assert timeline.bar_at(reviewed, shown, 600.0, 398.0) is None


def test_in_the_ruler_a_click_on_a_mark_finds_it_and_one_beside_is_left_for_scrubbing(reviewed: Any) -> None:
    shown = region()
    found = timeline.bars(reviewed, shown)
    for bar in found:
        left, bottom, right, top = square(bar)
        assert timeline.bar_at(reviewed, shown, (left + right) / 2.0, (bottom + top) / 2.0) == bar
    longest = max(found, key=lambda bar: bar.right - bar.left)
    y = (longest.bottom + longest.top) / 2.0
    free = [
        x for x in range(int(longest.left) + 1, int(longest.right)) if timeline.bar_at(reviewed, shown, x, y)
    ]
    assert len(free) <= 12 * len(found)


def test_a_plan_that_is_not_reviewed_yet_has_no_bars(addon: None, harbour: Plan) -> None:
    scene = bpy.data.scenes.new("Harbour")
    live.set_plan(scene, harbour)
    assert timeline.bars(scene, region()) == []


def test_poses_and_events_are_marked_with_the_clock(reviewed: Any) -> None:
    frames = live.frames_of(reviewed)
    assert frames is not None
    found = list(timeline.marks(frames))
    # the first and last pose stand at the first and last frame, whose clock the frames have
    assert (1.0, "1 · 18:45", False) in found
    assert (240.0, "3 · 19:08", False) in found
    assert [words for _, words, is_event in found if is_event] == ["Sunset 18:46"]
