"""Light as a draft picture records it: sun, moon, sky and lamps of every frame, through the frame's own
exposure.

Levels are those of a white matt surface in the picture, linear, with three channels: lux times the light's
tint times what the settings make of a lux. A grey card of 18 % lit by E lux and exposed by the incident
meter's EV comes out at 0.18 (ISO 2720:1974, C = 250).

The sky is the sum of four parts, each spread over the dome so that its light on level ground is its share of
the sky's lux: an even part, a band brighter towards the horizon, a wide glow on the sun's side and an ember
close around it. What the two lobes have too much of red, the even part has too little, so that together they
have the sky's tint. The sums are exact; the shares are ours, from memory of clear evenings, and only shape
the picture.
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
# a lobe around its middle: exp(width (cos angle − 1) − fall (sin altitude − sin middle's altitude)⁺)
GLOW_WIDTH, GLOW_FALL = 2.5, 6.5  # wide: the bright side of the sky
EMBER_WIDTH, EMBER_FALL = 8.0, 14.0  # close: around the sun, and where it has set

# shares of the sky's light by the sun's altitude: ours, no source
SHARE_ALTITUDES_DEG = (-18.0, -9.0, -6.0, -3.0, 0.0, 8.0, 30.0, 90.0)
BAND_SHARES = (0.12, 0.12, 0.10, 0.09, 0.09, 0.16, 0.26, 0.26)
GLOW_SHARES = (0.0, 0.06, 0.09, 0.11, 0.10, 0.06, 0.05, 0.05)
EMBER_SHARES = (0.0, 0.006, 0.006, 0.005, 0.004, 0.006, 0.012, 0.02)
BAND_WHITER = (
    0.0,
    0.05,
    0.1,
    0.2,
    0.35,
    0.5,
    0.55,
    0.55,
)  # how far the band's tint is from the sky's to white
EMBER_REDDEST_DEG = 1.5  # the ember is never redder than the sun at this altitude
GLOW_REDDEST_DEG = 3.5  # … nor the glow than at this one
WARM_ALTITUDES_DEG, WARM_SHARES = (-11.0, -8.0, -4.0), (0.15, 0.4, 1.0)  # how warm both still are: ours
# the even part is overhead, where ozone takes more out of the low sun's light than on the way to level
# ground: power of its tint by the sun's altitude, ours
OVERHEAD_BLUER = (1.0, 1.9, 1.9, 1.7, 1.4, 1.0, 1.0, 1.0)
LEAST_TINT = 0.55  # of the sky's tint left in the even part, however much warm light the lobes have
LAMP_XY = (0.3608, 0.3636)  # a black body of about 4500 K: lamps of 2700 to 6000 K together; ours
# Light of the place in its night sky, as a share of the artificial floor and in the band's shape: ours, from
# memory of measured town skies.
SKYGLOW = 0.003

# The disc of the sun is so much brighter than what it lights, less what no picture holds
SUN_RADIUS_RAD = np.radians(0.2665)
DISC_GAIN = float(1.0 / np.sin(SUN_RADIUS_RAD) ** 2)  # a disc's light square to it: level = radiance · sin² r
BRIGHTEST_SUN, BRIGHTEST_MOON = 40.0, 4.0
# What lens and air scatter of a beam into the picture around it: share, and the angle over which it sinks to
# 1/e. Ours. It is seen and lights nothing.
VEILS = ((0.0030, np.radians(1.6)), (0.012, np.radians(9.0)))

LOWEST_SUN_DEG = 0.05  # below that the beam grazes the level ground and lights nothing of it


@frozen(kw_only=True, eq=False)
class PictureLight:
    """Per frame: levels of shape (frames, 3), and how the picture was exposed.

    sun and moon light a surface square to them; even, band, glow, ember and lamps light level ground, lamps
    being the artificial floor. glow_peak and ember_peak (frames,) are what makes their shapes come to that;
    glow_direction (frames, 3) is the way to the middle of both, at or above the horizon. level_per_lux
    (frames,) is what the settings make of a lux.
    """

    settings_ev100: Array
    level_per_lux: Array
    sun: Array
    moon: Array
    even: Array
    band: Array
    glow: Array
    ember: Array
    glow_peak: Array
    ember_peak: Array
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
    ember = np.interp(altitude, SHARE_ALTITUDES_DEG, EMBER_SHARES) / cloud**2
    sky_tint = colour.sky_tint(altitude, cloud)
    whiter = np.interp(altitude, SHARE_ALTITUDES_DEG, BAND_WHITER)[:, None]
    even_lux = sky_lux * (1.0 - band - glow - ember) + (light.moon_lux - moon_beam_lux) + night_lux
    centre = _lifted(frames.sun_direction)
    middle_deg = np.degrees(np.arcsin(centre[:, 2]))
    glow_tint, ember_tint = lobe_tints(altitude)
    lobes_lux = glow[:, None] * glow_tint + ember[:, None] * ember_tint
    lobes_lux = sky_lux[:, None] * (lobes_lux - (glow + ember)[:, None] * sky_tint)
    floor = frames.plan.exposure.artificial_ev100 if frames.plan.exposure else None
    lamp_lux = 0.0 if floor is None else float(daylight.lux_from_ev100(floor))
    warm = lobes_lux / np.maximum(even_lux, 1e-12)[:, None]

    def level(lux: ArrayLike, tint: Array) -> Array:
        return (np.broadcast_to(np.asarray(lux, dtype=np.float64), per_lux.shape) * per_lux)[:, None] * tint

    return PictureLight(
        settings_ev100=ev100,
        level_per_lux=per_lux,
        sun=level(_sun_normal_lux(frames), frames.sun_colour),
        moon=level(moon_normal_lux, colour.sun_tint(np.maximum(frames.moon_altitude_deg, 0.0))),
        even=level(even_lux, _overhead(_bluer(sky_tint, warm), altitude)),
        band=level(sky_lux * band, whiter + (1.0 - whiter) * sky_tint),
        glow=level(sky_lux * glow, glow_tint),
        ember=level(sky_lux * ember, ember_tint),
        glow_peak=lobe_peak(middle_deg, GLOW_WIDTH, GLOW_FALL),
        ember_peak=lobe_peak(middle_deg, EMBER_WIDTH, EMBER_FALL),
        glow_direction=centre,
        lamps=level(lamp_lux, lamp_tint()),
    )


def radiance(light: PictureLight, frame: int, directions: ArrayLike) -> Array:
    """How bright the sky is in the picture, in directions (..., 3) in scene axes: linear, shape (..., 3).

    frame counts from 0. Below the horizon it is as on it. Stars, discs and clouds are none of it.
    """
    directions = np.asarray(directions, dtype=np.float64)
    up = np.maximum(directions[..., 2], 0.0)
    toward = directions @ light.glow_direction[frame] - 1.0
    above = np.maximum(up - light.glow_direction[frame, 2], 0.0)
    glow = light.glow_peak[frame] * np.exp(GLOW_WIDTH * toward - GLOW_FALL * above)
    ember = light.ember_peak[frame] * np.exp(EMBER_WIDTH * toward - EMBER_FALL * above)
    return (
        light.even[frame]
        + light.band[frame] * (band_peak() * np.exp(-BAND_FALL * up))[..., None]
        + light.glow[frame] * glow[..., None]
        + light.ember[frame] * ember[..., None]
    )


def skyglow(light: PictureLight) -> Array:
    """What is seen of the place's lamps in its night sky at the horizon, shape (frames, 3).

    It falls upwards as the band does.
    """
    return SKYGLOW * band_peak() * light.lamps


def sun_disc(light: PictureLight) -> Array:
    """How bright the sun's disc is in the picture, shape (frames, 3), up to what a picture holds."""
    return _capped(light.sun * DISC_GAIN, BRIGHTEST_SUN)


def moon_disc(light: PictureLight, lit_fraction: ArrayLike) -> Array:
    """How bright the lit part of the moon's disc is in the picture, shape (frames, 3)."""
    lit = np.maximum(np.asarray(lit_fraction, dtype=np.float64), 0.02)[:, None]
    return _capped(light.moon * DISC_GAIN / lit, BRIGHTEST_MOON)


def veil_levels(light: PictureLight) -> Array:
    """How bright the veil around the sun is at its middle, shape (frames, veils, 3).

    A veil sinks as exp(−angle / width); over the sphere that comes to 2π width².
    """
    peaks = np.array([share / (2.0 * width**2) for share, width in VEILS])
    return light.sun[:, None, :] * peaks[:, None]


def veil(levels: ArrayLike, angle_rad: ArrayLike) -> Array:
    """The veils of a frame, levels (veils, 3), at angles (...) from the sun: shape (..., 3)."""
    widths = np.array([width for _, width in VEILS])
    return np.exp(-np.asarray(angle_rad, dtype=np.float64)[..., None] / widths) @ np.asarray(levels)


def _capped(levels: Array, most: float) -> Array:
    """Colours no brighter than that in their brightest channel."""
    return levels * np.minimum(1.0, most / np.maximum(levels.max(axis=-1, keepdims=True), 1e-12))


def band_peak() -> float:
    """What makes exp(−k sin h) light level ground as an even sky of level 1 does: π over its cosine-
    weighted integral.
    """
    k = BAND_FALL
    return float(k**2 / (2.0 * (1.0 - (1.0 + k) * np.exp(-k))))


def lobe_peak(altitude_deg: ArrayLike, width: float, fall: float) -> Array:
    """The same for a lobe, by the altitude of its middle, at or above the horizon; any shape."""
    altitudes, peaks = _lobe_peaks(width, fall)
    return np.exp(np.interp(np.asarray(altitude_deg, dtype=np.float64), altitudes, np.log(peaks)))


def lobe_tints(sun_altitude_deg: ArrayLike) -> tuple[Array, Array]:
    """Tints of glow and ember, shape (..., 3): warm while the sun sets and for a while after."""
    altitude = np.asarray(sun_altitude_deg, dtype=np.float64)
    warm = np.interp(altitude, WARM_ALTITUDES_DEG, WARM_SHARES)[..., None]
    cool = (1.0 - warm) * colour.sky_tint(altitude)
    glow = colour.sun_tint(np.maximum(altitude, GLOW_REDDEST_DEG))
    return warm * glow + cool, warm * colour.sun_tint(np.maximum(altitude, EMBER_REDDEST_DEG)) + cool


def lamp_tint() -> Array:
    """Tint of artificial light, luminance 1, shape (3,)."""
    return colour.tint_from_xy(LAMP_XY)


def _bluer(tint: Array, too_much: Array) -> Array:
    """A tint less what the lobes have too much of, each channel at least LEAST_TINT of it; of luminance 1."""
    left = np.maximum(tint - too_much, LEAST_TINT * tint)
    return left / (left @ colour.LUMINANCE)[:, None]


def _overhead(tint: Array, sun_altitude_deg: Array) -> Array:
    bluer = tint ** np.interp(sun_altitude_deg, SHARE_ALTITUDES_DEG, OVERHEAD_BLUER)[:, None]
    return bluer / (bluer @ colour.LUMINANCE)[:, None]


@lru_cache(maxsize=8)
def _lobe_peaks(width: float, fall: float) -> tuple[Array, Array]:
    altitudes = np.linspace(0.0, 90.0, 181)
    up, weight = np.polynomial.legendre.leggauss(160)
    up, weight = (up + 1.0) / 2.0, weight / 2.0
    around = (np.arange(256) + 0.5) * (2.0 * np.pi / 256)
    level = np.sqrt(1.0 - up**2)
    peaks = []
    for altitude in np.radians(altitudes):
        toward = np.cos(altitude) * level[:, None] * np.cos(around) + np.sin(altitude) * up[:, None]
        above = np.exp(-fall * np.maximum(up - np.sin(altitude), 0.0))
        shape = np.exp(width * (toward - 1.0)).mean(axis=1) * above
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
