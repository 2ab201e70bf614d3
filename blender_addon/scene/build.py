"""A plan as a Blender scene: place, rig, light and timeline, drawn from the FrameTable."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import bpy

from planner_core.evening.timetable import EVENT_WORDS, events_in_shoot
from planner_core.frames import FrameTable
from planner_core.plan import timeline
from planner_core.plan.model import Plan
from planner_core.words.language import say

from . import blocking, lighting, parts, photos, rig, store, tides

MARKERS_KEY = "duskrail_markers"


def build_scene(plan: Plan, frames: FrameTable, scene: bpy.types.Scene, *, light: bool = True) -> None:
    """Draw the whole plan into a scene, and keep the plan in it.

    What an earlier call drew is brought up to date; what the user put there stays. frames must be the
    plan's own. Without light there is no sky and no lamp.
    """
    store.store_plan(scene, plan)
    draw_timeline(scene, frames)
    blocking.draw_blocks(scene, plan)
    tides.draw_tide(scene, frames)
    photos.draw_photos(scene, plan)
    rig.draw_rig(scene, frames)
    if light:
        lighting.draw_light(scene, frames)
    for layer in scene.view_layers:
        layer.update()


def clear_scene(scene: bpy.types.Scene) -> None:
    """Remove everything that build_scene made from a scene, its plan and its log."""
    for thing in list(dict.fromkeys(scene.collection.all_objects)):
        if parts.part_of(thing) == "block":
            blocking.release(scene, thing)
        elif parts.part_of(thing) is not None:
            parts.remove(thing)
    for collection in list(parts.collections_of(scene)):
        if not collection.all_objects:
            bpy.data.collections.remove(collection)
    world = scene.world
    if world is not None and parts.part_of(world) == lighting.WORLD_PART:
        parts.remove_world(world)
    _remove_markers(scene)
    scene.pop(MARKERS_KEY, None)  # type: ignore[attr-defined]
    store.drop_plan(scene)
    store.drop_log(scene)


def draw_timeline(scene: Any, frames: FrameTable, keep: Collection[str] = ()) -> None:
    """Frame range, fps, size and units of the clip, and a marker at each light event of the shoot.

    Settings in keep (frames, fps, size) stay as somebody set them; so do units once a plan was drawn.
    """
    plan, render = frames.plan, scene.render
    if MARKERS_KEY not in scene:
        scene.unit_settings.system = "METRIC"
        scene.unit_settings.scale_length = 1.0
    if "frames" not in keep:
        set_frame_range(scene, plan)
    if not 1 <= scene.frame_current <= len(frames):
        scene.frame_set(1)
    if "size" not in keep:
        set_size(scene, plan)
    parts.assign(render, resolution_percentage=100, pixel_aspect_x=1.0, pixel_aspect_y=1.0)
    if "fps" not in keep:
        set_fps(scene, plan)
    events = event_frames(frames)
    ours = set(scene.get(MARKERS_KEY, ()))
    if [(m.name, m.frame) for m in scene.timeline_markers if m.name in ours] != events:
        _remove_markers(scene)
        scene[MARKERS_KEY] = [scene.timeline_markers.new(name, frame=frame).name for name, frame in events]
    elif MARKERS_KEY not in scene:
        scene[MARKERS_KEY] = []


def set_frame_range(scene: bpy.types.Scene, plan: Plan) -> None:
    """Blender's frame range as the plan has it."""
    parts.assign(scene, frame_start=1, frame_end=plan.shoot.frames)


def set_size(scene: bpy.types.Scene, plan: Plan) -> None:
    """Blender's picture as large as the delivered clip."""
    parts.assign(scene.render, resolution_x=plan.clip.width_px, resolution_y=plan.clip.height_px)


def set_fps(scene: bpy.types.Scene, plan: Plan) -> None:
    """Blender's speed as the clip's."""
    fps = max(1, round(plan.clip.fps))
    parts.assign(scene.render, fps=fps, fps_base=fps / plan.clip.fps)


def event_frames(frames: FrameTable) -> list[tuple[str, int]]:
    """Light events within the shoot, as 'Sunset 18:42', with the nearest frame counted from 1, in order."""
    return [
        (f"{say(EVENT_WORDS[name])} {timeline.clock(utc_s, frames.plan.zone)}", frame)
        for name, utc_s, frame in events_in_shoot(frames)
    ]


def _remove_markers(scene: bpy.types.Scene) -> None:
    ours = set(scene.get(MARKERS_KEY, ()))
    for marker in list(scene.timeline_markers):
        if marker.name in ours:
            scene.timeline_markers.remove(marker)
