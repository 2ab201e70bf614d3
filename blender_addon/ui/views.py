"""What the 3D views look at. Views belong to the window, not to the scene: nothing here changes the plan."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any

import bpy
import numpy as np
from mathutils import Euler, Vector

from planner_core import FrameTable
from planner_core.output import readout

from ..scene import parts
from ..state import live

DOWN_DEG = 24.0  # how steeply the place is looked down on
BACK_SHARE = 3.0  # of the sky's radius: the whole ring of the horizon is in sight
NEAR_SHARE = (
    0.004  # of the distance looked from; nearer, water and ground flicker through each other far away
)
FAR_M = 20000.0
SOON_S, AT_ONCE_S = 0.3, 0.02
FITS_OF_IMAGE = 4

_framed: dict[int, set[int]] = {}  # timelines that have shown the whole move, for scenes a plan came into


def _views(context: Any) -> Iterator[Any]:
    """The 3D views' spaces of the window, those that have a view to turn."""
    window = context.window
    for area in window.screen.areas if window else ():
        if area.type == "VIEW_3D" and area.spaces.active.region_3d is not None:
            yield area.spaces.active


def _set(space: Any, perspective: str) -> Any:
    """Have a space draw near and far things, in the blocks' own colours."""
    space.clip_end = max(space.clip_end, FAR_M)
    space.shading.color_type = "OBJECT"
    space.region_3d.view_perspective = perspective
    space.show_object_viewport_camera = perspective != "CAMERA"  # ghost cameras would look like crops
    return space.region_3d


def _behind(view: Any, frames: FrameTable, distance_m: float, forward_m: float) -> None:
    """Look the way the lens does half way through, from above and behind."""
    middle = len(frames) // 2
    ahead = -frames.camera_rotation[middle][:, 2]
    bearing = math.atan2(float(ahead[0]), float(ahead[1]))
    view.view_rotation = Euler((math.radians(90.0 - DOWN_DEG), 0.0, -bearing)).to_quaternion()
    view.view_location = Vector(frames.camera_m[middle]) + forward_m * Vector(
        (math.sin(bearing), math.cos(bearing), 0.0)
    )
    view.view_distance = distance_m


def show_place(context: Any, scene: bpy.types.Scene) -> None:
    """Look at what was blocked out, over the rig, with the sky's ways in sight."""
    frames = live.frames_of(scene)
    if frames is not None:
        reach = readout.sky_radius_m(frames.plan)
        for space in _views(context):
            space.clip_start = NEAR_SHARE * BACK_SHARE * reach
            _behind(_set(space, "PERSP"), frames, BACK_SHARE * reach, 0.15 * reach)


def show_rig(context: Any, scene: bpy.types.Scene) -> None:
    """Look at rail and poses from nearby."""
    frames = live.frames_of(scene)
    if frames is not None:
        size = float(np.ptp(frames.camera_m, axis=0).max()) if len(frames) > 1 else 0.0
        slide = frames.plan.rig.slide
        length = max(size, slide.max_m - slide.min_m if slide else 0.0, 0.8)
        for space in _views(context):
            space.clip_start = NEAR_SHARE * 2.2 * length
            _behind(_set(space, "PERSP"), frames, 2.2 * length, 0.0)


def show_picture(context: Any, scene: Any) -> None:
    """Look through the rig's camera."""
    camera = parts.object_of(scene, "camera")
    if camera is not None:
        if scene.library is None:
            scene.camera = camera
        for space in _views(context):
            _set(space, "CAMERA")


def show_all_of(context: Any, scene: bpy.types.Scene) -> None:
    """Look at a plan that has just come into the window: its place, and the whole move in the timelines of
    every workspace.
    """
    show_place(context, scene)
    _framed[scene.session_uid] = set()
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "DOPESHEET_EDITOR":
                area.tag_redraw()


def frame_when_first_seen(context: Any) -> None:
    """Show the whole move in a timeline, when it is drawn for the first time since the plan came in."""
    area, framed = context.area, _framed.get(context.scene.session_uid)
    if framed is None or area.as_pointer() in framed:
        return
    framed.add(area.as_pointer())
    window = context.window
    # not while it draws, nor before Blender knows of the new frames
    bpy.app.timers.register(lambda: _frame_timeline(window, area), first_interval=AT_ONCE_S)


def _frame_timeline(window: Any, area: Any) -> None:
    """Show all frames in a timeline or dope sheet, if it is still in that window."""
    windows: Any = bpy.context.window_manager
    if window not in list(windows.windows) or area not in list(window.screen.areas):
        return
    region = next((r for r in area.regions if r.type == "WINDOW"), None)
    if region is None:
        return
    with bpy.context.temp_override(window=window, area=area, region=region):
        operators: Any = bpy.ops.action
        if operators.view_all.poll():
            operators.view_all()


def show_in_local_view(context: Any, objects: Iterable[bpy.types.Object]) -> None:
    """Have objects that were just made seen also in views that show a few objects only."""
    for space in _views(context):
        if space.local_view is not None:
            for made in objects:
                made.local_view_set(space, True)


def view_under(context: Any, event: Any) -> tuple[Any, Any] | None:
    """The 3D view under the mouse: its area and the region that shows the scene."""
    for area in context.screen.areas:
        if area.type != "VIEW_3D":
            continue
        regions = [
            region
            for region in area.regions
            if region.x <= event.mouse_x < region.x + region.width
            and region.y <= event.mouse_y < region.y + region.height
        ]
        if any(region.type not in ("WINDOW", "XR") and region.width > 1 for region in regions):
            continue  # a header or sidebar lies over it
        for region in regions:
            if region.type == "WINDOW":
                return area, region
    return None


def show_image(context: Any, path: str) -> None:
    """Show a picture file in the window's Image Editor, else in that of another window or of a new one."""
    image = bpy.data.images.load(path, check_existing=True)
    image.reload()
    window = context.window
    if window is None:
        return
    others = [other for other in context.window_manager.windows if other != window]
    editors = ((w, a) for w in (window, *others) for a in w.screen.areas if a.type == "IMAGE_EDITOR")
    window, area = next(editors, (window, None))
    if area is None and not bpy.app.background:
        with context.temp_override(window=window):
            bpy.ops.wm.window_new()
        window = context.window_manager.windows[-1]
        area = max(window.screen.areas, key=lambda one: one.width * one.height)
        area.type = "IMAGE_EDITOR"
    if area is None:
        return
    area.spaces.active.image = image
    tries = iter(range(FITS_OF_IMAGE))
    bpy.app.timers.register(lambda: _fit_image(area, tries), first_interval=SOON_S)


def _fit_image(area: Any, tries: Iterator[int]) -> float | None:
    """Zoom an Image Editor to the whole picture; some times over, as a new window is laid out late."""
    manager: Any = bpy.context.window_manager
    for window in manager.windows:
        if area not in list(window.screen.areas):
            continue
        region = next(r for r in area.regions if r.type == "WINDOW")
        with bpy.context.temp_override(window=window, area=area, region=region):
            operators: Any = bpy.ops.image
            if operators.view_all.poll():
                operators.view_all(fit_view=True)
        return SOON_S if next(tries, None) is not None else None
    return None  # closed meanwhile
