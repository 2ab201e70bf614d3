"""For tests that know that a value is there."""

from __future__ import annotations

from typing import TypeVar

T = TypeVar("T")


def present(value: T | None) -> T:
    """The value, which has to be there."""
    assert value is not None
    return value
