"""What a clip's pictures depend on beside the light, and what is worked out of that once.

Plans that differ in their times, their exposure or their words show the same place from the same poses. Their
tables share one View, and with it whatever took long to find.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property, wraps
from typing import Any, TypeVar

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from planner_core.picture import metering, speed
from planner_core.picture.block_visibility import BlockVisibility
from planner_core.picture.picture_rays import PictureRays
from planner_core.picture.speed import WatchedMotion
from planner_core.picture.surfaces import Surfaces, surfaces
from planner_core.place.blocking import subject_indices
from planner_core.plan.model import Plan
from planner_core.rig.axes import AXIS_NAMES, AxisPositions

Value = TypeVar("Value")

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class View:
    """Where the camera stands and looks on every frame, and the place before it; arrays as in the FrameTable.

    plan is one of those that show this; only its place, lens and clip are read. axes are where the rig
    stands. lifts_m is by how much the tide has each block stand above where the plan has it,
    (frames, blocks).
    """

    plan: Plan
    at: Array
    axes: AxisPositions
    camera_m: Array
    camera_rotation: Array
    lifts_m: Array | None = None
    known: dict[Callable[[View], Any], Any] = field(factory=dict, init=False, repr=False)

    def __len__(self) -> int:
        return len(self.at)

    def shows_the_same(self, other: View) -> bool:
        """Whether every picture shows the same of the same place."""
        return (
            _alike(self.at, other.at)
            and _alike(self.camera_m, other.camera_m)
            and _alike(self.camera_rotation, other.camera_rotation)
            and all(_both_alike(self.axes.of(axis), other.axes.of(axis)) for axis in AXIS_NAMES)
            and _both_alike(self.lifts_m, other.lifts_m)
            and place_and_lens(self.plan) == place_and_lens(other.plan)
        )

    @cached_property
    def visibility(self) -> BlockVisibility:
        """How much of each block the pictures show."""
        return BlockVisibility(self.plan, self)

    @cached_property
    def metered_rays(self) -> PictureRays:
        """The rays that the light is read along."""
        return PictureRays(self, metering.read_frames(len(self)))

    @cached_property
    def surfaces(self) -> Surfaces:
        """What a few pictures show from edge to edge."""
        return surfaces(self)

    @cached_property
    def motion(self) -> WatchedMotion:
        """How fast what the pictures show moves across them."""
        return speed.watched_motion(self.plan, self.camera_m, self.camera_rotation, self.lifts_m)


def of_the_view(work: Callable[[View], Value]) -> Callable[[View], Value]:
    """Remembers a function of a view with the view: it may read no more of its plan than place_and_lens."""

    @wraps(work)
    def recall(view: View) -> Value:
        if work not in view.known:
            view.known[work] = work(view)
        value: Value = view.known[work]
        return value

    return recall


def place_and_lens(plan: Plan) -> tuple[Any, ...]:
    """All of a plan that its pictures are made of, but for where the camera goes and what light there is."""
    camera = plan.camera
    return (
        plan.blocks,
        plan.site.scene_north_deg,
        plan.rig,
        plan.clip,
        (camera.sensor_width_mm, camera.sensor_height_mm, camera.focal_length_mm),
        (camera.image_width_px, camera.image_height_px),
        subject_indices(plan),
    )


def _both_alike(one: Array | None, other: Array | None) -> bool:
    if one is None or other is None:
        return one is other
    return _alike(one, other)


def _alike(one: Array, other: Array) -> bool:
    """Whether two arrays are the same to the last bit."""
    return one is other or (one.shape == other.shape and one.tobytes() == other.tobytes())
