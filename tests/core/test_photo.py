"""Photographs in the plan: blocks stand where they are seen, and the review says where the two differ."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner_core.frames import compute_frames
from planner_core.photo import camera
from planner_core.photo.check import check_photo
from planner_core.photo.pins import corner_m
from planner_core.photo.sightings import block_from_photo, block_from_two, ridge_from_photo
from planner_core.plan.file import plan_from_dict, plan_to_dict
from planner_core.plan.model import Block, Photo, Pin, Plan, PlanError
from planner_core.review.assess import assess
from planner_core.rig.geometry import bearing_and_altitude


def photo(plan: Plan, **changes: object) -> Photo:
    """Taken from beside the rail, toward the scene's +Y."""
    values = {
        "file": "a.jpg",
        "width_px": 4000,
        "height_px": 3000,
        "place_m": (0.0, 0.0, 1.6),
        "bearing_deg": plan.site.scene_north_deg % 360,
        "fov_deg": 66.0,
        **changes,
    }
    return Photo(**values)  # type: ignore[arg-type]


def pixel(plan: Plan, of: Photo, point_m: tuple[float, float, float]) -> tuple[float, float]:
    aim = camera.photo_rotation(of, plan.site.scene_north_deg)
    toward = np.asarray(point_m) - np.asarray(of.place_m)
    (x, y), = camera.pixels(of, [toward], aim, camera.focal_px(of))  # fmt: skip
    return float(x), float(y)


@pytest.fixture
def field(harbour: Plan) -> Plan:
    """Level ground and a tower, nothing else."""
    tower = Block(name="tower", role="subject", shape="box", centre_m=(5, 60, 9), size_m=(4, 4, 18))
    ground = Block(name="field", role="ground", shape="box", centre_m=(0, 0, -0.5), size_m=(900, 900, 1))
    rig = attrs.evolve(harbour.rig, origin_m=(0.0, -1.0, 0.9))
    composition = attrs.evolve(harbour.composition, subject="tower") if harbour.composition else None
    return attrs.evolve(harbour, blocks=(tower, ground), rig=rig, composition=composition, photos=())


@given(
    st.floats(-30, 30), st.floats(10, 200), st.floats(1, 40),
    st.floats(-8, 8), st.floats(-6, 6), st.floats(40, 80),
)  # fmt: skip
def test_a_pixel_and_its_direction_are_each_others_inverse(
    x: float, y: float, z: float, altitude: float, roll: float, view: float
) -> None:
    of = Photo(
        file="a", width_px=4000, height_px=3000, place_m=(0, 0, 1), bearing_deg=0,
        altitude_deg=altitude, roll_deg=roll, fov_deg=view,
    )  # fmt: skip
    for one in (of, attrs.evolve(of, projection="cylinder")):
        aim, focal = camera.photo_rotation(one, 0.0), camera.focal_px(one)
        toward = np.array([x, y, z]) / np.linalg.norm([x, y, z])
        seen = camera.pixels(one, [toward], aim, focal)
        assert camera.directions(one, seen, aim, focal)[0] == pytest.approx(toward, abs=1e-9)


def test_a_camera_that_leans_right_sees_the_horizon_fall_to_the_right(field: Plan) -> None:
    # the right-hand end of the horizon stands higher in a picture whose camera leans to the left
    leaning = photo(field, roll_deg=5.0)
    left, right = pixel(field, leaning, (-500, 1000, 1.6)), pixel(field, leaning, (500, 1000, 1.6))
    assert right[1] < left[1]


def test_a_block_stands_on_the_ground_where_the_photograph_shows_its_foot(field: Plan) -> None:
    of = photo(field, altitude_deg=2.0, roll_deg=1.5)
    found = block_from_photo(field, of, "tower", pixel(field, of, (5, 58, 0)), pixel(field, of, (5, 58, 18)))
    assert found.centre_m == pytest.approx((5, 58, 9), abs=0.05)
    assert found.size_m is not None
    assert found.size_m[2] == pytest.approx(18, abs=0.05)


def test_a_foot_above_the_horizon_asks_for_a_distance(field: Plan) -> None:
    of = photo(field)
    with pytest.raises(PlanError, match="give its distance"):
        block_from_photo(field, of, "peak", (2000, 1400), (2000, 1300))
    found = block_from_photo(field, of, "peak", (2000, 1400), (2000, 1300), distance_m=500.0)
    assert found.centre_m is not None
    assert np.hypot(*found.centre_m[:2]) == pytest.approx(500, abs=0.01)


def test_two_photographs_place_a_block_between_them(field: Plan) -> None:
    one, other = photo(field, place_m=(-20, 0, 1.6)), photo(field, place_m=(25, 5, 2.0), roll_deg=-2.0)
    foot, top = (3.0, 80.0, 0.0), (3.0, 80.0, 24.0)
    found = block_from_two(
        field, (one, other), "mill",
        (pixel(field, one, foot), pixel(field, other, foot)),
        (pixel(field, one, top), pixel(field, other, top)),
    )  # fmt: skip
    assert found.centre_m == pytest.approx((3, 80, 12), abs=0.01)
    with pytest.raises(PlanError, match="two places apart"):
        block_from_two(field, (one, one), "mill", ((2000, 1600),) * 2, ((2000, 1400),) * 2)


def test_a_skyline_along_clicks_is_a_ridge_as_seen_from_the_rail(field: Plan) -> None:
    of = photo(field)
    crest = [(-900.0, 3000.0, 240.0), (0.0, 3132.0, 300.0), (800.0, 3028.0, 180.0)]
    found = ridge_from_photo(field, of, "hills", [pixel(field, of, point) for point in crest], 3132.0)
    for (bearing, altitude), point in zip(found.skyline_deg or (), crest, strict=True):
        seen, rise = bearing_and_altitude(np.subtract(point, field.rig.origin_m), field.site.scene_north_deg)
        assert (bearing - seen + 180) % 360 - 180 == pytest.approx(0, abs=0.05)
        assert altitude == pytest.approx(float(rise), abs=0.05)


def test_a_plan_keeps_its_photographs_without_their_files(field: Plan) -> None:
    pin = Pin(x_px=2000, y_px=900, block="tower")
    plan = attrs.evolve(field, photos=(photo(field, pins=(pin, Pin(x_px=1, y_px=2, disc="sun"))),))
    assert plan_from_dict(plan_to_dict(plan)) == plan


@pytest.mark.parametrize(
    ("pin", "told"),
    [
        ({"x_px": 1, "y_px": 2}, "say what is pinned"),
        ({"x_px": 1, "y_px": 2, "block": "tower", "disc": "sun"}, "say what is pinned"),
        ({"x_px": 1, "y_px": 2, "bearing_deg": 10}, r"pins\[0\].altitude_deg"),
        ({"x_px": 1, "y_px": 2, "block": "tower", "corner": "left"}, "is not a corner"),
        ({"x_px": 1, "y_px": 2, "disc": "mars"}, "is not known"),
    ],
)
def test_a_pin_that_says_nothing_or_too_much_is_refused(
    field: Plan, pin: dict[str, object], told: str
) -> None:
    document = plan_to_dict(attrs.evolve(field, photos=(photo(field),)))
    document["photos"][0]["pins"] = [pin]
    with pytest.raises(PlanError, match=told) as error:
        plan_from_dict(document)
    assert str(error.value).startswith("photos[0].pins[0]")


def pinned(field: Plan, aside_m: float) -> Plan:
    """A photograph that shows the tower's top where it is, and the plan's tower so far beside it."""
    of = photo(field)
    x, y = pixel(field, of, tuple(corner_m(field, field.blocks[0], "top", "")))
    tower = attrs.evolve(field.blocks[0], centre_m=(5 + aside_m, 60, 9))
    pins = (Pin(x_px=x, y_px=y, block="tower"),)
    return attrs.evolve(field, blocks=(tower, field.blocks[1]), photos=(attrs.evolve(of, pins=pins),))


@pytest.mark.parametrize(("aside_m", "warns"), [(0.0, False), (0.50, False), (0.56, True), (-3.0, True)])
def test_a_subject_half_a_degree_beside_its_photograph_is_a_warning(
    field: Plan, aside_m: float, warns: bool
) -> None:
    # at 60 m half a degree is 0.53 m
    plan = pinned(field, aside_m)
    found = [one for one in assess(plan, compute_frames(plan)).findings if one.code == "photo-differs"]
    assert bool(found) == warns
    if warns:
        assert found[0].level == "warn"
        assert ("right" if aside_m > 0 else "left") in found[0].message


def test_each_pin_is_compared_in_pixels_and_degrees(field: Plan) -> None:
    plan = pinned(field, 3.0)
    (one,) = check_photo(plan, plan.photos[0])
    wanted = np.degrees(np.arctan2(8, 60) - np.arctan2(5, 60))
    assert one.bearing_off_deg == pytest.approx(wanted, abs=1e-6)
    assert one.off_px > 100.0


def test_a_pin_on_a_block_that_is_gone_is_said_and_nothing_fails(field: Plan) -> None:
    plan = pinned(field, 0.0)
    plan = attrs.evolve(plan, blocks=plan.blocks[1:])
    (found,) = (one for one in assess(plan, compute_frames(plan)).findings if one.code == "photo-pin-lost")
    assert "“tower”" in found.message
