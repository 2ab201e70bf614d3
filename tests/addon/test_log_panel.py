"""The log of a shoot in Blender: read beside the window, kept with the scene, laid over the plan, put
away.
"""

from __future__ import annotations

import json
import threading
from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
import pytest

from blender_addon.scene import store
from blender_addon.state import live
from blender_addon.state.thread_job import ThreadJob
from blender_addon.ui import overlay, timeline
from blender_addon.ui.operators import log as operators
from planner_core import compute_frames
from planner_core.log.curve import off_plan_stops
from planner_core.plan.model import Plan
from tests.addon.scenes import drawn as drawn_scene
from tests.addon.test_panels import drawn
from tests.present import present
from tests.shoots import write_card
from tests.two_towers import plan as towers

MISSING = 4


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Path]:
    """A short plan, and the card of it under lamps that the plan knows nothing of, a frame missing."""
    plan = towers(shoot__frames=12, shoot__interval_s=489.0)
    plan = attrs.evolve(plan, exposure=attrs.evolve(present(plan.exposure), meter="ground"))
    truth = attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, cloud_divisor=4.0))
    card = tmp_path_factory.mktemp("card")
    write_card(card, compute_frames(truth), ahead_s=61.0, fraction=True, without=(MISSING,))
    return plan, card


@pytest.fixture
def opened(addon: None, shot: tuple[Plan, Path]) -> Any:
    """The plan in a scene, with the folder opened as its log."""
    live.clear()
    scene: Any = drawn_scene(shot[0])[0]
    live.match_lists(scene, shot[0])
    assert bpy.ops.duskrail.open_log(filepath=str(shot[1])) == {"FINISHED"}
    return scene


def readout_at(scene: Any, frame: int) -> list[str]:
    """What the view tells of a frame."""
    scene.frame_set(frame)
    frames = present(live.frames_of(scene))
    return [text for text, _ in overlay.frame_lines(scene, frames)]


def test_the_readout_tells_each_frame_as_it_was_shot(opened: Any) -> None:
    log, frames = present(store.stored_log(opened)), present(live.frames_of(opened))
    off = off_plan_stops(log.curve, frames)
    told = readout_at(opened, 1)
    # four times less light by day: the camera opened by two stops, so frames came out as much brighter
    assert off[0] == pytest.approx(2.0, abs=0.2)
    assert told[-1].startswith("As shot ")
    assert told[-1].endswith(f"{off[0]:.1f} stops brighter than planned")
    assert readout_at(opened, MISSING)[-1] == "As shot: this frame is missing"
    opened.duskrail.show_log = False
    assert not any("As shot" in line for line in readout_at(opened, 1))


def test_the_timelines_strip_has_the_missing_frame_and_its_colours(opened: Any) -> None:
    curve = present(timeline.curve_of(opened))
    colours = timeline.off_plan_colours(off_plan_stops(curve, present(live.frames_of(opened))))
    assert [k + 1 for k in np.flatnonzero((colours == timeline.MISSING_COLOUR).all(axis=1))] == [MISSING]
    assert np.allclose(colours[0], timeline.AS_SHOT_COLOUR)
    assert np.allclose(timeline.off_plan_colours(np.array([-3.0, 0.0]))[0], timeline.DARKER_COLOUR)
    assert np.isnan(timeline.worst_of(np.array([0.3, np.nan])))
    assert timeline.worst_of(np.array([0.3, -0.8, 0.5])) == -0.8


def test_the_panel_tells_of_the_log_and_learns_from_it(opened: Any) -> None:
    told = "\n".join(drawn(opened)["DUSKRAIL_PT_log"])
    assert "11 frames" not in told  # twelve by their times, of which one is missing
    assert "12 frames" in told
    assert "1 missing" in told
    assert "cloud divisor" in told
    assert bpy.ops.duskrail.learn_from_log() == {"FINISHED"}
    assert present(live.plan_of(opened)).shoot.cloud_divisor == pytest.approx(4.0, rel=0.1)


def test_a_log_is_saved_undone_and_put_away_with_its_scene(opened: Any, tmp_path: Path) -> None:
    text = opened[store.LOG_KEY]
    bpy.ops.ed.undo_push(message="opened")
    assert bpy.ops.duskrail.clear_log() == {"FINISHED"}
    assert store.stored_log(opened) is None
    assert "open_log" in "\n".join(drawn(opened)["DUSKRAIL_PT_log"])
    bpy.ops.ed.undo_push(message="put away")
    bpy.ops.ed.undo()
    assert bpy.context.scene[store.LOG_KEY] == text  # type: ignore[index]
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shot.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "shot.blend"))
    assert len(present(store.stored_log(bpy.context.scene)).curve) == 12
    live.remove(present(bpy.context.scene))
    assert store.LOG_KEY not in bpy.context.scene  # type: ignore[operator]


def test_the_json_of_the_verb_and_a_single_frame_open_the_same_log(
    opened: Any, shot: tuple[Plan, Path], tmp_path: Path
) -> None:
    document = json.loads(opened[store.LOG_KEY])
    del document["source"]
    written = tmp_path / "log.json"
    written.write_text(json.dumps(document), encoding="utf-8")
    before = present(store.stored_log(opened)).curve
    for path in (written, next(shot[1].iterdir())):
        assert bpy.ops.duskrail.clear_log() == {"FINISHED"}
        assert bpy.ops.duskrail.open_log(filepath=str(path)) == {"FINISHED"}
        np.testing.assert_array_equal(present(store.stored_log(opened)).curve.ev100, before.ev100)


@pytest.mark.parametrize(
    ("content", "told"),
    [("{", "not JSON"), ('{"as_shot": 1}', "no exposures"), (None, "does not exist")],
)
def test_what_is_no_log_is_refused_and_changes_nothing(
    opened: Any, tmp_path: Path, content: str | None, told: str
) -> None:
    path, before = tmp_path / "x.json", opened[store.LOG_KEY]
    if content is not None:
        path.write_text(content, encoding="utf-8")
    with pytest.raises(RuntimeError, match=told):
        bpy.ops.duskrail.open_log(filepath=str(path))
    assert opened[store.LOG_KEY] == before


def test_a_log_that_no_version_can_read_is_told_and_put_away(opened: Any) -> None:
    opened[store.LOG_KEY] = '{"source": "x", "as_shot": {"f_number": [true]}}'
    assert store.stored_log(opened) is None
    assert "can't be read" in "\n".join(drawn(opened)["DUSKRAIL_PT_log"])
    assert bpy.ops.duskrail.clear_log() == {"FINISHED"}


def test_reading_is_stopped_by_esc_between_frames(addon: None, shot: tuple[Plan, Path]) -> None:
    heard, go_on = threading.Event(), threading.Event()

    def work(listen: Any) -> str:
        listen("frames 50 5000")
        heard.set()
        go_on.wait(10.0)
        return operators.read(str(shot[1]), shot[0], listen)

    job: ThreadJob[str] = ThreadJob(work)
    assert heard.wait(10.0)
    assert operators.progress_text(job.text) == "Reading the log: 50 of 5000 frames   (Esc stops it)"
    job.stop()
    go_on.set()
    job.wait(20.0)
    assert job.result is None
    assert job.problem is None
    assert job.defect is None
