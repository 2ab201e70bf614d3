"""One value of a plan, read or changed by its path as the plan file has it: `rig.slide.max_m`,
`move.poses[2].at`.

What belongs here: changes of a plan that know nothing of Blender. Every one returns a new plan, or raises
PlanError with the whole path.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from planner_core.maths.angles import compass_deg, unwound_deg
from planner_core.plan import timeline
from planner_core.plan.changes import Step, steps_of
from planner_core.plan.model import Anchor, Plan, PlanError, Pose, Rig, SlideAxis, Tide, TurnAxis
from planner_core.rig import geometry, motion
from planner_core.words.language import phrase

AXES = {"slide": "slide_m", "pan": "pan_deg", "tilt": "tilt_deg"}
PLACE_DECIMALS = 6  # of a place in the move: a thousandth of a second in an evening


def evolved(plan: Plan, path: str, value: Any) -> Plan:
    """The plan with another value at a path. Raises PlanError, naming the whole path."""
    result = _evolved(plan, steps_of(path), value)
    assert isinstance(result, Plan)
    return result


def _evolved(part: Any, steps: Sequence[Step], value: Any) -> Any:
    if not steps:
        return value
    if part is None:
        raise PlanError("", None, "is not in the plan; switch it on first")
    step, rest = steps[0], steps[1:]
    if isinstance(step, int):
        changed = _inside(part[step], f"[{step}]", rest, value)
        return (*part[:step], changed, *part[step + 1 :])
    changed = _inside(getattr(part, step), step, rest, value)
    return attrs.evolve(part, **{step: changed})


def _inside(part: Any, name: str, rest: Sequence[Step], value: Any) -> Any:
    try:
        return _evolved(part, rest, value)
    except PlanError as error:
        raise error.under(name) from None


def tidy(number: float) -> float:
    """The shortest decimal that single precision can't tell from a number: 43.459999 as it was typed,
    43.46.
    """
    if not math.isfinite(number):
        return number
    return float(np.format_float_positional(np.float32(number), unique=True))


def tidy_degrees(radians: float) -> float:
    """Degrees of an angle that Blender keeps in radians, to the ten-thousandth that single precision
    holds.
    """
    return round(math.degrees(radians), 4) + 0.0


# ---------------------------------------------------------------- the rig's axes


def with_axis(plan: Plan, axis: str, part: SlideAxis | TurnAxis) -> Plan:
    """The plan with an axis given to the rig; where poses already say where it stands, they keep it."""
    values = [v for pose in plan.move.poses if (v := getattr(pose, AXES[axis])) is not None]
    if isinstance(part, TurnAxis) and values:
        part = attrs.evolve(part, min_deg=min(part.min_deg, *values), max_deg=max(part.max_deg, *values))
    return evolved(plan, f"rig.{axis}", part)


def without_axis(plan: Plan, axis: str) -> Plan:
    """The plan with an axis taken from the rig. A head that can't turn keeps its first bearing."""
    name = AXES[axis]
    first = None if axis == "slide" else getattr(plan.move.poses[0], name)
    poses = tuple(_evolved(pose, [name], first) for pose in plan.move.poses)
    return attrs.evolve(plan, rig=_evolved(plan.rig, [axis], None), move=attrs.evolve(plan.move, poses=poses))


# ---------------------------------------------------------------- poses


def axes_at(plan: Plan, at: float) -> dict[str, float]:
    """Where each axis that has a value stands at a place of the move: slide_m, pan_deg, tilt_deg."""
    axes = motion.axis_positions(plan, np.array([at]))
    return {name: round(float(value[0]), 6) for name, value in axes.given()}


def with_pose(plan: Plan, pose: Pose) -> tuple[Plan, int]:
    """The plan with a pose added, or put in place of the one at the same place; and the pose's number
    from 0.
    """
    others = [other for other in plan.move.poses if abs(other.at - pose.at) > 0.5e-6]
    poses = tuple(sorted([*others, pose], key=lambda entry: entry.at))
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses)), poses.index(pose)


def without_pose(plan: Plan, number: int) -> Plan:
    """The plan with a pose left out. Raises PlanError for the only one."""
    poses = plan.move.poses
    if len(poses) == 1:
        raise PlanError("move.poses", [0], "is the only pose; a move needs one at least")
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=(*poses[:number], *poses[number + 1 :])))


def with_poses_swapped(plan: Plan, one: int, other: int) -> Plan:
    """The plan with two poses having changed places in the move: the places stay, what the axes do there
    swaps.
    """
    poses = list(plan.move.poses)
    first, second = poses[one], poses[other]
    poses[one], poses[other] = attrs.evolve(second, at=first.at), attrs.evolve(first, at=second.at)
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=tuple(poses)))


def moved_to(plan: Plan, number: int, at: float) -> tuple[Plan, int]:
    """The plan with a pose at another place, kept between 0 and 1, in the order of the move; and its new
    number.

    Raises PlanError where another pose stands there already.
    """
    pose = attrs.evolve(plan.move.poses[number], at=round(min(max(at, 0.0), 1.0), PLACE_DECIMALS))
    for other, standing in enumerate(plan.move.poses):
        if other != number and abs(standing.at - pose.at) < 0.5e-6:
            raise PlanError(
                f"move.poses[{number}].at",
                pose.at,
                "is also the place of pose {other}; choose another",
                other=other + 1,
            )
    others = [p for i, p in enumerate(plan.move.poses) if i != number]
    poses = tuple(sorted([*others, pose], key=lambda entry: entry.at))
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses)), poses.index(pose)


def pose_from_view(
    plan: Plan, number: int, eye_m: Sequence[float], ahead: Sequence[float]
) -> tuple[Plan, tuple[str, ...]]:
    """The plan with a pose as near as the rig gets to a view: an eye (scene metres) and the way it looks.

    The carriage goes to the nearest place on the rail from where the lens is nearest the eye, and the head
    turns the way that is nearest to where the pose looked. Also returned: what the rig could not do, as
    sentences.
    """
    pose, said = plan.move.poses[number], list[str]()
    bearing, altitude = (float(v) for v in geometry.bearing_and_altitude(ahead, plan.site.scene_north_deg))
    changes: dict[str, float] = {}
    if plan.rig.pan is not None:
        nearest = _nearest_turn(bearing, axes_at(plan, pose.at)["pan_deg"])
        changes["pan_deg"] = _held(nearest, plan.rig.pan, "pan", said)
    if plan.rig.tilt is not None:
        changes["tilt_deg"] = _held(altitude, plan.rig.tilt, "tilt", said)
    if plan.rig.slide is not None:
        look = geometry.direction(
            changes.get("pan_deg", bearing), changes.get("tilt_deg", altitude), plan.site.scene_north_deg
        )
        head = np.asarray(eye_m) - plan.rig.pupil_offset_m * look - [0.0, 0.0, plan.rig.head_height_m]
        along = float((head - np.asarray(plan.rig.origin_m)) @ geometry.rail_direction(plan))
        slide = plan.rig.slide
        changes["slide_m"] = round(min(max(along, slide.min_m), slide.max_m), 4)
        if not slide.min_m - 0.005 <= along <= slide.max_m + 0.005:
            ends = "The rail ends at {end:.2f} m; the view is {along:.2f} m along it."
            said.append(phrase(ends, end=changes["slide_m"], along=along))
    if not changes:
        raise PlanError("rig", None, "has no axis to stand elsewhere with; give it a slide, pan or tilt")
    new = attrs.evolve(
        plan,
        move=attrs.evolve(
            plan.move,
            poses=(
                *plan.move.poses[:number],
                attrs.evolve(pose, **changes),
                *plan.move.poses[number + 1 :],
            ),
        ),
    )
    position = geometry.camera_position_m(
        new,
        changes.get("slide_m"),
        changes.get("pan_deg", bearing),
        changes.get("tilt_deg", altitude),
    )
    off = float(np.linalg.norm(np.asarray(position) - np.asarray(eye_m)))
    if off > 0.05:
        said.append(
            phrase("The lens stands {off:.2f} m from the view; move the rail to come nearer.", off=off)
        )
    return new, tuple(said)


def _nearest_turn(bearing_deg: float, near_deg: float) -> float:
    """The same bearing, with whole turns added, that is nearest to another."""
    return round(unwound_deg(bearing_deg, near_deg), 3)


def _held(value_deg: float, axis: TurnAxis, name: str, said: list[str]) -> float:
    """A value within an axis's range, with whole turns tried for a pan; what was limited is said."""
    for turns in (0.0, 360.0, -360.0):
        if name == "pan" and axis.min_deg <= value_deg + turns <= axis.max_deg:
            return round(value_deg + turns, 3)
    held = min(max(value_deg, axis.min_deg), axis.max_deg)
    if abs(held - value_deg) > 0.05:
        ends = "The {axis} ends at {end:.1f}°; the view is at {view:.1f}°."
        said.append(phrase(ends, axis=phrase(name), end=held, view=value_deg))
    return round(held, 3)


# ---------------------------------------------------------------- when


def with_start(plan: Plan) -> Plan:
    """The plan with its anchor replaced by the local time at which the first frame falls now."""
    start = timeline.local_datetime(round(timeline.start_utc_s(plan)), plan.zone)
    plain = start.replace(tzinfo=None, fold=0)
    shoot = attrs.evolve(plan.shoot, anchor=None, start=plain)
    changed = attrs.evolve(plan, shoot=shoot)
    try:
        timeline.start_utc_s(changed)
    except PlanError:  # an hour that happens twice: keep the offset
        changed = attrs.evolve(plan, shoot=attrs.evolve(shoot, start=start))
    return changed


def with_anchor(plan: Plan, event: str, at: float = 0.5) -> Plan:
    """The plan with its start replaced by a light event of the same date, at a place in the move."""
    first = timeline.local_datetime(timeline.start_utc_s(plan), plan.zone)
    anchor = Anchor(event=event, date=first.date(), at=at)
    return attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, anchor=anchor, start=None))


def with_days_added(plan: Plan, days: int) -> Plan:
    """The same plan some days later (or earlier, where negative)."""
    shoot = plan.shoot
    try:
        if shoot.anchor is not None:
            date = shoot.anchor.date + dt.timedelta(days=days)
            return attrs.evolve(plan, shoot=attrs.evolve(shoot, anchor=attrs.evolve(shoot.anchor, date=date)))
        assert shoot.start is not None
        start = shoot.start.replace(tzinfo=None) + dt.timedelta(days=days)
    except OverflowError:
        raise PlanError("shoot", days, "days on is beyond the calendar") from None
    except PlanError as error:
        raise error.under("shoot.anchor") from None
    return attrs.evolve(plan, shoot=attrs.evolve(shoot, start=start))


def parse_date(text: str, path: str) -> dt.date:
    """A date as typed. Raises PlanError."""
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        raise PlanError(path, text, "is not a date of the calendar; write it as 2027-03-14") from None


def parse_start(text: str, path: str) -> dt.datetime:
    """A local time as typed, with or without seconds. Raises PlanError."""
    try:
        if not re.search(r"\d[T ]\d", text.strip()):
            raise ValueError(text)
        return dt.datetime.fromisoformat(text.strip())
    except ValueError:
        raise PlanError(path, text, "is not a local time; write it as 2027-03-14 17:20") from None


def parse_tides(text: str, path: str) -> tuple[Tide, ...]:
    """High and low waters as typed, commas between them: 2027-03-14 13:10 0.6, … Raises PlanError."""
    waters = []
    for part in (part.strip() for part in text.replace(";", ",").split(",")):
        if not part:
            continue
        time, _, height = part.rpartition(" ")
        try:
            number = float(height.removesuffix("m"))
        except ValueError:
            raise PlanError(path, part, "is not a water; write it as 2027-03-14 13:10 0.6") from None
        waters.append(Tide(time=parse_start(time, path), height_m=number))
    return tuple(waters)


def tides_text(tides: tuple[Tide, ...]) -> str:
    """High and low waters as parse_tides reads them."""
    return ", ".join(f"{tide.time.isoformat(' ', 'minutes')} {tide.height_m:g}" for tide in tides)


def parse_shutter(text: str, path: str) -> float:
    """A shutter time as typed, in seconds: 1/125, 0.5, 5 s. Raises PlanError."""
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:/\s*(\d+(?:\.\d+)?))?\s*s?\s*", text)
    if not match or float(match[2] or 1.0) == 0.0:
        raise PlanError(path, text, "is not a shutter time; write it as 1/125 or 5")
    return float(match[1]) / float(match[2] or 1.0)


def with_pans_turned(plan: Plan, turn_deg: float) -> Plan:
    """The plan with every pose's pan turned clockwise, as when the rail turns with the head on it."""
    poses = _pans_turned(plan.move.poses, turn_deg)
    return attrs.evolve(
        plan,
        rig=attrs.evolve(plan.rig, pan=_range_around(plan.rig.pan, poses)),
        move=attrs.evolve(plan.move, poses=poses),
    )


def _pans_turned(poses: tuple[Pose, ...], turn_deg: float) -> tuple[Pose, ...]:
    return tuple(
        p if p.pan_deg is None else attrs.evolve(p, pan_deg=round(p.pan_deg + turn_deg, 3)) for p in poses
    )


def _range_around(pan: TurnAxis | None, poses: tuple[Pose, ...]) -> TurnAxis | None:
    """The pan's range, as wide as before, moved to hold every pose where it doesn't."""
    values = [p.pan_deg for p in poses if p.pan_deg is not None]
    if pan is None or not values or (min(values) >= pan.min_deg and max(values) <= pan.max_deg):
        return pan
    middle_deg, half = (min(values) + max(values)) / 2.0, (pan.max_deg - pan.min_deg) / 2.0
    return attrs.evolve(pan, min_deg=round(middle_deg - half, 3), max_deg=round(middle_deg + half, 3))


def rail_placed(
    plan: Plan,
    origin_m: Sequence[float],
    bearing_deg: float | None = None,
    aim_m: ArrayLike | None = None,
) -> Plan:
    """The plan with its rail's start at a point, turned to a bearing.

    Where a point to aim at is given, the rail lies across the way to it, and every pose's pan turns along, so
    that the middle of the move looks there.
    """
    rig_now: Rig = plan.rig
    x, y, z = (round(float(v), 4) for v in origin_m)
    origin = (x, y, z)
    poses = plan.move.poses
    if aim_m is not None:
        aim, _ = (
            float(v)
            for v in geometry.bearing_and_altitude(
                np.asarray(aim_m, dtype=np.float64) - np.asarray(origin), plan.site.scene_north_deg
            )
        )
        bearing_deg = compass_deg(aim + 90.0) if bearing_deg is None else bearing_deg
        middle = axes_at(plan, (poses[0].at + poses[-1].at) / 2.0)
        if "pan_deg" in middle:
            turn = _nearest_turn(aim, middle["pan_deg"]) - middle["pan_deg"]
            poses = _pans_turned(poses, turn)
    bearing = rig_now.bearing_deg if bearing_deg is None else round(bearing_deg, 3)
    pan = _range_around(rig_now.pan, poses)
    return attrs.evolve(
        plan,
        rig=attrs.evolve(rig_now, origin_m=origin, bearing_deg=bearing, pan=pan),
        move=attrs.evolve(plan.move, poses=poses),
    )
