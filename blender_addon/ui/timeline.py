"""The timeline tells the story: day, twilight and night, how good each frame's picture is, what was really
shot, findings, poses and light events, in every timeline and dope sheet.

All of it fits into Blender's timeline at its usual height, which shows little more than the ruler: there
findings are lines at the ruler's upper edge, each with its level's mark. A click on the mark goes to the
finding, and beside it scrubs as ever. Where the timeline is higher, findings are bars below the ruler, to be
clicked anywhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import bpy
import gpu
import numpy as np
from attrs import frozen
from gpu_extras.batch import batch_for_shader
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.log.curve import Curve, off_plan_stops, planned_ev100
from planner_core.output import readout
from planner_core.plan import timeline
from planner_core.review.findings import Finding
from planner_core.words.language import say

from ..scene import build, store
from ..state import live
from . import level_marks, views, wording
from .drawing import AS_SHOT_COLOUR, LEVEL_COLOURS, PHASE_COLOURS, Colour, fill, text_width, ui_scale, write

Array = NDArray[Any]

ALPHA, EDGE_ALPHA = 0.30, 0.9
EDGE_PX, SCORE_PX, LETTERS_PX = 2.0, 4.0, 10.0
LOG_PX = 4.0  # of the strip of what was shot, over that of the pictures
RULER_PX = 23.0  # of frame numbers, at the upper edge
WORDS_PX = 16.0  # of the marks' words, below the ruler where there is room
ROW_PX, LEAST_ROWS, MOST_ROWS = 15.0, 3, 5  # of bars below the ruler
MARK_PX = 11.0  # of a level's mark
PLAYHEAD_PX, DIGIT_PX = 12.0, 3.5  # half of what covers the ruler at the current frame, and of each digit
MARKERS_PX = 32.0  # of Blender's own markers, at the lower edge
LINE_PX, MOST_LINES = 11.0 / 3.0, 3  # of findings as lines at the ruler's upper edge
MARK_GROUND: Colour = (0.08, 0.08, 0.09, 0.85)


@frozen
class Rows:
    """How findings are laid out in a region: height of a row, how many there are at most, whether they are
    bars with words or lines at the upper edge, and where the first one begins.
    """

    height_px: float
    most: int
    words: bool
    first_px: float


SCORE_COLOURS: tuple[Colour, Colour] = ((0.78, 0.30, 0.26, 1.0), (0.36, 0.72, 0.44, 1.0))  # poor, good
MARK_COLOUR: Colour = (0.96, 0.95, 0.90, 0.95)
AS_PLANNED_COLOUR: Colour = (0.55, 0.57, 0.58, 1.0)
DARKER_COLOUR: Colour = (0.25, 0.52, 0.95, 1.0)  # than planned, and brighter as in AS_SHOT_COLOUR
MISSING_COLOUR: Colour = (0.05, 0.05, 0.06, 1.0)
FULL_STOPS = 1.0  # off the plan, where a colour is at its strongest
CHIP_COLOUR: Colour = (0.08, 0.08, 0.09, 0.78)
SCORE_STEP_PX = 3.0

_handles: list[Any] = []


@frozen
class Bar:
    """A finding as a bar: its number in the review, where it is in the region, and the lower left corner and
    size of its level's mark; None where that is out of sight.
    """

    number: int
    finding: Finding
    left: float
    right: float
    bottom: float
    top: float
    mark: tuple[float, float, float] | None

    def is_at(self, x: float, y: float, *, anywhere: bool) -> bool:
        """Whether its mark is at a place, or any of it."""
        if anywhere and self.left <= x <= self.right and self.bottom <= y <= self.top:
            return True
        if self.mark is None:
            return False
        left, bottom, size = self.mark
        return left <= x <= left + size and bottom <= y <= bottom + size


def register() -> None:
    """Begin to draw, where there is a window to draw in."""
    if not bpy.app.background:
        space = bpy.types.SpaceDopeSheetEditor
        _handles.append(space.draw_handler_add(draw, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handles:
        bpy.types.SpaceDopeSheetEditor.draw_handler_remove(_handles.pop(), "WINDOW")
    level_marks.forget()


# ---------------------------------------------------------------- where things are


def bars(scene: Any, region: Any) -> list[Bar]:
    """Findings about some of the frames as bars, the gravest first and lowest."""
    report = live.state_of(scene).review
    rows = rows_of(scene, region)
    if report is None or not rows.most:
        return []
    scale = ui_scale()
    shortest = (MARK_PX + 5.0 if rows.words else 3.0) * scale
    ends: list[float] = []  # of each row
    taken = [_playhead(scene, region)]  # where no line's mark goes
    laid_out = []
    for number, finding in enumerate(report.findings):
        if finding.frames is None:
            continue
        left, right = _span(region, *finding.frames)
        right = max(right, left + shortest)
        row = next((row for row, end in enumerate(ends) if end < left), len(ends))
        if row >= rows.most:
            continue
        ends[row : row + 1] = [right + 1.0]
        bottom = rows.first_px * scale + row * rows.height_px * scale
        top = bottom + (rows.height_px - 1.0) * scale
        mark = _mark_in(region, left, right, bottom if rows.words else None, taken)
        laid_out.append(Bar(number, finding, left, right, bottom, top, mark))
    return laid_out


def _mark_in(
    region: Any, left: float, right: float, bottom: float | None, taken: list[tuple[float, float]]
) -> tuple[float, float, float] | None:
    """Where a bar's mark goes: inside the bar; of a line (no bottom) at the ruler's upper edge, as near to
    where it begins as `taken` leaves room, which it is added to.
    """
    size, width = MARK_PX * ui_scale(), float(region.width)
    if right <= 0.0 or left >= width:
        return None
    if bottom is not None:
        return max(left, 0.0) + 3.0 * ui_scale(), bottom + 1.5 * ui_scale(), size
    wanted = min(max(left, 0.0), width - size)
    places = [wanted, *(edge for start, end in taken for edge in (end, start - size))]
    free = [x for x in places if 0.0 <= x <= width - size and _is_free(x, size, taken)]
    if not free:
        return None
    x = min(free, key=lambda x: x - wanted if x >= wanted else 3.0 * (wanted - x))
    taken.append((x, x + size))
    return x, region.height - size, size


def _is_free(x: float, size: float, taken: list[tuple[float, float]]) -> bool:
    return all(x + size <= start + 0.5 or x >= end - 0.5 for start, end in taken)


def _playhead(scene: Any, region: Any) -> tuple[float, float]:
    """What Blender covers of the ruler with the number of the current frame."""
    half = max(PLAYHEAD_PX, DIGIT_PX * (len(str(scene.frame_current)) + 1.5)) * ui_scale()
    middle = _x(region, scene.frame_current)
    return middle - half, middle + half


def bar_at(scene: Any, region: Any, x: float, y: float) -> Bar | None:
    """The finding's bar at a place of a region; of one that lies in the ruler only its mark, as the rest is
    for scrubbing.
    """
    anywhere = rows_of(scene, region).words
    return next((bar for bar in bars(scene, region) if bar.is_at(x, y, anywhere=anywhere)), None)


def rows_of(scene: Any, region: Any) -> Rows:
    """How findings are laid out in a region: as bars with words below the ruler where there is room for some,
    else as lines at its upper edge; where not even these fit over the strips, not at all.
    """
    high, low = region.height / ui_scale(), _low_px(scene)
    first = max(low, MARKERS_PX) if scene.timeline_markers else low
    below = high - RULER_PX - first
    if below >= LEAST_ROWS * ROW_PX:
        most = int(np.clip((below - WORDS_PX) // ROW_PX, LEAST_ROWS, MOST_ROWS))
        return Rows(ROW_PX, most, True, first)
    return Rows(LINE_PX, MOST_LINES if high >= low + MARK_PX else 0, False, high - MARK_PX)


def curve_of(scene: Any) -> Curve | None:
    """What the scene's shoot was exposed with, where that is to be shown."""
    log = store.stored_log(scene) if scene.duskrail.show_log else None
    return log.curve if log is not None else None


def _low_px(scene: Any) -> float:
    """Where findings begin, over the strips."""
    return EDGE_PX + SCORE_PX + 1.0 + (LOG_PX if curve_of(scene) is not None else 0.0)


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
    if settings is None or not live.plan_of(scene):
        return
    views.frame_when_first_seen(context)
    frames = live.shown_frames(scene)
    if frames is None or not settings.show_phases:
        return
    region = context.region
    _draw_phases(region, frames)
    _draw_scores(region, scene)
    curve = curve_of(scene)
    words = rows_of(scene, region).words
    if curve is not None:
        _draw_off_plan(region, curve, frames)
        if words:
            _draw_curves(region, curve, frames, _low_px(scene))
    finding_bars = bars(scene, region)
    for bar in finding_bars:
        _draw_bar(bar, words)
    for bar in finding_bars:  # over all of them, as a line's mark may stand on its neighbour
        if bar.mark is not None:
            _draw_mark(bar, words)
    _draw_marks(region, frames, rows_of(scene, region), _playhead(scene, region))


def _draw_bar(bar: Bar, words: bool) -> None:
    """A finding's bar; with what it is about, where there is room."""
    colour = LEVEL_COLOURS[bar.finding.level]
    fill(bar.left, bar.bottom, bar.right, bar.top, (*colour[:3], 0.30) if words else colour)
    if not words:
        return
    scale = ui_scale()
    fill(bar.left, bar.bottom, bar.left + 2.0 * scale, bar.top, colour)
    text = wording.title(bar.finding)
    left = max(bar.left, 0.0) + (MARK_PX + 8.0) * scale
    if text_width(0, text, LETTERS_PX * scale) <= bar.right - left - 4.0 * scale:
        write(0, text, left, bar.bottom + 3.5 * scale, MARK_COLOUR)


def _draw_mark(bar: Bar, words: bool) -> None:
    """The mark of a finding's level; a line's on a ground of its own."""
    assert bar.mark is not None
    left, bottom, size = bar.mark
    if not words:
        fill(left, bottom, left + size, bottom + size, MARK_GROUND)
    level_marks.draw_mark(bar.finding.level, left, bottom, size)


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
    edges = _pieces(region, plan.shoot.frames)
    worst = np.clip(np.minimum.reduceat(reading.score, edges[:-1]), 0.0, 1.0)
    poor, good = (np.array(colour) for colour in SCORE_COLOURS)
    _strip(region, edges, EDGE_PX, SCORE_PX, poor + (good - poor) * worst[:, None])


def _pieces(region: Any, count: int) -> Array:
    """Where the pieces of a strip begin and end, as frames from 0: as many as can be told apart."""
    left, right = _span(region, 1, count)
    pieces = max(1, min(count, int((right - left) / (SCORE_STEP_PX * ui_scale()))))
    return np.linspace(0, count, pieces + 1).round().astype(int)


def _strip(region: Any, edges: Array, low_px: float, tall_px: float, colours: Array) -> None:
    """Pieces side by side: where they begin and end (n + 1,), and their colours (n, 4)."""
    low, high = low_px * ui_scale(), (low_px + tall_px) * ui_scale()
    corners: list[tuple[float, float]] = []
    places = [_x(region, edge + 0.5) for edge in edges]
    for a, b in pairwise(places):
        corners += [(a, low), (b, low), (b, high), (a, low), (b, high), (a, high)]
    shader = gpu.shader.from_builtin("FLAT_COLOR")
    positions: Any = corners
    each: Any = np.repeat(colours, 6, axis=0).tolist()
    batch_for_shader(shader, "TRIS", {"pos": positions, "color": each}).draw(shader)


def off_plan_colours(off_stops: Array) -> Array:
    """Colours (n, 4) of frames exposed darker than planned, as planned, brighter, and of missing ones
    (NaN).
    """
    fraction = np.clip(np.nan_to_num(off_stops) / FULL_STOPS, -1.0, 1.0)[:, None]
    middle, side = np.array(AS_PLANNED_COLOUR), np.where(fraction > 0.0, AS_SHOT_COLOUR, DARKER_COLOUR)
    colours = middle + (side - middle) * np.abs(fraction)
    return np.where(np.isnan(off_stops)[:, None], MISSING_COLOUR, colours)


def _draw_off_plan(region: Any, curve: Curve, frames: FrameTable) -> None:
    """A strip with how much darker or brighter than planned the frames were exposed; missing ones are
    black.
    """
    edges = _pieces(region, len(frames))
    off = off_plan_stops(curve, frames)
    far = np.array([worst_of(off[a:b]) for a, b in pairwise(edges)])
    _strip(region, edges, EDGE_PX + SCORE_PX, LOG_PX, off_plan_colours(far))


def worst_of(off_stops: Array) -> float:
    """The farthest from the plan of some frames; NaN where any of them is missing."""
    return float(off_stops[int(np.argmax(np.abs(off_stops)))])  # NaN counts as the largest


def _draw_curves(region: Any, curve: Curve, frames: FrameTable, low_px: float) -> None:
    """EV of the settings as planned and as shot, over the whole clip."""
    scale = ui_scale()
    bottom = (low_px + 4.0) * scale
    top = region.height - (RULER_PX + 36.0) * scale  # below the marks' words
    count = min(len(curve), len(frames))
    planned, shot = planned_ev100(frames), curve.ev100[:count]
    known = np.concatenate([planned, shot])
    known = known[np.isfinite(known)]
    if top - bottom < 20.0 * scale or not len(known):
        return
    low, high = float(known.min()) - 0.5, float(known.max()) + 0.5
    names = ((planned, MARK_COLOUR, say("planned")), (shot, AS_SHOT_COLOUR, say("as shot")))
    right = max(_x(region, 1.0), 0.0) + 8.0 * scale
    for values, colour, name in names:
        rows = np.unique(np.linspace(0, len(values) - 1, min(len(values), region.width)).astype(int))
        x = np.array([_x(region, row + 1.0) for row in rows])
        y = bottom + (top - bottom) * (values[rows] - low) / (high - low)
        _line(region, x, y, colour)
        width = text_width(0, name, LETTERS_PX * scale)
        fill(right - 3.0 * scale, top, right + width + 3.0 * scale, top + 12.0 * scale, CHIP_COLOUR)
        write(0, name, right, top + 3.0 * scale, colour)
        right += width + 10.0 * scale


def _line(region: Any, x: Array, y: Array, colour: Colour) -> None:
    """A line through points, broken where one isn't known."""
    points = np.c_[x, y]
    pairs = np.concatenate([points[:-1], points[1:]], axis=1)
    pairs = pairs[np.isfinite(pairs).all(axis=1)]
    if not len(pairs):
        return
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    gpu.state.blend_set("ALPHA")
    shader.bind()
    shader.uniform_float("viewportSize", (region.width, region.height))
    shader.uniform_float("lineWidth", 1.5 * ui_scale())
    shader.uniform_float("color", colour)
    corners: Any = np.c_[pairs.reshape(-1, 2), np.zeros(2 * len(pairs))].tolist()
    batch_for_shader(shader, "LINES", {"pos": corners}).draw(shader)
    gpu.state.blend_set("NONE")


def marks(frames: FrameTable) -> Iterator[tuple[float, str, bool]]:
    """Poses and light events: frame, what they are with the clock, and whether it is an event."""
    plan = frames.plan
    for words, frame in build.event_frames(frames):
        yield float(frame), words, True
    for number, pose in enumerate(plan.move.poses):
        on_frame = 1.0 + pose.at * (plan.shoot.frames - 1)
        clock = timeline.clock(float(frames.utc_s[round(on_frame) - 1]), plan.zone)
        yield on_frame, f"{number + 1} · {clock}", False


def _draw_marks(region: Any, frames: FrameTable, rows: Rows, playhead: tuple[float, float]) -> None:
    """Events as lines with their words, and poses as small diamonds, with words where there is room for them
    between the ruler and the bars; else the words of events lie in the ruler, under findings' lines.
    """
    scale = ui_scale()
    taken: list[tuple[float, float]] = []
    size = LETTERS_PX * scale
    high = region.height / scale
    below = rows.words and high >= rows.first_px + rows.most * rows.height_px + WORDS_PX + RULER_PX
    y = region.height - scale * (RULER_PX + 14.0 if below else 13.0 if rows.words else MARK_PX + 11.5)
    for frame, words, is_event in sorted(marks(frames), key=lambda mark: not mark[2]):
        x = _x(region, frame)
        if not 0.0 <= x <= region.width:
            continue
        if is_event:
            fill(x - 0.75 * scale, 0.0, x + 0.75 * scale, region.height, MARK_COLOUR)
        else:
            _diamond(x, 4.0 * scale, 4.0 * scale)
        if y < 3.0 * scale or not (is_event or below):
            continue
        width = text_width(0, words, size) + 8.0 * scale
        left = min(x + 3.0 * scale, region.width - width)
        if not below:
            left = _beside(left, width, playhead, float(region.width))
        if any(left < b and a < left + width for a, b in taken):
            continue
        taken.append((left, left + width))
        fill(left, y - 3.0 * scale, left + width, y + size, CHIP_COLOUR)
        write(0, words, left + 4.0 * scale, y, MARK_COLOUR)


def _beside(left: float, width: float, playhead: tuple[float, float], whole: float) -> float:
    """Where words in the ruler begin that are not to lie under the number of the current frame."""
    if left >= playhead[1] or left + width <= playhead[0]:
        return left
    return playhead[1] if playhead[1] + width <= whole else playhead[0] - width


def _diamond(x: float, y: float, half: float) -> None:
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    shader.bind()
    shader.uniform_float("color", MARK_COLOUR)
    corners: Any = [(x - half, y), (x, y - half), (x + half, y), (x - half, y), (x + half, y), (x, y + half)]
    batch_for_shader(shader, "TRIS", {"pos": corners}).draw(shader)
