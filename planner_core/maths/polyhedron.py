"""Convex solids cut by planes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Faces = list[Array]  # each a ring (n, 3), counter-clockwise seen from outside

ON_M = 1e-9


def upright(ring: Array, bottom: float, top: float) -> Faces:
    """The faces of a convex counter-clockwise ring (n, 2) drawn up from bottom to top."""
    low = np.column_stack([ring, np.full(len(ring), bottom)])
    high = np.column_stack([ring, np.full(len(ring), top)])
    sides = [
        np.array([low[i], low[j], high[j], high[i]])
        for i, j in ((i, (i + 1) % len(ring)) for i in range(len(ring)))
    ]
    return [*sides, low[::-1], high]


def cut(faces: Faces, normal: Array, limit: float) -> Faces:
    """The part of a convex solid where normal · p ≤ limit (Sutherland and Hodgman, 1974, face by face)."""
    if all(np.all(face @ normal <= limit + ON_M) for face in faces):
        return faces
    kept: Faces = []
    rim: list[Array] = []
    for face in faces:
        over = face @ normal - limit
        ring: list[Array] = []
        for a, b, here, there in zip(face, np.roll(face, -1, axis=0), over, np.roll(over, -1), strict=True):
            if here <= ON_M:
                ring.append(a)
            if (here > ON_M and there < -ON_M) or (here < -ON_M and there > ON_M):
                ring.append(a + here / (here - there) * (b - a))
        if len(ring) >= 3:
            kept.append(np.array(ring))
            rim += [point for point in ring if abs(float(point @ normal) - limit) <= 1e-7]
    lid = _lid(rim, normal)
    return [*kept, lid] if lid is not None else kept


def _lid(rim: list[Array], normal: Array) -> Array | None:
    """The convex face that closes a cut, counter-clockwise seen along its normal from outside."""
    points = np.unique(np.round(np.array(rim).reshape(-1, 3), 7), axis=0)
    if len(points) < 3:
        return None
    aside = np.array([1.0, 0.0, 0.0]) if abs(normal[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    across = np.cross(normal, aside)
    across /= np.linalg.norm(across)
    up = np.cross(normal, across)
    local = points - points.mean(axis=0)
    return points[np.argsort(np.arctan2(local @ up, local @ across))]


def merged(faces: Faces) -> tuple[Array, tuple[tuple[int, ...], ...]]:
    """Vertices (n, 3), each place once, and faces as their numbers."""
    numbers: dict[tuple[float, ...], int] = {}
    rows: list[tuple[int, ...]] = []
    for face in faces:
        row = [numbers.setdefault(tuple(np.round(point, 6).tolist()), len(numbers)) for point in face]
        ring = tuple(n for n, after in zip(row, [*row[1:], row[0]], strict=True) if n != after)
        if len(set(ring)) >= 3:
            rows.append(ring)
    return np.array(list(numbers), dtype=np.float64).reshape(-1, 3), tuple(rows)
