"""Which date: where sun or moon rise and set against the picture on each date of a span, ranked.

Each date is judged with the plan's own move on that date. The skyline is that of the blocks as the camera
sees them from its place at the anchor.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, Required, TypedDict

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.over_skyline import disc_deg, in_the_way, over_skyline_utc_s
from planner_core.evening.sunlight import subject_spot
from planner_core.light import daylight
from planner_core.maths.angles import compass_deg, unwound_deg, wrapped_deg
from planner_core.picture.projection import delivered_crop, field_of_view_deg, project_px
from planner_core.place.blocking import block_label, block_text, subject_indices
from planner_core.place.skyline import OPEN, Skyline, skyline
from planner_core.plan import timeline
from planner_core.plan.model import Anchor, Plan, PlanError
from planner_core.plan.text import cell
from planner_core.rig import geometry, motion
from planner_core.rig.camera import camera_path
from planner_core.time import ephemeris, events
from planner_core.words.dates import day_words, span_words
from planner_core.words.figures import figure, percent

Array = NDArray[np.float64]

BODIES = ("sun", "moon")
KINDS = ("rise", "set")
LONGEST_SPAN_DAYS = 3660
NEIGHBOUR_DEG = 0.5  # a gap's sides rise at least a disc's width above the place where the disc goes down
BALANCED = (0.25, 0.75)  # share of day that still feels balanced; common practice, no source
SAMPLES = 200
DUSK_DEG = (-8.0, 2.0)  # of the sun, apparent: land and moon both show; common practice, no source
FAR_FROM_DUSK_DEG = 20.0
MANY_RUNS = 8  # of dates out of the picture, more are only counted
_OTHER_WAY = {"dawn": "dusk", "dusk": "dawn", "sunrise": "sunset", "sunset": "sunrise"}


@frozen(kw_only=True)
class RiseOrSet:
    """One rise or set. Fields are None where the event, or the clip, doesn't happen on that date.

    level_ fields are for the upper limb on the level horizon, skyline_ fields for the moment the disc's upper
    limb comes out from behind, or goes down behind, the blocks. x_px and y_px place the disc's centre in the
    delivered frame then; `behind` names the block that hides it (empty: the level horizon), left and right
    the blocks beside it that stand higher, with the clear degrees to them from the disc's centre. frame
    counts from 1. sun_altitude_deg, where the sun stands then, and lit_fraction are the moon's. subject_utc_s
    is when the body's light first reaches the subject's middle, or last does, and subject_behind the block
    that holds it back before or after that (empty: the level horizon).
    """

    date: dt.date
    event: str
    level_utc_s: float | None = None
    level_bearing_deg: float | None = None
    skyline_utc_s: float | None = None
    skyline_bearing_deg: float | None = None
    skyline_altitude_deg: float | None = None
    in_clip: bool = False
    frame: int | None = None
    in_picture: bool = False
    x_px: float | None = None
    y_px: float | None = None
    behind: str = ""
    left: str = ""
    right: str = ""
    clear_left_deg: float | None = None
    clear_right_deg: float | None = None
    clip_start_utc_s: float | None = None
    clip_end_utc_s: float | None = None
    day_share: float | None = None
    moon_end_altitude_deg: float | None = None
    moon_end_lit_fraction: float | None = None
    moon_end_lux: float | None = None
    sun_altitude_deg: float | None = None
    lit_fraction: float | None = None
    subject_utc_s: float | None = None
    subject_behind: str = ""
    rank: int = 0

    @property
    def in_gap(self) -> bool:
        """Whether it happens between two named blocks."""
        return bool(self.left and self.right)

    @property
    def balanced(self) -> bool:
        """Whether day and dark each have a fair share of the clip."""
        return self.day_share is not None and BALANCED[0] <= self.day_share <= BALANCED[1]


@frozen(kw_only=True)
class DatesTable:
    """Rises and sets in the order of time; rank 1 is the best. Read `ranked` for that order."""

    plan: Plan
    body: str
    first: dt.date
    last: dt.date
    rows: tuple[RiseOrSet, ...]

    @property
    def ranked(self) -> tuple[RiseOrSet, ...]:
        return tuple(sorted(self.rows, key=lambda row: row.rank))


def date_span(first: str, last: str) -> tuple[dt.date, dt.date]:
    """Two dates as written on a command line. Raises PlanError."""
    dates = []
    for name, text in (("from", first), ("to", last)):
        try:
            dates.append(dt.date.fromisoformat(text))
        except ValueError:
            raise PlanError(name, text, "is not a date of the calendar; write it as 2027-03-14") from None
    if dates[1] < dates[0]:
        raise PlanError("to", last, "comes before the first date ({first}); swap them?", first=first)
    if (dates[1] - dates[0]).days >= LONGEST_SPAN_DAYS:
        raise PlanError(
            "to", last, "is more than ten years after {first}; ask for less at a time", first=first
        )
    return dates[0], dates[1]


def likely_kind(plan: Plan) -> str:
    """Whether the plan is about a rise or a set: by its anchor, else by its hour of the day."""
    if plan.shoot.anchor is not None:
        event = plan.shoot.anchor.event
        return "rise" if event.endswith(("rise", "dawn")) else "set"
    middle = timeline.start_utc_s(plan) + plan.duration_s / 2.0
    return "rise" if ephemeris.sun_hour_angle_deg(middle, plan.site.longitude_deg) < 0.0 else "set"


def dates_table(
    plan: Plan, first: dt.date, last: dt.date, *, body: str = "sun", kinds: Sequence[str] = KINDS
) -> DatesTable:
    """Every rise and set (or one of the two) of a body on the local dates from first to last, both included.

    Raises PlanError for an unknown body or event, and for dates outside the years that the sun is computed
    for.
    """
    for value, options, name in ((body, BODIES, "body"), *((kind, KINDS, "event") for kind in kinds)):
        if value not in options:
            raise PlanError(name, value, "is not known; use one of: {known}", known=", ".join(options))
    check_years(first, last)
    days = [first + dt.timedelta(days=day) for day in range((last - first).days + 1)]
    horizon = skyline(plan, anchor_eye_m(plan))
    rows = [row for kind in kinds for row in _Search(plan, body, kind, horizon).rows(days)]
    order = sorted(range(len(rows)), key=lambda i: (rows[i].level_utc_s or np.inf, rows[i].date))
    ranks = {i: rank for rank, i in enumerate(sorted(order, key=lambda i: _merit(plan, rows[i])), start=1)}
    by_time = sorted(range(len(rows)), key=lambda i: (rows[i].date, rows[i].level_utc_s or 0.0))
    return DatesTable(
        plan=plan,
        body=body,
        first=first,
        last=last,
        rows=tuple(attrs.evolve(rows[i], rank=ranks[i]) for i in by_time),
    )


def check_years(first: dt.date, last: dt.date) -> None:
    """Raise PlanError for dates outside the years that sun and moon are computed for."""
    for name, date in (("from", first), ("to", last)):
        if not 1950 <= date.year <= 2050:
            raise PlanError(
                name, date.isoformat(), "is outside the years 1950 to 2050, for which sun and moon are good"
            )


def _merit(plan: Plan, row: RiseOrSet) -> tuple[float, ...]:
    """The smaller the better: in the picture during the clip, in a gap, balanced, near the middle of what
    frames it.
    """
    if row.skyline_utc_s is None:
        return (3.0, 1.0, 1.0, 1.0)
    shown = 0.0 if row.in_picture and row.in_clip else 1.0 if row.in_picture else 2.0
    if row.in_gap and row.clear_left_deg is not None and row.clear_right_deg is not None:
        off = abs(row.clear_left_deg - row.clear_right_deg) / (row.clear_left_deg + row.clear_right_deg)
    else:
        half = plan.clip.width_px / 2.0
        off = 1.0 + (abs(row.x_px - half) / half if row.x_px is not None else 1e6)
    gap = 0.0 if row.in_gap else 1.0
    if row.lit_fraction is not None:
        return (shown, moon_merit(row.lit_fraction, row.sun_altitude_deg or 0.0), gap, off)
    return (shown, gap, 0.0 if row.balanced else 1.0, off)


def moon_merit(lit_fraction: float, sun_altitude_deg: float) -> float:
    """How far a moon is from a full one in the light of dusk or dawn, 0 to 2, in steps of a tenth.

    Half of it is phase, half light: in dusk the land still shows beside it (common practice, no source).
    """
    low, high = DUSK_DEG
    off_deg = max(low - sun_altitude_deg, sun_altitude_deg - high, 0.0)
    return round(1.0 - lit_fraction + min(off_deg / FAR_FROM_DUSK_DEG, 1.0), 1)


def _anchor_place(plan: Plan) -> float:
    return plan.shoot.anchor.at if plan.shoot.anchor is not None else 0.5


def day_bounds_utc_s(plan: Plan, date: dt.date) -> tuple[float, float]:
    """When a local date begins and ends at the site, POSIX seconds."""
    days = (date, date + dt.timedelta(days=1))
    start, end = (dt.datetime.combine(day, dt.time(), plan.zone).timestamp() for day in days)
    return start, end


def anchor_eye_m(plan: Plan) -> Array:
    """Where the camera stands at the anchor's place of the move, scene metres (3,)."""
    return camera_path(plan, np.array([_anchor_place(plan)])).camera_m[0]


class _Clip(TypedDict, total=False):
    """When the plan's clip would run on a date, its share of day, and the moon at its end."""

    clip_start_utc_s: Required[float | None]
    clip_end_utc_s: Required[float | None]
    day_share: float
    moon_end_altitude_deg: float
    moon_end_lit_fraction: float
    moon_end_lux: float


class _Moonlit(TypedDict, total=False):
    """How much of the moon is lit, and where the sun stands then; nothing for the sun."""

    sun_altitude_deg: float
    lit_fraction: float


class _Beside(TypedDict, total=False):
    """The block that hides the disc, and the higher ones beside it."""

    behind: Required[str]
    left: str
    right: str
    clear_left_deg: float
    clear_right_deg: float


class _Common(_Clip):
    """What is known of a rise or set before its moment over the skyline is."""

    date: Required[dt.date]
    event: Required[str]
    level_utc_s: Required[float]
    level_bearing_deg: Required[float]
    subject_utc_s: Required[float | None]
    subject_behind: Required[str]


class _Search:
    """Rises or sets of one body over many dates, all dates in one array."""

    def __init__(self, plan: Plan, body: str, kind: str, horizon: Skyline) -> None:
        self.plan, self.body, self.kind, self.skyline = plan, body, kind, horizon
        self.event = f"{body}{kind}"
        self.site = plan.site
        spot, own = subject_spot(plan)
        self.from_subject = None if spot is None else skyline(plan, spot, ignoring=own)

    def rows(self, days: Sequence[dt.date]) -> list[RiseOrSet]:
        judged: list[RiseOrSet] = []
        dated: list[tuple[dt.date, float]] = []
        for day in days:
            times = events.event_times_utc_s(
                self.event, day, self.site.latitude_deg, self.site.longitude_deg, self.site.timezone
            )
            dated += [(day, t) for t in times]
            if not times:
                judged.append(RiseOrSet(date=day, event=self.event, **self._clip(day, None)))
        if dated:
            judged += self._judged(dated)
        return judged

    def _judged(self, dated: list[tuple[dt.date, float]]) -> list[RiseOrSet]:
        level = np.array([t for _, t in dated])
        moment = over_skyline_utc_s(self.site, self.body, self.kind, self.skyline, level)
        at_subject, subject_behind = self._at_subject(level)
        shown = np.where(np.isnan(moment), level, moment)
        azimuth, altitude, _ = disc_deg(self.site, self.body, shown)
        clips = [self._clip(day, t) for day, t in dated]
        starts = np.array(
            [c["clip_start_utc_s"] if c["clip_start_utc_s"] is not None else np.nan for c in clips]
        )
        fraction = (shown - starts) / max(self.plan.duration_s, self.plan.shoot.interval_s)
        at = np.clip(np.nan_to_num(fraction, nan=_anchor_place(self.plan)), 0.0, 1.0)
        camera = camera_path(self.plan, at)
        north = self.site.scene_north_deg
        pixels, _ = project_px(
            self.plan,
            camera.camera_m + geometry.direction(azimuth, altitude, north),
            camera.camera_m,
            camera.camera_rotation,
        )
        level_azimuth = disc_deg(self.site, self.body, level)[0]
        hiders = in_the_way(self.site, self.body, self.kind, self.skyline, moment, level)
        moonlit = self._moonlit(shown)
        rows = []
        for i, (day, t) in enumerate(dated):
            x, y = (float(v) for v in pixels[i])
            inside = 0.0 <= x <= self.plan.clip.width_px and 0.0 <= y <= self.plan.clip.height_px
            common: _Common = {
                "date": day,
                "event": self.event,
                "level_utc_s": t,
                "level_bearing_deg": float(level_azimuth[i]),
                "subject_utc_s": None if np.isnan(at_subject[i]) else float(at_subject[i]),
                "subject_behind": subject_behind[i],
                **clips[i],
            }
            if np.isnan(moment[i]):
                rows.append(RiseOrSet(**common, behind=block_label(self.plan, int(hiders[i]))))
                continue
            in_clip = bool(0.0 <= fraction[i] <= 1.0)
            rows.append(
                RiseOrSet(
                    **common,
                    skyline_utc_s=float(moment[i]),
                    skyline_bearing_deg=float(azimuth[i]),
                    skyline_altitude_deg=float(altitude[i]),
                    in_clip=in_clip,
                    frame=1 + round(float(at[i]) * (self.plan.shoot.frames - 1)) if in_clip else None,
                    in_picture=inside,
                    x_px=None if np.isnan(x) else x,
                    y_px=None if np.isnan(y) else y,
                    **moonlit[i],
                    **self._beside(
                        float(azimuth[i]),
                        int(hiders[i]),
                        float(camera.lens_bearing_deg[i]) if inside else None,
                    ),
                )
            )
        return rows

    def _at_subject(self, level_utc_s: Array) -> tuple[Array, list[str]]:
        """When the body's light comes to the subject or leaves it, (n,), NaN for never, and what holds it."""
        horizon = self.from_subject
        if horizon is None:
            return np.full(len(level_utc_s), np.nan), [""] * len(level_utc_s)
        asked = self.site, self.body, self.kind, horizon
        moment = over_skyline_utc_s(*asked, level_utc_s)
        behind = in_the_way(*asked, moment, level_utc_s)
        return moment, ["" if index == OPEN else block_label(self.plan, int(index)) for index in behind]

    def _moonlit(self, utc_s: Array) -> list[_Moonlit]:
        """For the moon: how much of it is lit at instants (n,), and where the sun stands then."""
        if self.body != "moon":
            return [{} for _ in utc_s]
        _, true = ephemeris.sun_position(utc_s, self.site.latitude_deg, self.site.longitude_deg)
        sun, lit = ephemeris.apparent_altitude_deg(true), ephemeris.moon_lit_fraction(utc_s)
        return [
            {"sun_altitude_deg": float(height), "lit_fraction": float(fraction)}
            for height, fraction in zip(sun, lit, strict=True)
        ]

    def _beside(self, bearing_deg: float, behind: int, lens_deg: float | None) -> _Beside:
        """The block that hides the disc, and the higher ones to its left and right within the picture's
        width.
        """
        plan, horizon = self.plan, self.skyline
        crop = delivered_crop(plan.camera, plan.clip)
        half = float(field_of_view_deg(crop.width_mm, plan.camera.focal_length_mm)) / 2.0
        middle = bearing_deg if lens_deg is None else lens_deg
        turn = wrapped_deg(bearing_deg - middle)
        height = float(horizon.altitude_at(bearing_deg)) if behind != OPEN else 0.0
        beside: _Beside = {"behind": block_label(plan, behind) if behind != OPEN else ""}
        for side, sign, reach in (("left", -1.0, half + turn), ("right", 1.0, half - turn)):
            away = np.arange(0.0, max(reach, 0.0), 0.02)
            steps = horizon.step(bearing_deg + sign * away)
            higher = (horizon.altitude_deg[steps] > height + NEIGHBOUR_DEG) & (horizon.block[steps] != behind)
            if higher.any():
                nearest = int(np.argmax(higher))
                name, clear_deg = block_label(plan, int(horizon.block[steps[nearest]])), float(away[nearest])
                if side == "left":
                    beside["left"], beside["clear_left_deg"] = name, clear_deg
                else:
                    beside["right"], beside["clear_right_deg"] = name, clear_deg
        return beside

    def _clip(self, day: dt.date, event_utc_s: float | None) -> _Clip:
        """When the plan's clip would run on a date, its share of day, and the moon at its end."""
        plan, site = self.plan, self.site
        start = self._clip_start(day, event_utc_s)
        if start is None:
            return {"clip_start_utc_s": None, "clip_end_utc_s": None}
        end = start + plan.duration_s
        times = np.linspace(start, end, min(plan.shoot.frames, SAMPLES))
        _, sun = ephemeris.sun_position(times, site.latitude_deg, site.longitude_deg)
        _, moon_true = ephemeris.moon_position(end, site.latitude_deg, site.longitude_deg)
        moon = float(ephemeris.apparent_altitude_deg(moon_true))
        lux = daylight.moon_illuminance_lux(moon, ephemeris.elongation_deg(end))
        return {
            "clip_start_utc_s": start,
            "clip_end_utc_s": end,
            "day_share": float(np.mean(sun > events.SUN_RISES_AT_DEG)),
            "moon_end_altitude_deg": moon,
            "moon_end_lit_fraction": float(ephemeris.moon_lit_fraction(end)),
            "moon_end_lux": float(lux) / plan.shoot.cloud_divisor,
        }

    def _clip_start(self, day: dt.date, event_utc_s: float | None) -> float | None:
        """The clip's start on a date: by the plan's anchor, turned to morning or evening as the search is."""
        plan = self.plan
        if plan.shoot.start is not None:
            moment = dt.datetime.combine(day, plan.shoot.start.timetz().replace(tzinfo=None))
            try:
                return timeline.local_to_utc_s(moment, plan.zone, "shoot.start")
            except PlanError:
                return None
        anchor = plan.shoot.anchor
        assert anchor is not None
        name = anchor.event
        if self.body == "sun" and name in events.SUN_EVENTS and likely_kind(plan) != self.kind:
            head, _, tail = name.rpartition("_")
            name = f"{head}_{_OTHER_WAY[tail]}" if head else _OTHER_WAY[tail]
        if name == self.event and event_utc_s is not None:
            return event_utc_s - anchor.at * plan.duration_s
        try:
            return timeline.anchor_utc_s(plan, Anchor(event=name, date=day, at=anchor.at)) - (
                anchor.at * plan.duration_s
            )
        except PlanError:
            return None


# ---------------------------------------------------------------- as text


def dates_text(table: DatesTable, best: int = 10) -> str:
    """What a photographer asks: where it goes down on which dates, in which gaps, and the best of them."""
    lines = list(_heading(table))
    own = likely_kind(table.plan)
    for event in sorted({row.event for row in table.rows}, key=lambda event: not event.endswith(own)):
        rows = [row for row in table.rows if row.event == event]
        lines += ["", *_places(table, event, rows), *_at_subject_words(table, event, rows)]
    wanted = [row for row in table.ranked if row.in_picture and row.in_clip][:best]
    if wanted:
        lines += ["", *_best(table, wanted)]
    return "\n".join(lines) + "\n"


def _heading(table: DatesTable) -> Iterator[str]:
    plan = table.plan
    title = f"{plan.title}: " if plan.title else ""
    yield f"{title}the {table.body}, {span_words(table.first, table.last)}"
    frame = 1 + round(_anchor_place(plan) * (plan.shoot.frames - 1))
    yield (
        f"Seen from where the camera stands at frame {frame}, against the level horizon and "
        f"{len(plan.blocks)} block{'s' if len(plan.blocks) != 1 else ''}; "
        f"in the picture as it is framed at that moment (at frame {frame} from {_reach(plan)})."
    )


def _reach(plan: Plan) -> str:
    """'12° to 86°': the bearings between which the picture lies at the anchor's place of the move."""
    crop = delivered_crop(plan.camera, plan.clip)
    half = float(field_of_view_deg(crop.width_mm, plan.camera.focal_length_mm)) / 2.0
    pan = motion.axis_positions(plan, _anchor_place(plan)).pan_deg
    middle = plan.site.scene_north_deg if pan is None else float(pan)
    return f"{compass_deg(middle - half):.0f}° to {compass_deg(middle + half):.0f}°"


def _verb(event: str) -> str:
    return "comes up" if event.endswith("rise") else "goes down"


def _where(row: RiseOrSet) -> str:
    """Where it happens against the skyline: between two blocks, behind one, or at the level horizon."""
    between = [f"between “{row.left}” and “{row.right}”"] if row.in_gap else []
    behind = [f"behind “{row.behind}”"] if row.behind else []
    return ", ".join(between + behind) or "at the level horizon"


def _bearings(rows: list[RiseOrSet]) -> str:
    """', at 262.1° to 277.8°': where a stretch of rises or sets happens, the short way round."""
    bearings = [row.skyline_bearing_deg for row in rows if row.skyline_bearing_deg is not None]
    if not bearings:
        return ""
    turned = np.sort(unwound_deg(np.array(bearings), bearings[0]))
    low, high = (f"{compass_deg(bearing):.0f}°" for bearing in (turned[0], turned[-1]))
    return f", at {low}" + (f" to {high}" if high != low else "")


def _places(table: DatesTable, event: str, rows: list[RiseOrSet]) -> Iterator[str]:
    """Each place where it happens, in the picture first, with the spans of dates."""
    verb = _verb(event)
    times = "mornings" if event == "sunrise" else "evenings" if event == "sunset" else "times"
    yield f"{event.capitalize()}"

    def place(row: RiseOrSet) -> tuple[int, str]:
        if row.level_utc_s is None:
            return 5, f"no {event}"
        if row.skyline_utc_s is None:
            return 4, f"hidden behind “{row.behind}” for the last hours" if event.endswith("set") else (
                f"hidden behind “{row.behind}” for the first hours"
            )
        where = _where(row)
        if row.in_picture and row.in_clip:
            return (0 if row.in_gap else 1), f"{verb} {where}"
        if row.in_picture:
            return 2, f"{verb} {where}, but not while the clip runs"
        return 3, f"{verb} outside the picture"

    for (group, words), members in groupby(sorted(rows, key=lambda r: (place(r), r.date)), key=place):
        listed = list(members)
        at = _bearings(listed) if group >= 2 else ""
        yield f"  {words}{at}: {len(listed)} {times if len(listed) != 1 else times[:-1]}"
        runs = list(_runs([row.date for row in listed]))
        if group >= 2 and len(runs) > MANY_RUNS:
            continue
        for run in runs:
            span = [row for row in listed if run[0] <= row.date <= run[1]]
            yield f"    {span_words(*run)}{_middle(table, span) if group == 0 else ''}"


def _at_subject_words(table: DatesTable, event: str, rows: list[RiseOrSet]) -> Iterator[str]:
    """When direct light reaches the subject or leaves it, in runs of dates with one block in its way."""
    dated = [row for row in rows if row.level_utc_s is not None]
    subjects = subject_indices(table.plan)
    if not subjects or not dated:
        return
    does = "reaches" if event.endswith("rise") else "leaves"
    light = "Direct light" if table.body == "sun" else "Moonlight"
    yield f"  {light} {does} the subject, {block_text(table.plan, subjects[0])}:"
    runs = [
        list(run)
        for _, run in groupby(dated, key=lambda row: (row.subject_utc_s is None, row.subject_behind))
    ]
    for run in runs[:MANY_RUNS]:
        yield f"    {_subject_run(table, run)}"
    if len(runs) > MANY_RUNS:
        yield "    and so on; -o FILE.csv has every date"


def _subject_run(table: DatesTable, run: list[RiseOrSet]) -> str:
    """'Sun 14 March 2027 to Thu 18 March 2027: 18:02 to 18:07, behind “hills 3”'."""
    ends = [run[0]] if len(run) == 1 else [run[0], run[-1]]
    span = span_words(run[0].date, run[-1].date)
    if run[0].subject_utc_s is None:
        return f"{span}: it stays in the shade of “{run[0].subject_behind}”"
    clocks = [
        timeline.clock(row.subject_utc_s, table.plan.zone) for row in ends if row.subject_utc_s is not None
    ]
    side = "over" if run[0].event.endswith("rise") else "behind"
    where = f"{side} “{run[0].subject_behind}”" if run[0].subject_behind else "at the level horizon"
    return f"{span}: {' to '.join(dict.fromkeys(clocks))}, {where}"


def _middle(table: DatesTable, span: list[RiseOrSet]) -> str:
    """The date of a span on which the disc is nearest to the middle of its gap."""
    best = min(span, key=lambda row: abs((row.clear_left_deg or 0.0) - (row.clear_right_deg or 0.0)))
    assert best.skyline_utc_s is not None
    when = timeline.clock(best.skyline_utc_s, table.plan.zone)
    near = "" if len(span) == 1 else f"nearest the middle {day_words(best.date)}, "
    return f" ({near}{when} at {best.skyline_bearing_deg:.1f}°)"


def _best(table: DatesTable, rows: list[RiseOrSet]) -> Iterator[str]:
    zone, width = table.plan.zone, table.plan.clip.width_px
    ordered = "the fuller and the nearer to dusk or dawn, then in a gap"
    if table.body == "sun":
        ordered = "in a gap, then day and dark balanced"
    yield f"Best dates: in the picture while the clip runs, then {ordered}, then near the middle"
    for row in rows:
        assert row.skyline_utc_s is not None
        assert row.x_px is not None
        head = (
            f"  {row.rank:>3}. {day_words(row.date, year=True):<17} {row.event} "
            f"{timeline.clock(row.skyline_utc_s, zone)} at {row.skyline_bearing_deg:.1f}°, "
            f"frame {row.frame}, {percent(row.x_px / width)} across, {_where(row)}"
        )
        yield (
            f"{head}; day {percent(row.day_share or 0.0)} of the clip; {_moonlight(row)}"
            if row.lit_fraction is None
            else f"{head}; {percent(row.lit_fraction)} lit, {sun_words(row.sun_altitude_deg or 0.0)}"
        )


def sun_words(altitude_deg: float) -> str:
    """'sun 3° below the horizon': where the sun stands, apparent."""
    side = "above" if altitude_deg >= 0.0 else "below"
    return f"sun {abs(altitude_deg):.0f}° {side} the horizon"


def _moonlight(row: RiseOrSet) -> str:
    if row.moon_end_altitude_deg is None or row.moon_end_lit_fraction is None or row.moon_end_lux is None:
        return "no clip that day"
    if row.moon_end_altitude_deg < 0.0:
        return "no moon at the end"
    return (
        f"moon {percent(row.moon_end_lit_fraction)} lit, {row.moon_end_altitude_deg:.0f}° up at the end "
        f"({figure(row.moon_end_lux, 2)} lux)"
    )


def _runs(dates: list[dt.date]) -> Iterator[tuple[dt.date, dt.date]]:
    """Unbroken runs in a rising list of dates."""
    start = previous = dates[0]
    for date in dates[1:]:
        if (date - previous).days > 1:
            yield start, previous
            start = date
        previous = date
    yield start, previous


# ---------------------------------------------------------------- as CSV

COLUMNS = (
    "rank",
    "date",
    "event",
    "level_local",
    "level_bearing_deg",
    "skyline_local",
    "skyline_bearing_deg",
    "skyline_altitude_deg",
    "in_clip",
    "frame",
    "in_picture",
    "x_px",
    "y_px",
    "behind",
    "left",
    "right",
    "clear_left_deg",
    "clear_right_deg",
    "clip_start_local",
    "clip_end_local",
    "day_share",
    "moon_end_altitude_deg",
    "moon_end_lit_fraction",
    "moon_end_lux",
    "sun_altitude_deg",
    "lit_fraction",
    "subject_local",
    "subject_behind",
)


def dates_csv(table: DatesTable) -> str:
    """The table as CSV in the order of time, full precision; a cell is empty where there is no value."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    zone = table.plan.zone
    for row in table.rows:
        cells = []
        for column in COLUMNS:
            if column.endswith("_local"):
                instant = getattr(row, column.replace("_local", "_utc_s"))
                cells.append(
                    "" if instant is None else timeline.local_datetime(round(instant), zone).isoformat()
                )
            else:
                cells.append(_cell(getattr(row, column)))
        writer.writerow(cells)
    return out.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.date):
        return value.isoformat()
    return cell(value) if isinstance(value, str) else str(value)
