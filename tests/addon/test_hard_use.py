"""The add-on in hard use: files one after another, other files' scenes, Esc, and anything in any order."""

from __future__ import annotations

import math
import os
import random
from collections import Counter
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.read import readback
from blender_addon.scene import parts
from blender_addon.state import live
from blender_addon.ui import evening, views
from blender_addon.ui.operators import preview as preview_operators
from planner_core import Plan, compute_frames
from planner_core.edit import edits
from tests.present import present
from tests.two_towers import plan

RANDOM_STEPS = int(os.environ.get("DUSKRAIL_RANDOM_STEPS", "180"))


def small(**changes: Any) -> Plan:
    """The evening in few frames."""
    return plan(shoot__frames=12, shoot__interval_s=489.0, **changes)


@pytest.fixture
def scene(empty: Any) -> Any:
    live.set_plan(empty, small())
    bpy.context.view_layer.update()
    return empty


def here() -> Any:
    """The scene at hand."""
    return bpy.context.scene


def pressed(days: int = 1) -> str:
    """A button pressed in the scene at hand; the date of its anchor afterwards."""
    assert bpy.ops.duskrail.step_day(days=days) == {"FINISHED"}
    found = live.plan_of(here())
    assert found is not None
    assert found.shoot.anchor is not None
    return found.shoot.anchor.date.isoformat()


# ---------------------------------------------------------------- files and scenes


def test_buttons_work_in_two_files_that_are_opened_in_turn(scene: Any, tmp_path: Path) -> None:
    one, other = str(tmp_path / "one.blend"), str(tmp_path / "other.blend")
    bpy.ops.wm.save_as_mainfile(filepath=one)
    live.set_plan(scene, edits.evolved(small(), "title", "Another evening"))
    bpy.ops.wm.save_as_mainfile(filepath=other)
    for days, expected in ((1, "2027-03-15"), (2, "2027-03-16")):
        for path, title in ((one, small().title), (other, "Another evening")):
            bpy.ops.wm.open_mainfile(filepath=path)
            assert here().duskrail.title == title
            assert pressed(days) == expected
            opened = live.plan_of(here())
            assert opened is not None
            assert opened.title == title
            assert live.state_of(here()).problem == ""


def test_a_scene_appended_from_another_file_goes_on_by_itself(scene: Any, tmp_path: Path) -> None:
    path = str(tmp_path / "library.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    own = here()
    live.set_plan(own, edits.evolved(small(), "title", "Our own"))
    bpy.ops.wm.append(filename="Scene", directory=f"{path}/Scene/")
    appended = next(s for s in bpy.data.scenes if s != own)
    assert appended.library is None
    for each, title, expected in ((appended, small().title, "2027-03-15"), (own, "Our own", "2027-03-15")):
        with bpy.context.temp_override(scene=each, view_layer=each.view_layers[0]):
            assert pressed() == expected
        kept = live.plan_of(each)
        assert kept is not None
        assert kept.title == title
    ours, theirs = ({thing.name for thing in parts.objects_of(s, "block")} for s in (own, appended))
    assert ours
    assert theirs
    assert not ours & theirs


def test_a_linked_scene_is_refused_and_the_own_one_goes_on(scene: Any, tmp_path: Path) -> None:
    path = str(tmp_path / "library.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    own = here()
    live.set_plan(own, small())
    with bpy.data.libraries.load(path, link=True) as (there, wanted):
        wanted.scenes = list(there.scenes)
    linked = next(s for s in bpy.data.scenes if s.library)
    with bpy.context.temp_override(scene=linked), pytest.raises(RuntimeError, match="linked from"):
        bpy.ops.duskrail.step_day()
    assert pressed() == "2027-03-15"
    assert live.plan_of(linked) == small()


def test_undo_looks_at_the_scene_that_is_shown_and_at_others_later(
    scene: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(3):
        bpy.ops.duskrail.new_scene(example=False)
    bpy.ops.ed.undo_push(message="scenes")
    assert pressed()
    bpy.ops.ed.undo_push(message="day")
    looked: list[str] = []
    real = live.catch_up

    def catch_up(one: Any) -> None:
        looked.append(one.name)
        real(one)

    monkeypatch.setattr(live, "catch_up", catch_up)
    bpy.ops.ed.undo()
    shown = here().name
    assert looked == [shown]
    others = [one for one in bpy.data.scenes if one.name != shown]
    assert all(live.is_behind(one) for one in others)
    while live._look_at_others() is not None:
        pass
    assert looked == [shown, *(one.name for one in others)]
    assert not any(live.is_behind(one) for one in bpy.data.scenes)


def test_while_a_mesh_is_edited_the_plan_waits_also_at_undo(
    scene: Any, capfd: pytest.CaptureFixture[str]
) -> None:
    before = present(live.plan_of(scene))
    block = parts.objects_of(scene, "block")[0]
    bpy.context.view_layer.objects.active = block
    bpy.ops.ed.undo_push(message="chosen")
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.ed.undo_push(message="edit")
    assert not bpy.ops.duskrail.step_day.poll()
    assert bpy.ops.duskrail.weakest_frame.poll()  # draws nothing
    scene.duskrail.interval = 491.0
    assert "is being edited" in live.state_of(scene).problem
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.transform.translate(value=(0.0, 0.0, 3.0))
    bpy.ops.ed.undo_push(message="moved")
    for step in (bpy.ops.ed.undo, bpy.ops.ed.redo):
        assert step() == {"FINISHED"}
        assert live.plan_of(here()) == before
    bpy.ops.object.mode_set(mode="OBJECT")
    bpy.context.view_layer.update()
    after = present(live.plan_of(here()))
    assert present(after.blocks[0].centre_m)[2] == pytest.approx(present(before.blocks[0].centre_m)[2] + 3.0)
    assert pressed() == "2027-03-15"
    assert "Traceback" not in "".join(capfd.readouterr())


# ---------------------------------------------------------------- the window, without one


class _Job:
    """A preview that is being drawn."""

    def __init__(self) -> None:
        self.stopped, self.result, self.problem, self.text = False, None, "", "Frame 1 of 12"

    def is_running(self) -> bool:
        return not self.stopped

    def look(self) -> bool:
        return not self.stopped

    def stop(self) -> None:
        self.stopped = True


@pytest.mark.parametrize("is_playing", [True, False])
def test_esc_stops_the_preview_unless_it_stops_the_playing(
    monkeypatch: pytest.MonkeyPatch, *, is_playing: bool
) -> None:
    job = _Job()
    monkeypatch.setattr(preview_operators, "_jobs", [job])
    monkeypatch.setattr(preview_operators, "current", lambda: job)
    monkeypatch.setattr(preview_operators, "running", job.is_running)
    told: list[str | None] = []
    context = SimpleNamespace(
        screen=SimpleNamespace(is_animation_playing=is_playing),
        workspace=SimpleNamespace(status_text_set=told.append),
        window_manager=SimpleNamespace(event_timer_remove=lambda _timer: None),
    )
    operator = SimpleNamespace(timer=None, _end=lambda _context: None, _tell=lambda _job: {"CANCELLED"})
    modal: Any = preview_operators.DUSKRAIL_OT_preview.modal
    answer = modal(operator, context, SimpleNamespace(type="ESC", value="PRESS"))
    assert job.stopped is not is_playing
    assert answer == ({"PASS_THROUGH"} if is_playing else {"CANCELLED"})


def test_a_view_gets_its_camera_back_unless_that_is_gone(scene: Any) -> None:
    camera = bpy.data.objects.new("Mine", bpy.data.cameras.new("Mine"))
    scene.collection.objects.link(camera)
    kept, offset = evening.copied(camera), evening.copied(camera.location)
    assert evening.as_it_is_now(kept) == camera
    assert evening.as_it_is_now(offset) == (0.0, 0.0, 0.0)
    bpy.data.objects.remove(camera)
    assert evening.as_it_is_now(kept) is None


def test_a_block_added_in_local_view_is_seen_there() -> None:
    asked: list[tuple[Any, bool]] = []

    class Made:
        def local_view_set(self, space: Any, state: bool) -> None:
            asked.append((space, state))

    local, whole = (SimpleNamespace(local_view=view, region_3d=object()) for view in (object(), None))
    areas = [SimpleNamespace(type="VIEW_3D", spaces=SimpleNamespace(active=each)) for each in (local, whole)]
    context = SimpleNamespace(window=SimpleNamespace(screen=SimpleNamespace(areas=areas)))
    made: Any = [Made()]
    views.show_in_local_view(context, made)
    assert asked == [(local, True)]


# ---------------------------------------------------------------- anything in any order

BUTTONS: tuple[tuple[str, dict[str, tuple[Any, ...]]], ...] = (
    ("add_block", {"kind": ("tower", "house", "wall"), "where": ("MAP",), "distance": (5.0, 40.0, 900.0)}),
    ("add_ridge", {"distance": (500.0, 9000.0)}),
    ("anchor_here", {}),
    ("finding_go", {"finding": (0, 1, 5)}),
    ("go_to_event", {}),
    ("mark_block", {}),
    ("place_rig", {}),
    ("pose_add", {}),
    ("pose_go", {"pose": (0, 1, 7)}),
    ("pose_move", {"pose": (0, 1), "way": (-1, 1)}),
    ("pose_remove", {"pose": (0, 1, 2)}),
    ("redraw", {}),
    ("remove_block", {}),
    ("remove_plan", {}),
    ("new_scene", {"example": (False, True)}),
    ("read_back", {}),
    ("review_now", {}),
    ("set_role", {}),
    ("stand_here", {}),
    ("step_day", {"days": (-30, -1, 1, 200)}),
    ("weakest_frame", {}),
)
FIELDS: tuple[tuple[str, tuple[Any, ...]], ...] = (
    ("title", ("Dusk", "", "=1+1", "a\x1b[2Jb", "x" * 300)),
    ("frames", (1, 2, 12, 40, 10**7)),
    ("interval", (0.0, 2.0, 600.0, 1e9)),
    ("latitude", (-90.0, -33.0, 38.7, 78.2, 90.0)),
    ("focal_length", (0.01, 14.0, 35.0, 600.0)),
    ("anchor_at", (0.0, 50.0, 100.0)),
    ("bearing", (0.0, 3.0, 6.28)),
)


def can(operator: Any) -> bool:
    """Whether Blender would do it now."""
    return bool(operator.poll())


class Session:
    """A session in which anything is done; each step says what it was."""

    def __init__(self, seed: int) -> None:
        self.luck, self.did = random.Random(seed), Counter[str]()

    def step(self) -> None:
        deed = self.luck.choice(
            (
                *(self.press, self.press, self.press, self.set_field, self.move, self.delete),
                *(self.undo, self.redo, self.change_scene, self.edit_mesh),
            )
        )
        deed()
        self.did[deed.__name__] += 1
        bpy.context.view_layer.update()

    def press(self) -> None:
        name, options = self.luck.choice(BUTTONS)
        operator = getattr(bpy.ops.duskrail, name)
        known = operator.get_rna_type().properties.keys()
        chosen = {key: self.luck.choice(values) for key, values in options.items() if key in known}
        if not operator.poll():
            return
        try:
            operator(**chosen)
        except (RuntimeError, TypeError) as refused:  # an operator's report of an error, or a wrong option
            assert "Traceback" not in str(refused), f"{name}({chosen}): {refused}"
        bpy.ops.ed.undo_push(message=name)

    def set_field(self) -> None:
        name, values = self.luck.choice(FIELDS)
        settings = here().duskrail
        if hasattr(settings, name):
            setattr(settings, name, self.luck.choice(values))
            bpy.ops.ed.undo_push(message=name)

    def _thing(self) -> Any:
        things = list(here().objects)
        return self.luck.choice(things) if things else None

    def move(self) -> None:
        if (thing := self._thing()) is None:
            return
        thing.location[self.luck.randrange(3)] += self.luck.choice((-40.0, -0.1, 0.1, 3.0))
        if self.luck.random() < 0.3:
            thing.rotation_euler[2] += self.luck.uniform(-math.pi, math.pi)
        if self.luck.random() < 0.1:
            thing.scale[self.luck.randrange(3)] *= self.luck.choice((0.0, -1.0, 0.5, 30.0))
        bpy.ops.ed.undo_push(message="move")

    def delete(self) -> None:
        if self.luck.random() < 0.3 and (thing := self._thing()) is not None:
            bpy.data.objects.remove(thing)
            bpy.ops.ed.undo_push(message="delete")

    def edit_mesh(self) -> None:
        """Begin to edit a mesh, go on, or leave off."""
        if bpy.context.mode != "OBJECT":
            if self.luck.random() < 0.5:
                bpy.ops.object.mode_set(mode="OBJECT")
            else:
                bpy.ops.mesh.select_all(action="SELECT")
                self.luck.choice((bpy.ops.mesh.subdivide, bpy.ops.mesh.delete))()
        else:
            layer = present(bpy.context.view_layer)
            meshes = [thing for thing in layer.objects if thing.type == "MESH" and thing.visible_get()]
            if not meshes:
                return
            layer.objects.active = self.luck.choice(meshes)
            layer.update()  # what was moved is taken now, and may be drawn anew
            if layer.objects.active is None:
                return
            bpy.ops.object.mode_set(mode="EDIT")
        bpy.ops.ed.undo_push(message="edit")

    def undo(self) -> None:
        for _ in range(self.luck.choice((1, 1, 2, 5))):
            if can(bpy.ops.ed.undo):
                bpy.ops.ed.undo()

    def redo(self) -> None:
        if can(bpy.ops.ed.redo):
            bpy.ops.ed.redo()

    def change_scene(self) -> None:
        """Show another scene; where there are several more, remove the one that was shown."""
        shown, others = here(), [scene for scene in bpy.data.scenes if scene != here()]
        if not others:
            return
        present(bpy.context.window).scene = self.luck.choice(others)
        if len(others) > 2:
            bpy.data.scenes.remove(shown)
            purge: Any = bpy.data.orphans_purge
            purge(do_recursive=True)
        bpy.ops.ed.undo_push(message="change scene")


def check_session(did: str) -> None:
    """What holds whatever was done: the plan can be read, and its frames are numbers or it says why not."""
    if bpy.context.mode != "OBJECT":
        bpy.ops.object.mode_set(mode="OBJECT")
    scene = here()
    assert live.unreadable(scene) == "", did
    kept = live.plan_of(scene)
    if kept is None:
        return
    frames = live.frames_of(scene)
    if frames is not None:
        assert len(frames) == kept.shoot.frames, did
        assert np.isfinite(frames.camera_m).all(), did
    try:
        found = readback.read_scene(scene, thorough=False)
    except (readback.ReadbackError, ValueError) as refused:
        assert str(refused), did
    else:
        compute_frames(found.plan)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_session_of_anything_in_any_order_stays_sound(
    scene: Any, capfd: pytest.CaptureFixture[str], seed: int
) -> None:
    bpy.ops.ed.undo_push(message="start")
    session = Session(seed)
    for number in range(RANDOM_STEPS):
        session.step()
        if number % 10 == 9:
            check_session(f"step {number} of seed {seed}")
    assert (
        min(session.did[name] for name in ("press", "set_field", "move", "undo", "redo")) > RANDOM_STEPS / 60
    )
    out, err = capfd.readouterr()
    assert "Traceback" not in out + err, (out + err)[-3000:]
