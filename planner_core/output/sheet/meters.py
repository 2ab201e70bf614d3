"""What a meter reads on location if the light is the plan's: what the plan meters, and spot readings."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.timetable import Moment
from planner_core.frames import FrameTable

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class Meter:
    """What the plan's exposure is taken from, as somebody with a meter reads it, EV at ISO 100 (frames,).

    metered says what it is, `how` with what it is read; column is the readings' name in the FrameTable or in
    its readings.
    """

    metered: str
    how: str
    column: str
    ev100: Array


METERS = {
    "ground": ("the light in the open", "an incident meter", "scene_ev100"),
    "picture": ("the whole picture", "the camera’s meter, the sun covered", "metered_ev100"),
    "sky": ("the brightest part of the sky", "a spot meter", "sky_ev100"),
    "subject": ("the subject’s face", "a spot meter", "subject_ev100"),
}


def plan_meter(frames: FrameTable) -> Meter:
    """The meter that the plan's exposure follows; the picture's where there is no sky or no subject to read,
    and incident light for a plan without exposure.
    """
    limits = frames.plan.exposure
    for kind in (limits.meter if limits else "ground", "picture"):
        metered, how, column = METERS[kind]
        ev100 = reading(frames, column)
        if np.isfinite(ev100).all():
            break
    return Meter(metered=metered, how=how, column=column, ev100=ev100)


def reading(frames: FrameTable, column: str) -> Array:
    """A column of the FrameTable or of its readings, EV at ISO 100 (frames,), NaN where there is none."""
    source = frames if hasattr(frames, column) else frames.readings
    return np.asarray(getattr(source, column), dtype=np.float64)


@frozen(kw_only=True, eq=False)
class Spot:
    """What is read, and the readings' column."""

    off: str
    column: str
    ev100: Array


def spots(frames: FrameTable) -> tuple[Spot, ...]:
    """Spot readings of sky, ground and subject, and of an incident meter where the plan goes by another; what
    the picture hasn't got is left out.
    """
    named = [
        ("sky, brightest part", "sky_ev100"),
        ("level ground", "ground_ev100"),
        ("subject’s face", "subject_ev100"),
    ]
    if plan_meter(frames).column != "scene_ev100":
        named.append(("incident, in the open", "scene_ev100"))
    read = [Spot(off=off, column=column, ev100=reading(frames, column)) for off, column in named]
    return tuple(spot for spot in read if np.isfinite(spot.ev100).any())


def turns(frames: FrameTable, event: Moment | None) -> list[tuple[str, int]]:
    """Start, event and end: what they are called, and their frames, 0-based."""
    places = [("start", 0)]
    if event is not None and event.frame is not None and 1 < event.frame < len(frames):
        places.append((event.label.lower(), event.frame - 1))
    if len(frames) > 1:
        places.append(("end", len(frames) - 1))
    return places
