"""The FrameTable: one computation that everything else reads."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import attrs
import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core import compute_frames
from planner_core.frames import COLUMNS, frames_csv
from planner_core.picture.projection import project_px
from planner_core.plan.model import Plan, Pose
from tests.present import present


def with_poses(plan: Plan, *poses: Pose) -> Plan:
    return attrs.evolve(plan, move=attrs.evolve(plan.move, poses=poses))


def rows(plan: Plan) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(frames_csv(compute_frames(plan)))))


def test_every_array_has_an_entry_for_each_frame(example_plan: Plan) -> None:
    frames = compute_frames(example_plan)
    for name, value in attrs.asdict(frames, recurse=False).items():
        if isinstance(value, np.ndarray):
            assert len(value) == example_plan.shoot.frames, name
            assert np.isfinite(value).all(), name


def test_the_first_and_last_frame_stand_on_the_first_and_last_pose(harbour: Plan) -> None:
    frames, poses = compute_frames(harbour), harbour.move.poses
    for index, pose in ((0, poses[0]), (-1, poses[-1])):
        assert present(frames.slide_m)[index] == pytest.approx(pose.slide_m, abs=1e-12)
        assert present(frames.pan_deg)[index] == pytest.approx(pose.pan_deg, abs=1e-9)
        assert present(frames.tilt_deg)[index] == pytest.approx(pose.tilt_deg, abs=1e-9)


def test_screen_speed_grows_with_the_travel(harbour: Plan) -> None:
    # f·d/Z, any handbook of optics: two and a half times the travel, two and a half times the shift
    def shift_px(travel_m: float) -> NDArray[np.float64]:
        plan = with_poses(
            harbour,
            Pose(at=0.0, slide_m=0.2, pan_deg=270.0, tilt_deg=0.0),
            Pose(at=1.0, slide_m=0.2 + travel_m, pan_deg=270.0, tilt_deg=0.0),
        )
        frames = compute_frames(plan)
        pixels, _ = project_px(plan, [0.1, 3.0, 0.8], frames.camera_m, frames.camera_rotation)
        return np.diff(pixels[:, 0])

    slow, fast = shift_px(0.32), shift_px(0.8)
    assert np.allclose(fast, 2.5 * slow, rtol=1e-9, atol=1e-9)
    assert abs(slow).max() > 0.5


def test_the_camera_stands_where_rail_head_and_pupil_put_it(harbour: Plan) -> None:
    # by hand: rail due north in a scene whose +Y is west, so +X is north
    rig = attrs.evolve(
        harbour.rig, origin_m=(1.0, 2.0, 3.0), head_height_m=0.2, pupil_offset_m=0.1, incline_deg=30.0
    )
    plan = with_poses(attrs.evolve(harbour, rig=rig), Pose(at=0.0, slide_m=1.0, pan_deg=270.0, tilt_deg=0.0))
    expected = [1.0 + np.cos(np.radians(30.0)), 2.0 + 0.1, 3.0 + 0.5 + 0.2]
    assert np.allclose(compute_frames(plan).camera_m[0], expected)


def test_the_csv_has_the_columns_in_their_order_and_a_row_a_frame(example_plan: Plan) -> None:
    table = rows(example_plan)
    assert tuple(table[0]) == COLUMNS
    assert [int(row["frame"]) for row in table] == list(range(1, example_plan.shoot.frames + 1))


def test_the_csv_keeps_full_precision(harbour: Plan) -> None:
    frames = compute_frames(harbour)
    column = [float(row["sun_azimuth_deg"]) for row in rows(harbour)]
    assert column == frames.sun_azimuth_deg.tolist()


def test_utc_and_local_columns_are_the_same_instant(harbour: Plan) -> None:
    for row in rows(harbour)[::100]:
        utc, local = dt.datetime.fromisoformat(row["utc"]), dt.datetime.fromisoformat(row["local"])
        assert utc == local
        assert utc.utcoffset() == dt.timedelta(0)


def test_what_the_rig_or_plan_lacks_is_an_empty_cell(project_root: Path, harbour: Plan) -> None:
    from planner_core import load_plan

    pan_only = load_plan(project_root / "example_scenes" / "square_pan.plan.json")
    assert {row["slide_m"] for row in rows(pan_only)} == {""}
    dark = rows(attrs.evolve(harbour, exposure=None))[0]
    assert [dark[name] for name in ("f_number", "shutter_s", "iso", "exposure_error_stops")] == [""] * 4
    assert float(dark["scene_ev100"]) > 0


def test_a_still_shot_without_any_axis_has_frames(harbour: Plan) -> None:
    rig = attrs.evolve(harbour.rig, slide=None, pan=None, tilt=None)
    plan = attrs.evolve(with_poses(harbour, Pose(at=0.0), Pose(at=1.0)), rig=rig)
    table = rows(plan)
    assert {(row["slide_m"], row["pan_deg"], row["tilt_deg"]) for row in table} == {("", "", "")}
    assert np.ptp(compute_frames(plan).camera_m, axis=0).max() == 0.0
