"""Blocks as they stand in a scene: moved, scaled, turned, renamed, edited, added or deleted objects as
blocks of a plan.

An object nobody touched is its block exactly. A mesh of the user's own is a block once it lies in the
collection of a role (or carries the mark): a box where it is one, else an upright prism of its outline.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from typing import Any

import attrs
import bpy
import numpy as np
from numpy.typing import NDArray

from planner_core.maths.angles import compass_deg, unwound_deg
from planner_core.maths.convex import hull
from planner_core.place.blocking import block_mesh, solid_mesh
from planner_core.plan.model import ROLES, Block, Plan
from planner_core.rig.geometry import bearing_and_altitude
from planner_core.words.language import phrase

from ..scene import parts, tides
from ..scene.blocking import (
    NAME_KEY,
    OWN_MESH_KEY,
    ROLE_KEY,
    SHOWN_KEY,
    block_objects,
    is_own,
    is_shaped_later,
    keeps_name,
    mesh_sums,
    shown_mesh,
)
from ..scene.rig import flat

Array = NDArray[np.float64]

PLACE_DECIMALS, TURN_DECIMALS = 4, 3
UPRIGHT = 1e-4  # how far an axis may lean and still count as upright
THIN_M = 1e-3
MOST_CORNERS = 64
MOVED_M = 1e-3
RIDGE_SAME = 2e-5  # of its distance: what bearings and altitudes of four decimals may round


def read_blocks(
    scene: bpy.types.Scene, plan: Plan, only: Collection[int] | None = None
) -> tuple[tuple[Block, ...], list[str]]:
    """The plan's blocks as the scene has them now, and sentences on what could not be kept as it was.

    only are the numbers of those to look at, where the scene has one object for each block, in order, and all
    others are as they were drawn.
    """
    if only is not None and not only:
        return plan.blocks, []
    depsgraph = parts.depsgraph_of(scene)
    said: list[str] = []
    blocks: list[Block] = []
    seen: set[int] = set()
    holding = roles_of(scene)
    for index, thing in enumerate(block_objects(scene)):
        if only is not None and index not in only:
            blocks.append(plan.blocks[index])
            continue
        number = int(thing.get(parts.INDEX_KEY, -1))
        roles = holding.get(thing.session_uid, ())
        block = _read(thing, depsgraph, plan, said, roles, is_copy=number in seen)
        seen.add(number)
        if block is not None:
            blocks.append(block)
    return tuple(blocks), said


def _strangers(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Curves, texts and the like that somebody put into the collection of a role."""
    return [
        obj
        for collection in parts.collections_of(scene)
        if str(parts.part_of(collection)).startswith("role:")
        for obj in collection.objects
        if obj.type in ("CURVE", "SURFACE", "META", "FONT", "CURVES") and parts.part_of(obj) is None
    ]


def roles_of(scene: bpy.types.Scene) -> dict[int, list[str]]:
    """The roles of the collections that hold an object, by its session_uid. To ask each object for its
    collections would go through all of them for each.
    """
    roles: dict[int, list[str]] = {}
    for collection in parts.collections_of(scene):
        role = str(parts.part_of(collection)).removeprefix("role:")
        if role in ROLES:
            for thing in collection.objects:
                roles.setdefault(thing.session_uid, []).append(role)
    return roles


def _read(
    thing: bpy.types.Object,
    depsgraph: Any,
    plan: Plan,
    said: list[str],
    roles: Sequence[str],
    *,
    is_copy: bool,
) -> Block | None:
    number = int(thing.get(parts.INDEX_KEY, -1))
    known = (
        plan.blocks[number] if 0 <= number < len(plan.blocks) and parts.part_of(thing) == "block" else None
    )
    role = _role(thing, known, roles)
    name = _name(thing, is_copy=is_copy)
    part_of = _part_of(thing, known, is_copy=is_copy)
    if known is not None and not _touched(thing, depsgraph):
        same = (known.role, known.name, known.part_of) == (role, name, part_of)
        tidal = known.tidal and role == "water"
        return known if same else attrs.evolve(known, role=role, name=name, part_of=part_of, tidal=tidal)
    if thing.type != "MESH" or not len(shown_mesh(thing).vertices):
        empty = "{thing} has no geometry left and was left out of the blocks."
        said.append(phrase(empty, thing=thing.name))
        return None
    world = _world(thing, depsgraph)
    block = None
    is_ridge = known is not None and known.shape == "ridge"
    if known is not None and known.shape == "terrain" and _reshaped(thing) and not is_shaped_later(thing):
        block = _sculpted(known, thing, world)
    elif known is not None and not is_own(thing) and (is_ridge or not _reshaped(thing)):
        block = _moved(known, thing, world, plan)
        if block is not None and is_ridge and _strays(block, thing, world, plan):
            said.append(
                phrase(
                    "{thing}: a ridge is one skyline at one distance; it was kept as seen from the rail's "
                    "start, {distance:.0f} m away.",
                    thing=thing.name,
                    distance=block.distance_m,
                )
            )
    if block is None:
        block = _outlined(thing, world, name, role)
        if known is not None and known.shape not in (block.shape, "prism"):
            another = "“{thing}” is no longer a {shape}; the plan keeps it as a {other}."
            said.append(phrase(another, thing=thing.name, shape=known.shape, other=block.shape))
    if known is None:
        return attrs.evolve(block, name=name, role=role)
    return attrs.evolve(
        block,
        name=name,
        role=role,
        lights=known.lights,
        keep_out=known.keep_out,
        part_of=part_of,
        moves=known.moves,
        tidal=known.tidal and role == "water",
        floods_at_m=known.floods_at_m,
    )


def beyond_a_plan(scene: bpy.types.Scene) -> list[str]:
    """What to say of blocks that move or hide, and of what lies among them without being a mesh."""
    said: list[str] = [
        phrase("{thing} isn't a mesh, so it can't be a block. Convert it (Object ▸ Convert).", thing=obj.name)
        for obj in _strangers(scene)
    ]
    for obj in block_objects(scene):
        said += _unplanned(obj)
    return said


def _unplanned(obj: bpy.types.Object) -> list[str]:
    said: list[str] = []
    moves = obj.animation_data is not None and (obj.animation_data.action or obj.animation_data.drivers)
    if moves and not tides.is_only_tide(obj):
        said.append(
            phrase(
                "{thing} is animated. Blocks stand still, so it was read as it is on the current frame.",
                thing=obj.name,
            )
        )
    if obj.hide_render or obj.hide_viewport:
        said.append(
            phrase(
                "{thing} is hidden in Blender, but the plan still counts it. Remove it to leave it out.",
                thing=obj.name,
            )
        )
    return said


def _role(thing: bpy.types.Object, known: Block | None, roles: Sequence[str]) -> str:
    """The role whose collection holds the object; else the one it is marked with."""
    marked = thing.get(ROLE_KEY)
    if marked in ROLES and (not roles or marked in roles):
        return str(marked)
    return roles[0] if roles else known.role if known else "background"


def _name(thing: bpy.types.Object, *, is_copy: bool) -> str:
    """The block's name: the plan's where the object keeps its own; a copy's is what Blender calls it."""
    if thing.get(SHOWN_KEY) == thing.name or (keeps_name(thing) and not is_copy):
        return str(thing.get(NAME_KEY, thing.name))
    return thing.name


def _part_of(thing: bpy.types.Object, known: Block | None, *, is_copy: bool) -> str:
    """The thing that it is part of; copies of a thing's blocks are parts of another, named as Blender numbers
    them.
    """
    if known is None or not known.part_of:
        return ""
    _, dot, number = thing.name.rpartition(".")
    return f"{known.part_of}.{number}" if is_copy and dot and number.isdigit() else known.part_of


def _world(thing: bpy.types.Object, depsgraph: Any) -> Array:
    """Where a thing stands (4, 4) but for the tide, also where it is hidden, so that Blender doesn't evaluate
    it.
    """
    if thing.parent is None and not thing.constraints and thing.animation_data is None:
        return tides.planned_matrix(thing, thing.matrix_basis)
    return tides.planned_matrix(thing.evaluated_get(depsgraph))


def _touched(thing: bpy.types.Object, depsgraph: Any) -> bool:
    written = list(thing.get(parts.WRITTEN_KEY, ()))
    if thing.type != "MESH" or len(written) != 21:
        return True
    now = flat(_world(thing, depsgraph))
    reach = np.maximum(1.0, np.abs(written[:16]))
    return bool(np.any(np.abs(np.array(now) - written[:16]) > 2e-6 * reach)) or _reshaped(thing)


def _reshaped(thing: bpy.types.Object) -> bool:
    written = list(thing.get(parts.WRITTEN_KEY, ()))
    if len(written) != 21 or (is_shaped_later(thing) and not thing.get(OWN_MESH_KEY)):
        return True
    return bool(
        np.any(
            np.abs(np.array(mesh_sums(thing)) - written[16:]) > 1e-4 * np.maximum(1.0, np.abs(written[16:]))
        )
    )


# ---------------------------------------------------------------- moved, turned, scaled


def _moved(block: Block, thing: bpy.types.Object, world: Array, plan: Plan) -> Block | None:
    """The block with its object's place, turn and scale; None where it can't stay what it is."""
    written = np.array(list(thing[parts.WRITTEN_KEY])[:16]).reshape(4, 4)
    change = world @ np.linalg.inv(written)
    if block.shape == "ridge":
        return _moved_ridge(block, thing, world, plan)
    axes = world[:3, :3]
    scale = np.linalg.norm(axes, axis=0)
    if scale.min() < 1e-6:
        return None
    unit = axes / scale
    upright = abs(unit[2, 0]) < UPRIGHT and abs(unit[2, 1]) < UPRIGHT and unit[2, 2] > 0.0
    if not upright:
        return None
    if block.shape == "prism":
        return _moved_prism(block, change, scale[2])
    if abs(float(unit[:, 0] @ unit[:, 1])) > UPRIGHT:
        return None
    assert block.size_m is not None
    assert block.centre_m is not None
    centre: Any = tuple(_kept(old, new) for old, new in zip(block.centre_m, world[:3, 3], strict=True))
    size: Any = tuple(_kept(old, old * s) for old, s in zip(block.size_m, scale, strict=True))
    turn = -math.degrees(math.atan2(unit[1, 0], unit[0, 0]))
    turn = unwound_deg(turn, block.turn_deg)
    turn = block.turn_deg if abs(turn - block.turn_deg) < 1e-3 else round(compass_deg(turn), TURN_DECIMALS)
    heights = _scaled_heights(block, scale[2], size[2])
    return attrs.evolve(block, centre_m=centre, size_m=size, turn_deg=turn, heights_m=heights)


def _scaled_heights(block: Block, scale: float, most_m: float) -> Any:
    """A terrain's heights under a change of scale; None for other blocks."""
    if block.heights_m is None:
        return None
    return tuple(tuple(min(_kept(old, old * scale), most_m) for old in row) for row in block.heights_m)


def _sculpted(block: Block, thing: bpy.types.Object, world: Array) -> Block | None:
    """A terrain whose surface was edited: its points still over their places, at other heights."""
    points = _vertices(thing)
    upright = attrs.evolve(block, centre_m=(0.0, 0.0, 0.0), turn_deg=0.0)
    as_drawn = solid_mesh(upright).vertices_m
    count = sum(len(row) for row in block.heights_m or ())
    if len(points) != len(as_drawn) or np.abs(points[:, :2] - as_drawn[:, :2]).max() > MOVED_M:
        return None
    foot = float(points[count:, 2].mean())
    if np.ptp(points[count:, 2]) > MOVED_M or points[:count, 2].min() < foot:
        return None
    above = np.round(points[:count, 2] - foot, PLACE_DECIMALS).reshape(len(block.heights_m or ()), -1)
    high = max(float(above.max()), THIN_M)
    assert block.size_m is not None
    centre = world[:3, :3] @ [0.0, 0.0, foot + high / 2.0] + world[:3, 3]
    x, y, z = (round(float(value), PLACE_DECIMALS) for value in centre)
    size = (block.size_m[0], block.size_m[1], high)
    return attrs.evolve(
        block, centre_m=(x, y, z), size_m=size, heights_m=tuple(tuple(row) for row in above.tolist())
    )


def _moved_prism(block: Block, change: Array, height_scale: float) -> Block:
    outline = np.array([(x, y, block.base_m, 1.0) for x, y in block.footprint_m or ()]) @ change.T
    flat_change = np.abs(change[:2] - np.eye(4)[:2]).max()
    footprint = block.footprint_m if flat_change < 2e-6 else _points(outline[:, :2])
    height = _kept(block.height_m or 0.0, (block.height_m or 0.0) * height_scale)
    rise, falls = block.roof_height_m, block.roof_turn_deg
    if rise is not None:
        rise = min(_kept(rise, rise * height_scale), height)
    if falls is not None and flat_change >= 2e-6:
        turned = falls - math.degrees(math.atan2(change[1, 0], change[0, 0]))
        falls = round(compass_deg(turned), TURN_DECIMALS)
    return attrs.evolve(
        block,
        footprint_m=footprint,
        base_m=_kept(block.base_m, float(outline[0, 2])),
        height_m=height,
        roof_height_m=rise,
        roof_turn_deg=falls,
    )


def _moved_ridge(block: Block, thing: bpy.types.Object, world: Array, plan: Plan) -> Block | None:
    """A ridge's skyline anew, as seen from the rail's start; its crest is the second half of its vertices."""
    points = _vertices(thing) @ world[:3, :3].T + world[:3, 3]
    count = len(block.skyline_deg or ())
    if len(points) != 2 * count:
        return None
    eye = np.asarray(plan.rig.origin_m)
    bearings, altitudes = bearing_and_altitude(points[count:] - eye, plan.site.scene_north_deg)
    bearings = np.degrees(np.unwrap(np.radians(bearings)))
    first = (block.skyline_deg or ((0.0, 0.0),))[0][0]
    bearings += 360.0 * np.rint((first - bearings[0]) / 360.0)
    if np.any(np.diff(bearings) <= 0.0):
        return None
    distance = float(np.mean(np.hypot(*(points[count:, :2] - eye[:2]).T)))
    skyline = tuple(
        (round(float(b), 4), round(float(a), 4)) for b, a in zip(bearings, altitudes, strict=True)
    )
    return attrs.evolve(block, skyline_deg=skyline, distance_m=round(distance, 2))


def _strays(block: Block, thing: bpy.types.Object, world: Array, plan: Plan) -> bool:
    """Whether a ridge, drawn as it was read, is elsewhere than its object."""
    points = _vertices(thing) @ world[:3, :3].T + world[:3, 3]
    away = np.abs(block_mesh(plan, block).vertices_m - points).max()
    return bool(away > RIDGE_SAME * np.abs(points).max())


def _kept(old: float, new: float) -> float:
    """The old number where only single precision tells them apart, else the new one, rounded."""
    return old if abs(new - old) <= 2e-6 * max(1.0, abs(old)) else round(float(new), PLACE_DECIMALS)


def _points(outline: Array) -> tuple[tuple[float, float], ...]:
    return tuple((round(float(x), PLACE_DECIMALS), round(float(y), PLACE_DECIMALS)) for x, y in outline)


# ---------------------------------------------------------------- any mesh


def _outlined(thing: bpy.types.Object, world: Array, name: str, role: str) -> Block:
    """A box where the mesh is an upright one, else the upright prism over the mesh's outline seen from
    above.
    """
    own = _vertices(thing)
    box = _as_box(own, world)
    if box is not None:
        centre, size, turn = box
        return Block(name=name, role=role, shape="box", centre_m=centre, size_m=size, turn_deg=turn)
    points = own @ world[:3, :3].T + world[:3, 3]
    low, high = float(points[:, 2].min()), float(points[:, 2].max())
    outline = _cap(thing, points, low)
    if outline is None:
        outline = hull(points[:, :2])
    if len(outline) < 3:
        middle, reach = points[:, :2].mean(axis=0), max(THIN_M, float(np.ptp(points[:, :2])) / 2.0)
        outline = middle + reach * np.array([(-1.0, -0.1), (1.0, -0.1), (1.0, 0.1), (-1.0, 0.1)])
    return Block(
        name=name,
        role=role,
        shape="prism",
        footprint_m=_points(outline),
        base_m=round(low, PLACE_DECIMALS),
        height_m=round(max(high - low, THIN_M), PLACE_DECIMALS),
    )


def _as_box(
    own: Array, world: Array
) -> tuple[tuple[float, float, float], tuple[float, float, float], float] | None:
    """Centre, size and turn where eight vertices are the corners of an upright box."""
    if len(own) != 8:
        return None
    low, high = own.min(axis=0), own.max(axis=0)
    on_corner = np.isclose(own, low, atol=1e-5) | np.isclose(own, high, atol=1e-5)
    corners = {tuple(row) for row in np.isclose(own, high, atol=1e-5).tolist()}
    axes = world[:3, :3]
    scale = np.linalg.norm(axes, axis=0)
    if not on_corner.all() or len(corners) != 8 or scale.min() < 1e-9:
        return None
    unit = axes / scale
    if max(abs(unit[2, 0]), abs(unit[2, 1]), abs(float(unit[:, 0] @ unit[:, 1]))) > UPRIGHT:
        return None
    centre = axes @ ((low + high) / 2.0) + world[:3, 3]
    size = np.maximum((high - low) * scale, THIN_M)
    turn = compass_deg(-math.degrees(math.atan2(unit[1, 0], unit[0, 0])))
    turn = round(0.0 if min(turn, 360.0 - turn) < 1e-3 else turn, TURN_DECIMALS)
    x, y, z = (round(float(v), PLACE_DECIMALS) for v in centre)
    wide, deep, tall = (round(float(v), PLACE_DECIMALS) for v in size)
    return (x, y, z), (wide, deep, tall), turn


def _cap(thing: bpy.types.Object, points: Array, low: float) -> Array | None:
    """The outline of a mesh that is drawn straight up from one flat face, or None."""
    mesh = shown_mesh(thing)
    if len(mesh.polygons) == 0:
        return None
    high = points[:, 2].max()
    levels = np.isclose(points[:, 2], low, atol=1e-4) | np.isclose(points[:, 2], high, atol=1e-4)
    floors = [f for f in mesh.polygons if np.allclose(points[list(f.vertices), 2], low, atol=1e-4)]
    if not levels.all() or len(floors) != 1 or len(floors[0].vertices) * 2 != len(points):
        return None
    outline = points[list(floors[0].vertices), :2]
    return outline if len(outline) <= MOST_CORNERS else None


def _vertices(thing: bpy.types.Object) -> Array:
    mesh = shown_mesh(thing)
    coordinates = np.empty(3 * len(mesh.vertices), dtype=np.float32)
    mesh.vertices.foreach_get("co", coordinates)
    return coordinates.reshape(-1, 3).astype(np.float64)
