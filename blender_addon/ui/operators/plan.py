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
from planner_core.edit import edits, kit, starter

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
    bl_label = "New Planned Scene"
    bl_options = UNDOABLE

    example: BoolProperty(
        name="Example", description="With a small invented place, to try things on", default=True
    )

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says what is in it."""
        if properties.example:
            return (
                "Make a new scene with a small invented place, a rig and a plan for this evening, to try out"
            )
        return (
            "Make a new scene with a rig on level ground and a plan for this evening, to block out a place "
            "of your own. Other scenes stay as they are"
        )

    def execute(self, context: Any) -> Outcome:
        make = starter.starter_plan if self.example else starter.bare_plan
        try:
            plan = make(preferences.current(), dt.date.today())
        except PlanError as error:
            self.report({"ERROR"}, f"The preferences don't make a plan: {error}")
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
    """A first picture in three steps: where and when, what it is about, and the rail. Makes a new scene"""

    bl_idname = "duskrail.first_scene"
    bl_label = "First Scene"
    bl_options = UNDOABLE

    latitude: FloatProperty(
        name="Latitude", description="Degrees north; negative: south", min=-90.0, max=90.0, precision=5
    )
    longitude: FloatProperty(
        name="Longitude", description="Degrees east; negative: west", min=-180.0, max=180.0, precision=5
    )
    timezone: StringProperty(name="Time zone", description="IANA zone, as in Europe/Zurich")
    date: StringProperty(name="Date", description="The evening's date: year-month-day. Empty: today")
    subject: EnumProperty(
        name="Subject",
        description="What the picture is about",
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
        name="Distance", description="How far the subject is", min=1.0, default=120.0, unit="LENGTH", step=100
    )
    height: FloatProperty(
        name="Height", description="How high the subject is", min=0.5, default=18.0, unit="LENGTH", step=50
    )
    rail_height: FloatProperty(
        name="Rail height", description="Rail above the ground", min=0.0, max=5.0, default=0.7, unit="LENGTH"
    )
    near: BoolProperty(
        name="Something near the rail",
        description="A post two metres before the lens, so that the slide is seen",
        default=True,
    )

    def invoke(self, context: Any, _event: Any) -> Outcome:
        usual = preferences.current()
        self.latitude, self.longitude = usual.latitude_deg, usual.longitude_deg
        self.timezone, self.rail_height = usual.timezone, usual.rail_height_m
        self.date = dt.date.today().isoformat()
        return set(
            context.window_manager.invoke_props_dialog(
                self, width=340, title="First Scene", confirm_text="Make the Scene"
            )
        )

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        for title, names in (
            ("1  Place and date", ("latitude", "longitude", "timezone", "date")),
            ("2  What it is about", ("subject", "bearing", "distance", "height")),
            ("3  The rail", ("rail_height", "near")),
        ):
            layout.label(text=title)
            column = layout.column(align=True)
            for name in names:
                column.prop(self, name)

    def _plan(self) -> Plan:
        usual = attrs.evolve(
            preferences.current(),
            latitude_deg=round(self.latitude, 5),
            longitude_deg=round(self.longitude, 5),
            timezone=self.timezone.strip(),
            rail_height_m=round(self.rail_height, 3),
        )
        day = dt.date.today() if not self.date.strip() else edits.parse_date(self.date, "shoot.anchor.date")
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
    """Put a rig at the scene's origin and begin a plan around it. What you made in the scene stays"""

    bl_idname = "duskrail.start_plan"
    bl_label = "Plan in This Scene"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not editable(cls, context):
            return False
        if store.has_plan(context.scene):
            cls.poll_message_set("This scene has a plan already")
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        try:
            plan = starter.bare_plan(preferences.current(), dt.date.today())
        except PlanError as error:
            self.report({"ERROR"}, f"The preferences don't make a plan: {error}")
            return {"CANCELLED"}
        startup.remove_startup_objects(context.scene)
        outcome = set_plan(self, context.scene, plan)
        if outcome == {"FINISHED"}:
            views.show_all_of(context, context.scene)
        return outcome


class DUSKRAIL_OT_remove_plan(bpy.types.Operator):
    """Take the plan and everything that was drawn for it out of this scene. Meshes of your own stay"""

    bl_idname = "duskrail.remove_plan"
    bl_label = "Remove Plan"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not editable(cls, context):
            return False
        if not store.has_plan(context.scene):
            cls.poll_message_set("This scene has no plan")
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        live.remove(context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_dismiss(bpy.types.Operator):
    """Put this message away"""

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
    """Draw everything of the plan anew: rig, blocks, light and timeline, also what was deleted by mistake"""

    bl_idname = "duskrail.redraw"
    bl_label = "Draw Plan Anew"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        live.draw_anew(context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_read_back(WithPlan, bpy.types.Operator):
    """Take everything that was edited by hand in the scene into the plan: blocks, rail, poses, and curves of
    the axes
    """

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
        for line in edited.said or (("The scene is as the plan has it",) if same else ()):
            self.report({"INFO"}, line)
        return outcome


SETTING = StringProperty(name="Setting", description="Which of Blender's settings", options={"SKIP_SAVE"})


class DUSKRAIL_OT_take_setting(WithPlan, bpy.types.Operator):
    """Take what was set in Blender into the plan"""

    bl_idname = "duskrail.take_setting"
    bl_label = "Take into the Plan"
    bl_options = UNDOABLE

    setting: SETTING

    def execute(self, context: Any) -> Outcome:
        plan = live.plan_of(context.scene)
        assert plan is not None
        for difference in settings.differences(context.scene, plan):
            if difference.key == self.setting and difference.take is not None:
                return change(self, context, difference.take)
        self.report({"WARNING"}, "The plan can't take this setting, or has it already")
        return {"CANCELLED"}


class DUSKRAIL_OT_restore_setting(WithFrames, bpy.types.Operator):
    """Set Blender's setting back to what the plan has"""

    bl_idname = "duskrail.restore_setting"
    bl_label = "Set Back"
    bl_options = UNDOABLE

    setting: SETTING

    def execute(self, context: Any) -> Outcome:
        live.restore_setting(context.scene, self.setting)
        return {"FINISHED"}


class DUSKRAIL_OT_make_own(ReadsPlan, bpy.types.Operator):
    """Draw this scene's plan with objects of its own; the shared ones stay with the other scene"""

    bl_idname = "duskrail.make_own"
    bl_label = "Give This Scene Its Own Objects"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        if context.scene.library is not None or live.shares_with(context.scene) is None:
            cls.poll_message_set("This scene's plan shares its objects with no other scene")
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
