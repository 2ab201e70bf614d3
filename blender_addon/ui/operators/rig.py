"""Operators of the rig and its move: placing the rail, and poses added, taken, moved, gone to."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value,union-attr"

from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty
from numpy.typing import NDArray

from planner_core import Plan
from planner_core.edit import edits
from planner_core.place.blocking import block_mesh, subject_indices
from planner_core.plan.model import Pose
from planner_core.rig import geometry
from planner_core.words.language import in_words, say

from ...scene import parts
from ...state import live, selection
from .. import preferences
from .base import UNDOABLE, Outcome, WithPlan, change

CHOSEN = IntProperty(
    name="Pose",
    description="Number of the pose, counted from 0; -1 is the one chosen in the list",
    default=-1,
)


def subject_middle_m(plan: Plan) -> NDArray[np.float64] | None:
    """The middle of the picture's subject in scene metres, or None where there is none."""
    subjects = subject_indices(plan)
    if not subjects:
        return None
    points = np.vstack([block_mesh(plan, plan.blocks[number]).vertices_m for number in subjects])
    return (points.min(axis=0) + points.max(axis=0)) / 2.0


class DUSKRAIL_OT_place_rig(WithPlan, bpy.types.Operator):
    """Put the middle of the rail at the 3D cursor. If there is a subject, the rail lies across the line
    of sight to it
    """

    bl_idname = "duskrail.place_rig"
    bl_label = "Rail to 3D Cursor"
    bl_options = UNDOABLE

    height: FloatProperty(
        name="Above",
        description="Height of the rail above the 3D cursor",
        default=-1.0,
        min=-1.0,
        soft_max=5.0,
        subtype="DISTANCE",
        unit="LENGTH",
        options={"SKIP_SAVE"},
    )
    face_subject: BoolProperty(
        name="Face the Subject",
        description="Lay the rail across the line of sight to the subject, and aim the lens at it",
        default=True,
    )

    def execute(self, context: Any) -> Outcome:
        if self.height < 0.0:
            self.height = preferences.current().rail_height_m
        cursor = np.array(context.scene.cursor.location)

        def edit(plan: Plan) -> Plan:
            middle = cursor + np.array([0.0, 0.0, self.height])
            aim = subject_middle_m(plan) if self.face_subject else None
            placed = edits.rail_placed(plan, middle, aim_m=aim)
            slide = placed.rig.slide
            if slide is None:
                return placed
            half_way = (slide.min_m + slide.max_m) / 2.0
            return edits.rail_placed(placed, middle - half_way * geometry.rail_direction(placed))

        return change(self, context, edit)


class DUSKRAIL_OT_pose_add(WithPlan, bpy.types.Operator):
    """Add a pose at the current frame, where the camera is then"""

    bl_idname = "duskrail.pose_add"
    bl_label = "Add Pose"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        row: list[int] = []

        def edit(plan: Plan) -> Plan:
            at = round(live.place_shown(context.scene), edits.PLACE_DECIMALS)
            taken = [pose.at for pose in plan.move.poses]
            if any(abs(at - other) < 1e-4 for other in taken):
                at = _widest_gap(taken)
            added, number = edits.with_pose(plan, Pose(at=at, **_axes_of(plan, at)))
            row.append(number)
            return added

        outcome = change(self, context, edit)
        if outcome == {"FINISHED"}:
            live.choose_pose(context.scene, row[-1])
            selection.select_pose(context, context.scene, row[-1])
        return outcome


def _widest_gap(taken: list[float]) -> float:
    """The middle of the widest stretch of the move without a pose."""
    if taken[-1] < 1.0 - 1e-4:
        return 1.0
    if taken[0] > 1e-4:
        return 0.0
    gaps = np.diff(taken)
    if not len(gaps):
        return 0.5
    widest = int(np.argmax(gaps))
    return round(taken[widest] + float(gaps[widest]) / 2.0, edits.PLACE_DECIMALS)


def _axes_of(plan: Plan, at: float) -> dict[str, float]:
    """Where the rig's own axes are at a place; an axis that it lacks keeps what the poses say of it, if they
    do.
    """
    values = edits.axes_at(plan, at)
    first = plan.move.poses[0]
    return {
        name: value
        for axis, name in edits.AXES.items()
        if (value := values.get(name)) is not None
        and (getattr(plan.rig, axis) is not None or getattr(first, name) is not None)
    }


class OnPose(WithPlan):
    """An operator on the chosen pose, or on the one that its button stands for."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out without a plan."""
        return super().poll(context)

    def number(self: Any, scene: Any) -> int:
        """The pose's number, from 0."""
        plan = live.plan_of(scene)
        count = len(plan.move.poses) if plan else 0
        wanted = scene.duskrail.pose_row if self.pose < 0 else self.pose
        return min(max(wanted, 0), count - 1)


class DUSKRAIL_OT_pose_remove(OnPose, bpy.types.Operator):
    """Remove the pose from the move"""

    bl_idname = "duskrail.pose_remove"
    bl_label = "Remove Pose"
    bl_options = UNDOABLE

    pose: CHOSEN

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        plan = live.plan_of(context.scene)
        if plan is not None and len(plan.move.poses) < 2:
            cls.poll_message_set(say("A move needs at least one pose"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        number = self.number(context.scene)
        return change(self, context, lambda plan: edits.without_pose(plan, number))


class DUSKRAIL_OT_pose_move(OnPose, bpy.types.Operator):
    """Swap the pose with the one before or after it. Each takes the other's place in the move"""

    bl_idname = "duskrail.pose_move"
    bl_label = "Reorder Pose"
    bl_options = UNDOABLE

    pose: CHOSEN
    way: EnumProperty(
        name="Direction",
        description="Which neighbour to swap with",
        items=[
            ("EARLIER", "Earlier", "Swap with the pose before"),
            ("LATER", "Later", "Swap with the pose after"),
        ],
    )

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says which way."""
        if properties.way == "EARLIER":
            return say("Swap with the pose before it: the two change places in the move")
        return say("Swap with the pose after it: the two change places in the move")

    def execute(self, context: Any) -> Outcome:
        scene = context.scene
        number = self.number(scene)
        other = number + (-1 if self.way == "EARLIER" else 1)
        plan = live.plan_of(scene)
        if plan is None or not 0 <= other < len(plan.move.poses):
            self.report({"WARNING"}, say("There is no pose to swap with"))
            return {"CANCELLED"}
        outcome = change(self, context, lambda p: edits.with_poses_swapped(p, number, other))
        live.choose_pose(scene, other)
        return outcome


class DUSKRAIL_OT_pose_go(OnPose, bpy.types.Operator):
    """Go to the frame of this pose and select its ghost camera"""

    bl_idname = "duskrail.pose_go"
    bl_label = "Go to Pose"
    bl_options = UNDOABLE

    pose: CHOSEN

    def execute(self, context: Any) -> Outcome:
        scene = context.scene
        plan, number = live.plan_of(scene), self.number(scene)
        assert plan is not None
        frame = 1.0 + plan.move.poses[number].at * (plan.shoot.frames - 1)
        scene.frame_set(round(frame))
        live.choose_pose(scene, number)
        selection.select_pose(context, scene, number)
        return {"FINISHED"}


class DUSKRAIL_OT_stand_here(OnPose, bpy.types.Operator):
    """Set the pose from the current view or the camera you look through, as closely as the rig can reach
    it
    """

    bl_idname = "duskrail.stand_here"
    bl_label = "Stand Here"
    bl_options = UNDOABLE

    pose: CHOSEN

    def execute(self, context: Any) -> Outcome:
        eye = view_matrix(context)
        if eye is None:
            self.report({"ERROR"}, say("There is no 3D view and no camera to take the pose from"))
            return {"CANCELLED"}
        number = self.number(context.scene)
        said: list[str] = []

        def edit(plan: Plan) -> Plan:
            moved, told = edits.pose_from_view(plan, number, tuple(eye.translation), tuple(-eye.col[2].xyz))
            said.extend(told)
            return moved

        # The view is taken as it is now; a camera that was pushed to it goes back onto the rig
        outcome = change(self, context, edit)
        live.draw_anew_rig(context.scene)
        for line in said:
            self.report({"WARNING"}, in_words(line))
        return outcome


def view_matrix(context: Any) -> Any:
    """The camera's matrix in the scene as the view has it; None where there is nothing to look from."""
    region = getattr(context, "region_data", None)
    if region is not None and region.view_perspective != "CAMERA":
        return region.view_matrix.inverted()
    camera = context.scene.camera
    if camera is None:
        camera = parts.object_of(context.scene, "camera")
    return camera.matrix_world.copy() if camera is not None else None


CLASSES = (
    DUSKRAIL_OT_place_rig,
    DUSKRAIL_OT_pose_add,
    DUSKRAIL_OT_pose_remove,
    DUSKRAIL_OT_pose_move,
    DUSKRAIL_OT_pose_go,
    DUSKRAIL_OT_stand_here,
)
