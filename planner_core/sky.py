"""Light as a draft picture records it: sun, moon, sky and lamps of every frame, through the frame's own
exposure.

Levels are those of a white matt surface in the picture, linear, with three channels: lux times the light's
tint times what the settings make of a lux. A grey card of 18 % lit by E lux and exposed by the incident
meter's EV comes out at 0.18 (ISO 2720:1974, C = 250).

The sky is the sum of three parts, each spread over the dome so that its light on level ground is its share
of the sky's lux: an even part, a band brighter towards the horizon, and a glow around the sun. The sums are
exact; the shares are ours, from memory of clear evenings, and only shape the picture.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core import colour, daylight, exposure
from planner_core.frames import FrameTable

Array = NDArray[np.float64]

BAND_FALL = 4.0  # the band sinks to 1/e at sin(altitude) = 1/4
GLOW_WIDTH, GLOW_FALL = (
    4.0,
    11.0,
)  # the glow: exp(4 (cos angle − 1) − 11 (sin altitude − sin middle's altitude)⁺)

# shares of the sky's light by the sun's altitude: ours, no source
SHARE_ALTITUDES_DEG = (-18.0, -9.0, -4.0, 0.0, 8.0, 30.0, 90.0)
BAND_SHARES = (0.12, 0.12, 0.12, 0.13, 0.18, 0.26, 0.26)
GLOW_SHARES = (0.0, 0.06, 0.09, 0.10, 0.10, 0.10, 0.10)
BAND_WHITER = (0.0, 0.1, 0.15, 0.3, 0.5, 0.55, 0.55)  # how far the band's tint is from the sky's to white
LAMP_XY = (0.3805, 0.3768)  # a black body of about 4000 K: lamps of 2700 to 5000 K together; ours
# The floor (artificial_ev100) is what the lit parts of a place are exposed for, as exposure guides give it;
# between
# them it is darker. Share of it that falls everywhere: ours, no source.
LAMP_SPILL = 0.15

LOWEST_SUN_DEG = 0.05  # below that the beam grazes the level ground and lights nothing of it


@frozen(kw_only=True, eq=False)
class PictureLight:
    """Per frame: levels of shape (frames, 3), and how the picture was exposed.

    sun and moon light a surface square to them; even, band and glow light level ground. lamps is artificial
    light where it is meant to shine, LAMP_SPILL of it falls everywhere. glow_peak (frames,) is what makes
    the glow's shape come to that; glow_direction (frames, 3) is the way to its middle, at or above the
    horizon. level_per_lux (frames,) is what the settings make of a lux.
    """

    settings_ev100: Array
    level_per_lux: Array
    sun: Array
    moon: Array
    even: Array
    band: Array
    glow: Array
    glow_peak: Array
    glow_direction: Array
    lamps: Array


def picture_settings_ev100(frames: FrameTable) -> Array:
    """EV that each frame's settings render as metered, shape (frames,).

    A plan without exposure is taken as metered frame by frame.
    """
    plan, ramp = frames.plan, frames.ramp
    if ramp is None or plan.exposure is None:
        return frames.scene_ev100
    return exposure.settings_ev100(ramp.f_number, ramp.shutter_s, ramp.iso, plan.exposure.nd_stops)


def picture_light(frames: FrameTable) -> PictureLight:
    """The light of every frame as its settings record it."""
    ev100 = picture_settings_ev100(frames)
    per_lux = 1.0 / daylight.lux_from_ev100(ev100)
    cloud = frames.plan.shoot.cloud_divisor
    light, altitude = frames.light, frames.sun_altitude_deg
    sky_lux, night_lux = light.diffuse_lux, light.night_sky_lux
    moon_beam_lux, moon_normal_lux = _moon_beam(frames)
    band = np.interp(altitude, SHARE_ALTITUDES_DEG, BAND_SHARES) / np.sqrt(cloud)
    glow = np.interp(altitude, SHARE_ALTITUDES_DEG, GLOW_SHARES) / cloud
    sky_tint = colour.sky_tint(altitude, cloud)
    whiter = np.interp(altitude, SHARE_ALTITUDES_DEG, BAND_WHITER)[:, None]
    even_lux = sky_lux * (1.0 - band - glow) + (light.moon_lux - moon_beam_lux) + night_lux
    centre = _lifted(frames.sun_direction)
    floor = frames.plan.exposure.artificial_ev100 if frames.plan.exposure else None
    lamp_lux = 0.0 if floor is None else float(daylight.lux_from_ev100(floor))

    def level(lux: ArrayLike, tint: Array) -> Array:
        return (np.broadcast_to(np.asarray(lux, dtype=np.float64), per_lux.shape) * per_lux)[:, None] * tint

    return PictureLight(
        settings_ev100=ev100,
        level_per_lux=per_lux,
        sun=level(_sun_normal_lux(frames), frames.sun_colour),
        moon=level(moon_normal_lux, colour.sun_tint(np.maximum(frames.moon_altitude_deg, 0.0))),
        even=level(even_lux, sky_tint),
        band=level(sky_lux * band, whiter + (1.0 - whiter) * sky_tint),
        glow=level(sky_lux * glow, colour.glow_tint(altitude)),
        glow_peak=glow_peak(np.degrees(np.arcsin(centre[:, 2]))),
        glow_direction=centre,
        lamps=level(lamp_lux, lamp_tint()),
    )


def radiance(light: PictureLight, frame: int, directions: ArrayLike) -> Array:
    """How bright the sky is in the picture, in directions (..., 3) in scene axes: linear, shape (..., 3).

    frame counts from 0. Below the horizon it is as on it. Stars, discs and clouds are none of it.
    """
    directions = np.asarray(directions, dtype=np.float64)
    up = np.maximum(directions[..., 2], 0.0)
    toward = directions @ light.glow_direction[frame]
    above = np.maximum(up - light.glow_direction[frame, 2], 0.0)
    glow = light.glow_peak[frame] * np.exp(GLOW_WIDTH * (toward - 1.0) - GLOW_FALL * above)
    return (
        light.even[frame]
        + light.band[frame] * (band_peak() * np.exp(-BAND_FALL * up))[..., None]
        + light.glow[frame] * glow[..., None]
    )


def band_peak() -> float:
    """What makes exp(−k sin h) light level ground as an even sky of level 1 does: π over its cosine-
    weighted integral.
    """
    k = BAND_FALL
    return float(k**2 / (2.0 * (1.0 - (1.0 + k) * np.exp(-k))))


def glow_peak(altitude_deg: ArrayLike) -> Array:
    """The same for the glow, by the altitude of its middle, at or above the horizon; any shape."""
    altitudes, peaks = _glow_peaks()
    return np.interp(np.asarray(altitude_deg, dtype=np.float64), altitudes, peaks)


def lamp_tint() -> Array:
    """Tint of artificial light, luminance 1, shape (3,)."""
    return colour.tint_from_xy(LAMP_XY)


@lru_cache(maxsize=1)
def _glow_peaks() -> tuple[Array, Array]:
    altitudes = np.linspace(0.0, 90.0, 91)
    up, weight = np.polynomial.legendre.leggauss(96)
    up, weight = (up + 1.0) / 2.0, weight / 2.0
    around = (np.arange(256) + 0.5) * (2.0 * np.pi / 256)
    level = np.sqrt(1.0 - up**2)
    peaks = []
    for altitude in np.radians(altitudes):
        toward = np.cos(altitude) * level[:, None] * np.cos(around) + np.sin(altitude) * up[:, None]
        fall = np.exp(-GLOW_FALL * np.maximum(up - np.sin(altitude), 0.0))
        shape = np.exp(GLOW_WIDTH * (toward - 1.0)).mean(axis=1) * fall
        peaks.append(1.0 / (2.0 * np.sum(weight * up * shape)))
    return altitudes, np.array(peaks)


def _sun_normal_lux(frames: FrameTable) -> Array:
    altitude = frames.sun_altitude_deg
    clear = daylight.sun_direct_normal_lux(altitude) / frames.plan.shoot.cloud_divisor**3
    return np.where(altitude > 0.0, clear, 0.0)


def _moon_beam(frames: FrameTable) -> tuple[Array, Array]:
    """The moon's beam on level ground, and square to it, lux; its sky has the rest, as the sun's sky does."""
    altitude = frames.moon_altitude_deg
    beam, sky = daylight.sun_direct_lux(altitude), daylight.sky_diffuse_lux(altitude)
    rise = np.sin(np.radians(altitude))
    up = rise > np.sin(np.radians(LOWEST_SUN_DEG))
    on_level = np.where(up, frames.light.moon_lux * beam / (beam + sky), 0.0)
    return on_level, np.where(up, on_level / np.where(up, rise, 1.0), 0.0)


def _lifted(directions: Array) -> Array:
    """Unit directions (n, 3), those below the horizon brought up to it."""
    lifted = directions.copy()
    lifted[:, 2] = np.maximum(lifted[:, 2], 0.0)
    return lifted / np.linalg.norm(lifted, axis=1, keepdims=True)
