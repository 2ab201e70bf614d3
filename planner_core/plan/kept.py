"""A cache of what was worked out from a part of a plan, for as long as that part is in use.

Parts are immutable, and an edit leaves most of a plan's as they are: of three thousand blocks it changes one.
"""

from __future__ import annotations

import weakref
from collections.abc import Callable
from functools import wraps
from typing import TypeVar

Part = TypeVar("Part")
Value = TypeVar("Value")


def kept(work: Callable[[Part], Value]) -> Callable[[Part], Value]:
    """Caches a function of one part of a plan, by its identity: to compare parts, or to hash them, would take
    as long as many such functions do.
    """
    known: dict[int, tuple[weakref.ref[Part], Value]] = {}

    @wraps(work)
    def recall(part: Part) -> Value:
        key = id(part)
        entry = known.get(key)
        if entry is not None and entry[0]() is part:
            return entry[1]
        value = work(part)
        known[key] = weakref.ref(part, lambda _: known.pop(key, None)), value
        return value

    return recall
