"""The sentences about water, people and traffic that move by themselves."""

from __future__ import annotations

from planner_core.light.exposure import shutter_label
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.phrases import measured
from planner_core.words.figures import figure

_JUMP = {
    "water": "the waves on “{block}” are different in every frame, and the water flickers",
    "people": "people on “{block}” move {jump} m from frame to frame and pop in and out of the picture",
    "traffic": "cars on “{block}” move {jump} m from frame to frame and pop in and out of the picture",
}
_SMEAR = {
    "water": "the water of “{block}” goes as smooth as glass",
    "people": "people on “{block}” smear over {far} m, and whoever walks through vanishes",
    "traffic": "the traffic on “{block}” smears over {far} m, and its lights draw trails",
}


@speaks("strobing")
def _strobing(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    does = _JUMP[fact("kind")].format(block=fact("block"), jump=figure(fact("jump"), 2))
    stops = fact("filter")
    spared = "" if fact("throughout") else ", which the darker frames can't spare"
    return Sentences(
        f"{does}: the shutter is open for as little as "
        f"{shutter_label(fact('shutter'))} of every {fact('interval'):g} s.",
        f"To flow, it would have to be exposed for {figure(fact('enough'), 2)} s, a fifth of the "
        f"interval: that takes {stops} stop{'s' * (stops > 1)} of ND{spared}.",
    )


@speaks("smearing")
def _smearing(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    does = _SMEAR[fact("kind")].format(block=fact("block"), far=figure(measured(finding), 2))
    return Sentences(
        f"{does}: exposures go up to {shutter_label(fact('shutter'))} (frame {fact('worst_frame')}).",
        _what_to_do(finding, names),
    )


def _what_to_do(finding: Finding, names: Names) -> str:
    fact = finding.fact
    sharp = shutter_label(fact("sharp"))
    if fact("kind") == "traffic":
        gap = f"{100.0 * fact('gap'):.0f} % of the time goes by between"
        if fact("smooth"):
            return f"The trails flow from frame to frame; {gap} them."
        return (
            f"{gap} the frames: for trails that flow, expose half of the interval or more, "
            f"{figure(fact('half'), 2)} s. That takes {fact('less_light'):.1f} stops of ND, or of the "
            f"aperture{names.aside('exposure.f_number')}."
        )
    if fact("kind") == "people":
        return f"Whoever should be seen has to stand still; to freeze a walk takes {sharp} or less."
    return f"Fine if that is what you want; to keep waves takes {sharp} or less."
