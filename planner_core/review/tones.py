"""Findings about what the sensor can't hold: highlights above white, and shadows below black.

Limits, ours: shares of the picture that a person sees as burnt out or as a black hole.

| finding | note | warn | stop |
|---|---|---|---|
| `highlights-lost`, share of the picture above white, without the discs of sun and moon | 0.03 | 0.1 | 0.75 |
| `shadows-lost`, share of the picture below black | 0.05 | 0.2 | 0.75 |

White is camera.headroom_stops above middle grey, black camera.range_stops below white.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from planner_core.draft.sky import picture_settings_ev100
from planner_core.frames import FrameTable, metered_ev100
from planner_core.light import daylight
from planner_core.light.exposure import (
    DEADBAND_STOPS,
    night_share,
    nominal_shutter_s,
    ramp_target_ev100,
    settings_ev100,
)
from planner_core.maths.runs import span
from planner_core.picture import graduated, metering, tones
from planner_core.plan.changes import Changes
from planner_core.plan.model import Exposure, Plan, field_range
from planner_core.plan.timeline import clock
from planner_core.review.findings import Finding, Quantity, Remedy, facts
from planner_core.review.remedies import SHORTEST_SHUTTER_S, less_light, proposes
from planner_core.review.summary import ToneNumbers

Array = NDArray[np.float64]

HIGHLIGHTS = {"note": 0.03, "warn": 0.1, "stop": 0.75}
SHADOWS = {"note": 0.05, "warn": 0.2, "stop": 0.75}
GRADUATED_STOPS = (1.0, 2.0, 3.0, 4.0)  # such filters are sold in; from memory
LIMITS_BIND_STOPS = 0.5
SIXTH_STOPS = 1.0 / 6.0  # half a step of a camera's

Kept = Callable[[Plan], bool]


def review_tones(plan: Plan, frames: FrameTable) -> tuple[list[Finding], ToneNumbers | None]:
    """Findings and summary numbers of this topic; none for a plan without exposure."""
    if frames.ramp is None:
        return [], None
    lost = tones.lost_tones(plan.camera, frames.readings.grid, picture_settings_ev100(frames))
    numbers = ToneNumbers(
        highlights_lost_most=float(lost.highlights.max()), shadows_lost_most=float(lost.shadows.max())
    )
    return [*_highlights(plan, frames, lost.highlights), *_shadows(plan, frames, lost.shadows)], numbers


def _highlights(plan: Plan, frames: FrameTable, lost: Array) -> Iterator[Finding]:
    ramp, limits = frames.ramp, plan.exposure
    if lost.max() < HIGHLIGHTS["note"] or ramp is None or limits is None:
        return
    worst = int(np.argmax(lost))
    settings = picture_settings_ev100(frames)
    over = tones.stops_over(plan.camera, frames.readings.grid, settings, HIGHLIGHTS["note"])
    limits_bind = bool(ramp.error_stops[worst] > LIMITS_BIND_STOPS)
    could_go_on = _within(ramp.shutter_s[worst], limits.shutter_min_s) or _within(
        ramp.iso[worst], limits.iso_min
    )
    yield _finding(
        "highlights-lost",
        plan,
        frames,
        lost,
        HIGHLIGHTS,
        facts(
            over=(float(over.max()), "stops"),
            headroom=(plan.camera.headroom_stops, "stops"),
            limits_bind=limits_bind,
            lags=limits_bind and could_go_on,
        ),
    )


def _shadows(plan: Plan, frames: FrameTable, lost: Array) -> Iterator[Finding]:
    ramp, limits = frames.ramp, plan.exposure
    if lost.max() < SHADOWS["note"] or ramp is None or limits is None:
        return
    worst = int(np.argmax(lost))
    limits_bind = bool(ramp.error_stops[worst] < -LIMITS_BIND_STOPS)
    could_go_on = _within(ramp.longest_shutter_s, ramp.shutter_s[worst]) or _within(
        limits.iso_max, ramp.iso[worst]
    )
    night = night_share(frames.scene_ev100, limits, plan.shoot.cloud_divisor)
    yield _finding(
        "shadows-lost",
        plan,
        frames,
        lost,
        SHADOWS,
        facts(
            range=(plan.camera.range_stops, "stops"),
            limits_bind=limits_bind,
            lags=limits_bind and could_go_on,
            lamps_unknown=limits.artificial_ev100 is None and bool(night[worst] > 0.5),
        ),
    )


def _finding(
    code: str,
    plan: Plan,
    frames: FrameTable,
    lost: Array,
    limits: dict[str, float],
    about: tuple[Quantity, ...],
) -> Finding:
    """Shares of the pictures that are lost, and what there is to say about the worst of them."""
    worst = int(np.argmax(lost))
    level, limit = _level(float(lost[worst]), limits)
    return Finding(
        code=code,
        level=level,
        frames=span(lost >= limits["note"]),
        value=float(lost[worst]),
        limit=limit,
        unit="share of the picture",
        facts=(
            *facts(
                share=float(lost[worst]),
                worst_frame=worst + 1,
                time=clock(float(frames.utc_s[worst]), plan.zone),
            ),
            *about,
        ),
    )


def _within(more: float, less: float) -> bool:
    """Whether one setting is that much more than another that a step lies between them."""
    return bool(math.log2(more / less) > SIXTH_STOPS)


def _level(fraction: float, limits: dict[str, float]) -> tuple[str, float]:
    """The gravest level whose limit is reached, and that limit."""
    reached = [(level, limit) for level, limit in limits.items() if fraction >= limit]
    return max(reached, key=lambda pair: pair[1])


# ---------------------------------------------------------------- what would put it right


class _Meant:
    """The same frames as another exposure means to take them: its filter, its meter, its looks."""

    def __init__(self, plan: Plan, frames: FrameTable) -> None:
        self.plan, self.frames = plan, frames
        self.behind: dict[float, metering.Readings] = {}
        self.metered: dict[tuple[float, str], Array | None] = {}
        self.edges_ev100: dict[tuple[float, float], Array] = {}

    def target_ev100(self, plan: Plan) -> Array:
        """The EV that the settings should have, (frames,)."""
        limits = _limits(plan)
        key = (limits.grad_stops, limits.meter)
        if key not in self.metered:
            readings = self._readings(plan)
            self.metered[key] = metered_ev100(plan, self.frames.scene_ev100, readings)
        return ramp_target_ev100(plan, self.frames.scene_ev100, self.metered[key])

    def over(self, plan: Plan, fraction: float) -> float:
        """Stops by which so much of a picture would be above white at most; negative for less."""
        white = self._read(self.target_ev100(plan)) + plan.camera.headroom_stops
        return float((self._edge_ev100(plan, 1.0 - fraction) - white).max())

    def under(self, plan: Plan, fraction: float) -> float:
        """Likewise below black."""
        white = self._read(self.target_ev100(plan)) + plan.camera.headroom_stops
        return float((white - plan.camera.range_stops - self._edge_ev100(plan, fraction)).max())

    def remedy(self, changes: Changes) -> Remedy:
        """What to set, and by how much frames get darker or brighter."""
        exposure = {path.removeprefix("exposure."): value for path, value in changes.items()}
        darker = self.target_ev100(_exposed(self.plan, **exposure)) - self.target_ev100(self.plan)
        most = {"darker": float(darker.max()), "brighter": float(-darker.min())}
        cost = facts(**{name: (stops, "stops") for name, stops in most.items() if stops > 0.05})
        return Remedy(changes=changes, cost=cost)

    def _read(self, values: Array) -> Array:
        """Those of the frames whose pictures were read."""
        return np.asarray(values[self.frames.readings.grid.at])

    def _readings(self, plan: Plan) -> metering.Readings:
        stops = _limits(plan).grad_stops
        if stops not in self.behind:
            known = self.frames.readings
            grid = metering.through_filter(plan, known.grid, self.frames)
            same = stops == _limits(self.plan).grad_stops
            self.behind[stops] = known if same else metering.readings_from(self.frames, grid)
        return self.behind[stops]

    def _edge_ev100(self, plan: Plan, fraction: float) -> Array:
        """The reading of what so much of each picture is darker than, (n,)."""
        key = (_limits(plan).grad_stops, fraction)
        if key not in self.edges_ev100:
            cells = self._readings(plan).grid.on_sensor_cd_m2
            edge = np.quantile(cells.reshape(len(cells), -1), fraction, axis=1)
            self.edges_ev100[key] = daylight.ev100_from_luminance(edge)
        return self.edges_ev100[key]


@proposes("highlights-lost", "shadows-lost")
def _other_light(plan: Plan, frames: FrameTable, finding: Finding) -> Iterator[Remedy]:
    """Another meter, look or filter; where a limit of the settings is in the way, with what moves that."""
    meant = _Meant(plan, frames)
    if finding.fact("limits_bind"):
        if finding.code == "highlights-lost":
            yield from _past_the_limits(plan, meant)
        return
    settings = _darker_settings if finding.code == "highlights-lost" else _brighter_settings
    yield from (meant.remedy(changes) for changes in settings(plan, meant))


def _darker_settings(plan: Plan, meant: _Meant) -> list[Changes]:
    """The single changes that would each bring the highlights under white, or else down to a note."""
    by = meant.over(plan, HIGHLIGHTS["note"]) + DEADBAND_STOPS
    meters = [meter for meter in ("picture", "sky") if meter != _limits(plan).meter]

    def enough(fraction: float) -> list[Changes]:
        def kept(other: Plan) -> bool:
            return meant.over(other, fraction) <= 0.0

        meter = next((each for each in meters if kept(_exposed(plan, meter=each))), None)
        metered: list[Changes] = [] if meter is None else [{"exposure.meter": meter}]
        return metered + _looks(plan, -by, kept) + _graduated(plan, meant.frames, kept)

    return enough(HIGHLIGHTS["note"]) or enough(HIGHLIGHTS["warn"])


def _past_the_limits(plan: Plan, meant: _Meant) -> Iterator[Remedy]:
    """A shorter shutter or a filter, so that frames come out as they are meant, and darker where that is too
    bright as well.
    """
    fine = meant.over(plan, HIGHLIGHTS["note"]) <= 0.0
    for first in [{}] if fine else _darker_settings(plan, meant):
        other = _exposed(plan, **{path.removeprefix("exposure."): value for path, value in first.items()})
        limits = _limits(other)
        least_ev100 = settings_ev100(limits.f_number, limits.shutter_min_s, limits.iso_min, limits.nd_stops)
        over = max(float(meant.target_ev100(other).max() - least_ev100), 0.0)
        less = less_light(limits, over)
        if less.shutter_s is not None:
            yield Remedy(changes=first | {"exposure.shutter_min_s": nominal_shutter_s(less.shutter_s)})
        yield Remedy(changes=first | {"exposure.nd_stops": less.nd_stops})
        by_shutter = math.log2(limits.shutter_min_s / SHORTEST_SHUTTER_S)
        if 0.0 < by_shutter < over:  # a filter costs the night as much as the day, so no more than is left
            rest = limits.nd_stops + math.ceil(over - by_shutter - 0.05)
            shortest = {"exposure.shutter_min_s": nominal_shutter_s(SHORTEST_SHUTTER_S)}
            yield Remedy(changes=first | shortest | {"exposure.nd_stops": rest})


def _brighter_settings(plan: Plan, meant: _Meant) -> list[Changes]:
    """The single changes that would each bring the shadows up, without burning out the highlights."""
    by = meant.under(plan, SHADOWS["note"]) + DEADBAND_STOPS

    def enough(fraction: float) -> list[Changes]:
        def kept(other: Plan) -> bool:
            burnt = meant.over(other, HIGHLIGHTS["warn"])
            return meant.under(other, fraction) <= 0.0 and burnt <= 0.0

        return _looks(plan, by, kept) + _graduated(plan, meant.frames, kept)

    return enough(SHADOWS["note"]) or enough(SHADOWS["warn"])


def _looks(plan: Plan, by_stops: float, kept: Kept) -> list[Changes]:
    """The day look changed by about so many stops, and the night look: a look that is on its way from one to
    the other has to change by more.
    """
    looks: list[Changes] = []
    for field in ("day_look_stops", "night_look_stops"):
        low, high = field_range(Exposure, field)
        for more in (1.0, 1.5, 2.0):
            look = round(getattr(_limits(plan), field) + _away(more * by_stops), 1)
            if low <= look <= high and kept(_exposed(plan, **{field: look})):
                looks.append({f"exposure.{field}": look})
                break
    return looks


def _away(stops: float) -> float:
    """Stops to a tenth, away from 0."""
    return math.copysign(math.ceil(abs(stops) * 10.0 - 1e-6) / 10.0, stops)


def _graduated(plan: Plan, frames: FrameTable, kept: Kept) -> list[Changes]:
    """The weakest graduated filter that does, where the horizon stays within its soft edge."""
    if not graduated.horizon_stays(plan, frames.lens_altitude_deg):
        return []
    for stops in GRADUATED_STOPS:
        if stops > _limits(plan).grad_stops and kept(_exposed(plan, grad_stops=stops)):
            return [{"exposure.grad_stops": stops}]
    return []


def _limits(plan: Plan) -> Exposure:
    assert plan.exposure is not None
    return plan.exposure


def _exposed(plan: Plan, **exposure: Any) -> Plan:
    """The plan with other values in its exposure."""
    return attrs.evolve(plan, exposure=attrs.evolve(_limits(plan), **exposure))
