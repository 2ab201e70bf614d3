"""A photograph's aim, field of view and place come out as OpenCV's solvePnP and skyfield have them."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import attrs
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from planner_core.photo import camera
from planner_core.photo.pins import corner_m
from planner_core.photo.solve import Solved, solve_photo
from planner_core.plan.file import load_plan
from planner_core.plan.model import Block, Photo, Pin, Plan
from tests.de421 import Ephemeris421

Array = NDArray[np.float64]

# two hundred of each by hand: DUSKRAIL_PHOTO_SCENES=200
SCENES = int(os.environ.get("DUSKRAIL_PHOTO_SCENES", "12"))
ROOT = Path(__file__).resolve().parents[2]


def scene(rng: np.random.Generator) -> Plan:
    """An invented place of six to nine blocks before a camera about the origin."""
    blocks = []
    for number in range(rng.integers(6, 10)):
        distance, turn, height = rng.uniform(8, 150), np.radians(rng.uniform(-25, 25)), rng.uniform(1, 20)
        centre = (distance * np.sin(turn), distance * np.cos(turn), height / 2)
        blocks.append(
            Block(name=f"b{number}", role="background", shape="box", centre_m=centre, size_m=(1, 1, height))
        )
    plan = load_plan(ROOT / "example_scenes" / "harbour_light.plan.json")
    return attrs.evolve(plan, blocks=tuple(blocks), photos=())


def photographed(plan: Plan, rng: np.random.Generator, noise_px: float) -> tuple[Photo, Array]:
    """A photograph as it really was, with its pins, and the pinned points (n, 3)."""
    true = Photo(
        file="a.jpg",
        width_px=4032,
        height_px=3024,
        place_m=(rng.uniform(-3, 3), rng.uniform(-3, 3), rng.uniform(1, 3)),
        bearing_deg=(plan.site.scene_north_deg + rng.uniform(-8, 8)) % 360,
        altitude_deg=rng.uniform(-5, 10),
        roll_deg=rng.uniform(-5, 5),
        fov_deg=rng.uniform(55, 75),
    )
    corners = ["top" if number % 2 else "foot" for number in range(len(plan.blocks))]
    points = np.array(
        [corner_m(plan, block, corner, "") for block, corner in zip(plan.blocks, corners, strict=True)]
    )
    aim = camera.photo_rotation(true, plan.site.scene_north_deg)
    seen = camera.pixels(true, points - np.asarray(true.place_m), aim, camera.focal_px(true))
    seen = seen + rng.normal(0.0, noise_px, seen.shape) if noise_px else seen
    pins = tuple(
        Pin(x_px=x, y_px=y, block=block.name, corner=corner)
        for (x, y), block, corner in zip(seen.tolist(), plan.blocks, corners, strict=True)
    )
    return attrs.evolve(true, pins=pins), points


def as_the_file_says(true: Photo, rng: np.random.Generator) -> Photo:
    """What GPS, compass and tags make of it: some metres, degrees and a few percent off."""
    x, y, _ = true.place_m
    return attrs.evolve(
        true,
        place_m=(x + rng.normal(0, 5), y + rng.normal(0, 5), 1.6),
        bearing_deg=(true.bearing_deg + rng.uniform(-15, 15)) % 360,
        altitude_deg=0.0,
        roll_deg=0.0,
        fov_deg=65.0,
    )


def by_opencv(plan: Plan, solved: Solved, points: Array) -> tuple[Array, Array]:
    """Rotation scene-from-camera and place by solvePnP, for the field of view that was solved."""
    photo = solved.photo
    focal = camera.focal_px(photo)
    matrix = np.array([[focal, 0, photo.width_px / 2], [0, focal, photo.height_px / 2], [0, 0, 1]])
    pixels = np.array([(pin.x_px, pin.y_px) for pin in photo.pins])
    axes = np.diag([1.0, -1.0, -1.0])  # OpenCV looks along +Z with Y down
    start = axes @ camera.photo_rotation(photo, plan.site.scene_north_deg).T
    turn, shift = cv2.Rodrigues(start)[0], -start @ np.asarray(photo.place_m)
    _, turn, shift = cv2.solvePnP(
        points, pixels, matrix, np.zeros(4), turn, shift.reshape(3, 1), True, cv2.SOLVEPNP_ITERATIVE
    )
    away = cv2.Rodrigues(turn)[0]
    return away.T @ axes, (-away.T @ shift).ravel()


@pytest.mark.once
@pytest.mark.parametrize("noise_px", [0.0, 2.0])
@pytest.mark.parametrize("number", range(SCENES))
def test_aim_view_and_place_are_those_of_solvepnp(number: int, noise_px: float) -> None:
    rng = np.random.default_rng(1000 * number + int(noise_px))
    plan = scene(rng)
    true, points = photographed(plan, rng, noise_px)
    solved = solve_photo(plan, as_the_file_says(true, rng), place_known=number % 2 == 0)
    assert solved.solved == ("aim", "roll", "view", "place")
    aim, place = by_opencv(plan, solved, points)
    ours = camera.photo_rotation(solved.photo, plan.site.scene_north_deg)
    between = np.degrees(np.arccos(np.clip((np.trace(ours.T @ aim) - 1) / 2, -1, 1)))
    assert between < 0.01
    assert np.linalg.norm(place - np.asarray(solved.photo.place_m)) < 0.01
    if noise_px == 0.0:
        assert np.linalg.norm(np.subtract(solved.photo.place_m, true.place_m)) < 1e-3
        assert solved.photo.fov_deg == pytest.approx(true.fov_deg, abs=1e-3)
    else:
        # where it stood lies within what the solution says of itself: with so few pins the deviation is
        # itself an estimate (Student, Biometrika 6, 1908), so five of them
        assert solved.certainty.place_m is not None
        off = np.abs(np.subtract(solved.photo.place_m, true.place_m))
        assert np.all(off < 5.0 * np.array(solved.certainty.place_m))


@pytest.mark.once
def test_the_one_wrong_pin_is_named() -> None:
    rng = np.random.default_rng(5)
    plan = scene(rng)
    true, _ = photographed(plan, rng, 1.0)
    pins = list(true.pins)
    pins[3] = attrs.evolve(pins[3], x_px=pins[3].x_px + 90.0)
    solved = solve_photo(plan, attrs.evolve(as_the_file_says(true, rng), pins=tuple(pins)))
    assert solved.off == 3
    assert solved.off_px == pytest.approx(90.0, rel=0.5)
    assert solve_photo(plan, true).off is None


@pytest.mark.parametrize("disc", ["sun", "moon"])
def test_sun_and_moon_aim_a_photograph_as_skyfield_places_them(
    disc: str, harbour: Plan, de421: Ephemeris421
) -> None:
    utc = (
        dt.datetime(2027, 3, 14, 18, 0, tzinfo=dt.UTC)
        if disc == "sun"
        else dt.datetime(2027, 3, 14, 22, tzinfo=dt.UTC)
    )
    site = harbour.site
    azimuth, altitude = de421.position(disc, [utc.timestamp()], site.latitude_deg, site.longitude_deg)
    photo = Photo(
        file="a.jpg", width_px=4000, height_px=3000, place_m=(0, 0, 2), bearing_deg=0, fov_deg=60, taken=utc,
        pins=(Pin(x_px=2000, y_px=1500, disc=disc),),
    )  # fmt: skip
    solved = solve_photo(harbour, photo).photo
    assert solved.bearing_deg == pytest.approx(float(azimuth[0]), abs=0.05)
    # refraction lifts the disc by less than 0.6°, never lowers it (Bennett 1982)
    assert -0.03 <= solved.altitude_deg - float(altitude[0]) <= 0.6


def test_one_pin_turns_two_level_and_three_widen(harbour: Plan) -> None:
    rng = np.random.default_rng(8)
    plan = scene(rng)
    true, _ = photographed(plan, rng, 0.0)
    at_its_place = attrs.evolve(true, bearing_deg=0.0, altitude_deg=0.0, roll_deg=0.0)
    one = solve_photo(plan, attrs.evolve(at_its_place, roll_deg=true.roll_deg, pins=true.pins[:1]))
    assert one.solved == ("aim",)
    two = solve_photo(plan, attrs.evolve(at_its_place, pins=true.pins[:2]))
    assert two.solved == ("aim", "roll")
    three = solve_photo(plan, attrs.evolve(at_its_place, fov_deg=50.0, pins=true.pins[:3]))
    assert three.solved == ("aim", "roll", "view")
    for found in (one.photo, two.photo, three.photo):
        assert found.bearing_deg == pytest.approx(true.bearing_deg, abs=1e-3)
        assert found.altitude_deg == pytest.approx(true.altitude_deg, abs=1e-3)
    assert two.photo.roll_deg == pytest.approx(true.roll_deg, abs=1e-3)
    assert three.photo.fov_deg == pytest.approx(true.fov_deg, abs=1e-3)


def test_a_panorama_is_aimed_by_its_pins() -> None:
    rng = np.random.default_rng(11)
    plan = scene(rng)
    true, points = photographed(plan, rng, 0.0)
    pano = attrs.evolve(true, projection="cylinder", fov_deg=150.0, altitude_deg=0.0)
    aim = camera.photo_rotation(pano, plan.site.scene_north_deg)
    seen = camera.pixels(pano, points - np.asarray(pano.place_m), aim, camera.focal_px(pano))
    pins = tuple(
        attrs.evolve(pin, x_px=float(x), y_px=float(y)) for pin, (x, y) in zip(pano.pins, seen, strict=True)
    )
    solved = solve_photo(plan, attrs.evolve(pano, pins=pins, bearing_deg=20.0, fov_deg=120.0)).photo
    assert solved.bearing_deg == pytest.approx(pano.bearing_deg, abs=1e-3)
    assert solved.fov_deg == pytest.approx(150.0, abs=1e-2)
