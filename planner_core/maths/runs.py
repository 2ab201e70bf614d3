"""Runs of True in an array of frames, as first and last frame numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def spans(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Runs of True in a (frames,) array as (first, last) frame numbers, counted from 1."""
    edges = np.flatnonzero(
        np.diff(np.concatenate([[False], np.asarray(mask, dtype=bool), [False]]).astype(np.int8))
    )
    return [(int(first) + 1, int(last)) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def span(mask: NDArray[np.bool_]) -> tuple[int, int] | None:
    """First and last frame number, counted from 1, where the mask is True; None where it never is."""
    places = np.flatnonzero(mask)
    return (int(places[0]) + 1, int(places[-1]) + 1) if len(places) else None
