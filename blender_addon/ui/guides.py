"""Drawn in the picture, through the camera: thirds, the whole sensor, the subject, sun and moon, the weakest
frame.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import bpy
import gpu
import numpy as np
from gpu_extras.batch import batch_for_shader
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.output import readout
from planner_core.picture import projection
from planner_core.picture.composition import WEAK

from ..scene import parts
from ..state import live
from . import evening
from .drawing import Colour, ui_scale
from .evening import Rect

THIRDS_COLOUR: Colour = (1.0, 1.0, 1.0, 0.35)
SENSOR_COLOUR: Colour = (0.85, 0.85, 0.80, 0.6)
GOOD_COLOUR: Colour = (0.45, 0.85, 0.55, 0.9)
WEAK_COLOUR: Colour = (0.95, 0.50, 0.35, 0.95)
SUN_COLOUR: Colour = (1.0, 0.86, 0.45, 0.9)
MOON_COLOUR: Colour = (0.80, 0.86, 0.95, 0.9)
MILKY_WAY_COLOUR: Colour = (0.72, 0.68, 0.86, 0.8)
EDGE_COLOUR: Colour = (0.0, 0.0, 0.0, 0.55)
BELOW_HORIZON_ALPHA = 0.3
DISC_PX, TICK_PX, MOST_TICKS = 7.0, 3.0, 24
DISC_SIDES = 24

Array = NDArray[np.float64]
Segment = tuple[tuple[float, float], tuple[float, float]]


def picture_of(context: Any) -> Rect | None:
    """Where a view that looks through the rig's camera has the picture; None in any other view."""
    view, scene = context.region_data, context.scene
    if view is None or view.view_perspective != "CAMERA":
        return None
    space = context.space_data
    camera = space.camera if space.use_local_camera else scene.camera
    if camera is None or parts.part_of(camera) != "camera":
        return None
    return evening.picture_rect(scene, context.region, view)


def draw(settings: Any, scene: bpy.types.Scene, frames: FrameTable, rect: Rect) -> None:
    """What is switched on, over the picture."""
    here = readout.frame_number(frames, scene.frame_current)
    reading = live.state_of(scene).reading
    is_read = reading is not None and len(reading.score) == len(frames)
    if settings.show_thirds:
        _lines(_thirds(rect), THIRDS_COLOUR, 1.0)
    if settings.show_sensor:
        _lines(_outline(*_sensor(rect, frames)), SENSOR_COLOUR, 1.0)
    if settings.show_ways:
        _draw_ways(rect, frames, here)
    if settings.show_subject and is_read and reading is not None and reading.subject:
        box = reading.rect_px[here]
        if np.isfinite(box).all():
            weak = float(reading.score[here]) < WEAK
            _lines(_outline(*_in_region(rect, frames, box)), WEAK_COLOUR if weak else GOOD_COLOUR, 1.5)
    if settings.show_weakest and _weakest(scene) == here + 1:
        edge = (rect.left, rect.bottom, rect.left + rect.width, rect.bottom + rect.height)
        _lines(_outline(*edge), WEAK_COLOUR, 3.0)


def _weakest(scene: bpy.types.Scene) -> int | None:
    report = live.state_of(scene).review
    return report.summary.picture.weakest_frame if report is not None else None


def _thirds(rect: Rect) -> list[Segment]:
    right, top = rect.left + rect.width, rect.bottom + rect.height
    lines: list[Segment] = []
    for fraction in (1.0 / 3.0, 2.0 / 3.0):
        x, y = rect.left + fraction * rect.width, rect.bottom + fraction * rect.height
        lines += [((x, rect.bottom), (x, top)), ((rect.left, y), (right, y))]
    return lines


def _outline(left: float, bottom: float, right: float, top: float) -> list[Segment]:
    corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
    return [(corners[i], corners[(i + 1) % 4]) for i in range(4)]


def _sensor(rect: Rect, frames: FrameTable) -> tuple[float, float, float, float]:
    """The whole sensor around the delivered picture, in the region's pixels."""
    camera, clip = frames.plan.camera, frames.plan.clip
    crop = projection.delivered_crop(camera, clip)
    wider = (camera.sensor_width_mm / crop.width_mm - 1.0) / 2.0 * rect.width
    taller = (camera.sensor_height_mm / crop.height_mm - 1.0) / 2.0 * rect.height
    return (
        rect.left - wider,
        rect.bottom - taller,
        rect.left + rect.width + wider,
        rect.bottom + rect.height + taller,
    )


def _in_region(rect: Rect, frames: FrameTable, box_px: Array) -> tuple[float, float, float, float]:
    """A box in clip pixels from the upper left (left, top, right, bottom) in the region's pixels."""
    clip = frames.plan.clip
    left, top, right, bottom = (float(value) for value in np.clip(box_px, -1e5, 1e5))
    left, right = left / clip.width_px, right / clip.width_px
    top, bottom = top / clip.height_px, bottom / clip.height_px
    return (
        rect.left + left * rect.width,
        rect.bottom + (1.0 - bottom) * rect.height,
        rect.left + right * rect.width,
        rect.bottom + (1.0 - top) * rect.height,
    )


def way_px(frames: FrameTable, here: int, directions: Array, rect: Rect) -> Array:
    """Where directions (n, 3) are in the picture of a frame (from 0), in the region's pixels (n, 2); NaN
    behind the camera.
    """
    plan = frames.plan
    directions_seen = directions @ frames.camera_rotation[here]
    focal = projection.delivered_crop(plan.camera, plan.clip).focal_px / plan.clip.width_px * rect.width
    ahead = np.where(directions_seen[:, 2] < -1e-3, -directions_seen[:, 2], np.nan)
    middle = np.array([rect.left + rect.width / 2.0, rect.bottom + rect.height / 2.0])
    shown: Array = middle + focal * directions_seen[:, :2] / ahead[:, None]
    return shown


def _draw_ways(rect: Rect, frames: FrameTable, here: int) -> None:
    """Sun, moon and the Milky Way's middle where they stand, and their way in the frames to come, within the
    picture.
    """
    scale = ui_scale()
    step = max(1, (len(frames) - here) // MOST_TICKS)
    for directions, colour in (
        (readout.galactic_centre_directions(frames), MILKY_WAY_COLOUR),
        (frames.moon_direction, MOON_COLOUR),
        (frames.sun_direction, SUN_COLOUR),
    ):
        way = way_px(frames, here, directions[here:], rect)
        inside, up = _inside(way, rect), directions[here:, 2] > 0.0
        runs = [(tuple(a), tuple(b)) for a, b in pairwise(way)]
        for there, shade in ((inside & up, colour), (inside & ~up, (*colour[:3], BELOW_HORIZON_ALPHA))):
            _lines(
                [run for run, a, b in zip(runs, there[:-1], there[1:], strict=True) if a and b], shade, 1.5
            )
        ticks = [
            ((x - TICK_PX * scale, y), (x + TICK_PX * scale, y))
            for (x, y), shown in zip(way[::step].tolist(), (inside & up)[::step], strict=True)
            if shown
        ]
        _lines(ticks, colour, 1.5)
        if inside[0]:
            turn = np.linspace(0.0, 2.0 * np.pi, DISC_SIDES + 1)
            rim = way[0] + DISC_PX * scale * np.stack([np.cos(turn), np.sin(turn)], axis=1)
            _lines([(tuple(a), tuple(b)) for a, b in pairwise(rim)], colour, 2.0)


def _inside(places: Array, rect: Rect) -> NDArray[np.bool_]:
    low = np.array([rect.left, rect.bottom])
    high = low + np.array([rect.width, rect.height])
    with np.errstate(invalid="ignore"):
        inside: NDArray[np.bool_] = ((places >= low) & (places <= high)).all(axis=1)
    return inside


def _lines(segments: list[Any], colour: Colour, width: float) -> None:
    """Lines with a dark edge, so that they show before a bright sky too."""
    if not segments:
        return
    shader: Any = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    points = [(*point, 0.0) for segment in segments for point in segment]
    batch = batch_for_shader(shader, "LINES", {"pos": points})
    gpu.state.blend_set("ALPHA")
    shader.bind()
    state: Any = gpu.state
    viewport = state.viewport_get()
    shader.uniform_float("viewportSize", (viewport[2], viewport[3]))
    scale = ui_scale()
    for shade, more in ((EDGE_COLOUR, 2.0), (colour, 0.0)):
        shader.uniform_float("color", (*shade[:3], shade[3] * colour[3]) if more else shade)
        shader.uniform_float("lineWidth", (width + more) * scale)
        batch.draw(shader)
    gpu.state.blend_set("NONE")
