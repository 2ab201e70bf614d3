"""The table of axis positions: it replays the move, and says what rounding by hand costs."""

from __future__ import annotations

import csv
import datetime as dt
import io

import attrs
import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core import compute_frames
from planner_core.output.axes import axes_csv, typed_plan, typed_plan_error_px
from planner_core.picture.projection import project_px
from planner_core.plan.model import Plan, Pose
from planner_core.rig.geometry import camera_position_m, camera_rotation
from tests.moves import QUAY, bare_rig, move_of, with_pan, with_poses, with_shoot


def rows(plan: Plan, kind: str) -> list[dict[str, str]]:
    table = list(csv.DictReader(io.StringIO(axes_csv(plan, compute_frames(plan)))))
    return [row for row in table if row["row"] == kind]


def column(table: list[dict[str, str]], name: str) -> NDArray[np.float64]:
    return np.array([float(row[name]) for row in table if row[name] != ""])


def test_a_row_for_each_pose_and_each_frame_with_units_in_the_header() -> None:
    assert len(rows(QUAY, "pose")) == 2
    assert len(rows(QUAY, "frame")) == 480
    header = axes_csv(QUAY, compute_frames(QUAY)).splitlines()[0].split(",")
    plain = {"row", "number", "at", "local"}
    assert all(
        name.rsplit("_", 1)[-1] in ("m", "mm", "deg", "s", "px") for name in header if name not in plain
    )


def test_absolute_values_are_those_of_the_frame_table() -> None:
    frames, table = compute_frames(QUAY), rows(QUAY, "frame")
    for name in ("slide_m", "pan_deg", "tilt_deg"):
        assert column(table, name) == pytest.approx(getattr(frames, name), abs=1e-6)


def test_increments_add_up_to_the_way_from_the_start() -> None:
    table = rows(QUAY, "frame")
    for axis, unit in (("slide", "m"), ("pan", "deg"), ("tilt", "deg")):
        increments = column(table, f"{axis}_increment_{unit}")
        from_start = column(table, f"{axis}_from_start_{unit}")
        assert len(increments) == 479
        assert table[0][f"{axis}_increment_{unit}"] == ""
        assert np.cumsum(increments) == pytest.approx(from_start[1:], abs=3e-4)
        assert from_start[0] == 0.0


def test_move_times_are_those_of_the_motor() -> None:
    # 0.8 m at 0.04 m/s and 0.04 m/s²: 0.8/0.04 + 0.04/0.04 = 21 s; 4° at 5 °/s and 5 °/s²: 2·√(4/5) s
    last = rows(QUAY, "pose")[-1]
    assert float(last["slide_move_s"]) == pytest.approx(21.0)
    assert float(last["pan_move_s"]) == pytest.approx(1.789, abs=1e-3)


def test_rows_carry_the_clock_of_the_site() -> None:
    plan = with_shoot(QUAY, anchor=None, start=dt.datetime(2027, 3, 14, 18, 0))
    table = rows(plan, "frame")
    assert table[0]["local"] == "2027-03-14T18:00:00+01:00"
    assert table[-1]["local"] == "2027-03-14T19:35:48+01:00"
    assert float(table[-1]["after_s"]) == 5748.0
    assert rows(plan, "pose")[-1]["local"] == table[-1]["local"]


def test_typed_values_are_whole_millimetres_and_tenths_of_degrees_near_the_real_ones() -> None:
    table = rows(QUAY, "frame")
    assert all(row["slide_typed_mm"].isdecimal() for row in table)
    assert np.abs(column(table, "slide_typed_mm") / 1000.0 - column(table, "slide_m")).max() <= 0.0005 + 1e-6
    assert np.abs(column(table, "pan_typed_deg") - column(table, "pan_deg")).max() <= 0.05 + 1e-6


def test_the_error_of_typing_is_what_the_picture_shifts_by() -> None:
    # against the general projection, for the bollard in the middle of the picture
    frames, table = compute_frames(QUAY), rows(QUAY, "frame")
    point = np.array([0.0, 0.9, 0.62])
    meant, _ = project_px(QUAY, point, frames.camera_m, frames.camera_rotation)
    pan, tilt = column(table, "pan_typed_deg"), column(table, "tilt_typed_deg")
    camera = camera_position_m(QUAY, column(table, "slide_typed_mm") / 1000.0, pan, tilt)
    real, _ = project_px(QUAY, point, camera, camera_rotation(pan, tilt, 270.0))
    shift = np.hypot(*(real - meant).T)
    said = column(table, "typed_error_px")
    assert np.all(said >= shift * 0.8 - 0.02)
    assert said.max() == pytest.approx(shift.max(), rel=0.4)
    assert said.max() > 1.0


def test_poses_that_are_round_already_cost_nothing() -> None:
    assert [row["typed_error_px"] for row in rows(QUAY, "pose")] == ["0.00", "0.00"]
    assert typed_plan_error_px(QUAY, compute_frames(QUAY)).max() < 1e-6


def test_typed_poses_cost_at_most_the_rounding() -> None:
    plan = with_poses(
        QUAY,
        Pose(at=0.0, slide_m=0.30049, pan_deg=266.54, tilt_deg=1.5),
        Pose(at=1.0, slide_m=1.1004, pan_deg=270.46),
    )
    by_hand = typed_plan(plan)
    assert [(pose.slide_m, pose.pan_deg, pose.tilt_deg) for pose in by_hand.move.poses] == [
        (0.3, 266.5, 1.5),
        (1.1, 270.5, None),
    ]
    error = typed_plan_error_px(plan, compute_frames(plan))
    # 0.05° of pan are up to 2560 px × tan 0.05° / cos² 37° and 0.5 mm at 0.8 m another 1.6 px
    assert 0.5 < error.max() < 6.0


def test_typed_values_stay_inside_the_range() -> None:
    plan = with_poses(
        with_pan(QUAY, min_deg=200.06, max_deg=340.04),
        Pose(at=0.0, slide_m=0.2, pan_deg=200.06),
        Pose(at=1.0, slide_m=0.8, pan_deg=340.04),
    )
    assert [pose.pan_deg for pose in typed_plan(plan).move.poses] == [200.1, 340.0]


def test_a_pose_that_leaves_an_axis_out_has_its_interpolated_value() -> None:
    plan = with_poses(
        QUAY,
        Pose(at=0.0, slide_m=0.2, pan_deg=260.0),
        Pose(at=0.5, pan_deg=268.0),
        Pose(at=1.0, slide_m=0.8, pan_deg=270.0),
    )
    assert float(rows(plan, "pose")[1]["slide_m"]) == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize("axes", [(), ("pan",), ("slide", "tilt")])
def test_only_the_axes_of_the_rig_have_columns(axes: tuple[str, ...]) -> None:
    given = {"slide": {"slide_m": 0.5}, "pan": {"pan_deg": 270.0}, "tilt": {"tilt_deg": 0.0}}
    limits = {axis: getattr(QUAY.rig, axis) for axis in axes}
    pose = Pose(at=0.0, **{name: value for axis in axes for name, value in given[axis].items()})
    plan = attrs.evolve(QUAY, rig=bare_rig(QUAY, **limits), move=move_of(pose))
    header = axes_csv(plan, compute_frames(plan)).splitlines()[0]
    for axis in ("slide", "pan", "tilt"):
        assert (f"{axis}_increment" in header) == (axis in axes)
