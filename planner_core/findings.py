"""What a review is made of: findings, and the small words and spans they are told with."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from attrs import asdict, field, frozen
from numpy.typing import NDArray

LEVELS = ("stop", "warn", "note")


@frozen(kw_only=True)
class Finding:
    """One thing a careful colleague would say: what, where, how much, what to do.

    frames is (first, last), counted from 1, or None where the finding is about the whole plan. blocks
    names those concerned, for selecting them; fit the option of the fit verb that would mend it.
    """

    code: str
    level: str
    message: str
    fix: str = ""
    frames: tuple[int, int] | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    blocks: tuple[str, ...] = ()
    fit: str = ""


@frozen(kw_only=True)
class Review:
    """What the plan comes to: a summary of numbers, and findings, the gravest first."""

    title: str
    summary: dict[str, Any] = field(factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def stops(self) -> bool:
        """Whether something must change before going out."""
        return any(finding.level == "stop" for finding in self.findings)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        rows = [
            {key: value for key, value in asdict(finding).items() if key not in ("blocks", "fit")}
            | {"frames": list(finding.frames) if finding.frames else None}
            for finding in self.findings
        ]
        return {"title": self.title, "summary": self.summary, "findings": rows}


def sort_findings(findings: list[Finding]) -> tuple[Finding, ...]:
    """The gravest first; within a level in the order in which they were found."""
    return tuple(sorted(findings, key=lambda finding: LEVELS.index(finding.level)))


def spans(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Runs of True in a (frames,) array as (first, last) frame numbers, counted from 1."""
    edges = np.flatnonzero(
        np.diff(np.concatenate([[False], np.asarray(mask, dtype=bool), [False]]).astype(np.int8))
    )
    return [(int(first) + 1, int(last)) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def span(mask: NDArray[np.bool_]) -> tuple[int, int] | None:
    """First and last frame number, counted from 1, where the mask is True; None where it never is."""
    places = np.flatnonzero(mask)
    return (int(places[0]) + 1, int(places[-1]) + 1) if len(places) else None


def frames_text(frames: tuple[int, int]) -> str:
    """'Frame 12' or 'Frames 212–360'."""
    first, last = frames
    return f"Frame {first}" if first == last else f"Frames {first}–{last}"


def figure(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, never in powers of ten: 1370, 0.25, 0 for next to nothing."""
    value = float(value)
    if abs(value) < 1e-9:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def frame_count(count: int) -> str:
    """'1 frame' or '324 frames'."""
    return f"{count} frame{'s' * (count != 1)}"


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
