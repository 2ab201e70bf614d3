"""A row of the lists: a pose, or a block."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

import math
from collections.abc import Callable
from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty, StringProperty

from planner_core import Plan
from planner_core.edit import edits, kit
from planner_core.plan.model import ROLES

from ...state import live
from .. import wording
from .choices import LIGHTS_CHOICES, LIGHTS_OPTIONS, MOVES_CHOICES, MOVES_OPTIONS, ROLE_CHOICES
from .fields import (
    NOT_KEYED,
    Getter,
    Setter,
    angle,
    choice,
    get_value,
    length,
    point,
    set_value,
    yes_or_no,
)


def _set_place(owner: Any, percent: float) -> None:
    def change(plan: Plan) -> Plan:
        moved, row = edits.moved_to(plan, owner.row, edits.tidy(percent) / 100.0)
        row_now.append(row)
        return moved

    row_now: list[int] = []
    if not live.change_plan(owner.id_data, change) and row_now:
        owner.id_data.duskrail.pose_row = row_now[0]


def _get_given(name: str) -> Getter:
    def get(owner: Any) -> bool:
        plan = live.plan_of(owner.id_data)
        if plan is None or owner.row >= len(plan.move.poses):
            return False
        return getattr(plan.move.poses[owner.row], name) is not None

    return get


def _set_given(name: str) -> Setter:
    """Give a pose's axis the value it is at now, or leave it to the neighbouring poses."""

    def set_value(owner: Any, wanted: bool) -> None:
        def change(plan: Plan) -> Plan:
            pose = plan.move.poses[owner.row]
            value = edits.axes_at(plan, pose.at).get(name) if wanted else None
            return edits.evolved(plan, f"move.poses[{owner.row}].{name}", value)

        live.change_plan(owner.id_data, change)

    return set_value


def _pose_value(name: str, convert: Callable[[float], float]) -> Getter:
    """A pose's value on an axis, or where the axis is then if the pose leaves it out."""

    def get(owner: Any) -> float:
        plan = live.plan_of(owner.id_data)
        if plan is None or owner.row >= len(plan.move.poses):
            return 0.0
        pose = plan.move.poses[owner.row]
        value = getattr(pose, name)
        return convert(edits.axes_at(plan, pose.at).get(name, 0.0) if value is None else value)

    return get


def _block_label(owner: Any) -> str:
    plan = live.plan_of(owner.id_data)
    return kit.thing_label(plan, owner.row) if plan and owner.row < len(plan.blocks) else ""


def _set_block_name(owner: Any, name: str) -> None:
    live.change_plan(owner.id_data, lambda plan: kit.renamed(plan, owner.row, name.strip()))


def _get_lights(owner: Any) -> int:
    plan = live.plan_of(owner.id_data)
    inside = plan is not None and owner.row < len(plan.blocks)
    return LIGHTS_OPTIONS.index(plan.blocks[owner.row].lights) if plan and inside else 0


def _get_moves(owner: Any) -> int:
    plan = live.plan_of(owner.id_data)
    inside = plan is not None and owner.row < len(plan.blocks)
    return MOVES_OPTIONS.index(plan.blocks[owner.row].moves) if plan and inside else 0


class DUSKRAIL_PG_pose(bpy.types.PropertyGroup):
    """One row of the list of poses."""

    row: IntProperty(options={"HIDDEN"})
    at: FloatProperty(
        name="Place",
        description="Place of this pose in the move; 0 % is the first frame, 100 % the last",
        min=0.0,
        max=100.0,
        step=100,
        precision=1,
        subtype="PERCENTAGE",
        get=get_value("move.poses[#].at", lambda value: 100.0 * value, 0.0),
        set=_set_place,
        options=NOT_KEYED,
    )
    slide: FloatProperty(
        name="Slide",
        description="Position of the carriage, measured along the rail from its start",
        step=5,
        precision=3,
        unit="LENGTH",
        subtype="DISTANCE",
        get=_pose_value("slide_m", float),
        set=set_value("move.poses[#].slide_m", edits.tidy),
        options=NOT_KEYED,
    )
    pan: FloatProperty(
        name="Pan",
        description="Compass bearing of the lens, clockwise from true north. "
        "A value above 360° or below 0° sets the direction of the turn",
        step=50,
        precision=2,
        subtype="ANGLE",
        unit="ROTATION",
        get=_pose_value("pan_deg", math.radians),
        set=set_value("move.poses[#].pan_deg", edits.tidy_degrees),
        options=NOT_KEYED,
    )
    tilt: FloatProperty(
        name="Tilt",
        description="Altitude at which the lens points above the horizon; negative for below",
        step=50,
        precision=2,
        subtype="ANGLE",
        unit="ROTATION",
        get=_pose_value("tilt_deg", math.radians),
        set=set_value("move.poses[#].tilt_deg", edits.tidy_degrees),
        options=NOT_KEYED,
    )
    has_slide: BoolProperty(
        name="Use Slide",
        description="This pose sets the position of the carriage. Otherwise it runs through without "
        "stopping here",
        get=_get_given("slide_m"),
        set=_set_given("slide_m"),
        options=NOT_KEYED,
    )
    has_pan: BoolProperty(
        name="Use Pan",
        description="This pose sets the bearing of the lens. Otherwise the pan runs through without "
        "stopping here",
        get=_get_given("pan_deg"),
        set=_set_given("pan_deg"),
        options=NOT_KEYED,
    )
    has_tilt: BoolProperty(
        name="Use Tilt",
        description="This pose sets the altitude of the lens. Otherwise the tilt runs through without "
        "stopping here",
        get=_get_given("tilt_deg"),
        set=_set_given("tilt_deg"),
        options=NOT_KEYED,
    )


class DUSKRAIL_PG_block(bpy.types.PropertyGroup):
    """One row of the list of blocks."""

    row: IntProperty(options={"HIDDEN"})
    label: StringProperty(
        name="Name",
        description="Name used on the sheet and in the review. Double-click to rename",
        get=_block_label,
        set=_set_block_name,
        options=NOT_KEYED,
    )
    role: choice(
        "blocks[#].role", "Role", "The part that this block plays in the picture", ROLES, ROLE_CHOICES
    )
    centre: point("blocks[#].centre_m", "Centre", "Centre of the block in the scene")
    size: point("blocks[#].size_m", "Size", "Width, depth and height of the block")
    turn: angle("blocks[#].turn_deg", "Rotation", "Rotation of the block, clockwise seen from above")
    height: length("blocks[#].height_m", "Height", "Height of the prism", low=0.01, high=500.0)
    base: length("blocks[#].base_m", "Base", "Height of the prism's base", low=-100.0, high=500.0)
    distance: length(
        "blocks[#].distance_m", "Distance", "Distance from the rail to the ridge", low=1.0, step=100.0
    )
    keep_out: yes_or_no(
        "blocks[#].keep_out", "Keep Out", "Nobody may stand here, for example on private ground or a railway"
    )
    tidal: yes_or_no("blocks[#].tidal", "Tidal", "This water rises and falls with the tide table")
    moves: EnumProperty(
        name="Moves",
        description="What moves on this block during the shoot",
        items=MOVES_CHOICES,
        get=_get_moves,
        set=set_value("blocks[#].moves", lambda index: MOVES_OPTIONS[index]),
        options=NOT_KEYED,
    )
    lights: EnumProperty(
        name="Lights",
        description="Whether the windows or lamps of this block come on at dusk",
        items=LIGHTS_CHOICES,
        get=_get_lights,
        set=set_value("blocks[#].lights", lambda index: LIGHTS_OPTIONS[index]),
        options=NOT_KEYED,
    )


wording.labels |= {
    "blocks[#].part_of": "Part of",
    "blocks[#].moves": "Moves",
    "blocks[#].floods_at_m": "Floods At",
    "move.poses[#].at": "Place",
    "move.poses[#].slide_m": "Slide",
    "move.poses[#].pan_deg": "Pan",
    "move.poses[#].tilt_deg": "Tilt",
}
