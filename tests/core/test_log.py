"""A card read back: every planted fault is found and nothing else, and the light is learned as it was."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import attrs
import numpy as np
import pytest

from planner_core.frames import compute_frames
from planner_core.log.card import read_card
from planner_core.log.learn import taught
from planner_core.log.report import Log, log_lines, read_log
from planner_core.log.sequence import find_sequence
from planner_core.log.thumbnail import sampled_stops
from planner_core.output.log_page import log_page
from planner_core.plan.file import load_plan
from planner_core.plan.model import Plan, PlanError
from tests.shoots import frame_bytes, grey_thumbnail, write_card
from tests.two_towers import plan as two_towers

# 1,200 of them by hand: DUSKRAIL_LOG_FRAMES=1200
FRAMES = int(os.environ.get("DUSKRAIL_LOG_FRAMES", "240"))


@pytest.fixture(scope="module")
def evening(harbour: Plan) -> Plan:
    """The harbour's evening in as many frames, metered on the ground so that it is quick."""
    shoot = attrs.evolve(
        harbour.shoot,
        frames=FRAMES,
        interval_s=round(harbour.duration_s / (FRAMES - 1), 1),
        cloud_divisor=1.0,
    )
    assert harbour.exposure is not None
    exposure = attrs.evolve(harbour.exposure, meter="ground")
    return attrs.evolve(harbour, shoot=shoot, exposure=exposure)


def log_of(folder: Path, plan: Plan, offset_s: float | None = None) -> Log:
    shot = find_sequence(read_card(folder), plan.shoot.interval_s)
    assert shot is not None
    return read_log(plan, shot, offset_s)


@pytest.mark.once
def test_a_card_as_planned_has_nothing_to_tell(evening: Plan, tmp_path: Path) -> None:
    write_card(tmp_path, compute_frames(evening))
    log = log_of(tmp_path, evening)
    assert log.shot.faults == ()
    assert log.shot.count == FRAMES
    assert abs(log.real.clock.offset_s) < 0.5
    assert np.nanmax(np.abs(log.real.off_stops)) < 0.05
    assert log.shot.interval_s == pytest.approx(evening.shoot.interval_s, abs=0.01)


@pytest.mark.once
def test_every_planted_fault_is_found_with_its_frames_and_nothing_else(evening: Plan, tmp_path: Path) -> None:
    frames = compute_frames(evening)
    interval = evening.shoot.interval_s
    write_card(
        tmp_path,
        frames,
        ahead_s=3600.0 + 197.0,
        interval_s=interval + 0.01,
        fraction=True,
        without=(40, 41, 42),
    )
    (tmp_path / "S00060 copy.jpg").write_bytes((tmp_path / "S00060.jpg").read_bytes())
    whole = (tmp_path / "S00100.jpg").read_bytes()
    (tmp_path / "S00100.jpg").write_bytes(whole[:-40])
    start = dt.datetime.fromtimestamp(float(frames.utc_s[0]), evening.zone).replace(tzinfo=None)
    ramp = frames.ramp
    assert ramp is not None
    on_its_side = start + dt.timedelta(seconds=3797.0 + 149 * (interval + 0.01))
    settings = float(ramp.f_number[149]), float(ramp.shutter_s[149]), float(ramp.iso[149])
    (tmp_path / "S00150.jpg").write_bytes(frame_bytes(on_its_side, settings, orientation=6, fraction=True))
    (tmp_path / "IMG_7.jpg").write_bytes(
        frame_bytes(start + dt.timedelta(seconds=4000.3), (2.8, 0.01, 100), model="Invented phone")
    )
    log = log_of(tmp_path, evening)
    found = {(fault.kind, fault.frames, fault.files) for fault in log.shot.faults}
    assert found == {
        ("dropped", (40, 42), ()),
        ("doubled", (60, 60), ("S00060 copy.jpg", "S00060.jpg")),
        ("cut-off", (100, 100), ("S00100.jpg",)),
        ("turned", (150, 150), ("S00150.jpg",)),
        ("stranger", None, ("IMG_7.jpg",)),
    }
    clock = log.real.clock
    assert clock.zone_s == 3600.0
    assert clock.error_s == pytest.approx(197.0, abs=1.0)
    assert log.shot.interval_s == pytest.approx(interval + 0.01, abs=0.001)


@pytest.mark.once
def test_a_frame_that_holds_the_rest_up_is_late_and_the_rest_keep_their_numbers(
    evening: Plan, tmp_path: Path
) -> None:
    frames, late = compute_frames(evening), 0.45 * evening.shoot.interval_s
    paths = write_card(tmp_path, frames, fraction=True)
    ramp = frames.ramp
    assert ramp is not None
    for k in range(119, FRAMES):
        seconds = float(frames.utc_s[k]) + late
        clock = dt.datetime.fromtimestamp(seconds, evening.zone).replace(tzinfo=None)
        settings = float(ramp.f_number[k]), float(ramp.shutter_s[k]), float(ramp.iso[k])
        paths[k].write_bytes(frame_bytes(clock, settings, fraction=True))
    shot = log_of(tmp_path, evening).shot
    (fault,) = shot.faults
    assert (fault.kind, fault.frames) == ("late", (120, 120))
    assert fault.seconds == pytest.approx(late, abs=0.05)
    assert shot.count == FRAMES


@pytest.mark.once
def test_cloud_lamps_and_clock_are_learned_through_scatter(evening: Plan, tmp_path: Path) -> None:
    assert evening.exposure is not None
    truth = attrs.evolve(
        evening,
        shoot=attrs.evolve(evening.shoot, cloud_divisor=2.2),
        exposure=attrs.evolve(evening.exposure, artificial_ev100=3.4),
    )
    write_card(tmp_path, compute_frames(truth), ahead_s=-41.0, scatter_stops=0.08, fraction=True)
    log = log_of(tmp_path, evening)
    cloud, lamps = log.learned.cloud_divisor, log.learned.artificial_ev100
    assert cloud is not None
    assert lamps is not None
    assert cloud.value == pytest.approx(2.2, rel=0.05)
    assert lamps.value == pytest.approx(3.4, abs=0.2)
    assert log.real.clock.offset_s == pytest.approx(-41.0, abs=1.0)
    new = taught(evening, log.learned, "card 1")
    assert new.shoot.cloud_divisor == pytest.approx(cloud.value, abs=0.01)
    assert "card 1" in str(new.notes)


@pytest.mark.parametrize("cloud_divisor", [1.0, 4.0, 9.0])
def test_clouds_are_learned_from_few_frames_whatever_the_plan_expects(
    cloud_divisor: float, tmp_path: Path
) -> None:
    plan = two_towers(shoot__frames=12, shoot__interval_s=489.0)
    assert plan.exposure is not None
    planned = attrs.evolve(plan.exposure, meter="ground")
    plan = attrs.evolve(plan, exposure=planned)
    truth = attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, cloud_divisor=cloud_divisor))
    write_card(tmp_path, compute_frames(truth), fraction=True)
    learned = log_of(tmp_path, plan).learned
    assert learned.cloud_divisor is not None
    assert learned.artificial_ev100 is not None
    # a camera's thirds of a stop on twelve frames: a tenth of a stop in the middle of them
    assert learned.cloud_divisor.value == pytest.approx(cloud_divisor, rel=0.1)
    assert learned.artificial_ev100.value == pytest.approx(planned.artificial_ev100, abs=0.2)


def test_a_shot_of_the_example_evening_learns_what_was_planted(project_root: Path, tmp_path: Path) -> None:
    plan = load_plan(project_root / "example_scenes" / "evening" / "weir_slide.plan.json")
    assert plan.exposure is not None
    plan = attrs.evolve(
        plan,
        shoot=attrs.evolve(plan.shoot, frames=120, interval_s=39.0),
        exposure=attrs.evolve(plan.exposure, meter="ground"),
    )
    assert plan.exposure is not None
    truth = attrs.evolve(
        plan,
        shoot=attrs.evolve(plan.shoot, cloud_divisor=1.8),
        exposure=attrs.evolve(plan.exposure, artificial_ev100=4.2),
    )
    write_card(tmp_path, compute_frames(truth), ahead_s=73.0, scatter_stops=0.05, fraction=True)
    log = log_of(tmp_path, plan)
    new = taught(plan, log.learned, "weir")
    assert new.exposure is not None
    assert new.exposure.artificial_ev100 == pytest.approx(4.2, abs=0.2)
    assert new.shoot.cloud_divisor == pytest.approx(1.8, rel=0.05)
    assert log.real.clock.error_s == pytest.approx(73.0, abs=1.0)


def test_the_light_is_that_of_settings_and_thumbnails(evening: Plan, tmp_path: Path) -> None:
    thumbnails = {1: grey_thumbnail(0.5), FRAMES // 2: grey_thumbnail(-1.0), FRAMES: grey_thumbnail(-3.0)}
    write_card(tmp_path, compute_frames(evening), thumbnails=thumbnails)
    shot = find_sequence(read_card(tmp_path), evening.shoot.interval_s)
    assert shot is not None
    stops = sampled_stops(tmp_path, shot, most=FRAMES)
    # a level of 255 is 0.03 stops at middle grey and 0.1 stops three stops below it
    for frame, expected in ((1, 0.5), (FRAMES // 2, -1.0), (FRAMES, -3.0)):
        assert stops[frame - 1] == pytest.approx(expected, abs=0.1)
    log = read_log(evening, shot, picture_stops=stops)
    assert log.real.light_ev100[0] == pytest.approx(log.real.taken_ev100[0] + 0.5, abs=0.1)
    assert np.isfinite(log.real.light_ev100).sum() == 3
    assert any("By settings and thumbnails the light was" in line for line in log_lines(log))
    assert "in blue, of the light" in log_page(log)


@pytest.mark.once
def test_a_clock_offset_that_is_known_says_how_late_the_shoot_began(evening: Plan, tmp_path: Path) -> None:
    write_card(tmp_path, compute_frames(evening), ahead_s=300.0, fraction=True)
    log = log_of(tmp_path, evening, offset_s=60.0)
    assert log.real.late_s == pytest.approx(240.0, abs=1.0)
    assert any("the shoot began 4 min late" in line for line in log_lines(log))


@pytest.mark.once
def test_the_balance_as_shot_is_that_of_the_frames_about_the_event(evening: Plan, tmp_path: Path) -> None:
    write_card(tmp_path, compute_frames(evening), ahead_s=600.0, fraction=True)
    log = log_of(tmp_path, evening, offset_s=0.0)
    assert log.balance is not None
    at = evening.shoot.anchor.at if evening.shoot.anchor else 0.5
    early = round(at * (FRAMES - 1) - 600.0 / evening.shoot.interval_s)
    assert log.balance.bright_first == pytest.approx(early, abs=1)


def test_a_plan_without_exposure_has_nothing_to_compare(evening: Plan, tmp_path: Path) -> None:
    write_card(tmp_path, compute_frames(evening))
    log = log_of(tmp_path, attrs.evolve(evening, exposure=None))
    assert any("no exposure to compare" in line for line in log_lines(log))
    assert log.learned.cloud_divisor is None


@pytest.mark.once
def test_the_frames_of_another_day_ask_whether_it_is_this_plan(evening: Plan, tmp_path: Path) -> None:
    write_card(tmp_path, compute_frames(evening), ahead_s=-3.0 * 86400.0)
    log = log_of(tmp_path, evening)
    assert log.real.clock.zone_s == 0.0
    assert any("3 days before the plan's start: is this the plan" in line for line in log_lines(log))


def test_a_folder_without_a_sequence_says_what_it_has_not(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="no photographs"):
        read_card(tmp_path)
    with pytest.raises(PlanError, match="not a folder"):
        read_card(tmp_path / "nothing")
    (tmp_path / "a.jpg").write_bytes(frame_bytes(dt.datetime(2027, 3, 14, 18), (8, 0.1, 100)))
    assert find_sequence(read_card(tmp_path), 10.0) is None


@pytest.mark.once
def test_the_report_is_one_page_that_says_the_same(evening: Plan, tmp_path: Path) -> None:
    write_card(tmp_path, compute_frames(evening), without=(5,))
    log = log_of(tmp_path, evening)
    page = log_page(log)
    assert "Frame 5: missing." in page
    assert page.count("<svg") == 1
    assert "src=" not in page
    assert 'href="http' not in page
