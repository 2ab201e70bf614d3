"""Angles on the circle, and searches between two known ends."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.maths import search
from planner_core.maths.angles import compass_deg, unwound_deg, wrapped_deg

angles = st.floats(-1e4, 1e4)


@given(angles)
def test_a_wrapped_angle_is_the_same_direction_within_half_a_turn(angle: float) -> None:
    wrapped = wrapped_deg(angle)
    assert -180.0 <= wrapped <= 180.0
    assert math.sin(math.radians(wrapped)) == pytest.approx(math.sin(math.radians(angle)), abs=1e-9)
    assert math.cos(math.radians(wrapped)) == pytest.approx(math.cos(math.radians(angle)), abs=1e-9)


@pytest.mark.parametrize(
    ("angle", "compass"), [(0.0, 0.0), (360.0, 0.0), (-90.0, 270.0), (725.0, 5.0), (-1e-20, 0.0)]
)
def test_a_compass_never_shows_360(angle: float, compass: float) -> None:
    assert compass_deg(angle) == compass
    assert compass_deg(np.array([angle]))[0] == compass


@given(angles, angles)
def test_an_unwound_bearing_is_the_nearest_of_its_turns(bearing: float, near: float) -> None:
    unwound = unwound_deg(bearing, near)
    assert abs(unwound - near) <= 180.0 + 1e-9
    assert wrapped_deg(unwound - bearing) == pytest.approx(0.0, abs=1e-8)


@given(st.floats(-100.0, 100.0), st.booleans())
def test_a_boundary_is_found_from_either_side(where: float, rising: bool) -> None:
    def holds(x: float) -> bool:
        return (x >= where) == rising

    inside, outside = search.boundary(
        holds, 101.0 if rising else -101.0, -101.0 if rising else 101.0, within=1e-6
    )
    assert holds(inside)
    assert not holds(outside)
    assert abs(inside - outside) <= 1e-6


def test_many_boundaries_are_those_found_one_by_one() -> None:
    where = np.array([0.1, 3.0, 7.75])
    inside, outside = search.boundaries(lambda x: x < where, np.zeros(3), np.full(3, 10.0), within=1e-3)

    def below(limit: float) -> Callable[[float], bool]:
        return lambda x: x < limit

    alone = [search.boundary(below(w), 0.0, 10.0, within=1e-3) for w in where]
    assert np.array_equal(np.stack([inside, outside], axis=1), np.array(alone))


@given(st.integers(0, 1000))
def test_a_boundary_among_whole_numbers_is_two_neighbours(where: int) -> None:
    assert search.whole_boundary(lambda x: x <= where, 0, 1001) == (where, where + 1)


def test_a_search_that_may_not_go_on_keeps_the_span_it_has() -> None:
    left = iter([True, True, False])
    assert search.whole_boundary(lambda x: x <= 10, 0, 64, may_go_on=lambda: next(left)) == (0, 16)


def test_a_crossing_is_taken_in_its_own_direction() -> None:
    # the sine falls through 0.5 at 5π/6 and rises through −0.5 at 11π/6
    found = search.crossings(
        np.sin,
        np.array([math.pi / 2, math.pi * 1.5]),
        np.array([math.pi * 1.5, math.pi * 2.5]),
        np.array([0.5, -0.5]),
        np.array([False, True]),
        within=1e-9,
    )
    assert found == pytest.approx([math.pi * 5 / 6, math.pi * 11 / 6], abs=1e-9)


@pytest.mark.parametrize(("low", "is_top"), [(0.0, True), (math.pi, False)])
def test_the_top_and_the_bottom_of_a_curve_are_found(low: float, is_top: bool) -> None:
    found = search.turning_point(np.sin, low, low + math.pi, is_top=is_top, within=1e-6)
    assert found == pytest.approx(low + math.pi / 2, abs=1e-6)
