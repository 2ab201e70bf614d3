"""When sun or moon stand behind or just beside a block's top, seen from the camera at the anchor's place."""

from __future__ import annotations

import csv
import datetime as dt
import difflib
import io
from collections.abc import Iterator

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.dates import anchor_eye_m, day_bounds_utc_s, moon_merit, sun_words
from planner_core.maths.angles import compass_deg, wrapped_deg
from planner_core.place.blocking import block_label, block_mesh
from planner_core.plan import timeline
from planner_core.plan.model import Plan, PlanError
from planner_core.plan.text import cell
from planner_core.time import ephemeris
from planner_core.words.dates import day_words, span_words
from planner_core.words.figures import percent

Array = NDArray[np.float64]

BESIDE_DEG = 1.0  # from the block's side, or above or below the wanted height: two widths of the disc
HIGHEST_ABOVE_DEG = 60.0
STEP_S, FINE_STEP_S = 300.0, 10.0
STEP_DEG = 15.041 / 3600.0 * STEP_S  # the sky's fastest turn in a step


@frozen(kw_only=True)
class Top:
    """A block's top from a place: the bearing of its left side, how wide it is, and its altitude."""

    block: int
    left_deg: float
    width_deg: float
    altitude_deg: float

    @property
    def bearing_deg(self) -> float:
        """The middle between its sides."""
        return float(compass_deg(self.left_deg + self.width_deg / 2.0))


@frozen(kw_only=True)
class Beside:
    """A time of a date at which the body is nearest to the place that is asked for.

    right_deg is how far its centre is right of the top's middle, above_deg how far over the top (negative:
    left, below), both in degrees of the sky; lit_fraction is the moon's. rank 1 is the best.
    """

    date: dt.date
    utc_s: float
    bearing_deg: float
    altitude_deg: float
    right_deg: float
    above_deg: float
    is_behind: bool
    sun_altitude_deg: float
    lit_fraction: float | None
    rank: int


def beside_block(
    plan: Plan, first: dt.date, last: dt.date, name: str, *, body: str = "sun", above_deg: float = 0.0
) -> tuple[Top, tuple[Beside, ...]]:
    """The dates from first to last on which sun or moon come within BESIDE_DEG of a block's top, or of a
    height above it, in the order of time. Raises PlanError for an unknown block or an absurd height.
    """
    if not -HIGHEST_ABOVE_DEG <= above_deg <= HIGHEST_ABOVE_DEG:
        raise PlanError(
            "above", above_deg, f"is not a height above a block; give up to {HIGHEST_ABOVE_DEG:g} degrees"
        )
    top = block_top(plan, name)
    wanted_deg = top.altitude_deg + above_deg
    start, _ = day_bounds_utc_s(plan, first)
    _, end = day_bounds_utc_s(plan, last)
    coarse = np.arange(start, end + STEP_S, STEP_S)
    near = _off_deg(plan, body, coarse, top, wanted_deg) < BESIDE_DEG + STEP_DEG
    fine = (coarse[near][:, None] + np.arange(-STEP_S / 2.0, STEP_S / 2.0, FINE_STEP_S)).ravel()
    fine = np.unique(fine[(fine >= start) & (fine < end)])
    if not len(fine):
        return top, ()
    off = _off_deg(plan, body, fine, top, wanted_deg)
    passes = np.split(np.arange(len(fine)), np.flatnonzero(np.diff(fine) > 2.0 * FINE_STEP_S) + 1)
    best = np.array([each[off[each].argmin()] for each in passes])
    best = best[off[best] < BESIDE_DEG]
    return top, _ranked(plan, body, fine[best], off[best], top)


def block_top(plan: Plan, name: str) -> Top:
    """A block's top as the camera sees it at the anchor's place of the move. Raises PlanError."""
    labels = [block_label(plan, index) for index in range(len(plan.blocks))]
    if name not in labels:
        near = difflib.get_close_matches(name, labels, n=1, cutoff=0.0)
        hint = f"did you mean {near[0]}?" if near else "the plan has no blocks"
        raise PlanError("beside", name, f"is not a block of this plan; {hint}")
    index = labels.index(name)
    offset = block_mesh(plan, plan.blocks[index]).vertices_m - anchor_eye_m(plan)
    flat = np.hypot(offset[:, 0], offset[:, 1])
    altitude = np.degrees(np.arctan2(offset[:, 2], flat))
    bearing = np.degrees(np.arctan2(offset[:, 0], offset[:, 1])) + plan.site.scene_north_deg
    middle = bearing[int(np.argmax(flat))]
    turned = wrapped_deg(bearing - middle)
    low, high = float(turned.min()), float(turned.max())
    if high - low > 180.0:
        raise PlanError("beside", name, "stands all round the camera; name a block that it looks at")
    return Top(
        block=index,
        left_deg=float(compass_deg(middle + low)),
        width_deg=high - low,
        altitude_deg=float(altitude.max()),
    )


def _sky(plan: Plan, body: str, utc_s: Array) -> tuple[Array, Array]:
    """Azimuth and apparent altitude, degrees."""
    position = ephemeris.sun_position if body == "sun" else ephemeris.moon_position
    azimuth, true = position(utc_s, plan.site.latitude_deg, plan.site.longitude_deg)
    return azimuth, ephemeris.apparent_altitude_deg(true)


def _off_deg(plan: Plan, body: str, utc_s: Array, top: Top, wanted_deg: float) -> Array:
    """How far the body's centre is from the strip at the wanted height between the block's sides, degrees."""
    azimuth, altitude = _sky(plan, body, utc_s)
    aside = np.abs(wrapped_deg(azimuth - top.bearing_deg))
    across = np.maximum(aside - top.width_deg / 2.0, 0.0) * np.cos(np.radians(altitude))
    off = np.hypot(across, altitude - wanted_deg)
    return np.where(altitude > 0.0, off, np.inf)


def _ranked(plan: Plan, body: str, utc_s: Array, off_deg: Array, top: Top) -> tuple[Beside, ...]:
    azimuth, altitude = _sky(plan, body, utc_s)
    _, sun = _sky(plan, "sun", utc_s)
    lit = ephemeris.moon_lit_fraction(utc_s) if body == "moon" else None
    right = wrapped_deg(azimuth - top.bearing_deg)
    merit = [
        (
            0.0 if lit is None else moon_merit(float(lit[i]), float(sun[i])),
            round(float(off_deg[i]), 1),
            abs(float(right[i])),
        )
        for i in range(len(utc_s))
    ]
    rank = np.empty(len(utc_s), dtype=int)
    rank[sorted(range(len(utc_s)), key=lambda i: merit[i])] = np.arange(1, len(utc_s) + 1)
    return tuple(
        Beside(
            date=timeline.local_datetime(float(t), plan.zone).date(),
            utc_s=float(t),
            bearing_deg=float(azimuth[i]),
            altitude_deg=float(altitude[i]),
            right_deg=float(right[i] * np.cos(np.radians(altitude[i]))),
            above_deg=float(altitude[i]) - top.altitude_deg,
            is_behind=bool(abs(right[i]) <= top.width_deg / 2.0 and altitude[i] < top.altitude_deg),
            sun_altitude_deg=float(sun[i]),
            lit_fraction=None if lit is None else float(lit[i]),
            rank=int(rank[i]),
        )
        for i, t in enumerate(utc_s)
    )


def beside_text(
    plan: Plan, body: str, span: tuple[dt.date, dt.date], top: Top, found: tuple[Beside, ...], best: int = 20
) -> str:
    """What was found, the best first."""
    name = block_label(plan, top.block)
    title = f"{plan.title}: " if plan.title else ""
    lines = [
        f"{title}the {body} beside “{name}”, {span_words(*span)}",
        f"From the camera its top is {top.altitude_deg:.1f}° high at {top.bearing_deg:.1f}°, "
        f"{top.width_deg:.1f}° wide.",
        "",
    ]
    if not found:
        return (
            "\n".join([*lines, f"On none of these dates does the {body} come within {BESIDE_DEG:g}° of it."])
            + "\n"
        )
    lines += _lines(plan, sorted(found, key=lambda each: each.rank)[:best])
    if len(found) > best:
        lines.append(f"  and {len(found) - best} more; -o FILE.csv lists all")
    return "\n".join(lines) + "\n"


def _lines(plan: Plan, found: list[Beside]) -> Iterator[str]:
    for each in found:
        across = "straight over its middle"
        if abs(each.right_deg) >= 0.05:
            across = f"{abs(each.right_deg):.1f}° {'right' if each.right_deg > 0.0 else 'left'} of its middle"
        height = f"{abs(each.above_deg):.1f}° {'above' if each.above_deg >= 0.0 else 'below'} its top"
        lit = "" if each.lit_fraction is None else f"; {percent(each.lit_fraction)} lit"
        sun = "" if each.lit_fraction is None else f", {sun_words(each.sun_altitude_deg)}"
        day, clock = day_words(each.date, year=True), timeline.clock(each.utc_s, plan.zone)
        behind = "behind it, " if each.is_behind else ""
        where = f"{behind}{height}, {across}, at {each.bearing_deg:.1f}°"
        yield f"  {each.rank:>3}. {day:<17} {clock} {where}{lit}{sun}"


def beside_csv(plan: Plan, found: tuple[Beside, ...]) -> str:
    """All of it in the order of time, full precision."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    columns = ("bearing_deg", "altitude_deg", "right_deg", "above_deg", "sun_altitude_deg", "lit_fraction")
    writer.writerow(("rank", "date", "local", "behind", *columns))
    for each in found:
        values = [getattr(each, column) for column in columns]
        writer.writerow(
            [
                each.rank,
                each.date.isoformat(),
                timeline.local_datetime(round(each.utc_s), plan.zone).isoformat(),
                cell("yes" if each.is_behind else "no"),
                *("" if value is None else repr(value) for value in values),
            ]
        )
    return out.getvalue()
