"""Text from outside, made safe for terminals, calendars and file names; and how deep JSON nests."""

from __future__ import annotations

import unicodedata
from typing import Any

# Marks that change the direction of writing: text after them reads differently from what it says.
_TURNING = {chr(code) for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))}
_BREAKS = "\u2028\u2029"


def is_control(character: str) -> bool:
    """Whether a character controls the device that shows it instead of being text.

    Unicode's control characters (category Cc), line and paragraph separators, and marks that override the
    direction of writing. Line feed and tab are among them.
    """
    return unicodedata.category(character) == "Cc" or character in _TURNING or character in _BREAKS


def escaped(text: str, *, keep: str = "") -> str:
    r"""The text with control characters written out (\x1b), those in `keep` as they are."""
    if text.isprintable():
        return text
    return "".join(
        c if c in keep or not is_control(c) else c.encode("unicode_escape").decode("ascii") for c in text
    )


def paragraphs(text: str) -> str:
    """The text without control characters, its line feeds and tabs kept."""
    return text if text.isprintable() else "".join(c for c in text if c in "\n\t" or not is_control(c))


def one_line(value: Any) -> str:
    """A value as text on one line: where there are control characters, each run of them is one space."""
    text = str(value)
    if text.isprintable():
        return text
    return " ".join("".join(" " if is_control(c) else c for c in text).split())


def escaped_json(text: str) -> str:
    """A JSON text with control characters in it written as JSON's escapes; line feeds between parts stay."""
    if text.isascii() and "\x7f" not in text:
        return text
    return "".join(c if c == "\n" or not is_control(c) else f"\\u{ord(c):04x}" for c in text)


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
