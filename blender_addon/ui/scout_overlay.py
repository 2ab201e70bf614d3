"""The map of a search painted on the ground, its legend, and the finds with the ghosts of their cameras."""

from __future__ import annotations

from typing import Any

import blf
import bpy
import gpu
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from gpu_extras.batch import batch_for_shader
from mathutils import Vector
from numpy.typing import NDArray

from planner_core.scout.picture import worth_colours

from .drawing import Colour, fill, text_width, ui_scale, write
from .job_records import Shown

Array = NDArray[Any]

OVER_GROUND_M = 0.02
COVERED = 0.86  # of a cell
MAP_ALPHA = 0.6
GHOST_M = 0.5  # of a ghost camera's picture from its lens
FIND_COLOUR: Colour = (1.0, 1.0, 1.0, 0.95)
QUIET_COLOUR: Colour = (1.0, 1.0, 1.0, 0.45)
RAIL_COLOUR: Colour = (0.35, 0.78, 1.0, 1.0)
TEXT_COLOUR: Colour = (0.96, 0.95, 0.90, 1.0)
BACK_COLOUR: Colour = (0.05, 0.05, 0.06, 0.7)
MARK_COLOUR: Colour = (0.08, 0.08, 0.09, 0.9)
LEGEND_PX, BAR_PX, MARGIN_PX = 210.0, 12.0, 18.0
NEAR_PX = 22.0  # within which a click means a find or a place

_maps: dict[int, tuple[Shown, Any]] = {}  # by scene


def _buffer(values: Array) -> Any:
    """Numbers as the graphics card takes them."""
    return values.astype(np.float32)


def forget() -> None:
    """Drop what was drawn."""
    _maps.clear()


def _map(shown: Shown, uid: int) -> Any:
    """The places as coloured squares, made when they are first drawn."""
    kept = _maps.get(uid)
    if kept is not None and kept[0] is shown:
        return kept[1]
    half = COVERED * shown.cell_m / 2.0
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, -1), (1, 1), (-1, 1)]) * half
    points = np.repeat(shown.places_m + np.array([0.0, 0.0, OVER_GROUND_M]), 6, axis=0)
    points[:, :2] += np.tile(corners, (len(shown.places_m), 1))
    colours = np.full((len(points), 4), MAP_ALPHA)
    colours[:, :3] = np.repeat(worth_colours(shown.worth) / 255.0, 6, axis=0)
    batch = batch_for_shader(
        gpu.shader.from_builtin("FLAT_COLOR"),
        "TRIS",
        {"pos": _buffer(points), "color": _buffer(colours)},
    )
    _maps[uid] = (shown, batch)
    return batch


def draw_in_scene(shown: Shown, chosen: int, uid: int, aspect: float) -> None:
    """The map, and rail and ghosts of every find; those of the chosen one in full."""
    gpu.state.blend_set("ALPHA")
    gpu.state.depth_test_set("LESS_EQUAL")
    if len(shown.places_m):
        _map(shown, uid).draw(gpu.shader.from_builtin("FLAT_COLOR"))
    gpu.state.depth_test_set("NONE")
    for number, find in enumerate(shown.finds):
        is_chosen = number == chosen
        cameras = find.cameras_m
        _lines(cameras, RAIL_COLOUR, 4.0 if is_chosen else 2.0)
        if is_chosen:
            stand = np.array([find.place_m, cameras.mean(axis=0)])
            _lines(stand, QUIET_COLOUR, 1.0)
            for at, turn in zip(cameras, find.turns, strict=True):
                _lines(ghost(at, turn, aspect), FIND_COLOUR, 1.5)
    gpu.state.blend_set("NONE")


def ghost(at: Array, turn: Array, aspect: float) -> Array:
    """A camera as lines (2 n, 3) from its place (3,), its turn (3, 3) and its picture's height over width."""
    half = 0.35 * GHOST_M
    corners = [
        at + turn @ np.array([x * half, y * half * aspect, -GHOST_M])
        for x, y in ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0))
    ]
    top = at + turn @ np.array([0.0, 1.5 * half * aspect, -GHOST_M])
    lines = [(at, corner) for corner in corners]
    lines += [(corners[i], corners[(i + 1) % 4]) for i in range(4)]
    lines += [(corners[2], top), (corners[3], top)]
    return np.array(lines).reshape(-1, 3)


def _lines(points: Array, colour: Colour, width: float) -> None:
    region: Any = bpy.context.region
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    shader.bind()
    shader.uniform_float("viewportSize", (region.width, region.height))
    shader.uniform_float("lineWidth", width * ui_scale())
    shader.uniform_float("color", colour)
    batch_for_shader(shader, "LINES", {"pos": _buffer(points)}).draw(shader)


def draw_text(context: Any, shown: Shown, chosen: int) -> None:
    """The finds' numbers where they stand, and the legend of the map."""
    font, scale = 0, ui_scale()
    for number in reversed(range(len(shown.finds))):
        spot = _marker_px(context, shown, number)
        if spot is None:
            continue
        text, is_chosen = str(number + 1), number == chosen
        size = (16.0 if is_chosen else 13.0) * scale
        wide = text_width(font, text, size)
        back, ink = (FIND_COLOUR, MARK_COLOUR) if is_chosen else (MARK_COLOUR, FIND_COLOUR)
        half = 0.85 * size
        fill(spot[0] - half, spot[1] - half, spot[0] + half, spot[1] + half, back)
        blf.color(font, *ink)
        blf.position(font, spot[0] - wide / 2.0, spot[1] - 0.36 * size, 0.0)
        blf.draw(font, text)
    if len(shown.worth):
        _legend(context, shown)


def _legend(context: Any, shown: Shown) -> None:
    """What the colours mean, at the lower right of the view, beside the sidebar."""
    font, scale = 0, ui_scale()
    sidebar = next((r.width for r in context.area.regions if r.type == "UI"), 0)
    room = context.region.width - (sidebar if sidebar > 1 else 0)
    right, low = room - MARGIN_PX * scale, MARGIN_PX * scale
    left = right - LEGEND_PX * scale
    title = "What a shot from here could be worth"
    size = 12.0 * scale
    left = min(left, right - text_width(font, title, size) - 16.0 * scale)
    fill(left - 8 * scale, low - 8 * scale, right + 8 * scale, low + 52 * scale, BACK_COLOUR)
    bar = np.linspace(0.0, 1.0, 24)
    colours = worth_colours(bar) / 255.0
    step = (right - left) / len(bar)
    for index, colour in enumerate(colours):
        rgb = tuple(float(v) for v in colour)
        x = left + index * step
        fill(x, low + 16 * scale, x + step + 0.5, low + (16 + BAR_PX) * scale, (*rgb, 1.0))  # type: ignore[arg-type]
    text_width(font, title, size)
    write(font, title, left, low + 36 * scale, TEXT_COLOUR)
    lowest, highest = (f"{value:.0f}" for value in (shown.worth.min(), shown.worth.max()))
    write(font, lowest, left, low, TEXT_COLOUR)
    write(font, highest, right - text_width(font, highest, size), low, TEXT_COLOUR)


def _marker_px(context: Any, shown: Shown, number: int) -> tuple[float, float] | None:
    place = Vector(shown.finds[number].place_m)
    spot = location_3d_to_region_2d(context.region, context.region_data, place)
    return None if spot is None else (float(spot.x), float(spot.y))


# ---------------------------------------------------------------- clicks


def find_under(context: Any, shown: Shown, x: float, y: float) -> int | None:
    """The find whose number is under the mouse."""
    for number in range(len(shown.finds)):
        spot = _marker_px(context, shown, number)
        if spot is not None and np.hypot(spot[0] - x, spot[1] - y) < NEAR_PX * ui_scale():
            return number
    return None


def place_under(context: Any, shown: Shown, x: float, y: float) -> Array | None:
    """The place (3,) of the map that is nearest to the mouse, unless that is beside the map."""
    if not len(shown.places_m):
        return None
    matrix = np.array(context.region_data.perspective_matrix)
    seen = np.c_[shown.places_m, np.ones(len(shown.places_m))] @ matrix.T
    ahead = seen[:, 3] > 1e-6
    flat = seen[:, :2] / np.where(ahead, seen[:, 3], 1.0)[:, None]
    px = (flat + 1.0) / 2.0 * np.array([context.region.width, context.region.height])
    away = np.where(ahead, np.hypot(px[:, 0] - x, px[:, 1] - y), np.inf)
    # a cell may be large on the screen: the next one tells how large
    beside = np.partition(np.hypot(*(px - px[np.argmin(away)]).T), min(1, len(px) - 1))[min(1, len(px) - 1)]
    row = int(np.argmin(away))
    return shown.places_m[row] if away[row] < max(NEAR_PX * ui_scale(), float(beside)) else None
