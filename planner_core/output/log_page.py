"""The log's report: plan and log over each other on one page, in the shot sheet's style."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from planner_core.light.exposure import settings_ev100
from planner_core.log.report import Log, ended, log_lines
from planner_core.output.page import short_page
from planner_core.output.sheet.draw import Canvas, interpolate, minus, round_step
from planner_core.output.sheet.markup import esc
from planner_core.plan.timeline import local_datetime
from planner_core.time import events
from planner_core.words.dates import day_words

Array = NDArray[np.float64]

WIDTH, LEFT, RIGHT = 188.0, 0.5, 174.0
LIGHT_MM, OFF_MM, GAP_MM, TOP_MM, FOOT_MM = 62.0, 24.0, 7.0, 6.0, 6.0
FONT = 2.7
MOST_POINTS = 600
WORST_STOPS = 2.0  # the lower panel reaches at least so far either way


def log_page(log: Log) -> str:
    """The whole page as HTML, self-contained, without scripts or outside requests."""
    date = local_datetime(float(log.real.frames.utc_s[0]), log.plan.zone).date()
    title = log.plan.title or "Log"
    lines = "\n".join(f"<li>{esc(ended(sentence))}</li>" for sentence in log_lines(log))
    body = (
        f"<p>As shot on {esc(day_words(date, year=True))}: the plan drawn through, the frames as dots.</p>\n"
        f'<section class="chart">\n{_chart(log)}\n</section>\n<ul>\n{lines}\n</ul>'
    )
    return short_page(title, f"{title}, as shot", body)


def _chart(log: Log) -> str:
    """EV of plan and log against the clock, and below it how far they are apart."""
    height = TOP_MM + LIGHT_MM + GAP_MM + OFF_MM + FOOT_MM
    canvas = Canvas(WIDTH, height, "log", "Exposure as planned and as shot, against the clock")
    frames = log.real.frames
    x = interpolate(frames.utc_s, float(frames.utc_s[0]), float(frames.utc_s[-1]), LEFT, RIGHT)
    _phases(canvas, log, x, height - FOOT_MM)
    _light(canvas, log, x)
    _off(canvas, log, x)
    _faults(canvas, log, x)
    _clock(canvas, log, x, height)
    return canvas.svg()


def _phases(canvas: Canvas, log: Log, x: Array, bottom: float) -> None:
    phase = events.light_phase(log.real.frames.sun_true_altitude_deg)
    starts = [0, *(int(k) for k in np.flatnonzero(np.diff(phase)) + 1)]
    edges = [LEFT, *((x[k - 1] + x[k]) / 2.0 for k in starts[1:]), RIGHT]
    for start, (left, right) in zip(starts, pairwise(edges), strict=True):
        canvas.box(left, TOP_MM, right - left, bottom - TOP_MM, f"phase{phase[start]}")


def _scale(canvas: Canvas, low: float, high: float, top: float, tall: float, most: int) -> None:
    """Level lines with their numbers on the right."""
    step = round_step(high - low, most)
    for value in np.arange(np.ceil(low / step) * step, high + 1e-9, step):
        y = float(interpolate(value, low, high, top + tall, top))
        canvas.line((LEFT, y), (RIGHT, y), "grid")
        canvas.text(minus(f"{value:g}"), RIGHT + 1.0, y + FONT * 0.35, FONT, "tq")


def _points(x: Array, y: Array) -> list[Array]:
    keep = np.unique(np.linspace(0, len(x) - 1, min(len(x), MOST_POINTS)).astype(int))
    return [np.array([a, b]) for a, b in zip(x[keep], y[keep], strict=True) if np.isfinite(b)]


def _light(canvas: Canvas, log: Log, x: Array) -> None:
    taken, ramp = log.real.taken_ev100, log.real.frames.ramp
    planned = settings_ev100(ramp.f_number, ramp.shutter_s, ramp.iso) if ramp is not None else taken
    light = log.real.light_ev100
    both = np.concatenate([taken, planned, light])
    both = both[np.isfinite(both)]
    if not len(both):
        return
    low, high = float(both.min()) - 0.5, float(both.max()) + 0.5
    title = "EV of the settings at ISO 100"
    if np.isfinite(light).any():
        title += "; in blue, of the light by the thumbnails"
    canvas.text(title, LEFT, TOP_MM - 1.2, FONT, "tb")
    _scale(canvas, low, high, TOP_MM, LIGHT_MM, 7)
    if ramp is not None:
        canvas.path(_points(x, interpolate(planned, low, high, TOP_MM + LIGHT_MM, TOP_MM)), "stroke")
    for point in _points(x, interpolate(taken, low, high, TOP_MM + LIGHT_MM, TOP_MM)):
        canvas.dot(point, 0.45, "sun-mark")
    known = np.flatnonzero(np.isfinite(light))
    for point in _points(x[known], interpolate(light[known], low, high, TOP_MM + LIGHT_MM, TOP_MM)):
        canvas.dot(point, 0.8, "moon-mark")


def _off(canvas: Canvas, log: Log, x: Array) -> None:
    off, top = log.real.off_stops, TOP_MM + LIGHT_MM + GAP_MM
    if not np.isfinite(off).any():
        return
    reach = max(float(np.nanmax(np.abs(off))) * 1.1, WORST_STOPS)
    canvas.text("Stops brighter than the plan", LEFT, top - 1.2, FONT, "tb")
    _scale(canvas, -reach, reach, top, OFF_MM, 5)
    for point in _points(x, interpolate(off, -reach, reach, top + OFF_MM, top)):
        canvas.dot(point, 0.45, "sun-mark")


def _faults(canvas: Canvas, log: Log, x: Array) -> None:
    """A stroke at every frame that something is wrong with."""
    top = TOP_MM + LIGHT_MM
    for fault in log.shot.faults:
        if fault.frames is None:
            continue
        index = min(max(fault.frames[0] - 1, 0), len(x) - 1)
        canvas.line((x[index], top - 2.5), (x[index], top), "event")


def _clock(canvas: Canvas, log: Log, x: Array, height: float) -> None:
    frames = log.real.frames
    for index in np.unique(np.linspace(0, len(x) - 1, 7).astype(int)):
        clock = local_datetime(float(frames.utc_s[index]), log.plan.zone)
        anchor = "start" if index == 0 else "end" if index == len(x) - 1 else "middle"
        canvas.text(f"{clock:%H:%M}", float(x[index]), height - 1.6, FONT, "tq", anchor)
