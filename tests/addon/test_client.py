"""What a client is shown, from the window: title, burnt-in words, two plans, contact sheet and stills."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import bpy
import pytest

from blender_addon.state import live
from blender_addon.ui.operators import preview
from planner_core import save_plan
from planner_core.edit import edits, starter
from tests.present import present

FRAMES, WIDTH_PX, HEIGHT_PX = 24, 64, 36
GAP_PX = 6  # between pictures side by side: ours


@pytest.fixture
def scene(empty: Any, tmp_path: Path) -> Iterator[Any]:
    plan = starter.bare_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))
    live.set_plan(empty, edits.evolved(plan, "shoot.frames", FRAMES))
    empty.duskrail.clip_file = str(tmp_path / "draft.mp4")
    empty.duskrail.clip_px = WIDTH_PX
    yield empty
    preview.stop()


def test_a_clip_has_its_title_a_second_plan_and_a_contact_sheet(scene: Any, tmp_path: Path) -> None:
    settings = scene.duskrail
    settings.title_card = settings.burn_in = settings.contact_sheet = True
    settings.use_range, settings.last_frame = True, 2
    save_plan(present(live.plan_of(scene)), tmp_path / "other.plan.json")
    settings.beside_file = str(tmp_path / "other.plan.json")
    assert bpy.ops.duskrail.preview() == {"FINISHED"}
    with av.open(str(tmp_path / "draft.mp4")) as clip:
        assert clip.streams.video[0].width > 2 * WIDTH_PX
        assert sum(1 for _ in clip.decode(video=0)) == 2 + 36  # the title stands for 1.5 s of 24 frames
    contact: Any = bpy.data.images.load(str(tmp_path / "draft_contact.png"))
    assert contact.size[0] > contact.size[1] > 0


def test_stills_of_first_frame_event_and_last_stand_side_by_side(scene: Any) -> None:
    frames = present(live.frames_of(scene))
    assert preview.three_frames(frames) == [(1, "First"), (12, "Sunset"), (FRAMES, "Last")]
    assert bpy.ops.duskrail.stills() == {"FINISHED"}
    picture: Any = bpy.data.images["draft_stills.png"]  # loaded, to be shown
    assert picture.size[:] == (3 * WIDTH_PX + 4 * GAP_PX, HEIGHT_PX + 2 * GAP_PX)


def test_a_second_plan_that_cant_be_read_is_told_before_anything_is_drawn(scene: Any, tmp_path: Path) -> None:
    scene.duskrail.beside_file = str(tmp_path / "none.plan.json")
    with pytest.raises(RuntimeError, match="Second plan"):
        bpy.ops.duskrail.preview()
    assert list(tmp_path.iterdir()) == []
