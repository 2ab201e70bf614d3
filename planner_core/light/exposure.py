"""Exposure: APEX values, third stops, and the ramp of f-number, shutter and ISO that follows the light.

An EV here is always that of the scene at ISO 100, as an incident meter reads it. Settings have one too: the
EV of the scene that they render as metered.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from attrs import frozen
from numpy.typing import ArrayLike, NDArray

from planner_core.plan.model import Exposure, Plan

Array = NDArray[np.float64]

# A setting is kept until the light has left it by this much; then the nearest one is taken. Above half a
# third, so that the camera doesn't hunt between two neighbours, and below a third, so that no frame is off by
# more than that. From a limit to the next setting it may be up to half a stop: there, half of that and of the
# ripple that changes no setting back, which is a third again at most.
DEADBAND_STOPS = 0.25
RIPPLE_STOPS = 2.0 * DEADBAND_STOPS - 1.0 / 3.0
# Between these EVs the look goes over from day to night: sunset by Circular 171, and a landscape under a full
# moon (from memory of ANSI PH2.7) or the place's own artificial light, where that is brighter.
SUNSET_EV100 = 8.2
MOONLIT_EV100 = -3.0
# At least so much of each stop of the scene's light stays in the target, however strong the look.
LEAST_TARGET_SLOPE = 0.1
# A dark-sky night is given f/2.8, 20 s and ISO 6400 and is meant to look dark (common practice, no source).
DARKEST_TARGET_EV100 = math.log2(2.8**2 / 20.0 * 100.0 / 6400.0)
# Smaller changes of the light don't count as rising or falling.
LIGHT_TURNS_STOPS = 1.0
ANY_RUNG = 10_000  # no limit: more rungs than the ladder has
SPEED_AT_ISO_3_125 = 3.125  # APEX: Sv = log2(ISO / 3.125), CIPA DC-008 (Exif), annex C


@frozen(kw_only=True, eq=False)
class Ramp:
    """Settings of each frame, arrays of shape (frames,).

    target_ev100 is the EV the settings should have; error_stops is positive where a frame comes out brighter
    than that. The wanted_ fields are what the light and the plan's own limits ask for, as if the interval
    left time for any exposure. longest_shutter_s is the longest shutter allowed in the ramp.
    """

    target_ev100: Array
    f_number: Array
    shutter_s: Array
    iso: Array
    error_stops: Array
    wanted_shutter_s: Array
    wanted_error_stops: Array
    longest_shutter_s: float


def aperture_value(f_number: ArrayLike) -> Array:
    """APEX Av = 2·log2 N, any shape (CIPA DC-008, annex C)."""
    return 2.0 * np.log2(np.asarray(f_number, dtype=np.float64))


def time_value(shutter_s: ArrayLike) -> Array:
    """APEX Tv = −log2 t, any shape (CIPA DC-008, annex C)."""
    return -np.log2(np.asarray(shutter_s, dtype=np.float64))


def speed_value(iso: ArrayLike) -> Array:
    """APEX Sv = log2(ISO / 3.125), 5 at ISO 100, any shape (CIPA DC-008, annex C)."""
    return np.log2(np.asarray(iso, dtype=np.float64) / SPEED_AT_ISO_3_125)


def settings_ev100(
    f_number: ArrayLike, shutter_s: ArrayLike, iso: ArrayLike, nd_stops: ArrayLike = 0.0
) -> Array:
    """EV of the scene that the settings render as metered; arguments broadcast.

    log2(N²/t · 100/ISO), plus the stops of a filter: 2^EV = N²/t at ISO 100, a stop a doubling of ISO.
    """
    gain = speed_value(iso) - speed_value(100.0)
    filtered: Array = np.asarray(nd_stops, dtype=np.float64) - gain
    return aperture_value(f_number) + time_value(shutter_s) + filtered


def target_ev100(
    scene_ev100: ArrayLike,
    limits: Exposure,
    cloud_divisor: float = 1.0,
    metered_ev100: ArrayLike | None = None,
) -> Array:
    """The EV that the settings should have: what is metered, shifted by the day look by day and by the night
    look at night. What is metered is the scene's own EV, if nothing else is given.

    Any shape. Without a meter of its own it rises with the scene's EV everywhere, so that the ramp turns only
    where the light does. The look goes over smoothly from sunset, under the plan's cloud, to the place's
    night level; a look too strong for that span starts earlier in the evening.
    """
    scene = np.asarray(scene_ev100, dtype=np.float64)
    metered = scene if metered_ev100 is None else np.asarray(metered_ev100, dtype=np.float64)
    look = limits.night_look_stops - limits.day_look_stops
    return metered - (limits.day_look_stops + look * night_share(scene, limits, cloud_divisor))


def night_share(scene_ev100: ArrayLike, limits: Exposure, cloud_divisor: float = 1.0) -> Array:
    """How far the look has gone over from day, 0, to night, 1, at the scene's EV; any shape."""
    scene = np.asarray(scene_ev100, dtype=np.float64)
    look = limits.night_look_stops - limits.day_look_stops
    floor = MOONLIT_EV100 if limits.artificial_ev100 is None else limits.artificial_ev100
    night = max(floor, MOONLIT_EV100)
    width = max(2.0, 1.5 * abs(look) / (1.0 - LEAST_TARGET_SLOPE))
    day = max(SUNSET_EV100 - math.log2(cloud_divisor), night + width)
    fraction = np.clip((day - scene) / (day - night), 0.0, 1.0)
    return fraction**2 * (3.0 - 2.0 * fraction)


NEARLY_A_POWER = 0.25  # of a third: as near to a limit, one of the two stands for both


def third_stops(low: float, high: float, anchor: float, *, even: bool = False) -> Array:
    """Settings a third of a stop apart, from low to high, both included; rising, shape (n,).

    Exact powers of 2^(1/3) from the anchor (1 s, ISO 100), as ISO 516 and ISO 12232 have them. A limit that
    is none of them is a setting too (a camera's 1/2000 s is 0.0005 in a plan), in place of a power within a
    twelfth of a stop. even: the power within the limits is taken in its place, as 12.7 s for a longest 13 s,
    so that no step is above a third of a stop.
    """
    first, last = math.log2(low / anchor) * 3.0, math.log2(high / anchor) * 3.0
    beside = 0.0 if even else NEARLY_A_POWER
    steps = np.arange(math.ceil(first + beside), math.floor(last - beside) + 1)
    inside = np.clip(anchor * np.exp2(steps / 3.0), low, high)
    keeps_low = not (even and len(steps) and steps[0] - first < NEARLY_A_POWER)
    keeps_high = not (even and len(steps) and last - steps[-1] < NEARLY_A_POWER)
    return np.unique(np.concatenate([[low] * keeps_low, inside, [high] * keeps_high]))


def following_the_light(metered_ev100: Array, scene_ev100: Array) -> Array:
    """What a meter reads frame by frame, made to rise and fall with the light, shape (frames,).

    Through each stretch in which the scene's light only falls, or only rises, by LIGHT_TURNS_STOPS or more,
    the reading does likewise: the nearest to it in least squares that does (pool adjacent violators, Barlow
    and others, *Statistical Inference under Order Restrictions*, 1972). So a pan towards the sunset or past a
    bright wall holds the exposure, rather than make it hunt.
    """
    followed = metered_ev100.copy()
    trend = np.sign(np.diff(scene_ev100))
    turns = np.flatnonzero(trend[1:] * trend[:-1] < 0.0) + 1
    for first, last in pairwise([0, *turns.tolist(), len(scene_ev100) - 1]):
        part = slice(first, last + 1)
        change = scene_ev100[last] - scene_ev100[first]
        if abs(change) >= LIGHT_TURNS_STOPS:
            sign = math.copysign(1.0, change)
            followed[part] = sign * _rising(sign * followed[part])
    return followed


def _rising(values: Array) -> Array:
    """The rising sequence nearest to values (n,) in least squares."""
    if np.all(np.diff(values) >= 0.0):
        return values
    means: list[float] = []
    counts: list[int] = []
    for value in values.tolist():
        mean, count = value, 1
        while means and means[-1] > mean:
            mean = (means[-1] * counts[-1] + mean * count) / (counts[-1] + count)
            count += counts.pop()
            means.pop()
        means.append(mean)
        counts.append(count)
    return np.repeat(means, counts)


def no_steeper(values: Array, step: float) -> Array:
    """The sequence nearest to values (n,) whose neighbours differ by no more than step.

    Midway between the lowest such sequence above and the highest below; it rises where values only rise.
    """
    slope = step * np.arange(len(values))

    def highest_below(v: Array) -> Array:
        before = np.minimum.accumulate(v - slope) + slope
        after = (np.minimum.accumulate((v + slope)[::-1])[::-1]) - slope
        return np.minimum(before, after)

    return (highest_below(values) - highest_below(-values)) / 2.0


def ramp_target_ev100(plan: Plan, scene_ev100: Array, metered_ev100: Array | None = None) -> Array:
    """The EV that the ramp of a plan with exposure goes for, (frames,); arguments as exposure_ramp's.

    A look that goes over while the reading stands still would turn the ramp around, so that of a meter is
    made to follow the light once more.
    """
    assert plan.exposure is not None
    target = target_ev100(scene_ev100, plan.exposure, plan.shoot.cloud_divisor, metered_ev100)
    if metered_ev100 is None:
        return target
    return np.maximum(following_the_light(target, scene_ev100), DARKEST_TARGET_EV100)


def exposure_ramp(
    plan: Plan, scene_ev100: Array, time_left_s: Array, metered_ev100: Array | None = None
) -> Ramp | None:
    """Settings for each frame of a plan with exposure limits; None for one without.

    scene_ev100, time_left_s, what the interval leaves for the exposure, and metered_ev100, what the plan's
    meter reads (None: the scene's EV), have shape (frames,). The ramp of such a meter never asks for more
    light than a dark-sky night is given (DARKEST_TARGET_EV100), and steps by no more than a third of a stop a
    frame. The f-number
    stays. As the light falls the shutter gets longer up to its limit, then ISO rises (ramp_order "iso-first":
    the other way round), in third stops. Settings never pass the plan's limits; nor what the interval leaves,
    as far as the shortest shutter allows. One longest shutter holds for the whole ramp, so that a rig that
    moves unevenly doesn't make it hunt.
    """
    limits = plan.exposure
    if limits is None:
        return None
    target = ramp_target_ev100(plan, scene_ev100, metered_ev100)
    aim, most_rungs = target, ANY_RUNG
    if metered_ev100 is not None:
        aim, most_rungs = no_steeper(target, 1.0 / 3.0), 1
    wanted_shutter, wanted_iso = _settings(limits, aim, limits.shutter_max_s, most_rungs)
    binds = wanted_shutter > time_left_s
    longest, shutter, iso = limits.shutter_max_s, wanted_shutter, wanted_iso
    if np.any(binds):
        longest = _setting_within(limits, float(np.min(time_left_s[binds])), even=most_rungs == 1)
        shutter, iso = _settings(limits, aim, longest, most_rungs)

    def error(shutter_s: Array, iso: Array) -> Array:
        return target - settings_ev100(limits.f_number, shutter_s, iso, limits.nd_stops)

    return Ramp(
        target_ev100=target,
        f_number=np.full(target.shape, limits.f_number),
        shutter_s=shutter,
        iso=iso,
        error_stops=error(shutter, iso),
        wanted_shutter_s=wanted_shutter,
        wanted_error_stops=error(wanted_shutter, wanted_iso),
        longest_shutter_s=longest,
    )


def _setting_within(limits: Exposure, time_s: float, *, even: bool) -> float:
    """The plan's longest shutter setting that is open no longer than time_s; the shortest, if none is."""
    shutters = third_stops(limits.shutter_min_s, limits.shutter_max_s, 1.0, even=even)
    return float(shutters[max(int(np.searchsorted(shutters, time_s, side="right")) - 1, 0)])


def _settings(limits: Exposure, target: Array, longest_s: float, most_rungs: int) -> tuple[Array, Array]:
    """Shutter and ISO of each frame, from the ladder of settings that let in more and more light, going up or
    down by no more than so many rungs a frame; one rung at a time, they are even.
    """
    even = most_rungs == 1
    shutters = third_stops(limits.shutter_min_s, longest_s, 1.0, even=even)
    isos = third_stops(limits.iso_min, limits.iso_max, 100.0, even=even)
    if limits.ramp_order == "shutter-first":
        shutter = np.concatenate([shutters, np.full(len(isos) - 1, shutters[-1])])
        iso = np.concatenate([np.full(len(shutters), isos[0]), isos[1:]])
    else:
        shutter = np.concatenate([np.full(len(isos), shutters[0]), shutters[1:]])
        iso = np.concatenate([isos, np.full(len(shutters) - 1, isos[-1])])
    ladder_ev100 = settings_ev100(limits.f_number, shutter, iso, limits.nd_stops)
    rungs = _follow(-target, -ladder_ev100, most_rungs)
    return shutter[rungs], iso[rungs]


def _follow(wanted: Array, rungs: Array, most_rungs: int) -> NDArray[np.intp]:
    """Number of the rung for each wanted value: the last one while it is near enough, else the nearest.

    wanted (frames,) and rungs (n,), rising, in stops. Where wanted only rises or only falls, so do the rungs.
    """
    nearest = np.searchsorted((rungs[1:] + rungs[:-1]) / 2.0, wanted).tolist()
    halfway = np.diff(rungs) / 2.0
    up = np.maximum(DEADBAND_STOPS, np.append(halfway, 0.0) + RIPPLE_STOPS / 2.0).tolist()
    down = np.maximum(DEADBAND_STOPS, np.append(0.0, halfway) + RIPPLE_STOPS / 2.0).tolist()
    values, steps = wanted.tolist(), rungs.tolist()
    rung = nearest[0] if nearest else 0
    followed = []
    for value, near in zip(values, nearest, strict=True):
        if not -down[rung] <= value - steps[rung] <= up[rung]:
            rung = min(max(near, rung - most_rungs), rung + most_rungs)
        followed.append(rung)
    return np.array(followed, dtype=np.intp)


def stops_per_min(ev100: Array, interval_s: float) -> Array:
    """How fast an EV changes at each frame, stops a minute, falling light negative; shape (frames,)."""
    if len(ev100) < 2:
        return np.zeros(len(ev100))
    return np.gradient(ev100) * (60.0 / interval_s)


# ---------------------------------------------------------------- nominal numbers, as cameras print them

# Third stops from 1/8000 s to 30 s, from ISO 12 to ISO 102400 and from f/1 to f/32: nominal values of
# ISO 516, ISO 12232 and, from memory, ISO 517.
_FRACTIONS = (
    *(
        8000,
        6400,
        5000,
        4000,
        3200,
        2500,
        2000,
        1600,
        1250,
        1000,
        800,
        640,
        500,
        400,
        320,
        250,
        200,
        160,
        125,
    ),
    *(100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4),
)
_SECONDS = (0.3, 0.4, 0.5, 0.6, 0.8, 1, 1.3, 1.6, 2, 2.5, 3.2, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30)
_SHUTTERS = (*(f"1/{part}" for part in _FRACTIONS), *(f"{time:g}" for time in _SECONDS))
_ISOS = tuple(
    str(iso)
    for iso in (
        *(12, 16, 20, 25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250),
        *(1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600, 32000, 40000),
        *(51200, 64000, 80000, 102400),
    )
)
_F_NUMBERS = (
    *(
        1,
        1.1,
        1.2,
        1.4,
        1.6,
        1.8,
        2,
        2.2,
        2.5,
        2.8,
        3.2,
        3.5,
        4,
        4.5,
        5,
        5.6,
        6.3,
        7.1,
        8,
        9,
        10,
        11,
        13,
        14,
        16,
    ),
    *(18, 20, 22, 25, 29, 32),
)
_SHORTEST_THIRD, _LOWEST_THIRD = -39, -9


def shutter_label(shutter_s: float) -> str:
    """A shutter as a camera shows it: 1/125 s, 0.6 s, 13 s; a time between settings with its own digits."""
    nominal = _nominal(shutter_s, 1.0, _SHUTTERS, _SHORTEST_THIRD)
    if nominal:
        return f"{nominal} s"
    if shutter_s < 0.25:
        return f"1/{_rounded(1.0 / shutter_s, 2)} s"
    return f"{_rounded(shutter_s, 2 if shutter_s < 100.0 else 3)} s"


def iso_label(iso: float) -> str:
    """An ISO as a camera shows it: ISO 100, ISO 25600; a value between settings with its own digits."""
    return f"ISO {_nominal(iso, 100.0, _ISOS, _LOWEST_THIRD) or _rounded(iso, 3)}"


def f_number_label(f_number: float) -> str:
    """An f-number as it stands in the plan: f/5.6."""
    return f"f/{f_number:g}"


def next_third(setting: float, anchor: float) -> float:
    """The third of a stop at or just above a setting, counted from the anchor (1 s, ISO 100), exact."""
    return float(anchor * 2.0 ** (math.ceil(math.log2(setting / anchor) * 3.0 - 0.05) / 3.0))


def nearest_third(setting: float, anchor: float) -> float:
    """The third of a stop nearest to a setting, counted from the anchor (1 s, ISO 100), exact."""
    return float(anchor * 2.0 ** (round(math.log2(setting / anchor) * 3.0) / 3.0))


def nominal_iso(iso: float) -> float:
    """An ISO as the number that cameras print: 320 for 322.5; one between settings as it is."""
    name = _nominal(iso, 100.0, _ISOS, _LOWEST_THIRD)
    return float(name) if name else iso


def nominal_shutter_s(shutter_s: float) -> float:
    """A shutter as the number that cameras print: 3.2 s for 3.175 s; one between settings as it is."""
    name = _nominal(shutter_s, 1.0, _SHUTTERS, _SHORTEST_THIRD)
    if not name:
        return shutter_s
    return 1.0 / float(name[2:]) if name.startswith("1/") else float(name)


def nearest_f_number(f_number: float) -> float:
    """The nominal third-stop f-number nearest to this one."""
    return float(min(_F_NUMBERS, key=lambda n: abs(math.log2(n / f_number))))


def wider_f_number(f_number: float) -> float | None:
    """The nominal third-stop f-number at or just wider than this one; None where lenses don't go."""
    return max((float(n) for n in _F_NUMBERS if n <= f_number * 1.01), default=None)


def narrower_f_number(f_number: float) -> float | None:
    """The nominal third-stop f-number at or just narrower than this one; None where lenses don't go."""
    return min((float(n) for n in _F_NUMBERS if n >= f_number * 0.99), default=None)


def _nominal(setting: float, anchor: float, names: Sequence[str], first_third: int) -> str:
    """The nominal name of a third stop, for its exact or its nominal value; empty for anything else."""
    third = round(math.log2(setting / anchor) * 3.0)
    if not 0 <= third - first_third < len(names):
        return ""
    name = names[third - first_third]
    printed = 1.0 / float(name[2:]) if name.startswith("1/") else float(name)
    exact = anchor * 2.0 ** (third / 3.0)
    return name if min(abs(setting / printed - 1.0), abs(setting / exact - 1.0)) < 0.02 else ""


def _rounded(number: float, digits: int) -> str:
    """A number above 0 to so many significant digits, never in powers of ten."""
    places = digits - 1 - math.floor(math.log10(number))
    text = f"{round(number, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
