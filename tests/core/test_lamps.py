"""Windows and lamps: which blocks have them, where they are, and how they come on as it gets dark."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.light import daylight, lamps
from planner_core.light.colour import LUMINANCE
from planner_core.plan.file import plan_from_dict
from planner_core.plan.model import Plan
from tests.two_towers import document

EYE = (0.0, 0.0, 1.5)
HOUSE = {
    "name": "House",
    "role": "background",
    "shape": "box",
    "centre_m": [0, 60, 4],
    "size_m": [12, 9, 8],
    "turn_deg": 20.0,
}


def place(*blocks: Any, **changes: Any) -> Plan:
    made = document(**changes)
    made["blocks"] = [
        {
            "name": "North silo",
            "role": "subject",
            "shape": "ridge",
            "distance_m": 4000.0,
            "skyline_deg": [[0, 1], [9, 1]],
        },
        *blocks,
    ]
    return plan_from_dict(made)


def test_a_house_has_windows_on_the_walls_that_face_the_camera() -> None:
    panes = lamps.panes(place(HOUSE), EYE)
    assert len(panes.on_lux) > 6
    assert not panes.is_lamp.any()
    turn = np.radians(20.0)
    offset = panes.corners_m - [0, 60, 4]
    local_x = offset[..., 0] * np.cos(turn) - offset[..., 1] * np.sin(turn)
    local_y = offset[..., 0] * np.sin(turn) + offset[..., 1] * np.cos(turn)
    assert np.abs(offset[..., 2]).max() < 4.0
    assert np.abs(local_x).max() < 6.1
    assert np.abs(local_y).max() < 4.6
    first, second, _, fourth = np.moveaxis(panes.corners_m, 1, 0)
    outward = np.cross(second - first, fourth - first)
    assert np.all(np.sum(outward * (np.array(EYE) - first), axis=1) > 0.0)


def test_the_same_house_has_the_same_windows_and_another_name_others() -> None:
    ours, again, other = (
        lamps.panes(place({**HOUSE, "name": name}), EYE) for name in ("House", "House", "Other house")
    )
    assert np.array_equal(ours.on_lux, again.on_lux)
    assert not np.array_equal(ours.on_lux, other.on_lux)


@pytest.mark.parametrize("floor_ev100", [-2.0, 2.5, 6.0])
def test_a_lit_window_reads_as_a_room_at_night_whatever_the_street_has(floor_ev100: float) -> None:
    # home interiors, EV 5 to 7: ANSI PH2.7-1986 as reproduced in exposure tables, value from memory
    panes = lamps.panes(place(HOUSE, exposure__artificial_ev100=floor_ev100), EYE)
    lux = panes.glow @ LUMINANCE * daylight.lux_from_ev100(floor_ev100)
    read = daylight.ev100_from_luminance(lux / np.pi)
    assert read.min() >= 5.0 - 1e-9
    assert read.max() <= 7.0 + 1e-9
    assert np.ptp(read) > 0.5


def test_what_is_no_building_stays_dark_unless_the_plan_says_so() -> None:
    wall = {**HOUSE, "size_m": [12, 0.5, 2], "centre_m": [0, 60, 1]}
    post = {**HOUSE, "shape": "post", "size_m": [0.2, 0.2, 5]}
    for dark in (
        wall,
        post,
        {**HOUSE, "role": "ground"},
        {**HOUSE, "lights": False},
        {**HOUSE, "role": "foreground"},
    ):
        assert len(lamps.panes(place(dark), EYE).on_lux) == 0
    assert lamps.panes(place({**post, "lights": True}), EYE).is_lamp.all()
    assert lamps.panes(place({**wall, "lights": True}), EYE).is_lamp.all()
    assert len(lamps.panes(place({**HOUSE, "role": "foreground", "lights": True}), EYE).on_lux) > 6


def test_a_tall_posts_lamp_is_at_its_top_and_a_squat_one_shines_all_over() -> None:
    tall = {**HOUSE, "shape": "post", "size_m": [0.2, 0.2, 6], "centre_m": [0, 60, 3], "lights": True}
    squat = {**tall, "size_m": [3, 3, 2.8], "centre_m": [0, 60, 19.6]}
    heights = lamps.panes(place(tall), EYE).corners_m[..., 2]
    assert heights.min() > 5.8
    heights = lamps.panes(place(squat), EYE).corners_m[..., 2]
    assert heights.min() > 18.2
    assert heights.max() < 21.0


@given(st.floats(1e-3, 1e5), st.floats(1e-3, 1e5))
def test_lamps_only_come_on_as_it_gets_darker(light: float, darker: float) -> None:
    panes = lamps.panes(place(HOUSE), EYE)
    brighter, dark = max(light, darker), min(light, darker)
    before, after = lamps.share_on(panes.on_lux, brighter), lamps.share_on(panes.on_lux, dark)
    assert np.all(after >= before)
    assert np.all((after >= 0.0) & (after <= 1.0))


def test_by_day_all_is_off_and_at_night_some_windows_stay_dark() -> None:
    many = [{**HOUSE, "name": f"House {k}", "centre_m": [20.0 * k, 80, 4]} for k in range(9)]
    panes = lamps.panes(place(*many), EYE)
    assert lamps.share_on(panes.on_lux, 1000.0).max() == 0.0
    lit = lamps.share_on(panes.on_lux, 0.1) == 1.0
    assert 0.35 < lit.mean() < 0.75
    half_lit = lamps.share_on(panes.on_lux, 20.0) == 1.0
    assert 0.1 < half_lit.mean() < lit.mean()  # one after the other
