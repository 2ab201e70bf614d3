"""What a log teaches: the cloud there was, the light of lamps, the real interval, time to write and settle.

Cloud and lamps are those for which the light model asks for the exposures that the camera took, by least
squares over the frames that no limit of the camera held. What the frames can't tell is None.
"""

from __future__ import annotations

import math
from functools import cached_property

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable, compute_frames
from planner_core.log.compare import AsShot
from planner_core.log.sequence import ShotSequence
from planner_core.maths.least_squares import solve
from planner_core.plan.model import Plan, PlanError, field_range
from planner_core.plan.model import Shoot as ShootPart

Array = NDArray[np.float64]

MOST_FRAMES = 100  # looked at; the light changes slowly
FEWEST_FRAMES = 8
AT_LIMIT_STOPS = 0.2  # a frame this near to the camera's last setting may have been held there
STEP_STOPS = 1.0 / 3.0  # a camera sets thirds: their scatter is a third over the root of twelve
DARKEST_LAMPS, BRIGHTEST_LAMPS = -12.0, 12.0
CERTAIN_CLOUD_STOPS, CERTAIN_LAMPS_EV = 0.35, 0.7  # known less well, it isn't told


@frozen(kw_only=True)
class Learned:
    """A value with one standard deviation, in its unit."""

    value: float
    deviation: float


@frozen(kw_only=True)
class Lessons:
    """What the log says of the plan's fields; None where it can't tell."""

    interval_s: Learned
    cloud_divisor: Learned | None = None
    artificial_ev100: Learned | None = None
    overhead_s: Learned | None = None


def lessons(shot: ShotSequence, real: AsShot) -> Lessons:
    """Everything that the sequence can teach."""
    cloud, lamps = _light(real)
    return Lessons(
        interval_s=Learned(value=shot.interval_s, deviation=shot.interval_deviation_s),
        cloud_divisor=cloud,
        artificial_ev100=lamps,
        overhead_s=_overhead(shot),
    )


def taught(plan: Plan, learned: Lessons, source: str) -> Plan:
    """The plan with what was learned, saying so in its notes. Raises PlanError for a value it can't have."""
    shoot = attrs.evolve(plan.shoot, interval_s=round(learned.interval_s.value, 3))
    said = [f"interval {learned.interval_s.value:.3f} s"]
    exposure = plan.exposure
    if learned.cloud_divisor is not None:
        shoot = attrs.evolve(shoot, cloud_divisor=round(learned.cloud_divisor.value, 2))
        said.append(f"cloud divisor {learned.cloud_divisor.value:.2f}")
    if learned.artificial_ev100 is not None and exposure is not None:
        exposure = attrs.evolve(exposure, artificial_ev100=round(learned.artificial_ev100.value, 2))
        said.append(f"artificial light EV {learned.artificial_ev100.value:.1f}")
    if learned.overhead_s is not None:
        write = max(learned.overhead_s.value - plan.rig.settle_s, 0.0)
        shoot = attrs.evolve(shoot, write_s=round(write, 2))
        said.append(f"{learned.overhead_s.value:.1f} s to write and settle")
    return attrs.evolve(plan, shoot=shoot, exposure=exposure, notes=_noted(plan.notes, source, said))


def _noted(notes: object, source: str, said: list[str]) -> object:
    line = f"From the log of {source}: {', '.join(said)}."
    if notes is None or notes == "":
        return line
    return f"{notes}\n{line}" if isinstance(notes, str) else {"notes": notes, "log": line}


# ---------------------------------------------------------------- light


def _light(real: AsShot) -> tuple[Learned | None, Learned | None]:
    """Cloud divisor and artificial light."""
    if real.plan.exposure is None:
        return None, None
    sample = _Sample.of(real)
    if len(sample.rows) < FEWEST_FRAMES:
        return None, None
    low, high = field_range(ShootPart, "cloud_divisor")
    lamps = real.plan.exposure.artificial_ev100
    start = np.array([math.log2(real.plan.shoot.cloud_divisor), lamps if lamps is not None else -4.0])

    def residuals(values: Array) -> Array:
        cloud = float(np.clip(2.0 ** values[0], low, high))
        # beyond the limits light goes on as it does within them, so that a search is turned back
        beyond = values[0] - math.log2(cloud)
        light = float(np.clip(values[1], DARKEST_LAMPS, BRIGHTEST_LAMPS))
        return sample.off_stops(cloud, light) - beyond

    solution = solve(residuals, start, np.array([0.02, 0.05]), settled=1e-4)
    if np.abs(solution.values[0] - start[0]) < 1e-9 and not np.isfinite(solution.cofactor).all():
        return None, None
    free = max(len(sample.rows) - 2, 1)
    scatter = max(math.sqrt(solution.sum_of_squares / free), STEP_STOPS / math.sqrt(12.0))
    deviation = scatter * np.sqrt(np.maximum(np.diag(solution.cofactor), 0.0))
    cloud = float(np.clip(2.0 ** solution.values[0], low, high))
    of_cloud, of_lamps = (float(value) for value in deviation)
    return (
        Learned(value=cloud, deviation=cloud * math.log(2.0) * of_cloud)
        if of_cloud < CERTAIN_CLOUD_STOPS
        else None,
        Learned(value=float(solution.values[1]), deviation=of_lamps) if of_lamps < CERTAIN_LAMPS_EV else None,
    )


@frozen(kw_only=True, eq=False, slots=False)
class _Sample:
    """Some of the frames: the plan that takes only those, and the EV that the camera took for each."""

    plan: Plan
    known: FrameTable
    rows: NDArray[np.intp]
    taken_ev100: Array

    @classmethod
    def of(cls, real: AsShot) -> _Sample:
        every = max(-(-len(real.frames) // MOST_FRAMES), 1)
        shoot = real.plan.shoot
        count = (shoot.frames - 1) // every + 1
        plan = attrs.evolve(
            real.plan, shoot=attrs.evolve(shoot, frames=count, interval_s=shoot.interval_s * every)
        )
        taken = real.taken_ev100[::every][:count]
        return cls(
            plan=plan, known=compute_frames(plan), rows=_free_of_limits(plan, taken), taken_ev100=taken
        )

    def off_stops(self, cloud_divisor: float, artificial_ev100: float) -> Array:
        """How much more light the model asks the camera to stop down for than it did, frame by frame."""
        assert self.plan.exposure is not None
        exposure = attrs.evolve(self.plan.exposure, artificial_ev100=artificial_ev100)
        shoot = attrs.evolve(self.plan.shoot, cloud_divisor=cloud_divisor)
        ramp = compute_frames(attrs.evolve(self.plan, exposure=exposure, shoot=shoot), self.known).ramp
        assert ramp is not None
        return (ramp.target_ev100 - self.lag_stops - self.taken_ev100)[self.rows]

    @cached_property
    def lag_stops(self) -> float:
        """How far settings stay behind their target on average: a ramp steps only when a step is due."""
        ramp = self.known.ramp
        return float(np.mean(ramp.error_stops[self.rows])) if ramp is not None and len(self.rows) else 0.0


def _free_of_limits(plan: Plan, taken_ev100: Array) -> NDArray[np.intp]:
    """Frames whose settings weren't the camera's first or last."""
    from planner_core.light.exposure import settings_ev100

    limits = plan.exposure
    assert limits is not None
    brightest = float(settings_ev100(limits.f_number, limits.shutter_min_s, limits.iso_min)) + limits.nd_stops
    longest = min(limits.shutter_max_s, plan.shoot.interval_s)
    darkest = float(settings_ev100(limits.f_number, longest, limits.iso_max))
    with np.errstate(invalid="ignore"):
        inside = (taken_ev100 < brightest - AT_LIMIT_STOPS) & (taken_ev100 > darkest + AT_LIMIT_STOPS)
    return np.flatnonzero(inside)


# ---------------------------------------------------------------- time


def _overhead(shot: ShotSequence) -> Learned | None:
    """Time between a shutter's closing and the next one's opening, where exposures held the interval up."""
    by_number = dict(zip(shot.number.tolist(), shot.frames, strict=True))
    waits = []
    for number, one in by_number.items():
        after = by_number.get(number + 1)
        if after is None or not one.shutter_s or one.clock_s is None or after.clock_s is None:
            continue
        gap = after.clock_s - one.clock_s
        if gap > shot.interval_s + max(1.0, 0.1 * shot.interval_s) and one.shutter_s > 0.5 * shot.interval_s:
            waits.append(gap - one.shutter_s)
    if len(waits) < 3:
        return None
    return Learned(value=float(np.median(waits)), deviation=float(np.std(waits) / math.sqrt(len(waits))))


__all__ = ["Learned", "Lessons", "PlanError", "lessons", "taught"]
