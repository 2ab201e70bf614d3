"""Rays against solids: what they meet first, the ground, and the way to the sun."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import ArrayLike

from planner_core.place import visibility
from planner_core.place.visibility import GROUND, NOTHING
from planner_core.plan.model import Block, Plan
from planner_core.rig import geometry
from tests.places import box, place, post


def look(
    plan: Plan,
    bearing_deg: float,
    altitude_deg: float,
    origin: tuple[float, float, float] = (0.0, 0.0, 1.5),
    **options: Any,
) -> tuple[float, int]:
    distance, met = visibility.first_hits(
        plan, origin, geometry.direction(bearing_deg, altitude_deg, 0.0), **options
    )
    return float(distance), int(met)


def test_a_ray_stops_at_the_face_of_a_box() -> None:
    plan = place(box("house", 0, 20, (6, 4, 8)))
    assert look(plan, 0.0, 0.0) == (pytest.approx(18.0), 0)
    assert look(plan, 0.0, 60.0)[1] == NOTHING


def test_the_nearer_of_two_is_met() -> None:
    plan = place(box("house", 0, 20, (6, 4, 8)), post("lamp", 0, 5, 0.2, 4))
    assert look(plan, 0.0, 0.0)[1] == 1
    assert look(plan, 0.0, 0.0, ignoring=(1,))[1] == 0


def test_the_ground_reaches_to_the_horizon() -> None:
    plan = place()
    assert look(plan, 0.0, -45.0) == (pytest.approx(1.5 * np.sqrt(2.0)), GROUND)
    assert look(plan, 0.0, -0.01)[1] == GROUND
    assert look(plan, 0.0, 0.01)[1] == NOTHING


def test_what_lies_in_the_ground_shows_its_top() -> None:
    meadow = box("meadow", 0, 20, (40, 40, 1), role="ground", base=-1.0)
    assert look(place(meadow), 0.0, -20.0)[1] == 0


def test_a_ray_from_inside_a_solid_goes_nowhere() -> None:
    plan = place(box("shed", 0, 0, (4, 4, 4)))
    assert look(plan, 0.0, 0.0) == (0.0, 0)


def test_nothing_behind_counts() -> None:
    plan = place(box("house", 0, -20, (6, 4, 8)))
    assert look(plan, 0.0, 0.0)[1] == NOTHING


def test_rays_along_a_face_are_no_trouble() -> None:
    plan = place(box("house", 2, 20, (4, 4, 8)))  # its left side lies in the plane x = 0
    distance, met = look(plan, 0.0, 0.0)
    assert np.isfinite(distance)
    assert met in (0, NOTHING)


def clear(plan: Plan, points_m: ArrayLike, towards: ArrayLike) -> np.ndarray:
    return visibility.first_hits(plan, points_m, towards)[1] == NOTHING


def test_a_ridge_hides_the_low_sun_and_not_the_high_one() -> None:
    ridge = Block(
        role="background", shape="ridge", distance_m=3000.0, skyline_deg=((268.0, 4.0), (272.0, 4.0))
    )
    plan = place(ridge)
    eye = np.asarray(plan.rig.origin_m)  # from where the skyline was taken
    low, high = geometry.direction([270.0, 270.0], [3.9, 4.1], 0.0)
    assert not clear(plan, eye, low)
    assert clear(plan, eye, high)
    assert clear(plan, eye, geometry.direction(200.0, 3.9, 0.0))


def test_a_shadow_is_as_long_as_height_over_tan_altitude() -> None:
    # geometry: the end of a 10 m wall's shadow with the sun at 30°
    wall = box("wall", 0, 20, (200, 0.2, 10))
    plan = place(wall)
    sun = geometry.direction(0.0, 30.0, 0.0)
    end = 19.9 - 10.0 / np.tan(np.radians(30.0))
    points = np.array([(0.0, end + 0.05, 0.0), (0.0, end - 0.05, 0.0)])
    assert clear(plan, points, sun).tolist() == [False, True]


def test_arrays_of_rays_keep_their_shape() -> None:
    plan = place(box("house", 0, 20, (6, 4, 8)))
    directions = geometry.direction(np.linspace(-30, 30, 12).reshape(3, 4), 0.0, 0.0)
    distance, met = visibility.first_hits(plan, (0.0, 0.0, 1.5), directions)
    assert distance.shape == met.shape == (3, 4)


@pytest.mark.parametrize("count", [89, 144, 610])
def test_a_lattice_gives_every_place_a_column_and_a_row_of_its_own(count: int) -> None:
    places = visibility.lattice(count)
    for axis in (0, 1):
        steps = np.diff(np.sort(places[:, axis]))
        assert steps == pytest.approx(1.0 / count)


@pytest.mark.parametrize("count", [178, 754])
def test_a_lattice_and_its_mirror_image_are_the_same_places_each_in_a_column_of_its_own(count: int) -> None:
    places = visibility.mirrored_lattice(count)
    assert np.diff(np.sort(places[:, 0])) == pytest.approx(1.0 / count)
    image = np.column_stack([1.0 - places[:, 0], places[:, 1]])
    one, other = (each[np.lexsort(each.T.round(9))] for each in (places, image))
    np.testing.assert_allclose(one, other, atol=1e-12)


def test_a_lattice_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="100"):
        visibility.lattice(100)
    with pytest.raises(ValueError, match="179"):
        visibility.mirrored_lattice(179)
