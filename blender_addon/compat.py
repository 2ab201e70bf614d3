"""The one place that knows Blender versions apart: 4.5 LTS and 5.2 LTS."""

from __future__ import annotations

from typing import Any

import bpy

EEVEE = "BLENDER_EEVEE" if bpy.app.version >= (5, 0, 0) else "BLENDER_EEVEE_NEXT"


def choose_video(image_settings: Any) -> None:
    """Have a render written as a video; since 5.0 the kind of medium comes before the format."""
    if hasattr(image_settings, "media_type"):
        image_settings.media_type = "VIDEO"
    image_settings.file_format = "FFMPEG"


def choose_image(image_settings: Any, file_format: str) -> None:
    """Have a render written as images of a format, such as PNG or OPEN_EXR."""
    if hasattr(image_settings, "media_type"):
        image_settings.media_type = "IMAGE"
    image_settings.file_format = file_format


def use_nodes(owner: Any) -> Any:
    """The node tree of a material or world, empty. Since 5.0 every one has a tree from the start."""
    if bpy.app.version < (5, 0, 0):
        owner.use_nodes = True
    tree = owner.node_tree
    tree.nodes.clear()
    return tree
