"""Beginning a plan, taking it out of the scene, drawing it again."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value,union-attr"

import datetime as dt
import math
from typing import Any

import attrs
import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, StringProperty

from planner_core import Plan, PlanError
from planner_core.begin.clock import guess_zone
from planner_core.edit import edits, kit, starter
from planner_core.words.language import in_words, say

from ...read import readback, settings
from ...scene import startup, store
from ...state import live
from .. import preferences, views
from .base import UNDOABLE, Outcome, ReadsPlan, WithFrames, WithPlan, change, editable, set_plan

FIRST_SUBJECTS = ("tower", "house", "tree", "figure", "box")
NEAR_M, NEAR_ASIDE_DEG = 2.0, -14.0  # where the thing near the rail stands, and how far beside the subject


class DUSKRAIL_OT_new_scene(bpy.types.Operator):
    """Make a new scene with a rig and a plan for this evening"""

    bl_idname = "duskrail.new_scene"
    bl_label = "New Scene with a Plan"
    bl_options = UNDOABLE

    example: BoolProperty(
        name="Example", description="Start with a small invented place to try things out", default=True
    )

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says what is in it."""
        if properties.example:
            return say(
                "Make a new scene with a small invented place, a rig and a plan for this evening, to try out"
            )
        return say(
            "Make a new scene with a rig on level ground and a plan for this evening, to "
            "block out a place of your own. Other scenes stay as they are"
        )

    def execute(self, context: Any) -> Outcome:
        make = starter.starter_plan if self.example else starter.bare_plan
        try:
            plan = make(preferences.current(), dt.date.today())
        except PlanError as error:
            self.report({"ERROR"}, say("The add-on's preferences don't work as a plan: {error}", error=error))
            return {"CANCELLED"}
        made = bpy.data.scenes.new("Evening")
        outcome = set_plan(self, made, plan)
        if outcome == {"CANCELLED"}:
            bpy.data.scenes.remove(made)
            return outcome
        if context.window is not None:
            context.window.scene = made
            views.show_all_of(context, made)
        return outcome


class DUSKRAIL_OT_first_scene(bpy.types.Operator):
    """Set up a first picture in three steps: place and date, subject, and rail. This makes a new scene"""

    bl_idname = "duskrail.first_scene"
    bl_label = "First Scene"
    bl_options = UNDOABLE

    latitude: FloatProperty(
        name="Latitude", description="Degrees north; negative: south", min=-90.0, max=90.0, precision=5
    )
    longitude: FloatProperty(
        name="Longitude", description="Degrees east; negative: west", min=-180.0, max=180.0, precision=5
    )
    timezone: StringProperty(
        name="Time Zone",
        description="Time zone by its IANA name, for example Europe/Zurich. "
        "Leave it empty for that of the nearest main city",
    )
    date: StringProperty(
        name="Date", description="Date of the shoot as year-month-day. Leave it empty for today"
    )
    subject: EnumProperty(
        name="Subject",
        description="The subject of the picture",
        items=[
            (kind, piece.label, piece.says) for kind, piece in kit.PIECES.items() if kind in FIRST_SUBJECTS
        ],
        default="tower",
    )
    bearing: FloatProperty(
        name="Bearing",
        description="Compass bearing from the rail to the subject",
        subtype="ANGLE",
        unit="ROTATION",
        default=math.radians(270.0),
        step=100,
    )
    distance: FloatProperty(
        name="Distance",
        description="Distance from the rail to the subject",
        min=1.0,
        default=120.0,
        unit="LENGTH",
        step=100,
    )
    height: FloatProperty(
        name="Height", description="Height of the subject", min=0.5, default=18.0, unit="LENGTH", step=50
    )
    rail_height: FloatProperty(
        name="Rail Height",
        description="Height of the rail above the ground",
        min=0.0,
        max=5.0,
        default=0.7,
        unit="LENGTH",
    )
    near: BoolProperty(
        name="Foreground near the Rail",
        description="Put a post two metres in front of the lens, so that the slide shows",
        default=True,
    )

    def invoke(self, context: Any, _event: Any) -> Outcome:
        usual = preferences.current()
        self.latitude, self.longitude = usual.latitude_deg, usual.longitude_deg
        self.timezone, self.rail_height = "", usual.rail_height_m
        self.date = dt.date.today().isoformat()
        return set(
            context.window_manager.invoke_props_dialog(
                self, width=340, title=say("First Scene"), confirm_text=say("Make the Scene")
            )
        )

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        for title, names in (
            ("1  Place and Date", ("latitude", "longitude", "timezone", "date")),
            ("2  Subject", ("subject", "bearing", "distance", "height")),
            ("3  Rail", ("rail_height", "near")),
        ):
            layout.label(text=say(title), translate=False)
            column = layout.column(align=True)
            for name in names:
                if name == "timezone":
                    column.prop(self, name, placeholder=say("by the place"))
                else:
                    column.prop(self, name)

    def _zone(self, day: dt.date) -> str:
        """The zone that was typed, else that of the place."""
        usual = preferences.current()
        place = (round(self.latitude, 5), round(self.longitude, 5))
        if self.timezone.strip():
            return str(self.timezone.strip())
        if place == (round(usual.latitude_deg, 5), round(usual.longitude_deg, 5)):
            return usual.timezone
        return guess_zone(*place, day).zone

    def _plan(self) -> Plan:
        day = dt.date.today() if not self.date.strip() else edits.parse_date(self.date, "shoot.anchor.date")
        usual = attrs.evolve(
            preferences.current(),
            latitude_deg=round(self.latitude, 5),
            longitude_deg=round(self.longitude, 5),
            timezone=self._zone(day),
            rail_height_m=round(self.rail_height, 3),
        )
        bearing = round(math.degrees(self.bearing), 2) % 360.0
        plan = starter.bare_plan(usual, day, north_deg=bearing, looks_deg=bearing)
        width, depth, usual_height = kit.PIECES[self.subject].size_m
        height = round(self.height, 2)
        grown = height / usual_height
        spot = kit.spot_by_bearing(plan, bearing, round(self.distance, 2))
        size = (round(width * grown, 2), round(depth * grown, 2), height)
        plan = kit.with_blocks(plan, kit.piece_blocks(plan, self.subject, spot, size, role="subject"))
        if self.near:
            post = kit.PIECES["post"]
            near = kit.spot_by_bearing(plan, bearing + NEAR_ASIDE_DEG, NEAR_M)
            plan = kit.with_blocks(plan, kit.piece_blocks(plan, "post", near, post.size_m, role="foreground"))
        return plan

    def execute(self, context: Any) -> Outcome:
        try:
            plan = self._plan()
        except PlanError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        made = bpy.data.scenes.new("Evening")
        outcome = set_plan(self, made, plan)
        if outcome == {"CANCELLED"}:
            bpy.data.scenes.remove(made)
            return outcome
        if context.window is not None:
            context.window.scene = made
            views.show_all_of(context, made)
            views.show_picture(context, made)
        return outcome


class DUSKRAIL_OT_start_plan(bpy.types.Operator):
    """Put a rig at the scene's origin and start a plan around it. Your own objects stay"""

    bl_idname = "duskrail.start_plan"
    bl_label = "Start a Plan in This Scene"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not editable(cls, context):
            return False
        if store.has_plan(context.scene):
            cls.poll_message_set(say("This scene has a plan already"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        try:
            plan = starter.bare_plan(preferences.current(), dt.date.today())
        except PlanError as error:
            self.report({"ERROR"}, say("The add-on's preferences don't work as a plan: {error}", error=error))
            return {"CANCELLED"}
        startup.remove_startup_objects(context.scene)
        outcome = set_plan(self, context.scene, plan)
        if outcome == {"FINISHED"}:
            views.show_all_of(context, context.scene)
        return outcome


class DUSKRAIL_OT_remove_plan(bpy.types.Operator):
    """Remove the plan and everything drawn for it from this scene. Your own meshes stay"""

    bl_idname = "duskrail.remove_plan"
    bl_label = "Remove Plan"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not editable(cls, context):
            return False
        if not store.has_plan(context.scene):
            cls.poll_message_set(say("This scene has no plan"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        live.remove(context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_dismiss(bpy.types.Operator):
    """Hide this message"""

    bl_idname = "duskrail.dismiss"
    bl_label = "Dismiss Message"

    def execute(self, context: Any) -> Outcome:
        here = live.state_of(context.scene)
        here.problem, here.said, here.fit_said = "", (), ()
        live.show()
        return {"FINISHED"}


class DUSKRAIL_OT_set_units(bpy.types.Operator):
    """Set the scene's unit scale to 1, so that a Blender unit is a metre, as in the plan"""

    bl_idname = "duskrail.set_units"
    bl_label = "Set Unit Scale to 1"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        context.scene.unit_settings.scale_length = 1.0
        return {"FINISHED"}


class DUSKRAIL_OT_redraw(WithFrames, bpy.types.Operator):
    """Redraw the whole plan: rig, blocks, light and timeline. This also restores what was deleted by
    mistake
    """

    bl_idname = "duskrail.redraw"
    bl_label = "Redraw the Plan"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        live.draw_anew(context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_read_back(WithPlan, bpy.types.Operator):
    """Copy what you edited by hand in the scene into the plan: blocks, rail, poses and axis curves"""

    bl_idname = "duskrail.read_back"
    bl_label = "Read the Scene Back"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        try:
            edited = readback.read_scene(context.scene)
        except (PlanError, readback.ReadbackError) as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        same = edited.plan == live.plan_of(context.scene)
        outcome = set_plan(self, context.scene, edited.plan)
        for line in edited.said or ((say("The scene already matches the plan"),) if same else ()):
            self.report({"INFO"}, in_words(line))
        return outcome


SETTING = StringProperty(name="Setting", description="Which Blender setting", options={"SKIP_SAVE"})


class DUSKRAIL_OT_take_setting(WithPlan, bpy.types.Operator):
    """Copy this Blender setting into the plan"""

    bl_idname = "duskrail.take_setting"
    bl_label = "Use in the Plan"
    bl_options = UNDOABLE

    setting: SETTING

    def execute(self, context: Any) -> Outcome:
        plan = live.plan_of(context.scene)
        assert plan is not None
        for difference in settings.differences(context.scene, plan):
            if difference.key == self.setting and difference.take is not None:
                return change(self, context, difference.take)
        self.report({"WARNING"}, say("The plan can't use this setting, or already has it"))
        return {"CANCELLED"}


class DUSKRAIL_OT_restore_setting(WithFrames, bpy.types.Operator):
    """Set Blender back to the value in the plan"""

    bl_idname = "duskrail.restore_setting"
    bl_label = "Restore the Setting"
    bl_options = UNDOABLE

    setting: SETTING

    def execute(self, context: Any) -> Outcome:
        live.restore_setting(context.scene, self.setting)
        return {"FINISHED"}


class DUSKRAIL_OT_make_own(ReadsPlan, bpy.types.Operator):
    """Draw this scene's plan with its own objects. The shared ones stay with the other scene"""

    bl_idname = "duskrail.make_own"
    bl_label = "Give Scene Its Own Objects"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        if context.scene.library is not None or live.shares_with(context.scene) is None:
            cls.poll_message_set(say("This scene already has its own objects"))
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        live.make_own(context.scene)
        return {"FINISHED"}


CLASSES = (
    DUSKRAIL_OT_first_scene,
    DUSKRAIL_OT_take_setting,
    DUSKRAIL_OT_restore_setting,
    DUSKRAIL_OT_make_own,
    DUSKRAIL_OT_new_scene,
    DUSKRAIL_OT_start_plan,
    DUSKRAIL_OT_remove_plan,
    DUSKRAIL_OT_dismiss,
    DUSKRAIL_OT_set_units,
    DUSKRAIL_OT_redraw,
    DUSKRAIL_OT_read_back,
)
