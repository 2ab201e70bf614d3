"""Numbers and counts as a person writes them."""

from __future__ import annotations

import math


def figure(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, never in powers of ten: 1370, 0.25, 0 for next to nothing."""
    value = float(value)
    if abs(value) < 1e-9:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def rounded_down(value: float) -> float:
    """The next smaller number that a person would set: in tenths from 1 on, to one digit below that."""
    unit = 0.1 if value >= 1.0 else 10.0 ** math.floor(math.log10(value))
    return round(math.floor(value / unit + 1e-9) * unit, 9)


def frame_count(count: int) -> str:
    """'1 frame' or '324 frames'."""
    return f"{count} frame{'s' * (count != 1)}"


def frames_text(frames: tuple[int, int]) -> str:
    """'Frame 12' or 'Frames 212–360'."""
    first, last = frames
    return f"Frame {first}" if first == last else f"Frames {first}–{last}"
