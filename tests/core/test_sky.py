"""The sky of the draft picture gives the light that the FrameTable says, and a grey card comes out grey."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from planner_core import FrameTable, compute_frames, daylight, sky
from planner_core.colour import LUMINANCE
from tests.two_towers import plan

FRAMES = compute_frames(plan(shoot__frames=61, shoot__interval_s=180.0))
LIGHT = sky.picture_light(FRAMES)


def light_on_level_ground(light: sky.PictureLight, frame: int) -> NDArray[np.float64]:
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
    parts = LIGHT.even[frame] + LIGHT.band[frame] + LIGHT.glow[frame] + LIGHT.ember[frame]
    assert light_on_level_ground(LIGHT, frame) == pytest.approx(parts, rel=2e-3)


@given(st.integers(0, 60), st.sampled_from([1.0, 3.0, 10.0]))
def test_all_parts_together_are_the_natural_light(frame: int, cloud: float) -> None:
    frames = compute_frames(plan(shoot__frames=61, shoot__interval_s=180.0, shoot__cloud_divisor=cloud))
    light = sky.picture_light(frames)
    beams = light.sun[frame] * max(frames.sun_direction[frame, 2], 0.0) + light.moon[frame] * max(
        frames.moon_direction[frame, 2], 0.0
    )
    whole = (
        light.even[frame] + light.band[frame] + light.glow[frame] + light.ember[frame] + beams
    ) @ LUMINANCE
    assert whole / light.level_per_lux[frame] == pytest.approx(frames.illuminance_lux[frame], rel=1e-3)


def white_card(frames: FrameTable) -> NDArray[np.float64]:
    """Luminance of a level white card in the picture, shape (frames,)."""
    light = sky.picture_light(frames)
    up = np.maximum(frames.sun_direction[:, 2], 0.0)[:, None]
    moon_up = np.maximum(frames.moon_direction[:, 2], 0.0)[:, None]
    whole = light.even + light.band + light.glow + light.ember + light.lamps
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


def test_the_sky_is_brightest_low_towards_the_sunset_and_darker_overhead() -> None:
    frame = int(np.argmin(np.abs(FRAMES.sun_altitude_deg + 2.0)))
    west = LIGHT.glow_direction[frame]
    toward, away, overhead = (
        sky.radiance(LIGHT, frame, d) @ LUMINANCE for d in (west, -west * [1, 1, -1], [0.0, 0.0, 1.0])
    )
    assert toward > 2.0 * away
    assert away > overhead


def test_lamps_light_level_ground_at_the_artificial_floor() -> None:
    level = LIGHT.lamps @ LUMINANCE / LIGHT.level_per_lux
    assert level == pytest.approx(np.full(61, daylight.lux_from_ev100(2.5)), rel=1e-9)
