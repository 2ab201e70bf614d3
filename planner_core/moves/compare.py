"""The same scene, time and rig with other moves: each fitted, measured and ranked, the still shot among
them.

A move has to earn its place: the weakest picture counts most, then how much the move shows, less what it
costs. What counts for how much is common practice with no source, in one table.
"""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
from attrs import frozen

from planner_core.moves import candidates
from planner_core.moves.candidates import KINDS, MoveContext
from planner_core.moves.measured import Measured, Measures, reason_text
from planner_core.moves.score import (
    OF_PICTURE,
    OF_RIG,
    POINTS,
    move_points,
    moving_axes,
    reveal_works,
    turned_percent,
)
from planner_core.picture import block_visibility, composition, parallax, pose_repair
from planner_core.picture.speed import speed_word
from planner_core.plan.model import Plan
from planner_core.rig.camera import camera_path

QUICK_PLACES = 21
PLANNED = "planned"


@frozen(kw_only=True)
class Candidate:
    """One move: its plan, its score out of about 100, what was measured, and why it stands where it does."""

    name: str
    label: str
    plan: Plan
    score: float
    measures: Measures
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
                    "measures": row.measures.as_dict(),
                }
                for rank, row in enumerate(self.rows, start=1)
            ],
            "not_possible": [
                {"name": name, "label": KINDS[name], "reason": why} for name, why in self.not_possible
            ],
        }

    def lines(self) -> list[str]:
        """The table as text, a line and a sentence each."""
        wide = max(len(row.label) for row in self.rows)
        lines = [f"{self.title or 'Untitled plan'}: moves compared, the best first", ""]
        for rank, row in enumerate(self.rows, start=1):
            lines += [f"{rank:>2}. {row.label:<{wide}}  {row.score:>3.0f}", f"    {row.reason}"]
        if self.not_possible:
            lines += ["", "Not possible here:"]
            lines += [f"    {KINDS[name]}: {why}" for name, why in self.not_possible]
        return lines


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
    measured = {name: Measured(candidate) for name, candidate in plans.items()}
    rows = [_candidate(name, one, measured["still"]) for name, one in measured.items()]
    order = [PLANNED, *KINDS]
    rows.sort(key=lambda row: (-round(row.score, 1), order.index(row.name)))
    return Comparison(title=plan.title, rows=tuple(rows), not_possible=tuple(cannot.items()))


def _named(plan: Plan, kind: str, candidate: Plan) -> Plan:
    return attrs.evolve(candidate, title=f"{plan.title} – {KINDS[kind]}" if plan.title else KINDS[kind])


# ---------------------------------------------------------------- measuring


def _quick_score(plan: Plan) -> float:
    """Score of a variant by some frames and without the rig's and the light's findings."""
    path = camera_path(plan, np.linspace(0.0, 1.0, QUICK_PLACES))
    view = block_visibility.compute_visibility(plan, path)
    moved = parallax.parallax(plan, view)
    reading = composition.read(plan, view, travels=parallax.slides(plan))
    judged = composition.judged(plan, reading.at)
    picture = float(reading.score[composition.weakest_frame(reading, judged)])
    turned = turned_percent(view)
    points = move_points(
        picture, moved.separation_percent, turned, moving_axes(plan), reveal_works(plan, reading)
    )
    if reading.subject:
        points += POINTS["stop"] * float(np.mean(pose_repair.failing(plan, reading)))
    clip_s = plan.shoot.frames / plan.clip.fps
    near = moved.near.shift_percent / 100.0 if moved.near is not None else 0.0
    mean_speed = max(near, max(turned) / 100.0) / clip_s
    points += POINTS["too fast"] if speed_word(1.9 * mean_speed) == "too fast" else 0.0
    return round(2.0 * points) / 2.0  # so that of variants as good as each other the first is taken


# ---------------------------------------------------------------- ranking


def _candidate(name: str, measured: Measured, still: Measured) -> Candidate:
    stops, warns = (
        measured.codes(level, OF_PICTURE) | (measured.codes(level, OF_RIG) - still.codes(level, OF_RIG))
        for level in ("stop", "warn")
    )
    score = move_points(
        float(measured.reading.score[measured.weakest]),
        measured.parallax.separation_percent,
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
        reason=reason_text(measured, stops, warns),
    )
