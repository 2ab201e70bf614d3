"""Motion and its picture against published sources and other implementations."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruckig import InputParameter, Result, Ruckig, Trajectory
from scipy.interpolate import PchipInterpolator

from planner_core import compute_frames
from planner_core.picture.projection import field_of_view_deg, project_px
from planner_core.rig.drive import blur_px, move_time_s
from planner_core.rig.motion import (
    MINIMUM_JERK_PEAK_SPEED,
    minimum_jerk,
    monotone_cubic,
    progress,
)
from tests.moves import QUAY, SLIDE, sliding, with_rig


def test_minimum_jerk_peaks_at_the_published_speed_and_acceleration() -> None:
    # Flash and Hogan, J. Neuroscience 5 (1985): 1.875 L/T and 5.7735 L/T²
    tau = np.linspace(0.0, 1.0, 200_001)
    speed = np.gradient(minimum_jerk(tau), tau)
    assert speed.max() == pytest.approx(1.875, abs=1e-4)
    assert MINIMUM_JERK_PEAK_SPEED == 1.875
    assert np.abs(np.gradient(speed, tau))[2:-2].max() == pytest.approx(5.7735, abs=1e-3)


@pytest.mark.parametrize("ease", [0.1, 0.25, 0.4])
def test_each_ease_is_half_a_minimum_jerk_move_to_the_steady_speed(ease: float) -> None:
    # Flash and Hogan, J. Neuroscience 5 (1985): 1.875 of the mean speed at half of the move
    at = np.linspace(0.0, 1.0, 100_001)
    speed = np.gradient(progress(at, ease), at)
    steady = speed[len(speed) // 2]
    whole_way, whole_time = 2.0 * float(progress(ease, ease)), 2.0 * ease
    assert steady == pytest.approx(1.875 * whole_way / whole_time, rel=1e-6)


@given(
    st.lists(st.floats(0.01, 1.0), min_size=1, max_size=8),
    st.data(),
)
def test_waypoints_are_joined_as_scipy_joins_them(gaps: list[float], data: st.DataObject) -> None:
    # Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980), as in scipy's PchipInterpolator
    x = np.concatenate([[0.0], np.cumsum(gaps)])
    y = np.array(data.draw(st.lists(st.floats(-10.0, 10.0), min_size=len(x), max_size=len(x))))
    at = np.linspace(x[0], x[-1], 97)
    assert np.allclose(monotone_cubic(x, y, at), PchipInterpolator(x, y)(at), rtol=1e-9, atol=1e-9)


@given(st.floats(1e-4, 400.0), st.floats(0.01, 60.0), st.floats(0.01, 100.0))
def test_a_move_takes_as_long_as_ruckig_says(
    distance: float, max_speed: float, max_acceleration: float
) -> None:
    # ruckig's time-optimal trajectory with jerk free
    wanted = InputParameter(1)
    wanted.current_position, wanted.target_position = [0.0], [distance]
    wanted.max_velocity, wanted.max_acceleration = [max_speed], [max_acceleration]
    wanted.max_jerk = [float("inf")]
    trajectory = Trajectory(1)
    assert Ruckig(1).calculate(wanted, trajectory) in (Result.Working, Result.Finished)
    assert float(move_time_s(distance, max_speed, max_acceleration)) == pytest.approx(
        trajectory.duration, rel=1e-9
    )


def test_a_24_mm_lens_on_36_by_24_sees_its_handbook_angles() -> None:
    # 2·atan(w/2f), any handbook of optics
    assert field_of_view_deg([36.0, 24.0], 24.0) == pytest.approx([73.74, 53.13], abs=0.005)


@pytest.mark.parametrize("travel_m", [0.8, 1.2])
def test_a_slide_shifts_a_far_thing_by_focal_length_times_travel_over_distance(
    travel_m: float,
) -> None:
    # f·d/Z, any handbook of optics
    plan = with_rig(QUAY, slide=attrs.evolve(SLIDE, max_m=travel_m), pupil_offset_m=0.0)
    frames = compute_frames(sliding(plan, 0.0, travel_m))
    pixels, _ = project_px(plan, [0.0, 640.0, 5.0], frames.camera_m, frames.camera_rotation)
    share = np.ptp(pixels[:, 0]) / plan.clip.width_px
    assert share == pytest.approx(24.0 * travel_m / 640.0 / 36.0, rel=1e-6)


def test_a_pixel_a_second_smears_a_quarter_pixel_in_a_quarter_second() -> None:
    assert blur_px(px_per_frame=10.0, interval_s=10.0, shutter_s=0.25) == pytest.approx(0.25)
