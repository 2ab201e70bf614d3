"""Moves that a rig could make in front of a subject: each kind in a few variants, fitted to rail, head and
subject.

Which variant is best is for `compare` to find out; here is only what could be tried, and why a kind can't
be.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.maths.angles import unwound_deg, wrapped_deg
from planner_core.picture import block_visibility, composition
from planner_core.picture.projection import delivered_crop
from planner_core.place import blocking
from planner_core.plan.model import Plan, Pose, TurnAxis
from planner_core.rig import geometry
from planner_core.rig.axes import AxisPositions
from planner_core.rig.camera import CameraPath, camera_along
from planner_core.rig.motion import axis_positions, progress

Array = NDArray[np.float64]

THIRDS = (1 / 3, 1 / 2, 2 / 3)
PAN_SPANS = ((1 / 3, 2 / 3), (1 / 3, 1 / 2), (1 / 2, 2 / 3), (0.42, 0.62), (0.25, 0.6), (0.4, 0.75))
OUTSIDE = (-0.35, 1.35)  # of the frame's width: where a pan that reveals the subject begins
TILT_SPANS = (0.12, 0.22)  # of the angle of view
SMALL_TILTS = (0.06, 0.12)
TRAVELS = (0.4, 0.8)  # of the rail
PUSH_WITHIN_DEG = 35.0  # between rail and line of sight
TURNING_DEG = 0.3  # an axis that turns less stands still
SLIDING_M = 0.02
AWAY_COSTS = 0.003  # of a picture's score, a degree off the view that the plan has chosen

# Order of the table where scores are equal: the simpler move first.
KINDS: dict[str, str] = {
    "still": "still",
    "pan": "pan",
    "tilt": "tilt",
    "slide": "slide along",
    "slide-held": "slide, subject held by a counter-pan",
    "push-in": "push-in along the rail",
    "pull-out": "pull-out along the rail",
    "slide-tilt": "slide with tilt",
}


@frozen(kw_only=True)
class Framing:
    """A picture to start from: where the carriage stands, where in the frame the subject is, how the lens is
    tilted.
    """

    slide_m: float
    place: float  # of the subject, as a share of the frame's width
    tilt_deg: float


class MoveContext:
    """What moves are fitted to: the plan's rig, its lens, and the subject as seen from the rail."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        crop = delivered_crop(plan.camera, plan.clip)
        self.width_share_px = plan.clip.width_px / crop.focal_px
        self.view_up_deg = composition.view_deg(plan)[1]
        axes = axis_positions(plan, np.linspace(0.0, 1.0, 5))
        self.planned_slide = self._planned(axes.slide_m, 0.0)
        self.planned_pan = self._planned(axes.pan_deg, plan.site.scene_north_deg)
        self.planned_tilt = self._planned(axes.tilt_deg, 0.0)
        boxes = blocking.bounding_boxes(plan)
        parts = np.isin(boxes.block, blocking.subject_parts(plan))
        self.corners = boxes.corners_m[parts].reshape(-1, 3)
        self.planned_place = self._planned_place()
        self.framing = self._best_framing()

    @staticmethod
    def _planned(values: Array | None, resting: float) -> tuple[float, float]:
        return (resting, resting) if values is None else (float(values[0]), float(values[-1]))

    @property
    def has_subject(self) -> bool:
        return len(self.corners) > 0

    def _planned_place(self) -> float:
        """Where the plan's own lens has the subject, halfway, as a share of the frame's width; the middle
        where it is out.
        """
        off = self.subject_deg(sum(self.planned_slide) / 2.0)[0] - sum(self.planned_pan) / 2.0
        off = wrapped_deg(off)
        place = 0.5 + float(np.tan(np.radians(off))) / self.width_share_px if abs(off) < 80.0 else 0.5
        return round(place, 3) if 0.15 <= place <= 0.85 else 0.5

    # ------------------------------------------------------------ pointing the lens

    def camera_m(self, slide_m: float) -> Array:
        return geometry.camera_position_m(self.plan, slide_m if self.plan.rig.slide else None, 0.0, 0.0)

    def subject_deg(self, slide_m: float) -> tuple[float, float]:
        """Bearing and altitude of the middle of the subject, from a place on the rail."""
        if not self.has_subject:
            return sum(self.planned_pan) / 2.0, sum(self.planned_tilt) / 2.0
        bearing, altitude = geometry.bearing_and_altitude(
            self.corners - self.camera_m(slide_m), self.plan.site.scene_north_deg
        )
        turned = wrapped_deg(bearing - bearing[0])
        return float(bearing[0] + (turned.min() + turned.max()) / 2.0), float(
            (altitude.min() + altitude.max()) / 2.0
        )

    def pan_deg(self, slide_m: float, place: float) -> float:
        """Where to point the lens so that the subject is at a share of the frame's width, within the pan
        axis.
        """
        axis = self.plan.rig.pan
        if axis is None:
            return self.planned_pan[0]
        aim = self.subject_deg(slide_m)[0] - float(np.degrees(np.arctan((place - 0.5) * self.width_share_px)))
        return within(axis, aim, sum(self.planned_pan) / 2.0)

    def tilts(self) -> list[float]:
        """Tilts worth trying: the planned ones, those with the horizon below or above the middle, that on
        the subject.
        """
        axis = self.plan.rig.tilt
        if axis is None:
            return [self.planned_tilt[0]]
        height = self.plan.clip.height_px / self.plan.clip.width_px * self.width_share_px
        on_thirds = [
            float(np.degrees(np.arctan((0.5 - height_fraction) * height)))
            for height_fraction in (0.3, 0.36, 0.42, 0.62)
        ]
        subject = self.subject_deg(sum(self.planned_slide) / 2.0)[1]
        tried = [*self.planned_tilt, sum(self.planned_tilt) / 2.0, *on_thirds, subject]
        return sorted({round(float(np.clip(tilt, axis.min_deg, axis.max_deg)), 1) for tilt in tried})

    def places_on_rail(self) -> list[float]:
        rail = self.plan.rig.slide
        if rail is None:
            return [0.0]
        length = rail.max_m - rail.min_m
        tried = [
            *self.planned_slide,
            sum(self.planned_slide) / 2.0,
            *(rail.min_m + s * length for s in (0.1, 0.5, 0.9)),
        ]
        return sorted({round(float(np.clip(slide, rail.min_m, rail.max_m)), 2) for slide in tried})

    def _best_framing(self) -> Framing:
        """The best single picture that rail and head can take, not far from the planned view where others
        are no better.
        """
        turns = self.plan.rig.pan is not None and self.has_subject
        places = tuple(dict.fromkeys((self.planned_place, *THIRDS))) if turns else (self.planned_place,)
        tried = [
            Framing(slide_m=slide, place=place, tilt_deg=tilt)
            for slide, place, tilt in product(self.places_on_rail(), places, self.tilts())
        ]
        pans = [self.pan_deg(framing.slide_m, framing.place) for framing in tried]
        path = _still_cameras(self.plan, tried, pans)
        reading = composition.read(
            self.plan, block_visibility.compute_visibility(self.plan, path), travels=False, every_frame=True
        )
        middle = [sum(span) / 2.0 for span in (self.planned_pan, self.planned_tilt)]
        turned = wrapped_deg(np.array(pans) - middle[0])
        away = np.abs(turned) + np.abs(np.array([framing.tilt_deg for framing in tried]) - middle[1])
        return tried[int(np.argmax(reading.score + 1e-3 * reading.shown - AWAY_COSTS * away))]

    # ------------------------------------------------------------ poses

    def with_poses(self, poses: Sequence[tuple[float, float, float, float]]) -> Plan:
        """The plan with poses of (place, slide, pan, tilt), rounded to what one would set; axes the rig
        lacks stay as they are.
        """
        r, old = self.plan.rig, self.plan.move.poses[0]
        made = [
            Pose(
                at=at,
                slide_m=round(slide, 3) if r.slide else None,
                pan_deg=round(pan, 2) if r.pan else old.pan_deg,
                tilt_deg=round(tilt, 2) if r.tilt else old.tilt_deg,
            )
            for at, slide, pan, tilt in poses
        ]
        return attrs.evolve(self.plan, move=attrs.evolve(self.plan.move, poses=tuple(made)))

    def two_poses(self, slides: Sequence[float], pans: Sequence[float], tilts: Sequence[float]) -> Plan:
        return self.with_poses([(at, slides[i], pans[i], tilts[i]) for i, at in enumerate((0.0, 1.0))])

    def stretches(self) -> list[tuple[float, float]]:
        """Parts of the rail to slide over, both ways: the planned one, and shares of the rail about its
        middle and the planned.
        """
        rail = self.plan.rig.slide
        assert rail is not None
        first, last = self.planned_slide
        middles = {round((first + last) / 2.0, 3), round((rail.min_m + rail.max_m) / 2.0, 3)}
        spans = [(first, last)] if abs(last - first) >= SLIDING_M else []
        for fraction, middle in product(TRAVELS, sorted(middles)):
            half = fraction * (rail.max_m - rail.min_m) / 2.0
            middle = float(np.clip(middle, rail.min_m + half, rail.max_m - half))
            spans.append((round(middle - half, 2), round(middle + half, 2)))
        stretches = [directed for low, high in spans for directed in ((low, high), (high, low))]
        return list(dict.fromkeys(stretches))


def _still_cameras(plan: Plan, framings: Sequence[Framing], pans: Sequence[float]) -> CameraPath:
    """One camera for each framing, as if they were the frames of a clip."""
    axes = AxisPositions(
        slide_m=np.array([framing.slide_m for framing in framings]) if plan.rig.slide else None,
        pan_deg=np.array(pans),
        tilt_deg=np.array([framing.tilt_deg for framing in framings]),
    )
    return camera_along(plan, np.linspace(0.0, 1.0, len(pans)), axes)


def within(axis: TurnAxis, bearing_deg: float, near_deg: float) -> float:
    """The bearing as the axis counts it nearest to near_deg, held to its range."""
    turned = unwound_deg(bearing_deg, near_deg)
    others = [turned + turn for turn in (0.0, 360.0, -360.0)]
    inside = [value for value in others if axis.min_deg <= value <= axis.max_deg]
    return inside[0] if inside else float(np.clip(turned, axis.min_deg, axis.max_deg))


# ---------------------------------------------------------------- kinds


def impossible(context: MoveContext) -> dict[str, str]:
    """Kinds of move that can't be made here, and why, in a sentence."""
    r = context.plan.rig
    if context.plan.shoot.frames < 2:
        return {kind: "A single frame can't move." for kind in KINDS if kind != "still"}
    reasons: dict[str, str] = {}
    if r.pan is None:
        reasons["pan"] = "The head has no pan motor."
    if r.tilt is None:
        reasons["tilt"] = "The head has no tilt motor."
    if r.slide is None:
        reasons |= dict.fromkeys(
            ("slide", "slide-held", "push-in", "pull-out", "slide-tilt"), "The rig has no slider."
        )
        return reasons
    if not context.has_subject:
        reasons["slide-held"] = "The plan names no subject to hold."
        reasons |= dict.fromkeys(("push-in", "pull-out"), "The plan names no subject to go towards.")
    if r.pan is None:
        reasons.setdefault("slide-held", "The head has no pan motor to hold the subject with.")
    if r.tilt is None:
        reasons["slide-tilt"] = "The head has no tilt motor."
    angle = rail_angle_deg(context)
    if context.has_subject and min(angle, 180.0 - angle) > PUSH_WITHIN_DEG:
        away = (
            f"The rail lies {min(angle, 180.0 - angle):.0f}° off the line to the subject; turn it to within "
        )
        reasons |= dict.fromkeys(("push-in", "pull-out"), away + f"{PUSH_WITHIN_DEG:.0f}°.")
    elif context.has_subject:
        reasons["slide"] = "The rail points at the subject: sliding is a push-in or a pull-out here."
        reasons["slide-held"] = reasons["slide"]
    return reasons


def rail_angle_deg(context: MoveContext) -> float:
    """Angle between the way in which the slide grows and the level line to the subject, 0 to 180 degrees."""
    middle = sum(context.planned_slide) / 2.0
    apart = context.plan.rig.bearing_deg - context.subject_deg(middle)[0]
    return abs(wrapped_deg(apart))


def variants(context: MoveContext, kind: str) -> Iterator[Plan]:
    """Plans to try for a kind of move that is possible."""
    makers = {
        "still": _still,
        "pan": _pan,
        "tilt": _tilt,
        "slide": _slide,
        "slide-held": _slide_held,
        "push-in": _push_in,
        "pull-out": _pull_out,
        "slide-tilt": _slide_tilt,
    }
    return makers[kind](context)


def _reveals(context: MoveContext) -> bool:
    plan = context.plan
    return plan.composition is not None and plan.composition.style == "reveal"


def _still(context: MoveContext) -> Iterator[Plan]:
    base = context.framing
    pan = context.pan_deg(base.slide_m, base.place)
    yield context.two_poses((base.slide_m,) * 2, (pan,) * 2, (base.tilt_deg,) * 2)


def _pan(context: MoveContext) -> Iterator[Plan]:
    base = context.framing
    slides, tilts = (base.slide_m,) * 2, (base.tilt_deg,) * 2
    first, last = context.planned_pan
    if abs(last - first) >= TURNING_DEG:
        yield context.two_poses(slides, (first, last), tilts)
    if _reveals(context):
        spans = [(out, place) for out in OUTSIDE for place in THIRDS]
    else:
        spans = [directed for span in PAN_SPANS for directed in (span, span[::-1])]
    for span in spans:
        yield context.two_poses(slides, [context.pan_deg(base.slide_m, place) for place in span], tilts)


def _tilt(context: MoveContext) -> Iterator[Plan]:
    base = context.framing
    slides, pans = (base.slide_m,) * 2, (context.pan_deg(base.slide_m, base.place),) * 2
    first, last = context.planned_tilt
    if abs(last - first) >= TURNING_DEG:
        yield context.two_poses(slides, pans, (first, last))
    for tilts in _tilt_spans(context, (1.1,) if _reveals(context) else TILT_SPANS):
        yield context.two_poses(slides, pans, tilts)


def _tilt_spans(context: MoveContext, shares: Sequence[float]) -> list[tuple[float, float]]:
    """From above or below to the base tilt, and from there up or down; within the tilt axis."""
    axis, base = context.plan.rig.tilt, context.framing.tilt_deg
    assert axis is not None
    spans = []
    for fraction, sign in product(shares, (1.0, -1.0)):
        other = float(np.clip(base + sign * fraction * context.view_up_deg, axis.min_deg, axis.max_deg))
        half = float(np.clip(base + sign * fraction * context.view_up_deg / 2.0, axis.min_deg, axis.max_deg))
        spans += [(other, base), (half, 2.0 * base - half)]
        if not _reveals(context):
            spans.append((base, other))
    return spans


def _slide(context: MoveContext) -> Iterator[Plan]:
    yield from _slides(context, context.stretches())


def _stretches_and_places(
    context: MoveContext, stretches: Sequence[tuple[float, float]]
) -> list[tuple[tuple[float, float], float]]:
    """Every stretch with the subject in its best place, and the first ones with it elsewhere."""
    best = [(stretch, context.framing.place) for stretch in stretches]
    others = (
        [place for place in THIRDS if abs(place - context.framing.place) > 0.05]
        if context.plan.rig.pan
        else []
    )
    return best + list(product(stretches[:2], others))


def _slides(context: MoveContext, stretches: Sequence[tuple[float, float]]) -> Iterator[Plan]:
    for (first, last), place in _stretches_and_places(context, stretches):
        aim_at = last if _reveals(context) else (first + last) / 2.0
        pan = context.pan_deg(aim_at, place)
        yield context.two_poses((first, last), (pan, pan), (context.framing.tilt_deg,) * 2)


def _slide_held(context: MoveContext) -> Iterator[Plan]:
    """The pan follows the subject at five poses, which is enough for a curve that bends one way."""
    at = np.linspace(0.0, 1.0, 5)
    done = progress(at, context.plan.move.ease)
    for (first, last), place in _stretches_and_places(context, context.stretches()):
        slides = first + (last - first) * done
        yield context.with_poses(
            [
                (float(a), float(slide), context.pan_deg(float(slide), place), context.framing.tilt_deg)
                for a, slide in zip(at, slides, strict=True)
            ]
        )


def _push_in(context: MoveContext) -> Iterator[Plan]:
    yield from _along(context, towards=True)


def _pull_out(context: MoveContext) -> Iterator[Plan]:
    yield from _along(context, towards=False)


def _along(context: MoveContext, *, towards: bool) -> Iterator[Plan]:
    grows = (rail_angle_deg(context) < 90.0) == towards
    yield from _slides(
        context, [stretch for stretch in context.stretches() if (stretch[1] > stretch[0]) == grows]
    )


def _slide_tilt(context: MoveContext) -> Iterator[Plan]:
    first, last = context.planned_tilt
    spans = _tilt_spans(context, SMALL_TILTS)
    if abs(last - first) >= TURNING_DEG:
        spans.insert(0, (first, last))
    places = THIRDS if _reveals(context) and context.plan.rig.pan else (context.framing.place,)
    for (start, end), tilts, place in product(_long(context), spans, places):
        pan = context.pan_deg(end if _reveals(context) else (start + end) / 2.0, place)
        yield context.two_poses((start, end), (pan, pan), tilts)


def _long(context: MoveContext) -> list[tuple[float, float]]:
    """The planned stretch and a long one, both ways."""
    stretches = context.stretches()
    return list(dict.fromkeys([*stretches[:2], *stretches[-2:]]))
