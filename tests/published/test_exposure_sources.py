"""Exposure against its standards: APEX (CIPA DC-008, annex C), ISO 2720, ISO 516 and 12232, and sunny 16."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.light import daylight
from planner_core.light.exposure import (
    aperture_value,
    iso_label,
    settings_ev100,
    shutter_label,
    speed_value,
    time_value,
)
from planner_core.time import ephemeris


@pytest.mark.parametrize(
    ("value", "apex"),
    # CIPA DC-008, annex C: the tables of Av, Tv and Sv, whose nominal values are rounded
    [
        (aperture_value(1.0), 0),
        (aperture_value(2.0), 2),
        (aperture_value(5.6), 5),
        (aperture_value(16.0), 8),
        (time_value(1.0), 0),
        (time_value(1 / 2), 1),
        (time_value(1 / 125), 7),
        (time_value(1 / 1000), 10),
        (speed_value(3.125), 0),
        (speed_value(100.0), 5),
        (speed_value(400.0), 7),
    ],
)
def test_apex_values(value: float, apex: int) -> None:
    assert value == pytest.approx(apex, abs=0.04)


@given(st.floats(0.7, 64), st.floats(1e-4, 600), st.floats(3, 200_000), st.floats(0, 20))
def test_apex_adds_up(f_number: float, shutter_s: float, iso: float, nd_stops: float) -> None:
    # Av + Tv = EV = Bv + Sv (CIPA DC-008, annex C); EV at ISO 100 is N²/t (ISO 2720:1974)
    ev = aperture_value(f_number) + time_value(shutter_s)
    assert 2.0 ** float(ev) == pytest.approx(f_number**2 / shutter_s, rel=1e-9)
    bv = settings_ev100(f_number, shutter_s, iso) - speed_value(100.0)
    assert float(bv + speed_value(iso)) == pytest.approx(float(ev), abs=1e-9)
    assert float(settings_ev100(f_number, shutter_s, iso, nd_stops) - nd_stops) == pytest.approx(
        float(settings_ev100(f_number, shutter_s, iso)), abs=1e-9
    )


@given(st.floats(-12, 18))
def test_incident_light_and_ev(ev100: float) -> None:
    # ISO 2720:1974, flat receptor, C = 250: E = 2.5 · 2^EV
    assert float(daylight.lux_from_ev100(ev100)) == pytest.approx(2.5 * 2.0**ev100, rel=1e-12)
    assert float(daylight.ev100_from_lux(2.5 * 2.0**ev100)) == pytest.approx(ev100, abs=1e-9)


def test_757_lux_is_ev_8_2() -> None:
    # the sun's centre on the horizon by Circular 171, and ISO 2720:1974
    assert float(daylight.ev100_from_lux(757.0)) == pytest.approx(8.2, abs=0.05)


def test_sunny_16() -> None:
    # common practice, no source: in clear sun f/16 at 1/ISO, EV 14.6 to 15
    for iso in (100, 200, 400):
        assert float(settings_ev100(16.0, 1.0 / iso, iso)) == pytest.approx(14.64, abs=0.01)
    apparent = float(ephemeris.apparent_altitude_deg(40.0))
    clear_sun = float(daylight.ev100_from_lux(daylight.sun_illuminance_lux(apparent)))
    assert 14.5 <= clear_sun <= 15.1


def test_nominal_settings_are_within_a_tenth_of_a_stop_of_the_exact_ones() -> None:
    # ISO 516 and ISO 12232: nominal values stand for powers of 2^(1/3), 1/8000 s to 30 s and ISO 12 to 102400
    for third in range(-39, 16):
        text = shutter_label(2.0 ** (third / 3.0)).removesuffix(" s")
        nominal = 1.0 / float(text[2:]) if text.startswith("1/") else float(text)
        assert abs(math.log2(nominal) - third / 3.0) < 0.11, text
    for third in range(-9, 31):
        nominal = float(iso_label(100.0 * 2.0 ** (third / 3.0)).removeprefix("ISO "))
        assert abs(math.log2(nominal / 100.0) - third / 3.0) < 0.07, nominal


def test_a_stop_of_any_setting_is_a_stop() -> None:
    base = settings_ev100(5.6, 1 / 60, 200)
    np.testing.assert_allclose(
        [
            settings_ev100(5.6 * math.sqrt(2.0), 1 / 60, 200) - base,
            settings_ev100(5.6, 1 / 120, 200) - base,
            base - settings_ev100(5.6, 1 / 60, 400),
        ],
        1.0,
    )
