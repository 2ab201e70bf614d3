"""Speed, beside something outside on the same input in the same run; accuracy stands beside the ratio.

python3 tools/benchmark.py [SECTION …]. A section is a function that yields lines of text; to add one,
write it and name it in SECTIONS. Sections import what they measure, so that each runs with the packages it
needs.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import platform
import sys
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))


def best_s(*tasks: Callable[[], object], rounds: int = 7) -> list[float]:
    """The shortest time of each task, seconds. They take turns, so that a busy moment falls on all."""
    for task in tasks:
        task()
    shortest = [float("inf")] * len(tasks)
    for _ in range(rounds):
        for place, task in enumerate(tasks):
            start = time.perf_counter()
            task()
            shortest[place] = min(shortest[place], time.perf_counter() - start)
    return shortest


# ---------------------------------------------------------------- sun and moon

PLACE_DEG = (43.46, -3.79)
TRUTH_INSTANTS = 500


def sky() -> Iterator[str]:
    """Sun and moon together against pvlib's NREL SPA in numpy for the sun alone; aim: not slower."""
    import pandas  # type: ignore[import-untyped,import-not-found]
    from pvlib import solarposition  # type: ignore[import-untyped,import-not-found]

    from planner_core import ephemeris

    latitude, longitude = PLACE_DEG
    for count, step_s in ((1_000, 12.0), (100_000, 60.0)):
        utc_s = 1_805_000_000.0 + step_s * np.arange(count)
        index = pandas.DatetimeIndex(pandas.to_datetime(utc_s, unit="s", utc=True))

        def ours(utc_s: np.ndarray = utc_s) -> None:
            ephemeris.sun_position(utc_s, latitude, longitude)
            ephemeris.moon_position(utc_s, latitude, longitude)

        def theirs(index: pandas.DatetimeIndex = index) -> object:
            return solarposition.spa_python(index, latitude, longitude, how="numpy")

        mine, other = best_s(ours, theirs)
        yield (
            f"{count:>7} instants, one every {step_s:g} s: sun and moon {mine * 1e3:.2f} ms, "
            f"SPA's sun {other * 1e3:.2f} ms, ratio {mine / other:.2f}"
        )
        pick = np.linspace(0, count - 1, TRUTH_INSTANTS).astype(int)
        spa = solarposition.spa_python(index[pick], latitude, longitude, how="numpy")
        yield from _sky_accuracy(utc_s[pick], spa["azimuth"].to_numpy(), spa["elevation"].to_numpy())


def _sky_accuracy(utc_s: np.ndarray, spa_azimuth: np.ndarray, spa_altitude: np.ndarray) -> Iterator[str]:
    """Largest angles on the sky from JPL's DE421 by skyfield, at the same instants."""
    from planner_core import ephemeris

    latitude, longitude = PLACE_DEG
    truth = _de421(utc_s)
    sun = ephemeris.sun_position(utc_s, latitude, longitude)
    moon = ephemeris.moon_position(utc_s, latitude, longitude)
    yield (
        f"        largest error against DE421: sun {_apart_deg(sun, truth['sun']):.4f}°, "
        f"moon {_apart_deg(moon, truth['moon']):.4f}°, SPA's sun "
        f"{_apart_deg((spa_azimuth, spa_altitude), truth['sun']):.4f}°"
    )


def _de421(utc_s: np.ndarray) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Azimuth and true altitude of sun and moon, degrees."""
    from skyfield.api import load, load_file, wgs84  # type: ignore[import-untyped,import-not-found]

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the package's Earth rotation file is out of date; it isn't used
        from skyfield_data import get_skyfield_data_path  # type: ignore[import-untyped,import-not-found]

        bodies = load_file(str(Path(get_skyfield_data_path()) / "de421.bsp"))
    epoch = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
    instants = [epoch + dt.timedelta(seconds=float(second)) for second in utc_s]
    times = load.timescale(builtin=True).from_datetimes(instants)
    place = bodies["earth"] + wgs84.latlon(*PLACE_DEG)
    found = {}
    for body in ("sun", "moon"):
        altitude, azimuth, _ = place.at(times).observe(bodies[body]).apparent().altaz()
        found[body] = (azimuth.degrees, altitude.degrees)
    return found


def _apart_deg(one: tuple[np.ndarray, np.ndarray], other: tuple[np.ndarray, np.ndarray]) -> float:
    """Largest angle between directions given as azimuth and altitude in degrees."""

    def unit(azimuth_deg: np.ndarray, altitude_deg: np.ndarray) -> np.ndarray:
        turn, rise = np.radians(azimuth_deg), np.radians(altitude_deg)
        return np.stack([np.sin(turn) * np.cos(rise), np.cos(turn) * np.cos(rise), np.sin(rise)], axis=-1)

    a, b = unit(*one), unit(*other)
    return float(
        np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b), axis=-1), np.sum(a * b, axis=-1))).max()
    )


# ---------------------------------------------------------------- running

SECTIONS: dict[str, Callable[[], Iterator[str]]] = {
    "sky": sky,
}


def machine() -> str:
    """What the figures were measured on."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return f"{platform.machine()}, {cores} cores, Python {platform.python_version()}, numpy {np.__version__}"


def main(words: Sequence[str] | None = None) -> int:
    """Run the named sections, or all of them."""
    parser = argparse.ArgumentParser(prog="benchmark", description=__doc__.splitlines()[0])
    parser.add_argument("sections", nargs="*", metavar="SECTION", help=", ".join(SECTIONS))
    wanted = parser.parse_args(words).sections or list(SECTIONS)
    unknown = [name for name in wanted if name not in SECTIONS]
    if unknown:
        parser.error(f"{unknown[0]} is no section; there are {', '.join(SECTIONS)}")
    print(machine())
    for name in wanted:
        print(f"\n{name}: {(SECTIONS[name].__doc__ or '').splitlines()[0]}")
        for line in SECTIONS[name]():
            print(f"  {line}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
