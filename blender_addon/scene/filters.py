"""A graduated filter before the lens of the scene's camera, for pictures of the lit look."""

from __future__ import annotations

import math
from typing import Any

import bpy

from planner_core.picture import graduated, projection
from planner_core.plan.model import Plan

from .. import compat
from . import materials, parts
from .nodes import Graph

PART, MATERIAL_PART = "graduated filter", "material:graduated filter"
STOPS, EDGE = "duskrail_grad_stops", "duskrail_grad_edge"  # properties of the world
BEFORE_NEAREST = 1.5  # how far before the lens, in distances at which the camera begins to see
MARGIN = 1.3  # how much wider than the picture


def draw_graduated(scene: bpy.types.Scene, plan: Plan) -> bpy.types.Object | None:
    """The plan's graduated filter, as a pane before the camera that the camera alone sees; none for none.

    The scene's light and rig must have been drawn before.
    """
    old = parts.object_of(scene, PART)
    if old is not None:
        parts.remove(old)
    stops = plan.exposure.grad_stops if plan.exposure else 0.0
    camera = scene.camera
    if not stops or camera is None:
        return None
    lens: Any = camera.data
    away_m = BEFORE_NEAREST * lens.clip_start
    crop = projection.delivered_crop(plan.camera, plan.clip)
    half_m = MARGIN * away_m * crop.width_mm / (2.0 * plan.camera.focal_length_mm)
    half_m *= max(1.0, crop.height_mm / crop.width_mm)
    mesh = bpy.data.meshes.new("Graduated filter")
    corners = [(x * half_m, y * half_m, -away_m) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    mesh.from_pydata(corners, [], [(0, 1, 2, 3)])
    mesh.materials.append(_material())
    mesh.update()
    pane = parts.new_object(PART, "Graduated filter", mesh, parts.collection_of(scene, "light", "Light"))
    pane.parent = camera
    for ray_kind in ("diffuse", "glossy", "transmission", "volume_scatter", "shadow"):
        setattr(pane, f"visible_{ray_kind}", False)
    pane.hide_select = True
    world: Any = scene.world
    world[STOPS], world[EDGE] = stops, graduated.edge_half_width(plan)
    return pane


def _material() -> bpy.types.Material:
    """Lets through what graduated.light_let_through says, by how high each ray goes."""
    for material in bpy.data.materials:
        if material.is_editable and parts.part_of(material) == MATERIAL_PART:
            return material
    made = bpy.data.materials.new("Graduated filter")
    made[parts.PART_KEY] = MATERIAL_PART
    graph = Graph(compat.use_nodes(made))
    maths = graph.maths
    down = graph.apart(graph.node("NewGeometry").outputs["Incoming"])[2]
    width = maths("MULTIPLY", graph.number_of("VIEW_LAYER", EDGE), -2.0)
    fraction = maths("ADD", maths("DIVIDE", down, width), 0.5, clamp=True)
    eased = maths(
        "MULTIPLY", maths("MULTIPLY", fraction, fraction), maths("MULTIPLY_ADD", fraction, -2.0, 3.0)
    )
    taken = maths("MULTIPLY", eased, graph.number_of("VIEW_LAYER", STOPS))
    left = maths("EXPONENT", maths("MULTIPLY", taken, -math.log(2.0)))
    grey = graph.node("CombineXYZ")
    for channel in range(3):
        graph.give(grey.inputs[channel], left)
    graph.end(graph.node("BsdfTransparent", Color=grey.outputs[0]).outputs[0])
    made.surface_render_method = "BLENDED"
    materials.lights_nothing(made)
    return made
