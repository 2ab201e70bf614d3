"""Where the sun and the moon stand in the sky of a place, how much of the moon is lit, and refraction.

Instants are POSIX seconds, arrays of any shape. From 1972 on they are civil time (UTC), which is taken as
Earth's rotation time too: leap seconds keep the two within 0.9 s. Before 1972 they count seconds of today's
length back from there, as skyfield does; the clocks of 1950 were up to 13 s from that.

The sun is summed from the largest terms of VSOP87 (Meeus, *Astronomical Algorithms*, 2nd ed., ch. 25 and
appendix III), the moon from the series that astral brings (Van Flandern and Pulkkinen, *Astrophysical Journal
Supplement* 41, 1979). Both become vectors from Earth's centre, in Earth radii, on the true equator and the
mean equinox of date, summed every six hours and interpolated where that saves work. Good from 1950 to 2050.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from astral import table4
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.maths.angles import compass_deg, wrapped_deg

Array = NDArray[np.float64]

EARTH_RADIUS_KM = 6378.137
EARTH_RADII_PER_AU = 23454.78
FLATTENED = 1.0 - 1.0 / 298.257223563  # polar over equatorial radius, WGS 84
J2000_UTC_S = 946728000.0
DAY_S = 86400.0
NODE_STEP_D = 0.25
CHEAP_NODES = 8  # this many nodes of a long grid cost less than one instant on its own (measured)
CACHED = 64  # instants at a time that keep a sum's matrices within the processor's cache (measured)
ARCSECOND = math.radians(1.0 / 3600.0)
# terrestrial time minus UTC grew a leap second at a time; straight lines between these years are within 4 s
TT_YEARS, TT_MINUS_UTC_S = (1972.0, 1980.0, 1990.0, 2000.0, 2017.0), (42.184, 51.184, 57.184, 64.184, 69.184)
# 42.184 s minus ΔT (Meeus, table 10.A): how far Earth's rotation was ahead of seconds counted back from 1972
UT1_YEARS = (1950.0, 1954.0, 1958.0, 1962.0, 1966.0, 1970.0, 1972.0)
UT1_MINUS_UTC_S = (13.1, 11.8, 10.1, 8.4, 6.1, 2.2, 0.0)


def sun_position(utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> tuple[Array, Array]:
    """Azimuth (true, clockwise from north, 0 to 360) and true altitude of the sun's centre, degrees.

    Without refraction. The arguments broadcast against each other; the results have that shape. From 1950 to
    2050 within 0.003° of the DE421 ephemeris, plus 0.004° for each second that Earth's rotation and UTC part.
    """
    azimuth, altitude, _ = _topocentric(utc_s, latitude_deg, longitude_deg, _sun_vector)
    return azimuth, altitude


def moon_position(utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> tuple[Array, Array]:
    """Azimuth (true, clockwise from north, 0 to 360) and true altitude of the moon's centre, degrees.

    Seen from the place, not from Earth's centre (parallax, up to 1°: Meeus ch. 40); without refraction. The
    arguments broadcast against each other. Within 0.03° of the DE421 ephemeris from 1950 to 2050.
    """
    azimuth, altitude, _ = _topocentric(utc_s, latitude_deg, longitude_deg, _moon_vector)
    return azimuth, altitude


def moon_upper_limb_deg(utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Array:
    """True altitude of the moon's upper limb, degrees, without refraction; arguments as for moon_position."""
    _, altitude, distance_km = _topocentric(utc_s, latitude_deg, longitude_deg, _moon_vector)
    return altitude + moon_semidiameter_deg(distance_km)


def moon_semidiameter_deg(distance_km: ArrayLike) -> Array:
    """Half the moon's apparent width at a distance: its radius is 0.2725 of Earth's (Meeus ch. 55)."""
    return np.degrees(np.arcsin(0.272481 * EARTH_RADIUS_KM / np.asarray(distance_km, dtype=np.float64)))


def elongation_deg(utc_s: ArrayLike) -> Array:
    """Angle between sun and moon seen from Earth's centre, degrees, 0 (new) to 180 (full); shape of utc_s."""
    instants = _instants(utc_s)
    sun, moon = _geocentric(instants.ravel(), _sun_vector), _geocentric(instants.ravel(), _moon_vector)
    return _angle_between_deg(sun, moon).reshape(instants.shape)


def _angle_between_deg(one: Array, other: Array) -> Array:
    cross = np.linalg.norm(np.cross(one, other), axis=-1)
    return np.degrees(np.arctan2(cross, np.sum(one * other, axis=-1)))


def moon_lit_fraction(utc_s: ArrayLike) -> Array:
    """Lit part of the moon's disc, 0 to 1, shape of utc_s: (1 + cos i) / 2, Meeus ch. 48."""
    instants = _instants(utc_s)
    sun, moon = _geocentric(instants.ravel(), _sun_vector), _geocentric(instants.ravel(), _moon_vector)
    return _lit_fraction(sun, moon).reshape(instants.shape)


def _lit_fraction(sun: Array, moon: Array) -> Array:
    to_sun = sun - moon
    cos_phase = -np.sum(to_sun * moon, axis=-1) / (
        np.linalg.norm(to_sun, axis=-1) * np.linalg.norm(moon, axis=-1)
    )
    return (1.0 + cos_phase) / 2.0


@frozen(kw_only=True, eq=False)
class SunAndMoon:
    """Both bodies from a place at instants (n,), degrees: what sun_position, moon_position, elongation_deg
    and moon_lit_fraction give.
    """

    sun_azimuth_deg: Array
    sun_true_altitude_deg: Array
    moon_azimuth_deg: Array
    moon_true_altitude_deg: Array
    elongation_deg: Array
    moon_lit_fraction: Array


def sun_and_moon(utc_s: Array, latitude_deg: float, longitude_deg: float) -> SunAndMoon:
    """All that is asked of both bodies at instants (n,), each worked out once."""
    instants, latitude, longitude = _broadcast(utc_s, latitude_deg, longitude_deg)
    sun, moon = _geocentric(instants, _sun_vector), _geocentric(instants, _moon_vector)
    horizon = _horizon(instants, latitude, longitude)
    sun_azimuth, sun_altitude, _ = _seen_from(horizon, sun)
    moon_azimuth, moon_altitude, _ = _seen_from(horizon, moon)
    return SunAndMoon(
        sun_azimuth_deg=sun_azimuth,
        sun_true_altitude_deg=sun_altitude,
        moon_azimuth_deg=moon_azimuth,
        moon_true_altitude_deg=moon_altitude,
        elongation_deg=_angle_between_deg(sun, moon),
        moon_lit_fraction=_lit_fraction(sun, moon),
    )


def sun_hour_angle_deg(utc_s: ArrayLike, longitude_deg: ArrayLike) -> Array:
    """How far the sun is past the meridian, degrees, −180 to 180, negative before noon."""
    instants, longitude = np.broadcast_arrays(_instants(utc_s), np.asarray(longitude_deg, dtype=np.float64))
    sun = _geocentric(instants.ravel(), _sun_vector)
    ascension = np.degrees(np.arctan2(sun[:, 1], sun[:, 0])).reshape(instants.shape)
    return wrapped_deg(sidereal_time_deg(instants, longitude) - ascension)


def sidereal_time_deg(utc_s: ArrayLike, longitude_deg: ArrayLike) -> Array:
    """Local mean sidereal time, degrees, 0 to 360 (Meeus ch. 12); arguments broadcast."""
    instants = _instants(utc_s)
    days = (instants + _ut1_minus_utc_s(instants) - J2000_UTC_S) / DAY_S
    centuries = days / 36525.0
    greenwich = 280.46061837 + 360.98564736629 * days + centuries**2 * (0.000387933 - centuries / 38710000.0)
    return compass_deg(greenwich + np.asarray(longitude_deg, dtype=np.float64))


def refraction_deg(true_altitude_deg: ArrayLike) -> Array:
    """How much the air lifts a body, degrees, at 1010 hPa and 10 °C; any shape.

    Sæmundsson's formula (Meeus ch. 16). It falls to zero by itself near −5.0° and is zero below, and so in
    the last 0.1° to the zenith.
    """
    altitude = np.asarray(true_altitude_deg, dtype=np.float64)
    argument = altitude + 10.3 / (np.maximum(altitude, -5.1) + 5.11)
    inside = (altitude > -5.1) & (argument < 90.0)
    return np.where(inside, 0.017 / np.tan(np.radians(np.where(inside, argument, 45.0))), 0.0)


def apparent_altitude_deg(true_altitude_deg: ArrayLike) -> Array:
    """Altitude with refraction, as the lens sees it, degrees; any shape."""
    return np.asarray(true_altitude_deg, dtype=np.float64) + refraction_deg(true_altitude_deg)


@frozen(eq=False)
class _Waves:
    """Sums of sines: column k sums weight[:, k]·sin(phase + rate·t) over the rows, t in days from J2000."""

    rate: Array
    phase: Array
    weight: Array

    def at(self, days: Array) -> Array:
        """The sums at any instants (n,), shape (n, columns)."""
        sums = np.empty((days.size, self.weight.shape[1]))
        for i in range(0, days.size, CACHED):
            part = slice(i, i + CACHED)
            sums[part] = np.sin(np.outer(days[part], self.rate) + self.phase) @ self.weight
        return sums

    def on_grid(self, first_d: float, step_d: float, count: int) -> Array:
        """The sums at equal steps, shape (count, columns): sin(a + b) makes a matrix product of them."""
        if count < CACHED:
            return self.at(first_d + step_d * np.arange(count, dtype=np.float64))
        block = math.isqrt(count)
        start = first_d + step_d * block * np.arange(-(-count // block))
        angle = np.outer(start, self.rate) + self.phase
        offset = np.outer(self.rate, step_d * np.arange(block))
        sin_start, cos_start = np.sin(angle), np.cos(angle)
        sin_offset, cos_offset = np.sin(offset), np.cos(offset)
        columns = []
        for weight in self.weight.T:
            used = weight != 0.0
            columns.append(
                (sin_start[:, used] * weight[used]) @ cos_offset[used]
                + (cos_start[:, used] * weight[used]) @ sin_offset[used]
            )
        return np.stack([c.ravel()[:count] for c in columns], axis=-1)


# amplitude (1e-8 rad, 1e-8 au), phase (rad), rate (rad a millennium)
EARTH_LONGITUDE = (
    (3341656.0, 4.6692568, 6283.0758500),
    (34894.0, 4.62610, 12566.15170),
    (3497.0, 2.7441, 5753.3849),
    (3418.0, 2.8289, 3.5231),
    (3136.0, 3.6277, 77713.7715),
    (2676.0, 4.4181, 7860.4194),
    (2343.0, 6.1352, 3930.2097),
    (1324.0, 0.7425, 11506.7698),
    (1273.0, 2.0371, 529.6910),
    (1199.0, 1.1096, 1577.3435),
    (990.0, 5.233, 5884.927),
    (902.0, 2.045, 26.298),
    (857.0, 3.508, 398.149),
    (780.0, 1.179, 5223.694),
    (753.0, 2.533, 5507.553),
    (505.0, 4.583, 18849.228),
    (492.0, 4.205, 775.523),
    (357.0, 2.920, 0.067),
    (317.0, 5.849, 11790.629),
    (284.0, 1.899, 796.298),
    (271.0, 0.315, 10977.079),
)
EARTH_LONGITUDE_PER_MILLENNIUM = ((206059.0, 2.678235, 6283.075850), (4303.0, 2.6351, 12566.1517))
EARTH_DISTANCE = (
    (1670700.0, 3.0984635, 6283.0758500),
    (13956.0, 3.05525, 12566.15170),
    (3084.0, 5.1985, 77713.7715),
)


def _sun_waves() -> _Waves:
    columns = (EARTH_LONGITUDE, EARTH_LONGITUDE_PER_MILLENNIUM, EARTH_DISTANCE)
    rows = [
        (rate / 365250.0, phase + math.pi / 2.0, [amplitude * 1e-8 * (k == column) for k in range(3)])
        for column, terms in enumerate(columns)
        for amplitude, phase, rate in terms
    ]
    return _Waves(*(np.array(part) for part in zip(*rows, strict=True)))


# the moon's fundamental arguments that astral's table numbers, in revolutions: at J2000, and growth a day
MOON_ARGUMENTS = {
    1: (0.606434, 0.03660110129),  # mean longitude
    2: (0.374897, 0.03629164709),  # mean anomaly
    3: (0.259091, 0.03674819520),  # argument of latitude
    4: (0.827362, 0.03386319198),  # elongation from the sun
    5: (0.606434 - 0.259091, 0.03660110129 - 0.03674819520),  # ascending node
    7: (0.779072, 0.00273790931),  # sun's mean longitude
    8: (0.993126, 0.00273777850),  # sun's mean anomaly
    12: (0.505498, 0.00445046867),  # Venus's mean longitude
}


def _moon_waves() -> _Waves:
    rows = []
    for column, table in enumerate((table4.table4_u, table4.table4_v, table4.table4_w)):
        for row in table:
            parts = [(MOON_ARGUMENTS[k], n) for k, n in row.argument_multiplers.items() if n]
            phase = sum(n * at_epoch for (at_epoch, _), n in parts) + (row.sincos is math.cos) / 4.0
            rate = sum(n * growth for (_, growth), n in parts)
            weights = [row.coefficient * (k == column + 3 * row.t) for k in range(6)]
            rows.append((math.tau * rate, math.tau * phase, weights))
    return _Waves(*(np.array(part) for part in zip(*rows, strict=True)))


SUN_WAVES, MOON_WAVES = _sun_waves(), _moon_waves()

Vectors = Callable[[Array, Callable[[_Waves], Array]], Array]


def _sun_vector(days: Array, sums: Callable[[_Waves], Array]) -> Array:
    """The sun at days of terrestrial time from J2000, shape (n, 3); Meeus ch. 25."""
    longitude, growing, distance = sums(SUN_WAVES).T
    t = days / 365250.0
    distance_au = 1.00013989 + distance
    earth = 1.75347046 + t * (6283.31966747 + 0.00052919 * t) + longitude + growing * t
    nutation, obliquity = _nutation(days)
    aberration = -20.4898 * ARCSECOND / distance_au
    apparent = earth + math.pi - 0.09033 * ARCSECOND + aberration + nutation
    ascension = np.arctan2(np.sin(apparent) * np.cos(obliquity), np.cos(apparent))
    sine = np.sin(apparent) * np.sin(obliquity)
    return _vector(distance_au * EARTH_RADII_PER_AU, ascension - nutation * np.cos(obliquity), sine)


def _nutation(days: Array) -> tuple[Array, Array]:
    """Nutation in longitude and the true obliquity, radians, shape (n,); Meeus ch. 22, within 0.5″."""
    t = days / 36525.0
    node = np.radians(125.04452 - 1934.136261 * t)
    sun = np.radians(2.0 * (280.4665 + 36000.7698 * t))
    moon = np.radians(2.0 * (218.3165 + 481267.8813 * t))
    longitude = -17.20 * np.sin(node) - 1.32 * np.sin(sun) - 0.23 * np.sin(moon) + 0.21 * np.sin(2.0 * node)
    obliquity = 9.20 * np.cos(node) + 0.57 * np.cos(sun) + 0.10 * np.cos(moon) - 0.09 * np.cos(2.0 * node)
    return longitude * ARCSECOND, (84381.448 - 46.8150 * t + obliquity) * ARCSECOND


def _moon_vector(days: Array, sums: Callable[[_Waves], Array]) -> Array:
    """The moon at days of terrestrial time from J2000, shape (n, 3); Van Flandern and Pulkkinen, table 4."""
    series = sums(MOON_WAVES).T
    u, v, w = series[:3] + (days / 36525.0 + 1.0) * series[3:]
    at_epoch, growth = MOON_ARGUMENTS[1]
    ascension = np.arcsin(w / np.sqrt(u - v * v)) + math.tau * np.mod(at_epoch + growth * days, 1.0)
    nutation, obliquity = _nutation(
        days
    )  # the series has most of it: left in, the rms error grows from 12″ to 15″
    return _vector(60.40974 * np.sqrt(u), ascension - nutation * np.cos(obliquity), v / np.sqrt(u))


def _vector(distance: Array, ascension_rad: Array, sin_declination: Array) -> Array:
    """Shape (n, 3). Ascension counts from the mean equinox: mean sidereal time then gives the hour angle."""
    level = distance * np.sqrt(1.0 - sin_declination**2)
    return np.stack(
        [level * np.cos(ascension_rad), level * np.sin(ascension_rad), distance * sin_declination], axis=-1
    )


def _geocentric(utc_s: Array, vectors: Vectors) -> Array:
    """Vectors at instants (n,), shape (n, 3): by cubic interpolation unless the instants lie far apart."""
    days = (utc_s + _tt_minus_utc_s(utc_s) - J2000_UTC_S) / DAY_S
    if not days.size:
        return np.zeros((0, 3))
    position = days / NODE_STEP_D
    before = np.floor(position).astype(np.int64)
    first, count = int(before.min()) - 1, int(before.max() - before.min()) + 4
    if count > CHEAP_NODES * days.size:
        return vectors(days, lambda waves: waves.at(days))
    first_d = first * NODE_STEP_D
    nodes = vectors(
        first_d + NODE_STEP_D * np.arange(count, dtype=np.float64),
        lambda waves: waves.on_grid(first_d, NODE_STEP_D, count),
    )
    f, index = position - before, before - first
    weights = (
        -f * (f - 1.0) * (f - 2.0) / 6.0,
        (f + 1.0) * (f - 1.0) * (f - 2.0) / 2.0,
        -(f + 1.0) * f * (f - 2.0) / 2.0,
        (f + 1.0) * f * (f - 1.0) / 6.0,
    )
    result = np.zeros((days.size, 3))
    for k, weight in enumerate(weights):
        result += weight[:, None] * nodes[index + (k - 1)]
    return result


def _topocentric(
    utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike, vectors: Vectors
) -> tuple[Array, Array, Array]:
    """Azimuth, true altitude (degrees) and distance (km) from a place at sea level, WGS 84."""
    instants, latitude, longitude = _broadcast(utc_s, latitude_deg, longitude_deg)
    body = _geocentric(instants.ravel(), vectors).reshape((*instants.shape, 3))
    return _seen_from(_horizon(instants, latitude, longitude), body)


def _broadcast(utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> list[Array]:
    return np.broadcast_arrays(
        _instants(utc_s),
        np.asarray(latitude_deg, dtype=np.float64),
        np.asarray(longitude_deg, dtype=np.float64),
    )


@frozen(kw_only=True, eq=False)
class _Horizon:
    """How a place at sea level, WGS 84, is turned against the stars at some instants."""

    sin_turn: Array
    cos_turn: Array
    sin_phi: Array
    cos_phi: Array
    reduced: Array


def _horizon(instants: Array, latitude_deg: Array, longitude_deg: Array) -> _Horizon:
    turn = np.radians(sidereal_time_deg(instants, longitude_deg))
    phi = np.radians(latitude_deg)
    return _Horizon(
        sin_turn=np.sin(turn),
        cos_turn=np.cos(turn),
        sin_phi=np.sin(phi),
        cos_phi=np.cos(phi),
        reduced=np.arctan(FLATTENED * np.tan(phi)),  # Meeus ch. 11
    )


def _seen_from(place: _Horizon, body: Array) -> tuple[Array, Array, Array]:
    """Azimuth, true altitude (degrees) and distance (km) of a body at (..., 3) from Earth's centre."""
    outward = body[..., 0] * place.cos_turn + body[..., 1] * place.sin_turn - np.cos(place.reduced)
    east = body[..., 1] * place.cos_turn - body[..., 0] * place.sin_turn
    axial = body[..., 2] - FLATTENED * np.sin(place.reduced)
    north = axial * place.cos_phi - outward * place.sin_phi
    up = outward * place.cos_phi + axial * place.sin_phi
    level = np.hypot(east, north)
    azimuth = compass_deg(np.degrees(np.arctan2(east, north)))
    return azimuth, np.degrees(np.arctan2(up, level)), np.hypot(level, up) * EARTH_RADIUS_KM


def _instants(utc_s: ArrayLike) -> Array:
    instants = np.asarray(utc_s, dtype=np.float64)
    if not np.all(np.isfinite(instants)):
        raise ValueError("utc_s: an instant is not a finite number (POSIX seconds are meant)")
    return instants


def _year(utc_s: Array) -> Array:
    return 2000.0 + (utc_s - J2000_UTC_S) / (365.25 * DAY_S)


def _tt_minus_utc_s(utc_s: Array) -> Array:
    return np.interp(_year(utc_s), TT_YEARS, TT_MINUS_UTC_S)


def _ut1_minus_utc_s(utc_s: Array) -> Array:
    return np.interp(_year(utc_s), UT1_YEARS, UT1_MINUS_UTC_S)
