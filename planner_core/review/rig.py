"""Findings about rig and move: time, ranges, speeds, steps, the speed on screen, the rig in the picture.

Limits of taste stand here and in speed.py, with where they come from; limits of the rig stand in the plan.
"""

from __future__ import annotations

import math
from typing import Any

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.timetable import end_utc_s
from planner_core.frames import FrameTable
from planner_core.maths.runs import span
from planner_core.picture import projection, speed
from planner_core.picture.projection import PointPaths, delivered_crop, project_px
from planner_core.picture.speed import BACKGROUND, FAR, FOREGROUND, SUBJECT, RoleSpeed, WatchedPoints
from planner_core.place.blocking import block_label, block_text
from planner_core.plan.model import Plan, Rig
from planner_core.plan.timeline import local_datetime
from planner_core.review.findings import Finding
from planner_core.rig import drive, geometry
from planner_core.rig.camera import camera_pose
from planner_core.rig.drive import AxisLimits
from planner_core.words.durations import duration_text
from planner_core.words.figures import figure, frame_count, frames_text

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Common practice, no source; values from memory.
VISIBLE_STEP_PX = 0.5  # a jump of this much from where a thing should be is seen as a stutter
VISIBLE_BLUR_PX = 1.0  # of subject and background while the shutter is open
LARGE_CARD_GB = 256.0  # more than one of the usual cards
LITTLE_OF_THE_RAIL = 0.5
USUAL_INCLINE_DEG = attrs.fields(Rig).max_incline_deg.default  # where nobody gave one, ours: no stop
UNUSED_M = 1e-6  # a rest of rounding, no travel
WHOLE_RAIL = 0.9
OVERCAST_DIVISOR = 10.0  # dark stratus in Circular 171: no shadows
# A camera on its head is about so wide; value from memory. Where the sun's disc of 32′ is wider, as seen from
# the ground, the shadow has no dark core and is lost.
CAMERA_WIDTH_M = 0.3
SUN_WIDTH_RAD = math.radians(32.0 / 60.0)


@frozen(kw_only=True, eq=False)
class Seen:
    """The watched points in every frame's picture, and how fast each role moves."""

    watched: WatchedPoints
    track: PointPaths
    speeds: dict[str, RoleSpeed]


def review_topic(plan: Plan, frames: FrameTable) -> tuple[list[Finding], dict[str, Any]]:
    """Findings and summary numbers of this topic."""
    seen = _seen(plan, frames)
    step_errors_px = _step_errors_px(plan, frames, seen)
    findings = [
        *_axis_ranges(plan, frames),
        *_rail_slope(plan),
        *_interval(plan, frames),
        *_axis_speeds(plan, frames),
        *_steps(plan, frames, step_errors_px),
        *_screen_speed(plan, frames, seen),
        *_travel(plan, frames, seen),
        *_motion_blur(plan, frames, seen),
        *_rail_in_frame(plan, frames),
        *_shadow(plan, frames),
        *_card_space(plan),
        *_reason(plan, frames),
    ]
    summary = _summary(plan, frames, seen)
    if step_errors_px:
        summary["step_error_px"] = max(float(error.max()) for error in step_errors_px.values())
    return findings, summary


def _seen(plan: Plan, frames: FrameTable) -> Seen:
    watched = speed.watched_points(plan, frames.camera_m, frames.camera_rotation)
    track = projection.point_paths(plan, watched.points_m, frames.camera_m, frames.camera_rotation)
    return Seen(watched=watched, track=track, speeds=speed.role_speeds(plan, watched, track))


def _moves(plan: Plan, frames: FrameTable) -> bool:
    return any(np.ptp(position) > 0.0 for _, position in drive.motorised(plan, frames.axes))


# ---------------------------------------------------------------- words


def amount_text(value: float, unit: str) -> str:
    """'0.72 m', '35 mm', '0.4 mm' or '12.5°': a way of an axis as a person reads it off a scale."""
    if unit != "m":
        return f"{figure(value)}{unit}"
    return f"{figure(value)} m" if abs(value) >= 0.0995 else f"{figure(value * 1000.0, 2)} mm"


def _exact(value: float, axis: AxisLimits) -> str:
    """A value as the plan has it, with the axis's unit: '1.4 m' or '12°'."""
    return f"{value:g}{'' if axis.unit == '°' else ' '}{axis.unit}"


def _rate(value: float, axis: AxisLimits) -> str:
    return f"{figure(value)}{'' if axis.unit == '°' else ' '}{axis.unit}"


def _speed_text(plan: Plan, px_per_frame: float) -> str:
    text = speed.px_text(px_per_frame)
    if px_per_frame < speed.LEAST_PX:
        return text
    widths = float(speed.frame_widths_a_second(plan, px_per_frame))
    return f"{text}, {figure(widths, 2)} frame widths a second"


def _what(plan: Plan, moving: RoleSpeed, place: int) -> str:
    """'the foreground (“bollard 2”, 0.9 m away)'."""
    block = int(moving.block[place])
    if block < 0:
        return f"the {moving.role}"
    return f"the {moving.role} ({block_text(plan, block)}, {amount_text(moving.distance_m[place], 'm')} away)"


# ---------------------------------------------------------------- where the axes go


def _axis_ranges(plan: Plan, frames: FrameTable) -> list[Finding]:
    found = []
    for axis, position in drive.motorised(plan, frames.axes):
        slack = 1e-9 * max(1.0, abs(axis.low), abs(axis.high))
        outside = (position < axis.low - slack) | (position > axis.high + slack)
        given = [
            (i, v) for i, pose in enumerate(plan.move.poses) if (v := getattr(pose, axis.name)) is not None
        ]
        for index, value in given:
            if not axis.low - slack <= value <= axis.high + slack:
                found.append(_pose_outside(plan, axis, index, value, outside))
        if not given and np.any(outside):
            found.append(_rest_outside(axis, float(position[0]), outside))
    return found


def _pose_outside(plan: Plan, axis: AxisLimits, index: int, value: float, outside: Mask) -> Finding:
    limit = axis.high if value > axis.high else axis.low
    turned = [value + turn for turn in (-360.0, 360.0) if axis.low <= value + turn <= axis.high]
    hint = f" ({turned[0]:g} is the same bearing)" if turned and axis.label == "pan" else ""
    place = round(plan.move.poses[index].at * (plan.shoot.frames - 1))
    way = "less" if value > axis.high else "more"
    return Finding(
        code="axis-range",
        level="stop",
        frames=_run_around(outside, place),
        value=value,
        limit=limit,
        unit=axis.unit,
        message=f"move.poses[{index}].{axis.name}: {_exact(value, axis)} is outside the {axis.label}'s range "
        f"of {_exact(axis.low, axis)} to {_exact(axis.high, axis)}.",
        fix=f"Give it {_exact(limit, axis)} or {way}{hint}.",
        fit="travel" if axis.label == "slide" else "",
    )


def _rest_outside(axis: AxisLimits, value: float, outside: Mask) -> Finding:
    return Finding(
        code="axis-range",
        level="stop",
        frames=span(outside),
        value=value,
        limit=axis.high if value > axis.high else axis.low,
        unit=axis.unit,
        message=f"No pose gives {axis.name}, so the {axis.label} rests at {_exact(value, axis)}, outside its "
        f"range of {_exact(axis.low, axis)} to {_exact(axis.high, axis)}.",
        fix=f"Give {axis.name} in the first pose.",
    )


def _run_around(mask: Mask, place: int) -> tuple[int, int]:
    """First and last frame, counted from 1, of the run of True around a place, or that frame alone."""
    first = last = min(max(place, 0), len(mask) - 1)
    if mask[first]:
        while first > 0 and mask[first - 1]:
            first -= 1
        while last < len(mask) - 1 and mask[last + 1]:
            last += 1
    return first + 1, last + 1


def _rail_slope(plan: Plan) -> list[Finding]:
    steep, limit = abs(plan.rig.incline_deg), plan.rig.max_incline_deg
    if plan.rig.slide is None or steep <= limit:
        return []
    return [
        Finding(
            code="rail-slope",
            level="warn" if limit == USUAL_INCLINE_DEG else "stop",
            value=steep,
            limit=limit,
            unit="°",
            message=f"The rail slopes by {steep:g}°, more than the {limit:g}° that "
            + ("most carriages climb." if limit == USUAL_INCLINE_DEG else "its carriage is good for."),
            fix="Lay it flatter (rig.incline_deg), or raise rig.max_incline_deg if its motor holds the "
            "camera on such a slope.",
        )
    ]


# ---------------------------------------------------------------- time


def _wanted_shutter_s(frames: FrameTable) -> Array | None:
    """The exposure that light and limits ask for, before the interval has shortened it."""
    return None if frames.ramp is None else frames.ramp.wanted_shutter_s


def _interval(plan: Plan, frames: FrameTable) -> list[Finding]:
    if len(frames) < 2:
        return []
    wanted = _wanted_shutter_s(frames)
    shutter = np.zeros(len(frames)) if wanted is None else wanted
    needed = drive.time_needed_s(plan, frames.axes, shutter)
    interval = plan.shoot.interval_s
    late = needed > interval + 1e-6
    if not np.any(late):
        return _no_room_for_the_longest(plan, frames)
    worst = int(np.argmax(needed))
    enough = _round_up(float(needed[worst]))
    longer = duration_text((enough - interval) * (plan.shoot.frames - 1))
    spent = _spent_text(plan, frames, None if wanted is None else float(wanted[worst]), worst)
    first_last = span(late)
    assert first_last is not None
    ways = [f"Set shoot.interval_s to {enough:g} s or more (the shoot gets {longer} longer)"]
    ways += _shorter_exposure(plan, frames, wanted)
    return [
        Finding(
            code="interval-too-short",
            level="stop",
            frames=first_last,
            value=float(needed[worst]),
            limit=interval,
            unit="s",
            message=f"{frames_text(first_last)}: the interval of {interval:g} s is too short for "
            f"{frame_count(int(np.count_nonzero(late)))}; frame {worst + 1} needs {figure(needed[worst])} s "
            f"({spent}).",
            fix=", or ".join(ways) + ".",
            fit="clip",
        )
    ]


def _no_room_for_the_longest(plan: Plan, frames: FrameTable) -> list[Finding]:
    """The light as computed never asks for exposure.shutter_max_s, which wouldn't fit; under cloud it may."""
    if plan.exposure is None:
        return []
    longest = plan.exposure.shutter_max_s
    needed = drive.time_needed_s(plan, frames.axes, longest)
    late = span(needed > plan.shoot.interval_s + 1e-6)
    if late is None:
        return []
    room = longest - (float(needed.max()) - plan.shoot.interval_s)
    return [
        Finding(
            code="interval-too-short",
            level="warn",
            frames=late,
            value=float(needed.max()),
            limit=plan.shoot.interval_s,
            unit="s",
            message=f"{frames_text(late)}: the longest exposure, {longest:g} s (exposure.shutter_max_s), "
            f"doesn't fit the interval of {plan.shoot.interval_s:g} s, which leaves "
            f"{figure(max(room, 0.0))} s. By the light as computed no frame needs it; under cloud one may.",
            fix=f"Set shoot.interval_s to {_round_up(float(needed.max())):g} s, or exposure.shutter_max_s to "
            "what the interval leaves.",
            fit="clip",
        )
    ]


def _round_up(seconds: float) -> float:
    """To the next half second, or to two digits where that is coarse."""
    unit = 0.5 if seconds >= 2.0 else 0.1
    return round(math.ceil(seconds / unit - 1e-9) * unit, 3)


def _spent_text(plan: Plan, frames: FrameTable, shutter_s: float | None, place: int) -> str:
    parts = [] if shutter_s is None else [f"exposure {figure(shutter_s)} s"]
    if plan.shoot.write_s:
        parts.append(f"writing {plan.shoot.write_s:g} s")
    if plan.move.drive == "shoot-move-shoot" and _moves(plan, frames):
        times = drive.frame_move_times_s(plan, frames.axes)
        parts.append(f"move {figure(times[min(place, len(times) - 1)], 2)} s")
        if plan.rig.settle_s:
            parts.append(f"settling {plan.rig.settle_s:g} s")
    return " + ".join(parts)


def _shorter_exposure(plan: Plan, frames: FrameTable, wanted: Array | None) -> list[str]:
    left = drive.exposure_time_left_s(plan, frames.axes)
    if wanted is None or plan.exposure is None:
        return ["move less from frame to frame, or write faster"]
    longest = float(np.min(left))
    if longest < plan.exposure.shutter_min_s:
        return ["move less from frame to frame"]
    stops = math.log2(float(np.max(wanted)) / longest)
    shown = math.floor(longest * 10.0) / 10.0 if longest >= 1.0 else float(f"{longest:.1g}")
    return [
        f"hold exposure.shutter_max_s at {shown:g} s and win {stops:.1f} stops by ISO or a wider aperture"
    ]


def _axis_speeds(plan: Plan, frames: FrameTable) -> list[Finding]:
    if len(frames) < 2:
        return []
    check = _driven_too_fast if plan.move.drive == "continuous" else _stepped_too_far
    return [
        finding
        for axis, position in drive.motorised(plan, frames.axes)
        for finding in check(plan, axis, position)
    ]


def _stepped_too_far(plan: Plan, axis: AxisLimits, position: Array) -> list[Finding]:
    """Moves that don't fit between two frames, however short the exposure."""
    times = drive.axis_move_times_s(axis, position)
    room = plan.shoot.interval_s - plan.shoot.write_s - plan.rig.settle_s
    late = np.append(times > room + 1e-6, False)
    if not np.any(late):
        return []
    worst = int(np.argmax(times))
    way = float(abs(position[worst + 1] - position[worst]))
    first_last = span(late)
    assert first_last is not None
    return [
        Finding(
            code="axis-speed",
            level="stop",
            frames=first_last,
            value=float(times[worst]),
            limit=max(room, 0.0),
            unit="s",
            message=f"{frames_text(first_last)}: the {axis.label} takes {figure(times[worst])} s for the "
            f"{amount_text(way, axis.unit)} from frame {worst + 1} to the next (up to "
            f"{_exact(axis.max_speed, axis)}/s and {_exact(axis.max_acceleration, axis)}/s²); the interval "
            f"leaves {figure(max(room, 0.0))} s, without any exposure.",
            fix=f"Move less, use more frames, or set shoot.interval_s to "
            f"{_round_up(float(times[worst]) + plan.shoot.interval_s - room):g} s plus the exposure.",
            fit="travel" if axis.label == "slide" else "",
        )
    ]


def _driven_too_fast(plan: Plan, axis: AxisLimits, position: Array) -> list[Finding]:
    rates = drive.drive_rates(position, plan.shoot.interval_s)
    found = []
    for name, rate, limit, per, power in (
        ("moves at", rates[0], axis.max_speed, "s", 1.0),
        ("speeds up or slows down by", rates[1], axis.max_acceleration, "s²", 0.5),
    ):
        over = np.append(rate > limit * (1.0 + 1e-9), False)
        first_last = span(over)
        if first_last is None:
            continue
        worst = int(np.argmax(rate))
        enough = _round_up(plan.shoot.interval_s * float(rate[worst] / limit) ** power)
        found.append(
            Finding(
                code="axis-speed",
                level="stop",
                frames=first_last,
                value=float(rate[worst]),
                limit=limit,
                unit=f"{axis.unit}/{per}",
                message=f"{frames_text(first_last)}: the {axis.label} {name} up to "
                f"{_rate(float(rate[worst]), axis)}/{per} (frame {worst + 1}); its motor gives "
                f"{_exact(limit, axis)}/{per}.",
                fix=f"Set shoot.interval_s to {enough:g} s, move less, or give the move more ease.",
                fit="travel" if axis.label == "slide" else "",
            )
        )
    return found


# ---------------------------------------------------------------- steps


def _steps(plan: Plan, frames: FrameTable, errors_px: dict[str, Array]) -> list[Finding]:
    return [
        _step_finding(axis, position, error, int(np.argmax(error)))
        for axis, position in drive.motorised(plan, frames.axes)
        if (error := errors_px.get(axis.name)) is not None and np.max(error) > VISIBLE_STEP_PX
    ]


def _step_errors_px(plan: Plan, frames: FrameTable, seen: Seen) -> dict[str, Array]:
    """For each axis that moves, how far off things in the picture are because of its steps, (frames,)."""
    return {
        axis.name: _step_error_px(plan, frames, seen, axis, position)
        for axis, position in drive.motorised(plan, frames.axes)
        if np.ptp(position) > 0.0
    }


def _step_error_px(plan: Plan, frames: FrameTable, seen: Seen, axis: AxisLimits, position: Array) -> Array:
    """How far off things in the picture are, at worst, because an axis stands on steps; shape (frames,)."""
    standing = drive.standing_positions(axis, position)
    pose = camera_pose(plan, frames.axes.replacing(axis.name, standing), (len(frames),))
    real = projection.point_paths(plan, seen.watched.points_m, pose.camera_m, pose.camera_rotation)
    return speed.shift_px(plan, seen.track, real)


def _step_finding(axis: AxisLimits, position: Array, error: Array, worst: int) -> Finding:
    way = np.abs(np.diff(position))
    skipped = int(np.count_nonzero(drive.skipped_frames(axis, position)))
    stands = f", and it can't move on at all after {skipped} of the frames" if skipped else ""
    fine = amount_text(axis.step * VISIBLE_STEP_PX / float(error[worst]), axis.unit)
    return Finding(
        code="step-coarse",
        level="warn",
        frames=span(error > VISIBLE_STEP_PX),
        value=float(error[worst]),
        limit=VISIBLE_STEP_PX,
        unit="px",
        message=f"The {axis.label} moves in steps of {amount_text(axis.step, axis.unit)}, from frame to "
        f"frame by about {amount_text(float(np.median(way[way > 0.0])), axis.unit)}: the picture stutters "
        f"by up to {figure(error[worst], 2)} px (frame {worst + 1}){stands}.",
        fix=f"Gear the {axis.label} down to steps of {fine} or less, or stabilise the clip afterwards.",
    )


# ---------------------------------------------------------------- speed on screen


def _screen_speed(plan: Plan, frames: FrameTable, seen: Seen) -> list[Finding]:
    if not _moves(plan, frames) or len(frames) < 2:
        return []
    judged = [seen.speeds[role] for role in (FOREGROUND, SUBJECT) if role in seen.speeds]
    judged.append(seen.speeds.get(BACKGROUND, seen.speeds[FAR]))
    limit = speed.speed_limit("brisk")
    fastest = max(judged, key=lambda moving: moving.worst_px)
    if speed.frame_widths_a_second(plan, fastest.worst_px) > limit:
        return [_too_fast(plan, frames, seen, fastest, limit)]
    if all(
        speed.frame_widths_a_second(plan, moving.worst_px) <= speed.speed_limit("creeping")
        for moving in judged
    ):
        return [_creeping(plan, frames, fastest)]
    return []


def _too_fast(plan: Plan, frames: FrameTable, seen: Seen, moving: RoleSpeed, limit: float) -> Finding:
    widths = speed.frame_widths_a_second(plan, moving.px_per_frame)
    with np.errstate(invalid="ignore"):
        first_last = span(np.append(widths > limit, False))
    assert first_last is not None
    worst = moving.worst
    most = float(widths[worst])
    far = seen.speeds[FAR].worst_px
    turns = far > moving.worst_px / 2.0
    far_too_fast = bool(speed.frame_widths_a_second(plan, far) > limit)
    return Finding(
        code="screen-speed",
        level="warn",
        frames=first_last,
        value=most,
        limit=limit,
        unit="frame widths a second",
        message=f"{frames_text(first_last)}: too fast to look at: {_what(plan, moving, worst)} crosses the "
        f"picture at {_speed_text(plan, moving.worst_px)} (frame {worst + 1}), a whole width in "
        f"{figure(1.0 / most, 2)} s; {1.0 / limit:.0f} s or more reads well.",
        fix=_slower(plan, frames, most, turns=turns, fitted=far_too_fast),
        blocks=_named(plan, moving),
        fit="travel" if far_too_fast or not turns else "",
    )


def _slower(plan: Plan, frames: FrameTable, widths: float, *, turns: bool, fitted: bool) -> str:
    """What to do about a move that is too fast for the eye, to bring it to a calm one.

    turns: it is pan and tilt that move the picture; fitted: by so much that the fit of travel narrows them.
    """
    share = speed.speed_limit("calm") / widths
    more = f"take {math.ceil(plan.shoot.frames / share)} frames instead of {plan.shoot.frames}"
    if turns or frames.slide_m is None or np.ptp(frames.slide_m) == 0.0:
        angle = max(float(np.ptp(frames.lens_bearing_deg)), float(np.ptp(frames.lens_altitude_deg)))
        turn = f"Turn by about {figure(angle * share, 2)}° instead of {figure(angle)}°"
        return f"{turn}, or {more}" + ("; fit --travel does the former." if fitted else ".")
    used = float(np.ptp(frames.slide_m))
    slide = plan.rig.slide
    whole = slide is not None and used >= WHOLE_RAIL * (slide.max_m - slide.min_m)
    remark = "The whole rail need not be used: t" if whole else "T"
    calm = amount_text(float(figure(used * share, 2)), "m")
    return (
        f"{remark}ravel about {calm} instead of {amount_text(used, 'm')}, or {more}; fit --travel does the "
        "former."
    )


def _creeping(plan: Plan, frames: FrameTable, moving: RoleSpeed) -> Finding:
    slides = frames.slide_m is not None and np.ptp(frames.slide_m) > 0.0
    more = (
        "Bring something near into the picture (a metre from the rail is good)" if slides else "Turn farther"
    )
    widths = float(speed.frame_widths_a_second(plan, moving.worst_px))
    return Finding(
        code="screen-speed",
        level="note",
        value=widths,
        limit=speed.speed_limit("creeping"),
        unit="frame widths a second",
        message=f"The picture hardly moves: its fastest part is {_what(plan, moving, moving.worst)} at "
        f"{_speed_text(plan, moving.worst_px)}, {speed.speed_word(widths)}.",
        fix=f"{more}, or take fewer frames.",
        blocks=_named(plan, moving),
        fit="travel",
    )


def _named(plan: Plan, moving: RoleSpeed) -> tuple[str, ...]:
    block = int(moving.block[moving.worst])
    return (block_label(plan, block),) if block >= 0 else ()


def _travel(plan: Plan, frames: FrameTable, seen: Seen) -> list[Finding]:
    """A rail that is carried along and used little, while the slide moves nothing much on screen."""
    slide = plan.rig.slide
    if slide is None or frames.slide_m is None or len(frames) < 2:
        return []
    length, used = slide.max_m - slide.min_m, float(np.ptp(frames.slide_m))
    nearest = seen.speeds.get(FOREGROUND) or seen.speeds.get(SUBJECT) or seen.speeds.get(BACKGROUND)
    px = 0.0
    if nearest is not None:  # by the slide alone: f·d/Z, whatever pan and tilt add
        pace = float(np.abs(np.diff(frames.slide_m)).max())
        px = pace * delivered_crop(plan.camera, plan.clip).focal_px / float(np.nanmin(nearest.distance_m))
    slow = speed.frame_widths_a_second(plan, px) <= speed.speed_limit("creeping")
    if used >= WHOLE_RAIL * length and FOREGROUND not in seen.speeds:
        return [_whole_rail_for_nothing(used, length)]
    unused = used < UNUSED_M
    if used >= LITTLE_OF_THE_RAIL * length or not (unused or slow):
        return []
    if unused:
        message = f"The rig has a rail of {amount_text(length, 'm')}, and the move leaves it unused."
        fix = "Leave the rail at home, or slide past something about a metre away."
    else:
        message = (
            f"The move uses {amount_text(used, 'm')} of {amount_text(length, 'm')} of rail "
            f"({used / length:.0%}), and by that nothing in the picture moves faster than "
            f"{_speed_text(plan, px)}."
        )
        fix = (
            f"The whole rail would give {figure(length / used, 2)} times that; fit --travel finds the length."
        )
    return [
        Finding(
            code="travel-unused",
            level="note",
            value=used,
            limit=LITTLE_OF_THE_RAIL * length,
            unit="m",
            message=message,
            fix=fix,
            fit="" if unused else "travel",
        )
    ]


def _whole_rail_for_nothing(used: float, length: float) -> Finding:
    all_of = "all" if used > 0.995 * length else f"{used / length:.0%}"
    return Finding(
        code="travel-whole",
        level="warn",
        value=used,
        limit=WHOLE_RAIL * length,
        unit="m",
        message=f"The move uses {all_of} of the {amount_text(length, 'm')} of rail, and slides past nothing "
        "near. The whole rail need not be used.",
        fix="Lay the rail where something stands about a metre from it, and let fit --travel choose how much "
        "of it.",
        fit="travel",
    )


def _motion_blur(plan: Plan, frames: FrameTable, seen: Seen) -> list[Finding]:
    """What the move smears while the shutter is open; with shoot-move-shoot the rig rests then."""
    if plan.move.drive != "continuous" or frames.ramp is None or len(frames) < 2:
        return []
    shutter = frames.ramp.shutter_s[:-1]
    blurs = {
        role: drive.blur_px(moving.px_per_frame, plan.shoot.interval_s, shutter)
        for role, moving in seen.speeds.items()
        if role in (SUBJECT, BACKGROUND) or (role == FAR and BACKGROUND not in seen.speeds)
    }
    role = max(blurs, key=lambda name: float(np.nanmax(blurs[name])))
    blur = np.nan_to_num(blurs[role])
    first_last = span(np.append(blur > VISIBLE_BLUR_PX, False))
    if first_last is None:
        return []
    worst = int(np.argmax(blur))
    near = ""
    if FOREGROUND in seen.speeds:
        front = drive.blur_px(seen.speeds[FOREGROUND].px_per_frame, plan.shoot.interval_s, shutter)
        near = f" (the foreground by up to {figure(float(np.nanmax(front)), 2)} px)"
    return [
        Finding(
            code="motion-blur",
            level="warn",
            frames=first_last,
            value=float(blur[worst]),
            limit=VISIBLE_BLUR_PX,
            unit="px",
            message=f"{frames_text(first_last)}: the rig moves while the shutter is open and smears "
            f"{_what(plan, seen.speeds[role], worst)} by up to {figure(blur[worst], 2)} px{near} at "
            f"{figure(shutter[worst], 2)} s (frame {worst + 1}).",
            fix='Set move.drive to "shoot-move-shoot", or expose '
            f"{figure(shutter[worst] * VISIBLE_BLUR_PX / blur[worst], 2)} s at most.",
        )
    ]


# ---------------------------------------------------------------- the rig in its own picture


def _rail_in_frame(plan: Plan, frames: FrameTable) -> list[Finding]:
    for part, points in (
        ("rail", geometry.rail_points_m(plan)),
        ("rig's stand", geometry.leg_points_m(plan)),
    ):
        if not len(points):
            continue
        track = projection.point_paths(plan, points, frames.camera_m, frames.camera_rotation)
        inside = projection.in_picture(plan, track)
        first_last = span(inside.any(axis=1))
        if first_last is None:
            continue
        rise, side = _way_out_deg(plan, track, inside)
        ends = int(np.argmax(inside.sum(axis=1)))
        nearest = float(np.min(np.where(inside, track.depth_m, np.inf)))
        return [
            Finding(
                code="rail-in-frame",
                level="warn",
                frames=first_last,
                value=min(rise, side),
                limit=0.0,
                unit="°",
                message=f"{frames_text(first_last)}: the {part} itself is in the picture, most of it in "
                f"frame {ends + 1} ({amount_text(nearest, 'm')} ahead at the nearest), "
                f"{figure(min(rise, side), 2)}° inside the edge.",
                fix=f"Tilt up by {figure(rise, 2)}°, turn away by {figure(side, 2)}°, raise the head, or "
                "move the rail so that its end stays behind the camera.",
            )
        ]
    return []


def _way_out_deg(plan: Plan, track: PointPaths, inside: Mask) -> tuple[float, float]:
    """Degrees to tilt up, or to pan to the nearer side, until none of the points is inside."""
    focal = delivered_crop(plan.camera, plan.clip).focal_px
    wide, high = plan.clip.width_px / 2.0, plan.clip.height_px / 2.0
    across = np.degrees(np.arctan((track.x_px[inside] - wide) / focal))
    down = np.degrees(np.arctan((track.y_px[inside] - high) / focal))
    side, bottom = np.degrees(np.arctan(np.array([wide, high]) / focal))
    return float(np.max(bottom - down)), float(min(np.max(side + across), np.max(side - across)))


def _shadow(plan: Plan, frames: FrameTable) -> list[Finding]:
    """The shadow of camera and carriage on the ground in the picture, where it falls dark."""
    if plan.shoot.cloud_divisor >= OVERCAST_DIVISOR:
        return []
    carriage = geometry.carriage_position_m(plan, frames.slide_m)
    parts = np.stack([frames.camera_m, np.broadcast_to(carriage, frames.camera_m.shape)], axis=1)
    fallen, way = geometry.shadow_on_ground_m(plan, parts, frames.sun_direction[:, None, :])
    xy, depth = project_px(plan, fallen, frames.camera_m[:, None], frames.camera_rotation[:, None])
    track = PointPaths(x_px=xy[..., 0], y_px=xy[..., 1], depth_m=depth)
    dark = (way * SUN_WIDTH_RAD < CAMERA_WIDTH_M) & (frames.sun_altitude_deg > 0.0)[:, None]
    shown = (projection.in_picture(plan, track) & dark).any(axis=1)
    first_last = span(shown)
    if first_last is None:
        return []
    place = int(np.flatnonzero(shown)[0])
    length = float(np.nanmin(np.where(shown[:, None], depth, np.nan)))
    return [
        Finding(
            code="rig-shadow",
            level="warn",
            frames=first_last,
            value=length,
            unit="m",
            message=f"{frames_text(first_last)}: with the sun behind, {frames.sun_altitude_deg[place]:.1f}° "
            f"high in frame {place + 1}, the shadow of camera and rig lies on the ground in the picture, "
            f"from {amount_text(length, 'm')} ahead.",
            fix="Frame the ground out, lower the rig, move it into shade, or start later.",
        )
    ]


# ---------------------------------------------------------------- what to bring and why


def _card_gb(plan: Plan) -> float | None:
    size = plan.camera.raw_file_mb
    return None if size is None else plan.shoot.frames * size / 1000.0


def _card_space(plan: Plan) -> list[Finding]:
    space = _card_gb(plan)
    if space is None:
        return []
    large = space > LARGE_CARD_GB
    more = f", more than a card of {LARGE_CARD_GB:g} GB holds." if large else "."
    return [
        Finding(
            code="card-space",
            level="warn" if large else "note",
            value=space,
            limit=LARGE_CARD_GB,
            unit="GB",
            message=f"{frame_count(plan.shoot.frames)} of {plan.camera.raw_file_mb:g} MB "
            f"fill{'s' * (plan.shoot.frames == 1)} {figure(space)} GB{more}",
            fix="Bring two cards or a camera that writes to both, or take fewer frames."
            if large
            else "Bring an empty card with room to spare.",
        )
    ]


def _reason(plan: Plan, frames: FrameTable) -> list[Finding]:
    if plan.reason.strip() or not _moves(plan, frames):
        return []
    return [
        Finding(
            code="no-reason",
            level="note",
            message="The plan doesn't say why this shot moves.",
            fix='Write it down under "reason": what the move shows that a still shot would not. If there is '
            "nothing, keep the camera still.",
        )
    ]


# ---------------------------------------------------------------- numbers


def _summary(plan: Plan, frames: FrameTable, seen: Seen) -> dict[str, Any]:
    shoot, zone = plan.shoot, plan.zone
    wanted = _wanted_shutter_s(frames)
    shutter = np.zeros(len(frames)) if wanted is None else wanted
    first, last = float(frames.utc_s[0]), float(frames.utc_s[-1])
    end = end_utc_s(frames)
    arrive = first - shoot.setup_s

    def local(utc_s: float) -> str:
        return local_datetime(utc_s, zone).isoformat(timespec="seconds")

    summary: dict[str, Any] = {
        "frames": shoot.frames,
        "interval_s": shoot.interval_s,
        "clip_s": shoot.frames / plan.clip.fps,
        "shoot_length": duration_text(end + shoot.write_s - first),
        "shoot_length_s": end + shoot.write_s - first,  # until the last picture is written
        **({"leave_home": local(arrive - shoot.travel_s)} if shoot.travel_s else {}),
        "arrive": local(arrive),
        "first_frame": local(first),
        "last_frame": local(last),
        "end": local(end),
        "shortest_interval_s": float(np.max(drive.time_needed_s(plan, frames.axes, shutter))),
    }
    for axis, position in drive.motorised(plan, frames.axes):
        summary[f"{axis.label}_travel_{'m' if axis.unit == 'm' else 'deg'}"] = float(
            np.abs(np.diff(position)).sum()
        )
    for role in (FOREGROUND, SUBJECT, BACKGROUND, FAR):
        if role in seen.speeds and not (role == FAR and BACKGROUND in seen.speeds):
            px = seen.speeds[role].worst_px
            widths = float(speed.frame_widths_a_second(plan, px))
            key = role.replace(" ", "_")
            summary[f"{key}_px_a_frame"] = px
            summary[f"{key}_speed"] = speed.speed_word(widths)
    if (space := _card_gb(plan)) is not None:
        summary["card_gb"] = space
    return summary
