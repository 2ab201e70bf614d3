"""Advice that once sent people in a circle: each case by its name, with what is said now."""

from __future__ import annotations

import datetime as dt

import attrs
import pytest

from planner_core import Plan, compute_frames, review
from planner_core.evening.interval import on_the_timer_s
from planner_core.fit.light import fit_clip
from planner_core.fit.travel import fit_travel
from planner_core.picture import aiming
from planner_core.plan.changes import changed
from planner_core.plan.model import Anchor, Block, Composition, Exposure, Pose
from planner_core.review import trial
from planner_core.review.findings import Finding
from planner_core.review.remedy import remedy_text
from planner_core.review.trial import helps
from tests.advice import advice
from tests.moves import QUAY, sliding, with_exposure, with_shoot
from tests.places import PAN, box, place
from tests.present import present


def told(plan: Plan) -> dict[str, Finding]:
    return {finding.code: finding for finding in review(plan, compute_frames(plan)).findings}


@pytest.fixture(scope="module")
def behind_a_ridge(harbour: Plan) -> Plan:
    """Day to night with a ridge that takes the sun away long before sunset."""
    ridge = Block(
        name="high range",
        role="background",
        shape="ridge",
        distance_m=3000.0,
        skyline_deg=tuple((float(b), 7.0) for b in range(180, 361, 10)),
    )
    shoot = attrs.evolve(harbour.shoot, frames=120, interval_s=48.0)
    return attrs.evolve(harbour, blocks=(*harbour.blocks[:8], ridge), shoot=shoot)


def test_sun_hidden_asks_for_no_other_start_since_none_changes_the_skyline(behind_a_ridge: Plan) -> None:
    finding = advice(behind_a_ridge, "sun-hidden")
    assert finding.remedies == ()
    assert "however the shoot is timed" in finding.fix
    assert "high range" in finding.message


@pytest.mark.once
def test_move_midpoint_offers_nothing_that_unbalances_the_clip(behind_a_ridge: Plan) -> None:
    poses = behind_a_ridge.move.poses
    early = attrs.evolve(
        behind_a_ridge,
        move=attrs.evolve(behind_a_ridge.move, poses=(poses[0], attrs.evolve(poses[-1], at=0.35))),
    )
    before = review(early, compute_frames(early)).findings
    (finding,) = (each for each in before if each.code == "move-midpoint")
    for remedy in finding.remedies:
        plan = changed(early, remedy.changes)
        after = review(plan, compute_frames(plan)).findings
        assert helps(finding, before, after)
        assert "day-night-balance" not in {each.code for each in after if each.level != "note"}


def test_a_rig_without_a_rail_is_never_told_to_move_its_rail() -> None:
    tower = box("tower", 0.0, 60.0, (6.0, 6.0, 20.0), role="subject")
    wall = box("wall", 0.0, 20.0, (10.0, 1.0, 30.0))
    plan = place(tower, wall, slide=None, composition=Composition(subject="tower"))
    for finding in review(plan, compute_frames(plan)).findings:
        assert "rail" not in f"{finding.message} {finding.fix}".lower(), finding.code


def test_a_pan_across_north_the_long_way_round_is_told_the_short_one() -> None:
    tower = box("tower", 0.0, 60.0, (6.0, 6.0, 20.0), role="subject")
    poses = (Pose(at=0.0, pan_deg=350.0, tilt_deg=3.0), Pose(at=1.0, pan_deg=10.0, tilt_deg=3.0))
    plan = place(tower, poses=poses, composition=Composition(subject="tower"))
    assert aiming.short_way_round(plan) == {"move.poses[1].pan_deg": 370.0}
    assert {"move.poses[1].pan_deg": 370.0} in [
        each.changes for each in advice(plan, "subject-lost").remedies
    ]
    # a head with its stop in the north has to be set up the other way round
    north = attrs.evolve(plan, rig=attrs.evolve(plan.rig, pan=attrs.evolve(PAN, min_deg=0.0, max_deg=360.0)))
    assert aiming.short_way_round(north) == {
        "rig.pan.min_deg": -180.0,
        "rig.pan.max_deg": 180.0,
        "move.poses[0].pan_deg": -10.0,
    }
    there = attrs.evolve(north, move=attrs.evolve(plan.move, poses=(poses[0],)))
    assert aiming.short_way_round(there) == {}


def test_a_lens_that_looks_past_the_subject_at_both_poses_and_on_both_axes_is_turned_to_it() -> None:
    tower = box("tower", 0.0, 60.0, (6.0, 6.0, 20.0), role="subject")
    poses = (Pose(at=0.0, pan_deg=60.0, tilt_deg=-30.0), Pose(at=1.0, pan_deg=300.0, tilt_deg=40.0))
    plan = place(tower, poses=poses, composition=Composition(subject="tower"))
    finding = told(plan)["subject-lost"]
    assert "turn the lens to “tower”" in finding.fix.lower()
    after = told(changed(plan, finding.remedies[0].changes))
    assert not {"subject-lost", "subject-cut"} & set(after)


def test_the_usual_exposure_for_the_milky_way_is_not_called_too_dark() -> None:
    # f/2.8, 20 s, ISO 6400 is what a dark sky is given: common practice, no source
    plan = place(box("hut", 0.0, 30.0, (6.0, 6.0, 4.0), role="subject"))
    dark = attrs.evolve(
        plan,
        exposure=Exposure(f_number=2.8, iso_max=6400.0, shutter_max_s=20.0, night_look_stops=-1.0),
        shoot=attrs.evolve(plan.shoot, start=dt.datetime(2027, 12, 28, 23, 0), interval_s=30.0),
    )
    assert "exposure-short" not in told(dark)
    short = attrs.evolve(dark, exposure=Exposure(f_number=2.8, iso_max=400.0, shutter_max_s=20.0))
    assert told(short)["exposure-short"].level == "stop"


@pytest.mark.once
def test_star_trails_names_a_shutter_at_which_it_is_content() -> None:
    plan = place(box("hut", 0.0, 30.0, (6.0, 6.0, 4.0), role="subject"))
    trailing = attrs.evolve(
        plan,
        exposure=Exposure(f_number=2.8, iso_max=6400.0, shutter_max_s=30.0),
        shoot=attrs.evolve(plan.shoot, start=dt.datetime(2027, 12, 28, 23, 0), interval_s=34.0),
    )
    finding = advice(trailing, "star-trails")
    assert finding.remedies
    for remedy in finding.remedies:
        left = told(changed(trailing, remedy.changes)).get("star-trails")
        assert left is None or (finding.level, left.level) == ("warn", "note")


def running_into_the_night(interval_s: float = 9.0) -> Plan:
    """The quay from before sunset on, with exposures that get long in the last light."""
    evening = with_shoot(
        QUAY,
        anchor=Anchor(event="sunset", date=dt.date(2027, 3, 14), at=0.3),
        frames=300,
        interval_s=interval_s,
    )
    return with_exposure(evening, iso_max=200.0, artificial_ev100=None, shutter_max_s=30.0)


def test_an_interval_that_is_offered_holds_in_the_light_that_the_longer_shoot_runs_into() -> None:
    short = running_into_the_night()
    finding = advice(short, "interval-too-short")
    assert finding.value is not None
    # what these frames need isn't enough: the longer shoot goes on into darker light
    assert "interval-too-short" in told(running_into_the_night(on_the_timer_s(short, finding.value)))
    intervals = [each for each in finding.remedies if "shoot.interval_s" in each.changes]
    assert intervals
    for remedy in finding.remedies:
        assert "interval-too-short" not in told(changed(short, remedy.changes))


def test_more_frames_against_a_slide_too_fast_say_how_much_longer_one_stands_there() -> None:
    quick = with_shoot(sliding(QUAY, 0.0, 1.5), frames=240, interval_s=6.0)
    (remedy,) = (each for each in advice(quick, "screen-speed").remedies if "shoot.frames" in each.changes)
    more = remedy.changes["shoot.frames"] - 240
    minutes = round(more * 6.0 / 60.0)
    assert f"the shoot gets {minutes} min longer" in remedy_text(remedy)
    assert f"the clip gets {more / 24.0:.1f} s longer" in remedy_text(remedy)
    assert "screen-speed" not in told(changed(quick, remedy.changes))


@pytest.mark.parametrize("speed_px", [None, 400.0])
def test_a_travel_that_is_looked_for_stays_clear_of_the_end_stops(speed_px: float | None) -> None:
    slides = [pose.slide_m for pose in fit_travel(sliding(QUAY, 0.05, 1.45), speed_px).plan.move.poses]
    # a rail is homed to a centimetre or so: common practice, no source
    assert all(each is not None and 0.01 < each < 1.49 for each in slides)
    if speed_px is not None:
        assert max(filter(None, slides)) > 1.4  # as much as there is


@pytest.mark.parametrize(("step_s", "seconds"), [(0.5, 18.0), (0.5, 23.5), (1.0, 31.0), (0.1, 18.0)])
def test_a_clip_that_is_fitted_has_an_interval_that_the_timer_can_be_set_to(
    step_s: float, seconds: float
) -> None:
    plan = with_exposure(with_shoot(QUAY, interval_step_s=step_s), shutter_max_s=1.0)
    fitted = fit_clip(plan, seconds).plan.shoot
    assert fitted != plan.shoot
    assert fitted.interval_s / step_s == pytest.approx(round(fitted.interval_s / step_s))


def test_a_focus_on_the_subject_that_blurs_the_stars_says_so() -> None:
    near = box("hut", 0.0, 4.0, (1.5, 1.5, 2.5), role="subject")
    plan = place(near, composition=Composition(subject="hut"))
    night = attrs.evolve(
        plan,
        camera=attrs.evolve(plan.camera, focus_distance_m=60.0, focal_length_mm=35.0),
        exposure=Exposure(f_number=1.8, iso_max=6400.0, shutter_max_s=10.0),
        shoot=attrs.evolve(plan.shoot, start=dt.datetime(2027, 12, 28, 23, 0), interval_s=15.0),
    )
    finding = advice(night, "focus-depth")
    (remedy,) = finding.remedies
    assert set(remedy.changes) == {"camera.focus_distance_m"}
    assert "stars-soft" in told(changed(night, remedy.changes))
    assert "brings stars out of focus" in remedy_text(remedy)
    # a finding no graver than what it would bring is left, and that is said
    smaller = attrs.evolve(night, camera=attrs.evolve(night.camera, focal_length_mm=24.0))
    stopped_down = attrs.evolve(smaller, exposure=attrs.evolve(present(night.exposure), f_number=2.8))
    left = advice(stopped_down, "focus-depth")
    assert left.remedies == ()
    assert "brings stars out of focus; no value serves both" in left.fix


@pytest.mark.parametrize(
    ("path", "between", "settable"),
    # nominal values of ISO 516 and ISO 12232, the timer's half seconds, tenths of a stop, centimetres
    [
        ("exposure.f_number", 4.625, 4.5),
        ("exposure.f_number", 2.7, 2.8),
        ("exposure.iso_max", 1100.0, 1000.0),
        ("exposure.shutter_max_s", 7.0, 6.0),
        ("exposure.shutter_min_s", 0.0021, 1 / 500),
        ("shoot.interval_s", 9.13, 9.5),
        ("exposure.nd_stops", 2.25, 2.2),
        ("camera.focus_distance_m", 5.0625, 5.06),
        ("move.poses[0].pan_deg", 12.345, 12.35),
    ],
)
def test_a_value_between_the_plans_and_a_proposed_one_can_be_set_on_the_camera(
    path: str, between: float, settable: float
) -> None:
    assert trial._settable(QUAY, path, between) == pytest.approx(settable, abs=0.0051)


def test_a_night_with_light_that_falls_faster_than_the_camera_follows_is_told_one_interval() -> None:
    # too dark because the ramp lags, and jumps of brightness: one interval is the answer to both
    evening = with_shoot(QUAY, frames=60, interval_s=150.0)
    hurried = with_exposure(evening, meter="picture", artificial_ev100=None)
    found = told(hurried)
    first = found["ramp-steep"].remedies[0]
    after = told(changed(hurried, first.changes))
    assert "ramp-steep" not in after
    lags = [
        each for each in after.values() if each.code.startswith("exposure-") and each.fact("cause") == "lag"
    ]
    assert not lags
