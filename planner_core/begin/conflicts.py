"""Facts that don't go together: which of them to give up first, and how the others are said.

What belongs here: the order in which other facts are tried, and words for them. Whether a plan comes of them
the chooser finds out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import attrs

from planner_core.begin.facts import Facts, Thing

FARTHER = (1.5, 2.0, 3.0, 5.0, 8.0)  # times as far from the subject


def alternatives(facts: Facts) -> Iterator[tuple[str, Facts]]:
    """The fact given up first, by its name, and the facts without it, the easiest to live with first."""
    tied = {"foreground": facts.foreground, "lens": facts.focal_length_mm, "rail": facts.rail_m}
    given = [name for name, value in tied.items() if value is not None]
    for name in given:
        yield name, _without(facts, (name,))
    if len(given) > 1:
        yield given[0], _without(facts, given)
    for free in (facts, attrs.evolve(facts, foreground=None, focal_length_mm=None)):
        for times in FARTHER:
            away_m = round(times * facts.subject.distance_m)
            yield "subject", attrs.evolve(free, subject=attrs.evolve(facts.subject, distance_m=away_m))


def _without(facts: Facts, names: Collection[str]) -> Facts:
    return attrs.evolve(
        facts,
        foreground=None if "foreground" in names else facts.foreground,
        focal_length_mm=None if "lens" in names else facts.focal_length_mm,
        rail_m=None if "rail" in names else facts.rail_m,
    )


def fact_text(facts: Facts, name: str) -> str:
    """A fact as it is typed: wall 250 1."""
    if name in ("subject", "foreground"):
        thing: Thing = getattr(facts, name)
        height = "" if thing.height_m is None else f" {thing.height_m:g}"
        return f"{thing.name} {thing.bearing_deg:g} {thing.distance_m:g}{height}"
    return f"{facts.focal_length_mm if name == 'lens' else facts.rail_m:g}"


def instead_text(facts: Facts, others: Facts) -> str:
    """What of the facts given is different among the others, as a person says it: a lens of 24 mm."""
    parts = []
    if others.subject != facts.subject:
        parts.append(f"standing {others.subject.distance_m:g} m from the {others.subject.name}")
    near = others.foreground
    if near is not None and facts.foreground not in (None, near):
        parts.append(f"a {near.name} at {near.bearing_deg:g}°, {near.distance_m:g} m from the rail")
    if facts.focal_length_mm not in (None, others.focal_length_mm):
        parts.append(f"a lens of {others.focal_length_mm:g} mm")
    if facts.rail_m not in (None, others.rail_m):
        parts.append(f"a rail of {others.rail_m:g} m")
    text = " and ".join(parts)
    return text[:1].upper() + text[1:]
