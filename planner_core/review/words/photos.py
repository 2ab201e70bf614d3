"""The sentences about photographs of the place."""

from __future__ import annotations

from planner_core.plan.text import one_line
from planner_core.review.findings import Finding, Names, Sentences, speaks


@speaks("photo-differs")
def _photo_differs(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    side = "right" if fact("right") else "left"
    return Sentences(
        f"The plan has “{one_line(fact('block'))}” {finding.value:.1f}° farther {side} than the photograph "
        f"{one_line(fact('photo'))} does ({fact('off_px'):.0f} px of it).",
        "Move the block until it meets its pin, or solve the photograph again if its pins have changed.",
    )


@speaks("photo-pin-lost")
def _photo_pin_lost(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    why = (
        f"names “{one_line(fact('block'))}”, which is no longer a block"
        if fact("block")
        else f"is on the {fact('disc')}, and the photograph has no time"
    )
    return Sentences(
        f"Pin {fact('number')} of the photograph {one_line(fact('photo'))} {why}.",
        "Pin something else, or remove the pin.",
    )
