"""The tide between its waters, what it lifts, and what it does to rig, path and foreground."""

from __future__ import annotations

import datetime as dt
import itertools
import zoneinfo
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import FrameTable, Plan, PlanError, compute_frames
from planner_core.frames import frames_csv
from planner_core.picture import metering
from planner_core.picture.block_projection import BlockProjection
from planner_core.picture.projection import project_px
from planner_core.place import blocking
from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.review.findings import Finding
from planner_core.review.tide import review_tide
from planner_core.time.tide import tide_height_m
from tests.present import present
from tests.two_towers import document

TWELFTHS = (0, 1, 3, 6, 9, 11, 12)
# an invented table for the evening of the two towers: sunset is at 18:44
WATERS = [
    {"time": "2027-03-14T13:10:00", "height_m": 0.6},
    {"time": "2027-03-14T19:25:00", "height_m": 3.4},
    {"time": "2027-03-15T01:40:00", "height_m": 0.8},
]


def seaside(*, zero_m: float = 5.0, waters: Any = WATERS, path_m: float | None = None, **site: Any) -> Plan:
    """The two towers by the sea, on ground at height 0; zero_m is how high that is above the table's zero."""
    given = document(shoot__frames=40, shoot__interval_s=120.0, exposure=None)
    given["site"] |= {"tides": waters, "scene_zero_above_chart_m": zero_m, **site}
    given["blocks"][-1] |= {"tidal": True, "centre_m": [0, 150, -6.0]}
    given["blocks"].append(
        {"name": "quay", "role": "ground", "shape": "box", "centre_m": [0, 0, -5], "size_m": [40, 16, 10]}
    )
    if path_m is not None:
        way = {"name": "causeway", "role": "ground", "shape": "box", "floods_at_m": path_m}
        given["blocks"].append(way | {"centre_m": [-60, 0, -3], "size_m": [60, 4, 1]})
    return plan_from_dict(given)


def found(plan: Plan, code: str) -> list[Finding]:
    return [finding for finding in review_tide(plan, compute_frames(plan)) if finding.code == code]


# ---------------------------------------------------------------- the height


def test_half_a_cosine_is_within_two_percent_of_the_rule_of_twelfths() -> None:
    # the rule of twelfths, any handbook of seamanship: 1, 3, 6, 9, 11 and 12 twelfths of the range
    hours = np.linspace(0.0, 6.0, 7) * 3600.0
    heights = tide_height_m(hours, [0.0, 6.0 * 3600.0], [1.2, 6.2])
    assert heights == pytest.approx(1.2 + 5.0 * np.array(TWELFTHS) / 12.0, abs=0.02 * 5.0)


def test_before_the_first_water_and_after_the_last_the_height_stays() -> None:
    assert tide_height_m([-50.0, 250.0], [0.0, 100.0, 200.0], [1.0, 4.0, 2.0]).tolist() == [1.0, 2.0]


def test_heights_at_every_frame_across_two_tides_and_a_clock_change() -> None:
    # 2027-03-28 01:00 UTC: the clocks of Lisbon go from 1:00 to 2:00, so 0:30 and 6:45 are 5 h 15 min apart
    waters = [
        {"time": "2027-03-27T18:10:00", "height_m": 3.1},
        {"time": "2027-03-28T00:30:00", "height_m": 0.7},
        {"time": "2027-03-28T06:45:00", "height_m": 3.3},
    ]
    given = document(shoot__anchor=None, shoot__start="2027-03-27T20:00:00", exposure=None)
    given["shoot"] |= {"frames": 58, "interval_s": 600.0}
    given["site"] |= {"tides": waters, "scene_zero_above_chart_m": 2.0}
    plan = plan_from_dict(given)
    frames = compute_frames(plan)
    zone = zoneinfo.ZoneInfo("Europe/Lisbon")
    times = [dt.datetime.fromisoformat(str(w["time"])).replace(tzinfo=zone).timestamp() for w in waters]
    assert times[2] - times[1] == 5.25 * 3600.0
    for utc_s, height in zip(frames.utc_s, frames.water_m if frames.water_m is not None else [], strict=True):
        k = 0 if utc_s < times[1] else 1
        way = (utc_s - times[k]) / (times[k + 1] - times[k])
        low, high = float(str(waters[k]["height_m"])), float(str(waters[k + 1]["height_m"]))
        # half a cosine from one water to the next
        assert height == pytest.approx((low + high) / 2.0 + (low - high) / 2.0 * np.cos(np.pi * way) - 2.0)
    # the rule of twelfths, any handbook of seamanship: within 2 % of the range after each sixth
    sixths = np.concatenate([np.linspace(a, b, 7) for a, b in itertools.pairwise(times)])
    pairs = itertools.pairwise(float(str(w["height_m"])) for w in waters)
    by_rule = np.concatenate([a + (b - a) * np.array(TWELFTHS) / 12.0 for a, b in pairs]) - 2.0
    assert frames.water_m is not None
    assert np.interp(sixths[1:], frames.utc_s, frames.water_m)[10:] == pytest.approx(
        by_rule[11:], abs=0.02 * 2.6
    )


def test_the_table_s_column_is_empty_without_tides_and_counts_from_the_table_s_zero() -> None:
    plan = seaside()
    header, first = frames_csv(compute_frames(plan)).splitlines()[:2]
    assert header.split(",")[-1] == "tide_m"
    frames = compute_frames(plan)
    assert frames.water_m is not None
    assert float(first.split(",")[-1]) == pytest.approx(float(frames.water_m[0]) + 5.0)
    dry = compute_frames(attrs.evolve(plan, site=attrs.evolve(plan.site, tides=())))
    assert frames_csv(dry).splitlines()[1].endswith(",")


# ---------------------------------------------------------------- the plan


def test_a_plan_with_tides_survives_its_file_and_one_without_says_nothing_of_them() -> None:
    plan = seaside(path_m=2.0)
    assert plan_from_dict(plan_to_dict(plan)) == plan
    assert "tides" not in plan_to_dict(plan_from_dict(document()))["site"]


@pytest.mark.parametrize(
    ("waters", "path"),
    [
        (WATERS[:1], "site.tides"),
        ([WATERS[1], WATERS[0]], "site.tides[1].time"),
        ([WATERS[0], WATERS[1] | {"height_m": 0.7}, WATERS[2]], "site.tides[1].height_m"),
        ([WATERS[0] | {"height_m": 340.0}, WATERS[1]], "site.tides[0].height_m"),
        ([WATERS[0] | {"time": "2027-03-28T01:30:00"}, WATERS[1]], "site.tides[0].time"),
        ([WATERS[0] | {"heigth_m": 3.0}, WATERS[1]], "site.tides[0].heigth_m"),
    ],
)
def test_a_wrong_table_is_refused_by_its_field(waters: Any, path: str) -> None:
    with pytest.raises(PlanError) as problem:
        seaside(waters=waters)
    assert problem.value.path == path
    assert "\n" not in str(problem.value)


def test_only_water_is_tidal() -> None:
    given = document()
    given["blocks"][0]["tidal"] = True
    with pytest.raises(PlanError, match=r"blocks\[0\].tidal: true is for blocks of the role water"):
        plan_from_dict(given)


# ---------------------------------------------------------------- what it lifts


@pytest.fixture(scope="module")
def rising() -> FrameTable:
    return compute_frames(seaside())


def basin_at(plan: Plan, height_m: float) -> Plan:
    """The same place with still water of that height; a puddle behind the camera keeps the level ground as
    low as the lowest water has it.
    """
    blocks = [
        attrs.evolve(b, tidal=False, centre_m=(0.0, 150.0, height_m - 0.5)) if b.tidal else b
        for b in plan.blocks
    ]
    puddle = attrs.evolve(
        next(b for b in plan.blocks if b.tidal),
        name="puddle",
        tidal=False,
        centre_m=(0.0, -900.0, blocking.ground_level_m(plan) - 0.05),
        size_m=(0.1, 0.1, 0.1),
    )
    return attrs.evolve(plan, blocks=(*blocks, puddle), site=attrs.evolve(plan.site, tides=()))


def test_a_frame_shows_what_still_water_of_its_height_would_show(rising: FrameTable) -> None:
    plan, basin = rising.plan, 5
    moving = rising.view.visibility
    assert rising.water_m is not None
    for frame in (0, 17, 39):
        still = compute_frames(basin_at(plan, float(rising.water_m[frame])))
        other = BlockProjection(still.plan, still)
        for name in ("left", "top", "right", "distance_m"):
            here, there = getattr(moving, name)[frame, basin], getattr(other, name)[frame, basin]
            assert here == pytest.approx(there, rel=1e-9), name
        assert moving.visible([basin], every_frame=True).fraction[frame] == pytest.approx(
            still.view.visibility.visible([basin], every_frame=True).fraction[frame], rel=1e-9
        )


def test_the_meter_reads_what_still_water_of_its_height_would_give(monkeypatch: pytest.MonkeyPatch) -> None:
    # but for what land and water send up to walls: that is the mean of all pictures, and here the same
    monkeypatch.setattr(metering._Reading, "_albedo_below", lambda _reading: 0.1)
    rising = compute_frames(seaside())
    assert rising.water_m is not None
    for frame in (0, 39):
        still = compute_frames(basin_at(rising.plan, float(rising.water_m[frame])))
        here = np.flatnonzero(rising.readings.grid.at == frame)[0]
        assert rising.readings.grid.luminance_cd_m2[here] == pytest.approx(
            still.readings.grid.luminance_cd_m2[here], rel=1e-9
        )


def test_points_of_the_water_rise_in_the_picture_with_it(rising: FrameTable) -> None:
    # the water as the subject is watched; where its points are is what project_px says of the risen points
    plan = attrs.evolve(
        rising.plan, composition=attrs.evolve(present(rising.plan.composition), subject="Basin")
    )
    frames = compute_frames(plan)
    assert frames.water_m is not None
    motion = frames.view.motion
    mine = np.flatnonzero(motion.watched.block == 5)
    assert len(mine)
    still_m = float(blocking.water_top_m(plan.blocks[5]))
    for frame in (0, 17, 39):
        risen = motion.watched.points_m[mine] + [0.0, 0.0, frames.water_m[frame] - still_m]
        xy, _ = project_px(plan, risen, frames.camera_m[frame], frames.camera_rotation[frame])
        np.testing.assert_allclose(motion.paths.x_px[frame, mine], xy[:, 0], atol=1e-6)
        np.testing.assert_allclose(motion.paths.y_px[frame, mine], xy[:, 1], atol=1e-6)


def test_the_level_ground_never_covers_the_lowest_water(rising: FrameTable) -> None:
    assert blocking.ground_level_m(rising.plan) <= 0.6 - 5.0


# ---------------------------------------------------------------- findings


def test_high_water_as_high_as_the_quay_stops_the_plan() -> None:
    stop = found(seaside(zero_m=3.5), "water-reaches")
    assert [finding.level for finding in stop] == ["stop"]
    assert stop[0].value == pytest.approx(0.1, abs=1e-3)  # looked at once a minute
    assert stop[0].fact("highest_time") == "19:25"
    assert not found(seaside(zero_m=5.0), "water-reaches")


@pytest.mark.parametrize(("zero_m", "reaches"), [(4.199, True), (4.201, False)])
def test_swell_and_margin_are_the_edge_between(zero_m: float, reaches: bool) -> None:
    # high water 3.4 m, swell 0.5 m, margin 0.3 m: the quay has to lie 4.2 m above the table's zero
    assert bool(found(seaside(zero_m=zero_m, swell_m=0.5, water_margin_m=0.3), "water-reaches")) is reaches


@pytest.mark.parametrize(("path_m", "levels"), [(3.5, []), (3.39, ["stop"]), (1.0, ["stop"])])
def test_a_path_that_floods_cuts_off_the_way_back(path_m: float, levels: list[str]) -> None:
    ways = found(seaside(path_m=path_m), "way-cut-off")
    assert [finding.level for finding in ways] == levels
    assert all(finding.blocks == ("causeway",) for finding in ways)


def test_a_path_that_is_free_again_before_the_end_is_only_a_warning() -> None:
    falling = [
        {"time": "2027-03-14T11:40:00", "height_m": 0.6},
        {"time": "2027-03-14T17:30:00", "height_m": 3.4},
        {"time": "2027-03-14T23:50:00", "height_m": 0.8},
    ]
    assert [f.level for f in found(seaside(path_m=3.3, waters=falling), "way-cut-off")] == ["warn"]


def with_stone(top_m: float, foot_m: float) -> Plan:
    plan = seaside()
    stone = attrs.evolve(
        plan.blocks[2],
        name="stone",
        shape="box",
        centre_m=(0.0, 14.0, (top_m + foot_m) / 2.0),
        size_m=(1.0, 1.0, top_m - foot_m),
    )
    return attrs.evolve(plan, blocks=(*plan.blocks, stone))


def test_a_stone_that_goes_under_is_no_foreground_any_more() -> None:
    # high water 3.4 m by the table is −1.6 m in the scene
    assert [f.blocks for f in found(with_stone(-1.7, -4.0), "foreground-drowned")] == [("stone",)]
    assert not found(with_stone(-1.5, -4.0), "foreground-drowned")


def test_a_stone_that_the_water_leaves_is_named() -> None:
    frames = compute_frames(seaside())
    assert frames.water_m is not None
    low = float(frames.water_m.min())
    assert found(with_stone(1.0, low + 0.05), "foreground-dry")
    assert not found(with_stone(1.0, low - 0.05), "foreground-dry")


def test_a_table_that_ends_too_early_and_a_missing_one_are_said() -> None:
    assert found(seaside(waters=[WATERS[0], WATERS[1] | {"time": "2027-03-14T19:05:00"}]), "tide-unknown")
    assert not found(seaside(), "tide-unknown")
    assert found(seaside(waters=[]), "tide-unknown")
