"""Frames leave Blender linear, and become what its view would have shown."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from numpy.typing import NDArray

from blender_addon import compat
from blender_addon.console import silenced
from blender_addon.render import displayed, pixels, viewtransform

WIDTH, HEIGHT = 96, 54

pytestmark = pytest.mark.skipif(not displayed.is_known(), reason="this Blender comes without OpenColorIO")


def written(kind: str, folder: Path) -> bytes:
    """A sky of all colours, from far too dark to far too bright, as Blender renders and writes it."""
    scene: Any = bpy.data.scenes.new("Colours")
    picture: Any = bpy.data.images.new("Colours", WIDTH, HEIGHT, float_buffer=True)
    try:
        viewtransform.choose_view(scene)
        scene.render.resolution_x, scene.render.resolution_y = WIDTH, HEIGHT
        across, upward = np.meshgrid(np.linspace(-12.0, 4.0, WIDTH), np.linspace(0.0, 6.0, HEIGHT))
        colours = np.ones((HEIGHT, WIDTH, 4), dtype=np.float32)
        for channel in range(3):
            colours[..., channel] = 2.0**across * (1.0 + 0.9 * np.sin(upward + 2.0 * channel))
        picture.colorspace_settings.name = "Linear Rec.709"
        picture.pixels.foreach_set(colours.ravel())
        picture.pack()
        settings = scene.render.image_settings
        compat.choose_image(settings, kind)
        settings.color_mode = "RGB"
        if kind == "OPEN_EXR":
            settings.color_depth, settings.exr_codec = "16", "NONE"
        path = folder / f"colours.{kind}"
        with silenced():
            picture.save_render(str(path), scene=scene)
        return path.read_bytes()
    finally:
        bpy.data.images.remove(picture)
        bpy.data.scenes.remove(scene)


def linear_of(content: bytes) -> NDArray[np.float16]:
    linear = pixels.of_exr(content)
    assert linear is not None
    return linear


def test_a_linear_picture_is_shown_as_blender_shows_it(tmp_path: Path) -> None:
    ours = displayed.shown(linear_of(written("OPEN_EXR", tmp_path))).astype(int)
    blenders = pixels.of_bmp(written("BMP", tmp_path))
    assert blenders is not None
    apart = ours - blenders  # a picture that is saved so has no grain; a rendered one has
    assert abs(apart.mean()) < 0.1
    assert np.abs(apart).mean() < 0.35
    assert np.abs(apart).max() <= 5


def test_the_grain_is_even_and_less_than_a_level() -> None:
    grain = displayed.grain(WIDTH, HEIGHT) / displayed.LEVEL - 0.5
    assert abs(grain.mean()) < 0.01
    assert np.abs(grain).max() <= 0.0033 * 255 + 0.5 / displayed.LEVEL  # Blender's own amount


def test_black_stays_black_and_white_white() -> None:
    ends = np.zeros((HEIGHT, WIDTH, 3), dtype=np.float16)
    ends[:, WIDTH // 2 :] = 60000.0
    shown = displayed.shown(ends)
    assert shown[:, : WIDTH // 2].max() <= 1
    assert shown[:, WIDTH // 2 :].min() >= 254
    strange = np.full((2, 2, 3), np.nan, dtype=np.float16)
    assert displayed.shown(strange).shape == (2, 2, 3)


def test_only_a_whole_file_has_pixels(tmp_path: Path) -> None:
    whole = written("OPEN_EXR", tmp_path)
    assert linear_of(whole).shape == (HEIGHT, WIDTH, 3)
    for length in (*range(0, len(whole), 997), len(whole) - 1):
        assert pixels.of_exr(whole[:length]) is None
    assert pixels.of_exr(written("BMP", tmp_path)) is None
