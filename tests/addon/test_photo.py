"""Photographs in the scene: each through its own camera, pinned by clicks, and made into blocks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
import piexif
import pytest
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Vector
from PIL import Image

from blender_addon.scene import photos
from blender_addon.state import live
from planner_core import Plan
from planner_core.photo import camera, panorama
from planner_core.photo.editing import corner_at, corners
from planner_core.photo.sightings import FARTHEST_M
from planner_core.place.ground import ground_under_m
from planner_core.plan.model import Photo
from tests.two_towers import plan

WIDTH, HEIGHT = 640, 480
TRUE = Photo(
    file="visit.jpg",
    width_px=WIDTH,
    height_px=HEIGHT,
    place_m=(0.3, -6.0, 1.7),
    bearing_deg=275.0,
    altitude_deg=3.0,
    roll_deg=1.5,
    fov_deg=62.0,
)


def taken(folder: Path, orientation: int = 1) -> Path:
    """A picture file as the photograph above, with a focal length that gives its field of view."""
    equivalent = 36.0 / 2.0 / np.tan(np.radians(TRUE.fov_deg) / 2.0)
    # the 35 mm equivalent compares diagonals (CIPA DCG-001): 4:3 has another than 3:2
    equivalent *= np.hypot(36.0, 24.0) / np.hypot(36.0, 27.0)
    tags = {
        "0th": {piexif.ImageIFD.Orientation: orientation},
        "Exif": {piexif.ExifIFD.FocalLengthIn35mmFilm: round(equivalent)},
    }
    path = folder / TRUE.file
    Image.new("RGB", (WIDTH, HEIGHT), (90, 120, 160)).save(path, exif=piexif.dump(tags))
    return path


def seen_at(one: Plan, photo: Photo, place_m: Any) -> tuple[float, float]:
    """Where a photograph shows a place, in pixels."""
    north = one.site.scene_north_deg
    aim = camera.photo_rotation(photo, north)
    away = np.asarray(place_m) - np.asarray(photo.place_m)
    ((x, y),) = camera.pixels(photo, [away], aim, camera.focal_px(photo))
    return float(x), float(y)


def begun(scene: Any, path: Path) -> Plan:
    live.set_plan(scene, plan())
    assert bpy.ops.duskrail.photo_add(filepath=str(path), where="CURSOR") == {"FINISHED"}
    known = live.plan_of(scene)
    assert known is not None
    return known


def test_a_photographs_camera_sees_what_the_core_says_the_photograph_shows(empty: Any) -> None:
    one = attrs.evolve(plan(), photos=(TRUE,))
    live.set_plan(empty, one)
    seen_by = photos.camera_of(empty, TRUE.file)
    empty.view_layers[0].update()
    clip_height = WIDTH * one.clip.height_px / one.clip.width_px  # the camera's frame has the clip's shape
    for corner in corners(one):
        spot: Any = world_to_camera_view(empty, seen_by, Vector(corner.place_m))
        if spot.z > 0.1:
            ours = (spot.x * WIDTH, HEIGHT / 2.0 + (0.5 - spot.y) * clip_height)
            assert ours == pytest.approx(seen_at(one, TRUE, corner.place_m), abs=0.05)


def test_a_file_without_place_or_direction_is_taken_and_says_how_many_pins_it_needs(
    empty: Any, tmp_path: Path
) -> None:
    known = begun(empty, taken(tmp_path))
    (photo,) = known.photos
    assert photo.file == TRUE.file
    assert photo.fov_deg == pytest.approx(TRUE.fov_deg, abs=1.5)
    background = photos.background_of(photos.camera_of(empty, TRUE.file))
    assert background.image.size[:] == (WIDTH, HEIGHT)
    assert background.frame_method == "CROP"  # 4:3 is higher than the clip


def test_four_pins_and_more_find_where_the_photograph_was_taken(empty: Any, tmp_path: Path) -> None:
    known = begun(empty, taken(tmp_path))
    seen = [
        (corner, seen_at(known, TRUE, corner.place_m))
        for corner in corners(known)
        if 0 <= seen_at(known, TRUE, corner.place_m)[0] <= WIDTH
        and 0 <= seen_at(known, TRUE, corner.place_m)[1] <= HEIGHT
    ]
    assert len(seen) >= 6
    some = seen[:: max(1, len(seen) // 8)]
    for corner, point in some:
        done = bpy.ops.duskrail.photo_pin(photo=0, block=corner.block, corner_name=corner.name, point=point)
        assert done == {"FINISHED"}
    after = live.plan_of(empty)
    assert after is not None
    (photo,) = after.photos
    assert len(photo.pins) == len(some)
    assert photo.bearing_deg == pytest.approx(TRUE.bearing_deg, abs=0.1)
    assert photo.roll_deg == pytest.approx(TRUE.roll_deg, abs=0.1)
    assert photo.place_m == pytest.approx(TRUE.place_m, abs=0.3)
    moved = photos.camera_of(empty, TRUE.file).matrix_basis.translation
    assert tuple(moved) == pytest.approx(photo.place_m, abs=1e-4)
    assert bpy.ops.duskrail.photo_unpin(photo=0, pin=0) == {"FINISHED"}
    fewer = live.plan_of(empty)
    assert fewer is not None
    assert len(fewer.photos[0].pins) == len(some) - 1


def test_a_click_means_the_corner_that_is_nearest_to_it() -> None:
    one = attrs.evolve(plan(), photos=(TRUE,))
    for corner in list(corners(one))[:8]:
        x, y = seen_at(one, TRUE, corner.place_m)
        found = corner_at(one, TRUE, (x + 1.0, y - 1.0), 4.0)
        assert found is not None
        assert seen_at(one, TRUE, found.place_m) == pytest.approx((x, y), abs=3.0)
    assert corner_at(one, TRUE, (-5000.0, -5000.0), 4.0) is None


def test_foot_and_top_make_a_block_that_stands_where_they_are_seen(empty: Any) -> None:
    one = attrs.evolve(plan(), photos=(TRUE,))
    live.set_plan(empty, one)
    away = -camera.photo_rotation(TRUE, one.site.scene_north_deg)[:, 2]
    foot_m = np.array([TRUE.place_m[0] + 12.0 * away[0], TRUE.place_m[1] + 12.0 * away[1], 0.0])
    foot_m[2] = ground_under_m(one, (float(foot_m[0]), float(foot_m[1]), np.inf))
    top_m = foot_m + np.array([0.0, 0.0, 2.5])
    foot, top = (seen_at(one, TRUE, place) for place in (foot_m, top_m))
    assert bpy.ops.duskrail.photo_block(photo=0, foot=foot, top=top, called="Hut") == {"FINISHED"}
    after = live.plan_of(empty)
    assert after is not None
    made = after.blocks[-1]
    assert made.name == "Hut"
    assert made.centre_m is not None
    assert made.size_m is not None
    assert made.centre_m[:2] == pytest.approx(tuple(foot_m[:2]), abs=0.1)
    assert made.size_m[2] == pytest.approx(2.5, abs=0.05)
    with pytest.raises(RuntimeError, match="meets no ground; give its distance"):
        bpy.ops.duskrail.photo_block(photo=0, foot=top, top=foot)
    assert live.plan_of(empty) == after


def test_clicks_along_a_skyline_make_a_ridge_at_its_distance(empty: Any) -> None:
    live.set_plan(empty, attrs.evolve(plan(), photos=(TRUE,)))
    points = " ".join(f"{x},{200 - x / 10}" for x in range(0, WIDTH, 160))
    assert bpy.ops.duskrail.photo_ridge(photo=0, points=points, distance=5000.0) == {"FINISHED"}
    after = live.plan_of(empty)
    assert after is not None
    made = after.blocks[-1]
    assert made.shape == "ridge"
    assert made.distance_m == 5000.0 < FARTHEST_M
    assert made.skyline_deg is not None
    assert len(made.skyline_deg) == 4


def test_a_photograph_taken_out_leaves_no_camera_behind(empty: Any, tmp_path: Path) -> None:
    begun(empty, taken(tmp_path))
    assert bpy.ops.duskrail.photo_remove(photo=0) == {"FINISHED"}
    assert photos.camera_of(empty, TRUE.file) is None
    after = live.plan_of(empty)
    assert after is not None
    assert after.photos == ()


def test_what_is_no_photograph_is_refused_and_changes_nothing(empty: Any, tmp_path: Path) -> None:
    live.set_plan(empty, plan())
    before = live.plan_of(empty)
    bad = tmp_path / "notes.jpg"
    bad.write_text("no picture", encoding="utf-8")
    with pytest.raises(RuntimeError, match="is not a JPEG"):
        bpy.ops.duskrail.photo_add(filepath=str(bad))
    assert live.plan_of(empty) == before


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_picture_is_shown_upright_however_the_camera_was_held(orientation: int, tmp_path: Path) -> None:
    # Pillow's exif_transpose as the reference
    from PIL import ImageOps

    stored = Image.fromarray(np.arange(4 * 6 * 3, dtype=np.uint8).reshape(4, 6, 3))
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / "turned.png"
    stored.save(path, exif=exif)
    with Image.open(path) as opened:
        expected = np.asarray(ImageOps.exif_transpose(opened))
    ours = photos.turned_upright(np.asarray(stored)[::-1], orientation)[::-1]
    assert np.array_equal(ours, expected)


PANORAMA = attrs.evolve(
    TRUE, file="round.png", width_px=1200, height_px=300, fov_deg=200.0, projection="cylinder", roll_deg=4.0
)


@pytest.mark.parametrize("look_deg", [0.0, 40.0, -90.0])
def test_a_panorama_stands_behind_the_blocks_where_it_shows_them(
    look_deg: float, empty: Any, tmp_path: Path
) -> None:
    here = attrs.evolve(plan(), photos=(PANORAMA,))
    columns, rows = np.meshgrid(np.linspace(0, 1, 1200), np.linspace(0, 1, 300))
    told = np.stack([columns, rows, np.zeros_like(rows)], axis=-1)  # a picture that says where one is in it
    Image.fromarray((255.0 * told).round().astype(np.uint8)).save(tmp_path / PANORAMA.file)
    photos.draw_photos(empty, here)
    one = photos.camera_of(empty, PANORAMA.file)
    photos.show_picture(one, here, PANORAMA, tmp_path / PANORAMA.file, 1)
    photos.turn_panorama(empty, here, 0, look_deg)
    shown = photos.background_of(one).image
    empty.render.resolution_x, empty.render.resolution_y = shown.size
    empty.view_layers[0].update()
    flat = photos._pixels(shown)
    held = panorama.held_deg(PANORAMA, look_deg)
    assert abs(held) == min(
        abs(look_deg), 55.0
    )  # it shows 100° to either side, and the camera sees 45° of it
    for off_deg, rise in ((-30.0, 0.0), (0.0, 8.0), (25.0, -6.0)):
        bearing = np.radians(PANORAMA.bearing_deg + held + off_deg - here.site.scene_north_deg)
        place = np.asarray(PANORAMA.place_m) + 80.0 * np.array([np.sin(bearing), np.cos(bearing), 0.0])
        place[2] += rise
        spot: Any = world_to_camera_view(empty, one, Vector(place))
        x, y = seen_at(here, PANORAMA, place)
        there = flat[int(spot.y * shown.size[1]), int(spot.x * shown.size[0])]
        # a byte of colour is five pixels across the panorama and one down
        assert there[0] * 1200.0 == pytest.approx(x, abs=6.0)
        assert there[1] * 300.0 == pytest.approx(y, abs=3.0)
        assert there[3] == 1.0


def test_what_a_panorama_does_not_show_stays_clear(tmp_path: Path) -> None:
    narrow = attrs.evolve(PANORAMA, fov_deg=80.0, height_px=1000)
    assert panorama.view_deg(narrow) == 80.0
    white = np.ones((1000, 1200, 3), np.float32)
    flat = photos.flat_picture(white, narrow, 0.0, 200, 300)
    assert flat[150, 100, 3] == 1.0
    assert flat[0, 0, 3] == 0.0  # far up at the side of a flat picture, a cylinder has ended
