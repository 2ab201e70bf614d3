"""Dates: on which evenings the sun goes down where."""

from __future__ import annotations

import csv
import datetime as dt
import io

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core import compute_frames
from planner_core.evening.dates import (
    COLUMNS,
    DatesTable,
    date_span,
    dates_csv,
    dates_table,
    dates_text,
    likely_kind,
)
from planner_core.evening.sunlight import subject_spot, sun_day
from planner_core.picture.projection import project_px
from planner_core.place.skyline import OPEN, skyline, skyline_at
from planner_core.plan.model import PlanError
from planner_core.rig.geometry import direction
from tests.places import box, place
from tests.present import present
from tests.two_towers import DOCUMENT, plan

YEAR = (dt.date(2027, 1, 1), dt.date(2027, 12, 31))
TOWERS = ("South silo", "North silo")


@pytest.fixture(scope="module")
def year() -> DatesTable:
    return dates_table(plan(), *YEAR, kinds=("set",))


@pytest.mark.once
def test_the_evenings_between_the_two_towers_are_found(year: DatesTable) -> None:
    between = [row.date for row in year.rows if (row.left, row.right) == TOWERS]
    # by hand: the gap reaches from 263.1° to 268.5°; the sun sets due west, 270°, within a day or two of the
    # equinoxes (20 March, 23 September 2027), and moves by about 0.51° a day there at 38.7°
    spring, autumn = ([d for d in between if (d.month < 7) is half] for half in (True, False))
    for half, equinox in ((spring, dt.date(2027, 3, 20)), (autumn, dt.date(2027, 9, 23))):
        assert 8 <= len(half) <= 20
        assert (half[-1] - half[0]).days == len(half) - 1
        assert min(abs((day - equinox).days) for day in half) <= 6


def test_the_text_answers_in_dates(year: DatesTable) -> None:
    text = dates_text(year)
    assert "goes down between “South silo” and “North silo”, behind “Far bank”" in text
    assert "March 2027" in text
    assert "nearest the middle" in text


def test_the_best_dates_have_the_sun_in_the_picture_between_two_blocks_while_the_clip_runs(
    year: DatesTable,
) -> None:
    for row in year.ranked[:10]:
        assert row.in_picture
        assert row.in_clip
        assert row.in_gap
        assert row.balanced
    assert sorted(row.rank for row in year.rows) == list(range(1, len(year.rows) + 1))


def test_the_plans_own_evening_agrees_with_its_frames() -> None:
    here = plan()
    frames = compute_frames(here)
    (row,) = dates_table(here, dt.date(2027, 3, 14), dt.date(2027, 3, 14), kinds=("set",)).rows
    assert row.level_utc_s == pytest.approx(frames.utc_s[0] + 0.5 * here.duration_s, abs=0.01)
    assert row.clip_start_utc_s == pytest.approx(frames.utc_s[0], abs=0.01)
    assert row.clip_end_utc_s == pytest.approx(frames.utc_s[-1], abs=0.01)
    assert row.frame is not None
    k = row.frame - 1
    assert frames.utc_s[k] == pytest.approx(row.skyline_utc_s, abs=here.shoot.interval_s)
    pixels, _ = project_px(
        here, frames.camera_m[k] + frames.sun_direction[k], frames.camera_m[k], frames.camera_rotation[k]
    )
    assert (
        np.hypot(*(pixels - (present(row.x_px), present(row.y_px)))) < 5.0
    )  # half an interval of the sun's way
    assert row.day_share == pytest.approx(0.5, abs=0.01)
    assert row.moon_end_altitude_deg == pytest.approx(frames.moon_altitude_deg[-1])
    assert row.moon_end_lit_fraction == pytest.approx(frames.moon_lit_fraction[-1])
    assert row.moon_end_lux == pytest.approx(frames.light.moon_lux[-1])


def test_the_sun_goes_behind_a_ridge_before_it_sets(year: DatesTable) -> None:
    row = next(row for row in year.rows if row.date == dt.date(2027, 3, 14))
    assert row.behind == "Far bank"
    # the bank stands 0.7° high there: 0.75° at 15° an hour along a path 51° steep takes 4 minutes
    assert row.level_utc_s is not None
    assert present(row.level_utc_s) - present(row.skyline_utc_s) == pytest.approx(4 * 60, abs=60)


def test_the_light_leaves_the_subject_when_the_review_says_so() -> None:
    shapes = (
        ("wall", "background", [0, 40, 10], [400, 2, 20]),
        ("statue", "subject", [0, 20, 1.5], [1, 1, 3]),
    )
    blocks = [
        {"name": name, "role": role, "shape": "box", "centre_m": centre, "size_m": size}
        for name, role, centre, size in shapes
    ]
    here = plan(site__scene_north_deg=270.0, blocks=blocks, composition=None)
    date = dt.date(2027, 3, 14)
    table = dates_table(here, date, date)
    spot, own = subject_spot(here)
    day = sun_day(here, present(spot), date, ignoring=own)
    rise, sets = table.rows
    # the skyline knows bearings to 0.02°, which the sun takes 5 s for; sun_day knows times to five seconds
    assert sets.subject_utc_s == pytest.approx(present(day.set_utc_s), abs=10.0)
    assert rise.subject_utc_s == pytest.approx(present(day.rise_utc_s), abs=10.0)
    assert sets.subject_behind == "wall"
    # its own height of sky is another than the camera's, which stands farther from the wall
    assert abs(present(sets.subject_utc_s) - present(sets.skyline_utc_s)) > 600.0
    assert "Direct light leaves the subject, “statue”" in dates_text(table)


def test_a_tower_in_the_way_hides_the_sun_and_says_so() -> None:
    wall = {
        "name": "Wall",
        "role": "background",
        "shape": "box",
        "centre_m": [0, 50, 20],
        "size_m": [200, 2, 40],
    }
    blocked = plan(blocks=[wall])
    (row,) = dates_table(blocked, dt.date(2027, 3, 14), dt.date(2027, 3, 14), kinds=("set",)).rows
    assert row.behind == "Wall"
    assert present(row.skyline_altitude_deg) > 20.0
    assert present(row.level_utc_s) - present(row.skyline_utc_s) > 3600.0
    assert (row.left, row.right) == ("", "")


def test_with_nothing_in_the_way_the_level_horizon_counts() -> None:
    (row,) = dates_table(plan(blocks=[]), dt.date(2027, 3, 14), dt.date(2027, 3, 14), kinds=("set",)).rows
    assert row.skyline_utc_s == row.level_utc_s
    assert row.behind == ""


@pytest.mark.once
def test_polar_days_have_no_sunset_and_no_crash() -> None:
    north = plan(
        site__latitude_deg=78.2,
        site__longitude_deg=15.6,
        site__timezone="Arctic/Longyearbyen",
        shoot__anchor=None,
        shoot__start="2027-06-21T23:00:00",
    )
    rows = dates_table(north, dt.date(2027, 6, 1), dt.date(2027, 6, 30)).rows
    assert len(rows) == 60
    assert all(row.level_utc_s is None for row in rows)
    assert "no sunset: 30 evenings" in dates_text(
        dates_table(north, dt.date(2027, 6, 1), dt.date(2027, 6, 30))
    )


def test_the_moon_is_searched_too() -> None:
    rows = dates_table(plan(), dt.date(2027, 3, 1), dt.date(2027, 3, 31), body="moon", kinds=("set",)).rows
    lit = [row for row in rows if row.level_utc_s is not None]
    assert 29 <= len(lit) <= 31
    # a clip by the sunset of the same date, not one moved to the moon
    frames = compute_frames(plan())
    same = next(row for row in rows if row.date == dt.date(2027, 3, 14))
    assert same.clip_start_utc_s == pytest.approx(frames.utc_s[0], abs=0.01)


def test_a_morning_plan_is_searched_in_the_morning() -> None:
    assert likely_kind(plan(shoot__anchor={"event": "civil_dawn", "date": "2027-03-14", "at": 0.5})) == "rise"
    assert likely_kind(plan(shoot__anchor=None, shoot__start="2027-03-14T06:00:00")) == "rise"
    assert likely_kind(plan()) == "set"
    # the other half of the day gets the mirrored anchor
    (row,) = dates_table(plan(), dt.date(2027, 3, 14), dt.date(2027, 3, 14), kinds=("rise",)).rows
    assert present(row.clip_start_utc_s) + 0.5 * plan().duration_s == pytest.approx(row.level_utc_s, abs=0.01)


def test_the_csv_has_every_row_in_full(year: DatesTable) -> None:
    rows = list(csv.DictReader(io.StringIO(dates_csv(year))))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == 365
    for row, cells in zip(year.rows, rows, strict=True):
        assert cells["date"] == row.date.isoformat()
        assert float(cells["skyline_bearing_deg"]) == row.skyline_bearing_deg
        assert (
            abs(dt.datetime.fromisoformat(cells["level_local"]).timestamp() - present(row.level_utc_s)) <= 0.5
        )


@pytest.mark.parametrize(
    ("first", "last", "named"),
    [
        ("2027-02-30", "2027-03-01", "from: '2027-02-30'"),
        ("2027-03-01", "soon", "to: 'soon'"),
        ("2027-03-02", "2027-03-01", "swap them"),
        ("2027-03-02", "2047-03-01", "ten years"),
    ],
)
def test_dates_that_make_no_span_are_refused(first: str, last: str, named: str) -> None:
    with pytest.raises(PlanError, match=named):
        date_span(first, last)


# ---------------------------------------------------------------- the skyline itself


def test_the_skyline_of_a_box_is_its_edges() -> None:
    box = {
        "name": "B",
        "role": "background",
        "shape": "box",
        "centre_m": [0, 100, 10],
        "size_m": [20, 20, 20],
    }
    here = plan(site__scene_north_deg=30.0, blocks=[box], rig__origin_m=[0, 0, 0])
    seen = skyline(here, np.zeros(3))
    # its front stands 90 m ahead (bearing 30°), 10 m to each side, 20 m high
    edge = np.degrees(np.arctan(10.0 / 90.0))
    assert seen.altitude_at(30.0) == pytest.approx(np.degrees(np.arctan(20.0 / 90.0)), abs=1e-6)
    assert seen.block_at([30.0 - edge + 0.03, 30.0 + edge - 0.03]).tolist() == [0, 0]
    assert seen.block_at([30.0 - edge - 0.03, 30.0 + edge + 0.03, 210.0]).tolist() == [OPEN, OPEN, OPEN]
    assert seen.altitude_at(210.0) == 0.0


def test_the_skyline_agrees_with_rays_cast_at_the_blocks() -> None:
    trimesh = pytest.importorskip("trimesh")
    from planner_core.place.blocking import block_mesh

    here = plan()
    eye = np.array([0.3, 0.0, 1.1])
    seen = skyline(here, eye)
    faces, points, count = [], [], 0
    for block in here.blocks:
        mesh = block_mesh(here, block)
        faces += [
            (f[0] + count, f[i] + count, f[i + 1] + count) for f in mesh.faces for i in range(1, len(f) - 1)
        ]
        points.append(mesh.vertices_m)
        count += len(mesh.vertices_m)
    solid = trimesh.Trimesh(np.vstack(points), faces, process=False)
    rng = np.random.default_rng(1)
    bearing = rng.uniform(232.0, 298.0, 300)
    height = seen.altitude_at(bearing)
    # the step nearest to a bearing is at most 0.01° away, which matters at the towers' sides
    steep = np.abs(seen.altitude_at(bearing + 0.02) - seen.altitude_at(bearing - 0.02)) > 0.05
    for above, expected in ((0.02, False), (-0.02, True)):
        rays = direction(bearing, height + above, here.site.scene_north_deg)
        hit = solid.ray.intersects_any(np.tile(eye, (300, 1)), rays)
        assert np.all(hit[~steep] == expected)


def test_the_document_has_the_gap_that_the_tests_speak_of() -> None:
    names = [block["name"] for block in DOCUMENT["blocks"]]
    assert names.index("South silo") == 0
    seen = skyline(plan(), compute_frames(plan()).camera_m[180])
    gap = [b for b in np.arange(258.0, 275.0, 0.02) if names[int(seen.block_at(b))] == "Far bank"]
    inside = [b for b in gap if 262.0 < b < 270.0]
    assert (min(inside), max(inside)) == pytest.approx((263.11, 268.55), abs=0.05)


@given(
    north_deg=st.floats(0.0, 360.0), x=st.floats(-40.0, 40.0), y=st.floats(-40.0, 40.0), seed=st.integers(0)
)
def test_the_skyline_at_a_few_bearings_is_that_of_the_whole_round(
    north_deg: float, x: float, y: float, seed: int
) -> None:
    blocks = [box(f"house {n}", 30.0 * (n - 2), 55.0 - 25.0 * n, (9.0, 7.0, 6.0 + 2 * n)) for n in range(5)]
    plan = place(*blocks)
    plan = attrs.evolve(plan, site=attrs.evolve(plan.site, scene_north_deg=north_deg))
    bearings = np.random.default_rng(seed).uniform(-360.0, 720.0, 40)
    whole = skyline(plan, (x, y, 1.0))
    altitude, block = skyline_at(plan, (x, y, 1.0), bearings)
    np.testing.assert_array_equal(altitude, whole.altitude_at(bearings))
    np.testing.assert_array_equal(block, whole.block_at(bearings))
