"""What a table takes over from another plan's table is what it would have found itself, to the last bit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core.frames import FrameTable, compute_frames, frames_csv
from planner_core.plan.changes import changed
from planner_core.plan.file import plan_to_dict
from planner_core.plan.model import Plan, PlanError
from planner_core.review import trial
from planner_core.review.assess import Assessor, assess, finished
from planner_core.review.report import review


@pytest.fixture(scope="module")
def small(harbour: Plan) -> Plan:
    """The harbour with few frames and blocks, its light by the picture, and a value wherever it had none."""
    assert harbour.exposure is not None
    shoot = attrs.evolve(harbour.shoot, frames=5, interval_s=1200.0, cloud_divisor=1.2, setup_s=600.0)
    exposure = attrs.evolve(harbour.exposure, meter="picture", grad_stops=1.0, day_look_stops=0.5)
    camera = attrs.evolve(harbour.camera, headroom_stops=2.4, range_stops=11.0)
    return attrs.evolve(harbour, camera=camera, shoot=shoot, exposure=exposure, blocks=harbour.blocks[:6])


def numbers(document: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number of a plan and its path; of the blocks' those of the first three."""
    if isinstance(document, dict):
        for name, inner in document.items():
            yield from numbers(inner, f"{path}.{name}" if path else name)
    elif isinstance(document, list):
        for place, inner in enumerate(document[:3]):
            yield from numbers(inner, f"{path}[{place}]")
    elif isinstance(document, (int, float)) and not isinstance(document, bool):
        yield path, document


def nudged(plan: Plan, path: str, value: float) -> Plan | None:
    """The plan with a number a little different; None where it can't be."""
    for other in (value + 1, value - 1) if isinstance(value, int) else (1.02 * value + 0.003, 0.98 * value):
        try:
            return changed(plan, {path: other})
        except PlanError:
            continue
    return None


@pytest.mark.once
def test_whatever_number_of_a_plan_changes_nothing_is_taken_over_that_hangs_on_it(small: Plan) -> None:
    known = compute_frames(small)
    assessor = Assessor()
    finished(assessor.assessing(small, known))
    tried = 0
    for path, value in numbers(plan_to_dict(small)):
        plan = nudged(small, path, value)
        if plan is None:
            continue
        tried += 1
        # the same plan without a part that the other one has
        alone = attrs.evolve(plan, site=attrs.evolve(plan.site), blocks=tuple(map(attrs.evolve, plan.blocks)))
        frames, own = compute_frames(plan, known), compute_frames(alone)
        assert frames_csv(frames) == frames_csv(own), path
        for name in attrs.fields_dict(type(own.readings.grid)):
            mine, its = (getattr(table.readings.grid, name) for table in (frames, own))
            np.testing.assert_array_equal(mine, its, err_msg=path)
        assert frames.readings.headroom_stops == own.readings.headroom_stops, path
        found = finished(assessor.assessing(plan, frames))
        assert found.as_dict() == assess(alone, own).as_dict(), path
    assert tried > 50


def test_plans_with_other_times_settings_and_words_share_what_the_pictures_show(small: Plan) -> None:
    known = compute_frames(small)
    for changes in (
        {"shoot.interval_s": 90.0},
        {"exposure.iso_max": 3200.0},
        {"camera.focus_distance_m": 4.0},
        {"title": "Another evening"},
    ):
        assert compute_frames(changed(small, changes), known).view is known.view


@pytest.mark.parametrize(
    "changes",
    [{"move.poses[0].pan_deg": 12.0}, {"blocks[0].turn_deg": 20.0}, {"camera.focal_length_mm": 20.0}],
)
def test_plans_that_show_something_else_share_nothing(small: Plan, changes: dict[str, float]) -> None:
    known = compute_frames(small)
    assert compute_frames(changed(small, changes), known).view is not known.view


def test_parts_that_a_change_leaves_alone_are_the_same_objects(small: Plan) -> None:
    new = changed(small, {"shoot.interval_s": 90.0})
    assert new.blocks is small.blocks
    assert new.site is small.site


def test_tables_of_large_trials_are_kept_without_their_pictures_and_change_nothing(
    small: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = review(small, compute_frames(small)).as_dict()
    kept: list[FrameTable] = []
    lightened = trial.Trial._lightened

    def noted(self: trial.Trial, frames: FrameTable) -> FrameTable:
        kept.append(lightened(self, frames))
        return kept[-1]

    monkeypatch.setattr(trial, "KEPT_WHOLE", 0)
    monkeypatch.setattr(trial.Trial, "_lightened", noted)
    frames = compute_frames(small)
    assert review(small, frames).as_dict() == told
    others = [table for table in kept if table.known_view is None]
    assert others, "no trial showed another picture"
