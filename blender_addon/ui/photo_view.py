"""A view through a photograph's own camera: blocks stand translucent before the photograph, with their edges
and what is pinned, until the view is turned back.
"""

from __future__ import annotations

from typing import Any

import blf
import bpy
import gpu
import numpy as np
from attrs import define, frozen
from bpy.app.handlers import persistent
from bpy_extras.view3d_utils import location_3d_to_region_2d, region_2d_to_vector_3d
from gpu_extras.batch import batch_for_shader
from mathutils import Vector
from numpy.typing import NDArray

from planner_core import Plan, PlanError
from planner_core.photo import camera as photo_camera
from planner_core.photo import panorama
from planner_core.photo.check import check_photo
from planner_core.photo.editing import MOST_CORNERS, Corner, corner_at
from planner_core.photo.pins import targets
from planner_core.place.blocking import Mesh, block_mesh
from planner_core.plan.model import Photo
from planner_core.words.language import say

from ..scene import photos
from ..state import live
from ..state.listening import listen, stop_listening
from . import evening
from .drawing import Colour, fill, ui_scale, write

Array = NDArray[np.float64]

XRAY = 0.45  # how solid blocks look before a photograph
NEAR_PX = 24.0  # of the region, within which a click means a corner
PIN_PX, LETTERS_PX = 7.0, 13.0
EDGE_COLOUR: Colour = (0.55, 0.85, 1.0, 0.75)
SKYLINE_COLOUR: Colour = (0.98, 0.62, 0.40, 0.95)
PIN_COLOUR: Colour = (1.0, 0.86, 0.30, 1.0)
OFF_COLOUR: Colour = (0.95, 0.36, 0.30, 1.0)
MARK_COLOUR: Colour = (1.0, 1.0, 1.0, 1.0)
UPRIGHTS = 4  # of a round block's upright edges, one in so many is drawn
UNSHOWN_ROLES = ("ground", "water")  # their edges would cover the photograph
KEPT = {
    **evening.KEPT,
    "shading": ("type", "show_xray", "xray_alpha", "color_type"),
    "overlay": ("show_overlays", "show_floor", "show_axis_x", "show_axis_y", "show_extras"),
}


@define(eq=False)
class Shown:
    """One view through a photograph's camera, and what it was before."""

    file: str
    before: dict[tuple[str, str], Any]
    turned: bool = False  # whether the user has turned the view away from the photograph


@frozen(eq=False)
class Sketch:
    """What a click that is waited for has so far: points of the photograph, joined where they make a
    skyline, and the corner under the mouse.
    """

    points_px: tuple[tuple[float, float], ...] = ()
    is_skyline: bool = False
    corner: Corner | None = None


_views: dict[int, Shown] = {}  # by the space that shows it
_sketches: dict[int, Sketch] = {}
_edges: dict[int, tuple[Plan, Array]] = {}  # by scene


@persistent
def _before_loading(*_more: Any) -> None:
    clear()


def clear() -> None:
    """Forget every view; another file is open."""
    for known in (_views, _sketches, _edges):
        known.clear()


HANDLERS = (("load_pre", _before_loading),)


def register() -> None:
    """Be told of loading."""
    listen(HANDLERS)


def unregister() -> None:
    """Turn every view back."""
    leave_all()
    stop_listening(HANDLERS)
    if bpy.app.timers.is_registered(_leave_turned):
        bpy.app.timers.unregister(_leave_turned)
    clear()


# ---------------------------------------------------------------- in and out


def shown_in(space: Any) -> str:
    """The file of the photograph that a view looks through, or nothing."""
    shown = _views.get(space.as_pointer()) if space is not None else None
    return shown.file if shown is not None else ""


def photo_shown(context: Any) -> tuple[Plan, int] | None:
    """The plan, and the number of its photograph that the view looks through."""
    file, plan = shown_in(context.space_data), live.plan_of(context.scene)
    if not file or plan is None:
        return None
    number = next((k for k, photo in enumerate(plan.photos) if photo.file == file), None)
    return (plan, number) if number is not None else None


def enter(scene: Any, area: Any, file: str) -> None:
    """Look through a photograph's camera, the whole photograph in sight."""
    space = area.spaces.active
    evening.leave(scene, area)
    shown = _views.get(space.as_pointer())
    if shown is None:
        before = {
            (part, name): evening.copied(getattr(evening.part_of(space, part), name))
            for part, names in KEPT.items()
            for name in names
        }
        _views[space.as_pointer()] = Shown(file, before)
    else:
        shown.file = file
    space.use_local_camera, space.camera = True, photos.camera_of(scene, file)
    space.lock_camera = space.show_gizmo = False
    space.region_3d.view_perspective = "CAMERA"
    space.shading.type, space.shading.color_type = "SOLID", "OBJECT"
    space.shading.show_xray, space.shading.xray_alpha = True, XRAY
    overlay = space.overlay
    overlay.show_overlays = True
    overlay.show_floor = overlay.show_axis_x = overlay.show_axis_y = overlay.show_extras = False
    _fit(scene, area, file)
    area.tag_redraw()


def _fit(scene: Any, area: Any, file: str) -> None:
    plan = live.plan_of(scene)
    photo = next((p for p in plan.photos if p.file == file), None) if plan else None
    if photo is not None:
        evening.fit_camera(area, panorama.aspect(photo))


def leave(area: Any) -> None:
    """Turn a view back into what it was. One that the user has turned stays turned."""
    space = area.spaces.active
    shown = _views.pop(space.as_pointer(), None)
    _sketches.pop(space.as_pointer(), None)
    if shown is None:
        return
    for (part, name), value in shown.before.items():
        if not (shown.turned and name in evening.TURNED):
            setattr(evening.part_of(space, part), name, evening.as_it_is_now(value))
    area.tag_redraw()


def leave_all() -> None:
    """Turn every view back."""
    manager: Any = bpy.context.window_manager
    for window in manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D" and shown_in(area.spaces.active):
                leave(area)


def _leave_turned() -> None:
    manager: Any = bpy.context.window_manager
    for window in manager.windows:
        for area in window.screen.areas:
            shown = _views.get(area.spaces.active.as_pointer()) if area.type == "VIEW_3D" else None
            if shown is not None and shown.turned:
                leave(area)


# ---------------------------------------------------------------- between view and photograph


def photo_px(region: Any, view: Any, plan: Plan, photo: Photo, x: float, y: float) -> tuple[float, float]:
    """Where in a photograph a point of the region is."""
    ray = np.array(region_2d_to_vector_3d(region, view, (x, y)))
    aim = photo_camera.photo_rotation(photo, plan.site.scene_north_deg)
    (spot,) = photo_camera.pixels(photo, [ray], aim, photo_camera.focal_px(photo))
    return float(spot[0]), float(spot[1])


def corner_near(region: Any, view: Any, plan: Plan, photo: Photo, x: float, y: float) -> Corner | None:
    """The block's corner that a click into a region means."""
    at, beside = (photo_px(region, view, plan, photo, x + off, y) for off in (0.0, NEAR_PX * ui_scale()))
    return corner_at(plan, photo, at, abs(beside[0] - at[0]))


def sketch(space: Any, drawn: Sketch | None) -> None:
    """Show what clicks have made so far in a view; None for nothing."""
    if drawn is None:
        _sketches.pop(space.as_pointer(), None)
    else:
        _sketches[space.as_pointer()] = drawn
    live.show()


# ---------------------------------------------------------------- drawing


def draw(context: Any) -> None:
    """Edges, pins and what is being clicked, over a view through a photograph's camera."""
    shown = _views.get(context.space_data.as_pointer())
    if shown is None:
        return
    if context.region_data.view_perspective != "CAMERA":
        shown.turned = True
        evening.soon(_leave_turned)
        return
    in_view = photo_shown(context)
    if in_view is None:
        return
    plan, number = in_view
    photo = plan.photos[number]
    _lines(_in_region(context, edges_of(context.scene, plan)), EDGE_COLOUR, 1.3)
    _draw_pins(context, plan, photo)
    drawn = _sketches.get(context.space_data.as_pointer())
    if drawn is not None:
        _draw_sketch(context, plan, photo, drawn)


def told_lines(context: Any) -> list[str]:
    """How the photograph in view was aimed and how well its pins fit, a line each; none in other views."""
    in_view = photo_shown(context)
    if in_view is None:
        return []
    plan, number = in_view
    photo = plan.photos[number]
    aimed = say(
        "Toward {bearing:.1f}°, {altitude:.1f}° up, {view:.1f}° wide",
        bearing=photo.bearing_deg,
        altitude=photo.altitude_deg,
        view=photo.fov_deg,
    )
    try:
        apart = [one.off_px for one in check_photo(plan, photo)]
    except PlanError:
        apart = []
    if len(apart) < 2:  # one pin fits whatever it says
        return [photo.file, aimed.replace("-", "−")]
    rms = float(np.sqrt(np.mean(np.square(apart))))
    fit = say("{count} pins within {px:.1f} px", count=len(apart), px=rms)
    return [photo.file, aimed.replace("-", "−"), fit]


def edges_of(scene: Any, plan: Plan) -> Array:
    """Edges of all blocks but ground and water, each as two points in a row, (2 n, 3)."""
    kept = _edges.get(scene.session_uid)
    if kept is not None and kept[0].blocks is plan.blocks:
        return kept[1]
    pieces = [np.zeros((0, 3))]
    for block in plan.blocks:
        if block.role not in UNSHOWN_ROLES:
            mesh = block_mesh(plan, block)
            pieces.append(mesh.vertices_m[_edges_drawn(mesh).reshape(-1)])
    edges = np.concatenate(pieces)
    _edges[scene.session_uid] = (plan, edges)
    return edges


def _edges_drawn(mesh: Mesh) -> NDArray[np.intp]:
    """Pairs of corners that edges lead between, (n, 2); of a round thing, a few of its upright ones."""
    pairs = {
        (min(a, b), max(a, b)) for face in mesh.faces for a, b in zip(face, (*face[1:], face[0]), strict=True)
    }
    edges = np.array(sorted(pairs), dtype=np.intp).reshape(-1, 2)
    if len(mesh.vertices_m) <= MOST_CORNERS:
        return edges
    rises = np.abs(np.diff(mesh.vertices_m[edges][:, :, 2], axis=1)[:, 0]) > 1e-6
    return np.asarray(edges[~rises | (edges[:, 0] % UPRIGHTS == 0)])


def _in_region(context: Any, points: Array) -> Array:
    """Lines between points of the scene (2 n, 3), in pixels of the region; what is behind the eye is left
    out.
    """
    matrix = np.array(context.region_data.perspective_matrix)
    seen = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    ahead = (seen[:, 3] > 1e-3).reshape(-1, 2).all(axis=1).repeat(2)
    flat = seen[ahead, :2] / seen[ahead, 3:]
    sides = np.array([context.region.width, context.region.height])
    return np.asarray((0.5 + 0.5 * flat) * sides)


def spot_of(context: Any, plan: Plan, photo: Photo, point: tuple[float, float]) -> Any:
    """Where a point of the photograph is in the region; None behind the eye."""
    away = photo_camera.sight(photo, point, plan.site.scene_north_deg)
    place = Vector(np.asarray(photo.place_m) + 100.0 * away)
    return location_3d_to_region_2d(context.region, context.region_data, place)


def _draw_pins(context: Any, plan: Plan, photo: Photo) -> None:
    """Each pin as a cross with its number, and a line to where the plan has its thing."""
    try:
        there = targets(plan, photo) if photo.pins else None
    except PlanError:
        there = None
    size = PIN_PX * ui_scale()
    for number, pin in enumerate(photo.pins):
        at = spot_of(context, plan, photo, (pin.x_px, pin.y_px))
        if at is None:
            continue
        _cross(at, size, PIN_COLOUR)
        write(0, str(number + 1), at.x + size, at.y + size, PIN_COLOUR)
        if there is not None:
            away = there.seen_from(np.asarray(photo.place_m))[number]
            place = Vector(np.asarray(photo.place_m) + 100.0 * away)
            spot = location_3d_to_region_2d(context.region, context.region_data, place)
            if spot is not None:
                _lines(np.array([at, spot]), OFF_COLOUR, 1.5)


def _draw_sketch(context: Any, plan: Plan, photo: Photo, drawn: Sketch) -> None:
    spots = [spot for p in drawn.points_px if (spot := spot_of(context, plan, photo, p)) is not None]
    for spot in spots:
        _cross(spot, PIN_PX * ui_scale(), SKYLINE_COLOUR)
    if len(spots) > 1:
        _lines(np.array(spots).repeat(2, axis=0)[1:-1], SKYLINE_COLOUR, 2.0)
    if drawn.corner is not None:
        at = location_3d_to_region_2d(context.region, context.region_data, Vector(drawn.corner.place_m))
        if at is not None:
            half = 4.0 * ui_scale()
            fill(at.x - half, at.y - half, at.x + half, at.y + half, MARK_COLOUR)
            blf.size(0, LETTERS_PX * ui_scale())
            write(0, drawn.corner.block, at.x + 2.0 * half, at.y - half, MARK_COLOUR)


def _cross(at: Any, size: float, colour: Colour) -> None:
    ends = [(at.x - size, at.y), (at.x + size, at.y), (at.x, at.y - size), (at.x, at.y + size)]
    _lines(np.array(ends), colour, 2.0)


def _lines(points: Array, colour: Colour, width: float) -> None:
    """Separate lines in the region, (2 n, 2)."""
    if not len(points):
        return
    region: Any = bpy.context.region
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    gpu.state.blend_set("ALPHA")
    shader.bind()
    shader.uniform_float("viewportSize", (region.width, region.height))
    shader.uniform_float("lineWidth", width * ui_scale())
    shader.uniform_float("color", colour)
    flat: Any = np.column_stack([points, np.zeros(len(points))]).astype(np.float32)
    batch_for_shader(shader, "LINES", {"pos": flat}).draw(shader)
    gpu.state.blend_set("NONE")
