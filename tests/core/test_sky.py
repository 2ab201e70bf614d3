"""The sky of the draft picture gives the light that the FrameTable says, and a grey card comes out grey."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from planner_core import FrameTable, compute_frames
from planner_core.draft.sky import PictureLight, picture_light
from planner_core.light import daylight, sky
from planner_core.light.colour import LUMINANCE
from tests.two_towers import plan

FRAMES = compute_frames(plan(shoot__frames=61, shoot__interval_s=180.0))
LIGHT = picture_light(FRAMES)


def light_on_level_ground(light: PictureLight, frame: int) -> NDArray[np.float64]:
    """The sky summed over the dome by the cosine of its height, over π: level of a white card, shape (3,)."""
    up, weight = np.polynomial.legendre.leggauss(80)
    up, weight = (up + 1.0) / 2.0, weight / 2.0
    around = (np.arange(160) + 0.5) * (2.0 * np.pi / 160)
    level = np.sqrt(1.0 - up**2)[:, None]
    directions = np.stack(
        [level * np.cos(around), level * np.sin(around), np.broadcast_to(up[:, None], (80, 160))], axis=-1
    )
    return 2.0 * np.einsum("i,ijk->k", weight * up, sky.radiance(light, frame, directions)) / 160.0


@pytest.mark.parametrize("frame", [0, 20, 29, 31, 40, 60])
def test_the_cosine_weighted_sky_is_the_diffuse_light(frame: int) -> None:
    parts = (
        LIGHT.isotropic[frame] + LIGHT.horizon_band[frame] + LIGHT.circumsolar[frame] + LIGHT.aureole[frame]
    )
    assert light_on_level_ground(LIGHT, frame) == pytest.approx(parts, rel=2e-3)


@pytest.mark.once
@given(st.integers(0, 60), st.sampled_from([1.0, 3.0, 10.0]))
def test_all_parts_together_are_the_natural_light(frame: int, cloud: float) -> None:
    frames = compute_frames(plan(shoot__frames=61, shoot__interval_s=180.0, shoot__cloud_divisor=cloud))
    light = picture_light(frames)
    beams = light.sun[frame] * max(frames.sun_direction[frame, 2], 0.0) + light.moon[frame] * max(
        frames.moon_direction[frame, 2], 0.0
    )
    whole = (
        light.isotropic[frame]
        + light.horizon_band[frame]
        + light.circumsolar[frame]
        + light.aureole[frame]
        + beams
    ) @ LUMINANCE
    assert whole / light.level_per_lux[frame] == pytest.approx(frames.illuminance_lux[frame], rel=1e-3)


def white_card(frames: FrameTable) -> NDArray[np.float64]:
    """Luminance of a level white card in the picture, shape (frames,)."""
    light = picture_light(frames)
    up = np.maximum(frames.sun_direction[:, 2], 0.0)[:, None]
    moon_up = np.maximum(frames.moon_direction[:, 2], 0.0)[:, None]
    whole = light.isotropic + light.horizon_band + light.circumsolar + light.aureole + light.lamps
    whole = whole + light.sun * up + light.moon * moon_up
    return whole @ LUMINANCE


def test_a_card_metered_frame_by_frame_is_white_at_one() -> None:
    # ISO 2720: what the incident meter reads is rendered as it is; a plan without exposure is metered so
    metered = attrs.evolve(plan(shoot__frames=61, shoot__interval_s=180.0), exposure=None)
    assert white_card(compute_frames(metered)) == pytest.approx(np.ones(61), rel=1e-3)


def test_the_picture_is_off_by_what_the_ramp_is_off() -> None:
    assert FRAMES.ramp is not None
    stops = FRAMES.ramp.error_stops + FRAMES.scene_ev100 - FRAMES.ramp.target_ev100
    assert np.log2(white_card(FRAMES)) == pytest.approx(stops, abs=2e-3)


def test_a_stop_less_shutter_halves_the_picture() -> None:
    assert FRAMES.ramp is not None
    half = attrs.evolve(FRAMES, ramp=attrs.evolve(FRAMES.ramp, shutter_s=FRAMES.ramp.shutter_s / 2.0))
    assert white_card(half) == pytest.approx(white_card(FRAMES) / 2.0, rel=1e-9)


def across_the_sky(frame: int, altitudes_deg: list[float], turn_deg: float) -> NDArray[np.float64]:
    """Luminances at altitudes, a bearing away from the sun's, relative to the sky's light on level ground."""
    west = LIGHT.lobe_direction[frame] * [1.0, 1.0, 0.0]
    west /= np.linalg.norm(west)
    turn, rise = np.radians(turn_deg), np.radians(altitudes_deg)
    level = np.cos(turn) * west + np.sin(turn) * np.cross([0.0, 0.0, 1.0], west)
    directions = np.cos(rise)[:, None] * level + np.sin(rise)[:, None] * [0.0, 0.0, 1.0]
    on_ground = (LIGHT.isotropic + LIGHT.horizon_band + LIGHT.circumsolar + LIGHT.aureole)[frame] @ LUMINANCE
    return sky.radiance(LIGHT, frame, directions) / on_ground


def test_the_sky_is_brightest_low_towards_the_sunset_and_darker_overhead() -> None:
    frame = int(np.argmin(np.abs(FRAMES.sun_altitude_deg + 2.0)))
    toward, away = (across_the_sky(frame, [8.0, 90.0], turn) @ LUMINANCE for turn in (0.0, 180.0))
    assert toward[0] > 2.0 * away[0]
    assert toward[0] > 4.0 * toward[1]
    assert away[0] > away[1]


def test_dusk_is_orange_low_in_the_west_and_blue_above() -> None:
    frame = int(np.argmin(np.abs(FRAMES.sun_altitude_deg + 5.0)))
    low, middle, overhead = across_the_sky(frame, [2.0, 20.0, 90.0], 0.0)
    assert low[0] > 1.5 * low[2]
    assert middle[2] > 1.5 * middle[0]
    assert overhead[2] > 2.0 * overhead[0]


@pytest.mark.parametrize("sun_deg", [5.0, 8.0])
def test_a_clear_sky_is_as_bright_here_and_there_as_the_standard_one(sun_deg: float) -> None:
    # CIE standard general sky (ISO 15469:2004), type 12, clear; its coefficients are values from memory
    def standard(altitude: NDArray[np.float64], sun_away: NDArray[np.float64]) -> NDArray[np.float64]:
        gradation = 1.0 - np.exp(-0.32 / np.maximum(np.sin(altitude), 1e-3))
        return gradation * (
            1.0 + 10.0 * (np.exp(-3.0 * sun_away) - np.exp(-1.5 * np.pi)) + 0.45 * np.cos(sun_away) ** 2
        )

    frame = int(np.argmin(np.abs(FRAMES.sun_altitude_deg - sun_deg)))
    sun = np.radians(FRAMES.sun_altitude_deg[frame])

    def away_from_sun(altitude: NDArray[np.float64], turn: NDArray[np.float64]) -> NDArray[np.float64]:
        cosine = np.cos(sun) * np.cos(altitude) * np.cos(turn) + np.sin(sun) * np.sin(altitude)
        return np.arccos(np.clip(cosine, -1.0, 1.0))

    up, turn = np.meshgrid((np.arange(200) + 0.5) / 200, (np.arange(180) + 0.5) * np.pi / 180, indexing="ij")
    on_ground = 2.0 * np.mean(standard(np.arcsin(up), away_from_sun(np.arcsin(up), turn)) * up)
    altitudes = np.array([10.0, 20.0, 30.0, 45.0, 60.0, 90.0])
    for turn_deg in (30.0, 60.0, 90.0, 135.0, 180.0):
        ours = across_the_sky(frame, altitudes.tolist(), turn_deg) @ LUMINANCE
        rise = np.radians(altitudes)
        theirs = standard(rise, away_from_sun(rise, np.full(6, np.radians(turn_deg)))) / on_ground
        assert np.abs(np.log2(ours / theirs)).max() < 0.75, turn_deg


def test_the_shape_of_the_lamps_light_keeps_what_level_ground_gets() -> None:
    up, weight = np.polynomial.legendre.leggauss(60)
    up, weight = (up + 1.0) / 2.0, weight / 2.0
    around = (np.arange(120) + 0.5) * (2.0 * np.pi / 120)
    level = np.sqrt(1.0 - up**2)[:, None]
    directions = np.stack(
        [level * np.cos(around), level * np.sin(around), np.broadcast_to(up[:, None], (60, 120))], axis=-1
    )
    shape = sky.lamp_shape(directions, LIGHT.lamp_direction[0])
    assert 2.0 * np.sum(weight * up * shape.mean(axis=1)) == pytest.approx(1.0, rel=1e-3)
    behind = -FRAMES.camera_rotation[30][:, 2] * [-1.0, -1.0, 1.0]
    assert sky.lamp_shape(behind, LIGHT.lamp_direction[0]) > sky.lamp_shape(
        behind * [-1.0, -1.0, 1.0], LIGHT.lamp_direction[0]
    )


def test_lamps_light_level_ground_at_the_artificial_floor() -> None:
    level = LIGHT.lamps @ LUMINANCE / LIGHT.level_per_lux
    assert level == pytest.approx(np.full(61, daylight.lux_from_ev100(2.5)), rel=1e-9)
