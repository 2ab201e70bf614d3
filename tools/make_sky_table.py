"""Remakes the table of the clear sky's colour and shape: `python3 tools/make_sky_table.py [--compare]`.

What belongs here: the computation of sunlight scattered in a round atmosphere over level ground, and the fit
of the sky model's four shapes to it. The planner never runs it; the sky model keeps the table.

- Air: optical depth of Hansen and Travis, *Space Science Reviews* 16 (1974); Rayleigh's phase function; scale
  height 8 km.
- Haze: Ångström's β λ^−1.3 with the planner's clear β; scale height 1.2 km; no absorption; phase function of
  Cornette and Shanks, *Applied Optics* 31 (1992), with g = 0.76.
- Ozone: 300 Dobson units in a tent between 10 and 40 km; cross sections of the Chappuis band rounded from
  Serdyuchenko et al., *Atmospheric Measurement Techniques* 7 (2014), values from memory.
- Light scattered once is integrated along each line of sight. Light scattered more often is isotropic, the
  geometric series of Hillaire, *Computer Graphics Forum* 39 (2020), over ground of albedo 0.3.
- Left out: refraction, polarisation, clouds. The row at −18°, the night's own light, isn't sunlight.

The table in use was made by an earlier run of such a computation, of which only the depths, g and the ozone
were noted. Scale heights, albedo and the weights of the fit are usual values, chosen here. With them the
rows from −10° to 50° agree with those in use to 0.12 in tint, and to 0.17 stops (root mean square over the
dome) and 0.45 stops (at most) in the sky's brightness; the row at −12° to 0.35 in tint and 0.25 stops. Single
shares differ by up to 0.3 where two shapes can stand in for each other. `--compare` shows it row by row.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    __package__ = Path(__file__).resolve().parent.name

from planner_core.light import colour, sky

Array = NDArray[np.float64]

EARTH_KM, TOP_KM = 6371.0, 100.0
AIR_HEIGHT_KM, HAZE_HEIGHT_KM = 8.0, 1.2
OZONE_MIDDLE_KM, OZONE_HALF_KM, OZONE_DOBSON = 25.0, 15.0, 300.0
MOLECULES_PER_DOBSON = 2.687e16  # per cm²
HAZE_G, GROUND_ALBEDO = 0.76, 0.3
STEP_NM = 20
WAVELENGTHS_NM = np.arange(380.0, 781.0, STEP_NM)
OZONE_NM = (
    380.0,
    400.0,
    420.0,
    440.0,
    460.0,
    480.0,
    500.0,
    520.0,
    540.0,
    560.0,
    580.0,
    600.0,
    620.0,
    640.0,
    660.0,
    680.0,
    700.0,
    720.0,
    740.0,
    760.0,
    780.0,
)
OZONE_CM2 = np.array(
    (0.000, 0.001, 0.004, 0.013, 0.034, 0.070, 0.124, 0.185, 0.293, 0.390, 0.463, 0.512, 0.400, 0.289,
     0.210, 0.137, 0.088, 0.060, 0.047, 0.031, 0.020)
) * 1e-20  # fmt: skip
SUN_ROWS_DEG = tuple(row[0] for row in sky.COMPONENT_SHARES if row[0] > -18)
DARKEST_WEIGHED = 0.02  # of the brightest: what is darker counts as that in the fit
BLOCKED_KM = 1e7  # of air: nothing comes through
SIGHT_STEPS, SUN_STEPS, SPHERE_STEPS = 160, 300, 30
SPHERE_RISES, SPHERE_AZIMUTHS = 6, 6  # twice as many change tints by 0.03, by 0.1 at −12°


@frozen(kw_only=True, eq=False)
class Air:
    """Extinction per km of air, haze and ozone at their densest, shape (3, wavelengths)."""

    extinction: Array

    @property
    def scattering(self) -> Array:
        """What of it is scattered: ozone only absorbs."""
        return self.extinction * np.array([1.0, 1.0, 0.0])[:, None]


@frozen(kw_only=True, eq=False)
class Columns:
    """Kilometres of air, haze and ozone towards a direction, by height and its sine: (heights, rises, 3).

    BLOCKED_KM where the earth is in the way.
    """

    heights_km: Array
    rises: Array
    km: Array


def clear_air(haze: float = colour.CLEAR_AIR_HAZE) -> Air:
    """The atmosphere whose zenith has the planner's optical depths."""
    ozone = np.interp(WAVELENGTHS_NM, OZONE_NM, OZONE_CM2) * MOLECULES_PER_DOBSON * OZONE_DOBSON
    return Air(
        extinction=np.stack(
            [
                colour.rayleigh_depth(WAVELENGTHS_NM) / AIR_HEIGHT_KM,
                haze * (WAVELENGTHS_NM / 1000.0) ** -1.3 / HAZE_HEIGHT_KM,
                ozone / OZONE_HALF_KM,
            ]
        )
    )


def densities(height_km: Array) -> Array:
    """Air, haze and ozone at a height relative to their densest, shape (..., 3)."""
    above = np.maximum(height_km, 0.0)
    ozone = np.maximum(1.0 - np.abs(above - OZONE_MIDDLE_KM) / OZONE_HALF_KM, 0.0)
    return np.stack([np.exp(-above / AIR_HEIGHT_KM), np.exp(-above / HAZE_HEIGHT_KM), ozone], axis=-1)


def ray_lengths_km(height_km: Array, rise: Array) -> tuple[Array, NDArray[np.bool_]]:
    """From a height to where the ray leaves the air or meets the ground, and which: shapes broadcast."""
    radius = EARTH_KM + height_km
    drop = (radius * rise) ** 2 - radius**2
    to_ground = drop + EARTH_KM**2
    hits = (rise < 0.0) & (to_ground > 0.0)
    down = -radius * rise - np.sqrt(np.maximum(to_ground, 0.0))
    out = -radius * rise + np.sqrt(drop + (EARTH_KM + TOP_KM) ** 2)
    return np.where(hits, np.maximum(down, 0.0), out), hits


def heights_along(height_km: Array, rise: Array, away_km: Array) -> Array:
    """Height above the round earth at distances along rays."""
    radius = EARTH_KM + height_km
    return np.sqrt(radius**2 + away_km**2 + 2.0 * radius * away_km * rise) - EARTH_KM


def steps(count: int) -> tuple[Array, Array]:
    """Middles and widths of steps along a ray of length 1, short near its beginning, shape (count,) each."""
    edges = np.linspace(0.0, 1.0, count + 1) ** 2
    return (edges[1:] + edges[:-1]) / 2.0, np.diff(edges)


@lru_cache(maxsize=1)
def columns_to_space() -> Columns:
    """The table of columns that every lookup towards the sun is read from."""
    heights = TOP_KM * np.linspace(0.0, 1.0, 81) ** 2
    rises = np.concatenate(
        [np.linspace(-0.3, -0.12, 30)[:-1], np.linspace(-0.12, 0.12, 193), np.linspace(0.12, 1.0, 60)[1:]]
    )
    height, rise = np.broadcast_arrays(heights[:, None], rises[None, :])
    length, hits = ray_lengths_km(height, rise)
    middles, widths = steps(SUN_STEPS)
    # steps that are short near the lowest point of the ray as well
    km = np.zeros((*height.shape, 3))
    lowest = np.clip(-(EARTH_KM + height) * rise, 0.0, length)
    for begin, span_km in ((lowest, length - lowest), (lowest, -lowest)):
        for middle, width in zip(middles, widths, strict=True):
            at = heights_along(height, rise, begin + middle * span_km)
            km += densities(at) * (width * np.abs(span_km))[..., None]
    return Columns(heights_km=heights, rises=rises, km=np.where(hits[..., None], BLOCKED_KM, km))


def sunlight(air: Air, columns: Columns, height_km: Array, rise: Array) -> Array:
    """Fraction of the sun's light that reaches places (...), by the sine of the sun's altitude there.

    Bilinear in the table of columns; 0 where the earth is in the way. Shape (..., wavelengths).
    """
    i = np.clip(np.searchsorted(columns.heights_km, height_km) - 1, 0, len(columns.heights_km) - 2)
    j = np.clip(np.searchsorted(columns.rises, rise) - 1, 0, len(columns.rises) - 2)
    u = (height_km - columns.heights_km[i]) / np.diff(columns.heights_km)[i]
    v = np.clip((rise - columns.rises[j]) / np.diff(columns.rises)[j], 0.0, 1.0)
    through = np.exp(-(columns.km @ air.extinction))
    weights = ((1 - u) * (1 - v), (1 - u) * v, u * (1 - v), u * v)
    corners = ((i, j), (i, j + 1), (i + 1, j), (i + 1, j + 1))
    return np.sum([w[..., None] * through[c] for w, c in zip(weights, corners, strict=True)], axis=0)


def phases(cosine: Array) -> Array:
    """Rayleigh's phase function, haze's, and none for ozone, per steradian, shape (..., 3)."""
    g = HAZE_G
    rayleigh = 3.0 / (16.0 * np.pi) * (1.0 + cosine**2)
    haze = 3.0 / (8.0 * np.pi) * (1.0 - g**2) * (1.0 + cosine**2) / (2.0 + g**2)
    return np.stack([rayleigh, haze / (1.0 + g**2 - 2.0 * g * cosine) ** 1.5, np.zeros_like(cosine)], axis=-1)


@frozen(kw_only=True, eq=False)
class Echo:
    """Light scattered more than once, per steradian and unit of scattering: (heights, rises, wavelengths)."""

    heights_km: Array
    rises: Array
    radiance: Array

    def at(self, height_km: Array, rise: Array) -> Array:
        """Bilinear between the table's places, shape (..., wavelengths)."""
        i = np.clip(np.searchsorted(self.heights_km, height_km) - 1, 0, len(self.heights_km) - 2)
        j = np.clip(np.searchsorted(self.rises, rise) - 1, 0, len(self.rises) - 2)
        u = ((height_km - self.heights_km[i]) / np.diff(self.heights_km)[i])[..., None]
        v = np.clip((rise - self.rises[j]) / np.diff(self.rises)[j], 0.0, 1.0)[..., None]
        table = self.radiance
        low = (1 - v) * table[i, j] + v * table[i, j + 1]
        return (1 - u) * low + u * ((1 - v) * table[i + 1, j] + v * table[i + 1, j + 1])


def sphere_directions() -> tuple[Array, Array, Array]:
    """Sines of altitudes, azimuths and weights that sum to 1 over the sphere, shape (n,) each.

    Close to each other at the horizon, where twilight comes from; half the azimuths do, the sun being at 0.
    """
    node, weight = np.polynomial.legendre.leggauss(SPHERE_RISES)
    node, weight = (node + 1.0) / 2.0, weight / 2.0
    rise, weight = np.concatenate([-(node**2), node**2]), np.tile(weight * node, 2)
    azimuth = (np.arange(SPHERE_AZIMUTHS) + 0.5) * (np.pi / SPHERE_AZIMUTHS)
    n = len(azimuth)
    return np.repeat(rise, n), np.tile(azimuth, len(rise)), np.repeat(weight, n) / n


def multiple_scattering(air: Air, columns: Columns) -> Echo:
    """Hillaire's series: what is scattered twice, over one less the share that is scattered on from there."""
    heights = TOP_KM * np.linspace(0.0, 1.0, 25) ** 2
    rises = np.concatenate([np.linspace(-0.3, 0.3, 61)[:-1], np.linspace(0.3, 1.0, 15)])
    radiance = np.array([_echo_at(air, columns, float(height), rises) for height in heights])
    return Echo(heights_km=heights, rises=rises, radiance=radiance)


def _echo_at(air: Air, columns: Columns, height_km: float, sun_rises: Array) -> Array:
    rise, azimuth, weight = sphere_directions()
    length, hits = ray_lengths_km(np.array(height_km), rise)
    middles, widths = steps(SPHERE_STEPS)
    away = length[:, None] * middles
    at = heights_along(np.array(height_km), rise[:, None], away)
    through, scattered = _along(air, at, length[:, None] * widths)
    cosine = _turned_cosine(rise, azimuth, sun_rises)  # (suns, n)
    local = _sun_rise_there(height_km, away, at, sun_rises[:, None, None], cosine[..., None])
    arriving = sunlight(air, columns, at, local)  # (suns, n, steps, w)
    twice = np.einsum("nsw,xnsw,n->xw", scattered * through, arriving, weight) / (4.0 * np.pi)
    ground = _ground(air, columns, height_km, length, hits, sun_rises, cosine) * through[:, -1]
    twice += np.einsum("xnw,n->xw", ground, weight)
    onward = np.einsum("nsw,n->w", scattered * through, weight)
    return twice / (1.0 - onward)


def _along(air: Air, heights_km: Array, widths_km: Array) -> tuple[Array, Array]:
    """What comes through to the eye from each step, and what a step scatters: (..., steps, wavelengths)."""
    amounts = densities(heights_km) * widths_km[..., None]
    depth = amounts @ air.extinction
    through = np.exp(-(np.cumsum(depth, axis=-2) - depth / 2.0))
    return through, amounts @ air.scattering


def _turned_cosine(rise: Array, azimuth: Array, sun_rises: Array) -> Array:
    """Cosine between directions (n,) and suns (x,) at azimuth 0, shape (x, n)."""
    level = np.sqrt(1.0 - rise**2) * np.cos(azimuth)
    return sun_rises[:, None] * rise + np.sqrt(1.0 - sun_rises**2)[:, None] * level


def _sun_rise_there(height_km: float, away_km: Array, at_km: Array, sun_rise: Array, cosine: Array) -> Array:
    """Sine of the sun's altitude over the ground below places along rays: the earth is round."""
    return ((EARTH_KM + height_km) * sun_rise + away_km * cosine) / (EARTH_KM + at_km)


def _ground(air: Air, columns: Columns, height_km: float, length: Array, hits: NDArray[np.bool_],
            sun_rises: Array, cosine: Array) -> Array:  # fmt: skip
    """Sunlight that the ground sends back along rays that meet it, shape (suns, n, wavelengths)."""
    local = _sun_rise_there(height_km, length, np.zeros_like(length), sun_rises[:, None], cosine)
    lit = sunlight(air, columns, np.zeros_like(local), local) * np.maximum(local, 0.0)[..., None]
    return np.where(hits[:, None], lit * GROUND_ALBEDO / np.pi, 0.0)


@frozen(kw_only=True, eq=False)
class Dome:
    """Directions over the half of the sky on one side of the sun's vertical: sines of altitudes (n,) with
    weights that sum to 1, and azimuths from the sun (m,).
    """

    rises: Array
    weights: Array
    azimuths: Array


def dome(rises: int = 32, azimuths: int = 24) -> Dome:
    """Gauss's places in height, even ones around."""
    rise, weight = np.polynomial.legendre.leggauss(rises)
    around = (np.arange(azimuths) + 0.5) * (np.pi / azimuths)
    return Dome(rises=(rise + 1.0) / 2.0, weights=weight / 2.0, azimuths=around)


def sky_rgb(air: Air, columns: Columns, echo: Echo, sun_altitude_deg: float, over: Dome) -> Array:
    """Radiance of the sky by direction, linear sRGB, relative: (rises, azimuths, 3)."""
    sun = np.array([np.sin(np.radians(sun_altitude_deg))])
    rise, azimuth = (a.ravel() for a in np.meshgrid(over.rises, over.azimuths, indexing="ij"))
    length, _ = ray_lengths_km(np.array(0.0), rise)
    middles, widths = steps(SIGHT_STEPS)
    away = length[:, None] * middles
    at = heights_along(np.array(0.0), rise[:, None], away)
    through, scattered = _along(air, at, length[:, None] * widths)
    cosine = _turned_cosine(rise, azimuth, sun)[0]
    local = _sun_rise_there(0.0, away, at, sun[0], cosine[:, None])
    arriving = sunlight(air, columns, at, local)
    amounts = densities(at) * (length[:, None] * widths)[..., None]
    once = np.einsum("nsk,nk,kw->nsw", amounts, phases(cosine), air.scattering) * arriving
    spectra = np.sum(through * (once + scattered * echo.at(at, local)), axis=1)
    return _rgb(spectra).reshape(len(over.rises), len(over.azimuths), 3)


def _rgb(spectra: Array) -> Array:
    """Linear sRGB of sunlight times spectra (..., wavelengths)."""
    every = STEP_NM // 5
    sun = colour._black_body(colour.SUN_SURFACE_K)[::every]
    return (spectra * sun) @ colour._colour_matching()[::every] @ colour.SRGB_FROM_XYZ.T


def fit_row(radiance: Array, sun_altitude_deg: float, over: Dome) -> tuple[Array, Array]:
    """Tint (3,) of the sky's light on level ground, and shares (4, 3) of its components.

    Least squares over the dome by solid angle, each error's square divided by the sky's brightness there,
    so that neither the bright side nor the dark one decides alone.
    """
    on_ground = 2.0 * np.einsum("i,iac->c", over.weights * over.rises, radiance) / len(over.azimuths)
    basis = _basis(sun_altitude_deg, over)
    wanted = radiance / on_ground
    shares = np.stack([_fit_channel(basis[..., c], wanted[..., c], over) for c in range(3)], axis=-1)
    tint = np.maximum(on_ground, 0.0)
    return tint / (tint @ colour.LUMINANCE), shares


def _basis(sun_altitude_deg: float, over: Dome) -> Array:
    """The four shapes through the low air, each lighting level ground to 1: (rises, azimuths, 4, 3)."""
    middle = np.sin(np.radians(max(sun_altitude_deg, 0.0)))
    up = np.maximum(over.rises, sky.LOWEST_RISE)[:, None]
    toward = middle * over.rises[:, None] + np.sqrt(1 - middle**2) * np.sqrt(1 - over.rises**2)[
        :, None
    ] * np.cos(over.azimuths)
    aureole = sky.aureole_form(sun_altitude_deg)
    shapes = np.stack(sky._shapes(np.broadcast_to(up, toward.shape), toward, float(middle), aureole), axis=-1)
    thinning = np.exp(-sky.extinction_depth(sun_altitude_deg) / (up + sky.EXTINCTION_RISE))
    return shapes[..., None] * sky.component_normalisation(sun_altitude_deg) * thinning[:, None, None, :]


def _fit_channel(basis: Array, wanted: Array, over: Dome) -> Array:
    """Shares (4,), none below 0, with the sum 1: the best of all choices of shapes that take part."""
    weight = np.sqrt(over.weights[:, None] / np.maximum(wanted, DARKEST_WEIGHED * wanted.max()))
    a = (basis * weight[..., None]).reshape(-1, 4)
    b = (wanted * weight).ravel()
    best, least = np.array([1.0, 0.0, 0.0, 0.0]), np.inf
    for count in range(1, 5):
        for chosen in itertools.combinations(range(4), count):
            shares = _with_sum_one(a[:, chosen], b)
            error = float(np.sum((a[:, chosen] @ shares - b) ** 2))
            if shares.min() >= 0.0 and error < least:
                best, least = np.zeros(4), error
                best[list(chosen)] = shares
    return best


def _with_sum_one(a: Array, b: Array) -> Array:
    """Least squares with the sum of the unknowns held at 1 (Lagrange)."""
    n = a.shape[1]
    system = np.block([[a.T @ a, np.ones((n, 1))], [np.ones((1, n)), np.zeros((1, 1))]])
    return np.linalg.lstsq(system, np.append(a.T @ b, 1.0), rcond=None)[0][:n]


@frozen(kw_only=True, eq=False)
class Row:
    """A row of the table: tint (3,) of the sky's light on level ground, and shares (4, 3) of the shapes."""

    sun_altitude_deg: float
    tint: Array
    shares: Array


def made_rows(altitudes_deg: Iterable[float]) -> list[Row]:
    """Rows computed anew."""
    air, columns, over = clear_air(), columns_to_space(), dome()
    echo = multiple_scattering(air, columns)
    rows = []
    for altitude in altitudes_deg:
        tint, shares = fit_row(sky_rgb(air, columns, echo, altitude, over), altitude, over)
        rows.append(Row(sun_altitude_deg=altitude, tint=tint, shares=shares))
    return rows


def kept_row(altitude_deg: float) -> Row:
    """The row that the sky model has."""
    tint, *parts = sky.component_shares(altitude_deg)
    shares = np.array(parts)
    return Row(sun_altitude_deg=altitude_deg, tint=tint, shares=np.vstack([1.0 - shares.sum(axis=0), shares]))


def off_stops(one: Row, other: Row) -> Array:
    """How much brighter one row's sky is than another's for the same light on level ground, over the dome."""
    over = dome()
    basis = _basis(one.sun_altitude_deg, over)
    luminances = [
        np.einsum("iakc,kc,c->ia", basis, row.shares, row.tint * colour.LUMINANCE) for row in (one, other)
    ]
    return np.log2(luminances[0] / luminances[1])


def rms(over_dome: Array) -> float:
    """Root mean square of values (rises, azimuths) over the dome, by solid angle."""
    return float(np.sqrt(np.average(np.mean(over_dome**2, axis=1), weights=dome().weights)))


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table, or how far the kept one is from it."""
    parser = argparse.ArgumentParser(prog="make_sky_table.py", description="Remake the sky model's table.")
    parser.add_argument("--compare", action="store_true", help="show the kept table's rows beside it")
    arguments = parser.parse_args(argv)
    for row in made_rows(SUN_ROWS_DEG):
        words = ["(" + ", ".join(f"{value:.2f}" for value in row.tint) + ")"]
        words += ["(" + ", ".join(f"{value:.3f}" for value in part) + ")" for part in row.shares[1:]]
        print(f"    ({row.sun_altitude_deg}, {', '.join(words)}),")
        if arguments.compare:
            kept = kept_row(row.sun_altitude_deg)
            off = off_stops(row, kept)
            tint, share = np.abs(row.tint - kept.tint).max(), np.abs(row.shares - kept.shares).max()
            print(f"        # from the row in use: tint {tint:.2f}, shares {share:.2f},", end=" ")
            print(f"sky {rms(off):.2f} stops rms, {np.abs(off).max():.2f} at most")
    return 0


if __name__ == "__main__":
    sys.exit(main())
