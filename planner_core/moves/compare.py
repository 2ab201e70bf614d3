"""The same scene, time and rig with other moves: each fitted, measured and ranked, the still shot among
them.

A move has to be worth it: the weakest picture counts most, then how much the move shows, less what it costs.
What counts for how much is common practice with no source, in one table.
"""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
from attrs import frozen

from planner_core.frames import compute_frames
from planner_core.moves import candidates
from planner_core.moves.candidates import KINDS, SLIDING_M, TURNING_DEG, MoveContext
from planner_core.picture import block_visibility, composition, parallax, pose_repair
from planner_core.picture.composition import Reading, percent
from planner_core.picture.parallax import GOOD_PERCENT, MISSING_PERCENT, Parallax
from planner_core.picture.speed import frame_widths_a_second, screen_speeds, speed_word
from planner_core.place.blocking import block_text
from planner_core.plan.model import Plan
from planner_core.review.assess import assess
from planner_core.review.findings import Finding
from planner_core.rig.camera import camera_path
from planner_core.rig.motion import axis_positions

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
}
PAN_COUNTS, TILT_COUNTS = 0.55, 0.35  # of what parallax does for a picture
TURN_PERCENT = 12.0  # of the frame's width: a pan or tilt that is plain to see
QUICK_PLACES = 21
# Findings that count against a move: by the starts of their codes, those of the picture, which count against
# the still shot too, and those of the rig.
OF_PICTURE = ("subject-", "reveal-", "camera-inside", "weak-frame", "foreground-", "background-", "horizon-")
OF_RIG = ("axis-", "interval-", "screen-speed", "motion-blur", "step-", "rail-", "rig-")
PLANNED = "planned"


@frozen(kw_only=True)
class Candidate:
    """One move: its plan, its score out of about 100, what was measured, and why it stands where it does."""

    name: str
    label: str
    plan: Plan
    score: float
    measures: dict[str, Any]
    stops: tuple[str, ...]
    reason: str


@frozen(kw_only=True)
class Comparison:
    """Moves for one scene, the best first, and those that the rig or the scene doesn't allow."""

    title: str
    rows: tuple[Candidate, ...]
    not_possible: tuple[tuple[str, str], ...]

    @property
    def plans(self) -> dict[str, Plan]:
        """The plans by name, the best first."""
        return {row.name: row.plan for row in self.rows}

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "title": self.title,
            "candidates": [
                {
                    "rank": rank,
                    "name": row.name,
                    "label": row.label,
                    "score": round(row.score, 1),
                    "reason": row.reason,
                    "stops": list(row.stops),
                    "measures": row.measures,
                }
                for rank, row in enumerate(self.rows, start=1)
            ],
            "not_possible": [
                {"name": name, "label": KINDS[name], "reason": why} for name, why in self.not_possible
            ],
        }

    to_dict = as_dict

    def lines(self) -> list[str]:
        """The table as text, a line and a sentence each."""
        wide = max(len(row.label) for row in self.rows)
        text = [f"{self.title or 'Untitled plan'}: moves compared, the best first", ""]
        for rank, row in enumerate(self.rows, start=1):
            text += [f"{rank:>2}. {row.label:<{wide}}  {row.score:>3.0f}", f"    {row.reason}"]
        if self.not_possible:
            text += ["", "Not possible here:"]
            text += [f"    {KINDS[name]}: {why}" for name, why in self.not_possible]
        return text


def compare(plan: Plan) -> Comparison:
    """The plan's move and the others that its rig could make, ranked. Raises PlanError where the plan has no
    times.
    """
    context = MoveContext(plan)
    cannot = candidates.impossible(context)
    plans = {PLANNED: plan}
    for kind in KINDS:
        if kind not in cannot:
            plans[kind] = _named(plan, kind, max(candidates.variants(context, kind), key=_quick_score))
    measured = {name: _Measured(candidate) for name, candidate in plans.items()}
    rows = [_candidate(name, one, measured["still"]) for name, one in measured.items()]
    order = [PLANNED, *KINDS]
    rows.sort(key=lambda row: (-round(row.score, 1), order.index(row.name)))
    return Comparison(title=plan.title, rows=tuple(rows), not_possible=tuple(cannot.items()))


def _named(plan: Plan, kind: str, candidate: Plan) -> Plan:
    return attrs.evolve(candidate, title=f"{plan.title} – {KINDS[kind]}" if plan.title else KINDS[kind])


# ---------------------------------------------------------------- measuring


class _Measured:
    """A candidate's frames, measured and reviewed."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        frames = compute_frames(plan)
        self.findings = assess(plan, frames).findings
        view = block_visibility.of(frames)
        self.parallax = parallax.parallax(plan, view)
        self.reading = composition.read(plan, view, travels=parallax.slides(plan))
        self.turned_percent = turned_percent(view)
        self.axes = moving_axes(plan)
        self.speeds = {
            role: float(frame_widths_a_second(plan, speeds.worst_px))
            for role, speeds in screen_speeds(plan, frames.camera_m, frames.camera_rotation).items()
            if speeds.seen
        }
        self.fastest = max(self.speeds.values(), default=0.0)
        judged = composition.judged(plan, self.reading.at)
        self.weakest = composition.weakest_frame(self.reading, judged)
        self.reveals = _reveal_works(plan, self.reading)

    def codes(self, level: str, starts: tuple[str, ...] = OF_PICTURE + OF_RIG) -> set[str]:
        return {f.code for f in self.findings if f.level == level and f.code.startswith(starts)}

    def worst(self, codes: set[str]) -> Finding | None:
        return next((finding for finding in self.findings if finding.code in codes), None)

    def measures(self) -> dict[str, Any]:
        return {
            "weakest_frame": self.weakest + 1,
            "weakest_score": round(float(self.reading.score[self.weakest]), 3),
            "weakest_part": composition.part_text(self.plan, self.reading, self.weakest),
            "separation_percent": round(self.parallax.separation_percent, 2),
            "pan_percent": round(self.turned_percent[0], 2),
            "tilt_percent": round(self.turned_percent[1], 2),
            "fastest_frame_widths_s": round(self.fastest, 4),
            "speed": speed_word(self.fastest),
            "reveal_works": self.reveals,
            "moving_axes": list(self.axes),
        }


def moving_axes(plan: Plan) -> tuple[str, ...]:
    """The axes that a plan moves at all; a single frame moves none."""
    if plan.shoot.frames < 2:
        return ()
    least = {"slide_m": SLIDING_M, "pan_deg": TURNING_DEG, "tilt_deg": TURNING_DEG}
    axes = axis_positions(plan, np.linspace(0.0, 1.0, 33))
    return tuple(
        name.partition("_")[0] for name, positions in axes.given() if np.ptp(positions) >= least[name]
    )


def turned_percent(view: block_visibility.BlockVisibility) -> tuple[float, float]:
    """How far pan and tilt move the far distance over the clip, each in percent of the frame's width."""
    ahead = -view.camera_rotation[:, :, 2]
    bearing = np.unwrap(np.arctan2(ahead[:, 0], ahead[:, 1]))
    altitude = np.arcsin(np.clip(ahead[:, 2], -1.0, 1.0))
    scale = view.focal_px / view.width_px * 100.0
    return float(np.ptp(bearing)) * scale, float(np.ptp(altitude)) * scale


def _reveal_works(plan: Plan, reading: Reading) -> bool | None:
    """Whether a reveal shows its subject in time and keeps it in view; None for a hold."""
    if plan.composition is None or plan.composition.style == "hold" or not reading.subject:
        return None
    return not pose_repair.failing(plan, reading).any()


def _points(
    picture: float,
    moved: Parallax,
    turned: tuple[float, float],
    axes: tuple[str, ...],
    reveals: bool | None,
) -> float:
    """Points before faults."""
    slide = min(moved.separation_percent / GOOD_PERCENT, 1.0) if "slide" in axes else 0.0
    turn = max(
        counts * min(percent_ / TURN_PERCENT, 1.0)
        for counts, percent_ in zip((PAN_COUNTS, TILT_COUNTS), turned, strict=True)
    )
    shows = min(max(slide, turn) + 0.2 * min(slide, turn), 1.0)
    points = POINTS["picture"] * picture + POINTS["move"] * shows
    if axes:
        points += POINTS["moving"] + POINTS["another axis"] * (len(axes) - 1)
    return points + (POINTS["reveal"] if reveals else 0.0)


def _quick_score(plan: Plan) -> float:
    """Score of a variant by some frames and without the rig's and the light's findings."""
    path = camera_path(plan, np.linspace(0.0, 1.0, QUICK_PLACES))
    view = block_visibility.compute_visibility(plan, path)
    moved = parallax.parallax(plan, view)
    reading = composition.read(plan, view, travels=parallax.slides(plan))
    judged = composition.judged(plan, reading.at)
    picture = float(reading.score[composition.weakest_frame(reading, judged)])
    turned = turned_percent(view)
    points = _points(picture, moved, turned, moving_axes(plan), _reveal_works(plan, reading))
    if reading.subject:
        points += POINTS["stop"] * float(np.mean(pose_repair.failing(plan, reading)))
    clip_s = plan.shoot.frames / plan.clip.fps
    near = moved.near.shift_percent / 100.0 if moved.near is not None else 0.0
    mean_speed = max(near, max(turned) / 100.0) / clip_s
    points += POINTS["too fast"] if speed_word(1.9 * mean_speed) == "too fast" else 0.0
    return round(2.0 * points) / 2.0  # so that among equally good variants the first is taken


# ---------------------------------------------------------------- ranking


def _candidate(name: str, measured: _Measured, still: _Measured) -> Candidate:
    stops, warns = (
        measured.codes(level, OF_PICTURE) | (measured.codes(level, OF_RIG) - still.codes(level, OF_RIG))
        for level in ("stop", "warn")
    )
    score = _points(
        float(measured.reading.score[measured.weakest]),
        measured.parallax,
        measured.turned_percent,
        measured.axes,
        measured.reveals,
    )
    score += POINTS["stop"] * len(stops) + POINTS["warn"] * len(warns)
    if "reveal-early" in measured.codes("warn"):
        score += POINTS["no reveal"]
    if speed_word(measured.fastest) == "too fast":
        score += POINTS["too fast"]
    return Candidate(
        name=name,
        label="as planned" if name == PLANNED else KINDS[name],
        plan=measured.plan,
        score=max(score, 0.0),
        measures=measured.measures(),
        stops=tuple(sorted(stops)),
        reason=_reason(measured, stops, warns),
    )


def _reason(measured: _Measured, stops: set[str], warns: set[str]) -> str:
    """Why a move stands where it does, in a sentence."""
    fault = measured.worst(stops)
    if fault is not None:
        return fault.message
    said = [_picture_text(measured), _move_text(measured)]
    if speed_word(measured.fastest) == "too fast":
        said.append(f"but it is too fast at {measured.fastest:.2f} frame widths a second")
    worry = measured.worst(warns - {"foreground-missing", "background-static"})
    text = ", ".join(part for part in said if part)
    text = text[0].upper() + text[1:] + "."
    return f"{text} {worry.message}" if worry is not None else text


def _picture_text(measured: _Measured) -> str:
    score = measured.reading.score[measured.weakest] * 100.0
    name = composition.subject_name(measured.plan)
    if measured.reveals:
        return f"reveals {name} in time and keeps it to the end (weakest frame after that {score:.0f} of 100)"
    if score >= 80.0:
        what = f"composes {name}" if measured.reading.subject else "every picture stands"
        return f"{what} from first to last frame (weakest {score:.0f} of 100)"
    part = composition.part_text(measured.plan, measured.reading, measured.weakest)
    return f"weakest at frame {measured.weakest + 1} ({score:.0f} of 100): {part}"


def _move_text(measured: _Measured) -> str:
    moved, axes = measured.parallax, measured.axes
    if not axes:
        return "and nothing moves but the light"
    if "slide" in axes:
        apart = moved.separation_percent
        if apart < MISSING_PERCENT:
            return (
                f"but the slide hardly shows: near and far move apart by {apart:.1f} % of the frame's width"
            )
        near = moved.near
        name = (
            block_text(measured.plan, near.block) if near is not None and near.block >= 0 else "what is near"
        )
        where = f", {near.distance_m:.1f} m from the camera," if near is not None else ""
        return f"and {name}{where} moves {apart:.0f} % of the frame's width against the far distance"
    turned = percent(max(measured.turned_percent) / 100.0)
    return f"and turns the view by {turned} of the frame's width, without parallax"
