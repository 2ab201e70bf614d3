"""How a clip shares out over day, twilights and night, and where its move is when day turns."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core import compute_frames
from planner_core.evening.balance import balance, move_progress, place_of_progress, sun_crossings
from planner_core.frames import FrameTable
from tests.present import present
from tests.two_towers import plan


def frames_of(**changes: Any) -> FrameTable:
    return compute_frames(plan(**changes))


def anchored(event: str = "sunset", at: float = 0.5, date: str = "2027-03-14") -> dict[str, float | str]:
    return {"event": event, "date": date, "at": at}


@pytest.mark.parametrize(("frames", "interval_s"), [(480, 15.0), (481, 15.0), (720, 10.0), (121, 60.0)])
def test_two_hours_with_half_of_them_at_sunset_are_half_day_and_half_night(
    frames: int, interval_s: float
) -> None:
    shares = balance(frames_of(shoot__frames=frames, shoot__interval_s=interval_s))
    assert abs(shares.day_frames - shares.dark_frames) <= 1
    assert shares.move_progress == pytest.approx(0.5, abs=1e-6)


@pytest.mark.once
@given(
    st.integers(1, 400),
    st.floats(1.0, 120.0),
    st.floats(0.0, 1.0).map(lambda at: round(at, 9)),  # a plan refuses what nobody can measure
    st.sampled_from(("sunrise", "sunset", "nautical_dusk", "solar_noon", "moonrise")),
)
def test_phases_add_up_to_the_clip(frames: int, interval_s: float, at: float, event: str) -> None:
    table = frames_of(shoot__frames=frames, shoot__interval_s=interval_s, shoot__anchor=anchored(event, at))
    shares = balance(table)
    assert sum(shares.phase_frames) == frames
    assert shares.day_frames + shares.dark_frames == frames
    # US Naval Observatory's definitions: upper limb on the horizon, and −6°, −12°, −18°
    altitude = table.sun_true_altitude_deg
    assert shares.day_frames == np.count_nonzero(altitude > -0.833)
    assert shares.phase_frames[1] == np.count_nonzero((altitude <= -0.833) & (altitude > -6.0))
    assert shares.phase_frames[4] == np.count_nonzero(altitude <= -18.0)


def test_golden_and_blue_hour_are_counted() -> None:
    # common practice, no source: +6° to −4° and −4° to −6°
    table = frames_of(shoot__interval_s=20.0)
    shares, altitude = balance(table), table.sun_true_altitude_deg
    assert shares.low_sun_frames == np.count_nonzero((altitude > -4.0) & (altitude < 6.0)) > 0
    assert shares.deep_blue_frames == np.count_nonzero((altitude > -6.0) & (altitude < -4.0)) > 0


def test_the_turn_is_the_anchor_s_event() -> None:
    turn = balance(frames_of(shoot__anchor=anchored("sunrise", 0.3))).turn
    assert (present(turn).event, present(turn).at) == ("sunrise", 0.3)


def test_a_plan_with_a_start_turns_where_the_sun_does() -> None:
    table = frames_of(shoot__anchor=None, shoot__start="2027-03-14T18:00:00")
    turn = balance(table).turn
    assert present(turn).event == "sunset"
    by_anchor = frames_of()
    sunset = by_anchor.utc_s[0] + 0.5 * by_anchor.plan.duration_s
    assert present(turn).utc_s == pytest.approx(sunset, abs=1.0)
    assert table.utc_s[0] + present(turn).at * table.plan.duration_s == pytest.approx(present(turn).utc_s)


def test_a_shoot_by_day_or_by_night_has_no_turn() -> None:
    assert balance(frames_of(shoot__anchor=anchored("solar_noon"))).turn is None
    assert balance(frames_of(shoot__anchor=anchored("astronomical_dusk", 0.0))).turn is None
    assert balance(frames_of(shoot__anchor=None, shoot__start="2027-03-14T01:00:00")).turn is None


def test_a_day_and_a_night_cross_the_horizon_twice() -> None:
    crossings = sun_crossings(
        frames_of(shoot__anchor=None, shoot__start="2027-03-14T12:00:00", shoot__interval_s=240.0)
    )
    assert [turn.event for turn in crossings] == ["sunset", "sunrise"]
    # sunrise and sunset of the almanac are found from the frames alone; skyfield checks those elsewhere
    assert crossings[1].utc_s - crossings[0].utc_s == pytest.approx(12.1 * 3600.0, abs=900.0)


def test_half_of_the_way_is_where_the_move_says() -> None:
    table = frames_of(
        move__poses=[
            {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": 3.0},
            {"at": 0.8, "slide_m": 0.3, "pan_deg": 262.0, "tilt_deg": 3.0},
            {"at": 1.0, "slide_m": 1.4, "pan_deg": 270.0, "tilt_deg": 5.0},
        ],
        move__ease=0.0,
    )
    assert present(move_progress(table, 0.5)) < 0.2
    assert 0.8 < present(place_of_progress(table, 0.5)) < 1.0
    assert move_progress(table, present(place_of_progress(table, 0.5))) == pytest.approx(0.5, abs=1e-6)


def test_a_move_that_rests_in_the_middle_has_its_half_in_the_middle_of_the_rest() -> None:
    table = frames_of(
        move__poses=[
            {"at": at, "slide_m": slide, "pan_deg": 262.0, "tilt_deg": 3.0}
            for at, slide in ((0.0, 0.2), (0.3, 0.6), (0.5, 0.6), (1.0, 1.0))
        ],
        move__ease=0.0,
    )
    assert place_of_progress(table, 0.5) == pytest.approx(0.4, abs=0.01)


def test_without_a_slide_the_pan_says_how_far_the_move_is() -> None:
    table = frames_of(
        rig__slide=None,
        move__poses=[
            {"at": 0.0, "pan_deg": 262.0, "tilt_deg": 3.0},
            {"at": 1.0, "pan_deg": 270.0, "tilt_deg": 3.0},
        ],
    )
    assert move_progress(table, 0.5) == pytest.approx(0.5)


def test_a_still_shot_has_no_share_of_a_move() -> None:
    table = frames_of(move__poses=[{"at": 0.0, "slide_m": 0.5, "pan_deg": 262.0, "tilt_deg": 3.0}])
    assert move_progress(table, 0.5) is None
    assert place_of_progress(table, 0.5) is None
    shares = balance(table)
    assert shares.turn is not None
    assert shares.move_progress is None


def test_a_single_frame_is_day_or_it_is_not() -> None:
    shares = balance(compute_frames(attrs.evolve(plan(), shoot=attrs.evolve(plan().shoot, frames=1))))
    assert sum(shares.phase_frames) == 1
