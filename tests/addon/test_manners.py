"""The add-on in a file as people use it: fields aren't animated, undo, plan files, the startup file."""

from __future__ import annotations

import datetime as dt
from fnmatch import fnmatch
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import bpy
import pytest

from blender_addon.read import settings
from blender_addon.scene import parts
from blender_addon.state import files, handlers, live
from blender_addon.ui import manual, manual_page, menus, operators
from blender_addon.ui.operators import plan_file, view
from planner_core import save_plan
from planner_core.edit import edits, starter
from planner_core.plan.changes import value_at
from tests.addon.scenes import planned


@pytest.fixture
def scene(empty: Any) -> Any:
    return planned(starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14)), empty)


def fields(scene: Any) -> list[tuple[Any, Any]]:
    """Every property of settings, poses and blocks, with its owner."""
    settings = scene.duskrail
    return [
        (owner, prop)
        for owner in (settings, settings.poses[0], settings.blocks[0])
        for prop in owner.bl_rna.properties
        if prop.identifier not in ("rna_type", "name", "poses", "blocks")
    ]


def test_no_field_of_a_plan_can_be_keyframed(scene: Any) -> None:
    animated = [prop.identifier for _, prop in fields(scene) if prop.is_animatable]
    assert animated == []
    with pytest.raises(TypeError):
        scene.duskrail.keyframe_insert("latitude")


def test_a_field_set_back_takes_the_value_of_a_new_plan(scene: Any) -> None:
    usual = starter.PlanDefaults()
    defaults = {prop.identifier: prop for owner, prop in fields(scene) if owner == scene.duskrail}
    assert defaults["latitude"].default == pytest.approx(usual.latitude_deg)
    assert defaults["longitude"].default == pytest.approx(usual.longitude_deg)
    assert defaults["focal_length"].default == pytest.approx(usual.focal_length_mm)
    assert defaults["frames"].default == starter.EVENING_FRAMES
    assert defaults["event"].default == "sunset"
    assert defaults["anchor_at"].default == pytest.approx(50.0)


def test_every_default_of_a_number_is_one_that_the_plan_takes(scene: Any) -> None:
    for prop in scene.duskrail.bl_rna.properties:
        is_number = prop.type in ("FLOAT", "INT") and not prop.is_array
        if is_number and prop.identifier not in ("pose_row", "block_row"):
            setattr(scene.duskrail, prop.identifier, prop.default)
            assert live.state_of(scene).problem == "", prop.identifier


def test_undo_after_saving_neither_blames_the_disk_nor_loses_the_file(scene: Any, tmp_path: Path) -> None:
    path = str(tmp_path / "evening.plan.json")
    bpy.ops.ed.undo_push(message="start")
    assert bpy.ops.duskrail.save_as(filepath=path) == {"FINISHED"}
    bpy.context.scene.duskrail.title = "First"
    bpy.ops.ed.undo_push(message="first")
    assert bpy.ops.duskrail.save() == {"FINISHED"}
    bpy.context.scene.duskrail.title = "Second"
    bpy.ops.ed.undo_push(message="second")
    bpy.ops.ed.undo()
    handlers.on_undo(bpy.context.scene)
    assert bpy.context.scene.duskrail.title == "First"
    assert not plan_file.changed_on_disk(bpy.context.scene)
    assert not files.is_unsaved(bpy.context.scene)
    bpy.ops.ed.undo()
    handlers.on_undo(bpy.context.scene)
    assert bpy.context.scene.duskrail.file == path
    assert not plan_file.changed_on_disk(bpy.context.scene)
    assert files.is_unsaved(bpy.context.scene)
    assert bpy.ops.duskrail.save() == {"FINISHED"}


def test_a_file_that_somebody_else_wrote_is_still_noticed(scene: Any, tmp_path: Path) -> None:
    path = tmp_path / "evening.plan.json"
    bpy.ops.duskrail.save_as(filepath=str(path))
    plan = live.plan_of(scene)
    assert plan is not None
    save_plan(edits.evolved(plan, "title", "Theirs"), path)
    assert plan_file.changed_on_disk(scene)


def test_undoing_an_opening_gives_back_the_name_from_before(scene: Any, tmp_path: Path) -> None:
    one, two = str(tmp_path / "one.plan.json"), str(tmp_path / "two.plan.json")
    bpy.ops.duskrail.save_as(filepath=one)
    plan = live.plan_of(scene)
    assert plan is not None
    save_plan(edits.evolved(plan, "title", "Two"), two)
    bpy.ops.ed.undo_push(message="saved")
    bpy.ops.duskrail.open(filepath=two)
    bpy.ops.ed.undo_push(message="opened")
    assert bpy.context.scene.duskrail.file == two
    bpy.ops.ed.undo()
    handlers.on_undo(bpy.context.scene)
    assert bpy.context.scene.duskrail.file == one


def test_what_a_fit_did_is_said_no_more_when_it_is_undone(scene: Any) -> None:
    context: Any = bpy.context
    scene.duskrail.anchor_at = 15.0
    bpy.ops.ed.undo_push(message="early")
    assert bpy.ops.duskrail.apply_fit(kind="balance") == {"FINISHED"}
    bpy.ops.ed.undo_push(message="fitted")
    assert live.state_of(context.scene).fit_said
    bpy.ops.ed.undo()
    handlers.on_undo(context.scene)
    assert context.scene.duskrail.anchor_at == pytest.approx(15.0)
    assert live.state_of(context.scene).fit_said == ()


@pytest.mark.parametrize("opens", [True, False])
def test_a_plan_in_the_startup_scene_stands_alone(addon: None, tmp_path: Path, opens: bool) -> None:
    bpy.ops.wm.read_factory_settings()
    live.clear()
    if opens:
        path = tmp_path / "evening.plan.json"
        save_plan(starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14)), path)
        assert bpy.ops.duskrail.open(filepath=str(path)) == {"FINISHED"}
    else:
        assert bpy.ops.duskrail.start_plan() == {"FINISHED"}
    assert [
        obj.name for obj in bpy.context.scene.objects if parts.part_of(obj) is None and obj.type != "EMPTY"
    ] == []


def test_a_startup_cube_that_somebody_moved_stays(addon: None) -> None:
    bpy.ops.wm.read_factory_settings()
    live.clear()
    bpy.data.objects["Cube"].location.x = 3.0
    bpy.ops.duskrail.start_plan()
    assert "Cube" in bpy.context.scene.objects


def test_views_can_be_turned_where_nothing_may_be_changed(
    scene: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "linked", lambda _scene: "linked from another file")
    assert not bpy.ops.duskrail.step_day.poll()
    for cls in view.CLASSES:
        assert getattr(bpy.ops.duskrail, cls.bl_idname.split(".")[1]).poll(), cls.bl_idname


# ---------------------------------------------------------------- scenes side by side, and many strangers


def block_of(scene: Any, name: str) -> Any:
    return next(b for b in parts.objects_of(scene, "block") if b.get("duskrail_name") == name)


def test_a_linked_copy_is_refused_until_it_has_objects_of_its_own(scene: Any) -> None:
    copied = scene.copy()
    plan = live.plan_of(scene)
    assert live.plan_of(copied) == plan
    assert "give this one its own" in live.linked(copied)
    block_of(scene, "lighthouse").location.x += 25.0
    bpy.context.view_layer.update()
    assert live.take_edits(scene) is False
    block_of(scene, "lighthouse").location.x -= 25.0
    live.make_own(copied)
    assert live.linked(copied) == live.linked(scene) == ""
    assert live.plan_of(copied) == plan
    assert not {o.name for o in copied.objects if parts.part_of(o)} & {
        o.name for o in scene.objects if parts.part_of(o)
    }
    block_of(scene, "lighthouse").location.x += 25.0
    bpy.context.view_layer.update()
    assert live.plan_of(scene) != plan
    assert live.plan_of(copied) == plan
    assert block_of(copied, "lighthouse").location.x == pytest.approx(6.0)


def test_a_full_copy_keeps_every_name_of_the_plan(scene: Any) -> None:
    plan = live.plan_of(scene)
    bpy.ops.scene.new(type="FULL_COPY")
    copied = next(s for s in bpy.data.scenes if s != scene)
    assert block_of(copied, "lighthouse").name != "lighthouse"
    live.catch_up(copied)
    assert live.plan_of(copied) == plan == live.plan_of(scene)


# ---------------------------------------------------------------- Blender's own settings


def other_fps(scene: Any) -> None:
    scene.render.fps, scene.render.fps_base = 30, 1.0


def other_frames(scene: Any) -> None:
    scene.frame_end = 200


def other_size(scene: Any) -> None:
    scene.render.resolution_x, scene.render.resolution_y = 1920, 1080


TAKEN: dict[str, tuple[Any, str, Any]] = {
    "fps": (other_fps, "clip.fps", 30.0),
    "frames": (other_frames, "shoot.frames", 200),
    "size": (other_size, "clip.width_px", 1920),
}


@pytest.mark.parametrize("key", list(TAKEN))
def test_a_setting_of_blender_is_told_kept_and_taken_or_set_back(scene: Any, key: str) -> None:
    change, path, wanted = TAKEN[key]
    plan = live.plan_of(scene)
    assert plan is not None
    assert settings.differences(scene, plan) == []
    change(scene)
    assert [found.key for found in settings.differences(scene, plan)] == [key]
    scene.duskrail.interval = 9.0  # another edit draws the timeline again, and leaves it
    plan = live.plan_of(scene)
    assert plan is not None
    assert [found.key for found in settings.differences(scene, plan)] == [key]
    assert bpy.ops.duskrail.restore_setting(setting=key) == {"FINISHED"}
    assert settings.differences(scene, plan) == []
    change(scene)
    assert bpy.ops.duskrail.take_setting(setting=key) == {"FINISHED"}
    plan = live.plan_of(scene)
    assert plan is not None
    assert value_at(plan, path) == wanted
    assert settings.differences(scene, plan) == []


def test_another_camera_a_shifted_lens_and_an_animated_one_are_told_and_set_back(scene: Any) -> None:
    plan = live.plan_of(scene)
    assert plan is not None
    camera = scene.camera
    other = bpy.data.objects.new("Other", bpy.data.cameras.new("Other"))
    scene.collection.objects.link(other)
    scene.camera = other
    scene.timeline_markers.new("Cut", frame=9).camera = other
    camera.data.shift_x = 0.1
    camera.data.lens = 50.0
    camera.data.keyframe_insert("lens", frame=1)
    keys = [found.key for found in settings.differences(scene, plan)]
    assert keys == ["camera", "markers", "lens", "animated:lens"]
    assert not any(found.take for found in settings.differences(scene, plan))
    scene.duskrail.focus = 4.0  # draws the rig again
    assert scene.camera == other
    assert camera.data.shift_x == pytest.approx(0.1)
    for key in keys:
        assert bpy.ops.duskrail.restore_setting(setting=key) == {"FINISHED"}
    after = live.plan_of(scene)
    assert after is not None
    assert settings.differences(scene, after) == []
    assert camera.data.lens == pytest.approx(plan.camera.focal_length_mm)
    assert scene.camera == camera


def test_a_focal_length_set_on_the_camera_is_the_plans(scene: Any) -> None:
    scene.camera.data.lens = 35.0
    assert live.take_edits(scene)
    plan = live.plan_of(scene)
    assert plan is not None
    assert plan.camera.focal_length_mm == pytest.approx(35.0)


def test_imperial_units_stay(scene: Any) -> None:
    scene.unit_settings.system = "IMPERIAL"
    scene.duskrail.interval = 9.0
    assert scene.unit_settings.system == "IMPERIAL"


# ---------------------------------------------------------------- the manual


def test_every_button_and_field_has_a_part_of_the_manual(scene: Any) -> None:
    page = manual_page.PAGE.read_text("utf-8")
    _, topics = manual.manual_map()
    names = [f"bpy.ops.{cls.bl_idname}" for cls in operators.CLASSES]
    names += [
        f"bpy.types.{owner.bl_rna.identifier.lower()}.{prop.identifier}" for owner, prop in fields(scene)
    ]
    for name in names:
        found = next((topic for pattern, topic in topics if fnmatch(name.lower(), pattern)), None)
        assert found is not None, name
        assert f'id="{found}"' in page, found


@pytest.mark.parametrize(
    ("field", "part"),
    [("latitude", "place"), ("focal_length", "rig"), ("f_number", "exposure"), ("every", "preview")],
)
def test_a_field_leads_to_the_part_of_the_manual_that_its_panel_has(field: str, part: str) -> None:
    _, topics = manual.manual_map()
    name = f"bpy.types.duskrail_pg_settings.{field}"
    assert next(topic for pattern, topic in topics if fnmatch(name, pattern)) == part


def test_a_plan_file_dropped_into_the_view_is_opened(scene: Any, tmp_path: Path) -> None:
    path = tmp_path / "dropped.plan.json"
    plan = live.plan_of(scene)
    assert plan is not None
    save_plan(edits.evolved(plan, "title", "Dropped"), path)
    handler = menus.DUSKRAIL_FH_plan
    opens: Any = getattr(bpy.ops.duskrail, handler.bl_import_operator.removeprefix("duskrail."))
    assert path.suffix == handler.bl_file_extensions
    assert handler.poll_drop(SimpleNamespace(area=SimpleNamespace(type="VIEW_3D")))
    assert not handler.poll_drop(SimpleNamespace(area=SimpleNamespace(type="CONSOLE")))
    assert opens("INVOKE_DEFAULT", filepath=str(path)) == {"FINISHED"}
    assert scene.duskrail.title == "Dropped"
