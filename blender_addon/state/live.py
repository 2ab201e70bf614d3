"""The plan of an open scene: the one door through which the add-on changes it, and what is known about it.

A change goes: new Plan → FrameTable → kept in the scene and drawn where it differs → review, a moment later.
What the plan refuses leaves everything as it was, and its reason is shown. Edits made to the scene itself (a
block or pose moved in the view) are taken into the plan the same way.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Any

import attrs
import bpy
from attrs import define

from planner_core import FrameTable, Plan, PlanError, Review, compute_frames
from planner_core.edit import edits
from planner_core.picture import composition, parallax
from planner_core.picture.composition import Reading
from planner_core.review.report import review_in_parts
from planner_core.words.language import say

from ..read import readback, rig_check
from ..scene import parts, store, windows
from . import redraw, standing

FRAMES_ARE_MADE_OF = ("site", "camera", "clip", "rig", "move", "shoot", "exposure")
METERED_OF = ("composition", "blocks")  # the picture, where that is what is metered
AT_A_TIME_S = 0.03  # of a review, before Blender gets to draw; a part that was begun is finished
PAUSE_S = 0.001
WINDOWS_AFTER_S = 0.4  # since the last change, so that dragging stays smooth


@define(eq=False)
class SceneState:
    """What is known about one scene's plan. Nothing here is saved: it can all be computed again."""

    frames: FrameTable | None = None
    refused: Plan | None = None  # the plan that has no frames …
    reason: str = ""  # … and why
    review: Review | None = None
    reviewed: Plan | None = None
    problem: str = ""  # what was refused last, as a line with the plan file's names …
    refusal: PlanError | None = None  # … the refusal itself, where it was the plan's …
    refused_at_s: float = 0.0  # … and when, by time.monotonic
    said: tuple[str, ...] = ()  # what was done last, where it needs telling
    fit_said: tuple[str, ...] = ()  # what a fit did, if that was last
    reading: Reading | None = None  # what is in the picture of each frame, as reviewed last
    other_day: FrameTable | None = None  # of the plan on the day that is tried out, if one is …
    other_of: tuple[Plan, int] | None = None  # … of this plan, so many days later


_states: dict[int, SceneState] = {}
_reviews: dict[int, tuple[Plan, Iterator[Review | None]]] = {}  # under way, by scene
_unlit: set[int] = set()  # scenes whose windows and lamps lag behind the plan
_other_light: set[int] = set()  # … and those of them that are exposed otherwise than they were lit
_behind: set[int] = set()  # scenes that nobody sees, not looked at since undo or redo
_busy = False
_reviews_wait = False  # while something else needs the computer
_OVER: Any = object()  # what stands for the end of a review


def state_of(scene: bpy.types.Scene) -> SceneState:
    """What is known about a scene; nothing yet where it is new."""
    return _states.setdefault(scene.session_uid, SceneState())


def clear() -> None:
    """Forget everything about every scene; the plans stay in their scenes."""
    _states.clear()
    _reviews.clear()
    _unlit.clear()
    _other_light.clear()
    _behind.clear()
    standing.forget()
    for timer in (_review_on, _light_up, _look_at_others):
        if bpy.app.timers.is_registered(timer):
            bpy.app.timers.unregister(timer)


# ---------------------------------------------------------------- looking


def plan_of(scene: bpy.types.Scene) -> Plan | None:
    """The scene's plan; None where it has none, or none that can be read."""
    try:
        return store.stored_plan(scene)
    except PlanError:
        return None


def unreadable(scene: bpy.types.Scene) -> str:
    """Why the plan that the scene carries can't be read, or nothing."""
    try:
        store.stored_plan(scene)
    except PlanError as error:
        return str(error)
    return ""


def linked(scene: Any) -> str:
    """Why nothing can be changed: the scene belongs to another file, or shares its objects. Else nothing."""
    if scene.library is not None:
        template = (
            "This scene is linked from {library}, to be looked at only; "
            "open that file, or make the scene local"
        )
        return say(template, library=scene.library.name)
    other = shares_with(scene)
    if other is not None:
        template = (
            "This scene and {other} share rig and blocks, as a linked copy does; "
            "give this one its own before you change either"
        )
        return say(template, other=other.name)
    return ""


def being_edited(scene: Any) -> str:
    """Why the plan can't change now: an object is in a mode in which its mesh is Blender's own, and which has
    an undo of its own. Else nothing.
    """
    for layer in scene.view_layers:
        active = layer.objects.active
        if active is not None and active.mode not in {"OBJECT", "POSE"}:
            return say("{name} is being edited. Go back to Object Mode first", name=active.name)
    return ""


def shares_with(scene: Any) -> bpy.types.Scene | None:
    """Another scene with a plan whose collections are this one's too, so that both plans would move."""
    ours = {c.session_uid for c in scene.collection.children if parts.part_of(c) is not None}
    others: Any = bpy.data.scenes
    for other in others:
        if other != scene and store.has_plan(other):
            theirs = {c.session_uid for c in other.collection.children}
            if ours & theirs:
                return other  # type: ignore[no-any-return]
    return None


def restore_setting(scene: Any, key: str) -> None:
    """Set one of Blender's own settings back to what the plan has."""
    if key == "rig":
        _free_rig(scene)
    else:
        frames = frames_of(scene)
        if frames is None:
            return
        with handlers_paused():
            redraw.restore_setting(scene, frames, key)
    show()


def _free_rig(scene: Any) -> None:
    """Take off the rig what moves it beside its axes; what was edited of the axes goes into the plan."""
    with handlers_paused():
        redraw.clear_foreign(scene)
    take_edits(scene)
    draw_anew_rig(scene)


def make_own(scene: Any) -> None:
    """Draw the scene's plan with objects of its own, and leave the shared ones to the other scene."""
    frames = frames_of(scene)
    if frames is None:
        return
    with handlers_paused():
        for collection in [c for c in scene.collection.children if parts.part_of(c) is not None]:
            scene.collection.children.unlink(collection)
        if scene.world is not None and parts.part_of(scene.world) is not None and scene.world.users > 1:
            scene.world = None
        parts.parts_changed()
        redraw.redraw(scene, None, frames)
    request_all(scene)


def request_all(scene: bpy.types.Scene) -> None:
    """Have everything that follows from the plan brought up to date soon."""
    match_lists(scene, plan_of(scene))
    ask_for_review(scene)
    ask_for_windows(scene)
    show()


def frames_of(scene: bpy.types.Scene) -> FrameTable | None:
    """The FrameTable of the scene's plan, computed when it is first asked for."""
    plan = plan_of(scene)
    if plan is None:
        return None
    here = state_of(scene)
    if here.frames is not None and here.frames.plan is plan:
        return here.frames
    if here.refused is plan:
        return None
    try:
        here.frames = _frames_for(plan, here.frames)
    except PlanError as error:
        here.frames, here.refused, here.reason = None, plan, str(error)
    return here.frames


def shown_frames(scene: Any) -> FrameTable | None:
    """The frames that the view shows: the plan's own, or those of another day that is tried out."""
    frames = frames_of(scene)
    days = int(getattr(getattr(scene, "duskrail", None), "look_days", 0))
    if frames is None or not days:
        return frames
    here = state_of(scene)
    if here.other_of is None or here.other_of[0] is not frames.plan or here.other_of[1] != days:
        here.other_of = (frames.plan, days)
        try:
            here.other_day = compute_frames(edits.with_days_added(frames.plan, days))
        except PlanError as error:
            here.other_day = None
            _refuse(here, error)
    return here.other_day or frames


def look_at_day(scene: Any) -> None:
    """Light the scene as on the day that is tried out, or on the plan's own. The plan stays as it is."""
    here = state_of(scene)
    here.problem, here.refusal = "", None
    frames = shown_frames(scene)
    if frames is not None and scene.library is None:
        with handlers_paused():
            redraw.draw_light(scene, frames)
    show()


def review_now(scene: bpy.types.Scene) -> Review | None:
    """The review of the plan as it stands, computed here and now where it isn't known yet."""
    frames = frames_of(scene)
    if frames is None:
        return None
    here = state_of(scene)
    if here.reviewed != frames.plan or not is_tried(here.review):
        _reviews.pop(scene.session_uid, None)
        for report in review_in_parts(frames.plan, frames):
            if report is not None:
                here.review, here.reviewed = report, frames.plan
    return here.review


def is_tried(report: Review | None) -> bool:
    """Whether what is proposed against the findings was tried."""
    return report is not None and all(finding.tried for finding in report.findings)


def ask_for_review(scene: bpy.types.Scene) -> None:
    """Have the plan reviewed soon, part by part, so that the view goes on meanwhile.

    Without a window nobody waits for it: it is then computed when it is asked for.
    """
    frames = frames_of(scene)
    if frames is None or not _in_a_window():
        return
    under_way = _reviews.get(scene.session_uid)
    if under_way is not None and under_way[0] is frames.plan:
        return
    here = state_of(scene)
    if here.reviewed == frames.plan and is_tried(here.review):
        _reviews.pop(scene.session_uid, None)
        return
    _reviews[scene.session_uid] = (frames.plan, review_in_parts(frames.plan, frames))
    _start_timer()


def _in_a_window() -> bool:
    return not bpy.app.background


def _start_timer() -> None:
    if not _reviews_wait and not bpy.app.timers.is_registered(_review_on):
        bpy.app.timers.register(_review_on, first_interval=0.0)


def _review_on() -> float | None:
    """Go on with the first review that is under way, for a moment."""
    scenes = {scene.session_uid: scene for scene in bpy.data.scenes}
    for uid in [uid for uid in _reviews if uid not in scenes]:
        del _reviews[uid]
    if not _reviews:
        return None
    uid, (plan, parts) = next(iter(_reviews.items()))
    began, report = time.perf_counter(), next(parts, _OVER)
    while report is None and time.perf_counter() - began < AT_A_TIME_S:
        report = next(parts, _OVER)
    if report is _OVER:
        del _reviews[uid]
    elif report is not None:
        if plan_of(scenes[uid]) is plan:
            state_of(scenes[uid]).review, state_of(scenes[uid]).reviewed = report, plan
            _note_reading(scenes[uid])
        show()
    return PAUSE_S if _reviews else None


def pause_reviews() -> None:
    """Leave reviews for later, until `go_on_reviewing`: something else needs the computer."""
    global _reviews_wait
    _reviews_wait = True
    if bpy.app.timers.is_registered(_review_on):
        bpy.app.timers.unregister(_review_on)


def go_on_reviewing() -> None:
    """Go on with the reviews that are under way."""
    global _reviews_wait
    _reviews_wait = False
    if _reviews:
        _start_timer()


def _note_reading(scene: bpy.types.Scene) -> None:
    """What is in each frame's picture, which the review has just looked at."""
    frames = frames_of(scene)
    if frames is not None:
        view = frames.view.visibility
        reading = composition.read(frames.plan, view, travels=parallax.slides(frames.plan))
        state_of(scene).reading = reading


def ask_for_windows(scene: bpy.types.Scene) -> None:
    """Have windows and lamps drawn in the scene a moment after the last change. Without a window nobody sees
    them.
    """
    if not _in_a_window() or plan_of(scene) is None:
        return
    _unlit.add(scene.session_uid)
    if bpy.app.timers.is_registered(_light_up):
        bpy.app.timers.unregister(_light_up)
    bpy.app.timers.register(_light_up, first_interval=WINDOWS_AFTER_S)


def _light_up() -> float | None:
    """Draw the windows and lamps that lag behind, unless Blender is rendering or a mesh is being edited."""
    is_under_way: Any = bpy.app.is_job_running
    if is_under_way("RENDER"):
        return WINDOWS_AFTER_S
    scenes: Any = bpy.data.scenes
    if any(being_edited(scene) for scene in scenes if scene.session_uid in _unlit):
        return WINDOWS_AFTER_S
    for scene in scenes:
        frames = frames_of(scene) if scene.session_uid in _unlit and scene.library is None else None
        if frames is not None:
            with handlers_paused():
                if scene.session_uid in _other_light:
                    redraw.draw_light(scene, shown_frames(scene) or frames)
                windows.draw(scene, frames)
    _unlit.clear()
    _other_light.clear()
    show()
    return None


def _light_anew(scene: bpy.types.Scene, frames: FrameTable) -> None:
    """Draw the light again, whose exposure goes by blocks and poses too; in a window a moment after the last
    change, so that dragging stays smooth.
    """
    if _in_a_window():
        _other_light.add(scene.session_uid)
    else:
        redraw.draw_light(scene, frames)


def light_up_now() -> None:
    """Draw light, windows and lamps that lag behind their plans."""
    if bpy.app.timers.is_registered(_light_up):
        bpy.app.timers.unregister(_light_up)
        _light_up()


def show() -> None:
    """Have every area drawn again that shows something of a plan."""
    manager: Any = bpy.context.window_manager
    for window in manager.windows:
        for area in window.screen.areas:
            if area.type in {"VIEW_3D", "DOPESHEET_EDITOR"}:
                area.tag_redraw()


def is_reviewed(scene: bpy.types.Scene) -> bool:
    """Whether the known findings are those of the plan as it stands."""
    plan = plan_of(scene)
    return plan is not None and state_of(scene).reviewed == plan


# ---------------------------------------------------------------- changing


def set_plan(scene: bpy.types.Scene, plan: Plan, said: tuple[str, ...] = ()) -> None:
    """Make this the scene's plan: keep it, draw what differs, have it reviewed.

    Raises PlanError, before anything is done.
    """
    before = plan_of(scene)
    here = state_of(scene)
    frames = _frames_for(plan, here.frames)
    with handlers_paused():
        if before is not None:
            standing.suspects(scene, before)  # what was moved until now; what is drawn next was not
        store.store_plan(scene, plan)
        is_lit = redraw.redraw(scene, before, frames)
        standing.drawn(scene, before, plan)
        if not is_lit and (here.frames is None or not redraw.is_lit_alike(here.frames, frames)):
            _light_anew(scene, frames)
        here.frames = frames
        shown = shown_frames(scene)
        if shown is not None and shown is not frames:
            redraw.draw_light(scene, shown)
    here.frames, here.problem, here.said, here.fit_said = frames, "", said, ()
    match_lists(scene, plan)
    ask_for_review(scene)
    ask_for_windows(scene)
    show()


def forget_what_was_said(scene: bpy.types.Scene) -> None:
    """After undo: what was told to be done last is not, where the plan is another."""
    here = state_of(scene)
    told = here.said or here.fit_said
    if told and here.frames is not None and here.frames.plan != plan_of(scene):
        here.said, here.fit_said = (), ()


def match_lists(scene: bpy.types.Scene, plan: Plan | None) -> None:
    """Give the panels' lists of poses and blocks as many rows as the plan has."""
    settings = getattr(scene, "duskrail", None)
    if settings is None:
        return  # the add-on isn't enabled
    for rows, wanted in (
        (settings.poses, len(plan.move.poses) if plan else 0),
        (settings.blocks, len(plan.blocks) if plan else 0),
    ):
        while len(rows) > wanted:
            rows.remove(len(rows) - 1)
        while len(rows) < wanted:
            row = rows.add()
            row.row = len(rows) - 1
    with handlers_paused():
        pose_row = max(0, min(settings.pose_row, len(settings.poses) - 1))
        block_row = max(-1, min(settings.block_row, len(settings.blocks) - 1))
        parts.assign(settings, pose_row=pose_row, block_row=block_row)


def _frames_for(plan: Plan, known: FrameTable | None) -> FrameTable:
    """The plan's FrameTable, out of a known one where the plans differ in nothing that it is made of."""
    if known is not None and all(getattr(known.plan, name) == getattr(plan, name) for name in _made_of(plan)):
        return attrs.evolve(known, plan=plan)
    return compute_frames(plan, known)


def _made_of(plan: Plan) -> tuple[str, ...]:
    """The parts of a plan that its FrameTable depends on."""
    by_ground = plan.exposure is None or plan.exposure.meter == "ground"
    return FRAMES_ARE_MADE_OF if by_ground else FRAMES_ARE_MADE_OF + METERED_OF


@parts.scanned()
def change_plan(scene: bpy.types.Scene, change: Callable[[Plan], Plan], said: tuple[str, ...] = ()) -> str:
    """Change the scene's plan; what it refuses is kept to be shown. Returns the reason, or nothing."""
    here = state_of(scene)
    here.problem, here.refusal = linked(scene) or being_edited(scene), None
    if here.problem:
        return here.problem
    try:
        take_edits(scene)
        before = plan_of(scene)
        if before is None:
            return say("This scene has no plan yet")
        after = change(before)
        if after != before:
            set_plan(scene, after, said)
        else:
            here.problem = ""
    except PlanError as error:
        _refuse(here, error)
        return here.problem
    return ""


@parts.scanned()
def take_edits(scene: bpy.types.Scene, *, curves: bool = True) -> bool:
    """Take what was moved in the scene since it was drawn into the plan. Returns whether anything was.

    Without curves, curves reshaped by hand are left for later: to find poses that make them takes a while.
    With them, and with something on the rig that may move the camera besides, every frame is looked at.
    Where the plan can't take it, the reason is shown and the plan stays as it was. What is being edited is
    taken when the editing ends.
    """
    plan = plan_of(scene)
    if plan is None or _busy or linked(scene) or being_edited(scene) or redraw.missing_parts(scene):
        return False
    frames = frames_of(scene)
    if curves:
        _evaluate(scene)
    touched = redraw.touched(scene, plan)
    if touched is None and curves and frames is not None and redraw.curves_touched(scene, frames):
        touched = redraw.Touched(rig=True, blocks=frozenset())
    if touched is None:
        return False
    here = state_of(scene)
    try:
        with handlers_paused():
            thorough = curves and bool(rig_check.foreign(scene))
            edited = readback.read_scene(scene, thorough=thorough, known=frames, only=touched.blocks)
        set_plan(scene, edited.plan, tuple(edited.said))
    except (PlanError, readback.ReadbackError) as error:
        _refuse(here, error)
        return False
    frames = frames_of(scene)
    if frames is not None:
        if len(frames.plan.blocks) != len(plan.blocks):
            touched = redraw.Touched(rig=touched.rig, blocks=None)
        with handlers_paused():
            redraw.settle(scene, frames, touched)
    return True


def _evaluate(scene: bpy.types.Scene) -> None:
    """Have Blender tell of what was changed by a script just now."""
    with handlers_paused():
        for layer in scene.view_layers:
            layer.update()


def _refuse(here: SceneState, error: Exception) -> None:
    here.problem, here.refused_at_s = str(error), time.monotonic()
    here.refusal = error if isinstance(error, PlanError) else None


class handlers_paused:
    """Handlers ignore changes while the add-on itself draws."""

    def __enter__(self) -> None:
        global _busy
        self.outer, _busy = _busy, True
        self.scan = parts.scanned()
        self.scan.__enter__()

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        global _busy
        _busy = self.outer
        self.scan.__exit__(None, None, None)


def is_busy() -> bool:
    """Whether the add-on itself is drawing."""
    return _busy


# ---------------------------------------------------------------- the scene around the plan


def remove(scene: bpy.types.Scene) -> None:
    """Take the plan, and everything drawn for it, out of a scene."""
    with handlers_paused():
        redraw.clear(scene)
    _states.pop(scene.session_uid, None)
    _reviews.pop(scene.session_uid, None)
    standing.forget(scene)
    match_lists(scene, None)
    show()


def draw_anew(scene: bpy.types.Scene) -> None:
    """Draw the whole plan again."""
    frames = frames_of(scene)
    if frames is not None:
        with handlers_paused():
            redraw.redraw(scene, None, frames)
        ask_for_windows(scene)
        show()


def draw_anew_rig(scene: bpy.types.Scene) -> None:
    """Draw rig and poses again, also what was pushed off the rig."""
    frames = frames_of(scene)
    if frames is not None:
        with handlers_paused():
            redraw.draw_rig(scene, frames)


def after_undo() -> None:
    """After undo or redo: bring up to date what is known of the scenes that are shown, and of the others a
    little later; forget scenes that are gone.

    A session may have made many scenes; an undo that waited for all of them would slow down with each.
    """
    scenes = {scene.session_uid: scene for scene in bpy.data.scenes}
    for known in (_states, _reviews):
        for uid in [uid for uid in known if uid not in scenes]:
            del known[uid]
    manager: Any = bpy.context.window_manager
    here = [window.scene for window in manager.windows] + [bpy.context.scene]
    shown = {scene.session_uid for scene in here if scene is not None}
    _behind.clear()
    for uid, scene in scenes.items():
        if store.has_plan(scene):
            _behind.add(uid)
            if uid in shown:
                catch_up(scene)
    if _behind and _in_a_window() and not bpy.app.timers.is_registered(_look_at_others):
        bpy.app.timers.register(_look_at_others, first_interval=WINDOWS_AFTER_S)


def _look_at_others() -> float | None:
    """Catch up with one of the scenes that weren't shown at the last undo."""
    scenes: Any = bpy.data.scenes
    waiting = [scene for scene in scenes if scene.session_uid in _behind and not being_edited(scene)]
    if waiting:
        catch_up(waiting[0])
    return PAUSE_S if len(waiting) > 1 else None


def is_behind(scene: bpy.types.Scene) -> bool:
    """Whether the scene wasn't looked at since the last undo or redo."""
    return scene.session_uid in _behind


@parts.scanned()
def catch_up(scene: bpy.types.Scene) -> None:
    """After undo or redo: make the lists as long as the plan's, and review it. Where a mesh is being edited,
    that is left for later.
    """
    if being_edited(scene):
        _behind.add(scene.session_uid)
        return
    _behind.discard(scene.session_uid)
    take_edits(scene, curves=False)
    match_lists(scene, plan_of(scene))
    ask_for_review(scene)
    _other_light.add(scene.session_uid)  # an undo step may have been taken before the light was drawn
    ask_for_windows(scene)


def place_shown(scene: bpy.types.Scene) -> float:
    """The place in the move of the frame that is shown, 0 to 1."""
    plan = plan_of(scene)
    if plan is None or plan.shoot.frames < 2:
        return 0.0
    return min(max((scene.frame_current_final - 1.0) / (plan.shoot.frames - 1), 0.0), 1.0)


def choose_block(scene: Any, number: int) -> None:
    """Choose a block in the list, without selecting its object."""
    with handlers_paused():
        scene.duskrail.block_row = number


def choose_pose(scene: Any, number: int) -> None:
    """Choose a pose in the list."""
    scene.duskrail.pose_row = number
