"""The fit of travel: how much of the rail to use, and where on it, for a chosen speed of what is near.

Scaling a move about its middle keeps the middle picture. A turn that is too fast by itself is narrowed the
same way, since no length of rail would slow it down.
"""

from __future__ import annotations

from collections.abc import Callable

import attrs
import numpy as np
from numpy.typing import NDArray

from planner_core.fit.result import Fit
from planner_core.frames import compute_frames
from planner_core.maths import search
from planner_core.picture import speed
from planner_core.picture.speed import BACKGROUND, FAR, FOREGROUND, SUBJECT, RoleSpeed
from planner_core.place.blocking import block_text
from planner_core.plan.model import Plan, PlanError, Pose, SlideAxis
from planner_core.plan.timeline import frame_places
from planner_core.rig import drive, motion
from planner_core.rig.axes import AxisPositions
from planner_core.rig.camera import camera_path
from planner_core.words.figures import figure
from planner_core.words.language import phrase

Array = NDArray[np.float64]

# The speeds aimed at where none is asked for, both calm (see speed.SPEED_WORDS): the far distance by pan and
# tilt more slowly than what is near by the slide. Ours, no source.
CALM_FRAME_WIDTHS_S = 0.04
CALM_TURN_FRAME_WIDTHS_S = 0.03
FASTER_THAN_THE_TURN = 1.5  # a foreground that the turn alone moves as fast gets so much more
LEAST_EFFECT = 0.2  # of the speed aimed at: a whole rail that does less doesn't matter
LEAST_SLOWING = 0.2  # least share of the longest travel at which slowing the turn by sliding is worthwhile
LEAST_TRAVEL_M = 0.001
LEAST_ROOM = 0.05  # a middle nearer to the rail's end than this share of the rail has to move for any travel
# How far a travel that is looked for ends from the stops: a rail is laid and homed to a centimetre or so.
# Common practice, no source; of a short rail, that share of it.
OFF_THE_STOPS_M, OFF_THE_STOPS = 0.02, 0.02
TRIED_LENGTHS = 16
HALVINGS = 24
MET = 0.02  # a speed is met within this share of it


def fit_travel(plan: Plan, speed_px: float | None = None) -> Fit:
    """The plan with the length of rail that moves the foreground at speed_px clip pixels a frame.

    The speed is that at the worst frame; None asks for a calm one, if need be somewhat faster than pan and
    tilt alone make it. The middle of the move stays where it is. The travel stays inside the rail's range and
    what its motor does between two frames; where that is too little, the nearest is taken and said. Where
    nothing near is in the picture, the subject, else the background, is judged instead, unless it is so far
    that the rail makes no difference; then the travel stays. Raises PlanError where speed_px is not above 0,
    or the plan has no times.
    """
    if speed_px is not None and not 0.0 < speed_px < 1e9:
        raise PlanError("travel", speed_px, "is not a speed above 0 clip pixels a frame")
    if plan.shoot.frames < 2:
        return Fit(plan=plan, said=(phrase("A single frame doesn't travel. Nothing changed."),))
    plan, said = _narrow_turn(plan)
    slide = plan.rig.slide
    if slide is None:
        return Fit(plan=plan, said=(*said, phrase("The rig has no rail, so there is no travel to fit.")))
    fitted, told = _fit_slide(plan, slide, speed_px)
    return Fit(plan=fitted, said=(*said, *told))


# ---------------------------------------------------------------- the rail


def _fit_slide(plan: Plan, slide: SlideAxis, asked_px: float | None) -> tuple[Plan, list[str]]:
    plan = _with_two_poses(plan)
    shares = _shares_of_travel(plan)
    middle = _middle_on_rail(plan, slide)
    whole = _with_slide(
        plan, slide, slide.min_m - min(shares.values()) * _length(slide), _length(slide), shares
    )
    role = next(role for role in (FOREGROUND, SUBJECT, BACKGROUND, FAR) if role in _watch(whole))

    def travelling(length: float) -> Plan:
        return _with_slide(plan, slide, middle, length, shares)

    calm_px = float(speed.px_a_frame(plan, CALM_FRAME_WIDTHS_S))
    target_px = _more_than_the_turn_px(travelling(0.0), role, calm_px) if asked_px is None else asked_px
    longest = _longest(plan, slide, middle, shares, travelling)
    if longest < LEAST_TRAVEL_M:
        return plan, [_no_time(plan, slide)]
    if role != FOREGROUND and _effect_px(whole, role) < LEAST_EFFECT * target_px:
        kept = plan if _on_rail(plan, slide) else travelling(min(_travel_m(plan), longest))
        return kept, [_no_difference(plan, kept, whole, role)]

    def speed_at(length: float) -> float:
        return _worst_px(travelling(length), role)

    length = _reach(speed_at, longest, target_px)
    if asked_px is None and target_px > calm_px and (slower := _slowed(speed_at, longest, calm_px)):
        target_px, length = calm_px, slower
    fitted = travelling(length)
    said = [_travel_said(plan, fitted, role)]
    got = _worst_px(fitted, role)
    if abs(got - target_px) > MET * target_px:
        said.append(_not_met(fitted, role, got, target_px, at_the_end=length > 0.9 * longest))
    said.append(
        phrase(
            "From end to end of the rail, {travel} m, it would be {speed}.",
            travel=figure(_travel_m(whole)),
            speed=_speed_text(whole, role),
        )
    )
    return fitted, said


def _more_than_the_turn_px(unmoved: Plan, role: str, calm_px: float) -> float:
    """The speed to aim at, given the plan without travel: calm, and more than the turn makes it anyway."""
    turning = FASTER_THAN_THE_TURN * _worst_px(unmoved, role)
    brisk = float(speed.px_a_frame(unmoved, speed.speed_limit("brisk")))
    return max(calm_px, min(turning, brisk))


def _effect_px(plan: Plan, role: str) -> float:
    """How fast the slide by itself, with the head at rest, moves a role."""
    middle = {name: float(value) for name, value in motion.axis_positions(plan, 0.5).given()}
    pan, tilt = middle.get("pan_deg"), middle.get("tilt_deg")
    poses = tuple(attrs.evolve(pose, pan_deg=pan, tilt_deg=tilt) for pose in plan.move.poses)
    return _worst_px(attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses)), role)


def _on_rail(plan: Plan, slide: SlideAxis) -> bool:
    values = [pose.slide_m for pose in plan.move.poses if pose.slide_m is not None]
    return all(slide.min_m <= value <= slide.max_m for value in values)


def _no_difference(plan: Plan, kept: Plan, whole: Plan, role: str) -> str:
    effect = _px_text(whole, _effect_px(whole, role))
    travel, now = figure(_travel_m(plan)), figure(_travel_m(kept))
    return phrase(
        "The travel stays at {travel} m, since it makes no difference here: nothing near is in the picture, "
        "and "
        "sliding from end to end would move the {role} at {effect}. {advice}"
        if kept is plan
        else "Travels {now} m of rail instead of {travel} m, to stay on it; how far makes no difference "
        "here: "
        "nothing near is in the picture, and sliding from end to end would move the {role} at {effect}. "
        "{advice}",
        travel=travel,
        now=now,
        role=phrase(role),
        effect=effect,
        advice=phrase(
            "Lay the rail beside something close, up to two metres from the lens, or shoot this without a "
            "rail."
        ),
    )


def _no_time(plan: Plan, slide: SlideAxis) -> str:
    needed = float(drive.move_time_s(LEAST_TRAVEL_M, slide.max_speed_m_s, slide.max_acceleration_m_s2))
    return phrase(
        "No travel fits: with writing, settling and exposure the interval of {interval:g} s leaves the "
        "slide no "
        "time to move, and even a millimetre takes it {needed} s. The travel stays at {travel} m; lengthen "
        "the "
        "interval first.",
        interval=plan.shoot.interval_s,
        needed=figure(needed, 2),
        travel=figure(_travel_m(plan)),
    )


def _length(slide: SlideAxis) -> float:
    return slide.max_m - slide.min_m


def _with_two_poses(plan: Plan) -> Plan:
    """A plan that has a single pose with that pose at the first and at the last frame."""
    poses = plan.move.poses
    if len(poses) > 1:
        return plan
    ends = (attrs.evolve(poses[0], at=0.0), attrs.evolve(poses[0], at=1.0))
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=ends))


def _shares_of_travel(plan: Plan) -> dict[int, float]:
    """Where each pose that gives the slide lies, counted from the middle in travels; in order of the poses.

    A plan that doesn't slide yet gets a slide from its first to its last pose.
    """
    values = {i: pose.slide_m for i, pose in enumerate(plan.move.poses) if pose.slide_m is not None}
    travel = max(values.values(), default=0.0) - min(values.values(), default=0.0)
    if travel <= 0.0:
        return {0: -0.5, len(plan.move.poses) - 1: 0.5}
    middle = _at_middle(plan, "slide_m")
    return {index: (value - middle) / travel for index, value in values.items()}


def _middle_on_rail(plan: Plan, slide: SlideAxis) -> float:
    """The middle of the move; the rail's where that is off the rail, or too near its end for any travel."""
    middle = _at_middle(plan, "slide_m")
    room = min(middle - slide.min_m, slide.max_m - middle)
    return middle if room >= LEAST_ROOM * _length(slide) else (slide.min_m + slide.max_m) / 2.0


def _at_middle(plan: Plan, name: str) -> float:
    position = motion.axis_positions(plan, 0.5).of(name)
    assert position is not None
    return float(position)


def _with_slide(plan: Plan, slide: SlideAxis, middle: float, length: float, shares: dict[int, float]) -> Plan:
    """The plan with another travel, to a tenth of a millimetre and on the rail."""

    def moved(index: int, pose: Pose) -> Pose:
        if index not in shares:
            return attrs.evolve(pose, slide_m=None)
        value = round(middle + length * shares[index], 4)
        return attrs.evolve(pose, slide_m=min(max(value, slide.min_m), slide.max_m))

    poses = tuple(moved(index, pose) for index, pose in enumerate(plan.move.poses))
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses))


def _longest(
    plan: Plan,
    slide: SlideAxis,
    middle: float,
    shares: dict[int, float],
    travelling: Callable[[float], Plan],
) -> float:
    """The longest travel about the middle that keeps off the end stops and that the motor has time for; as
    near to them as the plan goes already.
    """

    def to_the_stops(off_m: float) -> float:
        return min(
            max(((slide.max_m - off_m if fraction > 0.0 else slide.min_m + off_m) - middle) / fraction, 0.0)
            for fraction in shares.values()
            if fraction != 0.0
        )

    off_m = min(OFF_THE_STOPS_M, OFF_THE_STOPS * _length(slide))
    now_m = _travel_m(plan) if _on_rail(plan, slide) else 0.0
    exposure_s = _exposures_that_fit_s(plan)

    def in_time(length: float) -> bool:
        return _in_time(travelling(length), exposure_s)

    whole = min(max(to_the_stops(off_m), now_m), to_the_stops(0.0))
    return whole if in_time(whole) else search.boundary(in_time, 0.0, whole, halvings=HALVINGS)[0]


def _exposures_that_fit_s(plan: Plan) -> Array:
    """The exposures that light and limits ask for; 0 where the interval is too short for them anyway."""
    ramp = compute_frames(plan).ramp
    if ramp is None:
        return np.zeros(plan.shoot.frames)
    room = plan.shoot.interval_s - plan.shoot.write_s - plan.rig.settle_s
    return np.where(ramp.wanted_shutter_s < room, ramp.wanted_shutter_s, 0.0)


def _in_time(plan: Plan, exposure_s: Array) -> bool:
    """Whether the rail's motor keeps up from frame to frame."""
    slide = AxisPositions(slide_m=motion.axis_positions(plan, frame_places(plan.shoot.frames)).slide_m)
    if plan.move.drive == "shoot-move-shoot":
        return bool(np.all(drive.exposure_time_left_s(plan, slide) >= exposure_s))
    axis, position = next(drive.motorised(plan, slide))
    rate, acceleration = drive.drive_rates(position, plan.shoot.interval_s)
    return bool(np.all(rate <= axis.max_speed) and np.all(acceleration <= axis.max_acceleration))


def _reach(speed_at: Callable[[float], float], longest: float, target_px: float) -> float:
    """The travel, up to the longest, whose speed is the target, or the one that comes nearest."""
    tried = np.linspace(0.0, longest, TRIED_LENGTHS)
    speeds = np.array([speed_at(float(length)) for length in tried])
    crossings = np.flatnonzero((speeds[:-1] < target_px) & (speeds[1:] >= target_px))
    if not len(crossings):
        return float(tried[np.argmin(np.abs(speeds - target_px))])
    low, high = (float(tried[crossings[0] + side]) for side in (0, 1))
    return search.boundary(lambda length: speed_at(length) < target_px, low, high, halvings=HALVINGS)[1]


def _slowed(speed_at: Callable[[float], float], longest: float, target_px: float) -> float | None:
    """The travel that slows what the turn moves too fast down to the target or nearest to it.

    A slide against the turn does that, as where a pan follows the subject. None where no travel to speak of
    slows it.
    """
    tried = np.linspace(0.0, longest, TRIED_LENGTHS)
    slowest = float(tried[np.argmin([speed_at(float(length)) for length in tried])])
    if slowest < LEAST_SLOWING * longest or speed_at(0.0) <= target_px:
        return None
    return _reach(lambda length: -speed_at(length), slowest, -target_px)


# ---------------------------------------------------------------- the turn


def _narrow_turn(plan: Plan) -> tuple[Plan, list[str]]:
    """The plan with pan and tilt that don't turn the far distance too fast by, and what was said about it."""
    far = _worst_px(plan, FAR)
    if speed.frame_widths_a_second(plan, far) <= speed.speed_limit("brisk"):
        return plan, []
    middle = {
        name: _at_middle(plan, name)
        for name in ("pan_deg", "tilt_deg")
        if any(getattr(pose, name) is not None for pose in plan.move.poses)
    }

    def narrowed(factor: float) -> Plan:
        def turned(pose: Pose) -> Pose:
            changes = {
                name: round(centre + factor * (value - centre), 3)
                for name, centre in middle.items()
                if (value := getattr(pose, name)) is not None
            }
            return attrs.evolve(pose, **changes)

        poses = tuple(turned(pose) for pose in plan.move.poses)
        return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses))

    calm = float(speed.px_a_frame(plan, CALM_TURN_FRAME_WIDTHS_S))
    new = narrowed(_reach(lambda factor: _worst_px(narrowed(factor), FAR), 1.0, calm))
    return new, [
        phrase(
            "Turns by {now}° instead of {before}°, about the same middle: turning alone moved the whole "
            "picture "
            "at {was}; now at {speed}. Look at the first and last picture again.",
            now=figure(_turn_deg(new)),
            before=figure(_turn_deg(plan)),
            was=_speed_text(plan, FAR),
            speed=_speed_text(new, FAR),
        )
    ]


def _turn_deg(plan: Plan) -> float:
    axes = motion.axis_positions(plan, frame_places(plan.shoot.frames))
    return max(0.0 if axis is None else float(np.ptp(axis)) for axis in (axes.pan_deg, axes.tilt_deg))


# ---------------------------------------------------------------- what it looks like


def _watch(plan: Plan) -> dict[str, RoleSpeed]:
    """Speed on screen of each role, from the move alone."""
    path = camera_path(plan, frame_places(plan.shoot.frames))
    return speed.screen_speeds(plan, path.camera_m, path.camera_rotation)


def _worst_px(plan: Plan, role: str) -> float:
    watched = _watch(plan)
    return watched[role].worst_px if role in watched else 0.0


def _travel_m(plan: Plan) -> float:
    slide = motion.axis_positions(plan, frame_places(plan.shoot.frames)).slide_m
    return 0.0 if slide is None else float(np.ptp(slide))


def _px_text(plan: Plan, px: float) -> str:
    word = speed.speed_word(float(speed.frame_widths_a_second(plan, px)))
    return phrase("{speed} ({word})", speed=speed.px_text(px), word=phrase(word))


def _speed_text(plan: Plan, role: str) -> str:
    return _px_text(plan, _worst_px(plan, role))


def _travel_said(plan: Plan, fitted: Plan, role: str) -> str:
    slide = motion.axis_positions(fitted, np.array([0.0, 1.0])).slide_m
    assert slide is not None
    shift = _at_middle(fitted, "slide_m") - _at_middle(plan, "slide_m")
    if plan.move == fitted.move:
        return phrase(
            "The travel stays at {travel} m, from {first} to {last} m: {role} moves at {speed} at most.",
            travel=figure(_travel_m(plan)),
            first=figure(slide[0], 4),
            last=figure(slide[1], 4),
            role=_named(plan, role),
            speed=_speed_text(plan, role),
        )
    about = (
        phrase("about the same middle")
        if abs(shift) < 5e-4
        else phrase("its middle {shift} m further in", shift=figure(abs(shift)))
    )
    return phrase(
        "Travels {now} m of rail instead of {travel} m, from {first} to {last} m, {about}: {role} moves at "
        "{speed} at most, instead of {was}.",
        now=figure(_travel_m(fitted)),
        travel=figure(_travel_m(plan)),
        first=figure(slide[0], 4),
        last=figure(slide[1], 4),
        about=about,
        role=_named(fitted, role),
        speed=_speed_text(fitted, role),
        was=_speed_text(plan, role),
    )


def _named(plan: Plan, role: str) -> str:
    watched = _watch(plan)
    block = int(watched[role].block[watched[role].worst]) if role in watched else -1
    named = (
        phrase("the {role} ({block})", role=phrase(role), block=block_text(plan, block))
        if block >= 0
        else phrase("the {role}", role=phrase(role))
    )
    if role == FOREGROUND:
        return named
    return phrase("nothing near is in the picture, and {role}", role=named)


def _not_met(plan: Plan, role: str, got_px: float, target_px: float, *, at_the_end: bool) -> str:
    asked = _px_text(plan, target_px)
    if got_px > target_px:
        return phrase(
            "The {asked} asked for can't be met: pan and tilt alone move the {role} faster.",
            asked=asked,
            role=phrase(role),
        )
    if role != FOREGROUND:
        return phrase(
            "The {asked} asked for can't be met without a foreground: put something within two metres of the "
            "lens into the picture, or turn the camera to it.",
            asked=asked,
        )
    if at_the_end:
        return phrase(
            "The {asked} asked for can't be met about this middle: there the rail ends, or its motor is too "
            "slow for the interval.",
            asked=asked,
        )
    return phrase("The {asked} asked for can't be met about this middle; this is nearest.", asked=asked)
