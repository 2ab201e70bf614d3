"""What a review is made of: findings, and the small words and spans they are told with."""

from __future__ import annotations

from typing import Any

from attrs import asdict, field, frozen

LEVELS = ("stop", "warn", "note")


@frozen(kw_only=True)
class Finding:
    """One thing a careful colleague would say: what, where, how much, what to do.

    frames is (first, last), counted from 1, or None where the finding is about the whole plan. blocks
    names those concerned, for selecting them; fit the option of the fit verb that would mend it.
    """

    code: str
    level: str
    message: str
    fix: str = ""
    frames: tuple[int, int] | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    blocks: tuple[str, ...] = ()
    fit: str = ""


@frozen(kw_only=True)
class Review:
    """What the plan comes to: a summary of numbers, and findings, the gravest first."""

    title: str
    summary: dict[str, Any] = field(factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def stops(self) -> bool:
        """Whether something must change before going out."""
        return any(finding.level == "stop" for finding in self.findings)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        rows = [
            {key: value for key, value in asdict(finding).items() if key not in ("blocks", "fit")}
            | {"frames": list(finding.frames) if finding.frames else None}
            for finding in self.findings
        ]
        return {"title": self.title, "summary": self.summary, "findings": rows}


def sort_findings(findings: list[Finding]) -> tuple[Finding, ...]:
    """The gravest first; within a level in the order in which they were found."""
    return tuple(sorted(findings, key=lambda finding: LEVELS.index(finding.level)))
