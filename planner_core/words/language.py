"""In which language sentences are made: English, as they stand in the code, unless whoever shows them chooses
another.

What is said goes through `say`: a message with places for its values, which a catalogue may have in another
language. What is told now and shown later (a refusal, what a fit changed) is a `phrase`, whose words come
last: `in_words`. Findings have speakers of their own in each language (`review/findings.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Any

from attrs import field, frozen

ENGLISH = "en"


@frozen
class Language:
    """A language by its code (ISO 639-1), with what it has for the messages of the code."""

    code: str
    catalogue: Mapping[str, str] = field(factory=dict)


_PLAIN = Language(ENGLISH)
_choose: list[Callable[[], Language]] = []  # whoever chooses, the last first


def chosen_by(choose: Callable[[], Language]) -> None:
    """Have the language asked for at each sentence, until `left`."""
    _choose.append(choose)


def left(choose: Callable[[], Language]) -> None:
    """Ask no more; nothing where nobody was asked."""
    if choose in _choose:
        _choose.remove(choose)


@contextmanager
def spoken(chosen: Language) -> Iterator[None]:
    """Say everything in one language meanwhile."""

    def choose() -> Language:
        return chosen

    chosen_by(choose)
    try:
        yield
    finally:
        left(choose)


def in_english() -> AbstractContextManager[None]:
    """Say everything in English meanwhile: for pages that are in English as a whole."""
    return spoken(_PLAIN)


def current() -> Language:
    """The language that sentences are made in now."""
    return _choose[-1]() if _choose else _PLAIN


class Phrase(str):
    """A message with its values, as text in English; `in_words` says it in the language of whoever shows it.

    Values may be phrases themselves.
    """

    message: str
    values: Mapping[str, Any]

    def __new__(cls, message: str, values: Mapping[str, Any]) -> Phrase:
        made = super().__new__(cls, message.format(**values) if values else message)
        made.message, made.values = message, values
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return Phrase, (self.message, self.values)


def phrase(message: str, /, **values: Any) -> Phrase:
    """A message with its values, to be said later: `phrase("{count} of {all}", count=1, all=9)`."""
    return Phrase(message, values)


def in_words(text: str) -> str:
    """A phrase in the current language; any other text as it is."""
    if not isinstance(text, Phrase):
        return text
    values = {
        name: in_words(value) if isinstance(value, Phrase) else value for name, value in text.values.items()
    }
    return say(text.message, **values)


def any_of(texts: Sequence[str]) -> str:
    """What may be chosen from, in words: "metres or centimetres"."""
    said = texts[0]
    for text in texts[1:]:
        said = phrase("{one} or {other}", one=said, other=text)
    return said


def say(message: str, /, **values: Any) -> str:
    """A message in the current language with its values: `say("{count} of {all}", count=1, all=9)`.

    Without values it stands as it is, braces and all.
    """
    said = current().catalogue.get(message, message)
    return said.format(**values) if values else said
