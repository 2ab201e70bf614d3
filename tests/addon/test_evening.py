"""The evening view: the fast look's picture of a frame, drawn without touching anything in the file."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon import compat
from blender_addon.render import engines, evening, looks, viewtransform
from blender_addon.scene import parts
from blender_addon.scene.materials import COLOURS
from planner_core import Plan, compute_frames, load_plan
from tests.addon.scenes import colours_of_points, drawn, empty_scene
from tests.two_towers import plan

EXAMPLES = sorted(Path(__file__).parents[2].glob("example_scenes/*.plan.json"))
OWN_WORK_S = 0.020  # of a frame: as asked for; half of 24 frames a second is left to Blender


def short_evening(**changes: Any) -> Plan:
    """The evening in seven frames, from day into night."""
    return plan(shoot__frames=7, shoot__interval_s=15.0 * 359 / 6, **changes)


def prepared(one: Plan) -> evening.EveningPicture:
    scene, frames = drawn(one)
    return evening.EveningPicture(scene, frames)


def sizes_of_file() -> dict[str, int]:
    """How many of each kind of data the file has."""
    kinds = (name for name in dir(bpy.data) if not name.startswith("_"))
    owners = {name: getattr(bpy.data, name) for name in kinds}
    return {
        name: len(owner) for name, owner in owners.items() if type(owner).__name__ == "bpy_prop_collection"
    }


def test_its_colours_are_those_of_the_fast_look() -> None:
    one = short_evening()
    picture = prepared(one)
    scene, frames = drawn(one)
    look = looks.Look(scene, frames, engines.Engine(name=compat.WORKBENCH, words="Workbench"))
    for number in (1, 4, 7):
        look.show(number)
        ours = picture.frame(number)
        (dome,) = parts.objects_of(scene, "sky dome")
        mesh: Any = dome.data
        theirs = colours_of_points(mesh)
        shade = 1.0 - scene.display.shading.shadow_intensity if scene.display.shading.show_shadows else 1.0
        assert len(mesh.vertices) >= len(picture.sky.outward)
        count = len(picture.sky.outward)
        assert theirs[:count] * shade == pytest.approx(ours.sky[:count], rel=0.02, abs=1e-4)


def test_it_gets_darker_from_frame_to_frame_and_bluer_at_dusk() -> None:
    picture = prepared(short_evening(exposure__night_look_stops=-2.0))
    means = np.array([picture.frame(number).sky.mean(axis=0) for number in range(1, 8)])
    assert means[-1].sum() < 0.5 * means[0].sum()
    assert means[-1, 2] / means[-1, 0] > means[3, 2] / means[3, 0]


def test_the_file_has_nothing_more_and_nothing_else_afterwards() -> None:
    scene, frames = drawn(short_evening())
    before = sizes_of_file()
    marks = {obj.name: list(obj.get(parts.WRITTEN_KEY, ())) for obj in scene.objects}
    picture = evening.EveningPicture(scene, frames)
    viewtransform.table()
    picture.frame(3)
    assert sizes_of_file() == before
    assert {obj.name: list(obj.get(parts.WRITTEN_KEY, ())) for obj in scene.objects} == marks
    assert not [mesh for mesh in bpy.data.meshes if COLOURS in mesh.color_attributes]


def test_what_stands_before_the_lens_is_in_the_picture_where_the_core_has_it() -> None:
    one = short_evening()
    picture = prepared(one)
    frames = compute_frames(one)
    from planner_core.picture import projection
    from planner_core.place.blocking import block_mesh, subject_indices

    (number,) = subject_indices(one)
    corners = block_mesh(one, one.blocks[number]).vertices_m
    for frame in (0, 6):
        seen = np.column_stack([corners - picture.eye, np.ones(len(corners))])
        shown = seen @ picture.frame(frame + 1).to_picture.T
        across = (0.5 + 0.5 * shown[:, 0] / shown[:, 3]) * one.clip.width_px
        down = (0.5 - 0.5 * shown[:, 1] / shown[:, 3]) * one.clip.height_px
        focal_px = projection.delivered_crop(one.camera, one.clip).focal_px
        local = (corners - frames.camera_m[frame]) @ frames.camera_rotation[frame]
        expected = focal_px * local[:, :2] / -local[:, 2:] * [1.0, -1.0]
        expected += [one.clip.width_px / 2.0, one.clip.height_px / 2.0]
        assert np.column_stack([across, down]) == pytest.approx(expected, abs=0.5)


def test_shadows_fall_only_where_the_sun_shines() -> None:
    picture = prepared(short_evening())
    day, night = picture.frame(1), picture.frame(7)
    assert day.in_sun is not None
    assert (day.shaded <= day.lit + 1e-6).all()
    assert (day.shaded < 0.9 * day.lit).any()
    assert night.in_sun is None
    assert np.array_equal(night.shaded, night.lit)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name.split(".")[0])
def test_its_own_work_on_a_frame_of_the_examples_is_short(path: Path) -> None:
    one = load_plan(path)
    picture = prepared(one)
    picture.frame(1)
    took = []
    for number in range(2, one.shoot.frames, max(1, one.shoot.frames // 9)):
        began = time.thread_time()
        picture.frame(number)
        took.append(time.thread_time() - began)
    assert np.median(took) < OWN_WORK_S


def test_a_grey_card_is_shown_as_the_clip_shows_it() -> None:
    # 18 % in sRGB (IEC 61966-2-1) is 118 of 255
    empty_scene()
    table = viewtransform.table()
    steps = np.log2(0.18) - viewtransform.DARKEST_STOPS
    place = steps * (viewtransform.STEPS - 1) / (viewtransform.BRIGHTEST_STOPS - viewtransform.DARKEST_STOPS)
    low = int(place)
    shown = table[low, low, low, :3] + (place - low) * (
        table[low + 1, low + 1, low + 1, :3] - table[low, low, low, :3]
    )
    assert 255.0 * shown == pytest.approx([118.0] * 3, abs=1.0)
    greys = table[range(viewtransform.STEPS), range(viewtransform.STEPS), range(viewtransform.STEPS), 0]
    assert (np.diff(greys) >= 0.0).all()
    assert greys[0] < 0.01
    assert greys[-1] > 0.9
