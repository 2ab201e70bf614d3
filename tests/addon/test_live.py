"""The plan of an open scene: reviewed while one works, kept apart by scene, and calm about whatever stands
in a scene.
"""

from __future__ import annotations

import datetime as dt
import math
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
import pytest
from mathutils import Matrix

from blender_addon.render.progress import Progress
from blender_addon.scene import parts, rig, store
from blender_addon.state import handlers, live, redraw
from blender_addon.ui.job_records import PreviewTask
from blender_addon.ui.operators import preview
from blender_addon.ui.preview_job import Job
from planner_core import Plan, compute_frames, review
from planner_core.edit import edits, kit, starter
from planner_core.output import readout
from planner_core.plan.timeline import clock
from planner_core.review.report import review_in_parts
from planner_core.rig import geometry
from planner_core.time import ephemeris
from tests.addon.scenes import planned
from tests.present import present


@pytest.fixture
def scene(empty: Any) -> Any:
    return planned(start(), empty)


def start() -> Plan:
    return starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))


def large() -> Plan:
    """480 frames and 60 blocks: as much as a place is likely to have."""
    plan = start()
    plan = attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, frames=480))
    number = 0
    while len(plan.blocks) < 60:
        spot = kit.spot_by_bearing(plan, 230.0 + 1.9 * number, 60.0 + 9.0 * number)
        plan = kit.with_blocks(plan, kit.piece_blocks(plan, "box", spot, (9.0, 8.0, 5.0 + number % 7)))
        number += 1
    return plan


def block_of(scene: Any, name: str) -> Any:
    return next(b for b in parts.objects_of(scene, "block") if b.get("duskrail_name") == name)


# ---------------------------------------------------------------- the review, live


def test_findings_after_an_edit_are_those_of_the_edited_plan(scene: Any) -> None:
    # how quickly is measured by tools/benchmark.py
    for at in (0.1, 0.5, 0.9):
        edited = edits.evolved(large(), "shoot.anchor.at", at)
        live.set_plan(scene, edited)
        frames = live.frames_of(scene)
        assert frames is not None
        (*_, report) = review_in_parts(edited, frames)
        assert report == review(edited, compute_frames(edited))


def test_a_frame_table_knows_nothing_of_what_it_is_kept_through(scene: Any) -> None:
    plan = live.plan_of(scene)
    assert plan is not None
    assert plan.exposure is not None
    by_ground = attrs.evolve(plan.exposure, meter="ground")  # a metered picture depends on blocks
    live.set_plan(scene, attrs.evolve(plan, exposure=by_ground))
    before = live.frames_of(scene)
    bpy.ops.duskrail.add_block(kind="tower")
    scene.duskrail.title = "Another title"
    scene.duskrail.has_composition = False
    kept = live.frames_of(scene)
    plan = live.plan_of(scene)
    assert kept is not None
    assert before is not None
    assert plan is not None
    assert kept.plan is plan
    assert kept.camera_m is before.camera_m  # not computed again …
    fresh = compute_frames(plan)
    for field in attrs.fields(type(fresh)):  # … and the same if it were
        one, other = getattr(kept, field.name), getattr(fresh, field.name)
        if isinstance(one, np.ndarray):
            assert np.array_equal(one, other), field.name


def test_the_review_in_parts_is_the_review(scene: Any) -> None:
    frames = live.frames_of(scene)
    assert frames is not None
    whole = review(frames.plan, frames)
    parts_of_it = list(review_in_parts(frames.plan, frames))
    first, last = (each for each in parts_of_it if each is not None)  # before and after remedies were tried
    assert parts_of_it[-1] is last
    assert parts_of_it.index(first) > 2  # pauses for the view in between
    assert [each.code for each in first.findings] == [each.code for each in last.findings]
    assert not any(each.tried for each in first.findings)
    assert all(each.tried for each in last.findings)
    assert last.findings == whole.findings
    assert last.summary == whole.summary


def test_a_review_says_whether_it_is_behind_the_plan(scene: Any) -> None:
    assert not live.is_reviewed(scene)
    first = live.review_now(scene)
    assert live.is_reviewed(scene)
    scene.duskrail.interval = 3.0
    assert not live.is_reviewed(scene)
    assert live.state_of(scene).review is first  # still there to be read, faintly
    second = live.review_now(scene)
    assert second is not None
    assert first is not None
    assert second.findings != first.findings


def test_in_a_window_a_newer_plan_takes_the_reviews_place(
    scene: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    # the timer's own steps, as Blender would take them
    asked: list[float] = []
    monkeypatch.setattr(live, "_in_a_window", lambda: True)
    monkeypatch.setattr(live, "_start_timer", lambda: asked.append(0.0))
    monkeypatch.setattr(live, "AT_A_TIME_S", 0.0)  # a topic at a time, however fast the machine is
    scene.duskrail.interval = 13.0
    assert live._review_on() is not None
    scene.duskrail.interval = 3.0  # while the first was under way
    frames = live.frames_of(scene)
    assert frames is not None
    parts_of_the_newer = len(list(review_in_parts(frames.plan, frames)))
    steps = 0
    while live._review_on() is not None:
        steps += 1
        assert steps <= parts_of_the_newer  # nothing is left of the first
    assert live.is_reviewed(scene)
    report = live.state_of(scene).review
    assert report is not None
    assert any(finding.code == "interval-too-short" for finding in report.findings)
    assert asked


def test_a_scene_that_goes_away_takes_its_review_along(scene: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "_in_a_window", lambda: True)
    monkeypatch.setattr(live, "_start_timer", lambda: None)
    other = bpy.data.scenes.new("Other")
    live.set_plan(other, start())
    bpy.data.scenes.remove(other)
    while live._review_on() is not None:
        pass
    assert not live._reviews


def test_a_finding_goes_to_its_frames_and_selects_its_blocks(scene: Any) -> None:
    report = live.review_now(scene)
    assert report is not None
    number, found = next((i, f) for i, f in enumerate(report.findings) if f.blocks and f.frames)
    scene.frame_set(found.frames[1])  # type: ignore[index]
    assert bpy.ops.duskrail.finding_go(finding=number) == {"FINISHED"}
    assert found.frames is not None
    assert found.frames[0] <= scene.frame_current <= found.frames[1]
    chosen = {thing["duskrail_name"] for thing in bpy.context.selected_objects}
    assert chosen == set(found.blocks)


def test_the_weakest_frame_is_one_click_away(scene: Any) -> None:
    report = live.review_now(scene)
    assert report is not None
    scene.frame_set(300)
    assert bpy.ops.duskrail.weakest_frame() == {"FINISHED"}
    assert scene.frame_current == report.summary.picture.weakest_frame


def test_a_fit_mends_what_its_finding_is_about(scene: Any) -> None:
    live.change_plan(scene, lambda plan: edits.evolved(plan, "shoot.anchor.at", 0.1))
    before = live.review_now(scene)
    assert before is not None
    assert any(f.code == "day-night-balance" for f in before.findings)
    assert bpy.ops.duskrail.apply_fit(kind="balance") == {"FINISHED"}
    after = live.review_now(scene)
    assert after is not None
    assert not any(f.code == "day-night-balance" for f in after.findings)
    assert live.state_of(scene).fit_said  # what changed, in sentences


# ---------------------------------------------------------------- the readout


def test_the_readout_is_the_frame_tables(scene: Any) -> None:
    frames = live.frames_of(scene)
    assert frames is not None
    for number in (1, 120, 360, 999):
        i = min(number, 360) - 1
        first, second, third = readout.hud_lines(frames, number)
        assert first.startswith(clock(float(frames.utc_s[i]), frames.plan.zone, seconds=True))
        assert f"frame {i + 1} of 360" in first
        assert f"Sun {readout.signed(frames.sun_altitude_deg[i])}°" in second
        assert f"EV {readout.signed(frames.scene_ev100[i])}" in third
        assert "ISO" in third


def test_day_twilight_and_night_cover_the_timeline_without_gaps(scene: Any) -> None:
    frames = compute_frames(attrs.evolve(start(), shoot=attrs.evolve(start().shoot, interval_s=40.0)))
    spans = readout.phase_spans(frames)
    assert spans[0][1] == 1
    assert spans[-1][2] == 360
    assert all(b[1] == a[2] + 1 for a, b in pairwise(spans))
    assert [phase for phase, _, _ in spans] == [0, 1, 2, 3, 4]
    turn = 1 + (360 - 1) / 2  # sunset falls on the middle of the move
    assert spans[0][2] == pytest.approx(turn, abs=1.0)


def test_the_suns_way_passes_through_the_frames_suns(scene: Any) -> None:
    frames = live.frames_of(scene)
    assert frames is not None
    way = readout.sky_paths(frames)
    assert np.allclose(np.linalg.norm(way.day_directions, axis=1), 1.0)
    for direction in frames.sun_direction[::60]:
        apart = np.degrees(np.arccos(np.clip(way.day_directions @ direction, -1.0, 1.0)))
        assert apart.min() < 1.3  # the day is drawn every ten minutes, in which the sun goes 2.5°
    assert all(direction[2] > 0.0 for direction in way.hour_directions)


def test_the_hours_of_the_suns_way_are_the_clocks_on_the_day_it_changes_too() -> None:
    # 28 March 2027: clocks in Switzerland go from 02:00 to 03:00 (EU directive 2000/84/EC)
    plan = starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 28))
    way = readout.sky_paths(compute_frames(plan))
    for direction, hour_label in zip(way.hour_directions, way.hour_labels, strict=True):
        hour = dt.datetime.fromisoformat(f"2027-03-28T{hour_label}").replace(tzinfo=plan.zone)
        azimuth, true = ephemeris.sun_position(
            np.array([hour.timestamp()]), plan.site.latitude_deg, plan.site.longitude_deg
        )
        shown = geometry.direction(azimuth, ephemeris.apparent_altitude_deg(true), plan.site.scene_north_deg)
        assert direction == pytest.approx(shown[0])
    assert way.hour_labels[:2] == ("08:00", "09:00")  # sunrise at 07:13 by the new clock


# ---------------------------------------------------------------- two scenes


def test_two_scenes_keep_their_plans_apart(scene: Any) -> None:
    other = bpy.data.scenes.new("Morning")
    live.set_plan(other, edits.evolved(start(), "title", "Morning"))
    block_of(scene, "lighthouse").location.x += 3.0
    bpy.context.view_layer.update()
    other.duskrail.interval = 20.0
    assert live.plan_of(scene) != live.plan_of(other)
    assert scene.duskrail.interval == pytest.approx(12.0)
    assert scene.duskrail.title == start().title
    assert other.duskrail.title == "Morning"
    ours, theirs = ({b.name for b in parts.objects_of(s, "block")} for s in (scene, other))
    assert not ours & theirs  # objects of their own
    live.remove(other)
    assert len(parts.objects_of(scene, "block")) == len(start().blocks)
    assert live.plan_of(other) is None


def test_a_copied_scene_goes_on_by_itself(scene: Any) -> None:
    bpy.ops.scene.new(type="FULL_COPY")
    copy = bpy.context.scene
    assert copy is not scene
    copy.duskrail.title = "Another evening"
    bpy.context.view_layer.update()
    assert scene.duskrail.title == start().title
    assert len(copy.duskrail.blocks) == len(start().blocks)


# ---------------------------------------------------------------- what stands in a scene


def says(scene: Any) -> str:
    return live.state_of(scene).problem + " ".join(live.state_of(scene).said)


def test_a_block_under_a_scaled_and_turned_parent_stands_where_it_is_seen(scene: Any) -> None:
    parent = bpy.data.objects.new("parent", None)
    scene.collection.objects.link(parent)
    parent.matrix_basis = (
        Matrix.Translation((5.0, 0.0, 0.0)) @ Matrix.Rotation(0.3, 4, "Z") @ Matrix.Scale(2.0, 4)
    )
    tower = block_of(scene, "lighthouse")
    tower.parent = parent
    bpy.context.view_layer.update()
    bpy.context.view_layer.update()
    seen = start().blocks[[b.name for b in start().blocks].index("lighthouse")]
    plan = live.plan_of(scene)
    assert plan is not None
    (block,) = (b for b in plan.blocks if b.name == "lighthouse")
    assert block.size_m is not None
    assert seen.size_m is not None
    assert block.size_m[2] == pytest.approx(2.0 * seen.size_m[2], rel=1e-4)
    assert "Traceback" not in says(scene)


def test_another_unit_scale_is_told_and_nothing_breaks(scene: Any, capfd: pytest.CaptureFixture[str]) -> None:
    scene.unit_settings.scale_length = 0.01
    block_of(scene, "lighthouse").location.x += 1.0
    bpy.context.view_layer.update()
    assert "unit scale of 0.01" in says(scene)
    bpy.ops.duskrail.set_units()
    bpy.context.view_layer.update()
    live.take_edits(scene)
    plan = live.plan_of(scene)
    assert plan is not None
    assert plan != start()
    assert "Traceback" not in "".join(capfd.readouterr())


@pytest.mark.parametrize("part", ["rail", "carriage", "pan", "tilt", "camera", "sun", "moon", "ground"])
def test_a_part_that_was_deleted_comes_back_with_the_next_change(
    scene: Any, part: str, capfd: pytest.CaptureFixture[str]
) -> None:
    bpy.data.objects.remove(present(parts.object_of(scene, part)))
    bpy.context.view_layer.update()
    assert redraw.missing_parts(scene) == ([part] if part in redraw.RIG_PARTS else [])
    scene.duskrail.interval = 14.0
    bpy.ops.duskrail.redraw()
    assert parts.object_of(scene, part) is not None
    assert scene.camera is not None
    assert "Traceback" not in "".join(capfd.readouterr())


def test_all_poses_deleted_come_back(scene: Any) -> None:
    for ghost in parts.objects_of(scene, "pose"):
        bpy.data.objects.remove(ghost)
    bpy.context.view_layer.update()
    assert len(parts.objects_of(scene, "pose")) == 2
    assert live.plan_of(scene) == start()


def test_renamed_objects_are_found_again_and_rename_their_blocks(scene: Any) -> None:
    for name in ("Rail", "Carriage", "Pan", "Tilt", "Camera"):
        for thing in scene.collection.all_objects:
            if thing.name.startswith(name):
                thing.name = f"my {name}"
    block_of(scene, "inn").name = "tavern"
    bpy.context.view_layer.update()
    live.take_edits(scene)
    plan = live.plan_of(scene)
    assert plan is not None
    assert "tavern" in {b.name for b in plan.blocks}
    scene.duskrail.poses[0].pan = math.radians(268.0)
    assert live.state_of(scene).problem == ""


def test_a_scene_linked_from_another_file_is_greyed_out_with_a_reason(scene: Any, tmp_path: Path) -> None:
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "library.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    live.clear()
    with bpy.data.libraries.load(str(tmp_path / "library.blend"), link=True) as (there, here):
        here.scenes = list(there.scenes)
    linked = next(s for s in bpy.data.scenes if s.library)
    with bpy.context.temp_override(scene=linked):
        assert not bpy.ops.duskrail.step_day.poll()
        with pytest.raises(RuntimeError, match=r"linked from"):
            bpy.ops.duskrail.step_day()
    handlers.on_load()
    handlers.on_undo(bpy.context.scene)


def test_a_linked_block_does_not_break_anything(
    scene: Any, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    mesh = bpy.data.meshes.new("rock")
    mesh.from_pydata(
        [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], [], [(2, 1, 0), (0, 1, 3), (1, 2, 3), (2, 0, 3)]
    )
    rock = bpy.data.objects.new("rock", mesh)
    scene.collection.objects.link(rock)
    bpy.data.libraries.write(str(tmp_path / "rocks.blend"), {rock})
    bpy.data.objects.remove(rock)
    with bpy.data.libraries.load(str(tmp_path / "rocks.blend"), link=True) as (_there, here):
        here.objects = ["rock"]
    rock = here.objects[0]
    scene.collection.objects.link(rock)
    bpy.context.view_layer.update()
    rock.select_set(True)
    with pytest.raises(RuntimeError, match="rock is linked from another file; make it local"):
        bpy.ops.duskrail.mark_block(role="foreground")
    background = next(c for c in parts.collections_of(scene) if c.name.startswith("Background"))
    background.objects.link(rock)
    bpy.context.view_layer.update()
    scene.duskrail.interval = 14.0
    assert "Traceback" not in "".join(capfd.readouterr())


def test_a_plan_text_broken_by_hand_is_told_and_does_not_spread(
    scene: Any, capfd: pytest.CaptureFixture[str]
) -> None:
    scene[store.PLAN_KEY] = store.stored_text(scene)[:-20]  # type: ignore[index]
    bpy.context.view_layer.update()
    assert live.plan_of(scene) is None
    assert "stops being JSON" in live.unreadable(scene)
    assert scene.duskrail.latitude == 0.0
    scene.duskrail.latitude = 12.0
    handlers.on_load()
    handlers.on_undo(scene)
    with pytest.raises(RuntimeError, match="can't be read"):
        bpy.ops.duskrail.step_day()
    assert "Traceback" not in "".join(capfd.readouterr())


def test_a_mesh_being_edited_is_left_alone_until_the_editing_ends(scene: Any) -> None:
    tower = block_of(scene, "lighthouse")
    bpy.context.view_layer.objects.active = tower
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.transform.resize(value=(2.0, 2.0, 1.0))
    bpy.context.view_layer.update()
    assert tower.mode == "EDIT"
    assert live.plan_of(scene) == start()
    bpy.ops.object.mode_set(mode="OBJECT")
    bpy.context.view_layer.update()
    plan = live.plan_of(scene)
    assert plan is not None
    (block,) = (b for b in plan.blocks if b.name == "lighthouse")
    assert block.size_m is not None
    assert block.size_m[0] == pytest.approx(8.8, abs=1e-3)


def test_a_ghost_pulled_off_the_rail_goes_back_to_it(scene: Any) -> None:
    ghost = parts.objects_of(scene, "pose")[0]
    ghost.location.z += 1.0
    bpy.context.view_layer.update()
    bpy.context.view_layer.update()
    plan = live.plan_of(scene)
    assert plan is not None
    place = rig.pose_matrices(plan)[0].translation
    assert (parts.objects_of(scene, "pose")[0].matrix_world.translation - place).length < 1e-3


def test_with_no_camera_nothing_is_looked_through(empty: Any) -> None:
    live.set_plan(empty, start())
    bpy.data.objects.remove(empty.camera)
    with pytest.raises(RuntimeError, match="no 3D view and no camera"):
        bpy.ops.duskrail.stand_here(pose=0)


# ---------------------------------------------------------------- the preview in the background


@pytest.fixture
def in_a_folder(scene: Any, tmp_path: Path) -> Any:
    scene.duskrail.clip_file = str(tmp_path / "draft.mp4")
    scene.duskrail.clip_px = 64
    scene.duskrail.use_range = True
    scene.duskrail.first_frame, scene.duskrail.last_frame = 179, 182
    yield scene
    preview.stop()


def test_four_frames_are_rendered_in_the_background(in_a_folder: Any, tmp_path: Path) -> None:
    before = store.stored_text(in_a_folder)
    assert bpy.ops.duskrail.preview() == {"FINISHED"}
    job = preview.current()
    assert job is not None
    assert job.result is not None
    assert job.result.frames == 4
    assert job.result.size == "64 × 36"
    assert (tmp_path / "draft.mp4").stat().st_size > 500
    assert store.stored_text(in_a_folder) == before
    assert not job.folder.exists()


def test_a_stopped_preview_leaves_no_clip_and_no_litter(in_a_folder: Any, tmp_path: Path) -> None:
    in_a_folder.duskrail.last_frame = 360
    in_a_folder.duskrail.clip_px = 640
    job = Job(str(store.stored_text(in_a_folder)), task_of(in_a_folder))
    deadline = time.monotonic() + 120.0
    while job.look() and job.done_fraction == 0.0 and time.monotonic() < deadline:
        time.sleep(0.1)
    assert job.is_running(), job.problem
    job.stop()
    assert not job.is_running()
    assert job.process.poll() is not None
    assert list(tmp_path.iterdir()) == []
    assert not job.folder.exists()


def task_of(scene: Any) -> PreviewTask:
    plan = live.plan_of(scene)
    assert plan is not None
    return preview.task_of(scene, plan, preview.clip_path(scene))


def test_what_keeps_a_clip_from_being_made_is_told(in_a_folder: Any, tmp_path: Path) -> None:
    in_a_folder.duskrail.clip_file = str(tmp_path / "nowhere" / "draft.mp4")
    with pytest.raises(RuntimeError, match=r"is not a folder\. Choose where to save the clip"):
        bpy.ops.duskrail.preview()
    in_a_folder.duskrail.clip_file = str(tmp_path / "draft.mp4")
    in_a_folder.duskrail.clip_px = 7680 * 2
    job = Job("{}", task_of(in_a_folder))
    job.wait()
    assert job.problem.startswith("format: is missing;")


def test_the_other_blender_runs_nothing_from_the_current_folder(
    in_a_folder: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("bpy.py", "numpy.py", "attrs.py", "json.py"):
        (tmp_path / name).write_text(f"open({str(tmp_path / 'ran')!r}, 'w').close()", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    job = Job("{}", task_of(in_a_folder))
    job.wait()
    assert job.problem.startswith("format: is missing;")
    assert not (tmp_path / "ran").exists()


def test_progress_is_shown_as_the_other_blender_counts_it(in_a_folder: Any, tmp_path: Path) -> None:
    job = Job("{}", task_of(in_a_folder))
    job.wait()
    cases: tuple[tuple[dict[str, Any], str, float], ...] = (
        ({"done": 0, "engine": "Workbench"}, "Drawing with Workbench", 0.0),
        ({"seconds_left": 130.4}, "Frame 12 of 48, about 2 min 10 s left", 0.25),
        ({}, "Frame 12 of 48", 0.25),
        ({"stage": "encoding", "done": 48}, "Writing the clip", 1.0),
    )
    for changes, text, fraction in cases:
        job.progress = attrs.evolve(Progress(stage="drawing", done=12, total=48), **changes)
        assert (job.text, job.done_fraction) == (text, fraction)


def test_the_clip_goes_beside_the_plan_file(scene: Any, tmp_path: Path) -> None:
    bpy.ops.duskrail.save_as(filepath=str(tmp_path / "evening.plan.json"))
    assert preview.clip_path(scene) == tmp_path / "evening.mp4"
    scene.duskrail.clip_file = str(tmp_path / "other")
    assert preview.clip_path(scene) == tmp_path / "other.mp4"


@pytest.mark.parametrize(("width", "height"), [(640, 360), (64, 36), (100, 56)])
def test_heights_are_even_and_in_the_clips_shape(width: int, height: int) -> None:
    assert preview.even_height(width, start().clip) == height


def test_a_subject_renamed_in_the_scene_stays_the_subject(scene: Any) -> None:
    thing = next(b for b in parts.objects_of(scene, "block") if b.name == "lighthouse")
    thing.name = "Old light"
    assert live.take_edits(scene)
    plan = live.plan_of(scene)
    assert plan is not None
    assert plan.composition is not None
    assert plan.composition.subject == "Old light"
    report = live.review_now(scene)
    assert report is not None
    assert not any(found.code == "subject-unknown" for found in report.findings)


def test_what_is_refused_is_told_with_when(scene: Any) -> None:
    before = time.monotonic()
    assert live.change_plan(scene, lambda plan: edits.evolved(plan, "site.latitude_deg", 431.0))
    assert before <= live.state_of(scene).refused_at_s <= time.monotonic()
