"""Light that water mirrors: the sky, the land and the beams of sun, moon and lamps, averaged over its waves.

Nothing here knows one wave from another. A stretch of water is a share of facets with slopes of a normal
distribution (Cox and Munk, *Journal of the Optical Society of America* 44, 1954), each mirrors by Fresnel's
law, and what is seen of each is its area as it is turned to the eye (Ross, Dion and Potvin, *Journal of the
Optical Society of America A* 22, 2005). Brightness is in the units of sky.py. Directions are in scene axes.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

REFRACTIVE_INDEX = 1.333  # of water, any handbook
STRAIGHT_DOWN = ((REFRACTIVE_INDEX - 1.0) / (REFRACTIVE_INDEX + 1.0)) ** 2  # Fresnel
SLOPE_AT_REST, SLOPE_PER_WIND = 0.003, 0.00512  # Cox and Munk 1954: clean water, wind in m/s at 12.5 m
CALM_WIND_M_S = 1.0  # of an evening with no wind given: ours
WIDENED = 1.27  # drop² + so many mean square slopes is what Schlick's formula takes for calm water: fitted
LEAST_DROP = 0.005  # sine of the angle down to the water, below which it is seen as at it
RAREST = 40.0  # facets e to this power rarer than the most frequent ones send nothing
# facets that stand for all: slopes along the sight, evenly out to so many deviations, and across it
ALONG, STEEPEST, ACROSS = 28, 3.5, 6


def mean_square_slope(wind_m_s: ArrayLike) -> Array:
    """Mean square slope of water in a wind, along and across together; any shape. Cox and Munk (1954)."""
    return SLOPE_AT_REST + SLOPE_PER_WIND * np.asarray(wind_m_s, dtype=np.float64)


def fresnel(cosine: ArrayLike) -> Array:
    """What water mirrors of unpolarised light at cosines of the angle from its facet's normal; any shape."""
    c = np.clip(np.asarray(cosine, dtype=np.float64), 0.0, 1.0)
    g = np.sqrt(REFRACTIVE_INDEX**2 - 1.0 + c**2)
    across, along = (g - c) / (g + c), (c * (g + c) - 1.0) / (c * (g - c) + 1.0)
    return across**2 * (1.0 + along**2) / 2.0


def mirrored_share(drop: ArrayLike, slope: float) -> Array:
    """What water mirrors of an even sky, by the sine of the angle down to it; any shape."""
    sines = np.asarray(drop, dtype=np.float64)
    away = np.stack([np.sqrt(1.0 - sines.ravel() ** 2), np.zeros(sines.size), -sines.ravel()], axis=-1)
    return facets(away, slope)[1].sum(axis=1).reshape(sines.shape)


def glitter(away: ArrayLike, slope: float, toward: ArrayLike, radius_rad: float = 0.0) -> Array:
    """Brightness of the path of a beam, for a beam that lights a white surface square to it to 1; shape (n,).

    Directions (n, 3) look at the water; toward is the way to the beam's source, (3,) or one for each (n, 3),
    and radius_rad that of its disc, which widens a path that is seen at a glance.
    """
    away = np.asarray(away, dtype=np.float64)
    source = np.broadcast_to(np.asarray(toward, dtype=np.float64), away.shape)
    drop = np.maximum(-away[:, 2], LEAST_DROP)
    between = source - away
    steep = np.maximum(between[:, 2], 1e-4)
    level = source[:, :2] / np.maximum(np.hypot(source[:, 0], source[:, 1]), 1e-9)[:, None]
    along = (between[:, 0] * level[:, 0] + between[:, 1] * level[:, 1]) / steep
    across = (between[:, 1] * level[:, 0] - between[:, 0] * level[:, 1]) / steep
    wide = slope + radius_rad**2 / 2.0 / steep**2
    rare = along**2 / slope + across**2 / wide
    some = np.flatnonzero((rare < RAREST) & (source[:, 2] > 0.0))
    steep, drop, wide, between = steep[some], drop[some], wide[some], between[some]
    density = np.exp(-rare[some]) / np.sqrt(slope * wide)  # of slopes, times π
    length = np.maximum(np.linalg.norm(between, axis=1), 1e-9)
    cosine = np.sum(between * source[some], axis=1) / length
    seen = fresnel(cosine) * density / (4.0 * drop * (steep / length) ** 4)
    result = np.zeros(len(away))
    result[some] = seen / _seen_area(drop, slope)
    return result


def facets(away: Array, slope: float) -> tuple[Array, Array]:
    """For an eye that looks along (n, 3) at water: where its facets mirror from, (n, k, 3), and how much of
    that comes to the eye from each, (n, k). slope is the mean square slope.
    """
    drop = np.maximum(-away[:, 2], LEAST_DROP)
    level = np.sqrt(1.0 - drop**2)
    tilt_along, tilt_across, share = _slopes(drop / level, slope)
    # in axes along the line of sight, across it and up
    normal = np.stack([-tilt_along, -tilt_across, np.ones_like(tilt_along)], axis=-1)
    steep = np.linalg.norm(normal, axis=-1)
    facing = drop[:, None] + level[:, None] * tilt_along  # v · normal, unnormalised
    weights = np.maximum(facing, 0.0) * share
    weights = weights / weights.sum(axis=1, keepdims=True)
    cosine = np.maximum(facing, 0.0) / steep
    sight = np.stack([level, np.zeros_like(level), -drop], axis=-1)
    turned = sight[:, None, :] + 2.0 * (cosine / steep)[..., None] * normal
    heading = away[:, :2] / np.maximum(np.linalg.norm(away[:, :2], axis=1), 1e-12)[:, None]
    x = turned[..., 0] * heading[:, :1] - turned[..., 1] * heading[:, 1:]
    y = turned[..., 0] * heading[:, 1:] + turned[..., 1] * heading[:, :1]
    return np.stack([x, y, turned[..., 2]], axis=-1), weights * fresnel(cosine)


def _slopes(steep: Array, slope: float) -> tuple[Array, Array, Array]:
    """Facets that stand for those that an eye sees along lines of sight of that slope (n,): their slopes
    along and across, and shares in all; each (n, k).
    """
    deviation = np.sqrt(slope / 2.0)
    first = np.maximum(-steep / deviation, -STEEPEST)[:, None]  # more turned away isn't seen
    step = (STEEPEST - first) / ALONG
    along = first + step * (np.arange(ALONG) + 0.5)
    share = np.exp(-(along**2) / 2.0) * step
    across = np.array([NormalDist().inv_cdf((k + 0.5) / ACROSS) for k in range(ACROSS)])
    across /= np.sqrt(np.mean(across**2))
    wide = np.broadcast_to(across, (len(steep), ALONG, ACROSS)).reshape(len(steep), -1)
    return deviation * np.repeat(along, ACROSS, axis=1), deviation * wide, np.repeat(share, ACROSS, axis=1)


def _seen_area(drop: Array, slope: float) -> Array:
    """Facets' area as the eye sees it over that of level water: more where some turn away from it."""
    deviation = np.sqrt(slope / 2.0)
    level = np.sqrt(1.0 - drop**2)
    ratio = drop / (level * deviation + 1e-12)
    below = 0.5 * (1.0 + _erf(ratio / np.sqrt(2.0)))
    return below + level * deviation * np.exp(-(ratio**2) / 2.0) / (np.sqrt(2.0 * np.pi) * drop)


def _erf(value: Array) -> Array:
    """Error function to 2e-7; Abramowitz and Stegun, *Handbook of Mathematical Functions*, 7.1.26."""
    t = 1.0 / (1.0 + 0.3275911 * np.abs(value))
    series = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    return np.sign(value) * (1.0 - series * np.exp(-(value**2)))
