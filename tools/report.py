"""Text for the terminal: the review and the comparison, as a person reads them."""

from __future__ import annotations

import shutil
import textwrap
from typing import Any

from planner_core.findings import Finding, Review, frames_text

HEADINGS = {"stop": "Must change", "warn": "Look at", "note": "Good to know"}


def review_text(report: Review) -> str:
    """The review as paragraphs, the gravest first, then the plan in numbers."""
    width = min(shutil.get_terminal_size((100, 24)).columns, 100)
    lines = [report.title or "Untitled plan", ""]
    for level, heading in HEADINGS.items():
        found = [finding for finding in report.findings if finding.level == level]
        if not found:
            continue
        lines.append(f"{heading} ({len(found)})")
        for finding in found:
            lines += textwrap.wrap(
                finding_text(finding), width, initial_indent="  • ", subsequent_indent="    "
            )
        lines.append("")
    if not report.findings:
        lines += ["Nothing to object to.", ""]
    lines += _summary_lines(report.summary)
    return "\n".join(lines).rstrip()


def finding_text(finding: Finding) -> str:
    """A finding as one paragraph: what it says, and what to do."""
    where = f"{frames_text(finding.frames)}: " if finding.frames and "rame" not in finding.message[:8] else ""
    return f"{where}{finding.message} {finding.fix} [{finding.code}]".replace("  ", " ")


def _summary_lines(summary: dict[str, Any]) -> list[str]:
    if not summary:
        return []
    width = max(len(name) for name in summary)
    return ["In numbers", *(f"  {name:<{width}}  {_value(value)}" for name, value in summary.items())]


def _value(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, (list, tuple)):
        return ", ".join(_value(item) for item in value)
    return "–" if value is None else str(value)


def comparison_text(comparison: Any) -> str:
    """The ranked candidates, a line and a sentence each."""
    return "\n".join(comparison.lines())
