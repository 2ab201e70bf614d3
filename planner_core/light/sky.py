"""The sky over a place and the lamps in it: how bright each direction is, from where sun and moon stand.

Everything is in lux of a white matt surface: a beam's value is what such a surface square to it gets, and the
sky's in a direction what an even sky as bright as that would give level ground. Divided by π that is a
luminance in cd/m². Values have three channels, linear sRGB; colour.LUMINANCE sums them up.

The sky is the sum of four components, each spread over the dome so that its light on level ground is its
share of the sky's lux: an isotropic one, a band brighter towards the horizon, a wide circumsolar lobe and a
narrow aureole close around the sun; and extinction low over the horizon dims all of them, blue most. The sums
are exact. The shapes, and the shares by the sun's altitude and channel, were fitted to a computation of the
clear sky over a round Earth: sunlight scattered by air and haze (the depths of colour.py, Henyey and
Greenstein's phase with g = 0.76 in Cornette and Shanks' form) and dimmed by 300 Dobson units of ozone, with
what is scattered more than once after Hillaire (*Computer Graphics Forum* 39, 2020).

The moon lights the sky as a sun as high does, but for the lobes: brightest low over the horizon, without the
extinction of twilight. Away from a moon of 20° to 40° that is as measured (Krisciunas and Schaefer,
*Publications of the Astronomical Society of the Pacific* 103, 1991); under a high moon it is up to a stop too
bright, because what the lobes would have stands all around.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.light import colour, daylight
from planner_core.maths import vectors

Array = NDArray[np.float64]

HORIZON_FALL = 3.0  # the band sinks to 1/e at sin(altitude) = 1/3
# a lobe around its middle: exp(width (cos angle − 1) − fall (sin altitude − sin middle's altitude)⁺)
CIRCUMSOLAR_WIDTH, CIRCUMSOLAR_FALL = 1.8, 3.0  # wide: the bright side of the sky
# close: around the sun, and wider and lower where it has set; by the sun's altitude
AUREOLE_ALTITUDES_DEG, AUREOLE_WIDTHS, AUREOLE_FALLS = (-7.0, -2.0), (5.0, 12.0), (9.0, 5.0)
# extinction: exp(−depth / (sin altitude + EXTINCTION_RISE)), the sky below LOWEST_RISE being as at it
EXTINCTION_DEPTH, EXTINCTION_RISE, LOWEST_RISE = (0.08, 0.135, 0.2), 0.035, 0.03
EXTINCTION_ALTITUDES_DEG, EXTINCTION_SHARES = (
    (-1.0, 2.0, 4.0, 8.0, 20.0),
    (1.0, 0.8, 0.5, 0.3, 0.0),
)  # by the altitude of the sun, or of the moon for the sky it lights

# by the sun's altitude, for red, green and blue: tint of the sky's light on level ground, and shares of it;
# the rest is isotropic. tools/make_sky_table.py computes the rows anew and says how near they come.
COMPONENT_SHARES = (
    # sun, tint, horizon band, circumsolar, aureole; −18: the night's own light, from memory
    (-18, (0.95, 1.00, 1.13), (0.400, 0.400, 0.400), (0.000, 0.000, 0.000), (0.000, 0.000, 0.000)),
    # −12: shares fitted so that low over the horizon there is no less red than green down to −14
    (-12, (0.40, 1.03, 2.51), (0.500, 0.342, 0.250), (0.000, 0.000, 0.015), (0.250, 0.060, 0.000)),
    (-10, (0.50, 1.04, 2.10), (0.401, 0.384, 0.189), (0.000, 0.176, 0.267), (0.371, 0.148, 0.000)),
    (-9, (0.53, 1.04, 2.01), (0.322, 0.344, 0.235), (0.077, 0.375, 0.408), (0.404, 0.105, 0.000)),
    (-8, (0.56, 1.04, 1.93), (0.192, 0.259, 0.233), (0.329, 0.552, 0.481), (0.309, 0.059, 0.000)),
    (-7, (0.57, 1.04, 1.87), (0.089, 0.178, 0.212), (0.524, 0.651, 0.505), (0.178, 0.024, 0.000)),
    (-6, (0.60, 1.04, 1.80), (0.038, 0.139, 0.210), (0.600, 0.643, 0.451), (0.079, 0.004, 0.000)),
    (-5, (0.63, 1.03, 1.77), (0.034, 0.128, 0.208), (0.553, 0.554, 0.379), (0.040, 0.002, 0.000)),
    (-4, (0.67, 1.02, 1.72), (0.094, 0.164, 0.243), (0.459, 0.438, 0.285), (0.018, 0.000, 0.000)),
    (-3, (0.73, 1.02, 1.62), (0.199, 0.227, 0.293), (0.338, 0.334, 0.208), (0.011, 0.000, 0.000)),
    (-2, (0.77, 1.02, 1.51), (0.337, 0.321, 0.350), (0.225, 0.244, 0.154), (0.017, 0.002, 0.000)),
    (-1, (0.79, 1.02, 1.41), (0.468, 0.435, 0.411), (0.130, 0.163, 0.111), (0.042, 0.009, 0.000)),
    (0, (0.83, 1.02, 1.34), (0.487, 0.490, 0.423), (0.102, 0.105, 0.071), (0.090, 0.024, 0.000)),
    (1, (0.87, 1.01, 1.27), (0.527, 0.531, 0.420), (0.063, 0.058, 0.043), (0.165, 0.059, 0.000)),
    (2, (0.90, 1.01, 1.21), (0.527, 0.550, 0.401), (0.053, 0.035, 0.061), (0.224, 0.101, 0.000)),
    (4, (0.91, 1.01, 1.18), (0.452, 0.444, 0.265), (0.054, 0.035, 0.023), (0.296, 0.166, 0.035)),
    (6, (0.89, 1.01, 1.19), (0.422, 0.418, 0.258), (0.055, 0.038, 0.021), (0.338, 0.214, 0.073)),
    (8, (0.88, 1.01, 1.22), (0.391, 0.378, 0.225), (0.056, 0.044, 0.027), (0.370, 0.250, 0.104)),
    (12, (0.87, 1.01, 1.26), (0.350, 0.333, 0.201), (0.043, 0.038, 0.029), (0.437, 0.324, 0.169)),
    (20, (0.86, 1.01, 1.32), (0.285, 0.237, 0.099), (0.069, 0.080, 0.070), (0.490, 0.382, 0.225)),
    (30, (0.86, 1.01, 1.34), (0.256, 0.221, 0.109), (0.170, 0.172, 0.134), (0.505, 0.411, 0.274)),
    (50, (0.86, 0.99, 1.48), (0.266, 0.253, 0.118), (0.367, 0.456, 0.301), (0.367, 0.289, 0.218)),
)
LAMP_XY = (0.3608, 0.3636)  # a black body of about 4500 K: lamps of 2700 to 6000 K together; ours
# The place's lamps light from all around, and more from high behind the camera, to one side of it: so that
# things keep their shape at night. Ours.
LAMPS_AROUND, LAMPS_WIDTH = 0.35, 2.5
LAMPS_HIGH_DEG, LAMPS_ASIDE_DEG = 45.0, 130.0
# Light of the place in its night sky, as a share of the artificial floor and in the band's shape: ours, from
# memory of measured town skies.
SKYGLOW = 0.003

# The disc of the sun is so much brighter than what it lights, less what no picture holds
SUN_RADIUS_RAD = np.radians(0.2665)
DISC_GAIN = float(1.0 / np.sin(SUN_RADIUS_RAD) ** 2)  # a disc's light square to it: level = radiance · sin² r
BRIGHTEST_SUN, BRIGHTEST_MOON = 40.0, 4.0
# What lens and air scatter of a beam into the picture around it: share, and the angle over which it sinks to
# 1/e. Ours. It is seen and lights nothing.
GLARE = ((0.0030, np.radians(1.6)), (0.012, np.radians(9.0)))

# what makes the components light level ground to level 1 is worked out for these, and interpolated
NORMALISED_DEG = np.concatenate(
    [np.linspace(-8.0, -0.25, 32), np.linspace(0.0, 24.0, 97), np.linspace(25.0, 90.0, 66)]
)
NORMALISED_SHARES = np.linspace(0.0, 1.0, 33)

LOWEST_SUN_DEG = 0.05  # below that the beam grazes the level ground and lights nothing of it


@frozen(kw_only=True, eq=False)
class SkyLight:
    """The light of n instants, arrays of shape (n, 3) unless they say otherwise.

    sun and moon light a surface square to them; isotropic, horizon_band, circumsolar, aureole and lamps light
    level ground, lamps being the artificial floor. normalisation (n, 4, 3) is what makes the shapes of the
    four components come to that through extinction (n, 3), an optical depth; lobe_direction is the way to the
    middle of both lobes, at or above the horizon; aureole_form (n, 2) the aureole's width and fall;
    lamp_direction the way to where most of the lamps' light is from.
    """

    sun: Array
    moon: Array
    isotropic: Array
    horizon_band: Array
    circumsolar: Array
    aureole: Array
    normalisation: Array
    extinction: Array
    lobe_direction: Array
    aureole_form: Array
    lamps: Array
    lamp_direction: Array


BRIGHTNESSES = ("sun", "moon", "isotropic", "horizon_band", "circumsolar", "aureole", "lamps")


def sky_light(
    *,
    sun_altitude_deg: Array,
    sun_direction: Array,
    moon_altitude_deg: Array,
    natural: daylight.NaturalLight,
    cloud_divisor: float,
    artificial_ev100: float | None,
    lamp_direction: Array,
) -> SkyLight:
    """The light at n instants, in lux, from altitudes (n,), the way to the sun (n, 3), the natural light on
    level ground and the place's lamps: their floor, None for none, and the way to most of them, shape (3,).
    """
    cloud = cloud_divisor
    tint, band, circumsolar, aureole = component_shares(sun_altitude_deg)
    band, circumsolar, aureole = band / np.sqrt(cloud), circumsolar / cloud, aureole / cloud**2
    sky_tint = tint / cloud + (1.0 - 1.0 / cloud) * colour.sky_tint(sun_altitude_deg, cloud)
    moon_on_level, moon_normal = _moon_beam(moon_altitude_deg, natural.moon_lux)
    # its sky is the sun's, but dim, and without lobes around it
    moon_tint, moon_band, _, _ = component_shares(np.maximum(moon_altitude_deg, 0.0))
    moon_sky_lux = natural.moon_lux - moon_on_level
    moon_sky = moon_sky_lux[:, None] * moon_tint
    moon_band = moon_band / np.sqrt(cloud)
    floor_lux = 0.0 if artificial_ev100 is None else float(daylight.lux_from_ev100(artificial_ev100))
    of_moon = moon_sky_lux / (natural.diffuse_lux + moon_sky_lux + natural.night_sky_lux)
    extinct = (1.0 - of_moon) * extinction_share(sun_altitude_deg, cloud) + of_moon * extinction_share(
        moon_altitude_deg, cloud
    )
    sky_lux, count = natural.diffuse_lux[:, None], len(sun_altitude_deg)
    rest_lux = sky_lux * (1.0 - band - circumsolar - aureole) + natural.night_sky_lux[:, None]
    return SkyLight(
        sun=_sun_normal_lux(sun_altitude_deg, cloud)[:, None] * colour.sun_tint(sun_altitude_deg),
        moon=moon_normal[:, None] * colour.sun_tint(np.maximum(moon_altitude_deg, 0.0)),
        isotropic=rest_lux * sky_tint + moon_sky * (1.0 - moon_band),
        horizon_band=sky_lux * band * sky_tint + moon_sky * moon_band,
        circumsolar=sky_lux * circumsolar * sky_tint,
        aureole=sky_lux * aureole * sky_tint,
        normalisation=component_normalisation(sun_altitude_deg, cloud)
        * _through_other_air(extinction_share(sun_altitude_deg, cloud), extinct),
        extinction=extinct[:, None] * np.array(EXTINCTION_DEPTH),
        lobe_direction=_lifted(sun_direction),
        aureole_form=aureole_form(sun_altitude_deg),
        lamps=np.tile(floor_lux * lamp_tint(), (count, 1)),
        lamp_direction=np.tile(lamp_direction, (count, 1)),
    )


def on_level_ground(light: SkyLight, sun_direction: Array, moon_direction: Array) -> Array:
    """Light of all kinds on level ground without shadows, shape (n, 3)."""
    from_sun = np.maximum(sun_direction[:, 2:], 0.0) * light.sun
    from_moon = np.maximum(moon_direction[:, 2:], 0.0) * light.moon
    return (
        light.isotropic
        + light.horizon_band
        + light.circumsolar
        + light.aureole
        + light.lamps
        + (from_sun + from_moon)
    )


def radiance(light: SkyLight, instant: int, directions: ArrayLike) -> Array:
    """How bright the sky is at one instant in directions (..., 3) in scene axes, shape (..., 3).

    instant counts from 0. Below the horizon it is as on it. Stars, discs and clouds are none of it.
    """
    directions = np.asarray(directions, dtype=np.float64)
    return radiances(light, directions.reshape(1, -1, 3), slice(instant, instant + 1)).reshape(
        directions.shape
    )


def radiances(light: SkyLight, directions: Array, instants: slice | NDArray[np.intp] = slice(None)) -> Array:
    """The same at several instants, directions of its own for each: (n, k, 3), and so is the result."""
    up = np.maximum(directions[..., 2], LOWEST_RISE)
    middle = light.lobe_direction[instants]
    toward = (directions @ middle[:, :, None])[..., 0]
    forms = light.aureole_form[instants].T[..., None]
    shapes = np.stack(_shapes(up, toward, middle[:, 2:], forms), axis=-1)
    through = np.exp(-light.extinction[instants][:, None, :] / (up + EXTINCTION_RISE)[..., None])
    return (shapes @ component_levels(light, instants)) * through


def luminances(light: SkyLight, directions: Array, instant: NDArray[np.intp]) -> Array:
    """The luminance of the same in directions (k, 3), at an instant each, (k,): shape (k,)."""
    up = np.maximum(directions[:, 2], LOWEST_RISE)
    middle = light.lobe_direction
    toward = vectors.dot(directions, middle.take(instant, axis=0))
    _, *shapes = _shapes(up, toward, middle[instant, 2], light.aureole_form.take(instant, axis=0).T)
    levels = component_levels(light) * colour.LUMINANCE
    seen = levels[:, 0].take(instant, axis=0)
    for component, shape in enumerate(shapes, start=1):
        seen += shape[:, None] * levels[:, component].take(instant, axis=0)
    seen *= np.exp(-light.extinction.take(instant, axis=0) / (up + EXTINCTION_RISE)[:, None])
    return seen[:, 0] + seen[:, 1] + seen[:, 2]


def component_levels(light: SkyLight, instants: slice | NDArray[np.intp] = slice(None)) -> Array:
    """Levels of the four components where their shapes are 1, at some instants or all, shape (n, 4, 3)."""
    components = (light.isotropic, light.horizon_band, light.circumsolar, light.aureole)
    return np.stack([one[instants] for one in components], axis=1) * light.normalisation[instants]


def horizon_components(light: SkyLight) -> tuple[Array, Array, Array]:
    """The sky at the horizon: what is the same all around, and what the two lobes have at their middles.

    Each of shape (frames, 3). Lobes fall off sideways by their width.
    """
    levels = component_levels(light) * np.exp(-light.extinction / (LOWEST_RISE + EXTINCTION_RISE))[:, None, :]
    above = np.maximum(LOWEST_RISE - light.lobe_direction[:, 2], 0.0)[:, None]
    around = levels[:, 0] + levels[:, 1] * np.exp(-HORIZON_FALL * LOWEST_RISE)
    circumsolar, aureole = (
        levels[:, 2] * np.exp(-CIRCUMSOLAR_FALL * above),
        levels[:, 3] * np.exp(-light.aureole_form[:, 1:] * above),
    )
    return around, circumsolar, aureole


def skyglow(light: SkyLight) -> Array:
    """What is seen of the place's lamps in its night sky at the horizon, shape (frames, 3).

    It falls upwards as the band does.
    """
    return SKYGLOW * horizon_band_normalisation() * light.lamps


def sun_disc(light: SkyLight) -> Array:
    """How bright the sun's disc is in the picture, shape (frames, 3), up to what a picture holds."""
    return _capped(light.sun * DISC_GAIN, BRIGHTEST_SUN)


def moon_disc(light: SkyLight, lit_fraction: ArrayLike) -> Array:
    """How bright the lit part of the moon's disc is in the picture, shape (frames, 3)."""
    lit = np.maximum(np.asarray(lit_fraction, dtype=np.float64), 0.02)[:, None]
    return _capped(light.moon * DISC_GAIN / lit, BRIGHTEST_MOON)


def glare_levels(light: SkyLight) -> Array:
    """How bright the glare around the sun is at its middle, shape (frames, glare, 3).

    A glare sinks as exp(−angle / width); over the sphere that comes to 2π width².
    """
    peaks = np.array([weight / (2.0 * width**2) for weight, width in GLARE])
    return light.sun[:, None, :] * peaks[:, None]


def glare(levels: ArrayLike, angle_rad: ArrayLike) -> Array:
    """The glare of a frame, levels (glare, 3), at angles (...) from the sun: shape (..., 3)."""
    widths = np.array([width for _, width in GLARE])
    return np.exp(-np.asarray(angle_rad, dtype=np.float64)[..., None] / widths) @ np.asarray(levels)


def _capped(levels: Array, most: float) -> Array:
    """Colours no brighter than that in their brightest channel."""
    return levels * np.minimum(1.0, most / np.maximum(levels.max(axis=-1, keepdims=True), 1e-12))


def horizon_band_normalisation() -> float:
    """What makes exp(−k sin h) light level ground as an even sky of level 1 does: π over its cosine-
    weighted integral.
    """
    k = HORIZON_FALL
    return float(k**2 / (2.0 * (1.0 - (1.0 + k) * np.exp(-k))))


def component_shares(sun_altitude_deg: ArrayLike) -> tuple[Array, Array, Array, Array]:
    """Tint of a clear sky's light on level ground, luminance 1, and the shares that horizon band, circumsolar
    lobe and aureole have in it by channel, each of shape (..., 3).
    """
    suns = np.array([row[0] for row in COMPONENT_SHARES], dtype=np.float64)
    table = np.array([row[1:] for row in COMPONENT_SHARES])
    shares = _between_rows(np.asarray(sun_altitude_deg, dtype=np.float64), suns, table.__getitem__)
    tint, band, circumsolar, aureole = (shares[..., part, :] for part in range(4))
    return tint / (tint @ colour.LUMINANCE)[..., None], band, circumsolar, aureole


def aureole_form(sun_altitude_deg: ArrayLike) -> Array:
    """Width and fall of the aureole, shape (..., 2)."""
    altitude = np.asarray(sun_altitude_deg, dtype=np.float64)
    forms = (np.interp(altitude, AUREOLE_ALTITUDES_DEG, form) for form in (AUREOLE_WIDTHS, AUREOLE_FALLS))
    return np.stack(list(forms), axis=-1)


def extinction_share(altitude_deg: ArrayLike, cloud_divisor: float = 1.0) -> Array:
    """How much of EXTINCTION_DEPTH there is under a sun, or moon, at this altitude; its shape. Cloud hangs
    before it.
    """
    altitude = np.asarray(altitude_deg, dtype=np.float64)
    return np.interp(altitude, EXTINCTION_ALTITUDES_DEG, EXTINCTION_SHARES) / cloud_divisor**2


def extinction_depth(sun_altitude_deg: ArrayLike, cloud_divisor: float = 1.0) -> Array:
    """Optical depth of the extinction low in the sky under the sun alone, shape (..., 3)."""
    return extinction_share(sun_altitude_deg, cloud_divisor)[..., None] * np.array(EXTINCTION_DEPTH)


def component_normalisation(sun_altitude_deg: ArrayLike, cloud_divisor: float = 1.0) -> Array:
    """What makes the four components light level ground to level 1 each, shape (..., 4, 3)."""
    cloud = float(cloud_divisor)

    def row(number: int) -> Array:
        return _component_normalisation(cloud, number)

    return np.exp(_between_rows(np.asarray(sun_altitude_deg, dtype=np.float64), NORMALISED_DEG, row))


def _between_rows(at: Array, known: Array, row: Callable[[int], Array]) -> Array:
    """Rows (...) of a table for known values (n,), rising, straight between them and held beyond; shape
    (*at.shape, ...). Only the rows that it takes are asked for.
    """
    below = np.clip(np.searchsorted(known, at) - 1, 0, len(known) - 2)
    fraction = np.clip((at - known[below]) / (known[below + 1] - known[below]), 0.0, 1.0)
    wanted, index = np.unique(np.concatenate([below.ravel(), below.ravel() + 1]), return_inverse=True)
    rows = np.stack([row(number) for number in wanted.tolist() or [0]])
    before, after = index[: below.size].reshape(below.shape), index[below.size :].reshape(below.shape)
    fraction = fraction.reshape(fraction.shape + (1,) * (rows.ndim - 1))
    return np.asarray(rows[before] + fraction * (rows[after] - rows[before]))


def lamp_shape(directions: ArrayLike, lamp_direction: ArrayLike) -> Array:
    """How much of the lamps' light is from directions (..., 3), shape (...).

    Over the dome, by the cosine, it comes to that of an even sky of level 1. The dark half below is as dark
    as it is all around.
    """
    toward = np.asarray(directions, dtype=np.float64) @ np.asarray(lamp_direction, dtype=np.float64)
    return LAMPS_AROUND + (1.0 - LAMPS_AROUND) * lamp_normalisation() * np.exp(LAMPS_WIDTH * (toward - 1.0))


@lru_cache(maxsize=1)
def lamp_normalisation() -> float:
    """What makes the lobe of the lamps' light light level ground to level 1."""
    up, weight = _rises()
    around = np.cos((np.arange(128) + 0.5) * (np.pi / 128))
    high = np.radians(LAMPS_HIGH_DEG)
    toward = np.cos(high) * np.sqrt(1.0 - up**2)[:, None] * around + np.sin(high) * up[:, None]
    return float(1.0 / (2.0 * np.sum(weight * up * np.exp(LAMPS_WIDTH * (toward - 1.0)).mean(axis=1))))


@lru_cache(maxsize=1)
def _rises() -> tuple[Array, Array]:
    """Sines of altitude over the dome and their weights, (96,) each: Gauss and Legendre's, found once."""
    up, weight = np.polynomial.legendre.leggauss(96)
    return (up + 1.0) / 2.0, weight / 2.0


def lamp_tint() -> Array:
    """Tint of artificial light, luminance 1, shape (3,)."""
    return colour.tint_from_xy(LAMP_XY)


def _shapes(up: Array, toward: Array, middle_up: Array | float, aureole: Array) -> list[Array]:
    """The four components' shapes by the sine of the altitude and the cosine from their middle; aureole is
    the aureole's width and fall.
    """
    above, beside = np.maximum(up - middle_up, 0.0), toward - 1.0
    return [
        np.ones_like(up),
        np.exp(-HORIZON_FALL * up),
        np.exp(CIRCUMSOLAR_WIDTH * beside - CIRCUMSOLAR_FALL * above),
        np.exp(aureole[0] * beside - aureole[1] * above),
    ]


@lru_cache(maxsize=8 * len(NORMALISED_DEG))
def _component_normalisation(cloud_divisor: float, row: int) -> Array:
    """At one of the sun's altitudes NORMALISED_DEG, (4, 3): logarithms of one over the shapes'
    cosine-weighted means over the dome.
    """
    altitude = NORMALISED_DEG[row]
    return _kept(_normalisation(float(altitude), extinction_depth(altitude, cloud_divisor)))


def _through_other_air(share: Array, other: Array) -> Array:
    """What the normalisation is times, where there is another share of extinction than the sun's, (n, 4, 3).

    That is by moonlight: the shapes are those long after sunset.
    """
    there, here = (_between_rows(each, NORMALISED_SHARES, _night_normalisation) for each in (other, share))
    return np.exp(there - here)


@lru_cache(maxsize=len(NORMALISED_SHARES))
def _night_normalisation(row: int) -> Array:
    """At one of the shares of extinction NORMALISED_SHARES, (4, 3): logarithms as above."""
    depth = NORMALISED_SHARES[row] * np.array(EXTINCTION_DEPTH)
    return _kept(_normalisation(AUREOLE_ALTITUDES_DEG[0], depth))


def _kept(normalisation: Array) -> Array:
    """Its logarithm, rounded: sums differ in the last bit with memory alignment; pictures of one plan must
    not.
    """
    logarithm = np.log(np.round(normalisation, 12))
    logarithm.flags.writeable = False  # many have it
    return logarithm


def _normalisation(altitude_deg: float, depth: Array) -> Array:
    """One over the shapes' cosine-weighted means over the dome, (4, 3), through an optical depth (3,)."""
    up, weight = _rises()
    around = np.cos((np.arange(32) + 0.5) * (np.pi / 32))
    seen_up = np.maximum(up, LOWEST_RISE)
    rise = np.radians(max(altitude_deg, 0.0))
    toward = np.cos(rise) * np.sqrt(1.0 - up**2)[:, None] * around + np.sin(rise) * up[:, None]
    shapes = np.stack(
        _shapes(
            np.broadcast_to(seen_up[:, None], toward.shape),
            toward,
            float(np.sin(rise)),
            aureole_form(altitude_deg),
        ),
        axis=-1,
    ).mean(axis=1)
    air = np.exp(-depth / (seen_up + EXTINCTION_RISE)[:, None])
    return np.asarray(1.0 / (2.0 * np.einsum("i,ik,ic->kc", weight * up, shapes, air)))


def _sun_normal_lux(altitude_deg: Array, cloud_divisor: float) -> Array:
    return np.where(altitude_deg > 0.0, daylight.sun_direct_normal_lux(altitude_deg) / cloud_divisor**3, 0.0)


def _moon_beam(altitude_deg: Array, moon_lux: Array) -> tuple[Array, Array]:
    """The moon's beam on level ground, and square to it, lux; its sky has the rest, as the sun's sky does."""
    beam, sky = daylight.sun_direct_lux(altitude_deg), daylight.sky_diffuse_lux(altitude_deg)
    rise = np.sin(np.radians(altitude_deg))
    up = rise > np.sin(np.radians(LOWEST_SUN_DEG))
    on_level = np.where(up, moon_lux * beam / (beam + sky), 0.0)
    return on_level, np.where(up, on_level / np.where(up, rise, 1.0), 0.0)


def _lifted(directions: Array) -> Array:
    """Unit directions (n, 3), those below the horizon brought up to it."""
    lifted = directions.copy()
    lifted[:, 2] = np.maximum(lifted[:, 2], 0.0)
    return lifted / np.linalg.norm(lifted, axis=1, keepdims=True)
