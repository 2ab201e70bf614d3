"""The draft clip: a plan's frames drawn by Blender and put together as a video."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from attrs import frozen

from planner_core.plan import Plan

LOOKS = ("fast", "lit")


class PreviewError(RuntimeError):
    """Something that keeps the clip from being made, in one line that says what would do."""


@frozen(kw_only=True)
class Preview:
    """What was made: the file, how many frames of it were drawn now and how many came out of the cache."""

    output: Path
    frames: tuple[int, ...]
    drawn: int
    kept: int
    fps: float
    size_px: tuple[int, int]
    engine: str


def render_preview(
    plan: Plan,
    output: Path,
    *,
    look: str = "fast",
    frame_range: tuple[int, int] | None = None,
    every: int = 1,
    size: tuple[int, int] | None = None,
    cache: Path | None = None,
    progress: Callable[[str], None] | None = None,
) -> Preview:
    """Draw the plan's frames and write the clip to `output`."""
    raise PreviewError("not yet")
