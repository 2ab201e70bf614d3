"""Sun and moon beside a block, against DE421 through skyfield, and how moons are ranked."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from planner_core.evening.beside import BESIDE_DEG, beside_block, block_top
from planner_core.evening.dates import dates_table, moon_merit
from planner_core.plan.model import Plan, PlanError
from planner_core.time import ephemeris
from tests.de421 import Ephemeris421
from tests.places import box, place


def tower() -> Plan:
    """A tower 10 m wide and 40 m high, 300 m west-south-west of the camera, which looks north."""
    return place(box("tower", -282.0, -103.0, (10.0, 10.0, 40.0), role="subject"))


@pytest.mark.once
@pytest.mark.parametrize(("body", "above_deg"), [("sun", 0.0), ("sun", 2.0), ("moon", 0.0), ("moon", 1.0)])
def test_no_evening_beside_the_tower_is_missed_and_none_is_made_up(
    body: str, above_deg: float, de421: Ephemeris421
) -> None:
    plan, first, last = tower(), dt.date(2027, 2, 8), dt.date(2027, 3, 9)
    top, found = beside_block(plan, first, last, "tower", body=body, above_deg=above_deg)
    assert top.bearing_deg == pytest.approx(np.degrees(np.arctan2(-282.0, -103.0)) % 360.0, abs=0.5)
    # from 1.5 m above the ground, to the tower's nearer upper edge: any handbook of trigonometry
    assert top.altitude_deg == pytest.approx(np.degrees(np.arctan2(38.5, 300.0)), abs=0.3)
    start = dt.datetime(2027, 2, 8, tzinfo=plan.zone).timestamp()
    utc_s = start + np.arange(0.0, 30 * 86400.0, 150.0)
    azimuth, true = de421.position(body, utc_s, plan.site.latitude_deg, plan.site.longitude_deg)
    altitude = ephemeris.apparent_altitude_deg(true)
    aside = np.abs((azimuth - top.bearing_deg + 180.0) % 360.0 - 180.0) - top.width_deg / 2.0
    off = np.hypot(
        np.maximum(aside, 0.0) * np.cos(np.radians(altitude)), altitude - top.altitude_deg - above_deg
    )
    there = {dt.datetime.fromtimestamp(t, plan.zone).date() for t in utc_s[off < BESIDE_DEG - 0.1]}
    # the sky turns by 0.6° between two of these instants
    maybe = {dt.datetime.fromtimestamp(t, plan.zone).date() for t in utc_s[off < BESIDE_DEG + 0.7]}
    dates = {each.date for each in found}
    assert there <= dates <= maybe
    assert dates
    assert sorted(each.rank for each in found) == list(range(1, len(found) + 1))


def test_a_block_that_isn_t_there_is_named_with_the_nearest() -> None:
    with pytest.raises(PlanError, match="beside: 'towr' is not a block of this plan; did you mean tower"):
        block_top(tower(), "towr")
    with pytest.raises(PlanError, match="above: 90"):
        beside_block(tower(), dt.date(2027, 1, 1), dt.date(2027, 1, 2), "tower", above_deg=90.0)


def test_a_full_moon_at_dusk_ranks_before_a_thin_one_at_noon() -> None:
    # common practice, no source
    assert moon_merit(0.99, -3.0) < moon_merit(0.99, 15.0) < moon_merit(0.05, 50.0)
    plan = place(poses=tower().move.poses)
    rows = dates_table(plan, dt.date(2027, 1, 1), dt.date(2027, 1, 31), body="moon", kinds=("rise",)).ranked
    alike = [row for row in rows if not row.in_picture and row.lit_fraction is not None]
    assert alike[0].lit_fraction is not None
    assert alike[0].lit_fraction > 0.97
    assert abs(alike[0].sun_altitude_deg or 90.0) < 10.0
    assert (alike[-1].lit_fraction or 1.0) < 0.5
