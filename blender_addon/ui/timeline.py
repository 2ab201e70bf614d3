"""The timeline tells the story: day, twilight and night, how good each frame's picture is, findings, poses
and light events, in every timeline and dope sheet.

All of it fits into Blender's timeline at its usual height, which shows little more than the ruler. A click
on a finding's bar goes to it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy
import gpu
import numpy as np
from attrs import frozen
from gpu_extras.batch import batch_for_shader

from planner_core.frames import FrameTable
from planner_core.output import readout
from planner_core.plan import timeline
from planner_core.review.findings import Finding

from ..scene import build
from ..state import live
from . import wording
from .drawing import LEVEL_COLOURS, PHASE_COLOURS, Colour, fill, text_width, ui_scale, write

ALPHA, EDGE_ALPHA = 0.30, 0.9
EDGE_PX, SCORE_PX, LETTERS_PX = 2.0, 4.0, 10.0
RULER_PX = 23.0  # of frame numbers, at the upper edge
TALL_PX = 80.0  # from where on there is room for words; Blender's own timeline is lower
SIGNS = {"stop": "\N{MULTIPLICATION SIGN}", "warn": "!", "note": "i"}


@frozen
class Rows:
    """How findings are laid out in a region: height of a row, and how many there are at most."""

    height_px: float
    most: int
    words: bool


LOW, TALL = Rows(4.5, 3, False), Rows(15.0, 5, True)
SCORE_COLOURS: tuple[Colour, Colour] = ((0.78, 0.30, 0.26, 1.0), (0.36, 0.72, 0.44, 1.0))  # poor, good
MARK_COLOUR: Colour = (0.96, 0.95, 0.90, 0.95)
CHIP_COLOUR: Colour = (0.08, 0.08, 0.09, 0.78)
SCORE_STEP_PX = 3.0

_handles: list[Any] = []


@frozen
class Bar:
    """A finding as a bar: its number in the review, and where it is in the region."""

    number: int
    finding: Finding
    left: float
    right: float
    bottom: float
    top: float


def register() -> None:
    """Begin to draw, where there is a window to draw in."""
    if not bpy.app.background:
        space = bpy.types.SpaceDopeSheetEditor
        _handles.append(space.draw_handler_add(draw, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handles:
        bpy.types.SpaceDopeSheetEditor.draw_handler_remove(_handles.pop(), "WINDOW")


# ---------------------------------------------------------------- where things are


def bars(scene: Any, region: Any) -> list[Bar]:
    """Findings about some of the frames as bars above the lower edge, the gravest first and lowest."""
    report = live.state_of(scene).review
    if report is None:
        return []
    scale, rows = ui_scale(), rows_of(region)
    low = (EDGE_PX + SCORE_PX + 1.0) * scale
    ends: list[float] = []  # of each row
    found = []
    for number, finding in enumerate(report.findings):
        if finding.frames is None:
            continue
        left, right = _span(region, *finding.frames)
        right = max(right, left + 3.0 * scale)
        row = next((row for row, end in enumerate(ends) if end < left), len(ends))
        if row >= rows.most:
            continue
        ends[row : row + 1] = [right + 1.0]
        bottom = low + row * rows.height_px * scale
        found.append(Bar(number, finding, left, right, bottom, bottom + (rows.height_px - 1.0) * scale))
    return found


def bar_at(scene: Any, region: Any, x: float, y: float) -> Bar | None:
    """The finding's bar at a place of a region."""
    return next(
        (bar for bar in bars(scene, region) if bar.left <= x <= bar.right and bar.bottom <= y <= bar.top),
        None,
    )


def rows_of(region: Any) -> Rows:
    """How findings are laid out in a region."""
    return TALL if region.height >= TALL_PX * ui_scale() else LOW


def _x(region: Any, frame: float) -> float:
    return float(region.view2d.view_to_region(frame, 0.0, clip=False)[0])


def _span(region: Any, first: float, last: float) -> tuple[float, float]:
    return _x(region, first - 0.5), _x(region, last + 0.5)


# ---------------------------------------------------------------- drawing


def draw() -> None:
    """Everything, in the timeline or dope sheet that Blender draws."""
    context: Any = bpy.context
    scene = context.scene
    settings = getattr(scene, "duskrail", None)
    if settings is None or not settings.show_phases or not live.plan_of(scene):
        return
    frames = live.shown_frames(scene)
    if frames is None:
        return
    region = context.region
    _draw_phases(region, frames)
    _draw_scores(region, scene)
    words = rows_of(region).words
    for bar in bars(scene, region):
        _draw_bar(bar, words)
    _draw_marks(region, frames, poses=words)


def _draw_bar(bar: Bar, words: bool) -> None:
    """A finding's bar; with its sign and what it is about, where there is room."""
    colour = LEVEL_COLOURS[bar.finding.level]
    fill(bar.left, bar.bottom, bar.right, bar.top, (*colour[:3], 0.30) if words else colour)
    if not words:
        return
    scale = ui_scale()
    fill(bar.left, bar.bottom, bar.left + 2.0 * scale, bar.top, colour)
    text = f"{SIGNS[bar.finding.level]}  {wording.title(bar.finding)}"
    room = bar.right - max(bar.left, 0.0) - 10.0 * scale
    if text_width(0, text, LETTERS_PX * scale) > room:
        text = SIGNS[bar.finding.level]
    if text_width(0, text, LETTERS_PX * scale) <= room:
        write(0, text, max(bar.left, 0.0) + 6.0 * scale, bar.bottom + 3.5 * scale, colour)


def _draw_phases(region: Any, frames: FrameTable) -> None:
    edge = EDGE_PX * ui_scale()
    for phase, first, last in readout.phase_spans(frames):
        left, right = _span(region, first, last)
        left, right = max(left, 0.0), min(right, float(region.width))
        fill(left, 0.0, right, region.height, (*PHASE_COLOURS[phase][:3], ALPHA))
        fill(left, 0.0, right, edge, (*PHASE_COLOURS[phase][:3], EDGE_ALPHA))


def _draw_scores(region: Any, scene: Any) -> None:
    """A strip with the score of each frame's picture, poor to good."""
    reading = live.state_of(scene).reading
    plan = live.plan_of(scene)
    if reading is None or plan is None or len(reading.score) != plan.shoot.frames or not plan.blocks:
        return
    scale = ui_scale()
    low, high = EDGE_PX * scale, (EDGE_PX + SCORE_PX) * scale
    left, right = _span(region, 1, plan.shoot.frames)
    pieces = max(1, min(plan.shoot.frames, int((right - left) / (SCORE_STEP_PX * scale))))
    edges = np.linspace(0, plan.shoot.frames, pieces + 1).round().astype(int)
    worst = np.minimum.reduceat(reading.score, edges[:-1])
    corners: list[tuple[float, float]] = []
    colours: list[Colour] = []
    places = [_x(region, edge + 0.5) for edge in edges]
    for score, a, b in zip(np.clip(worst, 0.0, 1.0), places[:-1], places[1:], strict=True):
        corners += [(a, low), (b, low), (b, high), (a, low), (b, high), (a, high)]
        mixed = np.array(SCORE_COLOURS[0]) * (1.0 - score) + np.array(SCORE_COLOURS[1]) * score
        colours += [tuple(mixed.tolist())] * 6  # type: ignore[list-item]
    shader = gpu.shader.from_builtin("FLAT_COLOR")
    positions: Any = corners
    batch_for_shader(shader, "TRIS", {"pos": positions, "color": colours}).draw(shader)


def marks(frames: FrameTable) -> Iterator[tuple[float, str, bool]]:
    """Poses and light events: frame, what they are with the clock, and whether it is an event."""
    plan = frames.plan
    for words, frame in build.event_frames(frames):
        yield float(frame), words, True
    for number, pose in enumerate(plan.move.poses):
        place = 1.0 + pose.at * (plan.shoot.frames - 1)
        clock = timeline.clock(float(frames.utc_s[round(place) - 1]), plan.zone)
        yield place, f"{number + 1} · {clock}", False


def _draw_marks(region: Any, frames: FrameTable, *, poses: bool) -> None:
    """Events as lines with their words, and poses as small diamonds, with words where `poses` and room."""
    scale = ui_scale()
    taken: list[tuple[float, float]] = []
    size = LETTERS_PX * scale
    y = region.height - (RULER_PX + 14.0) * scale if poses else region.height - 13.0 * scale
    for frame, words, is_event in sorted(marks(frames), key=lambda mark: not mark[2]):
        x = _x(region, frame)
        if not 0.0 <= x <= region.width:
            continue
        if is_event:
            fill(x - 0.75 * scale, 0.0, x + 0.75 * scale, region.height, MARK_COLOUR)
        else:
            _diamond(x, 4.0 * scale, 4.0 * scale)
        if not is_event and not poses:
            continue
        width = text_width(0, words, size) + 8.0 * scale
        left = min(x + 3.0 * scale, region.width - width)
        if any(left < b and a < left + width for a, b in taken):
            continue
        taken.append((left, left + width))
        fill(left, y - 3.0 * scale, left + width, y + size, CHIP_COLOUR)
        write(0, words, left + 4.0 * scale, y, MARK_COLOUR)


def _diamond(x: float, y: float, half: float) -> None:
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    shader.bind()
    shader.uniform_float("color", MARK_COLOUR)
    corners: Any = [(x - half, y), (x, y - half), (x + half, y), (x - half, y), (x + half, y), (x, y + half)]
    batch_for_shader(shader, "TRIS", {"pos": corners}).draw(shader)
