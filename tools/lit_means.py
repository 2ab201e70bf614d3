"""The core's readings beside the lit draft picture's own light: linear means of the same frames.

The lit look is drawn as a clip's frames are, by Cycles, into a picture of floating point numbers. The discs
of sun and moon, the path of the sun in the water and its glint in windows are left out of both.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from blender_addon import compat
from blender_addon.console import silenced
from blender_addon.render import engines, looks
from blender_addon.scene import build as scenes
from planner_core import FrameTable, Plan, compute_frames, load_plan
from planner_core.draft.sky import picture_settings_ev100
from planner_core.light import colour, daylight, lamps, sky
from planner_core.picture import metering, projection
from planner_core.plan.model import Anchor, Block, Exposure
from planner_core.rig import geometry

Array = NDArray[np.float64]

SIZE_PX = (320, 180)
DISC_RAD = 2.2 * sky.SUN_RADIUS_RAD  # with its soft edge, a pixel, and what the denoiser spreads
PATH_RAD = np.radians(6.0)  # to either side of the sun: waves mirror it there
GLINT_RAD = np.radians(8.0)  # so wide a pane mirrors the sun
EXAMPLES = ("harbour_light", "chapel_sunrise", "square_pan")
FOLDER = Path(__file__).resolve().parent.parent / "example_scenes"


@frozen(kw_only=True)
class Means:
    """Mean levels of one frame, 1 being a white surface lit as metered: number counts from 1."""

    name: str
    number: int
    sun_altitude_deg: float
    drawn: float
    read: float

    @property
    def apart_stops(self) -> float:
        """By how much the core reads more than is drawn."""
        return float(np.log2(self.read / self.drawn))


def means(name: str, frames: FrameTable, numbers: Sequence[int]) -> Iterator[Means]:
    """Both means of some frames, numbers counted from 1."""
    grid = metering.read_grid(frames, np.array(numbers, dtype=np.intp) - 1)
    lux = daylight.lux_from_ev100(picture_settings_ev100(frames))
    cells = (metering.COLUMNS, metering.LINES)
    for index, (number, picture) in enumerate(zip(numbers, lit_pictures(frames, numbers), strict=True)):
        glints = _glints(frames, number - 1)
        each = tuple(px // cell for px, cell in zip(SIZE_PX, cells, strict=True))
        spread = np.kron(glints, np.ones((each[1], each[0]), dtype=bool))
        kept = [
            ~(_dazzling(frames, number - 1, size) | left_out)
            for size, left_out in ((cells, glints), (SIZE_PX, spread))
        ]
        read = float(grid.on_sensor_cd_m2[index][kept[0]].mean()) * np.pi / float(lux[number - 1])
        drawn = float((picture @ colour.LUMINANCE)[kept[1]].mean())
        altitude = float(frames.sun_altitude_deg[number - 1])
        yield Means(name=name, number=number, sun_altitude_deg=altitude, drawn=drawn, read=read)


def lit_pictures(frames: FrameTable, numbers: Sequence[int]) -> Iterator[Array]:
    """The lit look of some frames, counted from 1, as linear RGB (height, width, 3), the top row first."""
    scene = bpy.data.scenes.new("Lit means")
    scenes.build_scene(frames.plan, frames, scene)
    look = looks.Look(scene, frames, engines.choose_engine(looks.LIT, compat.CYCLES))
    render = scene.render
    render.resolution_x, render.resolution_y = SIZE_PX
    render.use_file_extension = render.use_compositing = render.use_sequencer = False
    compat.choose_image(render.image_settings, "OPEN_EXR")
    render.image_settings.color_mode, render.image_settings.color_depth = "RGB", "32"
    try:
        with tempfile.TemporaryDirectory() as folder, compat.window_on(scene):
            for number in numbers:
                path = Path(folder) / f"{number}.exr"
                look.show(number)
                render.filepath = str(path)
                with silenced():
                    bpy.ops.render.render(write_still=True, scene=scene.name)
                yield _pixels(path)
    finally:
        scenes.clear_scene(scene)
        bpy.data.scenes.remove(scene)


def _pixels(path: Path) -> Array:
    image: Any = bpy.data.images.load(str(path))
    try:
        width, height = image.size
        flat = np.empty(width * height * image.channels, dtype=np.float32)
        image.pixels.foreach_get(flat)
    finally:
        bpy.data.images.remove(image)
    return flat.reshape(height, width, -1)[::-1, :, :3].astype(np.float64)


def _dazzling(frames: FrameTable, frame: int, size: tuple[int, int]) -> NDArray[np.bool_]:
    """What is left out of a picture so large, (height, width): the discs of sun and moon, and the sun's path
    in the water.
    """
    plan, (width, height) = frames.plan, size
    half = np.array([plan.clip.width_px, plan.clip.height_px]) / (
        2.0 * projection.delivered_crop(plan.camera, plan.clip).focal_px
    )
    x = ((np.arange(width) + 0.5) * (2.0 / width) - 1.0) * half[0]
    y = (1.0 - (np.arange(height) + 0.5) * (2.0 / height)) * half[1]
    local = np.stack([*np.meshgrid(x, y), np.full((height, width), -1.0)], axis=-1)
    local /= np.linalg.norm(local, axis=-1, keepdims=True)
    rays = local @ frames.camera_rotation[frame].T
    sun, moon = frames.sun_direction[frame], frames.moon_direction[frame]
    masked = (np.linalg.norm(rays - sun, axis=-1) < DISC_RAD) | (
        np.linalg.norm(rays - moon, axis=-1) < DISC_RAD
    )
    if frames.light.direct_lux[frame] > 0.0 and any(block.role == "water" for block in plan.blocks):
        away = np.abs(wrapped_rad(np.arctan2(rays[..., 0], rays[..., 1]) - np.arctan2(sun[0], sun[1])))
        masked |= (rays[..., 2] < 0.0) & (away < PATH_RAD)
    return np.asarray(masked)


def _glints(frames: FrameTable, frame: int) -> NDArray[np.bool_]:
    """The cells of the grid in which a window mirrors the sun, (lines, columns)."""
    glinting = np.zeros((metering.LINES, metering.COLUMNS), dtype=bool)
    if not frames.light.direct_lux[frame] > 0.0:
        return glinting
    plan, eye = frames.plan, frames.camera_m[frame]
    corners = lamps.panes(plan, geometry.head_middle_m(plan)).corners_m
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 3] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    directions = corners.mean(axis=1) - eye
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    mirrored = directions - 2.0 * np.sum(directions * normals, axis=1)[:, None] * normals
    glint = np.linalg.norm(mirrored - frames.sun_direction[frame], axis=1) < GLINT_RAD
    px, depth = projection.project_px(plan, corners[glint], eye, frames.camera_rotation[frame])
    size = np.array([metering.COLUMNS, metering.LINES])
    for pane in (px * size / [plan.clip.width_px, plan.clip.height_px])[(depth > 0.0).all(axis=1)]:
        low = np.clip(np.floor(pane.min(axis=0)), 0, size).astype(int)
        high = np.clip(np.ceil(pane.max(axis=0)), 0, size).astype(int)
        glinting[low[1] : high[1], low[0] : high[0]] = True
    return glinting


def wrapped_rad(angle_rad: Array) -> Array:
    """Angles brought to −π to π."""
    return (angle_rad + np.pi) % (2.0 * np.pi) - np.pi


# ---------------------------------------------------------------- places


def example(name: str) -> FrameTable:
    """One of the examples, metered by the picture."""
    plan = load_plan(FOLDER / f"{name}.plan.json")
    assert plan.exposure is not None
    return compute_frames(attrs.evolve(plan, exposure=attrs.evolve(plan.exposure, meter="picture")))


def random_evening(seed: int) -> Plan:
    """The harbour's camera and rig at another place, on another evening, before blocks strewn about: some by
    the water, with or without lamps, toward the sun or away from it.
    """
    rng = np.random.default_rng(seed)
    plan = load_plan(FOLDER / "harbour_light.plan.json")
    first, last, pan = plan.move.poses[0], plan.move.poses[-1], plan.rig.pan
    assert pan is not None
    bearing_deg = float(rng.uniform(150.0, 360.0))
    poses = tuple(
        attrs.evolve(pose, pan_deg=bearing_deg + turn, tilt_deg=float(rng.uniform(-6.0, 8.0)))
        for pose, turn in ((first, 0.0), (last, float(rng.uniform(-15.0, 15.0))))
    )
    date = dt.date(2027, 1, 1) + dt.timedelta(days=int(rng.integers(0, 364)))
    lamps = (None, 2.0, 4.0)[int(rng.integers(0, 3))]
    return attrs.evolve(
        plan,
        title=f"Evening {seed}",
        site=attrs.evolve(plan.site, latitude_deg=float(rng.uniform(-50.0, 50.0)), timezone="UTC"),
        camera=attrs.evolve(plan.camera, focal_length_mm=float(rng.choice([20.0, 35.0, 50.0]))),
        rig=attrs.evolve(plan.rig, pan=attrs.evolve(pan, min_deg=0.0, max_deg=400.0)),
        move=attrs.evolve(plan.move, poses=poses),
        shoot=attrs.evolve(
            plan.shoot, anchor=Anchor(event="sunset", date=date, at=0.5), frames=361, interval_s=20.0
        ),
        exposure=Exposure(
            f_number=4.0, shutter_max_s=15.0, iso_max=6400.0, artificial_ev100=lamps, meter="picture"
        ),
        composition=None,
        blocks=tuple(_strewn(rng, bearing_deg - plan.site.scene_north_deg)),
    )


def _strewn(rng: np.random.Generator, bearing_deg: float) -> Iterator[Block]:
    """Boxes and posts before a lens with that bearing from the scene's +Y, and perhaps water."""
    if rng.random() < 0.5:
        yield Block(
            name="water", role="water", shape="box", centre_m=(0.0, 0.0, -0.6), size_m=(4000.0, 4000.0, 1.0)
        )
    for number in range(int(rng.integers(4, 16))):
        away_m = float(np.exp(rng.uniform(np.log(8.0), np.log(400.0))))
        turn = np.radians(bearing_deg + float(rng.uniform(-40.0, 40.0)))
        wide_m, high_m = (float(fraction) * away_m for fraction in rng.uniform([0.02, 0.05], [0.25, 0.45]))
        yield Block(
            name=f"block {number + 1}",
            role=str(rng.choice(["background", "foreground", "subject"], p=[0.6, 0.3, 0.1])),
            shape="post" if number % 3 == 2 else "box",
            centre_m=(away_m * float(np.sin(turn)), away_m * float(np.cos(turn)), high_m / 2.0),
            size_m=(wide_m, wide_m, high_m),
            turn_deg=float(rng.uniform(-90.0, 90.0)),
        )


def sixty() -> Iterator[Means]:
    """Ten frames of each example, and three of each of ten random evenings."""
    for name in EXAMPLES:
        frames = example(name)
        yield from means(name, frames, _spread(len(frames), 10))
    for seed in range(1, 11):
        frames = compute_frames(random_evening(seed))
        yield from means(f"evening {seed}", frames, _spread(len(frames), 3))


def _spread(frames: int, count: int) -> list[int]:
    return [int(number) for number in np.linspace(1, frames, count).round()]
