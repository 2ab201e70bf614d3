"""What is drawn in the picture: where sun and moon stand, and what to do next with a plan."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace
from typing import Any

import attrs
import bpy
import numpy as np
import pytest

from blender_addon.state import live
from blender_addon.ui import evening, guidance, guides
from planner_core import Plan, compute_frames, review
from planner_core.edit import starter

RECT = evening.Rect(100.0, 50.0, 960.0, 540.0)


def plan() -> Plan:
    return starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))


def test_a_direction_along_the_lens_is_in_the_middle_of_the_picture_and_one_behind_is_nowhere() -> None:
    frames = compute_frames(plan())
    ahead = -frames.camera_rotation[0][:, 2]
    shown = guides.way_px(frames, 0, np.array([ahead, -ahead]), RECT)
    assert shown[0] == pytest.approx([580.0, 320.0], abs=0.01)
    assert np.isnan(shown[1]).all()


def test_a_direction_as_far_aside_as_the_lens_takes_in_is_at_the_edge_of_the_picture() -> None:
    # half the width of a 36 mm sensor over the focal length: any handbook of optics
    frames = compute_frames(plan())
    camera = frames.plan.camera
    aside = camera.sensor_width_mm / 2.0 / camera.focal_length_mm
    rotation = frames.camera_rotation[0]
    shown = guides.way_px(frames, 0, (rotation @ np.array([aside, 0.0, -1.0]))[None], RECT)
    assert shown[0] == pytest.approx([1060.0, 320.0], abs=0.01)


def test_the_picture_is_where_blender_frames_a_fitted_camera_view(empty: Any) -> None:
    live.set_plan(empty, plan())
    region = SimpleNamespace(type="WINDOW", x=0, y=0, width=1200, height=700, alignment="NONE")
    side = SimpleNamespace(type="UI", x=940, y=0, width=260, height=700, alignment="RIGHT")
    view = SimpleNamespace(view_camera_zoom=0.0, view_camera_offset=[0.0, 0.0])
    area = SimpleNamespace(
        regions=[region, side], spaces=SimpleNamespace(active=SimpleNamespace(region_3d=view))
    )
    evening.fit(empty, area)
    shown = evening.picture_rect(empty, region, view)
    assert shown is not None
    free = evening.free_of(area, region)
    assert shown.width == pytest.approx(free.width)
    assert shown.height == pytest.approx(shown.width * 9.0 / 16.0)
    assert shown.left == pytest.approx(free.left)
    assert shown.bottom + shown.height / 2.0 == pytest.approx(free.bottom + free.height / 2.0)


def test_the_next_step_follows_the_order_of_the_work() -> None:
    full = plan()
    bare = starter.bare_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))
    assert "Blocking" in guidance.next_step(bare, None)
    nameless = attrs.evolve(
        full,
        composition=None,
        blocks=tuple(attrs.evolve(block, role="background") for block in full.blocks),
    )
    assert "Subject" in guidance.next_step(nameless, None)
    assert "…" in guidance.next_step(full, None)
    hasty = attrs.evolve(full, shoot=attrs.evolve(full.shoot, interval_s=0.5))
    report = review(hasty, compute_frames(hasty))
    grave = [finding for finding in report.findings if finding.level == "stop"]
    assert grave
    assert "must change" in guidance.next_step(hasty, report)


def test_a_first_scene_is_a_place_an_evening_a_subject_and_a_rail(empty: Any) -> None:
    done = bpy.ops.duskrail.first_scene(  # type: ignore[attr-defined]
        latitude=43.46,
        longitude=-3.79,
        date="2027-03-14",
        subject="tower",
        bearing=np.radians(264.0),
        distance=150.0,
        height=24.0,
    )
    assert done == {"FINISHED"}
    made = live.plan_of(bpy.data.scenes["Evening"])
    assert made is not None
    assert made.site.latitude_deg == 43.46
    assert made.site.timezone == "Europe/Madrid"  # that of the nearest main city, as none was typed
    assert made.shoot.anchor is not None
    assert str(made.shoot.anchor.date) == "2027-03-14"
    (subject,) = [block for block in made.blocks if block.role == "subject"]
    x, y, _ = subject.centre_m or (0.0, 0.0, 0.0)
    assert np.hypot(x, y) == pytest.approx(150.0, abs=1.0)
    frames = compute_frames(made)
    half = len(frames) // 2
    assert float(frames.lens_bearing_deg[half]) % 360.0 == pytest.approx(264.0, abs=10.0)
    report = review(made, frames)
    assert not {"subject-lost", "subject-cut", "foreground-missing"} & {f.code for f in report.findings}


def test_a_first_scene_that_no_plan_can_be_is_refused_and_leaves_no_scene(empty: Any) -> None:
    before = len(bpy.data.scenes)
    with pytest.raises(RuntimeError, match=r"2027-99-99|date"):
        bpy.ops.duskrail.first_scene(date="2027-99-99")  # type: ignore[attr-defined]
    assert len(bpy.data.scenes) == before


def test_a_block_placed_with_the_mouse_stands_there_and_is_selected(empty: Any) -> None:
    live.set_plan(empty, plan())
    before = len(plan().blocks)
    done = bpy.ops.duskrail.add_block(kind="tower", where="MOUSE", foot=(30.0, 60.0, 0.0))  # type: ignore[attr-defined]
    assert done == {"FINISHED"}
    after = live.plan_of(empty)
    assert after is not None
    x, y, _ = after.blocks[before].centre_m or (0.0, 0.0, 0.0)
    assert (x, y) == pytest.approx((30.0, 60.0))
    assert [thing.name for thing in bpy.context.selected_objects] == [after.blocks[before].name]
    assert empty.duskrail.block_row == before


def test_the_mouse_over_the_sky_or_a_header_gives_no_ground(empty: Any) -> None:
    from blender_addon.ui.operators.blocks import ground_under_mouse

    live.set_plan(empty, plan())
    event = SimpleNamespace(mouse_region_x=10, mouse_region_y=10)
    header = SimpleNamespace(type="HEADER")
    shown = SimpleNamespace(region=header, region_data=None, scene=empty)
    assert ground_under_mouse(shown, event) is None
