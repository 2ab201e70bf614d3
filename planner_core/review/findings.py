"""What a review is made of: findings as facts, what would remedy them, and how their words are looked up.

A finding says nothing by itself. The sentences of each code stand in `review/words` and register here; they
are made when somebody reads them, with the names that this reader knows the plan's fields by.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from attrs import frozen

from planner_core.review.summary import Summary
from planner_core.words.figures import figure

LEVELS = ("stop", "warn", "note")


@frozen
class Quantity:
    """A fact with a name: a number with its unit, or a word such as a block's or an event's name."""

    name: str
    value: Any
    unit: str = ""


def facts(**given: Any) -> tuple[Quantity, ...]:
    """Quantities by name: `facts(needed=(10.5, "s"), worst_frame=12)`."""
    return tuple(
        Quantity(name, *pair)
        if isinstance(pair, tuple) and len(pair) == 2 and isinstance(pair[1], str)
        else Quantity(name, pair)
        for name, pair in given.items()
    )


@frozen(kw_only=True)
class Remedy:
    """Something to set: the plan's fields by path with their new values, and what it costs.

    A value of None empties an optional field; an anchor or start may be replaced whole.
    """

    changes: Mapping[str, Any]
    cost: tuple[Quantity, ...] = ()


@frozen(kw_only=True)
class Finding:
    """One thing a careful colleague would say, as facts: what, where and how much.

    frames is (first, last), counted from 1, or None where the finding is about the whole plan. value, limit
    and unit are what it is judged by; facts is everything else its sentences speak of. blocks names those
    concerned, for selecting them; fit the option of the fit verb that would solve it.
    """

    code: str
    level: str
    frames: tuple[int, int] | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    facts: tuple[Quantity, ...] = ()
    remedies: tuple[Remedy, ...] = ()
    blocks: tuple[str, ...] = ()
    fit: str = ""

    def fact(self, name: str) -> Any:
        """The value of one of the facts. Raises KeyError."""
        for quantity in self.facts:
            if quantity.name == name:
                return quantity.value
        raise KeyError(name)

    @property
    def message(self) -> str:
        """What is the case, with the plan file's names."""
        return sentences(self).message

    @property
    def fix(self) -> str:
        """What to do about it, with the plan file's names; empty where there is nothing to do."""
        return sentences(self).fix


# ---------------------------------------------------------------- words


class Names:
    """How a reader calls the plan's fields: here as the plan file does. Blender's sidebar has its own."""

    def field(self, path: str) -> str:
        """A field's name inside a sentence: `shoot.interval_s`."""
        return path

    def aside(self, path: str) -> str:
        """A field's name behind a word that says it already: ` (exposure.iso_max)`."""
        return f" ({self.field(path)})"

    def fraction(self, value: float) -> str:
        """A place in the move, 0 to 1."""
        return figure(value)


PLAN_FILE = Names()


class Sentences(NamedTuple):
    """What is the case, and what to do about it."""

    message: str
    fix: str = ""


Speaker = Callable[[Finding, Names], Sentences]
_SPEAKERS: dict[str, Speaker] = {}


def speaks(*codes: str) -> Callable[[Speaker], Speaker]:
    """Register a function as the one that words the findings of these codes."""

    def register(speaker: Speaker) -> Speaker:
        for code in codes:
            _SPEAKERS[code] = speaker
        return speaker

    return register


def spoken_codes() -> frozenset[str]:
    """The codes that there are sentences for."""
    return frozenset(_SPEAKERS)


def sentences(finding: Finding, names: Names = PLAN_FILE) -> Sentences:
    """The words of a finding, for a reader who knows the plan's fields by these names."""
    return _SPEAKERS[finding.code](finding, names)


def remedy_text(remedy: Remedy, names: Names = PLAN_FILE) -> str:
    """What a remedy sets: `Set shoot.interval_s to 11.`"""
    parts = [
        f"{names.field(path)} to {_value_text(path, value, names)}" for path, value in remedy.changes.items()
    ]
    listed = " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
    return f"Set {listed}."


def _value_text(path: str, value: Any, names: Names) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, Mapping):
        return ", ".join(
            f"{name} {_value_text(f'{path}.{name}', item, names)}" for name, item in value.items()
        )
    if path.endswith(".at"):
        return names.fraction(float(value))
    return f"{value:g}" if isinstance(value, (int, float)) else str(value)


# ---------------------------------------------------------------- the review


@frozen(kw_only=True)
class Review:
    """What the plan comes to: a summary of numbers, and findings, the gravest first."""

    title: str
    summary: Summary
    findings: tuple[Finding, ...] = ()

    @property
    def stops(self) -> bool:
        """Whether something must change before going out."""
        return any(finding.level == "stop" for finding in self.findings)

    def as_dict(self, names: Names = PLAN_FILE) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "title": self.title,
            "summary": self.summary.as_dict(),
            "findings": [_finding_dict(finding, names) for finding in self.findings],
        }


def _finding_dict(finding: Finding, names: Names) -> dict[str, Any]:
    said = sentences(finding, names)
    return {
        "code": finding.code,
        "level": finding.level,
        "message": said.message,
        "fix": said.fix,
        "frames": list(finding.frames) if finding.frames else None,
        "value": finding.value,
        "limit": finding.limit,
        "unit": finding.unit,
        "remedies": [
            {"text": remedy_text(remedy, names), "changes": dict(remedy.changes)}
            for remedy in finding.remedies
        ],
    }


def sort_findings(findings: list[Finding]) -> tuple[Finding, ...]:
    """The gravest first; within a level in the order in which they were found."""
    return tuple(sorted(findings, key=lambda finding: LEVELS.index(finding.level)))
