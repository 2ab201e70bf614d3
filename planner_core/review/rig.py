"""Findings about rig and move: time, ranges, speeds, steps, the speed on screen, the rig in the picture.

Limits of taste stand here and in speed.py, with where they come from; limits of the rig stand in the plan.
"""

from __future__ import annotations

import math

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.timetable import end_utc_s, shoot_length_s
from planner_core.frames import FrameTable
from planner_core.maths.runs import span
from planner_core.picture import projection, speed
from planner_core.picture.block_visibility import NEAR_BY_M
from planner_core.picture.projection import PointPaths, delivered_crop, project_px
from planner_core.picture.speed import BACKGROUND, FAR, FOREGROUND, SUBJECT, RoleSpeed, WatchedMotion
from planner_core.picture.view import View, of_the_view
from planner_core.place.blocking import block_label
from planner_core.place.silhouette import NEAR_M
from planner_core.plan.model import Plan, Rig
from planner_core.plan.timeline import local_datetime
from planner_core.review import remedies
from planner_core.review.findings import Finding, Quantity, Remedy, facts
from planner_core.review.summary import RigSummary, ScreenSpeed
from planner_core.review.support import card_gb, review_support
from planner_core.rig import drive, geometry
from planner_core.rig.camera import camera_pose
from planner_core.rig.drive import AxisLimits
from planner_core.words.durations import duration_text

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Common practice, no source; values from memory.
VISIBLE_STEP_PX = 0.5  # a jump of this much from where a thing should be is seen as a stutter
VISIBLE_BLUR_PX = 1.0  # of subject and background while the shutter is open
LITTLE_OF_THE_RAIL = 0.5
USUAL_INCLINE_DEG = attrs.fields(Rig).max_incline_deg.default  # where nobody gave one, ours: no stop
UNUSED_M = 1e-6  # a rest of rounding, no travel
WHOLE_RAIL = 0.9
MOST_TIMES = 3  # as many frames, for calm: a shoot that is longer yet is another evening
OVERCAST_DIVISOR = 10.0  # dark stratus in Circular 171: no shadows
# A camera on its head is about so wide; value from memory. Where the sun's disc of 32′ is wider, as seen from
# the ground, the shadow has no dark core and is lost.
CAMERA_WIDTH_M = 0.3
SUN_WIDTH_RAD = math.radians(32.0 / 60.0)


def review_topic(plan: Plan, frames: FrameTable) -> tuple[list[Finding], RigSummary]:
    """Findings and summary numbers of this topic."""
    motion = frames.view.motion
    step_errors_px = _step_errors_px(frames.view)
    findings = [
        *_axis_ranges(plan, frames),
        *_rail_slope(plan),
        *_interval(plan, frames),
        *_axis_speeds(plan, frames),
        *_steps(plan, frames, step_errors_px),
        *_screen_speed(plan, frames, motion),
        *_travel(plan, frames, motion),
        *_motion_blur(plan, frames, motion),
        *_rail_in_frame(plan, frames),
        *_shadow(plan, frames),
        *review_support(plan, frames),
        *_reason(plan, frames),
    ]
    step_error_px = max((float(error.max()) for error in step_errors_px.values()), default=None)
    return findings, _summary(plan, frames, motion, step_error_px)


def _moves(plan: Plan, frames: FrameTable) -> bool:
    return any(np.ptp(position) > 0.0 for _, position in drive.motorised(plan, frames.axes))


def _watched_facts(plan: Plan, moving: RoleSpeed, frame: int) -> tuple[Quantity, ...]:
    """What of a role is spoken of at a frame: the block, empty where it is none, and how far away."""
    block = int(moving.block[frame])
    return facts(
        role=moving.role,
        block=block_label(plan, block) if block >= 0 else "",
        distance=(float(moving.distance_m[frame]), "m"),
    )


# ---------------------------------------------------------------- where the axes go


def _axis_ranges(plan: Plan, frames: FrameTable) -> list[Finding]:
    findings = []
    for axis, position in drive.motorised(plan, frames.axes):
        slack = 1e-9 * max(1.0, abs(axis.low), abs(axis.high))
        outside = (position < axis.low - slack) | (position > axis.high + slack)
        given = [
            (i, v) for i, pose in enumerate(plan.move.poses) if (v := getattr(pose, axis.name)) is not None
        ]
        for index, value in given:
            if not axis.low - slack <= value <= axis.high + slack:
                findings.append(_pose_outside(plan, axis, index, value, outside))
        if not given and np.any(outside):
            findings.append(_rest_outside(axis, float(position[0]), outside))
    return findings


def _pose_outside(plan: Plan, axis: AxisLimits, index: int, value: float, outside: Mask) -> Finding:
    limit = axis.high if value > axis.high else axis.low
    turned = [value + turn for turn in (-360.0, 360.0) if axis.low <= value + turn <= axis.high]
    same_bearing = turned[0] if turned and axis.label == "pan" else None
    frame = round(plan.move.poses[index].at * (plan.shoot.frames - 1))
    path = f"move.poses[{index}].{axis.name}"
    return Finding(
        code="axis-range",
        level="stop",
        frames=_run_around(outside, frame),
        value=value,
        limit=limit,
        unit=axis.unit,
        facts=(*facts(pose=index, same_bearing=(same_bearing, "°")), *_axis_facts(axis)),
        remedies=tuple(Remedy(changes={path: new}) for new in (same_bearing, limit) if new is not None),
        fit="travel" if axis.label == "slide" else "",
    )


def _rest_outside(axis: AxisLimits, value: float, outside: Mask) -> Finding:
    limit = axis.high if value > axis.high else axis.low
    return Finding(
        code="axis-range",
        level="stop",
        frames=span(outside),
        value=value,
        limit=limit,
        unit=axis.unit,
        facts=(*facts(pose=None, same_bearing=None), *_axis_facts(axis)),
        remedies=(Remedy(changes={f"move.poses[0].{axis.name}": limit}),),
    )


def _axis_facts(axis: AxisLimits) -> tuple[Quantity, ...]:
    return facts(axis=axis.label, field=axis.name, low=(axis.low, axis.unit), high=(axis.high, axis.unit))


def _run_around(mask: Mask, frame: int) -> tuple[int, int]:
    """First and last frame, counted from 1, of the run of True around a frame, or that frame alone."""
    first = last = min(max(frame, 0), len(mask) - 1)
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
            facts=facts(usual=limit == USUAL_INCLINE_DEG),
            remedies=(
                Remedy(changes={"rig.incline_deg": math.copysign(limit, plan.rig.incline_deg)}),
                Remedy(changes={"rig.max_incline_deg": float(math.ceil(steep))}),
            ),
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
    return [
        Finding(
            code="interval-too-short",
            level="stop",
            frames=span(late),
            value=float(needed[worst]),
            limit=interval,
            unit="s",
            facts=(
                *facts(
                    late_frames=int(np.count_nonzero(late)),
                    worst_frame=worst + 1,
                    exposure=(None if wanted is None else float(wanted[worst]), "s"),
                ),
                *_time_spent(plan, frames, worst),
            ),
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
            facts=facts(longest=(longest, "s"), room=(max(room, 0.0), "s")),
            remedies=(
                *remedies.longer_interval(plan, float(needed.max())),
                *remedies.longest_exposure(plan, room),
            ),
            fit="clip",
        )
    ]


def _time_spent(plan: Plan, frames: FrameTable, frame: int) -> tuple[Quantity, ...]:
    """What a frame's time goes to beside the exposure, in seconds; None for what a drive doesn't do."""
    move = settling = None
    if plan.move.drive == "shoot-move-shoot" and _moves(plan, frames):
        times = drive.frame_move_times_s(plan, frames.axes)
        move, settling = float(times[min(frame, len(times) - 1)]), plan.rig.settle_s
    return facts(writing=(plan.shoot.write_s, "s"), move=(move, "s"), settling=(settling, "s"))


def _axis_speeds(plan: Plan, frames: FrameTable) -> list[Finding]:
    if len(frames) < 2:
        return []
    findings: list[Finding] = []
    for axis, position in drive.motorised(plan, frames.axes):
        if plan.move.drive == "continuous":
            findings += _driven_too_fast(plan, axis, position)
        else:
            findings += _stepped_too_far(plan, axis, position)
    return findings


def _stepped_too_far(plan: Plan, axis: AxisLimits, position: Array) -> list[Finding]:
    """Moves that don't fit between two frames, however short the exposure."""
    times = drive.axis_move_times_s(axis, position)
    room = plan.shoot.interval_s - plan.shoot.write_s - plan.rig.settle_s
    late = np.append(times > room + 1e-6, False)
    if not np.any(late):
        return []
    worst = int(np.argmax(times))
    return [
        Finding(
            code="axis-speed",
            level="stop",
            frames=span(late),
            value=float(times[worst]),
            limit=max(room, 0.0),
            unit="s",
            facts=facts(
                drive=plan.move.drive,
                axis=axis.label,
                worst_frame=worst + 1,
                distance=(float(abs(position[worst + 1] - position[worst])), axis.unit),
                max_speed=(axis.max_speed, f"{axis.unit}/s"),
                max_acceleration=(axis.max_acceleration, f"{axis.unit}/s²"),
            ),
            fit="travel" if axis.label == "slide" else "",
        )
    ]


def _driven_too_fast(plan: Plan, axis: AxisLimits, position: Array) -> list[Finding]:
    rates = drive.drive_rates(position, plan.shoot.interval_s)
    findings = []
    for name, rate, limit, per, power in (
        ("speed", rates[0], axis.max_speed, "s", 1.0),
        ("acceleration", rates[1], axis.max_acceleration, "s²", 0.5),
    ):
        over = np.append(rate > limit * (1.0 + 1e-9), False)
        first_last = span(over)
        if first_last is None:
            continue
        worst = int(np.argmax(rate))
        enough_s = plan.shoot.interval_s * float(rate[worst] / limit) ** power
        findings.append(
            Finding(
                code="axis-speed",
                level="stop",
                frames=first_last,
                value=float(rate[worst]),
                limit=limit,
                unit=f"{axis.unit}/{per}",
                facts=facts(
                    drive=plan.move.drive,
                    axis=axis.label,
                    of=name,
                    worst_frame=worst + 1,
                ),
                remedies=remedies.longer_interval(plan, enough_s),
                fit="travel" if axis.label == "slide" else "",
            )
        )
    return findings


# ---------------------------------------------------------------- steps


def _steps(plan: Plan, frames: FrameTable, errors_px: dict[str, Array]) -> list[Finding]:
    return [
        _step_finding(axis, position, error, int(np.argmax(error)))
        for axis, position in drive.motorised(plan, frames.axes)
        if (error := errors_px.get(axis.name)) is not None and np.max(error) > VISIBLE_STEP_PX
    ]


@of_the_view
def _step_errors_px(view: View) -> dict[str, Array]:
    """For each axis that moves, how far off things in the picture are because of its steps, (frames,)."""
    return {
        axis.name: _step_error_px(view, axis, position)
        for axis, position in drive.motorised(view.plan, view.axes)
        if np.ptp(position) > 0.0
    }


def _step_error_px(view: View, axis: AxisLimits, position: Array) -> Array:
    """How far off things in the picture are, at worst, because an axis stands on steps; shape (frames,)."""
    standing = drive.standing_positions(axis, position)
    pose = camera_pose(view.plan, view.axes.replacing(axis.name, standing), (len(view),))
    meant = view.motion
    real = projection.point_paths(
        view.plan, meant.watched.points_m, pose.camera_m, pose.camera_rotation, meant.lift_m
    )
    return speed.shift_px(view.plan, meant.paths, real)


def _step_finding(axis: AxisLimits, position: Array, error: Array, worst: int) -> Finding:
    moved = np.abs(np.diff(position))
    return Finding(
        code="step-coarse",
        level="warn",
        frames=span(error > VISIBLE_STEP_PX),
        value=float(error[worst]),
        limit=VISIBLE_STEP_PX,
        unit="px",
        facts=facts(
            axis=axis.label,
            step=(axis.step, axis.unit),
            frame_to_frame=(float(np.median(moved[moved > 0.0])), axis.unit),
            worst_frame=worst + 1,
            skipped_frames=int(np.count_nonzero(drive.skipped_frames(axis, position))),
            fine_step=(axis.step * VISIBLE_STEP_PX / float(error[worst]), axis.unit),
        ),
    )


# ---------------------------------------------------------------- speed on screen


def _screen_speed(plan: Plan, frames: FrameTable, motion: WatchedMotion) -> list[Finding]:
    if not _moves(plan, frames) or len(frames) < 2:
        return []
    judged = [motion.speeds[role] for role in (FOREGROUND, SUBJECT) if role in motion.speeds]
    judged.append(motion.speeds.get(BACKGROUND, motion.speeds[FAR]))
    limit = speed.speed_limit("brisk")
    fastest = max(judged, key=lambda moving: moving.worst_px)
    if speed.frame_widths_a_second(plan, fastest.worst_px) > limit:
        return [_too_fast(plan, frames, motion, fastest, limit)]
    if all(
        speed.frame_widths_a_second(plan, moving.worst_px) <= speed.speed_limit("creeping")
        for moving in judged
    ):
        return [_creeping(plan, frames, fastest)]
    return []


def _too_fast(
    plan: Plan, frames: FrameTable, motion: WatchedMotion, moving: RoleSpeed, limit: float
) -> Finding:
    widths = speed.frame_widths_a_second(plan, moving.px_per_frame)
    with np.errstate(invalid="ignore"):
        first_last = span(np.append(widths > limit, False))
    worst = moving.worst
    most = float(widths[worst])
    far = motion.speeds[FAR].worst_px
    turns = far > moving.worst_px / 2.0
    far_too_fast = bool(speed.frame_widths_a_second(plan, far) > limit)
    slower, ways = _slower(plan, frames, most, turns=turns)
    return Finding(
        code="screen-speed",
        level="warn",
        frames=first_last,
        value=most,
        limit=limit,
        unit="frame widths a second",
        facts=(
            *_watched_facts(plan, moving, worst),
            *facts(speed=(moving.worst_px, "px a frame"), worst_frame=worst + 1, fitted=far_too_fast),
            *slower,
        ),
        remedies=ways,
        blocks=_named(plan, moving),
        fit="travel" if far_too_fast or not turns else "",
    )


def _slower(
    plan: Plan, frames: FrameTable, widths: float, *, turns: bool
) -> tuple[tuple[Quantity, ...], tuple[Remedy, ...]]:
    """What would make a calm move of one that is too fast for the eye: less of the turn or the slide, or more
    frames.

    turns: it is pan and tilt that move the picture.
    """
    factor = speed.speed_limit("calm") / widths
    count = math.ceil(plan.shoot.frames / factor)
    used = 0.0 if frames.slide_m is None else float(np.ptp(frames.slide_m))
    if turns or used == 0.0:
        pan, tilt = float(np.ptp(frames.lens_bearing_deg)), float(np.ptp(frames.lens_altitude_deg))
        narrower = remedies.narrowed(plan, "pan_deg" if pan >= tilt else "tilt_deg", factor)
        reduced, amount, unit, whole = "turn", max(pan, tilt), "°", False
    else:
        slide = plan.rig.slide
        narrower = remedies.narrowed(plan, "slide_m", factor)
        reduced, amount, unit = "travel", used, "m"
        whole = slide is not None and used >= WHOLE_RAIL * (slide.max_m - slide.min_m)
    told = facts(
        reduced=reduced,
        now=(amount, unit),
        calm=(amount * factor, unit),
        whole_rail=whole,
        frames_now=plan.shoot.frames,
        calm_frames=count,
    )
    more = remedies.more_frames(plan, count) if count <= MOST_TIMES * plan.shoot.frames else ()
    return told, (*narrower, *more)


def _creeping(plan: Plan, frames: FrameTable, moving: RoleSpeed) -> Finding:
    slides = frames.slide_m is not None and np.ptp(frames.slide_m) > 0.0
    widths = float(speed.frame_widths_a_second(plan, moving.worst_px))
    return Finding(
        code="screen-speed",
        level="note",
        value=widths,
        limit=speed.speed_limit("creeping"),
        unit="frame widths a second",
        facts=(
            *_watched_facts(plan, moving, moving.worst),
            *facts(speed=(moving.worst_px, "px a frame"), slides=bool(slides)),
        ),
        blocks=_named(plan, moving),
        fit="travel",
    )


def _named(plan: Plan, moving: RoleSpeed) -> tuple[str, ...]:
    block = int(moving.block[moving.worst])
    return (block_label(plan, block),) if block >= 0 else ()


def _travel(plan: Plan, frames: FrameTable, motion: WatchedMotion) -> list[Finding]:
    """A rail that is carried along and used little, while the slide moves nothing much on screen."""
    slide = plan.rig.slide
    if slide is None or frames.slide_m is None or len(frames) < 2:
        return []
    length, used = slide.max_m - slide.min_m, float(np.ptp(frames.slide_m))
    nearest_m = float(frames.view.visibility.nearest.distance_m.min(initial=np.inf))
    # by the slide alone: f·d/Z, whatever pan and tilt add
    pace = float(np.abs(np.diff(frames.slide_m)).max())
    px = pace * delivered_crop(plan.camera, plan.clip).focal_px / max(nearest_m, NEAR_M)
    slow = speed.frame_widths_a_second(plan, px) <= speed.speed_limit("creeping")
    if used >= WHOLE_RAIL * length and FOREGROUND not in motion.speeds and nearest_m >= NEAR_BY_M:
        return [_whole_rail_for_nothing(used, length)]
    unused = used < UNUSED_M
    if used >= LITTLE_OF_THE_RAIL * length or not (unused or slow):
        return []
    return [
        Finding(
            code="travel-unused",
            level="note",
            value=used,
            limit=LITTLE_OF_THE_RAIL * length,
            unit="m",
            facts=facts(
                unused=unused,
                rail=(length, "m"),
                speed=(px, "px a frame"),
                widths=(float(speed.frame_widths_a_second(plan, px)), "frame widths a second"),
            ),
            fit="" if unused else "travel",
        )
    ]


def _whole_rail_for_nothing(used: float, length: float) -> Finding:
    return Finding(
        code="travel-whole",
        level="warn",
        value=used,
        limit=WHOLE_RAIL * length,
        unit="m",
        facts=facts(rail=(length, "m")),
        fit="travel",
    )


def _motion_blur(plan: Plan, frames: FrameTable, motion: WatchedMotion) -> list[Finding]:
    """What the move smears while the shutter is open; with shoot-move-shoot the rig rests then."""
    if plan.move.drive != "continuous" or frames.ramp is None or len(frames) < 2:
        return []
    shutter = frames.ramp.shutter_s[:-1]
    blurs = {
        role: drive.blur_px(moving.px_per_frame, plan.shoot.interval_s, shutter)
        for role, moving in motion.speeds.items()
        if role in (SUBJECT, BACKGROUND) or (role == FAR and BACKGROUND not in motion.speeds)
    }
    role = max(blurs, key=lambda name: float(np.nanmax(blurs[name])))
    blur = np.nan_to_num(blurs[role])
    first_last = span(np.append(blur > VISIBLE_BLUR_PX, False))
    if first_last is None:
        return []
    worst = int(np.argmax(blur))
    front = None
    if FOREGROUND in motion.speeds:
        smeared = drive.blur_px(motion.speeds[FOREGROUND].px_per_frame, plan.shoot.interval_s, shutter)
        front = float(np.nanmax(smeared))
    short_s = float(shutter[worst] * VISIBLE_BLUR_PX / blur[worst])
    return [
        Finding(
            code="motion-blur",
            level="warn",
            frames=first_last,
            value=float(blur[worst]),
            limit=VISIBLE_BLUR_PX,
            unit="px",
            facts=(
                *_watched_facts(plan, motion.speeds[role], worst),
                *facts(
                    foreground_blur=(front, "px"),
                    shutter=(float(shutter[worst]), "s"),
                    worst_frame=worst + 1,
                    short_enough=(short_s, "s"),
                ),
            ),
            remedies=(
                Remedy(changes={"move.drive": "shoot-move-shoot"}),
                *remedies.held_exposure(plan, frames, short_s),
            ),
        )
    ]


# ---------------------------------------------------------------- the rig in its own picture


@frozen(kw_only=True, eq=False)
class _RigShown:
    """A part of the rig in the picture: on which frames, on which the most of it, and how near."""

    part: str
    frames: tuple[int, int]
    most_frame: int
    nearest_m: float
    rise_deg: float  # to tilt up by, until none of it is inside
    side_deg: float  # to pan by to the nearer side


@of_the_view
def _rig_shown(view: View) -> _RigShown | None:
    plan = view.plan
    for part, points in (
        ("rail", geometry.rail_points_m(plan)),
        ("rig's stand", geometry.leg_points_m(plan)),
    ):
        if not len(points):
            continue
        track = projection.point_paths(plan, points, view.camera_m, view.camera_rotation)
        inside = projection.in_picture(plan, track)
        first_last = span(inside.any(axis=1))
        if first_last is None:
            continue
        rise, side = _way_out_deg(plan, track, inside)
        return _RigShown(
            part=part,
            frames=first_last,
            most_frame=int(np.argmax(inside.sum(axis=1))) + 1,
            nearest_m=float(np.min(np.where(inside, track.depth_m, np.inf))),
            rise_deg=rise,
            side_deg=side,
        )
    return None


def _rail_in_frame(plan: Plan, frames: FrameTable) -> list[Finding]:
    shown = _rig_shown(frames.view)
    if shown is None:
        return []
    rise, side = shown.rise_deg, shown.side_deg
    return [
        Finding(
            code="rail-in-frame",
            level="warn",
            frames=shown.frames,
            value=min(rise, side),
            limit=0.0,
            unit="°",
            facts=facts(
                part=shown.part,
                most_frame=shown.most_frame,
                nearest=(shown.nearest_m, "m"),
                tilt_up=(rise, "°"),
                turn_away=(side, "°"),
            ),
            remedies=(
                *remedies.shifted(plan, "tilt_deg", math.ceil(rise * 2.0) / 2.0),
                *remedies.shifted(plan, "pan_deg", math.ceil(side * 2.0) / 2.0),
                *remedies.shifted(plan, "pan_deg", -math.ceil(side * 2.0) / 2.0),
            ),
        )
    ]


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
    lit = np.flatnonzero(frames.sun_altitude_deg > 0.0)
    if not len(lit):
        return []
    carriage = geometry.carriage_position_m(plan, frames.slide_m)
    camera_m, rotation = frames.camera_m[lit], frames.camera_rotation[lit]
    beside = np.broadcast_to(carriage, frames.camera_m.shape)[lit]
    parts = np.stack([camera_m, beside], axis=1)
    fallen, distance = geometry.shadow_on_ground_m(plan, parts, frames.sun_direction[lit, None, :])
    dark = distance * SUN_WIDTH_RAD < CAMERA_WIDTH_M
    if not dark.any():
        return []
    xy, depth = project_px(plan, fallen, camera_m[:, None], rotation[:, None])
    track = PointPaths(x_px=xy[..., 0], y_px=xy[..., 1], depth_m=depth)
    shown_lit = (projection.in_picture(plan, track) & dark).any(axis=1)
    shown = np.zeros(len(frames), dtype=bool)
    shown[lit] = shown_lit
    first_last = span(shown)
    if first_last is None:
        return []
    first = int(np.flatnonzero(shown)[0])
    length = float(np.nanmin(depth[shown_lit]))
    return [
        Finding(
            code="rig-shadow",
            level="warn",
            frames=first_last,
            value=length,
            unit="m",
            facts=facts(
                sun_altitude=(float(frames.sun_altitude_deg[first]), "°"),
                first_frame=first + 1,
            ),
        )
    ]


# ---------------------------------------------------------------- what to bring and why


def _reason(plan: Plan, frames: FrameTable) -> list[Finding]:
    if plan.reason.strip() or not _moves(plan, frames):
        return []
    return [
        Finding(
            code="no-reason",
            level="note",
        )
    ]


# ---------------------------------------------------------------- numbers


def _summary(
    plan: Plan, frames: FrameTable, motion: WatchedMotion, step_error_px: float | None
) -> RigSummary:
    shoot, zone = plan.shoot, plan.zone
    wanted = _wanted_shutter_s(frames)
    shutter = np.zeros(len(frames)) if wanted is None else wanted
    first, last = float(frames.utc_s[0]), float(frames.utc_s[-1])
    arrive = first - shoot.setup_s
    travel = {
        axis.label: float(np.abs(np.diff(position)).sum())
        for axis, position in drive.motorised(plan, frames.axes)
    }

    def local(utc_s: float) -> str:
        return local_datetime(utc_s, zone).isoformat(timespec="seconds")

    return RigSummary(
        frames=shoot.frames,
        interval_s=shoot.interval_s,
        clip_s=shoot.frames / plan.clip.fps,
        shoot_length=duration_text(shoot_length_s(frames)),
        shoot_length_s=shoot_length_s(frames),
        leave_home=local(arrive - shoot.travel_s) if shoot.travel_s else None,
        arrive=local(arrive),
        first_frame=local(first),
        last_frame=local(last),
        end=local(end_utc_s(frames)),
        shortest_interval_s=float(np.max(drive.time_needed_s(plan, frames.axes, shutter))),
        slide_travel_m=travel.get("slide"),
        pan_travel_deg=travel.get("pan"),
        tilt_travel_deg=travel.get("tilt"),
        foreground=_screen_speed_of(plan, motion, FOREGROUND),
        subject=_screen_speed_of(plan, motion, SUBJECT),
        background=_screen_speed_of(plan, motion, BACKGROUND),
        far_distance=None if BACKGROUND in motion.speeds else _screen_speed_of(plan, motion, FAR),
        card_gb=card_gb(plan),
        step_error_px=step_error_px,
    )


def _screen_speed_of(plan: Plan, motion: WatchedMotion, role: str) -> ScreenSpeed | None:
    if role not in motion.speeds:
        return None
    px = motion.speeds[role].worst_px
    return ScreenSpeed(px_a_frame=px, speed=speed.speed_word(float(speed.frame_widths_a_second(plan, px))))
