"""What the review says about light: each finding earned, and gone once its own advice is followed."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import compute_frames, review
from planner_core.fit.light import fit_balance, fit_clip
from planner_core.frames import frames_csv
from planner_core.light.exposure import settings_ev100
from planner_core.plan.changes import changed
from planner_core.plan.model import Plan
from planner_core.review.findings import Finding, remedy_text
from planner_core.review.lens import nearest_depths_m
from planner_core.review.light import review_topic
from planner_core.review.summary import plain
from tests.advice import advice, offered
from tests.present import present
from tests.two_towers import plan


def findings(given: Plan, code: str) -> list[Finding]:
    return [finding for finding in review_topic(given, compute_frames(given))[0] if finding.code == code]


def one(given: Plan, code: str) -> Finding:
    found = findings(given, code)
    assert len(found) == 1
    return found[0]


def numbers(given: Plan) -> dict[str, Any]:
    return plain(review_topic(given, compute_frames(given))[1])


def anchored(at: float, event: str = "sunset") -> dict[str, float | str]:
    return {"event": event, "date": "2027-03-14", "at": at}


def exposing(given: Plan, **changes: Any) -> Plan:
    return attrs.evolve(given, exposure=attrs.evolve(present(given.exposure), **changes))


# ---------------------------------------------------------------- balance and midpoint


def test_far_more_night_than_day_is_flagged_and_mended() -> None:
    lopsided = plan(shoot__anchor=anchored(0.15))
    found = one(lopsided, "day-night-balance")
    assert found.level == "warn"
    assert found.value == pytest.approx(306 / 54)
    assert (found.fact("day"), found.fact("dark")) == (54, 306)
    assert found.fact("day_clip") == pytest.approx(54 / 24)
    assert (
        "shoot.anchor.at 0.5 instead of 0.15"
        in advice(attrs.evolve(lopsided, exposure=None), "day-night-balance").fix
    )
    assert found.fit == "balance"
    assert not findings(fit_balance(lopsided, 1, 1).plan, "day-night-balance")


@pytest.mark.parametrize(
    ("at", "level"), [(0.5, None), (0.36, None), (0.3, "note"), (0.23, "warn"), (0.8, "warn")]
)
def test_balance_is_judged_by_the_larger_share(at: float, level: str | None) -> None:
    # common practice, no source: several times as much night as day, or the reverse, feels unbalanced
    assert [f.level for f in findings(plan(shoot__anchor=anchored(at)), "day-night-balance")] == (
        [level] if level else []
    )


def test_a_clip_of_night_alone_that_was_meant_to_begin_at_sunset_is_flagged() -> None:
    found = one(plan(shoot__anchor=anchored(0.0)), "day-night-balance")
    assert "no day at all" in found.message


@pytest.mark.once
@pytest.mark.parametrize(
    "given",
    [
        plan(shoot__anchor=anchored(0.5, "solar_noon")),
        plan(shoot__anchor=anchored(0.0, "astronomical_dusk")),
        plan(shoot__anchor=anchored(0.5, "civil_dusk"), shoot__interval_s=4.0),
        plan(shoot__anchor=None, shoot__start="2027-03-14T23:00:00"),
    ],
    ids=["by day", "by night", "in twilight", "from 23:00"],
)
def test_a_clip_that_is_no_day_to_night_is_not_asked_for_balance(given: Plan) -> None:
    assert not findings(given, "day-night-balance")
    assert not findings(given, "move-midpoint")


@pytest.mark.once
def test_half_of_the_move_should_be_done_at_sunset() -> None:
    # common practice, no source: the move's half belongs near the event
    late = plan(shoot__anchor=anchored(0.75))
    found = one(late, "move-midpoint")
    assert found.level == "warn"
    assert present(found.value) > 0.7
    assert (found.fact("event"), found.fact("event_time")) == ("sunset", "18:42")
    assert (
        "shoot.anchor.at 0.5 instead of 0.75"
        in advice(attrs.evolve(late, exposure=None), "move-midpoint").fix
    )
    assert not findings(plan(shoot__anchor=anchored(0.5)), "move-midpoint")
    assert one(plan(shoot__anchor=anchored(0.6)), "move-midpoint").level == "note"


@pytest.mark.once
def test_an_anchor_of_another_event_is_moved_by_as_much_as_the_start() -> None:
    # the moon rises shortly before sunset; it is the sunset that should fall on half of the move
    moonlit = plan(shoot__anchor={"event": "moonrise", "date": "2027-03-22", "at": 0.3})
    found = one(moonlit, "move-midpoint")
    assert found.fact("event") == "sunset"
    unlit = attrs.evolve(moonlit, exposure=None)
    at = offered(unlit, "move-midpoint", "shoot.anchor.at")["shoot.anchor.at"]
    assert "instead of 0.3)" in advice(unlit, "move-midpoint").fix
    mended = plan(shoot__anchor={"event": "moonrise", "date": "2027-03-22", "at": at})
    assert numbers(mended)["move_share_at_event"] == pytest.approx(0.5, abs=0.01)
    out_of_reach = plan(shoot__anchor={"event": "moonrise", "date": "2027-03-22", "at": 0.0})
    report = review(out_of_reach, compute_frames(out_of_reach))
    midpoint = [found for found in report.findings if found.code == "move-midpoint"]
    assert all("shoot.anchor.at" not in remedy.changes for found in midpoint for remedy in found.remedies)


def test_a_still_shot_has_no_midpoint() -> None:
    still = plan(
        shoot__anchor=anchored(0.9),
        move__poses=[{"at": 0.0, "slide_m": 0.5, "pan_deg": 266.0, "tilt_deg": 3.0}],
    )
    assert not findings(still, "move-midpoint")
    assert findings(still, "day-night-balance")


def test_a_start_on_a_day_without_sunset_gets_a_note() -> None:
    polar = {
        "site__latitude_deg": 78.0,
        "site__longitude_deg": 15.6,
        "site__timezone": "Arctic/Longyearbyen",
        "shoot__anchor": None,
    }
    summer = one(plan(shoot__start="2027-06-14T22:00:00", **polar), "event-missing")
    assert summer.level == "note"
    assert "no sunrise and no sunset on 2027-06-14" in summer.message
    assert "day throughout" in summer.message
    winter = one(plan(shoot__start="2027-12-14T12:00:00", **polar), "event-missing")
    assert "2027-12-14" in winter.message
    assert "day" not in winter.message.replace("daylight", "")
    assert not findings(plan(shoot__anchor=None, shoot__start="2027-03-14T18:00:00"), "event-missing")


# ---------------------------------------------------------------- exposure


def test_a_noon_of_the_polar_night_gets_the_note_as_well() -> None:
    dark = plan(
        site__latitude_deg=78.2,
        site__longitude_deg=15.6,
        site__timezone="Arctic/Longyearbyen",
        shoot__anchor={"event": "solar_noon", "date": "2027-12-21", "at": 0.5},
    )
    assert "no sunrise and no sunset on 2027-12-21" in one(dark, "event-missing").message


def test_clocks_that_go_back_during_the_shoot_are_told_with_their_frame() -> None:
    # Portugal's clocks go back at 01:00 UTC on the last Sunday of October (Directive 2000/84/EC)
    night = plan(shoot={"frames": 600, "interval_s": 15.0, "start": "2027-10-31T00:30:00"})
    found = one(night, "clock-change")
    assert (found.level, found.value, found.unit) == ("note", -1.0, "h")
    assert found.frames == (361, 361)  # 90 minutes of 15 s after the first
    assert (found.fact("by"), found.fact("old_time"), found.fact("new_time")) == (-1.0, "02:00", "01:00")
    one(plan(shoot={"frames": 60, "interval_s": 15.0, "start": "2027-03-28T02:10:00"}), "clock-change")
    assert not findings(plan(), "clock-change")


@pytest.mark.once
def test_a_clock_that_can_not_be_the_site_s_is_questioned() -> None:
    assert not findings(plan(site__timezone="UTC", site__longitude_deg=145.0), "zone-odd")
    assert not findings(plan(), "zone-odd")
    # a slip of the sign: Denver's 105° W written as east
    slip = plan(site__latitude_deg=39.7, site__longitude_deg=105.0, site__timezone="America/Denver")
    found = one(slip, "zone-odd")
    assert found.level == "warn"
    assert abs(present(found.value)) > 4.0
    assert advice(slip, "zone-odd").remedies[0].changes == {"site.longitude_deg": -105.0}
    right = attrs.evolve(slip, site=attrs.evolve(slip.site, longitude_deg=-105.0))
    assert not findings(right, "zone-odd")


@pytest.mark.once
def test_a_night_that_the_limits_can_not_reach_is_short() -> None:
    short = exposing(plan(), iso_max=100.0, shutter_max_s=1.0)
    found = one(short, "exposure-short")
    assert found.level == "warn"
    ramp = compute_frames(short).ramp
    assert found.value == pytest.approx(present(ramp).error_stops.min())
    assert present(found.frames)[1] == 360
    assert "f/5.6, 1 s, ISO 100" in found.message
    for mended in (
        exposing(short, iso_max=320.0),
        exposing(short, shutter_max_s=3.2),
        exposing(short, f_number=3.2),
    ):
        assert not findings(mended, "exposure-short")
    remedies = [dict(remedy.changes) for remedy in advice(short, "exposure-short").remedies]
    assert {"exposure.iso_max": 320.0} in remedies
    assert {"exposure.f_number": 3.2} not in remedies  # it would blur the silo behind the bollard as well
    assert len(findings(exposing(short, f_number=3.2), "focus-depth")) == 2
    assert any(remedy.get("exposure.shutter_max_s") == 3.2 for remedy in remedies)


def test_two_stops_short_is_a_reason_not_to_go() -> None:
    dark = exposing(plan(shoot__interval_s=20.0), artificial_ev100=None, iso_max=400.0)
    found = one(dark, "exposure-short")
    assert found.level == "stop"
    assert present(found.value) <= -2.0
    assert found.limit == -2.0


@pytest.mark.once
def test_a_night_that_is_to_look_bright_is_told_to_look_darker() -> None:
    bright = exposing(plan(shoot__interval_s=20.0), night_look_stops=3.0, artificial_ev100=0.0, iso_max=400.0)
    assert one(bright, "exposure-short").level == "stop"
    look = offered(bright, "exposure-short", "exposure.night_look_stops")["exposure.night_look_stops"]
    assert look < 1.0
    darker = findings(exposing(bright, night_look_stops=look), "exposure-short")
    assert "stop" not in [each.level for each in darker]


def test_a_night_without_lamps_is_asked_for_them() -> None:
    dark = exposing(plan(shoot__interval_s=20.0), artificial_ev100=None, iso_max=400.0)
    assert "exposure.artificial_ev100" in advice(dark, "exposure-short").fix
    lit = exposing(dark, artificial_ev100=-2.0)
    short = findings(lit, "exposure-short")
    assert all("exposure.artificial_ev100" not in each.fix for each in short)


def test_a_day_that_is_to_look_dark_is_told_to_look_brighter() -> None:
    dark = exposing(plan(), day_look_stops=-3.0, shutter_min_s=1 / 500)
    look = offered(dark, "exposure-long", "exposure.day_look_stops")["exposure.day_look_stops"]
    assert look > -3.0
    assert not findings(exposing(dark, day_look_stops=look), "exposure-long")


def test_an_interval_that_takes_the_exposure_s_time_is_named() -> None:
    tied = exposing(
        plan(shoot__interval_s=5.5, shoot__frames=1000), f_number=8.0, iso_max=100.0, shutter_max_s=8.0
    )
    found = one(tied, "exposure-short")
    assert found.level == "warn"
    assert (found.fact("cause"), found.fact("interval")) == ("interval", 5.5)
    assert found.fact("room") == pytest.approx(3.2, abs=0.05)
    assert found.fit == "clip"
    assert not findings(fit_clip(tied, 20.0).plan, "exposure-short")


@pytest.mark.once
def test_an_interval_that_leaves_no_time_at_all_is_lengthened_by_what_is_needed() -> None:
    hurried = plan(shoot__interval_s=1.2, shoot__frames=120, shoot__write_s=1.0)
    found = one(hurried, "exposure-short")
    assert (found.fact("cause"), found.fact("room")) == ("interval", None)
    # longer exposures burn the sky out unless the picture is metered; the interval holds the longest of them
    mended = offered(
        hurried, "exposure-short", "shoot.interval_s", "exposure.meter", "exposure.shutter_max_s"
    )
    interval_s = mended["shoot.interval_s"]
    assert interval_s == pytest.approx(round(2.0 * interval_s) / 2.0)  # as an interval timer takes it
    longer = attrs.evolve(hurried, shoot=attrs.evolve(hurried.shoot, interval_s=interval_s))
    assert not [f for f in findings(longer, "exposure-short") if f.fact("cause") == "interval"]
    after = changed(hurried, mended)
    left = {finding.code for finding in review(after, compute_frames(after)).findings}
    assert not left & {"exposure-short", "interval-too-short"}


@pytest.mark.once
def test_a_day_too_bright_for_the_limits_asks_for_nd() -> None:
    bright = exposing(plan(), f_number=2.8, shutter_min_s=1 / 160)
    found = one(bright, "exposure-long")
    assert found.level == "warn"
    assert found.value == pytest.approx(present(compute_frames(bright).ramp).error_stops.max())
    assert present(found.frames)[0] == 1
    remedies = [dict(remedy.changes) for remedy in advice(bright, "exposure-long").remedies]
    assert {"exposure.nd_stops": 2.0} in remedies  # whole filters
    assert {"exposure.f_number": 4.5} in remedies
    assert not findings(exposing(bright, nd_stops=2.0), "exposure-long")
    assert not findings(exposing(bright, f_number=4.5), "exposure-long")
    assert one(exposing(bright, iso_min=400.0), "exposure-long").level == "stop"


@pytest.mark.once
def test_nd_that_costs_the_night_is_said() -> None:
    bright = exposing(plan(), f_number=2.8, shutter_min_s=1 / 8, iso_max=100.0, shutter_max_s=1.0)
    assert one(bright, "exposure-long").fact("shortfall") > 3.0
    told = attrs.evolve(one(bright, "exposure-long"), remedies=(), tried=True, failed=1)
    assert "leaves the darkest frame" in told.fix
    assert all("exposure.nd_stops" not in each.changes for each in advice(bright, "exposure-long").remedies)


def test_light_that_falls_faster_than_a_click_a_frame_is_steep() -> None:
    steep = plan(shoot__frames=40, shoot__interval_s=180.0)
    found = one(steep, "ramp-steep")
    table = compute_frames(steep)
    largest = np.abs(np.diff(present(table.ramp).target_ev100)).max()
    assert found.value == pytest.approx(largest / 3.0)  # a frame is three minutes
    assert found.limit == pytest.approx(1.0 / 9.0)
    mended = attrs.evolve(steep, shoot=attrs.evolve(steep.shoot, frames=120, interval_s=60.0))
    assert not findings(mended, "ramp-steep")


def test_a_plan_within_its_limits_has_nothing_to_say_about_exposure() -> None:
    codes = {finding.code for finding in review_topic(plan(), compute_frames(plan()))[0]}
    assert not codes & {"exposure-short", "exposure-long", "ramp-steep"}


# ---------------------------------------------------------------- sun


def test_the_sun_in_the_picture_is_noted_with_where_it_goes() -> None:
    found = one(plan(), "sun-in-frame")
    assert found.level == "note"
    assert "comes out from behind “South silo” at frame" in found.message
    assert "goes behind “Far bank”" in found.message
    assert "sets at frame" in one(plan(blocks=[], composition=None), "sun-in-frame").message
    turning = plan(
        blocks=[],
        composition=None,
        move__poses=[
            {"at": 0.0, "slide_m": 0.1, "pan_deg": 262.0, "tilt_deg": 3.0},
            {"at": 0.4, "slide_m": 0.5, "pan_deg": 310.0, "tilt_deg": 3.0},
            {"at": 1.0, "slide_m": 1.4, "pan_deg": 310.0, "tilt_deg": 3.0},
        ],
    )
    assert "leaves by the left edge" in one(turning, "sun-in-frame").message


def test_a_high_sun_through_a_long_lens_is_a_warning() -> None:
    frames = compute_frames(plan())
    aimed = plan(
        blocks=[],
        composition=None,
        camera__focal_length_mm=200.0,
        move__poses=[
            {
                "at": 0.0,
                "slide_m": 0.1,
                "pan_deg": float(frames.sun_azimuth_deg[0]),
                "tilt_deg": float(frames.sun_altitude_deg[0]),
            }
        ],
    )
    found = one(aimed, "sun-in-frame")
    assert found.level == "warn"
    assert "burn" in found.fix


def test_a_hill_that_takes_the_sun_early_is_said() -> None:
    def behind(height_deg: float) -> Plan:
        ridge = {"name": "hill", "role": "background", "shape": "ridge", "distance_m": 3000.0}
        subject = {
            "name": "mill",
            "role": "subject",
            "shape": "box",
            "centre_m": [0, 50, 4],
            "size_m": [6, 6, 8],
        }
        ridge["skyline_deg"] = [[float(bearing), height_deg] for bearing in range(200, 331, 2)]
        return plan(blocks=[ridge, subject], composition=None)

    assert not findings(behind(0.5), "sun-hidden")
    assert one(behind(1.5), "sun-hidden").level == "note"
    found = one(behind(6.0), "sun-hidden")
    assert found.level == "warn"
    assert "The sun leaves “mill” at" in found.message
    assert "“hill” stands in the way" in found.message
    # at 38.7° north the March sun sinks about 1° in five minutes, and it sets upper limb first seen at 0°
    assert found.value == pytest.approx(6.0 * 5.1, abs=3.0)
    assert found.blocks == ("hill",)


# ---------------------------------------------------------------- stars and focus


@pytest.mark.once
def test_a_clip_larger_than_the_camera_s_image_is_said_to_be_enlarged() -> None:
    assert not findings(plan(), "clip-enlarged")
    assert not findings(plan(clip__width_px=6000, clip__height_px=3374), "clip-enlarged")
    large = one(plan(clip__width_px=7680, clip__height_px=4320), "clip-enlarged")
    assert (large.level, large.value) == ("warn", pytest.approx(7680 / 6000))
    size = offered(
        plan(clip__width_px=7680, clip__height_px=4320), "clip-enlarged", "clip.width_px", "clip.height_px"
    )
    assert size == {"clip.width_px": 6000, "clip.height_px": 3374}
    bare = plan(clip__width_px=2160, clip__height_px=3840, camera__image_height_px=3600, exposure=None)
    assert one(bare, "clip-enlarged").value == pytest.approx(3840 / 3600, rel=1e-3)


@pytest.mark.once
def test_long_exposures_draw_the_stars_out() -> None:
    dark = exposing(
        plan(shoot__interval_s=35.0),
        artificial_ev100=None,
        iso_max=6400.0,
        shutter_max_s=25.0,
        f_number=2.8,
    )
    found = one(dark, "star-trails")
    assert found.level == "warn"
    assert found.value == numbers(dark)["star_drift_px"]
    assert found.fact("rule_of_500") == pytest.approx(500 / 35)  # common practice, no source
    assert not findings(exposing(dark, shutter_max_s=6.0), "star-trails")
    cloudy = attrs.evolve(dark, shoot=attrs.evolve(dark.shoot, cloud_divisor=3.0))
    assert not findings(cloudy, "star-trails")
    assert not findings(plan(), "star-trails")  # the sun is no lower than −10°


@pytest.mark.once
def test_stars_behind_a_near_focus_are_said_to_be_soft_and_advice_that_makes_them_so_says_it() -> None:
    dark = exposing(
        plan(shoot__interval_s=35.0), artificial_ev100=None, iso_max=6400.0, shutter_max_s=6.0, f_number=2.0
    )
    focal_mm, f_number = dark.camera.focal_length_mm, 2.0
    near = attrs.evolve(dark, camera=attrs.evolve(dark.camera, focus_distance_m=1.7))
    found = one(near, "stars-soft")
    # any handbook of optics: an infinite distance blurs over f²/(N (s − f)) on a sensor 36 mm wide
    blur_mm = focal_mm**2 / (f_number * (1700.0 - focal_mm))
    assert found.level == "warn"
    assert found.value == pytest.approx(blur_mm * near.clip.width_px / 36.0)
    assert not findings(plan(), "stars-soft")  # the sun is no lower than −10°
    far = attrs.evolve(dark, camera=attrs.evolve(dark.camera, focus_distance_m=25.0))
    assert not findings(far, "stars-soft")
    # a subject four metres away asks for a near focus, which which costs the stars
    bollard = far.blocks[2]
    x, y, z = present(bollard.centre_m)
    subject = attrs.evolve(bollard, role="subject", centre_m=(2.4 * x, 2.4 * y, z))
    alone = attrs.evolve(far, blocks=(subject,), composition=None)
    proposed = [each for found in findings(alone, "focus-depth") for each in found.remedies]
    assert any(findings(changed(alone, each.changes), "stars-soft") for each in proposed)
    remedies = advice(alone, "focus-depth").remedies
    blurring = [each for each in remedies if findings(changed(alone, each.changes), "stars-soft")]
    assert blurring  # a subject out of focus is a reason not to go, soft stars are none: it is said
    assert all("brings stars out of focus" in remedy_text(each) for each in blurring)


@pytest.mark.once
def test_a_soft_foreground_is_said_and_mended_by_the_advice() -> None:
    found = one(plan(), "focus-depth")
    assert found.level == "warn"
    assert "“Bollard” (foreground, 1.7 m away) is out of focus" in found.message
    assert "Focus at 3.39 m and stop down to f/13" in advice(plan(), "focus-depth").fix
    mended = exposing(
        attrs.evolve(plan(), camera=attrs.evolve(plan().camera, focus_distance_m=3.39)), f_number=13.0
    )
    assert not findings(mended, "focus-depth")


@pytest.mark.once
def test_a_far_subject_is_sharp_from_half_the_hyperfocal_distance_on() -> None:
    soft = plan()
    soft = attrs.evolve(
        soft,
        camera=attrs.evolve(soft.camera, focus_distance_m=1.5),
        blocks=tuple(block for block in soft.blocks if block.role != "foreground"),
    )
    hyperfocal = numbers(soft)["hyperfocal_m"]
    assert f"Focus at {hyperfocal:.3g} m, the hyperfocal distance" in advice(soft, "focus-depth").fix
    assert f"sharp from {hyperfocal / 2.0:.2g} m to infinity" in advice(soft, "focus-depth").fix


def test_a_soft_subject_is_a_reason_not_to_go() -> None:
    close = attrs.evolve(plan(), camera=attrs.evolve(plan().camera, focus_distance_m=1.7))
    found = one(close, "focus-depth")
    assert found.level == "stop"
    assert found.blocks == ("North silo",)
    (told,) = (
        each
        for each in review(close, compute_frames(close)).findings
        if each.code == "focus-depth" and each.level == "stop"
    )
    assert "hyperfocal distance" in told.fix
    hyperfocal = numbers(close)["hyperfocal_m"]
    mended = attrs.evolve(plan(), camera=attrs.evolve(plan().camera, focus_distance_m=hyperfocal))
    assert all("North silo" not in f.blocks for f in findings(mended, "focus-depth"))


def test_where_no_f_number_holds_near_and_far_the_advice_says_from_where_it_is_sharp() -> None:
    given = plan()
    bollard = attrs.evolve(given.blocks[2], centre_m=(-0.2, 0.8, 0.6))
    found = one(attrs.evolve(given, blocks=(*given.blocks[:2], bollard)), "focus-depth")
    assert found.fact("advice") == "not-both"
    told = advice(attrs.evolve(given, blocks=(*given.blocks[:2], bollard)), "focus-depth").fix
    assert f"No usable f-number holds {found.fact('nearest'):.2g} m and the distance both" in told
    assert found.fact("better_from") > found.fact("nearest")


def test_focus_depths_are_those_of_what_is_in_the_picture() -> None:
    depths = nearest_depths_m(plan(), compute_frames(plan()))
    assert sorted(depths) == [1, 2]  # the northern silo and the bollard
    assert depths[1] == pytest.approx(
        308.0, abs=6.0
    )  # 320 m to its middle, less its half; the lens axis turns by 8°
    away = plan(move__poses=[{"at": 0.0, "slide_m": 0.5, "pan_deg": 300.0, "tilt_deg": 40.0}])
    assert nearest_depths_m(away, compute_frames(away)) == {}


# ---------------------------------------------------------------- numbers


def test_the_summary_is_plain_values_that_hold_against_the_table() -> None:
    given = plan()
    found, table = numbers(given), compute_frames(given)
    json.dumps(found, allow_nan=False)
    phases = ("day", "civil_twilight", "nautical_twilight", "astronomical_twilight", "night")
    assert sum(found[f"{phase}_frames"] for phase in phases) == 360
    assert sum(found[f"{phase}_clip_s"] for phase in phases) == pytest.approx(15.0)
    assert found["move_share_at_event"] == pytest.approx(0.5)
    assert found["sunset_local"].startswith("2027-03-14T18:42")
    speed = np.abs(np.gradient(present(table.ramp).target_ev100)) * 4.0
    assert found["steepest_ramp_stops_per_min"] == pytest.approx(speed.max())
    ev = settings_ev100(present(table.ramp).f_number, present(table.ramp).shutter_s, present(table.ramp).iso)
    assert found["exposure_error_darkest_stops"] == pytest.approx(
        (present(table.ramp).target_ev100 - ev).min()
    )
    assert found["settings_first"].startswith("f/5.6, 1/")


def test_altitudes_in_findings_and_in_the_summary_are_those_of_the_table_with_refraction() -> None:
    polar = {"latitude_deg": 78.0, "longitude_deg": 15.6, "timezone": "Arctic/Longyearbyen"}
    given = plan(
        **{f"site__{name}": value for name, value in polar.items()},
        shoot__anchor=None,
        shoot__start="2027-04-23T23:30:00",
    )
    table, told, found = compute_frames(given), numbers(given), one(given, "event-missing")
    # the sun stays just over the horizon there: refraction lifts it by a sixth of a degree and more
    assert np.all(table.sun_altitude_deg - table.sun_true_altitude_deg > 1.0 / 6.0)
    assert told["sun_altitude_first_deg"] == table.sun_altitude_deg[0]
    assert told["sun_altitude_last_deg"] == table.sun_altitude_deg[-1]
    assert told["moon_altitude_highest_deg"] == table.moon_altitude_deg.max()
    assert found.fact("lowest") == table.sun_altitude_deg.min()
    assert found.fact("highest") == table.sun_altitude_deg.max()
    (row,) = csv.DictReader(io.StringIO(frames_csv(table)).readlines()[:2])
    assert float(row["sun_altitude_deg"]) == told["sun_altitude_first_deg"]


@pytest.mark.once
def test_every_example_has_a_story_to_tell(example_plan: Plan) -> None:
    found, summary = review_topic(example_plan, compute_frames(example_plan))
    json.dumps(plain(summary), allow_nan=False)
    for finding in found:
        assert finding.message.endswith(".")
        assert finding.code != "day-night-balance" or finding.fit == "balance"


@pytest.mark.parametrize("frames", [1, 2, 3])
def test_plans_of_hardly_any_frames_are_reviewed_too(frames: int) -> None:
    review_topic(plan(shoot__frames=frames), compute_frames(plan(shoot__frames=frames)))


def test_a_bare_plan_is_reviewed_too() -> None:
    bare = attrs.evolve(plan(blocks=[], composition=None), exposure=None)
    found, summary = review_topic(bare, compute_frames(bare))
    assert {finding.code for finding in found} <= {"sun-in-frame"}
    assert summary.focus is None
    assert "hyperfocal_m" not in plain(summary)
