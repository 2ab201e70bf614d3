"""The evening view: a 3D view turned into the picture, as the frame is exposed, until it is turned back.

Which views are in it, and what they showed before, is kept here and never in the file. On a graphics card
EEVEE draws the scene's own light. Without one the fast look's colours are drawn over an emptied view: no
mesh and no object changes, and so neither undo nor the saved file knows of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import bpy
from attrs import define, frozen
from bpy.app.handlers import persistent
from gpu_extras.presets import draw_texture_2d

from planner_core import FrameTable
from planner_core.output import readout
from planner_core.words.language import say

from .. import compat
from ..render import engines, looks, viewtransform
from ..render.evening import EveningPicture
from ..scene import nightlights, parts, starfield
from ..state import live
from ..state.listening import listen, stop_listening
from .drawing import text_width, ui_scale, write
from .evening_draw import EveningDrawing

PLAIN, EEVEE = "PLAIN", "EEVEE"
MARGIN_PX = 18.0
LETTERS_PX = 14.0
TEXT_COLOUR = (0.96, 0.95, 0.90, 1.0)
BELOW_PX = 62.0  # kept free under the picture for the readout
ROOT_2 = math.sqrt(2.0)
# what is set for the evening view and set back after it
KEPT = {
    "region_3d": (
        "view_perspective",
        "view_location",
        "view_rotation",
        "view_distance",
        "view_camera_zoom",
        "view_camera_offset",
    ),
    "shading": ("type", "use_scene_lights_render", "use_scene_world_render"),
    "overlay": ("show_overlays",),
    "": (
        "camera",
        "lock_camera",
        "show_gizmo",
        "show_object_viewport_mesh",
        "use_local_camera",
    ),
}
TURNED = {"view_perspective", "view_location", "view_rotation", "view_distance"}


@frozen
class Rect:
    """Part of a region, in its pixels from the lower left."""

    left: float
    bottom: float
    width: float
    height: float


@define(eq=False)
class Evening:
    """One view in the evening view: how it is drawn, and what it was before."""

    by: str
    before: dict[tuple[str, str], Any]
    engine: str  # of the scene, as it was before
    turned: bool = False  # whether the user has turned the view away from the picture


@define(eq=False)
class Prepared:
    """What is drawn without a graphics card, for a scene's plan as it was drawn last."""

    frames: FrameTable
    drawing: EveningDrawing | None = None
    picture: EveningPicture | None = None


_evenings: dict[int, Evening] = {}  # by the space that shows it
_prepared: dict[int, Prepared] = {}  # by scene
_saving: list[tuple[Any, str]] = []  # views that go back into it once the file is saved


def clear() -> None:
    """Forget every view; another file is open."""
    _evenings.clear()
    _prepared.clear()


@persistent
def _before_saving(*_more: Any) -> None:
    """Views are saved as they were before, whatever they show now."""
    scene = bpy.context.scene
    for area, space in list(open_views()):
        _saving.append((area, _evenings[space.as_pointer()].by))
        leave(scene, area)


@persistent
def _after_saving(*_more: Any) -> None:
    while _saving:
        area, by = _saving.pop()
        enter(bpy.context.scene, area, by)


@persistent
def _before_loading(*_more: Any) -> None:
    clear()


HANDLERS = (
    ("save_pre", _before_saving),
    ("save_post", _after_saving),
    ("save_post_fail", _after_saving),
    ("load_pre", _before_loading),
)


def register() -> None:
    """Be told of saving and loading."""
    listen(HANDLERS)


def unregister() -> None:
    """Turn every view back."""
    leave_all()
    stop_listening(HANDLERS)
    for timer in (_prepare, _leave_turned):
        if bpy.app.timers.is_registered(timer):
            bpy.app.timers.unregister(timer)
    clear()


def is_on(space: Any) -> bool:
    """Whether a 3D view is in the evening view."""
    return space is not None and space.as_pointer() in _evenings


def open_views() -> Iterator[tuple[Any, Any]]:
    """The areas and spaces of all windows that are in it."""
    manager: Any = bpy.context.window_manager
    for window in manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D" and is_on(area.spaces.active):
                yield area, area.spaces.active


def usual_way() -> str:
    """How it is drawn on this machine."""
    return EEVEE if engines.this_machine().graphics_card else PLAIN


# ---------------------------------------------------------------- in and out


def enter(scene: Any, area: Any, by: str) -> None:
    """Turn a 3D view into the picture."""
    space = area.spaces.active
    view = space.region_3d
    before = {
        (part, name): copied(getattr(part_of(space, part), name))
        for part, names in KEPT.items()
        for name in names
    }
    _evenings[space.as_pointer()] = Evening(by, before, str(scene.render.engine))
    viewtransform.choose_view(scene)
    space.use_local_camera = True
    space.camera = parts.object_of(scene, "camera")
    space.lock_camera = space.show_gizmo = False
    space.overlay.show_overlays = False
    view.view_perspective = "CAMERA"
    if by == EEVEE:
        _light(scene)
        space.shading.type = "RENDERED"
        space.shading.use_scene_lights_render = space.shading.use_scene_world_render = True
    else:
        space.shading.type = "SOLID"
        space.show_object_viewport_mesh = False
    fit(scene, area)
    area.tag_redraw()


def leave(scene: Any, area: Any) -> None:
    """Turn a view back into what it was. One that the user has turned stays turned."""
    space = area.spaces.active
    evening = _evenings.pop(space.as_pointer(), None)
    if evening is None:
        return
    for (part, name), value in evening.before.items():
        if not (evening.turned and name in TURNED):
            setattr(part_of(space, part), name, as_it_is_now(value))
    if evening.by == EEVEE and not any(one.by == EEVEE for one in _evenings.values()):
        _unlight(scene, evening.engine)
    if not _evenings:
        _prepared.clear()
    area.tag_redraw()


def leave_all() -> None:
    """Turn every view back."""
    for area, _ in list(open_views()):
        leave(bpy.context.scene, area)


def part_of(space: Any, part: str) -> Any:
    """A view's part by the name that KEPT has for it; the view itself for none."""
    return getattr(space, part) if part else space


@frozen
class NamedObject:
    """An object of the file that undo or deleting may take away, as Blender knows it through a session."""

    session_uid: int


def as_it_is_now(value: Any) -> Any:
    """A copied value, to be set; nothing where it was an object that is gone."""
    if not isinstance(value, NamedObject):
        return value
    objects: Any = bpy.data.objects
    return next((thing for thing in objects if thing.session_uid == value.session_uid), None)


def copied(value: Any) -> Any:
    """A setting's value, to be set again with `as_it_is_now`."""
    if isinstance(value, bpy.types.Object):
        return NamedObject(value.session_uid)
    is_row = hasattr(value, "__len__") and not isinstance(value, str)
    return tuple(value) if is_row else value


def _light(scene: Any) -> None:
    """What EEVEE needs beside the scene that is worked in: stars, and the light around street lamps."""
    frames = live.shown_frames(scene)
    scene.render.engine = compat.EEVEE
    looks.set_eevee(scene)
    if frames is not None and scene.library is None:
        with live.handlers_paused():
            nightlights.draw_pools(scene, frames)
            starfield.draw_stars(scene, frames)


def _unlight(scene: Any, engine: str) -> None:
    if str(scene.render.engine) == compat.EEVEE:
        scene.render.engine = engine
    with live.handlers_paused():
        for part in (nightlights.POOL_PART, starfield.PART):
            for thing in parts.objects_of(scene, part):
                parts.remove(thing)


# ---------------------------------------------------------------- where the picture is


def fit(scene: Any, area: Any) -> None:
    """Zoom a camera view so that the whole picture fits between what covers the view's edges."""
    plan = live.plan_of(scene)
    if plan is not None:
        fit_camera(area, plan.clip.width_px / plan.clip.height_px)


def fit_camera(area: Any, aspect: float) -> None:
    """The same for a picture of any width over height, which fills the camera's frame across."""
    region = next(r for r in area.regions if r.type == "WINDOW")
    free = free_of(area, region)
    if region.width < 2 or free.width < 2 or free.height < 2:
        return
    width = min(free.width, free.height * aspect)
    view = area.spaces.active.region_3d
    factor = width / region.width  # at 1, the sensor fits across the region
    view.view_camera_zoom = 50.0 * (2.0 * math.sqrt(factor) - ROOT_2)
    shift = (
        free.left + free.width / 2.0 - region.width / 2.0,
        free.bottom + free.height / 2.0 - region.height / 2.0,
    )
    sides = (region.width, region.height)
    view.view_camera_offset = [
        -offset / (2.0 * factor * side) for offset, side in zip(shift, sides, strict=True)
    ]


def picture_rect(scene: Any, region: Any, view: Any) -> Rect | None:
    """Where a camera view has the picture, as Blender frames it."""
    plan = live.plan_of(scene)
    if plan is None:
        return None
    factor = (view.view_camera_zoom / 50.0 + ROOT_2) ** 2 / 4.0
    width = factor * region.width
    height = width * plan.clip.height_px / plan.clip.width_px
    middle = [
        side / 2.0 - 2.0 * factor * side * offset
        for side, offset in zip((region.width, region.height), view.view_camera_offset, strict=True)
    ]
    return Rect(middle[0] - width / 2.0, middle[1] - height / 2.0, width, height)


def free_of(area: Any, region: Any) -> Rect:
    """The part of a region that toolbar, sidebar and headers leave free."""
    left, bottom = MARGIN_PX, MARGIN_PX + BELOW_PX
    right, top = region.width - MARGIN_PX, region.height - MARGIN_PX
    preferences: Any = bpy.context.preferences
    if preferences.system.use_region_overlap:
        for other in area.regions:
            if other.type not in {"TOOLS", "UI", "HEADER", "TOOL_HEADER", "ASSET_SHELF"} or other.width < 2:
                continue
            if other.alignment == "LEFT":
                left = max(left, other.x + other.width - region.x + MARGIN_PX)
            elif other.alignment == "RIGHT":
                right = min(right, other.x - region.x - MARGIN_PX)
            elif other.alignment == "TOP" and other.height > 1:
                top = min(top, other.y - region.y - MARGIN_PX)
            elif other.alignment == "BOTTOM" and other.height > 1:
                bottom = max(bottom, other.y + other.height - region.y + MARGIN_PX)
    return Rect(left, bottom, right - left, top - bottom)


# ---------------------------------------------------------------- drawing


def draw(context: Any) -> Rect | None:
    """The picture of the frame that is shown; returns where it is. Called when Blender draws the view."""
    space, view = context.space_data, context.region_data
    evening = _evenings.get(space.as_pointer())
    if evening is None:
        return None
    if view.view_perspective != "CAMERA":
        evening.turned = True
        soon(_leave_turned)
        return None
    scene = context.scene
    rect = picture_rect(scene, context.region, view)
    frames = live.shown_frames(scene)
    if evening.by == PLAIN and rect is not None and frames is not None:
        _draw_plain(scene, frames, rect)
    return rect


def _draw_plain(scene: Any, frames: FrameTable, rect: Rect) -> None:
    ready = _prepared.get(scene.session_uid)
    if ready is None or ready.frames is not frames:
        soon(_prepare)
    if ready is None or ready.picture is None:
        told = say("Preparing the picture …")
        letters_px = LETTERS_PX * ui_scale()
        left = rect.left + (rect.width - text_width(0, told, letters_px)) / 2.0
        write(0, told, left, rect.bottom + rect.height / 2.0, TEXT_COLOUR)
        return
    if ready.drawing is None:
        ready.drawing = EveningDrawing(ready.picture)
    number = min(readout.frame_number(frames, scene.frame_current), len(ready.frames) - 1) + 1
    size = max(1, round(rect.width)), max(1, round(rect.height))
    texture = ready.drawing.show(number, size, scene.duskrail.show_limits)
    draw_texture_2d(texture, (round(rect.left), round(rect.bottom)), round(rect.width), round(rect.height))


def soon(what: Any) -> None:
    """Have something done as soon as Blender doesn't draw: what is drawn may not be changed meanwhile."""
    if not bpy.app.timers.is_registered(what):
        bpy.app.timers.register(what, first_interval=0.0)


def _prepare() -> None:
    """Prepare the pictures of the plans that are shown, where they lag behind."""
    manager: Any = bpy.context.window_manager
    for window in manager.windows:
        scene = window.scene
        if not any(area.type == "VIEW_3D" and is_on(area.spaces.active) for area in window.screen.areas):
            continue
        frames = live.shown_frames(scene)
        ready = _prepared.get(scene.session_uid)
        if frames is None or (ready is not None and ready.frames is frames):
            continue
        _prepared[scene.session_uid] = Prepared(frames)  # once, even where it can't be done
        viewtransform.table()
        _prepared[scene.session_uid].picture = EveningPicture(scene, frames)
    live.show()


def _leave_turned() -> None:
    for area, space in list(open_views()):
        if _evenings[space.as_pointer()].turned:
            leave(bpy.context.scene, area)
