"""The settings of a scene: everything that the sidebar shows of its plan."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

from typing import Any

import bpy
from bpy.props import CollectionProperty, IntProperty

from planner_core.edit import kit

from ...state import live, selection
from .camera import CameraFields
from .display import DisplayFields, EveningFields, FileFields, PreviewFields, ScoutFields
from .picture import CompositionFields, ExposureFields, MoveFields
from .place import SeaFields, ShootFields, SiteFields
from .rig import RigFields
from .rows import DUSKRAIL_PG_block, DUSKRAIL_PG_pose


def _row_chosen(owner: Any, context: Any) -> None:
    """Clicking a thing in the list selects its objects."""
    plan = live.plan_of(owner.id_data)
    if plan is not None and 0 <= owner.block_row < len(plan.blocks) and not live.is_busy():
        selection.select_blocks(context, owner.id_data, kit.members(plan, owner.block_row))


class DUSKRAIL_PG_settings(
    DisplayFields,
    PreviewFields,
    ScoutFields,
    EveningFields,
    FileFields,
    SiteFields,
    SeaFields,
    ShootFields,
    RigFields,
    CameraFields,
    MoveFields,
    ExposureFields,
    CompositionFields,
    bpy.types.PropertyGroup,
):
    """What the panels show of a scene's plan, and how they show it."""

    poses: CollectionProperty(type=DUSKRAIL_PG_pose)
    pose_row: IntProperty(name="Pose", description="The pose chosen in the list", options={"HIDDEN"})
    blocks: CollectionProperty(type=DUSKRAIL_PG_block)
    block_row: IntProperty(
        name="Block",
        description="The block chosen in the list",
        default=-1,
        options={"HIDDEN"},
        update=_row_chosen,
    )
