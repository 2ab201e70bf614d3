"""The sentences about the sea."""

from __future__ import annotations

from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.phrases import amount_text, limit, measured, quoted
from planner_core.words.figures import figure


@speaks("tide-unknown")
def _tide_unknown(finding: Finding, names: Names) -> Sentences:
    covers = finding.fact("covers")
    if covers is None:
        return Sentences(
            f"{', '.join(map(quoted, finding.blocks))} should rise and fall with the tide, but the plan "
            f"has no "
            "tide table.",
            f"Enter the high and low waters around the shoot in {names.field('site.tides')}.",
        )
    return Sentences(
        f"the tide table covers {covers} only; outside of it the water is kept at its last height.",
        f"Add the waters before and after the shoot to {names.field('site.tides')}.",
    )


@speaks("water-reaches")
def _water_reaches(finding: Finding, names: Names) -> Sentences:
    fact, clear = finding.fact, measured(finding)
    feet = "the ground under the rail" if fact("on_rail") else "the tripod's feet"
    stands = (
        f"{amount_text(float(figure(clear, 2)), 'm')} below"
        if clear > 0.0
        else f"{amount_text(float(figure(-clear, 2)), 'm')} above"
        if clear < 0.0
        else "level with"
    )
    when = f" at {fact('highest_time')}" if fact("highest_time") else ""
    begins = f", and reaches them from {fact('from_time')}" if fact("from_time") else ""
    return Sentences(
        f"The water{when} stands {stands} {feet}; with a swell of {fact('swell'):g} m and a margin of "
        f"{fact('margin'):g} m that is too close{begins}.",
        "Set up higher, or choose another tide. Never leave a rig alone near rising water.",
        complete=True,
    )


@speaks("way-cut-off")
def _way_cut_off(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    until = f" until {fact('until_time')}" if fact("until_time") else " until after you have to leave"
    return Sentences(
        f"{quoted(finding.blocks[0])} is under water from {fact('from_time')}{until}: it floods at "
        f"{limit(finding):g} m, and the tide reaches {measured(finding):.1f} m.",
        "There is no way back over it then; choose another tide or another way."
        if fact("going_back")
        else "Be across before that, and stay until it is free again.",
    )


@speaks("foreground-drowned")
def _foreground_drowned(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"{quoted(finding.blocks[0])} is under water, from {finding.fact('from_time')} on.",
        "Choose a foreground that stays above the water, or another tide.",
    )


@speaks("foreground-dry")
def _foreground_dry(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"{quoted(finding.blocks[0])} stands on dry ground, from {finding.fact('from_time')} on.",
        "Expect mud or sand there instead of water, or choose another tide.",
    )
