"""Poses aimed at the subject: where pan and tilt have to stand for it to be in the picture."""

from __future__ import annotations

from itertools import product

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.angles import wrapped_deg
from planner_core.picture import composition
from planner_core.picture.composition import AIR
from planner_core.place import blocking
from planner_core.plan.model import Plan
from planner_core.rig import geometry
from planner_core.rig.camera import CameraPath, camera_path
from planner_core.rig.drive import axis_limits

Array = NDArray[np.float64]

# Focal lengths that are sold, for who doesn't say what is in the bag; from memory
LENSES_MM = (14.0, 16.0, 20.0, 24.0, 28.0, 35.0, 50.0, 85.0, 105.0, 135.0, 200.0, 300.0, 400.0)
WHOLE_TURN_DEG = 350.0  # of a head that goes all the way round, or nearly
DIGITS = 1  # of a degree, as one sets a pose by hand


@frozen(kw_only=True, eq=False)
class _Subject:
    """The subject from each pose, degrees off the lens axis, (poses, 2): pan first, then tilt."""

    low_deg: Array
    high_deg: Array

    @property
    def middle_deg(self) -> Array:
        return (self.low_deg + self.high_deg) / 2.0

    def inside(self, half_deg: Array) -> NDArray[np.bool_]:
        """Whether it is within the view, (poses, 2)."""
        return np.asarray((self.low_deg >= -half_deg) & (self.high_deg <= half_deg))


def aimed_poses(plan: Plan, *, every_pose: bool = False) -> dict[str, float]:
    """What to set, by path, so that the subject is in the picture at each pose; empty where there is nothing.

    Only the poses that miss it are turned, to where the others have it, or all of them. Poses before a
    reveal are left alone.
    """
    if not blocking.subject_parts(plan):
        return {}
    places = np.array([pose.at for pose in plan.move.poses])
    path = camera_path(plan, places)
    half_deg = np.array(composition.view_deg(plan)) * (0.5 - AIR)
    seen = _subject_from(plan, path)
    inside = seen.inside(half_deg)
    judged = composition.judged(plan, places)
    changes: dict[str, float] = {}
    lens = np.column_stack([path.lens_bearing_deg, path.lens_altitude_deg])
    for axis, name in enumerate(("pan_deg", "tilt_deg")):
        good = inside[:, axis] & judged
        kept = float(seen.middle_deg[good, axis].mean()) if good.any() else 0.0
        turned = lens[:, axis] + seen.middle_deg[:, axis] - kept
        chosen = judged if every_pose else judged & ~inside[:, axis]
        changes |= _set_to(plan, name, turned, chosen)
    return changes


def _subject_from(plan: Plan, path: CameraPath) -> _Subject:
    boxes = blocking.bounding_boxes(plan)
    corners = boxes.corners_m[np.isin(boxes.block, blocking.subject_parts(plan))].reshape(-1, 3)
    bearing, altitude = geometry.bearing_and_altitude(
        corners - path.camera_m[:, None], plan.site.scene_north_deg
    )
    off = np.stack(
        [
            wrapped_deg(bearing - path.lens_bearing_deg[:, None]),
            altitude - path.lens_altitude_deg[:, None],
        ],
        axis=-1,
    )
    return _Subject(low_deg=off.min(axis=1), high_deg=off.max(axis=1))


def _set_to(plan: Plan, name: str, values: Array, chosen: NDArray[np.bool_]) -> dict[str, float]:
    """The chosen poses' values of an axis, each in its range, or one for all where it has no motor."""
    if not chosen.any():
        return {}
    limits = {axis.name: axis for axis in axis_limits(plan)}
    if name not in limits:
        values, chosen = np.full(len(values), values[chosen].mean()), np.ones(len(values), dtype=bool)
    changes = {}
    before: float | None = None
    for index, pose in enumerate(plan.move.poses):
        if not chosen[index]:
            before = getattr(pose, name) if getattr(pose, name) is not None else before
            continue
        value = round(float(values[index]), DIGITS)
        if name in limits:
            value = _in_range(value, limits[name].low, limits[name].high, name == "pan_deg", before)
        before = changes[f"move.poses[{index}].{name}"] = round(value, DIGITS)
    return changes


def _in_range(value: float, low: float, high: float, turns: bool, before: float | None) -> float:
    """The value, or the same bearing a turn on, within the range: of several the nearest to that before."""
    same = (value, value - 360.0, value + 360.0) if turns else (value,)
    reached = [each for each in same if low <= each <= high]
    if not reached:
        return min(max(value, low), high)
    return reached[0] if before is None else min(reached, key=lambda each: abs(each - before))


def short_way_round(plan: Plan) -> dict[str, float]:
    """Pans of more than half a turn from pose to pose made the short way, by path; empty where there is none,
    or where the head can't turn so.

    A head that turns all the way round may have to be set up with its stop on the other side for that.
    """
    limits = next((axis for axis in axis_limits(plan) if axis.name == "pan_deg"), None)
    given = {i: pose.pan_deg for i, pose in enumerate(plan.move.poses) if pose.pan_deg is not None}
    if limits is None or len(given) < 2:
        return {}
    turned = np.degrees(np.unwrap(np.radians(list(given.values()))))
    if np.allclose(turned, list(given.values())):
        return {}
    bases = [0.0] if limits.high - limits.low < WHOLE_TURN_DEG else [0.0, -180.0, 180.0]
    for base, by in product(bases, (0.0, 360.0, -360.0)):
        low, high = limits.low + base, limits.high + base
        if low <= turned.min() + by and turned.max() + by <= high:
            new = {i: round(float(value) + by, 6) for i, value in zip(given, turned, strict=True)}
            head = {"rig.pan.min_deg": low, "rig.pan.max_deg": high} if base else {}
            return head | {f"move.poses[{i}].pan_deg": v for i, v in new.items() if abs(v - given[i]) > 1.0}
    return {}


def shorter_lens_mm(plan: Plan) -> float | None:
    """The longest lens, of those in the bag, that takes in the whole subject from every pose; None where the
    plan's own does, or none.
    """
    if not blocking.subject_parts(plan):
        return None
    seen = _subject_from(plan, camera_path(plan, np.array([pose.at for pose in plan.move.poses])))
    size = np.tan(np.radians(np.minimum(seen.high_deg - seen.low_deg, 170.0) / 2.0)).max(axis=0)
    view = np.tan(np.radians(np.array(composition.view_deg(plan)) / 2.0)) * (1.0 - 2.0 * AIR)
    factor = float((size / view).max())
    if factor <= 1.0:
        return None
    focal_mm = plan.camera.focal_length_mm / factor
    return max((lens for lens in plan.camera.lenses_mm or LENSES_MM if lens <= focal_mm), default=None)
