"""Windows and lamps in the scene of a draft clip: one object, dark glass by day, shining as it gets dark; and
the light that street lamps cast around them.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from planner_core.draft.sky import picture_light
from planner_core.frames import FrameTable
from planner_core.light import lamps
from planner_core.light.colour import LUMINANCE
from planner_core.rig import geometry

from .. import compat
from . import keyframes, lighting, materials, parts
from .nodes import Graph

PART, MATERIAL_PART, POOL_PART = "windows", "windows material", "street lamp"
ON, GLOW = "duskrail_on", "duskrail_glow"  # of the faces: natural light at which each is on, stops; colour
DUSK, LEVEL = "duskrail_dusk", "duskrail_lamp_level"  # of the world, keyed: natural light, stops; lamps
NEVER_STOPS = -60.0
POOL_LAMP_M = 0.15  # radius of a street lamp's light
GLASS, GLASS_MIRRORS = (0.030, 0.036, 0.045), 0.08


def draw_windows(scene: bpy.types.Scene, frames: FrameTable) -> lamps.Panes:
    """All windows and lamps that the camera may see, in place of those drawn before. They shine by the keys
    of the scene's world, where there is one: its light must have been drawn then.
    """
    panes = lamps.panes(frames.plan, geometry.head_middle_m(frames.plan))
    light = picture_light(frames)
    thing = parts.object_of(scene, PART)
    if not len(panes.on_lux):
        if thing is not None:
            parts.remove(thing)
        return panes
    if thing is None:
        collection = parts.collection_of(scene, "light", "Light")
        thing = parts.new_object(PART, "Windows", bpy.data.meshes.new("Windows"), collection)
    mesh: Any = thing.data
    mesh.clear_geometry()
    mesh.materials.clear()
    count = len(panes.on_lux)
    faces = np.arange(4 * count).reshape(-1, 4)
    mesh.from_pydata(panes.corners_m.reshape(-1, 3).tolist(), [], faces.tolist())
    on: Any = mesh.attributes.new(ON, "FLOAT", "FACE")
    on.data.foreach_set("value", _stops(panes.on_lux).astype(np.float32))
    glow: Any = mesh.attributes.new(GLOW, "FLOAT_VECTOR", "FACE")
    glow.data.foreach_set("vector", panes.glow.astype(np.float32).ravel())
    mesh.materials.append(_material())
    mesh.update()
    thing.color = (*GLASS, 1.0)  # type: ignore[assignment]
    parts.assign(thing, hide_select=True)
    thing.display.show_shadows = False
    world: Any = scene.world
    if world is None:
        return panes
    for key, values in ((DUSK, _stops(frames.illuminance_lux)), (LEVEL, light.lamps.max(axis=1))):
        world[key] = float(values[0])
        keyframes.write_curve(world, f'["{key}"]', values)
    return panes


def draw_pools(scene: bpy.types.Scene, frames: FrameTable) -> NDArray[np.float64]:
    """Light around street lamps, in place of that drawn before, and so much less from all around: the levels
    of that, (frames, 3).

    The scene's light must have been drawn.
    """
    for old in parts.objects_of(scene, POOL_PART):
        parts.remove(old)
    pools = lamps.pools(frames.plan, geometry.head_middle_m(frames.plan))
    light = picture_light(frames)
    shares = lamps.share_on(pools.on_lux[:, None], frames.illuminance_lux)
    around = light.lamps * (1.0 - lamps.gathered(pools, frames.illuminance_lux))[:, None]
    lighting.key_lamps(scene, around)
    collection = parts.collection_of(scene, "light", "Light")
    level = light.lamps @ LUMINANCE
    for place, intensity, fraction in zip(pools.places_m, pools.intensity, shares, strict=True):
        lamp: Any = bpy.data.lights.new("Street lamp", "POINT")
        lamp.shadow_soft_size = POOL_LAMP_M
        lamp.shadow_maximum_resolution = lighting.SHADOW_M
        lamp.color = (lamps.pool_tint() / lamps.pool_tint().max()).tolist()
        # a point light of P watts shines P / 4π² / d² on a white surface, as a level
        brightness = float(lamps.pool_tint().max()) * 4.0 * np.pi**2 * intensity
        keyframes.write_curve(lamp, "energy", brightness * level * fraction)
        thing = parts.new_object(POOL_PART, "Street lamp", lamp, collection)
        thing.location = place.tolist()
        thing.visible_glossy = False  # its glass is seen in the water already
    glass = parts.object_of(scene, PART)
    if glass is not None:
        glass.visible_shadow = False
    return around


def _stops(lux: Any) -> Any:
    return np.maximum(np.log2(np.maximum(np.asarray(lux, dtype=np.float64), 1e-30)), NEVER_STOPS)


def _material() -> bpy.types.Material:
    """Dark glass that shines once the natural light is below what each face has."""
    for existing in bpy.data.materials:
        if existing.is_editable and parts.part_of(existing) == MATERIAL_PART:
            return existing
    made = bpy.data.materials.new("Draft windows")
    made[parts.PART_KEY] = MATERIAL_PART
    graph = Graph(compat.use_nodes(made))
    maths = graph.maths
    below = maths("SUBTRACT", graph.number_of("GEOMETRY", ON), graph.number_of("VIEW_LAYER", DUSK))
    fraction = maths("DIVIDE", below, lamps.SWITCH_STOPS, clamp=True)
    strength = maths("MULTIPLY", fraction, graph.number_of("VIEW_LAYER", LEVEL))
    shining = graph.node("Emission", Color=graph.vector_of("GEOMETRY", GLOW), Strength=strength)
    glass = graph.node("BsdfDiffuse", Color=(*GLASS, 1.0))
    mirror = graph.node("BsdfGlossy", Roughness=0.1)
    dark = graph.mixed(GLASS_MIRRORS, glass.outputs[0], mirror.outputs[0])
    graph.end(graph.both(dark, shining.outputs[0]))
    materials.lights_nothing(made)
    return made
