"""What to set, and what that costs, in German."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from planner_core.light.exposure import f_number_label, shutter_label
from planner_core.picture.pose_repair import step_text
from planner_core.review.findings import Finding, Names, Voice, has_voice
from planner_core.review.german.phrases import GERMAN
from planner_core.review.remedy import STARTS, TOLD, UNITS, Quantity, Remedy
from planner_core.review.words.in_short import title
from planner_core.words.durations import duration_text
from planner_core.words.figures import figure
from planner_core.words.language import say


def _listed(parts: Sequence[str]) -> str:
    return " und ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def _title(code: str) -> str:
    return f"„{say(title(code))}“"


_COSTS = {
    "longer_shoot": lambda s: f"die Aufnahme wird {duration_text(s)} länger",
    "shorter_shoot": lambda s: f"die Aufnahme wird {duration_text(s)} kürzer",
    "longer_clip": lambda s: f"der Clip wird {s:.1f} s länger",
    "shorter_clip": lambda s: f"der Clip wird {s:.1f} s kürzer",
    "less_light": lambda count: f"{count:.1f} Blenden weniger Licht",
    "more_iso": lambda iso: f"bis ISO {figure(iso)}",
    "brings": lambda codes: f"bringt {_listed([_title(code) for code in codes])}",
    "darker": lambda count: f"Bilder bis zu {count:.1f} Blenden dunkler",
    "brighter": lambda count: f"Bilder bis zu {count:.1f} Blenden heller",
    "less_travel": lambda m: f"{figure(m, 2)} m weniger Fahrweg",
    "more_travel": lambda m: f"{figure(m, 2)} m mehr Fahrweg",
}


def remedies_text(remedies: Sequence[Remedy], names: Names) -> str:
    """The first few remedies as one sentence, the one to take first."""
    said = "; oder ".join(_phrase(remedy, names) for remedy in remedies[:TOLD])
    return f"{said[:1].upper()}{said[1:]}."


def costs_text(costs: Sequence[Quantity]) -> str:
    """What remedies cost, with commas between."""
    return ", ".join(_COSTS[cost.name](cost.value) for cost in costs if cost.name in _COSTS)


def nothing_helps(finding: Finding) -> str:
    """What is said where no remedy was found."""
    if finding.goes_with:
        return f"Das geht mit dem, was gegen {_title(finding.goes_with)} hilft."
    if finding.untried:
        return "Was helfen kann, ist mehr, als eine Prüfung versucht; „Alles anpassen“ sucht weiter."
    if finding.brings:
        others = _listed([_title(code) for code in finding.brings])
        return f"Was auch versucht wurde, bringt {others}; kein Wert dient beidem."
    if finding.failed:
        return "Keine Änderung des Plans, die versucht wurde, hilft."
    return "Es ist keine Änderung des Plans bekannt, die hilft."


def _phrase(remedy: Remedy, names: Names) -> str:
    told = costs_text(remedy.cost)
    deed = _deed(remedy, names)
    return f"{deed} ({told})" if told else deed


def _deed(remedy: Remedy, names: Names) -> str:
    step = remedy.fact("step")
    if step is not None:
        return step_text(step).removesuffix(".")
    if remedy.fact("start") is not None:
        rest = {path: value for path, value in remedy.changes.items() if not path.startswith(STARTS)}
        return _start(remedy, names) + (f" und {_settings(rest, names)}" if rest else "")
    if remedy.fact("calm") is not None:
        return _narrower(remedy)
    if remedy.fact("focus") is not None:
        return _focus(remedy)
    return _settings(remedy.changes, names)


def _settings(changes: Mapping[str, Any], names: Names) -> str:
    if all(value is None for value in changes.values()):
        return f"lass {_listed([names.field(path) for path in changes])} weg"
    parts = [f"{names.field(path)} auf {_value(path, value, names)}" for path, value in changes.items()]
    return f"setze {_listed(parts)}"


def _start(remedy: Remedy, names: Names) -> str:
    said = f"beginne um {remedy.fact('start')} statt {remedy.fact('was_start')}"
    at = remedy.changes.get("shoot.anchor.at")
    if at is None:
        return said
    was = names.fraction(remedy.fact("was_at"))
    return f"{said} ({names.field('shoot.anchor.at')} {names.fraction(at)} statt {was})"


def _focus(remedy: Remedy) -> str:
    stopped, far = remedy.changes.get("exposure.f_number"), remedy.fact("sharp_to")
    which = ", die hyperfokale Entfernung," if remedy.fact("hyperfocal") else ""
    stop = "" if stopped is None else f" und blende auf {f_number_label(stopped)} ab"
    reach = "bis unendlich" if far is None else f"bis {figure(far)} m"
    near = figure(remedy.fact("sharp_from"), 2)
    return f"stelle auf {remedy.fact('focus'):g} m{which} scharf{stop}: scharf von {near} m {reach}"


def _narrower(remedy: Remedy) -> str:
    axis = remedy.fact("axis")
    unit = UNITS["_m" if axis == "slide_m" else "_deg"]
    does = {"slide_m": "fahre", "pan_deg": "schwenke um", "tilt_deg": "neige um"}[axis]
    values = ", ".join(f"{value:g}" for value in remedy.changes.values())
    return (
        f"{does} {figure(remedy.fact('calm'))}{unit} statt {figure(remedy.fact('now'))}{unit}, um etwa dieselbe "
        f"Mitte (Posen bei {values}{unit})"
    )


def _value(path: str, value: Any, names: Names) -> str:
    if value is None:
        return "nichts"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_value(f'{path}.{name}', item, names)}" for name, item in value.items())
    if not isinstance(value, (int, float)):
        return f"„{value}“" if path == "composition.subject" else names.choice(path, str(value))
    if path.endswith(".at"):
        return names.fraction(float(value))
    if path.startswith("exposure.shutter_"):
        return shutter_label(float(value))
    if path == "exposure.f_number":
        return f_number_label(float(value))
    ending = next((unit for suffix, unit in UNITS.items() if path.endswith(suffix)), "")
    return f"{value:g}{ending.replace(' stops', ' Blenden')}"


has_voice(GERMAN, Voice(remedies_text, nothing_helps, costs_text, _title))
