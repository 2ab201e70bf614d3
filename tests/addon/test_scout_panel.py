"""The search for a shot in Blender: run in a process of its own, its finds stepped through and taken."""

from __future__ import annotations

from typing import Any

import attrs
import bpy
import numpy as np
import pytest

from blender_addon.scene import store
from blender_addon.state import live
from blender_addon.ui import scout_overlay
from blender_addon.ui.job_records import SUBJECTS, ScoutTask
from blender_addon.ui.operators import scout
from blender_addon.ui.scout_job import ScoutJob
from blender_addon.ui.translation import LANGUAGES
from planner_core.plan.file import plan_from_text, plan_to_text
from planner_core.words import language
from tests.addon.test_panels import drawn
from tests.present import present
from tests.scouting import TOWER, box, ground, place

BENCH = box("bench", "foreground", (1.0, 5.0), (1.8, 0.5, 0.8))


@pytest.fixture(scope="module")
def found(addon: None) -> Any:
    """A small place that was searched, in a scene."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    live.clear()
    scene: Any = bpy.context.scene
    live.set_plan(scene, place(TOWER, BENCH, ground("square", (-6.0, -5.0), (6.0, 3.0))))
    scene.duskrail.scout_reviews = 9
    assert bpy.ops.duskrail.scout() == {"FINISHED"}
    yield scene
    scout.stop()


def test_a_search_in_the_background_tells_finds_and_a_map(found: Any) -> None:
    shown = scout.shown_of(found)
    assert shown is not None
    assert len(shown.finds) >= 2
    assert len(shown.worth) == len(shown.places_m) > 20
    points = [find.points for find in shown.finds]
    assert points == sorted(points, reverse=True)


def test_the_panel_lists_the_finds_and_tells_about_the_chosen_one(found: Any) -> None:
    shown, told = scout.shown_of(found), "\n".join(drawn(found)["DUSKRAIL_PT_scout"])
    assert shown is not None
    assert told.count("duskrail.scout_choose") == len(shown.finds)
    assert "duskrail.scout_take" in told
    assert "points" in told
    assert "Check there" in told


def test_finds_are_stepped_through_in_a_ring(found: Any) -> None:
    shown = scout.shown_of(found)
    assert shown is not None
    for number in [*range(1, len(shown.finds)), 0]:
        bpy.ops.duskrail.scout_step(by=1)
        assert scout.chosen_find(found) is shown.finds[number]


def test_taking_a_find_makes_the_plan_that_find(found: Any) -> None:
    before = live.plan_of(found)
    find = scout.chosen_find(found)
    assert find is not None
    assert bpy.ops.duskrail.scout_take() == {"FINISHED"}
    assert live.plan_of(found) == plan_from_text(find.plan) != before


def test_a_click_on_the_map_stands_the_rig_there(found: Any) -> None:
    shown = scout.shown_of(found)
    assert shown is not None
    inner = np.hypot(*(shown.places_m[:, :2] - shown.places_m[:, :2].mean(axis=0)).T).argmin()
    there = shown.places_m[inner]

    class Operator:
        def report(self, _level: Any, text: str) -> None:
            assert "best shot" in text

    assert scout.stand_at(Operator(), found, there) == {"FINISHED"}
    rig = live.plan_of(found).rig  # type: ignore[union-attr]
    middle = np.array(rig.origin_m[:2]) + 0.75 * np.array(
        [np.sin(np.radians(rig.bearing_deg)), np.cos(np.radians(rig.bearing_deg))]
    )
    np.testing.assert_allclose(middle, there[:2], atol=0.02)


def test_a_find_that_was_taken_is_undone_and_done_again(found: Any) -> None:
    find = scout.chosen_find(found)
    assert find is not None
    live.set_plan(found, place(TOWER, BENCH, ground("square", (-6.0, -5.0), (6.0, 3.0))))
    bpy.ops.ed.undo_push(message="before")
    before = store.stored_text(found)
    assert bpy.ops.duskrail.scout_take() == {"FINISHED"}
    bpy.ops.ed.undo_push(message="taken")
    taken = store.stored_text(bpy.context.scene)
    assert taken != before
    bpy.ops.ed.undo()
    assert store.stored_text(bpy.context.scene) == before
    bpy.ops.ed.redo()
    assert store.stored_text(bpy.context.scene) == taken


@pytest.mark.parametrize("operator", [scout.DUSKRAIL_OT_scout_take, scout.DUSKRAIL_OT_scout_stand])
def test_what_moves_the_rig_can_be_undone(operator: type) -> None:
    assert "UNDO" in operator.bl_options  # type: ignore[attr-defined]


def test_searches_are_stopped_and_put_away(found: Any) -> None:
    scene: Any = bpy.context.scene
    with pytest.raises(RuntimeError, match="poll"):
        bpy.ops.duskrail.scout_stop()  # it ended by itself
    assert bpy.ops.duskrail.scout_clear() == {"FINISHED"}
    assert scout.shown_of(scene) is None


def test_a_ghost_looks_the_way_its_camera_does() -> None:
    lines = scout_overlay.ghost(np.zeros(3), np.eye(3), 0.5)
    assert lines[:, 2].min() == pytest.approx(-scout_overlay.GHOST_M)  # a camera looks along its −Z
    assert np.abs(lines[:, 0]).max() == pytest.approx(2.0 * np.abs(lines[3, 1]))


@pytest.mark.once
def test_evenings_and_subjects_are_searched_as_the_verb_does(found: Any) -> None:
    scene: Any = bpy.context.scene
    live.set_plan(scene, place(TOWER, BENCH, ground("square", (-6.0, -5.0), (6.0, 3.0)), frames=8))
    settings = scene.duskrail
    settings.scout_reviews = 6
    settings.scout_what, settings.scout_from, settings.scout_to = "EVENINGS", "2027-03-14", "2027-03-15"
    assert bpy.ops.duskrail.scout() == {"FINISHED"}
    shown = present(scout.shown_of(scene))
    assert [one.date.isoformat() for one in shown.evenings] == ["2027-03-14", "2027-03-15"]
    assert {day for find in shown.finds for day in find.best_evenings} <= {one.date for one in shown.evenings}
    for find in shown.finds:  # its plan is that of the first of its best evenings
        anchor = present(plan_from_text(find.plan).shoot.anchor)
        assert anchor.date == find.best_evenings[0]
    told = "\n".join(drawn(scene)["DUSKRAIL_PT_scout"])
    assert "Best on " in told
    evenings = [one for one in shown.evenings if one.best is not None]
    assert told.count("duskrail.scout_choose") == len(shown.finds) + len(evenings) > len(shown.finds)
    settings.scout_what = "SUBJECTS"
    assert bpy.ops.duskrail.scout() == {"FINISHED"}
    shown = present(scout.shown_of(scene))
    assert [find.subject for find in shown.finds] == ["tower"]  # the bench is near, for a foreground
    assert len(shown.places_m) == 0
    told = "\n".join(drawn(scene)["DUSKRAIL_PT_scout"])
    assert "The tower stands well" in told.replace("\nlabel ", " ")
    assert shown.finds[0].in_short.startswith("28 mm, ")
    assert "duskrail.scout_stand" not in told


def test_a_date_that_is_none_is_told_and_searches_nothing(found: Any) -> None:
    scene: Any = bpy.context.scene
    scene.duskrail.scout_what, scene.duskrail.scout_from = "EVENINGS", "next week"
    with pytest.raises(RuntimeError, match="not a date"):
        bpy.ops.duskrail.scout()


@pytest.mark.once
def test_another_process_tells_and_refuses_in_the_language_of_the_window(addon: None) -> None:
    plan = place(TOWER, BENCH, ground("square", (-6.0, -5.0), (6.0, 3.0)))
    task = ScoutTask(what=SUBJECTS, reviews=6, top=2)
    with language.spoken(LANGUAGES["de_DE"]):
        job = ScoutJob(plan_to_text(plan), task)
        nothing = ScoutJob(plan_to_text(attrs.evolve(plan, blocks=plan.blocks[2:])), task)
    job.wait()
    nothing.wait()
    assert job.problem == ""
    assert job.shown is not None
    for find in job.shown.finds:
        assert "dass du bis" in find.to_check[0]
        assert "Platz" in find.costs[0]
        assert plan_from_text(find.plan).title == plan.title
    assert nothing.problem.endswith("haben keinen mit einem Namen, der Motiv sein könnte")
