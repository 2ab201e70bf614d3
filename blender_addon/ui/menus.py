"""The add-on in Blender's own menus: File ▸ Import and Export, View, Object, and dropped files."""
# The stubs of Blender's interface take a menu's layout for missing.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from ..state import live
from .translation import in_own_context
from .wording import FITS


def _has_plan(context: Any) -> bool:
    return context.scene is not None and live.plan_of(context.scene) is not None


class DUSKRAIL_MT_object(bpy.types.Menu):
    bl_idname = "DUSKRAIL_MT_object"
    bl_label = "Duskrail"

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.operator_menu_enum("duskrail.mark_block", "role")
        layout.operator_menu_enum("duskrail.set_role", "role")
        layout.operator("duskrail.join_blocks")
        layout.operator("duskrail.separate_blocks")
        layout.operator("duskrail.remove_block")
        layout.separator()
        layout.operator("duskrail.place_rig")
        layout.operator("duskrail.stand_here")


class DUSKRAIL_MT_plan(bpy.types.Menu):
    """The sidebar's buttons, where Blender's search finds them too"""

    bl_idname = "DUSKRAIL_MT_plan"
    bl_label = "Duskrail"

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.operator_context = "INVOKE_DEFAULT"
        for name in ("evening", "show_place", "show_rig", "show_picture"):
            layout.operator(f"duskrail.{name}")
        layout.separator()
        for name in ("review_now", "weakest_frame"):
            layout.operator(f"duskrail.{name}")
        for kind, (label, _) in FITS.items():
            layout.operator("duskrail.apply_fit", text=label).kind = kind
        layout.separator()
        for name in ("preview", "stills", "preview_open"):
            layout.operator(f"duskrail.{name}")
        layout.separator()
        for name in ("add_shots", "take_starts", "save_evening", "open_log", "learn_from_log", "clear_log"):
            layout.operator(f"duskrail.{name}")
        layout.separator()
        for name in ("redraw", "read_back", "save", "remove_plan"):
            layout.operator(f"duskrail.{name}")


class DUSKRAIL_FH_plan(bpy.types.FileHandler):
    bl_idname = "DUSKRAIL_FH_plan"
    bl_label = "Duskrail Plan"
    bl_import_operator = "duskrail.open"
    bl_export_operator = "duskrail.save_as"
    bl_file_extensions = ".json"

    @classmethod
    def poll_drop(cls, context: Any) -> bool:
        """A plan may be dropped into a 3D view."""
        return context.area is not None and context.area.type == "VIEW_3D"


def _import(self: Any, context: Any) -> None:
    self.layout.operator("duskrail.open", text="Duskrail Plan (.plan.json)")
    if _has_plan(context):
        self.layout.operator("duskrail.open_log", text="Duskrail Log (frames, .json)")


def _export(self: Any, context: Any) -> None:
    if _has_plan(context):
        self.layout.operator("duskrail.save_as", text="Duskrail Plan (.plan.json)")
        self.layout.operator("duskrail.save_sheet", text="Duskrail Shot Sheet (.html)")


def _object(self: Any, context: Any) -> None:
    if _has_plan(context):
        self.layout.separator()
        self.layout.menu("DUSKRAIL_MT_object")


def _view(self: Any, context: Any) -> None:
    if _has_plan(context):
        self.layout.separator()
        self.layout.menu("DUSKRAIL_MT_plan")


CLASSES = (DUSKRAIL_MT_object, DUSKRAIL_MT_plan, DUSKRAIL_FH_plan)
PLACES = (
    ("TOPBAR_MT_file_import", _import),
    ("TOPBAR_MT_file_export", _export),
    ("VIEW3D_MT_object", _object),
    ("VIEW3D_MT_object_context_menu", _object),
    ("VIEW3D_MT_view", _view),
)


def register() -> None:
    """Add to the menus."""
    in_own_context([DUSKRAIL_MT_object, DUSKRAIL_MT_plan])
    for cls in CLASSES:
        bpy.utils.register_class(cls)
    for name, draw in PLACES:
        getattr(bpy.types, name).append(draw)


def unregister() -> None:
    """Take everything out of them."""
    for name, draw in PLACES:
        getattr(bpy.types, name).remove(draw)
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
