"""The marks of findings' levels, as small pictures: a round one with a cross, a triangle with an exclamation
mark, a bubble with an i, as the icons in the sidebar have them.

Blender doesn't lend its icons to what add-ons draw; these are made at the very size they are drawn at, so
that they are crisp on every screen.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import gpu
import numpy as np
from gpu_extras.presets import draw_texture_2d
from numpy.typing import NDArray

from .drawing import LEVEL_COLOURS

Array = NDArray[Any]
Shape = Callable[[Array, Array], Array]  # whether points are inside; x right and y up, both from -1 to 1

FINENESS = 8  # points to a pixel, each way
SIGN_COLOUR = (0.07, 0.07, 0.08)

_textures: dict[tuple[str, int], Any] = {}


def _disc(x: Array, y: Array) -> Array:
    return np.hypot(x, y) <= 0.98


def _cross(x: Array, y: Array) -> Array:
    return (np.minimum(abs(x - y), abs(x + y)) <= 0.26) & (np.maximum(abs(x), abs(y)) <= 0.55)


def _triangle(x: Array, y: Array) -> Array:
    """Standing on its side, its corners cut a little."""
    sides = (y >= -0.82) & (1.8 * abs(x) + y <= 1.0)
    return sides & (abs(x) <= 0.94) & (y <= 0.94)


def _exclamation(x: Array, y: Array) -> Array:
    stem = (abs(x) <= 0.17) & (y <= 0.46) & (y >= -0.24)
    return stem | ((abs(x) <= 0.17) & (y <= -0.40) & (y >= -0.66))


def _bubble(x: Array, y: Array) -> Array:
    """A square with round corners, and a corner pulled out below."""
    over = np.hypot(np.maximum(abs(x) - 0.66, 0.0), np.maximum(abs(y - 0.12) - 0.54, 0.0))
    tail = (y < -0.5) & (y >= -0.98) & (x >= -0.55) & (x + 0.55 <= 0.9 * (y + 0.98))
    return (over <= 0.3) | tail


def _letter_i(x: Array, y: Array) -> Array:
    dot = (abs(x) <= 0.17) & (y <= 0.74) & (y >= 0.44)
    return dot | ((abs(x) <= 0.17) & (y <= 0.26) & (y >= -0.48))


SHAPES: dict[str, tuple[Shape, Shape]] = {
    "stop": (_disc, _cross),
    "warn": (_triangle, _exclamation),
    "note": (_bubble, _letter_i),
}


@cache
def mark_pixels(level: str, size: int) -> Array:
    """A level's mark as pixels (size, size, 4) from the bottom up: colour, and covered share."""
    body, sign = SHAPES[level]
    across = (np.arange(size * FINENESS) + 0.5) / (size * FINENESS) * 2.0 - 1.0
    x, y = np.meshgrid(across, across)
    covered, signed = (_share(shape(x, y), size) for shape in (body, sign))
    signed = np.divide(signed, covered, out=np.zeros_like(signed), where=covered > 0.0).clip(0.0, 1.0)[
        ..., None
    ]
    colour = np.array(LEVEL_COLOURS[level][:3]) * (1.0 - signed) + np.array(SIGN_COLOUR) * signed
    return np.concatenate([colour, covered[..., None]], axis=2).astype(np.float32)


def _share(inside: Array, size: int) -> Array:
    """How much of each pixel (size, size) the points that are inside cover."""
    return inside.reshape(size, FINENESS, size, FINENESS).mean(axis=(1, 3))


def draw_mark(level: str, left: float, bottom: float, size: float) -> None:
    """A level's mark in a square of a region."""
    pixels = max(round(size), 1)
    texture = _textures.get((level, pixels))
    if texture is None:
        types: Any = gpu.types
        values = types.Buffer("FLOAT", pixels * pixels * 4, mark_pixels(level, pixels).ravel().tolist())
        texture = types.GPUTexture((pixels, pixels), format="RGBA8", data=values)
        _textures[level, pixels] = texture
    gpu.state.blend_set("ALPHA")
    draw_texture_2d(texture, (round(left), round(bottom)), pixels, pixels)
    gpu.state.blend_set("NONE")


def forget() -> None:
    """Give the pictures back."""
    _textures.clear()
