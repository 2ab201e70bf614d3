"""The plan's photographs as cameras of their own, each with its picture behind what it looks at."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from planner_core.photo import panorama
from planner_core.plan.model import Photo, Plan

from . import parts

PART = "photo"
COLLECTION_PART = "photos"
FILE_KEY = "duskrail_photo"  # the file that a camera shows, by the plan's name for it
SENSOR_MM = 36.0
NEAR_M, FAR_M = 0.05, 1e5
OPACITY = 0.8  # of a photograph when it comes in
LOOK_KEY = "duskrail_look_deg"  # how far right of a panorama's middle its camera looks
SOURCE_KEY, DRAWN_KEY = "duskrail_panorama", "duskrail_panorama_drawn"  # its picture, and how it is shown
PANORAMA_PX, FLAT_PX = 4096, 1600  # widths: of a panorama as it is kept, and of what is shown of it
STORED_PX = 2048  # as large as a picture that was turned is kept in the .blend


def draw_photos(scene: bpy.types.Scene, plan: Plan) -> None:
    """A camera for each photograph, where the plan has it; cameras of others go."""
    wanted = {photo.file for photo in plan.photos}
    for thing in parts.objects_of(scene, PART):
        if thing.get(FILE_KEY) not in wanted:
            parts.remove(thing)
    for number, photo in enumerate(plan.photos):
        _place(scene, plan, number, photo)


def camera_of(scene: bpy.types.Scene, file: str) -> Any:
    """The camera of a photograph, by its file's name; None where it isn't drawn."""
    return next((one for one in parts.objects_of(scene, PART) if one.get(FILE_KEY) == file), None)


def background_of(camera: Any) -> Any:
    """What a photograph's camera shows behind the place; None where its picture was never found."""
    shown = next(iter(camera.data.background_images), None)
    return shown if shown is not None and shown.image is not None else None


def _place(scene: bpy.types.Scene, plan: Plan, number: int, photo: Photo) -> None:
    camera = camera_of(scene, photo.file)
    if camera is None:
        made: Any = bpy.data.cameras.new(f"Photo {photo.file}")
        among = parts.collection_of(scene, COLLECTION_PART, "Photographs")
        camera = parts.new_object(PART, f"Photo {photo.file}", made, among, number)
        camera[FILE_KEY] = photo.file
        camera.lock_location = camera.lock_rotation = camera.lock_scale = (True, True, True)  # pins move it
        camera.hide_render = True
        made.show_passepartout = False
    parts.number(camera, number)
    look = panorama.held_deg(photo, float(camera.get(LOOK_KEY, 0.0)))
    aim = panorama.flat_rotation(photo, look, plan.site.scene_north_deg)
    turn = Matrix(aim.tolist()).to_4x4()
    camera.matrix_basis = Matrix.Translation(photo.place_m) @ turn
    data = camera.data
    data.sensor_fit, data.sensor_width = "HORIZONTAL", SENSOR_MM
    data.clip_start, data.clip_end = NEAR_M, FAR_M
    data.lens = SENSOR_MM / 2.0 / math.tan(math.radians(panorama.view_deg(photo)) / 2.0)
    shown = background_of(camera)
    if shown is not None:
        if photo.projection != "flat":
            _draw_flat(camera, shown, photo)
        _fill_width(shown, plan, photo)


def turn_panorama(scene: bpy.types.Scene, plan: Plan, number: int, by_deg: float) -> None:
    """Have a panorama's camera look so much farther right, within what the panorama shows."""
    photo = plan.photos[number]
    camera = camera_of(scene, photo.file)
    camera[LOOK_KEY] = panorama.held_deg(photo, float(camera.get(LOOK_KEY, 0.0)) + by_deg)
    _place(scene, plan, number, photo)


def show_picture(camera: Any, plan: Plan, photo: Photo, path: Path, orientation: int) -> None:
    """Put a picture file behind what a photograph's camera looks at. Raises RuntimeError where Blender can't
    read it.
    """
    image = _image(path, orientation)
    before = background_of(camera)
    shown = before or camera.data.background_images.new()
    if photo.projection == "flat":
        shown.image = image
    else:
        camera[SOURCE_KEY], camera[DRAWN_KEY] = _kept_panorama(image).name, ""
        _draw_flat(camera, shown, photo)
    if before is None:
        shown.alpha, shown.display_depth = OPACITY, "BACK"
    _fill_width(shown, plan, photo)
    camera.data.show_background_images = True


def _fill_width(shown: Any, plan: Plan, photo: Photo) -> None:
    """Have the picture as wide as the camera's frame, which has the clip's shape, not the photograph's."""
    is_higher = panorama.aspect(photo) * plan.clip.height_px < plan.clip.width_px
    shown.frame_method = "CROP" if is_higher else "FIT"


def _kept_panorama(image: Any) -> Any:
    """A panorama's picture, small enough to be kept in the .blend."""
    kept = image.copy()
    width, height = kept.size
    factor = min(1.0, PANORAMA_PX / max(width, 1))
    kept.scale(max(1, round(factor * width)), max(1, round(factor * height)))
    kept.pack()
    kept.use_fake_user = True  # nothing but its camera's flat picture shows it
    return kept


def _draw_flat(camera: Any, shown: Any, photo: Photo) -> None:
    """Show what a panorama's camera sees of it, as a flat picture; nothing anew where that hasn't changed."""
    source: Any = bpy.data.images.get(str(camera.get(SOURCE_KEY, "")))
    look = panorama.held_deg(photo, float(camera.get(LOOK_KEY, 0.0)))
    drawn = f"{look:.4f} {photo.fov_deg:.6f}"
    if source is None or camera.get(DRAWN_KEY) == drawn:
        return
    height = max(1, round(FLAT_PX / panorama.aspect(photo)))
    flat = flat_picture(_pixels(source)[::-1], photo, look, FLAT_PX, height)
    before = shown.image
    made: Any = bpy.data.images.new(f"{photo.file} flat", FLAT_PX, height, alpha=True)
    made.pixels.foreach_set(np.ascontiguousarray(flat[::-1]).ravel())
    made.pack()
    shown.image = made
    camera[DRAWN_KEY] = drawn
    if before is not None and before != source and before.users == 0:
        bpy.data.images.remove(before)


def flat_picture(pixels: Any, photo: Photo, look_deg: float, width: int, height: int) -> Any:
    """A flat picture (height, width, 4) of a panorama's pixels (rows, columns, channels), the highest row
    first; clear where the panorama shows nothing.
    """
    spots = panorama.sources_px(photo, look_deg, width, height)
    rows, columns = pixels.shape[:2]
    x = np.floor(spots[..., 0] * columns / photo.width_px).astype(int)
    y = np.floor(spots[..., 1] * rows / photo.height_px).astype(int)
    inside = (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
    flat = np.zeros((height, width, 4), np.float32)
    flat[inside, :3] = pixels[y[inside], x[inside], :3]
    flat[inside, 3] = 1.0
    return flat


def _image(path: Path, orientation: int) -> Any:
    """A picture file, upright: Blender takes no notice of how a camera was held."""
    image: Any = bpy.data.images.load(str(path), check_existing=True)
    if orientation == 1:
        return image
    stored = image if image.users == 0 else image.copy()
    width, height = stored.size
    factor = min(1.0, STORED_PX / max(width, height, 1))
    stored.scale(max(1, round(factor * width)), max(1, round(factor * height)))
    upright = turned_upright(_pixels(stored), orientation)
    made: Any = bpy.data.images.new(path.name, upright.shape[1], upright.shape[0])
    made.pixels.foreach_set(np.ascontiguousarray(upright).ravel())
    made.pack()
    bpy.data.images.remove(stored)
    return made


def _pixels(image: Any) -> Any:
    values = np.empty(len(image.pixels), np.float32)
    image.pixels.foreach_get(values)
    return values.reshape(image.size[1], image.size[0], -1)


def turned_upright(stored: Any, orientation: int) -> Any:
    """Pixels (rows, columns, channels), the lowest row first, of a picture stored in one of EXIF's
    orientations (EXIF 2.32, tag 0x0112), as it is seen.
    """
    rows = stored[::-1]  # the highest first, as the standard counts
    turns = {
        2: lambda p: p[:, ::-1],
        3: lambda p: p[::-1, ::-1],
        4: lambda p: p[::-1],
        5: lambda p: p.swapaxes(0, 1),
        6: lambda p: np.rot90(p, -1),
        7: lambda p: p[::-1, ::-1].swapaxes(0, 1),
        8: lambda p: np.rot90(p, 1),
    }
    return turns.get(orientation, lambda p: p)(rows)[::-1]
