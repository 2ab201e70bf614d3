"""Axis positions to programme a rig with: a plain table, in no manufacturer's format, and values to type by
hand.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.frames import FrameTable
from planner_core.picture import projection, speed
from planner_core.plan.model import Plan
from planner_core.plan.timeline import local_datetime
from planner_core.rig import drive, motion
from planner_core.rig.axes import AxisPositions
from planner_core.rig.camera import camera_pose
from planner_core.rig.drive import AxisLimits

Array = NDArray[np.float64]

# What a person reads off a scale and types: a millimetre, a tenth of a degree. Common practice, no source.
TYPED_STEP = {"m": 0.001, "°": 0.1}


def axes_csv(plan: Plan, frames: FrameTable) -> str:
    """A row for each pose, then a row for each frame, with the motorised axes' values as CSV.

    For each axis: its value, its value from the first row of the kind, the way from the row before, the
    shortest time for that way from rest to rest, and the value to type by hand. typed_error_px says how far
    off the picture is, in clip pixels at worst, where all axes stand on the typed values.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["row", "number", "at", "after_s", "local", *_axis_columns(plan), "typed_error_px"])
    writer.writerows(_rows(plan, frames, "pose", np.array([pose.at for pose in plan.move.poses])))
    writer.writerows(_rows(plan, frames, "frame", frames.at))
    return out.getvalue()


def typed(axis: AxisLimits, position: ArrayLike) -> Array:
    """Values rounded for typing, in the axis's unit, any shape; still inside the axis's range."""
    step = TYPED_STEP[axis.unit]
    position = np.asarray(position, dtype=np.float64)
    rounded = np.rint(position / step)
    lowest, highest = np.ceil(axis.low / step - 1e-9), np.floor(axis.high / step + 1e-9)
    inside = (axis.low <= position) & (position <= axis.high) & (lowest <= highest)
    return step * np.where(inside, np.clip(rounded, lowest, highest), rounded)


def typed_plan(plan: Plan) -> Plan:
    """The plan with its poses as a person would type them."""
    limits = {axis.name: axis for axis in drive.axis_limits(plan)}
    poses = tuple(
        attrs.evolve(
            pose,
            **{
                name: round(float(typed(axis, value)), 6)
                for name, axis in limits.items()
                if (value := getattr(pose, name)) is not None
            },
        )
        for pose in plan.move.poses
    )
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses))


def typed_plan_error_px(plan: Plan, frames: FrameTable) -> Array:
    """How far off each frame's picture is, clip pixels at worst, where the poses are typed; (frames,)."""
    planned = motion.axis_positions(plan, frames.at)
    typed_axes = motion.axis_positions(typed_plan(plan), frames.at)
    return _error_px(plan, frames, len(frames), planned, typed_axes)


def _axis_columns(plan: Plan) -> Iterator[str]:
    for axis in drive.axis_limits(plan):
        unit = _unit(axis)
        yield f"{axis.label}_{unit}"
        yield f"{axis.label}_from_start_{unit}"
        yield f"{axis.label}_increment_{unit}"
        yield f"{axis.label}_move_s"
        yield f"{axis.label}_typed_{_typed_unit(axis)}"


def _unit(axis: AxisLimits) -> str:
    return "m" if axis.unit == "m" else "deg"


def _typed_unit(axis: AxisLimits) -> str:
    return "mm" if axis.unit == "m" else "deg"


def _rows(plan: Plan, frames: FrameTable, kind: str, at: Array) -> Iterator[list[Any]]:
    values = rounded = motion.axis_positions(plan, at)
    after_s = at * plan.duration_s
    columns: list[list[Any]] = [
        [kind] * len(at),
        list(range(1, len(at) + 1)),
        [_cell(value) for value in at],
        [f"{value:.3f}" for value in after_s],
        [_local(plan, frames.utc_s[0] + value) for value in after_s],
    ]
    for axis in drive.axis_limits(plan):
        position = values.of(axis.name)
        assert position is not None
        rounded = rounded.replacing(axis.name, typed(axis, position))
        columns += _axis_cells(axis, position, typed(axis, position))
    columns.append([f"{error:.2f}" for error in _error_px(plan, frames, len(at), values, rounded)])
    yield from (list(row) for row in zip(*columns, strict=True))


def _axis_cells(axis: AxisLimits, position: Array, by_hand: Array) -> list[list[str]]:
    increments = np.diff(position)
    times = drive.move_time_s(increments, axis.max_speed, axis.max_acceleration)
    in_typed_unit = by_hand * (1000.0 if axis.unit == "m" else 1.0)
    places = 0 if axis.unit == "m" else 1
    return [
        [_cell(value) for value in position],
        [_cell(value) for value in position - position[0]],
        ["", *(_cell(value) for value in increments)],
        ["", *(f"{value:.3f}" for value in times)],
        [f"{value + 0.0:.{places}f}" for value in in_typed_unit],
    ]


def _cell(value: float) -> str:
    return f"{value:.6f}"


def _local(plan: Plan, utc_s: float) -> str:
    return local_datetime(float(utc_s), plan.zone).isoformat(timespec="seconds")


def _error_px(
    plan: Plan,
    frames: FrameTable,
    count: int,
    meant: AxisPositions,
    real: AxisPositions,
) -> Array:
    watched = speed.watched_points(plan, frames.camera_m, frames.camera_rotation)
    poses = [camera_pose(plan, axes, (count,)) for axes in (meant, real)]
    there, here = (
        projection.point_paths(plan, watched.points_m, pose.camera_m, pose.camera_rotation) for pose in poses
    )
    return speed.shift_px(plan, there, here)
