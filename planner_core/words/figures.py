"""Numbers and counts as a person writes them."""

from __future__ import annotations

import math

from planner_core.words.language import say


def figure(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, never in powers of ten: 1370, 0.25, 0 for next to nothing."""
    value = float(value)
    if abs(value) < 1e-9:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def percent(fraction: float) -> str:
    """A share as a person reads it: 3 %, 0.4 %."""
    value = float(fraction) * 100.0
    return f"{value:.0f} %" if abs(value) >= 1.0 or value == 0.0 else f"{value:.1f} %"


def rounded_down(value: float) -> float:
    """The next smaller number that a person would set: in tenths from 1 on, to one digit below that."""
    unit = 0.1 if value >= 1.0 else 10.0 ** math.floor(math.log10(value))
    return round(math.floor(value / unit + 1e-9) * unit, 9)


def frame_count(count: int) -> str:
    """'1 frame' or '324 frames'."""
    return say("1 frame") if count == 1 else say("{count} frames", count=count)


def frames_text(frames: tuple[int, int]) -> str:
    """'Frame 12' or 'Frames 212–360'."""
    first, last = frames
    if first == last:
        return say("Frame {first}", first=first)
    return say("Frames {first}–{last}", first=first, last=last)
