"""Light falls smoothly from day to night, and adds and divides as light does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.light import colour, daylight

altitudes = st.floats(-90, 90)
elongations = st.floats(0, 180)
clouds = st.floats(1, 100)


@given(altitudes, altitudes, elongations, clouds)
def test_there_is_always_some_light(sun: float, moon: float, elongation: float, cloud: float) -> None:
    light = daylight.natural_light(sun, moon, elongation, cloud)
    assert light.total_lux > 0.0
    for part in (light.direct_lux, light.diffuse_lux, light.moon_lux, light.night_sky_lux):
        assert part >= 0.0
    parts = light.direct_lux + light.diffuse_lux + light.moon_lux + light.night_sky_lux
    assert parts == pytest.approx(light.total_lux)


def test_sunlight_only_falls_as_the_sun_sinks() -> None:
    lux = daylight.sun_illuminance_lux(np.linspace(-90, 90, 360001))
    assert np.all(np.diff(lux) >= 0.0)
    assert np.all(lux > 0.0)


@given(st.floats(-20, 89.9))
def test_light_falls_without_a_jump_from_day_to_night(altitude: float) -> None:
    # the steepest twilight falls by about two stops a degree: Circular 171, 66.4 lux at −3° and 2.99 at −6°
    above, below = daylight.natural_light([altitude + 0.05, altitude], -90.0, 0.0).total_lux
    assert 0.0 <= np.log2(above / below) < 0.1


@given(st.floats(-1, 1))
def test_the_beam_fades_while_the_disc_sinks(altitude: float) -> None:
    above, below = daylight.sun_direct_normal_lux([altitude + 0.001, altitude])
    assert 0.0 <= above - below < 1.0  # of 38 lux at the horizon: 133 775 e^(−0.21 m), Circular 171


@given(altitudes, altitudes, elongations, clouds)
def test_cloud_divides_the_total_and_takes_the_beam_first(
    sun: float, moon: float, elongation: float, cloud: float
) -> None:
    clear = daylight.natural_light(sun, moon, elongation)
    grey = daylight.natural_light(sun, moon, elongation, cloud)
    assert grey.total_lux == pytest.approx(clear.total_lux / cloud)
    assert grey.direct_lux <= clear.direct_lux / cloud + 1e-12


def test_dark_stratus_leaves_no_shadow() -> None:
    # Circular 171 divides by 10 under dark stratus; that its beam is gone is common practice, no source
    light = daylight.natural_light(40.0, -40.0, 90.0, 10.0)
    assert light.direct_lux < 0.01 * light.total_lux


@pytest.mark.parametrize("divisor", [0.0, 0.99, -3.0, float("nan")])
def test_cloud_that_brightens_is_refused(divisor: float) -> None:
    with pytest.raises(ValueError, match="cloud_divisor"):
        daylight.natural_light(0.0, 0.0, 0.0, divisor)


@given(st.floats(-0.8, 90), elongations, st.floats(0, 20))
def test_a_fuller_moon_is_never_darker(altitude: float, elongation: float, more: float) -> None:
    fuller = min(elongation + more, 180.0)
    less, full = daylight.moon_illuminance_lux(altitude, [elongation, fuller])
    assert full >= less


def test_a_new_moon_gives_no_light() -> None:
    assert daylight.moon_illuminance_lux(50.0, 0.0) == 0.0


@given(st.floats(-20, 20))
def test_ev_and_lux_are_inverse(ev100: float) -> None:
    assert daylight.ev100_from_lux(daylight.lux_from_ev100(ev100)) == pytest.approx(ev100, abs=1e-9)
    assert daylight.lux_from_ev100(ev100 + 1) == pytest.approx(2 * daylight.lux_from_ev100(ev100))


@given(st.floats(-10, 16), st.floats(-10, 16))
def test_the_artificial_floor_adds_as_light(natural: float, artificial: float) -> None:
    together = daylight.scene_ev100(daylight.lux_from_ev100(natural), artificial)
    assert together == pytest.approx(np.log2(2.0**natural + 2.0**artificial), abs=1e-9)
    assert together >= max(natural, artificial)


def test_without_artificial_light_the_scene_is_the_sky() -> None:
    # ISO 2720:1974, C = 250: E = 2.5 · 2^EV lux
    assert daylight.scene_ev100([2.5, 5.0], None) == pytest.approx([0.0, 1.0])


@given(st.lists(altitudes, max_size=6), st.floats(0, 0.3), clouds)
def test_every_tint_has_luminance_one_and_no_negative_channel(
    altitude: list[float], haze: float, cloud: float
) -> None:
    for tint in (
        colour.sun_tint(altitude, haze),
        colour.sky_tint(altitude, cloud),
    ):
        assert tint.shape == (len(altitude), 3)
        assert np.all(tint >= 0.0)
        assert tint @ colour.LUMINANCE == pytest.approx(np.ones(len(altitude)))


def test_the_sinking_sun_only_reddens() -> None:
    altitudes_deg = np.linspace(0, 90, 91)
    red, _, blue = colour.sun_tint(altitudes_deg).T
    assert np.all(np.diff(red) < 0)
    assert np.all(np.diff(blue) >= 0)


def test_dusk_is_deep_blue_above() -> None:
    day, dusk = colour.sky_tint([30.0, -5.0])
    assert dusk[2] > day[2] > day[0]


def test_overcast_is_grey() -> None:
    clear, grey = (colour.sky_tint(20.0, cloud) for cloud in (1.0, 10.0))
    assert np.ptp(grey) < 0.25 * np.ptp(clear)
