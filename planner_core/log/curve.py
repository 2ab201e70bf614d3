"""The exposures of a log, frame by frame, to be laid over a plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.light.exposure import settings_ev100
from planner_core.log.compare import AsShot
from planner_core.plan.model import Plan, as_number

Array = NDArray[np.float64]

MOST_FRAMES = 100_000
SETTINGS = ("f_number", "shutter_s", "iso")


@frozen(kw_only=True, eq=False)
class Curve:
    """What a shoot was exposed with. f_number, shutter_s and iso are (frames,), NaN where a frame is missing
    or doesn't say; start_utc_s is the first frame by the camera's clock as corrected.
    """

    start_utc_s: float
    interval_s: float
    f_number: Array
    shutter_s: Array
    iso: Array

    def __len__(self) -> int:
        return len(self.f_number)

    @property
    def ev100(self) -> Array:
        """EV of the settings at ISO 100, (frames,)."""
        return settings_ev100(self.f_number, self.shutter_s, self.iso)

    def utc_s(self, row: int) -> float:
        """When a frame (from 0) was taken."""
        return self.start_utc_s + row * self.interval_s


def exposures(real: AsShot) -> dict[str, Any]:
    """The frames' exposures as plain values, None for what isn't known."""
    f_number, shutter_s, iso = real.settings
    return {
        "start": dt.datetime.fromtimestamp(float(real.frames.utc_s[0]), dt.UTC).isoformat(),
        "interval_s": real.plan.shoot.interval_s,
        "f_number": _known(f_number),
        "shutter_s": _known(shutter_s),
        "iso": _known(iso),
    }


def _known(values: Array) -> list[float | None]:
    return [None if np.isnan(value) else float(value) for value in values]


def curve_of(document: Any) -> Curve:
    """The curve in a log's plain values, as `log --json` tells them. Raises ValueError where they have
    none.
    """
    try:
        shown = document["as_shot"]
        columns = [_column(shown[name]) for name in SETTINGS]
        start = dt.datetime.fromisoformat(shown["start"])
        curve = Curve(
            start_utc_s=start.timestamp(),
            interval_s=as_number(shown["interval_s"]),
            **dict(zip(SETTINGS, columns, strict=True)),
        )
    except (KeyError, TypeError, AttributeError, OverflowError) as error:
        raise ValueError(f"no exposures of frames ({type(error).__name__})") from None
    if len({len(column) for column in columns}) > 1 or not len(curve):
        raise ValueError("columns that differ in length")
    if start.tzinfo is None or curve.interval_s <= 0.0:
        raise ValueError("no times")
    return curve


def _column(values: Any) -> Array:
    """Positive numbers, NaN for None."""
    if not isinstance(values, Sequence) or isinstance(values, str) or len(values) > MOST_FRAMES:
        raise TypeError
    column = np.array([np.nan if value is None else as_number(value) for value in values], dtype=np.float64)
    if np.any(column <= 0.0):
        raise TypeError
    return column


def off_plan_stops(curve: Curve, frames: FrameTable) -> Array:
    """How many stops brighter than the plan each of its frames was exposed, (frames,); NaN where that isn't
    known. Frame is compared with frame, whenever it was taken.
    """
    off = np.full(len(frames), np.nan)
    both = min(len(frames), len(curve))
    if frames.ramp is not None:
        planned = planned_ev100(frames)
        off[:both] = planned[:both] - curve.ev100[:both]
    return off


def planned_ev100(frames: FrameTable) -> Array:
    """EV of the plan's settings at ISO 100, (frames,); NaN without an exposure."""
    ramp = frames.ramp
    if ramp is None:
        return np.full(len(frames), np.nan)
    return settings_ev100(ramp.f_number, ramp.shutter_s, ramp.iso)


def is_far(curve: Curve, plan: Plan) -> bool:
    """Whether the log has other frames than the plan, by more than a tenth: perhaps it is another shot's."""
    return abs(len(curve) - plan.shoot.frames) > 0.1 * plan.shoot.frames
