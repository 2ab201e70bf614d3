"""Numbers and spans as a person reads them."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.findings import figure, frame_count, spans


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
def test_a_figure_has_its_digits_and_no_power_of_ten(value, digits, text):
    assert figure(value, digits) == text


@given(st.floats(-1e9, 1e9).filter(lambda value: abs(value) > 1e-9), st.integers(1, 6))
def test_a_figure_is_within_half_of_its_last_digit(value, digits):
    text = figure(value, digits)
    assert "e" not in text
    last = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1)
    assert abs(float(text) - value) <= 0.5 * last * (1.0 + 1e-6)


def test_one_frame_is_no_frames():
    assert (frame_count(1), frame_count(0), frame_count(12)) == ("1 frame", "0 frames", "12 frames")


def test_spans_count_from_one():
    assert spans(np.array([True, False, True, True])) == [(1, 1), (3, 4)]
