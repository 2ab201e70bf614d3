"""Rings of a map: which holes belong to which outline, and which outlines their parts replace."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from planner_core.place import outlines

Ring = list[list[float]]
REPLACED_SHARE = 0.5  # of an outline that its parts cover before it is left to them; ours


def grouped(outer: Sequence[Ring], inner: Sequence[Ring]) -> list[list[Ring]]:
    """Polygons of closed rings: each outer one with the inner ones that lie in it."""
    polygons: list[list[Ring]] = [[ring] for ring in outer]
    areas = [np.array(ring[:-1]) for ring in outer]
    for hole in inner:
        middle = np.mean(np.array(hole[:-1]), axis=0)
        corner = np.array(hole[0])
        for polygon, area in zip(polygons, areas, strict=True):
            if outlines.contains(area, middle) or outlines.contains(area, corner):
                polygon.append(hole)
                break
    return polygons


def replaced(outline: NDArray[np.float64], parts: Sequence[NDArray[np.float64]]) -> bool:
    """Whether parts of a building stand on enough of its outline (n, 2) to stand for it."""
    mine = [part for part in parts if outlines.contains(outline, part.mean(axis=0))]
    covered = sum(abs(outlines.area_m2(part)) for part in mine)
    return bool(mine) and covered >= REPLACED_SHARE * abs(outlines.area_m2(outline))
