"""The shadow of a post lies where the sun of DE421 puts it, at three places, seen from above."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Matrix

from blender_addon import compat
from blender_addon.render import engines, looks, pictures
from blender_addon.scene import parts
from planner_core import compute_frames
from planner_core.plan.file import plan_from_dict
from tests.addon.renders import seen_from_above
from tests.addon.scenes import drawn
from tests.de421 import Ephemeris421
from tests.two_towers import document

POST_M, RADIUS_M = 2.0, 0.03
SIZE_PX = 480

PLACES = {
    "north, morning": (43.46, -3.79, "Europe/Madrid", "2027-03-14T09:40:00", 270.0),
    "south, afternoon": (-33.45, 151.4, "Australia/Sydney", "2027-11-02T16:30:00", 17.0),
    "tropics, sun in the north": (1.35, 103.8, "Asia/Singapore", "2027-06-21T15:10:00", 131.5),
}


def post_at(latitude: float, longitude: float, zone: str, start: str, north: float) -> Any:
    made = document(
        site__latitude_deg=latitude,
        site__longitude_deg=longitude,
        site__timezone=zone,
        site__scene_north_deg=north,
        rig__origin_m=[40.0, 0.0, 0.9],
    )
    made["shoot"] = {"frames": 3, "interval_s": 600.0, "write_s": 1.0, "start": start}
    made["blocks"] = [
        {
            "name": "North silo",
            "role": "subject",
            "shape": "post",
            "centre_m": [0, 0, POST_M / 2],
            "size_m": [2 * RADIUS_M, 2 * RADIUS_M, POST_M],
        }
    ]
    return plan_from_dict(made)


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
def test_a_posts_shadow_has_the_suns_length_and_direction(place: Any, tmp_path: Path) -> None:
    plan = post_at(*place)
    frames = compute_frames(plan)
    scene, _ = drawn(plan)
    scene.frame_set(2)
    sun, post = parts.object_of(scene, "sun"), parts.objects_of(scene, "block")[0]
    assert sun is not None
    sun.data.angle = 0.0  # type: ignore[union-attr]  # a sharp edge to measure at
    post.visible_camera = False
    azimuth, altitude = _apparent_sun(float(frames.utc_s[1]), place[0], place[1])
    length = POST_M / np.tan(np.radians(altitude))
    width = 2.2 * length
    picture = seen_from_above(scene, (0.0, 0.0), width, SIZE_PX, 1, tmp_path / "shadow.exr").sum(axis=-1)
    places = ((np.arange(SIZE_PX) + 0.5) / SIZE_PX - 0.5) * width
    bright = np.median(picture)
    rows, columns = np.nonzero(picture < 0.75 * bright)
    x, y = places[columns], places[rows]
    far = np.hypot(x, y) > 0.25 * length
    bearing = np.degrees(np.arctan2(x[far].mean(), y[far].mean())) + plan.site.scene_north_deg
    off = (bearing - (azimuth + 180.0) + 180.0) % 360.0 - 180.0
    assert off == pytest.approx(0.0, abs=0.2)
    turn = np.radians(bearing - plan.site.scene_north_deg)
    reach = np.max(x * np.sin(turn) + y * np.cos(turn)) + width / SIZE_PX / 2.0 - RADIUS_M
    assert reach == pytest.approx(length, rel=0.01)


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
def test_shadows_of_the_fast_look_fall_away_from_the_sun(place: Any, tmp_path: Path) -> None:
    if not engines.this_machine().opengl:
        pytest.skip("no OpenGL here")
    plan = post_at(*place)
    frames = compute_frames(plan)
    scene, _ = drawn(plan)
    look = looks.Look(scene, frames, engines.choose_engine("fast", compat.WORKBENCH))
    look.show(2)
    length = POST_M / np.tan(np.radians(frames.sun_altitude_deg[1]))
    camera: Any = scene.camera
    height, width = 60.0, 2.4 * length
    camera.parent = None
    camera.matrix_world = Matrix.Translation((0.0, 0.0, height))
    camera.data.sensor_width = camera.data.sensor_height = 36.0
    camera.data.lens = 36.0 * height / width
    scene.render.resolution_x = scene.render.resolution_y = SIZE_PX
    scene.render.filepath = str(tmp_path / "fast.png")
    scene.render.use_file_extension = False
    bpy.ops.render.render(write_still=True, scene=scene.name)
    picture = pictures.read_picture(tmp_path / "fast.png")[::-1].astype(float).sum(axis=-1)
    places = ((np.arange(SIZE_PX) + 0.5) / SIZE_PX - 0.5) * width
    rows, columns = np.nonzero(picture < 0.9 * np.median(picture))
    x, y = places[columns], places[rows]
    far = (np.hypot(x, y) > 0.35 * length) & (np.hypot(x, y) < 1.1 * length)
    bearing = np.degrees(np.arctan2(x[far].mean(), y[far].mean())) + plan.site.scene_north_deg
    off = (bearing - (frames.sun_azimuth_deg[1] + 180.0) + 180.0) % 360.0 - 180.0
    assert off == pytest.approx(0.0, abs=1.5)
    assert np.hypot(x[far], y[far]).max() == pytest.approx(length, rel=0.06)


def _apparent_sun(utc_s: float, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    """Azimuth and refracted altitude by DE421, degrees."""
    truth = Ephemeris421()
    seen = truth.place(latitude_deg, longitude_deg).at(truth.times([utc_s])).observe(truth.bodies["sun"])
    altitude, azimuth, _ = seen.apparent().altaz(temperature_C=10.0, pressure_mbar=1010.0)
    return float(azimuth.degrees[0]), float(altitude.degrees[0])
