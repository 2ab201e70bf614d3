"""Searches: where a condition ends, where a curve passes a level, where it is highest.

What is searched for lies between two known ends, and each evaluation narrows the span between them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PIECES = 16  # sub-intervals per span where the curve is evaluated on arrays


def boundary(
    holds: Callable[[float], bool], inside: float, outside: float, *, within: float = 0.0, halvings: int = 64
) -> tuple[float, float]:
    """Both sides of where a condition ends, by bisection, not more than `within` apart.

    It holds at inside and not at outside, which may lie on either side. Neither end is evaluated; the search
    stops after `halvings` steps at the latest.
    """
    for _ in range(halvings):
        if abs(inside - outside) <= within:
            break
        middle = (inside + outside) / 2.0
        inside, outside = (middle, outside) if holds(middle) else (inside, middle)
    return inside, outside


def boundaries(
    holds: Callable[[Array], Mask], inside: Array, outside: Array, *, within: float
) -> tuple[Array, Array]:
    """The same for many spans at once; both arrays and what `holds` takes and returns have shape (n,)."""
    while inside.size and np.max(np.abs(inside - outside)) > within:
        middle = (inside + outside) / 2.0
        there = holds(middle)
        inside, outside = np.where(there, middle, inside), np.where(there, outside, middle)
    return inside, outside


def whole_boundary(
    holds: Callable[[int], bool],
    inside: int,
    outside: int,
    *,
    may_go_on: Callable[[], bool] = lambda: True,
) -> tuple[int, int]:
    """The same among whole numbers: two neighbours, or the remaining span where the search stops early."""
    while abs(outside - inside) > 1 and may_go_on():
        middle = (inside + outside) // 2
        inside, outside = (middle, outside) if holds(middle) else (inside, middle)
    return inside, outside


def crossings(
    value: Callable[[Array], Array], low: Array, high: Array, level: Array, rising: Mask, *, within: float
) -> Array:
    """Where a curve passes its level inside each of n spans, in the direction that `rising` says, shape (n,).

    `value` is called with arrays (n, pieces). The result is the middle of what is left of each span once all
    are as short as `within`.
    """
    row = np.arange(low.size)
    while low.size and float(np.max(high - low)) > within:
        tries = np.linspace(low, high, PIECES + 1, axis=1)
        passed = (value(tries) >= level[:, None]) == rising[:, None]
        passed[:, -1] = True
        first = np.clip(np.argmax(passed, axis=1), 1, PIECES)
        low, high = tries[row, first - 1], tries[row, first]
    return (low + high) / 2.0


def turning_point(
    value: Callable[[Array], Array], low: float, high: float, *, is_top: bool, within: float
) -> float:
    """Where a curve with a single maximum or minimum between low and high has it."""
    sign = 1.0 if is_top else -1.0
    while high - low > within:
        tries = np.linspace(low, high, PIECES + 1)
        best = int(np.argmax(sign * value(tries)))
        low, high = float(tries[max(best - 1, 0)]), float(tries[min(best + 1, PIECES)])
    return (low + high) / 2.0
