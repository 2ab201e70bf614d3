"""Opening and saving the plan's file, and the shot sheet."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type"

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, StringProperty

from planner_core import PlanError, load_plan, save_plan
from planner_core.plan.writing import write_atomically
from planner_core.words.language import in_english, in_words, say

from ...scene import startup, store
from ...state import files, live
from .. import views
from .base import UNDOABLE, Outcome, WithFrames, WithPlan, editable, set_plan

ENDING = ".plan.json"


def changed_on_disk(scene: Any) -> bool:
    """Whether the plan's file is there and is no longer what was opened or saved last."""
    return files.changed_on_disk(scene, bpy.path.abspath(scene.duskrail.file))


class DUSKRAIL_OT_open(bpy.types.Operator):
    """Open a plan file in this scene and replace its plan. If the file can't be read, nothing changes"""

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
        """Ask which file; one that was dropped into the view is known already."""
        if self.filepath:
            return self.execute(context)
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
        if not store.has_plan(context.scene):
            startup.remove_startup_objects(context.scene)
        outcome = set_plan(self, context.scene, plan)
        if outcome == {"FINISHED"}:
            files.opened(context.scene, path, plan)
            views.show_all_of(context, context.scene)
            self.report(
                {"INFO"},
                say(
                    "Opened {name}: {title}",
                    name=Path(path).name,
                    title=plan.title or say("a plan without a title"),
                ),
            )
        return outcome


def write(operator: Any, scene: Any, path: str) -> Outcome:
    """Save the scene's plan, with what was moved in the scene, and remember the file."""
    live.take_edits(scene)
    plan = live.plan_of(scene)
    assert plan is not None
    try:
        save_plan(plan, path)
    except OSError as error:
        return unwritten(operator, path, error)
    files.saved(scene, path, plan)
    operator.report({"INFO"}, say("Saved {name}", name=Path(path).name))
    return {"FINISHED"}


def unwritten(operator: Any, path: str | Path, error: OSError) -> Outcome:
    """Tell why a file can't be written."""
    reason = in_words(error.strerror or str(error))
    operator.report({"ERROR"}, say("{path} can't be written: {reason}", path=path, reason=reason))
    return {"CANCELLED"}


class DUSKRAIL_OT_save(WithPlan, bpy.types.Operator):
    """Save the plan to its file. If somebody else changed the file meanwhile, you are asked first"""

    bl_idname = "duskrail.save"
    bl_label = "Save Plan"
    bl_options = {"REGISTER"}
    IN_ANY_MODE = True

    overwrite: BoolProperty(
        name="Overwrite",
        description="Save even if the file was changed on disk after it was opened",
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
                title=say("Overwrite the plan file?"),
                message=say(
                    "{name} was changed on disk after it was opened",
                    name=Path(context.scene.duskrail.file).name,
                ),
                confirm_text=say("Overwrite"),
                icon="WARNING",
            )
            return set(confirmed)
        return self.execute(context)

    def execute(self, context: Any) -> Outcome:
        path = context.scene.duskrail.file
        if not path:
            self.report({"ERROR"}, say("The plan has no file yet. Use Save As"))
            return {"CANCELLED"}
        if changed_on_disk(context.scene) and not self.overwrite:
            self.report(
                {"ERROR"},
                say(
                    "{name} was changed on disk since it was opened; save as another file, or overwrite",
                    name=Path(path).name,
                ),
            )
            return {"CANCELLED"}
        return write(self, context.scene, bpy.path.abspath(path))


class DUSKRAIL_OT_save_as(WithPlan, bpy.types.Operator):
    """Save the plan to a file of your choice"""

    bl_idname = "duskrail.save_as"
    bl_label = "Save Plan As"
    bl_options = {"REGISTER"}
    IN_ANY_MODE = True

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
            self.report({"ERROR"}, say("Give the file a name"))
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


class DUSKRAIL_OT_save_sheet(WithFrames, bpy.types.Operator):
    """Save the shot sheet, to print or keep on a phone: what to set, when, and what to watch out for"""

    bl_idname = "duskrail.save_sheet"
    bl_label = "Save Shot Sheet"
    bl_options = {"REGISTER"}
    IN_ANY_MODE = True

    filepath: StringProperty(
        name="File", description="The shot sheet", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    check_existing: BoolProperty(default=True, options={"HIDDEN"})
    filter_glob: StringProperty(default="*.html", options={"HIDDEN"})

    def invoke(self, context: Any, _event: Any) -> Outcome:
        named = context.scene.duskrail.file.removesuffix(ENDING) or "evening"
        self.filepath = f"{named}.html"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> Outcome:
        from planner_core.output.sheet.page import sheet_html

        frames = live.frames_of(context.scene)
        assert frames is not None
        report = live.review_now(context.scene)
        assert report is not None
        return save_pages(self, lambda path: {path: sheet_html(frames.plan, frames, report)})


def save_pages(operator: Any, pages: Callable[[Path], Mapping[Path, str]]) -> Outcome:
    """Save the page that an operator was given a file for, and what belongs beside it: HTML by file, the page
    itself last. Pages are in English, whatever Blender speaks, and none is written before all are made.
    """
    if not file_name(operator.filepath):
        operator.report({"ERROR"}, say("Give the file a name"))
        return {"CANCELLED"}
    path = Path(bpy.path.abspath(operator.filepath))
    path = path if path.suffix == ".html" else path.with_name(path.name + ".html")
    with in_english():
        made = pages(path)
    try:
        for file, page in made.items():
            write_atomically(file, page.encode("utf-8"))
    except OSError as error:
        return unwritten(operator, path, error)
    operator.report({"INFO"}, say("Saved {name}", name=path.name))
    return {"FINISHED"}


CLASSES = (
    DUSKRAIL_OT_open,
    DUSKRAIL_OT_save,
    DUSKRAIL_OT_save_as,
    DUSKRAIL_OT_save_sheet,
)
