"""Draft materials: one a role, coloured by each object's own colour, and paler with distance as air makes it.

What changes from frame to frame is not in them but in properties of the world, so that scenes can share them.
"""

from __future__ import annotations

from typing import Any

import bpy

from planner_core import sky

from . import compat, parts

# properties of the world, keyed: the sky at the horizon all around, its lobes, and the way to their middle
LOW_SKY, LOW_GLOW, LOW_EMBER, GLOW_WAY = (
    f"duskrail_{name}" for name in ("low_sky", "low_glow", "low_ember", "glow_way")
)
EMBER_WIDTH = "duskrail_ember_width"
LEVEL_LIGHT = "duskrail_level_light"  # of all light together on level ground, without shadows
AIR_LEAST = 0.002  # less of it isn't seen, and needn't be worked out
AIR_M = 30_000.0  # how far the air lets a colour through to 1/e: a clear evening, value from memory

NAMES = {
    "subject": "Draft subject",
    "foreground": "Draft foreground",
    "background": "Draft background",
    "ground": "Draft ground",
    "water": "Draft water",
}


def role_material(role: str) -> bpy.types.Material:
    """The material of a role, made once a file."""
    for found in bpy.data.materials:
        if found.is_editable and parts.part_of(found) == f"role:{role}":
            return found
    made = bpy.data.materials.new(NAMES[role])
    made[parts.PART_KEY] = f"role:{role}"
    tree = compat.use_nodes(made)
    (_water if role == "water" else _solid)(tree)
    lights_nothing(made)
    return made


def lights_nothing(material: bpy.types.Material) -> None:
    """Keep Cycles from taking a material that shines for a lamp."""
    cycles: Any = getattr(material, "cycles", None)
    if cycles is not None:
        cycles.emission_sampling = "NONE"


def _solid(tree: Any) -> None:
    """Plain matt stuff in the object's colour."""
    nodes, links = tree.nodes, tree.links
    info, surface, output = (
        nodes.new(kind)
        for kind in ("ShaderNodeObjectInfo", "ShaderNodeBsdfDiffuse", "ShaderNodeOutputMaterial")
    )
    links.new(info.outputs["Color"], surface.inputs["Color"])
    links.new(_through_air(tree, surface.outputs["BSDF"]), output.inputs["Surface"])


def _water(tree: Any) -> None:
    """Dark below, mirror above by Fresnel's law, with a slight swell.

    What is below shines as the light above it makes it, rather than be lit: so that all of a draft's few
    samples go to what is mirrored.
    """
    nodes, links = tree.nodes, tree.links
    info, lit, body, mirror, mix, fresnel, output = (
        nodes.new(kind)
        for kind in (
            "ShaderNodeObjectInfo",
            "ShaderNodeVectorMath",
            "ShaderNodeEmission",
            "ShaderNodeBsdfGlossy",
            "ShaderNodeMixShader",
            "ShaderNodeFresnel",
            "ShaderNodeOutputMaterial",
        )
    )
    place, noise, bump = (
        nodes.new(kind) for kind in ("ShaderNodeNewGeometry", "ShaderNodeTexNoise", "ShaderNodeBump")
    )
    fresnel.inputs["IOR"].default_value = 1.333  # water
    mirror.inputs["Roughness"].default_value = 0.06
    noise.noise_dimensions = "2D"
    noise.inputs["Scale"].default_value = 0.9
    noise.inputs["Detail"].default_value = 1.0
    bump.inputs["Strength"].default_value = 0.12
    bump.inputs["Distance"].default_value = 0.1
    lit.operation = "MULTIPLY"
    links.new(place.outputs["Position"], noise.inputs["Vector"])
    links.new(noise.outputs["Fac" if "Fac" in noise.outputs else 0], bump.inputs["Height"])
    links.new(bump.outputs["Normal"], mirror.inputs["Normal"])
    links.new(info.outputs["Color"], lit.inputs[0])
    links.new(_of_world(tree, LEVEL_LIGHT), lit.inputs[1])
    links.new(lit.outputs[0], body.inputs["Color"])
    links.new(fresnel.outputs[0], mix.inputs[0])
    links.new(body.outputs[0], mix.inputs[1])
    links.new(mirror.outputs[0], mix.inputs[2])
    links.new(_through_air(tree, mix.outputs[0]), output.inputs["Surface"])


def _of_world(tree: Any, name: str) -> Any:
    """A vector that is a property of the world."""
    found = tree.nodes.new("ShaderNodeAttribute")
    found.attribute_type, found.attribute_name = "VIEW_LAYER", name
    return found.outputs["Vector"]


def _through_air(tree: Any, shader: Any) -> Any:
    """A surface as it is seen through air: it goes over into the sky low behind it."""
    nodes, links = tree.nodes, tree.links

    def maths(operation: str, first: Any, second: Any) -> Any:
        made = nodes.new("ShaderNodeMath")
        made.operation = operation
        if isinstance(second, float):
            made.inputs[1].default_value = second
        else:
            links.new(second, made.inputs[1])
        links.new(first, made.inputs[0])
        return made.outputs[0]

    def vectors(operation: str, first: Any, second: Any, output: int = 0) -> Any:
        made = nodes.new("ShaderNodeVectorMath")
        made.operation = operation
        links.new(first, made.inputs[0])
        links.new(second, made.inputs[3 if operation == "SCALE" else 1])
        return made.outputs[output]

    view = nodes.new("ShaderNodeNewGeometry").outputs["Incoming"]
    toward = vectors("DOT_PRODUCT", view, _of_world(tree, GLOW_WAY), 1)
    low = _of_world(tree, LOW_SKY)
    ember_width = nodes.new("ShaderNodeAttribute")
    ember_width.attribute_type, ember_width.attribute_name = "VIEW_LAYER", EMBER_WIDTH
    away = maths("SUBTRACT", maths("MULTIPLY", toward, -1.0), 1.0)
    for name, width in ((LOW_GLOW, sky.GLOW_WIDTH), (LOW_EMBER, ember_width.outputs["Fac"])):
        lobe = maths("EXPONENT", maths("MULTIPLY", away, width), 0.0)
        low = vectors("ADD", low, vectors("SCALE", _of_world(tree, name), lobe))
    air = nodes.new("ShaderNodeEmission")
    links.new(low, air.inputs["Color"])
    far = nodes.new("ShaderNodeLightPath").outputs["Ray Length"]
    clear = maths("EXPONENT", maths("MULTIPLY", far, -1.0 / AIR_M), 0.0)
    taken = maths("MULTIPLY", maths("SUBTRACT", clear, 1.0 - AIR_LEAST), -1.0)
    mix = nodes.new("ShaderNodeMixShader")
    links.new(taken, mix.inputs[0])  # none of it (less than none) is left out by Cycles
    links.new(shader, mix.inputs[1])
    links.new(air.outputs[0], mix.inputs[2])
    return mix.outputs[0]
