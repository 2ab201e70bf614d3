"""What a review is made of: findings as facts, what would remedy them, and how their words are looked up.

A finding says nothing by itself. The sentences of each code stand in `review/words` and register here; they
are made when somebody reads them, with the names that this reader knows the plan's fields by.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from attrs import frozen

from planner_core.review.remedy import (
    PLAN_FILE,
    Names,
    Quantity,
    Remedy,
    cost_text,
    facts,
    remedies_text,
    remedy_text,
)
from planner_core.review.summary import Summary
from planner_core.review.words.in_short import in_short
from planner_core.words.figures import frames_text
from planner_core.words.language import ENGLISH, current

__all__ = [
    "LEVELS",
    "PLAN_FILE",
    "Finding",
    "Names",
    "Quantity",
    "Remedy",
    "Review",
    "Sentences",
    "facts",
    "finding_dict",
    "remedy_text",
    "sentences",
    "sort_findings",
    "speaks",
]

LEVELS = ("stop", "warn", "note")


@frozen(kw_only=True)
class Finding:
    """One thing a careful colleague would say, as facts: what, where and how much.

    frames is (first, last), counted from 1, or None where the finding is about the whole plan. value, limit
    and unit are what it is judged by; facts is everything else its sentences speak of. blocks names those
    concerned, for selecting them; fit the option of the fit verb that would solve it.

    Until it was tried, remedies are proposals, and no sentence speaks of them. Afterwards they are those that
    help, the one to take first; failed says how many don't, brings the codes of what they bring instead, and
    untried how many there was no budget for. goes_with is the code of a graver finding whose own first remedy
    makes this one go too.
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
    tried: bool = False
    failed: int = 0
    brings: tuple[str, ...] = ()
    untried: int = 0
    goes_with: str = ""

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


class Sentences(NamedTuple):
    """What a speaker says of a finding: what is the case, and what to do about it beside its remedies.

    message goes on after the finding's frames, which are put in front of it where it is shown, with the
    clock in brackets behind them; one that is complete needs them only in a list. fix is what no field of
    the plan can do, which is always said; otherwise is what is left to decide where no remedy helps.
    """

    message: str
    fix: str = ""
    otherwise: str = ""
    clock: str = ""
    complete: bool = False


@frozen
class Told:
    """What a reader is told of a finding: in which frames, what is the case, and what to do about it.

    frames are empty where it is about the whole plan. body doesn't name them; where it is complete, it
    stands as a sentence without them.
    """

    frames: str
    body: str
    fix: str
    complete: bool

    @property
    def after_frames(self) -> str:
        """What is the case, after the frames: 'Frames 3–9: the beacon is cut by the left edge.'"""
        return f"{self.frames}: {self.body}" if self.frames else self.body

    @property
    def message(self) -> str:
        """What is the case, in a sentence that can stand alone."""
        return self.body if self.complete else self.after_frames

    @property
    def text(self) -> str:
        """What is the case and what to do about it, as one paragraph."""
        return _joined(self.message, self.fix)


Speaker = Callable[[Finding, Names], Sentences]


@frozen
class Voice:
    """How a language speaks of remedies, of a finding that nothing was found against, of costs, and of what
    the findings of a code are about.
    """

    remedies: Callable[[Sequence[Remedy], Names], str]
    nothing_helps: Callable[[Finding], str]
    costs: Callable[[Sequence[Quantity]], str]
    about: Callable[[str], str]


SPEAKERS: dict[str, dict[str, Speaker]] = {}  # by language, then by code
_VOICES: dict[str, Voice] = {}


def speaks(*codes: str, language: str = ENGLISH) -> Callable[[Speaker], Speaker]:
    """Register a function as the one that words the findings of these codes, in English or another
    language.
    """

    def register(speaker: Speaker) -> Speaker:
        for code in codes:
            SPEAKERS.setdefault(language, {})[code] = speaker
        return speaker

    return register


def has_voice(language: str, voice: Voice) -> None:
    """Register how a language speaks of remedies."""
    _VOICES[language] = voice


def voice() -> Voice:
    """How the current language speaks of remedies."""
    return _VOICES.get(current().code, _VOICES[ENGLISH])


def _speaker_of(code: str, language: str) -> Speaker:
    """Who words a code's findings; in English where the language has nobody."""
    return SPEAKERS.get(language, {}).get(code) or SPEAKERS[ENGLISH][code]


def sentences(finding: Finding, names: Names = PLAN_FILE) -> Told:
    """The words of a finding, for a reader who knows the plan's fields by these names.

    Of remedies only those are told that were tried.
    """
    said = _speaker_of(finding.code, current().code)(finding, names)
    frames = frames_text(finding.frames) if finding.frames else ""
    return Told(
        frames=f"{frames} ({said.clock})" if said.clock else frames,
        body=said.message,
        fix=_what_to_do(finding, said, names),
        complete=said.complete,
    )


def _what_to_do(finding: Finding, said: Sentences, names: Names) -> str:
    if not finding.tried:
        return said.fix
    if finding.remedies:
        return _joined(voice().remedies(finding.remedies, names), said.fix)
    plainly = "" if said.fix or finding.level == "note" else voice().nothing_helps(finding)
    return _joined(plainly, said.fix, "" if finding.goes_with else said.otherwise)


def _joined(*parts: str) -> str:
    return " ".join(filter(None, parts))


def _nothing_helps(finding: Finding) -> str:
    if finding.goes_with:
        return f"It goes with what is done against {in_short(finding.goes_with)}."
    if finding.untried:
        return "What may help is more than a check tries; fit --all goes on."
    if finding.brings:
        others = " and ".join(in_short(code) for code in finding.brings)
        return f"Whatever was tried against it brings {others}; no value serves both."
    if finding.failed:
        return "No change of the plan that was tried helps."
    return "No change of the plan is known to help."


has_voice(ENGLISH, Voice(remedies_text, _nothing_helps, cost_text, in_short))


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
            "findings": [finding_dict(finding, names) for finding in self.findings],
        }


def finding_dict(finding: Finding, names: Names = PLAN_FILE) -> dict[str, Any]:
    """A finding as plain values for JSON."""
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
            for remedy in (finding.remedies if finding.tried else ())
        ],
    }


def sort_findings(findings: list[Finding]) -> tuple[Finding, ...]:
    """The gravest first; within a level in the order in which they were found."""
    return tuple(sorted(findings, key=lambda finding: LEVELS.index(finding.level)))
