"""Choosing things in the scene: blocks and poses, by their number in the plan."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import bpy

from planner_core import Plan
from planner_core.place.blocking import block_label

from ..scene import parts


def select(context: Any, things: Sequence[bpy.types.Object]) -> int:
    """Select these objects and no others, and make the first the active one. Returns how many could be."""
    layer = context.view_layer
    if layer is None or context.mode != "OBJECT":
        return 0
    layer.update()  # what was just made is no object of the layer yet
    shown = set(layer.objects)
    for thing in layer.objects:
        if thing.select_get():
            thing.select_set(False)
    chosen = [thing for thing in things if thing in shown and not thing.hide_select]
    for thing in chosen:
        thing.hide_set(False)
        thing.select_set(True)
    if chosen:
        layer.objects.active = chosen[0]
    return len(chosen)


def select_blocks(context: Any, scene: bpy.types.Scene, numbers: Collection[int]) -> int:
    """Select the objects of these blocks. Returns how many there were."""
    return select(context, [b for b in parts.objects_of(scene, "block") if b.get(parts.INDEX_KEY) in numbers])


def select_pose(context: Any, scene: bpy.types.Scene, number: int) -> int:
    """Select the ghost camera of a pose. Returns how many there were."""
    return select(context, [p for p in parts.objects_of(scene, "pose") if p.get(parts.INDEX_KEY) == number])


def blocks_called(plan: Plan, labels: Collection[str]) -> list[int]:
    """Numbers of the blocks that a finding names."""
    return [number for number in range(len(plan.blocks)) if block_label(plan, number) in labels]


def chosen_blocks(context: Any) -> list[int]:
    """Numbers of the blocks whose objects are selected."""
    return sorted(
        {
            int(thing.get(parts.INDEX_KEY, -1))
            for thing in context.selected_objects
            if parts.part_of(thing) == "block"
        }
    )
