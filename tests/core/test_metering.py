"""What a plan's meter does to its exposures: properties that hold on every example."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import pytest

from planner_core import FrameTable, Plan, compute_frames, load_plan, review
from planner_core.light import daylight
from planner_core.picture import metering
from planner_core.plan.model import METERS
from tests.two_towers import plan as two_towers

FOLDER = Path(__file__).parents[2] / "example_scenes"
EXAMPLES = ("harbour_light", "chapel_sunrise", "square_pan", "classic_mistakes")
# the looks that the examples had before there was another meter
NIGHT_LOOKS = {"harbour_light": -1.0, "chapel_sunrise": -0.7, "square_pan": -1.0, "classic_mistakes": -1.0}


def example(name: str, **exposure: Any) -> Plan:
    plan = load_plan(FOLDER / f"{name}.plan.json")
    assert plan.exposure is not None
    return attrs.evolve(plan, exposure=attrs.evolve(plan.exposure, **exposure))


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_ground_is_metered_as_before_there_was_another_meter(name: str) -> None:
    # ground_exposures.csv: written by the version before exposure.meter
    plan = example(name, meter="ground", day_look_stops=0.0, night_look_stops=NIGHT_LOOKS[name])
    frames = compute_frames(plan)
    assert frames.ramp is not None
    columns = {
        "illuminance_lux": frames.illuminance_lux,
        "scene_ev100": frames.scene_ev100,
        "shutter_s": frames.ramp.shutter_s,
        "iso": frames.ramp.iso,
        "exposure_error_stops": frames.ramp.error_stops,
    }
    with (Path(__file__).parent / "ground_exposures.csv").open(encoding="utf-8") as table:
        rows = [row for row in csv.DictReader(table) if row["example"] == name]
    assert rows
    for row in rows:
        for column, values in columns.items():
            now = float(values[int(row["frame"]) - 1])
            assert now == pytest.approx(float(row[column]), rel=1e-9, abs=1e-9), (row["frame"], column)


@pytest.mark.once
@pytest.mark.parametrize("meter", METERS[1:])
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_exposure_goes_with_the_light_by_no_more_than_a_third_of_a_stop(name: str, meter: str) -> None:
    frames = compute_frames(example(name, meter=meter))
    assert frames.ramp is not None
    darker = np.diff(np.log2(frames.ramp.shutter_s * frames.ramp.iso)) * -1.0
    assert np.abs(darker).max() <= 1.0 / 3.0 + 1e-6
    light = np.sign(frames.scene_ev100[-1] - frames.scene_ev100[0])
    assert np.all(light * np.diff(frames.scene_ev100) > 0.0)  # the examples' light goes one way
    assert np.all(light * darker >= -1e-9)


def with_all_light(frames: FrameTable, times: float) -> FrameTable:
    """The same frames in so many times the light, of sun, moon, night sky and lamps alike."""
    light = frames.light
    fields = {field.name: getattr(light, field.name) * times for field in attrs.fields(daylight.NaturalLight)}
    assert frames.plan.exposure is not None
    lamps = frames.plan.exposure.artificial_ev100
    brighter = None if lamps is None else lamps + np.log2(times)
    exposure = attrs.evolve(frames.plan.exposure, artificial_ev100=brighter)
    return attrs.evolve(
        frames,
        plan=attrs.evolve(frames.plan, exposure=exposure),
        light=daylight.NaturalLight(**fields),
        scene_ev100=frames.scene_ev100 + np.log2(times),
        known_readings=None,
    )


@pytest.mark.parametrize("name", ["harbour_light", "square_pan"])
def test_twice_the_light_is_one_stop_of_every_reading_under_a_sunless_sky(name: str) -> None:
    # a sun that is up shines by its altitude, and windows by how dark it is: so, twilight without them
    plan = example(name)
    plan = attrs.evolve(plan, blocks=tuple(attrs.evolve(block, lights=False) for block in plan.blocks))
    frames = compute_frames(plan)
    dark = frames.sun_altitude_deg[metering.read_frames(len(frames))] < -1.0
    once, twice = (metering.read_grid(each) for each in (frames, with_all_light(frames, 2.0)))
    stops = np.log2(twice.luminance_cd_m2[dark] / once.luminance_cd_m2[dark])
    assert stops == pytest.approx(np.ones(stops.shape), abs=1e-9)


def test_a_bright_wall_that_a_pan_passes_does_not_make_the_exposure_flicker() -> None:
    made = two_towers(
        move__poses=[
            {"at": 0.0, "slide_m": 0.5, "pan_deg": 200.0, "tilt_deg": 0.0},
            {"at": 1.0, "slide_m": 0.5, "pan_deg": 300.0, "tilt_deg": 0.0},
        ],
        exposure__meter="picture",
    )
    frames = compute_frames(made)
    assert frames.ramp is not None
    settings = np.log2(frames.ramp.shutter_s * frames.ramp.iso)
    turns = np.diff(np.sign(np.diff(settings)[np.diff(settings) != 0.0]))
    assert np.count_nonzero(turns) == 0


@pytest.mark.parametrize("interval_s", [4.0, 20.0])
@pytest.mark.parametrize("meter", ["picture", "sky"])
def test_the_suns_surroundings_that_come_in_and_go_do_not_make_the_exposure_flicker(
    meter: str, interval_s: float
) -> None:
    # a pan of 80° across a low sun, there and back, within minutes and within the hour
    pans = (220.0, 300.0, 220.0)
    made = two_towers(
        shoot={"frames": 180, "interval_s": interval_s, "write_s": 1.0, "start": "2027-03-14T17:45:00"},
        move__poses=[
            {"at": at, "slide_m": 0.5, "pan_deg": pan, "tilt_deg": 4.0}
            for at, pan in zip((0.0, 0.5, 1.0), pans, strict=True)
        ],
        exposure__meter=meter,
        blocks=[],
        composition=None,
    )
    frames = compute_frames(made)
    assert frames.ramp is not None
    read = frames.readings.of(made)
    assert np.ptp(read - frames.scene_ev100) > 0.9  # what is read does come and go
    steps = np.diff(np.log2(frames.ramp.shutter_s * frames.ramp.iso))
    assert np.abs(steps).max() <= 1.0 / 3.0 + 1e-6
    turns = np.count_nonzero(np.diff(np.sign(steps[steps != 0.0])))
    # the sun comes in twice: there and back, each once up and once down, and no frame more
    assert turns <= (3 if np.ptp(frames.scene_ev100) < 1.0 else 0)


def test_a_dark_sky_night_as_the_trade_takes_it_is_no_stop() -> None:
    # f/2.8, 20 s, ISO 6400: common practice, no source
    night = two_towers(
        shoot={"frames": 120, "interval_s": 25.0, "write_s": 1.0, "start": "2027-03-08T22:30:00"},
        exposure={"f_number": 2.8, "shutter_max_s": 20.0, "iso_max": 6400.0, "meter": "picture"},
    )
    frames = compute_frames(night)
    assert frames.scene_ev100.max() < -10.0
    about_light = ("exposure-short", "exposure-long", "shadows-lost", "highlights-lost", "ramp-steep")
    stops = [each.code for each in review(night, frames).findings if each.level == "stop"]
    assert not set(stops) & set(about_light)
    assert frames.ramp is not None
    assert frames.ramp.shutter_s[60] * frames.ramp.iso[60] == pytest.approx(20.0 * 6400.0)


def test_a_frame_is_read_the_same_alone_as_beside_others() -> None:
    # rays that stand for their neighbours stand for none in another frame
    plan = example("harbour_light")
    frames = compute_frames(plan)
    together = metering.read_grid(frames, np.array([0, 200, 479]))
    for place, frame in enumerate(together.at):
        alone = metering.read_grid(frames, np.array([frame]))
        apart = np.log2(alone.luminance_cd_m2[0].mean() / together.luminance_cd_m2[place].mean())
        assert abs(apart) < 0.02, frame


def test_another_floor_changes_the_lamps_of_the_same_place() -> None:
    # what is kept of a place is kept for every exposure of it
    frames, brighter = (compute_frames(example("square_pan", artificial_ev100=ev100)) for ev100 in (1.0, 5.0))
    again = compute_frames(attrs.evolve(brighter.plan, exposure=frames.plan.exposure))
    last, same, more = (
        metering.read_grid(each, np.array([len(each) - 1])) for each in (frames, again, brighter)
    )
    assert np.array_equal(same.luminance_cd_m2, last.luminance_cd_m2)
    ground = last.met == metering.LEVEL_GROUND
    stops = np.log2(more.luminance_cd_m2[ground].mean() / last.luminance_cd_m2[ground].mean())
    assert 2.5 < stops < 4.1  # four stops of lamps, less what dusk and the air add to both
