"""Lengths of time as a person says them."""

from __future__ import annotations


def to_the_second(seconds: float) -> str:
    """'1 h 3 min 17 s': a length of time of which every second counts."""
    whole = round(seconds)
    parts = ((whole // 3600, "h"), (whole // 60 % 60, "min"), (whole % 60, "s"))
    return " ".join(f"{count} {unit}" for count, unit in parts if count) or "0 s"


def minutes_text(seconds: float) -> str:
    """'8 min' or '1 h 5 min': a length of time in whole minutes, begun ones counted."""
    hours, minutes = divmod(-int(-seconds // 60), 60)
    return " ".join(f"{count} {unit}" for count, unit in ((hours, "h"), (minutes, "min")) if count) or "0 min"


def duration_text(seconds: float) -> str:
    """'1 h 35 min', '12 min', '2 min 30 s' or '45 s': a length of time as a person says it."""
    if seconds < 90.0:
        return f"{seconds:.0f} s" if seconds >= 9.95 or seconds == round(seconds) else f"{seconds:.1f} s"
    if round(seconds) < 600:
        whole, rest = divmod(round(seconds), 60)
        return f"{whole} min {rest} s" if rest else f"{whole} min"
    minutes = round(seconds / 60.0)
    hours, rest = divmod(minutes, 60)
    return f"{minutes} min" if minutes < 90 else f"{hours} h {rest} min" if rest else f"{hours} h"
