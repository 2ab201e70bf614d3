"""Shots of an evening in Blender: plans as scenes of one file, their timetable, and the remedies in one
step.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import attrs
import bpy
import pytest

from blender_addon.scene import parts, store
from blender_addon.state import live, shots
from blender_addon.ui import translation
from blender_addon.ui.operators.shots import moved_plans
from planner_core import Plan, load_plan, save_plan
from planner_core.evening.shots import Terms, read_shots
from planner_core.fit.evening import solve_evening
from planner_core.output.evening.rows import evening_rows
from planner_core.output.evening.words import row_text
from planner_core.words import language
from tests.addon.scenes import empty_scene
from tests.addon.test_panels import drawn
from tests.present import present

NAMES = ("weir_slide", "bridge_pan", "mill_night")


@pytest.fixture(scope="module")
def files(project_root: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The example evening with one rig for two of its shots, and few frames, so that it is quick."""
    folder, written = tmp_path_factory.mktemp("plans"), []
    for name in NAMES:
        plan = load_plan(project_root / "example_scenes" / "evening" / f"{name}.plan.json")
        shoot = plan.shoot
        plan = attrs.evolve(
            plan,
            shoot=attrs.evolve(shoot, frames=10, interval_s=round(plan.duration_s / 9.0, 1)),
            exposure=attrs.evolve(present(plan.exposure), meter="ground"),
            blocks=plan.blocks[:3],
        )
        save_plan(plan, folder / f"{name}.plan.json")
        written.append(folder / f"{name}.plan.json")
    return written


@pytest.fixture
def evening(addon: None, files: list[Path]) -> Any:
    """The plans as scenes of a new file."""
    empty_scene()
    live.clear()
    shots.clear()
    assert add(files) == {"FINISHED"}
    return bpy.context.scene


def add(files: list[Path]) -> Any:
    return bpy.ops.duskrail.add_shots(
        directory=str(files[0].parent), files=[{"name": path.name} for path in files]
    )


def stored() -> dict[str, str]:
    """Each scene's plan as it stands."""
    return {scene.name: present(store.stored_text(scene)) for scene in shots.scenes_with_plans()}


def test_plans_become_scenes_each_with_its_own(evening: Any, files: list[Path]) -> None:
    plans = [load_plan(path) for path in files]
    scenes = shots.scenes_with_plans()
    assert {scene.name for scene in scenes} == {plan.title for plan in plans}
    assert {present(live.plan_of(scene)).title: scene.duskrail.file for scene in scenes} == {
        plan.title: str(path) for plan, path in zip(plans, files, strict=True)
    }
    starts = [float(present(live.frames_of(scene)).utc_s[0]) for scene in scenes]
    assert starts == sorted(starts)
    assert all(live.shares_with(scene) is None for scene in scenes)


def test_the_panel_has_the_timetable_that_the_verb_prints(evening: Any) -> None:
    solved = present(shots.solve_now())
    plans = [present(live.plan_of(scene)) for scene in shots.scenes_with_plans()]
    same = solve_evening(read_shots(plans, [plan.title for plan in plans]), Terms())
    told = "\n".join(drawn(evening)["DUSKRAIL_PT_shots"]).replace("\nlabel ", " ")
    for row in evening_rows(same):
        assert row_text(same, row).split(" (")[0].split()[-1] in told
    assert present(solved.evening).rush_s == same.rush_s
    assert told.count("duskrail.go_to_shot") == len(NAMES)
    assert "duskrail.save_evening" in told


def test_one_goes_to_a_shots_scene_and_leaves_one_out(evening: Any) -> None:
    last = shots.scenes_with_plans()[-1]
    assert bpy.ops.duskrail.go_to_shot(scene=last.name) == {"FINISHED"}
    last.duskrail.in_evening = False
    assert len(present(shots.solve_now()).shots) == len(NAMES) - 1
    assert last.session_uid not in present(shots.task_now()).scenes
    assert "duskrail.go_to_shot" in "\n".join(drawn(evening)["DUSKRAIL_PT_shots"])


def test_people_and_pace_are_those_of_the_evening_in_whichever_scene(evening: Any) -> None:
    evening.duskrail.evening_people = 2
    evening.duskrail.evening_pace = 5.0
    assert {scene.duskrail.evening_people for scene in shots.scenes_with_plans()} == {2}
    assert present(shots.task_now()).terms == Terms(people=2, pace_m_s=5.0 / 3.6)


def test_a_shot_that_begins_before_the_others_takes_their_people_and_pace_over(
    addon: None, files: list[Path]
) -> None:
    empty_scene()
    live.clear()
    shots.clear()
    add(files[1:])
    terms = Terms(people=3, pace_m_s=5.0 / 3.6, detour=1.5)
    settings: Any = present(bpy.context.scene).duskrail  # type: ignore[attr-defined]
    settings.evening_people, settings.evening_pace, settings.evening_detour = 3, 5.0, 1.5
    add(files[:1])
    first = shots.scenes_with_plans()[0]
    assert first.duskrail.file == str(files[0])
    assert present(shots.task_now()).terms == terms
    bpy.ops.duskrail.new_scene(example=False)
    assert present(bpy.context.scene).duskrail.evening_people == 3  # type: ignore[attr-defined]


def test_starts_wait_while_a_mesh_of_any_shot_is_edited_and_the_page_does_not(evening: Any) -> None:
    shots.solve_now()
    assert bpy.ops.duskrail.take_starts.poll()
    present(bpy.context.view_layer).objects.active = parts.objects_of(evening, "block")[0]
    bpy.ops.object.mode_set(mode="EDIT")
    assert not bpy.ops.duskrail.take_starts.poll()
    assert not bpy.ops.duskrail.take_remedy.poll()
    assert bpy.ops.duskrail.save_evening.poll()
    bpy.ops.object.mode_set(mode="OBJECT")
    assert bpy.ops.duskrail.take_starts.poll()


def crowded(evening: Any) -> Any:
    """All shots attended, and on one rig, so that they clash."""
    for scene in shots.scenes_with_plans():
        plan = present(live.plan_of(scene))
        shoot = attrs.evolve(plan.shoot, attended=True)
        live.set_plan(scene, attrs.evolve(plan, shoot=shoot, rig=attrs.evolve(plan.rig, name="slider")))
    return present(shots.solve_now())


def test_every_remedy_is_one_step_to_undo_and_leaves_no_clash(evening: Any) -> None:
    solved = crowded(evening)
    assert "duskrail.take_remedy" in "\n".join(drawn(evening)["DUSKRAIL_PT_shots"])
    kinds = set()
    while present(solved.evening).clashes:
        attempts = present(solved.evening).attempts
        number = next(n for n, attempt in enumerate(attempts) if attempt.works)
        kinds.add(attempts[number].kind)
        bpy.ops.ed.undo_push(message="before")
        before, chosen = stored(), {s.name: s.duskrail.in_evening for s in shots.scenes_with_plans()}
        assert bpy.ops.duskrail.take_remedy(number=number) == {"FINISHED"}
        solved = present(shots.solve_now())
        assert not present(solved.evening).clashes
        bpy.ops.ed.undo_push(message="taken")
        bpy.ops.ed.undo()
        assert stored() == before
        assert {s.name: s.duskrail.in_evening for s in shots.scenes_with_plans()} == chosen
        # then the same without the shot in the middle, which leaves room for a remedy without leaving out
        if "drop" not in kinds or len(kinds) > 1:
            return
        shots.scenes_with_plans()[0].duskrail.in_evening = False
        solved = present(shots.solve_now())
    pytest.fail("nothing clashed")


def test_the_starts_of_the_timetable_are_taken_into_the_plans(evening: Any) -> None:
    solved = present(shots.solve_now())
    moved = moved_plans(present(solved.evening))
    if not moved:
        pytest.fail("the example evening has a start to move")
    assert bpy.ops.duskrail.take_starts() == {"FINISHED"}
    again = present(present(shots.solve_now()).evening)
    assert moved_plans(again) == {}
    assert again.rush_s == present(solved.evening).rush_s


def test_a_plan_that_cannot_be_read_adds_none(addon: None, files: list[Path], tmp_path: Path) -> None:
    empty_scene()
    live.clear()
    (tmp_path / "a.plan.json").write_bytes(files[0].read_bytes())
    (tmp_path / "b.plan.json").write_text("{", encoding="utf-8")
    with pytest.raises(RuntimeError, match=r"b\.plan\.json"):
        add([tmp_path / "a.plan.json", tmp_path / "b.plan.json"])
    assert shots.scenes_with_plans() == []


def test_plans_of_another_day_are_told_and_nothing_breaks(evening: Any) -> None:
    first = shots.scenes_with_plans()[0]
    plan = present(live.plan_of(first))
    live.set_plan(first, on_day_after(plan))
    solved = present(shots.solve_now())
    assert solved.evening is None
    assert "another evening" in str(solved.problem)
    assert "another evening" in "\n".join(drawn(evening)["DUSKRAIL_PT_shots"]).replace("\nlabel ", " ")


def on_day_after(plan: Plan) -> Plan:
    anchor = present(plan.shoot.anchor)
    later = attrs.evolve(anchor, date=anchor.date + dt.timedelta(days=2))
    return attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, anchor=later))


def test_the_evenings_page_and_its_sheets_are_saved_in_one_language(
    evening: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crowded(evening)
    saved = []
    for choose in (lambda: language.Language(language.ENGLISH), lambda: translation.LANGUAGES["de_DE"]):
        monkeypatch.setattr(shots, "_solved", None)  # worked out while that language is spoken
        language.chosen_by(choose)
        try:
            shots.solve_now()
            assert bpy.ops.duskrail.save_evening(filepath=str(tmp_path / "out.html")) == {"FINISHED"}
        finally:
            language.left(choose)
        saved.append({file.name: file.read_text("utf-8") for file in tmp_path.glob("out*.html")})
    assert saved[0] == saved[1]
    page = (tmp_path / "out.html").read_text("utf-8")
    for number in range(1, len(NAMES) + 1):
        assert f"out-{number}.html" in page
        assert (tmp_path / f"out-{number}.html").read_text("utf-8").startswith("<!doctype html>")
