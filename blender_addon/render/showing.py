"""What a client is shown beside the plain clip: burnt-in words, a title card, a contact sheet."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from planner_core.frames import FrameTable
from planner_core.light import exposure
from planner_core.plan.model import Plan
from planner_core.plan.timeline import clock, local_datetime
from planner_core.words.dates import day_words

from . import pictures

TITLE_S = 1.5
GAP_PX = 6
CONTACT_PICTURES, CONTACT_COLUMNS = 9, 3
MINUS = "\N{MINUS SIGN}"


def frame_words(frames: FrameTable, number: int, label: str = "") -> tuple[str, str]:
    """A frame, counted from 1, in words: when and where the sun is, and how it is exposed."""
    frame = number - 1
    altitude = f"{frames.sun_altitude_deg[frame]:.1f}".replace("-", MINUS)
    when = clock(float(frames.utc_s[frame]), frames.plan.zone, seconds=frames.plan.shoot.interval_s < 60.0)
    left = [*([label] if label else []), f"frame {number}", when, f"sun {altitude}°"]
    ramp = frames.ramp
    if ramp is None:
        return "   ".join(left), ""
    right = [
        exposure.f_number_label(float(ramp.f_number[frame])),
        exposure.shutter_label(float(ramp.shutter_s[frame])),
        exposure.iso_label(float(ramp.iso[frame])),
    ]
    off = float(ramp.error_stops[frame])
    if abs(off) >= 0.5:
        right.append(f"{abs(off):.1f} stops too {'bright' if off > 0 else 'dark'}")
    return "   ".join(left), "   ".join(right)


def burnt_in(frames: FrameTable, number: int, path: Path) -> pictures.Picture:
    """A finished frame with its words along its foot."""
    return pictures.captioned(pictures.read_picture(path), *frame_words(frames, number))


def title_card(plan: Plan, frames: FrameTable, size_px: tuple[int, int]) -> pictures.Picture:
    """Title, reason, place and day on a plain card."""
    day = day_words(local_datetime(float(frames.utc_s[0]), plan.zone).date(), year=True)
    lines = [(plan.title or "Draft clip", 0.085), (" ", 0.02)]
    if plan.reason:
        lines.append((plan.reason, 0.036))
    lines.append((", ".join(word for word in (plan.site.name, day) if word), 0.036))
    return pictures.title_card(size_px, lines)


def title_frames(fps: float) -> int:
    """For how many frames a title card stands."""
    return max(1, round(TITLE_S * fps))


def contact_frames(shown: Sequence[tuple[int, str]], count: int) -> list[tuple[int, str]]:
    """Frames of a contact sheet with their labels, in order: those given, and others evenly between them."""
    labels = dict(shown)
    while len(labels) < min(CONTACT_PICTURES, count):
        places = sorted(labels)
        before, after = max(pairwise(places), key=lambda pair: pair[1] - pair[0])
        labels[(before + after) // 2] = ""
    return sorted(labels.items())


def contact_sheet(
    frames: FrameTable, shown: Sequence[tuple[int, str]], paths: Sequence[Path]
) -> pictures.Picture:
    """Finished frames in rows, each with its words; a row's worth and fewer stand in one row."""
    labelled = []
    for (number, label), path in zip(shown, paths, strict=True):
        words = frame_words(frames, number, label)
        labelled.append(pictures.captioned(pictures.read_picture(path), *words))
    return pictures.grid(labelled, min(CONTACT_COLUMNS, len(labelled)), GAP_PX)
