"""A grey card in the plan's light comes out of Cycles as the incident meter's reading says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import attrs
import bpy
import numpy as np
import pytest

from blender_addon import compat
from blender_addon.render import engines
from blender_addon.scene.build import build_scene
from planner_core import FrameTable, Plan, compute_frames
from planner_core.draft import sky
from planner_core.light.colour import LUMINANCE
from planner_core.plan.file import plan_from_dict
from tests.addon.renders import seen_from_above
from tests.addon.scenes import empty_scene
from tests.two_towers import document

CARD = 0.18
EEVEE_WITHIN = 0.15
SAMPLES = {compat.CYCLES: 128, compat.EEVEE: 2}


def long_day(**changes: Any) -> Plan:
    """From high sun to deep dusk at one place, with nothing near that could shade the card."""
    made = document(**changes)
    made["blocks"] = [
        {
            "name": "North silo",
            "role": "subject",
            "shape": "post",
            "centre_m": [0, 900, 5],
            "size_m": [5, 5, 10],
        }
    ]
    made["shoot"] = {"frames": 240, "interval_s": 120.0, "write_s": 1.0, "start": "2027-03-14T12:00:00"}
    return plan_from_dict(made)


def card_in_picture(frames: FrameTable, numbers: list[int], folder: Path, engine: str = compat.CYCLES) -> Any:
    """Luminance of a level 18 % card in those frames' pictures, counted from 0."""
    scene = empty_scene()
    build_scene(frames.plan, frames, scene)
    mesh = bpy.data.meshes.new("Card")
    mesh.from_pydata([(-9, 291, 1), (9, 291, 1), (9, 309, 1), (-9, 309, 1)], [], [(0, 1, 2, 3)])
    matt = bpy.data.materials.new("Card")
    tree = compat.use_nodes(matt)
    nodes = tree.nodes
    surface, output = nodes.new("ShaderNodeBsdfDiffuse"), nodes.new("ShaderNodeOutputMaterial")
    surface.inputs["Color"].default_value = (CARD, CARD, CARD, 1.0)
    tree.links.new(surface.outputs[0], output.inputs["Surface"])
    mesh.materials.append(matt)
    scene.collection.objects.link(bpy.data.objects.new("Card", mesh))
    found = []
    for number in numbers:
        scene.frame_set(number + 1)
        picture = seen_from_above(scene, (0.0, 300.0), 6.0, 12, SAMPLES[engine], folder / "card.exr", engine)
        found.append(float(np.mean(picture @ LUMINANCE)))
    return np.array(found)


def at_altitudes(frames: FrameTable, altitudes_deg: list[float]) -> list[int]:
    numbers = [int(np.argmin(np.abs(frames.sun_altitude_deg - altitude))) for altitude in altitudes_deg]
    assert frames.sun_altitude_deg[numbers] == pytest.approx(altitudes_deg, abs=0.4)
    return numbers


def test_a_card_metered_in_each_light_renders_as_eighteen_percent(tmp_path: Path) -> None:
    # ISO 2720:1974: what the incident meter reads is rendered as it is, whatever the light
    metered = compute_frames(attrs.evolve(long_day(), exposure=None))
    numbers = at_altitudes(metered, [40.0, 10.0, 0.0, -4.0, -8.0])
    assert card_in_picture(metered, numbers, tmp_path) == pytest.approx(np.full(5, CARD), rel=0.05)


def test_light_of_lamps_alone_renders_the_card_as_the_floor_says(tmp_path: Path) -> None:
    # at −8° the artificial floor, EV 2.5, is fifty times the sky's light
    frames = compute_frames(long_day(exposure__night_look_stops=0.0))
    number = at_altitudes(frames, [-8.0])
    assert frames.scene_ev100[number] == pytest.approx(2.5, abs=0.05)
    expected = CARD * 2.0 ** (frames.scene_ev100 - sky.picture_settings_ev100(frames))[number]
    assert card_in_picture(frames, number, tmp_path) == pytest.approx(expected, rel=0.05)


def test_a_stop_less_shutter_halves_the_card(tmp_path: Path) -> None:
    frames = compute_frames(long_day())
    assert frames.ramp is not None
    half = attrs.evolve(frames, ramp=attrs.evolve(frames.ramp, shutter_s=frames.ramp.shutter_s / 2.0))
    numbers = at_altitudes(frames, [10.0, -4.0])
    whole = card_in_picture(frames, numbers, tmp_path)
    assert card_in_picture(half, numbers, tmp_path) == pytest.approx(whole / 2.0, rel=0.01)


def test_eevee_renders_the_card_much_as_cycles_does(tmp_path: Path) -> None:
    # it lights matt surfaces from a rough picture of the sky: by day, at dusk, and by lamps alone
    if not engines.this_machine().opengl:
        pytest.skip("no OpenGL here")
    metered = compute_frames(attrs.evolve(long_day(), exposure=None))
    numbers = at_altitudes(metered, [10.0, -4.0])
    cards = card_in_picture(metered, numbers, tmp_path, compat.EEVEE)
    assert cards == pytest.approx(np.full(2, CARD), rel=EEVEE_WITHIN)
    by_lamps = compute_frames(long_day(exposure__night_look_stops=0.0))
    number = at_altitudes(by_lamps, [-8.0])
    expected = CARD * 2.0 ** (by_lamps.scene_ev100 - sky.picture_settings_ev100(by_lamps))[number]
    card = card_in_picture(by_lamps, number, tmp_path, compat.EEVEE)
    assert card == pytest.approx(expected, rel=EEVEE_WITHIN)
