"""German words of facts, and phrases that the sentences of several topics share."""

from __future__ import annotations

from collections.abc import Sequence

from planner_core.review.findings import Finding, Quantity

GERMAN = "de"
WORDS = {
    "left": "linken",
    "right": "rechten",
    "upper": "oberen",
    "lower": "unteren",
    "top": "oberen",
    "bottom": "unteren",
    "slide": "Schlitten",
    "pan": "Schwenk",
    "tilt": "Neigung",
    "foreground": "Vordergrund",
    "subject": "Motiv",
    "background": "Hintergrund",
    "far distance": "Ferne",
    "ground": "Boden",
    "water": "Wasser",
    "rail": "Schiene",
    "carriage": "Schlitten",
    "sun": "Sonne",
    "moon": "Mond",
    "latitude": "Breite",
    "longitude": "Länge",
    "sunrise": "Sonnenaufgang",
    "sunset": "Sonnenuntergang",
    "civil_dawn": "bürgerlicher Morgendämmerung",
    "civil_dusk": "bürgerlicher Abenddämmerung",
    "nautical_dawn": "nautischer Morgendämmerung",
    "nautical_dusk": "nautischer Abenddämmerung",
    "astronomical_dawn": "astronomischer Morgendämmerung",
    "astronomical_dusk": "astronomischer Abenddämmerung",
    "moonrise": "Mondaufgang",
    "moonset": "Monduntergang",
    "solar_noon": "Sonnenhöchststand",
    "day": "Tag",
    "night": "Nacht",
    "twilight": "Dämmerung",
    "twilight and night": "Dämmerung und Nacht",
    "civil twilight": "bürgerliche Dämmerung",
    "nautical twilight": "nautische Dämmerung",
    "astronomical twilight": "astronomische Dämmerung",
    "still": "steht still",
    "creeping": "kriecht",
    "calm": "ruhig",
    "brisk": "flott",
    "too fast": "zu schnell",
    "January": "Januar",
    "February": "Februar",
    "March": "März",
    "May": "Mai",
    "June": "Juni",
    "July": "Juli",
    "October": "Oktober",
    "December": "Dezember",
}


def word(english: str) -> str:
    """A fact's English word in German; a name stays as it is."""
    return WORDS.get(english, WORDS.get(english.replace(" ", "_"), english))


def quoted(label: str) -> str:
    """A block's label as it stands in a German sentence: „Leuchtfeuer“."""
    return f"„{label}“"


def all_of(labels: Sequence[str]) -> str:
    """Labels with commas and a last 'und'."""
    names = [quoted(label) for label in labels]
    return " und ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def begun(text: str) -> str:
    """A sentence with a capital letter."""
    return text[:1].upper() + text[1:]


def measured(finding: Finding) -> float:
    """The value of a finding that has one."""
    assert finding.value is not None
    return finding.value


def limit(finding: Finding) -> float:
    """The limit of a finding that has one."""
    assert finding.limit is not None
    return finding.limit


def stops(count: float, digits: int = 1) -> str:
    """'1,5 Blenden' with Blender's decimal point."""
    return f"{count:.{digits}f} Blenden"


def quantity(finding: Finding, name: str) -> Quantity:
    """One of the facts with its unit."""
    return next(fact for fact in finding.facts if fact.name == name)
