"""Text from outside: what a terminal, a calendar or a file name can bear, and how deep JSON nests."""

from __future__ import annotations

import unicodedata
from typing import Any

# Marks that turn the order of what follows them: what one reads is then not what stands there.
_TURNING = {chr(code) for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))}
_BREAKS = "\u2028\u2029"


def is_control(character: str) -> bool:
    """Whether a character is an order to the reader's device instead of something to read.

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


def one_line(value: Any) -> str:
    """A value as text on one line: each run of spaces and control characters is one space."""
    return " ".join("".join(" " if is_control(c) else c for c in str(value)).split())


def nested_deeper(document: Any, most: int) -> bool:
    """Whether a parsed document has more than so many levels of lists and objects in each other."""
    level = [document]
    for _ in range(most + 1):
        level = [
            item
            for part in level
            if isinstance(part, (dict, list))
            for item in (part.values() if isinstance(part, dict) else part)
        ]
        if not level:
            return False
    return any(isinstance(part, (dict, list)) for part in level)
