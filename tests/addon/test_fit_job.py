"""A fit beside the window says what it does, can be stopped, and is taken where the plan is still its own."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import bpy
import pytest

from blender_addon.state import live
from blender_addon.state.thread_job import Listener, ThreadJob
from blender_addon.ui.operators import review as operators
from planner_core import Plan
from planner_core.edit import edits
from planner_core.fit.result import Fit
from tests.two_towers import plan

STAGE = plan(shoot__frames=12, shoot__interval_s=489.0)


def endless(listen: Listener) -> Fit:
    while True:
        listen("tries change 7")


def renamed(listen: Listener) -> Fit:
    listen("finds a better name")
    return Fit(plan=edits.evolved(STAGE, "title", "A better name"), said=("The title was changed.",))


METHODS = ("invoke", "begin", "modal", "progress", "taken", "ended", "_end", "_take")


class Window:
    """What the operator asks of a window: a timer, the status bar, and somebody who presses keys."""

    def __init__(self, scene: Any, monkeypatch: pytest.MonkeyPatch, work: Any) -> None:
        self.status: list[str | None] = []
        self.told: list[tuple[set[str], str]] = []
        self.context = SimpleNamespace(
            scene=scene,
            window=None,
            screen=None,
            workspace=SimpleNamespace(status_text_set=self.status.append),
            window_manager=SimpleNamespace(
                event_timer_add=lambda *_a, **_k: None,
                event_timer_remove=lambda _timer: None,
                modal_handler_add=lambda _operator: None,
            ),
        )
        monkeypatch.setattr(operators, "fit_of", lambda _kind, _plan, listen: work(listen))
        kind: Any = operators.DUSKRAIL_OT_apply_fit
        methods = {name: getattr(kind, name) for name in METHODS}
        self.operator = SimpleNamespace(
            kind="compose",
            timer=None,
            UNDER_WAY=kind.UNDER_WAY,
            report=lambda level, text: self.told.append((level, text)),
            poll=lambda context: not operators._under_way,
        )
        for name, method in methods.items():
            setattr(self.operator, name, method.__get__(self.operator))

    def start(self) -> Any:
        return self.operator.invoke(self.context, None)

    def event(self, kind: str) -> Any:
        return self.operator.modal(self.context, SimpleNamespace(type=kind, value="PRESS"))

    def until_done(self) -> Any:
        operators._under_way[0].wait(20.0)
        return self.event("TIMER")


@pytest.fixture
def scene(empty: Any) -> Any:
    live.set_plan(empty, STAGE)
    return empty


def test_a_fit_in_the_window_says_what_it_does_and_is_stopped_by_esc(
    scene: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    window = Window(scene, monkeypatch, endless)
    assert window.start() == {"RUNNING_MODAL"}
    job = operators._under_way[0]
    while job.text != "tries change 7":
        assert job.is_running()
    assert window.event("TIMER") == {"PASS_THROUGH"}
    assert "tries change 7" in str(window.status[-1])
    assert "Esc" in str(window.status[-1])
    assert window.event("MOUSEMOVE") == {"PASS_THROUGH"}
    window.event("ESC")
    assert window.until_done() == {"CANCELLED"}
    assert window.status[-1] is None
    assert not operators._under_way
    assert live.plan_of(scene) == STAGE
    assert "stopped" in window.told[-1][1]


def test_what_a_fit_found_becomes_the_plan(scene: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    window = Window(scene, monkeypatch, renamed)
    window.start()
    assert window.until_done() == {"FINISHED"}
    assert plan_of(scene).title == "A better name"
    assert live.state_of(scene).fit_said == ("The title was changed.",)


def test_a_plan_that_was_changed_meanwhile_stays_as_it_is(
    scene: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    window = Window(scene, monkeypatch, renamed)
    window.start()
    assert bpy.ops.duskrail.step_day(days=1) == {"FINISHED"}
    mine = live.plan_of(scene)
    assert window.until_done() == {"CANCELLED"}
    assert live.plan_of(scene) == mine
    assert "meanwhile" in window.told[-1][1]


def test_a_defect_in_a_fit_comes_out_in_the_windows_thread() -> None:
    def broken(_listen: Listener) -> Fit:
        raise ZeroDivisionError("told")

    job: ThreadJob[Fit] = ThreadJob(broken)
    job.wait(20.0)
    assert isinstance(job.defect, ZeroDivisionError)


def plan_of(scene: Any) -> Plan:
    found = live.plan_of(scene)
    assert found is not None
    return found
