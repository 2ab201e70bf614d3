"""The sentences about highlights and shadows that the sensor can't hold."""

from __future__ import annotations

from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.words.figures import figure

FOLLOWS_LATE = (
    "The exposure follows the light late, a third of a stop a frame: take frames at a shorter interval."
)


@speaks("highlights-lost")
def _highlights_lost(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    headroom = f"{figure(fact('headroom'))} stops above middle grey{names.aside('camera.headroom_stops')}"
    return Sentences(
        f"{_where_and_how_much(finding)} is white without detail (frame {fact('worst_frame')}, "
        f"{fact('time')}): it is up to {fact('over'):.1f} stops brighter than the sensor keeps, {headroom}.",
        otherwise=_darker(finding, names),
    )


def _darker(finding: Finding, names: Names) -> str:
    fact = finding.fact
    if fact("lags"):
        return FOLLOWS_LATE
    if fact("limits_bind"):
        return "The settings can't go further down: start when there is less light."
    return "Turn the lens farther from the sun, or start when it is lower."


@speaks("shadows-lost")
def _shadows_lost(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    held = f"{figure(fact('range'))} stops below white{names.aside('camera.range_stops')}"
    return Sentences(
        f"{_where_and_how_much(finding)} is black without detail (frame {fact('worst_frame')}, "
        f"{fact('time')}): darker than the sensor holds, {held}.",
        otherwise=_brighter(finding, names),
    )


def _brighter(finding: Finding, names: Names) -> str:
    fact = finding.fact
    if fact("lags"):
        return FOLLOWS_LATE
    lamps = []
    if fact("lamps_unknown"):
        lamps.append(
            f"give the place's lamps, if it has any{names.aside('exposure.artificial_ev100')}",
        )
    if fact("limits_bind"):
        longer = f"allow a longer exposure{names.aside('exposure.shutter_max_s')}"
        return _sentence([longer, f"a higher ISO{names.aside('exposure.iso_max')}", *lamps])
    return _sentence(lamps) or "Accept them, or choose light that reaches them."


def _where_and_how_much(finding: Finding) -> str:
    return f"up to {100.0 * finding.fact('share'):.0f} % of the picture"


def _sentence(ways: list[str]) -> str:
    """'A, b, or c.'; '' for none."""
    if not ways:
        return ""
    text = ", or ".join([", ".join(ways[:-1]), ways[-1]] if len(ways) > 1 else ways)
    return text[0].upper() + text[1:] + "."
