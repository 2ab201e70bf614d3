"""A shot that could be taken: place, height, lens, rail and move; and the plan that it makes."""

from __future__ import annotations

import math

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.angles import compass_deg, unwound_deg, wrapped_deg
from planner_core.moves.candidates import within
from planner_core.picture.block_visibility import NEAR_BY_M
from planner_core.picture.optics import circle_of_confusion_mm, hyperfocal_m
from planner_core.picture.projection import delivered_crop
from planner_core.place import blocking
from planner_core.place.blocking import RidgeLine, ridge_line
from planner_core.plan.model import Block, Plan, Pose
from planner_core.rig import geometry
from planner_core.rig.motion import progress

Array = NDArray[np.float64]

PANNING = ("pan", "slide-held")
BACKWARDS = {"push-in": "pull-out", "pull-out": "push-in"}
FOCUS_AS_GOOD = 0.15  # of the distance, that a planned focus may be off
FOCUS_TO_SPARE = 1.05  # times the focus that just makes the subject sharp
FAR_SIDE = 1.35  # of half the view, from a subject at a third to the frame's farther edge
HELD_POSES = 5  # which is enough for a curve that bends one way


@frozen(kw_only=True)
class Shot:
    """One thing to try: a still, pan, tilt, slide, slide-held, push-in or pull-out.

    place_m is where the middle of the travel stands, on the ground; height_m the rail over it. rail_deg is
    the bearing in which the slide grows. The move goes over `travel_m`, which is negative for a carriage that
    runs backwards. The subject is at the shares `across` of the frame's width, and the lens at `tilts_deg`,
    at beginning and end; a lens that doesn't turn has it there at the share `aimed_at` of the travel.
    """

    kind: str
    place_m: tuple[float, float, float]
    height_m: float
    focal_length_mm: float
    rail_deg: float
    travel_m: float
    across: tuple[float, float]
    tilts_deg: tuple[float, float]
    aimed_at: float = 0.5

    def backwards(self) -> Shot:
        """The same move from its end to its beginning."""
        return attrs.evolve(
            self,
            kind=BACKWARDS.get(self.kind, self.kind),
            travel_m=-self.travel_m,
            across=self.across[::-1],
            tilts_deg=self.tilts_deg[::-1],
        )


class Aim:
    """The subject as the scout points at it: the middle of what it is made of, and its box."""

    def __init__(self, plan: Plan) -> None:
        boxes = blocking.bounding_boxes(plan)
        parts = np.isin(boxes.block, blocking.subject_parts(plan))
        self.parts = blocking.subject_parts(plan)
        self.corners = boxes.corners_m[parts].reshape(-1, 3)
        self.low, self.high = self.corners.min(axis=0), self.corners.max(axis=0)
        self.north_deg = plan.site.scene_north_deg

    @property
    def middle_m(self) -> Array:
        """The middle of its box from above, (2,)."""
        return np.asarray((self.low + self.high)[:2] / 2.0)

    def bearing_and_altitude(self, eye: Array) -> tuple[Array, Array, Array, Array]:
        """Middle bearing and altitude, and the angles across and up that it takes, degrees, from eyes
        (n, 3).
        """
        bearing, altitude = geometry.bearing_and_altitude(
            self.corners[None] - eye[:, None, :], self.north_deg
        )
        turned = wrapped_deg(bearing - bearing[:, :1])
        left, right = turned.min(axis=1), turned.max(axis=1)
        bottom, top = altitude.min(axis=1), altitude.max(axis=1)
        return (
            (bearing[:, 0] + (left + right) / 2.0) % 360.0,
            (bottom + top) / 2.0,
            right - left,
            top - bottom,
        )


def with_lens(plan: Plan, focal_length_mm: float) -> Plan:
    """The plan with another lens."""
    if focal_length_mm == plan.camera.focal_length_mm:
        return plan
    return attrs.evolve(plan, camera=attrs.evolve(plan.camera, focal_length_mm=focal_length_mm))


def width_share_px(plan: Plan) -> float:
    """The frame's width over the focal length, both in clip pixels."""
    return plan.clip.width_px / delivered_crop(plan.camera, plan.clip).focal_px


def aimed_deg(bearing_deg: Array, across: Array, width_share: float) -> Array:
    """Bearings of the lens that put what lies on a bearing at a share of the frame's width, any shape."""
    return bearing_deg - np.degrees(np.arctan((across - 0.5) * width_share))


def plan_of(plan: Plan, shot: Shot, aim: Aim) -> Plan:
    """The plan with its rig at the shot's place and the shot's move, rounded to what one would set.

    What one sets is the rail's middle; where that puts its start is kept to a micrometre, so that either end
    of the rail may be its start.
    """
    plan = with_lens(plan, shot.focal_length_mm)
    rig = plan.rig
    slide = rig.slide
    middle = (slide.min_m + slide.max_m) / 2.0 if slide else 0.0
    if (
        shot.travel_m < 0.0 and not rig.incline_deg
    ):  # a level rail is laid so that its zero is where the move begins
        shot = attrs.evolve(shot, rail_deg=shot.rail_deg + 180.0, travel_m=-shot.travel_m)
    rail = geometry.direction(shot.rail_deg, rig.incline_deg, plan.site.scene_north_deg)
    stand = np.array(shot.place_m) + np.array([0.0, 0.0, shot.height_m])
    origin = stand - middle * rail if slide else stand
    moved = attrs.evolve(
        rig,
        origin_m=(round(float(origin[0]), 6), round(float(origin[1]), 6), round(float(origin[2]), 6)),
        bearing_deg=round(compass_deg(shot.rail_deg), 2) if slide else rig.bearing_deg,
    )
    placed = attrs.evolve(plan, rig=moved, blocks=_ridges_stay(plan, moved.origin_m))
    placed = _focused(placed, shot, aim)
    return attrs.evolve(placed, move=attrs.evolve(plan.move, poses=_poses(placed, shot, middle, aim)))


def _focused(plan: Plan, shot: Shot, aim: Aim) -> Plan:
    """The plan focused between what is near and the subject, as near as leaves the subject sharp and no
    farther than the hyperfocal distance. A planned focus that is as good stays.
    """
    if plan.exposure is None:
        return plan
    camera = plan.camera
    eye = np.array([shot.place_m]) + np.array([0.0, 0.0, shot.height_m + plan.rig.head_height_m])
    bearing = aim.bearing_and_altitude(eye)[0]
    half_deg = float(np.degrees(np.arctan(width_share_px(plan) / 2.0)))
    near_m = float(nearest_foreground_m(plan, eye, bearing, half_deg)[0])
    subject_m = float(np.linalg.norm((aim.low + aim.high) / 2.0 - eye[0]))
    between = 2.0 * near_m * subject_m / (near_m + subject_m) if near_m < subject_m else subject_m
    circle_mm = circle_of_confusion_mm(camera)
    farthest = float(hyperfocal_m(camera.focal_length_mm, plan.exposure.f_number, circle_mm))
    # from this focus on, the depth of field reaches to the subject: (H − f) s / (H − s) solved for s
    least = FOCUS_TO_SPARE * farthest * subject_m / (farthest + subject_m)
    focus = round(float(np.clip(min(max(between, least), farthest), 0.3, 1000.0)), 2)
    planned = camera.focus_distance_m
    if planned >= least and abs(focus - planned) < FOCUS_AS_GOOD * focus:
        return plan
    return attrs.evolve(plan, camera=attrs.evolve(camera, focus_distance_m=focus))


def nearest_foreground_m(plan: Plan, eye: Array, bearing: Array, half_deg: float) -> Array:
    """Distance from eyes (n, 3) to the nearest thing that counts as foreground with the subject in the
    picture, (n,); infinite where there is none.
    """
    boxes = blocking.bounding_boxes(plan)
    subject = set(blocking.subject_parts(plan))
    nearest = np.full(len(eye), np.inf)
    for row, index in enumerate(boxes.block):
        block = plan.blocks[int(index)]
        if block.role in ("ground", "water") or block.shape == "ridge" or int(index) in subject:
            continue
        away = boxes.centre_m[row] - eye
        radius, middle = float(np.linalg.norm(boxes.half_m[row])), np.linalg.norm(away, axis=1)
        distance = np.maximum(middle - radius, 0.3)
        towards = np.degrees(np.arctan2(away[:, 0], away[:, 1])) + plan.site.scene_north_deg
        wide = np.degrees(np.arcsin(np.minimum(radius / np.maximum(middle, 1e-9), 1.0)))
        # the subject at a third leaves two thirds of the frame's width on its other side
        inside = np.abs(wrapped_deg(towards - bearing)) - wide < FAR_SIDE * half_deg
        counts = inside & ((distance < NEAR_BY_M) | (block.role == "foreground"))
        nearest = np.where(counts, np.minimum(nearest, distance), nearest)
    return nearest


def reveals(plan: Plan) -> bool:
    """Whether the subject is to come out from behind something, or into the picture."""
    return plan.composition is not None and plan.composition.style == "reveal"


def _poses(plan: Plan, shot: Shot, middle_m: float, aim: Aim) -> tuple[Pose, ...]:
    rig, count = plan.rig, HELD_POSES if shot.kind == "slide-held" else 2
    at = np.linspace(0.0, 1.0, count)
    done = progress(at, plan.move.ease)
    slides = middle_m + shot.travel_m * (done - 0.5)
    across = shot.across[0] + (shot.across[1] - shot.across[0]) * done
    tilts = tilts_deg(plan, shot, done)
    pans = _pans(plan, shot, slides if rig.slide else np.zeros(count), across, aim)
    return tuple(
        Pose(
            at=float(a),
            slide_m=round(float(slides[i]), 3) if rig.slide else None,
            pan_deg=round(float(pans[i]), 2),
            tilt_deg=round(float(tilts[i]), 2),
        )
        for i, a in enumerate(at)
    )


def tilts_deg(plan: Plan, shot: Shot, done: Array) -> Array:
    """The lens's tilt where so much of the move is done, any shape, within the tilt axis."""
    tilt = shot.tilts_deg[0] + (shot.tilts_deg[1] - shot.tilts_deg[0]) * done
    axis = plan.rig.tilt
    return tilt if axis is None else np.clip(tilt, axis.min_deg, axis.max_deg)


def _pans(plan: Plan, shot: Shot, slides: Array, across: Array, aim: Aim) -> Array:
    """Bearings of the lens at every pose; the same throughout unless the move pans."""
    if shot.kind not in PANNING:
        slides = np.full(len(slides), slides[0] + (slides[-1] - slides[0]) * shot.aimed_at)
    head = geometry.carriage_position_m(plan, slides if plan.rig.slide else None)
    head = np.broadcast_to(head, (len(slides), 3)) + np.array([0.0, 0.0, plan.rig.head_height_m])
    bearing = aim.bearing_and_altitude(head)[0]
    return within_pan(plan, aimed_deg(bearing, across, width_share_px(plan)))


def within_pan(plan: Plan, bearing_deg: Array) -> Array:
    """Bearings (n,) of the lens as the pan axis counts them, held to its range."""
    axis = plan.rig.pan
    if axis is None:
        return compass_deg(np.full(len(bearing_deg), bearing_deg[0]))
    near = (axis.min_deg + axis.max_deg) / 2.0
    turned = unwound_deg(bearing_deg, within(axis, float(bearing_deg[0]), near))
    return np.clip(turned, axis.min_deg, axis.max_deg)


def _ridges_stay(plan: Plan, origin_m: tuple[float, float, float]) -> tuple[Block, ...]:
    """The blocks with ridges described anew from another rail's start, so that they stay where they are."""
    return tuple(
        _seen_from(block, ridge_line(block, plan.rig.origin_m, plan.site.scene_north_deg), plan, origin_m)
        if block.shape == "ridge"
        else block
        for block in plan.blocks
    )


def _seen_from(block: Block, line: RidgeLine, plan: Plan, origin_m: tuple[float, float, float]) -> Block:
    """A ridge at its mean distance from another place. Its crest keeps its bearings and altitudes; how much
    farther one part lies than another, as seen from there, is lost.
    """
    if math.dist(origin_m, plan.rig.origin_m) < 1e-6:
        return block
    crest = np.column_stack([line.ground_m, line.crest_m]) - np.asarray(origin_m)
    bearing, altitude = geometry.bearing_and_altitude(crest, plan.site.scene_north_deg)
    before = np.array(block.skyline_deg)[:, 0]
    if len(before) != len(bearing):
        return block
    bearing = before + wrapped_deg(bearing - before)
    if np.any(np.diff(bearing) <= 1e-4):
        return block
    return attrs.evolve(
        block,
        distance_m=round(float(np.hypot(crest[:, 0], crest[:, 1]).mean()), 2),
        skyline_deg=tuple(
            (round(float(b), 4), round(float(a), 4)) for b, a in zip(bearing, altitude, strict=True)
        ),
    )
