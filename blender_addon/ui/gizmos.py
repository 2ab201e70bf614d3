"""Handles in the 3D view: along the rail, around (pan) and up and down (tilt) for the chosen pose, and where
in the move the light event falls.

Each takes its value from the plan and sets it there, through the fields of the sidebar; what the plan refuses
stays as it was.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import bpy
from attrs import frozen
from mathutils import Matrix, Vector

from planner_core import Plan

from ..scene import parts, rig
from ..state import live, redraw

SLIDE_COLOUR, PAN_COLOUR, TILT_COLOUR = (0.55, 0.85, 0.80), (0.98, 0.78, 0.35), (0.80, 0.62, 0.95)
DIAL_SCALE, ARROW_LENGTH = 0.75, 0.7
LOOK_EVERY_S = 0.1
EVENT_COLOUR = (0.98, 0.62, 0.40)
BAR_ABOVE_M, SHORTEST_BAR_M = 0.35, 0.6


def chosen_pose(context: Any) -> Any:
    """The row of the chosen pose, or None where there is none."""
    settings = getattr(context.scene, "duskrail", None)
    if settings is None or live.plan_of(context.scene) is None:
        return None
    return settings.poses[settings.pose_row] if 0 <= settings.pose_row < len(settings.poses) else None


class DUSKRAIL_GGT_pose(bpy.types.GizmoGroup):
    """Handles of the chosen pose."""

    bl_idname = "DUSKRAIL_GGT_pose"
    bl_label = "Duskrail Pose"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"3D", "PERSISTENT", "SHOW_MODAL_ALL"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Where the ghost camera of the chosen pose is selected, outside of the picture."""
        if context.mode != "OBJECT" or live.linked(context.scene):
            return False
        view, row = context.region_data, chosen_pose(context)
        if row is None or view is None or view.view_perspective == "CAMERA":
            return False
        active = context.active_object
        return active is not None and parts.part_of(active) == "pose"

    def setup(self, context: Any) -> None:
        group: Any = self
        self.handles: dict[str, Any] = {}
        for name, kind, colour in (
            ("slide", "GIZMO_GT_arrow_3d", SLIDE_COLOUR),
            ("pan", "GIZMO_GT_dial_3d", PAN_COLOUR),
            ("tilt", "GIZMO_GT_dial_3d", TILT_COLOUR),
        ):
            handle = group.gizmos.new(kind)
            handle.color, handle.alpha = colour, 0.7
            handle.color_highlight, handle.alpha_highlight = (1.0, 1.0, 1.0), 1.0
            handle.use_draw_modal = True
            if kind == "GIZMO_GT_arrow_3d":
                handle.draw_style, handle.length = "NORMAL", ARROW_LENGTH
            else:
                handle.scale_basis, handle.draw_options = DIAL_SCALE, {"ANGLE_VALUE"}
            self.handles[name] = handle
        self.bind(context)

    def bind(self, context: Any) -> None:
        """Have each handle get and set the chosen pose's field."""
        start: dict[str, float] = {}

        def getter(name: str) -> Callable[[], float]:
            def get() -> float:
                row = chosen_pose(bpy.context)
                value = float(getattr(row, name)) if row is not None else 0.0
                return value - start.setdefault(name, value)

            return get

        def setter(name: str) -> Callable[[float], None]:
            def set_value(offset: float) -> None:
                row = chosen_pose(bpy.context)
                if row is not None:
                    _note_drag(self.handles, "Drag Pose")
                    setattr(row, name, start.get(name, 0.0) + offset)

            return set_value

        for name, handle in self.handles.items():
            handle.target_set_handler("offset", get=getter(name), set=setter(name))
        self.start = start

    def refresh(self, context: Any) -> None:
        """Put the handles where the pose is, each shown where the rig has its axis."""
        row = chosen_pose(context)
        plan = live.plan_of(context.scene)
        if row is None or plan is None:
            return
        if not any(handle.is_modal for handle in self.handles.values()):
            self.start.clear()
        world = rig.pose_matrices(plan)[row.row]
        rail = rig.rail_matrix(plan)
        ahead = -world.col[2].xyz
        level = Vector((ahead.x, ahead.y, 0.0))
        turn = math.atan2(level.x, level.y) if level.length > 1e-6 else 0.0
        frames = {
            "slide": _frame(world.translation, rail.col[1].xyz),
            "pan": _frame(world.translation, Vector((0.0, 0.0, -1.0))),
            "tilt": _frame(world.translation, Vector((math.cos(turn), -math.sin(turn), 0.0))),
        }
        for name, handle in self.handles.items():
            handle.hide = not getattr(context.scene.duskrail, f"has_{name}")
            handle.matrix_basis = frames[name]


@frozen
class EventBar:
    """The move as a bar over the rail: where its first frame lies, and the way to its last."""

    start: Vector
    along: Vector
    length_m: float

    def at(self, place: float) -> Vector:
        """Scene metres of a place in the move, 0 to 1."""
        return self.start + place * self.length_m * self.along


def event_bar(plan: Plan) -> EventBar:
    """The bar of a plan's move: over its poses, in the direction in which the carriage travels first."""
    places = [matrix.translation for matrix in rig.pose_matrices(plan)]
    along = rig.rail_matrix(plan).col[1].xyz.normalized()
    reaches = [(place - places[0]).dot(along) for place in places]
    low, high = min(reaches), max(reaches)
    spare = max(0.0, SHORTEST_BAR_M - (high - low)) / 2.0
    start = places[0] + (low - spare) * along + Vector((0.0, 0.0, BAR_ABOVE_M))
    length_m = high - low + 2.0 * spare
    if reaches[-1] < reaches[0]:  # from the rail's far end back
        return EventBar(start + length_m * along, -along, length_m)
    return EventBar(start, along, length_m)


def shows_event(context: Any) -> bool:
    """Whether a view shows the event's handle: outside of the picture, with the rig or a pose selected."""
    view, plan = context.region_data, live.plan_of(context.scene)
    if plan is None or plan.shoot.anchor is None or view is None or view.view_perspective == "CAMERA":
        return False
    active = context.active_object
    if context.mode != "OBJECT" or active is None or not active.select_get():
        return False
    return parts.part_of(active) in (*redraw.RIG_PARTS, "pose") and not live.linked(context.scene)


class DUSKRAIL_GGT_event(bpy.types.GizmoGroup):
    """The handle of the light event's place in the move."""

    bl_idname = "DUSKRAIL_GGT_event"
    bl_label = "Duskrail Event"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"3D", "PERSISTENT", "SHOW_MODAL_ALL"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Where the plan is timed by an event, and the rig is at hand."""
        return shows_event(context)

    def setup(self, context: Any) -> None:
        group: Any = self
        handle = group.gizmos.new("GIZMO_GT_arrow_3d")
        handle.color, handle.alpha = EVENT_COLOUR, 0.9
        handle.color_highlight, handle.alpha_highlight = (1.0, 1.0, 1.0), 1.0
        handle.use_draw_modal = True
        handle.draw_style, handle.length = "BOX", 0.0  # the box stands on the bar, where the event is
        self.handle = handle
        self.start: list[float] = []  # the place at which a drag began

        def get() -> float:
            scene: Any = bpy.context.scene
            plan = live.plan_of(scene)
            if plan is None or plan.shoot.anchor is None:
                return 0.0
            if not self.start:
                self.start.append(plan.shoot.anchor.at)
            return (plan.shoot.anchor.at - self.start[0]) * event_bar(plan).length_m

        def set_value(offset_m: float) -> None:
            scene: Any = bpy.context.scene
            plan = live.plan_of(scene)
            if plan is None or plan.shoot.anchor is None:
                return
            _note_drag({"event": self.handle}, "Drag Event")
            before = self.start[0] if self.start else plan.shoot.anchor.at
            fraction = before + offset_m / event_bar(plan).length_m
            scene.duskrail.anchor_at = 100.0 * min(max(fraction, 0.0), 1.0)

        handle.target_set_handler("offset", get=get, set=set_value)

    def refresh(self, context: Any) -> None:
        """Put the handle where the event falls."""
        plan = live.plan_of(context.scene)
        if plan is None or plan.shoot.anchor is None:
            return
        if not self.handle.is_modal:
            self.start.clear()
        bar = event_bar(plan)
        fraction = self.start[0] if self.start else plan.shoot.anchor.at
        self.handle.matrix_basis = _frame(bar.at(fraction), bar.along)


_dragged: list[tuple[dict[str, Any], str]] = []  # handles whose drag is no step of undo yet, and its name


def _note_drag(handles: dict[str, Any], said: str) -> None:
    _dragged[:] = [(handles, said)]
    if not bpy.app.timers.is_registered(_push_undo):
        bpy.app.timers.register(_push_undo, first_interval=LOOK_EVERY_S)


def _push_undo() -> float | None:
    """Make a drag a step of undo once it has ended; of such handles Blender makes none."""
    handles, said = _dragged[-1]
    try:
        if any(handle.is_modal for handle in handles.values()):
            return LOOK_EVERY_S
    except ReferenceError:  # the view has made its handles anew
        pass
    _dragged.clear()
    manager: Any = bpy.context.window_manager
    with bpy.context.temp_override(window=manager.windows[0]):
        bpy.ops.ed.undo_push(message=said)
    return None


def _frame(place: Vector, along: Vector) -> Matrix:
    """A handle's matrix at a place, its Z along a direction."""
    return Matrix.Translation(place) @ along.to_track_quat("Z", "Y").to_matrix().to_4x4()


CLASSES: tuple[Any, ...] = (DUSKRAIL_GGT_pose, DUSKRAIL_GGT_event)


def register() -> None:
    """Offer the handles."""
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    """Take them out of every view."""
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
    if bpy.app.timers.is_registered(_push_undo):
        bpy.app.timers.unregister(_push_undo)
