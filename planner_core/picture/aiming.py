"""Poses aimed at the subject: where pan and tilt have to stand for it to be in the picture."""

from __future__ import annotations

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
    found = {}
    for place in np.flatnonzero(chosen):
        value = round(float(values[place]), DIGITS)
        if name in limits:
            low, high = limits[name].low, limits[name].high
            turns = (value, value - 360.0, value + 360.0) if name == "pan_deg" else (value,)
            value = next((each for each in turns if low <= each <= high), min(max(value, low), high))
        found[f"move.poses[{place}].{name}"] = round(value, DIGITS)
    return found


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
