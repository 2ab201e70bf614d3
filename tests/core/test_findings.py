"""Numbers and spans as a person reads them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.maths.runs import spans
from planner_core.words.durations import duration_text
from planner_core.words.figures import figure, frame_count, rounded_down


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (1371.2, 3, "1370"),
        (359.0, 2, "360"),
        (0.25, 3, "0.25"),
        (0.000052, 2, "0.000052"),
        (2.0, 3, "2"),
        (-0.5, 3, "-0.5"),
        (-1e-17, 4, "0"),
        (0.0, 3, "0"),
        (999.96, 3, "1000"),
    ],
)
def test_a_figure_has_its_digits_and_no_power_of_ten(value: float, digits: int, text: str) -> None:
    assert figure(value, digits) == text


@given(st.floats(-1e9, 1e9).filter(lambda value: abs(value) > 1e-9), st.integers(1, 6))
def test_a_figure_is_within_half_of_its_last_digit(value: float, digits: int) -> None:
    text = figure(value, digits)
    assert "e" not in text
    last = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1)
    assert abs(float(text) - value) <= 0.5 * last * (1.0 + 1e-6)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (1.14, "1.1 s"),
        (45.0, "45 s"),
        (118.0, "1 min 58 s"),
        (150.0, "2 min 30 s"),
        (180.2, "3 min"),
        (599.6, "10 min"),
        (3593.0, "60 min"),
        (5990.0, "1 h 40 min"),
        (17985.0, "5 h"),
    ],
)
def test_a_length_of_time_keeps_the_digits_that_matter(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text


@given(st.floats(1e-4, 1e4))
def test_a_value_rounded_down_is_no_longer_than_what_there_is_room_for(value: float) -> None:
    assert 0.5 * value < rounded_down(value) <= value * (1.0 + 1e-8)
    shown = f"{rounded_down(value):.1f}" if value >= 1.0 else f"{rounded_down(value):.1g}"
    assert float(shown) == rounded_down(value)


def test_a_second_and_a_half_stays_and_a_little_less_than_one_becomes_nine_tenths() -> None:
    assert [rounded_down(value) for value in (1.5, 1.58, 0.96, 0.0199)] == [1.5, 1.5, 0.9, 0.01]


def test_one_frame_is_no_frames() -> None:
    assert (frame_count(1), frame_count(0), frame_count(12)) == ("1 frame", "0 frames", "12 frames")


def test_spans_count_from_one() -> None:
    assert spans(np.array([True, False, True, True])) == [(1, 1), (3, 4)]
