"""Outlines on a plane: area, simplification, crossing edges, and polygons with holes cut into pieces without.

A ring is an array (n, 2) in metres, n ≥ 3, without the first corner repeated at the end.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

JOIN_M = 1e-3  # blocks are written to the millimetre
LEAST_AREA_M2 = 1e-6
EDGES_AT_ONCE, PAIRS_AT_ONCE = 128, 8192  # some 40 MB while edges are compared


def area_m2(ring: Array) -> float:
    """Signed area, positive for a counter-clockwise ring (the shoelace formula)."""
    x, y = (ring - ring[0]).T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2.0)


def contains(ring: Array, point: Array) -> bool:
    """Whether a point (2,) lies inside a ring (n, 2)."""
    return bool(inside(ring, point))


def inside(ring: Array, points: Array) -> NDArray[np.bool_]:
    """Which points (..., 2) lie inside a ring (n, 2): edges crossed by a ray towards +X, odd or even."""
    (x, y), (x2, y2) = ring.T, np.roll(ring, -1, axis=0).T
    px, py = points[..., 0, None], points[..., 1, None]
    spans = (y > py) != (y2 > py)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x + (py - y) / (y2 - y) * (x2 - x)
    return np.asarray(np.count_nonzero(spans & (at > px), axis=-1) % 2 == 1)


def inside_or_on(ring: Array, points: Array, on_m: float) -> NDArray[np.bool_]:
    """Which points (n, 2) lie inside a ring (n, 2), or nearer to one of its edges than on_m."""
    within = inside(ring, points)
    out = np.flatnonzero(~within)
    edge = np.roll(ring, -1, axis=0) - ring
    length = np.maximum(np.hypot(*edge.T), 1e-12)
    away = points[out, None] - ring
    along = np.einsum("pei,ei->pe", away, edge) / length
    aside = (away[..., 0] * edge[:, 1] - away[..., 1] * edge[:, 0]) / length
    near = (np.abs(aside) < on_m) & (along > -on_m) & (along < length + on_m)
    within[out] = near.any(axis=1)
    return within


def distance_m(ring: Array, point: Array) -> float:
    """Distance from a point to the nearest part of a ring's area; 0 inside."""
    if contains(ring, point):
        return 0.0
    edge = np.roll(ring, -1, axis=0) - ring
    length = np.maximum(np.sum(edge**2, axis=1), 1e-12)
    fraction = np.clip(np.sum((point - ring) * edge, axis=1) / length, 0.0, 1.0)
    return float(np.min(np.linalg.norm(ring + fraction[:, None] * edge - point, axis=1)))


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


def thinned(line: Array, tolerance_m: float) -> Array:
    """An open line (n, 2) without points that move it by less than tolerance_m (Douglas and Peucker)."""
    if len(line) < 3 or tolerance_m <= 0.0:
        return line
    kept = sorted({0, len(line) - 1, *_kept(line, 0, len(line) - 1, tolerance_m)})
    return line[kept]


def _kept(line: Array, start: int, end: int, tolerance_m: float) -> list[int]:
    kept, pending = [], [(start, end)]
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
            kept.append(middle)
            pending += [(a, middle), (middle, b)]
    return kept


def crosses_itself(ring: Array) -> bool:
    """Whether two edges of a ring cross, apart from where neighbours meet."""
    return _edges_cross(ring, ring)


def rings_cross(rings: Sequence[Array]) -> bool:
    """Whether the outlines of different rings cross each other, or a hole lies outside the first ring."""
    if any(_edges_cross(ring, other) for i, ring in enumerate(rings) for other in rings[:i]):
        return True
    return any(not lies_in(hole, rings[0]) for hole in rings[1:])


def lies_in(ring: Array, other: Array) -> bool:
    """Whether a ring's area lies in another's, of two that don't cross; they may touch or be the same."""
    return contains(other, _inner_point(ring)) and abs(area_m2(ring)) <= abs(area_m2(other)) + LEAST_AREA_M2


def _inner_point(ring: Array) -> Array:
    """A point inside a ring: half way between the first two edges on the level between two corners."""
    heights = np.unique(ring[:, 1])
    if len(heights) < 2:
        return ring[0]
    widest = int(np.argmax(np.diff(heights)))
    level = (heights[widest] + heights[widest + 1]) / 2.0
    (x, y), (x2, y2) = ring.T, np.roll(ring, -1, axis=0).T
    spans = (y > level) != (y2 > level)
    at = np.sort(x[spans] + (level - y[spans]) / (y2[spans] - y[spans]) * (x2[spans] - x[spans]))
    return np.array([(at[0] + at[1]) / 2.0, level])


def _edges_cross(ring: Array, other: Array) -> bool:
    """Whether any edge of one ring crosses one of the other; compared are those whose extents overlap."""
    p, p2, q, q2 = ring, np.roll(ring, -1, axis=0), other, np.roll(other, -1, axis=0)
    p_low, p_high, q_low, q_high = np.minimum(p, p2), np.maximum(p, p2), np.minimum(q, q2), np.maximum(q, q2)
    order = np.argsort(p_low[:, 0])
    for rows in np.array_split(order, -(-len(order) // EDGES_AT_ONCE)):
        low, high = p_low[rows].min(axis=0), p_high[rows].max(axis=0)
        near = np.flatnonzero(np.all((q_low <= high) & (q_high >= low), axis=1))
        for columns in np.array_split(near, max(-(-len(near) // PAIRS_AT_ONCE), 1)):
            if _any_across(p[rows], p2[rows], q[columns], q2[columns]):
                return True
    return False


def _any_across(p: Array, p2: Array, q: Array, q2: Array) -> bool:
    def side(a: Array, b: Array, c: Array) -> Array:
        return (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (
            c[..., 0] - a[..., 0]
        )

    p, p2, q, q2 = p[:, None], p2[:, None], q[None], q2[None]
    across = (side(p, p2, q) * side(p, p2, q2) < -1e-9) & (side(q, q2, p) * side(q, q2, p2) < -1e-9)
    return bool(np.any(across))


def joined(rings: Sequence[Array]) -> list[Array]:
    """The rings with what touches made the same: corners of one that lie on another become corners of both.

    What is less than JOIN_M apart touches. Doubled corners are dropped, and rings without an area left;
    nothing is left where that is the outline.
    """
    corners = np.concatenate(rings)
    merged = [_onto(ring, corners) for ring in rings]
    corners = np.unique(np.concatenate(merged), axis=0)
    split = [_with_corners(ring, corners) for ring in merged]
    solid = [len(ring) >= 3 and abs(area_m2(ring)) > LEAST_AREA_M2 for ring in split]
    return [ring for ring, has_area in zip(split, solid, strict=True) if has_area] if solid[0] else []


def _onto(ring: Array, corners: Array) -> Array:
    """A ring with each corner moved onto the first of all corners that it touches."""
    moved = ring.copy()
    for i, corner in enumerate(ring):
        moved[i] = corners[np.argmax(np.all(np.abs(corners - corner) < JOIN_M, axis=1))]
    return moved[np.any(moved != np.roll(moved, 1, axis=0), axis=1)]


def _with_corners(ring: Array, corners: Array) -> Array:
    """A ring with those of the corners put in that lie on its edges."""
    points: list[Array] = []
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        span = end - start
        length = float(np.hypot(*span))
        along = (corners - start) @ span / length
        away = np.abs((corners - start) @ np.array([-span[1], span[0]])) / length
        on = np.flatnonzero((along > JOIN_M) & (along < length - JOIN_M) & (away < JOIN_M))
        points += [start, *corners[on[np.argsort(along[on])]]]
    return np.array(points).reshape(-1, 2)


def open_holes(rings: Sequence[Array]) -> list[Array]:
    """The outline and its holes, without holes that lie in another, or that repeat one."""
    kept: list[Array] = []
    for hole in sorted(rings[1:], key=lambda ring: -abs(area_m2(ring))):
        if not any(lies_in(hole, larger) for larger in kept):
            kept.append(hole)
    return [rings[0], *kept]


def without_holes(rings: Sequence[Array]) -> list[Array] | None:
    """A polygon, its outline first and then its holes, cut into pieces without holes, counter-clockwise.

    Each hole is cut open to its left and to its right, level with its outermost corners; the pieces are the
    faces of the net of outlines and cuts. Their areas sum to the polygon's; None where the outlines overlap
    in a way that leaves no such pieces. Rings that touch have to be passed through `joined` first, and nested
    holes removed (`open_holes`).
    """
    outer = rings[0] if area_m2(rings[0]) > 0.0 else rings[0][::-1]
    if len(rings) == 1:
        return [outer]
    holes = [ring if area_m2(ring) < 0.0 else ring[::-1] for ring in rings[1:]]
    pieces = _Net([outer, *holes]).faces()
    wanted = area_m2(outer) + sum(area_m2(hole) for hole in holes)
    area = sum(area_m2(piece) for piece in pieces)
    return pieces if abs(area - wanted) <= 1e-6 * area_m2(outer) + LEAST_AREA_M2 else None


class _Net:
    """Corners and directed edges with the polygon's inside on their left; corners that meet are one."""

    def __init__(self, rings: list[Array]) -> None:
        self.corners: list[tuple[float, float]] = []
        self.numbers: dict[tuple[float, float], int] = {}
        self.edges: set[tuple[int, int]] = set()
        loops = [[self._corner(*corner) for corner in ring] for ring in rings]
        for loop in loops:
            for a, b in zip(loop, loop[1:] + loop[:1], strict=True):
                if (b, a) in self.edges:  # outside on both sides: a wall without thickness
                    self.edges.remove((b, a))
                else:
                    self.edges.add((a, b))
        for loop in loops[1:]:
            for sign in (1.0, -1.0):
                tip = max(loop, key=lambda c: (sign * self.corners[c][0], self.corners[c][1]))
                if self._inside_beside(tip, sign):
                    self._cut(tip, sign)

    def _corner(self, x: float, y: float) -> int:
        corner = (float(x), float(y))
        number = self.numbers.setdefault(corner, len(self.corners))
        if number == len(self.corners):
            self.corners.append(corner)
        return number

    def _angle(self, a: int, b: int) -> float:
        (ax, ay), (bx, by) = self.corners[a], self.corners[b]
        return float(np.arctan2(by - ay, bx - ax))

    def _inside_beside(self, tip: int, sign: float) -> bool:
        """Whether the polygon's inside lies level to the right (way 1) or left (-1) of a corner."""
        level = 0.0 if sign > 0.0 else np.pi
        turns = [
            ((level - self._angle(tip, b if a == tip else a)) % (2.0 * np.pi), a == tip)
            for a, b in self.edges
            if tip in (a, b)
        ]
        return bool(turns) and min(turns)[0] > 1e-9 and min(turns)[1]

    def _cut(self, tip: int, sign: float) -> None:
        """A level cut from a hole's tip to the first edge that it meets."""
        x, y = self.corners[tip]
        edges = sorted(self.edges)
        corners = np.array(self.corners)
        (ax, ay), (bx, by) = (corners[[edge[end] for edge in edges]].T for end in (0, 1))
        meets = (ay != by) & (np.minimum(ay, by) <= y) & (y <= np.maximum(ay, by))
        meets &= np.array([tip not in edge for edge in edges])
        reach = np.full(len(edges), np.inf)
        reach[meets] = sign * ((ax + (y - ay) / np.where(meets, by - ay, 1.0) * (bx - ax))[meets] - x)
        reach[reach <= 1e-9] = np.inf
        first = int(np.argmin(reach))
        if not np.isfinite(reach[first]):
            return  # a hole outside the outline, which rings_cross refuses
        landing = self._on(edges[first], x + sign * float(reach[first]), y)
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
        """Walk along the inside of each piece, at a corner the first edge clockwise from where one came.

        Each edge is walked once at most, so that this ends on any net; a walk that doesn't come back to where
        it began is no face.
        """
        leaving: dict[int, list[tuple[float, int]]] = {}
        for a, b in sorted(self.edges):
            leaving.setdefault(a, []).append((self._angle(a, b), b))
        unused, rings = set(self.edges), []
        for start in sorted(self.edges):
            walk, edge = [], start
            while edge in unused:
                unused.discard(edge)
                walk.append(self.corners[edge[0]])
                edge = self._after(edge, leaving)
            if walk and edge == start:
                rings.append(np.array(walk))
        return [ring for ring in rings if len(ring) >= 3 and area_m2(ring) > LEAST_AREA_M2]

    def _after(self, edge: tuple[int, int], leaving: dict[int, list[tuple[float, int]]]) -> tuple[int, int]:
        a, b = edge
        back = self._angle(b, a)
        turns = [
            ((back - angle) % (2.0 * np.pi) or 2.0 * np.pi, target) for angle, target in leaving.get(b, ())
        ]
        return (b, min(turns)[1]) if turns else (b, b)
