"""Operators of an evening of several shots: adding them, going to one, taking starts and remedies."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, CollectionProperty, IntProperty, StringProperty

from planner_core import Plan, PlanError, compute_frames, load_plan
from planner_core.fit.evening import Evening, plans_with
from planner_core.output.evening.words import attempt_text, moved_s
from planner_core.words.language import say

from ...scene import startup, store
from ...state import files, live, shots
from .. import views, wording
from .base import UNDOABLE, Outcome, ReadsPlan, editable
from .plan_file import file_name, save_pages

SCENE_NAME = "Shot"


class DUSKRAIL_OT_add_shots(bpy.types.Operator):
    """Open several plan files as shots of one evening, each in a scene of its own. If one can't be read,
    none is opened
    """

    bl_idname = "duskrail.add_shots"
    bl_label = "Add Shots"
    bl_options = UNDOABLE

    filepath: StringProperty(
        name="File", description="A plan file", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    directory: StringProperty(subtype="DIR_PATH", options={"HIDDEN", "SKIP_SAVE"})
    files: CollectionProperty(type=bpy.types.OperatorFileListElement, options={"HIDDEN", "SKIP_SAVE"})
    filter_glob: StringProperty(default="*.json", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        return editable(cls, context)

    def invoke(self, context: Any, _event: Any) -> Outcome:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> Outcome:
        paths = self._paths()
        if not paths:
            self.report({"ERROR"}, say("Choose the plan files of the evening"))
            return {"CANCELLED"}
        plans: list[Plan] = []
        for path in paths:
            try:
                plans.append(load_plan(path))
                compute_frames(plans[-1])
            except PlanError as error:
                self.report({"ERROR"}, f"{path.name}: {error}")
                return {"CANCELLED"}
        made = [_scene_for(context, plan, path) for plan, path in zip(plans, paths, strict=True)]
        show_scene(context, made[0])
        count = len(shots.scenes_with_plans())
        one, many = "1 shot is in this file", "{count} shots are in this file"
        self.report({"INFO"}, say(one if count == 1 else many, count=count))
        return {"FINISHED"}

    def _paths(self) -> list[Path]:
        """The chosen files, each once."""
        folder = bpy.path.abspath(self.directory)
        named = [str(Path(folder) / one.name) for one in self.files if one.name]
        if not named and file_name(self.filepath):
            named = [bpy.path.abspath(self.filepath)]
        return [Path(path) for path in dict.fromkeys(named)]


def _scene_for(context: Any, plan: Plan, path: Path) -> Any:
    """A scene with a shot: the one at hand where that has no plan, else a new one."""
    scene = context.scene
    if store.has_plan(scene):
        scene = bpy.data.scenes.new(SCENE_NAME)
    else:
        startup.remove_startup_objects(scene)
    scene.name = " ".join(plan.title.split())[:60] or path.name.removesuffix(".plan.json")
    live.set_plan(scene, plan)
    shots.join(scene)
    files.opened(scene, str(path), plan)
    return scene


def show_scene(context: Any, scene: Any) -> None:
    """Have the window show a scene, whole."""
    if context.window is not None:
        context.window.scene = scene
        views.show_all_of(context, scene)


class DUSKRAIL_OT_go_to_shot(bpy.types.Operator):
    """Show the scene of this shot"""

    bl_idname = "duskrail.go_to_shot"
    bl_label = "Go to Shot"
    bl_options = UNDOABLE

    scene: StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    def execute(self, context: Any) -> Outcome:
        scene: Any = bpy.data.scenes.get(self.scene)
        if scene is None:
            self.report({"WARNING"}, say("That scene is gone"))
            return {"CANCELLED"}
        if context.window is not None and context.window.scene != scene:
            show_scene(context, scene)
        return {"FINISHED"}


class ReadsEvening(ReadsPlan):
    """An operator that needs an evening that is worked out, and changes nothing of it."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out, with the reason, where there is none, or where the scenes were changed since."""
        if not super().poll(context):
            return False
        solved, fresh = shots.look()
        if solved is None or solved.evening is None or not fresh:
            cls.poll_message_set(say("The evening is not worked out yet"))
            return False
        return True


class WithEvening(ReadsEvening):
    """An operator that changes the plans of an evening that is worked out."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out, with the reason, where one of its scenes can't be changed now."""
        if not super().poll(context):
            return False
        scenes = [shots.scene_of(uid) for uid in shots.known().task.scenes]
        reason = next(filter(None, (live.linked(scene) or live.being_edited(scene) for scene in scenes)), "")
        if reason:
            cls.poll_message_set(reason)
        return not reason


def taken(operator: Any, plans: dict[int, Plan]) -> Outcome:
    """Plans made those of the evening's scenes, as one step to undo, or the reason why not."""
    solved = shots.known()
    try:
        shots.take(solved, plans)
    except PlanError as error:
        operator.report({"ERROR"}, wording.refusal_text(error))
        return {"CANCELLED"}
    if plans:
        one, many = "1 plan was changed", "{count} plans were changed"
        operator.report({"INFO"}, say(one if len(plans) == 1 else many, count=len(plans)))
    return {"FINISHED"}


class DUSKRAIL_OT_take_starts(WithEvening, bpy.types.Operator):
    """Give the plans the starts of this timetable. Ctrl Z takes it back"""

    bl_idname = "duskrail.take_starts"
    bl_label = "Use These Starts"
    bl_options = UNDOABLE

    def execute(self, _context: Any) -> Outcome:
        return taken(self, moved_plans(shots.known_evening()))


def moved_plans(evening: Evening) -> dict[int, Plan]:
    """The plans whose starts the evening moves, by number."""
    return {
        shot.number: shot.plan
        for shot in evening.shots
        if shot.number not in evening.dropped and moved_s(evening, shot.number)
    }


class DUSKRAIL_OT_take_remedy(WithEvening, bpy.types.Operator):
    """Change the plans, or who does what, as it was tried out. Ctrl Z takes it back"""

    bl_idname = "duskrail.take_remedy"
    bl_label = "Apply the Remedy"
    bl_options = UNDOABLE

    number: IntProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says what it changes."""
        solved, _ = shots.look()
        evening = solved.evening if solved is not None else None
        if evening is None or not properties.number < len(evening.attempts):
            return say("Change the plans, or who does what, as it was tried out. Ctrl Z takes it back")
        told = attempt_text(evening, evening.attempts[properties.number], wording.code_title)
        return say("{told} Ctrl Z takes it back", told=told)

    def execute(self, context: Any) -> Outcome:
        solved, evening = shots.known(), shots.known_evening()
        attempts = evening.attempts
        if not self.number < len(attempts) or not attempts[self.number].works:
            self.report({"WARNING"}, say("This remedy is gone: the plans have changed"))
            return {"CANCELLED"}
        attempt = attempts[self.number]
        dropping = attempt.kind == "drop"  # the timetable is that of the others, with their starts
        plans = moved_plans(evening) if dropping else plans_with(attempt, solved.shots)
        outcome = taken(self, plans)
        if outcome == {"FINISHED"}:
            for number in attempt.dropped:
                shots.scene_of(solved.task.scenes[number - 1]).duskrail.in_evening = False
            if attempt.kind == "another-person":
                context.scene.duskrail.evening_people = solved.task.terms.people + 1
        live.show()
        return outcome


class DUSKRAIL_OT_save_evening(ReadsEvening, bpy.types.Operator):
    """Save the evening's page, to print or keep on a phone: timetable, map, what to pack, and beside it each
    shot's own sheet
    """

    bl_idname = "duskrail.save_evening"
    bl_label = "Save Evening Sheet"
    bl_options = {"REGISTER"}
    IN_ANY_MODE = True

    filepath: StringProperty(
        name="File", description="The evening's page", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    check_existing: BoolProperty(default=True, options={"HIDDEN"})
    filter_glob: StringProperty(default="*.html", options={"HIDDEN"})

    def invoke(self, context: Any, _event: Any) -> Outcome:
        self.filepath = "evening.html"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, _context: Any) -> Outcome:
        from planner_core import review
        from planner_core.output.evening.page import evening_page
        from planner_core.output.sheet.page import sheet_html

        evening = shots.known_evening()

        def pages(path: Path) -> dict[Path, str]:
            """Each shot's sheet, and the page that links them."""
            sheets = {
                shot.number: path.with_name(f"{path.stem}-{shot.number}.html") for shot in evening.shots
            }
            made = {
                sheets[shot.number]: sheet_html(shot.plan, shot.frames, review(shot.plan, shot.frames))
                for shot in evening.shots
            }
            names = {number: sheet.name for number, sheet in sheets.items()}
            return {**made, path: evening_page(evening, names)}

        return save_pages(self, pages)


CLASSES = (
    DUSKRAIL_OT_add_shots,
    DUSKRAIL_OT_go_to_shot,
    DUSKRAIL_OT_take_starts,
    DUSKRAIL_OT_take_remedy,
    DUSKRAIL_OT_save_evening,
)
