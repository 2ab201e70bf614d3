"""Photographs of a scouting visit: added, looked through, pinned by clicks, and made into blocks."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value,union-attr"

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

import bpy
from bpy.props import (
    BoolProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    StringProperty,
)

from planner_core import Plan
from planner_core.edit import kit
from planner_core.photo.editing import pinned, placed_anew, unpinned, with_photo, without_photo
from planner_core.photo.exif import Exif, read_exif
from planner_core.photo.sightings import block_from_photo, ridge_from_photo
from planner_core.photo.solve import Solved
from planner_core.photo.start import EYE_M, Given, entry
from planner_core.plan.model import Block, Photo, Pin
from planner_core.words.language import say

from ...scene import photos
from ...state import live, selection
from .. import photo_view, views
from .base import UNDOABLE, Outcome, WithPlan, change
from .view import view_area

RIDGE_DISTANCE_M = 4000.0
HIDDEN: Any = {"SKIP_SAVE", "HIDDEN"}
WHERE = [
    ("FILE", "As the File Says", "By its GPS, or at the rail until four pins tell", "FILE_IMAGE", 0),
    ("CURSOR", "3D cursor", "Where the 3D cursor stands, at the height of an eye", "PIVOT_CURSOR", 1),
    ("RAIL", "Rail", "At the start of the rail, at the height of an eye", "TRACKING", 2),
]
THINGS = [
    ("CORNER", "Corner", "A block's corner: click the corner, then where the photograph has it"),
    ("SUN", "Sun", "The sun: click where the photograph has it. Its time says where that is"),
    ("MOON", "Moon", "The moon: click where the photograph has it. Its time says where that is"),
]


class DUSKRAIL_OT_photo_add(WithPlan, bpy.types.Operator):
    """Add a photograph of the place to the plan, and look through it. JPEG, HEIC and raw files say where they
    were taken
    """

    bl_idname = "duskrail.photo_add"
    bl_label = "Add Photo"
    bl_options = UNDOABLE

    filepath: StringProperty(
        name="File", description="The photograph", subtype="FILE_PATH", options={"SKIP_SAVE"}
    )
    filter_image: BoolProperty(default=True, options=HIDDEN)
    filter_folder: BoolProperty(default=True, options=HIDDEN)
    where: EnumProperty(name="Taken From", description="Where the photograph was taken", items=WHERE)
    use_bearing: BoolProperty(
        name="Set Bearing", description="Give the bearing of the photograph's middle, measured on a map"
    )
    bearing: FloatProperty(
        name="Bearing",
        description="Compass bearing of the photograph's middle, clockwise from true north",
        subtype="ANGLE",
        unit="ROTATION",
        step=100,
    )
    use_declination: BoolProperty(
        name="Set Declination",
        description="Say how far magnetic north is off there, for a file that needs it",
    )
    declination: FloatProperty(
        name="Declination",
        description="Declination at the place, east positive, if the file's direction is magnetic",
        subtype="ANGLE",
        unit="ROTATION",
        step=10,
    )
    field_of_view: FloatProperty(
        name="Field of View",
        description="Horizontal field of view. Leave it at 0 to use the file's focal length",
        min=0.0,
        max=math.radians(175.0),
        subtype="ANGLE",
        unit="ROTATION",
        step=100,
    )

    def invoke(self, context: Any, _event: Any) -> Outcome:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(self, "where")
        row = layout.row(heading="Bearing")
        row.prop(self, "use_bearing", text="")
        cell = row.row()
        cell.enabled = self.use_bearing
        cell.prop(self, "bearing", text="")
        row = layout.row(heading="Declination")
        row.prop(self, "use_declination", text="")
        cell = row.row()
        cell.enabled = self.use_declination
        cell.prop(self, "declination", text="")
        layout.prop(self, "field_of_view")

    def execute(self, context: Any) -> Outcome:
        path, scene = Path(bpy.path.abspath(self.filepath)), context.scene
        said: list[str] = []
        read: list[Exif] = []

        def edit(plan: Plan) -> Plan:
            exif = read_exif(path)
            before = next((photo for photo in plan.photos if photo.file == path.name), None)
            pins = before.pins if before else ()
            begun = entry(plan, path.name, exif, self._given(scene, plan), pins, pins_follow=True)
            read.append(exif)
            said.extend(begun.said)
            changed = with_photo(plan, begun.photo)
            number = [photo.file for photo in changed.photos].index(path.name)
            return placed_anew(changed, number)[0] if pins else changed

        outcome = change(self, context, edit)
        if outcome != {"FINISHED"}:
            return outcome
        for line in said:
            self.report({"INFO"}, line)
        self._show_picture(context, path, read[0].orientation)
        return {"FINISHED"}

    def _given(self, scene: Any, plan: Plan) -> Given:
        x, y, z = scene.cursor.location if self.where == "CURSOR" else plan.rig.origin_m
        is_given = self.where != "FILE"
        return Given(
            place_m=(float(x), float(y), float(z) + EYE_M) if is_given else None,
            bearing_deg=math.degrees(self.bearing) % 360.0 if self.use_bearing else None,
            declination_deg=math.degrees(self.declination) if self.use_declination else None,
            fov_deg=math.degrees(self.field_of_view) or None,
        )

    def _show_picture(self, context: Any, path: Path, orientation: int) -> None:
        scene, plan = context.scene, live.plan_of(context.scene)
        assert plan is not None
        photo = next(photo for photo in plan.photos if photo.file == path.name)
        camera = photos.camera_of(scene, path.name)
        try:
            with live.handlers_paused():
                photos.show_picture(camera, plan, photo, path, orientation)
        except RuntimeError:
            self.report(
                {"WARNING"},
                say("{name} is in the plan, but Blender can't show this kind of picture", name=path.name),
            )
        area = view_area(context)
        if area is not None:
            photo_view.enter(scene, area, path.name)


class OnPhoto(WithPlan):
    """An operator on one of the plan's photographs: the one of that number, else the one looked through."""

    photo: IntProperty(name="Photo", description="Number of the photograph", default=-1, options=HIDDEN)

    def number(self, context: Any) -> int:
        """The photograph's number in the plan, −1 for none."""
        plan = live.plan_of(context.scene)
        if plan is not None and 0 <= self.photo < len(plan.photos):
            return int(self.photo)
        area = view_area(context)
        file = photo_view.shown_in(area.spaces.active) if area is not None else ""
        return next((k for k, one in enumerate(plan.photos if plan else ()) if one.file == file), -1)

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Greyed out where the plan has no photograph."""
        if not super().poll(context):
            return False
        plan = live.plan_of(context.scene)
        if plan is None or not plan.photos:
            cls.poll_message_set(say("The plan has no photographs. Add one first"))
            return False
        return True


class DUSKRAIL_OT_photo_show(OnPhoto, bpy.types.Operator):
    """Look at the blocks before this photograph, through its own camera. Press again to turn the view back"""

    bl_idname = "duskrail.photo_show"
    bl_label = "Look Through Photo"

    def execute(self, context: Any) -> Outcome:
        scene, area, number = context.scene, view_area(context), self.number(context)
        plan = live.plan_of(scene)
        if area is None or plan is None or number < 0:
            self.report({"ERROR"}, say("There is no 3D view in this window"))
            return {"CANCELLED"}
        photo = plan.photos[number]
        if photo_view.shown_in(area.spaces.active) == photo.file:
            photo_view.leave(area)
            return {"FINISHED"}
        photo_view.enter(scene, area, photo.file)
        return {"FINISHED"}


class DUSKRAIL_OT_photo_turn(OnPhoto, bpy.types.Operator):
    """Look farther left or right in this panorama"""

    bl_idname = "duskrail.photo_turn"
    bl_label = "Turn Panorama"

    by: FloatProperty(
        name="By", description="How far to turn right", default=math.radians(30.0), subtype="ANGLE"
    )

    def execute(self, context: Any) -> Outcome:
        number, plan = self.number(context), live.plan_of(context.scene)
        if number < 0 or plan is None or photos.camera_of(context.scene, plan.photos[number].file) is None:
            return {"CANCELLED"}
        with live.handlers_paused():
            photos.turn_panorama(context.scene, plan, number, math.degrees(self.by))
        return {"FINISHED"}


class DUSKRAIL_OT_photo_remove(OnPhoto, bpy.types.Operator):
    """Take this photograph and its pins out of the plan. The picture file stays"""

    bl_idname = "duskrail.photo_remove"
    bl_label = "Remove Photo"
    bl_options = UNDOABLE

    def execute(self, context: Any) -> Outcome:
        number, plan = self.number(context), live.plan_of(context.scene)
        if number < 0 or plan is None:
            return {"CANCELLED"}
        area = view_area(context)
        if area is not None and photo_view.shown_in(area.spaces.active) == plan.photos[number].file:
            photo_view.leave(area)
        return change(self, context, lambda plan: without_photo(plan, number))


class DUSKRAIL_OT_photo_unpin(OnPhoto, bpy.types.Operator):
    """Take this pin out of the photograph"""

    bl_idname = "duskrail.photo_unpin"
    bl_label = "Remove Pin"
    bl_options = UNDOABLE

    pin: IntProperty(name="Pin", description="Number of the pin", options=HIDDEN)

    def execute(self, context: Any) -> Outcome:
        number, plan = self.number(context), live.plan_of(context.scene)
        if number < 0 or plan is None or not 0 <= self.pin < len(plan.photos[number].pins):
            return {"CANCELLED"}
        return change(self, context, lambda plan: unpinned(plan, number, self.pin)[0])


# ---------------------------------------------------------------- clicks into the photograph


class Clicks(OnPhoto):
    """An operator that waits for clicks into the photograph that a view looks through."""

    is_skyline: ClassVar[bool] = False
    report: Callable[..., None]
    execute: Callable[[Any], Outcome]

    def invoke(self, context: Any, _event: Any) -> Outcome:
        area = view_area(context)
        if area is None or not photo_view.shown_in(area.spaces.active):
            self.report({"ERROR"}, say("Look through a photograph first"))
            return {"CANCELLED"}
        self.area: Any = area
        self.photo = self.number(context)
        self.clicked: list[tuple[float, float]] = []
        self.corner: Any = None
        context.window.cursor_modal_set("CROSSHAIR")
        context.window_manager.modal_handler_add(self)
        self._tell(context)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> Outcome:
        """Wait for the next click; what zooms and moves the view goes on to Blender."""
        pressed = event.value == "PRESS"
        if (event.type == "ESC" and pressed) or not photo_view.shown_in(self.area.spaces.active):
            return self._end(context, {"CANCELLED"})
        if self.is_skyline and event.type in ("RET", "NUMPAD_ENTER", "RIGHTMOUSE") and pressed:
            return self._end(context, self._finished(context))
        if event.type == "RIGHTMOUSE" and pressed:
            return self._end(context, {"CANCELLED"})
        if event.type == "BACK_SPACE" and pressed and self.clicked:
            self.clicked.pop()
            self._tell(context)
            return {"RUNNING_MODAL"}
        under = views.view_under(context, event)
        if under is None or under[0] != self.area:
            return {"PASS_THROUGH"}
        if event.type == "MOUSEMOVE":
            self._hover(context, under[1], event)
            return {"PASS_THROUGH"}
        if event.type != "LEFTMOUSE" or not pressed:
            return {"PASS_THROUGH"}
        return self._click(context, under[1], event)

    def _click(self, context: Any, region: Any, event: Any) -> Outcome:
        at = self._photo_px(context, region, event)
        if at is None or not self.takes(at):
            return {"RUNNING_MODAL"}
        if not self.is_skyline and len(self.clicked) == self.clicks():
            return self._end(context, self._finished(context))
        self._tell(context)
        return {"RUNNING_MODAL"}

    def takes(self, at: tuple[float, float]) -> bool:
        """Take a click at a point of the photograph."""
        self.clicked.append(at)
        return True

    def clicks(self) -> int:
        """How many points are waited for."""
        return 2

    def hovered(self, context: Any, region: Any, event: Any) -> None:
        """What is under the mouse."""

    def asked(self) -> str:
        """What the next click is, for the status bar."""
        raise NotImplementedError

    def _hover(self, context: Any, region: Any, event: Any) -> None:
        self.hovered(context, region, event)
        at = self._photo_px(context, region, event)
        points = (*self.clicked, at) if at is not None and self.clicked else tuple(self.clicked)
        photo_view.sketch(self.area.spaces.active, photo_view.Sketch(points, self.is_skyline, self.corner))

    def _photo(self, context: Any) -> tuple[Plan, Photo] | None:
        plan = live.plan_of(context.scene)
        return (plan, plan.photos[self.photo]) if plan and 0 <= self.photo < len(plan.photos) else None

    def _photo_px(self, context: Any, region: Any, event: Any) -> tuple[float, float] | None:
        in_view = self._photo(context)
        if in_view is None:
            return None
        x, y = event.mouse_x - region.x, event.mouse_y - region.y
        at = photo_view.photo_px(region, self.area.spaces.active.region_3d, *in_view, x, y)
        inside = 0.0 <= at[0] <= in_view[1].width_px and 0.0 <= at[1] <= in_view[1].height_px
        return at if inside else None

    def _tell(self, context: Any) -> None:
        context.workspace.status_text_set(self.asked())

    def _end(self, context: Any, outcome: Outcome) -> Outcome:
        context.workspace.status_text_set(None)
        context.window.cursor_modal_restore()
        photo_view.sketch(self.area.spaces.active, None)
        return outcome

    def _finished(self, context: Any) -> Outcome:
        self.keep_clicks()
        return self.execute(context)

    def keep_clicks(self) -> None:
        """Make what was clicked the operator's own properties."""
        raise NotImplementedError


class DUSKRAIL_OT_photo_pin(Clicks, bpy.types.Operator):
    """Click a block's corner, then the same place in the photograph. One pin turns the photograph to it, two
    level it, three tell its field of view, and four where it was taken
    """

    bl_idname = "duskrail.photo_pin"
    bl_label = "Pin Photo"
    bl_options = UNDOABLE

    what: EnumProperty(name="What", description="What is pinned", items=THINGS, options={"SKIP_SAVE"})
    block: StringProperty(name="Block", description="Name of the pinned block", options=HIDDEN)
    corner_name: StringProperty(name="Corner", description="The block's corner", options=HIDDEN)
    point: FloatVectorProperty(
        name="Point", description="Where it is in the photograph, in pixels", size=2, options=HIDDEN
    )

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Says what is pinned."""
        return say(next(tip for key, _, tip in THINGS if key == properties.what))

    def asked(self) -> str:
        if self.what != "CORNER":
            return say("Click its middle in the photograph   (Esc leaves it)")
        if not self.block:
            return say("Click the corner of a block   (Esc leaves it)")
        return say("Click where the photograph has this corner of {block}", block=self.block)

    def clicks(self) -> int:
        return 1

    def hovered(self, context: Any, region: Any, event: Any) -> None:
        in_view = self._photo(context)
        if self.what != "CORNER" or self.block or in_view is None:
            return
        x, y = event.mouse_x - region.x, event.mouse_y - region.y
        self.corner = photo_view.corner_near(region, self.area.spaces.active.region_3d, *in_view, x, y)

    def _click(self, context: Any, region: Any, event: Any) -> Outcome:
        if self.what == "CORNER" and not self.block:
            self.hovered(context, region, event)
            if self.corner is not None:
                self.block, self.corner_name = self.corner.block, self.corner.name
                self._tell(context)
            return {"RUNNING_MODAL"}
        return super()._click(context, region, event)

    def keep_clicks(self) -> None:
        self.point = self.clicked[0]

    def execute(self, context: Any) -> Outcome:
        number = self.number(context)
        if number < 0:
            self.report({"ERROR"}, say("Look through a photograph first"))
            return {"CANCELLED"}
        solutions: list[Solved] = []

        def edit(plan: Plan) -> Plan:
            changed, solved = pinned(plan, number, self._pin())
            solutions.append(solved)
            return changed

        outcome = change(self, context, edit)
        if outcome == {"FINISHED"} and solutions:
            self._report(solutions[-1])
        return outcome

    def _pin(self) -> Pin:
        x, y = (round(float(value), 2) for value in self.point)
        if self.what == "CORNER":
            return Pin(x_px=x, y_px=y, block=self.block, corner=self.corner_name)
        return Pin(x_px=x, y_px=y, disc=self.what.lower())

    def _report(self, solved: Solved) -> None:
        count, off = len(solved.residual_px), solved.off
        if off is not None:
            told = say(
                "Pin {number} is off by {off:.0f} px from what the others say",
                number=off + 1,
                off=solved.off_px,
            )
            self.report({"WARNING"}, told)
        elif count > 1:
            self.report({"INFO"}, say("{count} pins within {px:.1f} px", count=count, px=solved.rms_px))


class Makes(Clicks):
    """What was clicked becomes a block; its distance and name can be changed afterwards."""

    called: StringProperty(
        name="Name", description="Name used on the sheet and in the review", options={"SKIP_SAVE"}
    )

    def made(self, plan: Plan, photo: Photo) -> Block:
        """The block of what was clicked. Raises PlanError."""
        raise NotImplementedError

    def draw(self, _context: Any) -> None:
        layout: Any = self.layout  # type: ignore[attr-defined]
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(self, "distance")
        layout.prop(self, "called")

    def execute(self, context: Any) -> Outcome:
        number = self.number(context)
        if number < 0:
            self.report({"ERROR"}, say("Look through a photograph first"))
            return {"CANCELLED"}
        return added(
            self, context, lambda plan: kit.with_blocks(plan, [self.made(plan, plan.photos[number])])
        )


class DUSKRAIL_OT_photo_block(Makes, bpy.types.Operator):
    """Click the foot of a thing in the photograph, then its top: a block that stands there, on the ground or
    at a distance
    """

    bl_idname = "duskrail.photo_block"
    bl_label = "Block from Photo"
    bl_options = UNDOABLE

    foot: FloatVectorProperty(name="Foot", description="In pixels", size=2, options=HIDDEN)
    top: FloatVectorProperty(name="Top", description="In pixels", size=2, options=HIDDEN)
    distance: FloatProperty(
        name="Distance",
        description="Distance from where the photograph was taken. At 0 it stands on the ground that the "
        "foot is seen at",
        min=0.0,
        soft_max=5000.0,
        subtype="DISTANCE",
        unit="LENGTH",
        step=100,
        options={"SKIP_SAVE"},
    )

    def asked(self) -> str:
        if not self.clicked:
            return say("Click where the thing meets the ground   (Esc leaves it)")
        return say("Click its top")

    def keep_clicks(self) -> None:
        self.foot, self.top = self.clicked

    def made(self, plan: Plan, photo: Photo) -> Block:
        foot, top = ((float(p[0]), float(p[1])) for p in (self.foot, self.top))
        name, distance_m = self.called.strip() or "block", self.distance or None
        return block_from_photo(plan, photo, name, foot, top, distance_m=distance_m)


class DUSKRAIL_OT_photo_ridge(Makes, bpy.types.Operator):
    """Click along a skyline in the photograph, then press Enter: a ridge at a distance"""

    bl_idname = "duskrail.photo_ridge"
    bl_label = "Ridge from Photo"
    bl_options = UNDOABLE

    is_skyline = True

    points: StringProperty(name="Points", description="x,y of each, in pixels", options=HIDDEN)
    distance: FloatProperty(
        name="Distance",
        description="Distance to the ridge",
        min=1.0,
        soft_max=60000.0,
        default=RIDGE_DISTANCE_M,
        subtype="DISTANCE",
        unit="LENGTH",
        step=10000,
        options={"SKIP_SAVE"},
    )

    def asked(self) -> str:
        return say("Click along the skyline; Enter makes the ridge, Backspace takes a point back")

    def keep_clicks(self) -> None:
        self.points = " ".join(f"{x:.2f},{y:.2f}" for x, y in self.clicked)

    def made(self, plan: Plan, photo: Photo) -> Block:
        points = [(float(x), float(y)) for x, _, y in (word.partition(",") for word in self.points.split())]
        return ridge_from_photo(plan, photo, self.called.strip() or "skyline", points, self.distance)


def added(operator: Any, context: Any, edit: Callable[[Plan], Plan]) -> Outcome:
    """Add blocks to the plan, and choose the first of them."""
    scene, before = context.scene, live.plan_of(context.scene)
    outcome = change(operator, context, edit)
    after = live.plan_of(scene)
    if outcome == {"FINISHED"} and before is not None and after is not None:
        made = range(len(before.blocks), len(after.blocks))
        if len(made):
            selection.select_blocks(context, scene, made)
            live.choose_block(scene, made[0])
    return outcome


CLASSES = (
    DUSKRAIL_OT_photo_add,
    DUSKRAIL_OT_photo_show,
    DUSKRAIL_OT_photo_turn,
    DUSKRAIL_OT_photo_remove,
    DUSKRAIL_OT_photo_unpin,
    DUSKRAIL_OT_photo_pin,
    DUSKRAIL_OT_photo_block,
    DUSKRAIL_OT_photo_ridge,
)
