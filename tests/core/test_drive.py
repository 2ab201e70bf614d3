"""The rig at work: a move that the review accepts arrives at each frame on a rig simulated step by step."""

from __future__ import annotations

import math

import attrs
import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicHermiteSpline

from planner_core import compute_frames
from planner_core.plan.model import Plan, Pose, SlideAxis, TurnAxis
from planner_core.review.rig import review_topic
from planner_core.rig import drive
from planner_core.rig.axes import AxisPositions
from tests.moves import (
    PAN,
    QUAY,
    SLIDE,
    bare_rig,
    move_of,
    panning,
    sliding,
    with_move,
    with_rig,
    with_shoot,
    with_slide,
)
from tests.present import present

SLIDE_LIMITS = drive.AxisLimits(
    name="slide_m",
    label="slide",
    unit="m",
    low=0.0,
    high=1.5,
    max_speed=0.04,
    max_acceleration=0.04,
    step=1e-5,
)


def axes(plan: Plan) -> AxisPositions:
    frames = compute_frames(plan)
    return frames.axes


# ---------------------------------------------------------------- time


@pytest.mark.parametrize(
    ("distance", "seconds"),
    [(0.0, 0.0), (0.01, 1.0), (-0.01, 1.0), (0.04, 2.0), (0.4, 11.0)],
)
def test_move_times_by_hand(distance: float, seconds: float) -> None:
    # 2·√(d/a) up to v²/a = 0.04 m, from there d/v + v/a, with v = 0.04 m/s and a = 0.04 m/s²
    assert drive.move_time_s(distance, 0.04, 0.04) == pytest.approx(seconds)


@given(st.floats(0.0, 1e3), st.floats(0.0, 1e3), st.floats(1e-3, 1e2), st.floats(1e-3, 1e2))
def test_a_longer_way_never_takes_less_time(
    one: float, other: float, speed: float, acceleration: float
) -> None:
    near, far = sorted([one, other])
    assert drive.move_time_s(near, speed, acceleration) <= drive.move_time_s(far, speed, acceleration) * (
        1 + 1e-12
    )


@pytest.mark.parametrize(("speed", "acceleration"), [(0.0, 1.0), (1.0, 0.0), (-1.0, 1.0)])
def test_an_axis_without_speed_or_acceleration_is_refused(speed: float, acceleration: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        drive.move_time_s(1.0, speed, acceleration)


def test_the_interval_leaves_what_writing_moving_and_settling_don_t_take() -> None:
    # 479 equal moves of 1.6 mm and a step more: 2·√(0.00168/0.04) s by hand
    plan = with_move(sliding(QUAY, 0.1, 0.1 + 479 * 0.0016), ease=0.0)
    left = drive.exposure_time_left_s(plan, axes(plan))
    move = 2.0 * math.sqrt((0.0016 + 1e-5) / 0.04)
    assert left == pytest.approx(np.full(480, 12.0 - 1.0 - 0.8 - move), rel=1e-9)
    assert drive.time_needed_s(plan, axes(plan), 2.0) == pytest.approx(2.0 + 1.0 + 0.8 + move)


def test_the_slowest_axis_sets_the_time() -> None:
    plan = with_move(QUAY, ease=0.0)
    together = drive.frame_move_times_s(plan, axes(plan))
    alone = [drive.axis_move_times_s(axis, position) for axis, position in drive.motorised(plan, axes(plan))]
    assert np.array_equal(together, np.max(alone, axis=0))
    assert len(alone) == 3


def test_a_still_camera_loses_no_time_to_settling() -> None:
    plan = attrs.evolve(QUAY, rig=bare_rig(QUAY), move=move_of(Pose(at=0.0)))
    assert np.all(drive.exposure_time_left_s(plan, AxisPositions()) == 11.0)
    resting = sliding(QUAY, 0.5, 0.5)
    assert np.all(drive.exposure_time_left_s(resting, axes(resting)) == 11.0)


def test_a_continuous_drive_only_has_to_write() -> None:
    plan = with_move(QUAY, drive="continuous")
    assert np.all(drive.exposure_time_left_s(plan, axes(plan)) == 11.0)


def test_a_single_frame_has_time() -> None:
    plan = with_shoot(QUAY, frames=1)
    assert drive.exposure_time_left_s(plan, axes(plan)) == pytest.approx([11.0])


# ---------------------------------------------------------------- steps


@given(st.floats(0.0, 1.5), st.floats(1e-6, 0.1))
def test_an_axis_stands_on_the_nearest_step_inside_its_range(position: float, step: float) -> None:
    axis = attrs.evolve(SLIDE_LIMITS, step=step)
    standing = float(drive.standing_positions(axis, position))
    assert 0.0 <= standing <= 1.5 + 1e-12
    assert abs(standing / step - round(standing / step)) < 1e-6
    half = step / 2.0 if position <= 1.5 - step else step  # its upper end may lie between two steps
    assert abs(standing - position) <= half + 1e-12


def test_frames_that_are_too_near_for_a_step_stand_still() -> None:
    # 2 mm steps, 0.5 mm from frame to frame: three of four frames don't move
    plan = with_move(with_shoot(with_slide(QUAY, step_m=0.002), frames=401), ease=0.0)
    plan = sliding(plan, 0.2, 0.4)
    skipped = drive.skipped_frames(next(iter(drive.axis_limits(plan))), present(axes(plan).slide_m))
    assert np.count_nonzero(skipped) == pytest.approx(300, abs=1)


def test_motors_stand_near_where_they_should() -> None:
    for axis, planned in drive.motorised(QUAY, axes(QUAY)):
        real = drive.standing_positions(axis, planned)
        assert 0.0 < np.abs(planned - real).max() <= axis.step / 2.0 + 1e-12


# ---------------------------------------------------------------- continuous rates


@given(st.lists(st.floats(-1.0, 1.0), min_size=2, max_size=9), st.floats(0.1, 20.0))
def test_rates_are_those_of_the_cubic_through_the_frames(positions: list[float], interval: float) -> None:
    # against scipy's cubic Hermite spline, sampled finely
    position = np.array(positions)
    knots = np.arange(len(position)) * interval
    mean = np.diff(position) / interval
    slopes = np.concatenate([[0.0], (mean[1:] + mean[:-1]) / 2.0, [0.0]])
    curve = CubicHermiteSpline(knots, position, slopes)
    speed, acceleration = drive.drive_rates(position, interval)
    for place in range(len(position) - 1):
        at = np.linspace(knots[place], knots[place + 1] - 1e-9 * interval, 401)
        assert np.abs(curve(at, 1)).max() == pytest.approx(speed[place], rel=1e-4, abs=1e-9)
        assert np.abs(curve(at, 2)).max() == pytest.approx(acceleration[place], rel=1e-2, abs=1e-9)


def test_a_steady_drive_runs_at_the_travel_over_the_time() -> None:
    plan = with_move(sliding(QUAY, 0.1, 0.1 + 479 * 0.0012), drive="continuous", ease=0.0)
    speed, acceleration = drive.drive_rates(present(axes(plan).slide_m), 12.0)
    assert speed[5:-5] == pytest.approx(np.full(469, 0.0001))
    assert acceleration[5:-5] == pytest.approx(np.zeros(469), abs=1e-12)


def test_one_frame_has_no_rates() -> None:
    assert [len(rate) for rate in drive.drive_rates(np.array([0.3]), 5.0)] == [0, 0]


# ---------------------------------------------------------------- a rig simulated step by step


def shoot_move_shoot_arrives(plan: Plan) -> bool:
    """A rig that opens, closes, writes, moves step by step, and must be in place and settled in time."""
    frames = compute_frames(plan)
    opens, shutter = 0.0, present(frames.ramp).wanted_shutter_s
    positions = (frames.slide_m, frames.pan_deg, frames.tilt_deg)
    moves_at_all = any(np.ptp(values) > 0.0 for values in positions if values is not None)
    motors = [
        Motor(attrs.astuple(limits), present(planned))
        for limits, planned in zip((plan.rig.slide, plan.rig.pan, plan.rig.tilt), positions, strict=True)
        if limits is not None
    ]
    for place in range(1, len(frames)):
        clock = opens + shutter[place - 1] + plan.shoot.write_s
        clock += max((motor.go_to(place) for motor in motors), default=0.0)
        clock += plan.rig.settle_s if moves_at_all else 0.0
        opens += plan.shoot.interval_s
        if clock > opens + 1e-6 or not all(motor.within_a_step(place) for motor in motors):
            return False
    return True


class Motor:
    """A stepping motor that counts its steps from its lower end, and the time that each of them takes."""

    def __init__(self, limits: tuple[float, ...], planned: np.ndarray) -> None:
        self.low, _, self.top_speed, self.push, self.step = limits
        self.planned = planned
        self.steps = self.nearest(0)

    def nearest(self, place: int) -> int:
        return round((self.planned[place] - self.low) / self.step)

    def within_a_step(self, place: int) -> bool:
        here = self.low + self.steps * self.step
        return bool(abs(here - self.planned[place]) <= self.step * (1.0 + 1e-9))

    def go_to(self, place: int) -> float:
        """Seconds until it rests there: each little bit of the way as fast as starting and stopping allow."""
        steps = abs(self.nearest(place) - self.steps)
        self.steps = self.nearest(place)
        length, run_up = steps * self.step, self.top_speed**2 / (2.0 * self.push)
        marks = np.clip([run_up, length - run_up], 0.0, length)
        way = np.union1d(np.linspace(0.0, length, 401), marks)
        pace = np.sqrt(2.0 * self.push * np.minimum(way, length - way)).clip(max=self.top_speed)
        return float(np.sum(2.0 * np.diff(way) / (pace[1:] + pace[:-1]))) if steps else 0.0


def continuous_drive_arrives(plan: Plan) -> bool:
    """A rig that follows the line through its frames, tick by tick, as far as its limits let it."""
    frames = compute_frames(plan)
    interval, ticks = plan.shoot.interval_s, 100
    for name, limits in (("slide_m", plan.rig.slide), ("pan_deg", plan.rig.pan), ("tilt_deg", plan.rig.tilt)):
        if limits is None:
            continue
        _, _, top_speed, push, step = attrs.astuple(limits)
        planned = getattr(frames, name)
        mean = np.diff(planned) / interval
        slopes = np.concatenate([[0.0], (mean[1:] + mean[:-1]) / 2.0, [0.0]])
        line = CubicHermiteSpline(np.arange(len(planned)) * interval, planned, slopes)
        tick = interval / ticks
        wanted = line(np.arange(1, (len(planned) - 1) * ticks + 1) * tick).tolist()
        here, speed = float(planned[0]), 0.0
        for count, there in enumerate(wanted, start=1):
            aim = 2.0 * (there - here) / tick - speed  # the speed at the tick's end that puts it there
            faster = min(max(aim, speed - push * tick, -top_speed), speed + push * tick, top_speed)
            here += (speed + faster) / 2.0 * tick
            speed = faster
            if count % ticks == 0 and abs(here - planned[count // ticks]) > step:
                return False
    return True


@st.composite
def random_plans(draw: st.DrawFn, base: Plan, drive_name: str) -> Plan:
    """Random rigs and poses, with an interval about as long as the rig's limits ask for."""
    travel = draw(st.floats(0.02, 1.4))
    speed, push = draw(st.floats(0.005, 0.2)), draw(st.floats(0.005, 0.5))
    slide = SlideAxis(
        min_m=0.0,
        max_m=1.5,
        max_speed_m_s=speed,
        max_acceleration_m_s2=push,
        step_m=draw(st.sampled_from([1e-4, 1e-3])),
    )
    turn = TurnAxis(
        min_deg=200.0,
        max_deg=340.0,
        max_speed_deg_s=draw(st.floats(0.5, 20.0)),
        max_acceleration_deg_s2=draw(st.floats(0.5, 40.0)),
        step_deg=draw(st.sampled_from([0.01, 0.1])),
    )
    has_pan = draw(st.booleans())
    places = [0.0, *sorted(draw(st.sets(st.floats(0.1, 0.9), max_size=2))), 1.0]
    poses = tuple(
        Pose(
            at=at,
            slide_m=draw(st.floats(0.0, travel)),
            pan_deg=draw(st.floats(210.0, 330.0)) if has_pan else None,
        )
        for at in places
    )
    rig = attrs.evolve(
        bare_rig(base, slide=slide, pan=turn if has_pan else None), settle_s=draw(st.floats(0.0, 2.0))
    )
    move = move_of(*poses, ease=draw(st.floats(0.0, 0.5)), drive=drive_name)
    plan = attrs.evolve(base, rig=rig, move=move, blocks=())
    plan = with_shoot(
        plan, frames=draw(st.integers(2, 9)), write_s=draw(st.floats(0.0, 2.0)), interval_s=10.0
    )
    factor = draw(st.floats(0.9, 1.2))
    if drive_name == "shoot-move-shoot":
        frames = compute_frames(plan)
        needed = drive.time_needed_s(plan, axes(plan), present(frames.ramp).wanted_shutter_s)
        return with_shoot(plan, interval_s=float(needed.max()) * factor)
    return with_shoot(plan, interval_s=slowest_interval_s(plan) * factor)


def slowest_interval_s(plan: Plan) -> float:
    longest = plan.shoot.write_s + 1.0
    for axis, position in drive.motorised(plan, axes(plan)):
        speed, acceleration = drive.drive_rates(position, 1.0)
        longest = max(
            longest, speed.max() / axis.max_speed, math.sqrt(acceleration.max() / axis.max_acceleration)
        )
    return longest


def accepted(plan: Plan) -> bool:
    findings, _ = review_topic(plan, compute_frames(plan))
    return not any(f.code.startswith("axis-") or f.code == "interval-too-short" for f in findings)


@pytest.mark.once
@settings(max_examples=60)
@given(st.data())
def test_a_shoot_move_shoot_plan_without_findings_arrives_at_every_frame_in_time(data: st.DataObject) -> None:
    plan = data.draw(random_plans(QUAY, "shoot-move-shoot"))
    if not accepted(plan):
        event("refused")
        return
    event("accepted")
    assert shoot_move_shoot_arrives(plan)


@pytest.mark.once
@settings(max_examples=60)
@given(st.data())
def test_a_continuous_plan_without_findings_arrives_at_every_frame(data: st.DataObject) -> None:
    plan = data.draw(random_plans(QUAY, "continuous"))
    if not accepted(plan):
        event("refused")
        return
    event("accepted")
    assert continuous_drive_arrives(plan)


def test_the_simulated_rig_is_late_where_the_plan_is_too_fast() -> None:
    slow = with_rig(
        sliding(QUAY, 0.1, 1.1), pan=None, tilt=None, slide=attrs.evolve(SLIDE, max_speed_m_s=0.01)
    )
    slow = attrs.evolve(slow, move=move_of(Pose(at=0.0, slide_m=0.1), Pose(at=1.0, slide_m=1.1)))
    few = with_shoot(slow, frames=9)
    assert not accepted(few)
    assert not shoot_move_shoot_arrives(few)
    patient = with_shoot(few, interval_s=30.0)
    assert accepted(patient)
    assert shoot_move_shoot_arrives(patient)
    steady = with_shoot(with_move(slow, drive="continuous"), frames=9, interval_s=12.0)
    assert not accepted(steady)
    assert not continuous_drive_arrives(steady)
    assert continuous_drive_arrives(with_shoot(steady, interval_s=30.0))


def test_a_pan_that_is_too_slow_is_found_too() -> None:
    lazy = panning(with_rig(QUAY, pan=attrs.evolve(PAN, max_speed_deg_s=0.5)), 200.0, 340.0)
    plan = with_shoot(lazy, frames=15)
    assert not accepted(plan)
    assert accepted(with_shoot(plan, interval_s=35.0))
