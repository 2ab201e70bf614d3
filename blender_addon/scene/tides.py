"""Water that rises and falls: each tidal block's own curve of how far it stands above where the plan has it.

The curve is of Blender's delta location, so that the block's own place stays what the plan says.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from planner_core.frames import FrameTable

from . import blocking, keyframes, parts
from .rig import flat

Array = NDArray[np.float64]

PATH, UP = "delta_location", 2


def draw_tide(scene: bpy.types.Scene, frames: FrameTable) -> None:
    """Have the tidal blocks rise and fall with the frames, and all others stand still."""
    lifts = frames.lifts_m
    for thing in blocking.block_objects(scene):
        number = int(thing.get(parts.INDEX_KEY, -1))
        lift = None if lifts is None or not 0 <= number < lifts.shape[1] else lifts[:, number]
        if lift is not None and np.any(lift):
            keyframes.write_curve(thing, PATH, lift, UP)
            thing.delta_location[UP] = float(lift[min(max(scene.frame_current, 1), len(lift)) - 1])
        elif keyframes.find_curve(thing, PATH, UP) is not None:
            stop(thing)


def stand(scene: bpy.types.Scene, frames: FrameTable, frame: int) -> None:
    """Put the tidal blocks to where they stand on a frame, counted from 0, without curves."""
    if frames.lifts_m is None:
        return
    for thing in blocking.block_objects(scene):
        number = int(thing.get(parts.INDEX_KEY, -1))
        if 0 <= number < frames.lifts_m.shape[1]:
            thing.delta_location[UP] = float(frames.lifts_m[frame, number])


def stop(thing: bpy.types.Object) -> None:
    """Take a block's curve off; it stands where the plan has it."""
    keyframes.clear_curve(thing, PATH, UP)
    thing.delta_location[UP] = 0.0


def is_only_tide(thing: bpy.types.Object) -> bool:
    """Whether a block moves by the tide and by nothing else."""
    animation: Any = thing.animation_data
    if animation is None or animation.drivers or keyframes.find_curve(thing, PATH, UP) is None:
        return False
    return all(
        curve.data_path == PATH
        for layer in animation.action.layers
        for strip in layer.strips
        for bag in strip.channelbags
        for curve in bag.fcurves
    )


def planned_matrix(thing: bpy.types.Object, world: Any = None) -> Array:
    """Where a thing stands in the scene (4, 4) but for the tide; world is another matrix of it."""
    return np.array(planned_numbers(thing, world), dtype=np.float64).reshape(4, 4)


def planned_numbers(thing: bpy.types.Object, world: Any = None) -> list[float]:
    """The same as sixteen numbers, row by row, which takes less time."""
    numbers = flat(thing.matrix_world if world is None else world)
    numbers[4 * UP + 3] -= float(thing.delta_location[UP])
    return numbers
