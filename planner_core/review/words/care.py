"""The sentences of the cautions: what can hurt people or gear at this place."""

from __future__ import annotations

from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.phrases import measured, quoted
from planner_core.words.figures import figure

TIE = "Weigh the rig down, tether it to something that holds, and keep everyone else away from the edge."


@speaks("edge-near")
def _edge_near(finding: Finding, names: Names) -> Sentences:
    fact, drop = finding.fact, measured(finding)
    onto = " to the water" if fact("water") else ""
    return Sentences(
        f"The ground drops {figure(drop, 2)} m{onto} within {fact('distance'):g} m of the rig, towards "
        f"{fact('bearing'):.0f}°.",
        TIE,
    )


@speaks("railing-near")
def _railing_near(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"{quoted(finding.blocks[0])} stands {measured(finding):.1f} m from the rig and looks like a "
        f"railing.",
        "Don't tie the rig or a rope to it: a railing is made to lean on, not to hold a falling load.",
    )


@speaks("carriage-runs")
def _carriage_runs(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"The rail slopes by {measured(finding):.1f}°. If the power fails, the carriage can run down up to "
        f"{finding.fact('length'):.2f} m with the camera on it.",
        "Fit a stop at the lower end, use a motor or gear that holds without power, and keep fingers off the "
        "rail.",
    )


@speaks("lightning-season")
def _lightning(finding: Finding, names: Names) -> Sentences:
    rail = "a metal rail and tripod" if finding.fact("on_rail") else "a metal tripod"
    return Sentences(
        f"{finding.fact('month')} is thunderstorm season here, and you stand beside {rail}.",
        "Check the forecast. At the first thunder leave the rig and get into a building or a car.",
    )


@speaks("night-alone")
def _night_alone(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"it is dark {'until' if finding.fact('clears') else 'from'} "
        f"{finding.fact('time')}{'' if finding.fact('clears') else ' on'}.",
        "Don't go alone. Tell someone where you are and when you will be back, and take a second lamp.",
    )


@speaks("people-near")
def _people_near(finding: Finding, names: Names) -> Sentences:
    away = measured(finding)
    where = f"{away:.0f} m from the rig" if away >= 0.5 else "right beside the rig"
    return Sentences(
        f"People pass {where} ({quoted(finding.blocks[0])}).",
        "Mark the tripod's legs and cables so that nobody trips over them, and leave room to walk past.",
    )


@speaks("lamps-dazzle")
def _lamps_dazzle(finding: Finding, names: Names) -> Sentences:
    who = "boats" if finding.fact("boats") else "drivers"
    return Sentences(
        f"{who} on {quoted(finding.blocks[0])} can see your lamp in the dark.",
        "Use a dim red lamp, point it at the ground, and never shine it towards them.",
    )


@speaks("nd-sun")
def _nd_sun(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"a neutral density filter of {measured(finding):g} stops doesn't make the sun safe.",
        "Never look at the sun through it: it lets infrared and ultraviolet through. Use live view.",
    )


@speaks("lasers")
def _lasers(finding: Finding, names: Names) -> Sentences:
    said = finding.fact("said")
    return Sentences(
        f"The plan mentions {'a ' if not said.endswith('s') else ''}{said}: a laser beam that hits the lens "
        "can destroy the sensor in an instant.",
        "Ask where the beams go, and cover the lens when one comes towards the camera.",
    )
