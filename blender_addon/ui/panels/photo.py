"""The photographs of the place: each to look through, and the pins of the one that is looked through."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

import math
from typing import Any

import bpy

from planner_core import Plan, PlanError
from planner_core.photo import panorama
from planner_core.photo.check import check_photo
from planner_core.plan.model import Pin
from planner_core.words.language import say

from ...scene import photos
from ...state import live
from .. import photo_view
from .layout import PlanTab, rows, wrapped

TURN_RAD = math.radians(30.0)


class DUSKRAIL_PT_photos(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_photos"
    bl_parent_id = "DUSKRAIL_PT_blocking"
    bl_label = "Photographs"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, plan = self.layout, live.plan_of(context.scene)
        assert plan is not None
        shown = photo_view.shown_in(context.space_data)
        column = layout.column(align=True)
        for number, photo in enumerate(plan.photos):
            row = column.row(align=True)
            button = row.operator(
                "duskrail.photo_show",
                text=photo.file,
                translate=False,
                icon="HIDE_OFF",
                depress=photo.file == shown,
            )
            button.photo = number
            row.operator("duskrail.photo_remove", text="", icon="X").photo = number
        layout.operator("duskrail.photo_add", text="Add Photo…", icon="IMAGE_REFERENCE")
        in_view = photo_view.photo_shown(context)
        if in_view is not None:
            self._looked_through(context, *in_view)

    def _looked_through(self, context: Any, plan: Plan, number: int) -> None:
        """What the photograph in view is placed by, and what can be made from it."""
        layout, photo = self.layout, plan.photos[number]
        camera = photos.camera_of(context.scene, photo.file)
        background = photos.background_of(camera) if camera is not None else None
        if background is None:
            wrapped(layout, context, say("Its picture isn't in this file; add the photo again to see it."))
        else:
            column = rows(layout.column())
            column.prop(background, "alpha", text="Opacity", slider=True)
            column.row().prop(background, "display_depth", text="Stands", expand=True)
        if photo.projection != "flat" and photo.fov_deg > panorama.WIDEST_DEG:
            row = layout.row(align=True)
            for side, words, icon in ((-1.0, "Left", "TRIA_LEFT"), (1.0, "Right", "TRIA_RIGHT")):
                button = row.operator("duskrail.photo_turn", text=words, icon=icon)
                button.photo, button.by = number, side * TURN_RAD
        column = layout.column(align=True)  # three in a row would cut their words in a narrow sidebar
        corner = column.operator("duskrail.photo_pin", text="Pin Corner", icon="PINNED")
        row = column.row(align=True)
        sun = row.operator("duskrail.photo_pin", text="Sun", icon="LIGHT_SUN")
        moon = row.operator("duskrail.photo_pin", text="Moon", icon="SPHERECURVE")
        for button, what in ((corner, "CORNER"), (sun, "SUN"), (moon, "MOON")):
            button.what, button.photo = what, number
        row = layout.row(align=True)
        row.operator("duskrail.photo_block", text="Block", icon="MESH_CUBE").photo = number
        row.operator("duskrail.photo_ridge", text="Ridge", icon="RNDCURVE").photo = number
        self._pins(plan, number)

    def _pins(self, plan: Plan, number: int) -> None:
        photo = plan.photos[number]
        try:
            off = [f"{one.off_px:.1f} px" for one in check_photo(plan, photo)]
        except PlanError:
            off = ["?" for _ in photo.pins]
        column = self.layout.column(align=True)
        for row_number, (pin, apart) in enumerate(zip(photo.pins, off, strict=True)):
            row = column.row(align=True)
            row.label(text=f"{row_number + 1}  {pin_words(pin)}", translate=False)
            cell = row.row()
            cell.alignment = "RIGHT"
            cell.label(text=apart, translate=False)
            button = row.operator("duskrail.photo_unpin", text="", icon="X", emboss=False)
            button.photo, button.pin = number, row_number


def pin_words(pin: Pin) -> str:
    """What is pinned, in the words of the interface."""
    if pin.disc:
        return say("Sun") if pin.disc == "sun" else say("Moon")
    if not pin.block:
        return f"{pin.bearing_deg:g}°, {pin.altitude_deg:g}°"
    if pin.corner in ("top", "foot"):
        return f"{pin.block}, {say('top') if pin.corner == 'top' else say('foot')}"
    return say("{block}, corner {corner}", block=pin.block, corner=pin.corner)


CLASSES = (DUSKRAIL_PT_photos,)
