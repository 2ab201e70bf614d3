"""Draft materials: one a role, coloured by each object's own colour."""

from __future__ import annotations

from typing import Any

import bpy

from . import compat, parts

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
    return made


def _solid(tree: Any) -> None:
    """Plain matt stuff in the object's colour."""
    nodes, links = tree.nodes, tree.links
    info, surface, output = (
        nodes.new(kind)
        for kind in ("ShaderNodeObjectInfo", "ShaderNodeBsdfDiffuse", "ShaderNodeOutputMaterial")
    )
    links.new(info.outputs["Color"], surface.inputs["Color"])
    links.new(surface.outputs["BSDF"], output.inputs["Surface"])


def _water(tree: Any) -> None:
    """Dark below, mirror above by Fresnel's law, with a slight swell."""
    nodes, links = tree.nodes, tree.links
    info, body, mirror, mix, fresnel, output = (
        nodes.new(kind)
        for kind in (
            "ShaderNodeObjectInfo",
            "ShaderNodeBsdfDiffuse",
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
    noise.inputs["Scale"].default_value = 0.9
    bump.inputs["Strength"].default_value = 0.12
    bump.inputs["Distance"].default_value = 0.1
    links.new(place.outputs["Position"], noise.inputs["Vector"])
    links.new(noise.outputs["Fac" if "Fac" in noise.outputs else 0], bump.inputs["Height"])
    links.new(bump.outputs["Normal"], mirror.inputs["Normal"])
    links.new(info.outputs["Color"], body.inputs["Color"])
    links.new(fresnel.outputs[0], mix.inputs[0])
    links.new(body.outputs[0], mix.inputs[1])
    links.new(mirror.outputs[0], mix.inputs[2])
    links.new(mix.outputs[0], output.inputs["Surface"])
