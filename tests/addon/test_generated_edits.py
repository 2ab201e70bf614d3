"""Edits of blocks and axes by the rarer means of Blender, generated: read as Blender shows them, or told.

By default a sample; DUSKRAIL_EDITS=all runs every one of them.
"""

from __future__ import annotations

import itertools
import math
import os
import random
from collections.abc import Callable
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.read.readback import ReadbackError, read_scene
from blender_addon.scene import keyframes, parts
from planner_core import Plan, compute_frames
from planner_core.maths.convex import hull
from planner_core.place.blocking import block_mesh
from tests.addon.scenes import camera_matrices, drawn, turn_between_deg
from tests.present import present
from tests.two_towers import plan

FRAMES = 12
STAGE = plan(shoot__frames=FRAMES, shoot__interval_s=489.0)
PIXEL_DEG = math.degrees(STAGE.camera.sensor_width_mm / STAGE.camera.focal_length_mm / STAGE.clip.width_px)
SAME_M, SAME_OF_REACH = 2e-3, 3e-5  # as far away, a ridge's bearings round
SAMPLE = 14

Things = Any  # objects of Blender, whose attributes its stubs know only by kind


def sampled(cases: list[Any]) -> list[Any]:
    """All of them where that is asked for, else some, the same each time."""
    if os.environ.get("DUSKRAIL_EDITS") == "all":
        return cases
    return random.Random(15).sample(cases, SAMPLE)


# ---------------------------------------------------------------- blocks


def nodes(obj: Things, build: Callable[[Any, Any, Any], None]) -> None:
    """A modifier of geometry nodes, whose tree `build` fills between its ends."""
    tree: Any = bpy.data.node_groups.new("Shape", "GeometryNodeTree")
    tree.interface.new_socket("Geometry", in_out="INPUT", socket_type="NodeSocketGeometry")
    tree.interface.new_socket("Geometry", in_out="OUTPUT", socket_type="NodeSocketGeometry")
    start, end = tree.nodes.new("NodeGroupInput"), tree.nodes.new("NodeGroupOutput")
    build(tree, start.outputs[0], end.inputs[0])
    obj.modifiers.new("Shape", "NODES").node_group = tree


def node_between(tree: Any, kind: str, start: Any, end: Any) -> Any:
    made = tree.nodes.new(kind)
    tree.links.new(start, made.inputs["Geometry" if "Geometry" in made.inputs else "Mesh"])
    tree.links.new(made.outputs[0], end)
    return made


def nodes_move(obj: Things) -> None:
    def build(tree: Any, start: Any, end: Any) -> None:
        node = node_between(tree, "GeometryNodeTransform", start, end)
        node.inputs["Translation"].default_value = (3.0, -2.0, 1.5)
        node.inputs["Scale"].default_value = (1.2, 0.8, 1.4)

    nodes(obj, build)


def nodes_twice(obj: Things) -> None:
    def build(tree: Any, start: Any, end: Any) -> None:
        join = tree.nodes.new("GeometryNodeJoinGeometry")
        shifted = tree.nodes.new("GeometryNodeTransform")
        shifted.inputs["Translation"].default_value = (15.0, 0.0, 0.0)
        tree.links.new(start, shifted.inputs["Geometry"])
        tree.links.new(start, join.inputs[0])
        tree.links.new(shifted.outputs[0], join.inputs[0])
        tree.links.new(join.outputs[0], end)

    nodes(obj, build)


def nodes_cone(obj: Things) -> None:
    def build(tree: Any, _start: Any, end: Any) -> None:
        cone = tree.nodes.new("GeometryNodeMeshCone")
        cone.inputs["Depth"].default_value = 9.0
        tree.links.new(cone.outputs["Mesh"], end)

    nodes(obj, build)


def nodes_instances(obj: Things) -> None:
    """Boxes on the corners: instances, which a mesh's vertices don't have."""

    def build(tree: Any, start: Any, end: Any) -> None:
        box = tree.nodes.new("GeometryNodeMeshCube")
        scatter = tree.nodes.new("GeometryNodeInstanceOnPoints")
        tree.links.new(start, scatter.inputs["Points"])
        tree.links.new(box.outputs["Mesh"], scatter.inputs["Instance"])
        tree.links.new(scatter.outputs[0], end)

    nodes(obj, build)


def nodes_nothing(obj: Things) -> None:
    nodes(obj, lambda tree, start, end: None)


def nodes_raised(obj: Things) -> None:
    def build(tree: Any, start: Any, end: Any) -> None:
        node = node_between(tree, "GeometryNodeSetPosition", start, end)
        node.inputs["Offset"].default_value = (0.0, 0.0, 2.5)

    nodes(obj, build)


def nodes_by_time(obj: Things) -> None:
    def build(tree: Any, start: Any, end: Any) -> None:
        node = node_between(tree, "GeometryNodeTransform", start, end)
        time, vector = tree.nodes.new("GeometryNodeInputSceneTime"), tree.nodes.new("ShaderNodeCombineXYZ")
        tree.links.new(time.outputs["Frame"], vector.inputs["X"])
        tree.links.new(vector.outputs[0], node.inputs["Translation"])

    nodes(obj, build)


def modifier(kind: str, **values: Any) -> Callable[[Things], None]:
    def add(obj: Things) -> None:
        made = obj.modifiers.new(kind.title(), kind)
        for name, value in values.items():
            setattr(made, name, value)

    return add


def modifier_off(obj: Things) -> None:
    modifier("ARRAY", count=4)(obj)
    obj.modifiers[0].show_viewport = False


def hook(obj: Things) -> None:
    empty = bpy.data.objects.new("Hook", None)
    obj.users_collection[0].objects.link(empty)
    made = obj.modifiers.new("Hook", "HOOK")
    made.object = empty
    made.vertex_indices_set([0, 1, 2])
    empty.location.z += 2.0


def shape_key(obj: Things) -> None:
    obj.shape_key_add(name="Basis")
    key = obj.shape_key_add(name="Taller")
    for point in key.data:
        point.co *= 1.5
    key.value = 0.7


def driven_key(obj: Things) -> None:
    shape_key(obj)
    curve = obj.data.shape_keys.key_blocks[1].driver_add("value")
    curve.driver.type = "SUM"
    (curve.modifiers[0] if curve.modifiers else curve.modifiers.new("GENERATOR")).coefficients = (0.4, 0.0)


def parented(obj: Things) -> None:
    empty = bpy.data.objects.new("Cart", None)
    bpy.context.scene.collection.objects.link(empty)
    obj.parent = empty
    empty.location = (4.0, 3.0, 0.0)
    empty.rotation_euler.z = 0.4


def sheared(obj: Things) -> None:
    parented(obj)
    obj.parent.scale = (1.0, 2.0, 1.0)
    obj.rotation_euler.z += 0.5


def constrained(obj: Things) -> None:
    empty = bpy.data.objects.new("Aim", None)
    bpy.context.scene.collection.objects.link(empty)
    empty.location = (-20.0, 55.0, 7.0)
    obj.constraints.new("COPY_LOCATION").target = empty


def limited(obj: Things) -> None:
    made = obj.constraints.new("LIMIT_LOCATION")
    made.use_max_x, made.max_x = True, -5.0


def delta(obj: Things) -> None:
    obj.delta_location.x += 6.0
    obj.delta_rotation_euler.z += 0.3
    obj.delta_scale = (1.0, 1.0, 1.5)


def leaning(obj: Things) -> None:
    obj.rotation_euler.x += 0.3


def upside_down(obj: Things) -> None:
    obj.rotation_euler.x += math.pi


def mirrored(obj: Things) -> None:
    obj.scale.x *= -1.0


def stretched(obj: Things) -> None:
    obj.scale = (1.3, 0.6, 1.8)


def by_quaternion(obj: Things) -> None:
    obj.rotation_mode = "QUATERNION"
    obj.rotation_quaternion = (math.cos(0.2), 0.0, 0.0, math.sin(0.2))


def driven_place(obj: Things) -> None:
    curve = obj.driver_add("location", 0)
    curve.driver.type = "SUM"
    (curve.modifiers[0] if curve.modifiers else curve.modifiers.new("GENERATOR")).coefficients = (7.0, 0.0)


def keyed_place(obj: Things) -> None:
    for frame, x in ((1, 0.0), (FRAMES, 9.0)):
        obj.location.x = x
        obj.keyframe_insert("location", index=0, frame=frame)


def nla_place(obj: Things) -> None:
    keyed_place(obj)
    animation = obj.animation_data
    strip = animation.nla_tracks.new().strips.new("Place", 1, animation.action)
    if strip.action_slot is None:
        strip.action_slot = animation.action_slot
    animation.action = None


def corner_pulled(obj: Things) -> None:
    obj.data.vertices[0].co += type(obj.data.vertices[0].co)((-2.0, -1.0, 0.5))


def new_mesh(obj: Things) -> None:
    mesh = bpy.data.meshes.new("Wedge")
    points = [(0, 0, 0), (6, 0, 0), (6, 4, 0), (0, 4, 0), (0, 0, 5), (6, 0, 5)]
    faces = [(3, 2, 1, 0), (0, 1, 5, 4), (2, 3, 4, 5), (0, 4, 3), (1, 2, 5)]
    mesh.from_pydata(points, [], faces)
    obj.data = mesh


BLOCK_EDITS: dict[str, Callable[[Things], None]] = {
    **{f.__name__: f for f in (nodes_move, nodes_twice, nodes_cone, nodes_instances, nodes_nothing)},
    **{f.__name__: f for f in (nodes_raised, nodes_by_time, modifier_off, hook, shape_key, driven_key)},
    **{f.__name__: f for f in (parented, sheared, constrained, limited, delta, leaning, upside_down)},
    **{f.__name__: f for f in (mirrored, stretched, by_quaternion, driven_place, keyed_place, nla_place)},
    **{f.__name__: f for f in (corner_pulled, new_mesh)},
    "array": modifier("ARRAY", count=3),
    "bevel": modifier("BEVEL", width=0.4),
    "solidify": modifier("SOLIDIFY", thickness=1.0, offset=1.0),
    "subdivided": modifier("SUBSURF", levels=1),
    "wireframe": modifier("WIREFRAME", thickness=0.3),
    "bent": modifier("SIMPLE_DEFORM", deform_method="TAPER", factor=0.5),
    "cast": modifier("CAST", factor=0.5),
    "decimated": modifier("DECIMATE", ratio=0.5),
    "screwed": modifier("SCREW", angle=1.0, screw_offset=3.0),
    "built": modifier("BUILD", frame_start=1.0, frame_duration=6.0),
    "waved": modifier("WAVE", height=1.0),
    "mirror": modifier("MIRROR"),
}
SHAPES = ("box", "prism", "ridge", "post")


def block_of(scene: bpy.types.Scene, shape: str) -> Things:
    name = next((b.name for b in STAGE.blocks if b.shape == shape), "")
    found = [obj for obj in parts.objects_of(scene, "block") if obj.get("duskrail_name") == name]
    return found[0] if found else None


BLOCK_CASES = [
    (name, shape)
    for name, shape in itertools.product(BLOCK_EDITS, SHAPES)
    if any(b.shape == shape for b in STAGE.blocks)
]


def shown_points(obj: Things, scene: bpy.types.Scene) -> np.ndarray:
    """Every vertex of what Blender shows of an object, instances too, in the world, shape (n, 3)."""
    depsgraph = present(scene.view_layers[0].depsgraph)
    depsgraph.update()
    found = []
    for instance in depsgraph.object_instances:
        thing = instance.object
        owner = instance.parent if instance.is_instance else thing
        if owner.original != obj or thing.type != "MESH":
            continue
        found += [instance.matrix_world @ v.co for v in thing.data.vertices]
    return np.array(found, dtype=np.float64).reshape(-1, 3)


def away_m(points: np.ndarray, other: np.ndarray) -> float:
    """How far two sets of points are from having the same box around them and the same outline from above."""
    boxes = [np.stack([p.min(axis=0), p.max(axis=0)]) for p in (points, other)]
    off = float(np.abs(boxes[0] - boxes[1]).max())
    directions = np.linspace(0.0, 2.0 * math.pi, 36, endpoint=False)
    along = np.stack([np.cos(directions), np.sin(directions)])
    reach = [(hull(p[:, :2]) @ along).max(axis=0) for p in (points, other)]
    return max(off, float(np.abs(reach[0] - reach[1]).max()))


@pytest.mark.parametrize(("name", "shape"), sampled(BLOCK_CASES))
def test_an_edited_block_is_as_blender_shows_it_or_told(name: str, shape: str) -> None:
    scene, _ = drawn(STAGE)
    obj = block_of(scene, shape)
    number = int(obj[parts.INDEX_KEY])
    BLOCK_EDITS[name](obj)
    for layer in scene.view_layers:
        layer.update()
    shown = shown_points(obj, scene)
    try:
        found = read_scene(scene)
    except ReadbackError as refused:
        assert obj.name in str(refused)
        return
    told = [line for line in found.said if obj.name in line]
    compute_frames(found.plan)
    block = found.plan.blocks[number] if number < len(found.plan.blocks) else None
    if len(shown) == 0 or block is None or block.name != STAGE.blocks[number].name:
        assert told, "the block is gone without a word"
        return
    drawn_now = block_mesh(found.plan, block).vertices_m
    assert told or away_m(shown, drawn_now) < max(SAME_M, SAME_OF_REACH * float(np.abs(shown).max()))


# ---------------------------------------------------------------- axes: actions, slots, layers, curves


def axis_part(scene: bpy.types.Scene, name: str) -> Things:
    return present(parts.object_of(scene, name))


CHANNELS = {"carriage": ("location", 1), "pan": ("rotation_euler", 2), "tilt": ("rotation_euler", 0)}


def curve_of(scene: bpy.types.Scene, name: str) -> Any:
    return present(keyframes.find_curve(axis_part(scene, name), *CHANNELS[name]))


def other_slot(scene: bpy.types.Scene, name: str) -> None:
    animation = axis_part(scene, name).animation_data
    animation.action_slot = animation.action.slots.new(id_type="OBJECT", name="Other")


def other_slot_with_keys(scene: bpy.types.Scene, name: str) -> None:
    other_slot(scene, name)
    thing, (path, index) = axis_part(scene, name), CHANNELS[name]
    start = getattr(thing, path)[index]
    for frame, value in ((1, start), (FRAMES, start + 0.2)):
        getattr(thing, path)[index] = value
        thing.keyframe_insert(path, index=index, frame=frame)


def no_slot(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).animation_data.action_slot = None


def no_action(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).animation_data.action = None


def another_action(scene: bpy.types.Scene, name: str) -> None:
    no_action(scene, name)
    thing, (path, index) = axis_part(scene, name), CHANNELS[name]
    start = getattr(thing, path)[index]
    for frame, value in ((1, start), (7, start + 0.1), (FRAMES, start + 0.15)):
        getattr(thing, path)[index] = value
        thing.keyframe_insert(path, index=index, frame=frame)


def half_influence(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).animation_data.action_influence = 0.5


def added_on_top(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).animation_data.action_blend_type = "ADD"


def pushed_down(scene: bpy.types.Scene, name: str) -> None:
    animation = axis_part(scene, name).animation_data
    slot, action = animation.action_slot, animation.action
    strip = animation.nla_tracks.new().strips.new("Own", 1, action)
    strip.action_slot = slot
    animation.action = None


def pushed_down_twice_as_slow(scene: bpy.types.Scene, name: str) -> None:
    pushed_down(scene, name)
    axis_part(scene, name).animation_data.nla_tracks[0].strips[0].scale = 2.0


def muted_track(scene: bpy.types.Scene, name: str) -> None:
    animation = axis_part(scene, name).animation_data
    animation.nla_tracks.new().strips.new("Own", 1, animation.action)
    animation.nla_tracks[0].mute = True


def solo_track(scene: bpy.types.Scene, name: str) -> None:
    animation = axis_part(scene, name).animation_data
    other = bpy.data.actions.new("Other")
    animation.nla_tracks.new().strips.new("Other", 1, other)
    animation.nla_tracks[0].is_solo = True


def curve_muted(scene: bpy.types.Scene, name: str) -> None:
    curve_of(scene, name).mute = True


def group_muted(scene: bpy.types.Scene, name: str) -> None:
    curve = curve_of(scene, name)
    animation = axis_part(scene, name).animation_data
    bag = animation.action.layers[0].strips[0].channelbag(animation.action_slot)
    curve.group = bag.groups.new("Axis")
    curve.group.mute = True


def driven_axis(scene: bpy.types.Scene, name: str) -> None:
    thing, (path, index) = axis_part(scene, name), CHANNELS[name]
    keyframes.clear_curve(thing, path, index)
    curve = thing.driver_add(path, index)
    curve.driver.type = "SUM"
    (curve.modifiers[0] if curve.modifiers else curve.modifiers.new("GENERATOR")).coefficients = (0.5, 0.0)


def driver_over_keys(scene: bpy.types.Scene, name: str) -> None:
    curve = axis_part(scene, name).driver_add(*CHANNELS[name])
    curve.driver.type = "SUM"
    (curve.modifiers[0] if curve.modifiers else curve.modifiers.new("GENERATOR")).coefficients = (0.5, 0.0)


def curve_modifier(kind: str, **values: Any) -> Callable[[bpy.types.Scene, str], None]:
    def add(scene: bpy.types.Scene, name: str) -> None:
        made = curve_of(scene, name).modifiers.new(kind)
        for key, value in values.items():
            setattr(made, key, value)

    return add


def keys_thinned(scene: bpy.types.Scene, name: str) -> None:
    curve = curve_of(scene, name)
    for point in list(curve.keyframe_points)[-2:0:-1]:
        curve.keyframe_points.remove(point)
    for point in curve.keyframe_points:
        point.interpolation = "BEZIER"
    curve.update()


def keys_constant(scene: bpy.types.Scene, name: str) -> None:
    for point in curve_of(scene, name).keyframe_points:
        point.interpolation = "CONSTANT"


def keys_eased(scene: bpy.types.Scene, name: str) -> None:
    keys_thinned(scene, name)
    for point in curve_of(scene, name).keyframe_points:
        point.interpolation, point.easing = "BOUNCE", "EASE_OUT"


def keys_late(scene: bpy.types.Scene, name: str) -> None:
    curve = curve_of(scene, name)
    for point in curve.keyframe_points:
        point.co[0] += 3.0
    curve.update()


def keys_all_gone(scene: bpy.types.Scene, name: str) -> None:
    curve = curve_of(scene, name)
    for point in list(curve.keyframe_points)[::-1]:
        curve.keyframe_points.remove(point)


def keys_at_one_value(scene: bpy.types.Scene, name: str) -> None:
    curve = curve_of(scene, name)
    for point in curve.keyframe_points:
        point.co[1] = curve.keyframe_points[0].co[1]
    curve.update()


def slower_time(scene: bpy.types.Scene, _name: str) -> None:
    scene.render.frame_map_old, scene.render.frame_map_new = 100, 200


def other_rotation(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).rotation_mode = "QUATERNION"


def other_order(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).rotation_mode = "ZYX"


def scaled(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).scale = (2.0, 2.0, 2.0)


def moved_off_in_delta(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).delta_location = (0.0, 0.3, 0.1)


def turned_in_delta(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).delta_rotation_euler = (0.0, 0.0, 0.2)


def held_by_another(scene: bpy.types.Scene, name: str) -> None:
    empty = bpy.data.objects.new("Boom", None)
    scene.collection.objects.link(empty)
    empty.location = (0.5, 0.0, 0.0)
    axis_part(scene, name).parent = empty


def parent_offset(scene: bpy.types.Scene, name: str) -> None:
    from mathutils import Matrix

    axis_part(scene, name).matrix_parent_inverse = Matrix.Translation((0.1, 0.2, 0.0))


def copied_rotation(scene: bpy.types.Scene, name: str) -> None:
    axis_part(scene, name).constraints.new("COPY_ROTATION").target = axis_part(scene, "rail")


def follows_path(scene: bpy.types.Scene, name: str) -> None:
    path = bpy.data.objects.new("Path", bpy.data.curves.new("Path", "CURVE"))
    spline = path.data.splines.new("POLY")
    spline.points.add(1)
    spline.points[1].co = (3.0, 2.0, 1.0, 1.0)
    path.data.use_path = True
    scene.collection.objects.link(path)
    made = axis_part(scene, name).constraints.new("FOLLOW_PATH")
    made.target, made.use_fixed_location, made.offset_factor = path, True, 0.5


def idle_constraint(scene: bpy.types.Scene, name: str) -> None:
    made = axis_part(scene, name).constraints.new("COPY_LOCATION")
    made.target, made.influence = axis_part(scene, "rail"), 0.0


AXIS_EDITS: dict[str, Callable[[bpy.types.Scene, str], None]] = {
    **{f.__name__: f for f in (other_slot, other_slot_with_keys, no_slot, no_action, another_action)},
    **{f.__name__: f for f in (half_influence, added_on_top, pushed_down, pushed_down_twice_as_slow)},
    **{f.__name__: f for f in (muted_track, solo_track, curve_muted, group_muted, driven_axis)},
    **{f.__name__: f for f in (driver_over_keys, keys_thinned, keys_constant, keys_eased, keys_late)},
    **{f.__name__: f for f in (keys_all_gone, keys_at_one_value, slower_time, other_rotation, other_order)},
    **{f.__name__: f for f in (scaled, moved_off_in_delta, turned_in_delta, held_by_another)},
    **{f.__name__: f for f in (parent_offset, copied_rotation, follows_path, idle_constraint)},
    "noise": curve_modifier("NOISE", strength=0.3, scale=5.0),
    "stepped": curve_modifier("STEPPED", frame_step=3.0),
    "limits": curve_modifier("LIMITS", use_max_y=True, max_y=0.4),
    "cycles": curve_modifier("CYCLES"),
}


@pytest.mark.parametrize(("name", "axis"), sampled(list(itertools.product(AXIS_EDITS, CHANNELS))))
def test_an_edited_axis_is_as_blender_shows_it_or_refused(name: str, axis: str) -> None:
    scene, _ = drawn(STAGE)
    AXIS_EDITS[name](scene, axis)
    for layer in scene.view_layers:
        layer.update()
    try:
        found: Plan = read_scene(scene).plan
    except ReadbackError:
        return
    shown, frames = camera_matrices(scene), compute_frames(found)
    assert np.linalg.norm(shown[:, :3, 3] - frames.camera_m, axis=1).max() < 1.1e-3
    assert turn_between_deg(shown[:, :3, :3], frames.camera_rotation).max() < PIXEL_DEG + 0.01
