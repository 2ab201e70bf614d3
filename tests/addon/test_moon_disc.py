"""The moon of the fast look: as much of it lit as there is that evening, and on the side of the sun."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
import pytest

from blender_addon import compat
from blender_addon.render import engines, looks
from planner_core import FrameTable, Plan, compute_frames
from planner_core.light.sky import SUN_RADIUS_RAD
from planner_core.plan.file import plan_from_dict
from tests.addon.scenes import drawn
from tests.two_towers import document

SIZE = (160, 90)
LENS_MM = 1500.0
FIRST_DAY = dt.date(2027, 3, 9)  # a new moon was on the 8th: value from memory
PHASES = (3, 5, 8, 10, 13, 17, 20, 23)  # days after it


def watched(day: dt.date) -> FrameTable:
    """Two frames with the moon in their middle, at the hour of that night when it stands highest and the sun
    is down.
    """
    plan = at_hour(day, 18.0, 0.0, 30.0)
    evenings = [
        compute_frames(attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, start=start(day, hour))))
        for hour in np.arange(17.0, 33.0, 0.5)
    ]
    dark = [frames for frames in evenings if frames.sun_altitude_deg[0] < -1.0]
    best = max(dark, key=lambda frames: float(frames.moon_altitude_deg[0]))
    assert best.moon_altitude_deg[0] > 5.0
    made = at_hour(day, 0.0, float(best.moon_azimuth_deg[0]), float(best.moon_altitude_deg[0]))
    return compute_frames(attrs.evolve(made, shoot=best.plan.shoot))


def start(day: dt.date, hour: float) -> dt.datetime:
    return dt.datetime.combine(day, dt.time()) + dt.timedelta(hours=hour)


def at_hour(day: dt.date, hour: float, pan_deg: float, tilt_deg: float) -> Plan:
    made = document(composition=None, site__scene_north_deg=0.0, camera__focal_length_mm=LENS_MM)
    made["rig"]["pan"].update(min_deg=-360.0, max_deg=720.0)
    made["rig"]["tilt"].update(min_deg=-90.0, max_deg=90.0)
    made["move"]["poses"] = [
        {"at": at, "slide_m": 0.5, "pan_deg": pan_deg, "tilt_deg": tilt_deg} for at in (0.0, 1.0)
    ]
    made["shoot"] = {
        "frames": 2,
        "interval_s": 10.0,
        "write_s": 1.0,
        "start": start(day, hour).isoformat(),
    }
    made["blocks"] = made["blocks"][:1]
    return plan_from_dict(made)


def picture(frames: FrameTable, path: Path) -> Any:
    """Luminance of the first frame in the fast look, the top row first."""
    scene, _ = drawn(frames.plan)
    scene.render.resolution_x, scene.render.resolution_y = SIZE
    workbench = engines.Engine(name=compat.WORKBENCH, words="Workbench")
    look = looks.Look(scene, frames, workbench, still=True)
    look.show(1)
    compat.choose_image(scene.render.image_settings, "OPEN_EXR")
    scene.render.filepath, scene.render.use_file_extension = str(path), False
    bpy.ops.render.render(write_still=True, scene=scene.name)
    image: Any = bpy.data.images.load(str(path))
    pixels = np.empty(SIZE[0] * SIZE[1] * 4, dtype=np.float32)
    image.pixels.foreach_get(pixels)
    bpy.data.images.remove(image)
    return pixels.reshape(SIZE[1], SIZE[0], 4)[::-1, :, :3].astype(float).sum(axis=-1)


def bright_limb_deg(frames: FrameTable) -> float:
    """Position angle of the sun from the moon, from the zenith towards growing azimuths; spherical
    trigonometry, any handbook.
    """
    sun_az, sun_alt, moon_az, moon_alt = np.radians(
        [
            frames.sun_azimuth_deg[0],
            frames.sun_altitude_deg[0],
            frames.moon_azimuth_deg[0],
            frames.moon_altitude_deg[0],
        ]
    )
    across = np.cos(sun_alt) * np.sin(sun_az - moon_az)
    up = np.sin(sun_alt) * np.cos(moon_alt) - np.cos(sun_alt) * np.sin(moon_alt) * np.cos(sun_az - moon_az)
    return float(np.degrees(np.arctan2(across, up)))


@pytest.mark.parametrize("days", PHASES)
def test_the_moons_lit_part_is_as_large_as_it_is_and_faces_the_sun(days: int, tmp_path: Path) -> None:
    if not engines.this_machine().opengl:
        pytest.skip("no OpenGL here")
    frames = watched(FIRST_DAY + dt.timedelta(days=days))
    shown = picture(frames, tmp_path / "moon.exr")
    sky = np.median(shown[:, :20])
    lit = np.clip((shown - sky) / (np.percentile(shown, 99.9) - sky), 0.0, 1.0)
    lit[lit < 0.1] = 0.0
    focal_px = LENS_MM / 36.0 * SIZE[0]
    disc_px = np.pi * (focal_px * np.tan(SUN_RADIUS_RAD)) ** 2
    share = float(frames.moon_lit_fraction[0])
    assert lit.sum() / disc_px == pytest.approx(share, abs=0.03)
    if share < 0.9:  # a full moon has no side
        rows, columns = np.indices(lit.shape)
        right = (lit * (columns - (SIZE[0] - 1) / 2.0)).sum()
        up = -(lit * (rows - (SIZE[1] - 1) / 2.0)).sum()
        off = np.degrees(np.arctan2(right, up)) - bright_limb_deg(frames)
        assert (off + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=3.0)
