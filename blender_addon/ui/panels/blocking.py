"""The blocks of the place: the kit that makes them, their list, and the selected one."""
# The stubs of Blender's interface take a panel's layout for missing, and icons for a closed list of words.
# mypy: disable-error-code="misc,override,union-attr,arg-type"

from __future__ import annotations

from typing import Any

import bpy

from planner_core.edit import kit

from ...state import live
from .layout import PlanTab, is_narrow, rows

ROLE_ICONS = {
    "subject": "OUTLINER_OB_LIGHT",
    "foreground": "AXIS_FRONT",
    "background": "HOME",
    "ground": "MESH_PLANE",
    "water": "MOD_OCEAN",
}
PIECE_ICONS = {
    "tower": "EMPTY_SINGLE_ARROW",
    "house": "HOME",
    "houses": "ALIGN_BOTTOM",
    "wall": "MOD_BUILD",
    "post": "MESH_CYLINDER",
    "railing": "SNAP_GRID",
    "tree": "OUTLINER_OB_CURVES",
    "figure": "USER",
    "box": "MESH_CUBE",
    "bridge": "IPO_LINEAR",
    "road": "CURVE_PATH",
    "ground": "MESH_PLANE",
    "water": "MOD_OCEAN",
}


class DUSKRAIL_UL_blocks(bpy.types.UIList):
    """The blocks by name."""

    def draw_item(
        self,
        _context: Any,
        layout: Any,
        _data: Any,
        item: Any,
        _icon: Any,
        _active: Any,
        _property: Any,
        _index: int = 0,
        _flag: int = 0,
    ) -> None:
        row = layout.row(align=True)
        row.prop(item, "label", text="", emboss=False, icon=ROLE_ICONS.get(item.role, "DOT"))
        plan = live.plan_of(item.id_data)
        count = len(kit.members(plan, item.row)) if plan and item.row < len(plan.blocks) else 1
        if count > 1:
            cell = row.row()
            cell.alignment, cell.active = "RIGHT", False
            cell.label(text=f"× {count}", translate=False)

    def filter_items(self, _context: Any, data: Any, name: str) -> tuple[list[int], list[int]]:
        """By name, as Blender's lists do; a thing of several blocks is one row."""
        rows_: Any = getattr(data, name)
        helpers: Any = bpy.types.UI_UL_list
        shown = self.bitflag_filter_item
        flags = [shown] * len(rows_)
        if self.filter_name:
            flags = helpers.filter_items_by_name(self.filter_name, shown, rows_, "label")
        plan = live.plan_of(data.id_data)
        if plan is not None and len(plan.blocks) == len(rows_):
            flags = [flag * kit.stands_for_all(plan, row) for row, flag in enumerate(flags)]
        return flags, []


class DUSKRAIL_PT_blocking(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_blocking"
    bl_label = "Blocking"
    bl_order = 3

    def draw(self, context: Any) -> None:
        layout, settings = self.layout, context.scene.duskrail
        layout.row().prop(settings, "block_where", expand=True)
        columns = 2 if is_narrow(context) else 3
        grid = layout.grid_flow(row_major=True, columns=columns, even_columns=True, align=True)
        for kind, piece in kit.PIECES.items():
            button = grid.operator("duskrail.add_block", text=piece.label, icon=PIECE_ICONS[kind])
            button.kind, button.where = kind, settings.block_where
        grid.operator("duskrail.add_ridge", text="Ridge", icon="RNDCURVE")
        row = layout.row(align=True)
        row.operator_menu_enum("duskrail.mark_block", "role", text="Use Mesh", icon="MESH_DATA")
        row.operator("duskrail.import_map", text="Map File…", icon="IMPORT")
        row = layout.row()
        row.template_list("DUSKRAIL_UL_blocks", "", settings, "blocks", settings, "block_row", rows=4)
        column = row.column(align=True)
        column.operator("duskrail.remove_block", text="", icon="REMOVE")
        column.separator()
        column.operator_menu_enum("duskrail.set_role", "role", text="", icon="DOWNARROW_HLT")
        column.separator()
        column.operator("duskrail.join_blocks", text="", icon="LINKED")
        column.operator("duskrail.separate_blocks", text="", icon="UNLINKED")


class DUSKRAIL_PT_block(PlanTab, bpy.types.Panel):
    bl_idname = "DUSKRAIL_PT_block"
    bl_parent_id = "DUSKRAIL_PT_blocking"
    bl_label = "Chosen Block"

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not super().poll(context):
            return False
        settings = context.scene.duskrail
        plan = live.plan_of(context.scene)
        return plan is not None and 0 <= settings.block_row < min(len(plan.blocks), len(settings.blocks))

    def draw(self, context: Any) -> None:
        layout, settings = rows(self.layout), context.scene.duskrail
        plan = live.plan_of(context.scene)
        assert plan is not None
        item = settings.blocks[settings.block_row]
        block = plan.blocks[settings.block_row]
        layout.prop(item, "label")
        layout.prop(item, "role")
        if block.shape in ("box", "post", "figure", "terrain"):
            layout.prop(item, "centre")
            column = layout.column(align=True)
            for axis, label in enumerate(("Width", "Depth", "Height")):
                column.prop(item, "size", index=axis, text=label)
            layout.prop(item, "turn")
        elif block.shape == "prism":
            column = layout.column(align=True)
            column.prop(item, "height")
            column.prop(item, "base", text="Base")
        else:
            layout.prop(item, "distance")
        if block.role in ("subject", "background"):
            layout.prop(item, "lights")
        if block.role == "water" and block.shape != "ridge":
            layout.prop(item, "tidal")
        layout.prop(item, "moves")
        layout.prop(item, "keep_out")


def draw_add_menu(self: Any, context: Any) -> None:
    """The kit in the view's Add menu, under the mouse."""
    if context.scene is not None and live.plan_of(context.scene) is not None:
        self.layout.menu("DUSKRAIL_MT_add_block", icon="MESH_CUBE")


class DUSKRAIL_MT_add_block(bpy.types.Menu):
    bl_idname = "DUSKRAIL_MT_add_block"
    bl_label = "Add Block"

    def draw(self, _context: Any) -> None:
        layout = self.layout
        layout.operator_context = "INVOKE_DEFAULT"
        for kind, piece in kit.PIECES.items():
            button = layout.operator("duskrail.add_block", text=piece.label, icon=PIECE_ICONS[kind])
            button.kind, button.where = kind, "MOUSE"


CLASSES = (DUSKRAIL_UL_blocks, DUSKRAIL_MT_add_block, DUSKRAIL_PT_blocking, DUSKRAIL_PT_block)
