"""What a colleague says beside the picture: what moves by itself, lamps, wind, head, card and battery."""

from __future__ import annotations

import datetime as dt
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import Plan, PlanError, compute_frames
from planner_core.light import mains
from planner_core.picture import moving
from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.plan.model import Block, Exposure, Pose
from planner_core.review.assess import assess
from planner_core.review.findings import Finding
from tests.advice import advice
from tests.places import box, place

DAY = Exposure(f_number=8.0, iso_max=1600.0, shutter_max_s=4.0)


def findings(plan: Plan, code: str) -> list[Finding]:
    return [each for each in assess(plan, compute_frames(plan)).findings if each.code == code]


def flat(name: str, role: str, size_m: float, top_m: float = 0.0, *, y: float = 0.0) -> Block:
    return box(name, 0.0, y, (size_m, size_m, 1.0), role=role, base=top_m - 1.0)


def street(kind: str | None, **exposure: Any) -> Plan:
    """A street seen from a bridge, of which the field says what moves there."""
    road = attrs.evolve(flat("road", "ground", 400.0), moves=kind)
    plan = place(road, poses=(Pose(at=0.0, pan_deg=0.0, tilt_deg=-10.0),), slide=None, origin_m=(0, 0, 6.0))
    return attrs.evolve(plan, exposure=attrs.evolve(DAY, **exposure))


def at_night(plan: Plan, artificial_ev100: float | None, **exposure: Any) -> Plan:
    lit = attrs.evolve(plan.exposure or DAY, artificial_ev100=artificial_ev100, **exposure)
    shoot = attrs.evolve(plan.shoot, start=dt.datetime(2027, 6, 21, 23, 59))
    return attrs.evolve(plan, exposure=lit, shoot=shoot)


# ---------------------------------------------------------------- water, people, traffic


@pytest.mark.parametrize("kind", ["people", "traffic"])
def test_people_and_traffic_in_short_exposures_jump_from_frame_to_frame(kind: str) -> None:
    (found,) = findings(street(kind), "strobing")
    assert found.level == "note"
    assert found.fact("kind") == kind
    assert found.fact("jump") == pytest.approx({"people": 14.0, "traffic": 140.0}[kind])  # v × 10 s
    assert "from frame to frame" in found.message


def test_a_street_is_still_unless_the_plan_says_what_moves_on_it() -> None:
    assert not findings(street(None), "strobing")
    assert not findings(street("nothing"), "strobing")


def test_water_moves_unless_it_is_said_to_be_still() -> None:
    water = flat("lake", "water", 400.0)
    plan = attrs.evolve(place(water, poses=(Pose(at=0.0, tilt_deg=-10.0),), tilt=None), exposure=DAY)
    assert findings(plan, "strobing")
    still = attrs.evolve(plan, blocks=(attrs.evolve(water, moves="nothing"),))
    assert not findings(still, "strobing")


def test_the_nd_that_is_named_lets_traffic_flow_by_day() -> None:
    (found,) = findings(street("traffic"), "strobing")
    assert f"{found.fact('filter')} stops of ND" in found.fix
    flowing = street("traffic", nd_stops=float(found.fact("filter")))
    assert not findings(flowing, "strobing")
    shutter = compute_frames(flowing).ramp
    assert shutter is not None
    assert float(shutter.shutter_s.min()) >= 0.2 * flowing.shoot.interval_s  # a fifth: common practice


def test_traffic_at_night_draws_trails_and_the_gaps_between_them_are_said() -> None:
    (found,) = findings(at_night(street("traffic"), 2.0), "smearing")
    assert found.value == pytest.approx(14.0 * 4.0)  # 14 m/s in 4 s
    assert found.fact("gap") == pytest.approx(0.6)  # of every 10 s
    assert "trails" in found.message
    assert "60 %" in found.fix


def test_what_moves_behind_a_wall_is_not_spoken_of() -> None:
    road = attrs.evolve(flat("road", "ground", 20.0, y=60.0), moves="traffic")
    wall = box("wall", 0.0, 10.0, (60.0, 1.0, 30.0))
    plan = attrs.evolve(place(road, wall), exposure=DAY)
    assert moving.movers(compute_frames(plan).view) == ()


# ---------------------------------------------------------------- lamps


# IEC, World plugs, from memory
@pytest.mark.parametrize(
    ("zone", "latitude", "longitude", "hz"),
    [
        ("Europe/Berlin", 52.5, 13.4, 50.0),
        ("America/New_York", 40.7, -74.0, 60.0),
        ("America/Argentina/Buenos_Aires", -34.6, -58.4, 50.0),
        ("America/Sao_Paulo", -23.5, -46.6, 60.0),
        ("Asia/Tokyo", 35.7, 139.7, 50.0),
        ("Asia/Tokyo", 34.7, 135.5, 60.0),
        ("Asia/Seoul", 37.6, 127.0, 60.0),
        ("Australia/Sydney", -33.9, 151.2, 50.0),
        ("Pacific/Honolulu", 21.3, -157.9, 60.0),
        ("UTC", 40.7, -74.0, 60.0),
    ],
)
def test_the_mains_frequency_is_that_of_the_country(
    zone: str, latitude: float, longitude: float, hz: float
) -> None:
    plan = street(None)
    site = attrs.evolve(plan.site, timezone=zone, latitude_deg=latitude, longitude_deg=longitude)
    assert mains.mains_hz(attrs.evolve(plan, site=site)) == hz


@pytest.mark.parametrize(("hz", "even_s"), [(50.0, 0.01), (50.0, 0.02), (60.0, 1.0 / 120.0), (60.0, 0.05)])
def test_an_exposure_of_whole_pulses_takes_a_lamp_in_evenly(hz: float, even_s: float) -> None:
    assert mains.ripple(even_s, hz) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("shutter_s", [1 / 500, 1 / 80, 1 / 33])
def test_the_ripple_is_what_averaging_a_pulsing_lamp_leaves(shutter_s: float) -> None:
    begin = np.linspace(0.0, 0.01, 401)[:, None]
    within = np.linspace(0.0, shutter_s, 4001)[None, :]
    light = 1.0 + np.cos(2.0 * np.pi * 100.0 * (begin + within))
    taken = np.trapezoid(light, dx=1.0 / 4000, axis=1) if hasattr(np, "trapezoid") else light.mean(axis=1)
    assert mains.ripple(shutter_s, 50.0) == pytest.approx(float(np.ptp(taken)) / 2.0, abs=2e-3)


def test_short_exposures_under_street_lamps_flicker_and_longer_ones_help() -> None:
    # EV 8 at f/2 and ISO 100: 1/64 s, where lamps on 50 Hz vary by half of |sinc(1.56)| = 0.20 to both sides
    plan = at_night(street(None), 8.0, f_number=2.0)
    found = advice(plan, "mains-flicker")
    assert found.level == "note"
    assert found.fact("hz") == 50.0
    assert found.value == pytest.approx(np.log2(1.1 / 0.9), abs=0.05)
    assert {"exposure.f_number"} in [set(remedy.changes) for remedy in found.remedies]


def test_lamps_that_do_not_flicker_and_long_exposures_are_not_spoken_of() -> None:
    assert not findings(at_night(street(None), 8.0, f_number=2.0, mains_hz=0.0), "mains-flicker")
    assert not findings(at_night(street(None), 2.0), "mains-flicker")


def test_a_frequency_that_no_mains_has_is_refused() -> None:
    with pytest.raises(PlanError, match=r"mains_hz: 100 is not a mains frequency; give 50, 60, or 0"):
        street(None, mains_hz=100.0)


# ---------------------------------------------------------------- head, wind, card, battery


def test_a_sloping_rail_asks_for_a_level_head_and_says_how_the_horizon_would_lean() -> None:
    plan = place()  # looks north, with the rail to the east: straight across it
    assert not findings(plan, "head-level")
    rising = attrs.evolve(plan, rig=attrs.evolve(plan.rig, incline_deg=6.0))
    (found,) = findings(rising, "head-level")
    assert found.fact("lean") == pytest.approx(6.0, abs=1e-6)
    assert found.fact("nod") == pytest.approx(0.0, abs=1e-6)
    along = attrs.evolve(rising, rig=attrs.evolve(rising.rig, bearing_deg=0.0))
    (found,) = findings(along, "head-level")
    assert (found.fact("lean"), found.fact("nod")) == (pytest.approx(0.0, abs=1e-6), pytest.approx(6.0))


@pytest.mark.parametrize(("focal_length_mm", "shakes"), [(85.0, False), (200.0, True)])
def test_a_breeze_shakes_a_long_lens_in_long_exposures(focal_length_mm: float, shakes: bool) -> None:
    plan = attrs.evolve(place(focal_length_mm=focal_length_mm), exposure=DAY)
    assert not findings(plan, "wind-shake")  # by day it is frozen
    assert bool(findings(at_night(plan, 0.0), "wind-shake")) is shakes


def test_a_card_that_is_too_small_stops_the_plan_at_the_frame_where_it_is_full() -> None:
    plan = place(frames=100)
    camera = attrs.evolve(plan.camera, raw_file_mb=50.0, card_gb=4.0)
    found = advice(attrs.evolve(plan, camera=camera), "card-space")
    assert (found.level, found.frames, found.fact("full_after")) == ("stop", (81, 100), 80)  # 4000 / 50
    fewer = found.remedies[0].changes
    assert fewer["shoot.frames"] <= 80
    assert fewer["shoot.interval_s"] * (fewer["shoot.frames"] - 1) == pytest.approx(990.0, abs=13.0)
    large = attrs.evolve(plan, camera=attrs.evolve(camera, card_gb=64.0))
    assert [each.level for each in findings(large, "card-space")] == ["note"]


def test_a_battery_that_lasts_for_fewer_frames_is_said_with_when_it_is_empty() -> None:
    plan = place(frames=100)
    short = attrs.evolve(plan, camera=attrs.evolve(plan.camera, battery_frames=40))
    (found,) = findings(short, "battery-short")
    assert found.frames == (41, 100)
    assert found.fact("empty_time") == "17:06"  # frame 40, 390 s after 17:00
    enough = attrs.evolve(plan, camera=attrs.evolve(plan.camera, battery_frames=100))
    assert not findings(enough, "battery-short")


def test_the_new_fields_stay_out_of_a_file_that_does_not_give_them_and_come_back_from_one_that_does() -> None:
    plain = street(None)
    written = str(plan_to_dict(plain))
    assert not any(name in written for name in ("card_gb", "battery_frames", "mains_hz", "moves"))
    full = attrs.evolve(
        street("people", mains_hz=60.0),
        camera=attrs.evolve(plain.camera, card_gb=128.0, battery_frames=700),
    )
    assert plan_from_dict(plan_to_dict(full)) == full
    document = plan_to_dict(full)
    document["blocks"][0]["moves"] = "pepole"
    with pytest.raises(
        PlanError, match=r"blocks\[0\].moves: 'pepole' is not known; use one of: water, people"
    ):
        plan_from_dict(document)


# ---------------------------------------------------------------- where the place ends


def ridge(first_deg: float, last_deg: float, altitude_deg: float = 5.0) -> Block:
    skyline = tuple((float(b), altitude_deg) for b in np.arange(first_deg, last_deg + 0.1, 5.0))
    return Block(name="range", role="background", shape="ridge", distance_m=2000.0, skyline_deg=skyline)


def test_a_skyline_that_ends_in_the_picture_is_told_with_the_end_and_one_that_leaves_it_is_not() -> None:
    # 24 mm sees 36.9° to each side
    (found,) = findings(place(ridge(-60.0, 20.0)), "skyline-ends")
    assert (found.fact("side"), found.fact("bearing")) == ("right", pytest.approx(20.0, abs=0.1))
    assert not findings(place(ridge(-60.0, 60.0)), "skyline-ends")


def test_a_skyline_that_sinks_to_the_horizon_or_goes_on_in_another_may_end_in_the_picture() -> None:
    sinking = attrs.evolve(ridge(-60.0, 20.0), skyline_deg=((-60.0, 5.0), (0.0, 5.0), (20.0, 0.0)))
    assert not findings(place(sinking), "skyline-ends")
    assert not findings(place(ridge(-60.0, 20.0), ridge(20.0, 60.0)), "skyline-ends")


def test_a_lake_that_ends_before_the_horizon_is_told_unless_a_shore_lies_beyond() -> None:
    lake = flat("lake", "water", 60.0)
    (found,) = findings(place(lake, origin_m=(0.0, 0.0, 10.0)), "ground-ends")
    assert found.blocks == ("lake",)
    assert found.fact("distance") == pytest.approx(31.6, abs=4.0)  # hypot(30, 10)
    shore = box("shore", 0.0, 530.0, (4000.0, 1000.0, 3.0), role="ground", base=-1.0)
    assert not findings(place(lake, shore, origin_m=(0.0, 0.0, 10.0)), "ground-ends")
    assert not findings(place(flat("sea", "water", 40_000.0)), "ground-ends")
