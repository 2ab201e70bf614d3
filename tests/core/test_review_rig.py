"""What the review says about rig and move: each finding where it belongs, and silence elsewhere."""

from __future__ import annotations

import datetime as dt
from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner_core import compute_frames, review
from planner_core.plan.model import Anchor, Plan, Pose
from planner_core.review.findings import Finding
from planner_core.review.rig import review_topic
from planner_core.review.summary import RigSummary
from tests.advice import advice, offered
from tests.moves import (
    PAN,
    QUAY,
    SLIDE,
    TILT,
    bare_rig,
    box,
    move_of,
    panning,
    sliding,
    with_exposure,
    with_move,
    with_pan,
    with_poses,
    with_rig,
    with_shoot,
    with_slide,
)
from tests.present import present


def reviewed(plan: Plan) -> tuple[list[Finding], RigSummary]:
    return review_topic(plan, compute_frames(plan))


def findings(plan: Plan, code: str) -> list[Finding]:
    return [finding for finding in reviewed(plan)[0] if finding.code == code]


def only(plan: Plan, code: str) -> Finding:
    (finding,) = findings(plan, code)
    return finding


NIGHT = Anchor(event="nautical_dusk", date=dt.date(2027, 3, 14), at=0.0)


def by_night(plan: Plan, *, shutter_max_s: float = 6.0, **shoot: Any) -> Plan:
    """The plan after nautical dusk, in the dark and without ISO to help: it asks for its longest exposure."""
    dark = with_exposure(plan, iso_max=100.0, artificial_ev100=0.0, shutter_max_s=shutter_max_s)
    return with_shoot(dark, anchor=NIGHT, **shoot)


@pytest.mark.once
def test_an_honest_rig_gets_no_more_than_notes(example_plan: Plan) -> None:
    found, _ = reviewed(example_plan)
    if "first try" not in example_plan.title:  # that one has the classic mistakes
        assert {finding.level for finding in found} <= {"note"}, [
            f.message for f in found if f.level != "note"
        ]


@pytest.mark.once
def test_every_finding_says_what_to_do(example_plan: Plan) -> None:
    for finding in review(example_plan, compute_frames(example_plan)).findings:
        assert finding.message.endswith(".")
        assert finding.fix.endswith(".") or finding.code == "background-static"  # where a pan moves it
        assert finding.level in ("stop", "warn", "note")


# ---------------------------------------------------------------- ranges


@pytest.mark.once
@pytest.mark.parametrize(
    ("pose", "field", "value", "limit"),
    [
        (Pose(at=1.0, slide_m=1.9, pan_deg=270.0, tilt_deg=0.0), "slide_m", 1.9, 1.5),
        (Pose(at=1.0, slide_m=-0.1, pan_deg=270.0, tilt_deg=0.0), "slide_m", -0.1, 0.0),
        (Pose(at=1.0, slide_m=0.9, pan_deg=365.0, tilt_deg=0.0), "pan_deg", 365.0, 360.0),
        (Pose(at=1.0, slide_m=0.9, pan_deg=270.0, tilt_deg=-40.0), "tilt_deg", -40.0, -30.0),
    ],
)
def test_a_pose_outside_the_range_stops_the_plan_by_its_field(
    pose: Pose, field: str, value: float, limit: float
) -> None:
    finding = only(with_poses(QUAY, QUAY.move.poses[0], pose), "axis-range")
    assert finding.level == "stop"
    assert finding.message.startswith(f"move.poses[1].{field}: {value:g}")
    assert (finding.value, finding.limit) == (value, limit)
    assert present(finding.frames)[1] == 480
    assert present(finding.frames)[0] > 240
    path = f"move.poses[1].{field}"
    plan = with_poses(QUAY, QUAY.move.poses[0], pose)
    assert limit in [remedy.changes[path] for remedy in advice(plan, "axis-range").remedies]


@pytest.mark.once
def test_a_pan_of_the_same_bearing_a_turn_away_is_offered() -> None:
    plan = with_poses(QUAY, QUAY.move.poses[0], Pose(at=1.0, slide_m=0.9, pan_deg=-85.0, tilt_deg=0.0))
    first, *_ = advice(attrs.evolve(plan, exposure=None), "axis-range").remedies
    assert first.changes == {"move.poses[1].pan_deg": 275.0}


def test_a_range_that_the_head_would_rest_outside_is_found() -> None:
    plan = with_poses(with_pan(QUAY, min_deg=280.0), Pose(at=0.0, slide_m=0.3), Pose(at=1.0, slide_m=0.9))
    finding = only(plan, "axis-range")
    assert finding.message.startswith("No pose gives pan_deg")
    assert finding.frames == (1, 480)


def test_poses_on_the_ends_of_the_range_are_inside() -> None:
    assert findings(sliding(QUAY, 0.0, 1.5), "axis-range") == []


def test_a_rail_too_steep_for_its_carriage_stops_the_plan() -> None:
    finding = only(with_rig(QUAY, incline_deg=-35.0, max_incline_deg=20.0), "rail-slope")
    assert (finding.level, finding.value, finding.limit) == ("stop", 35.0, 20.0)
    assert findings(with_rig(QUAY, incline_deg=-35.0, max_incline_deg=90.0), "rail-slope") == []


def test_a_steep_rail_whose_limit_nobody_gave_is_only_warned_of() -> None:
    # 30° where a plan says nothing is ours, no source
    finding = only(with_rig(QUAY, incline_deg=-35.0), "rail-slope")
    assert (finding.level, finding.value, finding.limit) == ("warn", 35.0, 30.0)


# ---------------------------------------------------------------- time


@pytest.mark.once
def test_eight_seconds_of_exposure_at_a_six_second_interval_stop_the_plan() -> None:
    # common practice, no source: the classic slip
    night = by_night(QUAY, interval_s=6.0, shutter_max_s=8.0)
    finding = only(night, "interval-too-short")
    assert finding.level == "stop"
    assert finding.limit == 6.0
    # 8 s + 1 s writing + 0.8 s settling + a move of 2·√((0.002057 + 1e-5)/0.04) s in the steady part, by hand
    assert finding.value == pytest.approx(8.0 + 1.0 + 0.8 + 0.455, abs=0.02)
    assert "exposure 8 s + writing 1 s" in finding.message
    assert offered(night, "interval-too-short", "shoot.interval_s") == {"shoot.interval_s": 10.5}
    assert "exposure.shutter_max_s to 3.7 s" in advice(night, "interval-too-short").fix
    mended = with_shoot(night, interval_s=10.5)
    assert findings(mended, "interval-too-short") == []


def test_a_single_frame_needs_no_interval() -> None:
    alone = by_night(QUAY, shutter_max_s=8.0, interval_s=6.0, frames=1)
    assert findings(alone, "interval-too-short") == []


def test_the_shorter_shutter_that_is_offered_fits() -> None:
    night = by_night(QUAY, interval_s=6.0, shutter_max_s=3.7)
    assert findings(night, "interval-too-short") == []


def test_a_ramp_that_the_interval_has_shortened_still_stops_the_plan() -> None:
    night = by_night(QUAY, interval_s=6.0, shutter_max_s=8.0)
    frames = compute_frames(night)
    assert present(frames.ramp).shutter_s.max() < 8.0
    assert only(night, "interval-too-short").level == "stop"


def test_by_day_a_short_interval_does() -> None:
    noon = Anchor(event="solar_noon", date=dt.date(2027, 3, 14), at=0.5)
    plan = with_exposure(with_shoot(QUAY, anchor=noon, interval_s=3.0), shutter_max_s=0.5)
    assert findings(plan, "interval-too-short") == []


def test_a_continuous_drive_needs_only_exposure_and_writing() -> None:
    night = by_night(with_move(QUAY, drive="continuous"), interval_s=6.5)
    finding = only(night, "interval-too-short")
    assert finding.value == pytest.approx(7.0)
    assert "settling" not in finding.message
    assert findings(with_shoot(night, interval_s=7.0), "interval-too-short") == []


@pytest.mark.once
def test_a_plan_without_exposure_is_judged_by_its_moves() -> None:
    plan = attrs.evolve(QUAY, exposure=None)
    assert findings(plan, "interval-too-short") == []
    hurried = with_shoot(plan, interval_s=2.1)
    finding = only(hurried, "interval-too-short")
    assert "exposure" not in finding.message
    assert "Set shoot.interval_s to 2.5 s" in advice(hurried, "interval-too-short").fix


def test_a_rail_motor_too_slow_for_the_interval_is_named() -> None:
    finding = only(with_slide(with_shoot(QUAY, frames=25), max_speed_m_s=0.003), "axis-speed")
    assert finding.level == "stop"
    assert "the slide takes" in finding.message
    assert finding.fit == "travel"
    assert present(finding.value) > present(finding.limit) == pytest.approx(12.0 - 1.0 - 0.8)


@pytest.mark.once
@pytest.mark.parametrize(
    ("changes", "unit", "word"),
    [({"max_speed_m_s": 1e-4}, "m/s", "moves at"), ({"max_acceleration_m_s2": 1e-6}, "m/s²", "speeds up")],
)
def test_a_continuous_drive_past_its_motor_is_named_with_an_interval_that_does(
    changes: dict[str, Any], unit: str, word: str
) -> None:
    plan = with_move(with_slide(with_shoot(QUAY, interval_s=1.0), **changes), drive="continuous")
    finding = only(plan, "axis-speed")
    assert (finding.level, finding.unit) == ("stop", unit)
    assert word in finding.message
    unlit = attrs.evolve(plan, exposure=None)  # as many frames would run into other light
    enough = offered(unlit, "axis-speed", "shoot.interval_s")["shoot.interval_s"]
    assert findings(with_shoot(plan, interval_s=enough), "axis-speed") == []
    assert findings(with_shoot(plan, interval_s=enough * 0.9), "axis-speed") != []


def test_the_pan_s_limits_count_like_the_slide_s() -> None:
    finding = only(with_pan(panning(QUAY, 200.0, 350.0), max_speed_deg_s=0.01), "axis-speed")
    assert "the pan takes" in finding.message
    assert "°" in finding.message


# ---------------------------------------------------------------- steps


def test_coarse_steps_past_a_near_thing_are_seen() -> None:
    finding = only(with_slide(QUAY, step_m=0.005), "step-coarse")
    assert finding.level == "warn"
    # half a step at the bollard's 0.7 m to 0.9 m: f·d/Z = 2560 px × 0.0025 / 0.8
    assert finding.value == pytest.approx(8.0, rel=0.3)
    assert finding.fact("skipped_frames") > 0
    assert findings(with_slide(QUAY, step_m=finding.fact("fine_step") * 0.99), "step-coarse") == []


def test_the_same_steps_far_from_everything_are_not() -> None:
    plan = with_slide(attrs.evolve(QUAY, blocks=()), step_m=0.005)
    assert findings(with_rig(plan, pupil_offset_m=0.0), "step-coarse") == []


def test_a_coarse_pan_is_seen_at_any_distance() -> None:
    plan = panning(attrs.evolve(QUAY, blocks=()), 265.0, 275.0)
    finding = only(with_pan(plan, step_deg=0.1), "step-coarse")
    # half a step of 0.1° turns the picture's middle by 2560 px × tan 0.05°
    assert finding.value == pytest.approx(2560.0 * np.tan(np.radians(0.05)), rel=0.7)


# ---------------------------------------------------------------- speed on screen


@pytest.mark.once
def test_a_quick_pan_is_too_fast_to_look_at() -> None:
    quick = with_shoot(panning(QUAY, 190.0, 350.0), frames=120)
    finding = only(quick, "screen-speed")
    assert finding.level == "warn"
    assert present(finding.value) > present(finding.limit) == pytest.approx(1.0 / 7.0)
    assert "too fast" in finding.message
    told = advice(attrs.evolve(quick, exposure=None), "screen-speed").fix
    assert "Pan by" in told
    assert "instead of 160°" in told


@pytest.mark.once
def test_a_slide_that_rushes_past_a_near_thing_is_told_that_less_travel_is_enough() -> None:
    # common practice, no source: travel is a choice, not a property of the rail
    plan = with_shoot(sliding(QUAY, 0.0, 1.5), frames=120)
    finding = only(plan, "screen-speed")
    assert "foreground (“bollard" in finding.message
    assert "A part of the rail is enough for this picture" in advice(plan, "screen-speed").fix
    assert finding.fit == "travel"
    assert finding.blocks
    assert finding.blocks[0].startswith("bollard")
    assert findings(sliding(QUAY, 0.4, 1.0), "screen-speed") == []


@pytest.mark.once
def test_the_offered_travel_is_calm() -> None:
    plan = with_shoot(sliding(QUAY, 0.0, 1.5), frames=120)
    ends = offered(plan, "screen-speed", "move.poses[0].slide_m", "move.poses[1].slide_m")
    first, last = (ends[f"move.poses[{place}].slide_m"] for place in (0, 1))
    assert last - first == pytest.approx(only(plan, "screen-speed").fact("calm"), abs=0.002)
    assert findings(with_shoot(sliding(QUAY, first, last), frames=120), "screen-speed") == []


def test_a_slide_past_nothing_near_creeps() -> None:
    # common practice, no source: what is far away looks still
    distant = tuple(block for block in QUAY.blocks if block.role != "foreground")
    finding = only(sliding(attrs.evolve(QUAY, blocks=distant), 0.0, 1.5), "screen-speed")
    assert finding.level == "note"
    assert "hardly moves" in finding.message


def test_a_slow_pan_is_told_to_turn_farther() -> None:
    plan = with_shoot(attrs.evolve(QUAY, blocks=()), frames=2400)
    finding = only(panning(plan, 268.0, 272.0), "screen-speed")
    assert "hardly moves" in finding.message
    assert finding.fix == "Turn farther, or take fewer frames."


def test_a_still_shot_is_not_blamed_for_standing_still() -> None:
    still = attrs.evolve(QUAY, rig=bare_rig(QUAY), move=move_of(Pose(at=0.0, pan_deg=270.0)))
    codes = {finding.code for finding in reviewed(still)[0]}
    assert codes <= {"card-space"}


def test_twice_the_turn_is_twice_the_value_that_is_found() -> None:
    plan = with_shoot(attrs.evolve(QUAY, blocks=()), frames=60)
    one = present(only(panning(plan, 255.0, 285.0), "screen-speed").value)
    two = present(only(panning(plan, 240.0, 300.0), "screen-speed").value)
    assert two == pytest.approx(2.0 * one, rel=0.1)


@pytest.mark.parametrize("travel_m", [0.0, 0.1])
def test_a_rail_carried_along_for_little_is_noted(travel_m: float) -> None:
    distant = attrs.evolve(QUAY, blocks=())
    finding = only(sliding(distant, 0.5, 0.5 + travel_m), "travel-unused")
    assert (finding.level, finding.value) == ("note", pytest.approx(travel_m))


def test_a_pan_does_not_hide_that_the_slide_does_nothing() -> None:
    distant = tuple(block for block in QUAY.blocks if block.role != "foreground")
    plan = attrs.evolve(QUAY, blocks=distant)
    turned = with_poses(
        plan, Pose(at=0.0, slide_m=0.5, pan_deg=255.0), Pose(at=1.0, slide_m=0.6, pan_deg=285.0)
    )
    assert only(turned, "travel-unused").value == pytest.approx(0.1)


def test_all_of_the_rail_for_nothing_near_is_named() -> None:
    # common practice, no source: travel is a choice, not a property of the rail
    distant = attrs.evolve(QUAY, blocks=tuple(block for block in QUAY.blocks if block.role != "foreground"))
    finding = only(sliding(distant, 0.0, 1.5), "travel-whole")
    assert (finding.level, finding.value) == ("warn", 1.5)
    assert "all of the 1.5 m" in finding.message
    assert findings(sliding(distant, 0.3, 1.1), "travel-whole") == []
    assert findings(sliding(QUAY, 0.0, 1.5), "travel-whole") == []


def test_a_little_travel_past_a_near_thing_is_no_waste() -> None:
    assert findings(sliding(QUAY, 0.6, 0.9), "travel-unused") == []


# ---------------------------------------------------------------- blur


@pytest.mark.once
def test_a_continuous_pan_smears_by_speed_times_shutter() -> None:
    plan = by_night(with_move(panning(QUAY, 240.0, 300.0), drive="continuous", ease=0.0))
    finding = only(plan, "motion-blur")
    # 60° over 479 × 12 s for 6 s at the picture's middle, by hand; up to twice that at its sides
    middle = 2560.0 * np.radians(60.0 / (479 * 12.0)) * 6.0
    assert middle < finding.value < 2.0 * middle
    assert "shoot-move-shoot" in advice(plan, "motion-blur").fix
    longest = finding.fact("short_enough")
    assert findings(with_exposure(plan, shutter_max_s=longest * 0.9), "motion-blur") == []


def test_shoot_move_shoot_never_smears() -> None:
    assert findings(by_night(panning(QUAY, 200.0, 340.0)), "motion-blur") == []


def test_by_day_the_shutter_is_short_enough() -> None:
    noon = Anchor(event="solar_noon", date=dt.date(2027, 3, 14), at=0.5)
    plan = with_shoot(with_move(panning(QUAY, 260.0, 280.0), drive="continuous"), anchor=noon)
    assert findings(plan, "motion-blur") == []


# ---------------------------------------------------------------- the rig in the picture


def test_looking_along_the_rail_shows_the_rail() -> None:
    along = with_rig(QUAY, bearing_deg=270.0)
    finding = only(sliding(along, 0.1, 0.5), "rail-in-frame")
    assert finding.level == "warn"
    assert present(finding.frames)[0] == 1
    assert "the rail itself is in the picture" in finding.message
    tilt = finding.fact("tilt_up")
    assert findings(sliding(along, 0.1, 0.5, tilt_deg=tilt + 0.6), "rail-in-frame") == []
    assert findings(sliding(along, 0.1, 0.5, tilt_deg=tilt - 1.5), "rail-in-frame") != []


def test_a_camera_that_backs_off_shows_the_rail_it_has_left_once_it_is_far_enough() -> None:
    # 0.16 m above the rail and 0.14 m past it: 49° down, out of the picture; past 0.44 m 20° down, in it
    backwards = with_rig(QUAY, bearing_deg=90.0)
    assert findings(sliding(backwards, 0.0, 0.2), "rail-in-frame") == []
    finding = only(sliding(backwards, 0.0, 0.5), "rail-in-frame")
    assert present(finding.frames)[0] > 240
    assert present(finding.frames)[1] == 480


def test_a_lens_that_looks_steeply_down_sees_its_own_stand() -> None:
    down = with_rig(sliding(QUAY, 0.2, 0.9, tilt_deg=-60.0), tilt=attrs.evolve(TILT, min_deg=-90.0))
    assert only(down, "rail-in-frame").frames == (1, 480)


@pytest.fixture(scope="module")
def sunlit_field() -> Plan:
    """Level ground, a head at 1.66 m, the low morning sun right behind a lens that looks down a little."""
    plan = attrs.evolve(
        QUAY,
        blocks=(box("ground", (0.0, 0.0, -0.5), (2000.0, 2000.0, 1.0)),),
        rig=attrs.evolve(bare_rig(QUAY, pan=PAN, tilt=TILT), origin_m=(0.0, 0.0, 1.5)),
        move=move_of(Pose(at=0.0, pan_deg=270.0, tilt_deg=-5.0)),
    )
    return with_shoot(
        plan, anchor=Anchor(event="sunrise", date=dt.date(2027, 3, 20), at=0.0), frames=240, interval_s=20.0
    )


def test_with_the_low_sun_behind_the_rig_s_shadow_is_in_the_picture(sunlit_field: Plan) -> None:
    finding = only(sunlit_field, "rig-shadow")
    frames = compute_frames(sunlit_field)
    first = present(finding.frames)[0] - 1
    # the shadow of a head 1.66 m up falls 1.66 m / tan(altitude) ahead
    assert finding.level == "warn"
    assert 1.0 < frames.sun_altitude_deg[first] < 20.0
    nearest = 1.66 / np.tan(np.radians(frames.sun_altitude_deg[present(finding.frames)[1] - 1]))
    assert finding.value == pytest.approx(nearest, rel=0.2)


def test_at_the_very_horizon_the_shadow_has_lost_its_dark_core(sunlit_field: Plan) -> None:
    # the sun's 32′ over more than 32 m are wider than a camera
    frames = compute_frames(sunlit_field)
    first = present(only(sunlit_field, "rig-shadow").frames)[0] - 1
    length = 1.66 / np.sin(np.radians(frames.sun_altitude_deg[first]))
    assert length * np.radians(32.0 / 60.0) == pytest.approx(0.3, rel=0.1)


def test_with_the_sun_ahead_there_is_no_shadow_of_the_rig(sunlit_field: Plan) -> None:
    ahead = with_poses(with_pan(sunlit_field, min_deg=0.0), Pose(at=0.0, pan_deg=90.0, tilt_deg=-5.0))
    assert findings(ahead, "rig-shadow") == []


def test_under_dark_cloud_or_by_night_there_is_none(sunlit_field: Plan) -> None:
    assert findings(with_shoot(sunlit_field, cloud_divisor=10.0), "rig-shadow") == []
    assert findings(with_shoot(sunlit_field, anchor=NIGHT), "rig-shadow") == []


def test_framed_above_the_ground_there_is_none(sunlit_field: Plan) -> None:
    plan = with_poses(sunlit_field, Pose(at=0.0, pan_deg=270.0, tilt_deg=25.0))
    assert findings(plan, "rig-shadow") == []


# ---------------------------------------------------------------- card, reason, numbers


def test_the_space_on_the_card_is_frames_times_size() -> None:
    finding = only(QUAY, "card-space")
    assert (finding.level, finding.value) == ("note", pytest.approx(480 * 45.0 / 1000.0))
    large = attrs.evolve(QUAY, camera=attrs.evolve(QUAY.camera, raw_file_mb=600.0))
    assert only(large, "card-space").level == "warn"
    unknown = attrs.evolve(QUAY, camera=attrs.evolve(QUAY.camera, raw_file_mb=None))
    assert findings(unknown, "card-space") == []


def test_a_move_without_a_reason_is_asked_for_one() -> None:
    # common practice, no source: know why the shot moves
    assert findings(QUAY, "no-reason") == []
    assert only(attrs.evolve(QUAY, reason="  "), "no-reason").level == "note"
    still = attrs.evolve(QUAY, reason="", rig=bare_rig(QUAY), move=move_of(Pose(at=0.0)))
    assert findings(still, "no-reason") == []


def test_the_summary_says_when_to_come_and_go_and_how_far_the_rig_moves() -> None:
    plan = with_shoot(
        QUAY, setup_s=3600.0, travel_s=1800.0, anchor=None, start=dt.datetime(2027, 3, 14, 18, 0)
    )
    frames = compute_frames(plan)
    _, summary = review_topic(plan, frames)
    assert summary.leave_home == "2027-03-14T16:30:00+01:00"
    assert summary.arrive == "2027-03-14T17:00:00+01:00"
    assert summary.first_frame == "2027-03-14T18:00:00+01:00"
    assert summary.last_frame == "2027-03-14T19:35:48+01:00"  # 479 × 12 s later
    assert summary.shoot_length_s == pytest.approx(479 * 12 + present(frames.ramp).shutter_s[-1] + 1.0)
    assert summary.clip_s == 20.0
    assert summary.slide_travel_m == pytest.approx(0.8)
    assert summary.pan_travel_deg == pytest.approx(4.0)
    there_and_back = with_poses(
        QUAY, Pose(at=0.0, slide_m=0.2), Pose(at=0.5, slide_m=1.0), Pose(at=1.0, slide_m=0.2)
    )
    assert reviewed(there_and_back)[1].slide_travel_m == pytest.approx(1.6, abs=0.01)


def test_the_summary_names_the_shortest_interval_that_does() -> None:
    night = by_night(QUAY)
    shortest = reviewed(night)[1].shortest_interval_s
    assert findings(with_shoot(night, interval_s=shortest + 0.01), "interval-too-short") == []
    assert only(with_shoot(night, interval_s=shortest - 0.01), "interval-too-short").level == "stop"


@settings(max_examples=25)
@given(
    st.sampled_from(
        [(), ("slide",), ("pan",), ("tilt",), ("slide", "pan"), ("slide", "tilt"), ("slide", "pan", "tilt")]
    ),
    st.sampled_from(["shoot-move-shoot", "continuous"]),
    st.integers(1, 12),
    st.booleans(),
    st.booleans(),
)
def test_any_rig_drive_and_number_of_frames_can_be_reviewed(
    axes: tuple[str, ...], drive: str, count: int, exposed: bool, blocked: bool
) -> None:
    ends = {
        "slide": ("slide_m", (0.1, 1.2)),
        "pan": ("pan_deg", (250.0, 290.0)),
        "tilt": ("tilt_deg", (-3.0, 3.0)),
    }
    limits = {"slide": SLIDE, "pan": PAN, "tilt": TILT}
    poses = tuple(
        Pose(at=float(end), **{ends[axis][0]: ends[axis][1][end] for axis in axes}) for end in (0, 1)
    )
    plan = attrs.evolve(
        QUAY,
        rig=bare_rig(QUAY, **{axis: limits[axis] for axis in axes}),
        move=move_of(*poses, ease=0.2, drive=drive),
        exposure=QUAY.exposure if exposed else None,
        blocks=QUAY.blocks if blocked else (),
    )
    found, summary = reviewed(with_shoot(plan, frames=count))
    assert summary.frames == count
    assert all(
        finding.frames is None or 1 <= finding.frames[0] <= finding.frames[1] <= count for finding in found
    )
    assert all(finding.value is None or np.isfinite(finding.value) for finding in found)
