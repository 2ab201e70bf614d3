"""Colours agree with colour-science and with the sources named."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core.light import colour

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns of optional packages that are missing
    science = pytest.importorskip("colour")

ALTITUDES = np.array([1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 90.0])


@pytest.fixture(scope="module")
def observer() -> NDArray[np.float64]:
    """The CIE 1931 observer as colour-science tabulates it."""
    matching = science.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    return matching.align(science.SpectralShape(380, 780, 5)).values


@pytest.fixture(scope="module")
def sun_xyz(observer: NDArray[np.float64]) -> NDArray[np.float64]:
    """The sun's beam through air and haze, by the observer's own table."""
    depth = colour.rayleigh_depth(colour.WAVELENGTHS_NM) + 0.05 * (colour.WAVELENGTHS_NM / 1000) ** -1.3
    sun = science.sd_blackbody(5772, science.SpectralShape(380, 780, 5)).values
    return (sun * np.exp(-colour.air_mass(ALTITUDES)[:, None] * depth)) @ observer


def test_daylight_locus_is_cie_15() -> None:
    # CIE 15:2004 as colour-science's CCT_to_xy_CIE_D has it
    temperatures = np.array([4000.0, 5000.0, 5503.0, 6504.0, 7000.0, 7001.0, 10000.0, 25000.0])
    theirs = science.temperature.CCT_to_xy_CIE_D(temperatures)
    assert colour.daylight_xy(temperatures) == pytest.approx(theirs, abs=1e-6)


def test_air_mass_is_kasten_and_youngs() -> None:
    # Kasten and Young, Applied Optics 28 (1989), table II: 38 at the horizon, 5.6 at 10°, 1 at the zenith
    assert colour.air_mass([0.0, 10.0, 30.0, 90.0]) == pytest.approx([37.92, 5.58, 1.99, 1.0], abs=0.02)


def test_rayleigh_depth_is_hansen_and_travis() -> None:
    # Bucholtz, Applied Optics 34 (1995): 0.0973 at 550 nm (value from memory)
    assert colour.rayleigh_depth(550.0) == pytest.approx(0.0973, abs=0.0007)
    assert colour.rayleigh_depth(400.0) / colour.rayleigh_depth(700.0) == pytest.approx(
        (7 / 4) ** 4, rel=0.06
    )


def test_suns_chromaticity_follows_the_tabulated_observer(sun_xyz: NDArray[np.float64]) -> None:
    # colour-science's CIE 1931 tables; ours are the bells of Wyman, Sloan and Shirley (2013)
    theirs = science.XYZ_to_xy(sun_xyz)
    assert colour.sun_xy(ALTITUDES) == pytest.approx(theirs, abs=0.004)


def test_tints_are_linear_srgb_of_luminance_one() -> None:
    # IEC 61966-2-1 as colour-science has it
    xy = colour.daylight_xy(np.array([5000.0, 6504.0, 12000.0]))
    xyz = science.xy_to_XYZ(xy)
    theirs = science.XYZ_to_sRGB(xyz, apply_cctf_encoding=False)
    assert colour.tint_from_xy(xy) == pytest.approx(theirs, abs=0.003)
