"""The sentence about lamps that flicker."""

from __future__ import annotations

from planner_core.light.exposure import shutter_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.phrases import measured
from planner_core.words.figures import figure


@speaks("mains-flicker")
def _mains_flicker(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    hz, even, lamps = fact("hz"), fact("even"), 100.0 * fact("lamp_share")
    where = "" if fact("given") else f" here{names.aside('exposure.mains_hz')}"
    return Sentences(
        f"lamps on {hz:g} Hz pulse {2.0 * hz:g} times a second{where}, and at "
        f"{shutter_label(fact('shutter'))} (frame {fact('worst_frame')}, {fact('time')}) one frame may come "
        f"out {figure(measured(finding), 2)} stop brighter than the next; lamps give {lamps:.0f} % of its "
        "light.",
        otherwise=f"Expose {shutter_label(even)} or longer once the lamps are on, or take the flicker out "
        "afterwards.",
    )
