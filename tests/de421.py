"""Sun and moon by skyfield and JPL's DE421, the outside source that several tests compare with."""

from __future__ import annotations

import datetime as dt
import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray


class Ephemeris421:
    """Sun and moon by skyfield and JPL's DE421, as plain arrays of degrees and POSIX seconds."""

    def __init__(self) -> None:
        from skyfield.api import load, load_file

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the package's Earth rotation file is out of date; it isn't used
            from skyfield_data import get_skyfield_data_path

            folder = Path(get_skyfield_data_path())
        self.bodies = load_file(str(folder / "de421.bsp"))
        self.timescale = load.timescale(builtin=True)
        self.earth = self.bodies["earth"]

    def times(self, utc_s: Iterable[float]) -> Any:
        epoch = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
        return self.timescale.from_datetimes([epoch + dt.timedelta(seconds=float(t)) for t in utc_s])

    def place(self, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Any:
        from skyfield.api import wgs84

        return self.earth + wgs84.latlon(latitude_deg, longitude_deg)

    def position(
        self, body: str, utc_s: Iterable[float], latitude_deg: ArrayLike, longitude_deg: ArrayLike
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Azimuth and true altitude, degrees."""
        seen = self.place(latitude_deg, longitude_deg).at(self.times(utc_s)).observe(self.bodies[body])
        altitude, azimuth, _ = seen.apparent().altaz()
        return azimuth.degrees, altitude.degrees

    def elongation(self, utc_s: Iterable[float]) -> NDArray[np.float64]:
        here = self.earth.at(self.times(utc_s))
        sun, moon = (here.observe(self.bodies[body]).apparent() for body in ("sun", "moon"))
        return sun.separation_from(moon).degrees

    def lit_fraction(self, utc_s: Iterable[float]) -> NDArray[np.float64]:
        from skyfield import almanac

        return almanac.fraction_illuminated(self.bodies, "moon", self.times(utc_s))

    def crossings(
        self,
        body: str,
        latitude_deg: float,
        longitude_deg: float,
        start_utc_s: float,
        end_utc_s: float,
        horizon_deg: float | None = None,
    ) -> list[list[float]]:
        """Risings and settings between two instants, POSIX seconds; the almanac's own horizon where None."""
        from skyfield import almanac

        start, end = self.times([start_utc_s, end_utc_s])
        found = []
        for search in (almanac.find_risings, almanac.find_settings):
            place = self.place(latitude_deg, longitude_deg)
            times, real = search(place, self.bodies[body], start, end, horizon_deg)
            found.append([t.utc_datetime().timestamp() for t in times[np.asarray(real, dtype=bool)]])
        return found

    def noons(self, longitude_deg: float, start_utc_s: float, end_utc_s: float) -> list[float]:
        from skyfield import almanac

        times = almanac.find_transits(
            self.place(0.0, longitude_deg), self.bodies["sun"], *self.times([start_utc_s, end_utc_s])
        )
        return [t.utc_datetime().timestamp() for t in times]
