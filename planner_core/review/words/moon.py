"""The sentences about the moon in the picture."""

from __future__ import annotations

from planner_core.light.exposure import shutter_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.sun import coming_and_going
from planner_core.words.figures import figure, percent

DRIFT_SAID_PX = 0.1


@speaks("moon-in-frame")
def _moon_in_frame(finding: Finding, names: Names) -> Sentences:
    assert finding.frames is not None
    fact = finding.fact
    first, last = finding.frames
    gaps = f" in {fact('count')} of them" if fact("count") < last - first + 1 else ""
    when = fact("first_time") if first == last else f"{fact('first_time')} to {fact('last_time')}"
    told = (
        f"the moon, {percent(fact('lit'))} lit, is in the picture{gaps}, up to {fact('highest'):.1f}° high; "
        f"{coming_and_going(finding)}."
    )
    return Sentences(told + _disc(finding), _fix(finding), clock=when)


@speaks("moon-missing")
def _moon_missing(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    left, right = fact("reach")
    if not fact("risen"):
        return Sentences(
            "The moon is below the horizon in every frame.",
            "Choose a date on which it is up: dates --moon lists them.",
        )
    return Sentences(
        f"The moon is in no frame's picture: when it is up first, in frame {fact('frame')} ({fact('time')}), "
        f"it stands at {fact('bearing'):.0f}°, {fact('altitude'):.1f}° high, and the picture reaches from "
        f"{left:.0f}° to {right:.0f}°.",
        "Turn the lens to it, or let dates --moon find a date on which it comes into the picture.",
    )


def _disc(finding: Finding) -> str:
    """How it comes out, where the plan has an exposure."""
    fact = finding.fact
    if fact("smear") is None:
        return f" It is {figure(fact('width'), 2)} px wide."
    over, side = fact("over"), "over" if fact("over") > 0.0 else "under"
    drifts = (
        f" and drifts by {figure(fact('smear'), 2)} px during {shutter_label(fact('shutter'))} (frame "
        f"{fact('smear_frame')})"
        if fact("smear") >= DRIFT_SAID_PX
        else ""
    )
    return (
        f" Its disc, {figure(fact('width'), 2)} px wide, comes out {abs(over):.1f} stops {side} middle grey "
        f"(frame {fact('brightest_frame')}){drifts}."
    )


def _fix(finding: Finding) -> str:
    fact = finding.fact
    advice = []
    if fact("round_shutter") is not None and fact("round_shutter") > 0.0:
        advice.append(f"For a round disc expose {figure(fact('round_shutter'), 2)} s at most.")
    over, headroom = fact("over"), fact("headroom")
    if over is not None and over > headroom:
        advice.append(
            f"It burns out, {over - headroom:.1f} stops beyond what a raw file holds: take one picture for "
            "the moon as well, or frame it out."
        )
    return " ".join(advice) or "Nothing to change: it keeps its shape and its detail."
