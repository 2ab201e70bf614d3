"""Operators about the plan as a whole: beginning one, its day and its times, and its file."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

import datetime as dt
import hashlib
from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, IntProperty, StringProperty

from planner_core import Plan, PlanError, load_plan, save_plan
from planner_core.edit import edits
from planner_core.plan.file import plan_to_text

from ..read import readback
from ..scene import store
from ..state import live
from . import preferences, starter, views
from .ops import UNDOABLE, Outcome, WithFrames, WithPlan, change, editable, set_plan

ENDING = ".plan.json"


# ---------------------------------------------------------------- beginning


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
            views.show_place(context, made)
        return outcome


class DUSKRAIL_OT_start_plan(bpy.types.Operator):
    """Put a rig at the scene's origin and begin a plan around it. What is in the scene stays"""

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
        return set_plan(self, context.scene, plan)


class DUSKRAIL_OT_remove_plan(bpy.types.Operator):
    """Take the plan and everything that was drawn for it out of this scene. Meshes of your own stay"""

    bl_idname = "duskrail.remove_plan"
    bl_label = "Take the Plan Out"
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
    bl_label = "Dismiss"

    def execute(self, context: Any) -> Outcome:
        here = live.desk(context.scene)
        here.problem, here.said, here.mended = "", (), ()
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


class DUSKRAIL_OT_show_place(WithFrames, bpy.types.Operator):
    """Look at the place from above and behind the rig, in the blocks' own colours, far enough to see the
    sky's ways
    """

    bl_idname = "duskrail.show_place"
    bl_label = "Show the Place"

    def execute(self, context: Any) -> Outcome:
        views.show_place(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_show_rig(WithFrames, bpy.types.Operator):
    """Look at the rail and the poses from nearby"""

    bl_idname = "duskrail.show_rig"
    bl_label = "Show the Rig"

    def execute(self, context: Any) -> Outcome:
        views.show_rig(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_show_picture(WithPlan, bpy.types.Operator):
    """Look through the rig's camera"""

    bl_idname = "duskrail.show_picture"
    bl_label = "Show the Picture"

    def execute(self, context: Any) -> Outcome:
        views.show_picture(context, context.scene)
        return {"FINISHED"}


class DUSKRAIL_OT_redraw(WithFrames, bpy.types.Operator):
    """Draw everything of the plan anew: rig, blocks, light and timeline, also what was deleted by mistake"""

    bl_idname = "duskrail.redraw"
    bl_label = "Draw Anew"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        live.draw_anew(context.scene)
        return {"FINISHED"}


# ---------------------------------------------------------------- when


class DUSKRAIL_OT_step_day(WithPlan, bpy.types.Operator):
    """The same shoot some days earlier or later"""

    bl_idname = "duskrail.step_day"
    bl_label = "Another Day"
    bl_options = UNDOABLE

    days: IntProperty(name="Days", description="How many days later; negative: earlier", default=1)

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says which way."""
        count = abs(properties.days)
        days = "day" if count == 1 else "days"
        return f"The same shoot {count} {days} {'later' if properties.days > 0 else 'earlier'}"

    def execute(self, context: Any) -> Outcome:
        return change(self, context, lambda plan: edits.with_days_added(plan, self.days))


class DUSKRAIL_OT_anchor_here(WithPlan, bpy.types.Operator):
    """Have the light event fall on the frame that is shown now"""

    bl_idname = "duskrail.anchor_here"
    bl_label = "Event at This Frame"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        plan = live.plan_of(context.scene)
        if plan is not None and plan.shoot.anchor is None:
            cls.poll_message_set("The shoot goes by a start time; time it by a light event first")
            return False
        return True

    def execute(self, context: Any) -> Outcome:
        at = live.place_shown(context.scene)
        return change(self, context, lambda plan: edits.evolved(plan, "shoot.anchor.at", at))


class DUSKRAIL_OT_go_to_event(WithFrames, bpy.types.Operator):
    """Show the frame on which the light event falls"""

    bl_idname = "duskrail.go_to_event"
    bl_label = "Go to the Event"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        scene = context.scene
        plan = live.plan_of(scene)
        if plan is None or plan.shoot.anchor is None:
            self.report({"ERROR"}, "The shoot goes by a start time, not by a light event")
            return {"CANCELLED"}
        scene.frame_set(round(1 + plan.shoot.anchor.at * (plan.shoot.frames - 1)))
        return {"FINISHED"}


# ---------------------------------------------------------------- the plan file


def digest_of(path: str) -> str:
    """A fingerprint of a file's content; nothing where it can't be read."""
    try:
        return hashlib.sha256(Path(path).read_bytes()).hexdigest()
    except OSError:
        return ""


def changed_on_disk(scene: Any) -> bool:
    """Whether the plan's file is there and is no longer what was opened or saved last."""
    settings = scene.duskrail
    found = digest_of(bpy.path.abspath(settings.file)) if settings.file else ""
    return bool(found) and found != settings.file_digest


def unsaved(scene: Any) -> bool:
    """Whether the plan differs from what was opened or saved last."""
    text = store.stored_text(scene)
    return text is None or hashlib.sha256(text.encode()).hexdigest() != scene.duskrail.saved_digest


def _remember(scene: Any, path: str, plan: Plan) -> None:
    settings = scene.duskrail
    settings.file = path
    settings.file_digest = digest_of(path)
    settings.saved_digest = hashlib.sha256(plan_to_text(plan).encode()).hexdigest()


class DUSKRAIL_OT_open(bpy.types.Operator):
    """Open a plan file in this scene, in place of the plan that it has. A file that can't be read changes
    nothing
    """

    bl_idname = "duskrail.open"
    bl_label = "Open Plan"
    bl_options = UNDOABLE

    filepath: StringProperty(
        name="File", description="The plan file", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    filter_glob: StringProperty(default="*.json", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        return editable(cls, context)

    def invoke(self, context: Any, _event: Any) -> Outcome:
        self.filepath = context.scene.duskrail.file
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> Outcome:
        path = bpy.path.abspath(self.filepath)
        try:
            plan = load_plan(path)
        except PlanError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        outcome = set_plan(self, context.scene, plan)
        if outcome == {"FINISHED"}:
            _remember(context.scene, path, plan)
            self.report({"INFO"}, f"Opened {Path(path).name}: {plan.title or 'a plan without a title'}")
        return outcome


def write(operator: Any, scene: Any, path: str) -> Outcome:
    """Save the scene's plan, with what was moved in the scene, and remember the file."""
    live.absorb(scene)
    plan = live.plan_of(scene)
    assert plan is not None
    try:
        save_plan(plan, path)
    except OSError as error:
        operator.report({"ERROR"}, f"{path} can't be written: {error.strerror or error}")
        return {"CANCELLED"}
    _remember(scene, path, plan)
    operator.report({"INFO"}, f"Saved {Path(path).name}")
    return {"FINISHED"}


class DUSKRAIL_OT_save(WithPlan, bpy.types.Operator):
    """Save the plan to its file. Asks first where the file was changed by somebody else meanwhile"""

    bl_idname = "duskrail.save"
    bl_label = "Save Plan"
    bl_options = {"REGISTER"}

    overwrite: BoolProperty(
        name="Overwrite",
        description="Save also where the file was changed on disk since it was opened",
        default=False,
        options={"SKIP_SAVE"},
    )

    def invoke(self, context: Any, event: Any) -> Outcome:
        if not context.scene.duskrail.file:
            return bpy.ops.duskrail.save_as("INVOKE_DEFAULT")  # type: ignore[attr-defined,no-any-return]
        if changed_on_disk(context.scene):
            self.overwrite = True
            confirmed = context.window_manager.invoke_confirm(
                self,
                event,
                title="Overwrite the plan file?",
                message=f"{Path(context.scene.duskrail.file).name} was changed on disk since it was opened",
                confirm_text="Overwrite",
                icon="WARNING",
            )
            return set(confirmed)
        return self.execute(context)

    def execute(self, context: Any) -> Outcome:
        path = context.scene.duskrail.file
        if not path:
            self.report({"ERROR"}, "The plan has no file yet; use Save As")
            return {"CANCELLED"}
        if changed_on_disk(context.scene) and not self.overwrite:
            self.report(
                {"ERROR"},
                f"{Path(path).name} was changed on disk since it was opened; "
                "save as another file, or overwrite",
            )
            return {"CANCELLED"}
        return write(self, context.scene, bpy.path.abspath(path))


class DUSKRAIL_OT_save_as(WithPlan, bpy.types.Operator):
    """Save the plan to a file that you choose"""

    bl_idname = "duskrail.save_as"
    bl_label = "Save Plan As"
    bl_options = {"REGISTER"}

    filepath: StringProperty(
        name="File", description="The plan file", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    check_existing: BoolProperty(default=True, options={"HIDDEN"})
    filter_glob: StringProperty(default="*.json", options={"HIDDEN"})

    def invoke(self, context: Any, _event: Any) -> Outcome:
        plan = live.plan_of(context.scene)
        name = "".join(c if c.isalnum() else "_" for c in (plan.title if plan else "")).strip("_").lower()
        self.filepath = context.scene.duskrail.file or f"{name or 'evening'}{ENDING}"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def check(self, _context: Any) -> bool:
        """Give the file its ending while it is being named."""
        ended = with_ending(self.filepath)
        changed, self.filepath = ended != self.filepath, ended
        return changed

    def execute(self, context: Any) -> Outcome:
        if not file_name(self.filepath):
            self.report({"ERROR"}, "The file needs a name")
            return {"CANCELLED"}
        return write(self, context.scene, with_ending(bpy.path.abspath(self.filepath)))


def file_name(path: str) -> str:
    """The last part of a path; nothing where it names a folder."""
    return "" if path.endswith(("/", "\\")) else Path(path).name


def with_ending(path: str) -> str:
    """A file name that ends as plan files do."""
    if not file_name(path) or path.endswith(ENDING):
        return path
    return path.removesuffix(".json").removesuffix(".plan") + ENDING


class DUSKRAIL_OT_read_back(WithPlan, bpy.types.Operator):
    """Take everything that was edited by hand in the scene into the plan: blocks, rail, poses, and curves of
    the axes
    """

    bl_idname = "duskrail.read_back"
    bl_label = "Read the Scene Back"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        try:
            found = readback.read_scene(context.scene)
        except (PlanError, readback.ReadbackError) as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        same = found.plan == live.plan_of(context.scene)
        outcome = set_plan(self, context.scene, found.plan)
        for line in found.said or (("The scene is as the plan has it",) if same else ()):
            self.report({"INFO"}, line)
        return outcome


class DUSKRAIL_OT_save_sheet(WithFrames, bpy.types.Operator):
    """Save the shot sheet: one page to print or keep on a phone, with what to set, when, and what to watch"""

    bl_idname = "duskrail.save_sheet"
    bl_label = "Save Shot Sheet"
    bl_options = {"REGISTER"}

    filepath: StringProperty(name="File", description="The sheet", subtype="FILE_PATH", options={"SKIP_SAVE"})
    check_existing: BoolProperty(default=True, options={"HIDDEN"})
    filter_glob: StringProperty(default="*.html", options={"HIDDEN"})

    def invoke(self, context: Any, _event: Any) -> Outcome:
        named = context.scene.duskrail.file.removesuffix(ENDING) or "evening"
        self.filepath = f"{named}.html"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> Outcome:
        from planner_core.output.sheet.page import sheet_html
        from planner_core.plan.file import write_atomically

        frames = live.frames_of(context.scene)
        assert frames is not None
        report = live.review_now(context.scene)
        assert report is not None
        path = Path(bpy.path.abspath(self.filepath))
        if not file_name(self.filepath):
            self.report({"ERROR"}, "The file needs a name")
            return {"CANCELLED"}
        path = path if path.suffix == ".html" else path.with_name(path.name + ".html")
        try:
            write_atomically(path, sheet_html(frames.plan, frames, report).encode("utf-8"))
        except OSError as error:
            self.report({"ERROR"}, f"{path} can't be written: {error.strerror or error}")
            return {"CANCELLED"}
        self.report({"INFO"}, f"Saved {path.name}")
        return {"FINISHED"}


CLASSES = (
    DUSKRAIL_OT_new_scene,
    DUSKRAIL_OT_start_plan,
    DUSKRAIL_OT_remove_plan,
    DUSKRAIL_OT_dismiss,
    DUSKRAIL_OT_set_units,
    DUSKRAIL_OT_show_place,
    DUSKRAIL_OT_show_rig,
    DUSKRAIL_OT_show_picture,
    DUSKRAIL_OT_redraw,
    DUSKRAIL_OT_step_day,
    DUSKRAIL_OT_anchor_here,
    DUSKRAIL_OT_go_to_event,
    DUSKRAIL_OT_open,
    DUSKRAIL_OT_save,
    DUSKRAIL_OT_save_as,
    DUSKRAIL_OT_read_back,
    DUSKRAIL_OT_save_sheet,
)
