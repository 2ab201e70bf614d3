"""One light in every look: the same places in the pictures of three engines, over several evenings.

Cycles is the measure. Brightness within a quarter of a stop and colours within a tenth, in linear light.
"""

from __future__ import annotations

import contextlib
import functools
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from numpy.typing import NDArray

from blender_addon import compat
from blender_addon.console import silenced
from blender_addon.render import engines, looks
from blender_addon.render.fastcolours import capped
from planner_core import FrameTable, compute_frames
from planner_core.light.colour import LUMINANCE
from planner_core.picture.projection import project_px
from planner_core.plan.file import plan_from_dict
from tests.addon.scenes import drawn
from tests.two_towers import document

Array = NDArray[np.float64]

SIZE = (128, 72)
STOPS, COLOURS = 0.25, 0.10
# local times at which the sun stands at about 40°, 21°, 21°, 2°, −4° and −12°; what cloud leaves a part of
# the light; and whether there is water
EVENINGS = {
    "in the high sun": ("2027-03-14T14:30:00", 1.0, False),
    "in the sun": ("2027-03-14T16:54:00", 1.0, True),
    "under cloud": ("2027-03-14T16:54:00", 3.0, True),
    "before sunset": ("2027-03-14T18:32:00", 1.0, True),
    "at dusk": ("2027-03-14T19:04:00", 1.0, True),
    "at night": ("2027-03-14T19:44:00", 1.0, False),
}

ALWAYS, ALL = {"in the sun", "before sunset"}, "DUSKRAIL_ALL_EVENINGS"


def place_at(start: str, cloud: float, water: bool) -> tuple[FrameTable, dict[str, tuple[int, Array]]]:
    """Two frames, towards the sun and away from it, and places in them: the frame, and where it is."""
    made = document(site__scene_north_deg=0.0, camera__focal_length_mm=18.0, composition=None)
    made["shoot"] = {"frames": 2, "interval_s": 60.0, "write_s": 1.0, "start": start}
    made["shoot"]["cloud_divisor"] = cloud
    made["blocks"] = made["blocks"][:1]
    sun_deg = float(compute_frames(plan_from_dict(made)).sun_azimuth_deg[0])
    turn = np.radians(sun_deg)
    ahead, right = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])

    def at(forward: float, aside: float, high: float) -> Array:
        return np.array([*(forward * ahead + aside * right), high])

    def box(name: str, role: str, middle: Array, size: list[float]) -> dict[str, Any]:
        return {
            "name": name,
            "role": role,
            "shape": "box",
            "centre_m": middle.tolist(),
            "size_m": size,
            "turn_deg": sun_deg,
        }

    made["blocks"] = [
        box("West house", "subject", at(40, 16, 5), [12, 10, 10]),
        box("East house", "background", at(-40, -14, 5), [12, 10, 10]),
        *([box("Bay", "water", at(1050, -100, -0.5), [600, 2000, 1.02])] if water else []),
        {
            "name": "Hills",
            "role": "background",
            "shape": "ridge",
            "distance_m": 4000,
            "skyline_deg": [
                [sun_deg - 60, 2.0],
                [sun_deg - 25, 4.0],
                [sun_deg - 5, 0.6],
                [sun_deg + 12, 1.0],
                [sun_deg + 60, 3.0],
            ],
        },
    ]
    made["rig"]["origin_m"] = [0, 0, 7.0]
    made["rig"]["pan"].update(
        min_deg=-360.0, max_deg=720.0, max_speed_deg_s=90.0, max_acceleration_deg_s2=90.0
    )
    made["move"]["poses"] = [
        {"at": 0.0, "slide_m": 0.2, "pan_deg": sun_deg, "tilt_deg": 0.0},
        {"at": 1.0, "slide_m": 0.2, "pan_deg": sun_deg + 180.0, "tilt_deg": 0.0},
    ]
    frames = compute_frames(plan_from_dict(made))

    def in_the_sky(aside_deg: float, high_deg: float) -> Array:
        aside, high = np.radians(aside_deg), np.radians(high_deg)
        return frames.camera_m[0] + at(
            1e4 * np.cos(aside) * np.cos(high), 1e4 * np.sin(aside) * np.cos(high), 1e4 * np.sin(high)
        )

    return frames, {
        "card": (1, at(20, -8, 0)),
        "card before the other side": (2, at(-20, -8, 0)),
        "wall turned away": (1, at(35, 16, 8.5)),
        "wall towards the sun": (2, at(-35, -14, 8.5)),
        "shade": (1, at(24.5, 16, 0)),
        **({"water": (1, at(110, -45, 0)), "water towards the sun": (1, at(110, 10, 0))} if water else {}),
        "hill": (1, in_the_sky(-25, 2.0)),
        "sky high above the sun": (1, in_the_sky(0, 22)),
        "sky beside the sun": (1, in_the_sky(-35, 12)),
        "low sky beside the sun": (1, in_the_sky(35, 8)),
        "low sky opposite": (2, in_the_sky(180, 8)),
        "high sky opposite": (2, in_the_sky(180, 22)),
    }


def pictures(frames: FrameTable, engine: str, folder: Path) -> dict[int, Array]:
    """Both frames in linear light, the top row first."""
    scene, _ = drawn(frames.plan, bpy.data.scenes.new("Draft"))
    scene.render.resolution_x, scene.render.resolution_y = SIZE
    # a still's samples for the measure; EEVEE draws in software here, slowly
    still = engine == compat.CYCLES
    shown = looks.Look(scene, frames, engines.Engine(name=engine, words=engine), still=still)
    compat.choose_image(scene.render.image_settings, "OPEN_EXR")
    scene.render.image_settings.color_depth = "32"
    scene.render.use_file_extension = scene.render.use_compositing = False
    found = {}
    with compat.window_on(scene) if shown.goes_by_keys else contextlib.nullcontext():
        for number in (1, 2):
            shown.show(number)
            scene.render.filepath = str(folder / f"{number}.exr")
            with silenced():
                bpy.ops.render.render(write_still=True, scene=scene.name)
            image: Any = bpy.data.images.load(scene.render.filepath)
            pixels = np.empty(SIZE[0] * SIZE[1] * 4, dtype=np.float32)
            image.pixels.foreach_get(pixels)
            bpy.data.images.remove(image)
            found[number] = pixels.reshape(SIZE[1], SIZE[0], 4)[::-1, :, :3].astype(float)
    bpy.data.scenes.remove(scene)
    return found


def patch(frames: FrameTable, picture: Array, number: int, place: Array) -> Array:
    """Mean colour of nine pixels around a place."""
    index = slice(number - 1, number)
    px, _ = project_px(frames.plan, place[None], frames.camera_m[index, None], frames.camera_rotation[index])
    x, y = (px.reshape(2) * SIZE[0] / frames.plan.clip.width_px).astype(int)
    # what is brighter than a picture holds is white in it
    return capped(picture[y - 1 : y + 2, x - 1 : x + 2].reshape(-1, 3)).mean(axis=0)


def compared(engine: str, evening: str, folder: Path) -> dict[str, tuple[float, Array]]:
    """By place: how many stops brighter than Cycles, and by what share red and blue over green are more."""
    frames, places = place_at(*EVENINGS[evening])
    truth, drawn_so = drawn_by_cycles(evening), pictures(frames, engine, folder)
    rows = {}
    for name, (number, place) in places.items():
        expected = patch(frames, truth[number], number, place)
        found = patch(frames, drawn_so[number], number, place)
        stops = float(np.log2((found @ LUMINANCE) / (expected @ LUMINANCE)))
        rows[name] = (stops, (found[[0, 2]] / found[1]) / (expected[[0, 2]] / expected[1]) - 1.0)
    return rows


@functools.cache
def drawn_by_cycles(evening: str) -> dict[int, Array]:
    frames, _ = place_at(*EVENINGS[evening])
    with tempfile.TemporaryDirectory() as folder:
        return pictures(frames, compat.CYCLES, Path(folder))


def compare(engine: str, evening: str, folder: Path) -> None:
    off = {}
    for name, (stops, ratios) in compared(engine, evening, folder).items():
        if abs(stops) > STOPS or np.abs(ratios).max() > COLOURS:
            off[name] = (round(stops, 2), ratios.round(2).tolist())
    assert not off


@pytest.mark.parametrize("evening", EVENINGS)
def test_the_fast_look_has_the_light_of_cycles(evening: str, tmp_path: Path) -> None:
    if not engines.this_machine().opengl:
        pytest.skip("no OpenGL here")
    compare(compat.WORKBENCH, evening, tmp_path)


@pytest.mark.parametrize("evening", EVENINGS)
def test_eevee_has_the_light_of_cycles(evening: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if evening not in ALWAYS and ALL not in os.environ:
        pytest.skip(f"minutes in software: {ALL}=1 draws all evenings")
    if not engines.this_machine().opengl:
        pytest.skip("no OpenGL here")
    monkeypatch.setattr(looks, "EEVEE_SAMPLES", 2)  # drawn in software here, slowly
    compare(compat.EEVEE, evening, tmp_path)


def table(names: Sequence[str], folder: Path) -> Iterator[str]:
    """The whole table, as Markdown: places down, engines across."""
    for evening in EVENINGS:
        found = {name: compared(name, evening, folder) for name in names}
        yield f"\n**{evening}**\n"
        yield "| place | " + " | ".join(f"{name}, stops | red, blue" for name in names) + " |"
        yield "|---" * (1 + 2 * len(names)) + "|"
        for place in found[names[0]]:
            cells = []
            for name in names:
                stops, (red, blue) = found[name][place]
                cells.append(f"{stops:+.2f} | {red:+.0%}, {blue:+.0%}")
            yield f"| {place} | " + " | ".join(cells) + " |"


if __name__ == "__main__":  # python -m tests.addon.test_looks_agree [ENGINE …]
    with tempfile.TemporaryDirectory() as made:
        for line in table(sys.argv[1:] or [compat.WORKBENCH], Path(made)):
            print(line, flush=True)
    os._exit(0)  # Blender's module may wait for itself on the way out
