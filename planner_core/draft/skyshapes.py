"""Shapes in the sky of a draft picture: clouds that drift with the wind, and opposite a low sun the Earth's
shadow with the pink band over it.

They are factors on the smooth sky of light/sky.py, seen by the camera alone, and even out over the sky: light
and exposure stay those of the smooth one. Clouds lie in a flat sheet, as waves of several lengths that bend
each other; how strong they are follows the cloud's thickness, and none are in a clear sky. The Earth's shadow
rises opposite the sun about as fast as the sun sinks, and the band over it is widest and pinkest with the sun
some three degrees down (Lynch and Livingston, *Color and Light in Nature*, 1995; strengths from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner_core.frames import FrameTable

Array = NDArray[np.float64]

# Opposite the sun: strength by its altitude, what the shadow takes and the band adds by channel; as sines of
# altitudes how soft the shadow's edge is, how far over it the band lies, and how wide that is
OPPOSITE_ALTITUDES_DEG, OPPOSITE_STRENGTHS = (-7.0, -5.0, -3.0, -1.0, 1.5), (0.0, 0.6, 1.0, 0.7, 0.0)
SHADOW_TAKES, BAND_ADDS = (0.46, 0.32, 0.12), (0.28, 0.02, 0.06)
EDGE, BAND_OVER, BAND_WIDE = 0.012, 0.075, 0.06
# Clouds: the sheet's height, what keeps it from the horizon, waves (per height of the sheet, with amplitude,
# direction and phase), how far they bend each other, and by channel how much brighter or darker they get
SHEET_M, NEAREST_RISE = 2000.0, 0.22
FIRST_WAVE, FINER, WEAKER, WAVES, TURN_RAD = 1.3, 1.55, 0.72, 6, 2.39996
BENDS, BENT = (0.5, 0.5), ((1.1, 0.7), (0.8, 1.3))
CONTRAST, BY_CHANNEL = 0.9, (1.15, 1.0, 0.8)
LOW_FADE = 0.08  # sine of an altitude below which clouds run together
THICK_AT = 7.0  # so many times over 1, cloud is an even cover: ours


def waves() -> Array:
    """Waves of the clouds: their parts along X and Y, phase and amplitude, shape (waves, 4)."""
    number = np.arange(WAVES)
    length, turn = FIRST_WAVE * FINER**number, TURN_RAD * number
    amplitude = WEAKER**number
    amplitude /= np.sqrt(np.sum(amplitude**2) / 2.0)
    return np.stack([length * np.cos(turn), length * np.sin(turn), 1.7 * number, amplitude], axis=1)


def cloud_contrast(cloud_divisor: float) -> float:
    """How much brighter and darker clouds make the sky: most where they are broken."""
    cover = float(np.clip((cloud_divisor - 1.0) / (THICK_AT - 1.0), 0.0, 1.0))
    return CONTRAST * np.sqrt(cover) * (1.0 - 0.65 * cover)


def cloud_drift(frames: FrameTable) -> Array:
    """How far the clouds have drifted since the first frame, in heights of their sheet along X and Y:
    (frames, 2).
    """
    shoot = frames.plan.shoot
    towards = np.radians(shoot.wind_from_deg + 180.0 - frames.plan.site.scene_north_deg)
    far = shoot.wind_m_s * (frames.utc_s - frames.utc_s[0]) / SHEET_M
    return far[:, None] * [np.sin(towards), np.cos(towards)]


def opposite_strength(frames: FrameTable) -> Array:
    """How strong shadow and band opposite the sun are, (frames,); cloud hides them."""
    strength = np.interp(frames.sun_altitude_deg, OPPOSITE_ALTITUDES_DEG, OPPOSITE_STRENGTHS)
    return np.asarray(strength / frames.plan.shoot.cloud_divisor**2)


def shadow_top(frames: FrameTable) -> Array:
    """Sine of the altitude of the Earth's shadow's upper edge, (frames,)."""
    return np.sin(np.radians(-frames.sun_altitude_deg))


def factors(frames: FrameTable, frame: int, directions: ArrayLike) -> Array:
    """By what the smooth sky in directions (n, 3) is multiplied on a frame counted from 0, (n, 3)."""
    directions = np.asarray(directions, dtype=np.float64)
    result = np.ones((len(directions), 3))
    contrast = cloud_contrast(frames.plan.shoot.cloud_divisor)
    if contrast > 0.0:
        shape = clouds(directions, cloud_drift(frames)[frame])
        result += contrast * shape[:, None] * np.array(BY_CHANNEL)
    strength = float(opposite_strength(frames)[frame])
    if strength > 0.0:
        up, sun = directions[:, 2], frames.sun_direction[frame]
        level = sun[:2] / max(float(np.hypot(*sun[:2])), 1e-9)
        opposite = strength * np.clip(-(directions[:, :2] @ level), 0.0, 1.0)
        over = up - float(shadow_top(frames)[frame])
        shadow = 1.0 / (1.0 + np.exp(np.clip(over / EDGE, -60.0, 60.0)))
        band = np.exp(-(((over - BAND_OVER) / BAND_WIDE) ** 2))
        result += opposite[:, None] * (band[:, None] * BAND_ADDS - shadow[:, None] * SHADOW_TAKES)
    return result


def clouds(directions: Array, drift: Array) -> Array:
    """How bright clouds are in directions (n, 3), −1 to 1, (n,), once they have drifted so far (2,)."""
    up = np.maximum(directions[:, 2], 0.0)
    place = directions[:, :2] / (up + NEAREST_RISE)[:, None] - drift
    bent = place + np.stack(
        [a * np.sin(place @ direction) for a, direction in zip(BENDS, np.array(BENT), strict=True)], axis=1
    )
    along_x, along_y, phase, amplitude = waves().T
    total = np.sin(bent @ np.stack([along_x, along_y]) + phase) @ amplitude
    return np.asarray(np.tanh(total) * (1.0 - np.exp(-up / LOW_FADE)))
