"""The one place that knows Blender versions apart: 4.5 LTS and 5.2 LTS."""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
from collections.abc import Iterator
from typing import Any

import bpy

# Names of the engines; EEVEE's has changed.
WORKBENCH, CYCLES = "BLENDER_WORKBENCH", "CYCLES"
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


def add_pictures(scene: bpy.types.Scene, folder: str, names: list[str]) -> Any:
    """An image strip of a folder's pictures, a frame each from frame 1, in the scene's sequencer."""
    editor: Any = scene.sequence_editor_create()
    strip = editor.strips.new_image("Pictures", os.path.join(folder, names[0]), 1, 1)
    for name in names[1:]:
        strip.elements.append(name)
    return strip


@contextlib.contextmanager
def window_on(scene: bpy.types.Scene) -> Iterator[None]:
    """Have the window show a scene for a while. Blender works out the motion of no other scene when it
    renders.
    """
    window = bpy.context.window
    if window is None or window.scene == scene:
        yield
        return
    before = window.scene
    window.scene = scene
    try:
        yield
    finally:
        window.scene = before


def stamp_nothing(render: bpy.types.RenderSettings) -> None:
    """Keep date and time out of image files, so that the same picture is the same file."""
    for name in dir(render):
        if name.startswith("use_stamp"):
            setattr(render, name, False)


def brought(module: str) -> Any:
    """A Python module that Blender brings with it, such as USD's own; None where a build goes without."""
    minor = "python{}.{}".format(*sys.version_info)
    packages = os.path.join(bpy.utils.resource_path("LOCAL"), "python", "lib", minor, "site-packages")
    before = list(sys.path)
    sys.path.append(packages)  # Blender has it there already, its module for Python hasn't
    try:
        return importlib.import_module(module)
    except ImportError:
        return None
    finally:
        sys.path[:] = before
