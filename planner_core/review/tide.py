"""Findings about the sea: feet and paths that it reaches, a foreground that it drowns or leaves dry.

How far the water is to be kept from the rig is the plan's own (site.swell_m, site.water_margin_m). Water
beside the rig is level with it where it comes within NEAR_M of it: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from planner_core.evening.timetable import PACK_UP_S
from planner_core.frames import FrameTable
from planner_core.maths.runs import span
from planner_core.place import blocking, ground, tides
from planner_core.place.outlines import contains, distance_m
from planner_core.plan.model import Plan
from planner_core.plan.timeline import clock
from planner_core.review.findings import Finding, facts
from planner_core.rig.geometry import stand_points_m

Array = NDArray[np.float64]

NEAR_M = 1.0
STEP_S = 60.0
DROWNED, DRY = "drowned", "dry"


def review_tide(plan: Plan, frames: FrameTable) -> list[Finding]:
    """Findings of this topic."""
    return [
        *_table(plan, frames),
        *_reaches(plan, frames),
        *_ways_back(plan, frames),
        *_foreground(plan, frames),
    ]


def presence_utc_s(plan: Plan, frames: FrameTable) -> Array:
    """Instants a minute apart from arriving until the way back is done, POSIX seconds."""
    start = float(frames.utc_s[0]) - plan.shoot.setup_s
    end = float(frames.utc_s[-1]) + PACK_UP_S + plan.shoot.travel_s
    return np.append(np.arange(start, end, STEP_S), end)


def _table(plan: Plan, frames: FrameTable) -> Iterator[Finding]:
    """Tidal blocks without a table, or a table that ends before the shoot does."""
    names = tuple(blocking.block_label(plan, i) for i, block in enumerate(plan.blocks) if block.tidal)
    table = tides.waters(plan)
    if table is None:
        if names:
            yield Finding(code="tide-unknown", level="warn", blocks=names, facts=facts(covers=None))
        return
    outside = (frames.utc_s < table.utc_s[0]) | (frames.utc_s > table.utc_s[-1])
    if outside.any():
        ends = tuple(clock(float(t), plan.zone) for t in (table.utc_s[0], table.utc_s[-1]))
        yield Finding(
            code="tide-unknown",
            level="warn",
            frames=span(outside),
            blocks=names,
            facts=facts(covers=" to ".join(ends)),
        )


# ---------------------------------------------------------------- the rig


def foot_m(plan: Plan) -> float:
    """Height of the lowest ground that rail or tripod stand on."""
    return min(ground.ground_under_m(plan, point) for point in stand_points_m(plan))


def _reaches(plan: Plan, frames: FrameTable) -> Iterator[Finding]:
    """Water, with swell and margin, as high as the ground that the rig stands on."""
    times = presence_utc_s(plan, frames)
    sea = tides.water_m(plan, times)
    foot, keep = foot_m(plan), plan.site.swell_m + plan.site.water_margin_m
    if sea is not None:
        if float(sea.max()) + keep <= foot:
            return
        wet = sea + keep > foot
        high = int(np.argmax(sea))
        during = None if frames.water_m is None else span(frames.water_m + keep > foot)
        yield _reaching(
            plan,
            foot - float(sea.max()),
            during,
            highest_time=clock(float(times[high]), plan.zone),
            from_time=clock(float(times[int(np.argmax(wet))]), plan.zone),
        )
        return
    still = max(_water_beside(plan), default=-np.inf)
    if still + keep > foot:
        yield _reaching(plan, foot - still, None, highest_time=None, from_time=None)


def _reaching(
    plan: Plan,
    clear_m: float,
    during: tuple[int, int] | None,
    *,
    highest_time: str | None,
    from_time: str | None,
) -> Finding:
    return Finding(
        code="water-reaches",
        level="stop",
        frames=during,
        value=clear_m,
        limit=plan.site.swell_m + plan.site.water_margin_m,
        unit="m",
        facts=facts(
            swell=(plan.site.swell_m, "m"),
            margin=(plan.site.water_margin_m, "m"),
            highest_time=highest_time,
            from_time=from_time,
            on_rail=plan.rig.slide is not None,
        ),
    )


def _water_beside(plan: Plan) -> Iterator[float]:
    """Tops of still water that comes within NEAR_M of the rig."""
    for flat in ground.flat_blocks(plan):
        if not flat.is_water:
            continue
        for point in stand_points_m(plan):
            if distance_m(flat.outline_m, point[:2]) <= NEAR_M:
                yield flat.top_m
                break


# ---------------------------------------------------------------- the way back


def _ways_back(plan: Plan, frames: FrameTable) -> Iterator[Finding]:
    """Paths under water while somebody is at the place: a stop where they can't go back over them."""
    times = presence_utc_s(plan, frames)
    height = tides.table_height_m(plan, times)
    if height is None:
        return
    leaving = times >= float(frames.utc_s[-1])
    for index, block in enumerate(plan.blocks):
        if block.floods_at_m is None:
            continue
        under = height >= block.floods_at_m
        if not under.any():
            continue
        last = int(np.flatnonzero(under)[-1])
        yield Finding(
            code="way-cut-off",
            level="stop" if bool((under & leaving).any()) else "warn",
            value=float(height.max()),
            limit=block.floods_at_m,
            unit="m",
            blocks=(blocking.block_label(plan, index),),
            facts=facts(
                from_time=clock(float(times[int(np.argmax(under))]), plan.zone),
                until_time=None if last == len(times) - 1 else clock(float(times[last + 1]), plan.zone),
                going_back=bool((under & leaving).any()),
            ),
        )


# ---------------------------------------------------------------- the foreground


def _foreground(plan: Plan, frames: FrameTable) -> Iterator[Finding]:
    """Foreground in tidal water that goes under, or that stands dry though it began in the water."""
    if frames.water_m is None:
        return
    seas = [ground.outline_m(plan, plan.blocks[index]) for index in tides.tidal_blocks(plan)]
    for index, block in enumerate(plan.blocks):
        if block.role != "foreground" or block.shape == "ridge":
            continue
        vertices = blocking.block_mesh(plan, block).vertices_m
        if not any(contains(sea, vertices[:, :2].mean(axis=0)) for sea in seas):
            continue
        bottom, top = float(vertices[:, 2].min()), float(vertices[:, 2].max())
        under, dry = frames.water_m >= top, frames.water_m <= bottom
        for kind, mask, level in ((DROWNED, under, "warn"), (DRY, dry, "note")):
            if mask.any() and not (kind == DRY and mask.all()):
                yield Finding(
                    code="foreground-drowned" if kind == DROWNED else "foreground-dry",
                    level=level,
                    frames=span(mask),
                    value=float(
                        frames.water_m.max() - top if kind == DROWNED else bottom - frames.water_m.min()
                    ),
                    limit=0.0,
                    unit="m",
                    blocks=(blocking.block_label(plan, index),),
                    facts=facts(from_time=clock(float(frames.utc_s[int(np.argmax(mask))]), plan.zone)),
                )
