"""Convex shapes on a plane: hull, smallest rectangle around, and outlines cut into convex pieces.

A ring is an array (n, 2) in metres or pixels, n ≥ 3, without the first corner repeated at the end.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def hull(points: Array) -> Array:
    """The convex hull of points (n, 2) as a counter-clockwise ring (where y points up).

    Andrew's monotone chain, *Information Processing Letters* 9 (1979). Fewer than three corners come back
    where the points lie on a line.
    """
    ordered = sorted({(float(x), float(y)) for x, y in points})
    if len(ordered) < 3:
        return np.array(ordered)

    def chain(ordered: list[tuple[float, float]]) -> list[tuple[float, float]]:
        kept: list[tuple[float, float]] = []
        for point in ordered:
            while len(kept) > 1 and _left_turn(kept[-2], kept[-1], point) <= 0.0:
                kept.pop()
            kept.append(point)
        return kept[:-1]

    return np.array(chain(ordered) + chain(ordered[::-1]))


def smallest_rectangle(ring: Array) -> tuple[Array, Array, float]:
    """Centre (2,), half sizes (2,) along its own x and y, and turn (radians, clockwise) of the smallest
    rectangle around.

    One of its sides lies along an edge of the hull (Freeman and Shapira, *Communications of the ACM* 18,
    1975).
    """
    corners = hull(ring)
    edges = np.roll(corners, -1, axis=0) - corners
    edges = edges / np.maximum(np.linalg.norm(edges, axis=1, keepdims=True), 1e-12)
    along = corners @ edges.T
    across = corners @ np.stack([-edges[:, 1], edges[:, 0]])
    sizes = np.ptp(along, axis=0), np.ptp(across, axis=0)
    best = int(np.argmin(sizes[0] * sizes[1]))
    x, y = edges[best], np.array([-edges[best, 1], edges[best, 0]])
    middle = (
        (along[:, best].max() + along[:, best].min()) / 2.0,
        (across[:, best].max() + across[:, best].min()) / 2.0,
    )
    half = np.array([sizes[0][best], sizes[1][best]]) / 2.0
    return middle[0] * x + middle[1] * y, half, float(-np.arctan2(x[1], x[0]))


def convex_pieces(ring: Array) -> list[Array]:
    """Convex counter-clockwise rings that fill a simple counter-clockwise ring.

    Ears are cut off (Meisters, *American Mathematical Monthly* 82, 1975) and merged over shared edges as long
    as the result is convex. Where a ring crosses itself and no ear is left, the remainder is replaced by its
    hull.
    """
    corners = [(float(x), float(y)) for x, y in ring]
    if _is_convex(list(range(len(corners))), corners):
        return [np.array(corners)]
    return [np.array([corners[i] for i in loop]) for loop in _joined(_triangles(corners), corners)]


def _left_turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _is_convex(loop: list[int], corners: list[tuple[float, float]]) -> bool:
    turns = [
        _left_turn(corners[loop[i - 2]], corners[loop[i - 1]], corners[loop[i]]) for i in range(len(loop))
    ]
    return min(turns) >= -1e-9


def _triangles(corners: list[tuple[float, float]]) -> list[list[int]]:
    left = list(range(len(corners)))
    ears: list[list[int]] = []
    while len(left) > 3:
        ear = next((i for i in range(len(left)) if _is_ear(left, i, corners)), None)
        if ear is None:
            rest = hull(np.array([corners[i] for i in left]))
            places = {corners[i]: i for i in left}
            return [*ears, [places[(float(x), float(y))] for x, y in rest]]
        ears.append([left[ear - 1], left[ear], left[(ear + 1) % len(left)]])
        del left[ear]
    return [*ears, left]


def _is_ear(left: list[int], index: int, corners: list[tuple[float, float]]) -> bool:
    a, b, c = left[index - 1], left[index], left[(index + 1) % len(left)]
    pa, pb, pc = corners[a], corners[b], corners[c]
    if _left_turn(pa, pb, pc) < 0.0:
        return False
    for other in left:
        point = corners[other]
        if point in (pa, pb, pc):
            continue
        if min(_left_turn(pa, pb, point), _left_turn(pb, pc, point), _left_turn(pc, pa, point)) >= 0.0:
            return False
    return True


def _joined(loops: list[list[int]], corners: list[tuple[float, float]]) -> list[list[int]]:
    """Merges neighbours wherever the result is convex."""
    joined = True
    while joined:
        joined = False
        owner = {
            (a, b): n for n, loop in enumerate(loops) for a, b in zip(loop, loop[1:] + loop[:1], strict=True)
        }
        for (a, b), first in owner.items():
            second = owner.get((b, a))
            if second is None or second == first:
                continue
            one, two = loops[first], loops[second]
            start, end = one.index(b), two.index(a)
            union = one[start:] + one[:start] + (two[end:] + two[:end])[1:-1]
            if _is_convex(union, corners):
                loops = [loop for n, loop in enumerate(loops) if n not in (first, second)] + [union]
                joined = True
                break
    return [loop for loop in loops if len(loop) > 2]
