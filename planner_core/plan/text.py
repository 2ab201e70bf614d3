"""Text from outside, made safe for terminals, calendars and file names; and how deep JSON nests."""

from __future__ import annotations

import re
from typing import Any

# Unicode's control characters (category Cc), line and paragraph separators, and marks that override the
# direction of writing: text after them reads differently from what it says.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")


def is_control(character: str) -> bool:
    """Whether a character controls the device that shows it instead of being text; line feed and tab do."""
    return _CONTROL.fullmatch(character) is not None


def escaped(text: str, *, keep: str = "") -> str:
    r"""The text with control characters written out (\x1b), those in `keep` as they are."""

    def written_out(match: re.Match[str]) -> str:
        return match[0] if match[0] in keep else match[0].encode("unicode_escape").decode("ascii")

    return _CONTROL.sub(written_out, text)


def paragraphs(text: str) -> str:
    """The text without control characters, its line feeds and tabs kept."""
    return _CONTROL.sub(lambda match: match[0] if match[0] in "\n\t" else "", text)


def one_line(value: Any) -> str:
    """A value as text on one line: where there are control characters, each run of them is one space."""
    text = str(value)
    return text if text.isprintable() else " ".join(_CONTROL.sub(" ", text).split())


def escaped_json(text: str) -> str:
    """A JSON text with control characters in it written as JSON's escapes; line feeds between parts stay."""
    return _CONTROL.sub(lambda match: match[0] if match[0] == "\n" else f"\\u{ord(match[0]):04x}", text)


def cell(text: str) -> str:
    """A person's text as a cell of a table, on one line and made harmless for programs that would run it.

    A cell that begins with = + - or @ is a formula to spreadsheets; an apostrophe before it makes it text.
    """
    text = one_line(text)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text


def nested_deeper(document: Any, most: int) -> bool:
    """Whether a parsed document has more than so many levels of lists and objects in each other."""
    level = [document]
    for _ in range(most):
        level = [
            item
            for part in level
            if isinstance(part, (dict, list))
            for item in (part.values() if isinstance(part, dict) else part)
        ]
        if not level:
            return False
    return any(isinstance(part, (dict, list)) for part in level)
