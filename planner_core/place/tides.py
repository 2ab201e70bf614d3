"""The sea at the place: how high it stands at any instant, and by how much that lifts the tidal blocks."""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.place.blocking import remembered, water_top_m
from planner_core.plan.model import Plan
from planner_core.plan.timeline import tide_times_utc_s
from planner_core.time.tide import tide_height_m

Array = NDArray[np.float64]


@frozen(kw_only=True, eq=False)
class Waters:
    """High and low waters in order of time: POSIX seconds and metres above the table's zero, (n,) each."""

    utc_s: Array
    height_m: Array


@remembered
def waters(plan: Plan) -> Waters | None:
    """The plan's tide table; None where it has none. Times were checked when the plan was loaded."""
    tides = plan.site.tides
    if not tides:
        return None
    return Waters(utc_s=tide_times_utc_s(plan), height_m=np.array([tide.height_m for tide in tides]))


def table_height_m(plan: Plan, utc_s: ArrayLike) -> Array | None:
    """Height of the tide as the table counts it, shape of utc_s; None without a table."""
    table = waters(plan)
    return None if table is None else tide_height_m(utc_s, table.utc_s, table.height_m)


def water_m(plan: Plan, utc_s: ArrayLike) -> Array | None:
    """Height of the sea in the scene, shape of utc_s; None without a tide table."""
    height = table_height_m(plan, utc_s)
    return None if height is None else height - plan.site.scene_zero_above_chart_m


def lifts_m(plan: Plan, water: Array | None, count: int) -> Array | None:
    """By how much each block stands above where the plan has it, (count, blocks); None where none ever
    does.
    """
    tidal = tidal_blocks(plan)
    if water is None or not len(tidal):
        return None
    lifts = np.zeros((count, len(plan.blocks)))
    lifts[:, tidal] = water[:, None] - [water_top_m(plan.blocks[index]) for index in tidal]
    return lifts


def tidal_blocks(plan: Plan) -> NDArray[np.intp]:
    """The blocks that rise and fall."""
    indices = [index for index, block in enumerate(plan.blocks) if block.tidal and plan.site.tides]
    return np.array(indices, dtype=np.intp)
