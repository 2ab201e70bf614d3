"""Linear pictures as the display shows them: what Blender's view makes of them, looked up in a table.

Blender works the view out for each pixel of a frame, which takes as long as a quarter of the fast look's
drawing; the table is made once, by the same library, and is ten times as quick.
"""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .. import compat
from . import viewtransform

STEPS = 65  # of the table, along each channel, even in stops
DARKEST_STOPS, BRIGHTEST_STOPS = -14.0, 6.0  # what it spans, around linear 1; the view shows no more
HALVES = 65536  # numbers that 16 bits can be
OTHER_VIEWS = ("OCIO", "BLENDER_OCIO")  # variables that have Blender show pictures in another way
HASH = np.uint32(1103515245)
LEVEL_BITS = 6  # into so many bits a level of the display is parted, for the grain
LEVEL = 1 << LEVEL_BITS
GRAIN = 0.0033 * 255.0  # levels that the grain takes away or adds at most: as Blender has it


def is_known() -> bool:
    """Whether pictures can be shown here: otherwise Blender has to."""
    is_blenders = _config().is_file() and not any(os.environ.get(name) for name in OTHER_VIEWS)
    return is_blenders and _library() is not None


def _config() -> Path:
    return Path(bpy.utils.resource_path("LOCAL"), "datafiles", "colormanagement", "config.ocio")


def make_ready() -> None:
    """Make the table, if pictures can be shown here: it takes a while, once."""
    if is_known():
        _table()


def shown(linear: NDArray[np.float16]) -> NDArray[np.uint8]:
    """Pixels (height, width, 3), linear, as the display shows them, 0 to 255, the top row first."""
    library, (height, width, channels) = _library(), linear.shape
    levels = np.empty(linear.shape, np.uint16)
    _table().apply(
        library.PackedImageDesc(
            np.ascontiguousarray(linear), width, height, channels, library.BIT_DEPTH_F16, 2, 6, 6 * width
        ),
        library.PackedImageDesc(levels, width, height, channels, library.BIT_DEPTH_UINT16, 2, 6, 6 * width),
    )
    grained = levels.view(np.int16)  # 255 levels are far from its end
    grained += grain(width, height)[..., None]
    grained >>= LEVEL_BITS
    return np.clip(grained, 0, 255, out=grained).astype(np.uint8)


@lru_cache(maxsize=2)
def grain(width: int, height: int) -> NDArray[np.int16]:
    """What is added to a picture's parts of levels, (height, width): half a level, to round them, and the
    grain that Blender adds, so that no steps are seen in a sky. It is the same on every frame.

    A hash of the pixel's place (I. Quilez, integer hash III) with a triangular distribution.
    """
    across = np.arange(width, dtype=np.uint32)
    upward = np.arange(height, dtype=np.uint32)[::-1, None]
    first, second = (HASH * ((one >> 1) ^ other) for one, other in ((across, upward), (upward, across)))
    even = (HASH * (first ^ (second >> 3))) / 2.0**31 - 1.0
    triangular = np.sign(even) * (1.0 - np.sqrt(1.0 - np.abs(even)))
    return np.asarray(np.rint(LEVEL * (0.5 + GRAIN * triangular)), dtype=np.int16)


@lru_cache(maxsize=1)
def _library() -> Any:
    return compat.brought("PyOpenColorIO")


@lru_cache(maxsize=1)
def _table() -> Any:
    """What makes levels of linear pictures: 16-bit floating numbers to steps, and steps to levels."""
    library = _library()
    halves = np.arange(HALVES, dtype=np.uint16).view(np.float16).astype(np.float32)
    stops = np.log2(np.clip(np.nan_to_num(halves), 2.0**DARKEST_STOPS, 2.0**BRIGHTEST_STOPS))
    places = (stops - DARKEST_STOPS) / (BRIGHTEST_STOPS - DARKEST_STOPS)
    steps = library.Lut1DTransform()
    steps.setInputHalfDomain(True)
    steps.setLength(HALVES)
    steps.setData(np.repeat(places, 3).astype(np.float32))
    levels = library.Lut3DTransform()
    levels.setGridSize(STEPS)
    levels.setInterpolation(library.INTERP_TETRAHEDRAL)
    levels.setData(_view_of_steps().ravel() * np.float32(255.0 * LEVEL / 65535.0))
    both = library.GroupTransform()
    both.appendTransform(steps)
    both.appendTransform(levels)
    processor = library.Config.CreateRaw().getProcessor(both)
    return processor.getOptimizedCPUProcessor(
        library.BIT_DEPTH_F16, library.BIT_DEPTH_UINT16, library.OPTIMIZATION_DEFAULT
    )


def _view_of_steps() -> NDArray[np.float32]:
    """What the view shows, in shares of white, for the steps of red, green and blue, the last the quickest,
    (STEPS, STEPS, STEPS, 3).
    """
    library = _library()
    gain = 2.0**viewtransform.GREY_STOPS
    both = library.GroupTransform()
    both.appendTransform(library.MatrixTransform(matrix=np.diag([gain, gain, gain, 1.0]).ravel().tolist()))
    linear = "scene_linear"
    both.appendTransform(library.LookTransform(src=linear, dst=linear, looks=viewtransform.CONTRAST))
    both.appendTransform(
        library.DisplayViewTransform(
            src=linear, display=viewtransform.DISPLAY, view=viewtransform.VIEW, looksBypass=True
        )
    )
    view = library.Config.CreateFromFile(str(_config())).getProcessor(both).getDefaultCPUProcessor()
    levels = (2.0 ** np.linspace(DARKEST_STOPS, BRIGHTEST_STOPS, STEPS)).astype(np.float32)
    colours = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1)
    view.applyRGB(colours.reshape(STEPS, STEPS * STEPS, 3))
    return np.clip(colours, 0.0, 1.0)
