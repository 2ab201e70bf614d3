"""What each place to stand could give at best: cheap bounds over thousands of places, heights and lenses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.maths.angles import wrapped_deg
from planner_core.moves.score import LIGHT_FROM_DEG, PAN_COUNTS, POINTS, light_comes_from
from planner_core.picture.composition import (
    READABLE,
    SEEN_BARELY,
    SEEN_ENOUGH,
    WEIGHTS,
)
from planner_core.picture.parallax import GOOD_PERCENT
from planner_core.place import visibility
from planner_core.plan.model import LIGHT_SIDES, Plan
from planner_core.scout.shots import Aim, nearest_foreground_m, reveals, width_share_px, with_lens
from planner_core.scout.ties import STEADY_DIGITS

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

PLACES_AT_ONCE = 1024
TILE_M = 4.0  # places so near to each other show much the same
USED_TRAVEL = 0.8  # of the rail
DEAREST = sum(WEIGHTS.values())
AIM_SHARES = ((0.5, 0.15), (0.5, 0.5), (0.5, 0.85), (0.1, 0.5), (0.9, 0.5))  # across and up, of the subject


@frozen(kw_only=True, eq=False)
class Spots:
    """Places with a height and a lens, arrays of shape (n,) or (n, 3): where the rail's middle stands on the
    ground, the rail's height over it, focal length, bearing and altitude of the subject's middle, and
    the most points that a shot from there could have.
    """

    place_m: Array
    height_m: Array
    focal_length_mm: Array
    bearing_deg: Array
    altitude_deg: Array
    bound: Array

    def __len__(self) -> int:
        return len(self.bound)

    def take(self, rows: Rows) -> Spots:
        """Some of them."""
        return Spots(**{field.name: getattr(self, field.name)[rows] for field in attrs.fields(Spots)})

    def eyes(self, plan: Plan) -> Array:
        """The head over the middle of the rail, (n, 3)."""
        rise = np.zeros((len(self), 3))
        rise[:, 2] = self.height_m + plan.rig.head_height_m
        return self.place_m + rise

    def tiles(self, middle_m: Array) -> NDArray[np.int64]:
        """The square about a middle (2,) that each lies in, (n, 2)."""
        return tile_of(self.place_m[:, :2], middle_m)


def tile_of(place_m: Array, middle_m: Array) -> NDArray[np.int64]:
    """The square about a middle (2,) that places (..., 2) lie in, counted in both directions, (..., 2)."""
    return np.rint(np.round((place_m - middle_m) / TILE_M, STEADY_DIGITS)).astype(np.int64)


def joined(parts: Sequence[Spots]) -> Spots:
    """Several lots as one."""
    return Spots(
        **{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in attrs.fields(Spots)}
    )


def bounded(
    plan: Plan,
    frames: FrameTable,
    places_m: Array,
    heights_m: Sequence[float],
    lenses_mm: Sequence[float],
) -> Iterator[Spots]:
    """The spots over places (n, 3), lot by lot, each with its bound."""
    aim = Aim(plan)
    for first in range(0, len(places_m), PLACES_AT_ONCE):
        for height in heights_m:
            there = places_m[first : first + PLACES_AT_ONCE]
            eye = there + np.array([0.0, 0.0, height + plan.rig.head_height_m])
            shown = _shown_from_rail(plan, aim, eye)
            for lens in lenses_mm:
                yield _bounded(plan, frames, aim, there, eye, shown, height, lens)


def _shown_from_rail(plan: Plan, aim: Aim, eye: Array) -> Array:
    """Share of the subject that each eye (n, 3) sees, (n,); for a reveal, the most that a rail across the
    view sees, for it may begin behind something.
    """
    slide = plan.rig.slide
    shown = _shown(plan, aim, eye)
    if slide is None or not reveals(plan):
        return shown
    level = np.radians(aim.bearing_and_altitude(eye)[0] - plan.site.scene_north_deg)
    right = np.column_stack([np.cos(level), -np.sin(level), np.zeros(len(eye))])
    half = USED_TRAVEL * (slide.max_m - slide.min_m) / 2.0
    return np.maximum.reduce([shown, *(_shown(plan, aim, eye + side * right) for side in (-half, half))])


def _shown(plan: Plan, aim: Aim, eye: Array) -> Array:
    """Share of a few points on the subject that each eye (n, 3) sees, (n,)."""
    span = aim.high - aim.low
    seen = np.zeros(len(eye))
    middle = (aim.low + aim.high) / 2.0
    level = middle[:2] - eye[:, :2]
    side = np.column_stack([-level[:, 1], level[:, 0]]) / np.maximum(np.hypot(*level.T), 1e-9)[:, None]
    wide = np.hypot(*span[:2]) / 2.0
    for across, up in AIM_SHARES:
        target = np.empty_like(eye)
        target[:, :2] = middle[:2] + (across - 0.5) * wide * side
        target[:, 2] = aim.low[2] + up * span[2]
        reach, _ = visibility.first_hits(plan, eye, target - eye, ignoring=aim.parts)
        seen += reach > 1.0 - 1e-6
    return seen / len(AIM_SHARES)


def _bounded(
    plan: Plan,
    frames: FrameTable,
    aim: Aim,
    there: Array,
    eye: Array,
    shown: Array,
    height_m: float,
    lens_mm: float,
) -> Spots:
    bearing, altitude, across, up = aim.bearing_and_altitude(eye)
    width = width_share_px(with_lens(plan, lens_mm))
    shape = plan.clip.height_px / plan.clip.width_px
    large = np.maximum(
        np.tan(np.radians(np.minimum(across, 170.0) / 2.0)) * 2.0 / width,
        np.tan(np.radians(np.minimum(up, 170.0) / 2.0)) * 2.0 / (width * shape),
    )
    lost = WEIGHTS["size"] * (1.0 - np.clip((large - READABLE[0]) / (READABLE[1] - READABLE[0]), 0.0, 1.0))
    lost += WEIGHTS["edges"] * np.clip((large - 0.9) / 0.3, 0.0, 1.0)
    # a few rays err: what is half hidden for them may show
    seen = np.clip((shown + 0.2 - SEEN_BARELY) / (SEEN_ENOUGH - SEEN_BARELY), 0.0, 1.0)
    picture = POINTS["picture"] * seen * (1.0 - lost / DEAREST)
    half_deg = float(np.degrees(np.arctan(width / 2.0)))
    points = picture + _move_bound(plan, eye, bearing, width, half_deg)
    points += _wish_bound(plan, frames, bearing, half_deg)
    return Spots(
        place_m=there,
        height_m=np.full(len(there), height_m),
        focal_length_mm=np.full(len(there), lens_mm),
        bearing_deg=bearing,
        altitude_deg=altitude,
        bound=points,
    )


def _move_bound(plan: Plan, eye: Array, bearing: Array, width: float, half_deg: float) -> Array:
    """The most that a move could show, points (n,): parallax of what is near, or a pan."""
    turn = PAN_COUNTS if plan.rig.pan is not None else 0.0
    if plan.rig.slide is None:
        return np.full(len(eye), POINTS["move"] * turn)
    travel = USED_TRAVEL * (plan.rig.slide.max_m - plan.rig.slide.min_m)
    near = nearest_foreground_m(plan, eye, bearing, half_deg)
    percent = 100.0 * travel / np.maximum(near, 0.3) / width
    slide = np.clip(percent / GOOD_PERCENT, 0.0, 1.0)
    return POINTS["move"] * np.minimum(np.maximum(slide, turn) + 0.2 * np.minimum(slide, turn), 1.0)


def _wish_bound(plan: Plan, frames: FrameTable, bearing: Array, half_deg: float) -> Array:
    """What is lost for sure to wishes of light, sun and moon, points (n,), 0 or less."""
    wishes = plan.composition
    lost = np.zeros(len(bearing))
    if wishes is None:
        return lost
    directed = frames.sun_altitude_deg > LIGHT_FROM_DEG
    if wishes.light != "any" and directed.any():
        azimuth = frames.sun_azimuth_deg[directed][:: max(1, int(directed.sum()) // 16)]
        # the subject may be anywhere in the picture, so a side counts that any lens bearing there has
        sides = [
            light_comes_from(np.abs(wrapped_deg(azimuth[None] - bearing[:, None] + turn)))
            for turn in (-half_deg, 0.0, half_deg)
        ]
        fits = np.any([side == LIGHT_SIDES.index(wishes.light) for side in sides], axis=0)
        lost += POINTS["light"] * (1.0 - fits.mean(axis=1))
    if wishes.sun == "in":
        azimuth = frames.sun_azimuth_deg[directed] if directed.any() else frames.sun_azimuth_deg
        off = np.abs(wrapped_deg(azimuth[None] - bearing[:, None])).min(axis=1)
        lost += np.where(off > 2.0 * half_deg, POINTS["disc"], 0.0)
    return lost
