"""What is asked of a draft clip, checked before anything is drawn."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

from attrs import field, frozen

from planner_core.plan.model import Clip, Plan
from planner_core.words.language import Phrase, phrase

from .jobs import MOST_JOBS

FAST, LIT = "fast", "lit"
LOOKS = (FAST, LIT)
DEFAULT_WIDTH_PX = {FAST: 960, LIT: 640}
SMALLEST_PX, LARGEST_PX = 32, 8192
BROADCAST_FPS = (24, 30, 48, 60, 120)  # also played 1000/1001 times as fast
SHORTENED_FPS = 0.005  # what writing a rate with two or three decimals leaves off


class PreviewError(RuntimeError):
    """Something that keeps the clip from being made, in one line that says what would do: a message, with
    places for `values` if need be, in the language of whoever shows it.

    field is what of the request it is about (frame_range, size …), or empty.
    """

    def __init__(self, message: str, field: str = "", /, **values: Any) -> None:
        self.text = message if isinstance(message, Phrase) else phrase(message, **values)
        super().__init__(self.text)
        self.field = field


class FramesMissingError(PreviewError):
    """A clip can't be joined: frames from first to last, or some between, are not drawn yet."""

    def __init__(self, message: str, first: int, last: int, /, **values: Any) -> None:
        super().__init__(message, "join", **values)
        self.first, self.last = first, last


@frozen(kw_only=True)
class PreviewRequest:
    """A draft clip of a plan: which frames, how they are drawn, and where it goes.

    frame_range (first, last) counts from 1. With every N, only each Nth frame is drawn and stays N times as
    long, so that the clip lasts as it would. size is the picture's, in pixels, both even and in the clip's
    shape; a draft size, if None. title puts a title card before the clip; burn_in writes time, frame, sun and
    exposure into the pictures; beside shows another plan of as many frames to the right of this one. With
    join nothing is drawn: the clip is made of frames that earlier previews left, here or elsewhere, in the
    cache. cache is a folder for finished frames, by default the user's own; engine is Blender's name of one,
    by default what suits the look and the machine; jobs is how many processes draw, by default as many as
    help. Raises PreviewError where it can't be met.
    """

    plan: Plan
    output: Path
    look: str = FAST
    frame_range: tuple[int, int] | None = None
    every: int = 1
    size: tuple[int, int] | None = None
    title: bool = False
    burn_in: bool = False
    beside: Plan | None = field(default=None)
    join: bool = False
    cache: Path | None = None
    engine: str | None = None
    jobs: int | None = field(default=None)
    numbers: tuple[int, ...] = field(init=False)
    size_px: tuple[int, int] = field(init=False)

    @numbers.default
    def _numbers(self) -> tuple[int, ...]:
        return frame_numbers(self.plan, self.frame_range, self.every)

    @size_px.default
    def _size_px(self) -> tuple[int, int]:
        return picture_size(self.plan.clip, self.size, self.look)

    @beside.validator
    def _has_the_same_timing(self, _attribute: Any, other: Plan | None) -> None:
        plan = self.plan
        if other is None or (other.shoot.frames, other.clip.fps) == (plan.shoot.frames, plan.clip.fps):
            return
        ours, theirs = (
            phrase("{frames} frames at {fps:g} a second", frames=one.shoot.frames, fps=one.clip.fps)
            for one in (plan, other)
        )
        raise PreviewError(
            "{other} has {theirs} and {first} {ours}; side by side they must have the same",
            "beside",
            other=other.title or phrase("the other plan"),
            theirs=theirs,
            first=plan.title or phrase("the first"),
            ours=ours,
        )

    @jobs.validator
    def _is_a_number_of_processes(self, _attribute: Any, jobs: int | None) -> None:
        if jobs is not None and not 1 <= jobs <= MOST_JOBS:
            raise PreviewError(
                "{jobs} is not a number of processes from 1 to {most}", "jobs", jobs=jobs, most=MOST_JOBS
            )

    @property
    def fps(self) -> Fraction:
        """The clip's pace: slower where frames are left out."""
        return frame_rate(self.plan.clip.fps) / self.every


def frame_rate(fps: float) -> Fraction:
    """Frames a second as video has them: 23.976, 29.97 and 59.94 stand for 24, 30 and 60 times 1000/1001.

    SMPTE ST 12-1 for the rates; that two decimals (23.98) are meant so too is common practice, no source.
    """
    for whole in BROADCAST_FPS:
        if abs(fps - whole / 1.001) <= SHORTENED_FPS:
            return Fraction(1000 * whole, 1001)
    return Fraction(fps).limit_denominator(1001)


def frame_numbers(plan: Plan, frame_range: tuple[int, int] | None, every: int) -> tuple[int, ...]:
    """The frames to draw, counted from 1. Raises PreviewError."""
    first, last = frame_range or (1, plan.shoot.frames)
    if not 1 <= first <= last <= plan.shoot.frames:
        raise PreviewError(
            "{first}:{last} is not within the plan's frames, 1 to {frames}",
            "frame_range",
            first=first,
            last=last,
            frames=plan.shoot.frames,
        )
    if every < 1:
        raise PreviewError("{every} is not a whole number from 1", "every", every=every)
    return tuple(range(first, last + 1, every))


def picture_size(clip: Clip, size: tuple[int, int] | None, look: str) -> tuple[int, int]:
    """Width and height in pixels, even numbers in the clip's shape; a draft size by default. Raises
    PreviewError.
    """
    if look not in LOOKS:
        raise PreviewError(
            "{look} is not known; use one of: {known}", "look", look=look, known=", ".join(LOOKS)
        )
    if size is None:
        return size_in_shape(clip, min(DEFAULT_WIDTH_PX[look], clip.width_px + clip.width_px % 2))
    width, height = size
    given = f"{width}x{height}"
    if not (SMALLEST_PX <= width <= LARGEST_PX and SMALLEST_PX <= height <= LARGEST_PX):
        message = "{given} is outside {least} to {most} pixels a side"
        raise PreviewError(message, "size", given=given, least=SMALLEST_PX, most=LARGEST_PX)
    if width % 2 or height % 2:
        even = f"{width - width % 2}x{height - height % 2}"
        message = "{given} has an odd side, which video can't have; {even} would do"
        raise PreviewError(message, "size", given=given, even=even)
    if abs(height - width * clip.height_px / clip.width_px) > 2.0:
        wide, high = size_in_shape(clip, width)
        raise PreviewError(
            "{given} hasn't the clip's shape ({shape}); {fitting} has",
            "size",
            given=given,
            shape=f"{clip.width_px}x{clip.height_px}",
            fitting=f"{wide}x{high}",
        )
    return size


def full_size(clip: Clip) -> tuple[int, int]:
    """The clip's own size, even."""
    return clip.width_px - clip.width_px % 2, clip.height_px - clip.height_px % 2


def size_in_shape(clip: Clip, width: int) -> tuple[int, int]:
    """A width with the even height that goes with it in the clip's shape."""
    return width, max(2, 2 * round(width * clip.height_px / clip.width_px / 2.0))


def width_at(clip: Clip, height: int) -> int:
    """The even width that goes with a height in the clip's shape."""
    return max(2, 2 * round(height * clip.width_px / clip.height_px / 2.0))
