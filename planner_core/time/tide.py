"""The height of the tide between the high and low waters of a table. Nothing here knows what a plan is."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def tide_height_m(utc_s: ArrayLike, waters_utc_s: ArrayLike, waters_m: ArrayLike) -> Array:
    """Height at any instants, shape of utc_s, from high and low waters (n,) at theirs, in order of time.

    Half a cosine from each water to the next, which the rule of twelfths (1, 3, 6, 9, 11 and 12 twelfths of
    the range after each sixth of the time) rounds. Before the first water and after the last their heights
    stay. Metres above whatever the table counts from.
    """
    times, heights = np.asarray(waters_utc_s, dtype=np.float64), np.asarray(waters_m, dtype=np.float64)
    now = np.asarray(utc_s, dtype=np.float64)
    after = np.clip(np.searchsorted(times, now, side="right"), 1, len(times) - 1)
    before = after - 1
    progress = np.clip((now - times[before]) / (times[after] - times[before]), 0.0, 1.0)
    return heights[before] + (heights[after] - heights[before]) * (1.0 - np.cos(np.pi * progress)) / 2.0
