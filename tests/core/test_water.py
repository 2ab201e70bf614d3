"""What water mirrors, beside the same worked out wave by wave."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core import compute_frames
from planner_core.light import sky, water
from tests.two_towers import plan

Array = NDArray[np.float64]
Brightness = Callable[[Array], Array]  # of directions (..., 3): what comes from there, (..., 3)
WAVES = 100_000
DROPS_DEG = (0.5, 2.0, 6.0, 15.0, 40.0)


def fresnel_by_angles(cosine: Array) -> Array:
    # Born and Wolf, *Principles of Optics*, 1.5.2: by angles of incidence and refraction
    incident = np.arccos(np.clip(cosine, 1e-9, 1.0 - 1e-12))
    refracted = np.arcsin(np.sin(incident) / 1.333)
    across = np.sin(incident - refracted) / np.sin(incident + refracted)
    along = np.tan(incident - refracted) / np.tan(incident + refracted)
    return (across**2 + along**2) / 2.0


def cast_wave_by_wave(away: Array, slope: float, brightness: Brightness, waves: int = WAVES) -> Array:
    """Mean over random facets, each counted by its area as the eye sees it."""
    slopes = np.random.default_rng(7).normal(scale=np.sqrt(slope / 2.0), size=(waves, 2))
    normals = np.column_stack([-slopes, np.ones(waves)])
    area = np.maximum(-(normals @ away), 0.0)
    unit = normals / np.linalg.norm(normals, axis=1)[:, None]
    cosine = np.maximum(-(unit @ away), 0.0)
    rays = away + 2.0 * cosine[:, None] * unit
    seen = fresnel_by_angles(cosine)[:, None] * brightness(rays)
    return (area[:, None] * seen).sum(axis=0) / area.sum()


def looking(drop_deg: float, aside_deg: float, toward: Array) -> Array:
    """A direction down to the water, so far aside of a bearing."""
    turn = np.arctan2(toward[1], toward[0]) + np.radians(aside_deg)
    drop = np.radians(drop_deg)
    return np.array([np.cos(drop) * np.cos(turn), np.cos(drop) * np.sin(turn), -np.sin(drop)])


@pytest.mark.once
@pytest.mark.parametrize("wind_m_s", [0.0, 2.0, 8.0])
@pytest.mark.parametrize("frame", [0, 180, 330])
def test_water_mirrors_the_sky_as_a_hundred_thousand_waves_do(wind_m_s: float, frame: int) -> None:
    frames = compute_frames(plan())
    slope = float(water.mean_square_slope(wind_m_s))

    def of_sky_and_hills(directions: Array) -> Array:
        bright = sky.radiance(frames.sky_light, frame, directions)
        hill = directions[..., 2] < np.sin(np.radians(2.0))
        return np.where(hill[..., None], 0.1 * bright, bright)

    views = [looking(d, a, frames.sun_direction[frame]) for d in DROPS_DEG for a in (0.0, 50.0)]
    expected = np.array([cast_wave_by_wave(view, slope, of_sky_and_hills) for view in views])
    toward, shares = water.facets(np.array(views), slope)
    mirrored = np.einsum("nk,nkc->nc", shares, of_sky_and_hills(toward))
    assert mirrored == pytest.approx(expected, rel=0.10)


@pytest.mark.once
@pytest.mark.parametrize("altitude_deg", [4.0, 20.0])
@pytest.mark.parametrize("wind_m_s", [1.0, 6.0])
def test_the_path_of_a_beam_is_as_bright_as_waves_make_it(altitude_deg: float, wind_m_s: float) -> None:
    slope, radius = float(water.mean_square_slope(wind_m_s)), np.radians(0.5)
    rise = np.radians(altitude_deg)
    source = np.array([np.cos(rise), 0.0, np.sin(rise)])
    bright = 1.0 / np.sin(radius) ** 2  # a disc so wide lights a surface square to it to level 1

    def disc(directions: Array) -> Array:
        inside = directions @ source > np.cos(radius)
        return np.where(inside[..., None], bright, 0.0) * np.ones(3)

    for drop_deg in (3.0, 10.0, 25.0):
        view = looking(drop_deg, 1.0, source)
        expected = cast_wave_by_wave(view, slope, disc, 10 * WAVES)[0]
        if expected > 10.0:  # so bright that enough of the waves hit it
            assert water.glitter(view[None], slope, source, radius)[0] == pytest.approx(expected, rel=0.10)


def test_calm_water_mirrors_two_percent_straight_down_and_all_at_a_glance() -> None:
    # Fresnel for a refractive index of 1.333, any handbook of optics: 2.0 % at right angles
    assert water.fresnel(1.0) == pytest.approx(0.0204, abs=2e-4)
    assert water.fresnel(0.0) == pytest.approx(1.0)
    cosines = np.linspace(0.01, 0.99, 40)
    assert water.fresnel(cosines) == pytest.approx(fresnel_by_angles(cosines), rel=1e-6)


def test_wind_roughens_water() -> None:
    # Cox and Munk (1954): 0.003 + 0.00512 a metre a second, clean water
    assert water.mean_square_slope([0.0, 10.0]) == pytest.approx([0.003, 0.0542])
    shares = water.mirrored_share(np.full(1, 0.05), 0.003), water.mirrored_share(np.full(1, 0.05), 0.03)
    assert shares[1] < shares[0]


def test_the_short_form_of_what_calm_water_lets_out_is_near_the_long_one() -> None:
    slope = float(water.mean_square_slope(water.CALM_WIND_M_S))
    drops = np.array([0.01, 0.03, 0.06, 0.1, 0.2, 0.4, 0.7])
    glance = (1.0 - np.sqrt(drops**2 + water.WIDENED * slope)) ** 5
    short = (1.0 - water.STRAIGHT_DOWN) * (1.0 - glance)
    assert short == pytest.approx(1.0 - water.mirrored_share(drops, slope), rel=0.08)
