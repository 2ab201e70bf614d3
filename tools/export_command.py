"""The export verb: the camera's move and the blocks for other programs, by Blender's own exporters."""

from __future__ import annotations

import argparse
from pathlib import Path

import attrs

from planner_core import compute_frames
from planner_core.plan.file import load_plan

from .files import say
from .outcome import DONE, UsageError, need_blender


def run_export(arguments: argparse.Namespace) -> int:
    """Build the scene and write it as glTF or USD."""
    plan = attrs.evolve(load_plan(arguments.plan), photos=())  # what was photographed is there as blocks
    output = Path(arguments.output)
    need_blender()
    import bpy

    from blender_addon.render.exchange import KINDS, export_scene
    from blender_addon.scene.build import build_scene

    if output.suffix.lower() not in KINDS:
        raise UsageError(f"{output.name}: is neither glTF nor USD; end it in {', '.join(KINDS)}")
    frames = compute_frames(plan)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    build_scene(plan, frames, bpy.data.scenes[0])
    try:
        export_scene(output)
    except RuntimeError as problem:
        raise UsageError(str(problem)) from None
    say(f"{output}: the camera on {len(frames)} frames, and {len(plan.blocks)} blocks.", arguments.output)
    return DONE
