"""Operators of the blocking kit: things placed from the map or at the cursor, meshes marked, blocks taken
out.
"""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value,union-attr"

import math
from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
from bpy.props import EnumProperty, FloatProperty, FloatVectorProperty, StringProperty
from bpy_extras import view3d_utils

from planner_core import Plan
from planner_core.edit import kit
from planner_core.maths.angles import compass_deg
from planner_core.place.blocking import ground_level_m
from planner_core.place.footprints import Selection, load_footprints, load_horizon
from planner_core.words.language import say

from ...scene import blocking, parts
from ...state import live, selection
from .. import views
from ..properties.choices import ROLE_CHOICES
from .base import UNDOABLE, Outcome, WithPlan, change

FARTHEST_M = 20_000.0  # a block placed with the mouse: beyond, a pixel is kilometres

KINDS = [(kind, piece.label, piece.says, number) for number, (kind, piece) in enumerate(kit.PIECES.items())]
WHERE = [
    (
        "MAP",
        "Bearing and Distance",
        "Measured on a map from the start of the rail; the block faces the rail",
        "ORIENTATION_GIMBAL",
        0,
    ),
    ("CURSOR", "3D cursor", "Stands on the 3D cursor and faces the rail", "PIVOT_CURSOR", 1),
    ("MOUSE", "Mouse", "Stands on the ground under the mouse and faces the rail", "MOUSE_MOVE", 2),
]
ROLES = [
    ("AUTO", "Default", "The role that this kind of block usually has"),
    *((role, label, tip) for role, (label, tip) in ROLE_CHOICES.items()),
]


def lens_bearing_deg(scene: Any) -> float:
    """Where the lens looks on the frame that is shown."""
    frames = live.frames_of(scene)
    if frames is None:
        return 0.0
    shown = min(max(scene.frame_current, 1), len(frames)) - 1
    return compass_deg(float(frames.lens_bearing_deg[shown]))


class DUSKRAIL_OT_add_block(WithPlan, bpy.types.Operator):
    """Add a block to the scene"""

    bl_idname = "duskrail.add_block"
    bl_label = "Add Block"
    bl_options = UNDOABLE

    kind: EnumProperty(name="Kind", description="What kind of thing to add", items=KINDS)
    where: EnumProperty(name="Where", description="How the block is positioned", items=WHERE)
    bearing: FloatProperty(
        name="Bearing",
        description="Compass bearing from the rail's start, clockwise from true north",
        subtype="ANGLE",
        unit="ROTATION",
        step=100,
        options={"SKIP_SAVE"},
    )
    distance: FloatProperty(
        name="Distance",
        description="Distance from the start of the rail to the middle of the block",
        min=0.0,
        soft_max=5000.0,
        subtype="DISTANCE",
        unit="LENGTH",
        step=100,
        options={"SKIP_SAVE"},
    )
    size: FloatVectorProperty(
        name="Size",
        description="Width across the line of sight, depth along it, and height",
        size=3,
        min=0.0,
        subtype="XYZ",
        unit="LENGTH",
        precision=2,
        step=50,
        options={"SKIP_SAVE"},
    )
    turn: FloatProperty(
        name="Rotation",
        description="Clockwise from facing the rail, seen from above",
        subtype="ANGLE",
        unit="ROTATION",
        step=500,
        options={"SKIP_SAVE"},
    )
    role: EnumProperty(
        name="Role",
        description="The part that the block plays in the picture",
        items=ROLES,
        options={"SKIP_SAVE"},
    )
    called: StringProperty(
        name="Name",
        description="Name used on the sheet and in the review. Leave it empty to use the kind of block",
        options={"SKIP_SAVE"},
    )

    foot: FloatVectorProperty(
        name="Base",
        description="Where the block stands if you placed it with the mouse",
        size=3,
        subtype="XYZ",
        unit="LENGTH",
        options={"SKIP_SAVE", "HIDDEN"},
    )

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says what the kind is."""
        return say(kit.PIECES[properties.kind].says)

    def _fill_in(self, context: Any) -> None:
        """What nobody gave is as usual for the kind."""
        piece = kit.PIECES[self.kind]
        if not self.properties.is_property_set("size"):
            self.size = piece.size_m
        if not self.properties.is_property_set("distance"):
            self.distance = piece.distance_m
        if not self.properties.is_property_set("bearing"):
            self.bearing = math.radians(lens_bearing_deg(context.scene))

    def invoke(self, context: Any, event: Any) -> Outcome:
        self._fill_in(context)
        if self.where == "MOUSE":
            foot = ground_under_mouse(context, event)
            if foot is None:
                self.where = "CURSOR"
            else:
                self.foot = foot
        if self.where != "MAP":
            return self.execute(context)
        label = kit.PIECES[self.kind].label
        return set(
            context.window_manager.invoke_props_dialog(
                self, width=320, title=say("Add {label}", label=say(label)), confirm_text=say("Add")
            )
        )

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        if self.where == "MAP":
            column = layout.column(align=True)
            column.prop(self, "bearing")
            column.prop(self, "distance")
        column = layout.column(align=True)
        for axis, label in enumerate(("Width", "Depth", "Height")):
            column.prop(self, "size", index=axis, text=label)
        layout.prop(self, "turn")
        layout.prop(self, "role")
        layout.prop(self, "called")

    def execute(self, context: Any) -> Outcome:
        self._fill_in(context)
        scene = context.scene
        width, depth, height = (round(float(v), 3) for v in self.size)
        role = "" if self.role == "AUTO" else self.role

        def edit(plan: Plan) -> Plan:
            spot = self._spot(scene, plan)
            return kit.with_blocks(
                plan,
                kit.piece_blocks(
                    plan, self.kind, spot, (width, depth, height), role=role, name=self.called.strip()
                ),
            )

        before = live.plan_of(scene)
        outcome = change(self, context, edit)
        after = live.plan_of(scene)
        if outcome == {"FINISHED"} and before is not None and after is not None:
            added = range(len(before.blocks), len(after.blocks))
            made = [obj for obj in parts.objects_of(scene, "block") if obj.get(parts.INDEX_KEY) in added]
            views.show_in_local_view(context, made)
            selection.select_blocks(context, scene, added)
            live.choose_block(scene, added[0])
        return outcome

    def _spot(self, scene: Any, plan: Plan) -> kit.Spot:
        turn = math.degrees(self.turn)
        if self.where == "MAP":
            spot = kit.spot_by_bearing(plan, math.degrees(self.bearing), self.distance)
            return attrs.evolve(spot, turn_deg=spot.turn_deg + turn)
        x, y, z = self.foot if self.where == "MOUSE" else scene.cursor.location
        away = np.array([x, y]) - plan.rig.origin_m[:2]
        facing = math.degrees(math.atan2(away[0], away[1])) if np.hypot(*away) > 0.01 else 0.0
        return kit.Spot(foot_m=(round(x, 2), round(y, 2), round(z, 2)), turn_deg=round(facing + turn, 2))


def ground_under_mouse(context: Any, event: Any) -> tuple[float, float, float] | None:
    """Where the view's ray through the mouse meets the level ground; None outside of a view or in the sky."""
    region, view, plan = context.region, context.region_data, live.plan_of(context.scene)
    if region is None or region.type != "WINDOW" or view is None or plan is None:
        return None
    at = (event.mouse_region_x, event.mouse_region_y)
    origin = view3d_utils.region_2d_to_origin_3d(region, view, at)
    ray = view3d_utils.region_2d_to_vector_3d(region, view, at)
    level = ground_level_m(plan)
    if abs(ray.z) < 1e-6 or (level - origin.z) / ray.z <= 0.0:
        return None
    place = origin + (level - origin.z) / ray.z * ray
    return (place.x, place.y, place.z) if place.length < FARTHEST_M else None


class DUSKRAIL_OT_add_ridge(WithPlan, bpy.types.Operator):
    """Add a ridge of hills on the horizon"""

    bl_idname = "duskrail.add_ridge"
    bl_label = "Add Ridge"
    bl_options = UNDOABLE

    bearing: FloatProperty(
        name="Bearing",
        description="Compass bearing of the ridge's middle from the rail's start",
        subtype="ANGLE",
        unit="ROTATION",
        step=100,
        options={"SKIP_SAVE"},
    )
    distance: FloatProperty(
        name="Distance",
        description="Distance to the ridge",
        min=1.0,
        soft_max=60000.0,
        default=kit.RIDGE_DISTANCE_M,
        subtype="DISTANCE",
        unit="LENGTH",
        step=10000,
    )
    width: FloatProperty(
        name="Width",
        description="Length of the ridge from one end to the other",
        min=1.0,
        soft_max=60000.0,
        default=kit.RIDGE_SIZE_M[0],
        subtype="DISTANCE",
        unit="LENGTH",
        step=10000,
    )
    height: FloatProperty(
        name="Height",
        description="Height of its highest point above the ground here",
        min=0.0,
        soft_max=5000.0,
        default=kit.RIDGE_SIZE_M[2],
        subtype="DISTANCE",
        unit="LENGTH",
        step=1000,
    )
    called: StringProperty(
        name="Name", description="Name used on the sheet and in the review", options={"SKIP_SAVE"}
    )

    def invoke(self, context: Any, _event: Any) -> Outcome:
        if not self.properties.is_property_set("bearing"):
            self.bearing = math.radians(lens_bearing_deg(context.scene))
        return set(
            context.window_manager.invoke_props_dialog(
                self, width=320, title=say("Add Ridge"), confirm_text=say("Add")
            )
        )

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        column = layout.column(align=True)
        for name in ("bearing", "distance", "width", "height"):
            column.prop(self, name)
        layout.prop(self, "called")

    def execute(self, context: Any) -> Outcome:
        if not self.properties.is_property_set("bearing"):
            self.bearing = math.radians(lens_bearing_deg(context.scene))

        def edit(plan: Plan) -> Plan:
            ridge = kit.ridge_block(
                plan,
                math.degrees(self.bearing),
                self.distance,
                self.width,
                self.height,
                name=self.called.strip(),
            )
            return kit.with_blocks(plan, [ridge])

        return change(self, context, edit)


# ---------------------------------------------------------------- meshes of the user's own


def own_meshes(context: Any) -> list[Any]:
    """Selected mesh objects that are no part of the plan yet."""
    return [
        thing for thing in context.selected_objects if thing.type == "MESH" and parts.part_of(thing) is None
    ]


class DUSKRAIL_OT_mark_block(WithPlan, bpy.types.Operator):
    """Use the selected meshes as blocks of the plan. The objects stay as they are; the plan uses their
    outlines
    """

    bl_idname = "duskrail.mark_block"
    bl_label = "Mark as Block"
    bl_options = UNDOABLE

    role: EnumProperty(
        name="Role",
        description="The part that these blocks play in the picture",
        items=[(role, label, tip) for role, (label, tip) in ROLE_CHOICES.items()],
        default="background",
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        if not own_meshes(context):
            cls.poll_message_set(say("Select a mesh that isn't a block yet"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        things = own_meshes(context)
        linked = [thing.name for thing in things if thing.library or thing.override_library]
        if linked:
            self.report(
                {"ERROR"},
                say("{name} is linked from another file; make it local, then mark it", name=linked[0]),
            )
            return {"CANCELLED"}
        scene = context.scene
        before = live.plan_of(scene)
        for thing in things:
            put_among(scene, thing, self.role)
        live.take_edits(scene)
        after = live.plan_of(scene)
        if after is None or before is None or len(after.blocks) == len(before.blocks):
            for thing in things:
                blocking.release(scene, thing)
            self.report(
                {"ERROR"},
                live.state_of(scene).problem or say("{name} can't be used as a block", name=things[0].name),
            )
            return {"CANCELLED"}
        live.choose_block(scene, len(before.blocks))
        return {"FINISHED"}


def put_among(scene: Any, thing: Any, role: str) -> None:
    """Put a mesh object among the blocks of a role, beside the collections that it is in."""
    among = parts.collection_of(scene, f"role:{role}", blocking.ROLE_COLLECTIONS[role])
    if thing.name not in among.objects:
        among.objects.link(thing)
    thing[blocking.ROLE_KEY] = role


class OnBlocks(WithPlan):
    """An operator on the selected blocks, or on the one chosen in the list."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out where none is selected."""
        if not super().poll(context):
            return False
        if not chosen(context):
            cls.poll_message_set(say("Select a block in the view or in the list"))
            return False
        return True


class DUSKRAIL_OT_remove_block(OnBlocks, bpy.types.Operator):
    """Remove the selected blocks from the plan. Meshes of your own stay in the scene"""

    bl_idname = "duskrail.remove_block"
    bl_label = "Remove Block"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        numbers = set(chosen(context))
        return change(self, context, lambda plan: kit.without_blocks(plan, numbers))


def chosen(context: Any) -> list[int]:
    """Numbers of the blocks selected in the view, else of the one chosen in the list."""
    numbers = selection.chosen_blocks(context)
    row = context.scene.duskrail.block_row
    plan = live.plan_of(context.scene)
    rows = kit.members(plan, row) if plan is not None and 0 <= row < len(plan.blocks) else ()
    return [number for number in numbers if plan is not None and number < len(plan.blocks)] or list(rows)


class DUSKRAIL_OT_set_role(OnBlocks, bpy.types.Operator):
    """Give this role to every selected block"""

    bl_idname = "duskrail.set_role"
    bl_label = "Set Role"
    bl_options = UNDOABLE

    role: EnumProperty(
        name="Role",
        description="The part that these blocks play in the picture",
        items=[(role, label, tip) for role, (label, tip) in ROLE_CHOICES.items()],
    )

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says what the role is."""
        label, tip = ROLE_CHOICES[properties.role]
        return say("Make the selected blocks {role}: {tip}", role=say(label), tip=say(tip))

    def execute(self, context: Any) -> Outcome:
        numbers = chosen(context)

        def edit(plan: Plan) -> Plan:
            blocks = tuple(
                attrs.evolve(block, role=self.role) if number in numbers else block
                for number, block in enumerate(plan.blocks)
            )
            return attrs.evolve(plan, blocks=blocks)

        return change(self, context, edit)


class DUSKRAIL_OT_join_blocks(OnBlocks, bpy.types.Operator):
    """Show the selected blocks as one line in the list, such as the houses of a row or the posts of a
    fence
    """

    bl_idname = "duskrail.join_blocks"
    bl_label = "Group Blocks"
    bl_options = UNDOABLE

    called: StringProperty(
        name="Name",
        description="Name of the group. Leave it empty to use the name of its first block",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        if len(chosen(context)) < 2:
            cls.poll_message_set(say("Select two or more blocks in the view"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        numbers = chosen(context)
        outcome = change(self, context, lambda plan: kit.joined(plan, numbers, self.called.strip()))
        live.choose_block(context.scene, min(numbers))
        return outcome


class DUSKRAIL_OT_separate_blocks(OnBlocks, bpy.types.Operator):
    """List every block of the chosen group on a line of its own"""

    bl_idname = "duskrail.separate_blocks"
    bl_label = "Ungroup Blocks"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        plan = live.plan_of(context.scene)
        if plan is not None and not any(plan.blocks[number].part_of for number in chosen(context)):
            cls.poll_message_set(say("The chosen block isn't part of a group"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        numbers = chosen(context)
        return change(self, context, lambda plan: kit.separated(plan, numbers))


# ---------------------------------------------------------------- from files


class DUSKRAIL_OT_import_map(WithPlan, bpy.types.Operator):
    """Add buildings, trees and walls from a map extract (GeoJSON or OSM JSON), or hills from a horizon
    profile (CSV), around the rail
    """

    bl_idname = "duskrail.import_map"
    bl_label = "Import Blocks from a Map"
    bl_options = UNDOABLE

    filepath: StringProperty(
        name="File", description="The map file", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    filter_glob: StringProperty(default="*.geojson;*.json;*.csv", options={"HIDDEN"})
    max_distance: FloatProperty(
        name="Radius",
        description="Import buildings up to this distance from the rail",
        default=2000.0,
        min=1.0,
        subtype="DISTANCE",
        unit="LENGTH",
    )
    default_height: FloatProperty(
        name="Default Height",
        description="Height of buildings whose height the map doesn't give",
        default=9.0,
        min=0.1,
        subtype="DISTANCE",
        unit="LENGTH",
    )
    ridge_distance: FloatProperty(
        name="Hill Distance",
        description="Distance at which a horizon profile is drawn",
        default=8000.0,
        min=1.0,
        subtype="DISTANCE",
        unit="LENGTH",
    )

    def invoke(self, context: Any, _event: Any) -> Outcome:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> Outcome:
        path = bpy.path.abspath(self.filepath)
        said: list[str] = []

        def edit(plan: Plan) -> Plan:
            if Path(path).suffix.lower() == ".csv":
                changed, ridge = load_horizon(path, plan, distance_m=self.ridge_distance)
                said.append(say("Added the skyline “{name}”", name=ridge.name))
                return changed
            taken = Selection(max_distance_m=self.max_distance, default_height_m=self.default_height)
            changed, imported = load_footprints(path, plan, taken)
            said.extend(imported.said)
            return changed

        outcome = change(self, context, edit)
        for line in said:
            self.report({"INFO"}, line)
        return outcome


CLASSES = (
    DUSKRAIL_OT_add_block,
    DUSKRAIL_OT_add_ridge,
    DUSKRAIL_OT_mark_block,
    DUSKRAIL_OT_remove_block,
    DUSKRAIL_OT_set_role,
    DUSKRAIL_OT_join_blocks,
    DUSKRAIL_OT_separate_blocks,
    DUSKRAIL_OT_import_map,
)
