"""Windows and lamps in the scene that is worked in, so that the view shows where the place lights up.

They follow from the plan and are never read back. As they take longer to find than a drag may last, they are
brought up to date a moment after the last change. The view's plain shading has one colour an object, so there
they brighten together, by the share of them that is on; with the scene's light each comes on in its turn.
"""

from __future__ import annotations

import hashlib
from typing import Any

import attrs
import bpy
import numpy as np

from planner_core.frames import FrameTable
from planner_core.light import lamps
from planner_core.plan.file import plan_to_text

from . import keyframes, nightlights, parts

FOR_KEY = "duskrail_drawn_for"
LIT: tuple[float, float, float] = (1.0, 0.72, 0.36)


def draw(scene: bpy.types.Scene, frames: FrameTable) -> bool:
    """Bring windows and lamps up to date. Returns whether there was anything to do."""
    wanted = _digest(frames)
    thing = parts.object_of(scene, nightlights.PART)
    world: Any = scene.world
    keyed = world is not None and nightlights.DUSK in world
    if thing is not None and keyed and thing.get(FOR_KEY) == wanted:
        return False
    panes = nightlights.draw_windows(scene, frames)
    thing = parts.object_of(scene, nightlights.PART)
    if thing is None:
        return bool(len(panes.on_lux))
    lit_fraction = np.sqrt(_share_on(panes, frames.illuminance_lux))  # the first ones show already
    for channel in range(3):
        dark, lit = nightlights.GLASS[channel], LIT[channel]
        keyframes.write_curve(thing, "color", dark + lit_fraction * (lit - dark), channel)
    thing[FOR_KEY] = wanted
    _show_now(scene, thing)
    return True


def _show_now(scene: bpy.types.Scene, thing: Any) -> None:
    """Have what was keyed hold on the frame that is shown too; Blender would take it up on the next one."""
    world: Any = scene.world
    for key in (nightlights.DUSK, nightlights.LEVEL):
        curve = keyframes.find_curve(world, f'["{key}"]')
        if curve is not None:
            world[key] = curve.evaluate(scene.frame_current)
    for channel in range(3):
        curve = keyframes.find_curve(thing, "color", channel)
        if curve is not None:
            thing.color[channel] = curve.evaluate(scene.frame_current)
    for owner in (world, thing):
        owner.update_tag()


def _digest(frames: FrameTable) -> str:
    """A fingerprint of what windows and lamps follow from."""
    bare = attrs.evolve(frames.plan, title="", reason="", notes=None, composition=None)
    return hashlib.sha256(plan_to_text(bare).encode()).hexdigest()


def _share_on(panes: lamps.Panes, natural_lux: Any) -> Any:
    """How many of those that ever come on are on, 0 to 1, on each frame."""
    ever = panes.on_lux[panes.on_lux > 0.0]
    if not len(ever):
        return np.zeros(len(natural_lux))
    return (ever[None, :] > np.asarray(natural_lux)[:, None]).mean(axis=1)
