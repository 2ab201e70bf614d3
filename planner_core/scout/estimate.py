"""What a shot would be worth by a few of its pictures, many shots at once and without the review.

The same composition, parallax and points as the review's, from fewer frames; faults of rig and exposure are
left to the review.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.maths.angles import wrapped_deg
from planner_core.moves.score import LIGHT_FROM_DEG, POINTS, light_comes_from, move_points
from planner_core.picture import block_visibility, composition
from planner_core.picture.composition import INSIDE_LOST, SEEN_BARELY, SEEN_ENOUGH, Reading
from planner_core.picture.speed import speed_word
from planner_core.plan.model import LIGHT_SIDES, Plan
from planner_core.review.picture import LONG_S
from planner_core.rig import geometry
from planner_core.rig.camera import CameraPath
from planner_core.rig.motion import progress
from planner_core.scout.shots import (
    PANNING,
    Aim,
    Shot,
    aimed_deg,
    reveals,
    tilts_deg,
    width_share_px,
    with_lens,
    within_pan,
)
from planner_core.scout.spots import USED_TRAVEL, Spots
from planner_core.scout.ties import STEADY_DIGITS, Surroundings

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ACROSS = (1 / 3, 1 / 2, 2 / 3)
HORIZONS = (0.36, 0.62)  # of the frame's height, from below
FRAMES, REVEAL_FRAMES = 5, 9
FASTEST = 1.9  # of an eased move over its mean
LEAST_ASIDE = 0.35  # of the travel counts, where the rail points at the subject
# Of shots of the same points, that whose near things move more and whose subject is larger comes first
GRACE_PERCENT, GRACE_SIZE, GRACE = 45.0, 0.3, 0.05


@frozen(kw_only=True)
class Estimate:
    """A shot's points, and what decides where another has as many: how far the things of the place are from
    a point before its lens, on average, at the end of the move and at its beginning.
    """

    points: float
    ends_m: float
    begins_m: float


def before_lens_m(path: CameraPath) -> Array:
    """A point one metre before the lens of every camera, (n, 3)."""
    return path.camera_m - path.camera_rotation[:, :, 2]


class Framer:
    """Still pictures from spots with one lens: the subject at thirds and in the middle, a few tilts."""

    def __init__(self, plan: Plan, lens_mm: float, surroundings: Surroundings) -> None:
        self.plan = with_lens(plan, lens_mm)
        self.width = width_share_px(self.plan)
        self.tall = self.width * plan.clip.height_px / plan.clip.width_px
        self.tilts = 1 + len(HORIZONS)
        slide = plan.rig.slide
        half = USED_TRAVEL * (slide.max_m - slide.min_m) / 2.0 if slide else 0.0
        self.sides = (0.0, -half, half) if reveals(plan) and half else (0.0,)
        self.count = len(self.sides) * len(ACROSS) * self.tilts
        self.surroundings = surroundings

    def _tilts(self, chosen: Spots) -> Array:
        """Tilts to try, (n, tilts)."""
        on_horizon = [np.degrees(np.arctan((0.5 - height) * self.tall)) for height in HORIZONS]
        tried = np.column_stack([*(np.full(len(chosen), tilt) for tilt in on_horizon), chosen.altitude_deg])
        axis = self.plan.rig.tilt
        return tried if axis is None else np.clip(tried, axis.min_deg, axis.max_deg)

    def _eyes(self, chosen: Spots) -> Array:
        """Cameras to try, (n, sides, 3): over the middle of the rail and, for a reveal, near its ends."""
        level = np.radians(chosen.bearing_deg - self.plan.site.scene_north_deg)
        right = np.column_stack([np.cos(level), -np.sin(level), np.zeros(len(chosen))])
        return chosen.eyes(self.plan)[:, None] + np.array(self.sides)[:, None] * right[:, None]

    def best(self, chosen: Spots) -> tuple[Array, Array, Array]:
        """Score, the subject's share of the width and tilt of each spot's best still picture, (n,) each."""
        plan, n, sides = self.plan, len(chosen), len(self.sides)
        across = np.tile(np.repeat(ACROSS, self.tilts), n * sides)
        tilt = np.tile(self._tilts(chosen), (1, sides * len(ACROSS))).ravel()
        pan = aimed_deg(np.repeat(chosen.bearing_deg, self.count), across, self.width)
        path = CameraPath(
            plan=plan,
            at=np.zeros(len(pan)),
            camera_m=np.repeat(self._eyes(chosen).reshape(-1, 3), self.count // sides, axis=0),
            camera_rotation=geometry.camera_rotation(pan, tilt, plan.site.scene_north_deg),
            lens_bearing_deg=pan,
            lens_altitude_deg=tilt,
        )
        seen = block_visibility.compute_visibility(plan, path)
        reading = composition.read(plan, seen, travels=False, every_frame=True)
        value = np.round((reading.score + 1e-3 * reading.shown).reshape(n, self.count), STEADY_DIGITS)
        seen_m = self.surroundings.mean_distance_m(before_lens_m(path)).reshape(n, self.count)
        tied = value == value.max(axis=1, keepdims=True)
        at = np.arange(n) * self.count + np.where(tied, seen_m, np.inf).argmin(axis=1)
        return reading.score[at], across[at], tilt[at]


class Estimator:
    """Points of shots in front of one subject."""

    def __init__(self, plan: Plan, frames: FrameTable, aim: Aim, surroundings: Surroundings) -> None:
        self.plan, self.aim, self.surroundings = plan, aim, surroundings
        self.at = np.linspace(0.0, 1.0, REVEAL_FRAMES if reveals(plan) else FRAMES)
        self.done = progress(self.at, plan.move.ease)
        self.judged = composition.judged(plan, self.at)
        self.judged_s = float(self.judged.mean()) * plan.shoot.frames / plan.clip.fps
        rows = np.rint(self.at * (len(frames) - 1)).astype(int)
        self.sun_deg, self.sun_up = frames.sun_azimuth_deg[rows], frames.sun_altitude_deg[rows]
        self.discs = {
            "sun": (frames.sun_direction[rows], self.sun_up > 0.0),
            "moon": (frames.moon_direction[rows], frames.moon_altitude_deg[rows] > 0.0),
        }

    def estimates(self, tried: Sequence[Shot]) -> list[Estimate]:
        """What each shot would be worth."""
        estimates: list[Estimate | None] = [None] * len(tried)
        order = sorted(range(len(tried)), key=lambda i: _lot(tried[i]))
        for _, group in groupby(order, key=lambda i: _lot(tried[i])):
            rows = list(group)
            for row, one in zip(rows, self._of_lot([tried[row] for row in rows]), strict=True):
                estimates[row] = one
        return [one for one in estimates if one is not None]

    def _of_lot(self, tried: Sequence[Shot]) -> list[Estimate]:
        """Shots of one lens that all travel, or all don't."""
        plan = with_lens(self.plan, tried[0].focal_length_mm)
        path, travels = self._path(plan, tried)
        seen = block_visibility.compute_visibility(plan, path)
        reading = composition.read(plan, seen, travels=bool(tried[0].travel_m), every_frame=True)
        shape = (len(tried), len(self.at))
        score = reading.score.reshape(shape)[:, self.judged].min(axis=1)
        reveal = self._reveal_points(reading.shown.reshape(shape))
        wishes = self._wish_points(plan, path, len(tried)) + self._lost_points(reading, shape)
        rect = reading.rect_px.reshape(*shape, 4)
        large = np.nan_to_num((rect[..., 3] - rect[..., 1]).mean(axis=1)) / plan.clip.height_px
        near, width = self._near_m(plan, seen, len(tried)), width_share_px(plan)
        around_m = self.surroundings.mean_distance_m(before_lens_m(path)).reshape(shape)
        estimates = []
        for i, shot in enumerate(tried):
            percent = 100.0 * travels[i] / near[i] / width if near[i] < np.inf else 0.0
            points = self._move_points(plan, shot, float(score[i]), percent)
            grace = min(percent / GRACE_PERCENT, 1.0) + min(float(large[i]) / GRACE_SIZE, 1.0)
            points += float(reveal[i] + wishes[i] + GRACE * grace)
            ends_m, begins_m = float(around_m[i, -1]), float(around_m[i, 0])
            estimates.append(Estimate(points=round(points, STEADY_DIGITS), ends_m=ends_m, begins_m=begins_m))
        return estimates

    def _move_points(self, plan: Plan, shot: Shot, picture: float, percent: float) -> float:
        pan = abs(shot.across[1] - shot.across[0]) * 100.0
        scale = 100.0 / width_share_px(plan)
        tilt = abs(np.radians(shot.tilts_deg[1] - shot.tilts_deg[0])) * scale
        axes = (
            *(("slide",) if shot.travel_m else ()),
            *(("pan",) if shot.kind in PANNING else ()),
            *(("tilt",) if tilt else ()),
        )
        points = move_points(picture, percent, (pan, tilt), axes, None)
        clip_s = plan.shoot.frames / plan.clip.fps
        fastest = FASTEST * max(percent, pan, tilt) / 100.0 / clip_s
        return points + (POINTS["too fast"] if speed_word(fastest) == "too fast" else 0.0)

    def _reveal_points(self, shown: Array) -> Array:
        """What a reveal earns that works, or loses that shows its subject from the start, (n,)."""
        if not reveals(self.plan):
            return np.zeros(len(shown))
        early = shown[:, 0] >= SEEN_BARELY
        there = shown >= SEEN_ENOUGH
        stays = (np.maximum.accumulate(there, axis=1) == there).all(axis=1) & there[:, self.judged].all(
            axis=1
        )
        return np.where(early, POINTS["no reveal"], np.where(stays, POINTS["reveal"], 0.0))

    def _lost_points(self, reading: Reading, shape: tuple[int, int]) -> Array:
        """What a subject costs that is out of the picture, or hidden for longer than a post takes to pass."""
        inside = reading.inside.reshape(shape)[:, self.judged]
        visible = reading.visible.reshape(shape)[:, self.judged]
        big = reading.oversize.any(axis=1).reshape(shape)[:, self.judged]
        lost = np.where(big, inside <= 0.0, inside < INSIDE_LOST)
        hidden_s = (~lost & (visible < SEEN_BARELY)).mean(axis=1) * self.judged_s
        return POINTS["stop"] * (lost.any(axis=1).astype(float) + (hidden_s > LONG_S))

    def _wish_points(self, plan: Plan, path: CameraPath, count: int) -> Array:
        """What light, sun and moon cost that are not as wished, (n,)."""
        wishes, lost = plan.composition, np.zeros(count)
        if wishes is None:
            return lost
        lens = path.lens_bearing_deg.reshape(count, -1)
        counts = self.sun_up > LIGHT_FROM_DEG
        if wishes.light != "any" and counts.any():
            side = light_comes_from(np.abs(wrapped_deg(self.sun_deg - lens))[:, counts])
            lost += POINTS["light"] * (1.0 - (side == LIGHT_SIDES.index(wishes.light)).mean(axis=1))
        for wish, name in ((wishes.sun, "sun"), (wishes.moon, "moon")):
            if wish != "any":
                inside = self._in_picture(plan, path, name).reshape(count, -1).any(axis=1)
                lost += POINTS["disc"] * (inside == (wish == "out"))
        return lost

    def _in_picture(self, plan: Plan, path: CameraPath, name: str) -> Mask:
        """Whether a disc over the horizon is inside the frame of every camera, blocks left aside."""
        direction, up = self.discs[name]
        count = len(path.camera_m) // len(self.at)
        across, above, back = np.einsum("ni,nij->jn", np.tile(direction, (count, 1)), path.camera_rotation)
        half = width_share_px(plan) / 2.0
        tall = half * plan.clip.height_px / plan.clip.width_px
        ahead = np.maximum(-back, 1e-9)
        inside = (np.abs(across) <= half * ahead) & (np.abs(above) <= tall * ahead) & (back < 0.0)
        return np.asarray(inside & np.tile(up, count))

    def _path(self, plan: Plan, tried: Sequence[Shot]) -> tuple[CameraPath, list[float]]:
        """A few cameras of each shot, one shot after another; and how far each travels across the view."""
        north, width = plan.site.scene_north_deg, width_share_px(plan)
        eyes, pans, tilts, travels = [], [], [], []
        for shot in tried:
            rail = geometry.direction(shot.rail_deg, plan.rig.incline_deg, north)
            head = np.array(shot.place_m) + np.array([0.0, 0.0, shot.height_m + plan.rig.head_height_m])
            eye = head + np.outer(shot.travel_m * (self.done - 0.5), rail)
            aimed = eye if shot.kind in PANNING else head + shot.travel_m * (shot.aimed_at - 0.5) * rail
            bearing = self.aim.bearing_and_altitude(np.array(np.broadcast_to(aimed, eye.shape)))[0]
            across = shot.across[0] + (shot.across[1] - shot.across[0]) * self.done
            pan = within_pan(plan, aimed_deg(bearing, across, width))
            eyes.append(eye)
            pans.append(pan)
            tilts.append(tilts_deg(plan, shot, self.done))
            aside = abs(np.sin(np.radians(shot.rail_deg - bearing[len(bearing) // 2])))
            travels.append(abs(shot.travel_m) * max(aside, LEAST_ASIDE))
        pan, tilt = np.concatenate(pans), np.concatenate(tilts)
        path = CameraPath(
            plan=plan,
            at=np.tile(self.at, len(tried)),
            camera_m=np.concatenate(eyes),
            camera_rotation=geometry.camera_rotation(pan, tilt, north),
            lens_bearing_deg=pan,
            lens_altitude_deg=tilt,
        )
        return path, travels

    def _near_m(self, plan: Plan, seen: block_visibility.BlockVisibility, count: int) -> Array:
        """Distance of the nearest solid in any picture of each of so many shots, (count,)."""
        solid = np.array([block.role not in ("ground", "water") for block in plan.blocks], dtype=bool)
        there = seen.in_frame & solid
        nearest = np.where(there, seen.distance_m, np.inf).min(axis=1, initial=np.inf)
        return np.asarray(np.maximum(nearest.reshape(count, len(self.at)).min(axis=1), 0.3))


def _lot(shot: Shot) -> tuple[float, bool]:
    return shot.focal_length_mm, bool(shot.travel_m)
