"""The evening as a chart: sun and moon, light, exposure and axes against clock time and frame number."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.timetable import Moment
from planner_core.frames import FrameTable
from planner_core.light import exposure
from planner_core.output.sheet.draw import Canvas, interpolate, round_step, text_width
from planner_core.place.tides import table_height_m
from planner_core.plan.timeline import clock, local_datetime
from planner_core.time import events
from planner_core.words.figures import percent

Array = NDArray[np.float64]

MOST_POINTS = 300
PHASE_LABELS = {
    0: ("day",),
    1: ("civil twilight", "civil"),
    2: ("nautical twilight", "nautical", "naut."),
    3: ("astronomical twilight", "astronomical", "astr."),
    4: ("night",),
}
TICK_MINUTES = (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440)


@frozen(kw_only=True)
class ChartSize:
    """A format of the chart, in millimetres: `wide` for paper, `narrow` for a phone held upright."""

    name: str
    width: float
    font: float
    tall: float  # height of a unit of panel height
    gutter: float  # room on the right for the scales' numbers


WIDE = ChartSize(name="wide", width=188.0, font=2.55, tall=1.0, gutter=12.0)
NARROW = ChartSize(name="narrow", width=100.0, font=3.3, tall=1.35, gutter=13.5)
LOWEST, TALLEST = 0.5, 1.5  # heights of a unit at which panels still look right
# the sky's panel goes no lower than the first; a moon above the second doesn't stretch it
SKY_LOW_DEG, SKY_HIGH_DEG = -20.0, 12.0


def fitting(frames: FrameTable, size: ChartSize, height_mm: float) -> ChartSize:
    """The format made as tall as will look right in so much height."""
    units = sum(height for _, height in _panels(frames))
    tall = (height_mm - _captions_mm(frames, size)) / units
    return attrs.evolve(size, tall=float(np.clip(tall, LOWEST, TALLEST)))


def _panels(frames: FrameTable) -> list[tuple[str, float]]:
    """The chart's panels from the top, with their heights in units of ChartSize.tall."""
    panels = [("sky", 22.0), ("light", 12.0)]
    if frames.water_m is not None:
        panels.insert(1, ("tide", 9.0))
    if frames.ramp is not None:
        panels.append(("exposure", 13.0))
    moving = [axis for axis in ("slide_m", "pan_deg", "tilt_deg") if getattr(frames, axis) is not None]
    return panels + [(axis, 4.5) for axis in moving]


def _captions_mm(frames: FrameTable, size: ChartSize) -> float:
    """Height of the axes and of the captions between the panels."""
    return size.font * (3.0 + 1.75 * (len(_panels(frames)) + 1))


def chart_svg(frames: FrameTable, moments: tuple[Moment, ...], size: ChartSize) -> str:
    """The chart as an SVG element."""
    return _Chart(frames, moments, size).svg()


class _Chart:
    """Panels below each other over one time axis; `top` moves down as they are drawn."""

    def __init__(self, frames: FrameTable, moments: tuple[Moment, ...], size: ChartSize) -> None:
        self.frames, self.size, self.font = frames, size, size.font
        self.plan = frames.plan
        self.moments = [m for m in moments if m.frame is not None and m.kind in ("event", "light")]
        last = float(frames.utc_s[-1])
        self.t0 = float(frames.utc_s[0])
        self.t1 = last if last > self.t0 else self.t0 + self.plan.shoot.interval_s
        self.left, self.right = 0.5, size.width - size.gutter
        self.index = np.unique(np.linspace(0, len(frames) - 1, min(len(frames), MOST_POINTS)).astype(int))
        self.ramp = frames.ramp
        self.top = self.font * 3.0
        self.panels = [(name, height * size.tall) for name, height in _panels(frames)]
        self.height = _captions_mm(frames, size) + sum(height for _, height in self.panels)
        self.canvas = Canvas(size.width, self.height, f"c{size.name[0]}", "The shoot against the clock")

    def svg(self) -> str:
        bottom = self.height - self.font * 1.75
        self._bands_top = self.top
        self._bands(self.top, bottom)
        self._clock_axis(bottom)
        self._event_lines(bottom)
        for name, height in self.panels:
            self.top += self.font * 1.75
            getattr(self, f"_{name.split('_')[0]}")(self.top, height)
            self.top += height
        self._frame_axis(self.top)
        self.canvas.box(self.left, self._bands_top, self.right - self.left, bottom - self._bands_top, "edge")
        return self.canvas.svg()

    def x(self, utc_s: float | Array) -> Array:
        return interpolate(utc_s, self.t0, self.t1, self.left, self.right)

    # ---------------------------------------------------------------- what lies behind all panels

    def _bands(self, top: float, bottom: float) -> None:
        """Day, twilights and night as shades, each with its name on top."""
        phase = events.light_phase(self.frames.sun_true_altitude_deg)
        changes = np.flatnonzero(np.diff(phase)) + 1
        edges = [self.left, *(float(self.x(self._crossing(k, phase))) for k in changes), self.right]
        starts = [0, *changes]
        for (x, x2), start in zip(pairwise(edges), starts, strict=True):
            self.canvas.box(x, top, x2 - x, bottom - top, f"phase{phase[start]}")
            for label in PHASE_LABELS[int(phase[start])]:
                if text_width(label, self.font) < x2 - x - 1.0:
                    self.canvas.text(label, (x + x2) / 2.0, top - 0.8, self.font * 0.92, "tq", "middle")
                    break

    def _crossing(self, k: np.intp, phase: NDArray[np.int8]) -> float:
        """The instant between frames k and k + 1 (from 1) at which the sun leaves one phase for the next."""
        altitude, times = self.frames.sun_true_altitude_deg, self.frames.utc_s
        level = events.PHASE_STARTS_DEG[min(phase[k - 1], phase[k])]
        fraction = (level - altitude[k - 1]) / (altitude[k] - altitude[k - 1])
        return float(times[k - 1] + np.clip(fraction, 0.0, 1.0) * (times[k] - times[k - 1]))

    def _clock_axis(self, bottom: float) -> None:
        """Round clock times along the top, with a faint line down through all panels."""
        room = (self.right - self.left) / (text_width("00:00", self.font) * 2.2)
        minutes = next((m for m in TICK_MINUTES if (self.t1 - self.t0) / 60.0 / m <= room), TICK_MINUTES[-1])
        zone = self.plan.zone
        offset = local_datetime(self.t0, zone).utcoffset()
        shift = offset.total_seconds() if offset else 0.0
        step = minutes * 60.0
        first = math.ceil((self.t0 + shift) / step) * step - shift
        for t in np.arange(first, self.t1 + 1.0, step):
            x = float(self.x(t))
            self.canvas.line((x, self.top), (x, bottom), "grid")
            half = text_width("00:00", self.font) / 2.0
            self.canvas.text(
                clock(float(t), zone),
                min(max(x, half), self.right - half + 2.0),
                self.font,
                self.font,
                "t",
                "middle",
            )

    def _frame_axis(self, bottom: float) -> None:
        count = len(self.frames)
        step = max(int(round_step(max(count - 1, 1), int((self.right - self.left) / (self.font * 4.5)))), 1)
        ticks = [1, count, *range(step, count, step)] if count > 1 else [1]
        y = bottom + self.font * 1.2
        taken = [self._event_label(y)]
        for number in ticks:
            x = float(self.x(self.frames.utc_s[number - 1]))
            words = f"frame {number}" if number == 1 else str(number)
            width = text_width(words, self.font)
            left = x if number == 1 else x - width if number == count else x - width / 2.0
            if all(left > end + 2.0 or left + width < start - 2.0 for start, end in taken):
                taken.append((left, left + width))
                self.canvas.text(words, left, y, self.font * 0.92, "tq")

    def _event_label(self, y: float) -> tuple[float, float]:
        """The event's name under its line; returns the room that it takes."""
        event = next((moment for moment in self.moments if moment.kind == "event"), None)
        if event is None:
            return (-math.inf, -math.inf)
        words = f"{event.label} {local_datetime(event.utc_s, self.plan.zone):%H:%M}, frame {event.frame}"
        half = text_width(words, self.font, bold=True) / 2.0
        x = float(np.clip(self.x(event.utc_s), self.left + half, self.right - half))
        self.canvas.text(words, x, y, self.font, "ts tb", "middle")
        return (x - half, x + half)

    def _event_lines(self, bottom: float) -> None:
        for moment in self.moments:
            x = float(self.x(moment.utc_s))
            self.canvas.line((x, self.top), (x, bottom), "event" if moment.kind == "event" else "minor")

    # ---------------------------------------------------------------- panels

    def _caption(
        self, top: float, name: str, told: Sequence[str], aside: Sequence[str] = ("",), kind: str = "tq"
    ) -> None:
        """A panel's name with what is told of it, and something more at the right end.

        Both are given from the longest to the shortest: the longest pair that has room is written.
        """
        y = top - self.font * 0.45
        left = self.left + 1.0 + text_width(name, self.font, bold=True) + self.font * 0.8
        room = self.right - 1.0 - left
        gap = self.font * 1.5

        def wide(words: str) -> float:
            return text_width(words, self.font) + gap if words else 0.0

        pairs = ((words, beside) for beside in (*aside, "") for words in told)
        words, beside = next(
            (pair for pair in pairs if wide(pair[0]) + wide(pair[1]) - gap <= room), (told[-1], "")
        )
        self.canvas.text(name, self.left + 1.0, y, self.font, "tb halo")
        self.canvas.text(words, left, y, self.font, "tq halo")
        if beside:
            self.canvas.text(beside, self.right - 1.0, y, self.font, f"{kind} halo", "end")

    def _curve(self, values: Array, top: float, height: float, low: float, high: float, kind: str) -> None:
        y = interpolate(values[self.index], low, high, top + height, top)
        self.canvas.path(zip(self.x(self.frames.utc_s[self.index]), y, strict=True), kind)

    def _steps(self, values: Array, top: float, height: float, low: float, high: float, kind: str) -> None:
        """A setting that holds until the next one."""
        changes = [0, *(np.flatnonzero(np.diff(values)) + 1), len(values) - 1]
        points: list[tuple[float, float]] = []
        y = interpolate(values, low, high, top + height, top)
        for k in changes:
            x = float(self.x(self.frames.utc_s[k]))
            if points:
                points.append((x, points[-1][1]))
            points.append((x, float(y[k])))
        self.canvas.path(points, kind)

    def _most_levels(self, height: float, wanted: int) -> int:
        """How many levels a panel has, so that their numbers stand apart."""
        return max(1, min(wanted, int(height / (self.font * 1.15))))

    def _level(self, y: float, words: str, kind: str = "grid") -> None:
        self.canvas.line((self.left, y), (self.right, y), kind)
        self.canvas.text(words, self.right + 0.8, y + self.font * 0.3, self.font * 0.92, "tq")

    def _sky(self, top: float, height: float) -> None:
        sun, moon = self.frames.sun_altitude_deg, self.frames.moon_altitude_deg
        low = min(max(float(sun.min()), SKY_LOW_DEG), -1.0) - 1.0
        high = max(float(sun.max()), 2.0) + 1.0
        reach = moon[(moon > -2.0) & (moon < SKY_HIGH_DEG)]
        high = max(high, float(reach.max(initial=high)))
        self._caption(top, "Sun", [_span(sun, "{:.1f}°")], self._moon_words(high), "tm")
        step = round_step(high - low, self._most_levels(height, 4))
        for level in np.arange(math.ceil(low / step) * step, high, step):
            y = float(interpolate(level, low, high, top + height, top))
            self._level(
                y,
                f"{level:.0f}°".replace("-", "−") if level else "horizon",
                "horizon" if level == 0.0 else "grid",
            )
        self.canvas.inside(self.left, top, self.right - self.left, height)
        self._curve(moon, top, height, low, high, "moon")
        self._curve(sun, top, height, low, high, "sun")
        self.canvas.outside()

    def _moon_words(self, high: float) -> list[str]:
        moon = self.frames.moon_altitude_deg
        if not np.any(moon > 0.0):
            return ["no moon"]
        lit = f"{percent(float(self.frames.moon_lit_fraction[len(self.frames) // 2]))} lit"
        words = f"Moon {_span(moon, '{:.1f}°')}"
        beyond = [f"{words}, {lit}, above the chart"] if moon.min() > high else []
        return [*beyond, f"{words}, {lit}", f"Moon {_span(moon, '{:.0f}°')}, {lit}", f"Moon {lit}"]

    def _tide(self, top: float, height: float) -> None:
        """The height of the sea as the tide table counts it."""
        height_m = table_height_m(self.plan, self.frames.utc_s)
        assert height_m is not None
        low, high = _padded(height_m, 0.2)
        self._caption(top, "Tide", [f"{_span(height_m, '{:.1f} m')} by the tide table"])
        step = round_step(high - low, self._most_levels(height, 3))
        for level in np.arange(math.ceil(low / step) * step, high, step):
            y = float(interpolate(level, low, high, top + height, top))
            self._level(y, f"{level:.1f} m".replace("-", "−"))
        self._curve(height_m, top, height, low, high, "stroke")

    def _light(self, top: float, height: float) -> None:
        scene = self.frames.scene_ev100
        low, high = _padded(scene, 1.0)
        if self.ramp is not None:
            both = np.concatenate([scene, self.ramp.target_ev100])
            low, high = _padded(both, 1.0)
        told = f"in the open EV {_span(scene, '{:.1f}')}"
        aims = self.ramp is not None and np.max(np.abs(self.ramp.target_ev100 - scene)) > 0.05
        aside = ["dashed: what the exposure aims at", "dashed: aimed at"] if aims else [""]
        self._caption(top, "Light", [f"{told} at ISO 100", told], aside)
        step = max(round_step(high - low, self._most_levels(height, 3)), 1.0)
        for level in np.arange(math.ceil(low / step) * step, high, step):
            self._level(
                float(interpolate(level, low, high, top + height, top)), f"EV {level:.0f}".replace("-", "−")
            )
        if self.ramp is not None:
            self._curve(self.ramp.target_ev100, top, height, low, high, "dashed")
        self._curve(scene, top, height, low, high, "stroke")

    def _exposure(self, top: float, height: float) -> None:
        assert self.ramp is not None
        shutter, iso = np.log2(self.ramp.shutter_s), np.log2(self.ramp.iso)
        low, high = _padded(shutter, 1.0)
        ends = [exposure.shutter_label(float(self.ramp.shutter_s[k])) for k in (0, -1)]
        shutters = " to ".join(ends) if np.ptp(self.ramp.shutter_s) > 0.0 else f"{ends[0]} throughout"
        f_number = exposure.f_number_label(float(self.ramp.f_number[0]))
        self._caption(top, "Shutter", [f"{shutters} at {f_number}", shutters], self._iso_words())
        stops = max(1, round((high - low) / self._most_levels(height, 3)))
        for power in np.arange(math.ceil(low / stops) * stops, high, stops):
            y = float(interpolate(power, low, high, top + height, top))
            self._level(y, exposure.shutter_label(float(2.0**power)))
        self._steps(shutter, top, height, low, high, "stroke")
        if np.ptp(iso) > 0.0:
            low_iso, high_iso = _padded(iso, 1.0)
            self._steps(iso, top, height, low_iso, high_iso, "dotted")

    def _iso_words(self) -> list[str]:
        assert self.ramp is not None
        first, last = (_bare_iso(float(self.ramp.iso[k])) for k in (0, -1))
        if np.ptp(self.ramp.iso) == 0.0:
            return [f"ISO {first} throughout", f"ISO {first}"]
        return [f"ISO {first} to {last} (dotted)", f"ISO {first} to {last}", f"to ISO {last}"]

    def _slide(self, top: float, height: float) -> None:
        assert self.frames.slide_m is not None
        self._axis(top, height, "Slide", self.frames.slide_m * 1000.0, "{:.0f} mm")

    def _pan(self, top: float, height: float) -> None:
        assert self.frames.pan_deg is not None
        self._axis(top, height, "Pan", self.frames.pan_deg, "{:.1f}°")

    def _tilt(self, top: float, height: float) -> None:
        assert self.frames.tilt_deg is not None
        self._axis(top, height, "Tilt", self.frames.tilt_deg, "{:.1f}°")

    def _axis(self, top: float, height: float, name: str, values: Array, pattern: str) -> None:
        self._caption(top, name, [_span(values, pattern)])
        low, high = _padded(values, 0.08 * max(float(np.ptp(values)), 1e-6))
        self._curve(values, top, height, low, high, "stroke")


def _padded(values: Array, margin: float) -> tuple[float, float]:
    return float(values.min()) - margin, float(values.max()) + margin


def _span(values: Array, pattern: str) -> str:
    """First and last value in words, with the turning value where it is higher or lower than both."""
    first, last = float(values[0]), float(values[-1])
    if len({_in(pattern, float(value)) for value in (first, last, values.min(), values.max())}) == 1:
        return f"{_in(pattern, first)} throughout"
    ends = (min(first, last), max(first, last))
    slack = 0.02 * (float(np.ptp(values)))
    for turn in (float(values.max()), float(values.min())):
        if turn > ends[1] + slack or turn < ends[0] - slack:
            return f"{_in(pattern, first)} via {_in(pattern, turn)} to {_in(pattern, last)}"
    return f"{_in(pattern, first)} to {_in(pattern, last)}"


def _in(pattern: str, value: float) -> str:
    return pattern.format(value).replace("-", "−")


def _bare_iso(iso: float) -> str:
    return exposure.iso_label(iso).removeprefix("ISO ")
