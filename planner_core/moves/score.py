"""What a shot is worth in points: the weakest picture, what the move shows, and what is wrong with it.

`compare` ranks moves by it and `scout` whole shots. What counts for how much is common practice with no
source, in one table.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening import moonlight, sunlight
from planner_core.frames import FrameTable
from planner_core.maths.angles import wrapped_deg
from planner_core.moves.candidates import SLIDING_M, TURNING_DEG
from planner_core.picture import block_visibility, pose_repair
from planner_core.picture.composition import Reading
from planner_core.picture.parallax import GOOD_PERCENT, Parallax
from planner_core.plan.model import LIGHT_SIDES, Plan
from planner_core.review.findings import Finding
from planner_core.rig.motion import axis_positions

Array = NDArray[np.float64]

# Points; the best reveal comes to 100. Common practice, no source.
POINTS: dict[str, float] = {
    "picture": 70.0,  # times the weakest frame's score
    "move": 25.0,  # times how much the move shows: parallax in full, pan and tilt by half
    "reveal": 9.0,  # a reveal that works
    "no reveal": -15.0,  # of a subject that is to be revealed and shows from the start
    "moving": -4.0,  # a rig in motion is one more thing to go wrong
    "another axis": -1.5,  # for the second and third axis that moves
    "stop": -30.0,  # for each kind of fault that the still shot doesn't have
    "warn": -4.0,
    "too fast": -15.0,
    "light": -12.0,  # for light from another side than composition.light wishes
    "disc": -12.0,  # for a sun or moon that is not in or out of the picture as wished
}
PAN_COUNTS, TILT_COUNTS = 0.55, 0.35  # of what parallax does for a picture
TURN_PERCENT = 12.0  # of the frame's width: a pan or tilt that is plain to see
# Findings that a move answers for: by the starts of their codes, those of the picture, which the still shot
# answers for too, and those of the rig.
OF_PICTURE = ("subject-", "reveal-", "camera-inside", "weak-frame", "foreground-", "background-", "horizon-")
OF_EXPOSURE = ("exposure-", "ramp-steep", "highlights-lost", "shadows-lost")
OF_FOCUS = ("focus-",)
OF_RIG = ("axis-", "interval-", "screen-speed", "motion-blur", "step-", "rail-", "rig-")


def move_points(
    picture: float,
    separation_percent: float,
    turned: tuple[float, float],
    axes: tuple[str, ...],
    reveals: bool | None,
) -> float:
    """Points before faults."""
    slide = min(separation_percent / GOOD_PERCENT, 1.0) if "slide" in axes else 0.0
    turn = max(
        counts * min(percent_ / TURN_PERCENT, 1.0)
        for counts, percent_ in zip((PAN_COUNTS, TILT_COUNTS), turned, strict=True)
    )
    shows = min(max(slide, turn) + 0.2 * min(slide, turn), 1.0)
    total = POINTS["picture"] * picture + POINTS["move"] * shows
    if axes:
        total += POINTS["moving"] + POINTS["another axis"] * (len(axes) - 1)
    return total + (POINTS["reveal"] if reveals else 0.0)


def moving_axes(plan: Plan) -> tuple[str, ...]:
    """The axes that a plan moves at all; a single frame moves none."""
    if plan.shoot.frames < 2:
        return ()
    least = {"slide_m": SLIDING_M, "pan_deg": TURNING_DEG, "tilt_deg": TURNING_DEG}
    axes = axis_positions(plan, np.linspace(0.0, 1.0, 33))
    return tuple(
        name.partition("_")[0] for name, positions in axes.given() if np.ptp(positions) >= least[name]
    )


def turned_percent(seen: block_visibility.BlockVisibility) -> tuple[float, float]:
    """How far pan and tilt move the far distance over the clip, each in percent of the frame's width."""
    ahead = -seen.camera_rotation[:, :, 2]
    bearing = np.unwrap(np.arctan2(ahead[:, 0], ahead[:, 1]))
    altitude = np.arcsin(np.clip(ahead[:, 2], -1.0, 1.0))
    scale = seen.focal_px / seen.width_px * 100.0
    return float(np.ptp(bearing)) * scale, float(np.ptp(altitude)) * scale


# ---------------------------------------------------------------- a whole shot

# How far the sun stands off the line of sight in plan view: behind the subject, beside it, behind the camera.
# Common practice, no source.
BACK_WITHIN_DEG, FRONT_FROM_DEG = 60.0, 120.0
LIGHT_FROM_DEG = -6.0  # the sun, or the glow where it went down, gives the light a direction until civil dusk


@frozen(kw_only=True)
class ShotScore:
    """A shot's points, about 100 for the best, and what they are made of; `faults` lists codes that cost."""

    parts: dict[str, float]
    faults: tuple[str, ...]

    @property
    def total(self) -> float:
        """All together, never below 0."""
        return max(sum(self.parts.values()), 0.0)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON: the score as it is told, and its parts."""
        return {
            "score": round(self.total, 1),
            "parts": {name: round(value, 2) + 0.0 for name, value in self.parts.items()},
            "faults": list(self.faults),
        }


class Shot(Protocol):
    """What is scored: a plan's frames, review, reading and parallax, as moves/measured.py has them."""

    @property
    def plan(self) -> Plan: ...
    @property
    def frames(self) -> FrameTable: ...
    @property
    def findings(self) -> Sequence[Finding]: ...
    @property
    def reading(self) -> Reading: ...
    @property
    def parallax(self) -> Parallax: ...
    @property
    def weakest(self) -> int: ...
    @property
    def axes(self) -> tuple[str, ...]: ...
    @property
    def turned_percent(self) -> tuple[float, float]: ...
    @property
    def reveals(self) -> bool | None: ...


def shot_score(shot: Shot) -> ShotScore:
    """What a shot is worth, in the parts picture, move, light, sun, moon, exposure and faults.

    The picture, its move and their faults count as `compare` counts them, but every fault in full: there is
    no still shot beside it.
    """
    picture = POINTS["picture"] * float(shot.reading.score[shot.weakest])
    moved = move_points(0.0, shot.parallax.separation_percent, shot.turned_percent, shot.axes, shot.reveals)
    starts = OF_PICTURE + OF_FOCUS + OF_RIG
    codes = {level: _codes(shot.findings, level, starts) for level in ("stop", "warn")}
    of_light = {code for level in codes for code in _codes(shot.findings, level, OF_EXPOSURE)}
    faults = POINTS["stop"] * len(codes["stop"]) + POINTS["warn"] * len(codes["warn"])
    if "reveal-early" in codes["warn"]:
        faults += POINTS["no reveal"]
    if "screen-speed" in codes["stop"] | codes["warn"]:
        faults += POINTS["too fast"] - POINTS["warn"]
    return ShotScore(
        parts={
            "picture": picture,
            "move": moved,
            **wish_points(shot.plan, shot.frames),
            "exposure": POINTS["warn"] * len(of_light),
            "faults": faults,
        },
        faults=tuple(sorted(codes["stop"] | codes["warn"] | of_light)),
    )


def _codes(findings: Sequence[Finding], level: str, starts: tuple[str, ...]) -> set[str]:
    return {f.code for f in findings if f.level == level and f.code.startswith(starts)}


def reveal_works(plan: Plan, reading: Reading) -> bool | None:
    """Whether a reveal reveals, in time and for good; None for a hold."""
    if plan.composition is None or plan.composition.style == "hold" or not reading.subject:
        return None
    return not pose_repair.failing(plan, reading).any()


def wish_points(plan: Plan, frames: FrameTable) -> dict[str, float]:
    """What is lost where light, sun and moon are not as composition.light, sun and moon wish, 0 or less."""
    wishes = plan.composition
    if wishes is None or (wishes.light, wishes.sun, wishes.moon) == ("any", "any", "any"):
        return {"light": 0.0, "sun": 0.0, "moon": 0.0}
    sun, moon = sunlight.sunlight(frames).in_picture, moonlight.moon_view(frames).in_picture
    return {
        "light": POINTS["light"] * (1.0 - light_share(plan, frames)),
        "sun": POINTS["disc"] * _missed(wishes.sun, sun),
        "moon": POINTS["disc"] * _missed(wishes.moon, moon),
    }


def light_share(plan: Plan, frames: FrameTable) -> float:
    """Share of the frames with a sun that gives direction on which the light comes as composition.light
    wishes; 1 where any will do or none gives direction.
    """
    wish = plan.composition.light if plan.composition else "any"
    counts = frames.sun_altitude_deg > LIGHT_FROM_DEG
    if wish == "any" or not counts.any():
        return 1.0
    off = np.abs(wrapped_deg(frames.sun_azimuth_deg - frames.lens_bearing_deg))[counts]
    return float(np.mean(light_comes_from(off) == LIGHT_SIDES.index(wish)))


def light_comes_from(off_deg: Array) -> NDArray[np.intp]:
    """Index in LIGHT_SIDES of the light's side, any shape, from the angle between lens and sun from above."""
    return np.where(off_deg < BACK_WITHIN_DEG, 3, np.where(off_deg > FRONT_FROM_DEG, 1, 2))


def _missed(wish: str, in_picture: NDArray[np.bool_]) -> float:
    """How far a disc is from where it is wished, 0 to 1: in the picture at some time, or never."""
    if wish == "any":
        return 0.0
    return float(in_picture.any() == (wish == "out"))
