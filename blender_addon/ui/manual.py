"""Online Manual in the context menu of every field and button: the page that the extension carries."""

from __future__ import annotations

import bpy

from .manual_page import PAGE
from .properties import camera, display, picture, place, rig

# Patterns of Blender's names, the first that fits, with the part of the page that tells of it
TOPICS = (
    ("bpy.ops.duskrail.scout*", "scout"),
    ("bpy.ops.duskrail.photo*", "blocking"),
    ("bpy.ops.duskrail.*block*", "blocking"),
    ("bpy.ops.duskrail.add_ridge*", "blocking"),
    ("bpy.ops.duskrail.set_role*", "blocking"),
    ("bpy.ops.duskrail.import_map*", "blocking"),
    ("bpy.ops.duskrail.pose_*", "move"),
    ("bpy.ops.duskrail.stand_here*", "move"),
    ("bpy.ops.duskrail.place_rig*", "rig"),
    ("bpy.ops.duskrail.preview*", "preview"),
    ("bpy.ops.duskrail.stills*", "preview"),
    ("bpy.ops.duskrail.*_log*", "log"),
    ("bpy.ops.duskrail.*shot*", "shots"),
    ("bpy.ops.duskrail.take_starts*", "shots"),
    ("bpy.ops.duskrail.take_remedy*", "shots"),
    ("bpy.ops.duskrail.save_evening*", "shots"),
    ("bpy.ops.duskrail.open*", "file"),
    ("bpy.ops.duskrail.save*", "file"),
    ("bpy.ops.duskrail.read_back*", "file"),
    ("bpy.ops.duskrail.*finding*", "review"),
    ("bpy.ops.duskrail.review_now*", "review"),
    ("bpy.ops.duskrail.apply_fit*", "review"),
    ("bpy.ops.duskrail.weakest_frame*", "review"),
    ("bpy.ops.duskrail.*day*", "place"),
    ("bpy.ops.duskrail.*event*", "place"),
    ("bpy.ops.duskrail.*", "plan"),
    ("bpy.types.duskrail_pg_block.*", "blocking"),
    ("bpy.types.duskrail_pg_pose.*", "move"),
    ("bpy.types.duskrail_pg_settings.block_where", "blocking"),
    ("bpy.types.duskrail_pg_settings.show_log", "log"),
)
# Fields of the sidebar by the classes that declare them
PANELS: tuple[tuple[type, str], ...] = (
    (place.SiteFields, "place"),
    (place.SeaFields, "place"),
    (place.ShootFields, "place"),
    (rig.RigFields, "rig"),
    (camera.CameraFields, "rig"),
    (picture.MoveFields, "move"),
    (picture.CompositionFields, "move"),
    (picture.ExposureFields, "exposure"),
    (display.PreviewFields, "preview"),
    (display.ScoutFields, "scout"),
    (display.EveningFields, "shots"),
    (display.FileFields, "file"),
    (display.DisplayFields, "plan"),
)


def manual_map() -> tuple[str, tuple[tuple[str, str], ...]]:
    """The page's address, and which part of it belongs to what, as Blender asks for it."""
    fields = tuple(
        (f"bpy.types.duskrail_pg_settings.{name}", topic)
        for fields, topic in PANELS
        for name in fields.__annotations__
    )
    return f"{PAGE.as_uri()}#", (*TOPICS, *fields, ("bpy.types.duskrail_pg_settings.*", "plan"))


def register() -> None:
    """Offer the page."""
    bpy.utils.register_manual_map(manual_map)


def unregister() -> None:
    """Take it away."""
    bpy.utils.unregister_manual_map(manual_map)
