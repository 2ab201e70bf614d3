"""Keyframes in bulk: curves of an ID written and read as whole arrays.

A curve that Duskrail draws has a key on every frame, so that Blender adds no easing of its own. Keys that
stand for something the photographer decided (a pose) are of Blender's type Keyframe, all others Generated.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

LINEAR = 1  # as keyframe_points.foreach_set takes an interpolation …
KEYFRAME, GENERATED = 0, 5  # … and a type of key


def write_curve(
    owner: Any,
    data_path: str,
    values: ArrayLike,
    index: int = -1,
    *,
    frames: ArrayLike | None = None,
    decided: ArrayLike | None = None,
) -> None:
    """Draw a curve of an ID: values (n,) on frames (n,), by default 1, 2, 3 …; decided (n,) marks keys of
    type Keyframe.

    A curve already there gets other keys: to take it out would have Blender relate all objects of the scene
    anew. Between keys the way is straight.
    """
    values = np.asarray(values, dtype=np.float64)
    frames = np.arange(1.0, len(values) + 1.0) if frames is None else np.asarray(frames, dtype=np.float64)
    curves = _channelbag(owner).fcurves
    curve = curves.find(data_path, index=max(index, 0)) or curves.new(data_path, index=max(index, 0))
    while len(curve.modifiers):
        curve.modifiers.remove(curve.modifiers[0])
    points = curve.keyframe_points
    if len(points) != len(values):
        points.clear()
        points.add(len(values))
    points.foreach_set("co", np.stack([frames, values], axis=1).astype(np.float32).ravel())
    points.foreach_set("interpolation", np.full(len(values), LINEAR, dtype=np.int32))
    kinds = np.full(len(values), GENERATED, dtype=np.int32)
    if decided is not None:
        kinds[np.asarray(decided, dtype=bool)] = KEYFRAME
    points.foreach_set("type", kinds)
    curve.update()


def clear_curve(owner: Any, data_path: str, index: int = -1) -> None:
    """Remove a curve of an ID, if it has one."""
    curve = find_curve(owner, data_path, index)
    if curve is not None:
        _channelbag(owner).fcurves.remove(curve)


def keep_only(owner: Any, channel: tuple[str, int] | None) -> None:
    """Take off an ID what animates it, but for the keys of one channel (data path and index)."""
    animation = owner.animation_data
    for driver in list(animation.drivers):
        animation.drivers.remove(driver)
    for track in list(animation.nla_tracks):
        animation.nla_tracks.remove(track)
    if animation.action is None:
        return
    animation.action_influence, animation.action_blend_type = 1.0, "REPLACE"
    curves = _channelbag(owner).fcurves
    for curve in list(curves):
        if (curve.data_path, curve.array_index) != channel:
            curves.remove(curve)
        elif curve.group is not None:
            curve.group.mute = False


def find_curve(owner: Any, data_path: str, index: int = -1) -> bpy.types.FCurve | None:
    """The curve of an ID's active action, or None."""
    animation = owner.animation_data
    if animation is None or animation.action is None or animation.action_slot is None:
        return None
    for layer in animation.action.layers:
        for strip in layer.strips:
            bag = strip.channelbag(animation.action_slot)
            if bag is not None:
                curve = bag.fcurves.find(data_path, index=max(index, 0))
                if curve is not None:
                    return curve
    return None


def evaluated(curve: bpy.types.FCurve, frames: ArrayLike) -> Array:
    """The curve's values on frames of any shape, with whatever interpolation and modifiers it has."""
    frames = np.asarray(frames, dtype=np.float64)
    return np.array([curve.evaluate(float(frame)) for frame in frames.ravel()]).reshape(frames.shape)


def keys(curve: bpy.types.FCurve) -> tuple[Array, Array, NDArray[np.int32]]:
    """Frames, values and types of a curve's keys, each of shape (keys,)."""
    count = len(curve.keyframe_points)
    coordinates = np.empty(2 * count, dtype=np.float32)
    kinds = np.empty(count, dtype=np.int32)
    curve.keyframe_points.foreach_get("co", coordinates)
    curve.keyframe_points.foreach_get("type", kinds)
    pairs = coordinates.reshape(-1, 2).astype(np.float64)
    return pairs[:, 0], pairs[:, 1], kinds


def _channelbag(owner: Any) -> Any:
    """Where an ID's curves are kept, made as needed: its own action, one layer, one strip, its slot."""
    animation = owner.animation_data or owner.animation_data_create()
    if animation.action is None:
        animation.action = bpy.data.actions.new(owner.name)
    action = animation.action
    if animation.action_slot is None:
        animation.action_slot = action.slots.new(id_type=owner.id_type, name=owner.name)
    layer = action.layers[0] if len(action.layers) else action.layers.new("Layer")
    strip = layer.strips[0] if len(layer.strips) else layer.strips.new(type="KEYFRAME")
    return strip.channelbag(animation.action_slot, ensure=True)
