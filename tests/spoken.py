"""Findings with words of the test's own, for what lays findings out."""

from __future__ import annotations

from typing import Any

from planner_core.review.findings import SPEAKERS, Finding, Names, Sentences, facts, speaks


@speaks("spoken")
def _spoken(finding: Finding, names: Names) -> Sentences:
    return Sentences(finding.fact("message"), finding.fact("fix"), complete=finding.fact("complete"))


def codes_of_the_tool() -> frozenset[str]:
    """Every finding the tool itself has words for, whether or not a test made one of its own before."""
    return frozenset(SPEAKERS["en"]) - {"spoken"}


def spoken(message: str, fix: str = "", *, complete: bool = False, **fields: Any) -> Finding:
    """A finding that says this, after its frames where the message isn't complete without them."""
    return Finding(code="spoken", facts=facts(message=message, fix=fix, complete=complete), **fields)
