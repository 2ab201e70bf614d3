"""Sun, moon and sky of a scene, keyed for every frame as the picture records them.

Strengths have the frame's exposure in them: a white matt surface lit to level 1 renders as 1, whatever the
hour. So the scene needs no exposure of its own, and a ramp that runs out shows as a dark picture.
"""

from __future__ import annotations

import math
from typing import Any

import attrs
import bpy
import numpy as np
from numpy.typing import NDArray

from planner_core.draft import ambient, mirror, skyshapes
from planner_core.draft.sky import PictureLight, picture_light, picture_settings_ev100
from planner_core.frames import FrameTable
from planner_core.light import sky
from planner_core.rig import geometry

from .. import compat
from . import keyframes, materials, parts
from .nodes import Graph

SUN_WIDTH_RAD = math.radians(0.533)
WORLD_PART = "sky"
PROBE = ("Probe above", "Probe below", "Probe across X", "Probe across Y")
DIMMEST = 1e-12
SHADOW_M = 0.02  # how finely EEVEE draws the sun's shadows: finer would fill its memory, so far is the ground
LAMPS_BELOW_M = 150.0  # a sun shines from its direction alone; Blender's marks for it stay out of the way


def draw_light(scene: bpy.types.Scene, frames: FrameTable) -> None:
    """Sun lamp, moon lamp and sky of the plan, with a key on every frame."""
    light = picture_light(frames)
    collection = parts.collection_of(scene, "light", "Light")
    north = frames.plan.site.scene_north_deg
    for part, name, azimuth, altitude, level in (
        ("sun", "Sun", frames.sun_azimuth_deg, frames.sun_altitude_deg, light.sun),
        ("moon", "Moon", frames.moon_azimuth_deg, frames.moon_altitude_deg, light.moon),
    ):
        lamp = parts.ensure_object(scene, part, name, bpy.types.SunLight, collection)
        parts.assign(lamp.location, z=-LAMPS_BELOW_M)
        _key_direction(lamp, azimuth - north, altitude)
        _key_strength(lamp.data, level)
    _draw_sky(scene, frames, light)


def is_lit_alike(known: FrameTable, frames: FrameTable) -> bool:
    """Whether two tables of the same evening are exposed alike, and have their lamps at the same side: what
    the meter reads goes by blocks and poses too.
    """
    lamps = known.lens_bearing_deg[0] == frames.lens_bearing_deg[0]
    return bool(lamps and np.array_equal(picture_settings_ev100(known), picture_settings_ev100(frames)))


def _key_direction(lamp: bpy.types.Object, bearing_deg: NDArray[Any], altitude_deg: NDArray[Any]) -> None:
    """Turn a sun lamp so that its light comes from a bearing (from the scene's +Y) and altitude."""
    parts.assign(lamp, rotation_mode="XYZ")
    keyframes.write_curve(lamp, "rotation_euler", np.radians(90.0 - altitude_deg), 0)
    keyframes.write_curve(lamp, "rotation_euler", np.unwrap(np.radians(180.0 - bearing_deg)), 2)


def _key_strength(lamp: Any, level: NDArray[Any]) -> None:
    """A sun lamp of strength π lights a white surface square to it to level 1."""
    parts.assign(lamp, angle=SUN_WIDTH_RAD, shadow_maximum_resolution=SHADOW_M)
    brightest = np.maximum(level.max(axis=1), DIMMEST)
    keyframes.write_curve(lamp, "energy", np.where(brightest > DIMMEST, np.pi * brightest, 0.0))
    for channel in range(3):
        keyframes.write_curve(lamp, "color", level[:, channel] / brightest, channel)


def _draw_sky(scene: bpy.types.Scene, frames: FrameTable, light: PictureLight) -> None:
    world = scene.world
    if world is None or parts.part_of(world) != WORLD_PART or world.users > 1:
        world = bpy.data.worlds.new("Sky")
        world[parts.PART_KEY] = WORLD_PART
        scene.world = world
    tree = world.node_tree
    if tree is None or PROBE[0] not in tree.nodes:
        tree = compat.use_nodes(world)
        _build_sky(tree)
    world_light: Any = world
    parts.assign(world_light, sun_threshold=0.0)  # the sun is a lamp already: none is taken out of the sky
    cycles: Any = world.cycles  # type: ignore[attr-defined]
    parts.assign(cycles, sampling_method="NONE")  # a smooth sky needs no map of where it is bright
    parts_levels = sky.component_levels(light)
    glare = sky.glare_levels(light)
    level = sky.on_level_ground(light, frames.sun_direction, frames.moon_direction)
    for name, values in (
        *(
            (name, parts_levels[:, k])
            for k, name in enumerate(("Isotropic", "Horizon band", "Circumsolar", "Aureole"))
        ),
        ("Extinction", -light.extinction),
        ("Lamps", light.lamps),
        ("Ground", ambient.ground_colour() * level),
        ("Skyglow", sky.skyglow(light)),
        ("Sun disc", sky.sun_disc(light)),
        ("Moon disc", sky.moon_disc(light, frames.moon_lit_fraction)),
        *((f"Glare {number + 1}", glare[:, number]) for number in range(len(sky.GLARE))),
    ):
        _key_vector(tree, name, 0, values)
    _key_sky_shapes(tree, frames)
    _key_probe(tree, ambient.probe(frames, light, np.ones(len(frames))))
    _key_vector(tree, "Toward lobes", 1, light.lobe_direction)
    toward_lamps: Any = tree.nodes["Toward lamps"].inputs[1]
    toward_lamps.default_value = light.lamp_direction[0].tolist()
    _key_vector(tree, "From sun", 1, frames.sun_direction)
    _key_vector(tree, "From moon", 1, frames.moon_direction)
    _key_vector(tree, "Moon day", 1, frames.sun_direction)
    between = np.sum(frames.sun_direction * frames.moon_direction, axis=1)
    keyframes.write_curve(tree, 'nodes["Moon phase"].outputs[0].default_value', between)
    keyframes.write_curve(tree, 'nodes["Lobe height"].outputs[0].default_value', light.lobe_direction[:, 2])
    around, circumsolar, aureole = sky.horizon_components(light)
    for k, name in enumerate(("Aureole width", "Aureole fall")):
        values = light.aureole_form[:, k]
        keyframes.write_curve(tree, f'nodes["{name}"].outputs[0].default_value', values)
    world[materials.AUREOLE_WIDTH] = float(light.aureole_form[0, 0])
    keyframes.write_curve(world, f'["{materials.AUREOLE_WIDTH}"]', light.aureole_form[:, 0])
    for key, values in (
        (materials.LOW_SKY, around + sky.skyglow(light)),
        (materials.LOW_CIRCUMSOLAR, circumsolar),
        (materials.LOW_AUREOLE, aureole),
        (materials.LOBE_DIRECTION, light.lobe_direction),
        (materials.LEVEL_LIGHT, sky.on_level_ground(light, frames.sun_direction, frames.moon_direction)),
    ):
        world[key] = [float(value) for value in values[0]]
        for channel in range(3):
            keyframes.write_curve(world, f'["{key}"]', values[:, channel], channel)


def _key_sky_shapes(tree: Any, frames: FrameTable) -> None:
    contrast = skyshapes.cloud_contrast(frames.plan.shoot.cloud_divisor)
    clouds: Any = tree.nodes["Clouds"].inputs[0]
    clouds.default_value = [contrast * part for part in skyshapes.BY_CHANNEL]
    drift = np.column_stack([skyshapes.cloud_drift(frames), np.zeros(len(frames))])
    _key_vector(tree, "Cloud drift", 1, drift)
    strength = skyshapes.opposite_strength(frames)[:, None]
    _key_vector(tree, "Pink band", 0, strength * skyshapes.BAND_ADDS)
    _key_vector(tree, "Earth's shadow", 0, -strength * skyshapes.SHADOW_TAKES)
    top = skyshapes.shadow_top(frames)
    keyframes.write_curve(tree, 'nodes["Shadow top"].outputs[0].default_value', top)
    level = frames.sun_direction * [1.0, 1.0, 0.0]
    level /= np.maximum(np.linalg.norm(level, axis=1, keepdims=True), 1e-9)
    _key_vector(tree, "Opposite", 1, -level)


def _sky_shapes(graph: Graph, direction: Any, is_seen: Any) -> Any:
    """The nodes of draft.skyshapes.factors; 1 where the camera doesn't see them."""
    maths, vectors, scaled = graph.maths, graph.vectors, graph.scaled
    up = maths("MAXIMUM", graph.apart(direction)[2], 0.0)
    spread = maths("DIVIDE", 1.0, maths("ADD", up, skyshapes.NEAREST_RISE))
    flat = vectors("MULTIPLY", scaled(spread, direction), (1.0, 1.0, 0.0))
    place = vectors("SUBTRACT", flat, name="Cloud drift")
    clouds = graph.group("Clouds", _clouds, place, up)
    over = maths("SUBTRACT", graph.apart(direction)[2], graph.node("Value", "Shadow top").outputs[0])
    opposite = maths("MAXIMUM", vectors("DOT_PRODUCT", direction, name="Opposite"), 0.0)
    change = graph.total(
        scaled(clouds, name="Clouds"),
        scaled(graph.group("Pink band", _pink_band, over, opposite), name="Pink band"),
        scaled(graph.group("Earth's shadow", _earths_shadow, over, opposite), name="Earth's shadow"),
    )
    return vectors("ADD", scaled(is_seen, change), (1.0, 1.0, 1.0))


def _clouds(graph: Graph, place: Any, up: Any) -> Any:
    maths, vectors = graph.maths, graph.vectors
    bends = []
    for bend, direction in zip(skyshapes.BENDS, skyshapes.BENT, strict=True):
        bends.append(maths("MULTIPLY", maths("SINE", vectors("DOT_PRODUCT", place, (*direction, 0.0))), bend))
    bent = vectors("ADD", place, graph.node("CombineXYZ", X=bends[0], Y=bends[1]).outputs[0])
    total: Any = 0.0
    for along_x, along_y, phase, amplitude in skyshapes.waves().tolist():
        swing = maths("ADD", vectors("DOT_PRODUCT", bent, (along_x, along_y, 0.0)), phase)
        total = maths("MULTIPLY_ADD", maths("SINE", swing), amplitude, total)
    fade = maths("SUBTRACT", 1.0, maths("EXPONENT", maths("DIVIDE", up, -skyshapes.LOW_FADE)))
    return maths("MULTIPLY", maths("TANH", total), fade)


def _pink_band(graph: Graph, over: Any, opposite: Any) -> Any:
    maths = graph.maths
    aside = maths("DIVIDE", maths("SUBTRACT", over, skyshapes.BAND_OVER), skyshapes.BAND_WIDE)
    band = maths("EXPONENT", maths("MULTIPLY", maths("MULTIPLY", aside, aside), -1.0))
    return maths("MULTIPLY", band, opposite)


def _earths_shadow(graph: Graph, over: Any, opposite: Any) -> Any:
    maths = graph.maths
    rising = maths("EXPONENT", maths("MINIMUM", maths("DIVIDE", over, skyshapes.EDGE), 60.0))
    return maths("MULTIPLY", maths("DIVIDE", 1.0, maths("ADD", 1.0, rising)), opposite)


def key_lamps(scene: bpy.types.Scene, levels: NDArray[Any]) -> None:
    """Have lamps light from all around to those levels, shape (frames, 3), on level ground."""
    assert scene.world is not None
    _key_vector(scene.world.node_tree, "Lamps", 0, levels)


def light_for_eevee(scene: bpy.types.Scene, frames: FrameTable, lamp_levels: NDArray[Any]) -> None:
    """Key what EEVEE lights by in place of the sky itself: a plain one that it takes the light from all
    around from, and a sun with the bright sky around it, which goes down behind the land. lamp_levels
    (frames, 3) is the lamps' light from all around.
    """
    light = attrs.evolve(picture_light(frames), lamps=lamp_levels)
    over_land = mirror.sun_seen_over_land(frames, geometry.head_middle_m(frames.plan))
    plain = ambient.probe(frames, light, over_land, glow=True)
    lamp = parts.object_of(scene, "sun")
    assert lamp is not None
    _key_strength(lamp.data, plain.sun)
    assert scene.world is not None
    _key_probe(scene.world.node_tree, plain)


def _key_probe(tree: Any, plain: ambient.Probe) -> None:
    levels = (plain.upper, plain.lower, plain.across[:, 0], plain.across[:, 1])
    for name, values in zip(PROBE, levels, strict=True):
        _key_vector(tree, name, 0, values)


def _key_vector(tree: Any, node: str, socket: int, values: NDArray[Any]) -> None:
    for channel in range(3):
        keyframes.write_curve(
            tree, f'nodes["{node}"].inputs[{socket}].default_value', values[:, channel], channel
        )


def _build_sky(tree: Any) -> None:
    """The nodes of light.sky.radiance: isotropic + band · exp(−k up) + lobes exp(w (toward − 1) − f (up −
    middle)⁺), times exp(−extinction / (up + rise)).

    Light of lamps comes from all sides, but only to matt surfaces: it isn't seen in the sky, or in water.
    Below the horizon is what the ground sends up. The discs of sun and moon and the glare around the sun are
    seen by the camera only: the light they stand for comes from the lamps of the scene.
    """
    graph = Graph(tree)
    maths, vectors, scaled, total = graph.maths, graph.vectors, graph.scaled, graph.total
    direction = graph.node("TexCoord").outputs["Generated"]
    height = graph.apart(direction)[2]
    up = maths("MAXIMUM", height, sky.LOWEST_RISE)
    toward = maths("SUBTRACT", vectors("DOT_PRODUCT", direction, name="Toward lobes"), 1.0)
    middle = graph.node("Value", "Lobe height").outputs[0]
    above = maths("MAXIMUM", maths("SUBTRACT", up, middle), 0.0)

    def lobe(name: str, width: Any, fall: Any) -> Any:
        fallen = maths("MULTIPLY", above, fall)
        falls = maths("EXPONENT", maths("SUBTRACT", maths("MULTIPLY", toward, width), fallen))
        return scaled(falls, name=name)

    band = maths("EXPONENT", maths("MULTIPLY", up, -sky.HORIZON_FALL))
    path = maths("DIVIDE", 1.0, maths("ADD", up, sky.EXTINCTION_RISE))
    depth = graph.apart(scaled(path, name="Extinction"))
    left = graph.node("CombineXYZ")
    for channel in range(3):
        graph.give(left.inputs[channel], maths("EXPONENT", depth[channel]))
    aureole_form = (graph.node("Value", f"Aureole {form}").outputs[0] for form in ("width", "fall"))
    scattered = total(
        vectors("ADD", name="Isotropic"),
        scaled(band, name="Horizon band"),
        lobe("Circumsolar", sky.CIRCUMSOLAR_WIDTH, sky.CIRCUMSOLAR_FALL),
        lobe("Aureole", *aureole_form),
    )
    lit = vectors("DOT_PRODUCT", direction, name="Toward lamps")
    ray = graph.node("LightPath").outputs
    seen = vectors("MULTIPLY", scattered, left.outputs[0])
    seen = vectors("MULTIPLY", seen, _sky_shapes(graph, direction, ray["Is Camera Ray"]))
    lobe_of_lamps = maths("EXPONENT", maths("MULTIPLY_ADD", lit, sky.LAMPS_WIDTH, -sky.LAMPS_WIDTH))
    lamps = maths(
        "MULTIPLY_ADD", lobe_of_lamps, (1.0 - sky.LAMPS_AROUND) * sky.lamp_normalisation(), sky.LAMPS_AROUND
    )
    above = maths("MULTIPLY_ADD", height, 40.0, 1.4, clamp=True)
    below = maths("SUBTRACT", 1.0, above)
    natural = total(scaled(above, seen), scaled(below, name="Ground"))

    def within(away: Any) -> Any:
        """1 on a disc, 0 outside, over a soft edge."""
        edge = maths("DIVIDE", away, float(sky.SUN_RADIUS_RAD))
        return maths("MULTIPLY_ADD", edge, -6.0, 6.5, clamp=True)

    from_sun = vectors("DISTANCE", direction, name="From sun")
    glare = [
        scaled(maths("EXPONENT", maths("DIVIDE", from_sun, -float(width))), name=f"Glare {number + 1}")
        for number, (_, width) in enumerate(sky.GLARE)
    ]
    from_moon = vectors("SUBTRACT", direction, name="From moon")
    on_moon = within(vectors("LENGTH", from_moon))
    offset = scaled(1.0 / float(sky.SUN_RADIUS_RAD), from_moon)
    across = vectors("DOT_PRODUCT", offset, name="Moon day")
    phase = graph.node("Value", "Moon phase").outputs[0]
    moonlight = graph.group("Lit moon", _lit_moon, on_moon, offset, across, phase)

    def shining(colour: Any) -> Any:
        return graph.node("Background", Color=colour).outputs[0]

    # mixed and not multiplied by whether it is seen: Cycles leaves out what is mixed in by nothing
    moon = graph.mixed(on_moon, None, shining(scaled(moonlight, name="Moon disc")))
    sun = shining(total(*glare, scaled(within(from_sun), name="Sun disc")))
    skyglow = shining(scaled(band, name="Skyglow"))
    lamplight = graph.mixed(ray["Is Diffuse Ray"], skyglow, shining(scaled(lamps, name="Lamps")))
    discs = graph.mixed(ray["Is Camera Ray"], None, graph.both(sun, moon))
    graph.end(graph.both(graph.both(shining(natural), lamplight), discs), "World", "CYCLES")
    # EEVEE's light from all around comes from a sky of its own; what it shows is the same
    upper = maths("GREATER_THAN", height, 0.0)
    x, y, _ = graph.apart(direction)
    plain = total(
        scaled(upper, name=PROBE[0]),
        scaled(maths("SUBTRACT", 1.0, upper), name=PROBE[1]),
        scaled(maths("MULTIPLY", x, upper), name=PROBE[2]),
        scaled(maths("MULTIPLY", y, upper), name=PROBE[3]),
    )
    plain = vectors("MAXIMUM", plain, (0.0, 0.0, 0.0))
    shown = graph.both(graph.both(shining(natural), skyglow), graph.both(sun, moon))
    graph.end(graph.mixed(ray["Is Camera Ray"], shining(plain), shown), "World", "EEVEE")


def _lit_moon(graph: Graph, on_moon: Any, offset: Any, across: Any, phase: Any) -> Any:
    maths = graph.maths
    aside = graph.vectors("DOT_PRODUCT", offset, offset)
    bulge = maths("SQRT", maths("MAXIMUM", maths("SUBTRACT", 1.0, aside), 0.0))
    facing = maths("SUBTRACT", across, maths("MULTIPLY", bulge, phase))
    return maths("MULTIPLY", on_moon, maths("MULTIPLY_ADD", facing, 8.0, 0.5, clamp=True))
