"""Clouds and the Earth's shadow in the sky of the draft pictures."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from planner_core import FrameTable, PlanError, compute_frames
from planner_core.draft import skyshapes
from planner_core.draft.ambient import even_directions
from planner_core.plan.file import plan_from_dict
from tests.two_towers import document


def evening(**shoot: Any) -> FrameTable:
    made = document()
    made["shoot"] = {"frames": 80, "interval_s": 60.0, "start": "2027-03-14T18:20:00"} | shoot
    return compute_frames(plan_from_dict(made))


def opposite(frames: FrameTable, frame: int, altitudes_deg: list[float]) -> np.ndarray:
    """Directions opposite the sun, at altitudes."""
    turn = np.arctan2(*-frames.sun_direction[frame, :2])
    rise = np.radians(altitudes_deg)
    return np.column_stack([np.cos(rise) * np.sin(turn), np.cos(rise) * np.cos(turn), np.sin(rise)])


def at_altitude(frames: FrameTable, altitude_deg: float) -> int:
    return int(np.argmin(np.abs(frames.sun_altitude_deg - altitude_deg)))


def test_a_pink_band_lies_over_the_earths_shadow_opposite_the_set_sun() -> None:
    frames = evening()
    frame = at_altitude(frames, -3.0)
    # the shadow's edge is as high as the sun is deep, roughly: Lynch and Livingston 1995
    shadow, band, high = skyshapes.factors(frames, frame, opposite(frames, frame, [1.0, 7.0, 40.0]))
    assert shadow @ [0.2126, 0.7152, 0.0722] < 0.85
    assert shadow[2] / shadow[0] > 1.2
    assert band[0] / band[1] > 1.1
    assert high == pytest.approx(1.0, abs=0.01)


def test_the_shadow_rises_as_the_sun_sinks_and_is_gone_by_day_and_at_night() -> None:
    frames = evening()
    tops = [skyshapes.shadow_top(frames)[at_altitude(frames, altitude)] for altitude in (-1.0, -3.0, -5.0)]
    assert tops == sorted(tops)
    for altitude in (2.0, -8.0):
        frame = at_altitude(frames, altitude)
        assert abs(frames.sun_altitude_deg[frame] - altitude) < 1.0
        low = opposite(frames, frame, [1.0, 7.0])
        assert skyshapes.factors(frames, frame, low) == pytest.approx(1.0, abs=0.02)


def test_nothing_of_it_is_on_the_side_of_the_sun() -> None:
    frames = evening()
    frame = at_altitude(frames, -3.0)
    ahead = opposite(frames, frame, [1.0, 7.0]) * [-1.0, -1.0, 1.0]
    assert skyshapes.factors(frames, frame, ahead) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("cloud", [2.0, 3.0, 10.0])
def test_clouds_make_the_sky_uneven_and_leave_its_light(cloud: float) -> None:
    frames = evening(cloud_divisor=cloud)
    sky = even_directions(4000)
    factors = skyshapes.factors(frames, 0, sky)
    assert factors[:, 1].std() > 0.1
    assert factors.min() > 0.0
    light = (factors[:, 1] * sky[:, 2]).sum() / sky[:, 2].sum()
    assert light == pytest.approx(1.0, abs=0.07)


def test_a_clear_sky_has_no_clouds_and_broken_ones_stand_out_most() -> None:
    contrasts = [skyshapes.cloud_contrast(divisor) for divisor in (1.0, 3.0, 10.0)]
    assert contrasts[0] == 0.0
    assert contrasts[1] > contrasts[2] > 0.0


def test_clouds_drift_with_the_wind_and_keep_their_shapes() -> None:
    frames = evening(cloud_divisor=3.0, wind_m_s=10.0, wind_from_deg=200.0)
    drift = skyshapes.cloud_drift(frames)
    far_m = np.linalg.norm(drift[10] - drift[0]) * skyshapes.SHEET_M
    assert far_m == pytest.approx(10.0 * 600.0)
    bearing = np.degrees(np.arctan2(*(drift[10] - drift[0]))) + frames.plan.site.scene_north_deg
    assert (bearing - 20.0) % 360.0 == pytest.approx(0.0, abs=1e-6)
    # what stood at a place of the sheet stands where the wind has carried it
    place = np.array([0.4, 0.9])
    later = place + drift[10] - drift[0]

    def seen(at: np.ndarray, frame: int) -> float:
        level = np.linalg.norm(at)
        rise = next(
            r
            for r in np.linspace(1e-3, 1.57, 40_000)
            if np.cos(r) / (np.sin(r) + skyshapes.NEAREST_RISE) <= level
        )
        way = np.array([[*(at / level * np.cos(rise)), np.sin(rise)]])
        return float(
            skyshapes.clouds(way, drift[frame])[0] / (1.0 - np.exp(-np.sin(rise) / skyshapes.LOW_FADE))
        )

    assert seen(later, 10) == pytest.approx(seen(place, 0), abs=0.02)


def test_a_wind_that_cant_be_is_refused() -> None:
    with pytest.raises(PlanError, match="wind_m_s"):
        evening(wind_m_s=-1.0)
    with pytest.raises(PlanError, match="wind_from_deg"):
        evening(wind_from_deg=400.0)
