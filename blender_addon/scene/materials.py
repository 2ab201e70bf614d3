"""Draft materials: one a role, coloured by each object's own colour, and paler with distance as air makes it.

What changes from frame to frame is not in them but in properties of the world, so that scenes can share them.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from planner_core.light import sky, water

from .. import compat
from . import parts
from .nodes import Graph

# properties of the world, keyed: the sky at the horizon all around, its lobes, and the way to their middle
LOW_SKY, LOW_CIRCUMSOLAR, LOW_AUREOLE, LOBE_DIRECTION = (
    f"duskrail_{name}" for name in ("low_sky", "low_circumsolar", "low_aureole", "lobe_direction")
)
AUREOLE_WIDTH = "duskrail_aureole_width"
LEVEL_LIGHT = "duskrail_level_light"  # of all light together on level ground, without shadows
SLOPE = float(water.mean_square_slope(water.CALM_WIND_M_S))
ROUGHNESS = SLOPE**0.25  # Blender squares it
PAINTED, COLOURS = "painted", "Duskrail fast look"  # a part, and the attribute of corners that it shows
AIR_LEAST = 0.002  # less of it is invisible and is skipped
AIR_M = 30_000.0  # distance at which the air leaves 1/e of a colour: a clear evening, value from memory

NAMES = {
    "subject": "Draft subject",
    "foreground": "Draft foreground",
    "background": "Draft background",
    "ground": "Draft ground",
    "water": "Draft water",
}


def role_material(role: str) -> bpy.types.Material:
    """The material of a role, made once a file."""
    for material in bpy.data.materials:
        if material.is_editable and parts.part_of(material) == f"role:{role}":
            return material
    made = bpy.data.materials.new(NAMES[role])
    made[parts.PART_KEY] = f"role:{role}"
    tree = compat.use_nodes(made)
    (_water if role == "water" else _solid)(tree)
    lights_nothing(made)
    return made


def painted_material() -> bpy.types.Material:
    """The material of what shines in the colours that its corners are painted in."""
    for material in bpy.data.materials:
        if material.is_editable and parts.part_of(material) == PAINTED:
            return material
    made = bpy.data.materials.new("Draft painted")
    made[parts.PART_KEY] = PAINTED
    graph = Graph(compat.use_nodes(made))
    graph.end(graph.node("Emission", Color=graph.vector_of("GEOMETRY", COLOURS)).outputs[0])
    lights_nothing(made)
    return made


def air_before(far_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of a colour that the air takes at distances, as the materials have it."""
    return np.maximum(1.0 - AIR_LEAST - np.exp(-far_m / AIR_M), 0.0)


def lights_nothing(material: bpy.types.Material) -> None:
    """Keep Cycles from sampling an emissive material as a lamp."""
    cycles: Any = getattr(material, "cycles", None)
    if cycles is not None:
        cycles.emission_sampling = "NONE"


def _solid(tree: Any) -> None:
    """Plain matt surface in the object's colour."""
    graph = Graph(tree)
    colour = graph.node("ObjectInfo").outputs["Color"]
    graph.end(_through_air(graph, graph.node("BsdfDiffuse", Color=colour).outputs[0]))


def _water(tree: Any) -> None:
    """Dark below, mirror above by Fresnel's law, as rough as the waves are steep.

    What is below shines as the light above it makes it, rather than be lit: so that all of a draft's few
    samples go to what is mirrored.
    """
    graph = Graph(tree)
    # a mirror by Schlick's formula of Fresnel's law, facet by facet
    straight = (*(water.STRAIGHT_DOWN,) * 3, 1.0)
    mirror = graph.node("BsdfMetallic", Base_Color=straight, Edge_Tint=(1.0,) * 4, Roughness=ROUGHNESS)
    mirror.distribution = "BECKMANN"  # slopes of a normal distribution
    colour = graph.node("ObjectInfo").outputs["Color"]
    lit = graph.vectors("MULTIPLY", colour, graph.vector_of("VIEW_LAYER", LEVEL_LIGHT))
    body = graph.node("Emission", Color=lit, Strength=_sent_up(graph)).outputs[0]
    graph.end(_through_air(graph, graph.both(body, mirror.outputs[0])))


def _sent_up(graph: Graph) -> Any:
    """What the waves let out of the light below them: 1 − water.mirrored_share, to a few percent."""
    geometry, maths = graph.node("NewGeometry").outputs, graph.maths
    drop = graph.vectors("DOT_PRODUCT", geometry["Incoming"], geometry["Normal"])
    widened = maths("MULTIPLY_ADD", drop, drop, water.WIDENED * SLOPE)
    glance = maths("POWER", maths("SUBTRACT", 1.0, maths("SQRT", widened), clamp=True), 5.0)
    return maths("MULTIPLY_ADD", glance, water.STRAIGHT_DOWN - 1.0, 1.0 - water.STRAIGHT_DOWN)


def _through_air(graph: Graph, shader: Any) -> Any:
    """A surface as it is seen through air: it goes over into the sky low behind it."""
    maths = graph.maths
    view = graph.node("NewGeometry").outputs["Incoming"]
    toward = graph.vectors("DOT_PRODUCT", view, graph.vector_of("VIEW_LAYER", LOBE_DIRECTION))
    away = maths("SUBTRACT", maths("MULTIPLY", toward, -1.0), 1.0)
    low = graph.vector_of("VIEW_LAYER", LOW_SKY)
    for name, width in (
        (LOW_CIRCUMSOLAR, sky.CIRCUMSOLAR_WIDTH),
        (LOW_AUREOLE, graph.number_of("VIEW_LAYER", AUREOLE_WIDTH)),
    ):
        lobe = maths("EXPONENT", maths("MULTIPLY", away, width))
        low = graph.total(low, graph.scaled(lobe, graph.vector_of("VIEW_LAYER", name)))
    air = graph.node("Emission", Color=low).outputs[0]
    far = graph.node("LightPath").outputs["Ray Length"]
    clear = maths("EXPONENT", maths("MULTIPLY", far, -1.0 / AIR_M))
    taken = maths("SUBTRACT", 1.0 - AIR_LEAST, clear)  # exactly zero nearby, instead of a tiny amount
    return graph.mixed(taken, shader, air)
