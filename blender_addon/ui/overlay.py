"""What is drawn over the 3D view: the camera's way, the sky's, and the readout.

Colours and shapes are ours. Nothing here changes anything; without a plan in the scene nothing is drawn.
"""

from __future__ import annotations

import textwrap
import time
from collections.abc import Sequence
from typing import Any

import blf
import bpy
import gpu
import numpy as np
from attrs import define, frozen
from bpy_extras.view3d_utils import location_3d_to_region_2d
from gpu_extras.batch import batch_for_shader
from mathutils import Vector
from numpy.typing import NDArray

from planner_core.evening.timetable import EVENT_WORDS
from planner_core.frames import FrameTable
from planner_core.output import readout
from planner_core.plan import timeline
from planner_core.words.dates import day_words
from planner_core.words.language import say

from ..scene import store
from ..state import live
from . import evening, gizmos, guides, photo_view, wording
from .drawing import AS_SHOT_COLOUR, PHASE_COLOURS, Colour, fill, text_width, ui_scale, write

Array = NDArray[Any]

SUN_COLOUR: Colour = (1.0, 0.86, 0.45, 1.0)
MOON_COLOUR: Colour = (0.80, 0.86, 0.95, 1.0)
MOON_WAY_COLOUR: Colour = (0.70, 0.78, 0.90, 0.35)
MILKY_WAY_COLOUR: Colour = (0.72, 0.68, 0.86, 0.45)
COMPASS_COLOUR: Colour = (0.80, 0.80, 0.76, 0.45)
LENS_COLOUR: Colour = (0.55, 0.85, 0.80, 0.55)
HERE_COLOUR: Colour = (0.60, 0.95, 0.88, 1.0)
TEXT_COLOUR: Colour = (0.96, 0.95, 0.90, 1.0)
REFUSED_COLOUR: Colour = (1.0, 0.62, 0.42, 1.0)
AROUND_COLOUR: Colour = (0.02, 0.02, 0.022, 0.94)

TICK_M, LENS_M = 0.03, 0.22
MOST_TICKS = 240
LENSES = 13
RING_SIDES = 72
DISC_SHARE = 0.022  # of the sky's radius, where it is drawn round the rig …
SUN_SHARE = 0.00465  # … and as large as it is, through the camera: half of 0.533°
FAR_M = 30000.0
MARGIN_PX, LETTERS_PX, LINE_PX = 16.0, 13.0, 19.0  # of the readout
LABEL_PX = 11.0  # letters in the sky
GROUND_COLOUR: Colour = (0.05, 0.05, 0.06, 0.55)
BELOW_HORIZON_ALPHA = 0.22
PROBLEM_LETTERS = 80  # on a line
PROBLEM_SHOWN_S = 20.0  # in the view; the panel keeps it until it is put away

_handles: list[Any] = []


@define(eq=False)
class Shapes:
    """Batches of one FrameTable, ready to draw."""

    frames: FrameTable
    path: list[tuple[Any, float]]
    sky: list[tuple[Any, float]]  # on a sphere of radius 1
    labels: list[tuple[Vector, str, Colour]]
    radius_m: float  # that the sky is drawn with in the place


_shapes: dict[int, Shapes] = {}


def register() -> None:
    """Begin to draw, where there is a window to draw in."""
    if bpy.app.background:
        return
    space = bpy.types.SpaceView3D
    for function, moment in ((draw_in_scene, "POST_VIEW"), (draw_readout, "POST_PIXEL")):
        _handles.append(space.draw_handler_add(function, (), "WINDOW", moment))


def unregister() -> None:
    """Stop drawing and forget what was drawn."""
    while _handles:
        bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
    _shapes.clear()


# ---------------------------------------------------------------- shapes


def _buffer(values: Array) -> Any:
    """Numbers as the graphics card takes them."""
    return values.astype(np.float32)


def _lines(points: Array, colours: Array) -> Any:
    """A batch of separate lines: points (2 n, 3), colours (2 n, 4)."""
    shader = gpu.shader.from_builtin("POLYLINE_FLAT_COLOR")
    return batch_for_shader(shader, "LINES", {"pos": _buffer(points), "color": _buffer(colours)})


def _pairs(points: Array, colours: Array) -> tuple[Array, Array]:
    """A run of points as separate lines from each to the next."""
    return np.repeat(points, 2, axis=0)[1:-1], np.repeat(colours, 2, axis=0)[1:-1]


def _even(colour: Colour, count: int) -> Array:
    return np.tile(np.array(colour), (count, 1))


def shapes_of(frames: FrameTable, uid: int) -> Shapes:
    """The batches of a FrameTable, made when it is first drawn."""
    kept = _shapes.get(uid)
    if kept is None or kept.frames is not frames:
        paths = readout.sky_paths(frames)
        sky, labels = _sky(frames, paths)
        kept = _shapes[uid] = Shapes(
            frames, _path(frames, paths), sky, labels, readout.sky_radius_m(frames.plan)
        )
    return kept


def _path(frames: FrameTable, paths: readout.SkyPaths) -> list[tuple[Any, float]]:
    """The lens's way, a tick for each frame coloured by the light, and where the lens looks now and then."""
    points = frames.camera_m
    colours = np.array(PHASE_COLOURS)[paths.shoot_phase]
    drawn = []
    if len(points) > 1 and float(np.ptp(points, axis=0).max()) > 1e-4:
        drawn.append((_lines(*_pairs(points, colours)), 2.0))
    chosen = np.unique(np.linspace(0, len(points) - 1, min(len(points), MOST_TICKS)).round().astype(int))
    ticks = np.repeat(points[chosen], 2, axis=0)
    ticks[1::2, 2] += TICK_M
    drawn.append((_lines(ticks, np.repeat(colours[chosen], 2, axis=0)), 1.5))
    some = np.unique(np.linspace(0, len(points) - 1, min(len(points), LENSES)).round().astype(int))
    looks = np.repeat(points[some], 2, axis=0)
    looks[1::2] -= LENS_M * frames.camera_rotation[some][:, :, 2]
    drawn.append((_lines(looks, _even(LENS_COLOUR, len(looks))), 1.0))
    return drawn


def _sky(
    frames: FrameTable, paths: readout.SkyPaths
) -> tuple[list[tuple[Any, float]], list[tuple[Vector, str, Colour]]]:
    """The sun's way over the day and the shoot, the moon's, a compass on the horizon, and their labels."""
    drawn, labels = [], []
    day = np.array(PHASE_COLOURS)[paths.day_phase]
    day[:, 3] = np.where(paths.day_directions[:, 2] > 0.0, 0.55, BELOW_HORIZON_ALPHA)
    drawn.append((_lines(*_pairs(paths.day_directions, day)), 1.2))
    shoot = np.array(PHASE_COLOURS)[paths.shoot_phase]
    if len(shoot) > 1:
        drawn.append((_lines(*_pairs(paths.shoot_directions, shoot)), 4.0))
        moon = _even(MOON_WAY_COLOUR, len(shoot))
        drawn.append((_lines(*_pairs(paths.moon_directions, moon)), 2.0))
    if len(paths.hour_directions):
        marks = np.repeat(paths.hour_directions, 2, axis=0)
        marks[1::2] *= 0.97
        drawn.append((_lines(marks, _even(PHASE_COLOURS[0], len(marks))), 1.5))
        labels += [
            (Vector((1.04 * direction).tolist()), text, PHASE_COLOURS[0])
            for direction, text in zip(paths.hour_directions, paths.hour_labels, strict=True)
        ]
    ring, points = _compass(frames.plan.site.scene_north_deg)
    drawn.append((_lines(ring, _even(COMPASS_COLOUR, len(ring))), 1.0))
    # the compass goes first: an hour makes room for it, where the two fall on each other in the view
    return drawn, [*((Vector(place.tolist()), name, COMPASS_COLOUR) for name, place in points), *labels]


def _compass(north_deg: float) -> tuple[Array, list[tuple[str, Array]]]:
    """A level ring with marks at the four quarters; and where their names go."""
    turn = np.linspace(0.0, 2.0 * np.pi, RING_SIDES + 1)
    ring = np.stack([np.sin(turn), np.cos(turn), np.zeros_like(turn)], axis=1)
    lines = [np.repeat(ring, 2, axis=0)[1:-1]]
    names = []
    for name, bearing in (("N", 0.0), ("E", 90.0), ("S", 180.0), ("W", 270.0)):
        angle = np.radians(bearing - north_deg)
        out = np.array([np.sin(angle), np.cos(angle), 0.0])
        lines.append(np.array([0.95 * out, 1.02 * out]))
        names.append((name, 1.07 * out))
    return np.concatenate(lines), names


def _disc(centre: Vector, towards_eye: Vector, size: float, colour: Colour) -> Any:
    """A small filled disc that faces the eye."""
    turn = towards_eye.to_track_quat("Z", "Y").to_matrix()
    rim = [
        centre + turn @ Vector((size * np.cos(a), size * np.sin(a), 0.0))
        for a in np.linspace(0.0, 2.0 * np.pi, 25)[:-1]
    ]
    fan: Any = [point for i in range(24) for point in (centre, rim[i], rim[(i + 1) % 24])]
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    batch = batch_for_shader(shader, "TRIS", {"pos": fan})
    shader.bind()
    shader.uniform_float("color", colour)
    batch.draw(shader)


def _draw_lines(batches: Sequence[tuple[Any, float]], region: Any) -> None:
    shader = gpu.shader.from_builtin("POLYLINE_FLAT_COLOR")
    shader.bind()
    shader.uniform_float("viewportSize", (region.width, region.height))
    scale = ui_scale()
    for batch, width in batches:
        shader.uniform_float("lineWidth", width * scale)
        batch.draw(shader)


# ---------------------------------------------------------------- drawing


def _shown(context: Any) -> tuple[Any, FrameTable] | None:
    """The scene's settings and frames, where the view shows overlays and the scene has a plan."""
    overlay = getattr(context.space_data, "overlay", None)
    return None if overlay is not None and not overlay.show_overlays else _planned(context)


def _planned(context: Any) -> tuple[Any, FrameTable] | None:
    """The scene's settings and frames, where it has a plan."""
    scene = context.scene
    settings = getattr(scene, "duskrail", None)
    if settings is None:
        return None
    frames = live.shown_frames(scene)
    return (settings, frames) if frames is not None else None


@frozen
class Dome:
    """Where the sky is drawn: around the rig or, looking through the camera, around the eye and practically
    infinitely far.
    """

    centre: Vector
    radius_m: float
    disc_share: float  # of the radius, for the discs of sun and moon
    through_camera: bool

    def at(self, direction: Any) -> Vector:
        """Scene metres of a direction in the sky."""
        return self.centre + self.radius_m * Vector(direction)


def _dome(context: Any, frames: FrameTable, shapes: Shapes) -> Dome:
    view = context.region_data
    if view.view_perspective == "CAMERA":
        return Dome(view.view_matrix.inverted().translation, FAR_M, SUN_SHARE, True)
    return Dome(Vector(frames.plan.rig.origin_m), shapes.radius_m, DISC_SHARE, False)


def draw_in_scene() -> None:
    """The camera's way and the sky's, in the 3D view."""
    context: Any = bpy.context
    shown = _shown(context)
    if shown is None:
        return
    settings, frames = shown
    shapes = shapes_of(frames, context.scene.session_uid)
    region, here = context.region, readout.frame_number(frames, context.scene.frame_current)
    dome = _dome(context, frames, shapes)
    gpu.state.blend_set("ALPHA")
    if settings.show_path and not dome.through_camera:
        _draw_lines(shapes.path, region)
        at = frames.camera_m[here]
        ahead = -frames.camera_rotation[here][:, 2]
        mark = np.array([at, at + 3.0 * LENS_M * ahead, at, at + np.array([0.0, 0.0, 2.5 * TICK_M])])
        _draw_lines([(_lines(mark, _even(HERE_COLOUR, 4)), 3.0)], region)
    if gizmos.shows_event(context):
        _draw_lines(_event_bar(frames), region)
    if settings.show_sky:
        gpu.state.depth_test_set("LESS_EQUAL")
        matrix: Any = gpu.matrix
        with matrix.push_pop():
            matrix.translate(dome.centre)
            matrix.scale_uniform(dome.radius_m)
            _draw_lines(shapes.sky, region)
        _draw_milky_way(context, frames, dome, here)
        _draw_bodies(context, frames, dome, here)
        gpu.state.depth_test_set("NONE")
    gpu.state.blend_set("NONE")


def _event_bar(frames: FrameTable) -> list[tuple[Any, float]]:
    """The move from first to last frame as a bar over the rail, in the colours of its light."""
    bar = gizmos.event_bar(frames.plan)
    points, colours = [], []
    for phase, first, last in readout.phase_spans(frames):
        points += [bar.at((first - 1) / len(frames)), bar.at(last / len(frames))]
        colours += [PHASE_COLOURS[phase]] * 2
    return [(_lines(np.array(points), np.array(colours)), 5.0)]


def _draw_milky_way(context: Any, frames: FrameTable, dome: Dome, here: int) -> None:
    """The middle of the band above the horizon on the frame that is shown, with a disc at its centre."""
    band = readout.milky_way_directions(frames, here)
    if not len(band):
        return
    places = np.array(dome.centre) + dome.radius_m * band
    ends = np.repeat(places, 2, axis=0)[1:-1].reshape(-1, 2, 3)
    above = (band[1:, 2] > 0.0) & (band[:-1, 2] > 0.0)
    if above.any():
        lines = ends[above].reshape(-1, 3)
        _draw_lines([(_lines(lines, _even(MILKY_WAY_COLOUR, len(lines))), 3.0)], context.region)
    if band[0, 2] > 0.0:
        eye = context.region_data.view_matrix.inverted().col[2].xyz
        _disc(dome.at(band[0]), eye, 1.5 * dome.disc_share * dome.radius_m, MILKY_WAY_COLOUR)


def _draw_bodies(context: Any, frames: FrameTable, dome: Dome, here: int) -> None:
    """Sun and moon where they stand on the frame that is shown; over the place, the sun with a line to the
    compass.
    """
    eye = context.region_data.view_matrix.inverted().col[2].xyz
    sun, moon = Vector(frames.sun_direction[here]), Vector(frames.moon_direction[here])
    for direction, colour in ((moon, MOON_COLOUR), (sun, SUN_COLOUR)):
        colour_here = (*colour[:3], 1.0 if direction.z > 0.0 else 0.4)
        _disc(dome.at(direction), eye, dome.disc_share * dome.radius_m, colour_here)
    flat = Vector((sun.x, sun.y, 0.0))
    if flat.length > 1e-6 and not dome.through_camera:
        foot = dome.at(flat.normalized())
        line = np.array([dome.centre, foot, foot, dome.at(sun)])
        _draw_lines([(_lines(line, _even((*SUN_COLOUR[:3], 0.5), 4)), 1.0)], context.region)


def draw_readout() -> None:
    """Labels of the sky, and what there is to know about the frame, as text over the 3D view."""
    context: Any = bpy.context
    in_evening = evening.is_on(context.space_data)
    shown = _planned(context) if in_evening else _shown(context)
    if shown is None:
        return
    settings, frames = shown
    region, font = context.region, 0
    if in_evening:
        _draw_around(region, evening.draw(context))
    elif gizmos.shows_event(context):
        _write_event(context, frames, font)
    if settings.show_sky and not in_evening:
        _write_sky_labels(context, frames, font)
    photo_view.draw(context)
    picture = guides.picture_of(context)
    if picture is not None:
        guides.draw(settings, context.scene, frames, picture)
    lines = _lines_of(context, settings, frames)
    here = live.state_of(context.scene)
    if (
        here.problem and time.monotonic() - here.refused_at_s < PROBLEM_SHOWN_S
    ):  # the field that was refused may be far from the panel that tells why
        problem = wording.problem_text(context.scene)
        lines += [(text, REFUSED_COLOUR) for text in textwrap.wrap(problem, PROBLEM_LETTERS)]
    if lines and not _is_quarter(context):
        _draw_lines_of_text(context, lines)


def _write_sky_labels(context: Any, frames: FrameTable, font: int) -> None:
    """The compass's letters, and the hours of the sun's way where they are clear of others."""
    scale = ui_scale()
    size = LABEL_PX * scale
    shapes = shapes_of(frames, context.scene.session_uid)
    dome = _dome(context, frames, shapes)
    taken: list[tuple[float, float]] = []
    for direction, text, colour in shapes.labels:
        spot = location_3d_to_region_2d(context.region, context.region_data, dome.at(direction))
        if spot is None:
            continue
        if any(abs(spot.x - x) < 3.0 * size and abs(spot.y - y) < 1.2 * size for x, y in taken):
            continue
        text = say("E") if text == "E" else text  # east, in other languages another letter
        width = text_width(font, text, size)
        if spot.x - width / 2.0 < _left_margin(context):
            continue  # the toolbar would cover half of it
        taken.append((spot.x, spot.y))
        write(font, text, spot.x - width / 2.0, spot.y - 4.0 * scale, (*colour[:3], 0.9))


def _lines_of(context: Any, settings: Any, frames: FrameTable) -> list[tuple[str, Colour]]:
    """What is told of the photograph that the view looks through, else of the frame."""
    of_photo = photo_view.told_lines(context)
    if of_photo:
        return [(text, TEXT_COLOUR) for text in of_photo]
    return frame_lines(context.scene, frames) if settings.show_readout else []


def frame_lines(scene: Any, frames: FrameTable) -> list[tuple[str, Colour]]:
    """What is told of the frame that is shown, as planned and, where a log is open, as shot."""
    settings, number = scene.duskrail, scene.frame_current
    lines = [(text, TEXT_COLOUR) for text in readout.hud_lines(frames, number)]
    log = store.stored_log(scene) if settings.show_log else None
    if log is not None:
        lines.append((readout.as_shot_line(log.curve, frames, number), AS_SHOT_COLOUR))
    return [(other_day_text(frames), HERE_COLOUR), *lines] if settings.look_days else lines


def _write_event(context: Any, frames: FrameTable, font: int) -> None:
    """What falls where on the bar of the move: Sunset at 50 %."""
    anchor = frames.plan.shoot.anchor
    assert anchor is not None
    place = gizmos.event_bar(frames.plan).at(anchor.at)
    spot = location_3d_to_region_2d(context.region, context.region_data, place)
    if spot is not None:
        scale = ui_scale()
        blf.size(font, 12.0 * scale)
        text = say("{event} at {at:.3g} %", event=say(EVENT_WORDS[anchor.event]), at=100.0 * anchor.at)
        write(font, text, spot.x + 8.0 * scale, spot.y + 10.0 * scale, TEXT_COLOUR)


def other_day_text(frames: FrameTable) -> str:
    """Which day is tried out: Sunday 28 March 2027 (another day than the plan's)."""
    date = timeline.local_datetime(float(frames.utc_s[len(frames) // 2]), frames.plan.zone).date()
    return say("{day} (another day than the plan's)", day=day_words(date, year=True, weekday=True))


def _is_quarter(context: Any) -> bool:
    """Whether this is one of the smaller views of Quad View, which the text would fill."""
    space = context.space_data
    return bool(space.region_quadviews) and context.region_data != space.region_3d


def _draw_lines_of_text(context: Any, lines: list[tuple[str, Colour]]) -> None:
    """Lines of text at the lower left, where Blender writes nothing, on a dark ground that a bright sky can't
    drown.
    """
    scale, font = ui_scale(), 0
    left = MARGIN_PX * scale + _left_margin(context)
    low = MARGIN_PX * scale + _lower_margin(context)
    width = max(text_width(font, text, LETTERS_PX * scale) for text, _ in lines)
    pad, step = 7.0 * scale, LINE_PX * scale
    fill(left - pad, low - pad, left + width + pad, low + step * len(lines), GROUND_COLOUR)
    for row, (text, colour) in enumerate(reversed(lines)):
        write(font, text, left, low + step * row, colour)


def _lower_margin(context: Any) -> float:
    """Height of what covers the view's lower edge: the panel of the last operator, a header below."""
    covered = [0.0]
    for region in context.area.regions:
        if region.type == "HUD" and region.width > 1 and region.height > 1:
            covered.append(float(region.y - context.region.y + region.height))
        elif region.type in {"HEADER", "TOOL_HEADER", "ASSET_SHELF"} and region.alignment == "BOTTOM":
            covered.append(float(region.height) if region.height > 1 else 0.0)
    return max(covered)


def _draw_around(region: Any, picture: evening.Rect | None) -> None:
    """Dim what is outside of the picture."""
    if picture is None:
        return
    left, bottom = max(picture.left, 0.0), max(picture.bottom, 0.0)
    right = min(picture.left + picture.width, float(region.width))
    top = min(picture.bottom + picture.height, float(region.height))
    whole = (0.0, 0.0, float(region.width), float(region.height))
    for x0, y0, x1, y1 in (
        (0.0, 0.0, left, whole[3]),
        (right, 0.0, whole[2], whole[3]),
        (left, 0.0, right, bottom),
        (left, top, right, whole[3]),
    ):
        fill(x0, y0, x1, y1, AROUND_COLOUR)


def _left_margin(context: Any) -> float:
    """Width of what covers the view's left edge."""
    if not context.preferences.system.use_region_overlap:
        return 0.0
    tools = [r for r in context.area.regions if r.type == "TOOLS"]
    return float(tools[0].width) if tools and tools[0].width > 1 else 0.0
