"""The outside sources that several of these tests compare with."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.de421 import Ephemeris421


@pytest.fixture(scope="session")
def de421() -> Ephemeris421:
    return Ephemeris421()


@pytest.fixture(scope="session")
def anywhere() -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """500 places even over the globe and instants from 1950 to 2050, the same every time: lat, lon, utc_s."""
    random = np.random.default_rng(20270314)
    start, end = (dt.datetime(year, 1, 1, tzinfo=dt.UTC).timestamp() for year in (1950, 2050))
    latitude = np.degrees(np.arcsin(random.uniform(-1, 1, 500)))
    return latitude, random.uniform(-180, 180, 500), random.uniform(start, end, 500)
