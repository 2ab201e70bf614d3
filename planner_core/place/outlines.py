"""Outlines on a plane: area, simplification, crossing edges, and polygons with holes cut into pieces without.

A ring is an array (n, 2) in metres, n ≥ 3, without the first corner repeated at the end.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def area_m2(ring: Array) -> float:
    """Signed area, positive for a counter-clockwise ring (the shoelace formula)."""
    x, y = (ring - ring[0]).T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2.0)


def contains(ring: Array, point: Array) -> bool:
    """Whether a point lies inside a ring: edges crossed by a ray towards +X, odd or even."""
    (x, y), (x2, y2) = ring.T, np.roll(ring, -1, axis=0).T
    spans = (y > point[1]) != (y2 > point[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x + (point[1] - y) / (y2 - y) * (x2 - x)
    return bool(np.count_nonzero(spans & (at > point[0])) % 2)


def distance_m(ring: Array, point: Array) -> float:
    """Distance from a point to the nearest part of a ring's area; 0 inside."""
    if contains(ring, point):
        return 0.0
    edge = np.roll(ring, -1, axis=0) - ring
    length = np.maximum(np.sum(edge**2, axis=1), 1e-12)
    share = np.clip(np.sum((point - ring) * edge, axis=1) / length, 0.0, 1.0)
    return float(np.min(np.linalg.norm(ring + share[:, None] * edge - point, axis=1)))


def simplified(ring: Array, tolerance_m: float) -> Array:
    """The ring without doubled corners and those that move it by less than tolerance_m.

    Douglas and Peucker, *Cartographica* 10 (1973), on the two halves between the corners farthest apart.
    Where that would leave less than a triangle or make edges cross, only doubled corners go.
    """
    step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    clean = ring[step > 1e-4]
    if len(clean) < 4 or tolerance_m <= 0.0:
        return clean if len(clean) >= 3 else ring
    first = int(np.argmax(np.linalg.norm(clean - clean.mean(axis=0), axis=1)))
    turned = np.roll(clean, -first, axis=0)
    far = int(np.argmax(np.linalg.norm(turned - turned[0], axis=1)))
    closed = np.vstack([turned, turned[:1]])
    kept = sorted(
        {0, far, *_kept(closed, 0, far, tolerance_m), *_kept(closed, far, len(turned), tolerance_m)}
    )
    thin = turned[[index for index in kept if index < len(turned)]]
    return thin if len(thin) >= 3 and not crosses_itself(thin) else clean


def _kept(line: Array, start: int, end: int, tolerance_m: float) -> list[int]:
    found, pending = [], [(start, end)]
    while pending:
        a, b = pending.pop()
        if b - a < 2:
            continue
        chord, offset = line[b] - line[a], line[a + 1 : b] - line[a]
        length = float(np.hypot(*chord))
        if length > 0.0:
            away = np.abs(chord[0] * offset[:, 1] - chord[1] * offset[:, 0]) / length
        else:
            away = np.linalg.norm(offset, axis=1)
        worst = int(np.argmax(away))
        if away[worst] > tolerance_m:
            middle = a + 1 + worst
            found.append(middle)
            pending += [(a, middle), (middle, b)]
    return found


def crosses_itself(ring: Array) -> bool:
    """Whether two edges of a ring cross, apart from where neighbours meet."""
    return _edges_cross(ring, np.roll(ring, -1, axis=0), ring, np.roll(ring, -1, axis=0))


def rings_cross(rings: Sequence[Array]) -> bool:
    """Whether the outlines of different rings cross each other, or a hole lies outside the first ring."""
    ends = [np.roll(ring, -1, axis=0) for ring in rings]
    for i, ring in enumerate(rings):
        for j in range(i):
            if _edges_cross(ring, ends[i], rings[j], ends[j]):
                return True
    return any(
        not contains(rings[0], hole.mean(axis=0)) and not contains(rings[0], hole[0]) for hole in rings[1:]
    )


def _edges_cross(p: Array, p2: Array, q: Array, q2: Array) -> bool:
    def side(a: Array, b: Array, c: Array) -> Array:
        return (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (
            c[..., 0] - a[..., 0]
        )

    p, p2, q, q2 = p[:, None], p2[:, None], q[None], q2[None]
    across = (side(p, p2, q) * side(p, p2, q2) < -1e-9) & (side(q, q2, p) * side(q, q2, p2) < -1e-9)
    return bool(np.any(across))


def without_holes(rings: Sequence[Array]) -> list[Array]:
    """A polygon, its outline first and then its holes, cut into pieces without holes, counter-clockwise.

    Each hole is cut open to its left and to its right, level with its outermost corners; the pieces are the
    faces of the net of outlines and cuts. Their areas sum to the polygon's.
    """
    outer = rings[0] if area_m2(rings[0]) > 0.0 else rings[0][::-1]
    if len(rings) == 1:
        return [outer]
    holes = [ring if area_m2(ring) < 0.0 else ring[::-1] for ring in rings[1:]]
    return _Net([outer, *holes]).faces()


class _Net:
    """Corners and directed edges with the polygon's inside on their left."""

    def __init__(self, rings: list[Array]) -> None:
        self.corners: list[tuple[float, float]] = []
        self.edges: set[tuple[int, int]] = set()
        loops = [[self._corner(*corner) for corner in ring] for ring in rings]
        for loop in loops:
            self.edges |= set(zip(loop, loop[1:] + loop[:1], strict=True))
        for loop in loops[1:]:
            for way in (1.0, -1.0):
                tip = max(loop, key=lambda c: (way * self.corners[c][0], self.corners[c][1]))
                self._cut(tip, way)

    def _corner(self, x: float, y: float) -> int:
        self.corners.append((float(x), float(y)))
        return len(self.corners) - 1

    def _cut(self, tip: int, way: float) -> None:
        """A level cut from a hole's tip to the first edge that it meets."""
        x, y = self.corners[tip]
        best: tuple[float, tuple[int, int]] | None = None
        for edge in self.edges:
            (ax, ay), (bx, by) = (self.corners[i] for i in edge)
            if tip in edge or ay == by or not min(ay, by) <= y <= max(ay, by):
                continue
            reach = way * (ax + (y - ay) / (by - ay) * (bx - ax) - x)
            if reach > 1e-9 and (best is None or reach < best[0]):
                best = (reach, edge)
        if best is None:
            return  # a hole outside the outline, which rings_cross refuses
        landing = self._on(best[1], x + way * best[0], y)
        self.edges |= {(tip, landing), (landing, tip)}

    def _on(self, edge: tuple[int, int], x: float, y: float) -> int:
        """The corner at a place of an edge, put in where there is none."""
        for end in edge:
            if np.hypot(self.corners[end][0] - x, self.corners[end][1] - y) < 1e-6:
                return end
        middle = self._corner(x, y)
        for a, b in (edge, edge[::-1]):
            if (a, b) in self.edges:
                self.edges.remove((a, b))
                self.edges |= {(a, middle), (middle, b)}
        return middle

    def faces(self) -> list[Array]:
        """Walk along the inside of each piece, at a corner the first edge clockwise from where one came."""
        leaving: dict[int, list[tuple[float, int]]] = {}
        for a, b in self.edges:
            (ax, ay), (bx, by) = self.corners[a], self.corners[b]
            leaving.setdefault(a, []).append((float(np.arctan2(by - ay, bx - ax)), b))
        unused, found = set(self.edges), []
        while unused:
            start = a, b = min(unused)
            walk = []
            while True:
                unused.discard((a, b))
                walk.append(self.corners[a])
                (ax, ay), (bx, by) = self.corners[a], self.corners[b]
                back = float(np.arctan2(ay - by, ax - bx))
                _, following = min(
                    ((back - angle) % (2.0 * np.pi) or 2.0 * np.pi, target) for angle, target in leaving[b]
                )
                a, b = b, following
                if (a, b) == start:
                    break
            found.append(np.array(walk))
        return [ring for ring in found if area_m2(ring) > 1e-6]
