"""The sentences about skylines and ground that end inside the picture."""

from __future__ import annotations

from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.phrases import amount_text, measured
from planner_core.words.figures import figure


@speaks("skyline-ends")
def _skyline_ends(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    return Sentences(
        f"the {fact('side')} end of “{fact('block')}” is inside the picture, at "
        f"{fact('bearing'):.1f}°, and still {figure(measured(finding), 2)}° higher than what is beyond.",
        "If the skyline goes on there, add bearings to it until it leaves the picture; as it is, sun and "
        "moon are seen beside it.",
    )


@speaks("ground-ends")
def _ground_ends(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    water = fact("role") == "water"
    further = (
        "If it is open water, make it reach to the horizon; else put the far shore there."
        if water
        else "Make it larger, or put there what really comes next."
    )
    return Sentences(
        f"“{fact('block')}” ends inside the picture, {amount_text(fact('distance'), 'm')} "
        f"away, and {100.0 * fact('share'):.0f} % of the picture is bare ground beyond it.",
        further,
    )
