"""Street lamps' pools of light and stars come out of Cycles as the core says."""

from __future__ import annotations

from typing import Any

import attrs
import numpy as np
import pytest

from blender_addon.scene import nightlights, parts, starfield
from blender_addon.scene.build import build_scene
from planner_core import FrameTable, compute_frames
from planner_core.draft import stars
from planner_core.draft.sky import picture_light
from planner_core.light import lamps, sky
from planner_core.light.colour import LUMINANCE
from planner_core.plan.file import plan_from_dict
from tests.addon.renders import seen_from_above
from tests.addon.scenes import empty_scene
from tests.two_towers import document

LAMP_M = (0.0, 300.0)
HEIGHT_M = 6.0


def at_hour(frames: FrameTable, hour: int, count: int = 3) -> FrameTable:
    """The same shoot begun at another hour."""
    shoot = frames.plan.shoot
    assert shoot.start is not None
    shoot = attrs.evolve(shoot, frames=count, start=shoot.start.replace(hour=hour))
    return compute_frames(attrs.evolve(frames.plan, shoot=shoot))


def night(**changes: Any) -> FrameTable:
    """Deep night at one place with one street lamp, each frame metered as it is."""
    made = document(**changes)
    made["blocks"] = [
        {
            "name": "North silo",
            "role": "subject",
            "shape": "post",
            "centre_m": [0, 900, 5],
            "size_m": [5, 5, 10],
        },
        {
            "name": "Street lamp",
            "role": "background",
            "shape": "post",
            "centre_m": [*LAMP_M, HEIGHT_M / 2.0],
            "size_m": [0.2, 0.2, HEIGHT_M],
            "lights": True,
        },
    ]
    made["shoot"] = {"frames": 3, "interval_s": 120.0, "write_s": 1.0, "start": "2027-03-14T23:00:00"}
    return compute_frames(plan_from_dict(made))


@pytest.fixture(scope="module")
def around_the_lamp(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Luminance of the ground over its colour, by the floor: to the pool's reach, and 60 m off."""
    frames = night(exposure__artificial_ev100=4.0, exposure__night_look_stops=0.0)
    scene = empty_scene()
    build_scene(frames.plan, frames, scene)
    nightlights.draw_pools(scene, frames)
    assert len(parts.objects_of(scene, nightlights.POOL_PART)) == 1
    scene.frame_set(1)
    path = tmp_path_factory.mktemp("night") / "ground.exr"
    ground: Any = next(thing for thing in scene.objects if thing.name.startswith("Level ground"))
    albedo = np.array(ground.color[:3]) @ LUMINANCE
    floor = float(picture_light(frames).lamps[0] @ LUMINANCE)
    reach = lamps.POOL_REACH * HEIGHT_M
    near = seen_from_above(scene, LAMP_M, 2.0 * reach, 48, 64, path) @ LUMINANCE / albedo / floor
    far = seen_from_above(scene, (0.0, 360.0), 4.0, 8, 64, path) @ LUMINANCE / albedo / floor
    return {"near": near, "far": far, "reach": reach}


def test_on_average_the_pool_is_the_artificial_floor(around_the_lamp: dict[str, Any]) -> None:
    near = around_the_lamp["near"]
    place = (np.arange(48) + 0.5) / 24.0 - 1.0
    disc = np.hypot(*np.meshgrid(place, place)) <= 1.0
    assert float(np.mean(near[disc])) == pytest.approx(1.0, abs=0.08)


def test_it_is_bright_below_the_lamp_and_dim_far_off(around_the_lamp: dict[str, Any]) -> None:
    near, far = around_the_lamp["near"], around_the_lamp["far"]
    assert near.max() > 2.5
    assert float(np.mean(far)) == pytest.approx(1.0 - lamps.POOL_SHARE, abs=0.05)


def test_by_day_the_lamp_casts_no_pool() -> None:
    day = at_hour(night(), 12)
    scene = empty_scene()
    build_scene(day.plan, day, scene)
    nightlights.draw_pools(scene, day)
    scene.frame_set(1)
    lamp: Any = parts.object_of(scene, nightlights.POOL_PART)
    assert lamp.data.energy == 0.0


def test_a_lamp_high_up_and_a_post_without_light_cast_no_pool() -> None:
    frames = night()
    post = frames.plan.blocks[1]
    for other in (
        attrs.evolve(post, lights=None),
        attrs.evolve(post, centre_m=(*LAMP_M, 15.0), size_m=(0.2, 0.2, 30.0)),
    ):
        plan = attrs.evolve(frames.plan, blocks=(frames.plan.blocks[0], other))
        assert len(lamps.pools(plan, (0.0, 0.0, 1.0)).on_lux) == 0


def test_no_stars_are_drawn_for_a_plan_that_is_over_before_dark() -> None:
    day = at_hour(night(), 12)
    scene = empty_scene()
    build_scene(day.plan, day, scene)
    assert starfield.draw_stars(scene, day) is None


def test_stars_turn_with_the_sky_over_the_site() -> None:
    frames = compute_frames(attrs.evolve(night().plan, exposure=None))
    frames = attrs.evolve(frames, scene_ev100=np.full(3, -6.0))  # as long an exposure as shows many
    scene = empty_scene()
    build_scene(frames.plan, frames, scene)
    thing = starfield.draw_stars(scene, frames)
    assert thing is not None
    mesh: Any = thing.data
    site = frames.plan.site
    for number in (1, 3):
        scene.frame_set(number)
        world = np.array(thing.evaluated_get(parts.depsgraph_of(scene)).matrix_world)
        middles = np.array([face.center for face in mesh.polygons][:40]) @ world[:3, :3].T
        middles /= np.linalg.norm(middles, axis=1)[:, None]
        rotation = stars.sky_rotation(
            frames.utc_s[number - 1], site.latitude_deg, site.longitude_deg, site.scene_north_deg
        )
        expected = stars.bright_stars().directions[:40] @ rotation.T
        assert np.abs(middles - expected).max() < np.radians(0.01)


def test_a_stars_light_in_the_picture_is_that_of_its_magnitude() -> None:
    # Pogson's scale and 2.54e-6 lux at magnitude 0 (stars.py); spread over a spot, times the spot, it is back
    frames = attrs.evolve(
        compute_frames(attrs.evolve(night().plan, exposure=None)), scene_ev100=np.full(3, -6.0)
    )
    for spot_sr in (1e-6, 4e-6):
        _, levels = stars.seen(frames, spot_sr)
        lux = levels @ LUMINANCE * spot_sr / np.pi
        assert lux == pytest.approx(stars.star_lux(stars.bright_stars().magnitudes[: len(lux)]), rel=1e-6)


def test_twilight_drowns_the_stars() -> None:
    # at −4° a star of magnitude 1 is little against the sky overhead; limit without source
    dusk = at_hour(compute_frames(attrs.evolve(night().plan, exposure=None)), 17, 200)
    frame = int(np.argmin(np.abs(dusk.sun_altitude_deg + 4.0)))
    light = picture_light(dusk)
    spot = starfield.spot_rad(dusk, 640.0) ** 2
    star = np.pi * float(stars.star_lux(1.0)) / spot * light.level_per_lux[frame]
    overhead = float(sky.radiance(light, frame, [0.0, 0.0, 1.0]) @ LUMINANCE)
    assert star < 0.05 * overhead
