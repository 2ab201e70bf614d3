"""Phrases that the sentences of several topics share."""

from __future__ import annotations

from planner_core.review.findings import Finding
from planner_core.words.figures import figure


def measured(finding: Finding) -> float:
    """The value of a finding that has one."""
    assert finding.value is not None
    return finding.value


def limit(finding: Finding) -> float:
    """The limit of a finding that has one."""
    assert finding.limit is not None
    return finding.limit


def quoted(label: str) -> str:
    """A block's label as it stands in a sentence: “beacon”."""
    return f"“{label}”"


def amount_text(value: float, unit: str) -> str:
    """'0.72 m', '35 mm', '0.4 mm' or '12.5°': a way of an axis as a person reads it off a scale."""
    if unit != "m":
        return f"{figure(value)}{unit}"
    return f"{figure(value)} m" if abs(value) >= 0.0995 else f"{figure(value * 1000.0, 2)} mm"


def exact(value: float, unit: str) -> str:
    """A value as the plan has it, with its unit: '1.4 m' or '12°'."""
    return f"{value:g}{_with_space(unit)}"


def rate_text(value: float, unit: str) -> str:
    """A rate to three digits, with its unit: '0.012 m/s' or '3.2°/s'."""
    return f"{figure(value)}{_with_space(unit)}"


def _with_space(unit: str) -> str:
    return unit if unit.startswith("°") else f" {unit}"
