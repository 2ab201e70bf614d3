"""The finding about lamps on the mains: exposures too short to even out their pulses.

Limits, ours: stops between neighbouring frames at which a flicker is seen (note) and spoils a clip (warn).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.light import daylight, mains
from planner_core.light.exposure import (
    narrower_f_number,
    next_third,
    nominal_shutter_s,
)
from planner_core.maths.runs import span
from planner_core.plan.changes import Changes
from planner_core.plan.model import Exposure, Plan
from planner_core.plan.timeline import clock
from planner_core.review.findings import Finding, Remedy, facts

Array = NDArray[np.float64]

FLICKER_NOTE_STOPS, FLICKER_WARN_STOPS = 0.1, 0.3
MODULATION = 0.5  # half of what a lamp does that goes out between its pulses: common lamps; from memory
SMALLEST_GOOD_F_NUMBER = 11.0


def review_mains(plan: Plan, frames: FrameTable) -> list[Finding]:
    """The finding, for a plan with lamps and an exposure whose frames they light."""
    limits, ramp = plan.exposure, frames.ramp
    hz = mains.mains_hz(plan)
    if limits is None or ramp is None or limits.artificial_ev100 is None or hz <= 0.0 or len(frames) < 2:
        return []
    lamps = _lamp_share(frames, limits.artificial_ev100)
    flicker = mains.flicker_stops(ramp.shutter_s, hz, MODULATION * lamps)
    where = span(flicker > FLICKER_NOTE_STOPS)
    if where is None:
        return []
    worst = int(np.argmax(flicker))
    warn = bool(flicker[worst] > FLICKER_WARN_STOPS)
    even_s = mains.even_enough_s(hz, MODULATION * float(lamps[worst]), FLICKER_NOTE_STOPS)
    stops = math.log2(max(even_s / float(ramp.shutter_s[worst]), 1.0))
    return [
        Finding(
            code="mains-flicker",
            level="warn" if warn else "note",
            frames=where,
            value=float(flicker[worst]),
            limit=FLICKER_WARN_STOPS if warn else FLICKER_NOTE_STOPS,
            unit="stops",
            facts=facts(
                hz=(hz, "Hz"),
                given=limits.mains_hz is not None,
                shutter=(float(ramp.shutter_s[worst]), "s"),
                worst_frame=worst + 1,
                time=clock(float(frames.utc_s[worst]), plan.zone),
                lamp_share=float(lamps[worst]),
                even=(even_s, "s"),
            ),
            remedies=_longer(limits, stops, even_s),
        )
    ]


def _lamp_share(frames: FrameTable, artificial_ev100: float) -> Array:
    """How much of each frame's light comes from lamps, (frames,)."""
    lamps_lux = daylight.lux_from_ev100(artificial_ev100)
    return np.asarray(lamps_lux / (lamps_lux + frames.illuminance_lux))


def _longer(limits: Exposure, stops: float, even_s: float) -> tuple[Remedy, ...]:
    """What makes exposures under the lamps longer: the ramp's order, its longest, the aperture, ND."""
    changes: list[Changes] = []
    if limits.ramp_order == "iso-first":
        changes.append({"exposure.ramp_order": "shutter-first"})
    if limits.shutter_max_s < even_s:
        changes.append({"exposure.shutter_max_s": nominal_shutter_s(next_third(even_s, 1.0))})
    stopped = narrower_f_number(limits.f_number * 2.0 ** (stops / 2.0))
    if stopped is not None and stopped <= SMALLEST_GOOD_F_NUMBER:
        changes.append({"exposure.f_number": stopped})
    changes.append({"exposure.nd_stops": limits.nd_stops + math.ceil(stops)})
    return tuple(Remedy(changes=each) for each in changes)
