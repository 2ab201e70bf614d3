"""The sky model's table can be made again from published physics."""

from __future__ import annotations

import numpy as np
import pytest

from tools import make_sky_table

pytestmark = pytest.mark.once

# day, low sun, sunset, civil and nautical twilight
ALTITUDES_DEG = (30, 6, 0, -4, -10)
TINT_WITHIN, STOPS_RMS, STOPS_AT_MOST = 0.12, 0.17, 0.45  # as the script's docstring states


@pytest.fixture(scope="module")
def rows() -> list[make_sky_table.Row]:
    return make_sky_table.made_rows(ALTITUDES_DEG)


def test_the_sky_in_use_is_the_computed_one_within_the_stated_stops(rows: list[make_sky_table.Row]) -> None:
    for row in rows:
        off = make_sky_table.off_stops(row, make_sky_table.kept_row(row.sun_altitude_deg))
        assert make_sky_table.rms(off) <= STOPS_RMS, row.sun_altitude_deg
        assert np.abs(off).max() <= STOPS_AT_MOST, row.sun_altitude_deg


def test_the_colour_in_use_is_the_computed_one(rows: list[make_sky_table.Row]) -> None:
    for row in rows:
        kept = make_sky_table.kept_row(row.sun_altitude_deg)
        assert row.tint == pytest.approx(kept.tint, abs=TINT_WITHIN), row.sun_altitude_deg


def test_ozone_makes_twilight_blue() -> None:
    # Hulburt, Journal of the Optical Society of America 43 (1953): without ozone the zenith would be
    # yellowish after sunset
    columns, over = make_sky_table.columns_to_space(), make_sky_table.dome(8, 6)
    with_ozone = make_sky_table.clear_air()
    without = make_sky_table.Air(extinction=with_ozone.extinction * np.array([1.0, 1.0, 0.0])[:, None])
    zeniths = []
    # no light from the second scattering on, to see what the first does alone
    echo = make_sky_table.Echo(
        heights_km=np.array([0.0, make_sky_table.TOP_KM]),
        rises=np.array([-1.0, 1.0]),
        radiance=np.zeros((2, 2, len(make_sky_table.WAVELENGTHS_NM))),
    )
    for air in (with_ozone, without):
        zeniths.append(make_sky_table.sky_rgb(air, columns, echo, -6.0, over)[-1].mean(axis=0))
    blue, yellowish = (zenith[2] / zenith[0] for zenith in zeniths)
    assert blue > 2.0 * yellowish


def test_the_zenith_of_the_clear_air_has_the_depth_of_the_suns_beam() -> None:
    air, columns = make_sky_table.clear_air(), make_sky_table.columns_to_space()
    straight_up = make_sky_table.sunlight(air, columns, np.array(0.0), np.array(1.0))
    haze = make_sky_table.colour.CLEAR_AIR_HAZE * (make_sky_table.WAVELENGTHS_NM / 1000.0) ** -1.3
    ozone = np.interp(make_sky_table.WAVELENGTHS_NM, make_sky_table.OZONE_NM, make_sky_table.OZONE_CM2)
    depth = (
        make_sky_table.colour.rayleigh_depth(make_sky_table.WAVELENGTHS_NM) + haze + ozone * 2.687e16 * 300
    )
    assert -np.log(straight_up) == pytest.approx(depth, rel=2e-3)
