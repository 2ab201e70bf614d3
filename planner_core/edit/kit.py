"""The blocking kit: things of a place, by kind and size, as blocks of a plan.

What belongs here: making blocks from what a photographer reads off a map or paces out, and from outlines of
meshes. No Blender. A piece stands with its foot on a point, its width across the line from the viewer
and its depth along it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence

import attrs
import numpy as np
from attrs import frozen

from planner_core.maths.angles import wrapped_deg
from planner_core.place.blocking import block_label
from planner_core.place.ground import ground_under_m
from planner_core.plan.model import Block, Plan, PlanError, Vector
from planner_core.rig import geometry

CENTIMETRE = 2  # decimals that a block's numbers are kept to
POST_EVERY_M = 2.0
PIER_EVERY_M = 30.0
HOUSE_EVERY_M = 12.0
UNEVEN = (1.0, 0.86, 0.95, 0.8)  # heights of the houses of a row, one after the other: ours
# Heights along an invented skyline, as shares of its highest point
SKYLINE = (0.12, 0.45, 0.62, 0.55, 0.86, 1.0, 0.8, 0.72, 0.4, 0.15)


@frozen(kw_only=True)
class Spot:
    """Where a piece goes: the middle of its foot in scene metres, turned clockwise by turn_deg seen from
    above.
    """

    foot_m: Vector
    turn_deg: float = 0.0

    def at(self, across_m: float, along_m: float, up_m: float) -> Vector:
        """Scene metres of a point given from the foot, across and along the piece."""
        turn = math.radians(self.turn_deg)
        x = self.foot_m[0] + across_m * math.cos(turn) + along_m * math.sin(turn)
        y = self.foot_m[1] + along_m * math.cos(turn) - across_m * math.sin(turn)
        return _rounded((x, y, self.foot_m[2] + up_m))


Maker = Callable[[Spot, str, str, Vector], list[Block]]


@frozen(kw_only=True)
class Piece:
    """A kind of thing: what it is called, the role and size it has unless told otherwise, and how it is made.

    size_m is width (across the line from the viewer), depth (along it) and height. farthest_m is where it
    goes when nobody says.
    """

    label: str
    says: str
    role: str
    size_m: Vector
    distance_m: float
    make: Maker


def _rounded(values: Sequence[float]) -> Vector:
    x, y, z = (round(float(v), CENTIMETRE) + 0.0 for v in values)
    return x, y, z


def _solid(
    spot: Spot,
    name: str,
    role: str,
    size: Sequence[float],
    *,
    shape: str = "box",
    across: float = 0.0,
    along: float = 0.0,
    up: float = 0.0,
) -> Block:
    """One box, post or figure of a piece, its foot `up` above the spot's."""
    return Block(
        name=name,
        role=role,
        shape=shape,
        centre_m=spot.at(across, along, up + size[2] / 2.0),
        size_m=(round(float(size[0]), 3), round(float(size[1]), 3), round(float(size[2]), 3)),
        turn_deg=round(spot.turn_deg, 2),
    )


def _one(shape: str) -> Maker:
    def make(spot: Spot, name: str, role: str, size: Vector) -> list[Block]:
        return [_solid(spot, name, role, size, shape=shape)]

    return make


def _flat(spot: Spot, name: str, role: str, size: Vector) -> list[Block]:
    """Something to walk or sail on: its top is at the spot."""
    return [_solid(spot, name, role, size, up=-size[2])]


def _road(spot: Spot, name: str, role: str, size: Vector) -> list[Block]:
    return [_solid(spot, name, role, size)]


def _house(spot: Spot, name: str, role: str, size: Vector) -> list[Block]:
    width, depth, height = size
    return [
        _solid(spot, name, role, (width, depth, 0.65 * height)),
        _solid(spot, f"{name} roof", role, (width, 0.55 * depth, 0.35 * height), up=0.65 * height),
    ]


def _houses(spot: Spot, name: str, role: str, size: Vector) -> list[Block]:
    width, depth, height = size
    count = max(2, round(width / HOUSE_EVERY_M))
    each = width / count
    row = []
    for number in range(1, count + 1):
        across = width * ((number - 0.5) / count - 0.5)
        high = height * UNEVEN[(number - 1) % len(UNEVEN)]
        row.append(_solid(spot, f"{name} {number}", role, (each, depth, 0.65 * high), across=across))
        roof = (each, 0.55 * depth, 0.35 * high)
        row.append(_solid(spot, f"{name} {number} roof", role, roof, across=across, up=0.65 * high))
    return row


def _tree(spot: Spot, name: str, role: str, size: Vector) -> list[Block]:
    width, depth, height = size
    thick = max(0.05, 0.1 * width)
    return [
        _solid(spot, name, role, (width, depth, 0.7 * height), shape="post", up=0.3 * height),
        _solid(spot, f"{name} trunk", role, (thick, thick, 0.3 * height), shape="post"),
    ]


def _railing(spot: Spot, name: str, role: str, size: Vector) -> list[Block]:
    width, depth, height = size
    gaps = max(1, math.ceil(width / POST_EVERY_M))
    bar = min(0.06, 0.3 * height)
    rails = [_solid(spot, name, role, (width, depth, bar), up=height - bar)]
    for number, across in enumerate(np.linspace(-width / 2.0, width / 2.0, gaps + 1), start=1):
        rails.append(
            _solid(
                spot, f"{name} post {number}", role, (depth, depth, height - bar), shape="post", across=across
            )
        )
    return rails


def _bridge(spot: Spot, name: str, role: str, size: Vector) -> list[Block]:
    width, depth, height = size
    deck = min(1.2, 0.3 * height)
    piers = max(2, round(width / PIER_EVERY_M))
    parts = [_solid(spot, name, role, (width, depth, deck), up=height - deck)]
    for number in range(1, piers + 1):
        across = width * ((number - 0.5) / piers - 0.5)
        parts.append(
            _solid(
                spot,
                f"{name} pier {number}",
                role,
                (min(2.5, width / (4 * piers)), 0.8 * depth, height - deck),
                across=across,
            )
        )
    return parts


PIECES: dict[str, Piece] = {
    "tower": Piece(
        label="Tower",
        says="A tower, chimney or tall building: one box",
        role="subject",
        size_m=(8.0, 8.0, 32.0),
        distance_m=150.0,
        make=_one("box"),
    ),
    "house": Piece(
        label="House",
        says="A house: a box with a narrower one for the roof",
        role="background",
        size_m=(12.0, 9.0, 8.0),
        distance_m=80.0,
        make=_house,
    ),
    "houses": Piece(
        label="Houses",
        says="Houses side by side, some twelve metres wide, of different heights",
        role="background",
        size_m=(72.0, 9.0, 8.0),
        distance_m=120.0,
        make=_houses,
    ),
    "wall": Piece(
        label="Wall",
        says="A wall or hedge; its width is its length",
        role="foreground",
        size_m=(6.0, 0.4, 0.9),
        distance_m=2.5,
        make=_one("box"),
    ),
    "post": Piece(
        label="Post",
        says="A round post, bollard, mast or lamp post",
        role="foreground",
        size_m=(0.25, 0.25, 0.8),
        distance_m=1.5,
        make=_one("post"),
    ),
    "railing": Piece(
        label="Railing",
        says="A railing: a bar on posts two metres apart at most",
        role="foreground",
        size_m=(6.0, 0.08, 1.05),
        distance_m=1.5,
        make=_railing,
    ),
    "tree": Piece(
        label="Tree",
        says="A tree: a crown on a trunk",
        role="background",
        size_m=(6.0, 6.0, 9.0),
        distance_m=40.0,
        make=_tree,
    ),
    "figure": Piece(
        label="Figure",
        says="A standing person, to read sizes by",
        role="foreground",
        size_m=(0.5, 0.3, 1.75),
        distance_m=6.0,
        make=_one("figure"),
    ),
    "box": Piece(
        label="Box",
        says="Any other thing with straight sides",
        role="background",
        size_m=(10.0, 10.0, 10.0),
        distance_m=60.0,
        make=_one("box"),
    ),
    "bridge": Piece(
        label="Bridge",
        says="A bridge seen from the side: a deck on piers. Height is that of the deck",
        role="background",
        size_m=(120.0, 10.0, 12.0),
        distance_m=200.0,
        make=_bridge,
    ),
    "road": Piece(
        label="Road",
        says="A road or path that lies on the ground",
        role="ground",
        size_m=(200.0, 7.0, 0.04),
        distance_m=30.0,
        make=_road,
    ),
    "ground": Piece(
        label="Ground",
        says="A quay, square or terrace; its top is at the height of the foot",
        role="ground",
        size_m=(60.0, 30.0, 1.0),
        distance_m=10.0,
        make=_flat,
    ),
    "water": Piece(
        label="Water",
        says="A level sheet of water; its top is at the height of the foot",
        role="water",
        size_m=(400.0, 240.0, 1.0),
        distance_m=140.0,
        make=_flat,
    ),
}
RIDGE = "ridge"
RIDGE_SIZE_M: Vector = (6000.0, 1.0, 350.0)
RIDGE_DISTANCE_M = 6000.0


def piece_blocks(
    plan: Plan, kind: str, spot: Spot, size_m: Vector, *, role: str = "", name: str = ""
) -> tuple[Block, ...]:
    """The blocks of a piece of the kit, with names that the plan doesn't have yet. Raises PlanError."""
    piece = PIECES[kind]
    for part, extent in zip(("width", "depth", "height"), size_m, strict=True):
        if not extent > 0.0:
            raise PlanError(
                part,
                extent,
                "is not above 0 metres; everything has some width, depth and height",
            )
    taken = {name for block in plan.blocks for name in (block.name, block.part_of)}
    called = free_name(name or piece.label.lower(), taken)
    made = piece.make(spot, called, role or piece.role, size_m)
    return tuple(made) if len(made) == 1 else tuple(attrs.evolve(block, part_of=called) for block in made)


def ridge_block(
    plan: Plan, bearing_deg: float, distance_m: float, width_m: float, height_m: float, *, name: str = ""
) -> Block:
    """A ridge of hills as seen from the rail's start, its middle at a bearing; height_m is that of its
    highest point.

    Raises PlanError.
    """
    if not (distance_m > 0.0 and width_m > 0.0):
        raise PlanError("distance", distance_m, "and width must be above 0 metres")
    half = math.degrees(math.atan2(width_m / 2.0, distance_m))
    eye = plan.rig.origin_m[2]
    skyline = tuple(
        (
            round(bearing_deg - half + 2.0 * half * i / (len(SKYLINE) - 1), 2),
            round(math.degrees(math.atan2(height_m * fraction - eye, distance_m)), 3),
        )
        for i, fraction in enumerate(SKYLINE)
    )
    taken = {block.name for block in plan.blocks}
    return Block(
        name=free_name(name or RIDGE, taken),
        role="background",
        shape="ridge",
        distance_m=round(distance_m, 1),
        skyline_deg=skyline,
    )


def free_name(wanted: str, taken: set[str]) -> str:
    """The wanted name, or it with the next number that nobody has."""
    if wanted not in taken:
        return wanted
    number = 2
    while f"{wanted} {number}" in taken:
        number += 1
    return f"{wanted} {number}"


# ---------------------------------------------------------------- where


def spot_by_bearing(plan: Plan, bearing_deg: float, distance_m: float, foot_m: float | None = None) -> Spot:
    """A place as read off a map from the rail's start, facing it; its foot on the ground there unless
    told.
    """
    out = geometry.direction(bearing_deg, 0.0, plan.site.scene_north_deg)
    x, y, _ = np.asarray(plan.rig.origin_m) + distance_m * out
    height = ground_under_m(plan, (x, y, math.inf)) if foot_m is None else foot_m
    turn = wrapped_deg(bearing_deg - plan.site.scene_north_deg)
    return Spot(foot_m=_rounded((x, y, height)), turn_deg=round(turn, 2))


def with_blocks(plan: Plan, blocks: Sequence[Block]) -> Plan:
    """The plan with blocks added at the end."""
    return attrs.evolve(plan, blocks=(*plan.blocks, *blocks))


def without_blocks(plan: Plan, numbers: set[int]) -> Plan:
    """The plan with blocks left out. A subject of the picture that goes is forgotten as the subject, too."""
    gone = {plan.blocks[number].name for number in numbers}
    kept = tuple(block for number, block in enumerate(plan.blocks) if number not in numbers)
    composition = plan.composition
    if composition and composition.subject in gone - {block.name for block in kept}:
        composition = attrs.evolve(composition, subject="")
    return attrs.evolve(plan, blocks=kept, composition=composition)


def renamed(plan: Plan, number: int, name: str) -> Plan:
    """The plan with a block renamed, or the thing that it is part of; and the picture's subject with it."""
    thing = plan.blocks[number].part_of
    if not thing:
        return _with_names(plan, {number: name})
    parts = members(plan, number)
    together = attrs.evolve(
        plan,
        blocks=tuple(
            attrs.evolve(block, part_of=name) if index in parts else block
            for index, block in enumerate(plan.blocks)
        ),
    )
    named = {i: plan.blocks[i].name for i in parts if _is_named_after(plan.blocks[i].name, thing)}
    return _with_names(together, {i: name + old[len(thing) :] for i, old in named.items()})


def _is_named_after(name: str, thing: str) -> bool:
    return name == thing or name.startswith(f"{thing} ")


def _with_names(plan: Plan, names: Mapping[int, str]) -> Plan:
    old = [block.name for block in plan.blocks]
    blocks = tuple(attrs.evolve(b, name=names.get(i, b.name)) for i, b in enumerate(plan.blocks))
    composition = plan.composition
    subject = composition.subject if composition else ""
    if composition and subject and old.count(subject) == 1 and old.index(subject) in names:
        composition = attrs.evolve(composition, subject=names[old.index(subject)])
    return attrs.evolve(plan, blocks=blocks, composition=composition)


# ---------------------------------------------------------------- things of several blocks


def members(plan: Plan, number: int) -> tuple[int, ...]:
    """Numbers of the blocks of the thing that a block is part of; itself alone where it is part of none."""
    thing = plan.blocks[number].part_of
    if not thing:
        return (number,)
    return tuple(index for index, block in enumerate(plan.blocks) if block.part_of == thing)


def stands_for_all(plan: Plan, number: int) -> bool:
    """Whether a block is the first of its thing, the one that a list shows."""
    return members(plan, number)[0] == number


def thing_label(plan: Plan, number: int) -> str:
    """What a block, or the thing that it is part of, is called."""
    return plan.blocks[number].part_of or block_label(plan, number)


def joined(plan: Plan, numbers: Collection[int], name: str = "") -> Plan:
    """The plan with blocks made one thing, called so or as the first of them. Raises PlanError."""
    if len(numbers) < 2:
        raise PlanError("blocks", len(numbers), "is too few; one thing is made of two blocks or more")
    apart = separated(plan, numbers)
    taken = {block.part_of for block in apart.blocks}
    called = free_name(name or thing_label(plan, min(numbers)), taken)
    return _with_part_of(apart, numbers, called)


def separated(plan: Plan, numbers: Collection[int]) -> Plan:
    """The plan with blocks that are part of nothing any more."""
    return _with_part_of(plan, numbers, "")


def _with_part_of(plan: Plan, numbers: Collection[int], thing: str) -> Plan:
    blocks = tuple(
        attrs.evolve(block, part_of=thing) if index in numbers else block
        for index, block in enumerate(plan.blocks)
    )
    return attrs.evolve(plan, blocks=blocks)
